"""The cases: what is spoiled in a fresh copy of a study, and which command then runs on it."""

import contextlib
import json
import random
import sqlite3
import struct
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzz import schema_cases, toml_text, values

Spoil = Callable[[Path, random.Random], list[str]]
ONE_JOB = ("--jobs", "1")


@dataclass(frozen=True)
class Case:
    """One command to run in a spoiled folder."""

    kind: str
    words: tuple[str, ...]
    environment: dict[str, str] = field(default_factory=dict)
    spawned: bool = False
    """In a process with its own interpreter, because the environment is what is hostile."""


def make(kind: str, folder: Path, rng: random.Random) -> Case:
    """Spoil the folder and say what to run."""
    if kind == "environment":
        return _environment(folder, rng)
    return Case(kind, tuple(KINDS[kind](folder, rng)))


def protocol(folder: Path, rng: random.Random) -> list[str]:
    """A protocol with hostile values, or with spoilt bytes."""
    path = folder / "protocol.toml"
    if rng.random() < 0.25:
        path.write_bytes(values.mutated_bytes(path.read_bytes(), rng))
    elif rng.random() < 0.05:
        depth = rng.choice((100, 5000, 100_000))
        path.write_text(path.read_text() + "\nx = " + "[" * depth + "]" * depth + "\n")
    else:
        tree = values.mutated_tree(tomllib.loads(path.read_text()), rng)
        path.write_text(toml_text.dump(tree), errors="surrogatepass")
    return rng.choice(
        (
            ["check", "."],
            ["check", "."],
            ["check", "protocol.toml"],
            ["check", ".", "--json"],
            ["new", "fresh", "--from", "protocol.toml"],
            ["size", ".", "--studies", "2", "--listeners", "8", *ONE_JOB],
            ["prepare", ".", *ONE_JOB],
            ["measure", ".", *ONE_JOB],
            ["deal", "."],
            ["amend", ".", "a word was misspelt"],
            ["amend", ".", "--dry-run", "--json"],
            ["deposit", "."],
            ["verify", "."],
        )
    )


def recordings(folder: Path, rng: random.Random) -> list[str]:
    """A table of recordings as no spreadsheet should write it."""
    path = folder / "sounds" / "recordings.csv"
    path.write_bytes(_spoilt_table(path.read_text(), rng))
    command = rng.choice(("check", "check", "measure", "prepare", "new"))
    if command == "new":
        asked = ["--question", "beyond-level", "--factors", "design", "--more", "b", "--than", "a"]
        told = ["--attribute", "brightness", "--stands-for", "nobody, a test", "--training", "naive"]
        return ["new", "fresh", "--recordings", "sounds/recordings.csv", *asked, *told]
    return [command, ".", *(ONE_JOB if command != "check" else ())]


def table(folder: Path, rng: random.Random) -> list[str]:
    """A table of answers collected elsewhere."""
    path = folder / "table.csv"
    path.write_bytes(_spoilt_table(path.read_text(), rng))
    return rng.choice(
        (
            ["import", "table.csv", "fresh"],
            ["import", "table.csv", "fresh", "--about", "about.toml", "--json"],
            ["fit", "pairs", "table.csv"],
            ["fit", "pairs", "table.csv", "--json"],
            ["fit", "ratings", "table.csv", "--answer", "score", "--fixed", "first"],
            ["fit", "ratings", "table.csv", "--answer", "score", "--fixed", "first", "--random", "listener"],
            [
                "fit",
                "verdict",
                "table.csv",
                "--more",
                "b",
                "--than",
                "a",
                "--kind",
                "more",
                "--smallest",
                "0.6",
            ],
        )
    )


