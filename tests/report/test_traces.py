"""Curves as figures: nothing measured falls outside its picture."""

import numpy as np
from matplotlib.figure import Figure

from listening.report.figures import figures, strike_curves


def stroke(label: str, t60_s: float) -> strike_curves.Stroke:
    time, hz = np.linspace(0, 2, 20, dtype=np.float32), np.linspace(0, 16000, 30, dtype=np.float32)
    return strike_curves.Stroke(
        label=label,
        time_s=time,
        loudness_sone=20 * np.exp(-time),
        spectrogram_time_s=time,
        spectrogram_hz=hz,
        spectrogram_db=-(time[:, None] * 20 + hz[None, :] / 400),
        partial_hz=np.array([1000, 2500], dtype=np.float32),
        partial_t60_s=np.array([t60_s, t60_s / 2], dtype=np.float32),
    )


STROKES = [stroke("short", 0.5), stroke("long", 4.0)]


def test_the_longest_partial_is_in_the_picture_whatever_comes_first(monkeypatch):
    seen: list[Figure] = []

    def kept(draw, **_):
        seen.append(Figure())
        draw(seen[-1])
        return ""

    monkeypatch.setattr(figures, "svg_of", kept)
    strike_curves.figure_list(STROKES)
    low, high = seen[-1].axes[0].get_ylim()
    assert low == 0
    assert high > 4.0


def test_there_is_a_figure_for_each_kind_of_curve_and_none_without_curves():
    assert len(strike_curves.figure_list(STROKES)) == 3
    assert strike_curves.figure_list([]) == []


def test_uncalibrated_recordings_have_no_loudness_figure():
    mute = [
        strike_curves.Stroke(**{**vars(s), "loudness_sone": np.zeros(0, dtype=np.float32)}) for s in STROKES
    ]
    assert len(strike_curves.figure_list(mute)) == 2
