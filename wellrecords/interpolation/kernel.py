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

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from wellrecords.interpolation.covariance import Covariance, FloatArray
from wellrecords.interpolation.neighbours import IntArray, Places

TILE_BYTES = 32_000_000  # working memory of one tile of systems, for each thread


@dataclass(frozen=True)
class Solution:
    """What the neighbours say of each target.

    Parameters
    ----------
    mean : ndarray of shape (m,)
    variance : ndarray of shape (m,)
        Of the smooth field at the target; the nugget is not in it.
    weights : ndarray of shape (m, k)
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
    n_jobs : int
        Threads.

    Returns
    -------
    Solution
    """
    m, k = neighbours.shape
    out = Solution(np.empty(m), np.empty(m), np.empty((m, k)))

    def one_tile(tile: slice) -> None:
        index = neighbours[tile]
        points = places.coordinates[index]
        error2 = places.error2_m2[index]
        matrix = covariance(_pair_distance2(points, error2))
        diagonal = np.arange(k)
        matrix[:, diagonal, diagonal] = covariance(2.0 * error2) + noise[index]
        offset = points - targets[tile, None, :]
        c0 = covariance(np.einsum("mki,mki->mk", offset, offset) + error2 + target_error2_m2[tile, None])
        sides = np.stack([c0, np.ones_like(c0)], axis=-1)
        a, b = np.moveaxis(np.linalg.solve(matrix, sides), -1, 0)
        variance = covariance.sill - np.einsum("mk,mk->m", c0, a)
        if known_mean is None:
            gap, total = 1.0 - a.sum(axis=1), b.sum(axis=1)
            weights = a + b * (gap / total)[:, None]
            variance += gap**2 / total
            mean = np.einsum("mk,mk->m", weights, values[index])
        else:
            weights = a
            mean = known_mean + np.einsum("mk,mk->m", weights, values[index] - known_mean)
        out.mean[tile], out.variance[tile], out.weights[tile] = mean, np.maximum(variance, 0.0), weights

    run_tiles(one_tile, m, bytes_each=6 * 8 * k * k, n_jobs=n_jobs)
    return out


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


def run_tiles(task: Callable[[slice], None], count: int, bytes_each: int, n_jobs: int) -> None:
    """Run `task` on every tile, in at most `n_jobs` threads."""
    slices = list(tiles(count, bytes_each))
    if n_jobs == 1 or len(slices) == 1:
        for tile in slices:
            task(tile)
        return
    with ThreadPoolExecutor(max_workers=n_jobs) as pool:
        list(pool.map(task, slices))
