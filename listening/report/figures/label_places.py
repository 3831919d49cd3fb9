"""Labels beside points that overlap neither each other nor what is drawn."""

from collections.abc import Sequence
from itertools import product
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from listening.report.page import style

FloatArray = NDArray[np.float64]

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
        size = text.get_window_extent()
        at = axes.transData.transform((x, y))
        boxes = {
            (far, side): _box(at, side, far * pixels, (size.width, size.height)) for far, side in _places()
        }
        far, side = min(boxes, key=lambda place: _cost(axes, boxes[place], taken))
        _move(text, side, far)
        taken.append(boxes[far, side])
        if far == FAR_PT:
            _leader(axes, (x, y), taken[-1])


def _places() -> list[tuple[float, tuple[int, int]]]:
    """Distances and sides in the order in which they are preferred."""
    return list(product((NEAR_PT, FAR_PT), SIDES))


def _slant(side: tuple[int, int], far: float) -> float:
    return far if 0 in side else 0.7 * far


def _box(at: FloatArray, side: tuple[int, int], far: float, size: tuple[float, float]) -> Bbox:
    """Where a label of that size in pixels stands on that side of a point."""
    low = [
        centre + way * _slant(side, far) - (1 - way) / 2 * extent
        for centre, way, extent in zip(at, side, size, strict=True)
    ]
    return Bbox.from_bounds(low[0], low[1], *size)


def _move(text: Annotation, side: tuple[int, int], far: float) -> None:
    """Put the label on that side."""
    text.set_position((side[0] * _slant(side, far), side[1] * _slant(side, far)))
    text.set_horizontalalignment(ACROSS[side[0]])
    text.set_verticalalignment(UP[side[1]])


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
