r"""Local kriging of many places at once.

For each target the k nearest places give the system (Chilès and Delfiner
2012, section 3.4, eq. 3.17 to 3.19; Cressie 1993, section 3.2)

.. math:: C w + \mu 1 = c_0, \quad 1^T w = 1

with C the covariance among the neighbours plus the noise variance of each on
the diagonal, and :math:`c_0` their covariance with the target. Solved through
two right-hand sides of one matrix, :math:`a = C^{-1} c_0, b = C^{-1} 1`:

.. math::
    w = a + b \, (1 - 1^T a) / (1^T b), \qquad
    \sigma^2 = C(0) - c_0^T a + (1 - 1^T a)^2 / (1^T b)

Simple kriging, where the mean is known, keeps :math:`w = a` and drops the
last term (Rasmussen and Williams 2006, eq. 2.25 and 2.26).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache

import numpy as np

from wellrecords.interpolation.covariance import KINDS, Covariance, FloatArray
from wellrecords.interpolation.neighbours import IntArray, Places

try:
    from wellrecords.interpolation.compiled import solve_shared_tile, solve_tile
except ImportError:  # numba is optional
    solve_shared_tile = solve_tile = None  # type: ignore[assignment]

TILE_BYTES = 32_000_000  # working memory of one tile of systems, for each thread
SMALLEST_TILE = 128  # systems; below that a thread costs more than it saves


@dataclass(frozen=True)
class Solution:
    """What the neighbours say of each target.

    Parameters
    ----------
    mean : ndarray of shape (m,)
    variance : ndarray of shape (m,)
        Of the smooth field at the target; the nugget is not in it.
    weights : ndarray of shape (m, k), or (0, k) where they were not wanted
        Weight of each neighbour.
    """

    mean: FloatArray
    variance: FloatArray
    weights: FloatArray


def solve(
    covariance: Covariance,
    places: Places,
    values: FloatArray,
    noise: FloatArray,
    targets: FloatArray,
    target_error2_m2: FloatArray,
    neighbours: IntArray,
    *,
    known_mean: float | None = None,
    want_weights: bool = False,
    n_jobs: int = 1,
) -> Solution:
    """Solve the local kriging systems of all targets.

    Parameters
    ----------
    covariance : Covariance
    places : Places
    values, noise : ndarrays of shape (p,)
        What was read at each place, and the variance of its error about the
        smooth field (the nugget shared by its wells, and what censoring
        leaves open).
    targets : ndarray of shape (m, 2), metres
    target_error2_m2 : ndarray of shape (m,)
        Squared position error of each target.
    neighbours : ndarray of shape (m, k)
        Places that each target leans on.
    known_mean : float or None
        Simple kriging with this mean; None for ordinary kriging.
    want_weights : bool
        They cost a little more.
    n_jobs : int
        Threads.

    Returns
    -------
    Solution
    """
    m, k = neighbours.shape
    out = Solution(np.empty(m), np.empty(m), np.empty((m if want_weights else 0, k)))
    neighbours = np.ascontiguousarray(neighbours)
    task = _compiled_task if solve_tile is not None else _numpy_task

    def one_tile(tile: slice) -> None:
        piece = Solution(out.mean[tile], out.variance[tile], out.weights[tile])
        task(
            covariance,
            places,
            values,
            noise,
            targets[tile],
            target_error2_m2[tile],
            neighbours[tile],
            known_mean,
            piece,
        )

    bytes_each = 6 * 8 * k * k
    if solve_tile is not None:  # one system at a time: cut the work evenly among the threads instead
        bytes_each = TILE_BYTES // max(SMALLEST_TILE, -(-m // (4 * n_jobs)))
    run_tiles(one_tile, m, bytes_each=bytes_each, n_jobs=n_jobs)
    return out


def _compiled_task(
    covariance: Covariance,
    places: Places,
    values: FloatArray,
    noise: FloatArray,
    targets: FloatArray,
    target_error2_m2: FloatArray,
    neighbours: IntArray,
    known_mean: float | None,
    out: Solution,
) -> None:
    solve_tile(
        KINDS.index(covariance.kind),
        float(covariance.sill),
        float(covariance.range_m),
        places.coordinates,
        places.error2_m2,
        values,
        noise,
        targets,
        target_error2_m2,
        neighbours,
        known_mean is not None,
        0.0 if known_mean is None else float(known_mean),
        out.mean,
        out.variance,
        out.weights,
    )


def _numpy_task(
    covariance: Covariance,
    places: Places,
    values: FloatArray,
    noise: FloatArray,
    targets: FloatArray,
    target_error2_m2: FloatArray,
    neighbours: IntArray,
    known_mean: float | None,
    out: Solution,
) -> None:
    points = places.coordinates[neighbours]
    error2 = places.error2_m2[neighbours]
    matrix = covariance(_pair_distance2(points, error2))
    diagonal = np.arange(neighbours.shape[1])
    matrix[:, diagonal, diagonal] = covariance(2.0 * error2) + noise[neighbours]
    offset = points - targets[:, None, :]
    c0 = covariance(np.einsum("mki,mki->mk", offset, offset) + error2 + target_error2_m2[:, None])
    sides = np.stack([c0, np.ones_like(c0)], axis=-1)
    a, b = np.moveaxis(np.linalg.solve(matrix, sides), -1, 0)
    variance = covariance.sill - np.einsum("mk,mk->m", c0, a)
    read = values[neighbours]
    if known_mean is None:
        gap, total = 1.0 - a.sum(axis=1), b.sum(axis=1)
        weights = a + b * (gap / total)[:, None]
        variance += gap**2 / total
        out.mean[:] = np.einsum("mk,mk->m", weights, read)
    else:
        weights = a
        out.mean[:] = known_mean + np.einsum("mk,mk->m", weights, read - known_mean)
    if len(out.weights):
        out.weights[:] = weights
    out.variance[:] = np.maximum(variance, 0.0)


def solve_shared(
    covariance: Covariance,
    places: Places,
    values: FloatArray,
    noise: FloatArray,
    targets: FloatArray,
    neighbours: IntArray,
    *,
    known_mean: float | None = None,
    n_jobs: int = 1,
) -> tuple[FloatArray, FloatArray]:
    r"""Solve groups of targets that share their neighbours: one factorisation a group.

    With :math:`U^T U = C` the mean at a target is
    :math:`\hat m + (U^{-T} c_0)^T U^{-T} (z - \hat m 1)`, :math:`\hat m` being the
    generalised least-squares mean (Chilès and Delfiner 2012, section 3.4.5).

    Parameters
    ----------
    targets : ndarray of shape (g, s, 2), metres
    neighbours : ndarray of shape (g, k)

    Returns
    -------
    mean, variance : ndarrays of shape (g, s)
    """
    groups, members = targets.shape[:2]
    k = neighbours.shape[1]
    neighbours, targets = np.ascontiguousarray(neighbours), np.ascontiguousarray(targets)
    mean, variance = np.empty((groups, members)), np.empty((groups, members))

    def compiled_tile(tile: slice) -> None:
        solve_shared_tile(
            KINDS.index(covariance.kind),
            float(covariance.sill),
            float(covariance.range_m),
            places.coordinates,
            places.error2_m2,
            values,
            noise,
            targets[tile],
            neighbours[tile],
            known_mean is not None,
            0.0 if known_mean is None else float(known_mean),
            mean[tile],
            variance[tile],
        )

    def numpy_tile(tile: slice) -> None:
        points = places.coordinates[neighbours[tile]]
        error2 = places.error2_m2[neighbours[tile]]
        matrix = covariance(_pair_distance2(points, error2))
        diagonal = np.arange(k)
        matrix[:, diagonal, diagonal] = covariance(2.0 * error2) + noise[neighbours[tile]]
        offset = points[:, :, None] - targets[tile, None]
        c0 = covariance(np.einsum("gkti,gkti->gkt", offset, offset) + error2[:, :, None])
        read = values[neighbours[tile]]
        sides = np.concatenate([c0, np.ones((*read.shape, 1)), read[..., None]], axis=-1)
        solved = np.linalg.solve(matrix, sides)
        a, b, v = solved[..., :members], solved[..., members], solved[..., members + 1]
        total = b.sum(axis=1)[:, None]
        centre = v.sum(axis=1)[:, None] / total if known_mean is None else known_mean
        mean[tile] = centre + np.einsum("gkt,gk->gt", c0, v - centre * b)
        variance[tile] = covariance.sill - np.einsum("gkt,gkt->gt", c0, a)
        if known_mean is None:
            variance[tile] += (1.0 - a.sum(axis=1)) ** 2 / total
        np.maximum(variance[tile], 0.0, out=variance[tile])

    if solve_shared_tile is not None:
        bytes_each = TILE_BYTES // max(SMALLEST_TILE // 8, -(-groups // (4 * n_jobs)))
        run_tiles(compiled_tile, groups, bytes_each=bytes_each, n_jobs=n_jobs)
    else:
        run_tiles(numpy_tile, groups, bytes_each=6 * 8 * k * (k + members), n_jobs=n_jobs)
    return mean, variance


def _pair_distance2(points: FloatArray, error2: FloatArray) -> FloatArray:
    """Squared distances among the neighbours of each target, lifted by their position errors."""
    x, y = points[..., 0], points[..., 1]
    distance2 = (x[:, :, None] - x[:, None, :]) ** 2
    distance2 += (y[:, :, None] - y[:, None, :]) ** 2
    distance2 += error2[:, :, None]
    distance2 += error2[:, None, :]
    return distance2


def tiles(count: int, bytes_each: int) -> Iterator[slice]:
    """Cut `count` tasks into slices whose working memory stays under `TILE_BYTES`."""
    size = max(1, TILE_BYTES // max(1, bytes_each))
    for start in range(0, count, size):
        yield slice(start, min(count, start + size))


@cache
def thread_pool(n_jobs: int) -> ThreadPoolExecutor:
    """Return the pool of so many threads, started once."""
    return ThreadPoolExecutor(max_workers=n_jobs)


os.register_at_fork(after_in_child=thread_pool.cache_clear)


def run_tiles(task: Callable[[slice], None], count: int, bytes_each: int, n_jobs: int) -> None:
    """Run `task` on every tile, in at most `n_jobs` threads."""
    slices = list(tiles(count, bytes_each))
    if n_jobs == 1 or len(slices) == 1:
        for tile in slices:
            task(tile)
        return
    list(thread_pool(n_jobs).map(task, slices))