def sound(folder: Path, rng: random.Random) -> list[str]:
    """A sound file with a hostile header or cut samples."""
    path = folder / "sounds" / rng.choice(("a1.wav", "b2.wav"))
    act = rng.randrange(6)
    content = path.read_bytes()
    if act == 0:
        path.write_bytes(values.mutated_bytes(content[:64], rng) + content[64:])
    elif act == 1:
        path.write_bytes(values.mutated_bytes(content, rng))
    elif act == 2:
        path.write_bytes(_header(rng) + rng.choice((b"", content[44:], bytes(1000), rng.randbytes(5000))))
    elif act == 3:
        path.write_bytes(content[: rng.randrange(200)])
    elif act == 4:
        path.write_bytes(rng.choice((b"fLaC", b"OggS", b"RF64", b"FORM", b"ID3")) + rng.randbytes(300))
    else:
        path.write_bytes(_float_wav(rng))
    name = path.relative_to(folder).as_posix()
    return rng.choice(
        (
            ["measure", name],
            ["measure", name, "--json"],
            ["measure", name, "--pascal-per-full-scale", rng.choice(("1", "1e308", "1e-308", "nan", "20"))],
            ["measure", "sounds/a2.wav", "--calibrator", name],
            ["measure", "--together", name, "sounds/a2.wav"],
            ["compare", name, "--with", "sounds/a2.wav", "sounds/b1.wav"],
            ["compare", "sounds/a2.wav", "--with", "sounds/b1.wav", "--background", name, "--json"],
            ["picture", name, "sounds/a2.wav", "--out", "picture.svg"],
            ["picture", name, "--out", "picture.png", "--pascal-per-full-scale", "2"],
            ["predict", ".", name],
            ["check", "."],
            ["prepare", ".", *ONE_JOB],
        )
    )


def record(folder: Path, rng: random.Random) -> list[str]:
    """A file that an earlier step wrote, spoilt."""
    names = (
        "findings.json",
        "measures.json",
        "history.json",
        "stimuli/manifest.json",
        "station/plan.json",
        "sealed/key.json",
        "sealed/frozen.json",
        "sealed/protocol.toml",
        "traces.npz",
    )
    path = folder / rng.choice(names)
    if path.suffix == ".json" and rng.random() < 0.7:
        tree = values.mutated_tree(json.loads(path.read_text()), rng)
        path.write_text(json.dumps(tree), errors="surrogatepass")
    else:
        path.write_bytes(values.mutated_bytes(path.read_bytes(), rng))
    return rng.choice(
        (
            ["report", ".", "--no-sounds"],
            ["report", ".", "--no-sounds"],
            ["analyse", "."],
            ["export", "."],
            ["verify", "."],
            ["desk", "."],
            ["claim", "Plate b sounds louder than plate a.", "."],
            ["predict", ".", "sounds/a1.wav"],
            ["deal", ".", "--again", "the table was wrong"],
            ["deposit", "."],
            ["amend", ".", "--dry-run"],
            ["station", ".", "carried"],
            ["verify", ".", "--head", "ABCD-EFGH-IJKL-MNOP"],
            ["sit", "."],
            ["merge", ".", "station/answers.sqlite", "--site", "x"],
            ["booths", ".", "--send"],
        )
    )


def store(folder: Path, rng: random.Random) -> list[str]:
    """Rows that no sitting writes, or spoilt bytes of the file."""
    path = folder / "station" / "answers.sqlite"
    if rng.random() < 0.2:
        path.write_bytes(values.mutated_bytes(path.read_bytes(), rng))
    else:
        with sqlite3.connect(path) as connection:
            for _ in range(rng.choice((1, 1, 3))):
                _spoil_row(connection, rng)
        connection.close()
    listener = rng.choice(("L01", "S01", values.word(rng) or "x"))
    return rng.choice(
        (
            ["analyse", "."],
            ["analyse", "."],
            ["desk", "."],
            ["desk", ".", "--json"],
            ["desk", ".", "--hand-over", listener],
            ["desk", ".", "--missed", listener],
            ["amend", ".", "a word was misspelt"],
            ["station", ".", "carried"],
            ["export", "."],
            ["verify", "."],
            ["copy", ".", "other.sqlite"],
            ["merge", ".", "station/answers.sqlite", "--site", "x"],
            ["withdraw", ".", "--yes", "--", listener],
            ["simulate", ".", "--listeners", "2"],
            ["pilot", ".", "--studies", "2", *ONE_JOB],
        )
    )


def arguments(folder: Path, rng: random.Random) -> list[str]:
    """A command with hostile words for some of its own."""
    words = list(rng.choice(LINES))
    for _ in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(1, len(words) + 1)
        act = rng.randrange(4)
        if act == 0 and at < len(words):
            del words[at]
        elif act == 1:
            words.insert(at, rng.choice(("--json", "--jobs", "--seed", "--help", "-x", values.word(rng))))
        elif at < len(words):
            words[at] = values.word(rng)
    return words


