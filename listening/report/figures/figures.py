"""Figures of the page: each takes findings and axes, computes nothing, and returns the axes."""

import io
import re
import textwrap
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from listening.records.found.findings import StrengthSet
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.interval import Interval
from listening.report import rounding
from listening.report.figures import label_places, layout
from listening.report.page import style

WIDTH_IN = 4.5  # so that text drawn at 10.5 points has 11 pixels on a phone's screen too
CARD_IN = 3.4  # beside a verdict there is less room
LABEL_PT = 10.5
LINE_CHARACTERS = 36  # of an axis label beside a verdict
RASTER_DPI = 150  # of pictures within a figure
DOT_STEP_IN = 0.075  # between the listeners of one share
SLIDE_PX = (1920, 1080)
TITLE_IN = 0.6  # on a slide
TITLE_CHARACTERS_IN = 12  # letters of a title an inch
SCALE_IN = 1.1  # height of a verdict's scale without the listeners


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
    if (kept := _kept.get()) is not None:
        kept.append(Drawing(name, title, draw, height_in, width_in))
    with mpl.rc_context(style.FIGURE):
        figure = Figure(figsize=(width_in, height_in), layout="constrained", dpi=RASTER_DPI)
        draw(figure)
        layout.settle(figure)
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None})
    return style.followed(_inline(text.getvalue(), name, title))


@dataclass(frozen=True)
class Drawing:
    """One figure of the page, to be drawn again elsewhere."""

    name: str
    title: str
    draw: Callable[[Figure], object]
    height_in: float
    width_in: float


_kept: ContextVar[list[Drawing] | None] = ContextVar("kept", default=None)


@contextmanager
def kept() -> Iterator[list[Drawing]]:
    """Every figure that is drawn meanwhile, in order."""
    drawings: list[Drawing] = []
    token = _kept.set(drawings)
    try:
        yield drawings
    finally:
        _kept.reset(token)


def slide(drawing: Drawing, kind: str, *, note: str = "") -> bytes:
    """A figure with its title at the size of a slide, 16 to 9, as `svg` or `png`: same figure, same bytes.

    Parameters
    ----------
    note : what has to be known wherever the figure goes, before its title
    """
    width_in = max(drawing.width_in, (drawing.height_in + TITLE_IN) * SLIDE_PX[0] / SLIDE_PX[1])
    height_in = width_in * SLIDE_PX[1] / SLIDE_PX[0]
    with mpl.rc_context(style.FIGURE | {"savefig.facecolor": style.PANEL}):
        figure = Figure(figsize=(width_in, height_in), layout="constrained", dpi=SLIDE_PX[0] / width_in)
        drawing.draw(figure)
        figure.suptitle(
            textwrap.fill(f"{note}{drawing.title}", int(TITLE_CHARACTERS_IN * width_in)), fontsize=LABEL_PT
        )
        layout.settle(figure)
        made = io.BytesIO()
        about = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(made, format=kind, metadata=about)
    return made.getvalue()


def verdict_scale(axes: Axes, q: QuestionFinding) -> Axes:
    """Share of choices of one question with its limits, against even chances and the margin planned.

    Above it a dot for each listener at the listener's own share as counted; equal ones stand on each other.
    """
    ink = style.VERDICT[q.word][0]
    dots = own_shares(q)
    step = 1.2 * DOT_STEP_IN / SCALE_IN * 2
    if dots:
        heights = [1.0 + step * place for _, place in dots]
        axes.plot([100 * share for share, _ in dots], heights, "o", color=style.ACCENT, markersize=4)
    if q.share is not None:
        _interval_line(axes, 0.0, q.share, ink, factor=100)
    axes.axvline(50 if q.guess is None else 100 * q.guess, color=style.SOFT, linewidth=1)
    if q.unit == "share not guessed" and q.guess is not None:
        matters = q.guess + (1 - q.guess) * q.smallest_effect
        axes.axvline(100 * matters, color=style.SOFT, linewidth=1, linestyle=(0, (3, 3)))
    for bound in _shares_that_matter(q):
        axes.axvline(100 * bound, color=style.SOFT, linewidth=1, linestyle=(0, (3, 3)))
    top = 1.0 + step * (1 + max(place for _, place in dots)) if dots else 0.6
    axes.set(xlim=(-2, 102), ylim=(-0.6, top), yticks=[], xticks=[0, 25, 50, 75, 100])
    axes.spines["left"].set_visible(False)
    what = "the answer was right" if q.of_kind.by_right_answers else f"{q.more_label} was chosen"
    what = {"trend": "the later step was chosen", "interaction": "the first difference won"}.get(
        q.contrast, what
    )
    axes.set_xlabel(textwrap.fill(f"times in 100 that {what}", LINE_CHARACTERS))
    return axes


def strengths(axes: Axes, found: StrengthSet) -> Axes:
    """Strengths of the conditions with their limits, strongest on top."""
    ordered = sorted(found.strengths, key=lambda s: s.strength.value)
    for place, one in enumerate(ordered):
        _interval_line(axes, place, _as_shares(one.strength), style.ACCENT, factor=100)
    axes.axvline(50, color=style.SOFT, linewidth=1)
    axes.set_yticks(range(len(ordered)), [one.label for one in ordered])
    axes.set_ylim(-0.6, len(ordered) - 0.4)
    axes.set_xlabel("times chosen in 100, against the set’s average")
    return axes


