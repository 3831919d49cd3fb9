"""Studies of any size without a sound: a protocol and a manifest made up in memory."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listening.audio import wav
from listening.audio.sound import Sound
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.records.study import Study

Made = tuple[Protocol, Manifest]
Maker = Callable[..., Made]
RATE_HZ = 8000


def protocol_of(
    n_conditions: int,
    *,
    listeners: int = 4,
    seed: int = 1,
    pairs: str = "all",
    repeats: int = 1,
    attributes: tuple[str, ...] = ("brightness",),
    block: dict[str, Any] | None = None,
    **more: Any,
) -> Protocol:
    """A valid protocol: one matched block an attribute, one planned question, no controls unless given."""
    names = [f"c{i:02d}/free" for i in range(n_conditions)]
    plain = {
        "format": 1,
        "name": "made-up",
        "title": "Made up for a test",
        "seed": seed,
        "recordings": {"folder": "nowhere", "factors": ["design", "support"]},
        "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": listeners},
        "presentations": [{"name": "matched", "metric": "laf_max_db"}],
        "attributes": [
            {"name": name, "wording": f"Which has more {name}?", "comparative": f"more {name}"}
            for name in attributes
        ],
        "blocks": [
            {
                "attribute": name,
                "presentation": "matched",
                "pairs": pairs,
                "repeats": repeats,
                **(block or {}),
            }
            for name in attributes
        ],
        "sitting": {"welcome": "Welcome.", "consent": "I agree.", "practice_trials": 2},
        "questions": [
            {
                "id": "q",
                "kind": "more",
                "attribute": attributes[0],
                "presentation": "matched",
                "contrast": {"more": names[1], "than": names[0]},
                "smallest_effect": 0.6,
            }
        ],
    }
    return Protocol.model_validate({**plain, **more})


def manifest_of(n_conditions: int, *, strikes: int = 3) -> Manifest:
    """A manifest of matched stimuli with level as the only metric."""
    stimuli = [
        Stimulus(
            stimulus=f"c{i:02d}-free-{s} matched",
            role="study",
            recording=f"c{i:02d}-free-{s}",
            condition=f"c{i:02d}/free",
            strike=str(s),
            presentation="matched",
            file=f"c{i:02d}-free-{s}-matched.flac",
            digest=f"{i:032d}{s:032d}",
            gain_db=0.0,
            before={"laf_max_db": 80.0},
            after={"laf_max_db": 80.0 + 0.01 * i},
        )
        for i in range(n_conditions)
        for s in range(1, strikes + 1)
    ]
    return Manifest(
        version="0",
        protocol_digest="0" * 64,
        rate_hz=48000,
        calibrated=False,
        matching_metric="laf_max_db",
        matching_label="level-based (LAFmax)",
        target=80.0,
        tolerance_db=0.1,
        headroom_offset_db=0.0,
        stimuli=tuple(stimuli),
    )


@pytest.fixture
def made() -> Maker:
    """A maker: made(n_conditions, strikes=3, listeners=4, ...) -> (protocol, manifest)."""

    def make(n_conditions: int, *, strikes: int = 3, **more: Any) -> Made:
        return protocol_of(n_conditions, **more), manifest_of(n_conditions, strikes=strikes)

    return make


def _toml(value: Any) -> str:
    """A value as inline TOML; JSON's strings and numbers are TOML's too."""
    if isinstance(value, dict):
        pairs = (f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items() if v is not None)
        return "{ " + ", ".join(pairs) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return json.dumps(value)


@pytest.fixture
def protocol_text() -> Callable[[Protocol], str]:
    """A writer: protocol -> TOML text that reads back as the same protocol."""

    def text(protocol: Protocol) -> str:
        plain = protocol.model_dump(exclude_none=True)
        return "".join(f"{key} = {_toml(value)}\n" for key, value in plain.items())

    return text


@pytest.fixture
def prepared(tmp_path: Path, made: Maker, protocol_text: Callable[[Protocol], str]) -> Study:
    """A prepared study of four conditions with short noise for sounds, of different lengths."""
    chosen, manifest = made(4, controls=[{"attribute": "brightness", "gains_db": [3.0]}])
    return written(tmp_path / "study", manifest, protocol_text(chosen))


def written(root: Path, manifest: Manifest, protocol_text: str) -> Study:
    """A prepared study with short noise for its stimuli."""
    folder = Study(root)
    folder.stimuli.mkdir(parents=True)
    folder.protocol.write_text(protocol_text)
    rng = np.random.default_rng(1)
    stimuli = []
    for i, stimulus in enumerate(manifest.stimuli):
        samples = np.round(rng.uniform(-0.5, 0.5, (800 + 7 * i, 1)) * 2**23) / 2**23
        wav.save(folder.stimuli / stimulus.file, Sound(samples, RATE_HZ))
        stimuli.append(stimulus.model_copy(update={"digest": wav.digest(samples)}))
    digest = protocol_form.digest(folder.protocol)
    changes = {"stimuli": tuple(stimuli), "rate_hz": RATE_HZ, "protocol_digest": digest}
    manifest.model_copy(update=changes).save(folder.manifest)
    return folder
