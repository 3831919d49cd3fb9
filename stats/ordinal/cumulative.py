"""Ordered answers (category ratings): log-density of each row under a cumulative logit, probit or cloglog
link.

P(answer <= j) = F(theta_j - eta), so that a larger predictor means higher categories. The free parameters
of the
thresholds are the likelihood's shape parameters; they turn into thresholds through a fixed matrix.

Source: McCullagh 1980, JRSS B 42, 109-142.
"""

from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from stats.errors import BadData
from stats.fixed.likelihood import SHORT_ROWS, FloatArray, IntArray, Rows, ShapeRows, as_floats

Link = Literal["logit", "probit", "cloglog"]
Spacing = Literal["flexible", "symmetric", "mirrored", "equidistant"]
"""flexible: each threshold free; symmetric: in pairs about a free centre; mirrored: in pairs about zero
(answers to a
comparison, first against second); equidistant: evenly spaced."""

FAR = 700.0  # predictor units beyond which exp() overflows; no finite data reach it


@dataclass(frozen=True)
class Cumulative:
    """n answers in ordered categories 0 .. m (m thresholds)."""

    answer: IntArray
    """(n,) category of each answer."""
    weight: FloatArray
    """(n,) how often each row was answered so."""
    n_categories: int
    link: Link
    spacing: Spacing
    to_thresholds: FloatArray
    """(m, k) thresholds from shape parameters."""
    nominal: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    """(n, c) columns whose effect may differ by threshold; their m * c effects follow the other shape
    parameters."""

    @classmethod
    def of(
        cls,
        answer: ArrayLike,
        *,
        n_categories: int | None = None,
        link: Link = "logit",
        spacing: Spacing = "flexible",
        weight: ArrayLike | None = None,
        nominal: ArrayLike | None = None,
    ) -> "Cumulative":
        """Checked answers.

        answer : (n,) integers from 0
        n_categories : the largest answer plus one if not given; every category must occur under flexible
        spacing

        Parameters
        ----------
        link : the distribution that the predictor goes through
        weight : (n,) counts of each row; 1 each if not given
        nominal : (n, m) columns whose effect differs by threshold

        Raises
        ------
        BadData
            Fewer than two categories, a category that nobody used, unknown words, shapes that do not fit.
        """
        codes = np.asarray(answer)
        if codes.ndim != 1 or codes.size == 0 or not np.array_equal(codes, codes.astype(np.int64)):
            raise BadData("ordered answers must be whole numbers from 0 in one column")
        codes = codes.astype(np.int64)
        count = int(codes.max()) + 1 if n_categories is None else n_categories
        if codes.min() < 0 or codes.max() >= count or count < 2:
            raise BadData(
                f"answers run from {codes.min()} to {codes.max()}; wanted 0 to {count - 1}, at least 2"
            )
        weights = np.ones(codes.size) if weight is None else as_floats(weight)
        if weights.shape != codes.shape or not np.isfinite(weights).all() or (weights < 0).any():
            raise BadData(f"weights {weights.shape} for {codes.size} answers; wanted as many, none negative")
        if link not in get_args(Link):
            raise BadData(f"link {link!r} is not known; wanted one of {', '.join(get_args(Link))}")
        columns = np.zeros((codes.size, 0)) if nominal is None else as_floats(nominal).reshape(codes.size, -1)
        made = cls(codes, weights, count, link, spacing, _spacing_matrix(spacing, count - 1), columns)
        _check_used(made)
        return made

    @property
    def n_rows(self) -> int:
        return int(self.answer.size)

    @property
    def shape_names(self) -> tuple[str, ...]:
        k = self.to_thresholds.shape[1]
        inner = tuple(f"shape:{j + 1}" for j in range(k))
        m = self.n_categories - 1
        return inner + tuple(
            f"nominal:{c + 1}:{j + 1}" for c in range(self.nominal.shape[1]) for j in range(m)
        )

    def start_shape(self) -> FloatArray:
        """Shape that meets the observed shares as nearly as the spacing allows."""
        m = self.n_categories - 1
        counts = np.bincount(self.answer, weights=self.weight, minlength=m + 1) + 0.5
        shares = np.cumsum(counts)[:-1] / counts.sum()
        wanted = _quantile(shares, self.link)
        shape = as_floats(np.linalg.lstsq(self.to_thresholds, wanted, rcond=None)[0])
        if self.spacing != "flexible" and not (np.diff(self.to_thresholds @ shape) > 0).all():
            even = np.linspace(-1.0, 1.0, m) if m > 1 else np.zeros(1)
            shape = as_floats(np.linalg.lstsq(self.to_thresholds, even, rcond=None)[0])
        return np.concatenate([shape, np.zeros(m * self.nominal.shape[1])])

    def thresholds(self, shape: FloatArray) -> FloatArray:
        """(m,) thresholds of rows whose nominal columns are zero."""
        return np.asarray(self.to_thresholds @ shape[: self.to_thresholds.shape[1]])

    def probabilities(self, eta: FloatArray, shape: FloatArray) -> FloatArray:
        """(n, categories) chance of each category at predictors `eta`; nominal columns taken as zero."""
        inside = _distribution(self.thresholds(shape) - as_floats(eta)[:, None], self.link)
        edges = np.pad(inside, ((0, 0), (1, 1)), constant_values=((0, 0), (0.0, 1.0)))
        return np.diff(edges, axis=1)

    def rows(self, eta: FloatArray, shape: FloatArray, *, third: bool) -> Rows:
        """Summed log-likelihood and each row's derivatives.

        Parameters
        ----------
        eta : (n,) predictors
        shape : the likelihood's own parameters
        third : whether third derivatives are wanted too
        """
        parts = self._parts(eta, shape)
        p1, p2, p3 = (parts.upper[i] - parts.lower[i] for i in range(3))
        w = self.weight
        return Rows(
            total=float(w @ parts.log_p) if np.isfinite(parts.log_p).all() else -np.inf,
            d1=-w * p1,
            d2=np.minimum(w * (p2 - p1**2), 0.0),  # the three links are log-concave; far out, rounding is not
            d3=-w * (p3 - 3 * p1 * p2 + 2 * p1**3),
        )

    def values(self, eta: FloatArray, shape: FloatArray) -> FloatArray:
        return self.weight * self._parts(eta, shape).log_p

    def shape_rows(self, eta: FloatArray, shape: FloatArray) -> ShapeRows:
        parts = self._parts(eta, shape)
        (a1, a2, a3), (b1, b2, b3) = parts.upper, parts.lower
        p1, p2 = a1 - b1, a2 - b2
        up, down = self._jacobians()
        w = self.weight[:, None]
        upper, lower = up * w, down * w
        second_a, second_b, second_ab = a2 - a1**2, -b2 - b1**2, a1 * b1
        return ShapeRows(
            by_shape=a1[:, None] * upper - b1[:, None] * lower,
            d1_by_shape=(p1 * a1 - a2)[:, None] * upper + (b2 - p1 * b1)[:, None] * lower,
            d2_by_shape=(a3 - p2 * a1 - 2 * p1 * (a2 - p1 * a1))[:, None] * upper
            - (b3 - p2 * b1 - 2 * p1 * (b2 - p1 * b1))[:, None] * lower,
            second=_second(second_a, second_b, second_ab, self.weight, up, down),
        )

    def _jacobians(self) -> tuple[FloatArray, FloatArray]:
        """(n, k) slope of each row's upper and lower threshold in the shape parameters."""
        m = self.n_categories - 1
        padded = np.vstack(
            [np.zeros(self.to_thresholds.shape[1]), self.to_thresholds, np.zeros(self.to_thresholds.shape[1])]
        )
        places = np.vstack([np.zeros(m), np.eye(m), np.zeros(m)])
        sides = []
        for at in (self.answer + 1, self.answer):
            own = places[at]
            varying = (self.nominal[:, :, None] * own[:, None, :]).reshape(self.n_rows, -1)
            sides.append(np.hstack([padded[at], varying]))
        return sides[0], sides[1]

    def _parts(self, eta: FloatArray, shape: FloatArray) -> "_Parts":
        m, k = self.n_categories - 1, self.to_thresholds.shape[1]
        edges = np.concatenate([[-np.inf], self.thresholds(shape), [np.inf]])
        a, b = edges[self.answer + 1] - eta, edges[self.answer] - eta
        if self.nominal.shape[1]:
            effects = np.pad(self.nominal @ shape[k:].reshape(-1, m), ((0, 0), (1, 1)))
            rows = np.arange(self.n_rows)
            a, b = a + effects[rows, self.answer + 1], b + effects[rows, self.answer]
        return _interval(a, b, self.link)


