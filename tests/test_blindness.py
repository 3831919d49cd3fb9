"""Nothing that a listener or a booth can see names a stimulus; each search is seen to find a seeded name."""

import hashlib
import sys
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from listening.design.dealing import code
from listening.records.dealt.plan import Plan
from listening.records.keys.key import Key
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from tests import alsa, bells, terminal
from tests.terminal import Terminal

CRASHES = """
import sys
from listening import cli
from listening.session.showing import drawing
stage, folder = sys.argv[1:]
real = drawing.view
def seeded(sitting):
    secret = "dome_d/free matched"
    if sitting.stage.value == stage:
        raise ValueError(secret)
    return real(sitting)
drawing.view = seeded
if stage.startswith("loud "):  # the violation: Textual's own handler, which prints local variables
    stage = stage.removeprefix("loud ")
    from textual.app import App
    from listening.tui.app import StationApp
    StationApp._handle_exception = App._handle_exception
raise SystemExit(cli.main(["sit", folder, "--listener", "L01"]))
"""


def names(study: Study) -> set[str]:
    """Every word that tells what a clip is."""
    manifest, key = Manifest.load(study.manifest), Key.load(study.key)
    told = {key.secret, "as recorded", "matched"}
    for s in manifest.stimuli:
        told |= {s.stimulus, s.recording, s.condition, *s.condition.split("/"), s.file, s.digest}
    return {name.lower() for name in told if len(name) > 3 and name != "free"}


def leaks(told: Iterable[str], text: str | bytes) -> list[str]:
    """The names that stand in a text, whatever their case."""
    low = (text.encode() if isinstance(text, str) else text).lower()
    return sorted(name for name in told if name.encode() in low)


def in_folder(told: Iterable[str], folder: Path) -> list[str]:
    """Names in the names and bytes of all files below a folder."""
    found = []
    for path in sorted(folder.rglob("*")):
        found += leaks(told, str(path.relative_to(folder)))
        found += leaks(told, path.read_bytes()) if path.is_file() else []
    return found


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return bells.write_study(tmp_path / "study", n_listeners=1)


@alsa.needed
@terminal.needed
def test_no_frame_log_file_or_process_holds_a_name(study: Study, tmp_path: Path) -> None:
    told = names(study)
    environment, _ = alsa.environment(tmp_path)
    record = tmp_path / "terminal.bytes"
    with Terminal(f"{sys.executable} -m listening sit {study.root} --listener L01", environment) as window:
        window.record(record)
        window.opening()
        window.one_trial("Practice 1 of", "a")
        window.one_trial("Practice 2 of", "b")
        window.wait_for("Trial 1 of", "Press the space bar")
        process = Path(f"/proc/{window.process()}")
        for what in ("cmdline", "comm", "environ"):
            assert leaks(told, (process / what).read_bytes()) == []
        opened = [str(link.readlink()) for link in (process / "fd").iterdir() if link.exists()]
        assert not [path for path in opened if str(study.sealed) in path or str(study.stimuli) in path]
        window.press("Escape")
        window.wait_for("Leave the test?")
        window.press("y")
        window.wait_for("ended-with-0")
    assert len(record.read_bytes()) > 5000  # the record holds the sitting
    assert leaks(told, record.read_bytes()) == []
    assert leaks(told, "\n".join(window.frames)) == []
    assert in_folder(told, study.station) == []


def test_the_search_finds_a_seeded_name(study: Study) -> None:
    told = names(study)
    assert in_folder(told, study.station) == []
    plan = Plan.load(study.plan)
    leaky = plan.attributes[0].model_copy(update={"explanation": "As with DOME_A, listen for treble."})
    plan.model_copy(update={"attributes": (leaky, *plan.attributes[1:])}).save(study.plan)
    assert in_folder(told, study.station) == ["dome_a"]
    study.plan.unlink()
    (study.clips / "dome_c-free-1.wav").write_bytes(b"")
    assert "dome_c-free-1" in in_folder(told, study.station)


@alsa.needed
@terminal.needed
@pytest.mark.parametrize(
    "stage",
    [
        "consent",
        "introduction",
        "trial",
        *(pytest.param(stage, marks=pytest.mark.slow) for stage in ("welcome", "level", "leaving")),
    ],
)
def test_a_crash_in_any_screen_shows_places_only(study: Study, tmp_path: Path, stage: str) -> None:
    environment, _ = alsa.environment(tmp_path)
    with _crashing(stage, study, environment) as window:
        _walk_until_it_ends(window)
        screen = window.wait_for("ended-with-1")
        assert window.is_plain()
    assert "stopped by a fault of its own (ValueError" in screen
    told = names(study)
    assert leaks(told, screen) == []
    assert leaks(told, "\n".join(window.frames)) == []
    assert in_folder(told, study.station) == []
    assert "session/sitting.py line" in study.log.read_text()


@alsa.needed
@terminal.needed
def test_the_crash_search_finds_what_the_library_alone_would_print(study: Study, tmp_path: Path) -> None:
    environment, _ = alsa.environment(tmp_path)
    with _crashing("loud consent", study, environment) as window:
        _walk_until_it_ends(window)
        window.wait_for("ended-with-")
        everything = window.history()
    assert "dome_d" in leaks(names(study), everything + study.log.read_text())


def _crashing(stage: str, study: Study, environment: dict[str, str]) -> Terminal:
    script = study.root / "crash.py"
    script.write_text(CRASHES)
    return Terminal(f"{sys.executable} {script} '{stage}' {study.root}", environment)


def _walk_until_it_ends(window: Terminal) -> None:
    steps = [
        ("go on", "Enter"),
        ("Your agreement", "y"),
        ("Set the level", "Space"),
        ("clear and comfortable, go on", "Enter"),
        ("What you will be asked", "Space"),
        ("I understand", "Enter"),
        ("Practice 1", "Escape"),
    ]
    for text, key in steps:
        screen = window.wait_until(
            lambda s, text=text: text in s or "ended-with-" in s,
            f"{text} or the end",  # type: ignore[misc]
        )
        if "ended-with-" in screen:
            return
        window.press(key)


def test_the_order_of_codes_tells_nothing_over_a_thousand_deals() -> None:
    conditions = [f"dome_{letter}-1-m|+0.000" for letter in "abcdef"]
    first = np.zeros(len(conditions))
    n_deals = 1000
    for deal in range(n_deals):
        secret = hashlib.sha256(f"deal {deal}".encode()).hexdigest()[:32]
        codes = [code(secret, place) for place in conditions]
        first[int(np.argmin(codes))] += 1
    assert _chi_square(first) < CHI_SQUARE_999
    assert _chi_square(first + np.array([60, 0, 0, -60, 0, 0])) > CHI_SQUARE_999  # the check sees a tilt


CHI_SQUARE_999 = 20.515  # 99.9 % point of chi square with 5 degrees of freedom, from printed tables


def _chi_square(counts: np.ndarray) -> float:
    expected = counts.sum() / len(counts)
    return float(((counts - expected) ** 2 / expected).sum())
