"""What a written yield may stand for: how coarsely the drillers around round, learnt from the figures they write.

One driller times a bucket and writes 5.3, another writes 5 for whatever a
house will do with. Taken as read, yields of 5 would be stops that met their
target to a hair, which only many small fractures do; and the small yields
that were written up to 5 would make water look near. So each figure stands
for a mixture: with some chance it was rounded to a tenth, a half, a whole
gallon, to fives or tens, and it lies anywhere in that step. The chances, which
drift with the size of the yield, and the law of the yields are estimated
together from how often each figure is written (heaped data: Heitjan and Rubin
1990, "Inference from coarse data via multiple imputation with application to
age heaping", J. Am. Stat. Assoc. 85, 304-314), by expectation and
maximisation with a smoothed law (Silverman et al. 1990, "A smoothed EM
approach to indirect estimation problems", J. R. Stat. Soc. B 52, 271-303).
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

STEPS_GPM = np.array([0.01, 0.1, 0.25, 0.5, 1.0, 5.0, 10.0, 50.0])
"""To what drillers round. The finest stands for a yield as it was measured."""
RANGES = 2
"""Ranges that stand for what one figure may mean, beside the figure itself."""
AS_WRITTEN = 0.07
"""A range that is narrower, in log gpm, is as good as the figure: the tables of the fractures have steps of 0.03."""
LEAST_CHANCE = 0.02
FEWEST = 10
"""With fewer yields, they are taken as they are written."""
GRID_STEP = 0.02
LOWEST_GPM, HIGHEST_GPM = 2e-3, 2e4
LAW_BANDWIDTH, HABIT_BANDWIDTH = 0.25, 0.4
"""In log gpm: of the law of yields, and of how the chance of each step drifts."""
BELIEVED = 0.5
"""Wells, a step, that the steps are taken to be equally common by before any is read."""
SWEEPS = 40


def read_rounding(gpm: np.ndarray, read: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what each written yield may stand for.

    Parameters
    ----------
    gpm : ndarray of shape (n,), positive
    read : ndarray of shape (n,), bool
        Those that are yields as somebody wrote them; the others stand for
        themselves, and so do yields that no well has (slips of the pen).

    Returns
    -------
    as_written : ndarray of shape (n,)
        Chance that the yield is the figure itself, times the width of what
        is rounded to it, in log gpm: to be multiplied with a density.
    rounded : ndarray of shape (n, RANGES, 3)
        Chance, lowest and highest gpm of each range that the figure may stand
        for: to be multiplied with the probability of the range. All is
        scaled so that a density of one gives one.
    """
    as_written = np.ones(len(gpm))
    rounded = np.zeros((len(gpm), RANGES, 3))
    rounded[:, :, 1:] = gpm[:, None, None]
    read = read & (gpm > 2.0 * LOWEST_GPM) & (gpm < 0.5 * HIGHEST_GPM)
    if read.sum() < FEWEST:
        return as_written, rounded
    figures, place, count = np.unique(gpm[read], return_inverse=True, return_counts=True)
    low, high, may = _cells(figures)
    chance = np.where(may, step_chances(figures, count), 0.0)
    # Most figures that a machine wrote can stand for themselves alone; they need no reckoning, which takes its time.
    alone = (may.sum(axis=1) == 1) & (np.log(high[:, 0] / low[:, 0]) <= AS_WRITTEN)
    share, ranges = np.ones(len(figures)), np.zeros((len(figures), RANGES, 3))
    ranges[:, :, 1:] = figures[:, None, None]
    for number in np.flatnonzero(~alone):
        share[number], ranges[number] = _ranges(figures[number], low[number], high[number], chance[number])
    as_written[read], rounded[read] = share[place], ranges[place]
    return as_written, rounded


