"""The chance of a verdict against the size of the panel, drawn from a table of simulated studies."""

import io
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib
import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from listening.records.forms.environment import environment
from listening.report.figures import layout
from listening.report.page import style

MARKS = "os^Dv"


@dataclass(frozen=True)
class Point:
    """One cell of the table."""

    listeners: int
    estimate: float
    lower: float
    upper: float


def curve(axes: Axes, lines: Sequence[tuple[str, Sequence[Point]]], *, target: float = 0.8) -> Axes:
    """One line for each series, with Monte Carlo intervals, and the chance that is aimed at."""
    colours = (style.ACCENT, style.SECOND, style.INK, style.SOFT)
    for number, (name, points) in enumerate(lines):
        x = [p.listeners for p in points]
        below = [p.estimate - p.lower for p in points]
        above = [p.upper - p.estimate for p in points]
        axes.errorbar(
            x,
            [p.estimate for p in points],
            yerr=[below, above],
            label=name,
            color=colours[number % len(colours)],
            marker=MARKS[number % len(MARKS)],
            markersize=5,
            linewidth=1.2,
            capsize=2,
        )
    axes.axhline(target, color=style.SOFT, linewidth=0.8, linestyle=(0, (4, 3)))
    axes.set_ylim(0, 1.02)
    axes.set_xlabel("listeners")
    axes.set_ylabel("chance of the verdict “supported”")
    axes.legend(frameon=False, loc="lower right")
    return axes


def svg(lines: Sequence[tuple[str, Sequence[Point]]], *, title: str, target: float = 0.8) -> str:
    """The figure as an SVG file; same input, same bytes."""
    with matplotlib.rc_context({**style.FIGURE, "figure.facecolor": style.PAPER}):
        figure, axes = plt.subplots(figsize=(6.2, 3.6), layout="constrained")
        curve(axes, lines, target=target)
        axes.set_title(title, fontsize=10, loc="left")
        layout.settle(figure)
        buffer = io.StringIO()
        figure.savefig(
            buffer, format="svg", metadata={"Date": None, "Title": title, "Creator": environment()}
        )
        plt.close(figure)
    return buffer.getvalue()
