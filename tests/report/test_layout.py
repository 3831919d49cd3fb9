"""The solver's last digits reach no byte of a picture (they did in 1 of 5 before axes stood on a grid)."""

import io

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure, SubFigure
from matplotlib.layout_engine import ConstrainedLayoutEngine

from listening.report.figures import layout


def _moved(figure: Figure | SubFigure, rng: np.random.Generator) -> None:
    """Every frame and axes a few of the last digits aside, as another order of sums leaves them."""
    for part in figure.subfigs:
        part.bbox_relative.set_points(part.bbox_relative.get_points() + rng.uniform(-1e-14, 1e-14, (2, 2)))
        _moved(part, rng)
    for axes in figure.axes:
        place = axes.get_position(original=True)
        place.set_points(place.get_points() + rng.uniform(-1e-14, 1e-14, (2, 2)))
        axes.set_position(place)


@pytest.fixture
def restless(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    as_it_is = ConstrainedLayoutEngine.execute

    def execute(self: ConstrainedLayoutEngine, figure: Figure) -> None:
        as_it_is(self, figure)
        _moved(figure, rng)

    monkeypatch.setattr(ConstrainedLayoutEngine, "execute", execute)


def _picture(kind: str) -> bytes:
    with mpl.rc_context({"svg.hashsalt": "a"}):
        figure = Figure(layout="constrained")
        for part in figure.subfigures(2, 1, squeeze=False).flat:
            for axes in part.subplots(1, 2):
                axes.plot([0, 1, 0])
                axes.set_ylabel("level, dB")
        layout.settle(figure)
        file = io.BytesIO()
        figure.savefig(file, format=kind, metadata={"Date": None} if kind == "svg" else {"Software": None})
    return file.getvalue()


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_a_picture_is_the_same_whatever_the_last_digits_of_the_layout(restless: None, kind: str) -> None:
    assert len({_picture(kind) for _ in range(8)}) == 1


def test_axes_stand_where_the_layout_put_them() -> None:
    figure, left = Figure(layout="constrained"), Figure(layout="constrained")
    for one in (figure, left):
        one.subplots(1, 2)[1].set_ylabel("level, dB")
    left.draw_without_rendering()
    layout.settle(figure)
    for axes, wanted in zip(figure.axes, left.axes, strict=True):
        # one pass against the drawing's own: within half a pixel of a figure of 640
        assert np.abs(axes.get_position().get_points() - wanted.get_position().get_points()).max() < 0.5 / 640
