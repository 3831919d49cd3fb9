"""Every kind of answer: derivatives against finite differences of the log-density."""

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
STEP = 1e-5


def shape_of(likelihood):
    k = len(likelihood.shape_names)
    return np.array([-1.2, 0.1, 1.4])[:k] if k != 1 else np.array([0.6])


def difference(function, point):
    """Central difference; its error is STEP^2 / 6 times a third derivative below 20, plus 1e-16 / STEP."""
    return (function(point + STEP) - function(point - STEP)) / (2.0 * STEP)


@pytest.mark.parametrize("kind", KINDS)
def test_derivatives_by_the_predictor(kind):
    likelihood, shape = KINDS[kind], shape_of(KINDS[kind])

    def rows(shift):
        return likelihood.rows(ETA + shift, shape, third=True)

    here = rows(0.0)
    assert here.total == pytest.approx(likelihood.values(ETA, shape).sum(), rel=1e-13)
    np.testing.assert_allclose(
        here.d1, difference(lambda s: likelihood.values(ETA + s, shape), 0.0), atol=5e-9, rtol=1e-8
    )
    np.testing.assert_allclose(here.d2, difference(lambda s: rows(s).d1, 0.0), atol=5e-9, rtol=1e-8)
    np.testing.assert_allclose(here.d3, difference(lambda s: rows(s).d2, 0.0), atol=5e-9, rtol=1e-8)


@pytest.mark.parametrize("kind", [k for k in KINDS if KINDS[k].shape_names])
def test_derivatives_by_the_shape(kind):
    likelihood, shape = KINDS[kind], shape_of(KINDS[kind])
    more = likelihood.shape_rows(ETA, shape)
    for j in range(shape.size):
        unit = np.eye(shape.size)[j]

        def rows(shift, unit=unit):
            return likelihood.rows(ETA, shape + shift * unit, third=True)

        def values(shift, unit=unit):
            return likelihood.values(ETA, shape + shift * unit)

        def first(shift, unit=unit):
            return likelihood.shape_rows(ETA, shape + shift * unit).by_shape

        for found, function in (
            (more.by_shape[:, j], values),
            (more.d1_by_shape[:, j], lambda s, rows=rows: rows(s).d1),
            (more.d2_by_shape[:, j], lambda s, rows=rows: rows(s).d2),
            (more.second[:, :, j], first),
        ):
            np.testing.assert_allclose(found, difference(function, 0.0), atol=5e-9, rtol=1e-8)


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
