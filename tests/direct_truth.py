"""Raw answers with known truth, drawn without the project's own simulation: is alpha kept?

    python tests/direct_truth.py [--studies 1000] [--only NAME] [--listeners 8 12 24 48] [--strikes 2 3 5]

A study is drawn as chances of choosing b over a, listener by listener and strike by strike, whose mean over
the population is known exactly; then answers are tossed. All studies of a cell are drawn at once.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

FloatArray = NDArray[np.float64]
Tastes = Callable[[np.random.Generator, tuple[int, ...]], FloatArray]

SEED = 20261127
_QUANTILES = (np.arange(20_000) + 0.5) / 20_000


@dataclass(frozen=True)
class Spread:
    """How listeners' log-odds are spread, by its quantiles, before they are moved to the wanted share."""

    quantile: Callable[[FloatArray], FloatArray]

    def draw(self, rng: np.random.Generator, shape: tuple[int, ...]) -> FloatArray:
        return self.quantile(rng.random(shape))


def camps(*shares_and_logits: tuple[float, float]) -> Spread:
    """Listeners in camps, each of one mind."""
    edges = np.cumsum([share for share, _ in shares_and_logits])
    logits = np.array([logit for _, logit in shares_and_logits])
    return Spread(lambda u: logits[np.minimum(np.searchsorted(edges, u, side="right"), logits.size - 1)])


def normal(sd: float) -> Spread:
    return Spread(lambda u: sd * special.ndtri(u))


def student(df: float, scale: float) -> Spread:
    return Spread(lambda u: scale * special.stdtrit(df, u))


def lognormal(sd: float, sign: float) -> Spread:
    return Spread(lambda u: sign * np.exp(sd * special.ndtri(u)))


@dataclass(frozen=True)
class Truth:
    """What listeners and strikes are, and how they were asked."""

    name: str
    spread: Spread = field(default_factory=lambda: normal(0.6))
    strike_sd: tuple[float, float] = (0.3, 0.3)
    """Of b's strikes and of a's, logit."""
    strike_by_listener_sd: float = 0.0
    pair_sd: float = 0.0
    """Of one strike of b with one of a, logit, beyond the two."""
    order: float = 0.3
    """Pull of the sound heard first, logit."""
    order_sd: float = 0.2
    lapses: float = 0.02
    careless: float = 0.0
    """Share of listeners who toss a coin."""
    ties: float = 0.0
    """Share of answers that are `no difference`."""
    answers: int = 18
    unequal_answers: bool = False
    """A third of the listeners give a third of the answers, a third twice as many."""
    unequal_strikes: bool = False
    """The first strike of either sound is met in two trials of three."""
    together: bool = False
    """The same number of strike of either sound in each trial."""
    one_strike_than: bool = False
    """a has one strike, which is all there is of it: its effect is part of the truth."""
    own_strikes: bool = False
    """Half of the listeners meet other strikes than the rest."""
    random_order: bool = False
    alternates: bool = False
    """A listener's answers are as evenly spread over trials as their share allows."""


@dataclass(frozen=True)
class Studies:
    """Answers of many studies: arrays (studies, listeners, trials); answers not given are NaN."""

    chosen: FloatArray
    strike_more: NDArray[np.int64]
    strike_than: NDArray[np.int64]
    more_first: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.chosen)

    def study(self, number: int) -> tuple[FloatArray, ...]:
        """chosen, listener, strike of more, strike of than, more first, of the answers given."""
        given = ~np.isnan(self.chosen[number])
        listener = np.broadcast_to(np.arange(given.shape[0])[:, None], given.shape)
        columns = (
            self.chosen[number],
            listener,
            self.strike_more[number],
            self.strike_than[number],
            self.more_first[number],
        )
        return tuple(np.asarray(one[given], dtype=float) for one in columns)


def write(studies: Studies, number: int, path: Path, *, pair: tuple[str, str] = ("b", "a")) -> None:
    """One study as the table that `listening fit verdict` reads."""
    more, than = pair
    lines = ["listener,first,second,answer,strike_first,strike_second"]
    for chosen, listener, strike_more, strike_than, more_first in zip(*studies.study(number), strict=True):
        first, second, strikes = (more, than, (strike_more, strike_than))
        if not more_first:
            first, second, strikes, chosen = than, more, strikes[::-1], 1 - chosen
        answer = {1.0: "first", 0.0: "second", 0.5: "tie"}[float(chosen)]
        lines.append(f"L{listener:.0f},{first},{second},{answer},{strikes[0]:.0f},{strikes[1]:.0f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def shift_to(truth: Truth, share: float) -> float:
    """What is added to every listener's log-odds so that the share over the population is `share`."""
    logits = truth.spread.quantile(_QUANTILES)
    sd = np.sqrt(
        truth.strike_sd[0] ** 2
        + truth.strike_sd[1] ** 2
        + 2 * truth.strike_by_listener_sd**2
        + truth.pair_sd**2
        + truth.order_sd**2
    )
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)

    def over_population(shift: float) -> float:
        total = 0.0
        for node, weight in zip(nodes, weights / weights.sum(), strict=True):
            for pull in (-truth.order, truth.order):
                total += weight * special.expit(logits + shift + sd * node + pull).mean() / 2
        heard = (1 - truth.lapses) * total + truth.lapses / 2
        heard = (1 - truth.careless) * heard + truth.careless / 2
        return float((1 - truth.ties) * heard + truth.ties / 2 - share)

    return float(optimize.brentq(over_population, -60, 60, xtol=1e-10))


