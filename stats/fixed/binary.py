"""Binary answers (first or second, yes or no) under a logit, probit or cloglog link."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import erfcx, expit, log_expit, log_ndtr

from stats.errors import BadData
from stats.fixed.likelihood import SHORT_ROWS, FloatArray, Rows, ShapeRows, as_floats, no_shape

Link = Literal["logit", "probit", "cloglog"]
_ETA_LIMIT = 500.0  # beyond it a cloglog mean overflows; no finite data reach it


@dataclass(frozen=True)
class Binary:
    """`won` successes and `lost` failures in each row; counts, fractions allowed, both shape (n,)."""

    won: FloatArray
    lost: FloatArray
    link: Link = "logit"

    @classmethod
    def of(cls, won: FloatArray, lost: FloatArray, link: Link = "logit") -> "Binary":
        """Checked answers; raises BadData on impossible counts, unequal lengths, unknown links.

        Parameters
        ----------
        won, lost : (n,) counts of one length
        link : the distribution that the predictor goes through
        """
        won, lost = as_floats(won), as_floats(lost)
        if won.ndim != 1 or won.shape != lost.shape or won.size == 0:
            raise BadData(f"won has shape {won.shape}, lost {lost.shape}; wanted the same length n >= 1")
        if not (np.isfinite(won).all() and np.isfinite(lost).all()) or min(won.min(), lost.min()) < 0:
            raise BadData("answer counts must be finite and not negative")
        if link not in ("logit", "probit", "cloglog"):
            raise BadData(f"link {link!r} is unknown; use logit, probit or cloglog")
        return cls(won, lost, link)

    @property
    def n_rows(self) -> int:
        return int(self.won.size)

    @property
    def shape_names(self) -> tuple[str, ...]:
        return ()

    def start_shape(self) -> FloatArray:
        return np.zeros(0)

    def rows(self, eta: FloatArray, shape: FloatArray, *, third: bool) -> Rows:
        """Summed log-likelihood and each row's derivatives.

        Parameters
        ----------
        eta : (n,) predictors
        shape : the likelihood's own parameters
        third : whether third derivatives are wanted too
        """
        if self.link == "logit":
            return Rows(*self._logit_rows(eta))
        value, d1, d2, d3 = self._sides(eta)
        return Rows(float(value.sum()), d1, d2, d3)

    def _logit_rows(self, eta: FloatArray) -> tuple[float, FloatArray, FloatArray, FloatArray]:
        if eta.size <= SHORT_ROWS:
            return _logit_rows(self.won, self.lost, eta)
        from stats.fixed import binary_kernels

        return binary_kernels.logit_rows(self.won, self.lost, eta)

    def values(self, eta: FloatArray, shape: FloatArray) -> FloatArray:
        if self.link == "logit":
            return np.asarray(self.won * log_expit(eta) + self.lost * log_expit(-eta))
        return self._sides(eta)[0]

    def _sides(self, eta: FloatArray) -> list[FloatArray]:
        if self.link == "probit":
            win, loss, signs = _probit_side(eta), _probit_side(-eta), (1.0, -1.0, 1.0, -1.0)
        else:
            win, loss, signs = _cloglog_win(eta), _cloglog_loss(eta), (1.0, 1.0, 1.0, 1.0)
        return [self.won * w + s * self.lost * v for w, v, s in zip(win, loss, signs, strict=True)]

    def shape_rows(self, eta: FloatArray, shape: FloatArray) -> ShapeRows:
        return no_shape(self.n_rows)

    def mean(self, eta: FloatArray) -> FloatArray:
        """Probability of success at predictor `eta`."""
        return mean(eta, self.link)


def mean(eta: FloatArray, link: Link) -> FloatArray:
    """Probability of success at predictor `eta` under `link`."""
    if link == "logit":
        return np.asarray(expit(eta))
    if link == "probit":
        return np.asarray(np.exp(log_ndtr(eta)))
    return np.asarray(-np.expm1(-np.exp(np.minimum(eta, _ETA_LIMIT))))


def log_mean(eta: FloatArray, link: Link) -> FloatArray:
    """Logarithm of the probability of success, exact where that probability is tiny."""
    if link == "logit":
        return np.asarray(log_expit(eta))
    if link == "probit":
        return np.asarray(log_ndtr(eta))
    return np.asarray(_cloglog_win(eta)[0])


def _logit_rows(
    won: FloatArray, lost: FloatArray, eta: FloatArray
) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """Log-likelihood and three derivatives of each row; `binary_kernels` has the same for many rows."""
    small = np.exp(-np.abs(eta))
    p_less = small / (1.0 + small)
    total, up = won + lost, eta > 0.0
    value = np.sum(won * np.minimum(eta, 0.0) - lost * np.maximum(eta, 0.0) - total * np.log1p(small))
    p = np.where(up, 1.0 - p_less, p_less)
    # won - total p, written so that nothing cancels when one side is certain
    d1 = won * np.where(up, p_less, 1.0 - p_less) - lost * p
    spread = total * p_less * (1.0 - p_less)
    return float(value), d1, -spread, -spread * (1.0 - 2.0 * p)


def _probit_side(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """log of the normal distribution function at z with three derivatives."""
    ratio = np.sqrt(2.0 / np.pi) / np.maximum(erfcx(-z / np.sqrt(2.0)), 1e-300)
    ratio = np.where(z > 25.0, np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi), ratio)
    near = z + ratio
    return log_ndtr(z), ratio, -ratio * near, ratio * (near * (z + 2.0 * ratio) - 1.0)


def _cloglog_win(eta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """log(1 - exp(-m)) with m = exp(eta), and three derivatives with respect to eta."""
    m = np.exp(np.clip(eta, -_ETA_LIMIT, _ETA_LIMIT))
    with np.errstate(over="ignore", invalid="ignore"):
        # m / expm1(m): 1 for small m, 0 for large m
        g = np.where(m < 1e-8, 1.0 - m / 2.0, np.where(m > 700.0, 0.0, m / np.expm1(np.minimum(m, 700.0))))
    slope = np.where(m < 1e-4, -m / 2.0 + m * m / 12.0, 1.0 - m - g)  # d log g / d eta
    # d slope / d eta = -m - g slope
    bend = np.where(m < 1e-4, -m / 2.0 + m * m / 6.0, -m - g * slope)
    value = np.where(m > 1e-4, np.log(-np.expm1(-np.maximum(m, 1e-300))), eta - m / 2.0 + m * m / 24.0)
    big = g == 0.0
    return (
        value,
        g,
        np.where(big, 0.0, g * slope),
        np.where(big, 0.0, g * (slope * slope + bend)),
    )


def _cloglog_loss(eta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    m = np.exp(np.clip(eta, -_ETA_LIMIT, _ETA_LIMIT))
    return -m, -m, -m, -m
