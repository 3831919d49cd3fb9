"""When, by whom, over what and on which recordings the test was carried out."""

from collections.abc import Sequence

from listening.records.protocols.conducted import Conducted, Sampled
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures


def of_study(
    protocol: Protocol, manifest: Manifest, measures: Measures | None, *, days: Sequence[str] = ()
) -> Conducted:
    """What the footnote of a printed sentence tells.

    Parameters
    ----------
    measures : which specimen each recording is of; without them no condition's specimens are known
    days : on which people finished a sitting, as 2026-11-25, in any order
    """
    specimens = {row.recording: row.specimen for row in measures.recordings} if measures else {}
    return Conducted(
        first_day=min(days, default=""),
        last_day=max(days, default=""),
        run_by=protocol.panel.run_by,
        heard_over=protocol.playback.over,
        level_db=protocol.playback.level_db,
        sampled=_sampled(manifest, specimens),
    )


def _sampled(manifest: Manifest, specimens: dict[str, str]) -> tuple[Sampled, ...]:
    heard: dict[str, list[str]] = {}
    for stimulus in manifest.stimuli:
        if stimulus.role == "study":
            heard.setdefault(stimulus.condition, []).append(stimulus.recording)
    return tuple(
        Sampled(
            condition=condition,
            n_specimens=len({specimens[name] for name in names if specimens.get(name)}),
            recordings=tuple(sorted(set(names))),
        )
        for condition, names in sorted(heard.items())
    )
