"""Features of wells held out: from the wells that are left, and from nothing else."""

import numpy as np
import pytest

from wellrecords.interpolation import Covariance, IntervalKriging
from wellrecords.interpolation.forest import ForestScale
from wellrecords.interpolation.held_out import features_without
from wellrecords.interpolation.scores import LEVELS, crps

COVARIANCE = Covariance("exponential", 0.3, 5_000.0, 0.1)


def told(xy, reading, asked, high=None):
    """Mean, spread and surroundings of the wells left and of those held out."""
    model = IntervalKriging(covariance=COVARIANCE, n_trees=0).fit(xy, reading, high)

    def describe(wells, mean, sd, around):
        return np.column_stack([wells, mean, sd, around])

    return features_without(model._field, asked, ForestScale(), describe)


def test_wells_held_out_are_kriged_from_the_wells_left(field):
    """Against a model that has never seen them; the wells left, against its own left-out predictions."""
    xy, reading = field
    block = np.unique(np.floor(xy / 300.0), axis=0, return_inverse=True)[1].reshape(-1)
    asked = np.flatnonzero(block % 5 == 0)
    known = np.flatnonzero(block % 5 != 0)
    of_known, of_asked = told(xy, reading, asked)
    apart = IntervalKriging(covariance=COVARIANCE, n_trees=0).fit(xy[known], reading[known])
    mean, _ = apart.kriging(xy[asked])
    left_out_mean, left_out_sd = apart._left_out_kriging()
    assert np.array_equal(of_known[:, 0], known)
    assert np.array_equal(of_asked[:, 0], asked)
    np.testing.assert_allclose(of_asked[:, 1], mean, rtol=1e-9)
    np.testing.assert_allclose(of_known[:, 1], left_out_mean, rtol=1e-9)
    np.testing.assert_allclose(of_known[:, 2], left_out_sd, rtol=1e-9)
    nearest_twelve = [np.argsort(np.hypot(*(xy[known] - xy[well]).T))[:12] for well in asked]
    np.testing.assert_allclose(of_asked[:, 3], [np.log(reading[known][near]).mean() for near in nearest_twelve])


def test_readings_held_out_change_nothing(field):
    xy, reading = field
    asked = np.flatnonzero(np.unique(np.floor(xy / 300.0), axis=0, return_inverse=True)[1].reshape(-1) % 5 == 0)
    other = reading.copy()
    other[asked] = 10.0 * other[asked][::-1]
    for before, after in zip(told(xy, reading, asked), told(xy, other, asked), strict=True):
        assert np.array_equal(before, after)


@pytest.mark.parametrize("dry", [0.0, 0.15])
def test_wells_that_have_nothing_in_common_are_not_read_off_their_neighbours(dry):
    """Villages whose readings are independent: the law of all wells is the truth, and little may be lost to it.

    Left-out means tell on the wells left out, so that forests scored on them
    seemed better than the truth, were heard, and lost 4 to 5 %.
    """
    lost = []
    for seed in range(3):
        rng = np.random.default_rng(seed)
        middle = rng.uniform(0.0, 40_000.0, (30, 2)) + 500_000.0
        xy = middle[rng.integers(30, size=1_000)] + 900.0 * rng.standard_normal((1_000, 2))
        reading = np.where(rng.uniform(size=1_000) < dry, 0.0, np.exp(2.0 + rng.standard_normal(1_000)))
        places = middle[rng.integers(30, size=400)] + 900.0 * rng.standard_normal((400, 2))
        fresh = np.where(rng.uniform(size=(50, 400)) < dry, -9.0, 2.0 + rng.standard_normal((50, 400)))
        lowest = np.log(reading[reading > 0].min()) if dry else -np.inf
        fresh = np.maximum(fresh, lowest)
        truth = np.quantile(fresh, LEVELS)
        ours = np.maximum(np.log(IntervalKriging().fit(xy, reading).predict(places).quantile(LEVELS)), lowest)
        score = np.mean([crps(one, ours).mean() for one in fresh])
        best = np.mean([crps(one, np.tile(truth, (400, 1))).mean() for one in fresh])
        lost.append(score / best - 1.0)
    assert np.mean(lost) < 0.032
