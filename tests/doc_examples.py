"""Runs the commands that README and the documentation print: each page is one session in a folder of its own.

What a page cannot say to its reader stands in comments of its source:

`<!-- folder: bells dealt; ring.wav -->` begins a session: what lies in the folder (`STATES`, `THINGS`).
`<!-- before: the title is mended -->` does what a reader would have done meanwhile (`ACTS`, or a command).
`<!-- line: COMMAND | not run: a sound device -->` one of `NEEDS`, with the test that runs its like.
`<!-- line: COMMAND | instead: COMMAND | because: ... -->`, `| exit: 1 | because: ...`, `| slow: ...`.
"""

import contextlib
import io
import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from listening import cli
from tests import doc_things

ROOT = Path(__file__).resolve().parents[1]
NEEDS = {
    "a PostgreSQL server": "tests/store/test_server_checks.py",
    "a sound device": "tests/audio/test_speaker.py",
    "a study of ratings": "tests/planning/test_rating_size.py",
    "a design that comes late": "tests/attacks/test_late_stage.py",
    "a Dask scheduler": "tests/stats/repeats/test_places.py",
    "an installation": "tests/test_wheel.py",
    "a demo of its own": "tests/test_demo.py",
    "an editor": "tests/commands/test_help.py",
}
"""Why a line is not run here, and the file that runs its like."""
CHAIN = {
    "listening new bells --from protocols/bells.toml": ("nothing", "new"),
    "listening measure bells": ("new", "measured"),
    "listening prepare bells": ("measured", "prepared"),
    "listening deal bells": ("prepared", "dealt"),
    "listening simulate bells": ("dealt", "simulated"),
    "listening analyse bells": ("simulated", "analysed"),
    "listening report bells": ("analysed", "reported"),
}
"""The walk: each step is run once, and its folder is taken wherever the same step comes in the same state."""
STATES = tuple(after for _, after in CHAIN.values())
LOOKS = ("listening check bells", "listening devices")  # change nothing in the folder
MARK = re.compile(r"<!-- (folder|before|line): (.*?) -->", re.S)
FENCE = re.compile(r"^```console\n(.*?)^```", re.S | re.M)
FORM = re.compile(r"\b[A-Z]{2,}\b|…|\||^listening \w+$")  # tells how to write a command; is no example
INLINE = re.compile(r"(?<!`)`(listening [^`]+)`(?!`)", re.S)


@dataclass
class Line:
    """One example, and what its page says about it."""

    text: str
    says: dict[str, str] = field(default_factory=dict)


@dataclass
class Session:
    """Examples that share a folder."""

    holds: tuple[str, ...]
    steps: list[tuple[str, Line]] = field(default_factory=list)
    """`before` or `line`, in the order of the page."""


def sessions(text: str, *, inline: bool = False) -> list[Session]:
    """The sessions of a page; with `inline` what stands within a sentence is an example, too."""
    marks, found, made = {}, [], []
    for match in MARK.finditer(text):
        kind, said = match[1], " ".join(match[2].split())
        if kind == "line":
            line, *rest = said.split(" | ")
            marks[line] = dict(part.split(": ", 1) for part in rest)
        else:
            found.append((match.start(), kind, said))
    shown = MARK.sub(lambda m: " " * len(m[0]), text)
    for match in FENCE.finditer(shown):
        lines = match[1].replace("\\\n", " ").splitlines()
        found += [
            (match.start() + n, "line", " ".join(line.split()))
            for n, line in enumerate(lines)
            if line.strip()
        ]
    if inline:
        outside = FENCE.sub(lambda m: " " * len(m[0]), shown)
        spans = [(m.start(), " ".join(m[1].split())) for m in INLINE.finditer(outside)]
        found += [(at, "line", said) for at, said in spans if " " in said.strip() and not FORM.search(said)]
    for _, kind, said in sorted(found):
        if kind == "folder":
            made.append(Session(tuple(part.strip() for part in said.split(";"))))
        elif not made:
            raise LookupError(f"`{said}`: the page's source says no <!-- folder: ... --> before it")
        else:
            made[-1].steps.append((kind, Line(said, marks.pop(said, {}) if kind == "line" else {})))
    if marks:
        raise LookupError(f"marks of lines that the page does not print: {list(marks)}")
    return made


