r"""Censored and interval readings by expectation propagation.

A reading that is only known to lie in :math:`[l, u]` is replaced, for its
neighbours, by a Gaussian value :math:`N(y, e)` (its site). Given what all
other wells say of it, :math:`N(m, v)` (the cavity), the site is chosen so
that cavity times site has the mean and variance of the cavity truncated to
:math:`[l, u]` (Minka, T. P. 2001, A Family of Algorithms for Approximate
Bayesian Inference, PhD thesis, MIT, section 3.2; Rasmussen and Williams
2006, section 3.6):

.. math:: 1/e = 1/v' - 1/v, \qquad y / e = m'/v' - m/v

with :math:`m', v'` the truncated moments. An exact reading has
:math:`e = 0`. All sites are refreshed together, with damping, from the
leave-one-out kriging of the others; this is deterministic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr, ndtri

from wellrecords.interpolation.covariance import Covariance, FloatArray
from wellrecords.interpolation.kernel import solve
from wellrecords.interpolation.neighbours import IntArray, Places

LOG_SQRT_2PI = 0.5 * np.log(2.0 * np.pi)
DAMPING = 0.7
GIBBS_SWEEPS = 6
NO_INFORMATION = 1e6  # site variance of a reading that says nothing, in sills


@dataclass(frozen=True)
class Sites:
    """What each well tells its neighbours: a value and the variance that censoring leaves in it, shape (n,)."""

    value: FloatArray
    variance: FloatArray


@dataclass(frozen=True)
class Cavities:
    """What the other wells say of each well's reading (own nugget within), shape (n,)."""

    mean: FloatArray
    variance: FloatArray


def own_variance(covariance: Covariance, places: Places) -> FloatArray:
    """Variance, at each place, of one well's reading about what the wells of the place share, shape (p,)."""
    shared = covariance(2.0 * places.error2_m2)
    return np.maximum(covariance.nugget + covariance.sill - shared, 1e-12 * covariance.sill)


def pool(covariance: Covariance, places: Places, sites: Sites) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Pool the wells of each place.

    Returns
    -------
    value, noise : ndarrays of shape (p,)
        Precision-weighted mean of the place's readings, and the variance of
        its error; equal to kriging with every well by itself.
    noise_of_well : ndarray of shape (n,)
    """
    noise_of_well = own_variance(covariance, places)[places.place_of_well] + sites.variance
    precision = places.per_place(1.0 / noise_of_well)
    value = places.per_place(sites.value / noise_of_well) / precision
    return value, 1.0 / precision, noise_of_well


def share_among_wells(
    places: Places, index: IntArray, weight: FloatArray, noise: FloatArray, noise_of_well: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Share the kriging weight of each place among its wells, as their precision.

    Parameters
    ----------
    index, weight : ndarrays of shape (m, k)
        Places that each target leans on, and their weights.
    noise, noise_of_well : ndarrays of shape (p,), (n,)
        As `pool` gives them.

    Returns
    -------
    wells, weights : ndarrays of shape (m, w)
        The weightiest first; -1 and 0 where there are fewer than w.
    """
    count = np.bincount(places.place_of_well, minlength=places.count)
    by_place = np.argsort(places.place_of_well, kind="stable")
    wells_of_place = np.split(by_place, np.cumsum(count)[:-1])
    rows = []
    for near, of_place in zip(index, weight, strict=True):
        wells = np.concatenate([wells_of_place[place] for place in near])
        share = np.repeat(of_place * noise[near], count[near]) / noise_of_well[wells]
        order = np.argsort(-np.abs(share), kind="stable")
        rows.append((wells[order], share[order]))
    width = max((len(wells) for wells, _ in rows), default=0)
    found, weights = np.full((len(index), width), -1, dtype=np.intp), np.zeros((len(index), width))
    for number, (wells, share) in enumerate(rows):
        found[number, : len(wells)], weights[number, : len(wells)] = wells, share
    return found, weights


