"""`listening new`: from a protocol, from options, from answers in a terminal; what it writes is valid."""

import argparse
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from scipy import stats

from listening import cli
from listening.commands import new
from listening.errors import ListeningError, StudyError
from listening.planning import exclusion_rates, level_plan, stand_in, starters
from listening.records.protocols import protocol
from listening.records.protocols.protocol import Protocol
from listening.records.sounds import recordings_table

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "stimuli_demo"
OPTIONS = {
    "--recordings": str(DEMO),
    "--factors": "design,support",
    "--use": "support=free",
    "--more": "dome_d/free",
    "--than": "dome_c/free",
    "--attribute": "brightness",
    "--stands-for": "adults who cycle, recruited by notice",
    "--training": "naive",
}


def _words(folder: Path, **changes: str | None) -> list[str]:
    options = {**OPTIONS, **{"--" + k.replace("_", "-"): v for k, v in changes.items()}}
    return ["new", str(folder), *(w for k, v in options.items() if v is not None for w in (k, v))]


def _written(folder: Path, **changes: str | None) -> Protocol:
    assert cli.main(_words(folder, **changes)) == 0
    path = folder / "protocol.toml"
    chosen = protocol.load(path)
    assert len(recordings_table.load(chosen, path)) > 1
    return chosen


@pytest.mark.parametrize("kind", starters.KINDS)
def test_each_question_has_a_starter_that_is_valid_and_finds_the_recordings(
    tmp_path: Path, kind: str
) -> None:
    chosen = _written(tmp_path / "study", question=kind)
    assert chosen.questions[0].kind == {"same": "same", "discrimination": "audible"}.get(kind, "more")
    assert chosen.panel.stands_for == OPTIONS["--stands-for"]
    assert chosen.stopping.looks == []
    if kind == "discrimination":
        assert (chosen.attributes[0].task, chosen.controls) == ("triangle", [])
    else:
        assert any(c.attribute == "brightness" for c in chosen.controls)


