r"""From what kriging says to distributions that are right as often as they claim.

Three corrections, all learnt from leave-one-place-out predictions:

- the *local scale*: where the nearest wells were predicted badly, the next
  one will be too. The kriging standard deviation is multiplied by the root
  mean square of the standardised residuals around the place;
- the *local shape*: the scores of the wells around under the blend of kriging
  and forest, the near ones counting more, mixed with those of the whole
  region (`LocalShape`);
- the *residual distribution*: what is left after that is set right for the
  region as a whole, so that 80 % intervals cover 80 %.

A censored reading has a standardised residual that is only known to lie in an
interval. The distribution is therefore the self-consistent one (Turnbull, B.
W. 1976, J. R. Statist. Soc. B 38, 290-295; Efron 1967), on a fine grid:

.. math:: p_j \leftarrow \frac{1}{n + \kappa} \Bigl( \kappa\, \pi_j +
    \sum_i \frac{[j \in I_i]\, p_j}{\sum_{l \in I_i} p_l} \Bigr)

with :math:`\pi` the standard normal, worth :math:`\kappa` observations: it
decides only where the readings cannot, as beyond the last uncensored value.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.special import ndtr

from wellrecords.interpolation.censoring import Cavities, truncated_moments
from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import SCORES, ResidualDistribution
from wellrecords.interpolation.neighbours import IntArray, Places

LEVELS = np.concatenate([[0.001, 0.0025], np.arange(1, 200) / 200.0, [0.9975, 0.999]])
PRIOR_WEIGHT = 10.0  # observations that the normal shape is worth
REGION_WEIGHT = 50.0  # wells that the region's shape is worth beside the local one
NEARNESS = 3  # how fast a well's say in the local shape falls with distance
THRESHOLDS = np.concatenate([[-8.0, -5.0, -4.0], np.linspace(-3.0, 3.0, 61), [4.0, 5.0, 8.0]])
GRID_SPAN, GRID_STEP = 8.0, 0.02
MANY_PLACES = 40  # so many measure the spread well enough
NARROW, NARROW_FADES = 0.06, 10  # by how much spreads are too narrow with fewer, and over how many that fades


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


@dataclass(frozen=True)
class LocalShape:
    """Distribution of the scores of left-out readings around any place.

    Parameters
    ----------
    below : ndarray of shape (p, len(THRESHOLDS))
        Of the wells at each place, how many scores lie below each
        threshold; a censored one counts by its probability.
    region : ndarray of shape (len(THRESHOLDS),)
        The same as a share, of all wells.
    count : ndarray of shape (p,)
    """

    below: FloatArray
    region: FloatArray
    count: FloatArray

    @classmethod
    def learn(cls, low: FloatArray, high: FloatArray, places: Places) -> LocalShape:
        """Count the scores of each place, known as intervals."""
        start, mass = ndtr(low)[:, None], (ndtr(high) - ndtr(low))[:, None]
        narrow = mass < 1e-9  # exact, or so far in a tail that it makes no difference
        share = np.clip((ndtr(THRESHOLDS) - start) / np.where(narrow, 1.0, mass), 0.0, 1.0)
        per_well = np.where(narrow, low[:, None] <= THRESHOLDS, share)
        n = len(low)
        sums = csr_array((np.ones(n), (places.place_of_well, np.arange(n))), shape=(places.count, n))
        region = (per_well.sum(axis=0) + PRIOR_WEIGHT * ndtr(THRESHOLDS)) / (n + PRIOR_WEIGHT)
        return cls(sums @ per_well, region, places.per_place(np.ones(n)))

    def scores(self, index: IntArray, distance_m: FloatArray) -> FloatArray:
        """Return the score that belongs to each normal score around a place, shape (m, len(SCORES)), rising.

        Parameters
        ----------
        index, distance_m : ndarrays of shape (m, k)
            The places around each target.
        """
        m, k = index.shape
        weight = (1.0 - (distance_m / (1.01 * distance_m.max(axis=1, keepdims=True) + 1e-9)) ** 2) ** NEARNESS
        near = csr_array((weight.ravel(), index.ravel(), np.arange(0, m * k + 1, k)), shape=(m, len(self.count)))
        total = (near @ self.count)[:, None] + REGION_WEIGHT
        cdf = (near @ self.below + REGION_WEIGHT * self.region) / total
        row = np.arange(m)[:, None]
        # The first threshold that each level does not pass, found for all rows at once.
        level = ndtr(SCORES)
        column = np.stack([np.sum(cdf[:, 1:-1] < one, axis=1) for one in level], axis=1)
        left, right = cdf[row, column], cdf[row, column + 1]
        part = np.clip((level - left) / np.maximum(right - left, 1e-12), 0.0, 1.0)
        return THRESHOLDS[column] + part * (THRESHOLDS[column + 1] - THRESHOLDS[column])


def residual_distribution(low: FloatArray, high: FloatArray) -> ResidualDistribution:
    """Distribution of scores known as intervals, as a quantile function.

    Parameters
    ----------
    low, high : ndarrays of shape (n,)
        Equal where exact, infinite where open.

    Returns
    -------
    ResidualDistribution
    """
    edges, cumulative = self_consistent(low, high, np.ones(len(low)))
    return ResidualDistribution(LEVELS, np.interp(LEVELS, cumulative, edges))


def widen_for_few(residuals: ResidualDistribution, places: int, prior_places: float) -> ResidualDistribution:
    """Widen a residual distribution where few places have measured the spread; from `MANY_PLACES` on leave it.

    With a spread learnt from n readings, the next one follows Student's t of
    n - 1 degrees of freedom (Student 1908, Biometrika 6, 1-25). A covariance
    fitted to few places is a little too narrow besides: `NARROW`, measured on
    simulated fields (`tests/interpolation/test_few_wells.py`).

    Parameters
    ----------
    places : int
        Two or more.
    prior_places : float
        Places that what is known beforehand of the spread is worth.
    """
    if places >= MANY_PLACES:
        return residuals
    narrow = 1.0 + NARROW * min(1.0, (MANY_PLACES - places) / NARROW_FADES)
    return residuals.widened(places - 1.0 + prior_places, narrow)


def self_consistent(
    low: FloatArray,
    high: FloatArray,
    weights: FloatArray,
    prior_weight: float = PRIOR_WEIGHT,
    sweeps: int = 200,
) -> tuple[FloatArray, FloatArray]:
    """Self-consistent distribution on a fine grid, of values known as intervals (low, high].

    Parameters
    ----------
    low, high, weights : ndarrays of shape (n,)
    prior_weight : float
        Observations that the standard normal is worth.
    sweeps : int
        At most this many.

    Returns
    -------
    edges : ndarray of shape (c + 1,)
        From -`GRID_SPAN` to `GRID_SPAN`.
    cumulative : ndarray of shape (c + 1,)
        Probability up to each edge.
    """
    edges: FloatArray = np.linspace(-GRID_SPAN, GRID_SPAN, round(2 * GRID_SPAN / GRID_STEP) + 1)
    cells = len(edges) - 1
    prior = np.diff(ndtr(edges))
    prior /= prior.sum()
    # A hair of tolerance: an end on an edge belongs to that edge whatever the rounding.
    first = np.clip(np.floor((low + GRID_SPAN) / GRID_STEP + 1e-9), 0, cells - 1).astype(np.intp)
    last = np.clip(np.ceil((high + GRID_SPAN) / GRID_STEP - 1e-9) - 1, 0, cells - 1).astype(np.intp)
    last = np.maximum(first, last)
    narrow = first == last
    known = np.bincount(first[narrow], weights=weights[narrow], minlength=cells) + prior_weight * prior
    first, last, share = first[~narrow], last[~narrow], weights[~narrow]
    mass = (known + len(first) / cells) / (known.sum() + len(first))
    for _ in range(sweeps if len(first) else 1):
        cumulative = np.concatenate([[0.0], np.cumsum(mass)])
        per_mass = share / np.maximum(cumulative[last + 1] - cumulative[first], 1e-300)
        # Every cell between first and last receives per_mass times its mass: a difference array.
        step = np.bincount(first, weights=per_mass, minlength=cells + 1)
        step = step - np.bincount(last + 1, weights=per_mass, minlength=cells + 1)
        updated = known + mass * np.cumsum(step[:-1])
        updated /= updated.sum()
        moved = np.abs(updated - mass).sum()
        mass = updated
        if moved < 1e-6:
            break
    return edges, np.concatenate([[0.0], np.cumsum(mass)])
