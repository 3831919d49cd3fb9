"""Cases from the form of a protocol: any key that the schema knows with a value of every type; and drafts."""

import copy
import random
import tomllib
import zipfile
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from listening.records.protocols.protocol import Protocol
from tests.fuzz import toml_text

Key = tuple[str | int, ...]  # 0 stands for an item of a list
DEEPEST = 6
VALUES: tuple[Any, ...] = (
    *(True, False, 0, -1, 1, 2, 3, 100, 10**6, 2**63 - 1, -(2**63), 0.05, 0.5, -0.0, 1e308, -1e308, 1e-320),
    *(float("nan"), float("inf"), "", " ", "x" * 70_000, "é", "e\u0301", "ß", "\u0130", "\u200b", "\ufeff"),
    *("a\nb", "\u2028", "../../etc/passwd", "/dev/zero", "pipe", "loop", "nan", "one", "a", "b", "B"),
    *("loudness", "matched", "as recorded", "more", "same", "share", "points", "triangle", "adjustment"),
    *("multiple stimulus", "same-different", "pocock", "replace", "count", "de", "nmax_sone", "decay_s"),
    *([], {}, [[]], [{}], ["a", "a"], ["b", "A"], [1, 2], [1.5, float("nan")], [True], {"a": 1}, {"": ""}),
    *(
        {"more": "a", "than": "a"},
        {"more": ["a"], "than": []},
        {"design": ["a", "a"]},
        [["a", "b"], ["b", "a"]],
    ),
)
COMMANDS = (
    ["check", "."],
    ["check", ".", "--json"],
    ["prepare", ".", "--jobs", "1"],
    ["deal", ".", "--again", "one strike was wrong"],
    ["amend", ".", "a word was misspelt"],
    ["amend", ".", "--dry-run"],
    ["size", ".", "--studies", "2", "--listeners", "8", "--jobs", "1"],
    ["rehearse", ".", "--runs", "1", "--jobs", "1"],
    ["new", "fresh", "--from", "protocol.toml"],
    ["analyse", "."],
    ["verify", "."],
)
DRAFTS = (
    b"",
    b"\x00" * 1000,
    b"<p>" * 100_000,
    b"<!--" * 50_000,
    *(
        b"x" + part * (200_000 // len(part)) + b"y"
        for part in (b" ", b"\n", b"\r", b"[", b"*a ", b"~~a ", b"<a x='1' ")
    ),
    b"a" * 500_000,
    b"Plate b sounds louder than plate a. " * 5000,
    b"\xff\xfe" + "Plate b sounds louder.".encode("utf-16-le"),
    "\u202ePlate b sounds\x1b[31m louder than plate a.\x9b".encode(),
    b"&#27;[31m Plate b sounds louder than plate a. &#x9b;",
    "Plätte b".encode("latin-1"),
)
ENTITIES = "".join(f'<!ENTITY {chr(98 + i)} "{("&" + chr(97 + i) + ";") * 10}">' for i in range(9))
PACKED = (
    b"<w:t>" + b"a" * 100_000_000 + b"</w:t>",
    f'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa">{ENTITIES}]><l>&j;</l>'.encode(),
    b'<?xml version="1.0"?><!DOCTYPE d [<!ENTITY x SYSTEM "file:///etc/passwd">]><d>&x;</d>',
    b"<a>" * 200_000,
)


@cache
def keys() -> tuple[Key, ...]:
    """Every key of a protocol."""
    schema = Protocol.model_json_schema()
    found: set[Key] = set()

    def walk(node: dict[str, Any], path: Key, depth: int) -> None:
        if depth > DEEPEST:
            return
        if "$ref" in node:
            node = schema["$defs"][node["$ref"].split("/")[-1]]
        for other in (*node.get("anyOf", ()), *node.get("allOf", ())):
            walk(other, path, depth + 1)
        for name, inner in node.get("properties", {}).items():
            found.add((*path, name))
            walk(inner, (*path, name), depth + 1)
        if node.get("type") == "array" and isinstance(node.get("items"), dict):
            walk(node["items"], (*path, 0), depth + 1)

    walk(schema, (), 0)
    return tuple(sorted(found, key=str))


def schema(folder: Path, rng: random.Random) -> list[str]:
    """A protocol in which one to four keys of the schema have a value of any type."""
    path = folder / "protocol.toml"
    tree = tomllib.loads(path.read_text())
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        _put(tree, rng.choice(keys()), copy.deepcopy(rng.choice(VALUES)), rng)
    for name in ("attributes", "questions", "blocks", "stages", "controls"):
        if isinstance(tree.get(name), list) and tree[name] and rng.random() < 0.05:
            tree[name] = tree[name] * rng.choice((2, 50))
    path.write_text(toml_text.dump(tree))
    return list(rng.choice(COMMANDS))


def draft(folder: Path, rng: random.Random) -> list[str]:
    """A copy with claims that is no such thing, or is packed to burst."""
    kind = rng.choice(("txt", "md", "html", "docx", "docx", "pdf"))
    path = folder / f"copy.{kind}"
    if kind == "docx" and rng.random() < 0.8:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr(
                rng.choice(("word/document.xml", "word/document.xml", "other")), rng.choice(PACKED)
            )
    else:
        path.write_bytes(rng.choice(DRAFTS))
    return ["claim", "--file", path.name, ".", *rng.choice(([], ["--json"]))]


def _put(tree: Any, key: Key, value: Any, rng: random.Random) -> None:
    """Set a key, making what it stands in where that is not there."""
    node = tree
    for part, after in pairwise(key):
        if part == 0:
            if not isinstance(node, list):
                return
            if not node:
                node.append([] if after == 0 else {})
            node = rng.choice(node)
        elif isinstance(node, dict):
            node = node.setdefault(str(part), [] if after == 0 else {})
        else:
            return
    if isinstance(node, dict):
        node[str(key[-1])] = value
