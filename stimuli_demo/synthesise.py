"""Makes the demo recordings: struck bicycle bells of six dome designs, the same samples on every machine.

Run `python stimuli_demo/synthesise.py` to write the sounds, the table and the hashes again, and add `--check`
to compare the files that are here with a fresh synthesis, sample for sample.

A bell is a sum of damped partials in beating doublets, a short noise of the strike, and the room's noise.
Every number of a bell is worked out in decimal arithmetic and every sample by additions and multiplications
alone, which IEEE 754 rounds in one way; random numbers are the raw words of PCG64. So no mathematical
library, vector width or thread count can change a sample.
"""

import argparse
import csv
import hashlib
import io
import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext
from pathlib import Path

import numpy as np
import soundfile

Float = np.ndarray
HERE = Path(__file__).resolve().parent
SEED = 20_260
RATE_HZ = 48_000
LENGTH_S = Decimal("3.0")
PASCAL_PER_FULL_SCALE = Decimal("5")  # a sine that just fits has 105 dB SPL
STEPS = 2**18  # samples are 19 bit in a 24 bit file; the room's noise is 30 steps
ROOM_NOISE_PA = Decimal("0.0006")  # about 29 dB SPL
STRIKES = (1, 2, 3, 4)
BRIGHT = "dome_d"  # what the low-passed anchors are made from
LOW_PASSED = {"anchor_low": Decimal("3750"), "anchor_mid": Decimal("7250")}
"""6 dB down there, so that 3.5 and 7 kHz still pass (anchors of ITU-R BS.1534-3)."""
TAPS = 511
TAP_BITS = 24

# Mode frequencies of a thin dome over its lowest, and how strongly a strike near the rim drives them.
MODES = tuple(
    (Decimal(ratio), Decimal(weight))
    for ratio, weight in (
        ("1", "1"),
        ("1.93", "0.22"),
        ("2.62", "0.85"),
        ("3.58", "0.18"),
        ("4.71", "0.6"),
        ("7.25", "0.42"),
        ("10.1", "0.25"),
    )
)


@dataclass(frozen=True)
class Bell:
    """What sets one bell apart."""

    lowest_hz: Decimal
    level_pa: Decimal
    """Root of the summed squares of the partials at the strike."""
    t60_s: Decimal
    """Of the lowest partial."""
    damping: Decimal
    """T60 falls with frequency to the power of minus this."""
    tilt: Decimal
    """Strike spectrum: the amplitude of a mode goes with its frequency ratio to this power."""
    knock: Decimal = Decimal("0.7")
    """RMS of the strike noise at its start, over `level_pa`."""


def _bell(*numbers: str) -> Bell:
    return Bell(*(Decimal(n) for n in numbers))


DESIGNS = {  # lowest_hz, level_pa, t60_s, damping, tilt
    "dome_a": _bell("1180", "0.43", "0.85", "0.10", "-0.90"),
    "dome_b": _bell("1180", "0.765", "0.85", "0.10", "-0.90"),  # a, 5 dB stronger
    "dome_c": _bell("1320", "0.59", "2.20", "0.06", "-0.28"),
    "dome_d": _bell("1320", "0.60", "2.20", "0.06", "0.15"),  # c, made to ring more in its high modes
    "dome_e": _bell("1260", "0.55", "1.30", "0.08", "-0.35"),
    "dome_f": _bell("1260", "0.53", "2.10", "0.08", "-0.35"),  # e, of a purer metal: rings longer
}
TEACHER = _bell("1430", "0.55", "1.4", "0", "-0.2")  # none of the designs; it only explains words
ANCHORS = {
    "bright": replace(TEACHER, tilt=Decimal("0.55"), level_pa=Decimal("0.66")),
    "dull": replace(TEACHER, tilt=Decimal("-1.0")),
    "long": replace(TEACHER, t60_s=Decimal("2.2"), level_pa=Decimal("0.50")),
    "short": replace(TEACHER, t60_s=Decimal("0.8"), level_pa=Decimal("0.64")),
    "loud": replace(TEACHER, level_pa=Decimal("0.87")),
    "soft": replace(TEACHER, level_pa=Decimal("0.35")),
}