def _ranges(figure: float, low: np.ndarray, high: np.ndarray, chance: np.ndarray) -> tuple[float, np.ndarray]:
    """Sum up what one figure may stand for: `read_rounding`'s for it."""
    low, high, chance = (part[chance >= LEAST_CHANCE * chance.sum()] for part in (low, high, chance))
    width = np.log(high / low)
    wide = width > AS_WRITTEN
    ranges = [np.array(one) for one in zip(chance[wide], low[wide], high[wide], strict=True)]
    while len(ranges) > RANGES:
        widths = np.array([np.log(one[2] / one[1]) for one in ranges])
        first = int(np.argmin(widths[1:] / widths[:-1]))
        pair = np.array(ranges[first : first + 2])
        ends = np.average(pair[:, 1:], axis=0, weights=pair[:, 0])
        ranges[first : first + 2] = [np.append(pair[:, 0].sum(), ends)]
    out = np.full((RANGES, 3), [0.0, figure, figure])
    out[: len(ranges)] = np.reshape(ranges, (-1, 3))
    as_written = float(chance[~wide] @ width[~wide])
    total = as_written + float(out[:, 0] @ np.log(out[:, 2] / out[:, 1]))
    out[:, 0] /= total
    return as_written / total, out


def _cells(figures: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the ends of what each figure stands for by each step, and whether it can: each (n, steps).

    Whatever is measured, is measured to a hundredth.
    """
    share = figures[:, None] / STEPS_GPM
    may = np.abs(share - np.rint(share)) < 1e-6 * np.maximum(share, 1.0)
    may[:, 0] = True
    low = np.maximum(figures[:, None] - 0.5 * STEPS_GPM, 0.5 * figures[:, None])
    return low, figures[:, None] + 0.5 * STEPS_GPM, may


def step_chances(figures: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Estimate how often yields around each figure are rounded to each of `STEPS_GPM`.

    Parameters
    ----------
    figures : ndarray of shape (n,), positive
    count : ndarray of shape (n,)
        How often each is written.

    Returns
    -------
    ndarray of shape (n, steps)
        Rows sum to 1.
    """
    low, high, may = _cells(figures)
    origin = np.log(LOWEST_GPM)
    bins = int(np.ceil((np.log(HIGHEST_GPM) - origin) / GRID_STEP))

    def on_grid(gpm: np.ndarray) -> np.ndarray:
        return np.clip((np.log(gpm) - origin) / GRID_STEP, 0, bins)

    at = np.clip(on_grid(figures).astype(int), 0, bins - 1)
    start, end = on_grid(low), on_grid(high)
    first = np.clip(np.floor(start).astype(int), 0, bins - 1)
    last = np.clip(np.ceil(end).astype(int), first + 1, bins)
    # Most figures can stand for a few of the steps: only these pairs of a figure and a step are gone through.
    figure, step = np.nonzero(may)
    first, last, bin_of = first[may], last[may], at[figure]
    part = (end - start)[may] / (last - first)
    law = _smooth(np.bincount(at, count, minlength=bins) + 1e-6, LAW_BANDWIDTH)
    chance = np.full((bins, len(STEPS_GPM)), 1.0 / len(STEPS_GPM))
    for _ in range(SWEEPS):
        whole = np.append(0.0, np.cumsum(law))
        inside = whole[last] - whole[first] + 1e-300
        joint = chance[bin_of, step] * inside * part
        mass = joint * (count / np.bincount(figure, joint))[figure]
        spread = mass / inside
        edges = np.bincount(first, spread, bins + 1) - np.bincount(last, spread, bins + 1)
        law = _smooth(law * np.maximum(np.cumsum(edges)[:-1], 0.0) + 1e-9, LAW_BANDWIDTH)
        habit = np.bincount(bin_of * len(STEPS_GPM) + step, mass, chance.size).reshape(chance.shape)
        near = gaussian_filter1d(habit, HABIT_BANDWIDTH / GRID_STEP, axis=0, mode="constant")
        near *= HABIT_BANDWIDTH * np.sqrt(2.0 * np.pi) / GRID_STEP  # wells around, the nearest counting as one
        chance = near + BELIEVED
        chance /= chance.sum(axis=1, keepdims=True)
    return chance[at]


def _smooth(law: np.ndarray, bandwidth: float) -> np.ndarray:
    smooth = gaussian_filter1d(law, bandwidth / GRID_STEP, mode="constant")
    return smooth / smooth.sum()