def leave_out(
    covariance: Covariance,
    places: Places,
    sites: Sites,
    neighbours: IntArray,
    subset: IntArray | None = None,
    *,
    with_crowd: bool,
    known_mean: float | None = None,
    n_jobs: int = 1,
) -> tuple[Cavities, IntArray]:
    """Predict each well from the others.

    Parameters
    ----------
    neighbours : ndarray of shape (p, k)
        The nearest other places of each place.
    subset : ndarray of places, or None for all
    with_crowd : bool
        True: the other wells at the well's own place speak too (the exact
        cavity of expectation propagation). False: the whole place is left
        out, as for a lot where no well stands.

    Returns
    -------
    cavities : Cavities
        One for each well at the chosen places.
    wells : ndarray
        Which wells these are.
    """
    value, noise, noise_of_well = pool(covariance, places, sites)
    which = np.arange(places.count) if subset is None else subset
    answer = solve(
        covariance,
        places,
        value,
        noise,
        places.coordinates[which],
        places.error2_m2[which],
        neighbours[which],
        known_mean=known_mean,
        n_jobs=n_jobs,
    )
    position = np.full(places.count, -1)
    position[which] = np.arange(len(which))
    wells = np.flatnonzero(position[places.place_of_well] >= 0)
    place = places.place_of_well[wells]
    mean, smooth = answer.mean[position[place]], answer.variance[position[place]]
    own = own_variance(covariance, places)[place]
    if not with_crowd:
        return Cavities(mean, smooth + covariance.nugget), wells
    shared = np.maximum(smooth + covariance.nugget - own, 1e-12 * covariance.sill)
    precision = 1.0 / noise[place] - 1.0 / noise_of_well[wells]
    precision = np.where(precision * noise[place] < 1e-9, 0.0, precision)
    pulled = value[place] / noise[place] - sites.value[wells] / noise_of_well[wells]
    posterior = 1.0 / (1.0 / shared + precision)
    combined = posterior * (mean / shared + np.where(precision > 0, pulled, 0.0))
    return Cavities(combined, posterior + own), wells


def log_mass(a: FloatArray, b: FloatArray) -> FloatArray:
    """Log of Phi(b) - Phi(a), kept accurate in both tails by turning the interval to the left one."""
    with np.errstate(invalid="ignore"):
        flip = a + b > 0
    left, right = np.where(flip, -b, a), np.where(flip, -a, b)
    upper, lower = log_ndtr(right), log_ndtr(left)
    with np.errstate(divide="ignore", invalid="ignore"):
        return upper + np.log1p(-np.exp(np.minimum(lower - upper, -1e-15)))