@pytest.mark.parametrize("kind", starters.KINDS)
def test_a_starter_passes_check(tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    _written(tmp_path / "study", question=kind)
    assert cli.main(["check", str(tmp_path / "study")]) == 0
    assert "one listener in all" in capsys.readouterr().out


def test_a_short_sitting_gets_fewer_repeats_and_then_a_part_of_the_pairs(tmp_path: Path) -> None:
    long = _written(tmp_path / "long", question="beyond-level", minutes="30")
    short = _written(tmp_path / "short", question="beyond-level", minutes="8")
    assert long.blocks[0].repeats > short.blocks[0].repeats
    tiny = _written(tmp_path / "tiny", question="beyond-level", minutes="5.5")
    assert tiny.blocks[0].pairs == "rotating"
    assert tiny.blocks[0].planned_too


def test_answers_in_a_terminal_come_to_the_same_as_options(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_option = _written(tmp_path / "a" / "study", question="beyond-level")
    said = iter(["1", str(DEMO), "design,support", "dome_d/free", "dome_c/free", "brightness"])
    more = iter(["adults who cycle, recruited by notice", "naive"])
    asked: list[str] = []

    def ask(text: str) -> str:
        asked.append(text)
        return next(said, None) or next(more)

    parser = argparse.ArgumentParser()
    new.arguments(parser)
    args = parser.parse_args([str(tmp_path / "b" / "study"), "--use", "support=free"])
    study = new.write(tmp_path / "b" / "study", args, ask)
    assert protocol.load(study.protocol) == by_option
    assert len(asked) == 8


def test_enter_takes_what_is_shown_as_usual(tmp_path: Path) -> None:
    said = iter(["", str(DEMO), "", "", "", "", "adults who cycle, recruited by notice", ""])
    asked: list[str] = []

    def ask(text: str) -> str:
        asked.append(text)
        return next(said)

    parser = argparse.ArgumentParser()
    new.arguments(parser)
    study = new.write(tmp_path / "study", parser.parse_args([str(tmp_path / "study")]), ask)
    planned = protocol.load(study.protocol)
    assert planned.recordings.factors == ["design", "support"]
    assert planned.panel.training == "naive"
    assert planned.attributes[0].name == "brightness"
    with_usual = [text for text in asked if "Enter: " in text]
    assert len(with_usual) == len(asked) - 2  # the table lies elsewhere, and whom the panel stands for


BAD: dict[str, tuple[dict[str, str | None], str]] = {
    "no such level": ({"use": "support=tree"}, "support=free,handlebar"),
    "no such condition": ({"more": "dome_z/free"}, "--more: found `dome_z/free`"),
    "itself": ({"than": "dome_d/free"}, "--than: found `dome_d/free`"),
    "no such column": ({"factors": "colour"}, "--factors: found `colour`"),
    "nobody": ({"stands_for": "all"}, "at least 10 letters"),
    "no number": ({"listeners": "0"}, "--listeners: found `0`"),
    "no table": ({"recordings": "nowhere.csv"}, "no such file"),
    "missing": ({"attribute": None}, "--attribute is missing"),
}


@pytest.mark.parametrize(("changes", "told"), BAD.values(), ids=BAD)
def test_an_answer_that_does_not_fit_is_named_and_nothing_is_left_behind(
    tmp_path: Path,
    changes: dict[str, str | None],
    told: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: False)
    assert cli.main(_words(tmp_path / "study", **{"question": "beyond-level", **changes})) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "study" / "protocol.toml").exists()


def test_a_copied_protocol_still_finds_its_recordings(tmp_path: Path) -> None:
    study = new.start(tmp_path / "deep" / "er" / "study", ROOT / "protocols" / "bells.toml")
    assert len(recordings_table.load(protocol.load(study.protocol), study.protocol)) == 6 * 4
    with pytest.raises(StudyError, match="already holds a study"):
        new.start(study.root, ROOT / "protocols" / "bells.toml")


def test_a_copied_protocol_whose_recordings_are_gone_is_not_kept(tmp_path: Path) -> None:
    text = (ROOT / "protocols" / "bells.toml").read_text().replace("../stimuli_demo", "gone")
    source = tmp_path / "bells.toml"
    source.write_text(text)
    with pytest.raises(ListeningError, match="no such file"):
        new.start(tmp_path / "study", source)
    assert not (tmp_path / "study" / "protocol.toml").exists()


def test_odd_names_survive_the_way_into_toml(tmp_path: Path, make_table: Callable[[list[str]], Path]) -> None:
    table = make_table(['it "rings"', "plain, but long"])
    chosen = _written(
        tmp_path / "study",
        question="beyond-level",
        recordings=str(table),
        factors="the design",
        use=None,
        more='it "rings"',
        than="plain, but long",
        attribute="warmth",
        wording='Which is "warmer"?',
        comparative="warmer",
    )
    assert chosen.questions[0].contrast.more == 'it "rings"'
    assert chosen.attributes[0].wording == 'Which is "warmer"?'


@pytest.fixture
def make_table(tmp_path: Path) -> Callable[[list[str]], Path]:
    """A writer of a recordings table with these designs, two strikes each."""
    import csv

    def make(designs: list[str]) -> Path:
        path = tmp_path / "sounds.csv"
        with path.open("w", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(["recording", "file", "strike", "the design"])
            for i, design in enumerate(designs):
                for strike in (1, 2):
                    writer.writerow([f"r{i}{strike}", f"r{i}{strike}.wav", strike, design])
        return path

    return make


@pytest.mark.parametrize("kind", [kind for kind in starters.KINDS if kind != "discrimination"])
def test_a_starter_bounds_level_as_heard_and_finds_who_answers_at_random(tmp_path: Path, kind: str) -> None:
    """Rates by the binomial law: honest ones right in 9 of 10 clear pairs, random ones in half."""
    made = _written(tmp_path / "s", question=kind)
    path = tmp_path / "s" / "protocol.toml"
    manifest = stand_in.manifest(made, recordings_table.load(made, path))
    level = level_plan.of_question(made, manifest, made.questions[0])
    assert level is not None
    assert level.heard is not None
    [rate] = exclusion_rates.of_protocol(made, manifest)
    n = rate.n
    fewest = math.ceil(0.7 * n)
    assert rate.honest == pytest.approx(stats.binom.cdf(fewest - 1, n, 0.9))
    assert rate.honest is not None
    assert rate.honest < 0.05
    assert rate.at_random == pytest.approx(stats.binom.cdf(fewest - 1, n, 0.5))
    assert rate.at_random is not None
    assert rate.at_random > 0.9
