"""The nearest places of many points, compiled by numba where that is installed.

A k-d tree (Bentley, J. L. 1975, Commun. ACM 18, 509-517) whose nodes are
numbered as in a heap, each with the box around its places (Roussopoulos,
Kelley and Vincent 1995, Proc. SIGMOD, 71-79): the children of node i are
2 i + 1 and 2 i + 2. The points are visited leaf by leaf, so that what one
has touched is still in the cache for the next. The distances equal scipy's to the last bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from wellrecords.interpolation.jit import fast
from wellrecords.interpolation.tiling import run_tiles

LEAF = 12  # places in a leaf, at most
DEEPEST = 64  # levels; a tree of as many places as memory holds has fewer

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Leaves:
    """Places in the order of their leaves.

    Parameters
    ----------
    points : ndarray of shape (p, 2)
    place : ndarray of shape (p,)
        Number of each.
    start : ndarray of shape (leaves + 1,)
        Where each leaf begins.
    boxes : ndarray of shape (2 * leaves - 1, 4)
        West, south, east and north of each node, the root first and the
        leaves last.
    """

    points: FloatArray
    place: IntArray
    start: IntArray
    boxes: FloatArray

    @classmethod
    def of(cls, points: FloatArray) -> Leaves:
        """Build from points of shape (p, 2), p > 0; the order is that of scipy's tree, which halves likewise."""
        place = np.asarray(cKDTree(points, leafsize=LEAF).indices)
        start = np.array([0, len(points)])
        while np.diff(start).max() > LEAF:
            middle = start[:-1] + np.diff(start) // 2
            start = np.append(np.column_stack([start[:-1], middle]).ravel(), len(points))
        ordered = points[place]
        low, high = np.minimum.reduceat(ordered, start[:-1]), np.maximum.reduceat(ordered, start[:-1])
        levels = [np.hstack([low, high])]
        while len(low) > 1:
            low, high = np.minimum(low[::2], low[1::2]), np.maximum(high[::2], high[1::2])
            levels.append(np.hstack([low, high]))
        return cls(ordered, place, start, np.vstack(levels[::-1]))

    def nearest(self, targets: FloatArray, count: int, n_jobs: int = 1) -> tuple[FloatArray, IntArray]:
        """Distances and numbers of the nearest places, the nearest first; of equally far ones the lower number.

        Returns
        -------
        distance, index : ndarrays of shape (m, count)
        """
        targets = np.ascontiguousarray(targets)
        distance, index = np.empty((len(targets), count)), np.empty((len(targets), count), dtype=np.intp)
        leaf = np.empty(len(targets), dtype=np.intp)
        run_tiles(lambda tile: _find_leaves(self.boxes, targets[tile], leaf[tile]), len(targets), n_jobs=n_jobs)
        by_leaf = np.argsort(leaf)

        def search(tile: slice) -> None:
            _search(self.points, self.place, self.start, self.boxes, targets, by_leaf[tile], distance, index)

        run_tiles(search, len(targets), n_jobs=n_jobs)
        return distance, index


@fast(contract=False)
def _gap2(boxes, node, x, y):  # type: ignore[no-untyped-def]
    """Squared distance from a point to the box of a node."""
    dx = max(0.0, max(boxes[node, 0] - x, x - boxes[node, 2]))
    dy = max(0.0, max(boxes[node, 1] - y, y - boxes[node, 3]))
    return dx * dx + dy * dy


@fast(contract=False)
def _find_leaves(boxes, targets, leaf):  # type: ignore[no-untyped-def]
    """Find the leaf that each target falls to."""
    inner = len(boxes) // 2
    for t in range(len(targets)):
        x, y, node = targets[t, 0], targets[t, 1], 0
        while node < inner:
            left = 2 * node + 1
            node = left if _gap2(boxes, left, x, y) <= _gap2(boxes, left + 1, x, y) else left + 1
        leaf[t] = node - inner


@fast(contract=False)
def _search(points, place, start, boxes, targets, which, out_distance, out_index):  # type: ignore[no-untyped-def]
    """Search for the targets `which`: down to the nearest leaf, then back to every node that may hold a nearer one."""
    k = out_index.shape[1]
    inner = len(boxes) // 2
    waiting, gap = np.empty(DEEPEST, np.intp), np.empty(DEEPEST)
    far, name = np.empty(k + 1), np.empty(k + 1, np.intp)  # the nearest so far, sorted
    for t in which:
        x, y = targets[t, 0], targets[t, 1]
        found, bound = 0, np.inf
        waiting[0], gap[0], left_over = 0, 0.0, 1
        while left_over > 0:
            left_over -= 1
            if gap[left_over] > bound:
                continue
            node = waiting[left_over]
            while node < inner:
                node = 2 * node + 1
                other, here, there = node + 1, _gap2(boxes, node, x, y), _gap2(boxes, node + 1, x, y)
                if there < here:
                    node, other, there = other, node, here
                if there <= bound:
                    waiting[left_over], gap[left_over] = other, there
                    left_over += 1
            for p in range(start[node - inner], start[node - inner + 1]):
                dx, dy = points[p, 0] - x, points[p, 1] - y
                distance2 = dx * dx + dy * dy
                if distance2 > bound:
                    continue
                i = found
                while i > 0 and (far[i - 1] > distance2 or (far[i - 1] == distance2 and name[i - 1] > place[p])):
                    far[i], name[i] = far[i - 1], name[i - 1]
                    i -= 1
                far[i], name[i] = distance2, place[p]
                found = min(found + 1, k)
                if found == k:
                    bound = far[k - 1]
        for i in range(k):
            out_distance[t, i], out_index[t, i] = math.sqrt(far[i]), name[i]
