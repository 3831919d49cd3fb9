"""The state of one step: what a new start forgets, and what a second question about a pair takes over."""

from dataclasses import fields

from listening.session.turn import Turn


def used() -> Turn:
    turn = Turn(begun=2, finished=1, running=True, clip=1, heard={0, 1}, onset_s=3.0, chosen="first")
    turn.values, turn.row, turn.answered_s, turn.voids, turn.entered_s = [10.0, None], 1, 4.0, 1, 2.0
    turn.typed, turn.share = "12", 0.5
    turn.order, turn.part, turn.began_s, turn.waits_s, turn.is_late = [1, 0], (0.2, 0.8), 2.5, 3.5, True
    fresh = Turn()
    assert all(getattr(turn, field.name) != getattr(fresh, field.name) for field in fields(Turn))
    return turn


def test_a_trial_that_did_not_count_begins_as_new_but_for_its_clock_and_its_number_of_voids() -> None:
    turn, fresh = used(), Turn(values=[None, None], voids=2, answered_s=4.0, entered_s=2.0)
    turn.restart()
    for field in fields(Turn):
        assert getattr(turn, field.name) == getattr(fresh, field.name), field.name


def test_another_question_about_the_same_sounds_takes_over_that_they_were_heard_and_nothing_else() -> None:
    before, turn = used(), Turn(entered_s=9.0)
    turn.go_on_from(before)
    fresh = Turn(begun=2, finished=1, heard={0, 1}, onset_s=9.0, entered_s=9.0)
    for field in fields(Turn):
        assert getattr(turn, field.name) == getattr(fresh, field.name), field.name
    turn.heard.add(2)
    assert before.heard == {0, 1}
