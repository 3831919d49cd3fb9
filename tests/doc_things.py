"""What the sessions of the documentation begin with: short sounds, small tables, a listener at the keys."""

import getpass
import re
import shutil
import time
import types
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

ROOT = Path(__file__).resolve().parents[1]
SOUNDS = ROOT / "stimuli_demo"
SOUND_S = 1.2  # of the recordings that a reader would bring
LISTENERS = 8
PHRASE = "a phrase of the second person"
KEPT = (
    'attribute = "brightness"',
    'name = "brightness"',
    'name = "loudness"',
    'attribute = "loudness"\npresentation = "matched"',
    'attribute = "loudness"\ngains_db',
    "[[presentations]]",
)
"""Marks of the repeated sections of the bells' protocol that the short one keeps."""
DROPPED = ('"b-', '"f-', '"d-the-brightest"')
WANTED = (
    "confirm",
    "choose:first",
    "level_right",
    "understood",
    "begin",
    "go_on",
    "agree",
    "play",
)
"""What the listener does, the first that is offered."""
CONFIRMED = 4  # two trials for practice and two that count


def source_tree(folder: Path) -> None:
    """The sounds and protocols of the source, with the bells' protocol cut to two domes and short sounds."""
    (folder / "stimuli_demo").symlink_to(SOUNDS)
    (folder / "docs").symlink_to(ROOT / "docs")
    shutil.copytree(ROOT / "protocols", folder / "protocols")
    whole = (ROOT / "protocols" / "bells.toml").read_text()
    (folder / "protocols" / "bells.toml").write_text(shortened(whole))


def shortened(whole: str) -> str:
    """The bells' protocol with one planned question, on brightness, and loudness as heard beside it."""
    parts = re.split(r"(?m)^(?=\[)", whole)
    kept = [
        part
        for part in parts
        if not part.startswith("[[")
        or (any(mark in part for mark in KEPT) and not any(mark in part for mark in DROPPED))
    ]
    text = "".join(kept)
    for found, wanted in (
        ('use = { support = ["free"] }', 'use = { support = ["free"], design = ["dome_c", "dome_d"] }'),
        ("listeners = 24", f"listeners = {LISTENERS}"),
        ("length_s = 2.5", "length_s = 0.6"),
        ('"matched"\npairs = "planned"', '"matched"\npairs = "all"'),
        ("fade_out_s = 0.3", "fade_out_s = 0.1"),
    ):
        assert found in text, found
        text = text.replace(found, wanted)
    return re.sub(
        r'"dome_[abef]/free" = .*\n|of_all_questions = .*\n|planned_repeats = 16\n|fewest = .*\n', "", text
    )


def _sound(path: Path, name: str, *, frames: int = round(SOUND_S * 48000)) -> None:
    samples, rate_hz = soundfile.read(SOUNDS / f"{name}.flac", frames=frames)
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")


def _six(folder: Path) -> None:
    for strike in (1, 2, 3):
        _sound(folder / f"free-{strike}.wav", f"dome_c-free-{strike}")
        _sound(folder / f"held-{strike}.wav", f"dome_c-handlebar-{strike}")


def _leaflet(folder: Path) -> None:
    space = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
    words = "Our bell. Dome D sounds better than any other bell."
    with zipfile.ZipFile(folder / "leaflet.docx", "w") as whole:
        whole.writestr(
            "word/document.xml",
            f'<w:document xmlns:w="{space}"><w:body><w:p><w:r><w:t>{words}</w:t></w:r></w:p></w:body>'
            "</w:document>",
        )


def _answers(folder: Path) -> None:
    rng = np.random.default_rng(1)
    rows = ["listener,first,second,answer"]
    for listener in range(10):
        for turn in range(12):
            first, second = ("dome_a", "dome_b") if turn % 2 else ("dome_b", "dome_a")
            b_first = first == "dome_b"
            answer = "first" if (rng.random() < 0.8) == b_first else "second"
            rows.append(f"L{listener:02d},{first},{second},{answer}")
    (folder / "answers.csv").write_text("\n".join(rows) + "\n")


def _counts(folder: Path) -> None:
    rows = ["left,right,left_chosen,alike,right_chosen,hanging"]
    rows += [
        "deep,flat,31,4,13,free",
        "deep,wide,20,6,22,free",
        "flat,wide,12,3,33,free",
        "deep,flat,9,9,9,bar",
    ]
    (folder / "counts.csv").write_text("\n".join(rows) + "\n")
    page = (ROOT / "docs" / "guides" / "tables.md").read_text()
    (folder / "about.toml").write_text(re.findall(r"```toml\n(.*?)```", page, re.S)[0])


def _ratings(folder: Path) -> None:
    rng = np.random.default_rng(2)
    rows = ["listener,design,rating"]
    for listener in range(8):
        view = rng.normal(0, 8)
        rows += [
            f"L{listener:02d},{design},{50 + 10 * k + view + rng.normal(0, 5):.1f}"
            for k, design in enumerate(("dome_a", "dome_b", "dome_c"))
            for _ in range(2)
        ]
    (folder / "ratings.csv").write_text("\n".join(rows) + "\n")


