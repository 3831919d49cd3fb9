"""Figures of the page: each takes findings and axes, computes nothing, and returns the axes."""

import io
import re
import textwrap
from collections.abc import Callable, Sequence

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from listening.records.findings import Interval, QuestionFinding, StrengthSet
from listening.report import labels, style

WIDTH_IN = 4.5  # so that text drawn at 10 points is readable on a phone's screen too
CARD_IN = 3.4  # beside a verdict there is less room
LABEL_PT = 9.0
LINE_CHARACTERS = 40  # of an axis label beside a verdict
RASTER_DPI = 150  # of pictures within a figure


def svg(
    draw: Callable[[Axes], Axes], *, name: str, title: str, height_in: float, width_in: float = WIDTH_IN
) -> str:
    """An inline SVG of what `draw` puts on the axes.

    Parameters
    ----------
    name : unique on the page; keeps the ids of several figures apart
    title : what the figure shows, for those who cannot see it
    """
    return svg_of(
        lambda figure: draw(figure.add_subplot()),
        name=name,
        title=title,
        height_in=height_in,
        width_in=width_in,
    )


def svg_of(
    draw: Callable[[Figure], object], *, name: str, title: str, height_in: float, width_in: float = WIDTH_IN
) -> str:
    """An inline SVG of what `draw` makes of a whole figure; see `svg`."""
    with mpl.rc_context(style.FIGURE):
        figure = Figure(figsize=(width_in, height_in), layout="constrained", dpi=RASTER_DPI)
        draw(figure)
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None})
    return _inline(text.getvalue(), name, title)


def verdict_scale(axes: Axes, q: QuestionFinding) -> Axes:
    """Share of choices of one question with its limits, against even chances and the planned bound."""
    ink = style.VERDICT[q.word][0]
    if q.share is not None:
        _interval_line(axes, 0.0, q.share, ink, factor=100)
    axes.axvline(50 if q.guess is None else 100 * q.guess, color=style.SOFT, linewidth=1)
    if q.unit == "heard" and q.guess is not None:
        matters = q.guess + (1 - q.guess) * q.smallest_effect
        axes.axvline(100 * matters, color=style.SOFT, linewidth=1, linestyle=(0, (3, 3)))
    if q.unit == "share":
        bounds = [q.smallest_effect] if q.kind == "more" else [q.smallest_effect, 1 - q.smallest_effect]
        for bound in bounds:
            axes.axvline(100 * bound, color=style.SOFT, linewidth=1, linestyle=(0, (3, 3)))
    axes.set(xlim=(0, 100), ylim=(-0.6, 0.6), yticks=[], xticks=[0, 25, 50, 75, 100])
    axes.spines["left"].set_visible(False)
    what = "the answer was right" if q.kind == "audible" else f"{q.more_label} was chosen"
    axes.set_xlabel(textwrap.fill(f"times in 100 that {what}", LINE_CHARACTERS))
    return axes


def strengths(axes: Axes, found: StrengthSet) -> Axes:
    """Strengths of the conditions with their limits, strongest on top."""
    ordered = sorted(found.strengths, key=lambda s: s.strength.value)
    for place, one in enumerate(ordered):
        _interval_line(axes, place, one.strength, style.ACCENT)
    axes.axvline(0, color=style.SOFT, linewidth=1)
    axes.set_yticks(range(len(ordered)), [one.label for one in ordered])
    axes.set_ylim(-0.6, len(ordered) - 0.4)
    axes.set_xlabel("strength, log-odds (the set's mean is 0)")
    return axes


def listeners(axes: Axes, q: QuestionFinding) -> Axes:
    """Each listener's own effect on one question, in order of size."""
    effects = sorted(one.effect_logit for one in q.listeners)
    axes.axhline(0, color=style.SOFT, linewidth=1)
    matters = [q.smallest_effect_logit, *([-q.smallest_effect_logit] if q.kind == "same" else [])]
    for bound in matters:
        axes.axhline(bound, color=style.SOFT, linewidth=1, linestyle=(0, (3, 3)))
    axes.plot(range(1, len(effects) + 1), effects, "o", color=style.ACCENT, markersize=5)
    axes.set_xlabel("listeners, in order of effect")
    axes.set_ylabel("own effect, log-odds")
    axes.set_xlim(0, len(effects) + 1)
    return axes


def scatter(axes: Axes, points: Sequence[tuple[str, Interval, float]], xlabel: str) -> Axes:
    """Heard strength of each condition over one measured value."""
    ordered = sorted(points, key=lambda point: (point[1].value, point[2]))
    for _, strength, measured in ordered:
        low = strength.value if strength.lower is None else strength.lower
        high = strength.value if strength.upper is None else strength.upper
        axes.plot([measured, measured], [low, high], color=style.ACCENT, linewidth=1.5)
        axes.plot([measured], [strength.value], "o", color=style.ACCENT, markersize=6)
    axes.margins(x=0.15, y=0.12)
    axes.axhline(0, color=style.SOFT, linewidth=1)
    axes.set_xlabel(xlabel)
    axes.set_ylabel("heard strength, log-odds")
    labels.beside(axes, [(label, at, one.value) for label, one, at in ordered], size_pt=LABEL_PT)
    return axes


def _interval_line(axes: Axes, place: float, found: Interval, colour: str, factor: float = 1.0) -> None:
    low, high = found.lower, found.upper
    middle = factor * found.value
    ends = [middle if low is None else factor * low, middle if high is None else factor * high]
    axes.plot(ends, [place, place], color=colour, linewidth=2.5, solid_capstyle="butt")
    axes.plot([middle], [place], "o", color=colour, markersize=8)


def _inline(text: str, name: str, title: str) -> str:
    """The svg element alone, sized by its box, with a role, a name, and ids of its own."""
    body = text[text.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>|<style.*?</style>", "", body, flags=re.DOTALL)
    body = re.sub(r" font-family: [^;\"]*;", "", body)  # the page's own letters
    for size in ("width", "height"):
        body = re.sub(rf'(<svg[^>]*?) {size}="[^"]*"', r"\1", body, count=1)
    body = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", body)
    safe = title.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
    return body.replace("<svg", f'<svg role="img" aria-label="{safe}"', 1)
