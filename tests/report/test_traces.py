"""Curves as figures: nothing measured falls outside its picture."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from listening.report.figures import figures, strike_curves
from listening.report.figures.sounds import curves, panels
from listening.report.figures.sounds.curves import Curves
from listening.report.tables import ringing_tables


def strike(label: str, t60_s: float, *, onset_s: float = 0.1, gain_db: float = 0.0) -> Curves:
    time, hz = np.linspace(0, 2, 20, dtype=np.float32), np.linspace(0, 16000, 30, dtype=np.float32)
    arrays = {
        "onset_s": np.float32(onset_s),
        "time_s": time,
        "loudness_sone": 20 * np.exp(-time),
        "spectrogram_time_s": time,
        "spectrogram_hz": hz,
        "spectrogram_db": gain_db - (time[:, None] * 20 + hz[None, :] / 400),
        "partial_hz": np.array([1000, 2500], dtype=np.float32),
        "partial_t60_s": np.array([t60_s, t60_s / 2], dtype=np.float32),
        "partial_t60_se_s": np.array([0.1, 0.05], dtype=np.float32),
        "partial_level_db": np.array([60.0, 50.0], dtype=np.float32) + gain_db,
        "partial_known": np.array([1, 0], dtype=np.float32),
    }
    return curves.of_arrays(label, arrays, calibrated=True)


@pytest.mark.parametrize(
    "hz", [[1320, 2546, 3455, 4724, 6213, 9561, 13328], [200, 205, 15900, 15950], [1000]]
)
def test_labels_of_partials_stand_apart_in_order_and_inside(hz: list[float]) -> None:
    axes = Figure().add_subplot()
    panels.log_hz(axes, vertical=True)
    low, high = np.log(axes.get_ylim())
    made = panels._spread(axes, np.array(hz, dtype=float), np.arange(len(hz)))
    at = np.log([place for _, place in made])
    assert [i for i, _ in made] == list(range(len(hz)))
    assert np.diff(at).min(initial=1.0) > 0.999 * panels.LABEL_GAP * (high - low)
    assert at.max() <= high + 1e-9


STRIKES = [strike("short", 0.5), strike("long", 4.0, onset_s=0.3, gain_db=5.0)]


def test_the_longest_partial_is_in_the_picture_whatever_comes_first(monkeypatch):
    seen: list[Figure] = []

    def kept(draw, **_):
        seen.append(Figure())
        draw(seen[-1])
        return ""

    monkeypatch.setattr(figures, "svg_of", kept)
    strike_curves.figure_list(STRIKES)
    low, high = seen[-1].axes[0].get_ylim()
    assert low == 0
    assert high > 4.0


def test_there_is_a_figure_for_each_kind_of_curve_and_none_without_curves():
    assert len(strike_curves.figure_list(STRIKES)) == 3
    assert strike_curves.figure_list([]) == []


def test_uncalibrated_recordings_have_no_loudness_figure():
    mute = [
        curves.of_arrays(s.label, {**s.arrays, "loudness_sone": np.zeros(0, np.float32)}) for s in STRIKES
    ]
    assert len(strike_curves.figure_list(mute)) == 2


def test_many_names_stand_below_their_curves_and_few_among_them(monkeypatch):
    """With eight conditions the names covered the curves."""
    drawn = []

    def kept(draw, **_):
        figure = Figure(layout="constrained", figsize=(4, 3))
        draw(figure.add_subplot())
        drawn.append(figure)
        return ""

    monkeypatch.setattr(strike_curves.figures, "svg", kept)
    for n in (2, 8):
        sounds = [strike(f"dome {i} (on the handlebar)", 0.5) for i in range(n)]
        strike_curves._overlaid(sounds, panels.loudness, name="loudness", caption="")
    few, many = drawn
    assert few.axes[0].get_legend() is not None
    assert not few.legends
    assert many.axes[0].get_legend() is None
    many.draw_without_rendering()
    names, curve = many.legends[0].get_window_extent(), many.axes[0].get_window_extent()
    assert names.y1 <= curve.y0
    assert names.x1 <= many.bbox.x1


def test_a_long_title_of_a_panel_goes_over_two_lines():
    assert strike_curves._title("dome C (on the handlebar)") == "dome C (on the\nhandlebar)"
    assert strike_curves._title("") == ""


def test_spectrograms_share_one_scale_so_that_louder_looks_louder():
    low, high = panels.scale_db(STRIKES)
    figure = Figure()
    meshes = [
        panels.spectrogram(figure.add_subplot(1, 2, i + 1), s, limits_db=(low, high))
        for i, s in enumerate(STRIKES)
    ]
    assert {m.get_clim() for m in meshes} == {(low, high)}
    assert meshes[1].get_array().max() - meshes[0].get_array().max() == pytest.approx(5.0, abs=1e-4)
    assert high >= meshes[1].get_array().max()


def test_the_table_of_partials_has_their_beats_and_what_is_not_known():
    one = strike("A", 0.5)
    beating = {"partial_beat_hz": np.array([0.8, 0.0]), "partial_beat_db": np.array([14.2, 0.0])}
    kept = curves.of_arrays("A", dict(one.arrays) | beating, calibrated=True)
    table = ringing_tables.partials([kept])
    assert table is not None
    assert table.rows == (
        ("A", "1000.0", "60.0", "0.50", "0.20", "0.80", "14"),
        ("A", "2500.0", "50.0", "not known", "", "", ""),
    )
    older = ringing_tables.partials([one])  # measured before beats were kept
    assert older is not None
    assert [row[-2:] for row in older.rows] == [("", "")] * 2
    assert ringing_tables.partials([]) is None


def test_a_strike_that_comes_later_is_drawn_at_the_same_place():
    axes = panels.loudness(Figure().add_subplot(), STRIKES)
    first, second = (line.get_xdata()[0] for line in axes.lines)
    assert (first, second) == (np.float32(-0.1), np.float32(-0.3))  # the file's start, from each onset


def test_t60_has_bars_of_two_standard_errors_and_hollow_marks_where_not_known():
    axes = panels.ringing_times(Figure().add_subplot(), STRIKES[:1])
    bars = axes.collections[0].get_segments()
    assert [bar[:, 1].tolist() for bar in bars] == [
        [0.3, 0.7],
        [np.float32(0.15), np.float32(0.35)],
    ] or np.allclose([bar[:, 1] for bar in bars], [[0.3, 0.7], [0.15, 0.35]])
    assert [line.get_fillstyle() for line in axes.lines[-2:]] == ["full", "none"]
