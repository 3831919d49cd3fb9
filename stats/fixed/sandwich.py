"""Standard errors that hold when a listener's answers hang together: the clustered sandwich."""

import numpy as np

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray, Likelihood
from stats.fixed.newton import inverse
from stats.pairs.pair_design import Columns, Design


def covariance(
    likelihood: Likelihood,
    x: FloatArray | Design,
    beta: FloatArray,
    shape: FloatArray,
    information: FloatArray,
    cluster: IntArray,
    *,
    offset: FloatArray | None = None,
) -> FloatArray:
    """Covariance of fixed effects and shape from sums of scores over clusters.

    Parameters
    ----------
    x : (n, p) array, the fixed columns
    beta : (p,) fixed effects
    offset : (n,) added to the predictor of each row; 0 if not given
    information : (p + k, p + k) observed information at the estimates
    cluster : (n,) listener of each row, from 0; n rows as in the likelihood, so a row of one listener only

    With g clusters the sum is multiplied by g / (g - 1), and a t quantile with g - 1 degrees of freedom
    belongs to it; with fewer than about 30 clusters it is still somewhat small. Raises BadData for fewer
    than 2 clusters.

    Source: Liang & Zeger 1986, Biometrika 73; Cameron & Miller 2015, J. Hum. Resour. 50 (correction).
    """
    design = Columns(x) if isinstance(x, np.ndarray) else x
    number = np.unique(cluster, return_inverse=True)[1]
    groups = int(number.max()) + 1
    if groups < 2:
        raise BadData("one listener only: no spread between listeners to take errors from")
    eta = design.predictor(beta) + (0.0 if offset is None else offset)
    score = likelihood.rows(eta, shape, third=False).d1[:, None] * design.dense()
    if shape.size:
        score = np.hstack([score, likelihood.shape_rows(eta, shape).by_shape])
    sums = np.zeros((groups, score.shape[1]))
    np.add.at(sums, number, score)
    bread = inverse(information)
    return bread @ (sums.T @ sums) @ bread * groups / (groups - 1)
