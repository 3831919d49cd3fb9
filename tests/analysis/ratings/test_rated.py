"""Planned questions on ratings: decided in points, known truth found again, no claim where there is none."""

import numpy as np
import pandas as pd
import pytest

from listening.analysis import full_analysis
from listening.analysis.opening.sealed_key import Opened
from listening.analysis.ratings import decided_ratings, rating_model
from listening.design import dealing
from listening.records.found.findings import Findings
from listening.records.protocols.protocol import Protocol
from listening.report.page import page
from listening.report.sentences import sentences
from listening.simulate import panel as simulated
from listening.simulate import percepts
from stats import t_interval

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


def graded(bells: Opened, task: str, more: str, than: str, **question: object) -> Protocol:
    """Grades beside a hidden reference (dome a), as recorded; `more` against `than` is planned."""
    raw = asked(bells, "continuous rating", unit="points", **question).model_dump()
    words = ["very annoying", "annoying", "slightly annoying", "perceptible", "imperceptible"]
    raw["attributes"][0] |= {"task": task, "scale": words, "scale_standard": "own"}
    raw["blocks"] = [
        {"attribute": "brightness", "presentation": PRESENTED[0], "repeats": 4, "reference": "dome_a/free"}
    ]
    planned = raw["questions"][0]
    planned |= {"presentation": PRESENTED[0], "contrast": {"more": more, "than": than}}
    return Protocol.model_validate(raw)


def _graded_findings(bells: Opened, protocol: Protocol, seed: int = 1) -> Findings:
    names = {s.condition for s in bells.manifest.stimuli if s.condition in TRUTH}
    kept = tuple(s for s in bells.manifest.stimuli if s.role == "example" or s.condition in names)
    manifest = bells.manifest.model_copy(update={"stimuli": kept})
    made = dealing.deal(
        protocol, manifest, protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01"
    )
    opened = Opened(protocol, made.plan, made.key, manifest)
    heard = percepts.of_study(made.key, manifest)
    return full_analysis.findings(opened, simulated.answers(made.plan, heard, n_listeners=16, seed=seed))


@pytest.mark.parametrize(
    ("task", "smallest"), [("multiple stimulus", 5.0), ("triple stimulus", 0.2)], ids=["all at once", "three"]
)
def test_grades_beside_a_hidden_reference_decide_a_planned_question(bells, task, smallest):
    """Two objects: the estimate is the mean over listeners of the difference of their mean scores.

    Balanced trials and one variance for all listeners make the mixed model's estimate that plain mean, up to
    what strikes that were not heard equally often move.
    """
    protocol = graded(bells, task, "dome_d/free", "dome_c/free", smallest_effect=smallest)
    found = _graded_findings(bells, protocol)
    (q,) = found.questions
    assert q.decided_by == "ratings"
    assert q.unit == "points"
    assert q.n_listeners == 16
    assert q.points is not None
    (grades,) = found.graded
    means = {one.condition: one for one in grades.conditions if one.role == "object"}
    assert q.points.value == pytest.approx(
        means["dome_d/free"].difference.value - means["dome_c/free"].difference.value, abs=2 * q.se
    )
    assert found.panel.n_answers == 16 * (4 if task == "multiple stimulus" else 8)  # a trial counts once


def test_an_object_against_the_reference_is_decided_by_its_difference_grade(bells):
    protocol = graded(bells, "triple stimulus", "dome_a/free", "dome_d/free", smallest_effect=0.2)
    found = _graded_findings(bells, protocol)
    (q,) = found.questions
    (grades,) = found.graded
    object_d = next(one for one in grades.conditions if one.condition == "dome_d/free")
    # strikes heard not equally often weigh a little differently in the two models
    assert q.points.value == pytest.approx(-object_d.difference.value, abs=q.se / 2)
    assert q.n_direct == 2 * object_d.n
    assert q.word == "supported"


def _side_by_side(rng: np.random.Generator, *, trials: int, truth: float = 0.0) -> pd.DataFrame:
    """Grades of four sounds on one screen, 20 listeners, three strikes; b lies `truth` points above c."""
    quirk = {(c, s): rng.normal(0, 4) for c in "abcd" for s in range(3)}
    rows = []
    for listener in range(20):
        own = {c: rng.normal(0, 6) + truth * (c == "b") for c in "abcd"}
        for trial in range(trials):
            strike, screen = (listener * trials + trial) % 3, rng.normal(50, 5)
            rows += [
                {
                    "listener": f"L{listener:02d}",
                    "condition": c,
                    "stimulus": f"{c}{strike}",
                    "against": "",
                    "stimulus_against": "",
                    "score": screen + own[c] + quirk[c, strike] + rng.normal(0, 8),
                }
                for c in "abcd"
            ]
    return pd.DataFrame(rows)


@pytest.mark.parametrize("trials", [1, 3], ids=["rated once", "rated three times"])
def test_one_rating_each_is_enough_for_a_verdict(bells, trials):
    table = _side_by_side(np.random.default_rng(3), trials=trials, truth=15.0)
    planned = graded(bells, "multiple stimulus", "dome_d/free", "dome_c/free").questions[0]
    contrast = planned.contrast.model_copy(update={"more": "b", "than": "c"})
    fit = rating_model.fit(table, planned.model_copy(update={"contrast": contrast}), "none", "none", 0.0, 0.0)
    assert fit.estimate == pytest.approx(15.0, abs=4 * fit.se)
    assert fit.estimate / fit.se > 2
    assert fit.spread_listeners > 0


@pytest.mark.slow
@pytest.mark.parametrize("trials", [1, 3])
def test_equal_sounds_on_one_screen_are_told_apart_no_oftener_than_alpha(bells, trials):
    """At most 5 % of 300 panels, and three Monte Carlo standard errors of 1.26 %."""
    planned = graded(bells, "multiple stimulus", "dome_d/free", "dome_c/free").questions[0]
    asked_bc = planned.model_copy(
        update={"contrast": planned.contrast.model_copy(update={"more": "b", "than": "c"})}
    )
    above = []
    for seed in range(300):
        table = _side_by_side(np.random.default_rng([5, seed]), trials=trials)
        fit = rating_model.fit(table, asked_bc, "none", "none", 0.0, 0.0)
        above.append(fit.estimate / fit.se > t_interval.quantile(0.95, fit.df))
    assert np.mean(above) <= 0.05 + 3 * 0.0126


def test_two_objects_are_compared_by_difference_grades_and_the_reference_in_the_trials_of_its_object(bells):
    rows = pd.DataFrame(
        {
            "task": "triple stimulus",
            "sitting": "s",
            "trial": ["1", "1", "2", "2"],
            "condition": ["dome_d/free", "dome_a/free", "dome_c/free", "dome_a/free"],
            "is_hidden": [False, True, False, True],
            "score": [3.0, 4.5, 2.0, 5.0],
            "difference": [-1.5, 0.0, -3.0, 0.0],
        }
    )
    objects = graded(bells, "triple stimulus", "dome_d/free", "dome_c/free", smallest_effect=0.2).questions[0]
    found = rating_model.compared(rows, objects)
    assert list(found["score"]) == [-1.5, -3.0]
    against = graded(bells, "triple stimulus", "dome_a/free", "dome_d/free", smallest_effect=0.2).questions[0]
    assert list(rating_model.compared(rows, against)["score"]) == [3.0, 4.5]
    one_screen = rows.assign(task="multiple stimulus")
    assert list(rating_model.compared(one_screen, objects)["score"]) == [3.0, 4.5, 2.0, 5.0]
