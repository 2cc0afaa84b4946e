"""A trend of covariates and an anisotropy: kept where the truth has one, and left where it has none."""

from typing import ClassVar

import numpy as np
import pandas as pd
import pytest
from sklearn.linear_model import LinearRegression
from threadpoolctl import threadpool_info, threadpool_limits

from wellrecords.interpolation import IntervalKriging, LandElevation, fitting
from wellrecords.interpolation.covariance import correlation, stretch
from wellrecords.interpolation.scores import LEVELS, crps

SMALL = {"n_trees": 20}
WELLS = slice(0, 500)
HELD_OUT = slice(500, 900)


def draw_field(xy, rng, range_m, kind="exponential"):
    squared = ((xy[:, None] - xy[None]) ** 2).sum(axis=-1)
    return np.linalg.cholesky(correlation(kind, squared, range_m) + 1e-9 * np.eye(len(xy))) @ rng.normal(size=len(xy))


def scored(distribution, truth):
    return crps(truth, distribution.quantile(LEVELS)).mean()


@pytest.fixture(scope="module")
def hills():
    """A nearly level water table under rough hills: coordinates, elevation of the land, depth to water, in feet."""
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 20_000, (900, 2)) + 500_000
    land = 900.0 + 0.003 * (xy[:, 0] - 500_000) + 60.0 * draw_field(xy, rng, 900.0, "matern")
    head = 820.0 + 0.003 * (xy[:, 0] - 500_000) + 8.0 * draw_field(xy, rng, 6_000.0, "matern")
    return xy, pd.DataFrame({"land_elevation_ft": land}), land - head + rng.normal(0, 3, 900)


@pytest.fixture(scope="module")
def rocks():
    """A quantity that slopes with elevation and steps with the rock, about it a field; a third of it censored."""
    rng = np.random.default_rng(5)
    xy = rng.uniform(0, 20_000, (900, 2)) + 500_000
    known = pd.DataFrame({"slope": rng.normal(size=900), "rock": pd.Categorical(rng.choice(["slate", "granite"], 900))})
    level = 4.0 + 0.5 * known["slope"] + 0.8 * (known["rock"] == "slate") + 0.4 * draw_field(xy, rng, 5_000.0)
    return xy, known, np.exp(level.to_numpy() + rng.normal(0, 0.15, 900))


def test_a_water_level_is_interpolated_as_elevation_where_terrain_is_given(hills):
    xy, land, depth = hills
    told = IntervalKriging("identity", **SMALL).fit(xy[WELLS], depth[WELLS], covariates=land[WELLS])
    assert isinstance(told.trend_.estimator, LandElevation)
    blind = IntervalKriging("identity", **SMALL).fit(xy[WELLS], depth[WELLS])
    d = told.predict(xy[HELD_OUT], land[HELD_OUT])
    assert scored(d, depth[HELD_OUT]) < 0.4 * scored(blind.predict(xy[HELD_OUT]), depth[HELD_OUT])
    low, high = d.quantile([0.1, 0.9]).T
    assert np.mean((depth[HELD_OUT] >= low) & (depth[HELD_OUT] <= high)) == pytest.approx(0.8, abs=0.05)


def test_kriging_about_the_land_is_kriging_the_level(hills):
    """Depth under a trend of slope one, and the level itself kriged by hand under the same covariance."""
    xy, land, depth = hills
    elevation = land["land_elevation_ft"].to_numpy()
    about = IntervalKriging("identity", n_trees=0, trend=LandElevation()).fit(
        xy[WELLS], depth[WELLS], covariates=land[WELLS]
    )
    by_hand = IntervalKriging("identity", covariance=about.covariance_, n_trees=0)
    by_hand.fit(xy[WELLS], elevation[WELLS] - depth[WELLS])
    np.testing.assert_allclose(
        about.predict(xy[HELD_OUT], land[HELD_OUT]).quantile(0.5),
        elevation[HELD_OUT] - by_hand.predict(xy[HELD_OUT]).quantile(0.5),
        atol=0.1,
    )


