"""A long sitting holds no more than a short one: nothing is kept of a trial but its answer and its time."""

import gc
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listening.audio import speaker
from listening.audio.speaker import Speaker
from listening.session.seating import station
from listening.session.seating.clocks import Clocks
from listening.session.seating.station import Seat
from listening.session.sitting import Sitting
from listening.session.sounding.aloud import Aloud
from listening.session.sounding.clip_reading import Clips
from listening.store import open_store
from tests import stations

N_TRIALS, WARM = 275, 75  # caches are full by then
CLIP_S = 2.0
MOST_BYTES = 200_000  # for 200 trials more: a clip that was kept has 128,000, and each trial has two


class _Time:
    outputBufferDacTime = currentTime = 0.0  # noqa: N815


class _PortAudio:
    """A device that takes everything at once."""

    PortAudioError = RuntimeError

    class CallbackStop(Exception): ...

    class OutputStream:
        latency = 0.01

        def __init__(
            self,
            *,
            callback: Callable[..., None],
            finished_callback: Callable[[], None] = lambda: None,
            **_: Any,
        ) -> None:
            self._callback, self._finished = callback, finished_callback

        def start(self) -> None:
            block = np.zeros((4096, 2), np.float32)
            while True:
                try:
                    self._callback(block, len(block), _Time, "")
                except _PortAudio.CallbackStop:
                    return self._finished()

        def abort(self, **_: Any) -> None: ...

        def close(self, **_: Any) -> None: ...


def test_nothing_is_kept_of_a_trial_with_real_sounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(speaker, "portaudio", lambda: _PortAudio)
    rules = stations.rules(break_every_trials=500)
    plan = stations.make_plan(n_trials=N_TRIALS, n_practice=0, n_slots=1, sitting=rules)
    study = stations.write_station(tmp_path / "study", plan, seconds=CLIP_S)
    store = open_store(study.answers, durable=False)
    row, _ = station.take(plan, store, Seat("L01"))
    player = Aloud(Clips(study.clips, plan.rate_hz), Speaker(plan.rate_hz, now_s=time.monotonic))
    clocks = Clocks(time.monotonic, stations.utc_ticks())
    sitting = station.seated(plan, store, row, player=player, clocks=clocks)
    stations.walk(sitting, *stations.OPENING)
    tracemalloc.start()
    try:
        _trials(sitting, WARM)
        before = _held_bytes()
        _trials(sitting, N_TRIALS - WARM)
        assert _held_bytes() - before < MOST_BYTES
    finally:
        tracemalloc.stop()
    assert len(store.answers()) == N_TRIALS


def _trials(sitting: Sitting, n: int) -> None:
    for _ in range(n):
        stations.one_trial(sitting)
        sitting.view()


def _held_bytes() -> int:
    gc.collect()
    return tracemalloc.get_traced_memory()[0]


COME_AND_GO = """
import sys
from pathlib import Path
import numpy as np
from listening.session import large_blocks
fixed = large_blocks.give_back_at_once() if "fixed" in sys.argv else None
def held_mb():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6
rng = np.random.default_rng(1)
kept, most = [], 0.0
begun = held_mb()
for _ in range(300):
    block = np.ones(rng.integers(100_000, 2_000_000))
    kept.append(np.ones(rng.integers(1_000, 8_000)))
    kept = kept[-12:]
    del block
    most = max(most, held_mb() - begun)
print(fixed, most)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="of the C library of Linux")
def test_large_blocks_go_back_as_soon_as_they_are_free() -> None:
    done = subprocess.run([sys.executable, "-c", COME_AND_GO, "fixed"], capture_output=True, text=True)
    fixed, most_mb = done.stdout.split()
    if fixed != "True":
        pytest.skip("another C library")
    assert float(most_mb) < 4.0, "sounds of up to 16 MB came and went"
