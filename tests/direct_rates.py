"""How often the verdict on direct shares is wrong, and how often it sees what is there: the tables of docs.

    python tests/direct_rates.py wrong|power|level [--studies 1000] [--only NAME] [--listeners 8]

Prints one Markdown row a truth. The generators are `direct_truth.py` and `level_truth.py`.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy import special

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from stats.deciding import direct_share, planned_pair, share_verdict
from stats.errors import StatsError
from stats.mixed import logistic_mixed
from stats.mixed.engine import random_terms
from tests import direct_truth, level_truth
from tests.direct_truth import TRUTHS, Studies, Truth, camps
from tests.level_truth import LevelTruth

ALPHA = 0.05
LISTENERS, STRIKES = (8, 12, 24, 48), (2, 3, 5)


@dataclass(frozen=True)
class Wrong:
    """A truth under which a word is wrong."""

    word: str
    kind: str
    smallest: float
    share: float
    truths: tuple[Truth, ...]


# shares of listeners outside +-0.2 of even chances: three in ten, more than the limit of a quarter
SPLIT = (
    Truth("three in ten hear it", spread=camps((0.3, 1.3), (0.7, 0.0)), strike_sd=(0.2, 0.2), order_sd=0.0),
    Truth(
        "three in ten, two ways", spread=camps((0.15, 1.1), (0.7, 0.0), (0.15, -1.1)), strike_sd=(0.2, 0.2)
    ),
    Truth("half, two ways", spread=camps((0.5, 1.5), (0.5, -1.5))),
    Truth("wide", spread=direct_truth.normal(1.2)),
)
FOR_SAME = tuple(
    one
    for one in TRUTHS
    if one.name
    in {
        "normal",
        "all alike",
        "heavy tails",
        "strong order",
        "strikes far apart",
        "answers unequally",
        "no difference",
        "forty answers",
    }
)
CASES = {
    "supported, truth even": Wrong("supported", "more", 0.60, 0.50, TRUTHS),
    "contradicted, truth .60": Wrong("contradicted", "more", 0.60, 0.60, TRUTHS),
    "same, truth .70": Wrong("supported", "same", 0.70, 0.70, FOR_SAME),
    "same, listeners outside": Wrong("supported", "same", 0.70, 0.53, SPLIT),
    "not the same, truth .70": Wrong("contradicted", "same", 0.70, 0.70, FOR_SAME),
}


def found(studies: Studies) -> Iterator[direct_share.DirectShare]:
    for number in range(len(studies)):
        chosen, listener, more, than, first = studies.study(number)
        yield direct_share.estimate(
            chosen, listener, strike_more=more, strike_than=than, more_first=first, alpha=ALPHA
        )


def drawn(truth: Truth, share: float, n: int, listeners: int, strikes: int) -> Studies:
    rng = np.random.default_rng([direct_truth.SEED, listeners, strikes, round(100 * share)])
    return direct_truth.draw(truth, share, studies=n, listeners=listeners, strikes=strikes, rng=rng)


def wrong_rate(case: Wrong, truth: Truth, n: int, listeners: int, strikes: int) -> float:
    words = [
        share_verdict.decide(one, case.kind, smallest=case.smallest, outside_limit=0.25).word
        for one in found(drawn(truth, case.share, n, listeners, strikes))
    ]
    return words.count(case.word) / n


def two_way(one: direct_share.DirectShare, studies: Studies, number: int) -> bool:
    """Clark's test on the listeners' shares: mean squares of listeners and of strikes, Satterthwaite."""
    chosen, listener, *strikes, _ = studies.study(number)
    n = one.listeners
    own = np.bincount(listener.astype(int), chosen) / np.bincount(listener.astype(int))
    parts = [(own.var(ddof=1) / n, n - 1.0)]
    for side in strikes:
        k = int(side.max()) + 1
        cell = listener.astype(int) * k + side.astype(int)
        table = (
            np.bincount(cell, chosen, n * k) / np.maximum(np.bincount(cell, minlength=n * k), 1)
        ).reshape(n, k)
        left = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
        noise = (left**2).sum() / ((n - 1) * (k - 1))
        parts.append((max((table.mean(axis=0).var(ddof=1) - noise / n) / k, 0.0), k - 1.0))
    variance = sum(v for v, _ in parts)
    df = min(variance**2 / sum(v**2 / d for v, d in parts), n - 1.0)
    t = (own.mean() - 0.5) / np.sqrt(variance)
    return bool(special.stdtr(df, -t) <= ALPHA and own.mean() >= 0.60)


def mixed_model(one: direct_share.DirectShare, studies: Studies, number: int) -> bool:
    """Logistic mixed model by Laplace: listeners and strikes normal, t with listeners - 1."""
    chosen, listener, more, than, first = studies.study(number)
    terms = [
        random_terms.term(name, values.astype(np.int64))
        for name, values in (("listener", listener), ("more", more), ("than", than))
    ]
    columns = np.column_stack([np.ones(chosen.size), first - 0.5])
    try:
        fit = logistic_mixed.fit(chosen, columns, terms)
    except StatsError:
        return False
    t = fit.estimate[0] / fit.se[0]
    return bool(special.stdtr(one.listeners - 1.0, -t) <= ALPHA and one.share >= 0.60)


def power_row(truth: Truth, share: float, listeners: int, strikes: int, n: int, n_mixed: int) -> list[float]:
    studies = drawn(truth, share, n, listeners, strikes)
    ours, plain, mixed = [], [], []
    for number, one in enumerate(found(studies)):
        ours.append(share_verdict.decide(one, "more", smallest=0.60).word == "supported")
        plain.append(two_way(one, studies, number))
        if number < n_mixed:
            mixed.append(mixed_model(one, studies, number))
    return [float(np.mean(ours)), float(np.mean(plain)), float(np.mean(mixed)) if mixed else float("nan")]


def print_wrong(args: argparse.Namespace) -> None:
    cells = [(panel, k) for panel in args.listeners for k in args.strikes]
    print("| wrong | truth | " + " | ".join(f"{panel} × {k}" for panel, k in cells) + " |")
    print("|---|---|" + "---|" * len(cells))
    for name, case in CASES.items():
        for truth in case.truths:
            if args.only in f"{name}: {truth.name}":
                rates = [wrong_rate(case, truth, args.studies, *cell) for cell in cells]
                row = " | ".join(f"{100 * rate:.1f}" for rate in rates)
                print(f"| {name} | {truth.name} | {row} |", flush=True)


def print_power(args: argparse.Namespace) -> None:
    print("| strikes | share | listeners | this | two-way | mixed model |")
    print("|---|---|---|---|---|---|")
    for strikes in args.strikes:
        for share in (0.50, 0.65, 0.70, 0.80):
            for panel in args.listeners:
                truth = replace(TRUTHS[0], strike_sd=(0.3, 0.3))
                rates = power_row(truth, share, panel, strikes, args.studies, args.mixed)
                row = " | ".join(f"{100 * rate:.1f}" for rate in rates)
                print(f"| {strikes} | {share:.2f} | {panel} | {row} |", flush=True)


def print_level(args: argparse.Namespace) -> None:
    """Level alone: wrongly supported in 100, and what the direct answers alone would have said."""
    print("| truth | " + " | ".join(map(str, args.listeners)) + " | without level |")
    print("|---|" + "---|" * (len(args.listeners) + 1))
    for truth in level_truth.LEVEL_TRUTHS:
        if args.only in truth.name:
            wrong, without = zip(*(level_rates(truth, args.studies, n) for n in args.listeners), strict=True)
            row = " | ".join(f"{100 * rate:.1f}" for rate in wrong)
            print(
                f"| {truth.name} | {row} | {100 * min(without):.0f} to {100 * max(without):.0f} |", flush=True
            )


def level_rates(truth: LevelTruth, n: int, listeners: int) -> tuple[float, float]:
    """Share of studies wrongly supported, with level bounded and by the direct answers alone."""
    rng = np.random.default_rng([20261127, listeners])
    words = []
    for _ in range(n):
        study = level_truth.draw(truth, listeners=listeners, strikes=3, rng=rng)
        found = planned_pair.judge(study, "b", "a", kind="more", smallest=0.55)
        words.append((found.word == "supported", found.decided.direct.word == "supported"))
    wrong, without = np.mean(words, axis=0)
    return float(wrong), float(without)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["wrong", "power", "level"])
    parser.add_argument("--studies", type=int, default=1000)
    parser.add_argument("--mixed", type=int, default=200, help="studies the mixed model is fitted to")
    parser.add_argument("--only", default="")
    parser.add_argument("--listeners", type=int, nargs="+", default=LISTENERS)
    parser.add_argument("--strikes", type=int, nargs="+", default=STRIKES)
    args = parser.parse_args()
    {"wrong": print_wrong, "power": print_power, "level": print_level}[args.what](args)


if __name__ == "__main__":
    main()
