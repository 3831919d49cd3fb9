"""A whole study rehearsed by simulation: nothing in its folder is touched and its key is not asked for."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from listening.errors import StudyError
from listening.planning import reached_end, stage_parts, stand_in
from listening.planning.rehearsal import one_run, rehearsed
from listening.planning.rehearsal.rehearsed import Rehearsed, Supposed
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stages import FIRST
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures
from listening.records.study import Study
from listening.simulate.recruiting import People
from listening.steps import rehearsal_lines

if TYPE_CHECKING:
    import pandas as pd

LIKELY_WITHDRAWALS = 0.02  # of those who finish; our own estimate
LIKELY_MISSES = 0.05  # of those who come, not to the last session; our own estimate
MOST_RUNS = 100_000


@dataclass(frozen=True)
class Rehearsal:
    """What was promised beside what was seen."""

    parts: tuple[Rehearsed, ...]
    """A rehearsal of each stage; one where no stage came late."""
    notes: tuple[str, ...]

    @property
    def found(self) -> Rehearsed:
        """Of the deal itself."""
        return self.parts[0]

    def summary(self) -> str:
        """The text that `listening rehearse` prints."""
        return "\n".join(rehearsal_lines.text(self.parts, self.notes))

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening rehearse --json` prints them."""
        return rehearsal_lines.plain(self.parts, self.notes)

    def to_frame(self) -> "pd.DataFrame":
        """A row a question and state."""
        import pandas as pd

        return pd.DataFrame(rehearsal_lines.plain(self.parts, ())["questions"])

    def __str__(self) -> str:
        return self.summary()


def likely(chosen: Protocol) -> People:
    """Who stops and who withdraws, where nobody says otherwise: none where the plan has no answer to it."""
    stopping = chosen.stopping
    copes = reached_end.has_room(chosen)
    return People(
        drop_outs=reached_end.LIKELY_DROP_OUTS if copes else 0.0,
        withdrawals=LIKELY_WITHDRAWALS if copes or stopping.withdrawn == "count" else 0.0,
        misses=LIKELY_MISSES if chosen.sessions.number > 1 else 0.0,
    )


def supposed(
    chosen: Protocol,
    *,
    share: float = 0.75,
    assumed: Assumed | None = None,
    drop_outs: float | None = None,
    withdrawals: float | None = None,
    misses: float | None = None,
    at_random: float = 0.0,
    sites: int = 1,
    spread_sites: float = 0.1,
    spread_sessions: float = 0.1,
    spread_listeners: float | None = None,
    spread_stimuli: float | None = None,
) -> Supposed:
    """What is taken for granted; whatever is not given is as likely as can be said without a pilot.

    Parameters
    ----------
    share : of choices, hoped for each `more`
    assumed : spreads of a pilot
    drop_outs, withdrawals, misses, at_random : shares of those who begin, who finished, who miss the last of
        several sessions, of all
    spread_sites, spread_sessions, spread_listeners, spread_stimuli : standard deviations, logit
    """
    usual = likely(chosen)
    given = {
        name: value
        for name, value in (("spread_listeners", spread_listeners), ("spread_stimuli", spread_stimuli))
        if value is not None
    }
    spreads = assumed or Assumed()
    return Supposed(
        share=share,
        assumed=spreads.model_copy(update={**given, "source": "given by you"}) if given else spreads,
        people=People(
            usual.drop_outs if drop_outs is None else drop_outs,
            usual.withdrawals if withdrawals is None else withdrawals,
            usual.misses if misses is None else misses,
        ),
        at_random=at_random,
        n_sites=sites,
        spread_sites=spread_sites if sites > 1 else 0.0,
        spread_sessions=spread_sessions if chosen.sessions.number > 1 else 0.0,
    )


