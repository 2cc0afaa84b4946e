"""What is wrong with settings, places, readings and questions is told in words: what, where and the rule."""

import numpy as np
import pandas as pd
import pytest
from sklearn.linear_model import LinearRegression

from wellrecords.interpolation import Covariance, IntervalKriging

RNG = np.random.default_rng(0)
XY = RNG.uniform(0, 10_000, (60, 2)) + np.array([500_000.0, 4_000_000.0])
READING = np.exp(4 + RNG.normal(0, 0.5, 60))
DEGREES = np.column_stack([RNG.uniform(-98, -97, 60), RNG.uniform(30, 31, 60)])


@pytest.fixture(scope="module")
def model():
    return IntervalKriging(n_trees=0).fit(XY, READING)


def changed(values, row, value):
    values = np.array(values, dtype=float)
    values[row] = value
    return values


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"n_neighbours": 4.5}, "n_neighbours must be a whole number of at least 1; got 4.5"),
        ({"n_neighbours": True}, "n_neighbours must be a whole number of at least 1; got True"),
        ({"n_trees": 2.5}, "n_trees must be a whole number of at least 0; got 2.5"),
        ({"n_jobs": 1.5}, "n_jobs must be a whole number of threads, -1 for all cores or None for one; got 1.5"),
        ({"n_jobs": 0}, "n_jobs must be"),
        ({"block_m": np.inf}, "block_m must be a finite number"),
        ({"known_mean": np.nan}, "known_mean must be a finite number on the transformed scale, or None; got nan"),
        ({"anisotropy": 2.0}, r"anisotropy must be .*; got 2.0"),
        ({"anisotropy": ("a", 1)}, "anisotropy must be"),
        ({"anisotropy": (2, np.nan)}, "anisotropy must be"),
        ({"trend": LinearRegression}, "regressor, made"),
        ({"random_state": -1}, "random_state must be a whole number of 0 or more"),
        ({"random_state": "a"}, "random_state must be"),
        ({"transform": None}, "transform must be one of"),
    ],
)
def test_settings(settings, message):
    with pytest.raises(ValueError, match=message):
        IntervalKriging(**settings).fit(XY, READING)


def test_all_wrong_settings_are_told_at_once():
    with pytest.raises(ValueError, match=r"(?s)n_neighbours must.*n_trees must.*known_mean must"):
        IntervalKriging(n_neighbours=0, n_trees=-1, known_mean="a").fit(XY, READING)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((-1.0, 1_000.0, 0.1), "sill must be finite and 0 or more; got -1"),
        ((np.nan, 1_000.0, 0.1), "sill must be"),
        ((1.0, 0.0, 0.1), "range_m must be finite and above 0; got 0"),
        ((1.0, np.inf, -0.1), r"range_m must be .*; got inf; nugget must be finite and 0 or more; got -0.1"),
        ((0.0, 1_000.0, 0.0), "both 0"),
        (("wide", 1_000.0, 0.1), "sill must be finite and 0 or more; got 'wide'"),
    ],
)
def test_covariances(values, message):
    with pytest.raises(ValueError, match=message):
        Covariance("exponential", *values)


@pytest.mark.parametrize("n_jobs", [-1, None, 1])
def test_threads_as_scikit_learn_counts_them(model, n_jobs):
    same = IntervalKriging(n_trees=0, n_jobs=n_jobs).fit(XY, READING).predict(XY[:5]).quantile(0.5)
    np.testing.assert_array_equal(same, model.predict(XY[:5]).quantile(0.5))


@pytest.mark.parametrize(
    ("coordinates", "message"),
    [
        (DEGREES, "look like degrees"),
        (DEGREES[:, ::-1], "latitude before longitude"),
        (np.round(DEGREES), "look like degrees"),
        (changed(DEGREES, 7, [500_000, 4_000_000]), "59 of 60 coordinates look like degrees .*first in row 0"),
        (changed(XY, 7, [-97.5, 30.5]), r"1 of 60 coordinates look like degrees .*first in row 7 \(-97.500, 30.500\)"),
        (np.column_stack([RNG.uniform(0, 1, 60), RNG.uniform(5, 11, 60)]), "look like degrees"),
        (np.full((60, 2), "here"), "coordinates must be numbers: got 'here' in row 0"),
    ],
)
def test_places_that_are_not_in_metres(coordinates, message):
    with pytest.raises(ValueError, match=message):
        IntervalKriging(n_trees=0).fit(coordinates, READING)


@pytest.mark.parametrize("span", [80.0, 5_000.0])
def test_a_plane_of_its_own_that_starts_at_0_is_no_degrees(span):
    plane = np.random.default_rng(1).uniform(0, span, (60, 2))
    model = IntervalKriging(n_trees=0).fit(plane, READING)
    assert np.isfinite(model.predict([[0.0, 0.0], [5.0, 5.5]]).quantile(0.5)).all()


