r"""Scores of predictive distributions against what was read.

Lower is better for `crps` and `pinball_loss`; `coverage` should be what it
claims; `width` says at what price; `bias` should be nought.

References
----------
Gneiting, T. and Raftery, A. E. (2007). Strictly Proper Scoring Rules,
Prediction, and Estimation. J. Am. Stat. Assoc. 102, 359-378 (CRPS, quantile
score, interval). Koenker, R. and Bassett, G. (1978). Econometrica 46, 33-50
(pinball loss).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from wellrecords.interpolation.covariance import FloatArray

LEVELS: FloatArray = np.arange(1, 100) / 100.0  # at which a distribution is read for its CRPS


def pinball_loss(observed: npt.ArrayLike, quantile: npt.ArrayLike, level: npt.ArrayLike) -> FloatArray:
    """Pinball loss of a quantile: level times what it missed upwards, 1 - level times what it missed downwards.

    Parameters
    ----------
    observed : array-like of shape (n,) or broadcasting against `quantile`
    quantile, level : array-like

    Returns
    -------
    ndarray, each loss in the unit of the readings
    """
    miss = np.asarray(observed, dtype=float) - np.asarray(quantile, dtype=float)
    p = np.asarray(level, dtype=float)
    return np.maximum(p * miss, (p - 1.0) * miss)


def crps(observed: npt.ArrayLike, quantiles: npt.ArrayLike, levels: npt.ArrayLike = LEVELS) -> FloatArray:
    """Continuous ranked probability score, from quantiles at evenly spaced levels.

    It is twice the pinball loss, integrated over the level.

    Parameters
    ----------
    observed : array-like of shape (n,)
    quantiles : array-like of shape (n, q)
    levels : array-like of shape (q,)

    Returns
    -------
    ndarray of shape (n,)
    """
    z, q = np.asarray(observed, dtype=float), np.asarray(quantiles, dtype=float)
    if q.shape != (len(z), np.size(levels)):
        msg = f"quantiles must have shape ({len(z)}, {np.size(levels)}), a row a reading; got {q.shape}."
        raise ValueError(msg)
    return 2.0 * pinball_loss(z[:, None], q, levels).mean(axis=1)


def crps_of_draws(observed: npt.ArrayLike, draws: npt.ArrayLike) -> FloatArray:
    """Continuous ranked probability score of an ensemble: E|X - z| - E|X - X'| / 2, for all pairs of draws.

    Parameters
    ----------
    observed : array-like of shape (n,)
    draws : array-like of shape (n_draws, n)

    Returns
    -------
    ndarray of shape (n,)
    """
    z, x = np.asarray(observed, dtype=float), np.sort(np.asarray(draws, dtype=float), axis=0)
    count = len(x)
    rank = 2.0 * np.arange(count) - count + 1.0  # sum over pairs |x_i - x_j| = sum of rank * x, twice
    return np.abs(x - z).mean(axis=0) - (rank[:, None] * x).sum(axis=0) / count**2


def coverage(observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike) -> float:
    """Share of the readings inside their interval, ends included."""
    z = np.asarray(observed, dtype=float)
    return float(np.mean((z >= np.asarray(low)) & (z <= np.asarray(high))))


def width(low: npt.ArrayLike, high: npt.ArrayLike) -> float:
    """Mean width of the intervals."""
    return float(np.mean(np.asarray(high, dtype=float) - np.asarray(low, dtype=float)))


def bias(observed: npt.ArrayLike, predicted: npt.ArrayLike) -> float:
    """Mean of predicted less observed."""
    return float(np.mean(np.asarray(predicted, dtype=float) - np.asarray(observed, dtype=float)))
