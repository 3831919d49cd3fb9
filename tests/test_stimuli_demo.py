"""The demo recordings: the same samples from the same script, on every machine."""

import json
import math
import shutil
from decimal import Decimal, localcontext
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stimuli_demo import synthesise

FOLDER = Path(synthesise.__file__).parent
EIGHT_MEGABYTE = 8_000_000


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
    assert len(set(hashes.values())) == len(hashes) == len(bells) + 6


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
