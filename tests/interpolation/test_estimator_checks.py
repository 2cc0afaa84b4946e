"""All of scikit-learn's estimator checks, on an adapter that lays their data on the ground and gives one reading a row.

As it stands, `IntervalKriging` cannot run them whole: they fit X of any number of columns within a few units of 0,
which it refuses as no eastings and northings or as degrees; they call `fit(X, y)`, where it asks for both ends of each
reading; they take a predicted array, where it gives distributions; and its parameter `transform`, a word of the
contract, makes them see a transformer. Those that need none of this run on it directly in `test_kriging`. The adapter
changes nothing else: a fault of fitting, pickling, copying, repeating or of what is left untouched shows through it.
"""

import numpy as np
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.estimator_checks import parametrize_with_checks
from sklearn.utils.validation import check_is_fitted, validate_data

from wellrecords.interpolation import IntervalKriging


class OnTheGround(RegressorMixin, BaseEstimator):
    """The median of `IntervalKriging`, of exact readings at places 10 km for each unit of the first two columns."""

    def __init__(self, n_neighbours=48, n_trees=5, random_state=0):
        self.n_neighbours = n_neighbours
        self.n_trees = n_trees
        self.random_state = random_state

    def fit(self, X, y):
        X, y = validate_data(self, X, y, y_numeric=True)
        self.model_ = IntervalKriging(
            "identity", n_neighbours=self.n_neighbours, n_trees=self.n_trees, random_state=self.random_state
        ).fit(_places(X), y, y)
        return self

    def predict(self, X):
        check_is_fitted(self)
        return self.model_.predict(_places(validate_data(self, X, reset=False))).quantile(0.5)


def _places(X):
    two = np.column_stack([X, np.zeros(len(X))]) if X.shape[1] == 1 else X[:, :2]
    return 500_000.0 + 10_000.0 * two.astype(float)


@parametrize_with_checks([OnTheGround()])
def test_scikit_learns_checks(estimator, check):
    check(estimator)
