"""The text of a copy that goes out (plain text, Markdown, HTML, Word), in paragraphs, and in sentences."""

import re
import zipfile
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

from listening.errors import RecordError
from listening.records.forms.text import read_text
from listening.report.claims import canonical

MOST_UNCLOSED = 500  # tags begun at the end of a page; each costs the library a look through what follows
LIMIT_BYTES = 20_000_000  # of text, unpacked; more than any leaflet or web page holds
WORD = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"
PARTS = re.compile(r"word/(document|footnotes|endnotes|comments|header\d*|footer\d*)\.xml$")
UNSEEN = ("script", "style", "template", "noscript")
INLINE = frozenset(  # elements that break no sentence
    (
        *("a", "abbr", "b", "bdi", "bdo", "cite", "code", "data", "dfn", "em", "font", "i", "kbd", "label"),
        *("mark", "q", "s", "samp", "small", "span", "strong", "sub", "sup", "time", "u", "var", "wbr"),
    )
)
SPOKEN = ("alt", "title", "aria-label", "placeholder", "content")
MARKDOWN = (
    (re.compile(r"!?\[([^\[\]]*)\]\([^()]*(?:\([^()]*\)[^()]*)?\)"), r"\1"),
    (re.compile(r"^\s{0,3}(?:#{1,6}\s+|>\s?|[-*+]\s+|\d{1,3}[.)]\s+)", re.MULTILINE), "\n\n"),
    (re.compile(r"(\*\*|__|\*|_|~~|`)(?=\S)(.{1,600}?)(?<=\S)\1"), r"\2"),
    (re.compile(r" ?\| ?"), "\n\n"),
)
ENDS = re.compile(
    rf"(?<=[.!?…])[\"”“’»)\]*†‡¹²³]*(?:\[[0-9]{{1,2}}\])?[{canonical.SPACES}]+(?=[\"“„«(\[]?[^\W_a-z])"
)
SHORT = re.compile(
    r"\b(?:approx|e\.g|i\.e|etc|vs|no|nos|fig|dr|mr|mrs|z\.b|d\.h|ca|bzw|nr|usw)\.$", re.IGNORECASE
)


def paragraphs(path: Path) -> list[str]:
    """The paragraphs of a copy, by the ending of its name.

    Raises
    ------
    RecordError
        The file cannot be read, is too large, or is of no known kind.
    """
    reader = KINDS.get(path.suffix.lower())
    if reader is None:
        raise RecordError(
            f"{path}: found a file named *{path.suffix}, wanted {', '.join(KINDS)}; save the copy as one of "
            "them"
        )
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise RecordError(f"{path}: more than {LIMIT_BYTES / 1e6:g} MB; split the copy")
        found = reader(path)
    except (OSError, zipfile.BadZipFile, KeyError, ElementTree.ParseError) as error:
        raise RecordError(f"{path}: cannot be read as {path.suffix} ({error}); save the copy anew") from error
    evened = (canonical.without_runs(one).strip(canonical.SPACES) for one in found)
    return [text for text in evened if text]


def sentences(paragraph: str) -> list[str]:
    """The sentences of a paragraph, each as it stands."""
    found, start = [], 0
    for end in ENDS.finditer(paragraph):
        if SHORT.search(paragraph[start : end.start()]):
            continue
        found.append(paragraph[start : end.end()].strip(canonical.SPACES))
        start = end.end()
    return [one for one in (*found, paragraph[start:].strip(canonical.SPACES)) if one]


def _plain(path: Path) -> list[str]:
    return _blocks(_text(path))


def _markdown(path: Path) -> list[str]:
    text = _without_comments(canonical.without_runs(_text(path)))
    for pattern, instead in MARKDOWN:
        text = pattern.sub(instead, text)
    return _blocks(text)


def _without_comments(text: str) -> str:
    parts, at = [], 0
    while (begins := text.find("<!--", at)) >= 0 and (ends := text.find("-->", begins)) >= 0:
        parts.append(text[at:begins])
        at = ends + 3
    return "".join(parts) + text[at:]


def _html(path: Path) -> list[str]:
    reader, text = _Seen(), _text(path)
    unclosed = text.rpartition(">")[2].count("<")
    if unclosed > MOST_UNCLOSED:
        raise RecordError(f"{path}: {unclosed} times < after the last >: it is no page; save the copy anew")
    reader.feed(text)
    reader.close()
    return _blocks("".join(reader.parts))


def _docx(path: Path) -> list[str]:
    with zipfile.ZipFile(path) as whole:
        names = [one for one in whole.infolist() if PARTS.match(one.filename)]
        if "word/document.xml" not in {one.filename for one in names}:
            raise RecordError(f"{path}: found no word/document.xml in it, wanted a Word document")
        if sum(one.file_size for one in names) > LIMIT_BYTES:
            raise RecordError(f"{path}: more than {LIMIT_BYTES / 1e6:g} MB of text; split the copy")
        texts = [whole.read(one) for one in names]
    if any(b"<!DOCTYPE" in text[:2000].upper().replace(b"\x00", b"") for text in texts):
        raise RecordError(f"{path}: found a document type, which no Word document has; save the copy anew")
    return [said for text in texts for said in _of_part(ElementTree.fromstring(text))]


def _of_part(root: ElementTree.Element) -> Iterator[str]:
    """Paragraphs of one part of a Word document; what was deleted or is an instruction is not read."""
    for paragraph in root.iter(f"{WORD}p"):
        parts = []
        for one in paragraph.iter():
            if one.tag == f"{WORD}t":
                parts.append(one.text or "")
            elif one.tag in (f"{WORD}tab", f"{WORD}br"):
                parts.append(" ")
            elif one.tag == f"{WORD}noBreakHyphen":
                parts.append("-")
        yield "".join(parts)


def _text(path: Path) -> str:
    return read_text(path) if path.stat().st_size else ""


def _blocks(text: str) -> list[str]:
    return re.split(r"\n[ \t\r]*\n|\f", text)


class _Seen(HTMLParser):
    """What a reader of a page sees or hears, a blank line between blocks."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.parts: list[str] = []
        self.unseen = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.unseen += tag in UNSEEN
        self._break(tag)
        for name, value in attrs:
            if name in SPOKEN and value and not (tag == "meta" and dict(attrs).get("name") == "viewport"):
                self.parts.append(f"\n\n{value}\n\n")

    def handle_endtag(self, tag: str) -> None:
        self.unseen = max(0, self.unseen - (tag in UNSEEN))
        self._break(tag)

    def handle_data(self, data: str) -> None:
        if not self.unseen:
            self.parts.append(re.sub(r" ?\n\s*", " ", data))

    def _break(self, tag: str) -> None:
        if tag not in INLINE:
            self.parts.append("\n\n")


KINDS: dict[str, Callable[[Path], list[str]]] = {
    ".txt": _plain,
    ".md": _markdown,
    ".html": _html,
    ".htm": _html,
    ".docx": _docx,
}
