"""Silence that keeps a device running between plays, so that the next one is heard at once and whole.

A device that sleeps swallows the first frames when it wakes; plays on it begin with silence. Where a second
stream can run beside the plays, as on every sound server, the device never sleeps while a sitting is open.
"""

import threading
from collections.abc import Callable
from typing import Any

from listening.errors import SoundError

LATENCY_S = 0.2  # nobody hears it: few, large blocks
SETTLED_S = 0.1  # a device that ran for so long swallows nothing
SILENT_AFTER_S = 2.0  # without a callback for so long it does not run any more
AHEAD_S = 5.0  # frames taken so much faster than they sound: a device without a clock, not to be kept awake


class Awake:
    """Silence on one device, from `begin` until `end` or until it shows that it cannot be kept up."""

    def __init__(
        self,
        portaudio: Callable[[], Any],
        *,
        rate_hz: int,
        device: int | str | None,
        now_s: Callable[[], float],
    ) -> None:
        self._portaudio = portaudio
        self._rate_hz = rate_hz
        self._device = device
        self._now_s = now_s
        self._stream: Any = None
        self._frames = 0
        self._began_s = self._last_s = 0.0
        self._given_up = False
        self._lock = threading.Lock()

    @property
    def is_open(self) -> bool:
        """Whether a stream of silence is there."""
        return self._stream is not None

    @property
    def runs(self) -> bool:
        """Whether the device has been running for long enough, and still does."""
        now_s = self._now_s()
        is_settled = self._frames > 0 and now_s - self._began_s >= SETTLED_S
        return self._stream is not None and is_settled and now_s - self._last_s < SILENT_AFTER_S

    def begin(self) -> None:
        """Open the stream, unless it is open or was given up; returns when the device has taken it."""
        with self._lock:
            if self._stream is not None or self._given_up:
                return
            try:
                self._stream = self._opened()
            except SoundError:
                self._given_up = True  # plays begin with silence of their own, as on a device that sleeps

    def end(self, *, for_good: bool = False) -> None:
        """Let the device sleep; `for_good`: it bears no second stream."""
        with self._lock:
            self._given_up = self._given_up or for_good
            stream, self._stream = self._stream, None
            if stream is not None:
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)

    def _opened(self) -> Any:
        sounddevice = self._portaudio()
        self._frames, self._began_s = 0, self._now_s()
        try:
            stream = sounddevice.OutputStream(
                samplerate=self._rate_hz,
                device=self._device,
                channels=2,
                dtype="float32",
                latency=LATENCY_S,
                dither_off=True,
                callback=self._silence,
            )
            stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            raise SoundError(str(error)) from error
        return stream

    def _silence(self, out: Any, n: int, _time: Any, _status: Any) -> None:
        out[:] = 0
        self._last_s = self._now_s()
        self._frames += n
        if self._frames > (self._last_s - self._began_s + AHEAD_S) * self._rate_hz:
            threading.Thread(target=self.end, kwargs={"for_good": True}, daemon=True).start()
            raise self._portaudio().CallbackStop
