"""Planned questions on ratings: decided in points, known truth found again, no claim where there is none."""

import numpy as np
import pandas as pd
import pytest

from listening.analysis import full_analysis
from listening.analysis.opening.sealed_key import Opened
from listening.analysis.ratings import decided_ratings, rating_model
from listening.design import dealing
from listening.records.findings import Findings
from listening.records.protocol import Protocol
from listening.report.page import page
from listening.report.sentences import sentences
from listening.simulate import panel as simulated
from listening.simulate import percepts

TRUTH = {"dome_a/free": 2.5, "dome_c/free": 3.0, "dome_d/free": 4.2}
PRESENTED = ("as recorded", "matched")


def asked(bells: Opened, task: str, kind: str = "more", **question: object) -> Protocol:
    """The demo's bells, brightness rated as recorded and matched; d against c is planned."""
    raw = bells.protocol.model_dump()
    lengths = {"category rating": 9, "continuous rating": 2, "comparison category": 7}
    scale = [str(i) for i in range(lengths[task])]
    brightness = next(a for a in raw["attributes"] if a["name"] == "brightness")
    raw["attributes"] = [brightness | {"task": task, "scale": scale, "scale_standard": "own"}]
    raw["recordings"]["use"] = {"design": ["dome_a", "dome_c", "dome_d"], "support": ["free"]}
    raw["blocks"] = [{"attribute": "brightness", "presentation": p, "repeats": 3} for p in PRESENTED]
    raw["controls"], raw["superlatives"] = [], []
    planned = next(q for q in raw["questions"] if q["id"] == "d-brighter-than-c")
    raw["questions"] = [
        planned | {"kind": kind, "unit": "points", "smallest_effect": 0.5, "family": "", **question}
    ]
    return Protocol.model_validate(raw)


def scores(
    rng: np.random.Generator,
    truth: dict[str, float] = TRUTH,
    *,
    n_listeners: int = 24,
    repeats: int = 2,
    sd_listener: float = 0.6,
    sd_stimulus: float = 0.15,
    points_per_db: float = 0.2,
    compared: bool = False,
) -> pd.DataFrame:
    """Ratings as `ratings.frame` gives them: 3 strikes each, conditions 2 dB apart as recorded."""
    names = list(truth)
    quirk = {(c, s): rng.normal(0, sd_stimulus) for c in names for s in range(3)}
    rows = []
    for number in range(n_listeners):
        base = rng.normal(0, 0.5)
        own = {c: truth[c] + rng.normal(0, sd_listener / np.sqrt(2)) for c in names}
        slope = points_per_db * rng.lognormal(0, 0.2)
        for shown in PRESENTED:
            for k in range(3 * repeats):
                for i, c in enumerate(names):
                    d = names[(i + 1 + k % 2) % len(names)] if compared else ""
                    level = {n: 2.0 * names.index(n) * (shown == PRESENTED[0]) for n in names}
                    s = (number + k) % 3
                    difference = own[c] + quirk[c, s] - (own[d] + quirk[d, s] if compared else 0.0)
                    level_db = level[c] - (level[d] if compared else 0.0)
                    score = base + difference + slope * level_db + rng.normal(0, 0.8)
                    rows.append(
                        {
                            "listener": f"L{number:03d}",
                            "attribute": "brightness",
                            "presentation": shown,
                            "score": float(np.round(score)),
                            "condition": c,
                            "stimulus": f"{c}-{s}",
                            "against": d,
                            "stimulus_against": f"{d}-{s}" if compared else "",
                            "laf_max_db": level_db,
                            "lae_db": level_db,
                            "loudness_level_phon": level_db,
                        }
                    )
    return pd.DataFrame(rows)


@pytest.mark.parametrize("compared", [False, True], ids=["each by itself", "second against first"])
def test_a_difference_in_points_and_a_decibel_s_part_are_found_again(bells, compared):
    table = scores(np.random.default_rng(1), compared=compared)
    task = "comparison category" if compared else "category rating"
    (found,) = decided_ratings.questions(table, asked(bells, task)).values()
    assert found.word == "supported"
    assert found.points.value == pytest.approx(1.2, abs=3 * found.se)
    slope = rating_model.level_slope(table, "brightness")
    assert slope.lower < 0.2 < slope.upper


def test_where_nothing_tells_what_a_decibel_does_a_matched_rating_stays_open(bells):
    table = scores(np.random.default_rng(1))
    (found,) = decided_ratings.questions(
        table[table["presentation"] == "matched"], asked(bells, "category rating")
    ).values()
    assert found.word == "undecided"
    assert "no second presentation" in found.reason


def test_equal_conditions_are_the_same_within_a_wide_bound(bells):
    table = scores(np.random.default_rng(2), dict.fromkeys(TRUTH, 3.0), sd_listener=0.2)
    protocol = asked(bells, "category rating", "same", smallest_effect=1.0, split_limit=0.5)
    (found,) = decided_ratings.questions(table, protocol).values()
    assert found.word == "supported"


def test_points_do_not_depend_on_where_the_scale_begins(bells):
    table, protocol = scores(np.random.default_rng(1)), asked(bells, "category rating")
    (one,) = decided_ratings.questions(table, protocol).values()
    (other,) = decided_ratings.questions(table.assign(score=table["score"] + 40), protocol).values()
    assert other.points.value == pytest.approx(one.points.value, abs=1e-6)
    assert other.se == pytest.approx(one.se, rel=1e-4)


def _findings(bells: Opened, task: str, seed: int) -> Findings:
    protocol = asked(bells, task, smallest_effect=5.0 if task == "continuous rating" else 0.5)
    made = dealing.deal(
        protocol, bells.manifest, protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01"
    )
    opened = Opened(protocol, made.plan, made.key, bells.manifest)
    heard = percepts.of_study(made.key, bells.manifest)
    return full_analysis.findings(opened, simulated.answers(made.plan, heard, n_listeners=24, seed=seed))


@pytest.mark.parametrize("task", ["category rating", "continuous rating"])
def test_a_study_of_ratings_alone_is_decided_and_printed_in_points(bells, task):
    found = _findings(bells, task, 1)
    (q,) = found.questions
    assert q.word == "supported"
    said = sentences.printable(q, found)
    assert "points higher on average" in said
    assert "points higher on average" in said
    assert said in page.render(found)


@pytest.mark.slow
@pytest.mark.parametrize("task", ["continuous rating", "comparison category"])
def test_ten_panels_are_told_right_in_the_other_tasks(bells, task):
    words = [_findings(bells, task, seed).questions[0].word for seed in range(10)]
    assert words.count("supported") >= 9


@pytest.mark.slow
def test_where_there_is_no_difference_the_limit_lies_above_zero_no_oftener_than_alpha(bells):
    """At most 5 % of 200 panels, and three Monte Carlo standard errors of 1.5 %."""
    protocol, nothing = asked(bells, "category rating"), TRUTH | {"dome_d/free": TRUTH["dome_c/free"]}
    above = []
    for seed in range(200):
        table = scores(np.random.default_rng([4, seed]), nothing)
        (found,) = decided_ratings.questions(table, protocol).values()
        above.append(found.points.lower > 0)
    assert np.mean(above) <= 0.05 + 3 * 0.0154
