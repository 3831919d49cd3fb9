"""A device kept awake needs no silence before a play; one that bears no second stream sleeps as before."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from listening.audio import speaker
from listening.audio.awake import AHEAD_S, SETTLED_S, SILENT_AFTER_S, Awake
from listening.audio.mixer import InTurn
from listening.audio.speaker import LEAD_IN_S, Speaker

RATE_HZ = 8000
BLOCK = 400


class Device:
    """A sound device in a test's hands: blocks are taken when it says so."""

    PortAudioError = RuntimeError

    class CallbackStop(Exception): ...

    def __init__(self, streams_at_most: int = 2) -> None:
        self.now_s = 10.0
        self.open: list[Any] = []
        self.streams_at_most = streams_at_most

    def OutputStream(self, *, callback: Any, **_: Any) -> Any:  # noqa: N802
        if len(self.open) >= self.streams_at_most:
            raise self.PortAudioError("Device unavailable")
        stream = SimpleNamespace(latency=0.01, callback=callback, start=lambda: None)
        stream.abort = stream.close = lambda **_: stream in self.open and self.open.remove(stream)
        self.open.append(stream)
        return stream

    def take(self, seconds: float, *, clock: float = 1.0) -> None:
        """Let every stream play on; the clock goes so many times as fast as the frames."""
        time = SimpleNamespace(outputBufferDacTime=0.0, currentTime=0.0)
        for _ in range(round(seconds * RATE_HZ / BLOCK)):
            self.now_s += clock * BLOCK / RATE_HZ
            for stream in list(self.open):
                block = np.ones((BLOCK, 2), np.float32)
                try:
                    stream.callback(block, BLOCK, time, "")
                except self.CallbackStop:
                    stream.close()


def kept_awake(monkeypatch: pytest.MonkeyPatch, device: Device) -> Speaker:
    monkeypatch.setattr(speaker, "portaudio", lambda: device)
    made = Speaker(RATE_HZ, now_s=lambda: device.now_s)
    made.keep_awake()
    return made


def test_a_play_begins_at_once_where_the_device_is_kept_awake(monkeypatch: pytest.MonkeyPatch) -> None:
    device = Device()
    awake = kept_awake(monkeypatch, device)
    assert awake.lead_in_s == LEAD_IN_S  # it has only just begun to wake
    device.take(2 * SETTLED_S)
    assert awake.lead_in_s == 0.0
    awake.keep_awake()
    assert len(device.open) == 1


def test_a_device_that_went_silent_is_woken_before_the_next_play(monkeypatch: pytest.MonkeyPatch) -> None:
    device = Device()
    awake = kept_awake(monkeypatch, device)
    device.take(2 * SETTLED_S)
    device.now_s += 2 * SILENT_AFTER_S
    assert awake.lead_in_s == LEAD_IN_S


def test_a_device_that_bears_one_stream_plays_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    device = Device(streams_at_most=1)
    alone = kept_awake(monkeypatch, device)
    device.take(2 * SETTLED_S)
    alone.start(InTurn([np.ones((BLOCK, 1), np.float32)], gap_frames=0, lead_in_frames=0), peak=1.0)
    device.take(2 * BLOCK / RATE_HZ)
    assert alone.played().frames_played == BLOCK
    assert alone.lead_in_s == LEAD_IN_S
    alone.keep_awake()
    assert alone.lead_in_s == LEAD_IN_S


def test_a_device_without_a_clock_is_never_kept_awake() -> None:
    device = Device()
    awake = Awake(lambda: device, rate_hz=RATE_HZ, device=None, now_s=lambda: device.now_s)
    awake.begin()
    device.take(2 * AHEAD_S, clock=0.01)
    assert device.open == []
    awake.begin()
    assert device.open == []


def test_a_paced_device_is_kept_awake_for_long() -> None:
    device = Device()
    awake = Awake(lambda: device, rate_hz=RATE_HZ, device=None, now_s=lambda: device.now_s)
    awake.begin()
    device.take(4 * AHEAD_S)
    assert awake.runs
    awake.end()
    assert device.open == []
    assert not awake.runs


def test_a_start_is_learned_once_and_can_be_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    device = Device()
    monkeypatch.setattr(speaker, "portaudio", lambda: device)
    made = Speaker(RATE_HZ, now_s=lambda: device.now_s)
    made.start(InTurn([np.ones((BLOCK, 1), np.float32)], gap_frames=0, lead_in_frames=0), peak=1.0)
    device.take(2 * BLOCK / RATE_HZ)
    made.stop()
    assert made.longest_start_s == pytest.approx(BLOCK / RATE_HZ)
    made.longest_start_s = None
    made.stop()
    assert made.longest_start_s is None
