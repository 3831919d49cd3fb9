"""Matching by ear, the whole loop: prepare, deal, sit, and prepare again with the gains by ear."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from scipy import stats as distributions

from listening import cli
from listening.analysis.collect import adjustments
from listening.design.dealing import Dealt, deal
from listening.errors import StudyError
from listening.records.protocols import protocol
from listening.records.sounds.ear_gains import EarGains
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.simulate import panel, percepts
from listening.simulate import run as simulate
from listening.steps import study_stimuli
from tests.stimuli import small_study
from tests.stimuli.small_study import ringing

SOUNDS = {  # equal in LAFmax, a holds more energy than b: it rings twice as long
    "a1": ("a", ringing()),
    "a2": ("a", ringing(f_hz=1510.0, gain_db=1.0, lead_s=0.13)),
    "b1": ("b", ringing(f_hz=1490.0, gain_db=6.0, t60_s=0.3)),
    "b2": ("b", ringing(f_hz=1520.0, gain_db=7.0, t60_s=0.3)),
}
MEAN_SHARE_OF_LAE = 0.35  # in the loudness of a simulated listener, whose share of LAFmax is 0.4 to 0.9


def _asks_for_gains() -> str:
    text = small_study.PROTOCOL.replace(
        'comparative = "louder"', 'comparative = "louder"\ntask = "adjustment"'
    )
    text = text.replace("[[blocks]]", '[[blocks]]\nrepeats = 2\npairs = "all"')
    return text[: text.index("[[questions]]")]


def _level(manifest: Manifest, condition: str, metric: str) -> float:
    found = [
        s.after[metric] for s in manifest.stimuli if (s.presentation, s.condition) == ("matched", condition)
    ]
    return float(np.mean([value for value in found if value is not None]))


def _true_gain_db(manifest: Manifest) -> float:
    """What the mean simulated listener adds to b beyond the match on LAFmax."""
    lae_db = _level(manifest, "a", "lae_db") - _level(manifest, "b", "lae_db")
    laf_db = _level(manifest, "a", "laf_max_db") - _level(manifest, "b", "laf_max_db")
    return MEAN_SHARE_OF_LAE * (lae_db - laf_db)


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """The adjustment study, prepared."""
    study = small_study.write(tmp_path_factory.mktemp("gains") / "asked", SOUNDS)
    study.protocol.write_text(_asks_for_gains())
    assert cli.main(["prepare", str(study.root), "--jobs", "1"]) == 0
    return study


def test_gains_set_by_listeners_take_the_place_of_the_computed_match(asked: Study, tmp_path: Path) -> None:
    sat = Study(Path(shutil.copytree(asked.root, tmp_path / "sat")))
    assert cli.main(["deal", str(sat.root)]) == 0
    simulate.run(sat, seed=3)
    study = small_study.write(tmp_path / "main", SOUNDS)
    assert cli.main(["prepare", str(study.root), "--jobs", "1", "--by-ear", str(sat.root)]) == 0
    found = adjustments.of_study(sat, now=lambda: "2030-01-01T00:00:00+00:00")
    before, after = Manifest.load(sat.manifest), Manifest.load(study.manifest)
    (pair,) = found.pairs
    added_db = {
        s.stimulus: after.of(s.stimulus).gain_db - s.gain_db
        for s in before.stimuli
        if s.presentation == "matched"
    }
    moved_db = added_db["b1.matched"] - added_db["a1.matched"]
    assert moved_db == pytest.approx(pair.gain_db, abs=1e-6)
    # the t interval of 7 degrees of freedom at 99.9 %: a seed in a thousand would miss it
    reach_db = float(distributions.t.ppf(0.9995, 7)) * pair.se_db
    assert pair.gain_db == pytest.approx(_true_gain_db(before), abs=reach_db)
    assert "by ear (8 listeners" in after.matching_label


def test_a_refused_preparation_leaves_no_gains_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = small_study.write(tmp_path / "main", SOUNDS)
    made = EarGains(
        study_digest="0" * 64, metric="laf_max_db", n_listeners=8, simulated=True, pairs=(), conditions=()
    )

    def refuse(*_: object, **__: object) -> None:
        raise StudyError("a stimulus clips")

    monkeypatch.setattr(study_stimuli, "gains", lambda _: made)
    monkeypatch.setattr(study_stimuli.preparation, "run", refuse)
    for before in (None, b"earlier gains"):
        if before is not None:
            study.ear_gains.write_bytes(before)
        with pytest.raises(StudyError, match="a stimulus clips"):
            study_stimuli.prepare(study, by_ear=tmp_path)
        assert (study.ear_gains.read_bytes() if study.ear_gains.is_file() else None) == before


@pytest.mark.slow
def test_the_interval_of_a_gain_by_ear_holds_the_truth(asked: Study) -> None:
    """95 % of 200 panels, within three Monte Carlo standard errors of 1.5 %."""
    manifest, n_panels = Manifest.load(asked.manifest), 200
    made = _dealt(asked, manifest)
    heard = percepts.of_study(made.key, manifest)
    true_db = _true_gain_db(manifest)
    held = []
    for seed in range(n_panels):
        answers = panel.answers(made.plan, heard, n_listeners=8, seed=seed)
        (pair,) = adjustments.from_answers(answers, made.key, manifest).pairs
        reach_db = float(distributions.t.ppf(0.975, pair.n_listeners - 1)) * pair.se_db
        held.append(abs(pair.gain_db - true_db) <= reach_db)
    assert np.mean(held) == pytest.approx(0.95, abs=3 * 0.0154)


def _dealt(study: Study, manifest: Manifest) -> Dealt:
    chosen = protocol.load(study.protocol)
    return deal(chosen, manifest, protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01")
