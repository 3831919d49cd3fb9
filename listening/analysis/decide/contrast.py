"""The mixed model beside the verdict: one planned contrast, listeners and stimuli as samples."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.decide import choice_model
from stats import t_interval
from stats.errors import BadData
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

ORDER, CONTRAST = "heard first", "contrast"
SESSION, IN_SESSION = "session", "contrast in session {}"
NEAR_SEPARATION_LOGIT = 3.0  # chosen 95 times in 100: from here on a wide standard error misleads
WIDE_SE = 0.25  # of the estimate; a narrower one still says the same as the likelihood
LISTENER, CELL = "listener", "listener x condition"
STIMULUS, OTHER_STIMULUS = "stimulus", "stimulus of another condition"


@dataclass(frozen=True)
class Design:
    """Columns and random terms of the mixed model for one contrast."""

    chosen: FloatArray
    """(n,) 1 where the first sound was chosen, 0 the second, 0.5 neither."""
    fixed: FloatArray
    """(n, k) order, the contrast, and the remaining conditions against the one compared with."""
    names: tuple[str, ...]
    terms: tuple[RandomTerm, ...]
    listeners: tuple[str, ...]
    n_conditions: int
    strikes: tuple[int, int]
    """How many stimuli the first and the second compared condition were heard with."""
    df_other_stimuli: float
    """Strikes of the other conditions beyond one each."""
    site_of: IntArray
    """(listeners,) the number of each listener's site; all 0 where there is one only."""
    contrast: FloatArray
    """(n,) 1, 1/2, 0, -1/2 or -1: how much of the contrast each trial holds."""

    @property
    def n_sites(self) -> int:
        """How many laboratories the listeners sat at."""
        return int(self.site_of.max(initial=0)) + 1

    @property
    def df_listeners(self) -> float:
        """Listeners less sites."""
        return float(len(self.listeners) - self.n_sites)

    @property
    def df_stimuli(self) -> float:
        """Strikes of the two compared conditions beyond one each; 0: nothing tells how strikes vary."""
        return float(sum(self.strikes) - 2)


@dataclass(frozen=True, eq=False)
class ContrastFit:
    """The planned contrast as fitted, log-odds."""

    estimate: float
    se: float
    """With the stimuli's part from the larger of two spreads: of the compared conditions, and of all."""
    df: float
    """Of listeners and stimuli together, each weighing as its share of the variance; see `together`."""
    spread_listeners: float
    """Standard deviation of the listeners' own contrasts."""
    spread_stimuli: float
    """Standard deviation of one stimulus about its condition, over the two compared; 0 where both have one
    strike."""
    mean_variance_listeners: float
    """Sampling variance of the estimate without the part that comes from the choice of stimuli."""
    own_effects: FloatArray
    """(listeners,) each listener's contrast, drawn towards the mean."""
    separated: bool
    """All answers agree, so that the true estimate is infinite; a penalty keeps this one finite."""
    near_separation: bool
    """The estimate is so large that its standard error misleads."""
    by_profile: bool
    """The likelihood, not a standard error, has to give the bounds."""
    model: MixedEstimates
    design: Design
    offset: FloatArray

    @cached_property
    def profile(self) -> dict[float, float]:
        """Log-likelihoods found with the contrast held at a value; each is a model fitted anew."""
        return {}


def design(table: pd.DataFrame, *, more: str, than: str) -> Design:
    """The mixed model's columns for `more` against `than`.

    Parameters
    ----------
    table : study rows (no control pairs) of one attribute and presentation, as `collect.frame` gives them

    Raises
    ------
    BadData
        One of the two conditions was never heard.
    """
    first, second = table["condition_first"].to_numpy(), table["condition_second"].to_numpy()
    heard = set(first) | set(second)
    for name in (more, than):
        if name not in heard:
            raise BadData(f"no answer compares {name}; wanted answers on {more} against {than}")
    others = sorted(heard - {more, than})
    conditions = [more, than, *others]  # the contrast's own cells are the first two of each listener
    compared = {c: _one_hot(first, second, c) for c in [more, *others]}
    contrast = 0.5 * (compared[more] - _one_hot(first, second, than))
    listeners, listener = np.unique(table["listener"].to_numpy(), return_inverse=True)
    stimulus = _numbered(table, "stimulus")
    at_sites, site_of = _sites(table, contrast, listener)
    in_sessions = _sessions(table, contrast)
    terms = _terms(contrast, listener, _cells(first, second, conditions, listener), others)
    sides = np.stack([first, second], axis=1)
    return Design(
        chosen=table["chosen"].to_numpy(float),
        fixed=np.column_stack(
            [np.ones(len(table)), *compared.values(), *in_sessions.values(), *at_sites.values()]
        ),
        names=(ORDER, CONTRAST, *others, *in_sessions, *at_sites),
        terms=(*terms, *_stimulus_terms(sides, stimulus, (more, than))),
        listeners=tuple(map(str, listeners)),
        n_conditions=len(conditions),
        strikes=(_strikes(sides, stimulus, more), _strikes(sides, stimulus, than)),
        df_other_stimuli=float(sum(_strikes(sides, stimulus, c) - 1 for c in others)),
        site_of=site_of,
        contrast=contrast,
    )


