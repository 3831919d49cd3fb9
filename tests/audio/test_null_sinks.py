"""Ten silent plays, and ten that sound, over the null sinks of ALSA, PulseAudio and PipeWire: none is lost.

Slow: a sound server keeps real time, and a machine that is busy with anything else loses frames.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests import alsa, sound_servers

pytestmark = [pytest.mark.slow, alsa.needed]
PLAYS = """
import json, time
import numpy as np
from listening.audio import silent_plays
from listening.audio.mixer import InTurn
from listening.audio.speaker import Speaker
speaker = Speaker(48000, now_s=time.monotonic)
found = silent_plays.tried(speaker)
speaker.keep_awake()
end = time.monotonic() + 6
while speaker.lead_in_s and time.monotonic() < end:
    time.sleep(0.1)
told, lead_in_s = [], speaker.lead_in_s
for _ in range(10):
    lead_in = round(speaker.lead_in_s * 48000)
    tone = np.full((24000, 1), 0.1, np.float32)
    speaker.start(InTurn([tone], gap_frames=0, lead_in_frames=lead_in), peak=0.1)
    while (played := speaker.played()).running:
        time.sleep(0.02)
    told.append([played.trouble, played.frames_asked - played.frames_played])
print(json.dumps([found.n_plays, list(found.troubles), found.longest_start_s, told, lead_in_s]))
"""


@pytest.mark.parametrize("system", list(sound_servers.NEEDED))
def test_no_play_is_lost_on_a_null_sink(tmp_path: Path, system: str) -> None:
    if missing := sound_servers.missing(system):
        pytest.skip(f"not on this machine: {', '.join(missing)}")
    with sound_servers.running(system, tmp_path) as environment:
        done = subprocess.run(
            [sys.executable, "-c", PLAYS], env=environment, capture_output=True, text=True, timeout=200
        )
    assert done.returncode == 0, done.stderr
    n_plays, troubles, longest_start_s, told, lead_in_s = json.loads(done.stdout)
    print(f"{system}: longest start {longest_start_s:.2f} s, silence before a play {lead_in_s:g} s")
    assert (n_plays, troubles) == (10, [])
    assert told == [["", 0]] * 10
    assert lead_in_s == (0.1 if system == "ALSA" else 0.0), "a sound server bears silence beside the plays"
