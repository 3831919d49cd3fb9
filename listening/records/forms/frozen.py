"""What `deal` froze, file by file, and whether it still is what it was."""

import hashlib
from pathlib import Path
from typing import Any

from pydantic import AliasChoices, Field

from listening.errors import RecordError, StudyError
from listening.records.dealt import record
from listening.records.dealt.amendment import Amendment
from listening.records.dealt.plan import Plan
from listening.records.forms.form import FileForm, Form, digest_of
from listening.records.study import Study


class FrozenFile(Form):
    """One file as it was dealt."""

    file: str
    """Below the study folder."""
    what: str
    digest: str
    """SHA-256 of its bytes."""


class Frozen(FileForm):
    """All files under one deal."""

    format: int = 1
    study_digest: str
    dealt_at: str
    files: tuple[FrozenFile, ...]


class Version(Form):
    """One deal of a study."""

    number: int
    study_digest: str
    dealt_at: str
    reason: str
    """Why it took the place of the one before; empty for the first."""


class Deposit(Form):
    """The plan as it was given to a third party."""

    study_digest: str
    page_digest: str
    """SHA-256 of the page's text."""
    deposited_at: str = Field(validation_alias=AliasChoices("deposited_at", "lodged_at"))
    whom: str = ""


class History(FileForm):
    """Every deal of a study, oldest first, and what was deposited."""

    format: int = 1
    versions: tuple[Version, ...] = ()
    deposits: tuple[Deposit, ...] = Field(default=(), validation_alias=AliasChoices("deposits", "lodgings"))
    amendments: tuple[Amendment, ...] = ()
    """Of every deal, oldest first."""

    def version(self, study_digest: str) -> Version | None:
        """The deal with that hash, if it is noted."""
        return next((v for v in self.versions if v.study_digest == study_digest), None)

    def deposited(self, study_digest: str) -> Deposit | None:
        """When that deal was first deposited, if it was."""
        return next((x for x in self.deposits if x.study_digest == study_digest), None)


def freeze(study: Study, *, study_digest: str, dealt_at: str, stimuli: list[Path], plan_text: str) -> Frozen:
    """The hash of every file a deal rests on: protocol, manifest, stimuli, key, plan (clips stand in it).

    Parameters
    ----------
    plan_text : what the plan's file will hold; it is written last
    """
    wanted = [
        (study.protocol, "protocol"),
        (study.manifest, "manifest of stimuli"),
        *((path, "stimulus") for path in stimuli),
        (study.key_file, "sealed key"),
    ]
    files = [
        FrozenFile(file=path.relative_to(study.root).as_posix(), what=what, digest=file_digest(path))
        for path, what in wanted
    ]
    plan = FrozenFile(
        file=study.plan.relative_to(study.root).as_posix(), what="plan", digest=digest_of(plan_text)
    )
    return Frozen(study_digest=study_digest, dealt_at=dealt_at, files=(*files, plan))


def check(study: Study) -> None:
    """Every file is byte for byte what was dealt.

    A stimulus that is not there any more is no fault: listeners heard the coded clips.

    Raises
    ------
    StudyError
        Some are not; each is named.
    """
    dealt = Frozen.load(study.frozen)
    if fault := half_amended(study):
        raise StudyError(f"{fault}. Nothing was done")
    if fault := of_list(study):
        raise StudyError(f"{fault}. Nothing was done")
    bad = [f"{study.root / f.file}: the {f.what} {fault}" for f in dealt.files if (fault := _fault(study, f))]
    if bad:
        raise StudyError(
            "\n".join(bad) + "\nrestore what was dealt (the protocol and manifest lie in "
            f'{study.sealed}), or deal again with: listening deal {study.root} --again "why". '
            "Nothing was done"
        )


def of_list(study: Study) -> str:
    """What is wrong with the list of what was dealt itself; empty where nothing is.

    The record holds its hash. Deals of earlier versions have none: there the list is wrong where the plan
    says that the protocol is what was dealt and the list says that it is not.
    """
    told = dealt_entry(study)
    if told is not None:
        is_right = told["frozen"] == file_digest(study.frozen)
        return "" if is_right else f"{study.frozen}: not the list that the deal wrote; restore it"
    dealt, plan = Frozen.load(study.frozen), Plan.load(study.plan)
    listed = next((one.digest for one in dealt.files if one.file == study.protocol.name), "")
    if listed not in ("", plan.protocol_digest) and file_digest(study.protocol) == plan.protocol_digest:
        return f"{study.frozen}: the plan was dealt with this protocol, the list says otherwise; restore it"
    return ""


def half_amended(study: Study) -> str:
    """What to say of an amendment that was cut off; empty where none was or no plan can be read."""
    try:
        kept = study.amendments(len(Plan.load(study.plan).amends) + 1)
    except RecordError:
        return ""  # its hash says that it is not what was dealt
    if not kept.is_dir():
        return ""
    return f'{kept}: an amendment was cut off; make it again: listening amend {study.root} "why"'


def dealt_entry(study: Study) -> dict[str, Any] | None:
    """What the record tells of the last deal or amendment; None for deals of earlier versions."""
    told = [entry.told for entry in record.load(study.record) if entry.kind in ("dealt", "amended")]
    return told[-1] if told else None


def file_digest(path: Path) -> str:
    """SHA-256 of a file's bytes; empty when it is not there."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""


def _fault(study: Study, dealt: FrozenFile) -> str:
    found = file_digest(study.root / dealt.file)
    if found == dealt.digest or (not found and dealt.what == "stimulus"):
        return ""
    if not found:
        return "is not there any more"
    return (
        f"is not the one that was dealt (hash {found[:16]}, dealt with {dealt.digest[:16]} by "
        f"{study.frozen.name}, unless that list was changed)"
    )
