"""Labels of a scale stand whole and apart over their places, at every width that a window may have."""

import re

import pytest

from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui.screens import scales

BANDS = ("bad", "poor", "fair", "good", "excellent")
IMPAIRMENT = ("very annoying", "annoying", "slightly annoying", "perceptible, not annoying", "imperceptible")
ENDS = ("not bright at all, as dull as can be", "as bright as anything that was heard so far today")
ELEVEN = tuple(f"grade {i}" for i in range(11))
WORDY = ("a label of many words that no scale has the room for in three lines of its own", *BANDS[1:])
GERMAN = ("sehr lästig", "lästig", "etwas lästig", "hörbar, aber nicht lästig", "nicht hörbar")


@pytest.mark.parametrize("has_bands", [False, True], ids=["places", "bands"])
@pytest.mark.parametrize("labels", [BANDS, IMPAIRMENT, ENDS, ELEVEN, WORDY, GERMAN], ids=lambda s: s[0][:12])
def test_labels_never_run_together(labels: tuple[str, ...], has_bands: bool) -> None:
    view = View(Stage.TRIAL, "", scale=labels, has_bands=has_bands)
    for width in range(52, 193):
        lines = [line.replace("\u00a0", " ") for line in scales.labels(view, width)]
        assert all(len(line) <= width for line in lines), width
        seen = sorted(word for line in lines for word in re.split(r"[ ,=]+", line) if word)
        in_text = [word for label in view.numbered_scale() for word in re.split(r"[ ,=]+", label)]
        over_places = [word for label in labels for word in re.split(r"[ ,]+", label)]
        assert seen in (sorted(in_text), sorted(over_places)), (width, lines)


def test_a_label_stands_over_the_middle_of_its_place() -> None:
    view = View(Stage.TRIAL, "", scale=BANDS)
    (line,) = scales.labels(view, 120)
    own = scales.cells(120)
    for i, label in enumerate(BANDS):
        middle = line.index(label) + len(label) // 2
        assert middle == scales.HEAD_CELLS + round(i / 4 * (own - 1))


@pytest.mark.parametrize("language", ["en", "de"])
def test_what_stands_behind_a_scale_fits_in_every_language(language: str) -> None:
    text = words(language).text
    longest = max(len(text(name)) for name in ("not_rated", "not_heard", "heard", "playing"))
    assert longest < scales.TAIL_CELLS, "the end of a row would be cut"
