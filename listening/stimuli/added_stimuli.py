"""Stimuli of recordings that came after the deal: matched to the set that is there, which stays as it is."""

from dataclasses import replace
from pathlib import Path

from listening.errors import StudyError
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import ISOLATED, MATCHED, Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.stimuli import preparation, sources, stimulus_file
from listening.stimuli.sources import Common, Source
from listening.stimuli.stimulus_file import DIGITAL_KEYS, Wanted
from listening.stimuli.work import Progress, Work


def added(study: Study, chosen: Protocol, before: Manifest) -> list[Source]:
    """The recordings that a protocol uses and a set does not hold."""
    known = {s.recording for s in before.stimuli if s.role == "study"}
    return [
        s for s in sources.of_study(chosen, study.protocol) if s.role == "study" and s.recording not in known
    ]


def write(
    study: Study, chosen: Protocol, before: Manifest, into: Path, *, on_progress: Progress = None
) -> Manifest:
    """Write the stimuli of added recordings into a folder; the manifest of all of them.

    Target, tolerance and common gain are those of the set before.

    Raises
    ------
    StudyError
        They cannot join the set: another calibration or rate, a peak above the ceiling, matching by ear,
        isolated stimuli; or nothing is added.
    MissingFile, SoundError
        A recording is not there, cannot be read or is too short.
    """
    found = added(study, chosen, before)
    _check(study, chosen)
    work = Work(1, on_progress, total=3 * len(found))
    every = sources.of_study(chosen, study.protocol)
    common = sources.common(chosen, every, study.protocol)
    _same_frame(study, common, before)
    wanted = _wanted(chosen, found, before, common, work)
    _below_ceiling(wanted, chosen, common)
    scale = before.pascal_per_full_scale
    fresh = work.each(stimulus_file.write, wanted, common, into, scale)
    matched = next((p for p in chosen.presentations if p.name == MATCHED), None)
    if matched is not None:
        fresh = [preparation.with_residual(s, matched, before.target, None) for s in fresh]
    changes = {
        "protocol_digest": protocol_form.digest(study.protocol),
        "stimuli": (*before.stimuli, *fresh),
    }
    return before.model_copy(update=changes)


def _check(study: Study, chosen: Protocol) -> None:
    if study.ear_gains.is_file():
        raise StudyError(
            f"{study.ear_gains}: the set was matched by ear, and nobody adjusted the added sounds; deal a "
            "new version for them. Nothing was changed"
        )
    if any(p.name == ISOLATED for p in chosen.presentations):
        raise StudyError(
            f"{study.protocol}: isolated stimuli are made from the whole set at once, so none can be added "
            "later; deal a new version for them. Nothing was changed"
        )


def _same_frame(study: Study, common: Common, before: Manifest) -> None:
    is_calibrated = common.pascal_per_full_scale is not None
    scale = preparation.file_scale(common, before.headroom_offset_db)
    unlike = [
        *([f"rate {common.rate_hz} Hz, {before.rate_hz} before"] if common.rate_hz != before.rate_hz else []),
        *(["calibrated, or not, unlike before"] if is_calibrated != before.calibrated else []),
        *(["another calibration of the whole set"] if _apart(scale, before.pascal_per_full_scale) else []),
    ]
    if unlike:
        raise StudyError(
            f"{study.protocol}: the added recordings cannot join the set ({'; '.join(unlike)}); record them "
            "as the others were, or deal a new version. Nothing was changed"
        )


def _apart(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and abs(one - other) > 1e-9 * other


def _wanted(
    chosen: Protocol, found: list[Source], before: Manifest, common: Common, work: Work
) -> list[Wanted]:
    measured = dict(zip((s.name for s in found), work.each(preparation.measured, found, common), strict=True))
    matched = next((p for p in chosen.presentations if p.name == MATCHED), None)
    gains: dict[str, float] = {}
    if matched is not None and matched.metric is not None and before.target is not None:
        moves = matched.metric in DIGITAL_KEYS or not before.calibrated
        target = before.target - before.headroom_offset_db * moves
        for source in found:
            preparation.matching_value(source, matched.metric, measured[source.name])
        reached = work.each(preparation.gain_db, found, common, matched.metric, target, matched.tolerance_db)
        gains = dict(zip((s.name for s in found), reached, strict=True))
    taken = {Path(s.file).stem for s in before.stimuli}
    plain = preparation.named(preparation.plain(chosen, found, gains, measured), taken)
    return [replace(w, gain_db=w.gain_db + before.headroom_offset_db) for w in plain]


def _below_ceiling(wanted: list[Wanted], chosen: Protocol, common: Common) -> None:
    ceiling = chosen.trimming.true_peak_ceiling_dbtp
    for one, peak in zip(wanted, preparation.peaks_dbtp(wanted, common), strict=True):
        if peak + one.gain_db > ceiling:
            raise StudyError(
                f"{one.source.file.name}: as `{one.presentation}` its true peak lies at "
                f"{peak + one.gain_db:+.2f} dBTP, ceiling {ceiling:+.2f}, and the common gain of the set was "
                "fixed by the deal; leave it out, or deal a new version. Nothing was changed"
            )
