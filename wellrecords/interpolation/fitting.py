r"""Covariance parameters by leave-one-out predictive score.

The parameters are those under which each well is best predicted by the
others (Rasmussen and Williams 2006, section 5.4.2; Chilès and Delfiner 2012,
section 2.6.3). The score is the continuous ranked probability score, which
an outlier moves less than it moves a likelihood (Gneiting and Raftery 2007,
J. Am. Stat. Assoc. 102, 359-378, eq. 21).

Censored readings are completed first (`censoring.complete`), then fitted to,
then completed again under the new parameters: a stochastic form of
expectation-maximisation (Celeux and Diebolt 1985). Scoring the intervals
themselves falls into a trap: with wide ones a field of nothing but nugget
scores as well as any other. Weak penalties keep the search in sensible
bounds besides.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtr

from wellrecords.interpolation.censoring import Sites, leave_out
from wellrecords.interpolation.covariance import Covariance, CovarianceKind, FloatArray
from wellrecords.interpolation.neighbours import IntArray, Places

NUGGET_SHARE = (0.02, 0.98)
SUBSET = 2_000  # places scored in a fit
FIT_NEIGHBOURS = 20
CLEAR_GAIN = 0.01  # of the score: less is not worth a larger model
CLEAR_ERRORS = 3.0  # standard errors: some two dozen stretches are tried, and one may look good by luck
PENALTY = 1.0  # places' worth of loss for one unit off in the parameters


def normal_crps(reading: FloatArray, mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Continuous ranked probability score of normal predictions (Gneiting and Raftery 2007, eq. 21)."""
    w = (reading - mean) / sd
    density = np.exp(-0.5 * w**2) / np.sqrt(2.0 * np.pi)
    return sd * (w * (2.0 * ndtr(w) - 1.0) + 2.0 * density - 1.0 / np.sqrt(np.pi))


def left_out_scores(
    covariance: Covariance,
    places: Places,
    readings: FloatArray,
    neighbours: IntArray,
    subset: IntArray,
    n_jobs: int = 1,
) -> tuple[FloatArray, IntArray]:
    """Score each well at the places of a subset, predicted from its neighbours; return also which wells these are."""
    sites = Sites(readings, np.zeros_like(readings))
    cavities, wells = leave_out(covariance, places, sites, neighbours, subset, with_crowd=False, n_jobs=n_jobs)
    return normal_crps(readings[wells], cavities.mean, np.sqrt(cavities.variance)), wells


def clearly_better(trial: FloatArray, base: FloatArray, block: IntArray) -> bool:
    """Whether the scores of a trial beat others, and not by the luck of a few blocks of ground.

    The mean gain must be a hundredth of the score, and three times its standard
    error, blocks taken as the independent units.

    Parameters
    ----------
    trial, base : ndarrays of shape (n,)
        Scores of the same wells.
    block : ndarray of shape (n,)
    """
    gain = np.bincount(block, weights=base - trial)
    gain = gain[np.bincount(block) > 0]
    error = np.sqrt(len(gain)) * float(np.std(gain))
    return bool(gain.sum() > max(CLEAR_GAIN * float(base.sum()), CLEAR_ERRORS * error))


def start_covariance(kind: CovarianceKind, places: Places, variance: float) -> Covariance:
    """Return a sensible model before any fit: half nugget, a range of a tenth of the region."""
    spread = float(np.hypot(*np.ptp(places.coordinates, axis=0))) if places.count > 1 else 0.0
    return Covariance(kind, 0.5 * variance, max(spread / 10.0, 1.0), 0.5 * variance)


def fit_covariance(
    start: Covariance,
    places: Places,
    readings: FloatArray,
    neighbours: IntArray,
    random_state: np.random.Generator,
    n_jobs: int = 1,
) -> tuple[Covariance, float]:
    """Minimise the leave-one-out score over sill, nugget and range.

    Parameters
    ----------
    start : Covariance
    places : Places
    readings : ndarray of shape (n,)
        Complete: exact, or drawn inside their intervals.
    neighbours : ndarray of shape (p, k)
        The nearest places outside each place's own block.

    Returns
    -------
    covariance : Covariance
    loss : float
        Log of the mean score, penalties included.
    """
    subset = np.arange(places.count)
    if places.count > SUBSET:
        subset = np.sort(random_state.choice(places.count, SUBSET, replace=False))
    total = start.sill + start.nugget
    spread = float(np.hypot(*np.ptp(places.coordinates, axis=0)))
    limits = np.log([spread / 1000.0, spread])
    middle = np.log(spread / 10.0)
    # Only the places scored and their neighbours are needed, of however many there are.
    near = neighbours[:, :FIT_NEIGHBOURS]
    heard = np.unique(np.append(subset, near[subset]))
    places, wells, number = places.only(heard)
    readings, near, subset = readings[wells], number[near[heard]], number[subset]

    def model(parameters: FloatArray) -> Covariance:
        share = NUGGET_SHARE[0] + (NUGGET_SHARE[1] - NUGGET_SHARE[0]) / (1.0 + np.exp(-parameters[1]))
        variance = total * np.exp(parameters[0])
        range_m = float(np.exp(np.clip(parameters[2], *limits)))
        return Covariance(start.kind, (1.0 - share) * variance, range_m, share * variance)

    def loss(parameters: FloatArray) -> float:
        score, _ = left_out_scores(model(parameters), places, readings, near, subset, n_jobs)
        penalty = PENALTY * (parameters[0] ** 2 + parameters[1] ** 2 / 4.0 + (parameters[2] - middle) ** 2 / 9.0)
        outside = np.sum(np.maximum(0.0, np.abs(parameters[2] - limits.mean()) - np.ptp(limits) / 2.0))
        return float(np.log(np.mean(score) + 1e-12 * total**0.5) + penalty / len(subset) + outside)

    share = start.nugget / total
    centred = np.clip((share - NUGGET_SHARE[0]) / (NUGGET_SHARE[1] - NUGGET_SHARE[0]), 0.01, 0.99)
    first = np.array([0.0, np.log(centred / (1.0 - centred)), np.log(start.range_m)])
    simplex = np.vstack([first, first + np.diag([0.3, 1.0, -1.0])])
    found = minimize(
        loss,
        first,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": 60, "xatol": 0.02, "fatol": 1e-4},
    )
    return model(found.x), float(found.fun)
