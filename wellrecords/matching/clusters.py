"""From pairs of records to groups that are one well.

If A is B and B is C, then A, B and C are one well only if nothing says that A
is not C. So groups are grown from the best pair down, and two groups are
joined only where every two records of one source in them were themselves
found to be one well, and where all their pairs together speak for it. Two
wells of one source never become one by way of a third record.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

UNLIKE = -4.0
"""Two records of two groups that are no pair speak against joining these by so much (as log odds)."""


def grow_clusters(pairs: np.ndarray, score: np.ndarray, sure: np.ndarray, source: np.ndarray, count: int) -> np.ndarray:
    """Return a group number for each record; alone in its group where it has no partner.

    Parameters
    ----------
    pairs : ndarray of int, shape (m, 2)
        Pairs that may be one well.
    score : ndarray, shape (m,)
        Log odds.
    sure : ndarray of bool, shape (m,)
        The pairs found to be one well; the others speak for or against joining groups.
    source : ndarray of int, shape (count,)
    count : int
        Number of records.

    Returns
    -------
    ndarray of int, shape (count,)
    """
    links = pairs[sure]
    if not len(links):
        return np.arange(count)
    graph = coo_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(count, count))
    _, component = connected_components(graph, directed=False)
    sizes = np.bincount(component)
    # Two records that are one pair need no care; only the larger knots are untied, best pair first.
    of_knot = (sizes[component[pairs[:, 0]]] > 2) & (component[pairs[:, 0]] == component[pairs[:, 1]])
    known = {(int(a), int(b)): float(value) for (a, b), value in zip(pairs[of_knot], score[of_knot], strict=True)}
    knots = np.flatnonzero(of_knot & sure)
    knots = knots[np.lexsort((pairs[knots, 1], pairs[knots, 0], -score[knots]))]
    linked = {(int(a), int(b)) for a, b in pairs[knots]}
    group: dict[int, list[int]] = {}
    for a, b in pairs[knots].tolist():
        first, second = group.setdefault(a, [a]), group.setdefault(b, [b])
        if first is second:
            continue
        between = [(min(one, other), max(one, other)) for one in first for other in second]
        allowed = all(source[one] != source[other] or (one, other) in linked for one, other in between)
        if allowed and sum(known.get(pair, UNLIKE) for pair in between) >= 0.0:
            first.extend(second)
            for record in second:
                group[record] = first
    labels = component.copy()
    for record, members in group.items():
        labels[record] = len(sizes) + min(members)
    return np.unique(labels, return_inverse=True)[1]
