"""Playback through PortAudio: frames counted, ceiling kept, a watchdog for devices that fall silent."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np

from listening.audio.awake import Awake
from listening.audio.mixer import Mixer
from listening.audio.portaudio import portaudio
from listening.errors import SoundError

LEAD_IN_S = 0.1  # silence first: a device that wakes may swallow its first frames
GRACE_S = 1.5  # so long may a programme take beyond its own length before the device counts as lost
FIRST_START_S = 6.0  # so long may a device take to start when nothing is known of it: some take 1.5 s
STARTS = 3.0  # later so many times the longest start that it has shown
START_WATCHED_S = (
    1.0  # buffers are filled, then the device waits until it runs: pauses in so much are its start
)
LARGEST_LATENCY_S = 1.0  # a reported delay beyond this is no delay
ONSET_WATCHED_S = 0.5  # the onset is estimated from the callbacks of so much sound: a device may start late
LATENCY_S = 0.05  # asked of the device: a key is heard well within 0.1 s


@dataclass(frozen=True)
class Played:
    """How far a programme is."""

    running: bool
    frames_asked: int
    frames_played: int
    onset_s: float | None
    """When the first frame of the first clip reached the converter, on the caller's clock."""
    clip: int | None
    trouble: str
    share: float = 0.0
    """How much of the clip that sounds is over, 0 to 1."""


class Speaker:
    """One output device. `start` returns at once; ask `played` how far it is.

    Parameters
    ----------
    device : index or name, None for the system's own choice
    ceiling_dbfs : no sample above it ever leaves; a programme that would is refused whole
    now_s : monotonic clock that onsets are given on
    """

    def __init__(
        self,
        rate_hz: int,
        *,
        now_s: Callable[[], float],
        device: int | str | None = None,
        ceiling_dbfs: float = 0.0,
    ) -> None:
        self.rate_hz = rate_hz
        self.ceiling_dbfs = ceiling_dbfs
        self._device = device
        self._now_s = now_s
        self._run: _Run | None = None
        self._awake = Awake(portaudio, rate_hz=rate_hz, device=device, now_s=now_s)
        self.longest_start_s: float | None = None
        """Longest start that the device has shown; None: nothing is known of it."""

    @property
    def lead_in_s(self) -> float:
        """Silence that a play begins with now: none while the device is kept awake."""
        return 0.0 if self._awake.runs else LEAD_IN_S

    def keep_awake(self) -> None:
        """Let silence run beside the plays from now on, where the device bears it; opening takes a moment."""
        self._awake.begin()

    def start(self, mixer: Mixer, *, loops: bool = False, peak: float) -> None:
        """Begin a programme whose largest sample is `peak`.

        Raises
        ------
        SoundError
            It would exceed the ceiling (nothing sounds), or the device cannot be opened.
        """
        self.check_ceiling(peak)
        self.stop()
        self._run = self._new_run(mixer, loops=loops)
        try:
            self._run.open(self._device)
        except SoundError:
            if not self._awake.is_open:
                raise
            self._awake.end(for_good=True)  # a device of one stream only
            self._run = self._new_run(mixer, loops=loops)
            self._run.open(self._device)

    def _new_run(self, mixer: Mixer, *, loops: bool) -> "_Run":
        return _Run(
            mixer, self._now_s, loops=loops, rate_hz=self.rate_hz, start_within_s=self._start_within_s()
        )

    def stop(self) -> None:
        """Fall silent at once."""
        if self._run is not None:
            self._learn(self._run)
            self._run.close()

    def _learn(self, run: "_Run") -> None:
        """Remember the longest start of this device."""
        if run.start_s is not None:
            self.longest_start_s = max(run.start_s, self.longest_start_s or 0.0)
            run.start_s = None  # once: whoever forgets what is known is not told again

    def _start_within_s(self) -> float:
        """How long the next start may take before the device counts as lost."""
        if self.longest_start_s is None:
            return FIRST_START_S
        return min(FIRST_START_S, max(GRACE_S, STARTS * self.longest_start_s))

    def played(self) -> Played:
        """How far the programme is; also the watchdog's look."""
        return self._run.look() if self._run is not None else Played(False, 0, 0, None, None, "")

    def check_ceiling(self, peak: float) -> None:
        """Refuse a sound whose largest sample is `peak` when it exceeds the ceiling; raises SoundError."""
        ceiling = 10 ** (self.ceiling_dbfs / 20)
        if peak > ceiling * (1 + 1e-9):
            peak_dbfs = 20 * np.log10(peak)
            raise SoundError(
                f"a clip peaks at {peak_dbfs:+.2f} dB re full scale, the ceiling of this station is "
                f"{self.ceiling_dbfs:+.2f} dB: nothing was played; prepare the stimuli with a lower ceiling"
            )


