"""From the command line: a study published on a server, sat with a booth's rights, copied back, merged."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from listening import cli
from listening.records.dealt.plan import Plan
from listening.records.study import Study
from listening.session.seating import station
from listening.session.seating.clocks import Clocks
from listening.session.seating.station import Seat
from listening.store import open_for_sitting, open_store, place_of
from tests import stations


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = stations.write_station(tmp_path / "bells", stations.make_plan(n_slots=4))
    made.protocol.write_text("# only its place matters here\n")
    return made


@pytest.fixture
def published(study: Study, database: str, as_user: Callable[[str, str], str], monkeypatch, capfd) -> Study:  # type: ignore[no-untyped-def]
    """The study on a server, and this process logged in as a booth."""
    assert cli.main(["booths", str(study.root), "--server", database, "--json"]) == 0
    as_user(database, "booth")
    monkeypatch.setenv("PGUSER", "user_booth")
    capfd.readouterr()
    return study


def seat(study: Study, listener: str) -> stations.Bench:
    store, clock = open_for_sitting(study), stations.FakeClock()
    player = stations.TestPlayer(clock)
    plan = Plan.load(study.plan)
    row, hold = station.take(plan, store, Seat(listener))
    clocks = Clocks(clock, stations.utc_ticks())
    sitting = station.seated(plan, store, row, player=player, clocks=clocks)
    sitting.hold = hold
    return stations.Bench(sitting, store, player, clock, hold)  # type: ignore[arg-type]


def test_a_sitting_goes_on_through_a_server_restart_and_says_so_quietly(
    server, published: Study, database: str
) -> None:
    bench = seat(published, "L01")
    sitting = bench.sitting
    stations.walk(sitting, *stations.OPENING)
    stations.one_trial(sitting)
    assert bench.store.flush(60) == 0
    assert "kept on this computer" not in sitting.view().notice
    server.control("stop", "-m", "immediate")
    try:
        stations.one_trial(sitting)
        while not bench.store.waiting():  # it has tried since
            bench.store.flush(0.1)
        assert "kept on this computer" in sitting.view().notice
        stations.one_trial(sitting)
    finally:
        server.control("start")
    assert bench.store.flush(60) == 0
    assert "kept on this computer" not in sitting.view().notice
    assert sitting.close() == 0
    assert len(open_store(database).answers()) == 3
    again = seat(published, "L01").sitting  # and comes back to the trial after
    assert again.state.n_done == 2  # the first was practice
    again.close()


def test_the_station_file_names_the_server_without_a_user_or_password(published: Study) -> None:
    noted = json.loads(published.server.read_text())
    assert noted["url"].startswith("postgresql://")
    assert "@" not in noted["url"].split("?")[0]
    assert place_of(published) == noted["url"]


def test_a_password_comes_from_the_environment_and_stands_nowhere_else(  # type: ignore[no-untyped-def]
    server, published: Study, database: str, tmp_path: Path, monkeypatch, capfd, caplog
) -> None:
    caplog.set_level("DEBUG")
    server.sql("DROP ROLE IF EXISTS user_with_password")
    server.sql("CREATE ROLE user_with_password LOGIN PASSWORD 'open-sesame-77'")
    server.sql("GRANT listening_booth TO user_with_password")
    monkeypatch.setenv("PGUSER", "user_with_password")
    monkeypatch.setenv("PGPASSWORD", "wrong-sesame-77")
    shared = place_of(published)
    assert cli.main(["copy", str(shared), str(tmp_path / "kept.sqlite")]) == 2
    assert "password authentication failed" in capfd.readouterr().err
    monkeypatch.setenv("PGPASSWORD", "open-sesame-77")
    bench = seat(published, "L01")
    stations.walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)
    assert bench.store.flush(60) == 0
    assert bench.sitting.close() == 0
    assert len(open_store(database).answers()) == 1
    told = capfd.readouterr()
    said = told.out + told.err + caplog.text + Path("/proc/self/cmdline").read_text()
    files = [p for p in [*tmp_path.rglob("*"), server.folder / "log"] if p.is_file()]
    assert "sesame" not in said
    assert [p for p in files if b"sesame" in p.read_bytes()] == []
    (tmp_path / "planted").write_text("sesame")  # the search can find it
    assert any(b"sesame" in p.read_bytes() for p in tmp_path.rglob("*") if p.is_file())


def test_another_study_is_not_published_over_it(study: Study, database: str, tmp_path: Path, capfd) -> None:  # type: ignore[no-untyped-def]
    assert cli.main(["booths", str(study.root), "--server", database]) == 0
    other = stations.write_station(
        tmp_path / "other", stations.make_plan(study_digest="e" * 64, order_seed=2)
    )
    other.protocol.write_text("#\n")
    assert cli.main(["booths", str(other.root), "--server", database]) == 2
    assert "make a database for each study" in capfd.readouterr().err
    assert not other.server.exists()


def test_answers_come_back_into_a_file_and_join_another_site(
    published: Study, database: str, tmp_path: Path, capfd
) -> None:  # type: ignore[no-untyped-def]
    bench = seat(published, "L01")
    stations.walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)
    bench.sitting.close()
    home = stations.write_station(tmp_path / "home", stations.make_plan(n_slots=4))
    home.protocol.write_text("#\n")
    assert cli.main(["copy", database, str(tmp_path / "north.sqlite"), "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["answer"] == 1
    words = ["merge", str(home.root), str(tmp_path / "north.sqlite"), "--site", "north"]
    assert cli.main([*words, "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["answers"] == 1
    assert [a.site for a in open_store(home.answers).answers()] == ["north"]


def test_a_site_with_another_protocol_is_refused(study: Study, tmp_path: Path, capfd) -> None:  # type: ignore[no-untyped-def]
    plan = stations.make_plan(n_slots=4, protocol_digest="f" * 64)
    other = stations.write_station(tmp_path / "other", plan)
    assert cli.main(["merge", str(study.root), str(other.root), "--site", "north"]) == 2
    assert "answers to different protocols are never pooled" in capfd.readouterr().err


def test_a_site_that_dealt_by_itself_is_refused(study: Study, tmp_path: Path, capfd) -> None:  # type: ignore[no-untyped-def]
    plan = stations.make_plan(n_slots=4, order_seed=99)
    other = stations.write_station(tmp_path / "other", plan)
    assert Plan.load(other.plan).study_digest != Plan.load(study.plan).study_digest
    assert cli.main(["merge", str(study.root), str(other.root), "--site", "north"]) == 2
    assert "copies of one dealt station folder" in capfd.readouterr().err


def test_a_server_that_is_not_there_is_named(study: Study, tmp_path: Path, capfd) -> None:  # type: ignore[no-untyped-def]
    assert cli.main(["booths", str(study.root), "--server", f"postgresql:///x?host={tmp_path}"]) == 2
    assert "the database server cannot be used" in capfd.readouterr().err
    assert not study.server.exists()