def on_handlebar(bell: Bell) -> Bell:
    """The bell strapped to a rubber-gripped handlebar: weaker, and damped most where it is bright."""
    return replace(
        bell,
        level_pa=bell.level_pa * Decimal("0.56"),
        t60_s=bell.t60_s * Decimal("0.55"),
        damping=bell.damping + Decimal("0.12"),
        tilt=bell.tilt - Decimal("0.12"),
    )


class Chance:
    """Raw PCG64 words as numbers: NumPy promises that stream and no other for all versions."""

    def __init__(self, *entropy: int) -> None:
        self._words = np.random.PCG64(np.random.SeedSequence(entropy))

    def around(self, half_width: str) -> Decimal:
        """One number, uniform within plus and minus `half_width`, on a grid of 2**-20."""
        step = int(self._words.random_raw()) >> 43  # 0 … 2**21 - 1
        return Decimal(half_width) * (step - 2**20) / 2**20

    def noise(self, n: int) -> Float:
        """(n,) noise of mean 0 and variance 1, close to Gaussian: three 21 bit uniforms a word."""
        words = self._words.random_raw(n)
        thirds = (words >> np.uint64(43), (words >> np.uint64(22)) & np.uint64(2**21 - 1))
        low = (words & np.uint64(2**22 - 1)) >> np.uint64(1)
        total = sum(part.astype(np.float64) * 2.0**-20 - 1.0 for part in (*thirds, low))
        return np.asarray(total)  # three uniforms on ±1 add to variance 1


def cos_sin(angle: Decimal) -> tuple[Decimal, Decimal]:
    """Cosine and sine, by their power series in decimal arithmetic."""
    sums = [Decimal(1), angle]
    term, n = angle, 1
    while abs(term) > Decimal("1e-28"):
        n += 1
        term = term * angle / n
        sums[n % 2] += term if n % 4 < 2 else -term
    return sums[0], sums[1]


PI = Decimal("3.14159265358979323846264338328")
LN1000 = Decimal(1000).ln()


def partial(frequency_hz: Decimal, t60_s: Decimal, amplitude: Decimal, phase: Decimal, n: int) -> Float:
    """(n,) samples of one damped partial, grown by doubling: block two is block one turned and damped."""
    damping = (-LN1000 / (t60_s * RATE_HZ)).exp()
    cosine, sine = cos_sin(2 * PI * frequency_hz / RATE_HZ)
    turn = (float(damping * cosine), float(damping * sine))
    real, imaginary = np.empty(n), np.empty(n)
    start = cos_sin(phase)
    real[0], imaginary[0] = float(amplitude * start[0]), float(amplitude * start[1])
    done = 1
    while done < n:
        more = min(done, n - done)
        old_real, old_imaginary = real[:more], imaginary[:more]
        real[done : done + more] = old_real * turn[0] - old_imaginary * turn[1]
        imaginary[done : done + more] = old_real * turn[1] + old_imaginary * turn[0]
        turn = (turn[0] * turn[0] - turn[1] * turn[1], 2.0 * turn[0] * turn[1])
        done += more
    return real


def smoothed(noise: Float, keep: float) -> Float:
    """Noise through y[n] = keep * y[n-1] + x[n], summed pairwise in a fixed order."""
    smooth, reach, weight = noise.copy(), 1, keep
    while reach < len(smooth) and weight > 2.0**-60:
        shifted = smooth[:-reach] * weight
        smooth[reach:] = smooth[reach:] + shifted
        reach, weight = 2 * reach, weight * weight
    return smooth


