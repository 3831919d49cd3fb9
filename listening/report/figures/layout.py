"""Where the axes of a figure stand: laid out once, on a grid that the solver's last digits cannot move.

The solver of constrained layout adds in an order that follows addresses in memory, so two runs differ by
about 1e-16 of the figure. A picture holds a digest of the very numbers of each clip rectangle: without the
grid the same figure would be written with other bytes now and then.
"""

import numpy as np
from matplotlib.figure import Figure, SubFigure
from matplotlib.transforms import Bbox

GRID_DECIMALS = 7  # of the figure's size: a thousandth of a pixel on a slide


def settle(figure: Figure) -> None:
    """Lay the figure out and keep its axes there: same figure, same bytes."""
    engine = figure.get_layout_engine()
    if engine is None:
        return
    engine.execute(figure)
    figure.set_layout_engine("none")
    _on_grid(figure)
    for axes in figure.axes:
        place = axes.get_position(original=True)
        axes.set_position(Bbox(np.round(place.get_points(), GRID_DECIMALS)))


def _on_grid(figure: Figure | SubFigure) -> None:
    """The frames of figures within a figure, down to the last."""
    for part in figure.subfigs:
        part.bbox_relative.set_points(np.round(part.bbox_relative.get_points(), GRID_DECIMALS))
        _on_grid(part)
