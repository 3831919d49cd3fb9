"""Every kind of answer: log-density and derivatives against the same written out in 40 digits (mpmath)."""

import mpmath
import numpy as np
import pytest

from stats.fixed.binary import Binary
from stats.ordinal.cumulative import Cumulative
from stats.pairs.davidson import Davidson

ETA = np.linspace(-4.0, 4.0, 36)
RNG = np.random.default_rng(8)
COUNTS = RNG.integers(0, 4, (3, ETA.size)).astype(float)
KINDS = {
    **{f"binary-{link}": Binary.of(COUNTS[0], COUNTS[1], link) for link in ("logit", "probit", "cloglog")},
    **{
        f"cumulative-{link}": Cumulative.of(np.arange(ETA.size) % 4, weight=COUNTS[0], link=link)
        for link in ("logit", "probit")
    },
    "mirrored": Cumulative.of(np.arange(ETA.size) % 3, spacing="mirrored"),
    "davidson": Davidson.of(*COUNTS),
}
DIGITS = 40
CLOSE = {"rtol": 1e-10, "atol": 1e-10}
"""Terms up to the cube of the predictor (64) cancel at 1e-16: 1e-14, with room for other kernels."""


def shape_of(likelihood):
    k = len(likelihood.shape_names)
    return np.array([-1.2, 0.1, 1.4])[:k] if k != 1 else np.array([0.6])


DISTRIBUTIONS = {
    "logit": lambda x: 1 / (1 + mpmath.exp(-x)),
    "probit": mpmath.ncdf,
    "cloglog": lambda x: 1 - mpmath.exp(-mpmath.exp(x)),
}


def log_density(kind, row):
    """Row `row` of a kind of answer as a function of (predictor, *shape), from its definition."""
    name, _, link = kind.partition("-")
    if name == "binary":
        share, (won, lost) = DISTRIBUTIONS[link], COUNTS[:2, row]
        return lambda eta: won * mpmath.log(share(eta)) + lost * mpmath.log(1 - share(eta))
    if name == "davidson":
        won, tied, lost = COUNTS[:, row]

        def davidson(eta, log_nu):
            parts = mpmath.exp(eta / 2), mpmath.exp(log_nu), mpmath.exp(-eta / 2)
            return sum(
                n * mpmath.log(one / sum(parts)) for n, one in zip((won, tied, lost), parts, strict=True)
            )

        return davidson
    weight, share = (
        (1, DISTRIBUTIONS["logit"]) if name == "mirrored" else (COUNTS[0, row], DISTRIBUTIONS[link])
    )

    def ordered(eta, *shape):
        thresholds = (-shape[0], shape[0]) if name == "mirrored" else shape
        below = [0, *(share(threshold - eta) for threshold in thresholds), 1]
        at = row % (len(thresholds) + 1)
        return weight * mpmath.log(below[at + 1] - below[at])

    return ordered


def exactly(kind, *orders):
    """(n,) derivative of each row, so many times by the predictor and by each shape parameter."""
    point = [float(value) for value in shape_of(KINDS[kind])]
    with mpmath.workdps(DIGITS):
        return np.array(
            [
                float(mpmath.diff(log_density(kind, i), (mpmath.mpf(eta), *map(mpmath.mpf, point)), orders))
                for i, eta in enumerate(ETA.tolist())
            ]
        )


@pytest.mark.parametrize("kind", KINDS)
def test_derivatives_by_the_predictor(kind):
    likelihood, shape = KINDS[kind], shape_of(KINDS[kind])
    here = likelihood.rows(ETA, shape, third=True)
    none = (0,) * shape.size
    np.testing.assert_allclose(likelihood.values(ETA, shape), exactly(kind, 0, *none), rtol=1e-12, atol=1e-13)
    assert here.total == pytest.approx(likelihood.values(ETA, shape).sum(), rel=1e-13)
    for order, found in enumerate((here.d1, here.d2, here.d3), start=1):
        np.testing.assert_allclose(found, exactly(kind, order, *none), **CLOSE)


@pytest.mark.parametrize("kind", [k for k in KINDS if KINDS[k].shape_names])
def test_derivatives_by_the_shape(kind):
    likelihood, shape = KINDS[kind], shape_of(KINDS[kind])
    more = likelihood.shape_rows(ETA, shape)
    unit = np.eye(shape.size, dtype=int)
    for j in range(shape.size):
        by_shape = (more.by_shape[:, j], more.d1_by_shape[:, j], more.d2_by_shape[:, j])
        for order, found in enumerate(by_shape):
            np.testing.assert_allclose(found, exactly(kind, order, *unit[j]), **CLOSE)
        for i in range(j + 1):
            np.testing.assert_allclose(more.second[:, i, j], exactly(kind, 0, *(unit[i] + unit[j])), **CLOSE)
            np.testing.assert_array_equal(more.second[:, i, j], more.second[:, j, i])


@pytest.mark.parametrize("kind", KINDS)
def test_far_predictors_give_finite_derivatives(kind):
    likelihood, shape = KINDS[kind], shape_of(KINDS[kind])
    far = np.where(np.arange(ETA.size) % 2 == 0, 30.0, -30.0)
    rows = likelihood.rows(far, shape, third=True)
    assert np.isfinite(np.concatenate([[rows.total], rows.d1, rows.d2, rows.d3])).all()
    assert (rows.d2 <= 0.0).all()


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
def test_no_curvature_of_ordered_answers_is_positive_however_far_out(link):
    """Each link is log-concave; rounding once gave +1e32 under cloglog at a predictor of -39."""
    likelihood = Cumulative.of(np.array([0, 1, 2]), link=link)
    for shape in (np.array([-1.0, 1.0]), np.array([-0.5, -0.49])):
        for eta in np.linspace(-60.0, 60.0, 241):
            assert not (likelihood.rows(np.full(3, eta), shape, third=False).d2 > 0.0).any()
