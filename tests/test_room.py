"""The room is noted once, kept with each sitting, shown at the desk, exported; comments are exported."""

import json
from pathlib import Path

import pytest

from listening import cli
from listening.analysis.collect import remarks
from listening.commands import desk
from listening.records.dealt.room import Room
from listening.records.found.findings_study import Remark, RoomNoted
from listening.session.seating import opening
from listening.session.seating.station import Seat
from listening.store import open_store
from tests import stations
from tests.stations import Bench, take_seat

NOTED = ["--noise-db", "24.5", "--temperature-c", "21", "--light", "dim", "--noted-by", "AB"]


def station(folder: Path) -> Path:
    return stations.write_station(folder / "study", stations.make_plan()).root


def test_what_is_noted_is_shown_and_can_be_dropped(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(station(tmp_path))
    assert cli.main(["room", folder]) == 0
    assert "nothing is noted of the room" in capsys.readouterr().out
    assert cli.main(["room", folder, *NOTED]) == 0
    told = capsys.readouterr().out
    assert "background noise 24.5 dB(A); temperature 21 °C; light: dim; noted by: AB; noted 20" in told
    assert cli.main(["room", folder, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["room"]["noise_db"] == 24.5
    assert cli.main(["room", folder, "--forget"]) == 0
    assert "nothing is noted" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--humidity-percent", "140"], "--humidity-percent: found `140.0`"),
        (["--remark", "a|b"], "--remark: found `a|b`"),
        (["--noise-db", "nan"], "--noise-db: found `nan`"),
    ],
)
def test_what_no_room_has_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], given: list[str], told: str
) -> None:
    folder = station(tmp_path)
    assert cli.main(["room", str(folder), *given]) == 2
    assert told in capsys.readouterr().err
    assert not (folder / "station" / "room.json").exists()


def test_each_sitting_keeps_the_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = take_seat(tmp_path, stations.make_plan())
    place = object.__new__(opening.Station)
    room = Room(noise_db=24.5, noted_at="2030-01-01T08:00:00+00:00")
    place.plan, place._store, place._room = bench.sitting.plan, bench.store, room  # type: ignore[assignment]
    place._level, place._key_beside = None, False
    place._output = type("Output", (), {"name": "phones", "rate_hz": stations.RATE_HZ})()
    place._note_sound(bench.sitting.row.id)
    kept = [e.detail for e in bench.store.events() if e.kind == "conditions"]
    assert kept == ["background noise 24.5 dB(A); noted 2030-01-01T08:00 UTC"]


def test_comments_and_rooms_become_tables(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, stations.make_plan())
    note, row = bench.store.note, bench.sitting.row.id
    note(row, "conditions", detail="background noise 24 dB(A)")
    note(row, "comment", trial="003", detail="=B rings")
    note(row, "comment", detail="at the end|long")
    note(row, "comment", detail="at the end|")
    store = open_store(tmp_path / "answers.sqlite")
    made = remarks.tables(store.sittings(), store.events())
    assert made["rooms"].to_dict("records") == [{"listener": "L01", "room": "background noise 24 dB(A)"}]
    assert made["comments"].to_numpy().tolist() == [
        ["L01", "003", "=B rings"],
        ["L01", "at the end", "long"],
    ]


def test_the_desk_says_where_the_key_is_and_how_the_room_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = station(tmp_path)
    open_store(folder / "station" / "answers.sqlite").close()
    assert cli.main(["desk", str(folder)]) == 0
    told = capsys.readouterr().out
    assert "key: not on this machine" in told
    assert "room: nothing is noted" in told
    (folder / "sealed").mkdir()
    (folder / "sealed" / "key.json").write_text("{}")
    assert cli.main(["desk", str(folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["key"] == "open, no pass phrase"


def test_the_desk_tells_training_from_trials(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, stations.make_plan())
    bench.store.note(bench.sitting.row.id, "introduced", detail="brightness|understood|plays 1")
    events = bench.store.events()
    assert desk._stage(events) == "trials"
    assert desk._stage(events, may_train=True) == "training, trials"
    bench.store.note(bench.sitting.row.id, "trained", trial="training brightness 1")
    assert desk._stage(bench.store.events(), may_train=True) == "trials"


def remarked(folder: Path) -> tuple[Bench, list[Remark], list[RoomNoted]]:
    """Two sittings with comments, a room each."""
    bench = take_seat(folder, stations.make_plan())
    other = take_seat(folder, stations.make_plan(), Seat("L02"))
    for row, trial, text in ((bench, "003", "A is dull"), (other, "002", "B rings longer")):
        row.store.note(row.sitting.row.id, "conditions", detail="background noise 24 dB(A)")
        row.store.note(row.sitting.row.id, "comment", trial=trial, detail=text)
    other.store.note(other.sitting.row.id, "comment", detail="at the end|thank you")
    return other, *_found(other)


def _found(bench: Bench) -> tuple[list[Remark], list[RoomNoted]]:
    sittings, events = bench.store.sittings(), bench.store.events()
    said = remarks.of_listeners(bench.sitting.plan, sittings, events)
    assert said == remarks.of_listeners(
        bench.sitting.plan, sittings, events[::-1]
    )  # in any order of the store
    return list(said), list(remarks.of_rooms(sittings, events))


def test_a_comment_stands_with_its_attribute_and_no_sound(tmp_path: Path) -> None:
    _, said, rooms = remarked(tmp_path)
    assert [(one.listener, one.about) for one in said] == [
        ("L01", "brightness"),
        ("L02", "at the end"),
        ("L02", "brightness"),
    ]
    assert rooms == [RoomNoted(room="background noise 24 dB(A)", n_begun=2)]


def test_comments_of_who_withdrew_are_gone(tmp_path: Path) -> None:
    bench, _, _ = remarked(tmp_path)
    bench.store.withdraw("L02")
    said, rooms = _found(bench)
    assert {one.listener for one in said} == {"L01"}
    assert [one.n_begun for one in rooms] == [1]


def test_the_desk_tells_who_left_from_whom_it_ended(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, stations.make_plan())
    note, row = bench.store.note, bench.sitting.row.id

    def state() -> str:
        events = bench.store.events()
        return desk._state(False, events, last=events[-1].at)

    note(row, "opened", detail="device")
    note(row, "asked", detail="pause")
    note(row, "left")
    assert state() == "left"
    note(row, "asked", detail="end")
    note(row, "left")
    assert state() == "ended from here"
    note(row, "opened", detail="device")
    note(row, "left")
    assert state() == "left"