def draw(
    truth: Truth, share: float, *, studies: int, listeners: int, strikes: int, rng: np.random.Generator
) -> Studies:
    """Studies in which the share over the population is `share` exactly."""
    trials = truth.answers * (2 if truth.unequal_answers else 1)
    shape = (studies, listeners, trials)
    more, than, first = _met(truth, shape, strikes, rng)
    logit = (truth.spread.draw(rng, shape[:2]) + shift_to(truth, share))[:, :, None]
    sets = strikes * (2 if truth.own_strikes else 1)
    for sd, met in zip(truth.strike_sd, (more, than), strict=True):
        effect = rng.normal(0, sd, (studies, sets))
        logit = logit + np.take_along_axis(effect[:, None, :], met, axis=2)
        own = rng.normal(0, truth.strike_by_listener_sd, (studies, listeners, sets))
        logit = logit + np.take_along_axis(own, met, axis=2)
    pairs = rng.normal(0, truth.pair_sd, (studies, sets * sets))
    logit = logit + np.take_along_axis(pairs[:, None, :], more * sets + than, axis=2)
    pull = truth.order + rng.normal(0, truth.order_sd, shape[:2])[:, :, None]
    chance = special.expit(logit + pull * (2 * first - 1))
    chance = (1 - truth.lapses) * chance + truth.lapses / 2
    chance[rng.random(shape[:2]) < truth.careless] = 0.5
    chosen = _tossed(truth, chance, rng)
    if truth.unequal_answers:
        last = np.array([truth.answers // 3, truth.answers, 2 * truth.answers])[np.arange(listeners) % 3]
        chosen[:, np.arange(trials) >= last[:, None]] = np.nan
    return Studies(chosen, more, than, first)


def _tossed(truth: Truth, chance: FloatArray, rng: np.random.Generator) -> FloatArray:
    if truth.alternates:
        edges = np.concatenate([np.zeros((*chance.shape[:2], 1)), chance.cumsum(axis=2)], axis=2)
        start = rng.random((*chance.shape[:2], 1))
        chosen = np.diff(np.floor(edges + start), axis=2)
    else:
        chosen = (rng.random(chance.shape) < chance).astype(float)
    chosen[rng.random(chance.shape) < truth.ties] = 0.5
    return chosen


def _met(
    truth: Truth, shape: tuple[int, int, int], strikes: int, rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Strikes and orders in rotation, each listener from another place; or as the truth says."""
    _, listeners, trials = shape
    turn = np.arange(trials)[None, :] + (2 * np.arange(listeners)[:, None] if trials > 1 else 0)
    more = turn % strikes
    than = (turn // strikes + turn) % strikes
    # a pair of strikes that comes again comes in the other order
    again = turn // strikes**2 if strikes % 2 == 0 else 0
    first = (np.arange(trials)[None, :] + np.arange(listeners)[:, None] + again) % 2 == 0
    more, than = (np.broadcast_to(one, shape).copy() for one in (more, than))
    first = np.broadcast_to(first, shape).copy()
    if truth.together:
        than = more.copy()
    if truth.one_strike_than:
        than = np.zeros_like(more)
    if truth.unequal_strikes:
        more[rng.random(shape) < 0.5], than[rng.random(shape) < 0.5] = 0, 0
    if truth.own_strikes:
        more[:, ::2], than[:, ::2] = more[:, ::2] + strikes, than[:, ::2] + strikes
    if truth.random_order:
        first = rng.random(shape) < 0.5
    return more, than, first


LOVERS = camps((0.3, 4.0), (0.7, -0.88))
HATERS = camps((0.3, -4.0), (0.7, 0.88))
TRUTHS = (
    Truth("normal"),
    Truth("all alike", spread=normal(0.0), strike_sd=(0.0, 0.0)),
    Truth("two camps, a few love b", spread=LOVERS),
    Truth("two camps, a few hate b", spread=HATERS),
    Truth("two camps, no strikes apart", spread=LOVERS, strike_sd=(0.0, 0.0), order=0.0),
    Truth(
        "half always, half never", spread=camps((0.5, 30.0), (0.5, -30.0)), lapses=0.0, strike_sd=(0.0, 0.0)
    ),
    Truth("one in ten hates b", spread=camps((0.1, -8.0), (0.9, 0.5))),
    Truth("one in ten loves b", spread=camps((0.1, 8.0), (0.9, -0.5))),
    Truth("heavy tails", spread=student(2.0, 0.5)),
    Truth("lognormal", spread=lognormal(1.0, 1.0)),
    Truth("lognormal, turned", spread=lognormal(1.0, -1.0)),
    Truth("lapses and careless", lapses=0.1, careless=0.2),
    Truth("strong order", order=1.2, order_sd=0.5),
    Truth("random order", order=1.0, random_order=True),
    Truth("strikes far apart", strike_sd=(0.6, 0.6)),
    Truth("strikes of one far apart", strike_sd=(0.8, 0.0)),
    Truth("strikes very far apart", strike_sd=(1.0, 1.0)),
    Truth("strikes of one very far apart", strike_sd=(1.0, 0.0)),
    Truth("strikes together", strike_sd=(0.5, 0.5), together=True),
    Truth("strikes far apart, together", strike_sd=(1.0, 1.0), together=True),
    Truth("strikes of b only", strike_sd=(0.8, 0.0), one_strike_than=True),
    Truth("strikes apart, listeners alike", spread=normal(0.0), strike_sd=(0.6, 0.2), order_sd=0.0),
    Truth("strikes by listener", strike_by_listener_sd=0.6),
    Truth("pairs of strikes", pair_sd=0.4),
    Truth("strikes unequally", unequal_strikes=True),
    Truth("own strikes", own_strikes=True),
    Truth("answers unequally", unequal_answers=True),
    Truth("six answers", answers=6),
    Truth("twelve answers", answers=12),
    Truth("forty answers", answers=40),
    Truth("no difference", ties=0.3),
    Truth("evenly spread answers", alternates=True),
)
