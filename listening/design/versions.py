"""A new deal in place of one that has answers: the old one moves aside, whole and readable."""

import shutil
from pathlib import Path

from listening.errors import CannotWrite, StudyError
from listening.records.frozen import History, Version
from listening.records.study import Study


def history(study: Study) -> History:
    """Every deal so far, oldest first; empty before the first."""
    return History.load(study.history) if study.history.is_file() else History()


def note(study: Study, *, study_digest: str, dealt_at: str, reason: str) -> None:
    """Write a deal into the history; one that nobody answered yet takes the place of its forerunner."""
    before = history(study)
    known = before.versions
    kept = tuple(v for v in known if (study.versions / str(v.number)).is_dir())
    number = len(kept) + 1
    reason = reason or next((v.reason for v in known if v.number == number), "")
    fresh = Version(number=number, study_digest=study_digest, dealt_at=dealt_at, reason=reason)
    before.model_copy(update={"versions": (*kept, fresh)}).save(study.history)


def next_number(study: Study) -> int:
    """The number that a deal made now gets."""
    return sum((study.versions / str(v.number)).is_dir() for v in history(study).versions) + 1


def set_aside(study: Study, reason: str) -> Path:
    """Move the present deal with its answers to versions/N, a study folder of its own; returns that folder.

    Raises
    ------
    StudyError
        No reason is given, or the deal has no frozen protocol to keep with it.
    CannotWrite
        The folder cannot be moved; nothing was changed.
    """
    if len(reason.split()) < 2:
        raise StudyError(f'a new version needs its reason in words, found "{reason}"; say --again "why"')
    if not study.frozen_protocol.is_file() or not study.frozen_manifest.is_file():
        raise StudyError(f"{study.sealed}: the dealt protocol is not kept there; start a new study folder")
    place = study.versions / str(next_number(study))
    old, making = Study(place), Study(place.with_name(f".{place.name}.new"))
    shutil.rmtree(making.root, ignore_errors=True)
    try:
        making.stimuli.mkdir(parents=True)
        shutil.copy2(study.frozen_protocol, making.protocol)
        shutil.copy2(study.frozen_manifest, making.manifest)
        for there, here in ((study.findings, making.findings), (study.report, making.report)):
            if there.exists():
                there.rename(here)
        study.sealed.rename(making.sealed)
        study.station.rename(making.station)
        making.root.rename(old.root)
    except OSError as error:
        raise CannotWrite(
            f"{place}: the old deal cannot be moved there ({error.strerror}); free space or make the folder "
            f"writable, then look into {making.root}"
        ) from error
    return old.root
