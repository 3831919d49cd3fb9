"""The `prepare` step: every recording as stimuli in each presentation, verified from the written files."""

import re
from collections.abc import Collection
from dataclasses import replace

import numpy as np

from listening import __version__
from listening.errors import StudyError
from listening.metrics import measures
from listening.metrics.loud import loudness_bs1770
from listening.records.kinds import metric_register
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.isolation import LEVEL
from listening.records.protocols.protocol import AS_RECORDED, ISOLATED, MATCHED, Protocol
from listening.records.protocols.protocol_parts import Presentation
from listening.records.sounds.ear_gains import EarGains
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.records.study import Study
from listening.stimuli import folder, headroom, isolated_set, match, sources, stimulus_file
from listening.stimuli.sources import Common, Source
from listening.stimuli.stimulus_file import DIGITAL_KEYS, Metrics, Wanted
from listening.stimuli.work import Progress, Work


def run(study: Study, *, on_progress: Progress = None, jobs: int = 1) -> Manifest:
    """Write the stimuli folder and its manifest; the old folder stays until the new one is whole.

    Parameters
    ----------
    jobs : processes; the bytes do not depend on it

    Raises
    ------
    MissingFile, SoundError
        A recording is not there, cannot be read, is too short or of another rate.
    StudyError
        A stimulus cannot be matched, or not without clipping: with the numbers and the way out.
    CannotWrite
        Nothing was changed.
    """
    chosen = protocol_form.load(study.protocol)
    found = sources.of_study(chosen, study.protocol)
    work = Work(jobs, on_progress, total=_n_tasks(chosen, found))
    common = sources.common(chosen, found, study.protocol)
    before = dict(zip((s.name for s in found), work.each(measured, found, common), strict=True))
    matching, target = _matching(chosen, found, before, common, work)
    ear = _ear_gains(study, chosen)
    if ear is not None:
        matching = {s.name: matching[s.name] + _by_ear(ear, s, study) for s in found if s.name in matching}
    isolated, isolated_target = isolated_set.made(chosen, found, before, common=common, work=work)
    wanted = named([*plain(chosen, found, matching, before), *isolated])
    offset_db = headroom.offset_db(wanted, chosen.trimming, peaks_dbtp=peaks_dbtp(wanted, common))
    wanted = [replace(w, gain_db=w.gain_db + offset_db) for w in wanted]
    with folder.replacing(study.stimuli) as fresh:
        stimuli = work.each(stimulus_file.write, wanted, common, fresh, file_scale(common, offset_db))
        targets = {MATCHED: target, ISOLATED: isolated_target}
        manifest = _manifest(chosen, study, stimuli, common, offset_db=offset_db, targets=targets, ear=ear)
        manifest.save(fresh / study.manifest.name)
    return manifest


def _n_tasks(chosen: Protocol, found: list[Source]) -> int:
    studied = sum(s.role == "study" for s in found)
    names = [p.name for p in chosen.presentations]
    written = studied * (AS_RECORDED in names) + studied * (MATCHED in names) + len(found) - studied
    if chosen.isolation is not None:
        base = sum(s.role == "study" and s.condition == chosen.isolation.base for s in found)
        written += base * len(chosen.isolation.conditions)
    return len(found) + studied * (MATCHED in names) + isolated_set.n_tasks(chosen, found) + written


def measured(source: Source, common: Common) -> Metrics:
    """Metrics of the trimmed sound of a source."""
    return measures.measure(sources.loaded(source, common), fades_from_s=common.window.fades_from_s).as_dict()


def _matching(
    chosen: Protocol, found: list[Source], before: dict[str, Metrics], common: Common, work: Work
) -> tuple[dict[str, float], float | None]:
    """The matching gain of each recording, and the common value they reach."""
    matched = next((p for p in chosen.presentations if p.name == MATCHED), None)
    if matched is None or matched.metric is None:
        return {}, None
    studied = [s for s in found if s.role == "study"]
    values = [matching_value(s, matched.metric, before[s.name]) for s in studied]
    target = match.target(values)
    gains = work.each(gain_db, studied, common, matched.metric, target, matched.tolerance_db)
    return dict(zip((s.name for s in studied), gains, strict=True)), target


def matching_value(source: Source, metric: str, before: Metrics) -> float:
    """What a source has of the metric it is matched on; raises StudyError where it has none."""
    found = before[metric_register.named(metric).measured_key]
    if found is None:
        raise StudyError(f"{source.file}: has no {metric}, so it cannot be matched on it; {match.WAY_OUT}")
    return found


def gain_db(source: Source, common: Common, metric: str, target: float, tolerance_db: float) -> float:
    """The gain that brings a source to the target."""
    return match.gain_db(sources.loaded(source, common), metric, target=target, tolerance_db=tolerance_db)


def _ear_gains(study: Study, chosen: Protocol) -> EarGains | None:
    """The gains of an adjustment study, where they lie in this one and belong to its match."""
    if not study.ear_gains.is_file():
        return None
    ear = EarGains.load(study.ear_gains)
    matched = next((p for p in chosen.presentations if p.name == MATCHED), None)
    if matched is None or matched.metric != ear.metric:
        found = matched.metric if matched else "no matched presentation"
        raise StudyError(
            f"{study.ear_gains}: the gains by ear start from a match on {ear.metric}, the protocol has "
            f"{found}; match on the same metric, or remove the file"
        )
    return ear


