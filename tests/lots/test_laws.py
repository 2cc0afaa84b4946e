"""The law of the fractures at a place, from holes that each have a law of their own."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import laws
from wellrecords.lots.fractures import LawGrid
from wellrecords.lots.laws import LEAST_SPACING_M, Reach, spacing, spread_out
from wellrecords.lots.learning import fit_laws, mean_fall
from wellrecords.lots.stopping import read_stops

GRID = LawGrid(np.arange(-7.0, -1.0, 0.25), np.arange(-3.0, 3.0, 0.25))


def test_what_a_hole_says_is_averaged_over_the_laws_that_it_may_have():
    """Against the textbook case: a normal likelihood and a normal spread make a normal of both variances."""
    rate, size = np.meshgrid(GRID.log_rate, GRID.log_size, indexing="ij")
    known = -0.5 * (((rate + 4.0) / 0.5) ** 2 + ((size - 0.5) / 0.6) ** 2)
    heard = spread_out(known.reshape(1, -1), GRID, 0.4).reshape(GRID.shape)
    expected = -0.5 * ((rate + 4.0) ** 2 / (0.5**2 + 0.4**2) + (size - 0.5) ** 2 / (0.6**2 + 0.4**2))
    inside = (np.abs(rate + 4.0) < 1.0) & (np.abs(size - 0.5) < 1.0)
    moved = heard - expected
    assert np.ptp(moved[inside]) < 0.01


def test_a_hole_that_says_nothing_goes_on_saying_nothing():
    nothing = np.full((3, GRID.size), -2.5)
    assert np.ptp(spread_out(nothing, GRID, 0.5)) < 1e-6
    assert spread_out(nothing, GRID, 0.0) is nothing


def stopped_holes(rate, rng, decay_ft=np.inf, limits_ft=(700.0,), xy=None):
    """Holes stopped at 3 or 8 gpm or at a limit, in rock whose rate of fractures may fall; their depths to 5 gpm."""
    n = len(rate)
    feet = np.cumsum(rng.exponential(1.0, (n, 300)), axis=1) / rate[:, None]
    if np.isfinite(decay_ft):
        left = 1.0 - feet / decay_ft
        feet = np.where(left > 0.0, -decay_ft * np.log(np.maximum(left, 1e-300)), np.inf)
    total = np.cumsum(2.0 * np.exp(rng.standard_normal((n, 300))), axis=1)
    wanted = rng.choice([3.0, 8.0], n)
    limit = rng.choice(limits_ft, n)
    depth = np.minimum(feet[np.arange(n), np.argmax(total >= wanted[:, None], axis=1)], limit)
    made = np.where(feet <= depth[:, None], total, 0.0).max(axis=1)
    wells = pd.DataFrame(
        {
            "record_id": np.arange(n).astype(str),
            "total_depth_ft": depth,
            "yield_gpm_low": np.where(made < 0.1, 0.0, made),
            "yield_gpm_high": np.where(made < 0.1, 0.1, made),
            "yield_method": "unknown",
            "hydrofractured": False,
            "record_kind": "new",
            "position_error_m": 0.0,
        }
    )
    true_depth = feet[np.arange(n), np.argmax(total >= 5.0, axis=1)]
    return read_stops(wells, rng.uniform(0, 10_000, (n, 2)) if xy is None else xy, np.zeros(n)), true_depth


@pytest.fixture(scope="module")
def mixed():
    """Holes side by side in rock whose rate of fractures varies by a factor e^0.7 about one in 60 ft."""
    rng = np.random.default_rng(5)
    stops, true_depth = stopped_holes(np.exp(0.7 * rng.standard_normal(900)) / 60.0, rng)
    return stops, np.median(true_depth)


def test_wells_in_mixed_rock_are_not_promised_too_deep(mixed):
    """Taken for holes of one law, they are: the deep holes have met the most rock, and say the most."""
    stops, true_median = mixed
    laws = fit_laws([stops])
    places = np.random.default_rng(1).uniform(2_000, 8_000, (30, 2))
    said, pooled = (
        float(np.exp(np.mean(np.log(one.at(places).feet_to(5.0, np.array([0.5]))))))
        for one in (laws, replace(laws, reach=replace(laws.reach, spread=0.0)))
    )
    assert said == pytest.approx(true_median, rel=0.07)
    assert pooled > 1.1 * said


def falls_learnt(decay_ft):
    """Of four grounds, smooth, with a fracture in some 50 ft and limits at 250 to 500 ft, the falls a foot."""
    falls = []
    for seed in range(3, 7):
        rng = np.random.default_rng(seed)
        xy = rng.uniform(0, 10_000, (900, 2))
        waves = xy @ rng.normal(size=(2, 40)) / 2_500.0 + rng.uniform(0, 2 * np.pi, 40)
        rate = np.exp(0.5 * np.sqrt(2 / 40) * np.cos(waves).sum(axis=1)) / 50.0
        stops, _ = stopped_holes(rate, rng, decay_ft, (250.0, 350.0, 500.0), xy)
        falls.append(1.0 / fit_laws([stops]).decay_ft)
    return np.array(falls)


def test_a_rate_that_fades_is_taken_to_fade_as_fast_as_it_does():
    assert falls_learnt(250.0) == pytest.approx(np.full(4, 1.0 / 250.0), rel=0.3)


def test_a_gentle_fall_that_few_regions_tell_from_none_is_taken_in_part():
    """By a factor e in 700 ft, where hardly a hole passes 500: none is taken for more, and together for some."""
    falls = falls_learnt(700.0)
    assert falls.max() < 1.5 / 700.0
    assert falls.mean() > 0.25 / 700.0


def test_a_rate_that_does_not_fade_is_not_taken_to():
    assert falls_learnt(np.inf).max() < 1.0 / 8000.0


FALLS = np.array([0.0, 1 / 1500, 1 / 600, 1 / 400])


def test_a_fall_that_all_wells_favour_is_taken_and_one_that_none_favours_is_not():
    steady = np.array([0.0, 40.0, 80.0, 20.0])[:, None] * np.full(200, 1 / 200)
    assert mean_fall(FALLS, steady) == pytest.approx(1 / 600, rel=0.1)
    assert mean_fall(FALLS, -steady) == 0.0
    assert mean_fall(FALLS[:1], steady[:1]) == 0.0


def test_a_gain_that_a_few_wells_make_is_hardly_believed():
    """Six nats by wells of which each gains or loses three: a gain of less than half its standard error."""
    rng = np.random.default_rng(0)
    scatter = rng.choice([-1.0, 1.0], 200)
    gains = np.array([0.0, 2.0, 4.0, 6.0])[:, None] / 200 + np.array([0.0, 0.3, 0.6, 1.0])[:, None] * (
        scatter - scatter.mean()
    )
    sure = gains - np.array([0.0, 0.3, 0.6, 1.0])[:, None] * (scatter - scatter.mean())
    assert mean_fall(FALLS, gains) < 0.3 * mean_fall(FALLS, sure)


def test_a_well_reaches_farther_where_wells_are_few():
    """In a village as dense as is usual the reach is as found; with four times the space between wells, twice that."""
    reach = Reach(metres=800.0, spacing_m=1_000.0)
    assert reach.at(np.array([1_000.0, 4_000.0, 0.0])) == pytest.approx(
        [800.0, 1_600.0, 800.0 * (LEAST_SPACING_M / 1e3) ** 0.5]
    )
    weight = reach.weights(np.array([[800.0, np.inf], [1_600.0, 0.0]]), np.array([1_000.0, 4_000.0]))
    assert weight == pytest.approx(np.array([[np.exp(-1.0), 0.0], [np.exp(-1.0), 1.0]]))


def test_spacing_is_that_of_the_thirtieth_other_well():
    distance = np.arange(40.0)[None, :]
    assert spacing(distance).tolist() == [29.0]
    assert spacing(distance, own=1).tolist() == [30.0]
    assert spacing(distance[:, :5]).tolist() == [4.0]


@pytest.mark.parametrize("k", [1, 3, 4, 11])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_sums_over_wells_are_the_same_compiled_and_by_numpy(monkeypatch, k, dtype):
    rng = np.random.default_rng(k)
    known = rng.normal(size=(40, 7)).astype(dtype)
    index = np.array([rng.permutation(40)[:k] for _ in range(25)])
    weights = np.where(rng.random(index.shape) < 0.3, 0.0, rng.random(index.shape))
    compiled = laws.weigh(known, index, weights)
    monkeypatch.setattr(laws, "add_rows", None)
    plain = laws.weigh(known, index, weights)
    assert compiled.dtype == plain.dtype == dtype
    np.testing.assert_allclose(compiled, plain, rtol=1e-5, atol=1e-6)
    np.testing.assert_allclose(plain, np.einsum("mk,mkl->ml", weights, known[index]), rtol=1e-4, atol=1e-5)
