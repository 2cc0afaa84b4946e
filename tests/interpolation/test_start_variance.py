"""Readings whose censored fit would run to infinity or to nothing; the order of wells and the unit of readings."""

import warnings

import numpy as np
import pytest
from scipy import stats

from wellrecords.interpolation import IntervalKriging, spread

LEVELS = [0.1, 0.5, 0.9]
N = 200
ODD = np.arange(N) % 2 == 1


@pytest.fixture(scope="module")
def places():
    return np.random.default_rng(0).uniform(0, 10_000, (N, 2)) + 500_000


def quantiles(xy, low, high=None, transform="log"):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return IntervalKriging(transform, n_trees=20).fit(xy, low, high).predict(xy[:40] + 40.0).quantile(LEVELS)


@pytest.mark.parametrize("sides", ["right", "left", "intervals", "both"])
def test_the_fit_is_scipys_censored_fit_where_that_has_an_answer(sides):
    rng = np.random.default_rng(7)
    reading, limit = rng.normal(3.0, 0.8, 400), rng.normal(3.2, 0.8, 400)
    low, high = reading.copy(), reading.copy()
    if sides == "right":
        low, high = np.minimum(reading, limit), np.where(reading > limit, np.inf, reading)
    if sides in ("left", "both"):
        low, high = np.where(reading < limit - 1, -np.inf, reading), np.maximum(reading, limit - 1)
    if sides == "both":
        low, high = np.minimum(low, limit + 0.5), np.where(reading > limit + 0.5, np.inf, high)
    if sides == "intervals":
        low, high = np.floor(reading), np.floor(reading) + 1.0
    exact, closed = low == high, (low != high) & np.isfinite(low) & np.isfinite(high)
    data = stats.CensoredData(
        uncensored=low[exact],
        left=high[np.isneginf(low)],
        right=low[np.isposinf(high)],
        interval=np.column_stack([low, high])[closed],
    )
    np.testing.assert_allclose(spread.mean_and_sd(low, high, 0.5, 1e-4), stats.norm.fit(data), rtol=5e-4)


@pytest.mark.parametrize("exact", [0, 1, 5, 20])
@pytest.mark.parametrize("transform", ["log", "identity"])
def test_at_most_40_beside_at_least_60_keeps_to_the_size_of_what_was_read(places, transform, exact):
    """No reading between: the likelihood rises with the spread for ever, quantiles once ran to 0 and to infinity."""
    low = np.where(ODD, 60.0, 0.0 if transform == "log" else -np.inf)
    high = np.where(ODD, np.inf, 40.0)
    known = np.exp(4 + 0.5 * np.random.default_rng(1).normal(size=exact))
    low[:exact] = high[:exact] = known
    found = quantiles(places, low, high, transform)
    assert np.isfinite(found).all()
    low_end, high_end = np.median(found[:, 0]), np.median(found[:, 2])
    assert (3.0 if transform == "log" else -60.0) < low_end < 40.0
    assert 60.0 < high_end < 400.0


def test_dry_wells_beside_a_heap_of_fives_are_not_taken_for_fives(places):
    """Half of the wells read less than 5: so does half of the distribution, not all of it within a hair of 5."""
    model = IntervalKriging(n_trees=20).fit(places, np.where(ODD, 5.0, 0.0))
    d = model.predict(places[:40] + 40.0)
    assert 0.35 < d.cdf(4.9).mean() < 0.65
    assert np.median(d.quantile(0.1)) < 4.5
    assert np.median(d.quantile(0.9)) == pytest.approx(5.0, rel=0.05)
    left = model.leave_one_out().distribution.cdf(4.9)
    assert left.mean() == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("share", [0.05, 0.2])
def test_the_share_of_dry_wells_shows_beside_a_heap(places, share):
    reading = np.where(np.random.default_rng(2).uniform(size=N) < share, 0.0, 5.0)
    chance = IntervalKriging(n_trees=20).fit(places, reading).predict(places[:40] + 40.0).cdf(4.99).mean()
    assert chance == pytest.approx(share, abs=0.6 * share)


