"""One panel of a sound's picture each: axes and curves in, axes out; nothing is computed but the drawing.

Lines differ in dash and mark as well as in hue, so that grey print and any colour vision tell them apart; the
hues are those of Okabe & Ito 2008 (Color Universal Design), the map of levels is cividis (Nuñez et al. 2018).
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from matplotlib.transforms import Transform, offset_copy

from listening.report.figures.sounds.curves import Curves, FloatArray
from listening.report.page import style

HUES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#332288", "#000000")
DASHES: tuple[str | tuple[int, tuple[float, ...]], ...] = (
    "-", "--", ":", "-.", (0, (7, 2)), (0, (1, 1)), (0, (4, 1, 1, 1, 1, 1)), (0, (9, 3, 2, 3)),
)  # fmt: skip
MARKS = ("o", "s", "^", "D", "v", "P", "X", "*")
COLOUR_MAP = "cividis"
RANGE_DB = 70.0  # of a spectrogram, below the strongest cell of all
STEP_DB = 5.0  # the scale begins and ends at multiples of this
LOWEST_HZ, HIGHEST_HZ = 100.0, 16_000.0
TICKS_HZ = (100, 200, 500, 1000, 2000, 5000, 10_000)
CELLS = 200  # of the log axis; each shows the strongest line in it, so that a thin partial is seen
LABELLED = 8  # partials with a label in a panel
LABEL_GAP = 0.085  # of the axes, between labels of 10.5 points in the lowest spectrogram drawn
LEADER_PT = 14.0  # from a track's end to its label, which may have been moved
TOLD_PT = 8.5
LEGEND_ALPHA = 0.85  # behind the names: a curve below shows through
DECAYS = 6  # partials whose decay is drawn
BEFORE_S = 0.1


def scale_db(sounds: Sequence[Curves]) -> tuple[float, float]:
    """Lowest and highest level of a scale that all these spectrograms share."""
    tops = [float(c.get("spectrogram_db").max()) for c in sounds if c.has("spectrogram_db")]
    top = STEP_DB * np.ceil(max(tops) / STEP_DB)
    return float(top - RANGE_DB), float(top)


def end_s(sounds: Sequence[Curves]) -> float:
    """Time after the onset at which the longest of these sounds ends."""
    return max(
        (float(c.get(n)[-1]) - c.onset_s for c in sounds for n in ("spectrogram_time_s",) if c.has(n)),
        default=1.0,
    )


def waveform(axes: Axes, one: Curves, *, largest: float) -> Axes:
    """Extremes of the samples over time from the onset, on a scale of plus and minus `largest`."""
    time_s = one.get("waveform_time_s") - one.onset_s
    low, high = one.get("waveform_low"), one.get("waveform_high")
    axes.fill_between(time_s, low, high, color=HUES[0], linewidth=0.3)
    axes.set_ylim(-1.05 * largest, 1.05 * largest)
    axes.axhline(0, color=style.SOFT, linewidth=0.6)
    axes.set_ylabel("of full scale")
    return axes


def spectrogram(axes: Axes, one: Curves, *, limits_db: tuple[float, float]) -> QuadMesh:
    """Level over time from the onset and log frequency; gives what a colour bar needs."""
    edges_hz = np.geomspace(LOWEST_HZ, HIGHEST_HZ, CELLS + 1)
    mesh = axes.pcolormesh(
        _edges(one.get("spectrogram_time_s") - one.onset_s),
        edges_hz,
        _in_cells(one.get("spectrogram_db"), one.get("spectrogram_hz"), edges_hz).T,
        cmap=COLOUR_MAP,
        vmin=limits_db[0],
        vmax=limits_db[1],
        rasterized=True,
    )
    log_hz(axes, vertical=True)
    axes.set_ylabel("frequency, Hz")
    return mesh


def tracks(axes: Axes, one: Curves, *, labels: bool = True, gap: float = LABEL_GAP) -> Axes:
    """The partials in a spectrogram: a line as long as each rings by 40 dB, and its frequency.

    `gap` is the least distance of two labels, as a share of the axes' height.
    """
    hz, t60_s = one.get("partial_hz"), one.get("partial_t60_s")
    shown = strongest(one, LABELLED)
    last = axes.get_xlim()[1]
    for i in shown:
        stop = min(float(t60_s[i]) * 2 / 3, last)
        axes.plot([0, stop], [hz[i]] * 2, color="white", linewidth=0.7, linestyle=(0, (1, 3)))
    for i, at in _spread(axes, hz, shown, gap=gap) if labels else []:
        _labelled(axes, f"{hz[i]:.0f}", hz=float(hz[i]), at=at)
    return axes


def _labelled(axes: Axes, label: str, *, hz: float, at: float) -> None:
    """A label right of the axes at height `at`, with a thin line from where the frequency is."""
    axes.annotate(
        "", (1.0, hz), xytext=(1.0, at), xycoords=("axes fraction", "data"), textcoords=_beyond(axes),
        arrowprops={"arrowstyle": "-", "color": style.SOFT, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
        annotation_clip=False,
    )  # fmt: skip
    axes.text(1.0, at, label, transform=_beyond(axes, 1.0), fontsize=10.5, va="center", color=style.INK)


def _beyond(axes: Axes, more_pt: float = 0.0) -> Transform:
    """Shares of the axes' width and frequencies, moved right by the leader and so many points."""
    figure = axes.get_figure(root=True)
    return offset_copy(axes.get_yaxis_transform(), fig=figure, x=LEADER_PT + more_pt, units="points")


