"""Is everything that a study's findings rest on still what was dealt, file by file?"""

import hashlib
from collections.abc import Iterator

from listening.records.dealt.plan import Plan
from listening.records.forms import frozen
from listening.records.forms.frozen import Frozen, History
from listening.records.found.findings import Findings
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study


def sources(study: Study) -> dict[str, str]:
    """SHA-256 of the files that the page's measured values and curves come from, by name."""
    files = {path.name: frozen.file_digest(path) for path in (study.measures, study.traces)}
    return {name: digest for name, digest in files.items() if digest}


def faults(study: Study, found: Findings) -> list[str]:
    """One line for each file that is not what was dealt; hashes of protocol, key and plan are checked first.

    Clips, stimuli and deals of long ago may be gone without harm: only what is there must be right.
    """
    plan = Plan.load(study.plan)
    if fault := frozen.of_list(study) if study.frozen.is_file() else "":
        return [fault, *_clips(study, plan)]
    return [
        *_frozen(study, plan),
        *_copies(study, plan),
        *_clips(study, plan),
        *_history(study, plan),
        *_sources(study, found),
    ]


def _frozen(study: Study, plan: Plan) -> Iterator[str]:
    """The list of what was dealt must be there, of this deal, and whole."""
    if not study.frozen.is_file():
        yield f"{study.frozen}: not there: nothing tells which stimuli were dealt; restore it"
        return
    dealt = Frozen.load(study.frozen)
    if (dealt.study_digest, dealt.dealt_at) != (plan.study_digest, plan.dealt_at):
        yield f"{study.frozen}: of another deal than the plan; restore the one that was dealt"
    listed = {one.file for one in dealt.files}
    must = [study.protocol, study.manifest, study.key_file, study.plan]
    must += [study.stimuli / s.file for s in Manifest.load(study.manifest).stimuli]
    for path in must:
        name = path.relative_to(study.root).as_posix()
        if name not in listed:
            yield f"{study.frozen}: {name} is missing from the list; restore the one that was dealt"


def _copies(study: Study, plan: Plan) -> Iterator[str]:
    """The sealed copies of what was dealt."""
    for copy, original in ((study.frozen_protocol, study.protocol), (study.frozen_manifest, study.manifest)):
        if copy.is_file() and copy.read_bytes() != original.read_bytes():
            yield f"{copy}: not the same as {original}, which was dealt; copy that one there"


def _clips(study: Study, plan: Plan) -> Iterator[str]:
    """Coded clips as the listeners heard them; the whole folder may be gone."""
    if not study.clips.is_dir():
        return
    dealt = {f"{clip.clip}.wav": clip.digest for clip in plan.clips}
    there = {path.name for path in study.clips.iterdir()}
    for name, digest in dealt.items():
        path = study.clips / name
        if name not in there:
            yield f"{path}: not there, though it was dealt"
        elif hashlib.sha256(path.read_bytes()).hexdigest() != digest:
            yield f"{path}: not the clip that was dealt; nobody can say which one the listeners heard"
    yield from (f"{study.clips / name}: was never dealt" for name in sorted(there - set(dealt)))


def _history(study: Study, plan: Plan) -> Iterator[str]:
    """The list of deals, which the page's word on deposit and versions comes from."""
    if not study.history.is_file():
        return
    noted = History.load(study.history).version(plan.dealt_digest)
    if noted is None or (noted.number, noted.dealt_at) != (plan.study_version, plan.dealt_at):
        yield f"{study.history}: this deal does not stand in it as the plan has it; restore the file"


def _sources(study: Study, found: Findings) -> Iterator[str]:
    """What was measured, as it was when it was analysed."""
    for name, digest in found.sources.items():
        path = study.root / name
        if frozen.file_digest(path) != digest:
            yield f"{path}: not what it was when the answers were analysed; restore it, or analyse again"
