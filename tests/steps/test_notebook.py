"""`import listening` in a notebook: what the commands do, with their numbers to the last digit."""

import json
from pathlib import Path

import pytest

import listening
from listening import cli
from listening.errors import ListeningError
from tests.stimuli import small_study

SEED = 5


@pytest.fixture(scope="module")
def by_command(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = small_study.write(tmp_path_factory.mktemp("command")).root
    for words in (["measure"], ["prepare"], ["deal", "--open-seed", "7"], ["simulate", "--seed", str(SEED)]):
        assert cli.main([words[0], str(folder), *words[1:]]) == 0
    assert cli.main(["analyse", str(folder)]) == 0
    return folder


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> "listening.notebook.NotebookStudy":
    study = listening.open(small_study.write(tmp_path_factory.mktemp("notebook")).root)
    study.measure()
    study.prepare()
    study.deal(open_seed=7)
    study.simulate(seed=SEED)
    study.analyse()
    return study


@pytest.mark.parametrize("file", ["measures.json", "measures.csv", "stimuli/manifest.json"])
def test_files_are_those_of_the_commands_byte_for_byte(by_hand, by_command, file):
    assert (by_hand.folder.root / file).read_bytes() == (by_command / file).read_bytes()


def test_findings_are_those_of_the_commands_to_the_last_digit(by_hand, by_command):
    mine, theirs = by_hand.findings.to_dict(), json.loads((by_command / "findings.json").read_text())
    for name in ("questions", "superlatives", "panel", "strengths", "conditions"):
        assert mine[name] == theirs[name], name
    frame = by_hand.findings.to_frame()
    assert dict(zip(frame["id"], frame["word"], strict=True)) == {
        name: word for name, word in by_hand.findings.verdicts.items() if name in set(frame["id"])
    }
    assert by_hand.findings.verdicts == {
        one["id"]: one["word"] for one in [*theirs["questions"], *theirs["superlatives"]]
    }


def test_each_step_is_noted_as_the_command_notes_it(by_hand, by_command):
    steps = [line.split()[1] for line in (by_hand.folder.root / "steps.log").read_text().splitlines()]
    assert steps == [line.split()[1] for line in (by_command / "steps.log").read_text().splitlines()]


def test_answers_are_those_of_export_and_the_opening_is_logged(by_hand, by_command, capsys):
    log = by_hand.folder.sealed / "openings.log"
    before = _opened(by_hand.folder.sealed)
    answers = by_hand.answers()
    assert _opened(by_hand.folder.sealed) == before + 1, log
    assert cli.main(["export", str(by_command), "--json"]) == 0
    written = (by_command / "export" / "answers.csv").read_text()
    drop = ["sitting"]
    theirs = listening_csv(written).drop(columns=drop)
    mine = listening_csv(answers.to_csv(index=False)).drop(columns=drop)
    assert mine.equals(theirs)


def listening_csv(text: str):
    import io

    import pandas as pd

    return pd.read_csv(io.StringIO(text))


def _opened(sealed: Path) -> int:
    return sum(len(path.read_text().splitlines()) for path in sealed.glob("*.log"))


def test_a_study_is_read_without_opening_a_key(tmp_path):
    study = listening.open(small_study.write(tmp_path).root)
    assert study.protocol.attributes
    assert list(study.recordings.index) == ["a1", "a2", "b1", "b2"]
    assert study.check().errors == []
    with pytest.raises(ListeningError, match="not measured yet"):
        _ = study.measures
    assert not study.folder.sealed.exists()


def test_measures_are_a_data_frame_with_units_in_the_names(by_hand):
    frame = by_hand.measures
    assert {"condition", "laf_max_db", "nmax_sone", "t60_s"} <= set(frame.columns)
    assert frame.loc["a1", "t60_s"] == pytest.approx(0.6, rel=0.01)  # as the sound was made


def test_check_says_what_the_command_says(by_hand, capsys):
    code = cli.main(["check", str(by_hand.folder.root)])
    assert code == 0
    assert capsys.readouterr().out == by_hand.check().summary() + "\n"
    assert len(by_hand.check().to_frame()) == len(by_hand.check().problems)


def test_one_sound_has_the_numbers_of_the_command(tmp_path, capsys):
    file = str(next(small_study.write(tmp_path).root.rglob("*.wav")))
    found = listening.measure(file, pascal_per_full_scale=2.83)
    assert cli.main(["measure", file, "--pascal-per-full-scale", "2.83", "--json"]) == 0
    theirs = json.loads(capsys.readouterr().out)[0]
    assert json.loads(json.dumps(found.to_dict())) == theirs
    assert found.nmax_sone == theirs["channels"][0]["nmax_sone"]
    assert found.to_frame().loc[1, "laf_max_db"] == theirs["channels"][0]["laf_max_db"]
    partials = listening.partials(file, pascal_per_full_scale=2.83)
    assert json.loads(json.dumps(partials.to_dict())) == theirs["channels"][0]["partials"]
    assert len(partials.to_frame()) == len(partials)
    assert cli.main(["measure", file, "--pascal-per-full-scale", "2.83"]) == 0
    assert capsys.readouterr().out == found.summary() + "\n"
    with pytest.raises(AttributeError, match="no metric 'loudness'"):
        _ = found.loudness


@pytest.mark.parametrize(
    "act",
    [
        lambda folder: listening.open(folder / "nowhere"),
        lambda folder: listening.measure(folder / "nowhere.wav"),
        lambda folder: listening.partials(folder / "nowhere.wav"),
        lambda folder: listening.open(folder).prepare(by_ear=folder / "nowhere"),
        lambda folder: listening.open(folder).deal(),
        lambda folder: listening.open(folder).simulate(),
        lambda folder: listening.open(folder).simulate(listeners=0),
        lambda folder: listening.open(folder).analyse(),
        lambda folder: listening.open(folder).answers(),
    ],
    ids=["open", "measure", "partials", "by_ear", "deal", "simulate", "listeners", "analyse", "answers"],
)
def test_what_a_person_can_mend_is_a_listening_error(act, tmp_path):
    with pytest.raises(ListeningError):
        act(small_study.write(tmp_path).root)
