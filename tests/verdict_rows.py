"""Tables of raw answers by a second generator, judged through `listening fit verdict`: one row a truth.

    python tests/verdict_rows.py FOLDER [--tables 600]

Unlike `direct_truth.py` each listener has a chance of their own, answers are tossed one by one, and the
tables are files that the command reads.
"""

import argparse
import contextlib
import csv
import io
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import special

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from listening import cli

FloatArray = NDArray[np.float64]
Rng = np.random.Generator
HEAD = ("listener", "first", "second", "answer", "strike_first", "strike_second")
STRIKES = 3
WORDS = ("supported", "contradicted", "undecided", "no verdict")


@dataclass(frozen=True)
class Row:
    """One truth: the log-odds of each listener, and what else happens to the answers."""

    logits: Callable[[Rng], FloatArray]
    answers: Sequence[int] = (18,) * 24
    order: float = 0.0
    lapses: float = 0.0
    ties: float = 0.0
    strike_sd: float = 0.3
    met_directly: int = 10_000
    """Listeners who met the pair; the others heard b against c."""
    kind: str = "more"
    smallest: float = 0.6


def even(sd: float, listeners: int = 24) -> Callable[[Rng], FloatArray]:
    return lambda rng: rng.normal(0, sd, listeners)


ROWS = {
    "heavy tails (Cauchy)": Row(lambda rng: np.clip(0.7 * rng.standard_cauchy(24), -8, 8)),
    "10 % lapses": Row(even(0.6), lapses=0.1),
    "order pulls by 1.2 logit": Row(even(0.6), order=1.2),
    "4 listeners of 120 answers, 20 of 6": Row(even(1.0), answers=(120,) * 4 + (6,) * 20),
    "30 % ties": Row(even(0.6), ties=0.3),
    "two fixed groups, 7 of 24 at 0.98, share 0.49": Row(lambda rng: np.where(np.arange(24) < 7, 4.0, -0.88)),
    "complete agreement": Row(lambda rng: np.full(24, 50.0)),
    "2 of 24 met the pair directly": Row(even(0.6), met_directly=2),
    "same, 30 % of listeners at +1.1, the rest at -0.2": Row(
        lambda rng: np.where(rng.random(24) < 0.3, 1.1, -0.2), strike_sd=0.1, kind="same", smallest=0.7
    ),
}


def answers(row: Row, rng: Rng) -> list[tuple[str, ...]]:
    """One table: b and a in turn first, strikes met at random on one side and in turn on the other."""
    more, than = rng.normal(0, row.strike_sd, (2, STRIKES))
    made = []
    for listener, (logit, n) in enumerate(zip(row.logits(rng), row.answers, strict=True)):
        other = "a" if listener < row.met_directly else "c"
        for trial in range(n):
            of_more, of_than, b_first = trial % STRIKES, int(rng.integers(STRIKES)), trial % 2 == 0
            heard = logit + more[of_more] - than[of_than] + (row.order if b_first else -row.order)
            chance = (1 - row.lapses) * special.expit(heard) + row.lapses / 2
            chosen = bool(rng.random() < chance)
            sounds = [("b", f"b{of_more}"), (other, f"{other}{of_than}")]
            first, second = sounds if b_first else sounds[::-1]
            answer = "tie" if rng.random() < row.ties else "first" if chosen == b_first else "second"
            made.append((f"L{listener:02d}", first[0], second[0], answer, first[1], second[1]))
    return made


def words(row: Row, tables: int, folder: Path) -> list[str]:
    """What the command says of so many tables."""
    files = []
    for number in range(tables):
        files.append(str(folder / f"{number}.csv"))
        with Path(files[-1]).open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([HEAD, *answers(row, np.random.default_rng([14, number]))])
    asked = ["--more", "b", "--than", "a", "--kind", row.kind, "--smallest", str(row.smallest), "--json"]
    with contextlib.redirect_stdout(io.StringIO()) as printed:
        code = cli.main(["fit", "verdict", *files, *asked])
    if code:
        raise SystemExit(code)
    return [one["word"] for one in json.loads(printed.getvalue())]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tables", type=int, default=600)
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    print(f"| truth | {' | '.join(WORDS)} |\n|---|" + "---|" * len(WORDS))
    for name, row in ROWS.items():
        said = words(row, args.tables, args.folder)
        shares = (f"{100 * said.count(word) / len(said):.1f}" for word in WORDS)
        print(f"| {name} | {' | '.join(shares)} |", flush=True)


if __name__ == "__main__":
    main()
