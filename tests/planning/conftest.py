"""A small study to plan: made up in memory, as many strikes as wanted."""

from collections.abc import Callable
from typing import Any

import pytest

from listening.planning import stand_in
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.recordings_table import Recording

Maker = Callable[..., tuple[Protocol, Manifest]]


@pytest.fixture
def planned() -> Maker:
    """A maker: planned(conditions=2, strikes=3, repeats=4, **question) -> (protocol, stand-in manifest)."""

    def make(
        conditions: int = 2, strikes: int = 3, repeats: int = 4, listeners: int = 24, **question: Any
    ) -> tuple[Protocol, Manifest]:
        protocol = Protocol.model_validate(
            {
                "format": 1,
                "name": "made-up",
                "title": "Made up for a test",
                "seed": 1,
                "recordings": {"folder": "nowhere", "factors": ["design"]},
                "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": listeners},
                "presentations": [{"name": "matched", "metric": "laf_max_db"}],
                "attributes": [{"name": "brightness", "wording": "Brighter?", "comparative": "brighter"}],
                "blocks": [{"attribute": "brightness", "presentation": "matched", "repeats": repeats}],
                "sitting": {"welcome": "Welcome.", "consent": "I agree."},
                "questions": [
                    {
                        "id": "q",
                        "kind": "more",
                        "attribute": "brightness",
                        "presentation": "matched",
                        "contrast": {"more": "d1", "than": "d0"},
                        "smallest_effect": 0.55,
                        **question,
                    }
                ],
            }
        )
        recordings = [
            Recording(f"d{i}-{s}", None, (f"d{i}",), str(s), "1", None)  # type: ignore[arg-type]
            for i in range(conditions)
            for s in range(1, strikes + 1)
        ]
        return protocol, stand_in.manifest(protocol, recordings)

    return make
