"""The hearing check: thresholds come out where they are, no tone is too loud, and it may be skipped."""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from listening.audio.sound import Sound
from listening.metrics import level
from listening.session.showing.view import Stage
from listening.session.sounding import hearing_check, tones
from listening.session.sounding.clip_reading import Clips
from listening.session.sounding.thresholds import Track
from tests import stations
from tests.stations import Bench, take_seat, walk

LOUDEST_DB = -20.0  # the hand-made level clip at -17 dB, less 3


def track(hears: Callable[[float], bool]) -> tuple[Track, list[float]]:
    one, heard_at = Track(-40.0, -90.0, -20.0), []
    while not one.is_over:
        heard_at.append(one.level_db)
        one.answer(heard=hears(one.level_db))
        assert len(heard_at) < 100
    return one, heard_at


def test_the_steps_by_hand() -> None:
    # hears -55 dB and above: down from -40 to -60 (unheard), up to -55; down to -65, up to -55 again
    one, levels_db = track(lambda db: db >= -55.0)
    assert levels_db == [-40.0, -50.0, -60.0, -55.0, -65.0, -60.0, -55.0]
    assert (one.threshold_db, one.is_steady) == (-55.0, True)


@pytest.mark.parametrize("true_db", range(-90, -19, 5))
def test_whoever_hears_every_tone_above_a_level_has_that_threshold(true_db: int) -> None:
    assert track(lambda db: db >= true_db)[0].threshold_db == true_db


def test_who_hears_nothing_has_no_threshold_and_no_tone_is_louder_than_allowed() -> None:
    one, levels_db = track(lambda db: False)
    assert one.threshold_db is None
    assert max(levels_db) == -20.0


def test_who_hears_everything_is_asked_no_softer_than_allowed() -> None:
    one, levels_db = track(lambda db: True)
    assert (one.threshold_db, min(levels_db)) == (-90.0, -90.0)


def test_no_tone_is_softer_or_louder_than_allowed_where_the_steps_do_not_meet_the_limits() -> None:
    """From -40 down in tens meets -60; the softest allowed is -55. From -23 up in fives meets -18."""
    soft, levels_db = Track(-40.0, -55.0, -20.0), []
    while not soft.is_over:
        levels_db.append(soft.level_db)
        soft.answer(heard=True)
    assert levels_db == [-40.0, -50.0, -55.0, -55.0]
    assert (soft.threshold_db, soft.is_steady) == (-55.0, True)
    loud = Track(-23.0, -55.0, -20.0)
    loud.answer(heard=False)
    assert (loud.level_db, loud.is_over) == (-20.0, False)
    loud.answer(heard=False)
    assert not loud.is_over
    loud.answer(heard=False)
    assert (loud.is_over, loud.threshold_db, loud.is_steady) == (True, None, False)
    assert Track(-10.0, -55.0, -20.0).level_db == -20.0


def test_after_an_ascent_at_the_softest_tone_the_next_is_no_softer() -> None:
    one = Track(-52.0, -55.0, -20.0)
    one.answer(heard=False)  # up to -47
    one.answer(heard=True)
    assert one.level_db == -55.0


def test_five_ascents_that_do_not_agree_give_their_median_and_say_so() -> None:
    one = Track(-40.0, -90.0, -20.0)
    one.answer(heard=False)
    for end_db in (-30.0, -25.0, -35.0, -40.0, -45.0):
        assert not one.is_over
        while one.level_db < end_db:
            one.answer(heard=False)
        one.level_db = end_db
        one.answer(heard=True)
    assert (one.is_over, one.threshold_db, one.is_steady) == (True, -35.0, False)


def test_a_listener_who_misses_the_loudest_tone_once_goes_on() -> None:
    one = Track(-25.0, -90.0, -20.0)
    for heard in (False, False, True):
        one.answer(heard=heard)
    assert (one.is_over, one.level_db) == (False, -30.0)


def test_an_uncertain_listener_is_found_within_a_step() -> None:
    # half the tones are heard at the true level; the mean over many listeners lies within one step of 5 dB
    rng = random.Random(1)
    found = [
        track(lambda db: rng.random() < 1 / (1 + 10 ** (-(db + 57.0) * 0.2)))[0].threshold_db
        for _ in range(400)
    ]
    assert abs(sum(f for f in found if f is not None) / 400 + 57.0) < 5.0


def at_the_check(folder: Path) -> Bench:
    bench = take_seat(folder, stations.make_plan(n_practice=0, sitting=stations.rules(hearing_check=True)))
    walk(bench.sitting, "go_on", "agree", "play", "level_right")
    assert bench.sitting.stage is Stage.HEARING
    return bench


def listen(bench: Bench, hears: Callable[[str, float], bool]) -> None:
    """Sit through the check in steps of 0.1 s, pressing the key for what `hears(ear, level_db)`."""
    walk(bench.sitting, "begin_check")
    n_played = len(bench.player.started)
    for _ in range(20_000):
        if bench.sitting.stage is not Stage.HEARING:
            return
        bench.clock.s += 0.1
        bench.sitting.tick()
        if len(bench.player.started) > n_played:
            n_played = len(bench.player.started)
            _, _, level_db, ear = bench.player.started[-1].clips[0].split(" ")
            if hears(ear, float(level_db)):
                walk(bench.sitting, "hear_tone")
    raise AssertionError("the check does not end")


