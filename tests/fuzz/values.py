"""Values that nobody should give: the fuzzer draws from here."""

import random
from typing import Any

ESCAPES = ("\x1b[31mred", "\x1b]0;title\x07", "\x9b2J", "a\rb", "\x00", "\u202etxt.exe", "\x08\x08", "\x7f")
TEXTS = (
    "",
    " ",
    "x",
    "=cmd|'/C calc'!A0",
    "+1+1",
    "-2",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    "{{ 7 * 7 }}",
    "%s%n%d",
    "$\\frac{a$",
    "[red]bold[/red]",
    "'; DROP TABLE answer; --",
    "ä" * 300,
    "x" * 100_000,
    "名前",
    "🔔",
    "e\u0301",
    "a/b",
    "a,b;c\td",
    'say "x"',
    "a\nb",
    "nan",
    "inf",
    "1e400",
    "None",
    "true",
    *ESCAPES,
)
PATHS = (
    "..",
    ".",
    "/",
    "/dev/zero",
    "/dev/null",
    "/proc/self/mem",
    "no/such/place",
    "x" * 300,
    "x/" * 3000,
    "a\x00b",
    "pipe",
    "../pipe",
    "../folder",
    "../loop",
    "folder",
    "empty",
    "loop",
    "protocol.toml",
    "sounds",
    "sounds/a1.wav",
    "ü.wav",
    "~root",
    "file:///etc/passwd",
    "postgresql://u:p@h/d",
    "postgresql://h/d?sslpassword=x",
    "postgresql://[::1/d",
    "mysql://h/d",
)
NUMBERS = (0, 1, -1, 2, 3, 7, 100, 10**6, 2**31, 2**63, 2**64, 10**30, 10**400, 0.5, -0.0, 1e-300, 5e-324)
FLOATS = (1e308, -1e308, float("inf"), float("-inf"), float("nan"), 1e15, 1e-9, 0.1)


def value(rng: random.Random) -> Any:
    """One hostile value of any kind that TOML and JSON know."""
    kind = rng.randrange(9)
    if kind == 0:
        return rng.choice(NUMBERS)
    if kind == 1:
        return rng.choice(FLOATS)
    if kind in (2, 3):
        return rng.choice(TEXTS)
    if kind == 4:
        return rng.choice(PATHS)
    if kind == 5:
        return rng.choice((True, False))
    if kind == 6:
        return rng.choice(([], {}, [[]], [{}], {"": ""}, {"a": {"b": []}}, [1, "a", []]))
    if kind == 7:
        return [value(rng) for _ in range(rng.randrange(4))]
    return rng.choice((_deep_list, _deep_table, _long_list))(rng)


def word(rng: random.Random) -> str:
    """One hostile word for a command line."""
    kind = rng.randrange(4)
    made = (
        rng.choice(TEXTS)
        if kind == 0
        else rng.choice(PATHS)
        if kind == 1
        else str(rng.choice(NUMBERS + FLOATS))
        if kind == 2
        else rng.choice(
            ("0", "-1", "1", "8", "1e308", "nan", "share=0.75", "share=nan", "db=1e308", "a=b", "--")
        )
    )
    return made.replace("\x00", "\\0")[
        :60_000
    ]  # no command line carries a null, nor more than 128 KiB a word


def _deep_list(rng: random.Random) -> list[Any]:
    made: list[Any] = []
    for _ in range(rng.choice((5, 60, 150))):
        made = [made]
    return made


def _deep_table(rng: random.Random) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for _ in range(rng.choice((5, 60, 150))):
        made = {"a": made}
    return made


def _long_list(rng: random.Random) -> list[Any]:
    return [rng.choice((rng.choice(TEXTS[:8]), i)) for i in range(rng.choice((100, 3000)))]


def mutated_bytes(content: bytes, rng: random.Random) -> bytes:
    """Bytes with some changed, cut, doubled or put in."""
    made = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        at = rng.randrange(len(made) + 1)
        act = rng.randrange(6)
        if act == 0 and made:
            made[at % len(made)] = rng.randrange(256)
        elif act == 1 and made:
            made[at % len(made)] ^= 1 << rng.randrange(8)
        elif act == 2:
            del made[at : at + rng.choice((1, 4, 100, 10_000))]
        elif act == 3:
            made[at:at] = rng.choice(
                (b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\n", b"]", b"[[", b'"', b"\x1b[2J")
            )
        elif act == 4:
            made[at:at] = made[at : at + rng.choice((1, 10, 1000))]
        else:
            made[at:at] = str(rng.choice(NUMBERS + FLOATS)).encode()[:500]
    return bytes(made)


def mutated_tree(tree: Any, rng: random.Random) -> Any:
    """A tree of dicts and lists (as read from TOML or JSON) with one to three places made hostile."""
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        places = list(_places(tree))
        if not places:
            return value(rng)
        holder, key = rng.choice(places)
        act = rng.randrange(5)
        if act == 0:
            del holder[key]
        elif act == 1 and isinstance(holder, dict):
            holder[rng.choice(("", "a b", "x" * 5000, "ü", "\x1b[1m", "format"))] = value(rng)
        elif act == 2 and isinstance(holder, list):
            holder.extend([holder[key]] * rng.choice((1, 50)))
        else:
            holder[key] = value(rng)
    return tree


def _places(tree: Any) -> list[tuple[Any, Any]]:
    found: list[tuple[Any, Any]] = []
    waiting = [tree]
    while waiting:
        node = waiting.pop()
        keys = (
            list(node) if isinstance(node, dict) else list(range(len(node))) if isinstance(node, list) else []
        )
        for key in keys[:200]:
            found.append((node, key))
            waiting.append(node[key])
    return found