def fit(made: Design, offset: FloatArray | None = None) -> ContrastFit:
    """The contrast by restricted Laplace likelihood, level's part taken as a known offset.

    Parameters
    ----------
    offset : (n,) log-odds that level alone gives to the first sound; zeros if not given

    Raises
    ------
    StatsError
        The answers cannot bear the model.
    """
    known = np.zeros(made.chosen.size) if offset is None else offset
    found = choice_model.fit(made.chosen, made.fixed, made.terms, offset=known, names=made.names)
    spread = found.spread
    at_site = _site_effects(found, made)
    own_variance = spread[LISTENER] ** 2 + 2 * spread.get(CELL, 0.0) ** 2 + float(np.mean(at_site**2))
    at = made.names.index(CONTRAST)
    of_each = sum(1 / n for n in made.strikes)
    fitted_stimuli = spread.get(STIMULUS, 0.0) ** 2 * of_each
    variance_stimuli, df_stimuli = _variance_of_a_strike(spread, made)
    from_stimuli = variance_stimuli * of_each
    from_listeners = max(float(found.se[at]) ** 2 - fitted_stimuli, own_variance / len(made.listeners))
    se = math.sqrt(from_listeners + from_stimuli)
    size = abs(float(found.estimate[at]))
    near = found.separated or (size > NEAR_SEPARATION_LOGIT and se > WIDE_SE * size)
    return ContrastFit(
        estimate=float(found.estimate[at]),
        se=se,
        df=t_interval.together(from_listeners, made.df_listeners, from_stimuli, df_stimuli),
        spread_listeners=math.sqrt(own_variance),
        spread_stimuli=spread.get(STIMULUS, 0.0),
        mean_variance_listeners=from_listeners,
        own_effects=float(found.estimate[at]) + at_site[made.site_of] + _own(found, made),
        separated=found.separated,
        near_separation=near,
        by_profile=near or found.runaway,
        model=found,
        design=made,
        offset=known,
    )


def _variance_of_a_strike(spread: Mapping[str, float], made: Design) -> tuple[float, float]:
    """Variance of a strike about its condition, and its degrees of freedom.

    From the two compared conditions or from all of them, whichever is larger: with a few strikes the one from
    the two is often zero by chance.
    """
    own, others = spread.get(STIMULUS, 0.0) ** 2, spread.get(OTHER_STIMULUS, 0.0) ** 2
    df = made.df_stimuli + made.df_other_stimuli
    if df == 0.0:
        return 0.0, 0.0
    of_all = (made.df_stimuli * own + made.df_other_stimuli * others) / df
    return (own, made.df_stimuli) if own >= of_all else (of_all, df)


def _own(found: MixedEstimates, made: Design) -> FloatArray:
    """Each listener's departure from the mean contrast, over the slope and the condition cells."""
    own = found.effects[LISTENER][:, 0].copy()
    if CELL in found.effects:
        effects = np.zeros(len(made.listeners) * made.n_conditions)
        met = found.effects[CELL][:, 0]  # up to the last cell that occurs: a late listener may have met few
        effects[: met.size] = met
        cells = effects.reshape(len(made.listeners), made.n_conditions)
        own = own + cells[:, 0] - cells[:, 1]
    return own


def _terms(
    contrast: FloatArray, listener: IntArray, cells: tuple[IntArray, IntArray], others: list[str]
) -> tuple[RandomTerm, ...]:
    slope = random_terms.term(LISTENER, listener, contrast)
    if not others:  # with two conditions the cells say the same as the slope
        return (slope,)
    return (slope, random_terms.pair_term(CELL, *cells))


