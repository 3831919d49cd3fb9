"""Curves of one strike of each condition, from what `measure` kept, as figures of the page."""

import textwrap
import zipfile
import zlib
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator

from listening.errors import RecordError
from listening.records.found.findings import Findings
from listening.records.sounds.measured import Measures
from listening.report.figures import figures
from listening.report.figures.sounds import curves, panels
from listening.report.figures.sounds.curves import Curves

UNREADABLE = (OSError, ValueError, KeyError, EOFError, zlib.error, zipfile.BadZipFile, NotImplementedError)
PANEL_IN = 1.7
COLUMNS = 2
MOST_INSIDE, NAME_IN = 4, 0.22  # names that find room among the curves; the height of one below them
SHORT_NAME = 14  # letters, of which two names stand beside each other
TITLE_LETTERS = 20  # in a line above a panel
FEW_TICKS_HZ = (100, 1000, 10_000)  # of a narrow panel
Overlay = Callable[[Axes, Sequence[Curves]], Axes]


def load(path: Path, measures: Measures, found: Findings) -> list[Curves]:
    """The first strike of every condition in the findings; nothing where `measure` kept no curves."""
    if not path.is_file():
        return []
    labels = {c.condition: c.label for c in found.conditions}
    first: dict[str, str] = {}
    calibrated = {row.recording: row.calibrated for row in measures.recordings}
    for row in measures.recordings:
        first.setdefault(row.condition, row.recording)
    try:
        with np.load(path, allow_pickle=False) as kept:
            return [
                _curves(kept, first[condition], label, calibrated[first[condition]])
                for condition, label in labels.items()
                if f"{first.get(condition)}/spectrogram_db" in kept
            ]
    except UNREADABLE as error:
        raise RecordError(
            f"{path}: not the curves that measure keeps ({error}); make them again with: listening measure "
            f"{path.parent}"
        ) from error


def figure_list(sounds: Sequence[Curves]) -> list[tuple[str, str]]:
    """(figure, caption) of loudness over time, spectrograms, third-octaves and the partials' T60."""
    if not sounds:
        return []
    made = [_spectrograms(sounds)]
    if all(one.has("loudness_sone") for one in sounds):
        caption = (
            "Loudness over time, one strike of each condition, aligned on the onset (ISO 532-1); maximum "
            "and time to a tenth stand in the table of measured values."
        )
        made.insert(0, _overlaid(sounds, panels.loudness, name="loudness", caption=caption))
    if all(one.has("band_db") for one in sounds):
        caption = "Third-octave levels of one strike of each condition, over the whole recording."
        made.append(_overlaid(sounds, panels.third_octaves, name="bands", caption=caption))
    return [*made, _ringing(sounds)]


def _overlaid(sounds: Sequence[Curves], draw: Overlay, *, name: str, caption: str) -> tuple[str, str]:
    columns = COLUMNS if max(len(one.label) for one in sounds) <= SHORT_NAME else 1

    def drawn(axes: Axes) -> Axes:
        draw(axes, sounds)
        if draw is panels.loudness:
            axes.set_xlim(-panels.BEFORE_S, panels.end_s(sounds))
        figure = axes.get_figure(root=True)
        if figure is None or len(sounds) <= MOST_INSIDE:
            axes.legend(frameon=False, fontsize=figures.LABEL_PT)
        else:  # below, where no curve is
            figure.legend(
                *axes.get_legend_handles_labels(), frameon=False, fontsize=figures.LABEL_PT,
                loc="outside lower left", ncols=columns,
            )  # fmt: skip
        return axes

    below_in = 0.0 if len(sounds) <= MOST_INSIDE else NAME_IN * -(-len(sounds) // columns)
    return figures.svg(drawn, name=name, title=caption, height_in=3.0 + below_in), caption


def _spectrograms(sounds: Sequence[Curves]) -> tuple[str, str]:
    low, high = panels.scale_db(sounds)
    caption = (
        f"Spectrograms of one strike of each condition, one scale, {low:.0f} to {high:.0f} {sounds[0].unit}; "
        "dotted: the partials, as long as each is measured to ring by 40 dB."
    )

    def draw(figure: Figure) -> None:
        grid = _grid(figure, len(sounds))
        for axes, one in zip(grid, sounds, strict=True):
            mesh = panels.spectrogram(axes, one, limits_db=(low, high))
            axes.set_xlim(-panels.BEFORE_S, panels.end_s(sounds))
            panels.tracks(axes, one, labels=False)
            axes.set_title(_title(one.label), fontsize=figures.LABEL_PT, loc="left")
            axes.set_ylabel("")
        bar = figure.colorbar(mesh, ax=grid, location="bottom", aspect=40, pad=0.02)
        bar.set_label(sounds[0].unit, fontsize=figures.LABEL_PT)
        figure.supylabel("frequency, Hz", fontsize=figures.LABEL_PT)
        figure.supxlabel("time from the onset, s", fontsize=figures.LABEL_PT)

    return _svg(draw, len(sounds), name="spectrogram", caption=caption), caption


def _ringing(sounds: Sequence[Curves]) -> tuple[str, str]:
    caption = (
        "Decay time T60 of the partials of one strike of each condition, with two standard errors; hollow: "
        "not known, because the partial does not die away as one."
    )

    def draw(figure: Figure) -> None:
        for axes, one in zip(_grid(figure, len(sounds)), sounds, strict=True):
            panels.ringing_times(axes, [one])
            axes.set_title(_title(one.label), fontsize=figures.LABEL_PT, loc="left")
            axes.xaxis.set_major_locator(FixedLocator(FEW_TICKS_HZ))
            axes.set_xlabel("")
            axes.set_ylabel("")
        figure.axes[0].set_ylim(bottom=0)  # once all are drawn: a limit set earlier would hide the later ones
        figure.supylabel("T60, s", fontsize=figures.LABEL_PT)
        figure.supxlabel("frequency, Hz", fontsize=figures.LABEL_PT)

    return _svg(draw, len(sounds), name="partials", caption=caption), caption


def _title(label: str) -> str:
    return "\n".join(textwrap.wrap(label, TITLE_LETTERS)) or label


def _grid(figure: Figure, n_panels: int) -> list[Axes]:
    """So many axes with common scales, row by row."""
    grid = figure.subplots(_rows(n_panels), COLUMNS, squeeze=False, sharex=True, sharey=True)
    flat = list(grid.flat)
    for axes in flat[n_panels:]:
        axes.remove()
    return flat[:n_panels]


def _rows(n_panels: int) -> int:
    return -(-n_panels // COLUMNS)


def _svg(draw: Callable[[Figure], None], n_panels: int, *, name: str, caption: str) -> str:
    height_in = PANEL_IN * _rows(n_panels) + 0.6
    return figures.svg_of(draw, name=name, title=caption, height_in=height_in)


def _curves(kept: np.lib.npyio.NpzFile, recording: str, label: str, calibrated: bool) -> Curves:
    names = [key.split("/", 1)[1] for key in kept if key.startswith(f"{recording}/")]
    arrays = {name: np.asarray(kept[f"{recording}/{name}"], dtype=np.float32) for name in names}
    return curves.of_arrays(label, arrays, calibrated=calibrated)