@dataclass(frozen=True)
class _Parts:
    """log(F(a) - F(b)) = log P, and f, f', f'' at a and at b over P."""

    log_p: FloatArray
    upper: tuple[FloatArray, FloatArray, FloatArray]
    lower: tuple[FloatArray, FloatArray, FloatArray]


def _interval(a: FloatArray, b: FloatArray, link: Link) -> _Parts:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if link == "logit":
            values = _logistic_interval(a, b)
            return _Parts(values[0], (values[1], values[2], values[3]), (values[4], values[5], values[6]))
        if link == "probit":
            log_p = _log_normal_interval(a, b)
            top, bottom = _normal(a, log_p), _normal(b, log_p)
        else:
            a, b = np.minimum(a, FAR), np.minimum(b, FAR)
            log_p = -np.exp(b) + np.log(-np.expm1(np.exp(b) - np.exp(a)))
            top, bottom = _extreme(a, log_p), _extreme(b, log_p)
    return _Parts(np.where(a > b, log_p, -np.inf), top, bottom)


def _logistic_interval(a: FloatArray, b: FloatArray) -> FloatArray:
    """(7, n): log P, and f, f', f'' over P at a and at b; log P is minus infinity where a <= b."""
    if a.size > SHORT_ROWS:
        from stats.ordinal import cumulative_kernels

        return cumulative_kernels.logistic_interval(a, b)
    out = np.zeros((7, a.size))
    up, down = np.exp(-np.abs(a)), np.exp(-np.abs(b))
    # P = F(a) (1 - F(b)) (1 - exp(b - a)), in which nothing cancels
    log_p = np.log(-np.expm1(b - a)) - np.log1p(up) - np.log1p(down)
    log_p = log_p + np.minimum(a, 0.0) - np.maximum(b, 0.0)
    for side, x, small in ((1, a, up), (4, b, down)):
        below = np.where(x > 0, 1.0, small) / (1.0 + small)
        f = np.where(np.isinf(x), 0.0, np.exp(-np.abs(x) - 2.0 * np.log1p(small) - log_p))
        out[side : side + 3] = f, f * (1.0 - 2.0 * below), f * (1.0 - 6.0 * below * (1.0 - below))
    ordered = a > b
    out[0] = np.where(ordered, log_p, -np.inf)
    out[1:, ~ordered] = 0.0
    return out