def partials(bell: Bell, chance: Chance) -> list[tuple[Decimal, Decimal, Decimal]]:
    """Frequency, T60 and amplitude (Pa) of every partial of one strike, two to a mode."""
    tilt = bell.tilt + chance.around("0.02")
    strength = bell.level_pa * Decimal(10) ** (chance.around("0.7") / 20)
    rows, power = [], Decimal(0)
    for number, (ratio, weight) in enumerate(MODES):
        amplitude = weight * ratio**tilt * Decimal(10) ** (chance.around("0.4") / 20)
        split = Decimal("0.0006") * (1 + number % 3)  # the dome is not quite round
        share = Decimal("0.88") + chance.around("0.06")  # where on the rim it was struck
        t60_s = bell.t60_s * ratio**-bell.damping
        rows.append((bell.lowest_hz * ratio * (1 - split / 2), t60_s, amplitude * share))
        rows.append((bell.lowest_hz * ratio * (1 + split / 2), t60_s, amplitude * (1 - share)))
        power += amplitude * amplitude
    return [(hz, t60_s, amplitude * strength / power.sqrt()) for hz, t60_s, amplitude in rows]


def strike_noise(bell: Bell, chance: Chance, n: int) -> Float:
    """(n,) pascal: a burst that dies within a few milliseconds, a little weaker towards the highs."""
    burst = smoothed(chance.noise(n), 0.35)
    envelope = partial(Decimal(0), Decimal("0.03"), bell.level_pa * bell.knock, Decimal(0), n)
    return burst * envelope


def strike(bell: Bell, chance: Chance) -> np.ndarray:
    """(n,) integers, one recording in steps of 2**-18 of full scale."""
    n = int(LENGTH_S * RATE_HZ)
    onset = int(RATE_HZ * (Decimal("0.15") + chance.around("0.04")))
    ringing = np.zeros(n - onset)
    for frequency_hz, t60_s, amplitude in partials(bell, chance):
        phase = PI / 2 + chance.around("0.3")
        ringing = ringing + partial(frequency_hz, t60_s, amplitude, phase, n - onset)
    ringing = ringing + strike_noise(bell, chance, n - onset)
    room = smoothed(chance.noise(n), 0.9) * float(ROOM_NOISE_PA * Decimal("0.436"))  # back to variance 1
    room[onset:] = room[onset:] + ringing
    steps = np.rint(room * float(STEPS / PASCAL_PER_FULL_SCALE)).astype(np.int32)
    if np.abs(steps).max() >= STEPS:
        raise ValueError(f"a bell peaks above full scale ({PASCAL_PER_FULL_SCALE} Pa); lower its level_pa")
    return steps


def low_pass(cutoff_hz: Decimal) -> np.ndarray:
    """Taps of a low-pass in units of 2**-TAP_BITS: 6 dB down at `cutoff_hz`, a Hamming window over a sinc.

    From the pass band to 50 dB takes some 300 Hz (Hamming, 511 taps: 3.3 times rate over taps).
    """
    half = (TAPS - 1) // 2
    with localcontext() as context:
        context.prec = 30
        turn = 2 * PI
        taps = []
        for i in range(-half, half + 1):
            turns = cutoff_hz * i / RATE_HZ
            sine = cos_sin(turn * (turns - turns.to_integral_value()))[1]  # the series wants small angles
            ideal = sine / (PI * i) if i else 2 * cutoff_hz / RATE_HZ
            window = Decimal("0.54") + Decimal("0.46") * cos_sin(turn * i / (TAPS - 1))[0]
            taps.append(int((ideal * window * 2**TAP_BITS).to_integral_value()))
    return np.array(taps, dtype=np.int64)