def paths(folder: Path, rng: random.Random) -> list[str]:
    """A path that is no plain file where one is wanted, in a word or in a form."""
    path = rng.choice(values.PATHS)
    where = rng.randrange(3)
    if where == 0:
        table = folder / "sounds" / "recordings.csv"
        named = table.read_text().replace("a1.wav", path.replace("\n", " "), 1)
        table.write_text(named, errors="surrogatepass")
        return [rng.choice(("check", "measure", "prepare")), "."]
    if where == 1:
        form = folder / "protocol.toml"
        spoilt = toml_text.dump(path)
        named = rng.choice((spoilt, f'"sounds"\ntable = {spoilt}'))
        form.write_text(form.read_text().replace('"sounds"', named, 1))
        return ["check", "."]
    words = list(rng.choice(LINES))
    places = [i for i, word in enumerate(words) if i and not word.startswith("-")]
    if places:
        words[rng.choice(places)] = path.replace("\x00", "\\0")
    return words


KINDS: dict[str, Spoil] = {
    "protocol": protocol,
    "recordings": recordings,
    "table": table,
    "sound": sound,
    "record": record,
    "store": store,
    "arguments": arguments,
    "paths": paths,
    "schema": schema_cases.schema,
    "draft": schema_cases.draft,
}
LINES: tuple[tuple[str, ...], ...] = (
    ("check", "."),
    ("measure", ".", "--jobs", "1"),
    ("measure", "sounds/a1.wav", "sounds/b1.wav", "--pascal-per-full-scale", "5"),
    ("measure", "sounds/a1.wav", "--calibrator", "sounds/b1.wav", "--calibrator-level", "94"),
    ("prepare", ".", "--jobs", "1"),
    ("prepare", ".", "--by-ear", "."),
    ("prepare", ".", "--check-by-ear", "."),
    ("prepare", ".", "--played-at", "-6"),
    ("new", "fresh", "--from", "protocol.toml"),
    (
        "size",
        ".",
        "--effect",
        "share=0.75",
        "--listeners",
        "8",
        "--studies",
        "2",
        "--jobs",
        "1",
        "--seed",
        "1",
    ),
    ("size", ".", "--task", "triangle", "--d-prime", "1", "--listeners", "24", "--alpha", "0.05"),
    ("size", ".", "--smallest", "--studies", "2", "--jobs", "1", "--target", "0.8"),
    ("pilot", ".", "--effect", "share=0.75", "--studies", "2", "--jobs", "1", "--target", "0.8"),
    ("deal", "."),
    ("deal", ".", "--again", "one strike was wrong"),
    ("deposit", ".", "--with", "the notary", "--out", "deposited.md"),
    ("sit", ".", "--listener", "L01", "--slot", "1"),
    (
        "calibrate",
        ".",
        "--reading",
        "84.2",
        "--headphones",
        "HP1",
        "--coupler",
        "IEC 60318-1",
        "--side",
        "left",
    ),
    ("calibrate", ".", "--forget"),
    ("devices",),
    ("room", ".", "--noise-db", "28", "--light", "dim", "--remark", "a fan hums"),
    ("room", ".", "--forget"),
    ("amend", ".", "a word was misspelt"),
    ("amend", ".", "--dry-run"),
    ("rehearse", ".", "--runs", "1", "--seed", "1", "--jobs", "1"),
    ("station", ".", "carried"),
    (
        "compare",
        "sounds/a1.wav",
        "sounds/a2.wav",
        "--with",
        "sounds/b1.wav",
        "--names",
        "a,b",
        "--above",
        "60",
    ),
    ("compare", "sounds/a1.wav", "--with", "sounds/b1.wav", "--picture", "both.svg", "--channel", "1"),
    ("picture", "sounds/a1.wav", "sounds/b1.wav", "--names", "a,b", "--out", "both.png"),
    ("measure", "--together", "sounds/a1.wav", "sounds/a2.wav"),
    ("desk", "."),
    ("desk", ".", "--hand-over", "S01"),
    ("desk", ".", "--missed", "S01"),
    ("withdraw", ".", "S01", "--yes"),
    ("simulate", ".", "--listeners", "2", "--seed", "1"),
    ("analyse", ".", "--closed", "no more came"),
    ("report", ".", "--no-sounds"),
    ("predict", ".", "sounds/a1.wav", "--attribute", "loudness", "--metric", "laf_max_db"),
    ("claim", "Plate b sounds louder than plate a.", "."),
    ("export", ".", "--to", "tables", "--format", "json"),
    ("verify", "."),
    ("verify", ".", "--head", "ABCD-EFGH-IJKL-MNOP"),
    ("booths", ".", "--server", "postgresql:///no"),
    ("booths", ".", "--send"),
    ("copy", ".", "other.sqlite"),
    ("merge", ".", "station/answers.sqlite", "--site", "x", "--own-site", "y"),
    ("demo", "fresh", "--protocol", "about.toml", "--listeners", "1"),
    ("completion", "bash"),
    ("schema", "--page"),
    ("schema", "--out", "form.json"),
    ("import", "table.csv", "fresh", "--about", "about.toml"),
    ("fit", "pairs", "table.csv", "--ties", "davidson"),
    ("fit", "ratings", "table.csv", "--answer", "score", "--fixed", "first", "--random", "listener"),
    ("fit", "pairs", "table.csv", "--seed", "1"),
    ("fit", "counts", "--task", "triangle", "--correct", "17", "--trials", "36", "--coverage", "0.9"),
    (
        "fit",
        "verdict",
        "table.csv",
        "--more",
        "b",
        "--than",
        "a",
        "--kind",
        "same",
        "--smallest",
        "0.6",
        "--limit-outside",
        "0.3",
    ),
)


