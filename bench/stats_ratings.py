"""How fast the linear and ordinal mixed models are, beside other programs, and how their cost grows.

Run: `python bench/stats_ratings.py`. R's lme4 and ordinal take part where they are installed
(`apt install r-cran-lme4 r-cran-ordinal`).
"""

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.stats_pairs import best_s, in_r, line
from stats.linear import linear_mixed, satterthwaite
from stats.mixed.engine import random_terms
from stats.ordinal import cumulative_link_mixed

LISTENERS, STIMULI = 1716, 60


def ratings(answers: int, listeners: int = LISTENERS, stimuli: int = STIMULI) -> dict[str, np.ndarray]:
    """Ratings with a covariate, listeners crossed with stimuli."""
    rng = np.random.default_rng(3000)
    listener, stimulus = np.arange(answers) % listeners, rng.integers(0, stimuli, answers)
    x = rng.normal(size=answers)
    heard = 50 + 5 * x + rng.normal(0, 8, listeners)[listener] + rng.normal(0, 6, stimuli)[stimulus]
    return {"y": heard + rng.normal(0, 10, answers), "x": x, "listener": listener, "stimulus": stimulus}


def fit_linear(data: dict[str, np.ndarray]) -> Callable[[], object]:
    """Our crossed REML fit."""
    x = np.column_stack([np.ones(data["y"].size), data["x"]])
    terms = [random_terms.term(name, data[name]) for name in ("listener", "stimulus")]
    return lambda: linear_mixed.fit(data["y"], x, terms)


def crossed() -> None:
    """The small crossed fit, with its degrees of freedom beside it."""
    data = ratings(3000)
    act = fit_linear(data)
    theirs = in_r(data, "lme4", "lmer(y ~ x + (1|listener) + (1|stimulus), d)")
    line(
        f"linear mixed, 3,000 answers, {LISTENERS} + {STIMULI} levels",
        best_s(act),
        "lme4",
        theirs,
        "bar 0.1 s",
    )
    fitted = linear_mixed.fit(
        data["y"],
        np.column_stack([np.ones(3000), data["x"]]),
        [random_terms.term(name, data[name]) for name in ("listener", "stimulus")],
    )
    print(f"  its degrees of freedom: {best_s(lambda: satterthwaite.t_tests(fitted), repeats=1):.3f} s")


def growth() -> None:
    """Seconds against answers; ten times the answers should cost no more than ten times as much."""
    last = None
    for answers in (10**3, 10**4, 10**5, 10**6):
        listeners = min(LISTENERS, answers // 3)
        seconds = best_s(fit_linear(ratings(answers, listeners)), repeats=1)
        ratio = "" if last is None else f"{seconds / last:5.1f} x for ten times the answers"
        print(f"linear mixed, {answers:>9,} answers {seconds:8.3f} s   {ratio}", flush=True)
        last = seconds


def ordinal() -> None:
    """Ratings in seven categories, listeners crossed with stimuli."""
    data = ratings(7584, 316, 24)
    data["rating"] = np.digitize(data["y"], np.quantile(data["y"], np.arange(1, 7) / 7))
    terms = [random_terms.term(name, data[name]) for name in ("listener", "stimulus")]
    seconds = best_s(lambda: cumulative_link_mixed.fit(data["rating"], data["x"][:, None], terms), repeats=1)
    call = "clmm(factor(rating) ~ x + (1|listener) + (1|stimulus), data=d)"
    line("ordinal mixed, 7,584 answers, 316 + 24 levels", seconds, "clmm", in_r(data, "ordinal", call), "")


if __name__ == "__main__":
    crossed()
    growth()
    ordinal()
