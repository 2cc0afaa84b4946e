"""Places that hold wells, and the nearest places of a point.

State records put many wells on one point (the centre of a section). A crowd
of readings on one point is one place: the readings share their neighbours,
and what they say about the field is their precision-weighted mean (see
`wellrecords.interpolation.censoring.pool`). Neighbours are therefore counted
in places, so that a crowd cannot fill the whole neighbourhood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from wellrecords.interpolation.covariance import FloatArray

try:
    from wellrecords.interpolation.search import Leaves
except ImportError:  # numba is optional
    Leaves = None  # type: ignore[assignment,misc]

IntArray = npt.NDArray[np.intp]
TIES = (
    8  # places beyond those wanted that are asked of scipy's tree first, which must not choose among equally far ones
)


@dataclass(frozen=True)
class Places:
    """Distinct positions of wells.

    Parameters
    ----------
    coordinates : ndarray of shape (p, 2), metres
        Stretched already where the field is anisotropic.
    error2_m2 : ndarray of shape (p,)
        Mean squared position error of the wells at the place.
    place_of_well : ndarray of shape (n,)
        The place of each well.
    """

    coordinates: FloatArray
    error2_m2: FloatArray
    place_of_well: IntArray

    @property
    def count(self) -> int:
        """Number of places."""
        return len(self.coordinates)

    @cached_property
    def leaves(self) -> Leaves:
        """Index of the places for the compiled search."""
        return Leaves.of(self.coordinates)

    @cached_property
    def tree(self) -> cKDTree:
        """Index of the places where numba is not installed."""
        return cKDTree(self.coordinates)

    def only(self, chosen: IntArray) -> tuple[Places, IntArray, IntArray]:
        """Return the chosen places alone, the wells that stand there, and the new number of each place (-1: none)."""
        number = np.full(self.count, -1)
        number[chosen] = np.arange(len(chosen))
        place_of_well = number[self.place_of_well]
        wells = np.flatnonzero(place_of_well >= 0)
        return Places(self.coordinates[chosen], self.error2_m2[chosen], place_of_well[wells]), wells, number

    def per_place(self, per_well: FloatArray) -> FloatArray:
        """Sum a quantity over the wells of each place."""
        return np.bincount(self.place_of_well, weights=per_well, minlength=self.count).astype(np.float64, copy=False)


def group_places(coordinates: FloatArray, position_error_m: FloatArray) -> Places:
    """Group wells on one point into places.

    Parameters
    ----------
    coordinates : ndarray of shape (n, 2), metres
    position_error_m : ndarray of shape (n,)
        Root mean square error of each position.

    Returns
    -------
    Places
    """
    points, place_of_well = np.unique(coordinates, axis=0, return_inverse=True)
    place_of_well = place_of_well.reshape(-1)
    count = np.bincount(place_of_well, minlength=len(points))
    error2 = np.bincount(place_of_well, weights=position_error_m**2, minlength=len(points)) / count
    return Places(points, error2, place_of_well)


def nearest(places: Places, coordinates: FloatArray, count: int, n_jobs: int = 1) -> tuple[FloatArray, IntArray]:
    """Find the nearest places of each point; of equally far ones, as on a lattice, those of lower number.

    Returns
    -------
    distance_m, index : ndarrays of shape (m, min(count, p))
    """
    count = min(count, places.count)
    if Leaves is not None:
        return places.leaves.nearest(coordinates, count, n_jobs)
    wider, known = min(count + TIES, places.count), False
    while not known:
        distance, index = places.tree.query(coordinates, k=np.arange(1, wider + 1), workers=n_jobs)
        known = wider == places.count or bool(np.all(distance[:, -1] > distance[:, count - 1]))
        wider = min(2 * wider, places.count)
    order = np.lexsort((index, distance), axis=1)[:, :count]
    return np.take_along_axis(distance, order, axis=1), np.take_along_axis(index, order, axis=1)


def blocks(coordinates: FloatArray, block_m: float) -> IntArray:
    """Return the number of the square cell of ground that each point lies in, shape (m,)."""
    if block_m <= 0:
        return np.arange(len(coordinates))
    cell = np.floor(coordinates / block_m)
    return np.unique(cell, axis=0, return_inverse=True)[1].reshape(-1)


def nearest_elsewhere(
    places: Places, count: int, block_of_place: IntArray, n_jobs: int = 1, *, of: IntArray | None = None
) -> IntArray:
    """Find the nearest places that do not lie in a place's own block.

    Should a block hold very many places, the last neighbours may come from
    it after all, but never the place itself.

    Parameters
    ----------
    of : ndarray of shape (m,), optional
        The places whose neighbours are wanted; all of them by default.

    Returns
    -------
    ndarray of shape (m, min(count, p - 1))
    """
    asked = np.arange(places.count) if of is None else of
    count = min(count, places.count - 1)
    if count < 1:
        return np.empty((len(asked), 0), dtype=np.intp)
    crowd = min(int(np.bincount(block_of_place).max()), count)
    _, index = nearest(places, places.coordinates[asked], count + crowd, n_jobs)
    rank = (block_of_place[index] == block_of_place[asked][:, None]).astype(np.int8)
    rank[index == asked[:, None]] = 2
    others = np.argsort(rank, axis=1, kind="stable")[:, :count]
    return np.take_along_axis(index, others, axis=1)
