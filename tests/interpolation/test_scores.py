"""Scores against scoringrules and closed forms."""

import numpy as np
import pytest
import scoringrules
from scipy.special import ndtri

from wellrecords.interpolation import scores
from wellrecords.interpolation.fitting import normal_crps

RNG = np.random.default_rng(0)


def test_crps_of_draws_equals_scoringrules():
    observed, draws = RNG.normal(size=20), RNG.normal(size=(37, 20))
    theirs = scoringrules.crps_ensemble(observed, draws.T, estimator="nrg")
    np.testing.assert_allclose(scores.crps_of_draws(observed, draws), theirs, atol=1e-12)


def test_normal_crps_equals_scoringrules():
    observed, mean, sd = RNG.normal(size=20), RNG.normal(size=20), RNG.uniform(0.5, 2, 20)
    np.testing.assert_allclose(
        normal_crps(observed, mean, sd), scoringrules.crps_normal(observed, mean, sd), atol=1e-12
    )


def test_crps_from_quantiles_comes_near_the_closed_form():
    observed = RNG.normal(size=50)
    quantiles = np.tile(ndtri(scores.LEVELS), (50, 1))
    theirs = scoringrules.crps_normal(observed, 0.0, 1.0)
    np.testing.assert_allclose(scores.crps(observed, quantiles), theirs, atol=0.02)


def test_pinball_loss_equals_scoringrules():
    observed, quantile = RNG.normal(size=20), RNG.normal(size=20)
    theirs = scoringrules.quantile_score(observed, quantile, 0.9)
    np.testing.assert_allclose(scores.pinball_loss(observed, quantile, 0.9), theirs, atol=1e-12)


def test_coverage_width_and_bias():
    observed = np.array([1.0, 2.0, 3.0, 4.0])
    assert scores.coverage(observed, np.full(4, 1.0), np.full(4, 3.0)) == 0.75
    assert scores.width([0, 1], [2, 5]) == 3.0
    assert scores.bias(observed, observed + 0.5) == 0.5


def test_quantiles_of_the_wrong_shape_are_refused():
    with pytest.raises(ValueError, match=r"shape \(3, 99\)"):
        scores.crps([1, 2, 3], np.ones((3, 5)))
