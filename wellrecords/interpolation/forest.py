"""A quantile forest whose trees know the kriging prediction.

Kriging draws one smooth surface with one shape of error; records also have
sharp borders (a perched water table beside a deep one) and local shapes. A
forest sees both. Its features are the coordinates turned through several
angles (so that a border may run in any direction), the leave-one-out kriging
mean and standard deviation, the readings at the nearest places, and any
covariates. The readings in the leaves that a point falls into, pooled over
the trees, are its distribution (Meinshausen, N. 2006, Quantile Regression
Forests, J. Mach. Learn. Res. 7, 983-999). Where wells are many, each split is
the best of a few drawn at random (Geurts, P., Ernst, D. and Wehenkel, L.
2006, Extremely randomized trees, Machine Learning 63, 3-42): as good there as
the best of all, and grown several times as fast.

Two things differ from a textbook forest. Each tree leaves out whole blocks of
ground, not single wells, so that the out-of-bag prediction of a well is a
prediction in space. And each tree draws the censored readings anew inside
their intervals (multiple imputation: Rubin 1987), so that a hole that stopped
above rock is neither dropped nor taken for rock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr
from sklearn.tree import DecisionTreeRegressor

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import SCORES
from wellrecords.interpolation.neighbours import IntArray, Places
from wellrecords.interpolation.tiling import run_tiles, thread_pool

ANGLES = 6
ABOUT_KRIGING = 5  # features after the turned coordinates that tell of kriging and of the readings nearby
NEAR = 12  # places that count as surroundings
LEAF_VALUES = 6  # readings that stand for a leaf
IN_BAG = 0.63  # share of the blocks that a tree sees, as in a bootstrap
WELLS_A_TREE = 10_000
MANY_WELLS = 2_000  # from here on random splits do as well as the best

FAR_OFF = 1e4  # spreads from 0: from there on single precision would round the readings to a thousandth of a spread
SPREADS = 1e-3, 1e6  # between them trees hear readings as they are

Float32Array = npt.NDArray[np.float32]


@dataclass(frozen=True)
class ForestScale:
    """Where readings stand while trees are grown: in single precision, and split no finer than 1e-7.

    Parameters
    ----------
    datum, unit : float
        Readings are taken less the datum, over the unit; 0 and 1 unless
        they would lose their spread among the digits of their size.
    """

    datum: float = 0.0
    unit: float = 1.0

    @classmethod
    def of(cls, centre: float, spread: float) -> ForestScale:
        """Return the scale for readings about `centre` with a standard deviation `spread`."""
        fits = SPREADS[0] <= spread <= SPREADS[1]
        datum = centre if abs(centre) > FAR_OFF * spread else 0.0
        return cls(datum, 1.0 if fits else float(2.0 ** np.round(np.log2(spread))))

    def into(self, reading: FloatArray) -> FloatArray:
        """Return readings on the scale of the trees."""
        return (reading - self.datum) / self.unit

    def back(self, reading: FloatArray) -> FloatArray:
        """Return what trees say on the scale of the readings."""
        return reading * self.unit + self.datum


@dataclass(frozen=True)
class Forest:
    """Trees and the readings in their leaves.

    Parameters
    ----------
    trees : tuple of fitted trees
    leaves : tuple of ndarrays of shape (nodes, LEAF_VALUES)
    out_of_bag : ndarray of shape (n_trees, n)
        Which wells each tree has not seen.
    """

    trees: tuple[DecisionTreeRegressor, ...]
    leaves: tuple[Float32Array, ...]
    out_of_bag: npt.NDArray[np.bool_]

    def table(self, features: Float32Array, *, own_wells: bool = False, n_jobs: int = 1) -> FloatArray:
        """Return the readings at `SCORES`, shape (m, len(SCORES)).

        Parameters
        ----------
        features : ndarray of shape (m, f)
        own_wells : bool
            The rows are the wells of the fit: let each hear only the trees
            that have not seen it.
        """
        out = np.empty((len(features), len(SCORES)))
        levels = ndtr(SCORES)

        def one_tile(tile: slice) -> None:
            rows = np.ascontiguousarray(features[tile])
            pooled = np.full((len(rows), len(self.trees), LEAF_VALUES), np.nan, dtype=np.float32)
            for number, (tree, leaves) in enumerate(zip(self.trees, self.leaves, strict=True)):
                hearing = self.out_of_bag[number, tile] if own_wells else slice(None)
                pooled[hearing, number] = leaves[tree.tree_.apply(rows[hearing])]
            flat = pooled.reshape(len(rows), -1)
            flat.sort(axis=1)  # NaN goes last
            trees = self.out_of_bag[:, tile].sum(axis=0) if own_wells else np.array([len(self.trees)])
            out[tile] = _row_quantiles(flat, LEAF_VALUES * trees, levels)

        width = 4 * LEAF_VALUES * len(self.trees)
        run_tiles(one_tile, len(features), bytes_each=4 * width, n_jobs=n_jobs)
        return out


def _row_quantiles(ordered: Float32Array, count: npt.NDArray[np.int_], levels: FloatArray) -> FloatArray:
    """Quantiles of the first `count` sorted values of each row, linear between plotting points (i + 1/2) / count.

    `count` has one number a row, or a single one for all.
    """
    position = np.clip(levels * count[:, None] - 0.5, 0.0, np.maximum(count[:, None] - 1.0, 0.0))
    below = position.astype(np.intp)
    above = np.minimum(below + 1, np.maximum(count[:, None] - 1, 0))

    def pick(column: IntArray) -> FloatArray:
        alike = len(count) == 1
        picked = ordered[:, column[0]] if alike else np.take_along_axis(ordered, column, axis=1)
        return picked.astype(np.float64)

    left = pick(below)
    return left + (pick(above) - left) * (position - below)


@dataclass(frozen=True)
class Surroundings:
    """What was read at the nearest places, whatever kriging makes of it.

    A spread of nothing among the neighbours (a monitoring field, a flat
    water table) tells a tree what a covariance for the whole region cannot.

    Parameters
    ----------
    count, total, squares : ndarrays of shape (p,)
        Wells at each place, and the sums of their readings and squared
        readings about `centre`.
    """

    count: FloatArray
    total: FloatArray
    squares: FloatArray
    centre: float

    @classmethod
    def learn(cls, places: Places, reading: FloatArray) -> Surroundings:
        """Sum the readings of each place."""
        centre = float(np.mean(reading))
        about = reading - centre
        count, total, squares = (places.per_place(each) for each in (np.ones_like(about), about, about**2))
        return cls(count, total, squares, centre)

    def at(self, index: IntArray, distance_m: FloatArray) -> FloatArray:
        """Return mean and standard deviation of the readings nearby, and the log of the distance, shape (m, 3).

        Parameters
        ----------
        index, distance_m : ndarrays of shape (m, k)
            The nearest places, the nearest first.
        """
        near = index[:, :NEAR]
        count = self.count[near].sum(axis=1)
        mean = self.total[near].sum(axis=1) / count
        variance = self.squares[near].sum(axis=1) / count - mean**2
        return np.column_stack([mean + self.centre, np.sqrt(np.maximum(variance, 0.0)), np.log1p(distance_m[:, 0])])


def features(
    coordinates: FloatArray,
    centre: FloatArray,
    mean: FloatArray,
    sd: FloatArray,
    around: FloatArray,
    covariates: FloatArray | None,
) -> Float32Array:
    """Return the features of the forest: turned coordinates, kriging mean and spread, surroundings, covariates."""
    angle = np.arange(ANGLES) * np.pi / ANGLES
    turned = (coordinates - centre) @ np.vstack([np.cos(angle), np.sin(angle)])
    columns = [turned, mean[:, None], sd[:, None], around]
    if covariates is not None:
        columns.append(covariates)
    return np.hstack(columns).astype(np.float32)


def of_the_ground(inputs: Float32Array) -> Float32Array:
    """Return the features that know nothing of readings: turned coordinates and covariates."""
    return np.ascontiguousarray(np.delete(inputs, np.s_[ANGLES : ANGLES + ABOUT_KRIGING], axis=1))


def fit_forest(
    inputs: Float32Array,
    draw: Callable[[np.random.Generator], FloatArray],
    block_of_well: IntArray,
    random_state: np.random.Generator,
    *,
    n_trees: int,
    min_leaf: int,
    n_jobs: int = 1,
) -> Forest:
    """Grow the trees, each on its own blocks and its own draw of the censored readings.

    Parameters
    ----------
    inputs : ndarray of shape (n, f)
    draw : callable
        Gives one reading a well, drawn inside its interval.
    block_of_well : ndarray of shape (n,)
        Wells of one number are drawn or left out together.
    """
    n, blocks = len(inputs), int(block_of_well.max()) + 1
    kept = max(1, round(min(IN_BAG, WELLS_A_TREE / n) * blocks))
    seeds = random_state.integers(0, 2**31 - 1, size=n_trees)
    splitter, max_features = ("random", 2 / 3) if n > MANY_WELLS else ("best", 1 / 3)

    def grow(seed: int) -> tuple[DecisionTreeRegressor, Float32Array, npt.NDArray[np.bool_]]:
        rng = np.random.default_rng(seed)
        seen = np.zeros(blocks, dtype=bool)
        seen[rng.choice(blocks, kept, replace=False)] = True
        wells = np.flatnonzero(seen[block_of_well])
        # In single precision, so that the last bits of the kriging cannot choose between two like splits.
        reading = draw(rng)[wells].astype(np.float32).astype(np.float64)
        tree = DecisionTreeRegressor(
            splitter=splitter, max_features=max_features, min_samples_leaf=min_leaf, random_state=int(seed)
        )
        tree.fit(inputs[wells], reading, check_input=False)
        leaf = tree.tree_.apply(inputs[wells])
        return tree, _leaf_values(leaf, reading, tree.tree_.node_count), ~seen[block_of_well]

    grown = list(thread_pool(n_jobs).map(grow, seeds)) if n_jobs > 1 else [grow(seed) for seed in seeds]
    trees, leaves, unseen = zip(*grown, strict=True)
    return Forest(trees, leaves, np.array(unseen))


def _leaf_values(leaf: IntArray, reading: FloatArray, nodes: int) -> Float32Array:
    """`LEAF_VALUES` evenly spaced order statistics of the readings in each leaf, shape (nodes, LEAF_VALUES)."""
    order = np.lexsort((reading, leaf))
    count = np.bincount(leaf, minlength=nodes)
    start = np.cumsum(count) - count
    step = (np.arange(LEAF_VALUES) + 0.5) / LEAF_VALUES
    position = start[:, None] + np.minimum(step * count[:, None], np.maximum(count[:, None] - 1, 0)).astype(np.intp)
    return reading[order][np.minimum(position, len(reading) - 1)].astype(np.float32)
