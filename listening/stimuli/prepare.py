"""The `prepare` step: every recording as stimuli in each presentation, verified from the written files."""

import re
from dataclasses import replace

import numpy as np

from listening import __version__
from listening.errors import StudyError
from listening.metrics import measures
from listening.records import protocol as protocol_form
from listening.records.manifest import Manifest, Stimulus
from listening.records.protocol import AS_RECORDED, MATCHED, Protocol
from listening.records.study import Study
from listening.stimuli import folder, headroom, match, sources, stimulus_file
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
    common = sources.common(chosen, found)
    before = dict(zip((s.name for s in found), work.each(_measured, found, common), strict=True))
    matching, target = _matching(chosen, found, before, common, work)
    wanted = _wanted(chosen, found, matching, before)
    offset_db = headroom.offset_db(wanted, chosen.trimming)
    wanted = [replace(w, gain_db=w.gain_db + offset_db) for w in wanted]
    with folder.replacing(study.stimuli) as fresh:
        stimuli = work.each(stimulus_file.write, wanted, common, fresh, _file_scale(common, offset_db))
        manifest = _manifest(chosen, study, stimuli, common, offset_db=offset_db, target=target)
        manifest.save(fresh / study.manifest.name)
    return manifest


def _n_tasks(chosen: Protocol, found: list[Source]) -> int:
    studied = sum(s.role == "study" for s in found)
    matched = any(p.name == MATCHED for p in chosen.presentations)
    return len(found) + studied * matched + studied * len(chosen.presentations) + len(found) - studied


def _measured(source: Source, common: Common) -> Metrics:
    return measures.measure(sources.loaded(source, common)).as_dict()


def _matching(
    chosen: Protocol, found: list[Source], before: dict[str, Metrics], common: Common, work: Work
) -> tuple[dict[str, float], float | None]:
    """The matching gain of each recording, and the common value they reach."""
    matched = next((p for p in chosen.presentations if p.name == MATCHED), None)
    if matched is None or matched.metric is None:
        return {}, None
    studied = [s for s in found if s.role == "study"]
    values = [_matching_value(s, matched.metric, before[s.name]) for s in studied]
    target = match.target(values)
    gains = work.each(_gain_db, studied, common, matched.metric, target, matched.tolerance_db)
    return dict(zip((s.name for s in studied), gains, strict=True)), target


def _matching_value(source: Source, metric: str, before: Metrics) -> float:
    found = before[match.MEASURED_AS.get(metric, metric)]
    if found is None:
        raise StudyError(f"{source.file}: has no {metric}, so it cannot be matched on it; {match.WAY_OUT}")
    return found


def _gain_db(source: Source, common: Common, metric: str, target: float, tolerance_db: float) -> float:
    return match.gain_db(sources.loaded(source, common), metric, target=target, tolerance_db=tolerance_db)


def _wanted(
    chosen: Protocol, found: list[Source], matching: dict[str, float], before: dict[str, Metrics]
) -> list[Wanted]:
    wanted = []
    taken: set[str] = set()
    for presentation in chosen.presentations:
        for source in found:
            if source.role == "study":
                gain_db = matching[source.name] if presentation.name == MATCHED else 0.0
                file = _file_name(f"{source.name}.{presentation.name}", taken)
                wanted.append(Wanted(source, presentation.name, gain_db, before[source.name], file))
    for source in found:
        if source.role == "anchor":
            file = _file_name(source.name, taken)
            wanted.append(Wanted(source, AS_RECORDED, 0.0, before[source.name], file))
    return wanted


def _file_name(name: str, taken: set[str]) -> str:
    """A file name that every system takes, not given before."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "_", name).lower()
    free = next(s for n in range(1, 10_000) if (s := stem if n == 1 else f"{stem}_{n}") not in taken)
    taken.add(free)
    return f"{free}.flac"


def _file_scale(common: Common, offset_db: float) -> float | None:
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
    target: float | None,
) -> Manifest:
    matched = next((p for p in chosen.presentations if p.name == MATCHED), None)
    metric = matched.metric if matched else None
    reached = None
    if matched and metric and target is not None:
        moves = metric in DIGITAL_KEYS or common.pascal_per_full_scale is None
        reached = target + offset_db if moves else target
        stimuli = [_with_residual(s, metric, reached, matched.tolerance_db) for s in stimuli]
    return Manifest(
        version=__version__,
        protocol_digest=protocol_form.digest(study.protocol),
        rate_hz=common.rate_hz,
        calibrated=common.pascal_per_full_scale is not None,
        pascal_per_full_scale=_file_scale(common, offset_db),
        matching_metric=metric,
        matching_label=match.LABEL[metric] if metric else "",
        target=reached,
        tolerance_db=matched.tolerance_db if matched else None,
        headroom_offset_db=offset_db,
        stimuli=tuple(stimuli),
    )


def _with_residual(stimulus: Stimulus, metric: str, target: float, tolerance_db: float) -> Stimulus:
    if stimulus.presentation != MATCHED:
        return stimulus
    found = stimulus.after[match.MEASURED_AS.get(metric, metric)]
    residual_db = (found if found is not None else np.inf) - target
    if abs(residual_db) > tolerance_db:
        raise StudyError(
            f"{stimulus.file}: {metric} of the written file misses {target:.2f} by {residual_db:+.3f}, "
            f"tolerance {tolerance_db:g}; "
            f"set the tolerance to {abs(residual_db) * 1.1:.2f}, or match on laf_max_db"
        )
    return stimulus.model_copy(update={"residual_db": float(residual_db)})