class _Run:
    """One programme on its way out. The callback runs in PortAudio's thread; it only counts and copies."""

    def __init__(
        self,
        mixer: Mixer,
        now_s: Callable[[], float],
        *,
        loops: bool,
        rate_hz: int,
        start_within_s: float = FIRST_START_S,
    ) -> None:
        self.start_s: float | None = None
        """Longest pause while the device started; None before its first frame."""
        self._start_within_s = start_within_s
        self._mixer = mixer
        self._now_s = now_s
        self._loops = loops
        self._rate_hz = rate_hz
        self._frames = 0
        self._onsets_s: list[float] = []
        self._trouble = ""
        self._ended = threading.Event()
        self._closed = False
        self._started_s = now_s()
        self._stream: Any = None
        self._latency_s = 0.0
        self._last_s = self._started_s

    def open(self, device: int | str | None) -> None:
        sounddevice = portaudio()
        try:
            self._stream = sounddevice.OutputStream(
                samplerate=self._rate_hz,
                device=device,
                channels=2,
                dtype="float32",
                latency=LATENCY_S,
                dither_off=True,
                callback=self._callback,
                finished_callback=self._ended.set,
            )
            self._latency_s = float(self._stream.latency)
            self._started_s = self._last_s = self._now_s()
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            raise SoundError(
                f"the sound device cannot be opened at {self._rate_hz} Hz ({error}); "
                "choose another: listening devices"
            ) from None

    def close(self) -> None:
        if self._stream is None or self._closed:
            return
        self._closed = True
        # a device that is gone may never return from here, and the listener must not wait for it
        threading.Thread(target=self._give_back, args=(not self._ended.is_set(),), daemon=True).start()

    def look(self) -> Played:
        now_s = self._now_s()
        if not self._ended.is_set() and not self._closed and self._is_stuck(now_s):
            waited_s = now_s - self._last_s
            self._trouble = self._trouble or f"device lost: no frame was taken for {waited_s:.1f} s"
            self.close()
        running = not self._ended.is_set() and not self._closed
        if not running and not self._closed:
            if self._loops and not self._trouble:  # a loop never ends by itself
                self._trouble = f"device lost: it stopped after {self._frames} frames"
            self.close()
        asked = self._frames if self._loops else self._mixer.n_frames
        frame = self._frame_heard(now_s) if running else -1
        clip = self._mixer.clip_at(frame) if frame >= 0 else None
        share = self._mixer.share_at(frame) if frame >= 0 else 0.0
        return Played(running, asked, self._frames, self._onset_s(), clip, self._trouble, share)

    def _is_stuck(self, now_s: float) -> bool:
        if now_s - self._last_s > (self._start_within_s if self._is_starting() else GRACE_S):
            return True
        length_s = self._mixer.n_frames / self._rate_hz + self._latency_s
        return not self._loops and now_s - self._started_s > length_s + GRACE_S + self._start_within_s

    def _is_starting(self) -> bool:
        return self._frames < START_WATCHED_S * self._rate_hz

    def _frame_heard(self, now_s: float) -> int:
        """The frame at the converter now, as well as can be known."""
        onset_s = self._onset_s()
        if onset_s is None:
            return -1
        return min(self._frames - 1, self._mixer.onset_frame + round((now_s - onset_s) * self._rate_hz))

    def _onset_s(self) -> float | None:
        """Middle of all estimates: some come from buffers that were filled before the device ran."""
        if not self._onsets_s:
            return None
        return max(self._started_s, median(self._onsets_s))

    def _callback(self, out: Any, n: int, time: Any, status: Any) -> None:
        now_s = self._now_s()
        if self._is_starting():
            self.start_s = max(self.start_s or 0.0, now_s - self._last_s)
        self._last_s = now_s
        if status and not self._trouble:
            self._trouble = f"{status} at frame {self._frames}"
        block = self._mixer.render(n)
        out[: len(block)] = block
        out[len(block) :] = 0
        since_onset = self._frames - self._mixer.onset_frame
        if -len(block) < since_onset < ONSET_WATCHED_S * self._rate_hz:
            self._onsets_s.append(now_s + self._delay_s(time) - since_onset / self._rate_hz)
        self._frames += len(block)
        if len(block) < n:
            raise portaudio().CallbackStop

    def _delay_s(self, time: Any) -> float:
        """From the callback to the converter: PortAudio's word if it can be believed, else the latency."""
        delay_s = float(time.outputBufferDacTime - time.currentTime)
        return delay_s if 0 <= delay_s <= LARGEST_LATENCY_S else self._latency_s

    def _give_back(self, is_cut: bool) -> None:
        if is_cut:
            self._stream.abort(ignore_errors=True)
        self._stream.close(ignore_errors=True)