def _environment(folder: Path, rng: random.Random) -> Case:
    pool = {
        "LANG": ("C", "POSIX", "de_DE.ISO-8859-1", "no_SUCH.locale", ""),
        "LC_ALL": ("C", "", "xx"),
        "PYTHONUTF8": ("0", "1"),
        "PYTHONCOERCECLOCALE": ("0",),
        "PYTHONIOENCODING": ("ascii", "latin-1", "utf-16"),
        "TERM": ("dumb", "xterm", "no-such", ""),
        "COLUMNS": ("0", "1", "-5", "abc", "1000000"),
        "LINES": ("0", "x"),
        "NO_COLOR": ("1", ""),
        "HOME": ("/no/such", "", "/dev/null"),
        "TMPDIR": ("/no/such", "/dev/null", ""),
        "OMP_NUM_THREADS": ("0", "x", "-1"),
        "TZ": ("x", ":/dev/zero", "UTC-99"),
        "PGHOST": ("/no/such", "\x1b[1m"),
        "MPLBACKEND": ("TkAgg", "agg"),
        "MPLCONFIGDIR": ("/no/such", "/dev/null"),
        "NUMBA_CACHE_DIR": ("/no/such",),
        "JOBLIB_TEMP_FOLDER": ("/no/such",),
    }
    chosen = {name: rng.choice(pool[name]) for name in rng.sample(sorted(pool), rng.choice((1, 2, 4)))}
    lines = (
        ["check", "ü"],
        ["check", "."],
        ["measure", "ü/sounds/ä.wav"],
        ["report", "ü", "--no-sounds"],
        ["fit", "pairs", "ü/table.csv"],
        ["claim", "Plätte b sounds louder.", "ü"],
        ["desk", "ü"],
        ["export", "ü"],
        ["verify", "ü"],
        ["schema", "--page"],
        ["completion", rng.choice(("bash", "fish", "zsh"))],
    )
    (folder / "ü").mkdir()
    for path in list(folder.iterdir()):
        if path.name != "ü" and not path.is_fifo() and not path.is_symlink():
            path.rename(folder / "ü" / path.name)
    sounds = folder / "ü" / "sounds"
    (sounds / "ä.wav").write_bytes((sounds / "a2.wav").read_bytes())
    return Case("environment", tuple(rng.choice(lines)), chosen, spawned=True)


