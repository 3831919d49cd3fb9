"""A disk after a power cut, from what a process asked of it: only what was synced is certain to be there.

The process runs under strace, which writes down every call that changes files. `Disk` takes the calls one
by one and holds what is certain: a file's bytes up to its last fsync, a name once its folder was synced. What
was asked for later may be there or not, in any order; `after_a_cut` leaves it out, or lets a part of it
through, and of a write perhaps only some sectors. Source of what is certain: POSIX.1-2017, fsync; fsync(2) of
Linux, on folders.
"""

import os
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

CALLS = (
    "openat,open,creat,write,pwrite64,ftruncate,fsync,fdatasync,rename,renameat,renameat2,unlink,unlinkat,"
    "mkdir,mkdirat,rmdir,link,linkat,lseek,writev,pwritev,copy_file_range,sendfile,fallocate"
)
SECTOR = 512
ROOT = Path(__file__).resolve().parents[1]
CALL = re.compile(r"^\d+ +(\w+)\((.*)\) += (-?\d+)(?:<((?:[^>\\]|\\.)*)>)?")
TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
OPENED = re.compile(r"^(\d+)<((?:[^>\\]|\\.)*)>")


@dataclass(frozen=True)
class Call:
    """One call that came back."""

    name: str
    words: str
    """The arguments, as strace writes them"""
    result: int
    made: str
    """The path of the file that it opened"""

    @property
    def path(self) -> str:
        """The path of the file it writes to or syncs."""
        found = OPENED.match(self.words)
        return _plain(found[2]) if found else ""

    @property
    def texts(self) -> list[bytes]:
        return [bytes.fromhex(text.replace("\\x", "")) for text in TEXT.findall(self.words)]

    @property
    def numbers(self) -> list[int]:
        return [int(n) for n in re.findall(r"(?<=, )(-?\d+)(?=, |$)", self.words)]


def strace_works() -> bool:
    """Whether strace is here and may follow a process; some containers forbid it."""
    if shutil.which("strace") is None:
        return False
    return subprocess.run(["strace", "-qq", "-o", os.devnull, "true"], check=False).returncode == 0


needed = pytest.mark.skipif(not strace_works(), reason="strace is not on this machine, or may not be used")


def traced(words: list[str], folder: Path, log: Path, *, sends: bytes = b"") -> list[Call]:
    """Run a command in `folder` and give every call that it made there, in the order they came back."""
    asked = ["strace", "-f", "-qq", "-y", "-xx", "-s", "100000000", "-e", f"trace={CALLS}", "-o", str(log)]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [*asked, *words], cwd=folder, input=sends, capture_output=True, env=environment, check=False
    )
    if done.returncode:
        raise RuntimeError(f"{words} ended with {done.returncode}: {done.stderr.decode()[-2000:]}")
    return list(_calls(log))


def _calls(log: Path) -> Iterator[Call]:
    begun: dict[str, str] = {}
    with log.open(encoding="latin-1") as lines:
        for line in lines:
            thread = line.split(" ", 1)[0]
            if line.endswith("<unfinished ...>\n"):
                begun[thread] = line[: -len("<unfinished ...>\n")]
                continue
            if "resumed>" in line[:80]:
                line = begun.pop(thread) + line.split("resumed>", 1)[1]
            if (found := CALL.match(line)) and int(found[3]) >= 0:
                yield Call(found[1], found[2], int(found[3]), _plain(found[4] or ""))


def _plain(text: str) -> str:
    text = text.removesuffix(" (deleted)")
    return re.sub(r"\\x([0-9a-f]{2})", lambda m: chr(int(m[1], 16)), text)


@dataclass
class _File:
    """A file's bytes that are certain, and what was asked since."""

    certain: bytearray = field(default_factory=bytearray)
    waiting: list[tuple[int, bytes]] = field(default_factory=list)
    """(place, bytes); a negative place cuts the file at -place - 1"""
    size: int = 0


@dataclass
class _Folder:
    """A folder's names that are certain, and those that programs see."""

    now: "dict[str, _File | _Folder]" = field(default_factory=dict)
    certain: "dict[str, _File | _Folder]" = field(default_factory=dict)