def decays(axes: Axes, one: Curves, *, most: int = DECAYS) -> Axes:
    """Course of the strongest partials as measured, and the straight line of each one's T60."""
    time_s = one.get("partial_time_s") - one.onset_s
    after = time_s >= 0
    for place, i in enumerate(strongest(one, most)):
        course = one.get("partial_course_db")[i]
        t60_s, level = float(one.get("partial_t60_s")[i]), float(one.get("partial_level_db")[i])
        axes.plot(
            time_s[after],
            course[after],
            color=HUES[place],
            linestyle=DASHES[place],
            linewidth=1.6,
            label=_decay_label(one, int(i)),
        )
        line_s = np.array([0.0, min(t60_s * 2 / 3, float(time_s[-1]))])
        axes.plot(line_s, level - 60.0 * line_s / t60_s, color=style.SOFT, linewidth=0.8)
    axes.legend(
        framealpha=LEGEND_ALPHA, edgecolor="none", fontsize=10.5, loc="upper right", handlelength=2.4,
        labelspacing=0.25, borderpad=0.2, title="T60 ± two standard errors", title_fontsize=TOLD_PT,
        alignment="left",
    )  # fmt: skip
    axes.set_ylabel(f"partial, {one.unit}")
    return axes


def ringing_times(axes: Axes, sounds: Sequence[Curves]) -> Axes:
    """T60 of every partial with two standard errors, hollow where not known; no lower end is set."""
    for place, one in enumerate(sounds):
        hz, t60_s = one.get("partial_hz"), one.get("partial_t60_s")
        error = 2.0 * one.get("partial_t60_se_s") if one.has("partial_t60_se_s") else np.zeros_like(t60_s)
        known = one.get("partial_known") > 0 if one.has("partial_known") else np.ones(len(hz), dtype=bool)
        hue, mark = HUES[place % len(HUES)], MARKS[place % len(MARKS)]
        axes.errorbar(hz, t60_s, yerr=error, fmt="none", ecolor=hue, elinewidth=1.2, capsize=2.5)
        axes.plot(hz[known], t60_s[known], mark, color=hue, markersize=5, label=one.label)
        axes.plot(hz[~known], t60_s[~known], mark, color=hue, markersize=5, fillstyle="none")
    log_hz(axes, vertical=False)
    axes.margins(y=0.08)
    axes.set_xlabel("frequency, Hz")
    axes.set_ylabel("T60, s")
    return axes


def loudness(axes: Axes, sounds: Sequence[Curves]) -> Axes:
    """Loudness over time from the onset (ISO 532-1) of all sounds that are calibrated."""
    for place, one in enumerate(sounds):
        if not one.has("time_s", "loudness_sone"):
            continue
        axes.plot(
            one.get("time_s") - one.onset_s,
            one.get("loudness_sone"),
            color=HUES[place % len(HUES)],
            linestyle=DASHES[place % len(DASHES)],
            linewidth=1.6,
            label=one.label,
        )
    axes.set_xlabel("time from the onset, s")
    axes.set_ylabel("loudness N, sone")
    axes.set_ylim(bottom=0)
    return axes