def truncated_moments(
    low: FloatArray, high: FloatArray, mean: FloatArray, variance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of N(mean, variance) truncated to [low, high] (low < high)."""
    sd = np.sqrt(variance)
    a, b = (low - mean) / sd, (high - mean) / sd
    mass = log_mass(a, b)

    def ratio(z: FloatArray) -> FloatArray:
        return np.exp(-0.5 * z**2 - LOG_SQRT_2PI - mass)

    at_a, at_b = ratio(a), ratio(b)
    shift = at_a - at_b
    finite_a, finite_b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    shrink = 1.0 + finite_a * at_a - finite_b * at_b - shift**2
    # Far in a tail the differences cancel: keep inside what a truncated normal can have.
    shift = np.clip(shift, a, b)
    shrink = np.clip(shrink, 1e-4, 1.0)
    return mean + sd * shift, variance * shrink


def expected(low: FloatArray, high: FloatArray, mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Return each reading, or what N(mean, sd^2) expects of it inside its interval."""
    exact = low == high
    within, _ = truncated_moments(np.where(exact, low - 1.0, low), np.where(exact, high + 1.0, high), mean, sd**2)
    return np.where(exact, low, within)


def start_sites(low: FloatArray, high: FloatArray, mean: float, variance: float) -> Sites:
    """Sites before any kriging: each censored reading against the region's own distribution."""
    return update_sites(
        low,
        high,
        Cavities(np.full(len(low), mean), np.full(len(low), variance)),
        Sites(np.full(len(low), mean), np.full(len(low), NO_INFORMATION * variance)),
        variance,
        damping=1.0,
    )


def update_sites(
    low: FloatArray,
    high: FloatArray,
    cavities: Cavities,
    sites: Sites,
    variance: float,
    damping: float = DAMPING,
) -> Sites:
    """Match every censored site to its truncated cavity, moving a part `damping` of the way.

    Damping acts on the site's natural parameters, precision and precision
    times mean. `variance` (the field's own) bounds the site variances.
    """
    exact = low == high
    tilted_mean, tilted_variance = truncated_moments(
        np.where(exact, low - 1.0, low), np.where(exact, high + 1.0, high), cavities.mean, cavities.variance
    )
    precision = np.maximum(1.0 / tilted_variance - 1.0 / cavities.variance, 1.0 / (NO_INFORMATION * variance))
    pull = tilted_mean * (precision + 1.0 / cavities.variance) - cavities.mean / cavities.variance
    old = 1.0 / np.where(exact, 1.0, sites.variance)
    precision = damping * precision + (1.0 - damping) * old
    pull = damping * pull + (1.0 - damping) * old * sites.value
    return Sites(np.where(exact, low, pull / precision), np.where(exact, 0.0, 1.0 / precision))


def draw_inside(
    low: FloatArray,
    high: FloatArray,
    mean: FloatArray,
    sd: FloatArray,
    random_state: np.random.Generator,
    rank: IntArray | None = None,
) -> FloatArray:
    """Draw each reading from N(mean, sd^2) inside its interval; an exact one is itself.

    `rank` deals the random numbers: the same well then gets the same one,
    wherever it stands in the input.
    """
    drawn = low.copy()
    censored = low != high
    uniform = _dealt(random_state, len(low), rank)[censored]
    low, high, mean, sd = low[censored], high[censored], mean[censored], sd[censored]
    below, above = ndtr((low - mean) / sd), ndtr((high - mean) / sd)
    level = below + (above - below) * uniform
    inside = mean + sd * ndtri(np.clip(level, 1e-12, 1.0 - 1e-12))
    drawn[censored] = np.clip(inside, low, high)
    return drawn


def _dealt(random_state: np.random.Generator, count: int, rank: IntArray | None) -> FloatArray:
    uniform = random_state.uniform(size=count)
    return uniform if rank is None else uniform[rank]


def censored_cavities(
    covariance: Covariance,
    places: Places,
    sites: Sites,
    censored: npt.NDArray[np.bool_],
    neighbours: IntArray,
    *,
    known_mean: float | None = None,
    n_jobs: int = 1,
) -> Cavities:
    """Return the cavities of the censored wells; those of the others are left at N(0, 1) and not to be used."""
    subset = np.flatnonzero(places.per_place(censored.astype(float)) > 0)
    found, wells = leave_out(
        covariance, places, sites, neighbours, subset, with_crowd=True, known_mean=known_mean, n_jobs=n_jobs
    )
    mean, variance = np.zeros(len(censored)), np.ones(len(censored))
    mean[wells], variance[wells] = found.mean, found.variance
    return Cavities(mean, variance)


def complete(
    covariance: Covariance,
    places: Places,
    sites: Sites,
    low: FloatArray,
    high: FloatArray,
    neighbours: IntArray,
    random_state: np.random.Generator,
    n_jobs: int = 1,
    rank: IntArray | None = None,
) -> FloatArray:
    """Draw one complete set of readings, all of them inside their intervals and fitting each other.

    A few half-sweeps of Gibbs sampling (data augmentation: Tanner and Wong
    1987, J. Am. Stat. Assoc. 82, 528-540), begun from the sites: each time
    half of the censored readings are drawn anew given all others. Parameters
    fitted to such a set cannot mistake what censoring hides for nugget. `rank`
    deals the random numbers, as in `draw_inside`.
    """
    censored = low != high
    current = sites
    for sweep in range(GIBBS_SWEEPS):
        cavities = censored_cavities(covariance, places, current, censored, neighbours, n_jobs=n_jobs)
        drawn = draw_inside(low, high, cavities.mean, np.sqrt(cavities.variance), random_state, rank)
        renewed = censored & ((_dealt(random_state, len(low), rank) < 0.5) | (sweep == 0))
        current = Sites(np.where(renewed, drawn, current.value), np.where(renewed | ~censored, 0.0, current.variance))
    return current.value
