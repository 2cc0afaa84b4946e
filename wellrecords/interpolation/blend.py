r"""How much forests may say beside kriging.

The quantiles of all are averaged, level by level (Vincent averaging, which
keeps a blend of sharp forecasts sharp: Lichtendahl, Grushka-Cockayne and
Winkler 2013, Management Science 59, 1594-1611):

.. math:: q(p) = (1 - w - v)\, q_{kriging}(p) + w\, q_{forest}(p) + v\, q_{ground}(p)

The first forest knows what kriging says; the second knows the ground alone
(turned coordinates and covariates), and its errors are its own, which is what
makes an average better than its parts. The shares w and v are those with the
best score on readings whose ground was left out, beside leave-one-block-out
kriging, so that a forest, and any covariate in it, counts only as far as it
has helped there. What the first says of left-out ground are its out-of-bag
trees. Those of the second are grown on drawn wells, since a tree that lacks a
third of the blocks sees the ground coarsely; forests grown without a fifth of
the blocks each are asked in its place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtr

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import SCORES, ScoreTable
from wellrecords.interpolation.forest import MANY_WELLS, Float32Array, Forest, fit_forest, of_the_ground
from wellrecords.interpolation.neighbours import IntArray

SCORED_AT_MOST = 5_000
GROUND_FOLDS, GROUND_LEAF = 5, 5


def table_score(table: FloatArray, reading: FloatArray) -> float:
    """Mean continuous ranked probability score: twice the pinball loss, integrated over the level."""
    level = ndtr(SCORES)
    width = np.gradient(level)
    miss = reading[:, None] - table
    loss = np.maximum(level * miss, (level - 1.0) * miss)
    return float(2.0 * np.mean(loss @ width) / width.sum())


def choose_shares(
    kriging: FloatArray,
    forests: Sequence[FloatArray],
    reading: FloatArray,
    rank: IntArray,
    random_state: np.random.Generator,
) -> tuple[float, ...]:
    """Choose the forests' shares, together at most 1, by the score of held-out readings.

    Parameters
    ----------
    kriging : ndarray of shape (n, len(SCORES))
    forests : sequence of such
    reading : ndarray of shape (n,)
        Exact, or drawn inside its interval.
    rank : ndarray of shape (n,)
        Number of each well, by which the scored are drawn where there are many.
    """
    rows = np.argsort(rank, kind="stable")
    if len(rows) > SCORED_AT_MOST:
        rows = random_state.choice(rows, SCORED_AT_MOST, replace=False)
    base, asked = kriging[rows], reading[rows]
    moved = [table[rows] - base for table in forests]
    tried = [tenths for tenths in product(range(11), repeat=len(forests)) if sum(tenths) <= 10]

    def loss(tenths: tuple[int, ...]) -> float:
        shift = sum((0.1 * part * table for part, table in zip(tenths, moved, strict=True) if part), np.float64(0.0))
        return table_score(base + shift, asked)

    return tuple(part / 10.0 for part in min(tried, key=loss))


def blend(kriging: ScoreTable, heard: Sequence[tuple[FloatArray, float]], least_sd: float) -> ScoreTable:
    """Average quantiles with those of forests, each (m, len(SCORES)) with its share, rising by `least_sd` a score."""
    own = 1.0 - sum(share for _, share in heard)
    table = own * kriging.at(SCORES)
    for quantiles, share in heard:
        table = table + share * quantiles
    return ScoreTable(SCORES, table).rising(least_sd)


@dataclass(frozen=True)
class Voice:
    """A forest that is heard.

    Parameters
    ----------
    forest : Forest
    share : float
    ground_alone : bool
        It does not know what kriging says.
    """

    forest: Forest
    share: float
    ground_alone: bool

    def table(self, inputs: Float32Array) -> FloatArray:
        """Return what it says at the features of places, (m, len(SCORES)), on the forests' own scale."""
        return self.forest.table(of_the_ground(inputs) if self.ground_alone else inputs)


def hear_forests(
    kriging: ScoreTable,
    inputs: Float32Array,
    draw: Callable[[np.random.Generator], FloatArray],
    block: IntArray,
    rank: IntArray,
    random_state: np.random.Generator,
    *,
    n_trees: int,
    into: Callable[[FloatArray], FloatArray],
    back: Callable[[FloatArray], FloatArray],
    least_sd: float,
    n_jobs: int,
) -> tuple[ScoreTable, tuple[Voice, ...]]:
    """Let forests speak beside kriging as far as they help on left-out ground.

    Parameters
    ----------
    kriging : ScoreTable of n wells
        Each from the wells elsewhere.
    inputs : ndarray of shape (n, f)
        Features of the wells.
    draw : callable
        Gives one reading a well, drawn inside its interval.
    block : ndarray of shape (n,)
        Block of ground of each well.
    rank : ndarray of shape (n,)
        Number of each well in an order that does not depend on that of the
        input, by which wells are drawn.
    n_trees : int
        Of the first forest; the second has half as many.
    into, back : callable
        From readings to the forests' scale, and from it.
    least_sd : float
    n_jobs : int

    Returns
    -------
    table : ScoreTable
        The wells' left-out distributions, forests blended in.
    voices : tuple of Voice
    """

    def grown(known: Float32Array, units: IntArray, rows: IntArray, trees: int, min_leaf: int) -> Forest:
        return fit_forest(
            known[rows],
            lambda rng: into(draw(rng))[rows],
            units,
            random_state,
            n_trees=trees,
            min_leaf=min_leaf,
            n_jobs=n_jobs,
        )

    every, ground = np.arange(len(inputs)), of_the_ground(inputs)
    first = grown(inputs, block, every, n_trees, 5 if len(inputs) > MANY_WELLS else 3)
    unheard = first.out_of_bag.sum(axis=0) == 0
    heard = [np.where(unheard[:, None], kriging.at(SCORES), back(first.table(inputs, own_wells=True, n_jobs=n_jobs)))]
    few = -(-n_trees // 2)
    in_fold = few if len(inputs) <= MANY_WELLS else -(-few // 3)  # many wells' mean score is steady all the same
    if len(np.unique(block)) >= GROUND_FOLDS:
        fold = (random_state.permutation(int(block.max()) + 1) % GROUND_FOLDS)[block]
        left_out = np.empty((len(inputs), len(SCORES)))
        for number in range(GROUND_FOLDS):
            known, asked = np.flatnonzero(fold != number), np.flatnonzero(fold == number)
            part = grown(ground, np.argsort(np.argsort(rank[known])), known, in_fold, GROUND_LEAF)
            left_out[asked] = back(part.table(ground[asked], n_jobs=n_jobs))
        heard.append(left_out)
    shares = choose_shares(kriging.at(SCORES), heard, draw(random_state), rank, random_state)
    if not any(shares):
        return kriging, ()
    voices = [Voice(first, shares[0], ground_alone=False)] if shares[0] > 0.0 else []
    if shares[1:] and shares[1] > 0.0:
        voices.append(Voice(grown(ground, rank, every, few, GROUND_LEAF), shares[1], ground_alone=True))
    return blend(kriging, list(zip(heard, shares, strict=True)), least_sd), tuple(voices)