@pytest.mark.parametrize("setting", ["auto", LinearRegression()])
def test_a_trend_helps_where_there_is_one_and_readings_are_intervals(rocks, setting):
    xy, known, depth = rocks
    hole = 120.0 * np.exp(np.random.default_rng(1).normal(0, 0.5, 500))
    low, high = np.minimum(depth[WELLS], hole), np.where(depth[WELLS] > hole, np.inf, depth[WELLS])
    told = IntervalKriging(trend=setting, **SMALL).fit(xy[WELLS], low, high, covariates=known[WELLS])
    assert told.trend_ is not None
    deaf = IntervalKriging(trend=None, **SMALL).fit(xy[WELLS], low, high, covariates=known[WELLS])
    truth = np.log(depth[HELD_OUT])
    scores = [
        crps(truth, np.log(model.predict(xy[HELD_OUT], known[HELD_OUT]).quantile(LEVELS))).mean()
        for model in (told, deaf)
    ]
    assert scores[0] < 0.85 * scores[1]
    median = np.log(told.predict(xy[HELD_OUT], known[HELD_OUT]).quantile(0.5))
    assert abs(np.mean(median - truth)) < 0.05
    left = told.leave_one_out()
    np.testing.assert_allclose(np.mean((left.pit(0) > 0.1) & (left.pit(0) < 0.9)), 0.8, atol=0.04)


def test_no_trend_is_kept_where_the_covariates_say_nothing(field):
    xy, value = field
    noise = np.random.default_rng(0).normal(size=(400, 3))
    assert IntervalKriging(**SMALL).fit(xy, value, covariates=noise).trend_ is None


def test_what_is_no_regressor_is_refused(field):
    with pytest.raises(ValueError, match="trend must be"):
        IntervalKriging(trend="linear").fit(*field)


def test_a_field_longer_than_wide_is_found_so():
    """Ranges of 12 km to the north-east and 3 km across."""
    rng = np.random.default_rng(2)
    xy = rng.uniform(0, 20_000, (900, 2)) + 500_000
    value = draw_field(stretch(xy, 4.0, 45.0), rng, 12_000.0) + rng.normal(0, 0.2, 900)
    auto = IntervalKriging("identity", anisotropy="auto", n_trees=0).fit(xy[WELLS], value[WELLS])
    ratio, angle = auto.anisotropy_
    assert 2.0 <= ratio <= 6.0
    assert abs(angle - 45.0) < 15.0
    round_one = IntervalKriging("identity", n_trees=0).fit(xy[WELLS], value[WELLS])
    scores = [scored(model.predict(xy[HELD_OUT]), value[HELD_OUT]) for model in (auto, round_one)]
    assert scores[0] < 0.95 * scores[1]


def test_no_anisotropy_is_kept_where_there_is_none(field):
    assert IntervalKriging(anisotropy="auto", **SMALL).fit(*field).anisotropy_ is None


def test_clearly_better_takes_blocks_as_the_units():
    """A gain that one block makes alone is luck; the same gain in all blocks is not."""
    base, block = np.ones(100), np.arange(100) // 5
    assert fitting.clearly_better(base - 0.05, base, block)
    assert not fitting.clearly_better(np.where(block == 0, 0.0, base), base, block)
    assert not fitting.clearly_better(base - 0.005, base, block)


class CountsThreads(LinearRegression):
    """A regression that remembers how many threads OpenMP would have given it."""

    seen: ClassVar[list[tuple[str, int]]] = []

    def _note(self, where):
        pools = [pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "openmp"]
        self.seen.append((where, max(pools)))

    def fit(self, X, y):
        self._note("fit")
        return super().fit(X, y)

    def predict(self, X):
        self._note("predict")
        return super().predict(X)


def test_a_trend_takes_one_thread_of_openmp(rocks):
    """With the pools set to 3 outside, so that the test fails on a machine of any size if nothing holds them."""
    xy, known, depth = rocks
    CountsThreads.seen.clear()
    with threadpool_limits(3, user_api="openmp"):
        model = IntervalKriging(trend=CountsThreads(), n_trees=0)
        model.fit(xy[WELLS], depth[WELLS], covariates=known[WELLS])
        model.predict(xy[HELD_OUT], known[HELD_OUT])
        after = max(pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "openmp")
    assert {where for where, _ in CountsThreads.seen} == {"fit", "predict"}
    assert {threads for _, threads in CountsThreads.seen} == {1}
    assert after == 3
