"""Questions about the listener, and practice until the pair of examples is told apart, with a way out."""

from pathlib import Path

from listening.session.showing.view import Stage
from tests import stations
from tests.stations import Bench, make_plan, take_seat, walk

ASKED = [
    {"wording": "How old are you?", "answers": ["under 30", "30 to 60", "over 60"]},
    {"wording": "Do you hear well?", "answers": ["yes", "no"]},
]


def told(bench: Bench) -> list[str]:
    return [e.detail for e in bench.store.events() if e.kind == "told"]


def test_the_questionnaire_is_asked_once_and_kept_out_of_the_answers(tmp_path: Path) -> None:
    plan = make_plan(sitting=stations.rules(questionnaire=ASKED))
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, "go_on", "agree")
    assert bench.sitting.view().question == "How old are you?"
    walk(bench.sitting, "choose:0", "choose:1", "tell", "rather_not")
    assert bench.sitting.stage is Stage.LEVEL
    assert told(bench) == ["0|30 to 60", "1|rather not say"]
    assert bench.store.answers() == []
    bench.die()
    again = take_seat(tmp_path, plan)
    walk(again.sitting, "go_on")
    assert again.sitting.stage is Stage.LEVEL


def rehearsing(folder: Path) -> Bench:
    bench = take_seat(folder, make_plan(n_practice=0, sitting=stations.rules(practice_until_right=2)))
    walk(bench.sitting, *stations.OPENING)
    return bench


def say(bench: Bench, *, right: bool) -> None:
    more_first = bench.sitting.state.trial.clips[0] == stations.ANCHORS[0]
    walk(bench.sitting, "play", "choose:first" if more_first == right else "choose:second", "confirm")


def outcomes(bench: Bench) -> list[str]:
    return [e.detail for e in bench.store.events() if e.kind == "rehearsed"]


def test_telling_the_anchors_apart_twice_in_a_row_ends_the_rehearsal(tmp_path: Path) -> None:
    bench = rehearsing(tmp_path)
    for right in (True, False, True):
        say(bench, right=right)
        assert bench.sitting.state.step.rehearsal
    say(bench, right=True)
    assert not bench.sitting.state.step.rehearsal
    assert bench.sitting.state.trial.trial == "001"
    assert outcomes(bench) == ["brightness|told apart"]
    assert all(answer.practice for answer in bench.store.answers())
    assert bench.sitting.view().progress.startswith("0 of 4")
    assert bench.sitting.view().notice == "Practice is over. From now on your answers count."


def test_who_never_tells_them_apart_may_try_again_or_go_on(tmp_path: Path) -> None:
    bench = rehearsing(tmp_path)
    for _ in range(6):
        say(bench, right=False)
    assert bench.sitting.stage is Stage.STUCK
    walk(bench.sitting, "once_more")
    for _ in range(6):
        say(bench, right=False)
    assert bench.sitting.stage is Stage.STUCK
    walk(bench.sitting, "go_on")
    assert bench.sitting.state.trial.trial == "001"
    assert outcomes(bench) == ["brightness|went on without"]


def test_right_answers_of_an_earlier_rehearsal_do_not_count_in_the_next(tmp_path: Path) -> None:
    bench = rehearsing(tmp_path)
    for right in (False, False, False, False, False, True):
        say(bench, right=right)
    assert bench.sitting.stage is Stage.STUCK
    walk(bench.sitting, "once_more")
    say(bench, right=True)
    assert bench.sitting.state.step.rehearsal, "twice in a row, and not once more after a stop"
    say(bench, right=True)
    assert not bench.sitting.state.step.rehearsal


def test_right_answers_about_one_word_do_not_count_for_the_next(tmp_path: Path) -> None:
    """The first word's rehearsal ends with a right answer and is given up; the second wants its own two."""
    plan = make_plan(n_trials=2, n_practice=0, sitting=stations.rules(practice_until_right=2))
    word, (slot, *_) = plan.attributes[0], plan.slots
    both = (word, word.model_copy(update={"name": "ringing", "wording": "Which of the two rings longer?"}))
    trials = (slot.trials[0], slot.trials[1].model_copy(update={"attribute": "ringing"}))
    changes = {"attributes": both, "slots": (slot.model_copy(update={"trials": trials}),)}
    bench = take_seat(tmp_path, plan.model_copy(update=changes))
    walk(bench.sitting, *stations.OPENING)
    for right in (False, False, False, False, False, True):
        say(bench, right=right)
    walk(bench.sitting, "go_on")
    stations.one_trial(bench.sitting)
    walk(bench.sitting, "play", "understood")
    say(bench, right=True)
    assert bench.sitting.state.step.rehearsal
    say(bench, right=True)
    assert not bench.sitting.state.step.rehearsal
    assert outcomes(bench) == ["brightness|went on without", "ringing|told apart"]


def test_a_finished_rehearsal_is_not_asked_again_after_a_stop(tmp_path: Path) -> None:
    bench = rehearsing(tmp_path)
    say(bench, right=True)
    say(bench, right=True)
    bench.die()
    again = take_seat(tmp_path, bench.sitting.plan)
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.state.trial.trial == "001"


def test_the_anchors_come_in_both_orders(tmp_path: Path) -> None:
    bench = rehearsing(tmp_path)
    orders = set()
    for _ in range(6):
        orders.add(bench.sitting.state.trial.clips)
        say(bench, right=False)
    assert len(orders) == 2