def third_octaves(axes: Axes, sounds: Sequence[Curves]) -> Axes:
    """Equivalent level of each third-octave over the whole recording."""
    for place, one in enumerate(sounds):
        hz, level = one.get("band_hz"), one.get("band_db")
        kept = hz >= LOWEST_HZ * 0.9
        axes.plot(
            hz[kept], level[kept], color=HUES[place % len(HUES)], linestyle=DASHES[place % len(DASHES)],
            marker=MARKS[place % len(MARKS)], markersize=3.5, linewidth=1.2, label=one.label,
        )  # fmt: skip
    log_hz(axes, vertical=False)
    axes.set_xlabel("third-octave, Hz")
    axes.set_ylabel(f"level, {sounds[0].unit}")
    return axes


def log_hz(axes: Axes, *, vertical: bool) -> None:
    """A log axis of frequency with the same ticks everywhere."""
    axis = axes.yaxis if vertical else axes.xaxis
    (axes.set_yscale if vertical else axes.set_xscale)("log")
    (axes.set_ylim if vertical else axes.set_xlim)(LOWEST_HZ, HIGHEST_HZ)
    axis.set_major_locator(FixedLocator(list(TICKS_HZ)))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda hz, _: f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"))


def _edges(middles: FloatArray) -> FloatArray:
    step = float(middles[1] - middles[0]) if len(middles) > 1 else 1.0
    return np.append(middles - step / 2, middles[-1] + step / 2)


def _in_cells(level_db: FloatArray, hz: FloatArray, edges_hz: np.ndarray) -> FloatArray:
    """(times, cells) strongest level within each cell; where a cell holds no line, between its neighbours."""
    middles = np.sqrt(edges_hz[:-1] * edges_hz[1:])
    at = np.clip(np.searchsorted(hz, middles), 1, len(hz) - 1)
    share = (middles - hz[at - 1]) / (hz[at] - hz[at - 1])
    made = (1 - share) * level_db[:, at - 1] + share * level_db[:, at]
    for cell, (low, high) in enumerate(pairwise(edges_hz)):
        inside = (hz >= low) & (hz < high)
        if inside.any():
            made[:, cell] = level_db[:, inside].max(axis=1)
    return np.asarray(made)


def _decay_label(one: Curves, i: int) -> str:
    t60_s, label = float(one.get("partial_t60_s")[i]), f"{one.get('partial_hz')[i]:.0f} Hz"
    known = not one.has("partial_known") or bool(one.get("partial_known")[i])
    if not known:
        return f"{label}: T60 not known"
    error = 2.0 * float(one.get("partial_t60_se_s")[i]) if one.has("partial_t60_se_s") else 0.0
    digits = 3 if error < 0.01 else 2
    return f"{label}: {t60_s:.{digits}f} ± {error:.{digits}f} s"


def strongest(one: Curves, most: int) -> FloatArray | np.ndarray:
    """Places of the strongest partials, strongest first; of those closer than 1 % only the strongest."""
    hz, level = one.get("partial_hz"), one.get("partial_level_db")
    kept: list[int] = []
    for i in np.argsort(-level, kind="stable"):
        if all(abs(hz[i] / hz[j] - 1) > 0.01 for j in kept) and LOWEST_HZ <= hz[i] <= HIGHEST_HZ:
            kept.append(int(i))
    return np.array(kept[:most], dtype=int)


def _spread(axes: Axes, hz: FloatArray, shown: np.ndarray, gap: float = LABEL_GAP) -> list[tuple[int, float]]:
    """Places and heights of labels, moved apart where they would touch, none above the axes."""
    low, high = np.log(axes.get_ylim())
    gap, ordered = gap * (high - low), sorted(shown, key=lambda i: hz[i])
    at = [float(np.log(hz[i])) for i in ordered]
    for k in range(1, len(at)):
        at[k] = max(at[k], at[k - 1] + gap)
    for k, rank in enumerate(range(len(at) - 1, -1, -1)):
        at[rank] = min(at[rank], high - k * gap)
    return [(int(i), float(np.exp(place))) for i, place in zip(ordered, at, strict=True)]
