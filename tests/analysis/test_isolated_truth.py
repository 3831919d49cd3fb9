"""One dome taken apart, from its strikes to the verdicts: causes are told right over ten panels."""

from pathlib import Path

import numpy as np
import pytest

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide
from listening.commands import new
from listening.design import dealing
from listening.planning import covariate_criticism
from listening.records.protocols import protocol
from listening.simulate import panel, percepts
from listening.stimuli import preparation

PROTOCOL = Path(__file__).resolve().parents[2] / "protocols" / "bells_isolated.toml"
N_PANELS = 10
HEARD = ("brighter-is-heard", "longer-is-heard")
NOT_THERE = "longer-is-not-brighter"  # the simulated listeners' brightness does not follow the decay


@pytest.mark.slow
def test_causes_are_told_right_on_isolated_stimuli(tmp_path: Path) -> None:
    study = new.start(tmp_path / "study", PROTOCOL)
    chosen, manifest = protocol.load(study.protocol), preparation.run(study, jobs=2)
    (preview,) = covariate_criticism.of_study(chosen, manifest)
    assert preview.largest_inflation < 1.5  # the bar for the full crossing
    made = dealing.deal(
        chosen, manifest, protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01"
    )
    heard = percepts.of_study(made.key, manifest)
    words = []
    for seed in range(N_PANELS):
        answers = panel.answers(made.plan, heard, n_listeners=24, seed=seed)
        table = keyed_answers.frame(answers, made.key, manifest)
        words.append({n: d.word for n, d in decide.decide_all(table, chosen).items()})
    for name in HEARD:
        assert np.mean([found[name] == "supported" for found in words]) >= 0.9
    assert not [found for found in words if found[NOT_THERE] == "contradicted"]
