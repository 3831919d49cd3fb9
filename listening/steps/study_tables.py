"""Answers and findings of an analysed study as flat tables; the opening of the key is logged."""

from collections.abc import Callable

from pandas import DataFrame

from listening.analysis.again import exported_tables, reanalysis
from listening.analysis.again.exported_tables import Exported
from listening.analysis.collect import (
    keyed_answers,
    keyed_discrimination,
    listener_answers,
    remarks,
    session_rule,
)
from listening.analysis.collect.listener_answers import Own
from listening.errors import ListeningError
from listening.records.found.findings import Findings
from listening.records.study import Study
from listening.store import open_store, place_of


def tables(study: Study, *, now: Callable[[], str]) -> Exported:
    """Every table by name, of what was analysed: no early look by the back door.

    Parameters
    ----------
    now : the time, UTC, ISO 8601, for the log

    Raises
    ------
    MissingFile, StudyError
        Not analysed yet, or the answers are not those that were analysed.
    ListeningError
        The answers came as a table.
    """
    found = Findings.load(study.findings)
    if found.imported:
        raise ListeningError(
            f"{study.root}: the answers came as a table and lie there as they came, in "
            f"{study.imported.name}; there is nothing more to export"
        )
    at = reanalysis.reopened(study, found, now=now)
    told = keyed_discrimination.frame(at.answers, at.opened.key.clips, at.opened.plan)
    compared = keyed_answers.frame(at.answers, at.opened.key, at.opened.manifest, may_be_empty=len(told) > 0)
    known = session_rule.numbers(at.answers, at.opened.plan)
    told, compared = (session_rule.marked(one, known) for one in (told, compared))
    asked = at.opened.protocol.sitting.questionnaire
    own, beside = _beside(study)
    return exported_tables.tables(compared, found, told, own=own, asked=asked, beside=beside)


def _beside(study: Study) -> tuple[Own, dict[str, DataFrame]]:
    """What each listener said, the hearing checks, comments and rooms, from the events of the sittings."""
    store = open_store(place_of(study), create=False)
    try:
        sittings, events = store.sittings(), store.events()
    finally:
        store.close()
    return listener_answers.of_events(sittings, events), remarks.tables(sittings, events)