def passed(samples: np.ndarray, taps: np.ndarray) -> np.ndarray:
    """Samples of 24 bit through the taps, in whole numbers alone, as long as before and not delayed."""
    steps = np.convolve(samples.astype(np.int64) // 32, taps, mode="same")
    return ((steps + 2 ** (TAP_BITS - 1) >> TAP_BITS) * 32).astype(np.int32)


def synthesise() -> dict[str, np.ndarray]:
    """Every sound by file name, as integers of 24 bit."""
    sounds = {}
    with localcontext() as context:
        context.prec = 30
        for number, (design, bell) in enumerate(DESIGNS.items()):
            for support, held in (("free", bell), ("handlebar", on_handlebar(bell))):
                for count in STRIKES:
                    chance = Chance(SEED, number, len(support), count)
                    sounds[f"{design}-{support}-{count}.flac"] = strike(held, chance) * 32
        for name, cutoff_hz in LOW_PASSED.items():
            taps = low_pass(cutoff_hz)
            for count in STRIKES:
                sounds[f"{name}-free-{count}.flac"] = passed(sounds[f"{BRIGHT}-free-{count}.flac"], taps)
        for word, bell in ANCHORS.items():
            sounds[f"example_{word}.flac"] = strike(bell, Chance(SEED, 99, 0, 0)) * 32
    return sounds


def digest(samples: np.ndarray) -> str:
    """SHA-256 of the samples as little-endian 32 bit integers."""
    return hashlib.sha256(samples.astype("<i4").tobytes()).hexdigest()


def table(designs: Iterable[str] = DESIGNS, supports: Sequence[str] = ("free", "handlebar")) -> str:
    """A recordings table: of the bells, or of these designs on these supports."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("recording", "file", "design", "support", "strike", "specimen", "pascal_per_full_scale"))
    for design in designs:
        for support in supports:
            for count in STRIKES:
                name = f"{design}-{support}-{count}"
                rows.writerow((name, f"{name}.flac", design, support, count, 1, PASCAL_PER_FULL_SCALE))
    return text.getvalue()


def tables() -> dict[str, str]:
    """Every table of recordings by file name: of the bells, and of bells beside low-passed ones."""
    beside = [design for design in DESIGNS if design not in ("dome_a", "dome_b")]
    return {
        "recordings.csv": table(),
        "recordings_anchors.csv": table([*beside, *LOW_PASSED], ["free"]),
    }


def write() -> int:
    """Write every sound, the table and the hashes beside this script."""
    sounds = synthesise()
    for name, samples in sounds.items():
        soundfile.write(HERE / name, samples * 256, RATE_HZ, subtype="PCM_24")
    for name, text in tables().items():
        (HERE / name).write_text(text, encoding="utf-8")
    hashes = {name: digest(samples) for name, samples in sounds.items()}
    (HERE / "hashes.json").write_text(json.dumps(hashes, indent=1) + "\n", encoding="utf-8")
    print(f"wrote {len(sounds)} sounds, {', '.join(tables())} and hashes.json to {HERE}")
    return 0


def differences(folder: Path) -> list[str]:
    """Every file of `folder` that differs from a fresh synthesis, in words."""
    hashes = json.loads((folder / "hashes.json").read_text(encoding="utf-8"))
    found = []
    for name, samples in synthesise().items():
        if hashes.get(name) != digest(samples):
            found.append(f"{name}: hashes.json has another hash than the fresh synthesis")
        if not (folder / name).is_file():
            found.append(f"{name}: not in {folder}")
        elif digest(soundfile.read(folder / name, dtype="int32")[0] >> 8) != digest(samples):
            found.append(f"{name}: the file's samples differ from the fresh synthesis")
    for name, text in tables().items():
        if (folder / name).read_text(encoding="utf-8") != text:
            found.append(f"{name}: differs from the table of the script")
    return found


def main() -> int:
    """Exit code 0, or 1 when `--check` finds a difference."""
    parser = argparse.ArgumentParser(description="Make the demo recordings, or check those that are here.")
    parser.add_argument("--check", action="store_true", help="compare, sample for sample; write nothing")
    if not parser.parse_args().check:
        return write()
    found = differences(HERE)
    print("\n".join(found) or "every sample is the same as in a fresh synthesis")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
