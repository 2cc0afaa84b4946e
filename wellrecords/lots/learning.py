"""Learning what a region shares, from how well its wells predict each other.

The law of the fractures differs from place to place (`laws`). Shared are the
law of one fracture's yield, how fast the rate fades with depth, how drillers
stop, how laws are spread over the region, and how far a well speaks. Each is
chosen by the predictive density of wells left out in turn, and the less
simple only where it is clearly better; what is a matter of degree (a fall with
depth, a spread) is a mean, each value weighed by how well it predicts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from threading import Thread

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from wellrecords.lots.fractures import Jumps, LawGrid, fracture_tables
from wellrecords.lots.laws import LEAST_SPACING_M, LawMap, Reach, blurred, posterior, spacing, spread_out, weigh
from wellrecords.lots.likelihood import log_likelihood, stop_densities
from wellrecords.lots.side_by_side import side_by_side
from wellrecords.lots.stopping import Stops, first_habits, fit_habits

RATE_BOUNDS = (1.0 / 3000.0, 1.0 / 4.0)
SIZE_BOUNDS_GPM = (0.03, 60.0)
JUMPS = (Jumps("lognormal", 1.0), Jumps("lognormal", 0.6), Jumps("lognormal", 1.5), Jumps("gamma", 0.7))
DECAYS_FT = (1500.0, 600.0, 400.0, 250.0, 160.0)
"""Depths in which the rate of fractures may fall by a factor e; a gentle and a middling one first."""
GENTLEST_FT = 20_000.0
"""A gentler fall than this is none."""
TINY = 1e-9
REACHES = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
"""In units of the distance to the thirtieth well."""
SPREADS = (0.0, 0.15, 0.3, 0.45, 0.6)
LIKELY_SPREAD, SPREAD_SD = 0.2, 0.1
"""A weak prior: holes of a neighbourhood differ by some e^0.2 in rate and size. The wells hardly tell a spread of 0.3
from one of 0.5; too wide a one promises wells too shallow, and too narrow a one lets wells speak too far."""
FIRST_SPREAD = 0.4
"""Before any is learnt: too narrow a one takes mixed ground for a rate that fades."""
STRENGTHS = (0.5, 1.0)
SHAPES = (1.0, 2.0)
BLURS = (0.0, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5)
RUN_ONS_FT = (10.0, 20.0, 40.0)
"""How far drillers may go on below the last fracture (for a sump, or to the end of a rod)."""
SAMPLE_WELLS = 1500
SCORED_WELLS = 800
NEIGHBOURHOODS = 10
COARSE_STEP, FINE_STEP = 0.5, 0.25
CROPPED_MASS = 3e-3
SMOOTHING = 0.6
"""Of the spread of laws over the region, in their logs: the laws of places, each an average of the ground around, are
spread less than the laws of the ground, and lots far from wells were drawn too near to the region's middle."""
CLEARLY = 2.0
"""Standard errors by which a less simple law must predict better."""
NO_FALL, LIKELY_FALL_FT = 0.9, 300.0
"""A prior on how fast the rate falls: not at all, or half-normal, of a fall by a factor e in so many feet. Few holes go
past the depth at which a steeper one leaves next to nothing, and it would be taken at their word. Both were settled on
simulated regions, with and without a fall."""


def tabulate_ahead() -> None:
    """Begin to tabulate the laws that will be tried, in a thread of its own: a core is idle while wells are read."""
    Thread(target=lambda: [fracture_tables(jumps) for jumps in JUMPS], daemon=True).start()


def first_grid() -> LawGrid:
    """Return a coarse grid of all laws that rock may have."""
    rate, size = np.log(RATE_BOUNDS), np.log(SIZE_BOUNDS_GPM)
    return LawGrid(np.arange(rate[0], rate[1], COARSE_STEP), np.arange(size[0], size[1], COARSE_STEP))


def _first_prior(grid: LawGrid) -> np.ndarray:
    """Return a wide prior: a fracture in some 80 ft, of some 1.5 gpm, each within a factor of ten or so."""
    rate = -0.5 * ((grid.log_rate - np.log(1.0 / 80.0)) / 1.2) ** 2
    size = -0.5 * ((grid.log_size - np.log(1.5)) / 1.2) ** 2
    prior = np.exp(rate[:, None] + size).ravel()
    return prior / prior.sum()


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


