"""Depths to which drillers go though they have enough.

Some drill no less than so many feet, for the water that stands in the hole
or because a code wants it. Such holes end at one depth in a heap, with more
water than anybody asked for, and the fracture that made the target lies
somewhere above. Read as stops at that fracture they would put small targets
deeper in the dense places, and shallower where the target lies below.

Only a plain heap is read so: limits heap holes, too, but those with little
water, and rounding heaps them at every round depth.
"""

from __future__ import annotations

import numpy as np

GOOD_YIELD = 2.0 / 3.0
"""Of the wells with a yield, the third that make the most are looked at: hardly one of them ended at a limit."""
AROUND_FT = 60.0
LEAST_WELLS, LEAST_SHARE = 10, 0.1
"""A heap holds so many of these wells, and such a part of them, more than twice the next one within `AROUND_FT`: bounds
that neither rounding nor limits reach with invented drillers."""
HALF_FOOT = 0.5


def gone_on(depth_ft: np.ndarray, feet: np.ndarray, gpm: np.ndarray, measured: np.ndarray) -> np.ndarray:
    """Return how much likelier a hole ends at its depth for having enough above than a stop there, times its density.

    Parameters
    ----------
    depth_ft, feet, gpm : ndarray of shape (n,)
        Depth, the part of it in which water may be met, and yield.
    measured : ndarray of shape (n,), bool
        Wells with a yield as somebody wrote it.

    Returns
    -------
    ndarray of shape (n,)
        0 but at the depths of heaps: the share of drillers who go on to
        there, over the width of the heap in the log of the feet. To be
        multiplied with the density of the yield of a hole so deep.
    """
    result = np.zeros(len(depth_ft))
    if not measured.any():
        return result
    ended = np.round(depth_ft[measured])
    good = ended[gpm[measured] >= np.quantile(gpm[measured], GOOD_YIELD)]
    for figure in np.unique(good):
        if _heaped(good, figure) < max(LEAST_WELLS, LEAST_SHARE * len(good)):
            continue
        # Those who had enough above either went on to here or ended where they had it. The good wells told which depth
        # it is, but not how many: who went on has met more.
        excess = _heaped(ended, figure)
        at = measured & (np.abs(depth_ft - figure) <= HALF_FOOT)
        result[at] = excess / (excess + np.sum(ended < figure)) * feet[at] / (2.0 * HALF_FOOT)
    return result


def _heaped(depth_ft: np.ndarray, figure: float) -> float:
    """Return how many holes ended at a depth beyond twice as many as at the next fullest around it."""
    near, count = np.unique(depth_ft[np.abs(depth_ft - figure) <= AROUND_FT], return_counts=True)
    here = near == figure
    return max(float(count[here].sum() - 2 * count[~here].max(initial=0)), 0.0)
