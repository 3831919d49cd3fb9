"""The demo recordings: the same samples from the same script, on every machine."""

import json
import math
import shutil
from collections.abc import Iterator
from decimal import Decimal, localcontext
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stimuli_demo import synthesise

FOLDER = Path(synthesise.__file__).parent
EIGHT_MEGABYTE = 8_000_000


@pytest.fixture(scope="module", autouse=True)
def fresh() -> Iterator[None]:
    """One fresh synthesis for all tests that compare with it."""
    made = synthesise.synthesise()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(synthesise, "synthesise", lambda: made)
        yield


def test_a_fresh_synthesis_has_the_samples_of_the_files() -> None:
    assert synthesise.differences(FOLDER) == []


def test_one_changed_sample_is_found(tmp_path: Path) -> None:
    copy = tmp_path / "bells"
    shutil.copytree(FOLDER, copy)
    name = "dome_c-free-2.flac"
    samples, rate_hz = soundfile.read(copy / name, dtype="int32")
    samples[1000] += 256
    soundfile.write(copy / name, samples, rate_hz, subtype="PCM_24")
    assert synthesise.differences(copy) == [f"{name}: the file's samples differ from the fresh synthesis"]


def test_every_strike_is_its_own_sound_and_all_are_there() -> None:
    hashes = json.loads((FOLDER / "hashes.json").read_text())
    bells = [h for name, h in hashes.items() if name.startswith("dome_")]
    assert len(bells) == 6 * 2 * 4
    assert len(set(hashes.values())) == len(hashes) == len(bells) + 8 + 6  # low-passed anchors, examples


def test_the_sounds_stay_below_eight_megabyte() -> None:
    assert sum(f.stat().st_size for f in FOLDER.glob("*.flac")) < EIGHT_MEGABYTE


@pytest.mark.parametrize("angle", ["0", "0.3", "2.6", "-1.9", "6.2"])
def test_decimal_cosine_and_sine_agree_with_the_library(angle: str) -> None:
    with localcontext() as context:
        context.prec = 30
        cosine, sine = synthesise.cos_sin(Decimal(angle))
    assert float(cosine) == pytest.approx(math.cos(float(angle)), abs=2**-52)
    assert float(sine) == pytest.approx(math.sin(float(angle)), abs=2**-52)


def test_a_partial_decays_by_sixty_decibel_in_its_t60() -> None:
    n = 48_000
    with localcontext() as context:
        context.prec = 30
        ringing = synthesise.partial(Decimal("1000"), Decimal("0.5"), Decimal(1), Decimal(0), n)
    time_s = np.arange(n) / synthesise.RATE_HZ
    closed_form = 10 ** (-3 * time_s / 0.5) * np.cos(2 * np.pi * 1000 * time_s)
    # 16 doublings, each rounding twice: a few times 16 units in the last place
    np.testing.assert_allclose(ringing, closed_form, rtol=0, atol=1e-11)


def test_noise_has_mean_zero_and_variance_one() -> None:
    n = 200_000
    noise = synthesise.Chance(1, 2).noise(n)
    assert abs(noise.mean()) < 4 / math.sqrt(n)
    assert abs(noise.var() - 1) < 4 * math.sqrt(2 / n)


@pytest.mark.parametrize(("name", "edge_hz"), [("anchor_low", 3500), ("anchor_mid", 7000)])
def test_the_anchors_are_low_passed_as_the_standard_has_them(name: str, edge_hz: int) -> None:
    """ITU-R BS.1534: within 0.1 dB up to the edge, 25 dB down 500 Hz above, 50 dB 1 kHz above.

    The numbers for 3.5 kHz are from memory of BS.1534; for 7 kHz the same are asked here.
    """
    taps = synthesise.low_pass(synthesise.LOW_PASSED[name]) / 2**synthesise.TAP_BITS
    spectrum = np.abs(np.fft.rfft(taps, 2**17))
    at_hz = np.fft.rfftfreq(2**17, 1 / synthesise.RATE_HZ)
    level_db = 20 * np.log10(spectrum + 1e-12)
    assert np.abs(level_db[at_hz <= edge_hz]).max() <= 0.1
    assert level_db[at_hz >= edge_hz + 500].max() <= -25
    assert level_db[at_hz >= edge_hz + 1000].max() <= -50


def test_an_anchor_is_its_bell_not_delayed() -> None:
    """A sound below the edge comes out as it went in, but for the rounding of one step."""
    samples = (
        np.round(1e5 * np.sin(2 * np.pi * 500 * np.arange(4800) / synthesise.RATE_HZ)).astype(np.int64) * 32
    )
    passed = synthesise.passed(samples, synthesise.low_pass(Decimal(3750)))
    middle = slice(600, 4200)
    assert np.abs(passed[middle] - samples[middle]).max() <= 32 * 40  # 0.04 % of the amplitude
