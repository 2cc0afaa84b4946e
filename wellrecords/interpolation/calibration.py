r"""From what kriging says to distributions that are right as often as they claim.

Two corrections, both learnt from leave-one-place-out predictions:

- the *local scale*: where the nearest wells were predicted badly, the next
  one will be too. The kriging standard deviation is multiplied by the root
  mean square of the standardised residuals around the place;
- the *residual distribution*: what remains is not normal (heavy tails, heaps
  on round numbers), so its empirical distribution replaces the normal one.

A censored reading has a standardised residual that is only known to lie in an
interval. The distribution is therefore the self-consistent one (Turnbull, B.
W. 1976, J. R. Statist. Soc. B 38, 290-295; Efron 1967), on a fine grid:

.. math:: p_j \leftarrow \frac{1}{n + \kappa} \Bigl( \kappa\, \pi_j +
    \sum_i \frac{[j \in I_i]\, p_j}{\sum_{l \in I_i} p_l} \Bigr)

with :math:`\pi` the standard normal, worth :math:`\kappa` observations: it
decides only where the readings cannot, as beyond the last uncensored value.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from wellrecords.interpolation.censoring import Cavities, truncated_moments
from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import ResidualDistribution

LEVELS = np.concatenate([[0.001, 0.0025], np.arange(1, 200) / 200.0, [0.9975, 0.999]])
PRIOR_WEIGHT = 10.0  # observations that the normal shape is worth
GRID_SPAN, GRID_STEP = 8.0, 0.02


def expected_squares(low: FloatArray, high: FloatArray, cavities: Cavities) -> FloatArray:
    """Squared standardised residual of each well; its expectation where the reading is an interval."""
    exact = low == high
    mean, variance = truncated_moments(
        np.where(exact, low - 1.0, low), np.where(exact, high + 1.0, high), cavities.mean, cavities.variance
    )
    with np.errstate(invalid="ignore"):
        squares = np.where(exact, (low - cavities.mean) ** 2, (mean - cavities.mean) ** 2 + variance)
    return np.minimum(squares / cavities.variance, 25.0)


def local_scale(square_sum: FloatArray, count: FloatArray, prior_weight: float = PRIOR_WEIGHT) -> FloatArray:
    """Root mean square of standardised residuals, drawn to 1 where wells are few."""
    return np.sqrt((square_sum + prior_weight) / (count + prior_weight))


def residual_distribution(
    low: FloatArray,
    high: FloatArray,
    weights: FloatArray,
    prior_weight: float = PRIOR_WEIGHT,
    sweeps: int = 200,
) -> ResidualDistribution:
    """Self-consistent distribution of standardised residuals known as intervals.

    Parameters
    ----------
    low, high : ndarrays of shape (n,)
        Standardised residual intervals; equal where exact, infinite where
        open.
    weights : ndarray of shape (n,)
    prior_weight : float
    sweeps : int
        At most this many.

    Returns
    -------
    ResidualDistribution
    """
    edges = np.arange(-GRID_SPAN, GRID_SPAN + GRID_STEP / 2, GRID_STEP)
    cells = len(edges) - 1
    prior = np.diff(ndtr(edges))
    prior /= prior.sum()
    first = np.clip(np.floor((low + GRID_SPAN) / GRID_STEP), 0, cells - 1).astype(np.intp)
    last = np.clip(np.ceil((high + GRID_SPAN) / GRID_STEP) - 1, 0, cells - 1).astype(np.intp)
    last = np.maximum(first, last)
    narrow = first == last
    known = np.bincount(first[narrow], weights=weights[narrow], minlength=cells) + prior_weight * prior
    first, last, share = first[~narrow], last[~narrow], weights[~narrow]
    mass = known / known.sum()
    for _ in range(sweeps if len(first) else 0):
        cumulative = np.concatenate([[0.0], np.cumsum(mass)])
        per_mass = share / np.maximum(cumulative[last + 1] - cumulative[first], 1e-300)
        # Every cell between first and last receives per_mass times its mass: a difference array.
        step = np.bincount(first, weights=per_mass, minlength=cells + 1)
        step -= np.bincount(last + 1, weights=per_mass, minlength=cells + 1)
        updated = known + mass * np.cumsum(step[:-1])
        updated /= updated.sum()
        moved = np.abs(updated - mass).sum()
        mass = updated
        if moved < 1e-6:
            break
    cumulative = np.concatenate([[0.0], np.cumsum(mass)])
    return ResidualDistribution(LEVELS, np.interp(LEVELS, cumulative, edges))
