"""A small study of ringing sounds whose every number is known."""

from pathlib import Path

import numpy as np
import soundfile

from listening.records.study import Study

RATE_HZ = 48_000
PROTOCOL = """
format = 1
name = "small"
title = "Two plates"
seed = 1
[recordings]
folder = "sounds"
factors = ["design"]
[panel]
stands_for = "nobody: this is a test"
training = "naive"
listeners = 8
[[presentations]]
name = "as recorded"
[[presentations]]
name = "matched"
metric = "laf_max_db"
[trimming]
length_s = 0.8
fade_out_s = 0.1
[[attributes]]
name = "loudness"
wording = "Which is louder?"
comparative = "louder"
[[blocks]]
attribute = "loudness"
presentation = "matched"
[sitting]
welcome = "Hello"
consent = "I agree"
[[questions]]
id = "one"
kind = "more"
attribute = "loudness"
presentation = "matched"
contrast = { more = "b", than = "a" }
smallest_effect = 0.6
"""


def ringing(
    *,
    gain_db: float = 0.0,
    f_hz: float = 1500.0,
    t60_s: float = 0.6,
    length_s: float = 1.2,
    lead_s: float = 0.1,
) -> np.ndarray:
    """A tone of two partials that starts at `lead_s`, peaking near -26 dBFS, over soft seeded noise."""
    n = round(length_s * RATE_HZ)
    time_s = np.arange(n - round(lead_s * RATE_HZ)) / RATE_HZ
    decay = 10 ** (-3 * time_s / t60_s)
    tone = decay * (np.sin(2 * np.pi * f_hz * time_s) + 0.5 * np.sin(2 * np.pi * 2.7 * f_hz * time_s))
    samples = 1e-5 * np.random.default_rng(round(f_hz)).standard_normal(n)
    samples[n - len(tone) :] += 0.035 * tone
    return samples * 10 ** (gain_db / 20)


SOUNDS = {
    "a1": ("a", ringing()),
    "a2": ("a", ringing(f_hz=1510.0, gain_db=1.0, lead_s=0.13)),
    "b1": ("b", ringing(f_hz=1490.0, gain_db=6.0, lead_s=0.08)),
    "b2": ("b", ringing(f_hz=1520.0, gain_db=7.0)),
}


def write(
    root: Path,
    sounds: dict[str, tuple[str, np.ndarray]] = SOUNDS,
    *,
    pascal: dict[str, float] | float | None = 5.0,
    change: tuple[str, str] = ("", ""),
) -> Study:
    """Write a study; sounds, calibration and protocol can be replaced."""
    (root / "sounds").mkdir(parents=True, exist_ok=True)
    lines = ["recording,file,design,strike,pascal_per_full_scale"]
    for name, (design, samples) in sounds.items():
        soundfile.write(root / "sounds" / f"{name}.wav", samples, RATE_HZ, subtype="PCM_24")
        scale = pascal.get(name, 5.0) if isinstance(pascal, dict) else pascal
        lines.append(f"{name},{name}.wav,{design},{name[-1]},{'' if scale is None else scale}")
    (root / "sounds" / "recordings.csv").write_text("\n".join(lines) + "\n")
    assert change[0] in PROTOCOL
    (root / "protocol.toml").write_text(PROTOCOL.replace(*change) if change[0] else PROTOCOL)
    return Study(root)
