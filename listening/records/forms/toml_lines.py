"""On which line of a TOML text each key stands; the standard reader does not say."""

import bisect
import re
import tomllib

Path = tuple[int | str, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(r'"""(?:\\.|(?!""").)*"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\])*"|\'[^\']*\'', re.S)
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_SCALAR = re.compile(r"[^,\]}#\n]+")


def lines(text: str) -> dict[Path, int]:
    """The line, from 1, of every key, table and array element of a valid TOML text.

    Returns
    -------
    dict from key path to line: ("questions", 0, "contrast", "more") -> 217

    Source: TOML v1.0.0, toml.io.
    """
    return _Reader(text).read()


def line_of(found: dict[Path, int], path: Path) -> int | None:
    """The line of a key, or of the nearest table around it that stands in the text."""
    for end in range(len(path), 0, -1):
        if path[:end] in found:
            return found[path[:end]]
    return None


class _Reader:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.found: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}
        self.ends = [match.start() for match in re.finditer("\n", text)]

    def read(self) -> dict[Path, int]:
        table: Path = ()
        self._skip(_BLANK)
        while self.at < len(self.text):
            if self.text.startswith("[", self.at):
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)
        return self.found

    def _header(self) -> Path:
        is_array = self.text.startswith("[[", self.at)
        start = self.at
        self.at += 2 if is_array else 1
        path: Path = ()
        keys = self._keys()
        for i, key in enumerate(keys):
            path = (*path, key)
            if is_array and i == len(keys) - 1:
                self.counts[path] = self.counts.get(path, -1) + 1
            if path in self.counts:  # a table inside an array of tables belongs to its last element
                path = (*path, self.counts[path])
        self.at = self.text.index("]" * (2 if is_array else 1), self.at) + (2 if is_array else 1)
        self._note(path, start)
        return path

    def _pair(self, table: Path) -> None:
        start = self.at
        path = table
        for key in self._keys():
            path = (*path, key)
            self._note(path, start)
        self._skip(_SPACE)
        self.at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip(_SPACE)
            quoted = _STRING.match(self.text, self.at)
            match = quoted or _BARE.match(self.text, self.at)
            if match is None:
                raise ValueError(f"no key at character {self.at}")
            keys.append(str(tomllib.loads(f"k = {match[0]}")["k"]) if quoted else match[0])
            self.at = match.end()
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return keys
            self.at += 1

    def _value(self, path: Path) -> None:
        if self.text.startswith("[", self.at):
            self._items(path, "]")
        elif self.text.startswith("{", self.at):
            self._items(path, "}")
        else:
            match = _STRING.match(self.text, self.at) or _SCALAR.match(self.text, self.at)
            self.at = match.end() if match else self.at + 1

    def _items(self, path: Path, close: str) -> None:
        self.at += 1
        index = 0
        self._skip(_BLANK)
        while not self.text.startswith(close, self.at):
            if close == "}":
                self._pair(path)
            else:
                self._note((*path, index), self.at)
                self._value((*path, index))
                index += 1
            self._skip(_BLANK)
            if self.text.startswith(",", self.at):
                self.at += 1
                self._skip(_BLANK)
        self.at += 1

    def _note(self, path: Path, at: int) -> None:
        for end in range(1, len(path) + 1):
            self.found.setdefault(path[:end], bisect.bisect_left(self.ends, at) + 1)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()
