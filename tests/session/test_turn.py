"""The state of one step: what a new start forgets, and what a second question about a pair takes over."""

from dataclasses import fields

from listening.session.answering.turn import Turn


def used() -> Turn:
    sounds = {"begun": 2, "finished": 1, "running": True, "clip": 1, "heard": frozenset({0, 1})}
    marks = {"chosen": "first", "values": (10.0, None), "row": 1, "typed": "12", "order": (1, 0)}
    times = {"onset_s": 3.0, "answered_s": 4.0, "entered_s": 2.0, "began_s": 2.5, "waits_s": 3.5}
    turn = Turn(**sounds, **marks, **times, share=0.5, part=(0.2, 0.8), is_late=True, voids=1)
    fresh = Turn()
    assert all(getattr(turn, field.name) != getattr(fresh, field.name) for field in fields(Turn))
    return turn


def test_a_trial_that_did_not_count_begins_as_new_but_for_its_clock_and_its_number_of_voids() -> None:
    turn, fresh = used().anew(), Turn(values=(None, None), voids=2, answered_s=4.0, entered_s=2.0)
    for field in fields(Turn):
        assert getattr(turn, field.name) == getattr(fresh, field.name), field.name


def test_another_question_about_the_same_sounds_takes_over_that_they_were_heard_and_nothing_else() -> None:
    turn = Turn(entered_s=9.0).following(used())
    fresh = Turn(begun=2, finished=1, heard=frozenset({0, 1}), onset_s=9.0, entered_s=9.0)
    for field in fields(Turn):
        assert getattr(turn, field.name) == getattr(fresh, field.name), field.name


def test_a_turn_begins_with_nothing_heard_and_the_whole_sound() -> None:
    turn = Turn()
    assert (turn.begun, turn.finished, turn.running, turn.heard) == (0, 0, False, frozenset())
    assert (turn.share, turn.part, turn.voids, turn.row) == (0.0, (0.0, 1.0), 0, 0)