def test_targets_in_degrees_are_refused_wherever_they_are_asked(model):
    mixed = [[500_000.0, 4_000_000.0], [-97.5, 30.5]]
    for ask in (model.predict, model.kriging, model.weights):
        with pytest.raises(ValueError, match=r"1 of 2 .* degrees .*first in row 1"):
            ask(mixed)
    near = IntervalKriging(n_trees=0).fit(XY - XY.min(axis=0) + 20_000.0, READING)
    for ask in (near.predict, near.reach, lambda xy: near.predict_groups([xy])):
        with pytest.raises(ValueError, match="degrees"):
            ask([[-97.0, 30.0]])


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        ({"low": np.where(np.arange(60) == 3, "dry", READING.astype(str))}, "low must be numbers: got 'dry' in row 3"),
        ({"low": READING + 1j}, "low must be numbers"),
        ({"low": READING > 50}, "low must be numbers"),
        ({"low": pd.Series([pd.NA, *range(1, 60)], dtype="Int64")}, "low is NaN in 1 of 60 rows, the first in row 0"),
        ({"low": np.ma.array(READING, mask=np.arange(60) == 3)}, "low is NaN in 1 of 60 rows, the first in row 3"),
        ({"low": changed(READING, 4, -3)}, r"negative in 1 of 60 rows, the first in row 4 \(-3\)"),
        ({"low": READING, "high": changed(READING, 4, 2)}, r"low is above high in 1 .* row 4 \([0-9.]+ to 2\)"),
        ({"low": READING, "position_error_m": np.nan}, "position_error_m is negative, NaN or infinite"),
        ({"low": READING, "position_error_m": "far"}, "position_error_m must be numbers: got 'far'"),
    ],
)
def test_readings(readings, message):
    with pytest.raises(ValueError, match=message):
        IntervalKriging(n_trees=0).fit(XY, **readings)


def test_all_that_is_wrong_with_readings_is_told_at_once():
    low, high = changed(READING, 4, np.nan), changed(READING, 9, -1)
    with pytest.raises(ValueError, match=r"(?s)low is NaN .*row 4.*low is above high .*row 9.*position_error_m is"):
        IntervalKriging(n_trees=0).fit(XY, low, high, -1.0)


def test_a_reading_too_large_to_square_is_refused_on_the_identity_scale():
    with pytest.raises(ValueError, match=r"beyond 1e\+100 in 1 of 60 rows, the first in row 7 \(1e\+300\)"):
        IntervalKriging("identity", n_trees=0).fit(XY, changed(READING, 7, 1e300))
    with pytest.raises(ValueError, match="next to nothing in 60 of 60 rows"):
        IntervalKriging("identity", n_trees=0).fit(XY, READING * 1e-300)


@pytest.mark.parametrize("nothing", [[], np.empty((0, 2))])
def test_no_places_have_an_empty_distribution(model, nothing):
    d = model.predict(nothing)
    assert len(d) == 0
    assert d.quantile(0.5).shape == (0,)
    assert d.quantile([0.1, 0.9]).shape == (0, 2)
    assert d.cdf(50.0).shape == (0,)
    assert d.sample(7, random_state=0).shape == (7, 0)
    assert model.weights(nothing)[0].shape == (0, 0)
    assert model.reach(nothing).shape == model.wells_within(nothing, 1_000.0, 5).shape == (0,)


@pytest.mark.parametrize("shape", [(0, 3, 2), (4, 0, 2)])
def test_no_groups_or_groups_of_no_places_have_an_empty_distribution(model, shape):
    assert len(model.predict_groups(np.empty(shape))) == 0


def test_groups_have_three_dimensions(model):
    with pytest.raises(ValueError, match=r"shape \(groups, places of a group, 2\).*got shape \(5, 2\).*use predict"):
        model.predict_groups(XY[:5])


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda d: d.cdf([50.0, 60.0]), r"one for each of the 3 places; got shape \(2,\)"),
        (lambda d: d.quantile([[0.1, 0.5]]), r"got shape \(1, 2\)"),
        (lambda d: d.quantile("half"), "got 'half'"),
        (lambda d: d.quantile(1.0), r"inside \(0, 1\), the median being 0.5; got 1.0"),
        (lambda d: d.quantile_at([0.1, 0.5]), r"each of the 3 places.*got shape \(2,\)"),
        (lambda d: d.sample(2.5), "n_draws must be a whole number of 0 or more; got 2.5"),
    ],
)
def test_questions_to_a_distribution(model, ask, message):
    with pytest.raises(ValueError, match=message):
        ask(model.predict(XY[:3]))


@pytest.mark.parametrize("transform", ["log", "identity"])
def test_the_probability_below_an_unknown_value_is_unknown(transform):
    d = IntervalKriging(transform, n_trees=0).fit(XY, READING).predict(XY[:3])
    chance = d.cdf([np.nan, np.inf, -np.inf])
    assert np.isnan(chance[0])
    assert chance[1:].tolist() == [1.0, 0.0]


def test_what_is_set_after_the_fit_holds_from_the_next_fit_on():
    model = IntervalKriging(n_trees=0).fit(XY, READING)
    before = model.predict(XY[:3]).quantile([0.1, 0.9])
    model.set_params(transform="identity", known_mean=9.0, n_neighbours=2)
    np.testing.assert_array_equal(model.predict(XY[:3]).quantile([0.1, 0.9]), before)
    assert model.leave_one_out().distribution.transform == "log"
