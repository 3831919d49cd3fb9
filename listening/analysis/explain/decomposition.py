"""How much of the heard difference level explains, how much brightness and decay beyond it.

Two steps: strengths of the conditions with their covariance (listeners and stimuli as samples), then nested
models of these strengths on what the conditions differ in as played.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.analysis.collect import played
from listening.analysis.decide import level_part, level_slope
from listening.analysis.decide.level_part import LevelPart
from listening.analysis.decide.level_slope import Slope
from listening.analysis.explain import property_slopes, stimulus_covariates
from listening.analysis.explain.strengths import Strengths
from listening.records.found.findings_explained import Decomposition, NestedStep, PropertyShare
from listening.records.found.interval import Interval
from stats.errors import StatsError
from stats.fixed import likelihood_ratio, variance_inflation
from stats.measured import meta_regression, variance_shares
from stats.measured.ratio_interval import Ratio
from stats.measured.variance_shares import Shares

FloatArray = NDArray[np.float64]

LEVEL = "level"
COVERAGE = 0.95
NOTHING_HEARD = "the conditions are not clearly heard to differ, so there is no whole to take shares of"


@dataclass(frozen=True)
class Setting:
    """What the strengths of one attribute and presentation are explained with."""

    found: Strengths
    metrics: dict[str, str]
    """Property → metric, of the properties that enter, level first."""
    columns: dict[str, FloatArray]
    """Property → (k,) means over the conditions, about their mean."""
    slope: Slope | None
    """What a decibel does, where it is known apart from the conditions."""
    held_equal: tuple[str, ...]

    @property
    def df(self) -> float:
        """The smaller of the strengths' and the level slope's."""
        return min(self.found.df, self.slope.n_listeners - 1) if self.slope else self.found.df

    @property
    def level_part(self) -> LevelPart | None:
        """Level's part in the strengths, where its slope is known."""
        if self.slope is None:
            return None
        others = {name: column for name, column in self.columns.items() if name != LEVEL}
        return level_part.of(self.found, self.slope, self.columns[LEVEL], others)

    @property
    def from_conditions(self) -> tuple[str, ...]:
        """Properties whose slopes nothing but the conditions can tell."""
        return tuple(name for name in self.columns if not (name == LEVEL and self.slope))


def of_set(
    key: tuple[str, str],
    found: Strengths,
    table: played.Table,
    *,
    metrics: Mapping[str, str],
    slope: Slope | None,
) -> Decomposition:
    """The decomposition of one attribute and presentation; where it cannot be had, its note says why.

    Parameters
    ----------
    key : attribute and presentation
    metrics : of level, brightness and decay
    slope : what a decibel does to this attribute's answers
    """
    setting = _setting(key[1], found, table, metrics, slope)
    blank = _blank(key, setting, metrics[LEVEL], table)
    names = tuple(setting.columns)
    k, needed = len(found.conditions), len(names) + property_slopes.SPARE_CONDITIONS
    if not names:
        return blank.model_copy(update={"note": "the conditions hardly differ in level, brightness or decay"})
    if k < needed:
        few = f"{k} conditions are too few to separate {', '.join(names)}; wanted at least {needed}"
        return blank.model_copy(update={"note": few})
    try:
        shared = _shares(setting)
    except StatsError as error:
        return blank.model_copy(update={"note": str(error)})
    filled = blank.model_copy(update=_overlap(setting) | _stepped(setting))
    spread = float(np.sqrt(shared.total / (k - 1))) if shared.total > 0 else None
    if not shared.left_over.bounded:
        return filled.model_copy(update={"spread": spread, "note": NOTHING_HEARD})
    return filled.model_copy(update={"spread": spread, **_told(setting, shared)})


def _setting(
    presentation: str, found: Strengths, table: played.Table, metrics: Mapping[str, str], slope: Slope | None
) -> Setting:
    columns, held = {}, []
    known = level_slope.of_metric(slope, metrics[LEVEL])
    for name, metric in metrics.items():
        got = played.column(table, presentation, found.conditions, metric)
        if got is None:
            continue
        means = got[0]
        if played.differs(metric, means) or (name == LEVEL and known is not None):
            columns[name] = means - means.mean()
        else:
            held.append(name)
    return Setting(found, dict(metrics), columns, known if LEVEL in columns else None, tuple(held))


def _blank(key: tuple[str, str], setting: Setting, level_metric: str, table: played.Table) -> Decomposition:
    found = setting.found
    level = played.column(table, key[1], found.conditions, level_metric)
    if setting.slope is not None:
        by = setting.slope.source
    elif LEVEL in setting.held_equal:
        by = "held equal"
    else:
        by = "conditions" if LEVEL in setting.columns else "none"
    return Decomposition(
        attribute=key[0],
        presentation=key[1],
        n_conditions=len(found.conditions),
        n_listeners=found.n_listeners,
        n_answers=found.n_answers,
        level_metric=level_metric,
        level_by=by,
        level_range=None if level is None else float(np.ptp(level[0])),
        held_equal=setting.held_equal,
    )


