"""What a reader of the protocol would object to, each seen once; and a sound protocol meets no objection."""

from collections.abc import Callable
from pathlib import Path

import pytest

from listening import cli
from listening.planning import budget, criticism, stand_in
from listening.records.forms.problem import Problem
from listening.records.protocols import protocol
from listening.records.sounds import recordings_table
from listening.records.sounds.measured import MeasuredRecording, Measures
from listening.steps import study_checks

ROOT = Path(__file__).resolve().parents[2]
BELLS = (ROOT / "protocols" / "bells.toml").read_text().replace("../stimuli_demo", str(ROOT / "stimuli_demo"))
SEED: tuple[str, str] = ("seed = 20261125", "seed = 4")
PLANNED_PAIRS = 'pairs = "planned"\nrepeats = 12'
Edit = tuple[str, str]


def _criticised(folder: Path, *edits: Edit, measures: Measures | None = None) -> list[Problem]:
    text = BELLS
    for old, new in edits:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "protocol.toml"
    path.write_text(text)
    chosen = protocol.load(path)
    return criticism.criticise(chosen, recordings_table.load(chosen, path), path, measures=measures)


def test_a_sound_protocol_meets_no_objection(tmp_path: Path) -> None:
    assert _criticised(tmp_path) == []


OBJECTIONS: dict[str, tuple[list[Edit], str, str]] = {
    "nobody may stop early": (  # 0.9 ** 24 = 0.0798
        [("fewest = 20 ", "")],
        "panel",
        "the end is reached with a chance of 0.08",
    ),
    "hardly anybody may stop early": (  # P(X >= 23) of 24 at 0.9: 0.0798 + 24 * 0.1 * 0.9 ** 23 = 0.292
        [("fewest = 20 ", "fewest = 23 ")],
        "stopping.fewest",
        "a chance of 0.29",
    ),
    "few trials": (
        [(PLANNED_PAIRS, 'pairs = "planned"\nrepeats = 4')],
        "blocks[3].repeats",
        "4 trials a listener",
    ),
    "few hearings of a pair that is to be the same": (
        [("planned_repeats = 16", "planned_repeats = 4")],
        "questions[5].split_limit",
        "4 hearings of the pair",
    ),
    "no control gain near the residual": (
        [("gains_db = [1.5, 4.0]", "gains_db = [6.0]")],
        "questions[0]",
        "no control pair below 6 dB",
    ),
    "long sitting": ([('pairs = "all"\nrepeats = 2', 'pairs = "all"\nrepeats = 9')], "blocks", "minutes"),
    "no breaks": (
        [
            ('pairs = "all"\nrepeats = 2', 'pairs = "all"\nrepeats = 9'),
            ("break_every_trials = 40", "break_every_trials = 400"),
        ],
        "sitting.break_every_trials",
        "minutes between breaks",
    ),
    "narrow bound": (
        [("smallest_effect = 0.7", "smallest_effect = 0.55")],
        "questions[5].smallest_effect",
        "margin",
    ),
    "effect that hardly counts": (
        [("smallest_effect = 0.6 ", "smallest_effect = 0.8 ")],
        "questions[0]",
        "a chance of",
    ),
    "no word on withdrawals": (
        [("fewest = 20 ", ""), ('withdrawn = "count"', "")],
        "stopping.withdrawn",
        "after one withdrawal the answers stay closed",
    ),
    "early look": (
        [("[stopping]", '[stopping]\nlooks = [6]\nspending = "Pocock"')],
        "stopping.looks",
        "a look at 6 listeners",
    ),
    "not compared": (
        [
            (
                'pairs = "all"\nrepeats = 2\nplanned_repeats = 8',
                'pairs = "cyclic"\npartners = 2\nrepeats = 6',
            ),
            SEED,
        ],
        "questions[",
        "no listener compares directly",
    ),
}


@pytest.mark.parametrize(("edits", "key", "found"), OBJECTIONS.values(), ids=OBJECTIONS)
def test_an_objection_names_its_key_and_line(tmp_path: Path, edits: list[Edit], key: str, found: str) -> None:
    told = _criticised(tmp_path, *edits)
    [problem, *_] = [p for p in told if p.key.startswith(key) and found in p.found]
    assert problem.severity == "caution"
    assert problem.line is not None or key == "blocks"


def test_answers_without_a_question_cannot_be_claimed(tmp_path: Path) -> None:
    more = '\n[[blocks]]\nattribute = "brightness"\npresentation = "as recorded"\nrepeats = 1\n\n[[controls]]'
    told = _criticised(tmp_path, ("\n[[controls]]", more))
    assert any("no question on `brightness`, as recorded" in p.found for p in told)


def test_an_effect_as_recorded_may_be_nothing_but_level(tmp_path: Path) -> None:
    block = (
        '\n[[blocks]]\nattribute = "brightness"\npresentation = "as recorded"\nrepeats = 1\n\n[[controls]]'
    )
    old = 'attribute = "brightness"\npresentation = "matched"\ncontrast'
    told = _criticised(tmp_path, ("\n[[controls]]", block), (old, old.replace("matched", "as recorded")))
    assert any("may be nothing but level" in p.wanted for p in told)


