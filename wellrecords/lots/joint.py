"""Draws that go together: deep rock, deep water and poor yield.

The dependence is a Gaussian copula. Its correlation is estimated from where
each well's readings fell in the distributions that the other wells gave
(their leave-one-out probability integral transforms). A censored reading says
only that its level lies in an interval: the levels are then drawn inside
their intervals by Gibbs sampling, the correlation with them (the extended
rank likelihood: Hoff 2007, "Extending the rank likelihood for semiparametric
copula estimation", Annals of Applied Statistics 1, 265-283).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

LEAST_LEVEL = 1e-4
PRIOR_WELLS = 20.0
"""The correlation is drawn to zero as by so many independent wells."""


def normal_correlation(
    low: np.ndarray, high: np.ndarray, *, sweeps: int = 60, random_state: int | np.random.Generator = 0
) -> np.ndarray:
    """Correlation of normal scores of which only intervals are known.

    Parameters
    ----------
    low, high : ndarray of shape (n, d)
        Levels in [0, 1]: equal where exact; 0 and 1 where not known at all.
    sweeps : int, default=60
        Gibbs sweeps; the second half is averaged.
    random_state : int or Generator, default=0

    Returns
    -------
    ndarray of shape (d, d)
        A correlation matrix, drawn towards independence by `PRIOR_WELLS`.
    """
    n, d = low.shape
    if n == 0:
        return np.eye(d)
    rng = np.random.default_rng(random_state)
    a = ndtri(np.clip(low, LEAST_LEVEL, 1.0 - LEAST_LEVEL))
    b = ndtri(np.clip(high, LEAST_LEVEL, 1.0 - LEAST_LEVEL))
    a, b = np.where(low <= 0.0, -np.inf, a), np.where(high >= 1.0, np.inf, b)
    exact = high - low < 1e-9
    a, b = np.where(exact, np.maximum(a, ndtri(LEAST_LEVEL)), a), np.where(exact, np.minimum(b, -ndtri(LEAST_LEVEL)), b)
    b = np.where(exact, a, b)
    with np.errstate(invalid="ignore"):
        z = np.where(exact, a, ndtri(ndtr(a) + rng.uniform(0.01, 0.99, size=a.shape) * (ndtr(b) - ndtr(a))))
    correlation, total = np.eye(d), np.zeros((d, d))
    for sweep in range(sweeps):
        for column in range(d):
            others = np.delete(np.arange(d), column)
            slope = np.linalg.solve(correlation[np.ix_(others, others)], correlation[others, column])
            mean = z[:, others] @ slope
            sd = np.sqrt(max(1.0 - correlation[column, others] @ slope, 1e-6))
            first, last = ndtr((a[:, column] - mean) / sd), ndtr((b[:, column] - mean) / sd)
            level = np.clip(first + rng.uniform(size=n) * (last - first), 1e-12, 1.0 - 1e-12)
            z[:, column] = np.where(exact[:, column], z[:, column], mean + sd * ndtri(level))
        moment = z.T @ z + PRIOR_WELLS * np.eye(d)
        scale = np.sqrt(np.diag(moment))
        correlation = moment / np.outer(scale, scale)
        if sweep >= sweeps // 2:
            total += correlation
    return total / (sweeps - sweeps // 2)


def copula_levels(correlation: np.ndarray, n_draws: int, random_state: int | np.random.Generator = 0) -> np.ndarray:
    """Levels in (0, 1) tied by a Gaussian copula, each column evenly spread.

    Parameters
    ----------
    correlation : ndarray of shape (d, d)
    n_draws : int
    random_state : int or Generator, default=0

    Returns
    -------
    ndarray of shape (n_draws, d)
        Each column is a permutation of ``(i + 0.5) / n_draws``, so that a
        marginal drawn through it has no sampling noise of its own.
    """
    rng = np.random.default_rng(random_state)
    root = np.linalg.cholesky(correlation + 1e-9 * np.eye(len(correlation)))
    z = rng.standard_normal((n_draws, len(correlation))) @ root.T
    rank = np.argsort(np.argsort(z, axis=0), axis=0)
    return (rank + 0.5) / n_draws
