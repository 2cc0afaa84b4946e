r"""Local kriging of many places at once.

For each target the k nearest places give the system (Chilès and Delfiner
2012, section 3.4, eq. 3.17 to 3.19; Cressie 1993, section 3.2)

.. math:: C w + \mu 1 = c_0, \quad 1^T w = 1

with C the covariance among the neighbours plus the noise variance of each on
the diagonal, and :math:`c_0` their covariance with the target. With
:math:`a = C^{-1} c_0, b = C^{-1} 1` and the readings z:

.. math::
    w = a + b \, (1 - 1^T a) / (1^T b), \qquad
    \hat z = w^T z = \hat m + c_0^T C^{-1} (z - \hat m 1), \quad \hat m = b^T z / (1^T b)

    \sigma^2 = C(0) - c_0^T a + (1 - 1^T a)^2 / (1^T b)

:math:`\hat m` being the generalised least-squares mean (Chilès and Delfiner
2012, section 3.4.5). Simple kriging, where the mean is known, puts it in the
place of :math:`\hat m` and drops the last term (Rasmussen and Williams 2006,
eq. 2.25 and 2.26).

Targets close together, such as the cells of a grid, may share their
neighbours and so the one factorisation of C: the systems are solved by
groups of targets, and a scattered target is a group by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wellrecords.interpolation.covariance import KINDS, Covariance, FloatArray
from wellrecords.interpolation.neighbours import IntArray, Places
from wellrecords.interpolation.tiling import run_tiles

try:
    from wellrecords.interpolation.compiled import solve_tile
except ImportError:  # numba is optional
    solve_tile = None


@dataclass(frozen=True)
class Solution:
    """What the neighbours say of each target.

    Parameters
    ----------
    mean : ndarray of shape (m,), or (g, s) for groups
    variance : ndarray of the same shape
        Of the smooth field at the target; the nugget is not in it.
    weights : ndarray of shape (m, k), or empty where they were not wanted
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
    """Solve the local kriging system of each target.

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
    found = solve_groups(
        covariance,
        places,
        values,
        noise,
        targets[:, None],
        target_error2_m2[:, None],
        neighbours,
        known_mean=known_mean,
        want_weights=want_weights,
        n_jobs=n_jobs,
    )
    return Solution(found.mean[:, 0], found.variance[:, 0], found.weights[:, 0])


def solve_groups(
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
    """Solve groups of targets that share their neighbours, by one factorisation a group.

    Parameters
    ----------
    targets : ndarray of shape (g, s, 2), metres
    target_error2_m2 : ndarray of shape (g, s)
    neighbours : ndarray of shape (g, k)
        The others as in `solve`.

    Returns
    -------
    Solution of g groups of s targets
    """
    groups, members = targets.shape[:2]
    k = neighbours.shape[1]
    out = Solution(
        np.empty((groups, members)),
        np.empty((groups, members)),
        np.empty((groups if want_weights else 0, members, k)),
    )
    neighbours, targets = np.ascontiguousarray(neighbours), np.ascontiguousarray(targets)
    target_error2_m2 = np.ascontiguousarray(target_error2_m2)

    def compiled_tile(tile: slice) -> None:
        solve_tile(
            KINDS.index(covariance.kind),
            float(covariance.sill),
            float(covariance.range_m),
            places.coordinates,
            places.error2_m2,
            values,
            noise,
            targets[tile],
            target_error2_m2[tile],
            neighbours[tile],
            known_mean is not None,
            0.0 if known_mean is None else float(known_mean),
            out.mean[tile],
            out.variance[tile],
            out.weights[tile],
        )

    def numpy_tile(tile: slice) -> None:
        near = neighbours[tile]
        points, error2, read = places.coordinates[near], places.error2_m2[near], values[near]
        matrix = covariance(_pair_distance2(points, error2))
        diagonal = np.arange(k)
        matrix[:, diagonal, diagonal] = covariance(2.0 * error2) + noise[near]
        offset = points[:, :, None] - targets[tile, None]
        distance2 = np.einsum("gkti,gkti->gkt", offset, offset)
        c0 = covariance(distance2 + error2[:, :, None] + target_error2_m2[tile, None])
        sides = np.concatenate([c0, np.ones((*near.shape, 1)), read[..., None]], axis=-1)
        solved = np.linalg.solve(matrix, sides)
        a, b, v = solved[..., :members], solved[..., members], solved[..., members + 1]
        gap, total = 1.0 - a.sum(axis=1), b.sum(axis=1)[:, None]
        slack = gap / total if known_mean is None else np.zeros_like(gap)
        centre = v.sum(axis=1)[:, None] / total if known_mean is None else known_mean
        out.mean[tile] = centre + np.einsum("gkt,gk->gt", c0, v - centre * b)
        variance = covariance.sill - np.einsum("gkt,gkt->gt", c0, a) + slack * gap
        out.variance[tile] = np.maximum(variance, 0.0)
        if want_weights:
            out.weights[tile] = (a + b[..., None] * slack[:, None]).swapaxes(1, 2)

    if solve_tile is not None:
        run_tiles(compiled_tile, groups, n_jobs=n_jobs)
    else:
        run_tiles(numpy_tile, groups, n_jobs=n_jobs, bytes_each=6 * 8 * k * (k + members))
    return out


def _pair_distance2(points: FloatArray, error2: FloatArray) -> FloatArray:
    """Squared distances among the neighbours of each target, lifted by their position errors."""
    x, y = points[..., 0], points[..., 1]
    distance2 = (x[:, :, None] - x[:, None, :]) ** 2
    distance2 += (y[:, :, None] - y[:, None, :]) ** 2
    distance2 += error2[:, :, None]
    distance2 += error2[:, None, :]
    return distance2
