"""Prints what comparing the sound of clips still tells; docs/threats.md has the figures. Not a test.

`python -m tests.attacks.what_sound_tells`: of two clips of one strike and a third, which two are alike, by
comparisons from the plainest to one that aligns to a part of a sample.
"""

import tempfile
from pathlib import Path

from listening.audio import wav
from listening.stimuli.coded_clips import Coded, write
from tests.attacks.test_files import ALIKE_BELOW, ATTACKS, DEMO, fitted_residual_db

SECRET = "0123456789abcdef" * 2
DESIGNS = ("dome_c", "dome_d", "dome_f")


def main() -> None:
    """Two clips of one strike against a clip of another strike or design: which two are alike?"""
    pairs = [(f"{d}-free-1", f"{d}-free-2") for d in DESIGNS]
    pairs += [(f"{a}-free-1", f"{b}-free-1") for a, b in zip(DESIGNS, DESIGNS[1:] + DESIGNS[:1], strict=True)]
    comparisons = {name: ATTACKS[name] for name in ALIKE_BELOW if name != "hash"}
    right = dict.fromkeys([*comparisons, "aligned to a part of a sample"], 0)
    for one, other in pairs:
        with tempfile.TemporaryDirectory() as folder:
            made = {"x": one, "y": one, "z": other}
            coded = {k: Coded(DEMO / f"{name}.flac", source=name) for k, name in made.items()}
            write(Path(folder), coded, secret=SECRET)
            clips = {k: Path(folder) / f"{k}.wav" for k in made}
            for name, compare in comparisons.items():
                right[name] += compare(clips["x"], clips["y"]) < ALIKE_BELOW[name]
            sound = {k: wav.load(path).samples[:, 0] for k, path in clips.items()}
            alike, differ = (fitted_residual_db(sound["x"], sound[k]) for k in ("y", "z"))
            right["aligned to a part of a sample"] += alike < differ
            print(f"{one} against itself {alike:.1f} dB, against {other} {differ:.1f} dB", flush=True)
    for name, n in right.items():
        print(f"| {name} | {n} of {len(pairs)} |")


if __name__ == "__main__":
    main()
