"""Figures show the findings: every mark stands where its number is, by the scale printed beside it."""

import re
from collections.abc import Iterator
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.figure import Figure

from listening.records.found.findings import Findings
from listening.records.found.interval import Interval
from listening.report.figures import figures

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = re.compile(r"[−-]?\d+(?:\.\d+)?")


class Drawn:
    """One figure of the page, read back from its drawing."""

    def __init__(self, text: str) -> None:
        self.root = ElementTree.fromstring(text)
        self.name = re.search(r'id="(\w+?)-', text)[1]
        self.parent = {child: one for one in self.root.iter() for child in one}
        self.scale = {axis: self._scale(axis) for axis in "xy"}

    def _ids_above(self, node: ElementTree.Element) -> str:
        ids = []
        while node in self.parent:
            node = self.parent[node]
            ids.append(node.get("id", ""))
        return " ".join(ids)

    def ticks(self, axis: str) -> list[tuple[float, str]]:
        """Place and label of every tick."""
        found = []
        for group in self.root.iter(f"{SVG}g"):
            if f"-{axis}tick_" in group.get("id", ""):
                place, label = group.find(f".//{SVG}use"), group.find(f".//{SVG}text")
                if place is not None and label is not None:
                    found.append((float(place.get(axis)), label.text))
        return found

    def _scale(self, axis: str) -> np.ndarray | None:
        """Slope and offset from places to values; None where the labels are no numbers."""
        labelled = [
            (at, float(text.replace("−", "-"))) for at, text in self.ticks(axis) if NUMBER.fullmatch(text)
        ]
        if len(labelled) < 2:
            return None
        at, value = np.array(labelled).T
        fitted = np.polyfit(at, value, 1)
        assert np.abs(np.polyval(fitted, at) - value).max() < 1e-4 * np.ptp(value), (
            f"{self.name}: crooked scale"
        )
        return fitted

    def marks(self, axis: str) -> np.ndarray:
        """The values that the dots stand at."""
        places = [
            float(use.get(axis)) for use in self.root.iter(f"{SVG}use") if "tick" not in self._ids_above(use)
        ]
        return np.polyval(self.scale[axis], places)

    def strange_numbers(self) -> list[str]:
        """Texts with a number that are no tick of a scale."""
        return [
            text.text
            for text in self.root.iter(f"{SVG}text")
            if NUMBER.search(text.text or "") and "tick_" not in self._ids_above(text)
        ]


@pytest.fixture(scope="module")
def drawn(page_text: str) -> dict[str, Drawn]:
    texts = re.findall(r"<svg.*?</svg>", page_text, re.S)
    return {one.name: one for one in map(Drawn, texts)}


def expected(findings: Findings) -> Iterator[tuple[str, str, list[float]]]:
    """Name, axis and values of the dots of every figure."""
    yield "effects", "x", [100 * q.share.value for q in findings.questions]
    for i, q in enumerate(findings.questions):
        own = [100 * (one.n_more + one.n_no_difference / 2) / one.n for one in q.listeners if one.n]
        yield f"scale{i}", "x", [100 * q.share.value, *own]  # counted, nothing drawn towards the mean
        yield f"listeners{i}", "y", own
    for i, one in enumerate(findings.strengths):
        yield f"strength{i}", "x", [in_hundred(s.strength.value) for s in one.strengths]
        for h in findings.heard_measured:
            if h.is_best and (h.attribute, h.presentation) == (one.attribute, one.presentation):
                yield f"heard{i}{h.metric}", "y", [in_hundred(s.strength.value) for s in one.strengths]
                yield f"heard{i}{h.metric}", "x", means(findings, one.presentation, h.metric)
    for i, d in enumerate(d for d in findings.decompositions if d.shares):
        yield (
            f"share{i}",
            "x",
            [100 * s.value for s in (*(s.share_averaged for s in d.shares), d.share_left_over)],
        )


def in_hundred(logit: float) -> float:
    """The share of choices that log-odds stand for, in 100."""
    return 100 / (1 + np.exp(-logit))


def means(findings: Findings, presentation: str, metric: str) -> list[float]:
    """What the conditions measured as played."""
    return [p.mean.value for p in findings.played if (p.presentation, p.metric) == (presentation, metric)]


def test_every_dot_stands_at_its_number(drawn, simulated_findings):
    seen = 0
    for name, axis, values in expected(simulated_findings):
        slope = abs(drawn[name].scale[axis][0])  # of one point of the drawing
        np.testing.assert_allclose(np.sort(drawn[name].marks(axis)), np.sort(values), atol=0.01 * slope)
        seen += 1
    shared, heard = 2, 2 * 2  # brightness and ringing
    n_questions, n_strengths = len(simulated_findings.questions), len(simulated_findings.strengths)
    assert seen == 1 + 2 * n_questions + n_strengths + shared + heard


def test_a_dot_beside_its_number_is_seen(drawn, simulated_findings):
    moved = simulated_findings.strengths[0].model_copy(
        update={
            "strengths": tuple(
                s.model_copy(
                    update={"strength": s.strength.model_copy(update={"value": s.strength.value + 0.02})}
                )
                for s in simulated_findings.strengths[0].strengths
            )
        }
    )
    other = simulated_findings.model_copy(update={"strengths": (moved, *simulated_findings.strengths[1:])})
    with pytest.raises(AssertionError):
        test_every_dot_stands_at_its_number(drawn, other)


def test_figures_hold_no_number_but_those_of_their_scales_and_names(drawn, simulated_findings):
    said = {q.more_label for q in simulated_findings.questions}
    strange = [text for one in drawn.values() for text in one.strange_numbers()]
    left = [re.sub("|".join(map(re.escape, said)) + "|in 100|mean is 0|T60", "", text) for text in strange]
    assert [text for text in left if NUMBER.search(text)] == []


def around(value: float, reach: float) -> Interval:
    return Interval(value=value, lower=value - reach, upper=value + reach, coverage=0.95)


def test_labels_of_crowded_points_cover_neither_each_other_nor_the_points():
    strength = [1.35, 1.50, 1.53, -0.5, -2.2, -1.8]
    measured = [2.07, 2.03, 2.13, 1.26, 0.83, 0.82]
    points = [
        (f"dome {letter}", around(s, 0.4), around(m, 0.02))
        for letter, s, m in zip("DFCEAB", strength, measured, strict=True)
    ]
    figure = Figure(figsize=(4.5, 2.9), layout="constrained")
    axes = figures.scatter(figure.add_subplot(), points, "T60, s")
    figure.draw_without_rendering()
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == 6
    assert [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])] == []
    dots = axes.transData.transform([(m, s) for s, m in zip(strength, measured, strict=True)])
    assert not any(box.contains(*dot) for box in boxes for dot in dots)
    assert all(axes.bbox.contains(*corner) for box in boxes for corner in (box.min, box.max))
