"""What the rate of a pumping test may stand for: all that the well makes, or all that the pump drew.

A test draws what its pump draws; the well makes that or more. Read as yields,
such rates make poor wells of good ones; read as bounds where the tests had
drawn all there was, they make good wells of all. How often tests draw all is
learnt from the rates beside the yields that were read otherwise: tests that
draw all give the same figures.
"""

from __future__ import annotations

import numpy as np

from wellrecords.lots.rounding import FEWEST, RANGES

MORE = (2.0, 10.0)
"""Where the pump drew less than all, the well makes up to so many times the rate, the one as likely as the other."""
BANDWIDTH = 0.25
"""In log gpm, of the law of the yields that were read."""
BELIEVED = 1.0
"""Tests, of either kind, that are added to what is read."""
SWEEPS = 50


def read_tests(rate_gpm: np.ndarray, read_gpm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what each tested rate may stand for, in the form of `rounding.read_rounding`.

    Parameters
    ----------
    rate_gpm : ndarray of shape (n,), positive
    read_gpm : ndarray of shape (k,), positive
        Yields around that were read otherwise.

    Returns
    -------
    as_written : ndarray of shape (n,)
    rounded : ndarray of shape (n, RANGES, 3)
    """
    drawn = share_that_draw_all(rate_gpm, read_gpm)
    ranges = np.empty((len(rate_gpm), RANGES, 3))
    for number, more in enumerate(MORE):
        ranges[:, number, 0] = (1.0 - drawn) / len(MORE) / np.log(more)
        ranges[:, number, 1], ranges[:, number, 2] = rate_gpm, more * rate_gpm
    return np.full(len(rate_gpm), drawn), ranges


def most_that_tests_say(rate_gpm: np.ndarray, read_gpm: np.ndarray) -> np.ndarray:
    """Return the upper ends of the yields of tested wells, where a range is all that can be said.

    Where most tests draw all there is, or nobody can tell, it is the rate
    itself, so that nobody is promised more than was drawn.

    Parameters
    ----------
    rate_gpm : ndarray of shape (n,), positive
    read_gpm : ndarray of shape (k,), positive

    Returns
    -------
    ndarray of shape (n,)
    """
    draw_all = share_that_draw_all(rate_gpm, read_gpm) >= 0.5
    return rate_gpm * (1.0 if draw_all else MORE[-1])


def share_that_draw_all(rate_gpm: np.ndarray, read_gpm: np.ndarray) -> float:
    """Estimate, by expectation and maximisation, the share of tests that draw all there is.

    Parameters
    ----------
    rate_gpm : ndarray of shape (n,), positive
    read_gpm : ndarray of shape (k,), positive

    Returns
    -------
    float
        One half where there is nothing to compare.
    """
    if len(read_gpm) < FEWEST or not len(rate_gpm):
        return 0.5
    at, known = np.log(rate_gpm), np.sort(np.log(read_gpm))
    density = _mean_within(known, at - BANDWIDTH, at + BANDWIDTH)
    more = np.mean([_mean_within(known, at, at + np.log(part)) for part in MORE], axis=0)
    drawn = 0.5
    for _ in range(SWEEPS):
        belief = drawn * density / (drawn * density + (1.0 - drawn) * more)
        drawn = (belief.sum() + BELIEVED) / (len(belief) + 2.0 * BELIEVED)
    return float(drawn)


def _mean_within(known: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return the mean density of sorted values between bounds; a thousandth of one well everywhere keeps it above 0."""
    count = np.searchsorted(known, high, side="right") - np.searchsorted(known, low)
    return (count / len(known) + 1e-3 / len(known)) / (high - low)
