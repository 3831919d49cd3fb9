"""The speaker plays what it is given, bit for bit, over a real PortAudio; and says so when it could not."""

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from listening.audio import probe, speaker
from listening.audio.mixer import InTurn
from listening.audio.speaker import Speaker
from listening.errors import SoundError
from tests import alsa

PLAY = """
import json, sys, time
import numpy as np
from listening.audio.mixer import InTurn
from listening.audio.speaker import Speaker
clips = [np.load(p)[:, np.newaxis].astype(np.float32) for p in sys.argv[1:]]
speaker = Speaker(48000, now_s=time.monotonic)
told = []
for _ in range(2):
    begun = time.monotonic()
    speaker.start(InTurn(clips, gap_frames=4800, lead_in_frames=4800), peak=1.0)
    while (played := speaker.played()).running:
        time.sleep(0.01)
    ended = time.monotonic()
    told.append([played.frames_asked, played.frames_played, begun, played.onset_s, ended, played.trouble])
    time.sleep(0.2)
print(json.dumps(told))
"""


@alsa.needed
def test_what_is_played_is_the_clips_bit_for_bit(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    clips = [rng.integers(-(2**22), 2**22, n) / 2**23 for n in (9000, 7000)]
    paths = []
    for number, clip in enumerate(clips):
        paths.append(str(tmp_path / f"{number}.npy"))
        np.save(paths[-1], clip)
    environment, captured = alsa.environment(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", PLAY, *paths], env=environment, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    for asked, played, begun_s, onset_s, ended_s, trouble in json.loads(done.stdout):
        assert (asked, played, trouble) == (25_600, 25_600, "")
        assert begun_s <= onset_s < ended_s
    sound = alsa.samples(captured)
    at = 0
    for _ in range(2):
        first = alsa.find(clips[0], sound, at)
        assert first >= at + 4800 - 1
        assert alsa.find(clips[1], sound, first) == first + 9000 + 4800
        assert not sound[first + 9000 : first + 13_800].any()
        at = first + 20_800
    assert np.array_equal(sound[:, 0], sound[:, 1])


@alsa.needed
def test_the_probe_lists_the_devices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    environment, _ = alsa.environment(tmp_path)
    monkeypatch.setenv("ALSA_CONFIG_PATH", environment["ALSA_CONFIG_PATH"])
    found = probe.devices()
    assert "default" in [device.name for device in found]
    assert probe.chosen("default", found).name == "default"
    with pytest.raises(SoundError, match=r"sound device `drum`: not there; wanted one of: .*default"):
        probe.chosen("drum", found)


@alsa.needed
def test_a_broken_sound_system_takes_down_the_probe_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(tmp_path / "nowhere.conf"))
    with pytest.raises(SoundError):
        probe.devices()


def test_without_portaudio_the_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr("builtins.__import__", _failing_import("sounddevice"))
    with pytest.raises(SoundError, match="PortAudio is missing: install it with: sudo apt-get install"):
        speaker.portaudio()


def test_a_sound_above_the_ceiling_never_starts() -> None:
    quiet = Speaker(48_000, now_s=lambda: 0.0, ceiling_dbfs=-6.0)
    mixer = InTurn([np.ones((10, 1), np.float32)], gap_frames=0, lead_in_frames=0)
    with pytest.raises(
        SoundError, match=r"\+0\.00 dB re full scale, the ceiling of this station is -6\.00 dB"
    ):
        quiet.start(mixer, peak=1.0)
    assert not quiet.played().running


@pytest.mark.parametrize("ceiling_dbfs", [0.0, -6.0, -20.0])
@pytest.mark.parametrize(("over_db", "passes"), [(-0.01, True), (0.0, True), (0.001, False), (0.8, False)])
def test_the_ceiling_is_kept_to_a_thousandth_of_a_decibel(
    ceiling_dbfs: float, over_db: float, passes: bool
) -> None:
    station, peak = (
        Speaker(48_000, now_s=lambda: 0.0, ceiling_dbfs=ceiling_dbfs),
        10 ** ((ceiling_dbfs + over_db) / 20),
    )
    if passes:
        station.check_ceiling(peak)
    else:
        with pytest.raises(SoundError, match="nothing was played"):
            station.check_ceiling(peak)


class _Stream:
    """A device that takes `n_blocks` and then falls silent, as an unplugged one does."""

    latency = 0.05

    def __init__(self, n_blocks: int, status: str = "", **arguments: Any) -> None:
        self.n_blocks, self.status, self.callback = n_blocks, status, arguments["callback"]

    def start(self) -> None:
        class Time:
            outputBufferDacTime = currentTime = 0.0  # noqa: N815

        for _ in range(self.n_blocks):
            self.callback(np.zeros((100, 2), np.float32), 100, Time, self.status)

    def abort(self, ignore_errors: bool) -> None: ...
    def close(self, ignore_errors: bool) -> None: ...


class _PortAudio:
    class PortAudioError(Exception): ...

    class CallbackStop(Exception): ...

    def __init__(self, n_blocks: int, status: str = "") -> None:
        self._n_blocks, self._status = n_blocks, status

    def OutputStream(self, **arguments: Any) -> _Stream:  # noqa: N802
        return _Stream(self._n_blocks, self._status, **arguments)


def _started(monkeypatch: pytest.MonkeyPatch, device: _PortAudio) -> tuple[Speaker, list[float]]:
    monkeypatch.setattr(speaker, "portaudio", lambda: device)
    now = [10.0]
    playing = Speaker(48_000, now_s=lambda: now[0])
    mixer = InTurn([np.ones((4800, 1), np.float32)], gap_frames=0, lead_in_frames=0)
    playing.start(mixer, peak=1.0)
    return playing, now


def test_a_device_that_goes_away_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    playing, now = _started(monkeypatch, _PortAudio(n_blocks=3))
    now[0] += speaker.FIRST_START_S - 0.1
    assert playing.played().running  # nothing is known of it: it may only be slow to start
    now[0] += 0.2
    lost = playing.played()
    assert not lost.running
    assert (lost.frames_asked, lost.frames_played) == (4800, 300)
    assert "device lost: no frame was taken for 6.1 s" in lost.trouble


@pytest.mark.parametrize(
    ("start_s", "patience_s"),
    [(0.0, speaker.GRACE_S), (1.5, 3 * 1.5), (5.0, speaker.FIRST_START_S)],
    ids=["quick", "takes 1.5 s", "very slow"],
)
def test_the_limit_follows_the_start_that_the_device_has_shown(
    monkeypatch: pytest.MonkeyPatch, start_s: float, patience_s: float
) -> None:
    playing, now = _started(monkeypatch, _PortAudio(n_blocks=3))
    run = playing._run
    assert run is not None
    now[0] += start_s  # buffers were filled; then it waits until it runs
    run._callback(
        np.zeros((100, 2), np.float32),
        100,
        type("Time", (), {"outputBufferDacTime": 0.0, "currentTime": 0.0}),
        "",
    )
    playing.start(InTurn([np.ones((4800, 1), np.float32)], gap_frames=0, lead_in_frames=0), peak=1.0)
    now[0] += patience_s - 0.01
    assert playing.played().running
    now[0] += 0.02
    assert "device lost" in playing.played().trouble


def test_the_longest_start_that_a_device_has_shown_is_kept() -> None:
    known = Speaker(48_000, now_s=lambda: 0.0)
    for start_s, longest_s in ((0.4, 0.4), (1.5, 1.5), (0.2, 1.5), (None, 1.5), (1.6, 1.6)):
        known._learn(SimpleNamespace(start_s=start_s))  # type: ignore[arg-type]
        assert known.longest_start_s == longest_s


@pytest.mark.parametrize(("now_s", "frame"), [(1.99, -1), (2.0, 100), (2.01, 580), (9.0, 4799)])
def test_the_frame_heard_is_never_beyond_the_last_that_was_sent(now_s: float, frame: int) -> None:
    """4,800 frames were sent, the first clip's first (number 100) was at the converter at 2 s."""
    run = object.__new__(speaker._Run)
    run._mixer, run._rate_hz, run._frames = SimpleNamespace(onset_frame=100), 48_000, 4800
    run._started_s, run._onsets_s = 0.0, [2.0] if now_s >= 2.0 else []
    assert run._frame_heard(now_s) == frame


def test_an_underflow_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    playing, _ = _started(monkeypatch, _PortAudio(n_blocks=3, status="output underflow"))
    assert playing.played().trouble == "output underflow at frame 0"


def _failing_import(name: str) -> Any:
    import builtins

    real = builtins.__import__

    def importing(wanted: str, *rest: Any, **more: Any) -> Any:
        if wanted == name:
            raise OSError("PortAudio library not found")
        return real(wanted, *rest, **more)

    return importing


def test_the_refusal_of_a_loud_clip_says_its_peak_in_decibels() -> None:
    station = object.__new__(Speaker)
    station.ceiling_dbfs = -6.0
    station.check_ceiling(0.5011)  # -6.0015 dB
    with pytest.raises(SoundError, match=r"peaks at -5\.98 dB .* is -6\.00 dB"):
        station.check_ceiling(0.5023)


def test_a_device_that_calls_on_after_the_end_is_stuck_and_a_loop_is_not() -> None:
    run = object.__new__(speaker._Run)
    run._mixer, run._rate_hz = SimpleNamespace(n_frames=48_000), 48_000
    run._latency_s, run._start_within_s, run._started_s, run._frames = 0.1, 1.0, 0.0, 10**9
    end_s = 1.0 + 0.1 + speaker.GRACE_S + 1.0
    for loops, now_s, is_stuck in (
        (False, end_s - 0.01, False),
        (False, end_s + 0.01, True),
        (True, 99.0, False),
    ):
        run._loops, run._last_s = loops, now_s
        assert run._is_stuck(now_s) is is_stuck


def test_the_time_to_the_converter_is_portaudios_where_it_can_be() -> None:
    run = object.__new__(speaker._Run)
    run._latency_s = 0.123
    most = speaker.LARGEST_LATENCY_S
    for told_s, taken_s in ((0.0, 0.0), (0.02, 0.02), (most, most), (most + 0.01, 0.123), (-0.01, 0.123)):
        time = SimpleNamespace(outputBufferDacTime=told_s, currentTime=0.0)
        assert run._delay_s(time) == taken_s
