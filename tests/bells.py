"""A dealt study of six bells made by hand: metrics as the demo's, clips of a few samples; quick to make."""

import hashlib
from pathlib import Path

import numpy as np

from listening.audio import wav
from listening.audio.sound import Sound
from listening.design.dealing import Dealt, deal, with_clips
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.records.study import Study

PROTOCOL = Path(__file__).resolve().parents[1] / "protocols" / "bells.toml"
TARGET_DB = 76.0
# per design: LAFmax and LAE minus LAFmax (dB), centroid (Hz), T60 (s); rounded from the demo's recordings
DESIGNS = {
    "dome_a": (77.8, -6.1, 1740.0, 0.8),
    "dome_b": (82.7, -6.1, 1740.0, 0.8),
    "dome_c": (82.4, -4.3, 2670.0, 2.1),
    "dome_d": (82.3, -4.3, 4130.0, 2.1),
    "dome_e": (80.8, -5.4, 2430.0, 1.2),
    "dome_f": (81.8, -4.4, 2350.0, 1.9),
}


def manifest() -> Manifest:
    """Three strikes of each design in both presentations, and a pair of examples for each attribute."""
    stimuli = [
        _stimulus(design, strike, presentation)
        for presentation in ("as recorded", "matched")
        for design in DESIGNS
        for strike in (1, 2, 3)
    ]
    examples = [
        _stimulus("dome_a", 1, "as recorded").model_copy(
            update={
                "stimulus": f"example-{attribute}-{end}",
                "role": "example",
                "condition": "",
                "attribute": attribute,
                "end": end,
            }
        )
        for attribute in ("brightness", "ringing", "loudness")
        for end in ("more", "less")
    ]
    return Manifest(
        version="0",
        protocol_digest=protocol.digest(PROTOCOL),
        rate_hz=48000,
        calibrated=True,
        matching_metric="laf_max_db",
        matching_label="level-based (LAFmax)",
        target=TARGET_DB,
        tolerance_db=0.1,
        headroom_offset_db=0.0,
        stimuli=tuple(stimuli + examples),
    )


def chosen(n_listeners: int) -> protocol.Protocol:
    """The bells protocol for so many listeners."""
    whole = protocol.load(PROTOCOL)
    return whole.model_copy(update={"panel": whole.panel.model_copy(update={"listeners": n_listeners})})


def dealt(n_listeners: int = 24) -> Dealt:
    """Plan and key of the bells protocol for so many listeners."""
    return deal(
        chosen(n_listeners),
        manifest(),
        protocol_digest=protocol.digest(PROTOCOL),
        secret="0" * 31 + "1",
        dealt_at="2030-01-01T00:00:00+00:00",
    )


def write_study(folder: Path, n_listeners: int = 24, *, made: Dealt | None = None) -> Study:
    """The whole dealt study on disk: the bells protocol for so many, or another deal."""
    study, made = Study(folder), made or dealt(n_listeners)
    study.clips.mkdir(parents=True)
    digests = {}
    for number, clip in enumerate(made.key.clips):
        path = study.clips / f"{clip.clip}.wav"
        noise = np.random.default_rng(number).uniform(-0.5, 0.5, 64)
        wav.save(path, Sound(noise, 48000))
        digests[clip.clip] = hashlib.sha256(path.read_bytes()).hexdigest()
    with_clips(made.plan, digests).save(study.plan)
    made.key.save(study.key)
    manifest().save(study.manifest)
    study.protocol.write_bytes(PROTOCOL.read_bytes())
    return study


def _stimulus(design: str, strike: int, presentation: str) -> Stimulus:
    level_db, exposure_db, centroid_hz, t60_s = DESIGNS[design]
    strike_db = 0.3 * (strike - 2)
    after_db = TARGET_DB if presentation == "matched" else level_db + strike_db - 6.0
    metrics: dict[str, float | None] = {
        "laf_max_db": after_db,
        "lae_db": after_db + exposure_db,
        "centroid_hz": centroid_hz * (1 + 0.01 * (strike - 2)),
        "t60_s": t60_s,
    }
    return Stimulus(
        stimulus=f"{design}-{strike}-{presentation[0]}",
        role="study",
        recording=f"{design}-free-{strike}",
        condition=f"{design}/free",
        strike=str(strike),
        presentation=presentation,
        file=f"{design}-{strike}-{presentation[0]}.flac",
        digest=hashlib.sha256(f"{design}{strike}".encode()).hexdigest(),
        gain_db=0.0,
        before=metrics,
        after=metrics,
        residual_db=0.0 if presentation == "matched" else None,
    )
