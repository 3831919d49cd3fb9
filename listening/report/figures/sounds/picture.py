"""A whole picture of one sound or of several side by side, in the shape of a slide."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure, SubFigure

from listening.report.figures.sounds import panels
from listening.report.figures.sounds.curves import Curves
from listening.report.page import style

MOST = 6
SLIDE_IN = (13.33, 7.5)
COLUMN_IN = 4.4  # of each further sound beyond three
WIDE, FEW_DECAYS = (
    2,
    4,
)  # sounds side by side whose names of partials have room; partials drawn of more sounds


def draw(figure: Figure, sounds: Sequence[Curves]) -> Figure:
    """Waveform, spectrogram and decays of each sound; below, loudness (calibrated), bands and T60 of all."""
    halves = figure.subfigures(2, 1, height_ratios=(1.75, 1.0), squeeze=False)
    _each(halves[0, 0], sounds)
    _together(halves[1, 0], sounds)
    return figure


def size_in(n_sounds: int) -> tuple[float, float]:
    """Width and height of the picture of so many sounds."""
    return max(SLIDE_IN[0], COLUMN_IN * n_sounds), SLIDE_IN[1] + (1.5 if n_sounds > 1 else 0.0)


def _each(figure: SubFigure, sounds: Sequence[Curves]) -> None:
    n, end = len(sounds), panels.end_s(sounds)
    limits = panels.scale_db(sounds)
    largest = max(float(np.abs([c.get("waveform_low"), c.get("waveform_high")]).max()) for c in sounds)
    if n == 1:
        grid = figure.subplot_mosaic(
            [["wave", "spec"], ["decay", "spec"]], width_ratios=(1, 1.1), height_ratios=(0.5, 1)
        )
        columns = [(grid["wave"], grid["spec"], grid["decay"])]
    else:
        rows = figure.subplots(3, n, squeeze=False, sharex=True, sharey="row", height_ratios=(0.6, 1.3, 1.2))
        columns = [(rows[0][i], rows[1][i], rows[2][i]) for i in range(n)]
    for (wave, spec, decay), one in zip(columns, sounds, strict=True):
        panels.waveform(wave, one, largest=largest).set_title(one.label, loc="left", fontsize=12)
        mesh = panels.spectrogram(spec, one, limits_db=limits)
        panels.decays(decay, one, most=panels.DECAYS if n <= WIDE else FEW_DECAYS)
        for axes in (wave, spec, decay):
            axes.set_xlim(-panels.BEFORE_S, end)
        panels.tracks(spec, one, gap=panels.LABEL_GAP / (2 if n == 1 else 1))
        decay.set_xlabel("time from the onset, s")
        if n == 1:
            spec.set_xlabel("time from the onset, s")
    _decay_scale([c[2] for c in columns], sounds)
    if n > 1:
        for row in range(3):
            for column in columns[1:]:
                column[row].set_ylabel("")
    bar = figure.colorbar(mesh, ax=[c[1] for c in columns], pad=0.06 if n == 1 else 0.04, fraction=0.04)
    bar.set_label(sounds[0].unit)


def _decay_scale(axes: Sequence[Axes], sounds: Sequence[Curves]) -> None:
    """One scale of 70 dB for the decays of all sounds."""
    tops = [float(c.get("partial_level_db").max()) for c in sounds if c.has("partial_level_db")]
    if tops:
        top = panels.STEP_DB * np.ceil(max(tops) / panels.STEP_DB) + panels.STEP_DB
        for one in axes:
            one.set_ylim(top - panels.RANGE_DB, top)


def _together(figure: SubFigure, sounds: Sequence[Curves]) -> None:
    calibrated = any(c.has("loudness_sone") for c in sounds)
    axes = list(figure.subplots(1, 3 if calibrated else 2))
    if calibrated:
        panels.loudness(axes[0], sounds).set_xlim(-panels.BEFORE_S, panels.end_s(sounds))
    band, ring = axes[-2:]
    panels.third_octaves(band, sounds)
    panels.ringing_times(ring, sounds).set_ylim(bottom=0)
    ring.text(
        0.02, 0.02, "bar: two standard errors; hollow: not known", fontsize=panels.TOLD_PT,
        color=style.SOFT, transform=ring.transAxes,
    )  # fmt: skip
    if len(sounds) > 1:
        axes[0].legend(frameon=False, fontsize=9)
