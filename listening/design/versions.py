"""A new deal in place of one that has answers: the old one moves aside, whole and readable.

Moving aside can be cut at any instant: what was moved so far is moved back before anything else is
done, and nothing is ever removed that is not a copy.
"""

from pathlib import Path

from listening.errors import CannotWrite, RecordError, StudyError
from listening.records.dealt.plan import Plan
from listening.records.forms.form import FileForm, sync_folder, write_bytes
from listening.records.forms.frozen import History, Version
from listening.records.study import Study


class SetAside(FileForm):
    """Why a deal was replaced; lies in its folder, so that a cut-off deal keeps its reason."""

    format: int = 1
    reason: str


def history(study: Study) -> History:
    """Every deal so far, oldest first; empty before the first."""
    return History.load(study.history) if study.history.is_file() else History()


def note(study: Study, *, study_digest: str, dealt_at: str, reason: str) -> None:
    """Write a deal into the history; one that nobody answered yet takes the place of its forerunner."""
    before = history(study)
    known = {v.number: v for v in before.versions}
    kept = tuple(known.get(n) or _dealt(study, n) for n in numbers(study))
    number = next_number(study)
    reason = reason or _reason(study, number - 1) or (known[number].reason if number in known else "")
    fresh = Version(number=number, study_digest=study_digest, dealt_at=dealt_at, reason=reason)
    before.model_copy(update={"versions": (*kept, fresh)}).save(study.history)


def numbers(study: Study) -> list[int]:
    """The deals that were set aside, oldest first."""
    found = study.versions.iterdir() if study.versions.is_dir() else ()
    return sorted(int(p.name) for p in found if p.name.isascii() and p.name.isdecimal() and p.is_dir())


def next_number(study: Study) -> int:
    """The number that a deal made now gets."""
    return max(numbers(study), default=0) + 1


def latest(study: Study) -> Study | None:
    """The deal that was set aside last."""
    number = next_number(study) - 1
    return Study(study.versions / str(number)) if number else None


def set_aside(study: Study, reason: str) -> Path:
    """Move the present deal with its answers to versions/N, a study folder of its own; returns that folder.

    Raises
    ------
    StudyError
        No reason is given, or the deal has no frozen protocol to keep with it.
    CannotWrite
        The folder cannot be moved; nothing was changed.
    """
    settle(study)
    if len(reason.split()) < 2:
        raise StudyError(f'a new version needs its reason in words, found "{reason}"; say --again "why"')
    if not study.frozen_protocol.is_file() or not study.frozen_manifest.is_file():
        raise StudyError(f"{study.sealed}: the dealt protocol is not kept there; start a new study folder")
    place = study.versions / str(next_number(study))
    old, making = Study(place), study.half_set_aside(next_number(study))
    try:
        making.stimuli.mkdir(parents=True)
        for source, target in [*_copies(study.sealed, making), *_kept_with(study, making)]:
            write_bytes(target, source.read_bytes())
        SetAside(reason=reason).save(making.root / SET_ASIDE)
        for folder in (making.root, study.versions, study.root):
            sync_folder(folder)
        for here, there in _moved(study, making):
            if here.exists():
                here.rename(there)
        sync_folder(making.root)  # where things went before where they were: a power cut never leaves neither
        making.root.rename(old.root)
        for folder in (study.versions, study.root):
            sync_folder(folder)
    except OSError as error:
        settle(study)
        raise CannotWrite(
            f"{place}: the old deal cannot be moved there ({error.strerror}); free space or make the folder "
            "writable; nothing was changed"
        ) from error
    return old.root


def settle(study: Study) -> None:
    """Undo a move that was cut off: everything goes back to where it was.

    Raises
    ------
    StudyError
        Something else lies in its place by now; nothing is removed.
    CannotWrite
        It cannot be moved back.
    """
    for making in study.halves_set_aside():
        try:
            for here, there in reversed(_moved(study, making)):
                if there.exists():
                    _move_back(there, here)
            _drop_copies(study, making)
        except OSError as error:
            if isinstance(error, StudyError | CannotWrite):
                raise
            raise CannotWrite(
                f"{making.root}: a new deal was cut off here, and what it had moved cannot be moved back "
                f"({error.strerror}); make {study.root} writable and deal again; nothing was removed"
            ) from error


SET_ASIDE = "set_aside.json"


def _moved(study: Study, making: Study) -> list[tuple[Path, Path]]:
    names = ("findings", "report", "sealed", "station")
    return [(getattr(study, name), getattr(making, name)) for name in names]


def _copies(sealed: Path, making: Study) -> list[tuple[Path, Path]]:
    return [(sealed / path.name, path) for path in (making.protocol, making.manifest)]


def _kept_with(study: Study, making: Study) -> list[tuple[Path, Path]]:
    """What a deal that moved aside is read and checked with: lists and measured values as they were then."""
    names = ("record", "history", "measures", "traces", "steps")
    pairs = [(getattr(study, name), getattr(making, name)) for name in names]
    return [(here, there) for here, there in pairs if here.is_file()]


def _move_back(there: Path, here: Path) -> None:
    if here.exists():
        raise StudyError(
            f"{there}: a new deal was cut off, and this could not go back, because {here} exists by now; "
            "move one of the two to a safe place by hand, then deal again; nothing was removed"
        )
    there.rename(here)


def _drop_copies(study: Study, making: Study) -> None:
    """What set_aside itself made goes; anything else in the folder stays and is named."""
    for original, copy in _copies(study.sealed, making):
        if copy.is_file() and original.is_file() and copy.read_bytes() == original.read_bytes():
            copy.unlink()
    for _, copy in _kept_with(study, making):
        copy.unlink(missing_ok=True)
    (making.root / SET_ASIDE).unlink(missing_ok=True)
    for folder in (making.stimuli, making.root):
        for half_written in folder.glob(".*"):  # of a write that was cut off
            half_written.unlink()
        if folder.is_dir() and any(folder.iterdir()):
            raise StudyError(
                f"{folder}: a new deal was cut off here, and something lies in it that it did not make "
                f"({next(folder.iterdir()).name}); move it to a safe place by hand, then deal again; nothing "
                "was removed"
            )
        if folder.is_dir():
            folder.rmdir()


def _dealt(study: Study, number: int) -> Version:
    """What the folder of an earlier deal says of itself, where the history does not know it."""
    plan = Plan.load(Study(study.versions / str(number)).plan)
    reason = _reason(study, number - 1)
    return Version(number=number, study_digest=plan.study_digest, dealt_at=plan.dealt_at, reason=reason)


def _reason(study: Study, number: int) -> str:
    """Why the deal of that number was replaced, as its folder says."""
    path = study.versions / str(number) / SET_ASIDE
    try:
        return SetAside.load(path).reason if path.is_file() else ""
    except RecordError:
        return ""
