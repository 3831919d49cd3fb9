"""A sound card made of a file: ALSA's `file` over `null`, appended to by a shell pipe."""

import os
import sys
import time
from pathlib import Path

import numpy as np
import pytest

CONF = """
pcm.silent {{ type null }}
pcm.!default {{ type file slave.pcm "silent" file "|cat >> {path}" format "raw" }}
ctl.!default {{ type null }}
"""


def environment(folder: Path) -> tuple[dict[str, str], Path]:
    """Environment for a process whose default device writes to the returned file (32-bit float, stereo)."""
    captured = folder / "captured.raw"
    conf = folder / "asound.conf"
    conf.write_text(CONF.format(path=captured))
    return {**os.environ, "ALSA_CONFIG_PATH": str(conf)}, captured


def samples(captured: Path) -> np.ndarray:
    """(frames, 2) of what was played, after the pipe has settled."""
    size = -1
    for _ in range(50):
        now = captured.stat().st_size if captured.exists() else 0
        if now == size and now > 0:
            break
        size = now
        time.sleep(0.05)
    data = np.fromfile(captured, dtype="<f4")
    return data[: len(data) // 2 * 2].reshape(-1, 2)


def find(piece: np.ndarray, played: np.ndarray, start: int = 0) -> int:
    """Where `piece`, (n,), stands in one channel of what was played at or after `start`; -1: nowhere."""
    channel = played[:, 0]
    for at in np.flatnonzero(channel[start:] == np.float32(piece[0])) + start:
        if np.array_equal(channel[at : at + len(piece)], piece.astype(np.float32)):
            return int(at)
    return -1


def has_portaudio() -> bool:
    try:
        import sounddevice  # noqa: F401
    except OSError:
        return False
    return sys.platform == "linux"


needed = pytest.mark.skipif(not has_portaudio(), reason="PortAudio with ALSA is not on this machine")