def test_one_reading_among_many_below_it(places):
    """One 5, the others at most 5: most of the distribution lies below 5, spread over a factor, and not at 5."""
    found = IntervalKriging(n_trees=20).fit(places, [5.0] + [0.0] * (N - 1), [5.0] * N).predict(places[:40] + 40.0)
    assert found.cdf(4.9).mean() > 0.8
    assert np.median(found.quantile(0.9) / found.quantile(0.1)) > 1.5


def test_intervals_that_all_share_a_stretch_leave_it_open_where_on_the_stretch(places):
    found = quantiles(places, np.full(N, 40.0), np.full(N, 60.0))
    assert (found[:, 0] < 46.0).all()
    assert (found[:, 2] > 52.0).all()
    assert (found > 35.0).all()
    assert (found < 70.0).all()


def test_open_below_may_be_written_as_minus_infinity_on_the_log_scale(places):
    reading = np.exp(4 + 0.5 * np.random.default_rng(1).normal(size=N))
    from_zero = quantiles(places, np.where(ODD, 0.0, reading), reading)
    np.testing.assert_array_equal(quantiles(places, np.where(ODD, -np.inf, reading), reading), from_zero)


@pytest.fixture(scope="module")
def stopped(places):
    """Readings of which a quarter are only known to lie above."""
    rng = np.random.default_rng(3)
    reading = np.exp(4 + 0.5 * np.sin(places[:, 0] / 2_000) + 0.2 * rng.normal(size=N))
    open_above = rng.uniform(size=N) < 0.25
    low = np.where(open_above, reading * rng.uniform(0.3, 1.0, N), reading)
    return low, np.where(open_above, np.inf, reading)


@pytest.mark.parametrize("transform", ["log", "identity"])
def test_the_order_of_the_wells_does_not_matter(places, stopped, transform):
    low, high = stopped
    order = np.random.default_rng(5).permutation(N)
    base, turned = (
        IntervalKriging(transform, n_trees=20).fit(places[o], low[o], high[o]).predict(places[:40] + 40.0)
        for o in (np.arange(N), order)
    )
    np.testing.assert_allclose(turned.quantile(LEVELS), base.quantile(LEVELS), rtol=1e-5)


@pytest.mark.parametrize("unit", [10.0, 0.3048, 1e-6, 1e-9])
@pytest.mark.parametrize("transform", ["log", "identity"])
@pytest.mark.parametrize("censored", [True, False])
def test_another_unit_multiplies_the_quantiles(places, stopped, transform, unit, censored):
    low, high = stopped if censored else (stopped[0], stopped[0])
    base, turned = (quantiles(places, low * by, high * by, transform) for by in (1.0, unit))
    np.testing.assert_allclose(turned, base * unit, rtol=1e-5)


@pytest.mark.parametrize("offset", [1e6, 1e9])
def test_an_offset_moves_the_quantiles_and_leaves_their_widths(places, stopped, offset):
    """Compared within a hundredth of the spread: the readings themselves are rounded far from 0."""
    reading = stopped[0]
    model = IntervalKriging("identity", n_trees=20)
    base, moved = (model.fit(places, reading + by).predict(places[:40] + 40.0).quantile(LEVELS) for by in (0.0, offset))
    np.testing.assert_allclose(moved - offset, base, atol=0.1 * reading.std())
    assert np.mean(np.abs(moved - offset - base)) < 0.01 * reading.std()


@pytest.mark.parametrize("value", [1e-30, -5.0, 0.0, 25.0, 1e10, 1e30])
def test_a_constant_of_any_size_is_predicted_as_such(places, value):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        d = IntervalKriging("identity", n_trees=20).fit(places, np.full(N, value)).predict(places[:40] + 40.0)
    found = d.quantile(LEVELS)
    np.testing.assert_allclose(found, value, rtol=1e-3, atol=1e-6 if value == 0 else 0.0)
    for level, column in zip(LEVELS, found.T, strict=True):
        np.testing.assert_allclose(d.cdf(column), level, atol=1e-3)
