"""Opening the sealed key: only when everything is still what was dealt, and never without a trace."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from listening.errors import CannotWrite, StudyError
from listening.records.dealt import record
from listening.records.dealt.plan import Plan
from listening.records.dealt.record import Entry
from listening.records.forms import frozen
from listening.records.keys import key_sealing
from listening.records.keys.key import Key
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study

LOG = "openings.log"


@dataclass(frozen=True)
class Opened:
    """A dealt study with its key open."""

    protocol: Protocol
    plan: Plan
    key: Key
    manifest: Manifest


def open_key(study: Study, *, now: Callable[[], str], why: str) -> Opened:
    """The study with its key, after checking that nothing changed since `deal`; the opening is logged.

    Parameters
    ----------
    now : gives the time as UTC, ISO 8601
    why : for the log: the step that opens

    Raises
    ------
    StudyError
        The protocol, the manifest, the key or the plan is not the one that was dealt; the file is named.
    """
    opened = checked(study)
    note(study, f"{why} study {opened.plan.study_digest[:16]}", at=now(), told={"key": how_kept(study)})
    return opened


def checked(study: Study) -> Opened:
    """The study with its key, nothing logged: only for a caller that logs next; raises as `open_key`."""
    if study.frozen.is_file():
        frozen.check(study)
    plan = Plan.load(study.plan)
    _same(study.protocol, "protocol", plan.protocol_digest, protocol_form.digest(study.protocol))
    manifest = Manifest.load(study.manifest)
    _same(study.manifest, "manifest of stimuli", plan.manifest_digest, manifest.digest())
    key = key_sealing.load(study)
    _same(study.key_file, "sealed key", plan.key_digest, key.sealed_digest())
    return Opened(protocol_form.load(study.protocol), plan, key, manifest)


def note(study: Study, line: str, *, at: str, told: dict[str, Any]) -> Entry:
    """Write an opening into the record of the study and the log of openings; without it the key stays closed.

    Parameters
    ----------
    told : what the record is to keep of it besides the line
    """
    said = f"{at} {line}"
    entry = record.append(study.record, at=at, kind="opening", told={"line": said, "n_ledger": 0, **told})
    _log(study.sealed / LOG, said)
    return entry


def lines(study: Study) -> list[str]:
    """Every opening, oldest first: as the record tells them, and before it began, the log."""
    path = study.sealed / LOG
    logged = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    recorded = [entry.told["line"] for entry in record.load(study.record) if entry.kind == "opening"]
    known = set(recorded)
    return [*(line for line in logged if line not in known), *recorded]


def how_kept(study: Study) -> str:
    """Whether the key lies open in the study folder, or sealed under a pass phrase."""
    return "pass phrase" if study.sealed_key.is_file() else "open"


def _same(path: Path, what: str, dealt: str, found: str) -> None:
    if dealt != found:
        raise StudyError(
            f"{path}: the {what} is not the one that was dealt (hash {found[:16]}, dealt with {dealt[:16]}); "
            "restore the dealt file, or deal again and collect new answers. Nothing was analysed"
        )


def _log(path: Path, line: str) -> None:
    try:
        with path.open("a", encoding="utf-8") as file:
            file.write(line + "\n")
    except OSError as error:
        raise CannotWrite(
            f"{path}: the opening of the key cannot be logged ({error.strerror}), so it stays closed; "
            "make the folder writable"
        ) from error
