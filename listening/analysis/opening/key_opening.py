"""A look at the answers: the key opened, the look logged, the answers read."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from listening.analysis.collect import keyed_answers
from listening.analysis.collect.keyed_answers import Columns
from listening.analysis.opening import looks, sealed_key
from listening.analysis.opening.looks import Look
from listening.analysis.opening.sealed_key import Opened
from listening.errors import StudyError
from listening.records.findings import Fixed
from listening.records.frozen import History
from listening.records.plan import Plan
from listening.records.study import Study
from listening.store import SittingRow, open_store, place_of
from listening.store.removal import REMOVAL


@dataclass(frozen=True)
class Taken:
    """A dealt study, open, with its answers so far."""

    opened: Opened
    look: Look
    answers: Columns
    """See `collect.as_columns`."""
    n_unfinished: int
    days: tuple[str, ...]
    """On which people finished a sitting (UTC), as 2026-11-25."""


def look(
    study: Study,
    *,
    now: Callable[[], str],
    interim: bool = False,
    closed: str = "",
    why: str = "",
    only_answers: str = "",
) -> Taken:
    """The answers of a study at its planned end, or before it where that was asked for.

    Parameters
    ----------
    interim : look before the planned end; logged and counted
    closed : why no more listeners come, where the stopping rule lets fewer than planned be enough
    why : for a step that shows no decided number, its name for the log; such a look spends nothing
    only_answers : hash of the answers that were looked at before; others would be another look

    Raises
    ------
    StudyError
        Something is not what was dealt, the planned end is not reached, or it was analysed before with fewer.
    """
    opened = sealed_key.checked(study)
    store = open_store(place_of(study), create=False)
    try:
        answers, sittings = store.answer_columns(), store.sittings()
        withdrawn = sum(event.kind == REMOVAL for event in store.events())
    finally:
        store.close()
    _of_this_deal(study, opened.plan, sittings)
    finished = sum(sitting.finished_at is not None for sitting in sittings)
    digest = opened.plan.study_digest
    seen = keyed_answers.digest(answers)
    if only_answers and seen != only_answers:
        raise StudyError(
            f"{study.findings}: more was answered or taken out since that look before the end; take another "
            f"look: listening analyse {study.root} --interim"
        )
    at = looks.look(
        study,
        digest,
        opened.protocol,
        finished=finished,
        withdrawn=withdrawn,
        answers=seen,
        interim=interim,
        closed=closed,
    )
    said = f"{why}, study {digest[:16]}" if why else at.line(digest, opened.protocol.stopping)
    sealed_key.note(study, f"{now()} {said}")
    finished_at = (sitting.finished_at for sitting in sittings if not sitting.simulated)
    days = tuple(at_utc[:10] for at_utc in finished_at if at_utc is not None)
    return Taken(opened, at, answers, len(sittings) - finished, days)


def _of_this_deal(study: Study, plan: Plan, sittings: Sequence[SittingRow]) -> None:
    """Each sitting was begun under this plan: another one, however whole, is not what the listeners met."""
    strange = sorted({s.listener for s in sittings if s.study_digest != plan.study_digest})
    if strange:
        more = f" and {len(strange) - 3} more" if len(strange) > 3 else ""
        raise StudyError(
            f"{study.plan}: {', '.join(strange[:3])}{more} sat under another plan than this one (hash "
            f"{plan.study_digest[:16]}); restore the plan, protocol and key that were dealt. Nothing was "
            "analysed"
        )


def fixed(study: Study, plan: Plan) -> Fixed:
    """When the study was dealt, which version it is and why, and whether it was lodged."""
    history = History.load(study.history) if study.history.is_file() else History()
    version, lodged = history.version(plan.study_digest), history.lodged(plan.study_digest)
    return Fixed(
        dealt_at=plan.dealt_at,
        study_version=plan.study_version,
        reason=version.reason if version else "",
        lodged_at=lodged.lodged_at if lodged else "",
        lodged_with=lodged.whom if lodged else "",
        page_digest=lodged.page_digest if lodged else "",
    )