class Disk:
    """What of one folder is certain to be there, call by call."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self._top = _read(self.root)
        self._positions: dict[str, int] = {}

    def take(self, call: Call) -> None:
        """The next call."""
        name = call.name
        if name in ("openat", "open", "creat"):
            self._open(call)
        elif name in ("write", "pwrite64"):
            self._write(call)
        elif name == "ftruncate":
            self._cut(call)
        elif name in ("fsync", "fdatasync"):
            self._sync(call)
        elif name in ("rename", "renameat", "renameat2"):
            self._rename(call)
        elif name in ("unlink", "unlinkat", "rmdir"):
            for path in self._paths(call)[:1]:
                self._folder_of(path).now.pop(Path(path).name, None)
        elif name in ("mkdir", "mkdirat"):
            for path in self._paths(call)[:1]:
                self._folder_of(path).now[Path(path).name] = _Folder()
        elif name == "lseek" and self._inside(call.path):
            self._positions[call.path] = call.result
        elif self._inside(call.path):
            raise NotImplementedError(f"{name} on {call.path}: the model of a disk does not know it")

    def after_a_cut(self, place: Path, *, rng: random.Random | None = None) -> None:
        """Write into `place` what a power cut leaves: what is certain, or (with `rng`) some more of it."""
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        _lay_out(self._top, place, rng, all_names=rng is not None and rng.random() < 0.5)

    def _inside(self, path: str) -> bool:
        return path.startswith(f"{self.root}/") and not path.endswith("-shm")

    def _folder_of(self, path: str) -> _Folder:
        found = self._node(str(Path(path).parent))
        if not isinstance(found, _Folder):
            raise NotADirectoryError(path)
        return found

    def _node(self, path: str) -> _File | _Folder | None:
        node: _File | _Folder | None = self._top
        for part in Path(path).relative_to(self.root).parts:
            node = node.now.get(part) if isinstance(node, _Folder) else None
        return node

    def _file(self, path: str) -> _File | None:
        node = self._node(path) if self._inside(path) else None
        return node if isinstance(node, _File) else None

    def _open(self, call: Call) -> None:
        path = call.made
        if not self._inside(path) or "O_DIRECTORY" in call.words:
            return
        self._positions[path] = 0
        file = self._file(path)
        if self._node(path) is None and "O_CREAT" in call.words:
            self._folder_of(path).now[Path(path).name] = file = _File()
        elif file is not None and "O_TRUNC" in call.words:
            file.waiting.append((-1, b""))
            file.size = 0
        if file is not None and "O_APPEND" in call.words:
            self._positions[path] = file.size

    def _write(self, call: Call) -> None:
        path = call.path
        file = self._file(path)
        if file is None:
            return
        content = call.texts[0][: call.result]
        at = call.numbers[-1] if call.name == "pwrite64" else self._positions.get(path, 0)
        if call.name == "write":
            self._positions[path] = at + len(content)
        file.waiting.append((at, content))
        file.size = max(file.size, at + len(content))

    def _cut(self, call: Call) -> None:
        file = self._file(call.path)
        if file is not None:
            file.waiting.append((-call.numbers[-1] - 1, b""))
            file.size = call.numbers[-1]

    def _sync(self, call: Call) -> None:
        path = call.path
        node = self._node(path) if self._inside(path) or path == str(self.root) else None
        if isinstance(node, _File):
            for change in node.waiting:
                _apply(node.certain, change)
            node.waiting.clear()
        elif isinstance(node, _Folder):
            node.certain = dict(node.now)

    def _rename(self, call: Call) -> None:
        paths = self._paths(call)
        if len(paths) < 2:
            return
        (one, of_one), (other, of_other) = ((Path(p).name, self._folder_of(p).now) for p in paths[:2])
        held, other_held = of_one.pop(one), of_other.pop(other, None)
        of_other[other] = held
        if "RENAME_EXCHANGE" in call.words and other_held is not None:
            of_one[one] = other_held

    def _paths(self, call: Call) -> list[str]:
        """The paths named in a call, whole; they are relative to the folder the command ran in."""
        folders = [_plain(m) for m in re.findall(r"(?:AT_FDCWD|\b\d+)<((?:[^>\\]|\\.)*)>", call.words)]
        texts = [text.decode() for text in call.texts]
        heads = folders if len(folders) == len(texts) else [str(self.root)] * len(texts)
        whole = [os.path.normpath(Path(head, text)) for head, text in zip(heads, texts, strict=True)]
        return whole if all(self._inside(path) for path in whole) else []


def _read(folder: Path) -> _Folder:
    """A folder as it lies: all of it is certain."""
    made = _Folder()
    for path in sorted(folder.iterdir()):
        if path.is_dir():
            made.now[path.name] = _read(path)
        elif path.is_file():
            content = bytearray(path.read_bytes())
            made.now[path.name] = _File(content, [], len(content))
    made.certain = dict(made.now)
    return made


def _lay_out(folder: _Folder, place: Path, rng: random.Random | None, *, all_names: bool) -> None:
    for name, node in sorted((folder.now if all_names else folder.certain).items()):
        if isinstance(node, _Folder):
            (place / name).mkdir()
            _lay_out(node, place / name, rng, all_names=all_names)
        else:
            (place / name).write_bytes(_partly(node, rng))


def _apply(content: bytearray, change: tuple[int, bytes]) -> None:
    at, written = change
    if at < 0:
        size = -at - 1
        content[size:] = bytes(max(size - len(content), 0))
        return
    if len(content) < at:
        content.extend(bytes(at - len(content)))
    content[at : at + len(written)] = written


def _partly(file: _File, rng: random.Random | None) -> bytes:
    """The certain bytes, with `rng` some of the later writes, each sector by itself."""
    content = bytearray(file.certain)
    for at, written in file.waiting if rng is not None else ():
        if at < 0 or rng is None:
            if rng is not None and rng.random() < 0.5:
                _apply(content, (at, written))
            continue
        for start in range(0, len(written), SECTOR):
            if rng.random() < 0.5:
                _apply(content, (at + start, written[start : start + SECTOR]))
    return bytes(content)


def python(program: str) -> list[str]:
    """Words that run a program with this interpreter."""
    return [sys.executable, "-c", program]
