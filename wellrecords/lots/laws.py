"""The law of the fractures, mapped: what the wells around a place say of it.

At each place the law (rate and size of the fractures) is known as a
probability over a grid: a prior, which is how such laws are spread over the
region, times the likelihoods of the wells around, each raised to a weight
that falls with distance (a local likelihood; Tibshirani and Hastie 1987,
"Local likelihood estimation", J. Am. Stat. Assoc. 82, 559-567). What the
region shares (spread of the fractures' yields, fading of their rate with
depth, reach and strength of the weights, targets and limits of the drillers)
is chosen by how well each well is predicted from the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from wellrecords.lots.fractures import BELOW, FractureTables, Jumps, LawGrid, fracture_tables, window
from wellrecords.lots.likelihood import effective_feet, log_likelihood, stop_densities
from wellrecords.lots.stopping import (
    AT_LEAST,
    EXACT,
    LOGGED,
    MISSING,
    USUAL_TARGETS_GPM,
    Habits,
    Stops,
    first_habits,
    fit_habits,
)

RATE_BOUNDS = (1.0 / 3000.0, 1.0 / 4.0)
SIZE_BOUNDS_GPM = (0.03, 60.0)
JUMPS = (Jumps("lognormal", 1.0), Jumps("lognormal", 0.6), Jumps("lognormal", 1.5), Jumps("gamma", 0.7))
DECAYS_FT = (np.inf, 600.0, 250.0)
REACHES = (0.5, 1.0, 2.0, 4.0, 8.0)
STRENGTHS = (0.25, 0.5, 1.0)
SHAPES = (1.0, 2.0)
COMMON_SHARE = 0.05
SAMPLE_WELLS = 2000
SCORED_WELLS = 400
COARSE_STEP, FINE_STEP = 0.5, 0.25
CROPPED_MASS = 1e-3
SMOOTHING = 0.2
FEET = np.geomspace(1.0, 20_000.0, 200)
"""Feet of rock at which the law of a place is evaluated."""


@dataclass(frozen=True)
class Reach:
    """How the weight of a well falls with its distance: strength * exp(-(distance / metres) ** shape)."""

    metres: float
    strength: float
    shape: float

    def weights(self, distance_m: np.ndarray) -> np.ndarray:
        """Weight of a well at each distance, infinite distances having none."""
        return self.strength * np.exp(-((distance_m / self.metres) ** self.shape))


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
    score : float
        Mean log predictive density of wells left out; higher is better.
    n_neighbours : int
    scored : ndarray
        The stops that were left out in turn.
    """

    stops: Stops
    grid: LawGrid
    tables: FractureTables
    decay_ft: float
    habits: Habits
    prior: np.ndarray
    reach: Reach
    score: float
    n_neighbours: int
    scored: np.ndarray

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.stops.coordinates)

    def neighbours(self, coordinates: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return index, distance (m) and weight of the stops that each place leans on, each (m, k)."""
        count = min(self.n_neighbours, len(self.stops))
        distance, index = self._tree.query(coordinates, np.arange(1, count + 1))
        away = np.hypot(distance, self.stops.position_error_m[index])
        return index, distance, self.reach.weights(away)

    def at(self, coordinates: np.ndarray) -> LocalLaws:
        """Return the laws at places, shape (m, 2) in metres."""
        index, _, weights = self.neighbours(coordinates)
        return self._laws(index, weights)

    def _laws(self, index: np.ndarray, weights: np.ndarray) -> LocalLaws:
        used, inverse = np.unique(index, return_inverse=True)
        known = log_likelihood(self.stops.take(used), self.habits, self.tables, self.grid, self.decay_ft)
        total = _weigh(known, inverse.reshape(index.shape), weights)
        return LocalLaws(_posterior(self.prior, total), self.grid, self.tables, self.decay_ft)

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
        index, _, weights = self.neighbours(stops.coordinates)
        laws = self._laws(index, np.where(index == self.scored[:, None], 0.0, weights))
        usual = USUAL_TARGETS_GPM[self.habits.share >= COMMON_SHARE]
        made = np.where(np.isin(stops.kind, (EXACT, LOGGED, AT_LEAST)), stops.gpm, 0.0)
        target = usual[np.maximum(np.searchsorted(usual, made * (1 + 1e-9), side="right") - 1, 0)]
        met = made >= usual[0]
        passed = np.empty(len(stops))
        for gpm in np.unique(target):
            rows = np.flatnonzero(target == gpm)
            chance = 1.0 - LocalLaws(laws.probability[rows], self.grid, self.tables, self.decay_ft).chance_below(
                FEET, gpm
            )
            at = [np.interp(feet, FEET, row) for feet, row in zip(stops.feet[rows], chance, strict=True)]
            passed[rows] = np.array(at)
        says = stops.kind != MISSING
        low = np.where(says, passed, 0.0)
        return low, np.where(says & met, passed, 1.0)


def _weigh(known: np.ndarray, index: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Sum the log likelihoods of each place's neighbours by their weights, shape (m, laws)."""
    weights = weights.astype(known.dtype)
    return np.stack([row @ known[near] for row, near in zip(weights, index, strict=True)])


def _posterior(prior: np.ndarray, total: np.ndarray) -> np.ndarray:
    """Prior times likelihood, each row summing to 1."""
    log_posterior = np.log(prior) + total
    log_posterior -= log_posterior.max(axis=1, keepdims=True)
    posterior = np.exp(log_posterior)
    return posterior / posterior.sum(axis=1, keepdims=True)


def first_grid() -> LawGrid:
    """Return a coarse grid of all laws that rock may have."""
    rate, size = np.log(RATE_BOUNDS), np.log(SIZE_BOUNDS_GPM)
    return LawGrid(np.arange(rate[0], rate[1], COARSE_STEP), np.arange(size[0], size[1], COARSE_STEP))


def _refine(coarse: LawGrid, prior: np.ndarray) -> tuple[LawGrid, np.ndarray]:
    """Return a fine grid over the laws that the region has, and the prior on it."""
    mass = prior.reshape(coarse.shape)
    axes = []
    for axis, values in ((1, coarse.log_rate), (0, coarse.log_size)):
        held = np.flatnonzero(mass.sum(axis=axis) > CROPPED_MASS)
        first, last = max(held[0] - 1, 0), min(held[-1] + 1, len(values) - 1)
        axes.append(np.arange(values[first], values[last] + FINE_STEP / 2, FINE_STEP))
    fine = LawGrid(*axes)
    at = np.meshgrid(
        (fine.log_rate - coarse.log_rate[0]) / COARSE_STEP,
        (fine.log_size - coarse.log_size[0]) / COARSE_STEP,
        indexing="ij",
    )
    density = map_coordinates(mass, at, order=1, mode="nearest").ravel()
    return fine, density / density.sum()


def _first_prior(grid: LawGrid) -> np.ndarray:
    """Return a wide prior: a fracture in some 80 ft, of some 1.5 gpm, each within a factor of ten or so."""
    rate = -0.5 * ((grid.log_rate - np.log(1.0 / 80.0)) / 1.2) ** 2
    size = -0.5 * ((grid.log_size - np.log(1.5)) / 1.2) ** 2
    prior = np.exp(rate[:, None] + size).ravel()
    return prior / prior.sum()


def _sample(stops: Stops, towards: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Choose the wells that what the region shares is learnt from, and those that are scored.

    Whole neighbourhoods are chosen, near the places that are asked about.
    """
    n = len(stops)
    if n <= SAMPLE_WELLS:
        return np.arange(n), rng.permutation(n)[:SCORED_WELLS]
    tree = cKDTree(stops.coordinates)
    centres = rng.permutation(len(towards))[:10]
    _, near = tree.query(towards[centres], SAMPLE_WELLS // len(centres))
    near = np.atleast_2d(near)
    core = near[:, : max(SCORED_WELLS // len(centres), 1)]
    chosen = np.unique(near)
    return chosen, np.flatnonzero(np.isin(chosen, core))


@dataclass
class _Trial:
    """One set of shared settings under trial, on the sample."""

    stops: Stops
    scored: np.ndarray
    index: np.ndarray
    away: np.ndarray
    grid: LawGrid
    typical_m: float

    def weigh(self, known: np.ndarray, reach: Reach) -> np.ndarray:
        return _weigh(known, self.index, reach.weights(self.away))

    def score(self, known: np.ndarray, prior: np.ndarray, total: np.ndarray) -> float:
        """Mean log density of each scored well under the laws that the others give it."""
        posterior = _posterior(prior, total)
        best = known[self.scored].max(axis=1, keepdims=True)
        mean = (posterior * np.exp(known[self.scored] - best)).sum(axis=1)
        return float(np.mean(np.log(mean) + best[:, 0]))

    def best_reach(self, known: np.ndarray, prior: np.ndarray) -> tuple[Reach, float]:
        found, best = Reach(self.typical_m, 0.5, 1.0), -np.inf
        for shape in SHAPES:
            for part in REACHES:
                whole = self.weigh(known, Reach(part * self.typical_m, 1.0, shape))
                for strength in STRENGTHS:
                    score = self.score(known, prior, strength * whole)
                    if score > best:
                        found, best = Reach(part * self.typical_m, strength, shape), score
        return found, best

    def spread_prior(self, known: np.ndarray, prior: np.ndarray, reach: Reach) -> np.ndarray:
        """How the laws of the scored places are spread, from their own posteriors, a little smoothed."""
        total = self.weigh(known, reach)
        for _ in range(3):
            mean = _posterior(prior, total).mean(axis=0).reshape(self.grid.shape)
            smooth = gaussian_filter(mean, SMOOTHING / self.grid.step).ravel()
            prior = 0.999 * smooth / smooth.sum() + 0.001 / self.grid.size
        return prior


def _learn(trial: _Trial, jumps: Jumps, decay_ft: float, start: LawMap | None, rounds: int) -> LawMap:
    """Fit what a region shares, for one spread and one decay."""
    tables = fracture_tables(jumps)
    grid = trial.grid
    prior = _first_prior(grid) if start is None else start.prior
    habits = first_habits(trial.stops) if start is None else start.habits
    reach = Reach(trial.typical_m, 0.5, 1.0) if start is None else start.reach
    score = -np.inf
    for _ in range(rounds):
        densities = stop_densities(trial.stops, prior, tables, grid, decay_ft)
        habits = fit_habits(trial.stops, habits, *densities)
        known = log_likelihood(trial.stops, habits, tables, grid, decay_ft)
        prior = trial.spread_prior(known, prior, reach)
        reach, score = trial.best_reach(known, prior)
    return LawMap(trial.stops, grid, tables, decay_ft, habits, prior, reach, score, trial.index.shape[1], trial.scored)


def fit_laws(
    candidates: Sequence[Stops],
    towards: np.ndarray | None = None,
    *,
    n_neighbours: int = 150,
    random_state: int = 0,
    jumps: tuple[Jumps, ...] = JUMPS,
    decays_ft: tuple[float, ...] = DECAYS_FT,
) -> LawMap:
    """Learn the law of the fractures of a region from its stopped holes.

    Parameters
    ----------
    candidates : sequence of Stops
        The same holes, read with different ideas of where water may start;
        the idea that predicts best is kept.
    towards : ndarray of shape (m, 2), optional
        The places that will be asked about; where wells are many, what the
        region shares is learnt near them.
    n_neighbours : int, default=150
    random_state : int, default=0
    jumps : tuple of Jumps
    decays_ft : tuple of float
        Laws of one fracture's yield, and decays of the rate with depth, that
        are tried.

    Returns
    -------
    LawMap

    Raises
    ------
    ValueError
        There is no stop at all.
    """
    stops = candidates[0]
    if not len(stops):
        msg = "No well says anything of the depth to water; a depth and, better, a yield are needed."
        raise ValueError(msg)
    rng = np.random.default_rng(random_state)
    chosen, scored = _sample(stops, stops.coordinates if towards is None else towards, rng)
    trials = [_trial(one.take(chosen), scored, n_neighbours) for one in candidates]
    tried = [_learn(trial, jumps[0], decays_ft[0], None, 3) for trial in trials]
    # a density of log feet becomes one of feet, which is the same thing for all candidates
    scores = [law.score - np.mean(np.log(law.stops.feet[scored])) for law in tried]
    best = int(np.argmax(scores))
    trial, found = trials[best], tried[best]
    for law in jumps[1:]:
        found = _better(found, _learn(trial, law, decays_ft[0], found, 2))
    for decay_ft in decays_ft[1:]:
        faded = _learn(trial, found.tables.jumps, decay_ft, found, 2)
        if faded.score <= found.score:
            break
        found = faded
    fine, prior = _refine(found.grid, found.prior)
    found = _learn(replace(trial, grid=fine), found.tables.jumps, found.decay_ft, replace(found, prior=prior), 1)
    return replace(found, stops=candidates[best], n_neighbours=min(n_neighbours, len(stops)), scored=chosen[scored])


def _trial(sample: Stops, scored: np.ndarray, n_neighbours: int) -> _Trial:
    count = min(n_neighbours + 1, len(sample))
    distance, index = cKDTree(sample.coordinates).query(sample.coordinates[scored], np.arange(1, count + 1))
    away = np.hypot(distance, sample.position_error_m[index])
    away = np.where(index == scored[:, None], np.inf, away)
    typical_m = max(float(np.median(distance[:, min(29, count - 1)])), 50.0)
    return _Trial(sample, scored, index, away, first_grid(), typical_m)


def _better(found: LawMap, tried: LawMap) -> LawMap:
    return tried if tried.score > found.score else found
