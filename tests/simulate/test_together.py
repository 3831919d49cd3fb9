"""A simulated panel that is asked two questions a pair: sat through the real session, collected, decided."""

from pathlib import Path

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide
from listening.design.dealing import deal
from listening.records.keys.key import Key
from listening.records.protocols.protocol import Protocol
from listening.simulate import run as simulate
from listening.store import open_store
from tests import bells


def test_two_questions_a_pair_are_sat_collected_and_decided(tmp_path: Path) -> None:
    chosen = bells.protocol.load(bells.PROTOCOL)
    sitting = chosen.sitting.model_copy(update={"together": ["brightness", "ringing"]})
    panel = chosen.panel.model_copy(update={"listeners": 24})
    chosen = Protocol.model_validate(
        chosen.model_copy(update={"sitting": sitting, "panel": panel}).model_dump()
    )
    digest = bells.protocol.digest(bells.PROTOCOL)
    made = deal(chosen, bells.manifest(), protocol_digest=digest, secret="0" * 31 + "1", dealt_at="x")
    study = bells.write_study(tmp_path / "study", made=made)
    simulate.run(study, seed=1)
    stored = open_store(study.answers).answers()
    trials = [t for slot in made.plan.slots for t in slot.trials]
    assert [(a.trial, a.attribute, a.clips) for a in stored] == [
        (t.trial, t.attribute, t.clips) for t in trials
    ]
    table = keyed_answers.frame(stored, Key.load(study.key), bells.manifest())
    asked = next(q for q in chosen.questions if q.id == "f-longer-than-e")  # true of the bells
    assert decide.decide_question(table, asked).word == "supported"