def noted(bench: Bench) -> list[str]:
    return [e.detail for e in bench.store.events() if e.kind == hearing_check.NOTED]


def test_the_difference_between_the_ears_is_told_and_no_hearing_level(tmp_path: Path) -> None:
    bench = at_the_check(tmp_path)
    listen(bench, lambda ear, level_db: level_db >= (-60.0 if ear == "left" else -45.0))
    assert bench.sitting.stage is Stage.INTRODUCTION
    told = hearing_check.lines(noted(bench)[0])
    assert told == [
        "1000 Hz: right needs 15 dB more",
        "4000 Hz: right needs 15 dB more",
        "500 Hz: right needs 15 dB more",
        "left, 1000 Hz twice: 0 dB apart",
        "right, 1000 Hz twice: 0 dB apart",
        "8 of 8 thresholds steady, key pressed without a tone 0 times",
    ]
    assert list(hearing_check.told(bench.store.events())) == told
    assert not any("HL" in line or "SPL" in line for line in told)
    tones_db = [float(p.clips[0].split(" ")[2]) for p in bench.player.started if tones.TONE in p.clips[0]]
    assert max(tones_db) <= LOUDEST_DB
    assert bench.store.answers() == []


def test_an_ear_that_hears_nothing_is_said_so_and_the_check_ends(tmp_path: Path) -> None:
    bench = at_the_check(tmp_path)
    listen(bench, lambda ear, level_db: ear == "right" and level_db >= -50.0)
    assert "1000 Hz: loudest tone not heard, left" in hearing_check.lines(noted(bench)[0])


def test_a_key_without_a_tone_is_counted_and_nothing_else(tmp_path: Path) -> None:
    bench = at_the_check(tmp_path)
    walk(bench.sitting, "begin_check", "hear_tone", "hear_tone")
    assert bench.sitting._course.check.false_alarms == 2
    assert bench.sitting.state.check.n_done == 0
    before = bench.sitting.view()
    bench.clock.s += 3.5
    bench.sitting.tick()
    assert tones.TONE in bench.player.started[-1].clips[0]
    assert bench.sitting.view() == before, "the screen must not show that a tone sounds"


def test_skipping_is_offered_always_and_never_asked_again(tmp_path: Path) -> None:
    bench = at_the_check(tmp_path)
    assert any("no medical test" in text for text in bench.sitting.view().body)
    bench.player.sent = 0.25  # of the tones, if any sounded: part of the dose
    walk(bench.sitting, "begin_check", "skip_check")
    assert [e.detail.split()[0] for e in bench.store.events() if e.kind == "sent"][-1:] == ["0.25"]
    assert noted(bench) == [hearing_check.SKIPPED]
    assert bench.sitting.stage is Stage.INTRODUCTION
    bench.die()
    again = take_seat(tmp_path, bench.sitting.plan)
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.stage is Stage.INTRODUCTION


def test_leaving_and_coming_back_asks_the_same_tone_again(tmp_path: Path) -> None:
    bench = at_the_check(tmp_path)
    walk(bench.sitting, "begin_check")
    bench.clock.s += 3.5
    bench.sitting.tick()
    asked = bench.player.started[-1]
    walk(bench.sitting, "leave")
    bench.clock.s += 60.0
    walk(bench.sitting, "stay")
    bench.clock.s += 3.5
    bench.sitting.tick()
    assert bench.player.started[-1] == asked


def test_a_tone_that_did_not_sound_is_played_again(tmp_path: Path) -> None:
    bench = at_the_check(tmp_path)
    walk(bench.sitting, "begin_check")
    bench.player.at_once = False
    bench.clock.s += 3.5
    bench.sitting.tick()
    bench.player.finish(played=10)
    bench.sitting.tick()
    assert [e.kind for e in bench.store.events()].count("void") == 1
    assert bench.sitting.state.check.n_done == 0


@pytest.mark.parametrize("ear", hearing_check.EARS)
def test_a_tone_has_its_level_in_one_ear_only(tmp_path: Path, ear: str) -> None:
    clips = Clips(tmp_path, 48_000)
    called = tones.name(1000.0, -35.0, ear)
    samples = clips.samples(called)
    own, other = (0, 1) if ear == "left" else (1, 0)
    assert not samples[:, other].any()
    middle = Sound(samples[12_000:36_000, own].astype(float), 48_000)  # whole periods of 1 kHz
    assert level.laf_max_db(middle) == pytest.approx(-35.0, abs=0.1)
    assert clips.laf_max_db_of(called) < -34.9


def test_by_default_nobody_is_checked(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, stations.make_plan())
    walk(bench.sitting, "go_on", "agree", "play", "level_right")
    assert bench.sitting.stage is Stage.INTRODUCTION


def test_an_ear_that_never_hears_the_loudest_tone_has_no_threshold_and_none_that_is_steady() -> None:
    track = Track(start_db=-40.0, softest_db=-90.0, loudest_db=-20.0)
    asked = []
    while not track.is_over:
        asked.append(track.level_db)
        track.answer(heard=False)
    assert max(asked) == -20.0
    assert track.threshold_db is None
    assert not track.is_steady
