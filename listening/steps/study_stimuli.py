"""Aligned, matched, verified stimuli of a study."""

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from listening.analysis.collect import adjustments
from listening.errors import ListeningError, StudyError
from listening.intake import study_check
from listening.records.forms.form import write_bytes
from listening.records.forms.problem import listing
from listening.records.sounds.ear_gains import EarGains
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study, open_study
from listening.stimuli import preparation


def prepare(
    study: Study,
    *,
    by_ear: Path | None = None,
    jobs: int | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Manifest:
    """Make the stimuli and their manifest.

    Parameters
    ----------
    by_ear : folder of an adjustment study whose gains match the stimuli; they stay until ear_gains.json goes
    jobs : processes; all cores if not given

    Raises
    ------
    StudyError, RecordError, SoundError, MissingFile, CannotWrite
        `check` finds an error, or the first problem met; earlier files stay as they were.
    """
    refuse_problems(study)
    before = study.ear_gains.read_bytes() if study.ear_gains.is_file() else None
    if by_ear is not None:
        gains(by_ear).save(study.ear_gains)
    try:
        return preparation.run(study, on_progress=on_progress, jobs=max(1, jobs or os.cpu_count() or 1))
    except ListeningError:
        if by_ear is not None:
            _put_back(study.ear_gains, before)
        raise


def _put_back(path: Path, before: bytes | None) -> None:
    """A refused preparation leaves no gains that the next one would use unasked."""
    if before is None:
        path.unlink(missing_ok=True)
    else:
        write_bytes(path, before)


def refuse_problems(study: Study) -> None:
    """Stop a study that `check` would stop.

    Raises
    ------
    StudyError
        With every error that was found.
    """
    found = [problem for problem in study_check.problems(study.protocol) if problem.severity == "error"]
    if found:
        raise StudyError(f"the study has {len(found)} errors:\n{listing(found)}")


def gains(folder: Path) -> EarGains:
    """What listeners set in an adjustment study."""
    return adjustments.of_study(
        open_study(folder), now=lambda: datetime.now(UTC).isoformat(timespec="seconds")
    )