def _sample(stops: Stops, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Choose the wells that what the region shares is learnt from, and those that are scored.

    Whole neighbourhoods are chosen, about wells drawn by lot.
    """
    n = len(stops)
    if n <= SAMPLE_WELLS:
        return np.arange(n), rng.permutation(n)[:SCORED_WELLS]
    centres = stops.coordinates[rng.permutation(n)[:NEIGHBOURHOODS]]
    _, near = cKDTree(stops.coordinates).query(centres, SAMPLE_WELLS // len(centres))
    chosen = np.unique(near)
    core = np.unique(near[:, : near.shape[1] // 2])
    scored = np.flatnonzero(np.isin(chosen, core))
    return chosen, rng.permutation(scored)[:SCORED_WELLS]


@dataclass(frozen=True)
class _Trial:
    """A sample of wells, and the neighbours of those that are scored."""

    stops: Stops
    scored: np.ndarray
    index: np.ndarray
    away: np.ndarray
    spacing_m: np.ndarray
    grid: LawGrid
    typical_m: float

    def with_run_on(self, run_on_ft: float) -> _Trial:
        return replace(self, stops=replace(self.stops, run_on_ft=run_on_ft))

    def weigh(self, known: np.ndarray, reach: Reach) -> np.ndarray:
        return self._weigh(spread_out(known, self.grid, reach.spread), reach)

    def _weigh(self, heard: np.ndarray, reach: Reach) -> np.ndarray:
        return weigh(heard, self.index, reach.weights(self.away, self.spacing_m))

    def scores(self, known: np.ndarray, prior: np.ndarray, total: np.ndarray, blur: float = 0.0) -> np.ndarray:
        """Log density of each scored well under the laws that the others give it."""
        probability = blurred(posterior(prior, total), self.grid, blur)
        own = known[self.scored]
        best = own.max(axis=1, keepdims=True)
        return np.log((probability * np.exp(own - best)).sum(axis=1)) + best[:, 0]

    def best_reach(
        self,
        known: np.ndarray,
        prior: np.ndarray,
        spreads: Sequence[float],
        shapes: Sequence[float] = (2.0,),
        strengths: Sequence[float] = (1.0,),
    ) -> Reach:
        """Return the reach that predicts best, with the spreads' mean, each weighed by how well it predicts.

        There is no blur yet: with it, a spread that is too wide hardly predicts worse, and each drags the other up.
        """
        start = REACHES.index(1.0)

        def best_at(spread: float) -> tuple[float, Reach]:
            nonlocal start
            heard = spread_out(known, self.grid, spread)

            def scored(number: int, shape: float) -> tuple[float, float]:
                whole = self._weigh(heard, Reach(REACHES[number] * self.typical_m, self.typical_m, shape=shape))
                return max((float(self.scores(known, prior, part * whole).sum()), part) for part in strengths)

            found = []
            for shape in shapes:
                start, (score, strength) = _climb(partial(scored, shape=shape), start, len(REACHES))
                reach = Reach(REACHES[start] * self.typical_m, self.typical_m, strength, shape, spread=spread)
                found.append((score, reach))
            return max(found, key=lambda one: one[0])

        if len(spreads) == 1:
            return best_at(spreads[0])[1]
        score = np.array([best_at(spread)[0] for spread in spreads])
        prior_score = -0.5 * ((np.array(spreads) - LIKELY_SPREAD) / SPREAD_SD) ** 2
        return best_at(_mean_square(spreads, score + prior_score))[1]

    def first_reach(self) -> Reach:
        """Return the reach before any is learnt."""
        return Reach(self.typical_m, self.typical_m, spread=FIRST_SPREAD)

    def with_blur(self, known: np.ndarray, prior: np.ndarray, reach: Reach) -> Reach:
        """Let holes side by side differ as much as they are seen to: blurs weighed by how well each predicts."""
        total = self.weigh(known, reach)
        score = np.array([float(self.scores(known, prior, total, blur).sum()) for blur in BLURS])
        return replace(reach, blur=_mean_square(BLURS, score))

    def spread_prior(self, prior: np.ndarray, total: np.ndarray) -> np.ndarray:
        """Return how the laws of the scored places are spread: their posteriors together, a little smoothed."""
        for _ in range(3):
            mean = posterior(prior, total).mean(axis=0).reshape(self.grid.shape).astype(float)
            smooth = gaussian_filter(mean, SMOOTHING / self.grid.step).ravel()
            prior = 0.999 * smooth / smooth.sum() + 0.001 / self.grid.size
        return prior


def _climb(height: Callable[[int], tuple[float, float]], start: int, count: int) -> tuple[int, tuple[float, float]]:
    """Go uphill from `start`, of 0 to count - 1, to where both neighbours are lower; that number and its height."""
    known = cache(height)
    while True:
        near = range(max(start - 1, 0), min(start + 2, count))
        best = max(near, key=lambda number: (known(number), number == start))
        if best == start:
            return start, known(start)
        start = best


def _mean_square(deviations: Sequence[float], score: np.ndarray) -> float:
    """Root mean square of standard deviations, each weighed by its likelihood, whose log is `score`."""
    return float(np.sqrt(np.average(np.square(deviations), weights=np.exp(score - score.max()))))


def _trial(sample: Stops, scored: np.ndarray, n_neighbours: int) -> _Trial:
    count = min(n_neighbours + 1, len(sample))
    distance, index = cKDTree(sample.coordinates).query(sample.coordinates[scored], np.arange(1, count + 1))
    away = np.hypot(distance, sample.position_error_m[index])
    spacing_m = spacing(distance, own=1)
    typical_m = max(float(np.median(spacing_m)), LEAST_SPACING_M)
    away = np.where(index == scored[:, None], np.inf, away)
    return _Trial(sample, scored, index, away, spacing_m, first_grid(), typical_m)


def _first_fit(trial: _Trial, jumps: Jumps) -> LawMap:
    """Fit from nothing, on the coarse grid."""
    start = LawMap(
        stops=trial.stops,
        grid=trial.grid,
        tables=fracture_tables(jumps),
        decay_ft=np.inf,
        habits=first_habits(trial.stops),
        prior=_first_prior(trial.grid),
        reach=trial.first_reach(),
        n_neighbours=trial.index.shape[1],
        scored=trial.scored,
        scores=np.empty(0),
    )
    for _ in range(3):
        start = _improve(trial, start)
        known = log_likelihood(trial.stops, start.habits, start.tables, start.grid, start.decay_ft)
        start = replace(start, reach=trial.best_reach(known, start.prior, (FIRST_SPREAD,)))
    return start


def _improve(trial: _Trial, laws: LawMap) -> LawMap:
    """Refresh habits, prior and scores under the law's own jumps, decay and reach."""
    density = stop_densities(trial.stops, laws.prior, laws.tables, laws.grid, laws.decay_ft)
    habits = fit_habits(trial.stops, laws.habits, *density)
    known = log_likelihood(trial.stops, habits, laws.tables, laws.grid, laws.decay_ft)
    total = trial.weigh(known, laws.reach)
    prior = trial.spread_prior(laws.prior, total)
    # Habits differ from one idea to the next: without the chance of no limit above, more limits would cost nothing.
    run_out = habits.run_out(trial.stops)[trial.scored]
    scores = trial.scores(known, prior, total, laws.reach.blur) - run_out
    return replace(laws, habits=habits, prior=prior, scores=scores)


def _of_feet(laws: LawMap) -> np.ndarray:
    """Scores as densities of the feet (not their log), which are the same thing wherever water may start."""
    return laws.scores - np.log(laws.stops.feet[laws.scored])


def _clearly_better(tried: np.ndarray, found: np.ndarray) -> bool:
    gain = tried - found
    return bool(gain.mean() > CLEARLY * gain.std() / np.sqrt(len(gain)))


def fit_laws(
    candidates: Sequence[Stops],
    *,
    n_neighbours: int = 150,
    random_state: int = 0,
    jumps: tuple[Jumps, ...] = JUMPS,
    decays_ft: tuple[float, ...] = DECAYS_FT,
    n_jobs: int = 1,
) -> LawMap:
    """Learn the law of the fractures of a region from its stopped holes.

    Parameters
    ----------
    candidates : sequence of Stops
        The same holes, read with different ideas of where water may start; the
        first is kept unless another predicts clearly better.
    n_neighbours : int, default=150
    random_state : int, default=0
    jumps : tuple of Jumps
    decays_ft : tuple of float
        Laws of one fracture's yield, and decays of the rate with depth (in
        feet, falling), that are tried beside none.
    n_jobs : int, default=1
        Threads; the figures do not depend on it.

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
    chosen, scored = _sample(stops, rng)
    trials = [_trial(one.take(chosen), scored, n_neighbours) for one in candidates]
    first = _improve(trials[0], _first_fit(trials[0], jumps[0]))
    tried = [first, *(_improve(trial, _improve(trial, replace(first, stops=trial.stops))) for trial in trials[1:])]
    best = 0
    for number in range(1, len(tried)):
        if _clearly_better(_of_feet(tried[number]), _of_feet(tried[best])):
            best = number
    trial, found = trials[best], tried[best]
    for run_on_ft in RUN_ONS_FT:
        longer = trial.with_run_on(run_on_ft)
        gone_on = _improve(longer, replace(found, stops=longer.stops))
        if not _clearly_better(gone_on.scores, found.scores):
            break
        trial, found = longer, gone_on

    def with_jumps(law: Jumps) -> LawMap:
        return _improve(trial, replace(found, tables=fracture_tables(law)))

    others = side_by_side(with_jumps, jumps[1:], n_jobs)
    found = _improve(trial, max([found, *others], key=lambda laws: float(laws.scores.mean())))
    found = _fading(trial, found, decays_ft, n_jobs)
    grid, prior = _refine(found.grid, found.prior)
    trial = replace(trial, grid=grid)
    found = _improve(trial, replace(found, grid=grid, prior=prior))
    found = _with_reach(trial, found, SHAPES, STRENGTHS)
    stops = replace(candidates[best], run_on_ft=found.stops.run_on_ft)
    return replace(
        found, stops=stops, n_neighbours=min(n_neighbours, len(stops)), scored=chosen[scored], candidate=best
    )


def _fading(trial: _Trial, found: LawMap, decays_ft: Sequence[float], n_jobs: int) -> LawMap:
    """Let the rate fall with depth as fast as the wells say, in the mean of what they leave open.

    Few regions tell a gentle fall from none, and a choice of one or the other
    would promise the deep yields too shallow or too deep. A middling fall is
    tried where a gentle one predicts better than none, and the steep ones
    where the middling does better again.
    """

    def fades(decay_ft: float) -> LawMap:
        return _with_reach(trial, found if np.isinf(decay_ft) else _improve(trial, replace(found, decay_ft=decay_ft)))

    tried = side_by_side(fades, [np.inf, *decays_ft[:1]], n_jobs)
    if tried[-1].scores.sum() > tried[0].scores.sum():
        tried += side_by_side(fades, decays_ft[1:2], n_jobs)
    if len(tried) == 3 and tried[2].scores.sum() > tried[1].scores.sum():
        tried += side_by_side(fades, decays_ft[2:], n_jobs)
    falls = 1.0 / np.array([laws.decay_ft for laws in tried])
    fall = mean_fall(falls, np.array([laws.scores - tried[0].scores for laws in tried]))
    if fall < 1.0 / GENTLEST_FT:
        return tried[0]
    nearest = tried[int(np.argmin(np.abs(falls - fall)))]
    return _settled(trial, replace(nearest, decay_ft=1.0 / fall))


def mean_fall(falls: np.ndarray, gain: np.ndarray) -> float:
    """Return the mean of the posterior of how fast a rate falls.

    Beforehand there is none with the chance `NO_FALL`, or one of a half-normal
    law. What the wells say is believed as far as their gains agree: scores of
    wells that share neighbours, under laws that are none of them quite true,
    scatter more than a likelihood's, so that the best gain counts for no more
    than the square of its standard errors (compare the adjusted composite
    likelihoods of Pauli, Racugno and Ventura 2011, "Bayesian composite
    marginal likelihoods", Statistica Sinica 21, 149-164; from memory).

    Parameters
    ----------
    falls : ndarray of shape (k,)
        Rising from 0, a foot.
    gain : ndarray of shape (k, n)
        Log predictive density of each of n wells under each fall, less that
        under none; between falls their sum is interpolated (PCHIP).

    Returns
    -------
    float
        A foot.
    """
    total, scatter = gain.sum(axis=1), gain.std(axis=1) * np.sqrt(gain.shape[1])
    best = float(total.max())
    if best <= 0.0:
        return 0.0
    better = total > 0.0
    agreed = float(np.max((total[better] / np.maximum(scatter[better], TINY)) ** 2))
    fall = np.linspace(0.0, falls[-1], 400)
    said = PchipInterpolator(falls, total)(fall) * min(1.0, agreed / best)
    likely = np.exp(said - 0.5 * (fall * LIKELY_FALL_FT) ** 2) * np.sqrt(2.0 / np.pi) * LIKELY_FALL_FT
    some, mean = (float(np.trapezoid(part, fall)) for part in (likely, likely * fall))
    return (1.0 - NO_FALL) * mean / (NO_FALL + (1.0 - NO_FALL) * some)


def _settled(trial: _Trial, laws: LawMap) -> LawMap:
    """Fit anew what was learnt without fading."""
    for _ in range(3):
        laws = _improve(trial, laws)
    return _with_reach(trial, laws)


def _with_reach(
    trial: _Trial,
    found: LawMap,
    shapes: Sequence[float] = (2.0,),
    strengths: Sequence[float] = (1.0,),
) -> LawMap:
    """Let wells speak as far, and holes differ as much, as predicts best: without it a rate that fades looks rough."""
    known = log_likelihood(trial.stops, found.habits, found.tables, found.grid, found.decay_ft)
    reach = trial.best_reach(known, found.prior, SPREADS, shapes, strengths)
    return _improve(trial, replace(found, reach=trial.with_blur(known, found.prior, reach)))