def _second(
    by_a: FloatArray,
    by_b: FloatArray,
    by_ab: FloatArray,
    weight: FloatArray,
    up: FloatArray,
    down: FloatArray,
) -> FloatArray:
    """(n, k, k) second derivative in the shape parameters, from those in each row's two thresholds."""
    if by_a.size > SHORT_ROWS:
        from stats.ordinal import cumulative_kernels

        return cumulative_kernels.second(by_a, by_b, by_ab, weight, up, down)
    left = (weight * by_a)[:, None] * up + (weight * by_ab)[:, None] * down
    right = (weight * by_b)[:, None] * down + (weight * by_ab)[:, None] * up
    return left[:, :, None] * up[:, None, :] + right[:, :, None] * down[:, None, :]


def _normal(x: FloatArray, log_p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    finite = np.where(np.isfinite(x), x, 0.0)
    f = np.where(np.isfinite(x), np.exp(-0.5 * x**2 - 0.5 * np.log(2 * np.pi) - log_p), 0.0)
    return f, -finite * f, (finite**2 - 1) * f


def _log_normal_interval(a: FloatArray, b: FloatArray) -> FloatArray:
    flip = a + b > 0  # work in the left tail, where nothing cancels
    high, low = np.where(flip, -b, a), np.where(flip, -a, b)
    log_high, log_low = special.log_ndtr(high), special.log_ndtr(low)
    return np.asarray(log_high + np.log(-np.expm1(log_low - log_high)))


def _extreme(x: FloatArray, log_p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    rise = np.exp(x)
    finite = (x > -np.inf) & (x < FAR)
    f = np.where(finite, np.exp(np.where(finite, x, 0.0) - rise - log_p), 0.0)
    rise = np.where(finite, rise, 0.0)
    return f, f * (1 - rise), f * ((1 - rise) ** 2 - rise)


def _distribution(x: FloatArray, link: Link) -> FloatArray:
    if link == "logit":
        return np.asarray(special.expit(x))
    if link == "probit":
        return np.asarray(special.ndtr(x))
    return np.asarray(-np.expm1(-np.exp(np.minimum(x, FAR))))


def _quantile(shares: FloatArray, link: Link) -> FloatArray:
    if link == "logit":
        return np.asarray(special.logit(shares))
    if link == "probit":
        return np.asarray(special.ndtri(shares))
    return np.asarray(np.log(-np.log1p(-shares)))


def _spacing_matrix(spacing: Spacing, m: int) -> FloatArray:
    if spacing == "flexible":
        return np.eye(m)
    if spacing == "equidistant":
        return np.column_stack([np.ones(m), np.arange(m)]) if m > 1 else np.ones((1, 1))
    if spacing in ("symmetric", "mirrored"):
        half = m // 2
        pairs = np.zeros((m, half))
        for j in range(half):
            pairs[half - 1 - j, j], pairs[m - half + j, j] = -1.0, 1.0
        if spacing == "mirrored" and half == 0:
            raise BadData("mirrored thresholds need at least 3 categories")
        return pairs if spacing == "mirrored" else np.column_stack([np.ones(m), pairs])
    raise BadData(f"spacing {spacing!r} is not known; wanted one of {', '.join(get_args(Spacing))}")


def _check_used(made: Cumulative) -> None:
    used = np.bincount(made.answer, weights=made.weight, minlength=made.n_categories) > 0
    needed = used if made.spacing == "flexible" else used[[0, -1]]
    if not needed.all():
        unused = np.flatnonzero(~used)
        raise BadData(
            f"categories {', '.join(map(str, unused))} (counted from 0) were never used, so their "
            f"thresholds have no "
            "estimate; join them with a neighbour"
        )