def _stimulus_terms(
    sides: NDArray[np.object_], stimulus: IntArray, pair: tuple[str, str]
) -> tuple[RandomTerm, ...]:
    """The strikes of the two compared conditions, and those of the rest, with a spread of their own each.

    One spread for all would be too small for the compared two where the others' strikes are more alike.
    """
    compared = np.isin(sides, pair)
    return tuple(
        _stimuli_where(mask, stimulus, name)
        for name, mask in ((STIMULUS, compared), (OTHER_STIMULUS, ~compared))
        if np.unique(stimulus[mask]).size > np.unique(sides[mask]).size
    )


def _stimuli_where(mask: NDArray[np.bool_], stimulus: IntArray, name: str) -> RandomTerm:
    level = np.unique(stimulus[mask], return_inverse=True)[1]
    levels = np.zeros(stimulus.shape, dtype=np.int64)  # a level of weight zero where the term does not enter
    levels[mask] = level
    return random_terms.term(name, levels, weight=mask * np.array([1.0, -1.0]))


def _strikes(sides: NDArray[np.object_], stimulus: IntArray, condition: str) -> int:
    return int(np.unique(stimulus[sides == condition]).size)


def _sites(
    table: pd.DataFrame, contrast: FloatArray, listener: IntArray
) -> tuple[dict[str, FloatArray], IntArray]:
    """Columns that let the contrast differ between sites, summing to zero; and each listener's site.

    The contrast itself is then the mean over sites, each weighing the same however many sat there.
    """
    n_listeners = int(listener.max()) + 1
    if "site" not in table or table["site"].nunique() < 2:
        return {}, np.zeros(n_listeners, dtype=np.int64)
    site, names = pd.factorize(table["site"], sort=True)
    site_of = np.zeros(n_listeners, dtype=np.int64)
    site_of[listener] = site
    last = len(names) - 1
    columns = {
        f"contrast at site {name}": contrast * ((site == i).astype(float) - (site == last))
        for i, name in enumerate(names[:-1])
    }
    return columns, site_of


def _sessions(table: pd.DataFrame, contrast: FloatArray) -> dict[str, FloatArray]:
    """Columns that let the contrast differ between sessions; they sum to zero, and it is the mean of them."""
    if SESSION not in table:
        return {}
    session = table[SESSION].to_numpy()
    names = sorted(set(session[contrast != 0]))
    return {
        IN_SESSION.format(name): contrast * ((session == name).astype(float) - (session == names[-1]))
        for name in names[:-1]
    }


def session_change(fit: ContrastFit, coverage: float) -> tuple[float, float, float] | None:
    """The contrast in the last session less that in the first, with limits; None where there is one session.

    Student’s t with the listeners less one as degrees of freedom.
    """
    at = [i for i, name in enumerate(fit.design.names) if name.startswith(IN_SESSION.format(""))]
    if not at or fit.separated:
        return None
    weights = np.zeros(fit.model.estimate.size)
    weights[at] = -1.0  # the last is minus the sum of the others
    weights[at[0]] -= 1.0
    value, se = fit.model.contrast(weights)
    return value, *t_interval.of(value, se, fit.design.df_listeners, coverage)


def _site_effects(found: MixedEstimates, made: Design) -> FloatArray:
    """(sites,) how far each site's contrast lies from the mean over sites."""
    n_others = made.n_sites - 1
    first = found.estimate[len(made.names) - n_others :]
    return np.append(first, -first.sum()) if n_others else np.zeros(1)


def _one_hot(first: NDArray[np.object_], second: NDArray[np.object_], name: str) -> FloatArray:
    return np.asarray((first == name).astype(float) - (second == name))


def _numbered(table: pd.DataFrame, what: str) -> IntArray:
    """(n, 2) number of the first and the second."""
    both = pd.concat([table[f"{what}_first"], table[f"{what}_second"]])
    return np.asarray(pd.factorize(both, sort=True)[0]).reshape(2, -1).T


def _cells(
    first: NDArray[np.object_], second: NDArray[np.object_], conditions: list[str], listener: IntArray
) -> tuple[IntArray, IntArray]:
    place = {c: i for i, c in enumerate(conditions)}
    k = len(conditions)
    one = listener * k + np.array([place[c] for c in first])
    two = listener * k + np.array([place[c] for c in second])
    return one, two
