"""Curves of one stroke of each condition, from what `measure` kept, as figures of the page."""

import zipfile
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from listening.errors import RecordError
from listening.records.findings import Findings
from listening.records.measured import Measures
from listening.report.figures import figures
from listening.report.page import style

FloatArray = NDArray[np.float32]

UNREADABLE = (OSError, ValueError, KeyError, EOFError, zlib.error, zipfile.BadZipFile, NotImplementedError)
RANGE_DB = 60.0  # of a spectrogram, below its strongest cell
HIGHEST_HZ = 16000.0
PANEL_IN = 1.5
COLUMNS = 2
LINES: tuple[str | tuple[int, tuple[float, ...]], ...] = (  # told apart without colour
    "-",
    "--",
    ":",
    "-.",
    (0, (7, 2)),
    (0, (1, 1)),
    (0, (4, 1, 1, 1, 1, 1)),
    (0, (9, 3, 2, 3)),
)


@dataclass(frozen=True)
class Stroke:
    """The curves of one recording."""

    label: str
    time_s: FloatArray
    loudness_sone: FloatArray
    """Empty where the recording is not calibrated."""
    spectrogram_time_s: FloatArray
    spectrogram_hz: FloatArray
    spectrogram_db: FloatArray
    """(times, frequencies)"""
    partial_hz: FloatArray
    partial_t60_s: FloatArray


def load(path: Path, measures: Measures, found: Findings) -> list[Stroke]:
    """The first stroke of every condition in the findings; nothing where `measure` kept no curves."""
    if not path.is_file():
        return []
    labels = {c.condition: c.label for c in found.conditions}
    first: dict[str, str] = {}
    for row in measures.recordings:
        first.setdefault(row.condition, row.recording)
    try:
        with np.load(path, allow_pickle=False) as kept:
            return [
                _stroke(kept, first[condition], label)
                for condition, label in labels.items()
                if f"{first.get(condition)}/spectrogram_db" in kept
            ]
    except UNREADABLE as error:
        raise RecordError(
            f"{path}: not the curves that measure keeps ({error}); make them again with: listening measure "
            f"{path.parent}"
        ) from error


def figure_list(strokes: Sequence[Stroke]) -> list[tuple[str, str]]:
    """(figure, caption) of loudness over time, spectrograms, and partials' decay."""
    if not strokes:
        return []
    made = []
    if all(s.loudness_sone.size for s in strokes):
        caption = (
            "Loudness over time in the recording, one stroke of each condition (ISO 532-1); maximum and time "
            "to a tenth stand in the table of measured values."
        )
        draw = figures.svg(
            lambda axes: loudness(axes, strokes), name="loudness", title=caption, height_in=3.0
        )
        made.append((draw, caption))
    for name, caption, panel, ylabel in (
        (
            "spectrogram",
            f"Spectrograms of one stroke of each condition; darkest is strongest, white is {RANGE_DB:.0f} dB "
            "below and less.",
            spectrogram,
            "kHz",
        ),
        (
            "partials",
            "Decay time T60 of the partials of one stroke of each condition; that of the strongest stands in "
            "the table of measured values.",
            partials,
            "T60, s",
        ),
    ):
        made.append((_panels(strokes, panel, ylabel, name=name, title=caption), caption))
    return made


def loudness(axes: Axes, strokes: Sequence[Stroke]) -> Axes:
    """N(t) of every stroke."""
    for i, one in enumerate(strokes):
        axes.plot(
            one.time_s,
            one.loudness_sone,
            color=(style.ACCENT, style.SECOND)[i % 2],
            linestyle=LINES[i % len(LINES)],
            linewidth=1.3,
            label=one.label,
        )
    axes.legend(frameon=False, fontsize=8.5)
    axes.set_xlabel("time, s")
    axes.set_ylabel("loudness, sone")
    axes.set_ylim(bottom=0)
    return axes


def spectrogram(axes: Axes, one: Stroke) -> Axes:
    """Level over time and frequency, dark where strong."""
    kept = one.spectrogram_hz <= HIGHEST_HZ
    level = one.spectrogram_db[:, kept].T
    axes.pcolormesh(
        one.spectrogram_time_s,
        one.spectrogram_hz[kept] / 1000,
        level,
        cmap="Greys",
        vmin=float(level.max()) - RANGE_DB,
        vmax=float(level.max()),
        shading="nearest",
        rasterized=True,
    )
    return axes


def partials(axes: Axes, one: Stroke) -> Axes:
    """T60 of each partial over its frequency."""
    sound = np.isfinite(one.partial_t60_s) & (one.partial_t60_s > 0)
    axes.vlines(one.partial_hz[sound] / 1000, 0, one.partial_t60_s[sound], color=style.ACCENT, linewidth=1.2)
    axes.plot(one.partial_hz[sound] / 1000, one.partial_t60_s[sound], "o", color=style.ACCENT, markersize=3.5)
    axes.set_xlim(0, HIGHEST_HZ / 1000)
    return axes


def _panels(
    strokes: Sequence[Stroke],
    panel: Callable[[Axes, Stroke], Axes],
    ylabel: str,
    *,
    name: str,
    title: str,
) -> str:
    rows = -(-len(strokes) // COLUMNS)

    def draw(figure: Figure) -> None:
        grid = figure.subplots(rows, COLUMNS, squeeze=False, sharey=True, sharex=True)
        for axes, one in zip(grid.flat, strokes, strict=False):
            panel(axes, one).set_title(one.label, fontsize=9, loc="left")
        grid[0][0].set_ylim(bottom=0)  # once all are drawn: a limit set earlier would hide the later ones
        for axes in list(grid.flat)[len(strokes) :]:
            axes.set_visible(False)
        for row in grid:
            row[0].set_ylabel(ylabel)
        figure.supxlabel("time, s" if panel is spectrogram else "frequency, kHz", fontsize=9)

    return figures.svg_of(draw, name=name, title=title, height_in=PANEL_IN * rows)


def _stroke(kept: np.lib.npyio.NpzFile, recording: str, label: str) -> Stroke:
    def curve(name: str) -> FloatArray:
        key = f"{recording}/{name}"
        return np.asarray(kept[key], dtype=np.float32) if key in kept else np.zeros(0, dtype=np.float32)

    return Stroke(
        label=label,
        time_s=curve("time_s"),
        loudness_sone=curve("loudness_sone"),
        spectrogram_time_s=curve("spectrogram_time_s"),
        spectrogram_hz=curve("spectrogram_hz"),
        spectrogram_db=curve("spectrogram_db"),
        partial_hz=curve("partial_hz"),
        partial_t60_s=curve("partial_t60_s"),
    )
