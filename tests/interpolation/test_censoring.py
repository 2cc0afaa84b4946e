"""Censored readings against scipy's censored fits, truncated normals, and surfaces with a known truth."""

import numpy as np
import pytest
from scipy import optimize, stats

from wellrecords.interpolation import Covariance, IntervalKriging, censoring
from wellrecords.interpolation.covariance import correlation
from wellrecords.interpolation.neighbours import group_places, nearest_elsewhere


@pytest.mark.parametrize(
    ("low", "high", "mean", "variance"),
    [(0.0, np.inf, 0.5, 2.0), (-np.inf, -1.0, 0.5, 2.0), (1.0, 1.5, -2.0, 0.3), (4.0, np.inf, 0.0, 1.0), (-1, 3, 0, 1)],
)
def test_truncated_moments_equal_scipy(low, high, mean, variance):
    sd = np.sqrt(variance)
    theirs = stats.truncnorm((low - mean) / sd, (high - mean) / sd, loc=mean, scale=sd)
    ours = censoring.truncated_moments(*(np.array([value]) for value in (low, high, mean, variance)))
    np.testing.assert_allclose([ours[0][0], ours[1][0]], [theirs.mean(), theirs.var()], rtol=1e-8)


def test_truncated_moments_hold_far_in_a_tail():
    mean, variance = censoring.truncated_moments(
        np.array([30.0, -np.inf]), np.array([np.inf, -30.0]), np.zeros(2), np.ones(2)
    )
    np.testing.assert_allclose(mean, [30.033, -30.033], atol=2e-3)
    assert (variance > 0).all()


def test_draws_stay_inside_and_match_the_truncated_mean():
    low, high = np.full(20_000, 0.3), np.full(20_000, np.inf)
    drawn = censoring.draw_inside(low, high, np.zeros(20_000), np.ones(20_000), np.random.default_rng(0))
    assert drawn.min() >= 0.3
    assert drawn.mean() == pytest.approx(stats.truncnorm(0.3, np.inf).mean(), abs=0.02)


@pytest.mark.parametrize("n", [300, 3_000, 30_000])
def test_without_correlation_equals_scipys_censored_fit(n):
    """No field, only nugget: the mean is scipy's censored maximum likelihood, in the limit of many wells.

    Each site is matched to what the *other* wells say, while the likelihood takes the well itself in: the two differ by
    some 0.05 / n, as is seen from 300 wells to 30,000. The variance is the nugget and what n wells leave open of the
    mean, the inverse of Fisher's information of a censored sample (Cohen 1959, Technometrics 1, 217-237; from memory).
    """
    rng = np.random.default_rng(3)
    reading, limit = rng.normal(3.0, 0.8, n), rng.normal(3.3, 0.8, n)
    exact = reading <= limit
    data = stats.CensoredData(uncensored=reading[exact], right=limit[~exact])
    location, scale = stats.norm.fit(data, optimizer=_to_the_last_digit)
    xy = np.array([[500_000.0, 4_000_000.0], [520_000.0, 4_000_000.0], [510_000.0, 4_020_000.0]])[np.arange(n) % 3]
    model = IntervalKriging("identity", covariance=Covariance("exponential", 1e-9, 1_000.0, scale**2), n_trees=0)
    model.fit(xy, np.where(exact, reading, limit), np.where(exact, reading, np.inf))
    mean, variance = model.kriging([[505_000.0, 4_005_000.0]])
    assert abs(mean[0] - location) < 0.1 / n
    ends = (limit[~exact] - location) / scale
    hazard = np.exp(stats.norm.logpdf(ends) - stats.norm.logsf(ends))
    information = exact.sum() + (hazard * (hazard - ends)).sum()
    assert variance[0] / scale**2 - 1.0 == pytest.approx(1.0 / information, rel=0.02)


def _to_the_last_digit(function, start, args=(), disp=0):
    return optimize.fmin(function, start, args=args, disp=disp, xtol=1e-11, ftol=1e-13, maxiter=5_000, maxfun=5_000)


def test_fitted_without_correlation_the_quantiles_are_those_of_scipys_censored_fit():
    """The same, with everything learnt from 2,000 wells: covariance, sites, residuals, forest."""
    rng = np.random.default_rng(4)
    reading, limit = rng.normal(3.0, 0.8, 2_000), rng.normal(3.3, 0.8, 2_000)
    exact = reading <= limit
    law = stats.norm(*stats.norm.fit(stats.CensoredData(uncensored=reading[exact], right=limit[~exact])))
    xy = rng.uniform(0, 50_000, (2_000, 2)) + 500_000
    model = IntervalKriging("identity")
    model.fit(xy, np.where(exact, reading, limit), np.where(exact, reading, np.inf))
    quantiles = np.median(model.predict(xy[:200]).quantile([0.1, 0.5, 0.9]), axis=0)
    np.testing.assert_allclose(quantiles, law.ppf([0.1, 0.5, 0.9]), atol=0.1)


