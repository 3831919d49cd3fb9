"""What a support takes, in dB and as a share of the energy."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import support
from tests.metrics.signals import RATE_HZ, strike

FREQUENCIES = (900.0, 2600.0)


def _strikes(t60_s: tuple[float, float], gain_db: float, calibration: float | None = 2.0) -> list[Sound]:
    gains = gain_db + np.array([-0.3, 0.1, 0.2])
    return [
        Sound(
            strike(FREQUENCIES, t60_s, [0.2, 0.1], duration_s=2.5, noise_rms=1e-5, seed=i) * 10 ** (g / 20),
            RATE_HZ,
            calibration,
        )
        for i, g in enumerate(gains)
    ]


@pytest.mark.parametrize(("share", "db"), [(0.40, 2.22), (0.30, 1.55), (0.60, 3.98)])
def test_shares_and_decibels(share: float, db: float) -> None:
    assert support.lost_db(share) == pytest.approx(db, abs=0.005)
    assert support.lost_share(db) == pytest.approx(share, abs=0.001)
    with pytest.raises(SoundError, match="less than 1"):
        support.lost_db(1.0)


def test_a_known_loss_is_found_in_all_and_by_partial_and_band() -> None:
    found = support.compare(_strikes((1.5, 1.2), 0.0), _strikes((0.5, 0.3), -3.0))
    first, second = found.by_partial
    for p, (wanted_hz, before_s, after_s) in zip(
        (first, second), ((900.0, 1.5, 0.5), (2600.0, 1.2, 0.3)), strict=True
    ):
        assert p.frequency_hz == pytest.approx(wanted_hz, abs=0.01)
        assert p.loss.lost_db.estimate == pytest.approx(3.0, abs=0.1)
        assert p.loss.lost_db.low < 3.0 < p.loss.lost_db.high
        assert p.loss.lost_share == pytest.approx(0.5, abs=0.02)
        assert [p.t60_first_s, p.t60_second_s] == pytest.approx([before_s, after_s], rel=0.01)
    # a decaying tone's energy is proportional to its T60: 3 dB and 10 lg 3 = 4.8 dB
    band = min(found.by_band, key=lambda m: abs(m - 900.0 * 0.88))
    assert found.by_band[band].lost_db.estimate == pytest.approx(7.8, abs=0.3)
    assert found.loudness_level is not None
    assert found.loudness_level.estimate > 3.0
    assert found.t20_first_s is not None
    assert found.t20_second_s is not None
    assert found.t20_first_s > 2 * found.t20_second_s


def test_uncalibrated_strikes_have_no_loudness_and_do_not_mix() -> None:
    bare = _strikes((0.5, 0.4), 0.0, calibration=None)
    assert support.compare(bare, bare).loudness_level is None
    with pytest.raises(SoundError, match="calibrated and uncalibrated"):
        support.compare(bare, _strikes((0.5, 0.4), 0.0))
    with pytest.raises(SoundError, match="1 and 3 strikes"):
        support.compare(bare[:1], bare)
