"""Attack: which sounds of a trial are alike, found by comparing the station's files instead of listening.

Before each clip got its own silence, shift and dither, it gave the right answer in 72 of 72 trials. What a
comparison that aligns sounds to a fraction of a sample can still do is measured at the end: everything.
"""

import hashlib
import itertools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from listening.audio import wav
from listening.metrics import level
from listening.metrics.loud import loudness
from listening.stimuli.coded_clips import LEAD_S, LONGEST_WAIT_S, Coded, write

SECRET = "0123456789abcdef" * 2
Samples = npt.NDArray[np.float64]
Alike = Callable[[Path, Path], float]
DEMO = Path(__file__).resolve().parents[2] / "stimuli_demo"


def residual_db(one: Samples, other: Samples) -> float:
    """What is left of one sound after the best gain of the other is taken off, dB re the sound itself."""
    gain = float(one @ other) / float(other @ other)
    left = one - gain * other
    return 10 * float(np.log10(float(left @ left) / float(one @ one) + 1e-30))


def lag_of(one: Samples, other: Samples) -> int:
    """The whole number of samples by which `other` must be moved to meet `one` best."""
    n = len(one) + len(other)
    meets = np.fft.irfft(np.fft.rfft(one, n) * np.conj(np.fft.rfft(other, n)), n)
    best = int(np.argmax(np.abs(meets)))
    return best if best < n // 2 else best - n


def aligned_residual_db(one: Samples, other: Samples) -> float:
    """The same after moving by whole samples."""
    return residual_db(one, np.roll(other, lag_of(one, other)))


def fitted_residual_db(one: Samples, other: Samples) -> float:
    """The same after moving by any part of a sample: the strongest comparison that knows of the shift."""
    n, moves = len(one), np.linspace(-0.6, 0.6, 49)
    frequency = np.arange(n // 2 + 1) / n
    both = np.fft.rfft(one).conj() * np.fft.rfft(np.roll(other, lag_of(one, other)))
    both[1 : (n + 1) // 2] *= 2.0  # negative frequencies
    turn = np.exp(-2j * np.pi * frequency * (moves[1] - moves[0]))
    both *= np.exp(-2j * np.pi * frequency * moves[0])
    meets = []
    for _ in moves:  # one @ moved, by Parseval
        meets.append(float(both.sum().real) / n)
        both *= turn
    alike = max(np.square(meets)) / float((one @ one) * (other @ other))
    return 10 * float(np.log10(1.0 - alike + 1e-30))


def _samples(path: Path) -> Samples:
    return np.asarray(wav.load(path).samples[:, 0])


ATTACKS: dict[str, Alike] = {
    "hash": lambda a, b: float(_hash(a) != _hash(b)),
    "size": lambda a, b: float(abs(a.stat().st_size - b.stat().st_size)),
    "equal samples, the end left out": lambda a, b: float(np.abs(_samples(a) - _samples(b))[:-300].max()),
    "a gain apart": lambda a, b: residual_db(_samples(a), _samples(b)),
    "a gain and whole samples apart": lambda a, b: aligned_residual_db(_samples(a), _samples(b)),
}
ALIKE_BELOW = {"hash": 0.5, "equal samples, the end left out": 2e-6, "a gain apart": -60.0} | {
    "a gain and whole samples apart": -60.0
}


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture(scope="module")
def one_strike(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Clips as `deal` writes them: a bell four times, once 3 dB weaker, and two other strikes of it."""
    folder = tmp_path_factory.mktemp("clips")
    strikes = [DEMO / f"dome_d-free-{n}.flac" for n in (1, 2, 3)]
    made_of = {"aaaa": Coded(strikes[0], source="1"), "bbbb": Coded(strikes[0], source="1")}
    made_of["cccc"] = Coded(strikes[0], -3.0, source="1")
    made_of["dddd"] = Coded(strikes[0], source="1", is_aligned=True)
    made_of |= {"eeee": Coded(strikes[1], source="2"), "ffff": Coded(strikes[2], source="3")}
    write(folder, made_of, secret=SECRET)
    return {code: folder / f"{code}.wav" for code in made_of}


SAME = ("aaaa", "bbbb", "cccc", "dddd")


@pytest.mark.parametrize("attack", list(ALIKE_BELOW))
def test_no_two_clips_of_one_sound_are_equal_or_a_gain_apart(
    one_strike: dict[str, Path], attack: str
) -> None:
    for one, other in itertools.combinations(SAME, 2):
        assert ATTACKS[attack](one_strike[one], one_strike[other]) > ALIKE_BELOW[attack], (one, other)


@pytest.mark.parametrize("attack", list(ALIKE_BELOW))
def test_the_comparison_does_find_equal_sounds(
    one_strike: dict[str, Path], tmp_path: Path, attack: str
) -> None:
    path = one_strike["aaaa"]
    twin = tmp_path / "twin.wav"
    twin.write_bytes(path.read_bytes())
    assert ATTACKS[attack](path, twin) < ALIKE_BELOW[attack]


def test_all_clips_have_one_size(one_strike: dict[str, Path]) -> None:
    assert len({path.stat().st_size for path in one_strike.values()}) == 1


def test_the_ear_gets_the_same_sound(one_strike: dict[str, Path]) -> None:
    original = wav.load(DEMO / "dome_d-free-1.flac", 20.0)
    for code in SAME:
        clip = wav.load(one_strike[code], 20.0)
        gain_db = -3.0 if code == "cccc" else 0.0
        assert level.laf_max_db(clip) - gain_db == pytest.approx(level.laf_max_db(original), abs=0.01)
        if not gain_db:  # the bound that a match must hold
            heard, meant = (loudness.level_phon(loudness.course(s).nmax_sone) for s in (clip, original))
            assert heard == pytest.approx(meant, abs=0.1)


def test_silence_before_a_clip_is_short_and_none_differs_where_listeners_switch(
    one_strike: dict[str, Path],
) -> None:
    original = _samples(DEMO / "dome_d-free-1.flac")
    for code in SAME:
        clip = wav.load(one_strike[code])
        whole = np.pad(original, (0, clip.n_samples - len(original)))
        lead_s = lag_of(_samples(one_strike[code]), whole) / clip.rate_hz
        assert LEAD_S - 1e-4 <= lead_s <= LEAD_S + LONGEST_WAIT_S + 1e-4
        if code == "dddd":
            assert lead_s == pytest.approx(LEAD_S, abs=1.0 / clip.rate_hz)


def test_what_alignment_to_a_part_of_a_sample_can_still_do(one_strike: dict[str, Path]) -> None:
    """Printed in docs/threats.md as it is: clips of one strike are found, and told from other strikes."""
    samples = {code: _samples(path) for code, path in one_strike.items()}
    alike = [fitted_residual_db(samples[a], samples[b]) for a, b in itertools.combinations(SAME, 2)]
    others = [fitted_residual_db(samples["aaaa"], samples[b]) for b in ("eeee", "ffff")]
    assert max(alike) < min(others) - 10