def _more_tables(folder: Path) -> None:
    """Pairs with the answer `tie`, ratings in five words, and answers of two kinds."""
    rng = np.random.default_rng(3)
    tied, ordered, binary = ["first,second,answer"], ["listener,design,rating"], ["listener,order,chosen"]
    for listener in range(12):
        for turn in range(10):
            first, second = (("a", "b"), ("b", "c"), ("a", "c"))[turn % 3]
            tied.append(f"{first},{second},{rng.choice(['first', 'second', 'tie'], p=[0.3, 0.5, 0.2])}")
            design = turn % 3
            ordered.append(
                f"L{listener:02d},design_{design},{int(rng.integers(1, 4) + rng.integers(0, 2) * design)}"
            )
            binary.append(f"L{listener:02d},{turn % 2},{int(rng.random() < 0.6)}")
    for name, rows in (("answers_tied", tied), ("ratings_ordered", ordered), ("answers_binary", binary)):
        (folder / f"{name}.csv").write_text("\n".join(rows) + "\n")


def _northern(folder: Path) -> None:
    """The answers of another site: one listener at slot 1 of the same station."""
    from tests.doc_examples import run

    shutil.copytree(folder / "bells" / "station", folder / "north" / "station")
    for line in ("listening sit north --slot 1", "listening sit bells --slot 0"):
        code, said = run(line, folder)
        assert code == 0, said
    shutil.copy(folder / "north" / "station" / "answers.sqlite", folder / "north.sqlite")


def _copied(name: str) -> Callable[[Path], Any]:
    return lambda folder: shutil.copytree(folder / "bells", folder / name, symlinks=True)


def _six_bells(folder: Path) -> None:
    """The whole demonstration, up to its analysis."""
    from tests.doc_examples import CHAIN, run

    shutil.copy(ROOT / "protocols" / "bells.toml", folder / "protocols" / "bells.toml")
    for line, (_, after) in CHAIN.items():
        if after != "reported":
            code, said = run(line, folder)
            assert code == 0, f"{line}: {said}"


THINGS: dict[str, Callable[[Path], Any]] = {
    "six bells analysed": _six_bells,
    "ring.wav": lambda folder: _sound(folder / "ring.wav", "dome_c-free-1"),
    "dome_g.wav": lambda folder: _sound(folder / "dome_g.wav", "dome_c-free-1", frames=-1),
    "three strikes free and held": _six,
    "leaflet.docx": _leaflet,
    "answers.csv": _answers,
    "counts.csv": _counts,
    "ratings.csv": _ratings,
    "tied answers, ordered and binary ratings": _more_tables,
    "north.sqlite": _northern,
    "bells_pilot": _copied("bells_pilot"),
    "bells_copy": _copied("bells_copy"),
}
"""Beside the study: what a reader would have."""


def _mend_title(folder: Path) -> None:
    path = folder / "bells" / "protocol.toml"
    path.write_text(path.read_text().replace('title = "Six', 'title = "The six'))


ACTS: dict[str, Callable[[Path], None]] = {"the title is mended": _mend_title}
"""What a reader does between two commands."""


def at_a_station(patch: pytest.MonkeyPatch) -> None:
    """A terminal, a silent sound output, a listener at the keys, and somebody who knows the pass phrase."""
    from listening.audio import probe
    from listening.commands import sit
    from listening.commands.sit import sit_plainly
    from listening.console import passphrase
    from listening.session.seating import opening
    from tests.stations import TestPlayer

    output = probe.Device(0, "a silent output", 2, 48000.0, True)
    patch.setattr(probe, "devices", lambda look=None: [output])
    patch.setattr(opening.device_trial, "make_ready", lambda *_, **__: None)
    patch.setattr(opening, "Speaker", lambda *_, **__: None)
    patch.setattr(opening, "Aloud", lambda *_: TestPlayer(time.monotonic))  # type: ignore[arg-type]
    patch.setattr(getpass, "getpass", lambda *_: PHRASE)
    seen = types.SimpleNamespace(isatty=lambda: True)
    patch.setattr(passphrase, "sys", types.SimpleNamespace(stdin=seen))
    patch.setattr(sit, "sys", types.SimpleNamespace(stdin=seen, stdout=seen, stderr=sit.sys.stderr))
    patch.setenv("TERM", "dumb")
    run = sit_plainly.lines.run
    patch.setattr(
        sit_plainly.lines, "run", lambda session, **how: run(session, **how | {"read": _typist(session)})
    )


def _typist(session: Any) -> Callable[[float], str | None]:
    """Types what the first wanted action that is offered asks for; leaves after some trials."""
    confirmed = 0

    def read(_: float) -> str | None:
        nonlocal confirmed
        offered = {action.name: action for action in session.actions()}
        name = next((name for name in WANTED if name in offered), None)
        if name is None:
            return None
        if confirmed == CONFIRMED:
            raise EOFError
        confirmed += name == "confirm"
        key = offered[name].key
        return {"enter": "", "space": "play"}.get(key, key) + "\n"

    return read
