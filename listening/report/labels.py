"""Labels beside points that overlap neither each other nor what is drawn."""

from collections.abc import Sequence
from itertools import product
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

from listening.report import style

NEAR_PT, FAR_PT = 7.0, 19.0  # a label that stands far off gets a line to its point
SIDES = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))
ACROSS: dict[int, Literal["left", "center", "right"]] = {1: "left", 0: "center", -1: "right"}
UP: dict[int, Literal["bottom", "center", "top"]] = {1: "bottom", 0: "center", -1: "top"}
MARK_PT = 4.0
OUTSIDE = 4.0  # how much worse it is to leave the axes than to cover something


def beside(axes: Axes, points: Sequence[tuple[str, float, float]], *, size_pt: float) -> None:
    """Write each label next to its (x, y), on the side where it covers least; call once all is drawn."""
    figure = axes.get_figure(root=True)
    if figure is None:
        return
    figure.draw_without_rendering()
    pixels = figure.dpi / 72
    taken = [*(_mark(axes, x, y, MARK_PT * pixels) for _, x, y in points), *_lines(axes)]
    for label, x, y in points:
        text = axes.annotate(label, (x, y), xytext=(0, 0), textcoords="offset points", fontsize=size_pt)
        tried = [(_cost(axes, _moved(text, side, far), taken), far, side) for far, side in _places()]
        _, far, side = min(tried, key=lambda one: one[0])
        taken.append(_moved(text, side, far))
        if far == FAR_PT:
            _leader(axes, (x, y), taken[-1])


def _places() -> list[tuple[float, tuple[int, int]]]:
    """Distances and sides in the order in which they are preferred."""
    return list(product((NEAR_PT, FAR_PT), SIDES))


def _moved(text: Annotation, side: tuple[int, int], far: float) -> Bbox:
    """The label's box once it stands on that side."""
    slant = far if 0 in side else 0.7 * far
    text.set_position((side[0] * slant, side[1] * slant))
    text.set_horizontalalignment(ACROSS[side[0]])
    text.set_verticalalignment(UP[side[1]])
    return text.get_window_extent()


def _cost(axes: Axes, box: Bbox, taken: Sequence[Bbox]) -> float:
    """Area that the box covers of what is taken, and of what lies outside the axes."""
    inside = Bbox.intersection(box, axes.bbox)
    area = box.width * box.height
    outside = area - (inside.width * inside.height if inside is not None else 0.0)
    covered = [Bbox.intersection(box, one) for one in taken]
    return OUTSIDE * outside + sum(one.width * one.height for one in covered if one is not None)


def _mark(axes: Axes, x: float, y: float, reach: float) -> Bbox:
    at = axes.transData.transform((x, y))
    return Bbox([at - reach, at + reach])


def _lines(axes: Axes) -> list[Bbox]:
    """A thin box around each line drawn, from its first point to its last."""
    boxes = []
    for line in axes.lines:
        ends = line.get_transform().transform(np.column_stack(line.get_data(orig=False)))
        boxes.append(Bbox([ends.min(axis=0) - 1.5, ends.max(axis=0) + 1.5]))
    return boxes


def _leader(axes: Axes, point: tuple[float, float], box: Bbox) -> None:
    """A thin line from the point to the nearest edge of its label."""
    at = axes.transData.transform(point)
    edge = np.clip(at, box.min, box.max)
    ends = axes.transData.inverted().transform([at, edge])
    axes.plot(ends[:, 0], ends[:, 1], color=style.SOFT, linewidth=0.6, zorder=0)
