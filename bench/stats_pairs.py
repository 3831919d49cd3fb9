"""How fast the paired-comparison and logistic mixed models are, beside other programs in the same run.

Run: `python bench/stats_pairs.py`. R's lme4 and glmmTMB take part where they are installed
(`apt install r-cran-lme4 r-cran-glmmtmb`); statsmodels always does.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import statsmodels.api as sm

sys.path.insert(0, str(Path(__file__).parents[1]))

from stats import threads
from stats.mixed import logistic_mixed
from stats.mixed.engine import random_terms
from stats.pairs import bradley_terry, comparisons, simulated_panel

MEAN, SD = np.array([0.35, -0.8, 0.5]), np.array([0.25, 0.6, 0.4])
TOGETHER = np.array([[1.0, 0.4, -0.2], [0.4, 1.0, 0.1], [-0.2, 0.1, 1.0]])


def best_s(act: Callable[[], object], repeats: int = 3) -> float:
    """Shortest processor time of a few runs after one to compile; other work does not count."""
    act()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        act()
        times.append(time.process_time() - start)
    return min(times)


def line(what: str, ours_s: float, other: str, other_s: float | None, bar: str) -> None:
    """One row of the table."""
    ratio = "not installed" if other_s is None else f"{other_s:8.3f} s  {other_s / ours_s:6.1f} x"
    print(f"{what:<46} ours {ours_s:8.4f} s   {other:<10} {ratio:<22} {bar}", flush=True)


def panel(listeners: int, trials: int, stimuli: int = 12) -> simulated_panel.Panel:
    """A seeded panel with three correlated slopes."""
    rng = np.random.default_rng(26400)
    return simulated_panel.draw(
        rng,
        listeners=listeners,
        trials=trials,
        covariates=rng.normal(size=(stimuli, 3)),
        order=0.15,
        mean=MEAN,
        sd=SD,
        correlation=TOGETHER,
    )


def fit_slopes(data: simulated_panel.Panel) -> Callable[[], object]:
    """Our fit of three correlated listener slopes."""
    term = random_terms.term("listener", data.listener, data.x[:, 1:], correlated=True)
    return lambda: logistic_mixed.fit(data.answers, data.x, [term])


def in_r(data: dict[str, np.ndarray], library: str, call: str) -> float | None:
    """Processor seconds of an R call on the data frame d, without start-up; None where R lacks it."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "d.csv"
        heading = ",".join(data)
        np.savetxt(table, np.column_stack(list(data.values())), "%.10g", ",", header=heading, comments="")
        script = f'd <- read.csv("{table}"); suppressMessages(library({library})); '
        script += f"cat(system.time({call})[['user.self']])"
        done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    return float(done.stdout.split()[-1]) if done.returncode == 0 and done.stdout else None


def slopes(listeners: int, trials: int, stimuli: int, bar: str) -> None:
    """Three correlated slopes by listener."""
    data = panel(listeners, trials, stimuli)
    table = {"y": data.answers, "l": data.listener, "a": data.x[:, 1], "b": data.x[:, 2], "c": data.x[:, 3]}
    call = "glmer(y~a+b+c+(0+a+b+c|l),d,binomial)"
    name = f"3 correlated slopes, {data.answers.size} answers"
    line(name, best_s(fit_slopes(data)), "glmer", in_r(table, "lme4", call), bar)


def crossed() -> None:
    """Crossed random intercepts, 316 by 24 levels."""
    rng = np.random.default_rng(7584)
    listener, item = np.repeat(np.arange(316), 24), np.tile(np.arange(24), 316)
    covariate = rng.normal(size=7584)
    eta = 0.3 * covariate + 1.3 * rng.normal(size=316)[listener] + 0.9 * rng.normal(size=24)[item]
    answers = (rng.random(7584) < 1 / (1 + np.exp(-eta))).astype(float)
    x = np.column_stack([np.ones(7584), covariate])
    terms = [random_terms.term("listener", listener), random_terms.term("item", item)]
    ours = best_s(lambda: logistic_mixed.fit(answers, x, terms))
    table = {"y": answers, "x": covariate, "l": listener, "i": item}
    glmmtmb = in_r(table, "glmmTMB", "glmmTMB(y~x+(1|l)+(1|i),d,family=binomial)")
    glmer = in_r(table, "lme4", "glmer(y~x+(1|l)+(1|i),d,binomial)")
    line("crossed intercepts, 7584 answers, 316 x 24", ours, "glmmTMB", glmmtmb, "bar: 1 x")
    line("", ours, "glmer", glmer, "")


def plain_strengths() -> None:
    """Plain Bradley-Terry, 50 items, 19,600 answers."""
    rng = np.random.default_rng(50)
    strength = rng.normal(size=50)
    low, high = np.triu_indices(50, 1)
    first, second = np.repeat(low, 16), np.repeat(high, 16)
    won = (rng.random(first.size) < 1 / (1 + np.exp(strength[second] - strength[first]))).astype(float)
    names = tuple(f"item{j:02d}" for j in range(50))

    def ours() -> object:
        return bradley_terry.fit(comparisons.add_up(names, first, second, won, 1 - won, 0 * won))

    wins = np.bincount(low * 50 + high, minlength=2500)[low * 50 + high] * 0.0
    np.add.at(wins, np.arange(first.size) // 16, won)
    x = np.zeros((low.size, 50))
    x[np.arange(low.size), low], x[np.arange(low.size), high] = 1.0, -1.0
    counts = np.column_stack([wins, 16 - wins])
    with threads.single():
        other = best_s(lambda: sm.GLM(counts, x[:, 1:], sm.families.Binomial()).fit())
    line("plain strengths, 50 items, 19600 answers", best_s(ours), "statsmodels", other, "bar: 1 x")


def refits(n: int = 100) -> None:
    """Refits of one panel, for a bootstrap."""
    data = panel(24, 56, 8)
    act = fit_slopes(data)
    act()
    start = time.process_time()
    for _ in range(n):
        act()
    one = (time.process_time() - start) / n
    print(f"1000 refits of 24 x 56 answers on one core: {1000 * one:.1f} s   bar: 30 s on 2 cores")


def growth() -> None:
    """Time against the number of answers."""
    for listeners in (10, 100, 1000):
        data = panel(listeners, 100)
        seconds = best_s(fit_slopes(data), 1)
        each_us = 1e6 * seconds / data.answers.size
        print(
            f"growth: {data.answers.size:>8} answers {seconds:8.3f} s   {each_us:6.1f} us an answer",
            flush=True,
        )


def main() -> None:
    """Every bar."""
    slopes(24, 56, 8, "bar: under 0.06 s")
    slopes(200, 132, 12, "bar: 15 x")
    crossed()
    plain_strengths()
    refits()
    growth()


if __name__ == "__main__":
    main()
