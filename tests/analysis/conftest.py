"""Answers of panels with known truth, made in memory: the table that `collect.frame` would give."""

from collections.abc import Callable
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from listening.analysis import full_analysis
from listening.analysis.opening.sealed_key import Opened
from listening.design import dealing
from listening.records.dealt.answer import Answer
from listening.records.found.findings import Findings
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.simulate import panel as simulated
from listening.simulate import percepts
from listening.simulate.listener import Truth

Panel = Callable[..., pd.DataFrame]


def answers(
    rng: np.random.Generator,
    strengths: dict[str, float],
    *,
    n_listeners: int = 24,
    repeats: int = 2,
    strikes: int = 3,
    sd_listener: float = 0.4,
    sd_stimulus: float | dict[str, float] = 0.15,
    order: float = 0.2,
    lapse: float = 0.02,
    careless: float = 0.0,
    slope_logit_per_db: float = 0.0,
    level_db: dict[str, float] | None = None,
    control_gains_db: tuple[float, ...] = (3.0, 6.0),
    control_repeats: int = 2,
    attribute: str = "brightness",
    presentation: str = "matched",
    no_difference_width: float = 0.0,
) -> pd.DataFrame:
    """All pairs of conditions, each heard `repeats` times by every listener, strikes in turn."""
    names = list(strengths)
    level = {name: (level_db or {}).get(name, 0.0) for name in names}
    sd = sd_stimulus if isinstance(sd_stimulus, dict) else dict.fromkeys(names, sd_stimulus)
    quirk = {(c, s): rng.normal(0, sd.get(c, 0.0)) for c in names for s in range(strikes)}
    rows: list[dict[str, object]] = []
    for number in range(n_listeners):
        own = {c: strengths[c] + rng.normal(0, sd_listener / np.sqrt(2)) for c in names}
        own_slope = slope_logit_per_db * rng.lognormal(0, 0.2)
        guesses = rng.random() < careless
        pairs = [(c, d, 0.0) for c, d in combinations(names, 2) for _ in range(repeats)]
        pairs += [
            (names[rng.integers(len(names))], "", g) for g in control_gains_db for _ in range(control_repeats)
        ]
        for k, (c, d, gain) in enumerate(pairs):
            is_control = d == ""
            d = c if is_control else d
            s = (number + k) % strikes
            t = s if is_control else (number + k // strikes) % strikes
            difference_db = gain if is_control else level[c] - level[d]
            flip = (number + k) % 2 == 1
            effect = 0.0 if is_control else own[c] - own[d] + quirk[c, s] - quirk[d, t]
            effect += own_slope * difference_db
            sign = -1.0 if flip else 1.0
            to_first, to_second = (
                1 / (1 + np.exp(no_difference_width - way * (order + sign * effect))) for way in (1.0, -1.0)
            )
            chance = 0.5 if guesses else lapse / 2 + (1 - lapse) * to_first
            other = 0.5 if guesses else lapse / 2 + (1 - lapse) * to_second
            one = (c, f"{c}-{s}", 0.0)
            two = (d, f"{d}-{t}", -gain if is_control else 0.0)
            first, second = (two, one) if flip else (one, two)
            rows.append(
                {
                    "sitting": f"s{number}",
                    "listener": f"L{number:03d}",
                    "trial": f"{k:03d}",
                    "attribute": attribute,
                    "presentation": presentation,
                    "role": "control" if is_control else "study",
                    "condition_first": first[0],
                    "condition_second": second[0],
                    "stimulus_first": first[1],
                    "stimulus_second": second[1],
                    "gain_db_first": first[2],
                    "gain_db_second": second[2],
                    "gain_difference_db": first[2] - second[2],
                    "chosen": 1.0 if (drawn := rng.random()) < chance else 0.5 * (drawn < 1 - other),
                    "response_s": 6.0 + rng.gamma(2, 0.5),
                    "plays": 1,
                    "simulated": True,
                    "laf_max_db_difference": sign * difference_db,
                    "lae_db_difference": sign * difference_db,
                }
            )
    return pd.DataFrame(rows)


@pytest.fixture(scope="session")
def panel() -> Panel:
    return answers


# LAFmax dB, LAE dB re LAFmax once matched, spectral centroid Hz, T60 s: the demo's six domes, rounded
BELLS = {
    "dome_a/free": (78.0, -8.9, 1660.0, 0.83),
    "dome_b/free": (83.0, -8.9, 1690.0, 0.82),
    "dome_c/free": (80.0, -6.9, 2640.0, 2.13),
    "dome_d/free": (81.0, -6.9, 4110.0, 2.07),
    "dome_e/free": (79.0, -8.0, 2390.0, 1.26),
    "dome_f/free": (80.5, -7.0, 2320.0, 2.03),
}


def bells_manifest(protocol_digest: str = "0" * 64) -> Manifest:
    """The stimuli of the demo with plausible metrics and no sound files."""
    rng = np.random.default_rng(5)
    stimuli = []
    for condition, (level, energy, centroid, t60) in BELLS.items():
        for strike in "123":
            name = f"{condition.replace('/', '-')}-{strike}"
            own = {"level": level + rng.normal(0, 0.4), "lae": energy + rng.normal(0, 0.1)}
            own |= {"centroid": centroid * 2 ** rng.normal(0, 0.02), "t60": t60 * 2 ** rng.normal(0, 0.01)}
            for presentation in ("as recorded", "matched"):
                laf = 70.0 if presentation == "matched" else own["level"]
                after = {"laf_max_db": laf, "lae_db": laf + own["lae"]}
                after |= {"centroid_hz": own["centroid"], "t60_s": own["t60"]}
                # what the protocol explains by goes with centroid and T60 here: nothing is measured
                after |= {"sharpness_acum": own["centroid"] / 1000, "decay_s": own["t60"] / 2}
                stimuli.append(
                    Stimulus(
                        stimulus=f"{name}.{presentation.replace(' ', '_')}",
                        role="study",
                        recording=name,
                        condition=condition,
                        strike=strike,
                        presentation=presentation,
                        file=f"{name}.{presentation.replace(' ', '_')}.flac",
                        digest="0" * 64,
                        gain_db=laf - own["level"],
                        before={},
                        after=after,
                        residual_db=0.0 if presentation == "matched" else None,
                    )
                )
    return Manifest(
        version="test",
        protocol_digest=protocol_digest,
        rate_hz=48000,
        calibrated=True,
        matching_metric="laf_max_db",
        matching_label="level-based (LAFmax)",
        target=70.0,
        tolerance_db=0.1,
        headroom_offset_db=0.0,
        stimuli=tuple(stimuli),
    )


@pytest.fixture(scope="session")
def bells() -> Opened:
    """The demo's protocol dealt on stimuli without sound, its key open."""
    path = Path(__file__).resolve().parents[2] / "protocols" / "bells.toml"
    chosen = protocol.load(path)
    manifest = bells_manifest(protocol.digest(path))
    dealt = dealing.deal(
        chosen,
        manifest,
        protocol_digest=protocol.digest(path),
        secret="00112233445566778899aabbccddeeff",
        dealt_at="2026-01-01T00:00:00.000+00:00",
    )
    return Opened(chosen, dealt.plan, dealt.key, manifest)


@pytest.fixture(scope="session")
def bells_answers(bells: Opened) -> Callable[..., list[Answer]]:
    """What a simulated panel of a seed answers, without session or store."""
    heard = percepts.of_study(bells.key, bells.manifest)

    def answers_of(seed: int, n_listeners: int = 24, truth: Truth | None = None) -> list[Answer]:
        return simulated.answers(bells.plan, heard, n_listeners=n_listeners, seed=seed, truth=truth)

    return answers_of


@pytest.fixture(scope="session")
def bells_findings(bells: Opened, bells_answers: Callable[..., list[Answer]]) -> Findings:
    """Findings of one simulated panel of 24 on the demo's protocol."""
    return full_analysis.findings(bells, bells_answers(1))
