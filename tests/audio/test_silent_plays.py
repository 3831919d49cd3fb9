"""A device is tried before anybody sits there: lost plays refuse it, its start sets the watchdog's limit."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import pytest

from listening.audio import silent_plays
from listening.audio.mixer import Mixer
from listening.audio.speaker import Played, Speaker
from listening.errors import SoundError
from listening.records.dealt.device_start import DeviceStart
from listening.records.study import Study
from listening.session.seating import device_trial

LOST = "device lost: no frame was taken for 6.0 s"


class Scripted:
    """A speaker whose plays end as told: how many frames are missing, and why."""

    rate_hz = 8000

    def __init__(self, *outcomes: tuple[int, str], start_s: float = 0.02) -> None:
        self._outcomes: Iterator[tuple[int, str]] = iter(outcomes)
        self._start_s = start_s
        self.longest_start_s: float | None = None
        self.n_started = 0
        self.peaks: list[float] = []

    def start(self, mixer: Mixer, *, peak: float) -> None:
        assert not mixer.render(mixer.n_frames).any(), "something sounds before anybody was asked"
        self.n_started += 1
        self.peaks.append(peak)
        missing, self._trouble = next(self._outcomes, (0, ""))
        self._asked, self._played = mixer.n_frames, mixer.n_frames - missing

    def played(self) -> Played:
        return Played(False, self._asked, self._played, None, None, self._trouble)

    def stop(self) -> None:
        self.longest_start_s = max(self.longest_start_s or 0.0, self._start_s)


def tried(speaker: Scripted) -> silent_plays.Tried:
    return silent_plays.tried(cast(Any, speaker), sleep=lambda s: None)


def ready(speaker: Scripted, study: Study, device: str = "phones") -> None:
    device_trial.make_ready(cast(Any, speaker), study, device, utc="2030-01-01T00:00:00+00:00")


def test_ten_silent_plays_pass_a_device_that_works() -> None:
    speaker = Scripted(start_s=1.4)
    found = tried(speaker)
    assert (found.n_plays, found.longest_start_s, found.troubles) == (10, 1.4, ())
    assert speaker.peaks == [0.0] * 10


def test_one_lost_play_asks_for_ten_more() -> None:
    speaker = Scripted((0, ""), (7, ""))
    assert tried(speaker).troubles == ()
    assert speaker.n_started == 20


@pytest.mark.parametrize(
    ("outcomes", "told"),
    [
        ([(1600, LOST)] * 30, f"3 of 3 silent plays did not come through ({LOST}); nobody was seated"),
        ([(9, ""), *[(0, "")] * 9, (9, "")], "1 of 10 silent plays did not come through (9 of 1600 frames"),
    ],
    ids=["dead", "loses one of each ten"],
)
def test_a_device_that_loses_plays_is_refused(
    tmp_path: Path, outcomes: list[tuple[int, str]], told: str
) -> None:
    study = Study(tmp_path)
    with pytest.raises(SoundError) as refused:
        ready(Scripted(*outcomes), study)
    assert told in str(refused.value)
    assert "choose another device" in str(refused.value)
    assert not study.device_start.exists()


def test_what_was_found_is_kept_and_holds_for_this_device_at_this_rate(tmp_path: Path) -> None:
    study = Study(tmp_path)
    ready(Scripted(start_s=1.4), study)
    assert DeviceStart.load(study.device_start).longest_start_s == 1.4
    again = Scripted()
    ready(again, study)
    assert (again.n_started, again.longest_start_s) == (0, 1.4)
    other = Scripted()
    ready(other, study, "other phones")
    assert other.n_started == 10


def test_a_broken_file_is_as_none(tmp_path: Path) -> None:
    study = Study(tmp_path)
    study.station.mkdir()
    study.device_start.write_text('{"longest_start_s": -1}')
    speaker = Scripted()
    ready(speaker, study)
    assert speaker.n_started == 10


def test_the_watchdog_waits_three_times_the_start_that_was_found() -> None:
    speaker = Speaker(8000, now_s=lambda: 0.0)
    speaker.longest_start_s = 1.4
    assert speaker._start_within_s() == pytest.approx(4.2)


class Uneven(Scripted):
    """A device that starts fast first and slowly later; beyond three times what is known a play is lost."""

    def start(self, mixer: Mixer, *, peak: float) -> None:
        super().start(mixer, peak=peak)
        self._start_s = 0.02 if self.n_started < 4 else 1.9
        known_s = self.longest_start_s
        if known_s is not None and self._start_s > max(1.5, 3 * known_s):
            self._trouble = LOST


def test_a_quick_start_says_nothing_of_the_next_while_the_device_is_tried() -> None:
    speaker = Uneven()
    found = tried(speaker)
    assert (found.troubles, found.longest_start_s, speaker.longest_start_s) == ((), 1.9, 1.9)
    assert speaker.n_started == 10
