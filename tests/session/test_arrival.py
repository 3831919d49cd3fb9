"""Who arrives: a returning listener goes on with a code, and nobody begins twice by a mistake."""

from pathlib import Path

import pytest

from listening.errors import ListeningError
from listening.session.seating import station
from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from tests import stations
from tests.stations import Bench

FIRST = View(Stage.WELCOME, "Listening test", body=("Welcome to the test.",))


class Door:
    """An arrival at a station where L01 has begun and stopped, and what came of it."""

    def __init__(self, folder: Path, seat: Seat) -> None:
        self._folder = folder
        begun = self.take(Seat("L01"))
        stations.walk(begun.sitting, *stations.OPENING)
        stations.one_trial(begun.sitting)
        begun.die()
        self.arrival = Arrival(
            FIRST,
            words("en"),
            seat=seat,
            is_known=self._is_known,
            sit=lambda wanted: self.take(wanted).sitting,
        )

    def take(self, seat: Seat) -> Bench:
        self.bench = stations.take_seat(self._folder, stations.make_plan(), seat)
        return self.bench

    def codes(self) -> list[str]:
        return [row.listener for row in self.bench.store.sittings()]

    def _is_known(self, code: str) -> bool:
        station.check_code(code)
        return self.bench.store.resume(listener=code) is not None

    def press(self, *keys: str) -> None:
        for key in keys:
            act = next(a.name for a in self.arrival.actions() if a.key == key)
            assert self.arrival.act(act)


def test_who_has_not_begun_before_gets_a_code_and_goes_straight_to_the_consent(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat())
    assert door.arrival.view().body == FIRST.body
    assert "begun this test before" in door.arrival.view().status
    door.press("n")
    assert door.arrival.sitting is not None
    assert door.arrival.sitting.stage is Stage.CONSENT
    assert len(set(door.codes())) == 2


def test_who_comes_back_goes_on_with_the_code(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat())
    door.press("y", "l", "0", "2", "backspace", "1", "enter")
    assert door.arrival.sitting is not None
    assert door.arrival.sitting.state.is_back
    assert door.codes() == ["L01"]


def test_a_mistyped_code_begins_nobody(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat())
    door.press("y", "l", "minus", "enter")
    assert door.arrival.sitting is None
    assert "under the code L-" in door.arrival.view().notice
    door.press("l", "0", "1", "enter")
    assert door.codes() == ["L01"]


def test_an_unknown_code_of_the_command_line_is_asked_about(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat("L10"))
    assert "under the code L10" in door.arrival.view().status
    door.press("y", "escape")
    assert "L10" not in door.arrival.view().status


def test_an_unknown_code_may_be_begun_with(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat("L10"))
    door.press("n")
    assert door.codes() == ["L01", "L10"]


def test_a_typed_line_is_taken_as_a_code_only_where_one_is_asked_for(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat())
    assert not door.arrival.take_line("l01")
    door.press("y")
    assert not door.arrival.take_line("no code")
    assert door.arrival.take_line("l01")
    assert door.arrival.sitting is not None


def test_leaving_before_a_seat_is_taken_stores_nothing(tmp_path: Path) -> None:
    door = Door(tmp_path, Seat())
    door.press("escape")
    assert door.arrival.is_over
    assert door.codes() == ["L01"]


def test_a_code_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ListeningError, match="wanted 1 to 16 letters"):
        Door(tmp_path, Seat())._is_known("a b")


def test_a_wrong_key_is_told_until_other_keys_work(tmp_path: Path) -> None:
    bench = stations.take_seat(tmp_path, stations.make_plan())
    bench.sitting.wrong_key("Q")
    assert bench.sitting.view().hint == "Q does nothing here. Keys that work now: Enter, Esc."
    stations.walk(bench.sitting, "go_on")
    assert bench.sitting.view().hint == ""


def test_an_answer_before_the_sounds_were_heard_is_told_to_wait(tmp_path: Path) -> None:
    bench = stations.take_seat(tmp_path, stations.make_plan())
    stations.walk(bench.sitting, *stations.OPENING)
    bench.sitting.wrong_key("A")
    assert bench.sitting.view().hint == "First hear the sounds to their end; then choose."
