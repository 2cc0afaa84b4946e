r"""Mean and variance of readings known as intervals, space taken no account of.

The maximum likelihood fit of a normal law to censored readings has two ways
to go astray, and what it says starts everything else:

- "at most 40" beside "at least 60" and little between: the likelihood rises
  for ever with the spread. The spread is therefore held under
  `ENDS` / q standard deviations of the finite ends, q being twice the smaller
  share of the two open sides (1 where all readings are open, half each way);
- half of the wells dry and half heaped at 5: any law that is narrow enough
  about 5 explains the readings best. Where most finite ends are one value,
  the spread is held above what is taken for a spread that nothing has
  measured, less as fewer readings are open; and where all intervals share a
  stretch, above that of a law that is even on the stretch.

Between these bounds the fit is the maximum likelihood's own.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize

from wellrecords.interpolation.censoring import LOG_SQRT_2PI, log_mass
from wellrecords.interpolation.covariance import FloatArray

ENDS = 2.0  # standard deviations of the finite ends that the law may have, where every reading is open
SHARE_OF_WEAK = 0.4  # of the spread that nothing has measured: no upper bound lies below
DIGITS = 6  # of the fit that are kept, in standard deviations of the ends: rounding must not tell wells' order or units


def finite_ends(low: FloatArray, high: FloatArray) -> FloatArray:
    """Return the reading, the finite end of an open one, or the middle of a closed interval, shape (n,)."""
    bounded = np.isfinite(low) & np.isfinite(high)
    middle = 0.5 * (np.where(bounded, low, 0.0) + np.where(bounded, high, 0.0))
    return np.where(bounded, middle, np.where(np.isfinite(low), low, high))


def sd_bounds(low: FloatArray, high: FloatArray, weak_sd: float) -> tuple[float, float]:
    """Least and most that the standard deviation of readings may be; 0 and infinite where all are exact.

    Parameters
    ----------
    low, high : ndarrays of shape (n,)
        Finite at one end at least.
    weak_sd : float
        A spread to reckon with where nothing has measured one.

    Returns
    -------
    least, most : float
    """
    below, above = float(np.mean(np.isneginf(low))), float(np.mean(np.isposinf(high)))
    if np.all(low == high):
        return 0.0, np.inf
    ends = finite_ends(low, high)
    heap = float(np.unique(ends, return_counts=True)[1].max()) / len(ends)
    heaped = weak_sd * np.sqrt(below + above) * max(0.0, 2.0 * heap - 1.0)
    shared = max(0.0, float(high.min() - low.max())) / np.sqrt(12.0)
    least = float(max(heaped, shared))
    both = 2.0 * min(below, above)
    if both == 0.0:
        return least, np.inf
    return least, max(ENDS / both * float(np.std(ends)), SHARE_OF_WEAK * weak_sd, least)


def mean_and_sd(low: FloatArray, high: FloatArray, weak_sd: float, least_sd: float) -> tuple[float, float]:
    """Fit a normal law to readings of which some are intervals, its spread held within `sd_bounds`.

    Parameters
    ----------
    low, high : ndarrays of shape (n,)
    weak_sd : float
        As in `sd_bounds`.
    least_sd : float
        No law is narrower.

    Returns
    -------
    mean, sd : float
    """
    ends = finite_ends(low, high)
    centre, scale = float(np.median(ends)), float(np.std(ends))
    scale = scale if scale > least_sd else max(weak_sd, least_sd)
    a, b = (low - centre) / scale, (high - centre) / scale
    exact = a == b
    reading, a, b = a[exact], a[~exact], b[~exact]
    least, most = (bound / scale for bound in sd_bounds(low, high, weak_sd))
    limits = float(np.log(max(least, least_sd / scale))), None if np.isinf(most) else float(np.log(most))

    def loss(parameters: FloatArray) -> tuple[float, FloatArray]:
        mean, sd = parameters[0], np.exp(parameters[1])
        z, za, zb = (reading - mean) / sd, (a - mean) / sd, (b - mean) / sd
        mass = log_mass(za, zb)
        at_a, at_b = (np.exp(-0.5 * end**2 - LOG_SQRT_2PI - mass) for end in (za, zb))
        total = np.sum(-0.5 * z**2) - len(z) * parameters[1] + np.sum(mass)
        by_mean = (np.sum(z) + np.sum(at_a - at_b)) / sd
        turn = np.where(np.isfinite(za), za, 0.0) * at_a - np.where(np.isfinite(zb), zb, 0.0) * at_b
        by_log_sd = np.sum(z**2) - len(z) + np.sum(turn)
        return -float(total) / len(low), -np.array([by_mean, by_log_sd]) / len(low)

    start = np.array([0.0, np.clip(0.0, limits[0], np.inf if limits[1] is None else limits[1])])
    found = minimize(
        loss,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=[(None, None), limits],
        options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500},
    ).x
    mean, log_sd = np.round(found, DIGITS)
    return centre + scale * float(mean), scale * float(np.exp(log_sd))
