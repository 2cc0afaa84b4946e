"""Few wells have not measured the spread: intervals that hold all the same, in any unit, on simulated fields."""

import numpy as np
import pytest

from wellrecords.interpolation import Covariance, IntervalKriging
from wellrecords.interpolation.calibration import MANY_PLACES
from wellrecords.interpolation.distribution import ResidualDistribution

TARGETS = 20


def share_covered(n, transform, fields):
    """Share of new wells inside their 80 % intervals: fields of three ranges (one of them none) and three spreads."""
    rng = np.random.default_rng(n)
    inside = []
    for number in range(fields):
        range_m, sd = (0.0, 3_000.0, 10_000.0)[number % 3], (0.25, 0.5, 1.0)[number // 3 % 3]
        xy = rng.uniform(0, 20_000, (n + TARGETS, 2)) + 500_000
        distance = np.hypot(*(xy[:, None] - xy[None]).T)
        covariance = np.eye(len(xy))
        if range_m:
            covariance = 0.8 * np.exp(-distance / range_m) + 0.2 * covariance
        z = sd * np.linalg.cholesky(covariance) @ rng.normal(size=len(xy))
        reading = np.exp(4 + z) if transform == "log" else 100.0 + 20.0 * z
        d = IntervalKriging(transform, n_trees=0).fit(xy[:n], reading[:n]).predict(xy[n:])
        low, high = d.quantile([0.1, 0.9]).T
        inside.append(np.mean((reading[n:] >= low) & (reading[n:] <= high)))
    return float(np.mean(inside))


@pytest.mark.parametrize(
    ("n", "transform", "least", "most"),
    [
        (2, "log", 0.76, 0.93),
        (2, "identity", 0.72, 0.88),
        (5, "log", 0.76, 0.87),
        (5, "identity", 0.72, 0.87),
        (20, "log", 0.77, 0.86),
    ],
)
def test_80_percent_intervals_hold_with_few_wells(n, transform, least, most):
    """Without widening they held 0.51 with 2 wells, 0.71 with 5 and 0.76 with 20."""
    covered = share_covered(n, transform, fields=270 if n == 2 else 90)
    print(f"{n} wells, {transform}: {covered:.3f} inside 80 % intervals")
    assert least < covered < most


def test_two_equal_readings_are_no_constant_field():
    xy = np.array([[500_000.0, 0.0], [503_000.0, 0.0]])
    far = IntervalKriging().fit(xy, [50.0, 50.0]).predict([[1_200_000.0, 0.0]]).quantile([0.1, 0.5, 0.9])[0]
    assert far[0] < 40.0 < far[1] < 60.0 < far[2]
    assert far[2] < 500.0


@pytest.mark.parametrize("n", [1, 2, 3, 5])
@pytest.mark.parametrize("transform", ["log", "identity"])
@pytest.mark.parametrize("spread", [0.0, 100.0])
def test_feet_and_metres_give_the_same_answer(n, transform, spread):
    """On one place, and on several."""
    place = np.array([[500_000.0, 0.0]])
    reading = 1_000.0 + spread * np.arange(n)
    for xy in (np.repeat(place, n, axis=0), place + 700.0 * np.arange(n)[:, None]):
        feet, metres = (
            IntervalKriging(transform).fit(xy, reading * unit).predict(place + 3_000.0).quantile([0.1, 0.5, 0.9])
            for unit in (1.0, 0.3048)
        )
        np.testing.assert_allclose(metres, 0.3048 * feet, rtol=1e-6)


def test_one_level_is_known_to_its_own_size():
    """On the identity scale nothing else carries the unit: 1000 ft is not 1000 give or take one foot."""
    low, middle, high = (
        IntervalKriging("identity").fit([[500_000, 0]], [1_000.0]).predict([[500_010, 0]]).quantile([0.1, 0.5, 0.9])[0]
    )
    assert middle == pytest.approx(1_000.0)
    assert 500.0 < middle - low < 3_000.0
    assert 500.0 < high - middle < 3_000.0


def test_several_wells_on_one_place_follow_student():
    """Nine wells on one point: the next there lies within t of 8 degrees times s sqrt(1 + 1 / 9)."""
    reading = np.array([40.0, 50.0, 60.0, 70.0, 45.0, 52.0, 58.0, 61.0, 47.0])
    d = IntervalKriging("identity").fit(np.tile([500_000.0, 0.0], (9, 1)), reading).predict([[500_000, 0]])
    half = 1.3968 * reading.std(ddof=1) * np.sqrt(1 + 1 / 9)  # 90 % point of t with 8 degrees, from tables
    low, high = d.quantile([0.1, 0.9])[0]
    assert (high - low) / 2 == pytest.approx(half, rel=0.05)


@pytest.mark.parametrize("transform", ["log", "identity"])
def test_equal_wells_on_one_place_narrow_as_they_grow_more(transform):
    """One place of 1, 4 and 100 equal readings: the spread that nothing has measured is worth one well."""
    widths = []
    for n in (1, 4, 100):
        model = IntervalKriging(transform).fit(np.tile([500_000.0, 0.0], (n, 1)), np.full(n, 50.0))
        low, high = model.predict([[500_000.0, 10.0]]).quantile([0.1, 0.9])[0]
        widths.append(np.log(high / low) if transform == "log" else high - low)
    assert widths[0] > 1.5 * widths[1] > 6.0 * widths[2] > 0.0


def test_two_readings_far_apart_on_one_place_are_believed():
    d = IntervalKriging("identity").fit([[500_000.0, 0.0]] * 2, [10.0, 1_000.0]).predict([[500_000.0, 0.0]])
    low, high = d.quantile([0.1, 0.9])[0]
    assert low < 10.0
    assert high > 1_000.0


def test_many_wells_and_a_given_covariance_are_not_widened():
    xy = np.random.default_rng(0).uniform(0, 9_000, (MANY_PLACES, 2)) + 500_000
    reading = np.exp(4 + 0.3 * np.random.default_rng(1).normal(size=MANY_PLACES))
    known = Covariance("exponential", 0.09, 2_000.0, 0.01)
    given = IntervalKriging(covariance=known, n_trees=0).fit(xy[:5], reading[:5])
    assert given.covariance_ == known
    # Five residuals and a normal prior worth ten: no tail of Student's in it.
    assert given.residuals_.quantile(np.array([0.999]))[0] < 4.0
    assert IntervalKriging(n_trees=0).fit(xy[:5], reading[:5]).residuals_.quantile(np.array([0.999]))[0] > 4.0


def test_widened_quantiles_are_students_where_the_law_is_normal():
    from scipy.special import ndtri
    from scipy.stats import t

    levels = np.arange(1, 1_000) / 1_000.0
    wide = ResidualDistribution(levels, ndtri(levels)).widened(3.0, 1.5)
    asked = np.array([0.05, 0.2, 0.5, 0.9])
    np.testing.assert_allclose(wide.quantile(asked), 1.5 * t(3).ppf(asked), atol=2e-3)
    np.testing.assert_allclose(wide.cdf(wide.quantile(asked)), asked, atol=1e-9)
    assert (np.diff(wide.values) > 0).all()
