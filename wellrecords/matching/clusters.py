"""From pairs of records to groups that are one well.

If A is B and B is C, then A, B and C are one well only if nothing says that A
is not C. So groups are grown from the best pair down, and two groups are
joined only where every two records of one source in them were themselves
found to be one well. Two wells of one source never become one by way of a
third record.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components


def drop_ambiguous(
    pairs: np.ndarray, score: np.ndarray, source: np.ndarray, margin: float
) -> tuple[np.ndarray, np.ndarray]:
    """Tell the pairs in which a record fits two different wells of one source about as well.

    Parameters
    ----------
    pairs : ndarray of int, shape (m, 2)
        All pairs at or above the threshold.
    score : ndarray, shape (m,)
    source : ndarray of int, shape (n,)
        Source of each record.
    margin : float
        The better partner must lead by this much.

    Returns
    -------
    keep : ndarray of bool, shape (m,)
        False where the pair is ambiguous.
    rival : ndarray of int, shape (m,)
        For those, the pair that contends with it; -1 elsewhere.
    """
    count = len(pairs)
    keep, rival = np.ones(count, dtype=bool), np.full(count, -1)
    if not count:
        return keep, rival
    size = int(pairs.max()) + 1
    known = set((pairs[:, 0].astype(np.int64) * size + pairs[:, 1]).tolist())
    # Each pair seen from both of its records: (record, source of the partner, partner, score, pair).
    record = np.concatenate([pairs[:, 0], pairs[:, 1]])
    partner = np.concatenate([pairs[:, 1], pairs[:, 0]])
    value = np.concatenate([score, score])
    number = np.tile(np.arange(count), 2)
    best = _best_by_side(record, source[partner], value)
    # A partner contends only if the record is (nearly) its own best choice too.
    contends = (value >= best - margin) & (value >= np.roll(best, count) - margin)
    order = np.lexsort((-value[contends], source[partner[contends]], record[contends]))
    record, partner, number = (part[contends][order] for part in (record, partner, number))
    same = (record[1:] == record[:-1]) & (source[partner[1:]] == source[partner[:-1]])
    for place in np.flatnonzero(same):
        first, second = sorted((int(partner[place]), int(partner[place + 1])))
        if first * size + second not in known:
            one, other = number[place], number[place + 1]
            keep[[one, other]] = False
            rival[one], rival[other] = other, one
    return keep, rival


def _best_by_side(record: np.ndarray, other_source: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Return, for each row, the best value among the rows of its record and that source."""
    order = np.lexsort((-value, other_source, record))
    first = np.r_[
        True, (record[order][1:] != record[order][:-1]) | (other_source[order][1:] != other_source[order][:-1])
    ]
    group = np.cumsum(first) - 1
    best = np.empty(len(value))
    best[order] = value[order][first][group]
    return best


def grow_clusters(pairs: np.ndarray, score: np.ndarray, source: np.ndarray, count: int) -> np.ndarray:
    """Return a group number for each record; alone in its group where it has no partner.

    Parameters
    ----------
    pairs : ndarray of int, shape (m, 2)
        Pairs found to be one well.
    score : ndarray, shape (m,)
    source : ndarray of int, shape (count,)
    count : int
        Number of records.

    Returns
    -------
    ndarray of int, shape (count,)
    """
    if not len(pairs):
        return np.arange(count)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, component = connected_components(graph, directed=False)
    sizes = np.bincount(component)
    # Two records that are one pair need no care; only the larger knots are untied, best pair first.
    knots = np.flatnonzero(sizes[component[pairs[:, 0]]] > 2)
    if not len(knots):
        return component
    knots = knots[np.lexsort((pairs[knots, 1], pairs[knots, 0], -score[knots]))]
    known = {(int(a), int(b)) for a, b in pairs[knots]}
    group: dict[int, list[int]] = {}
    for a, b in pairs[knots].tolist():
        first, second = group.setdefault(a, [a]), group.setdefault(b, [b])
        if first is second:
            continue
        allowed = all(
            source[one] != source[other] or (min(one, other), max(one, other)) in known
            for one in first
            for other in second
        )
        if allowed:
            first.extend(second)
            for record in second:
                group[record] = first
    labels = component.copy()
    for record, members in group.items():
        labels[record] = len(sizes) + min(members)
    return np.unique(labels, return_inverse=True)[1]