def _spoilt_table(text: str, rng: random.Random) -> bytes:
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(rng.choice((1, 1, 2))):
        row = rng.randrange(len(rows))
        column = rng.randrange(max(len(rows[row]), 1))
        act = rng.randrange(10)
        if act < 4 and rows[row]:
            cell = values.value(rng) if rng.random() < 0.5 else rng.choice(values.TEXTS)
            rows[row][column % len(rows[row])] = str(cell)[:300_000]
        elif act == 4:
            rows[row] = rows[row][:column]
        elif act == 5:
            rows[row] += [""] * rng.choice((1, 3, 5000))
        elif act == 6:
            rows[0] += [f"c{i}" for i in range(rng.choice((10, 1900, 100_000)))]
        elif act == 7:
            rows += [list(rows[-1]) for _ in range(rng.choice((1, 500, 20_000)))]
        elif act == 8:
            del rows[row]
        else:
            rows.insert(row, [])
        if not rows:
            return b""
    separator = rng.choice((",", ",", ",", ";", "\t", "|"))
    made = rng.choice(("\n", "\r\n", "\r")).join(separator.join(cells) for cells in rows) + "\n"
    form = rng.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"))
    content = made.encode(form, errors="replace")
    return values.mutated_bytes(content, rng) if rng.random() < 0.15 else content


def _header(rng: random.Random) -> bytes:
    rate_hz = rng.choice((0, 1, 8000, 44100, 48000, 2**31, 2**32 - 1))
    channels, bits = rng.choice((0, 1, 2, 64, 65535)), rng.choice((0, 1, 8, 16, 24, 32, 64, 65535))
    tag = rng.choice((0, 1, 2, 3, 6, 7, 17, 85, 0xFFFE))
    size = rng.choice((0, 1, 3, 1000, 2**31, 2**32 - 1))
    block = min(channels * bits // 8, 65535)
    form = struct.pack("<HHIIHH", tag, channels, rate_hz, min(rate_hz * block, 2**32 - 1), block, bits)
    return (
        b"RIFF"
        + struct.pack("<I", size)
        + b"WAVEfmt "
        + struct.pack("<I", 16)
        + form
        + b"data"
        + struct.pack("<I", size)
    )


def _float_wav(rng: random.Random) -> bytes:
    pool = (0.0, 1.0, -1.0, 1e38, -1e38, float("nan"), float("inf"), 1e-38, 0.5)
    samples = [rng.choice(pool) if rng.random() < 0.3 else rng.uniform(-1, 1) for _ in range(4000)]
    if rng.random() < 0.3:
        samples = [rng.choice(pool)] * 4000
    data = struct.pack(f"<{len(samples)}f", *samples)
    form = struct.pack("<HHIIHH", 3, 1, 48000, 192000, 4, 32)
    head = b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", len(data))
    return b"RIFF" + struct.pack("<I", len(head) + len(data)) + head + data


def _spoil_row(connection: sqlite3.Connection, rng: random.Random) -> None:
    connection.execute("PRAGMA ignore_check_constraints=ON")
    tables = {
        "sitting": (
            "id",
            "listener",
            "slot",
            "simulated",
            "study_digest",
            "started_at",
            "finished_at",
            "heartbeat_at",
        ),
        "answer": (
            "trial",
            "attribute",
            "task",
            "clips",
            "answer",
            "response_s",
            "plays",
            "practice",
            "answered_at",
        ),
        "event": ("sitting", "at", "kind", "trial", "detail"),
        "slot": ("slot", "sitting"),
    }
    name = rng.choice(sorted(tables))
    column = rng.choice(tables[name])
    given = values.value(rng)
    if isinstance(given, int) and not isinstance(given, bool) and abs(given) >= 2**63:
        given = float(min(given, 10**300))
    if isinstance(given, list | dict):
        given = json.dumps(given) if len(str(given)) < 2000 else "[]"
    if isinstance(given, str):
        given = (
            given.encode(errors="replace") if rng.random() < 0.2 else given.encode(errors="replace").decode()
        )
    rows = [row[0] for row in connection.execute(f"SELECT rowid FROM {name}")]
    if rows:
        with contextlib.suppress(sqlite3.IntegrityError, OverflowError):
            connection.execute(f"UPDATE {name} SET {column} = ? WHERE rowid = ?", (given, rng.choice(rows)))
