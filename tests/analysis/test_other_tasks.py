"""A study that also rates: the ratings have no strengths, and the comparisons are described all the same."""

import numpy as np
import pytest

from listening.analysis import collect, describe, strengths
from listening.records.protocol import Protocol
from stats.errors import BadData

PROTOCOL = {
    "format": 1,
    "name": "made-up",
    "title": "Made up for a test",
    "seed": 1,
    "recordings": {"folder": "nowhere", "factors": ["design"]},
    "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": 12},
    "presentations": [{"name": "matched", "metric": "laf_max_db"}],
    "attributes": [
        {"name": "brightness", "question": "Which is brighter?", "comparative": "brighter"},
        {
            "name": "bright at all",
            "task": "category rating",
            "question": "How bright is it?",
            "comparative": "brighter",
            "scale": ["none", "little", "some", "much", "very much"],
            "scale_standard": "own",
        },
    ],
    "blocks": [
        {"attribute": "brightness", "presentation": "matched"},
        {"attribute": "bright at all", "presentation": "matched"},
    ],
    "sitting": {"welcome": "Welcome.", "consent": "I agree."},
    "questions": [
        {
            "id": "q",
            "kind": "more",
            "attribute": "brightness",
            "presentation": "matched",
            "contrast": {"more": "b", "than": "a"},
            "smallest_effect": 0.6,
        }
    ],
}


def test_only_the_comparisons_get_strengths(panel) -> None:  # type: ignore[no-untyped-def]
    table = panel(np.random.default_rng(1), {"a": 0.0, "b": 1.0, "c": 0.5}, n_listeners=10)
    protocol = Protocol.model_validate(PROTOCOL)
    assert [s.attribute for s in describe.strengths(table, protocol)] == ["brightness"]
    assert [w.attribute for w in describe.winners(table, protocol)] == ["brightness"]


def test_strengths_of_nothing_are_refused(panel) -> None:  # type: ignore[no-untyped-def]
    table = panel(np.random.default_rng(1), {"a": 0.0, "b": 1.0}, n_listeners=2)
    with pytest.raises(BadData, match="0 conditions were compared"):
        strengths.fit(collect.select(table, attribute="bright at all"))
