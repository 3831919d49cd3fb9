"""`python -m listening.compile_ahead` compiles what numba compiles, so that no first run waits for it."""

import numpy as np

from listening.audio.sound import Sound
from listening.metrics import measures
from listening.metrics.loud import loudness
from stats.tables.columns import Columns
from stats.tables.pair_fit import fit_pairs
from stats.tables.rating_fit import fit_ratings

RATE_HZ = 48_000


def main() -> None:
    """One small fit of each mixed model, and one struck tone measured."""
    rng = np.random.default_rng(1)
    fit_pairs(_pairs(rng), slopes=["order"])
    fit_ratings(_ratings(rng), "rating", ["design"], ["listener", "stimulus"])
    time_s = np.arange(RATE_HZ) / RATE_HZ
    ring = np.sin(2 * np.pi * 1500.0 * time_s) * np.exp(-8.0 * time_s)
    samples = np.concatenate([np.zeros(RATE_HZ // 10), 0.3 * ring]) + 1e-6 * rng.standard_normal(52_800)
    measures.measure(Sound(samples[:, np.newaxis], RATE_HZ, 2.0))
    loudness.stationary(Sound(samples[:, np.newaxis], RATE_HZ, 2.0))


def _pairs(rng: np.random.Generator) -> Columns:
    rows = [(f"l{n % 12}", *rng.choice(list("abc"), 2, replace=False)) for n in range(240)]
    cells = {name: [str(row[i]) for row in rows] for i, name in enumerate(("listener", "first", "second"))}
    cells["answer"] = [str(word) for word in rng.choice(["first", "second"], len(rows))]
    return Columns("made up", cells, [str(n) for n in range(len(rows))])


def _ratings(rng: np.random.Generator) -> Columns:
    cells = {
        "listener": [f"l{n % 12}" for n in range(240)],
        "stimulus": [f"s{n % 5}" for n in range(240)],
        "design": ["ab"[n % 5 % 2] for n in range(240)],
        "rating": [str(10 * (n % 12) / 12 + n % 5 + float(rng.normal())) for n in range(240)],
    }
    return Columns("made up", cells, [str(n) for n in range(240)])


if __name__ == "__main__":
    main()
