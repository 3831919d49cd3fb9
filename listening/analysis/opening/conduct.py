"""When, by whom, over what and on which recordings the test was carried out."""

from collections.abc import Sequence

from listening.records.conducted import Conducted, Sampled
from listening.records.manifest import Manifest
from listening.records.measured import Measures
from listening.records.protocol import Protocol


def of_study(
    protocol: Protocol, manifest: Manifest, measures: Measures | None, *, days: Sequence[str] = ()
) -> Conducted:
    """What the footnote of a printed sentence tells.

    Parameters
    ----------
    measures : which unit each recording is of; without them no condition's units are known
    days : on which people finished a sitting, as 2026-11-25, in any order
    """
    units = {row.recording: row.unit for row in measures.recordings} if measures else {}
    return Conducted(
        first_day=min(days, default=""),
        last_day=max(days, default=""),
        run_by=protocol.panel.run_by,
        heard_over=protocol.playback.over,
        level_db=protocol.playback.level_db,
        sampled=_sampled(manifest, units),
    )


def _sampled(manifest: Manifest, units: dict[str, str]) -> tuple[Sampled, ...]:
    heard: dict[str, list[str]] = {}
    for stimulus in manifest.stimuli:
        if stimulus.role == "study":
            heard.setdefault(stimulus.condition, []).append(stimulus.recording)
    return tuple(
        Sampled(
            condition=condition,
            n_units=len({units[name] for name in names if units.get(name)}),
            recordings=tuple(sorted(set(names))),
        )
        for condition, names in sorted(heard.items())
    )
