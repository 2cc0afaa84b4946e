"""The law of the fractures, mapped: what the wells around a place say of it.

At each place the law (rate and size of the fractures) is known as a
probability over a grid: a prior, which is how such laws are spread over the
region, times the likelihoods of the wells around, each raised to a weight
that falls with distance (a local likelihood; Tibshirani and Hastie 1987,
"Local likelihood estimation", J. Am. Stat. Assoc. 82, 559-567). Each hole has
a law of its own, near that of the place (a random effect; see `Reach`). What the
region shares (spread of the fractures' yields, fading of their rate with
depth, reach and strength of the weights, targets and limits of the drillers)
is chosen by how well each well is predicted from the others (see `learning`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from wellrecords.lots.fractures import BELOW, FractureTables, LawGrid, window
from wellrecords.lots.likelihood import FLOOR, effective_feet, log_likelihood
from wellrecords.lots.stopping import (
    AT_LEAST,
    EXACT,
    LOGGED,
    MISSING,
    USUAL_TARGETS_GPM,
    Habits,
    Stops,
)

try:
    from wellrecords.lots.gather import add_rows
except ImportError:  # numba is optional
    add_rows = None

COMMON_SHARE = 0.05
SPACING_WELLS = 30
LEAST_SPACING_M = 50.0
LOG_FLOOR, LEAST_WEIGHT = float(np.log(FLOOR)), 1e-9
"""What is less than these changes no figure, but makes numbers so small that a processor takes ten times as long."""
FEET = np.geomspace(1.0, 20_000.0, 200)
"""Feet of rock at which the law of a place is evaluated."""


@dataclass(frozen=True)
class Reach:
    """What a well says of the ground some way off.

    Its weight is ``strength * exp(-(distance / reach) ** shape)``, where the
    reach is `metres` with wells as dense as is usual and grows with the root
    of the space between them: a village is known by its own wells, the open
    country by those that there are.

    A hole some way off has a law of its own, which differs from that of the
    place by a normal of standard deviation `spread` in the logs of rate and
    size. Were all holes of a neighbourhood taken to have one law, the deep
    ones, which have met the most rock, would outweigh the shallow, and wells
    would be promised too deep. `blur` is the same between the typical hole of
    a place and the one that will be drilled there.

    Parameters
    ----------
    metres : float
    spacing_m : float
        Distance to the thirtieth well where wells are as dense as is usual.
    strength, shape, blur, spread : float
    """

    metres: float
    spacing_m: float
    strength: float = 1.0
    shape: float = 2.0
    blur: float = 0.0
    spread: float = 0.0

    def at(self, spacing_m: np.ndarray) -> np.ndarray:
        """Reach in metres where the thirtieth well is so far off, any shape."""
        return self.metres * np.sqrt(np.maximum(spacing_m, LEAST_SPACING_M) / self.spacing_m)

    def weights(self, distance_m: np.ndarray, spacing_m: np.ndarray) -> np.ndarray:
        """Weight of wells at each distance (m, k) from places of a spacing (m,); infinite distances have none."""
        return self.strength * np.exp(-((distance_m / self.at(spacing_m)[:, None]) ** self.shape))


def spacing(distance_m: np.ndarray, own: int = 0) -> np.ndarray:
    """Distance to the thirtieth well of each place, or to the last there is.

    Parameters
    ----------
    distance_m : ndarray of shape (m, k)
        Rising along each row.
    own : int
        How many of them are the place itself.
    """
    return distance_m[:, min(SPACING_WELLS - 1 + own, distance_m.shape[1] - 1)]


@dataclass(frozen=True)
class LocalLaws:
    """The laws at m places.

    Attributes
    ----------
    probability : ndarray of shape (m, grid.size)
    grid, tables, decay_ft
        As in `LawMap`.
    """

    probability: np.ndarray
    grid: LawGrid
    tables: FractureTables
    decay_ft: float

    def take(self, places: np.ndarray) -> LocalLaws:
        """Return the laws at some of the places."""
        return replace(self, probability=self.probability[places])

    def typical(self, place: int) -> tuple[float, float]:
        """Return the feet of rock to each fracture and the gpm of one, the middle of what is known of a place."""
        mass = self.probability[place].reshape(self.grid.shape).astype(float)
        rate, size = (
            float(np.exp(np.interp(0.5, np.cumsum(part) - 0.5 * part, values)))
            for part, values in ((mass.sum(axis=1), self.grid.log_rate), (mass.sum(axis=0), self.grid.log_size))
        )
        return 1.0 / rate, size

    def chance_below(self, feet: np.ndarray, gpm: float) -> np.ndarray:
        """Chance that so many feet of rock make less than `gpm`.

        Parameters
        ----------
        feet : ndarray of shape (k,)
        gpm : float

        Returns
        -------
        ndarray of shape (m, k)
        """
        count = len(feet)
        log_feet = np.log(effective_feet(np.maximum(feet, 1e-3), self.decay_ft))
        table = window(self.tables, np.full(count, BELOW), log_feet, np.full(count, np.log(gpm)), self.grid)
        return self.probability @ table.reshape(count, -1).T.astype(float)

    def feet_to(self, gpm: float, level: np.ndarray) -> np.ndarray:
        """Quantiles of the feet of rock that first make `gpm`.

        Parameters
        ----------
        gpm : float
        level : ndarray of shape (m, q) or (q,)

        Returns
        -------
        ndarray of shape (m, q)
            Infinite beyond the last of `FEET`.
        """
        chance = np.maximum.accumulate(1.0 - self.chance_below(FEET, gpm), axis=1)
        level = np.broadcast_to(level, (len(chance), np.shape(level)[-1]))
        log_feet = np.log(FEET)
        rows = [
            np.interp(wanted, here + 1e-12 * np.arange(len(FEET)), log_feet, right=np.inf)
            for wanted, here in zip(level, chance, strict=True)
        ]
        return np.exp(np.array(rows).reshape(level.shape))


@dataclass(frozen=True, eq=False)
class LawMap:
    """What a region's wells say of the law of its fractures.

    Attributes
    ----------
    stops : Stops
    grid : LawGrid
    tables : FractureTables
    decay_ft : float
        Depth in which the rate falls by a factor e; infinite: it does not.
    habits : Habits
    prior : ndarray of shape (grid.size,)
        How laws are spread over the region.
    reach : Reach
    n_neighbours : int
    scored : ndarray of shape (s,), int
        The stops that were left out in turn.
    scores : ndarray of shape (s,)
        Log predictive density of each; higher is better.
    candidate : int
        Which idea of where water may start was kept.
    """

    stops: Stops
    grid: LawGrid
    tables: FractureTables
    decay_ft: float
    habits: Habits
    prior: np.ndarray
    reach: Reach
    n_neighbours: int
    scored: np.ndarray
    scores: np.ndarray
    candidate: int = 0

    def of_stops(self, stops: Stops) -> LawMap | None:
        """Return what other wells of the region say, read by the same law; None where they say nothing."""
        if not np.any(stops.kind != MISSING):
            return None
        none = np.empty(0, dtype=int)
        return replace(self, stops=replace(stops, run_on_ft=self.stops.run_on_ft), scored=none, scores=none)

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.stops.coordinates)

    def neighbours(self, coordinates: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return index, distance (m) and weight of the stops that each place leans on, each (m, k)."""
        index, distance, away = self._near(coordinates)
        return index, distance, self.reach.weights(away, spacing(distance))

    def reach_m(self, coordinates: np.ndarray) -> np.ndarray:
        """Return how far wells count the most around places, shape (m,)."""
        _, distance, _ = self._near(coordinates)
        return self.reach.at(spacing(distance))

    def _near(self, coordinates: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Index of the nearest stops, their distance, and the distance that their position is worth, each (m, k)."""
        count = min(self.n_neighbours, len(self.stops))
        distance, index = self._tree.query(coordinates, np.arange(1, count + 1))
        return index, distance, np.hypot(distance, self.stops.position_error_m[index])

    def at(self, coordinates: np.ndarray) -> LocalLaws:
        """Return the laws at places, shape (m, 2) in metres."""
        index, _, weights = self.neighbours(coordinates)
        return self._laws(index, weights)

    def _laws(self, index: np.ndarray, weights: np.ndarray) -> LocalLaws:
        used, inverse = np.unique(index, return_inverse=True)
        known = log_likelihood(self.stops.take(used), self.habits, self.tables, self.grid, self.decay_ft)
        heard = spread_out(known, self.grid, self.reach.spread)
        total = weigh(heard, inverse.reshape(index.shape), weights)
        probability = blurred(posterior(self.prior, total), self.grid, self.reach.blur)
        return LocalLaws(probability, self.grid, self.tables, self.decay_ft)

    def left_out_levels(self) -> tuple[np.ndarray, np.ndarray]:
        """Say where the scored stops fell in what the other wells had said of them.

        A hole that made a usual target is set against the feet to the
        largest such target; one that did not ran out of feet before the
        smallest.

        Returns
        -------
        low, high : ndarray of shape (n_scored,)
            Levels in [0, 1]; 0 and 1 where the stop says nothing.
        """
        stops = self.stops.take(self.scored)
        index, distance, away = self._near(stops.coordinates)
        weights = self.reach.weights(away, spacing(distance, own=1))
        laws = self._laws(index, np.where(index == self.scored[:, None], 0.0, weights))
        usual = USUAL_TARGETS_GPM[self.habits.share >= COMMON_SHARE]
        made = np.where(np.isin(stops.kind, (EXACT, LOGGED, AT_LEAST)), stops.gpm, 0.0)
        target = usual[np.maximum(np.searchsorted(usual, made * (1 + 1e-9), side="right") - 1, 0)]
        met = made >= usual[0]
        passed = np.empty(len(stops))
        for gpm in np.unique(target):
            rows = np.flatnonzero(target == gpm)
            chance = 1.0 - laws.take(rows).chance_below(FEET, gpm)
            at = [np.interp(feet, FEET, row) for feet, row in zip(stops.feet[rows], chance, strict=True)]
            passed[rows] = np.array(at)
        says = stops.kind != MISSING
        low = np.where(says, passed, 0.0)
        return low, np.where(says & met, passed, 1.0)


def weigh(known: np.ndarray, index: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Sum the log likelihoods of each place's neighbours by their weights.

    Parameters
    ----------
    known : ndarray of shape (n, laws)
    index, weights : ndarray of shape (m, k)

    Returns
    -------
    ndarray of shape (m, laws)
    """
    m, k = index.shape
    weights = np.where(weights < LEAST_WEIGHT, 0.0, weights).astype(known.dtype)
    if add_rows is not None:
        total = np.zeros((m, known.shape[1]), dtype=known.dtype)
        add_rows(known, index, weights, total)
        return total
    starts = np.arange(0, m * k + 1, k)
    return np.asarray(csr_array((weights.ravel(), index.ravel(), starts), shape=(m, len(known))) @ known)


def posterior(prior: np.ndarray, total: np.ndarray) -> np.ndarray:
    """Return prior times likelihood, each row summing to 1; `total` is the log likelihood, (m, laws)."""
    log_posterior = np.log(prior).astype(total.dtype) + total
    log_posterior -= log_posterior.max(axis=1, keepdims=True)
    result = np.exp(np.maximum(log_posterior, LOG_FLOOR))
    return result / result.sum(axis=1, keepdims=True)


def blurred(probability: np.ndarray, grid: LawGrid, blur: float) -> np.ndarray:
    """Spread the laws of each row by a normal of standard deviation `blur` in log rate and log size."""
    if blur <= 0.0:
        return probability
    out = probability.reshape(-1, *grid.shape)
    out = _spreading(grid.log_rate, blur).astype(out.dtype) @ out @ _spreading(grid.log_size, blur).astype(out.dtype).T
    out = out.reshape(probability.shape)
    return out / out.sum(axis=1, keepdims=True)


def spread_out(known: np.ndarray, grid: LawGrid, spread: float) -> np.ndarray:
    """Turn what each hole says of its own law into what it says of a place around it.

    Parameters
    ----------
    known : ndarray of shape (n, laws)
        Log likelihoods.
    grid : LawGrid
    spread : float
        Standard deviation, in log rate and log size, between the law of a
        hole and that of the place.

    Returns
    -------
    ndarray of shape (n, laws)
        Log of the likelihood's mean over the laws that the hole may have.
    """
    if spread <= 0.0:
        return known
    best = known.max(axis=1, keepdims=True)
    mean = np.exp(np.maximum(known - best, LOG_FLOOR)).reshape(-1, *grid.shape)
    rate, size = (_spreading(values, spread).astype(mean.dtype) for values in (grid.log_rate, grid.log_size))
    mean = rate.T @ mean @ size
    return np.log(np.maximum(mean.reshape(known.shape), FLOOR)) + best


def _spreading(values: np.ndarray, sd: float) -> np.ndarray:
    kernel = np.exp(-0.5 * ((values[:, None] - values) / sd) ** 2)
    kernel[kernel < LEAST_WEIGHT] = 0.0
    return kernel / kernel.sum(axis=0)
