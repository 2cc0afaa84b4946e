"""Covariance parameters by leave-one-out predictive score.

The parameters are those under which each well is best predicted by the
others (Rasmussen and Williams 2006, section 5.4.2; Chilès and Delfiner 2012,
section 2.6.3 on fitting by cross-validation): the mean log probability of
what was read, a density for an exact reading and the probability of its
interval for a censored one. Weak penalties keep the search from the known
trap of wide intervals, where a field of nothing but nugget scores as well as
any other.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize

from wellrecords.interpolation.censoring import Sites, leave_out, log_probability
from wellrecords.interpolation.covariance import Covariance, CovarianceKind, FloatArray
from wellrecords.interpolation.neighbours import IntArray, Places

NUGGET_SHARE = (0.02, 0.98)
SUBSET = 1_000  # places scored in a fit


def start_covariance(kind: CovarianceKind, places: Places, variance: float) -> Covariance:
    """Return a sensible model before any fit: half nugget, a range of a tenth of the region."""
    spread = float(np.hypot(*np.ptp(places.coordinates, axis=0))) if places.count > 1 else 0.0
    return Covariance(kind, 0.5 * variance, max(spread / 10.0, 1.0), 0.5 * variance)


def fit_covariance(
    start: Covariance,
    places: Places,
    sites: Sites,
    low: FloatArray,
    high: FloatArray,
    neighbours: IntArray,
    random_state: np.random.Generator,
    n_jobs: int = 1,
) -> Covariance:
    """Maximise the leave-one-out score over sill, nugget and range, the sites held fixed.

    Returns
    -------
    Covariance
    """
    subset = np.arange(places.count)
    if places.count > SUBSET:
        subset = np.sort(random_state.choice(places.count, SUBSET, replace=False))
    total = start.sill + start.nugget
    spread = float(np.hypot(*np.ptp(places.coordinates, axis=0)))
    limits = np.log([spread / 1000.0, spread])

    def model(parameters: FloatArray) -> Covariance:
        share = NUGGET_SHARE[0] + (NUGGET_SHARE[1] - NUGGET_SHARE[0]) / (1.0 + np.exp(-parameters[1]))
        variance = total * np.exp(parameters[0])
        range_m = float(np.exp(np.clip(parameters[2], *limits)))
        return Covariance(start.kind, (1.0 - share) * variance, range_m, share * variance)

    def loss(parameters: FloatArray) -> float:
        cavities, wells = leave_out(
            model(parameters), places, sites, neighbours, subset, with_crowd=False, n_jobs=n_jobs
        )
        score = log_probability(low[wells], high[wells], cavities.mean, cavities.variance)
        # Weights: a crowd counts as one place, so that the parameters suit new places.
        crowd = places.per_place(np.ones(len(low)))[places.place_of_well[wells]]
        fit = np.average(np.maximum(score, -12.0), weights=1.0 / crowd)
        penalty = 0.5 * (parameters[1] ** 2 / 9.0 + (parameters[2] - np.log(start.range_m)) ** 2 / 9.0)
        outside = np.sum(np.maximum(0.0, np.abs(parameters[2] - limits.mean()) - np.ptp(limits) / 2.0))
        return float(-fit + penalty / len(subset) + outside)

    share = start.nugget / total
    centred = np.clip((share - NUGGET_SHARE[0]) / (NUGGET_SHARE[1] - NUGGET_SHARE[0]), 0.01, 0.99)
    first = np.array([0.0, np.log(centred / (1.0 - centred)), np.log(start.range_m)])
    simplex = np.vstack([first, first + np.diag([0.3, 1.0, -1.0])])
    found = minimize(
        loss,
        first,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": 70, "xatol": 0.02, "fatol": 1e-4},
    )
    return model(found.x)