def own_shares(q: QuestionFinding) -> list[tuple[float, int]]:
    """Each listener's own share, with how many of the same share stand below the dot; none of ratings."""
    if q.share is None or q.of_kind.by_right_answers:
        return []
    seen: Counter[float] = Counter()
    made = []
    for share in sorted(one.share for one in q.listeners if one.share is not None):
        made.append((share, seen[share]))
        seen[share] += 1
    return made


def scale_height_in(q: QuestionFinding) -> float:
    """Height of a verdict's scale with its listeners."""
    dots = own_shares(q)
    return SCALE_IN + (0.35 + DOT_STEP_IN * max(place for _, place in dots) if dots else 0.0)


def listeners(axes: Axes, q: QuestionFinding) -> Axes:
    """Each listener's own share as counted, in order, beside the panel's with its limits.

    Nothing is drawn towards the mean.
    """
    own = sorted(one.share for one in q.listeners if one.share is not None)
    if q.share is not None:
        low, high = (100 * end for end in _ends(q.share))
        axes.axhspan(low, high, color=style.SECOND, alpha=0.25, linewidth=0)
        axes.axhline(100 * q.share.value, color=style.SECOND, linewidth=2)
    axes.axhline(50, color=style.SOFT, linewidth=1)
    for bound in _shares_that_matter(q):
        axes.axhline(100 * bound, color=style.SOFT, linewidth=1, linestyle=(0, (3, 3)))
    axes.plot(range(1, len(own) + 1), [100 * share for share in own], "o", color=style.ACCENT, markersize=5)
    axes.set_xlabel("listeners, in order of their own share")
    axes.set_ylabel("times chosen, in 100")
    axes.set_xlim(0, len(own) + 1)
    axes.set_ylim(-4, 104)
    return axes


def _shares_that_matter(q: QuestionFinding) -> tuple[float, ...]:
    """The smallest share that matters; on both sides of even for `same`."""
    if q.unit != "share":
        return ()
    return (q.smallest_effect, 1 - q.smallest_effect) if q.of_kind.is_equivalence else (q.smallest_effect,)


def scatter(axes: Axes, points: Sequence[tuple[str, Interval, Interval]], xlabel: str) -> Axes:
    """Heard strength of each condition over one measured value, with the limits of both."""
    ordered = sorted(points, key=lambda point: (point[1].value, point[2].value))
    for _, heard, measured in ordered:
        strength = _as_shares(heard, times=100)
        axes.plot([measured.value] * 2, _ends(strength), color=style.ACCENT, linewidth=1.5)
        axes.plot(_ends(measured), [strength.value] * 2, color=style.ACCENT, linewidth=1.5)
        axes.plot([measured.value], [strength.value], "o", color=style.ACCENT, markersize=6)
    axes.margins(x=0.15, y=0.12)
    axes.axhline(50, color=style.SOFT, linewidth=1)
    axes.set_xlabel(xlabel)
    axes.set_ylabel("chosen in 100, against the average")
    label_places.beside(
        axes,
        [(name, at.value, _as_shares(one, times=100).value) for name, one, at in ordered],
        size_pt=LABEL_PT,
    )
    return axes


def shares(axes: Axes, sets: Sequence[tuple[str, Sequence[tuple[str, Interval]]]]) -> Axes:
    """Averaged shares in 100 with their limits, one row a property, one kind of mark a way of playing."""
    names = list(dict.fromkeys(name for _, rows in sets for name, _ in rows))
    for number, (presentation, rows) in enumerate(sets):
        ink, mark = ((style.ACCENT, "o"), (style.SECOND, "s"))[number % 2]
        shift = 0.16 * (number - (len(sets) - 1) / 2)
        for name, share in rows:
            place = len(names) - 1 - names.index(name) - shift
            low, high = (100 * end for end in _ends(share))
            axes.plot([low, high], [place, place], color=ink, linewidth=2.5, solid_capstyle="butt")
            axes.plot([100 * share.value], [place], mark, color=ink, markersize=7)
        axes.plot([], [], mark, color=ink, label=presentation)
    axes.axvline(0, color=style.SOFT, linewidth=1)
    axes.set_yticks(range(len(names)), names[::-1])
    axes.set_ylim(-0.6, len(names) - 0.4)
    axes.set_xlabel("parts in 100 of what is heard to differ")
    if len(sets) > 1:
        axes.legend(frameon=False, fontsize=LABEL_PT, loc="lower right")
    return axes


def _as_shares(found: Interval, *, times: float = 1.0) -> Interval:
    """Limits in log-odds as the shares that they stand for."""
    low, high = (
        None if end is None else times * (rounding.as_share(end) or 0.0) for end in (found.lower, found.upper)
    )
    value = times * (rounding.as_share(found.value) or 0.0)
    return Interval(value=value, lower=low, upper=high, coverage=found.coverage)


def forest(axes: Axes, asked: Sequence[QuestionFinding]) -> Axes:
    """Every planned contrast as a share of choices with its limits, the first on top."""
    for place, q in enumerate(reversed(asked)):
        if q.share is not None:
            _interval_line(axes, place, q.share, style.VERDICT[q.word][0], factor=100)
    axes.axvline(50, color=style.SOFT, linewidth=1)
    axes.set_yticks(range(len(asked)), [q.id for q in reversed(asked)])
    axes.set(ylim=(-0.6, len(asked) - 0.4), xlim=(0, 100))
    axes.set_xlabel("times chosen in 100")
    return axes


def _ends(found: Interval) -> tuple[float, float]:
    """Both limits; the value itself where one is missing."""
    return (
        found.value if found.lower is None else found.lower,
        found.value if found.upper is None else found.upper,
    )


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
