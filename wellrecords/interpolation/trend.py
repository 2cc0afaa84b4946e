r"""A trend of covariates, whose residuals are kriged.

Regression kriging (Hengl, Heuvelink and Rossiter 2007, Computers and
Geosciences 33, 1301-1315; Chilès and Delfiner 2012, section 3.4.6):

.. math:: z(x) = t(q(x)) + e(x)

with t a scikit-learn regressor on the covariates q (elevation, slope, rock
unit) and e a Gaussian field. What is kriged are the residuals of readings
that t has not seen: it is fitted without each well's block of ground in turn,
or a flexible t would leave residuals that are too small.

An interval reading keeps its interval, less t. A water level that lies at
one elevation under hills and valleys has a trend of its own, `LandElevation`:
depth to water less the land's elevation is minus the level's elevation, so
that kriging the residual is kriging the level as elevation.

No trend is kept unless left-out places are predicted clearly better with it
(`fitting.clearly_better`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt
from sklearn.base import BaseEstimator, RegressorMixin, clone

from wellrecords.interpolation.covariance import Covariance, FloatArray
from wellrecords.interpolation.fitting import clearly_better
from wellrecords.interpolation.neighbours import IntArray

LAND_COLUMN = "land_elevation"
FOLDS = 5
TREND_WELLS = 20_000  # a trend is fitted to so many wells at most


class LandElevation(RegressorMixin, BaseEstimator):
    """The elevation of the land as the trend of a depth below it: a level is then interpolated as elevation.

    Parameters
    ----------
    column : int, default=0
        The covariate that holds the elevation, in the unit of the readings.

    Examples
    --------
    >>> LandElevation().fit([[900.0], [950.0]], [30.0, 80.0]).predict([[920.0]])
    array([920.])
    """

    def __init__(self, column: int = 0) -> None:
        self.column = column

    def fit(self, X: npt.ArrayLike, y: npt.ArrayLike) -> Self:
        """Learn nothing: the slope is one."""
        self.n_features_in_ = np.shape(X)[1]
        return self

    def predict(self, X: npt.ArrayLike) -> FloatArray:
        """Return the elevation."""
        return np.asarray(X, dtype=float)[:, self.column]


@dataclass(frozen=True)
class Trend:
    """A fitted trend.

    Parameters
    ----------
    estimator : scikit-learn regressor
    left_out : ndarray of shape (n,)
        What it says of each well when the well's block of ground was not
        learnt from.
    """

    estimator: Any
    left_out: FloatArray

    def at(self, covariates: FloatArray) -> FloatArray:
        """Return the trend at places, shape (m,)."""
        with one_openmp_thread():
            return np.asarray(self.estimator.predict(covariates), dtype=float)


def one_openmp_thread() -> AbstractContextManager[Any]:
    """Hold what scikit-learn compiles with OpenMP to one thread.

    Gradient boosting takes every core otherwise, whatever `n_jobs` says; and
    where the cores have other work, even two of its threads spin while they
    wait for each other: 43 seconds were seen for a fit that takes one alone.
    """
    from threadpoolctl import threadpool_limits  # scikit-learn depends on it

    return threadpool_limits(limits=1, user_api="openmp")


def estimators(setting: object, names: tuple[str, ...], *, identity: bool) -> list[Any]:
    """Return the regressors that a setting stands for.

    Parameters
    ----------
    setting : "auto", None or a regressor
        "auto" tries a linear trend and gradient boosting, and on the
        identity scale the land's elevation itself.
    names : tuple of str
        Covariate columns, if they have names; the elevation is called `land_elevation...`.
    identity : bool
    """
    if setting is None:
        return []
    if setting != "auto":
        return [setting]
    from sklearn.ensemble import HistGradientBoostingRegressor
    from sklearn.linear_model import RidgeCV
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    tried: list[Any] = [
        make_pipeline(StandardScaler(), RidgeCV(np.logspace(-2, 4, 7))),
        HistGradientBoostingRegressor(min_samples_leaf=30, learning_rate=0.08, max_iter=80, random_state=0),
    ]
    land = [number for number, name in enumerate(names) if name.startswith(LAND_COLUMN)]
    return [LandElevation(land[0]), *tried] if land and identity else tried


def choose_trend(
    tried: Sequence[Any],
    covariates: FloatArray,
    readings: FloatArray,
    block_of_well: IntArray,
    trial: Callable[[FloatArray], tuple[FloatArray, IntArray, Covariance]],
) -> tuple[Trend, Covariance] | None:
    """Choose the trend about which left-out wells are predicted best, if clearly better than about none.

    Parameters
    ----------
    tried : sequence of regressors
    covariates : ndarray of shape (n, c)
    readings : ndarray of shape (n,)
        Complete: exact, or drawn inside their intervals.
    block_of_well : ndarray of shape (n,)
    trial : callable
        Of the readings less a trend: scores of left-out wells, which wells
        these are, and the covariance.
    """
    fold = _folds(block_of_well)
    base, wells, _ = trial(readings)
    found = []
    for estimator in tried:
        left_out = np.empty_like(readings)
        for number in range(FOLDS):
            learnt = _fit(estimator, covariates[fold != number], readings[fold != number])
            left_out[fold == number] = learnt.predict(covariates[fold == number])
        scores, _, covariance = trial(readings - left_out)
        found.append((float(scores.mean()), scores, estimator, left_out, covariance))
    _, scores, estimator, left_out, covariance = min(found, key=lambda one: one[0])
    if not clearly_better(scores, base, block_of_well[wells]):
        return None
    return Trend(_fit(estimator, covariates, readings), left_out), covariance


def _folds(block_of_well: IntArray) -> IntArray:
    """Deal the blocks into folds, shape (n,)."""
    order = np.random.default_rng(0).permutation(int(block_of_well.max()) + 1)
    return (order % FOLDS)[block_of_well]


def _fit(estimator: Any, covariates: FloatArray, readings: FloatArray) -> Any:
    """Fit a copy, to evenly chosen wells where they are very many."""
    step = -(-len(readings) // TREND_WELLS)
    return clone(estimator).fit(covariates[::step], readings[::step])