def rehearse(
    study: Study,
    given: Supposed | None = None,
    *,
    runs: int = 200,
    seed: int = 1,
    where: int | str = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> Rehearsal:
    """`runs` studies as hoped and as many with nothing true, each through the analysis that decides.

    Parameters
    ----------
    given : what is taken for granted of listeners and effects
    where : 1 here, N on N processes, tcp://HOST:PORT on a Dask scheduler

    Raises
    ------
    StudyError
        The study cannot be read or dealt, or a number is out of range.
    """
    chosen = protocol_form.load(study.protocol)
    given = given or supposed(chosen)
    _check(given, runs)
    manifest, is_prepared = _manifest(study, chosen)
    parts = stage_parts.of_study(chosen, manifest)
    found = tuple(
        rehearsed.rehearse(
            one.protocol,
            one.manifest,
            given,
            runs=runs,
            seed=seed,
            where=where,
            is_prepared=is_prepared,
            stage=one.number,
            on_progress=partial(rehearsed.further, on_progress, i, len(parts)),
        )
        for i, one in enumerate(parts)
    )
    return Rehearsal(found, tuple(_notes([one.protocol for one in parts], given, found)))


def _check(given: Supposed, runs: int) -> None:
    if not 1 <= runs <= MOST_RUNS:
        raise StudyError(f"runs: found {runs}, wanted 1 to {MOST_RUNS}")
    shares = {
        "drop-outs": given.people.drop_outs,
        "withdrawals": given.people.withdrawals,
        "misses": given.people.misses,
        "at random": given.at_random,
    }
    for name, value in shares.items():
        if not 0 <= value < 1:
            raise StudyError(f"{name}: found {value:g}, wanted a share from 0 to below 1, such as 0.1")
    if given.n_sites < 1:
        raise StudyError(f"sites: found {given.n_sites}, wanted 1 or more")
    spreads = (
        given.spread_sites,
        given.spread_sessions,
        given.assumed.spread_listeners,
        given.assumed.spread_stimuli,
    )
    for spread in spreads:
        if not 0 <= spread < math.inf:
            raise StudyError(f"a spread is a standard deviation, 0 or more; found {spread:g}")


def _manifest(study: Study, chosen: Protocol) -> tuple[Manifest, bool]:
    """The prepared stimuli of this protocol; else what stands in for them."""
    if study.manifest.is_file():
        prepared = Manifest.load(study.manifest)
        if prepared.protocol_digest == protocol_form.digest(study.protocol):
            return prepared, True
    from listening.records.sounds import recordings_table

    measures = Measures.load(study.measures) if study.measures.is_file() else None
    recordings = recordings_table.load(chosen, study.protocol)
    return stand_in.with_levels(stand_in.manifest(chosen, recordings, measures)), False


def _notes(chosen: list[Protocol], given: Supposed, found: tuple[Rehearsed, ...]) -> Iterator[str]:
    """What a reader should know before believing the numbers."""
    if not found[0].is_prepared:
        yield (
            "the stimuli are not prepared for this protocol: level is taken as perfectly matched, and what "
            "matching leaves over costs power"
        )
    for own, one in zip(chosen, found, strict=True):
        yield from _about_the_end(own, given, one)
    if any(line.is_kept is False for one in found for line in one.lines):
        yield (
            "* outside the limits of what was seen: the promise is a formula that knows no exclusion, no "
            "withdrawal and no look; believe the rehearsal"
        )


def _about_the_end(own: Protocol, given: Supposed, found: Rehearsed) -> Iterator[str]:
    where = f" of stage {found.stage}" if found.stage != FIRST else ""
    if given.people.drop_outs == 0 and not reached_end.has_room(own):
        yield (
            "nobody stops here, for the plan has no answer to it: if one listener in ten did, the end"
            f"{where} would be reached with a chance of {reached_end.chance(own):.2f}; set spare places, or "
            "stopping.fewest"
        )
    closed = sum(one_run.NEVER_OPENED in run.words.values() for run in found.all_runs())
    if closed:
        yield (
            f"in {closed} of {len(found.all_runs())} studies the places{where} ran out before the end, and "
            "the answers stay closed for ever: set more spare places, or stopping.fewest"
        )
