"""What drives the spread of a cost: Shapley effects from the draws alone.

The unknowns of the ground hang together (deep rock, deep water and poor yield
go with each other), so the shares of variance by single unknowns (first-order
Sobol indices) add up to anything. Shapley effects share the variance fairly
between dependent unknowns and add up to all of it: the effect of unknown i is
the mean, over the orders in which the unknowns could become known, of the
variance that goes when i does (Owen, SIAM/ASA J. Uncertainty Quantification 2,
2014; Song, Nelson and Staum, same journal 4, 2016).

The variance that is left when a set of unknowns is known, E[Var(cost | set)],
is estimated from the draws themselves: the mean sample variance of the cost
among nearest neighbours in the ranks of that set (Broto, Bachoc and Depecker,
same journal 8, 2020).
"""

from __future__ import annotations

from itertools import combinations
from math import factorial

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

NEIGHBOURS = 4
"""Few, so that they are near; the noise of so small a sample's variance goes in the mean over the places."""
PLACES = 1200
"""Draws at which the local variance is taken."""
BLOCK = 8
"""For one unknown alone: draws in a row, sorted by it, that count as neighbours."""


def explained_variance(unknowns: np.ndarray, cost: np.ndarray) -> float:
    """Return Var(E[cost | unknowns]), estimated from draws.

    Parameters
    ----------
    unknowns : ndarray of shape (n, k)
        Independent draws of k unknowns; only their order matters, so they may
        be infinite. Equal values are ordered by draw, at random.
    cost : ndarray of shape (n,)

    Returns
    -------
    float
        Between 0 and the variance of the cost.
    """
    return _explained(_ranks(unknowns), cost)


def _ranks(unknowns: np.ndarray) -> np.ndarray:
    return np.argsort(np.argsort(unknowns, axis=0, kind="stable"), axis=0).astype(float)


def _explained(ranks: np.ndarray, cost: np.ndarray) -> float:
    draws = cost.size
    total = float(np.var(cost))
    if total == 0 or draws < 2 * BLOCK:
        return 0.0
    if ranks.shape[1] == 1:
        in_order = cost[np.argsort(ranks[:, 0])]
        near = in_order[: draws // BLOCK * BLOCK].reshape(-1, BLOCK)
    else:
        places = np.linspace(0, draws - 1, min(PLACES, draws)).astype(int)
        _, neighbours = cKDTree(ranks).query(ranks[places], k=NEIGHBOURS)
        near = cost[neighbours]
    left = float(np.var(near, axis=1, ddof=1).mean())
    return float(np.clip(total - left, 0.0, total))


def drivers_of_spread(
    unknowns: dict[str, np.ndarray], cost: np.ndarray, total_variance: float, *, complete: bool = False
) -> pd.DataFrame:
    """Share the variance of the cost between unknowns.

    Parameters
    ----------
    unknowns : dict of str to ndarray of shape (n,)
        What is unknown before drilling, by a name for people.
    cost : ndarray of shape (n,)
        With unit costs at their means.
    total_variance : float
        Of the cost with the spread of unit costs.
    complete : bool, default=False
        True where the unknowns together settle the cost (no hydrofracturing),
        so that they explain all of its variance and nothing need be estimated.

    Returns
    -------
    DataFrame
        `driver`, `share` (Shapley effect over `total_variance`), `alone`
        (first-order share), largest first. The shares add up to 1 (or are all
        0 where nothing varies); what the unknowns do not explain stands in
        the row "prices and luck".
    """
    names = list(unknowns)
    ranks = _ranks(np.column_stack([unknowns[name] for name in names]))
    value: dict[tuple[int, ...], float] = {(): 0.0}
    for size in range(1, len(names) + 1):
        for chosen in combinations(range(len(names)), size):
            below = [value[part] for part in combinations(chosen, size - 1)]
            # Knowing more never explains less: the noise of the estimate is not let to say so.
            settled = complete and size == len(names)
            value[chosen] = float(np.var(cost)) if settled else max(_explained(ranks[:, chosen], cost), *below)
    effects = np.array([_shapley(value, place, len(names)) for place in range(len(names))])
    alone = np.array([value[(place,)] for place in range(len(names))])
    scale = total_variance if total_variance > 0 else 1.0
    rest = max(total_variance - effects.sum(), 0.0)
    scale = max(scale, effects.sum())
    drivers = pd.DataFrame(
        {
            "driver": [*names, "prices and luck"],
            "share": np.append(effects, rest) / scale,
            "alone": np.append(alone, rest) / scale,
        }
    )
    return drivers.sort_values("share", ascending=False, kind="stable", ignore_index=True)


def _shapley(value: dict[tuple[int, ...], float], place: int, count: int) -> float:
    others = [other for other in range(count) if other != place]
    effect = 0.0
    for size in range(count):
        weight = factorial(size) * factorial(count - size - 1) / factorial(count)
        for known in combinations(others, size):
            effect += weight * (value[tuple(sorted((*known, place)))] - value[known])
    return effect