class Folders:
    """The study in each of its states, made by the commands of the walk when first asked for."""

    def __init__(self, base: Path) -> None:
        self.base = base
        self._number = 0

    def fresh(self, name: str = "") -> Path:
        """An empty folder beside the others, with the source tree's sounds and a short protocol."""
        self._number += 1
        folder = self.base / (name or f"session_{self._number}")
        folder.mkdir()
        doc_things.source_tree(folder)
        return folder

    def put(self, state: str, folder: Path) -> None:
        """The study `bells` in a state, into a folder."""
        if state == "nothing":
            return
        kept = self.base / f"bells_{state}"
        if not kept.exists():
            [(step, before)] = [(step, b) for step, (b, after) in CHAIN.items() if after == state]
            fresh = self.fresh(f"bells_{state}")
            self.put(before, fresh)
            code, said = run(step, fresh)
            assert code == 0, f"{step}: {said}"
        shutil.copytree(kept / "bells", folder / "bells", symlinks=True)


def run_session(session: Session, folders: Folders, *, slow: bool) -> list[str]:
    """Run it; what went otherwise than its page says."""
    steps = [
        (kind, line)
        for kind, line in session.steps
        if "not run" not in line.says and (slow or "slow" not in line.says)
    ]
    if not any(kind == "line" for kind, _ in steps):
        return []
    folder, faults = folders.fresh(), []
    state = _laid_out(session, folders, folder)
    for kind, line in steps:
        command = line.says.get("instead", line.text)
        if kind == "before" and not command.startswith("listening "):
            doc_things.ACTS[command](folder)
            state = ""
            continue
        if state and CHAIN.get(command, ("",))[0] == state:
            state = CHAIN[command][1]
            shutil.rmtree(folder / "bells", ignore_errors=True)
            folders.put(state, folder)
            continue
        if command not in LOOKS:
            state = ""
        code, said = run(command, folder)
        if code != int(line.says.get("exit", 0)):
            faults.append(f"{line.text}: ended with {code}: {said}")
    return faults


def _laid_out(session: Session, folders: Folders, folder: Path) -> str:
    """Put what a session begins with into its folder; the state of the study there."""
    state = "nothing"
    for held in session.holds:
        if held.startswith("bells "):
            state = held.removeprefix("bells ")
            folders.put(state, folder)
        elif held != "nothing":
            doc_things.THINGS[held](folder)
    return state


def run(text: str, folder: Path) -> tuple[int, str]:
    """A line as a shell in the folder would run it, in this process; exit code, and what was printed."""
    command, redirect, target = _parted(text)
    words = shlex.split(command, comments=True)
    printed = io.StringIO()
    with _inside(folder) as env, contextlib.redirect_stdout(printed), contextlib.redirect_stderr(printed):
        match words:
            case ["listening", *rest]:
                code = _listening([word for r in rest for word in _globbed(r, folder)])
            case ["python", "-m", "listening", *rest]:
                code = _listening(rest)
            case ["cp", "-r", source, to]:
                shutil.copytree(folder / source, folder / to, symlinks=True)
                code = 0
            case ["mkdir", "-p", *paths]:
                for path in paths:
                    Path(path.replace("~", env["HOME"])).mkdir(parents=True, exist_ok=True)
                code = 0
            case _:
                return 127, "no such command here; give the line a mark"
    if redirect:
        with Path(target.replace("~", env["HOME"])).open("a" if redirect == ">>" else "w") as file:
            file.write(printed.getvalue())
    return code, printed.getvalue()[-600:]


def _parted(text: str) -> tuple[str, str, str]:
    match = re.fullmatch(r"(.*?) (>>?) (\S+)", text)
    return (match[1], match[2], match[3]) if match else (text, "", "")


def _globbed(word: str, folder: Path) -> list[str]:
    if "*" not in word:
        return [word]
    return sorted(str(p.relative_to(folder)) for p in folder.glob(word)) or [word]


def _listening(words: list[str]) -> int:
    try:
        return cli.main(words)
    except SystemExit as ended:  # --help, --version and slips of the parser
        return int(ended.code or 0)


@contextlib.contextmanager
def _inside(folder: Path) -> Iterator[dict[str, str]]:
    home = folder / "home"
    home.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch, contextlib.chdir(folder):
        patch.setenv("HOME", str(home))
        doc_things.at_a_station(patch)
        yield {"HOME": str(home)}
