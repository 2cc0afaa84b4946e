r"""How much the forest may say beside kriging.

The quantiles of both are averaged, level by level (Vincent averaging, which
keeps a blend of two sharp forecasts sharp: Lichtendahl, Grushka-Cockayne and
Winkler 2013, Management Science 59, 1594-1611):

.. math:: q(p) = (1 - w)\, q_{kriging}(p) + w\, q_{forest}(p)

The share w is the one with the best score on readings whose ground was left
out, the out-of-bag trees beside leave-one-block-out kriging, so that the
forest, and any covariate in it, counts only as far as it has helped there.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import SCORES, ScoreTable

SHARES = np.linspace(0.0, 1.0, 11)
SCORED_AT_MOST = 5_000


def table_score(table: FloatArray, reading: FloatArray) -> float:
    """Mean continuous ranked probability score: twice the pinball loss, integrated over the level."""
    level = ndtr(SCORES)
    width = np.gradient(level)
    miss = reading[:, None] - table
    loss = np.maximum(level * miss, (level - 1.0) * miss)
    return float(2.0 * np.mean(loss @ width) / width.sum())


def choose_share(
    kriging: FloatArray, forest: FloatArray, reading: FloatArray, random_state: np.random.Generator
) -> float:
    """Choose the forest's share by the score of held-out readings.

    Parameters
    ----------
    kriging, forest : ndarrays of shape (n, len(SCORES))
    reading : ndarray of shape (n,)
        Exact, or drawn inside its interval.
    """
    rows = np.arange(len(reading))
    if len(rows) > SCORED_AT_MOST:
        rows = random_state.choice(rows, SCORED_AT_MOST, replace=False)
    losses = [table_score((1 - w) * kriging[rows] + w * forest[rows], reading[rows]) for w in SHARES]
    return float(SHARES[int(np.argmin(losses))])


def blend(mean: FloatArray, sd: FloatArray, forest: FloatArray, share: float, least_sd: float) -> ScoreTable:
    """Average the quantiles of kriging, N(mean, sd^2), and of the forest, rising by `least_sd` a score at least."""
    kriging = mean[:, None] + sd[:, None] * SCORES
    return ScoreTable(SCORES, (1.0 - share) * kriging + share * forest).rising(least_sd)
