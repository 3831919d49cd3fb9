"""Makes [wine_laplace_tight] of ordinal.toml: numpy and scipy alone, nothing of this project.

Run: python tests/published/wine_laplace.py (numpy 2.4, scipy 1.17)
"""

import csv
from pathlib import Path

import numpy as np
from scipy import optimize

FAR = 60.0  # a logit beyond every answer


def laplace(point, rating, x, judge):
    """Laplace log-likelihood at (2 effects, 4 thresholds, standard deviation), judge by judge."""
    beta, edges, sd = point[:2], np.concatenate([[-FAR], point[2:6], [FAR]]), point[6]
    total = 0.0
    for one in np.unique(judge):
        here = judge == one
        upper, lower, eta = edges[rating[here] + 1], edges[rating[here]], x[here] @ beta
        u = 0.0
        for _ in range(60):
            a, b = (1 / (1 + np.exp(-(edge - eta - sd * u))) for edge in (upper, lower))
            p, f, g = a - b, a * (1 - a), b * (1 - b)
            slope = u + sd * ((f - g) / p).sum()
            bend = (f * (1 - 2 * a) - g * (1 - 2 * b)) / p - ((f - g) / p) ** 2
            curvature = 1 - sd**2 * bend.sum()
            u -= slope / curvature
        total += np.log(p).sum() - u * u / 2 - np.log(curvature) / 2
    return total


def main():
    with (Path(__file__).parent / "wine.csv").open() as file:
        rows = list(csv.DictReader(file))
    rating = np.array([int(row["rating"]) - 1 for row in rows])
    x = np.array([[row["temp"] == "warm", row["contact"] == "yes"] for row in rows], dtype=float)
    judge = np.array([row["judge"] for row in rows])
    start = np.array([3.06, 1.83, -1.62, 1.51, 4.23, 6.09, 1.13])

    def slope(point):  # five-point differences: error below 1e-11
        out = np.empty(7)
        for j in range(7):
            step = np.zeros(7)
            step[j] = 1e-3
            values = [laplace(point + k * step, rating, x, judge) for k in (-2, -1, 1, 2)]
            out[j] = (values[0] - 8 * values[1] + 8 * values[2] - values[3]) / 12e-3
        return out

    found = optimize.root(slope, start, tol=1e-12)
    print("largest slope", np.abs(slope(found.x)).max())
    print("effects", found.x[:2].tolist(), "thresholds", found.x[2:6].tolist(), "spread", found.x[6])
    print("loglik", laplace(found.x, rating, x, judge))


if __name__ == "__main__":
    main()
