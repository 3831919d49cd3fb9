"""The bytes of a picture: SVG or PNG, the same for the same sounds."""

import io
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.figure import Figure

from listening.report.figures import layout
from listening.report.figures.sounds import picture
from listening.report.figures.sounds.curves import Curves
from listening.report.page import style

DPI = 150  # a slide of 2000 by 1125 pixels


def content(sounds: Sequence[Curves], *, kind: str) -> bytes:
    """The picture as "svg" or "png"."""
    rc = {**style.FIGURE, "figure.facecolor": "white", "savefig.facecolor": "white"}
    with mpl.rc_context(rc):
        figure = Figure(figsize=picture.size_in(len(sounds)), layout="constrained", dpi=DPI)
        picture.draw(figure, sounds)
        layout.settle(figure)
        file = io.BytesIO()
        metadata = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(file, format=kind, metadata=metadata)
    return file.getvalue()