def _by_ear(ear: EarGains, source: Source, study: Study) -> float:
    gain = ear.of(source.condition)
    if gain is None:
        raise StudyError(
            f"{study.ear_gains}: `{source.condition}` was not adjusted; leave it out (recordings.use), "
            "adjust it too, or remove the file"
        )
    return gain.gain_db


def peaks_dbtp(wanted: list[Wanted], common: Common) -> list[float]:
    """True peak of each stimulus' file before its gain."""
    if common.response is None:
        return [w.before["true_peak_dbtp"] or 0.0 for w in wanted]
    made = (stimulus_file.sound_of(w, common) for w in wanted)
    return [loudness_bs1770.true_peak_dbtp(stimulus_file.for_file(sound, common)) for sound in made]


def plain(
    chosen: Protocol, found: list[Source], matching: dict[str, float], before: dict[str, Metrics]
) -> list[Wanted]:
    """What is wanted of the recordings and examples as they are, without file names."""
    studied = [s for s in found if s.role == "study"]
    pairs: list[tuple[str, Source]] = [
        (p.name, s) for p in chosen.presentations if p.name != ISOLATED for s in studied
    ]
    pairs += [(AS_RECORDED, s) for s in found if s.role == "example"]
    return [
        Wanted(
            source=source,
            presentation=name,
            gain_db=matching[source.name] if name == MATCHED else 0.0,
            before=before[source.name],
            file="",
            condition=source.condition,
        )
        for name, source in pairs
    ]


def named(wanted: list[Wanted], known: Collection[str] = ()) -> list[Wanted]:
    """With file names of their own; `known`: names without ending that are taken."""
    taken = set(known)
    return [replace(w, file=_file_name(_title(w), taken)) for w in wanted]


def _title(wanted: Wanted) -> str:
    if wanted.source.role == "example":
        return wanted.source.name
    how = wanted.condition.replace("/", "-") if wanted.isolated else wanted.presentation
    return f"{wanted.source.name}.{how}"


def _file_name(name: str, taken: set[str]) -> str:
    """A file name that every system takes, not given before."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "_", name).lower()
    free = next(s for n in range(1, 10_000) if (s := stem if n == 1 else f"{stem}_{n}") not in taken)
    taken.add(free)
    return f"{free}.flac"


def file_scale(common: Common, offset_db: float) -> float | None:
    """Pascal per full scale of the written files: lowered by the offset, played louder by as much."""
    if common.pascal_per_full_scale is None:
        return None
    return common.pascal_per_full_scale * float(10.0 ** (-offset_db / 20.0))


def _manifest(
    chosen: Protocol,
    study: Study,
    stimuli: list[Stimulus],
    common: Common,
    *,
    offset_db: float,
    targets: dict[str, float | None],
    ear: EarGains | None,
) -> Manifest:
    uncalibrated = common.pascal_per_full_scale is None
    reached: dict[str, float | None] = {}
    for presentation in chosen.presentations:
        target = targets.get(presentation.name)
        if presentation.metric is not None and target is not None:
            moves = presentation.metric in DIGITAL_KEYS or uncalibrated
            reached[presentation.name] = target + offset_db * moves
            stimuli = [with_residual(s, presentation, reached[presentation.name], ear) for s in stimuli]
    first = next((p for p in chosen.presentations if p.name in reached), None)
    return Manifest(
        version=__version__,
        protocol_digest=protocol_form.digest(study.protocol),
        rate_hz=common.rate_hz,
        calibrated=not uncalibrated,
        pascal_per_full_scale=file_scale(common, offset_db),
        matching_metric=first.metric if first else None,
        matching_label=_label(first, ear),
        target=reached[first.name] if first else None,
        tolerance_db=first.tolerance_db if first else None,
        isolated_target=reached.get(ISOLATED),
        headroom_offset_db=offset_db,
        stimuli=tuple(stimuli),
    )


def _label(first: Presentation | None, ear: EarGains | None) -> str:
    if first is None or first.metric is None:
        return ""
    if ear is None or first.name != MATCHED:
        return metric_register.named(first.metric).matched_as or ""
    worst = max(g.se_db for g in ear.conditions)
    return (
        f"matched by ear ({ear.n_listeners} listeners, standard error up to {worst:.2f} dB) "
        f"from {metric_register.named(first.metric).matched_as}"
    )


def with_residual(
    stimulus: Stimulus, presentation: Presentation, target: float | None, ear: EarGains | None
) -> Stimulus:
    """The stimulus with how far it misses the target; raises StudyError beyond the tolerance."""
    metric = presentation.metric
    louder = stimulus.presentation == ISOLATED and stimulus.condition.endswith(LEVEL[1])
    if stimulus.presentation != presentation.name or metric is None or target is None or louder:
        return stimulus
    found = stimulus.after[metric_register.named(metric).measured_key]
    residual_db = (found if found is not None else np.inf) - target
    by_ear = ear is not None and presentation.name == MATCHED
    if abs(residual_db) > presentation.tolerance_db and not by_ear:
        raise StudyError(
            f"{stimulus.file}: {metric} of the written file misses {target:.2f} by {residual_db:+.3f}, "
            f"tolerance {presentation.tolerance_db:g}; "
            f"set the tolerance to {abs(residual_db) * 1.1:.2f}, or match on laf_max_db"
        )
    return stimulus.model_copy(update={"residual_db": float(residual_db)})