def _shares(setting: Setting) -> Shares:
    """Shares of the strengths' sum of squares; a level slope that is known is estimated beside them."""
    found, level = setting.found, setting.level_part
    k, names = len(found.conditions), tuple(setting.columns)
    unsaid = {}
    for some in variance_shares.subsets(names):
        fitted = [setting.columns[n] for n in names if n in some and n in setting.from_conditions]
        left = variance_shares.residual_maker(np.array(fitted).reshape(-1, k).T)
        if level is not None:
            left = left @ (level.without if LEVEL in some else level.whole)
        unsaid[some] = left
    estimate, covariance = (
        (found.strength, found.covariance) if level is None else (level.estimate, level.covariance)
    )
    first = () if level is None else (LEVEL,)  # known apart from the conditions, it need not share
    return variance_shares.decompose(
        estimate, covariance, unsaid, names, first=first, df=setting.df, level=COVERAGE
    )


def _stepped(setting: Setting) -> dict[str, object]:
    try:
        return {"steps": _steps(setting)}
    except StatsError as error:
        return {"note": f"no nested models: {error}"}


def _steps(setting: Setting) -> tuple[NestedStep, ...]:
    """Nested models in the order level, brightness, decay; then whether the conditions differ in more."""
    found, level = setting.found, setting.level_part
    k = len(found.conditions)
    columns = np.column_stack(list(setting.columns.values()))
    if level is None:  # strengths sum to zero: their differences alone count
        contrasts = meta_regression.contrasts(k)
        y, v, x = (
            contrasts.T @ found.strength,
            contrasts.T @ found.covariance @ contrasts,
            contrasts.T @ columns,
        )
    else:  # one more observation: of the level slope itself, which scatters with no condition
        contrasts, x = level_part.design(columns)
        y, v = contrasts.T @ level.estimate, contrasts.T @ level.covariance @ contrasts
    scatters = np.arange(y.size) >= y.size - (k - 1)
    fits = [meta_regression.fit(y, x[:, :p], v, scatters=scatters) for p in range(x.shape[1] + 1)]
    made = []
    for p, name in enumerate(setting.columns, start=1):
        test = likelihood_ratio.few_units(
            fits[p - 1].loglik, fits[p].loglik, df=1, n_units=k - 1, n_effects=p
        )
        made.append(NestedStep(name=name, statistic=test.statistic, df=1, df_units=test.df_units, p=test.p))
    last = fits[-1]
    rest = NestedStep(
        name="everything else",
        statistic=last.heterogeneity,
        df=last.df,
        df_units=setting.df,
        p=last.p_heterogeneity(setting.df),
    )
    return (*made, rest)


def _overlap(setting: Setting) -> dict[str, object]:
    names = setting.from_conditions
    if not names:
        return {}
    found = variance_inflation.of_columns(np.column_stack([setting.columns[n] for n in names]))
    swollen = dict(zip(names, map(float, found), strict=True))
    both = [swollen[n] for n in ("brightness", "decay") if n in swollen]
    return {
        "inflation": {n: v if np.isfinite(v) else None for n, v in swollen.items()},
        "separable": max(both) < variance_inflation.LARGE if len(both) == 2 else None,
    }


def _told(setting: Setting, shared: Shares) -> dict[str, object]:
    rows = zip(shared.names, shared.alone, shared.averaged, shared.on_top, strict=True)
    made: dict[str, object] = {
        "shares": tuple(
            PropertyShare(
                name=name,
                metric=setting.metrics[name],
                per=stimulus_covariates.per(setting.metrics[name]),
                share_alone=_interval(alone),
                share_averaged=_interval(averaged),
                share_on_top=_interval(on_top),
            )
            for name, alone, averaged, on_top in rows
        ),
        "share_left_over": _interval(shared.left_over),
    }
    if LEVEL in shared.names:
        after_level = shared.weights["total"] - shared.weights[f"alone {LEVEL}"]
        made["share_beyond_level"] = _interval(shared.of(after_level))
        made["share_beyond_level_said"] = _interval(shared.of(after_level - shared.weights["left over"]))
    return made


def _interval(share: Ratio) -> Interval:
    return Interval(
        value=share.estimate,
        lower=share.lower if np.isfinite(share.lower) else None,
        upper=share.upper if np.isfinite(share.upper) else None,
        coverage=COVERAGE,
    )
