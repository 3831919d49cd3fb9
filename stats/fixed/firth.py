"""Fixed effects of binary answers by penalised likelihood: finite even when the answers are separated."""

import numpy as np

from stats.errors import NotConverged
from stats.fixed import binary, newton
from stats.fixed.binary import Binary
from stats.fixed.likelihood import FloatArray
from stats.fixed.newton import Maximum

MAX_STEPS = 500
_STEP_LIMIT = 5.0  # largest change of a predictor in one step
_SCORE = 1e-18  # squared step in standard errors


def maximise(
    answers: Binary,
    x: FloatArray,
    *,
    offset: FloatArray | None = None,
    max_steps: int = MAX_STEPS,
    tolerance: float = _SCORE,
) -> Maximum:
    """Effects that maximise loglik + log det(expected information) / 2; under a logit this is Firth's fit.

    Parameters
    ----------
    answers : of n rows
    max_steps : Newton steps before NotConverged
    tolerance : largest score left
    x : (n, p)
    offset : (n,), zeros if not given

    `loglik` of the result is without the penalty; `information` is the expected one.

    Raises
    ------
    NotIdentified, NotConverged

    Source: Firth 1993, Biometrika 80(1); Heinze & Schemper 2002, Stat. Med. 21.
    """
    base = np.zeros(x.shape[0]) if offset is None else offset
    beta = np.zeros(x.shape[1])
    for done in range(max_steps):
        score, information = penalised_score(answers, x, base + x @ beta)
        step = newton.solve(information, score)
        longest = float(np.abs(x @ step).max(initial=0.0))
        if float(score @ step) < tolerance:
            value = float(answers.values(base + x @ beta, np.zeros(0)).sum())
            return Maximum(beta, np.zeros(0), information, value, done)
        beta = beta + step * min(1.0, _STEP_LIMIT / max(longest, 1e-300))
    raise NotConverged(f"penalised fit: {max_steps} steps, last score {float(score @ step):.1e}")


def penalised_score(answers: Binary, x: FloatArray, eta: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gradient of the penalised log-likelihood, and the expected information, at predictors `eta`.

    Parameters
    ----------
    answers : of n rows
    x : (n, p) array, the fixed columns
    """
    weight, log_slope = expected_weight(eta, answers.link)
    weight = weight * (answers.won + answers.lost)
    information = x.T @ (weight[:, None] * x)
    solved = newton.solve(information, x.T)
    hat = weight * np.einsum("ij,ji->i", x, solved)
    d1 = answers.rows(eta, np.zeros(0), third=False).d1
    return x.T @ (d1 + 0.5 * hat * log_slope), information


def expected_weight(eta: FloatArray, link: binary.Link) -> tuple[FloatArray, FloatArray]:
    """Expected information of one answer at `eta`, and the derivative of its logarithm."""
    if link == "logit":
        p = binary.mean(eta, "logit")
        return np.maximum(p * binary.mean(-eta, "logit"), 1e-300), 1.0 - 2.0 * p
    win = Binary(np.ones_like(eta), np.zeros_like(eta), link).rows(eta, np.zeros(0), third=False)
    loss = Binary(np.zeros_like(eta), np.ones_like(eta), link).rows(eta, np.zeros(0), third=False)
    # information = -(product of the two first derivatives), since p d1_win + (1 - p) d1_loss = 0
    weight = np.maximum(-win.d1 * loss.d1, 1e-300)
    return weight, win.d2 / np.where(win.d1 == 0, 1.0, win.d1) + loss.d2 / np.where(
        loss.d1 == 0, 1.0, loss.d1
    )
