"""Cross-validation that leaves out ground, not wells.

Wells that are left out one at a time are predicted from their neighbours in
the same street; a new lot seldom has that luck (Roberts et al. 2017,
Ecography 40, 913-929). Both splitters are scikit-learn `BaseCrossValidator`s:
`X` is the (n, 2) array of coordinates in metres.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree
from sklearn.model_selection import BaseCrossValidator

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.neighbours import IntArray


class SpatialBlocks(BaseCrossValidator):
    """Square cells of ground, dealt at random into folds.

    Parameters
    ----------
    n_splits : int, default=5
    cell_m : float, default=300.0
        Side of a cell; all wells of a cell are left out together.
    random_state : int or None, default=0

    Examples
    --------
    >>> coordinates = np.array([[10.0, 10.0], [20.0, 15.0], [900.0, 10.0], [910.0, 700.0]])
    >>> for train, test in SpatialBlocks(n_splits=3).split(coordinates):
    ...     print(train, test)
    [0 1 3] [2]
    [0 1 2] [3]
    [2 3] [0 1]
    """

    def __init__(self, n_splits: int = 5, cell_m: float = 300.0, random_state: int | None = 0) -> None:
        self.n_splits = n_splits
        self.cell_m = cell_m
        self.random_state = random_state

    def get_n_splits(self, X: object = None, y: object = None, groups: object = None) -> int:
        """Return the number of folds."""
        return self.n_splits

    def _iter_test_indices(self, X: Any = None, y: Any = None, groups: Any = None) -> Iterator[IntArray]:
        fold = self.folds(X)
        for number in range(self.n_splits):
            yield np.flatnonzero(fold == number)

    def folds(self, coordinates: npt.ArrayLike) -> IntArray:
        """Return the fold in which each well is left out, shape (n,).

        Raises
        ------
        ValueError
            Fewer cells with wells than folds.
        """
        points = _metres(coordinates)
        _, cell = np.unique(np.floor(points / self.cell_m), axis=0, return_inverse=True)
        cells = int(cell.max()) + 1
        if cells < self.n_splits:
            msg = (
                f"{self.n_splits} folds need at least as many cells with wells; there are {cells} cells of "
                f"{self.cell_m:g} m. Use fewer folds or smaller cells."
            )
            raise ValueError(msg)
        order = np.random.default_rng(self.random_state).permutation(cells)
        return (order % self.n_splits)[cell.reshape(-1)]


class BufferedBlocks(SpatialBlocks):
    """Cells of ground, with a buffer around them that is not learnt from either.

    Parameters
    ----------
    n_splits, cell_m, random_state
        As in `SpatialBlocks`.
    buffer_m : float, default=500.0
        Wells nearer than this to a left-out well are left out of the
        training, too.
    """

    def __init__(
        self, n_splits: int = 5, cell_m: float = 300.0, buffer_m: float = 500.0, random_state: int | None = 0
    ) -> None:
        super().__init__(n_splits, cell_m, random_state)
        self.buffer_m = buffer_m

    def split(self, X: Any, y: Any = None, groups: Any = None) -> Iterator[tuple[IntArray, IntArray]]:
        """Yield the rows to learn from and the rows to predict, fold after fold.

        Raises
        ------
        ValueError
            The buffers leave nothing to learn from.
        """
        points = _metres(X)
        for test in self._iter_test_indices(points):
            distance, _ = cKDTree(points[test]).query(points)
            train = np.flatnonzero(distance > self.buffer_m)
            if len(train) == 0:
                msg = f"A buffer of {self.buffer_m:g} m leaves no wells to learn from; make it smaller."
                raise ValueError(msg)
            yield train, test


def _metres(coordinates: npt.ArrayLike) -> FloatArray:
    points = np.asarray(coordinates, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2:
        msg = f"Coordinates must have shape (n, 2), easting and northing in metres; got {points.shape}."
        raise ValueError(msg)
    return points
