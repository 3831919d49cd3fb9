"""How often ratings support a difference that is not there: the table of docs, with Monte Carlo limits.

    python tests/rating_rates.py [--studies 400] [--task "multiple stimulus"] [--only NAME] [--strikes 3]

Drawn without the project's own simulation. Two of four sounds are the same on average over listeners and
strikes; whoever calls one of them higher is wrong. Counted is every study whose one-sided 5 % limit lies
above zero, however small the estimate: `supported` needs the smallest effect that matters besides. One
Markdown row a truth.
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from listening.analysis.ratings import rating_model
from listening.records.protocols.protocol import Contrast, Question
from stats import t_interval
from stats.deciding.equivalence import clopper_pearson

FloatArray = NDArray[np.float64]
ALPHA = 0.05
SEED = 20261127
TASKS = ("multiple stimulus", "triple stimulus", "category rating")
SOUNDS = "abcd"
MORE, THAN = "b", "c"


@dataclass(frozen=True)
class Truth:
    """How listeners, strikes and single ratings vary, in points of 100."""

    name: str
    listener_sd: float = 6.0
    """Of own views of a sound."""
    strike_sd: tuple[float, float] = (3.0, 3.0)
    """Of strikes of the compared two, and of the others."""
    noise_sd: float = 8.0
    groups: tuple[float, float] | None = None
    """A share of listeners, and how far above the mean they hear it; the rest below, so that it is even."""
    tails_df: float | None = None
    """Student's t of views and ratings, scaled to the same deviation; None: normal."""
    noise_apart: float = 0.0
    """Standard deviation over listeners of the logarithm of their noise."""
    more_strikes: int = 0
    """How many strikes the second of the two has more than the first."""
    rarely: float = 0.0
    """Share of listeners who rated a third as often."""


TRUTHS = (
    Truth("normal"),
    Truth("own views far apart (sd 12)", listener_sd=12.0),
    Truth("strikes of the two far apart (sd 6, others 1)", strike_sd=(6.0, 1.0)),
    Truth("views 12, the others' strikes 1", listener_sd=12.0, strike_sd=(6.0, 1.0)),
    Truth("two groups, 30 in 100 hear it strongly", groups=(0.3, 14.0)),
    Truth("two groups of even size", groups=(0.5, 12.0)),
    Truth("heavy tails (t, 3)", tails_df=3.0),
    Truth("listeners unequally sure", noise_apart=0.7),
    Truth("two strikes more on one side", more_strikes=2, strike_sd=(6.0, 3.0)),
    Truth("half rated a third as often", rarely=0.5),
)


def _drawn(truth: Truth, rng: np.random.Generator, size: int) -> FloatArray:
    """Unit deviation."""
    if truth.tails_df is None:
        return rng.standard_normal(size)
    return rng.standard_t(truth.tails_df, size) / np.sqrt(truth.tails_df / (truth.tails_df - 2))


def study(
    task: str, truth: Truth, rng: np.random.Generator, *, listeners: int, strikes: int, trials: int
) -> pd.DataFrame:
    """One study's ratings, a row a sound, as the analysis reads them."""
    n_strikes = {c: strikes + truth.more_strikes * (c == THAN) for c in SOUNDS}
    quirk = {c: truth.strike_sd[c not in (MORE, THAN)] * _drawn(truth, rng, n_strikes[c]) for c in SOUNDS}
    in_first = rng.random(listeners) < (truth.groups[0] if truth.groups else 0.0)
    rows = []
    for listener in range(listeners):
        own = dict(zip(SOUNDS, truth.listener_sd * _drawn(truth, rng, len(SOUNDS)), strict=True))
        if truth.groups:
            share, above = truth.groups
            own[MORE] += above if in_first[listener] else -above * share / (1 - share)
        noise_sd = truth.noise_sd * float(np.exp(truth.noise_apart * rng.standard_normal()))
        many = max(1, trials // 3) if rng.random() < truth.rarely else trials
        for trial in range(many):
            screen = rng.normal(50, 5)
            noise = noise_sd * _drawn(truth, rng, len(SOUNDS))
            for c, own_noise in zip(SOUNDS, noise, strict=True):
                strike = (listener * trials + trial) % n_strikes[c]
                score = (
                    (screen if task != "triple stimulus" else 50.0) + own[c] + quirk[c][strike] + own_noise
                )
                rows.append((f"L{listener:02d}", c, f"{c}{strike}", _on_scale(task, score)))
    made = pd.DataFrame(rows, columns=["listener", "condition", "stimulus", "score"])
    return made.assign(against="", stimulus_against="")


def _on_scale(task: str, points: float) -> float:
    if task == "category rating":  # five words
        return float(np.clip(np.round(points / 20), 0, 5))
    if task == "triple stimulus":  # grades of a tenth, from 1 to 5
        return float(np.clip(np.round(1 + points / 25, 1), 1, 5))
    return float(np.clip(np.round(points), 0, 100))


def above(table: pd.DataFrame) -> bool:
    """Whether the one-sided limit of the difference lies above zero."""
    asked = Question(
        id="q",
        kind="more",
        attribute="x",
        presentation="as recorded",
        contrast=Contrast(more=MORE, than=THAN),
        smallest_effect=0.1,
        unit="points",
    )
    fit = rating_model.fit(table, asked, "none", "none", 0.0, 0.0)
    return bool(fit.estimate / fit.se > t_interval.quantile(1 - ALPHA, fit.df))


def rate(
    task: str, truth: Truth, *, studies: int, listeners: int = 20, strikes: int = 3, trials: int = 6
) -> tuple[float, float, float]:
    """Share of wrong studies with exact 95 % limits."""
    place = [SEED, TASKS.index(task), TRUTHS.index(truth), listeners, strikes, trials]
    seeds = np.random.SeedSequence(place).spawn(studies)
    size = {"listeners": listeners, "strikes": strikes, "trials": trials}
    count = sum(above(study(task, truth, np.random.default_rng(seed), **size)) for seed in seeds)
    return count / studies, *clopper_pearson(count, studies, 0.025)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=400)
    parser.add_argument("--task", choices=TASKS)
    parser.add_argument("--only", default="")
    parser.add_argument("--listeners", type=int, default=20)
    parser.add_argument("--strikes", type=int, default=3)
    parser.add_argument("--trials", type=int, default=6)
    args = parser.parse_args()
    size = {"listeners": args.listeners, "strikes": args.strikes, "trials": args.trials}
    for truth in TRUTHS:
        if args.only not in truth.name:
            continue
        cells = []
        for task in TASKS if args.task is None else (args.task,):
            found, lower, upper = rate(task, truth, studies=args.studies, **size)
            cells.append(f"{100 * found:.1f} ({100 * lower:.1f} to {100 * upper:.1f})")
        print(f"| {truth.name} | {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main()
