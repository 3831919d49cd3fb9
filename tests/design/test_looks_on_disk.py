"""A dealt study with answers on disk: looks before the end, a closed panel, and a pilot's components."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from listening.analysis import full_analysis as analysis
from listening.analysis.again import reanalysis
from listening.analysis.opening import key_opening
from listening.errors import StudyError
from listening.planning import pilot_reading
from listening.records.dealt.answer import Answer
from listening.records.keys.key import Key
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.steps import study_deal as command
from listening.store import open_store

Maker = Callable[..., tuple[Protocol, Manifest]]
LISTENERS = 12


def now() -> str:
    return "2026-01-01T00:00:00+00:00"


@pytest.fixture
def dealt(prepared: Study, made: Maker, protocol_text: Callable[[Protocol], str]) -> Study:
    """The prepared study again with 12 listeners, 4 repeats, control pairs and one planned look, dealt."""
    chosen, _ = made(
        4,
        listeners=LISTENERS,
        repeats=4,
        controls=[{"attribute": "brightness", "gains_db": [3.0], "repeats": 2}],
        stopping={"looks": [9], "spending": "O'Brien-Fleming", "fewest": 11},
    )
    prepared.protocol.write_text(protocol_text(chosen))
    manifest = Manifest.load(prepared.manifest)
    digest = protocol_form.digest(prepared.protocol)
    manifest.model_copy(update={"protocol_digest": digest}).save(prepared.manifest)
    command.deal(prepared, secret="0" * 32, dealt_at=now())
    return prepared


def _sit(study: Study, slots: range) -> None:
    """Listeners who hear c01 well above the rest, with own differences of standard deviation 0.5."""
    from listening.records.dealt.plan import Plan

    plan = Plan.load(study.plan)
    condition = {c.clip: c.condition for c in Key.load(study.key).clips}
    gain = {c.clip: c.gain_db for c in Key.load(study.key).clips}
    store = open_store(study.answers, durable=False)
    for number in slots:
        rng = np.random.default_rng([7, number])
        own = {
            name: rng.normal(1.2 if name.startswith("c01") else 0.0, 0.35) for name in set(condition.values())
        }
        row = store.start_sitting(f"L{number:02d}", slots=[number], study_digest=plan.study_digest)
        for trial in plan.slots[number].trials:
            heard = [own[condition[c]] + 0.2 * gain[c] for c in trial.clips]
            chosen = "first" if rng.random() < 1 / (1 + np.exp(heard[1] - heard[0])) else "second"
            store.record(
                Answer(
                    sitting=row.id,
                    listener=row.listener,
                    slot=number,
                    trial=trial.trial,
                    attribute=trial.attribute,
                    task="paired comparison",
                    clips=trial.clips,
                    answer=chosen,
                    response_s=5.0,
                    plays=1,
                    practice=trial.practice,
                    simulated=False,
                    answered_at=now(),
                )
            )
        store.finish(row.id)
    store.close()


def test_a_planned_look_decides_and_an_unplanned_one_shows_counts_of_listeners_alone(dealt: Study) -> None:
    _sit(dealt, range(8))
    with pytest.raises(StudyError, match="8 of 12 planned listeners finished"):
        analysis.run(dealt, now=now)
    early = analysis.run(dealt, now=now, interim=True)
    asked = early.questions[0]
    assert asked.word == "no verdict"
    assert (asked.share, asked.estimate, asked.n_direct, asked.listeners) == (None, None, 0, ())
    assert early.panel.n_listeners == 8
    assert early.strengths == early.level_slopes == early.panel.listeners == ()
    assert early.looks is not None
    assert early.looks.counts_only
    with pytest.raises(StudyError, match="nothing of their answers"):
        reanalysis.reopened(dealt, early, now=now)
    _sit(dealt, range(8, 9))
    planned = analysis.run(dealt, now=now, interim=True)
    assert planned.questions[0].word != "no verdict"
    assert planned.questions[0].alpha < 0.05
    _sit(dealt, range(9, 12))
    last = analysis.run(dealt, now=now)
    assert last.looks is not None
    assert (last.looks.at_end, last.looks.earlier, last.looks.unplanned) == (True, (9,), 0)
    assert planned.questions[0].alpha < last.questions[0].alpha < 0.05
    assert len((dealt.sealed / "openings.log").read_text().splitlines()) == 3


def test_a_panel_closed_early_with_enough_listeners_is_at_its_end(dealt: Study) -> None:
    _sit(dealt, range(11))
    at = key_opening.look(dealt, now=now, closed="nobody answered the second notice")
    assert at.look.at_end
    assert at.look.closed == "nobody answered the second notice"


def test_an_altered_key_keeps_the_answers_closed(dealt: Study) -> None:
    _sit(dealt, range(12))
    text = dealt.key.read_text()
    dealt.key.write_text(text.replace("c01/free", "c02/free", 1))
    with pytest.raises(StudyError, match=r"key\.json: the sealed key is not the one that was dealt"):
        analysis.run(dealt, now=now)
    assert not (dealt.sealed / "openings.log").exists()


def test_a_pilot_tells_spreads_and_what_a_decibel_does(dealt: Study) -> None:
    _sit(dealt, range(12))
    [found], missing = pilot_reading.components(dealt, now=now)
    assert missing == []
    assert found.listeners == 12
    # own contrasts were drawn with standard deviation 0.35 * sqrt(2) = 0.49; its upper limit lies above that
    assert 0 <= found.spread_listeners <= found.spread_listeners_upper
    assert found.spread_listeners_upper > 0.49
    assert found.logit_per_db is not None
    question = protocol_form.load(dealt.protocol).questions[0]
    assumed = pilot_reading.assumed(dealt, question, now=now)
    assert assumed.spread_listeners == found.spread_listeners_upper
    assert "upper 80 % limit" in assumed.source


def test_a_pilot_that_is_not_complete_stays_closed(dealt: Study, tmp_path: Path) -> None:
    _sit(dealt, range(3))
    with pytest.raises(StudyError, match="--interim"):
        pilot_reading.components(dealt, now=now)