def test_loudness_without_calibration_is_objected_to(tmp_path: Path) -> None:
    folder = tmp_path / "sounds"
    folder.mkdir()
    table = (ROOT / "stimuli_demo" / "recordings.csv").read_text().splitlines()
    rows = [line.rsplit(",", 1)[0] for line in table]
    (folder / "recordings.csv").write_text("\n".join(rows) + "\n")
    told = _criticised(tmp_path, (str(ROOT / "stimuli_demo"), "sounds"))
    assert any("without calibration" in p.found for p in told)


def _measures(path: Path, decay: Callable[[int], float]) -> Measures:
    chosen = protocol.load(path)
    names = {"laf_max_db": 80.0, "loudness_level_phon": 80.0}
    rows = []
    for recording in recordings_table.load(chosen, path):
        i = "abcdef".index(recording.condition[5])
        bright = {"centroid_hz": 1000.0 * 1.1**i, "sharpness_acum": 1.1**i}
        long = {"t60_s": decay(i), "decay_s": decay(i)}
        rows.append(
            MeasuredRecording(
                recording=recording.recording,
                condition=recording.condition,
                strike=recording.strike,
                specimen="1",
                calibrated=True,
                measures={**names, **bright, **long},
            )
        )
    return Measures(version="0", protocol_digest="0", recordings=tuple(rows), spreads=())


def test_covariates_that_go_together_are_named(tmp_path: Path) -> None:
    _criticised(tmp_path)
    together = _measures(tmp_path / "protocol.toml", lambda i: 1.2**i)
    told = [p for p in _criticised(tmp_path, measures=together) if p.key == "covariates"]
    assert told
    assert "brightness and decay cannot be separated" in told[0].found
    apart = _measures(tmp_path / "protocol.toml", lambda i: 1.2 if i % 2 else 1.0)
    assert [p for p in _criticised(tmp_path, measures=apart) if p.key == "covariates"] == []


def test_a_ratio_of_a_metric_that_was_never_measured_is_objected_to(tmp_path: Path) -> None:
    claim = ('kind = "more"', 'kind = "more"\nclaimed_ratio = 1.4\nmetric = "edt_s"')
    _criticised(tmp_path, claim)
    measured = _measures(tmp_path / "protocol.toml", lambda i: 1.2 if i % 2 else 1.0)
    told = [p for p in _criticised(tmp_path, claim, measures=measured) if p.key.endswith(".metric")]
    assert [p.found.split(" on ")[0] for p in told] == ["`edt_s` was not measured"]
    known = ('kind = "more"', 'kind = "more"\nclaimed_ratio = 1.4\nmetric = "t60_s"')
    told = [p for p in _criticised(tmp_path, known, measures=measured) if p.key.endswith(".metric")]
    assert told == []


def test_the_budget_adds_up(tmp_path: Path) -> None:
    path = tmp_path / "protocol.toml"
    path.write_text(BELLS)
    chosen = protocol.load(path)
    found = budget.of_study(chosen, stand_in.manifest(chosen, recordings_table.load(chosen, path)))
    # 13 pairs twice and 2 eight times, for brightness and for ringing; loudness 16 + 2 x 4, and 12 as
    # recorded; 8 control pairs for each of three
    n = 2 * (13 * 2 + 2 * 8) + 24 + 12 + 3 * 8
    # pairs of 2 x 2.5 s with 0.5 s between and 4 s to answer, 6 practice trials, 3 introductions, 3 breaks
    assert sum(p.trials for p in found.parts) == n == 144
    assert found.seconds == pytest.approx((n + 6) * 9.5 + 3 * 60 + 3 * 30)
    assert found.seconds < 30 * 60


def test_a_long_study_is_cut_into_sittings_that_fit() -> None:
    parts = tuple(
        budget.Part(f"{n}, matched", n, 100, 60.0 * m) for n, m in (("a", 25), ("b", 20), ("c", 8), ("d", 50))
    )
    cut = budget.sittings(budget.Budget(parts, 0, 0.0, 0.0, 0, 0.0))
    assert sorted(name for sitting in cut for name in sitting) == ["a", "b", "c", "d (1 of 2)", "d (2 of 2)"]
    minutes = {"a": 25, "b": 20, "c": 8, "d (1 of 2)": 25, "d (2 of 2)": 25}
    assert all(sum(minutes[name] for name in sitting) <= budget.LONGEST_MIN for sitting in cut)


def test_check_prints_the_budget_and_the_objections(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["check", str(ROOT / "protocols" / "attribute_rating.toml")]) == 0
    out = capsys.readouterr().out
    assert "one listener in all" in out
    assert "caution" in out


def test_a_protocol_with_errors_is_not_criticised_yet(tmp_path: Path) -> None:
    errors = [Problem("f", "k", "x", "y")]
    assert study_checks._planning(tmp_path / "protocol.toml", errors) == ([], [])