def test_the_cavity_is_the_prediction_from_all_other_wells():
    """Wells that share a point: the closed form against kriging with the well really left out."""
    rng = np.random.default_rng(5)
    xy = np.repeat(rng.uniform(0, 5_000, (12, 2)), 3, axis=0)
    reading, error = rng.normal(size=36), np.full(36, 150.0)
    covariance = Covariance("exponential", 0.8, 2_000, 0.3)
    places = group_places(xy, error)
    sites = censoring.Sites(reading, np.where(np.arange(36) % 4 == 0, 0.5, 0.0))
    others = nearest_elsewhere(places, 11, np.arange(places.count))
    cavities, _ = censoring.leave_out(covariance, places, sites, others, with_crowd=True)
    distance2 = ((xy[:, None] - xy[None]) ** 2).sum(-1) + 2 * 150.0**2
    matrix = 0.8 * correlation("exponential", distance2, 2_000.0)
    matrix[np.diag_indices(36)] = 0.8 + 0.3 + sites.variance
    for well in (0, 7, 20):
        rest = np.delete(np.arange(36), well)
        inverse = np.linalg.inv(matrix[np.ix_(rest, rest)])
        c0, one = matrix[rest, well], np.ones(35)
        slack = (1 - one @ inverse @ c0) / (one @ inverse @ one)
        mean = (c0 + slack) @ inverse @ reading[rest]
        variance = 0.8 + 0.3 - c0 @ inverse @ c0 + slack**2 * (one @ inverse @ one)
        assert cavities.mean[well] == pytest.approx(mean, abs=1e-9)
        assert cavities.variance[well] == pytest.approx(variance, abs=1e-9)


@pytest.fixture(scope="module")
def rock():
    """Log depth to rock at 1,500 wells and 700 places, a third of the holes stopping above it."""
    rng = np.random.default_rng(11)
    xy = rng.uniform(0, 20_000, (2_200, 2)) + 500_000
    squared = ((xy[:, None] - xy[None]) ** 2).sum(axis=-1)
    covariance = 0.5 * correlation("matern", squared, 4_000.0) + 0.1 * np.eye(2_200)
    depth = np.log(60.0) + np.linalg.cholesky(covariance) @ rng.standard_normal(2_200)
    hole = np.log(60.0) + 0.5 + 0.5 * rng.standard_normal(1_500)
    return xy, depth, hole


def test_holes_that_stop_above_rock_leave_no_bias(rock):
    xy, depth, hole = rock
    wells, held_out = slice(0, 1_500), slice(1_500, None)
    stopped = hole < depth[wells]
    assert 0.25 < stopped.mean() < 0.40
    low = np.exp(np.minimum(depth[wells], hole))
    kept = IntervalKriging(n_trees=20).fit(xy[wells], low, np.where(stopped, np.inf, low))
    dropped = IntervalKriging(n_trees=20).fit(xy[wells][~stopped], low[~stopped])
    q10, median, q90 = np.log(kept.predict(xy[held_out]).quantile([0.1, 0.5, 0.9])).T
    bias = np.mean(median - depth[held_out])
    assert abs(bias) < 0.03
    assert np.mean(np.log(dropped.predict(xy[held_out]).quantile(0.5)) - depth[held_out]) < -0.06
    assert 0.77 <= np.mean((depth[held_out] >= q10) & (depth[held_out] <= q90)) <= 0.83


def test_wide_intervals_do_not_collapse_to_nugget(rock):
    """Six readings in ten known to a factor of 8 only: the field is still seen."""
    xy, depth, _ = rock
    rng = np.random.default_rng(2)
    step = np.log(8.0)
    offset, wide = rng.uniform(size=1_500), rng.uniform(size=1_500) < 0.6
    shelf = (np.floor(depth[:1_500] / step + offset) - offset) * step
    truth = np.exp(depth[:1_500])
    model = IntervalKriging(n_trees=0).fit(
        xy[:1_500], np.where(wide, np.exp(shelf), truth), np.where(wide, np.exp(shelf + step), truth)
    )
    fitted = model.covariance_
    assert fitted.nugget / (fitted.nugget + fitted.sill) < 0.6  # the truth is 0.17
    error = np.log(model.predict(xy[1_500:]).quantile(0.5)) - depth[1_500:]
    assert np.std(error) < 0.65 * np.std(depth[1_500:])
