"""Which of several records is the one: a record has one partner in a source, or none.

A score weighs a pair alone. Where a record fits two wells of one source, at
most one of them is it, so that their odds share one whole with the odds that
it has no partner there; and a rival that has a better partner of its own
hardly counts. Records that are one well themselves are no rivals.
"""

from __future__ import annotations

import numpy as np

MOST = 30.0
"""Logs of odds are cut off there, which is certain, so that differences of their sums stay exact."""
ROUNDS = 3


def weigh_rivals(
    pairs: np.ndarray, score: np.ndarray, later: np.ndarray, source: np.ndarray, threshold: float
) -> tuple[np.ndarray, np.ndarray]:
    """Weigh each pair against the others of its records.

    Parameters
    ----------
    pairs : ndarray of int, shape (m, 2)
        Each pair once, the smaller record first.
    score : ndarray, shape (m,)
        Log odds of each pair alone.
    later : ndarray of int, shape (m,)
        1 where the second record is a later state, -1 where the first is, else
        0. A well may have several later states, but each is of one well.
    source : ndarray of int, shape (n,)
    threshold : float
        Two records of one source at or above this are one well themselves.

    Returns
    -------
    score : ndarray, shape (m,)
        Log odds of each pair, its rivals weighed in.
    rival : ndarray of int, shape (m,)
        The strongest rival's pair; -1 where there is none.
    """
    count = len(pairs)
    if not count:
        return score, np.empty(0, dtype=np.int64)
    odds = np.exp(np.minimum(score, MOST))
    group = _groups(pairs, later, source)
    allied = _allied(pairs, score, group, source, threshold)
    weight = np.stack([odds, odds])
    for _ in range(ROUNDS):
        against = np.stack([_against(group[side], weight[side], allied) for side in (0, 1)])
        # At one of its records, a pair is a rival as far as it holds at the other.
        weight = odds / (1.0 + against[::-1])
    against = np.stack([_against(group[side], weight[side], allied) for side in (0, 1)])
    rivals = np.stack([_strongest(group[side], weight[side]) for side in (0, 1)])
    harder = np.argmax(against, axis=0)
    everyone = np.arange(count)
    return np.minimum(score, MOST) - np.log1p(against[harder, everyone]), rivals[harder, everyone]


def _groups(pairs: np.ndarray, later: np.ndarray, source: np.ndarray) -> np.ndarray:
    """Return, for both records of each pair, a number that it shares with the pairs that contend for that record."""
    sources = int(source.max()) + 1
    group = np.empty((2, len(pairs)), dtype=np.int64)
    for side, earlier in ((0, later > 0), (1, later < 0)):
        record, partner = pairs[:, side], pairs[:, 1 - side]
        asked = ((record * sources + source[partner]) * 2 + (later != 0)).astype(np.int64)
        # A first state does not choose among later ones.
        group[side] = np.where(earlier, -1 - np.arange(len(pairs)), asked)
    return np.stack([np.unique(one, return_inverse=True)[1] for one in group])


def _allied(
    pairs: np.ndarray, score: np.ndarray, group: np.ndarray, source: np.ndarray, threshold: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return pairs, and others of their groups that lead to the same well, filed twice."""
    size = int(pairs.max()) + 1
    key = pairs[:, 0].astype(np.int64) * size + pairs[:, 1]
    order = np.argsort(key, kind="stable")
    twice = pairs[(source[pairs[:, 0]] == source[pairs[:, 1]]) & (score >= threshold)]
    twice = np.concatenate([twice, twice[:, ::-1]])
    # All pairs by either record.
    record = np.concatenate([pairs[:, 0], pairs[:, 1]])
    by_record = np.argsort(record, kind="stable")
    start = np.searchsorted(record[by_record], twice[:, 0], side="left")
    many = np.searchsorted(record[by_record], twice[:, 0], side="right") - start
    which = np.repeat(np.arange(len(twice)), many)
    entry = by_record[np.arange(len(which)) - np.repeat(np.cumsum(many) - many, many) + np.repeat(start, many)]
    one = entry % len(pairs)
    third = pairs[one, np.where(entry < len(pairs), 1, 0)]
    copy = twice[which, 1]
    wanted = np.minimum(third, copy).astype(np.int64) * size + np.maximum(third, copy)
    found = np.minimum(np.searchsorted(key[order], wanted), len(key) - 1)
    other = order[found]
    there = (key[other] == wanted) & (third != copy)
    return one[there], other[there]


def _against(group: np.ndarray, weight: np.ndarray, allied: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Return the summed weight of the other pairs of each pair's group, its allies left out."""
    total = np.bincount(group, weights=weight)[group] - weight
    one, other = allied
    together = group[one] == group[other]
    total -= np.bincount(one[together], weights=weight[other[together]], minlength=len(group))
    return np.maximum(total, 0.0)


def _strongest(group: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Return the heaviest other pair of each pair's group, -1 where it is alone."""
    order = np.lexsort((np.arange(len(group)), -weight, group))
    first = np.r_[True, np.diff(group[order]) > 0]
    starts = np.flatnonzero(first)
    best = order[starts]
    second = np.where(np.diff(np.r_[starts, len(order)]) > 1, order[np.minimum(starts + 1, len(order) - 1)], -1)
    of_group = group
    return np.where(best[of_group] == np.arange(len(group)), second[of_group], best[of_group])
