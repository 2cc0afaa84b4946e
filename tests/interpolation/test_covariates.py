"""Covariates: found by their names or refused, never read as 0; and wells of few blocks, which get no trend."""

import numpy as np
import pandas as pd
import pytest

from wellrecords.interpolation import IntervalKriging

SMALL = {"n_trees": 0}


@pytest.fixture(scope="module")
def land():
    """300 wells whose depth follows the elevation, nothing else: coordinates, table, depth."""
    rng = np.random.default_rng(0)
    xy = rng.uniform(0, 30_000, (300, 2)) + 500_000
    table = pd.DataFrame({"elevation": rng.uniform(500, 900, 300), "slope": rng.uniform(0, 1, 300)})
    rock = np.where(table["elevation"] > 700, "lime", "sand")
    return xy, table.assign(rock=rock), np.exp(3 + table["elevation"].to_numpy() / 300)


def median(model, land, table):
    return model.predict(land[0][: len(table)], table).quantile(0.5)


@pytest.mark.parametrize("names", [None, ["elevation", "slope"], [7, 3]])
def test_numbers_are_found_under_whatever_names_they_had_in_the_fit(land, names):
    xy, table, depth = land
    numbers = table[["elevation", "slope"]]
    numbers = pd.DataFrame(numbers.to_numpy()) if names is None else numbers.set_axis(names, axis=1)
    model = IntervalKriging(**SMALL).fit(xy, depth, covariates=numbers)
    assert model.trend_ is not None
    np.testing.assert_allclose(median(model, land, numbers[:9]), depth[:9], rtol=0.05)
    turned = numbers[numbers.columns[::-1]].assign(more=1.0)
    np.testing.assert_array_equal(median(model, land, turned[:9]), median(model, land, numbers[:9]))
    np.testing.assert_array_equal(median(model, land, numbers[:9].to_numpy()), median(model, land, numbers[:9]))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda t: t.rename(columns={"elevation": "Elevation"}), "lack 1 of the 3 columns of the fit: 'elevation'"),
        (lambda t: t[["rock"]], "lack 2 of the 3 columns of the fit: 'elevation', 'slope'"),
        (lambda t: t.astype({"elevation": str}), "'elevation' held numbers in the fit and holds text"),
        (lambda t: t.assign(rock=1.0), "'rock' held text or categories in the fit and holds numbers"),
        (lambda t: t.assign(rock=None), "missing in 9 of 9 rows, the first in row 0, column 'rock'"),
        (lambda t: t.assign(slope=np.inf), "NaN or infinite in 9 of 9 rows, the first in row 0, column 'slope'"),
        (lambda t: t[["elevation", "slope"]].to_numpy(), "some of them classes; predict needs a DataFrame"),
        (lambda t: t.iloc[:4], "got 4 rows for 9 places"),
        (lambda t: None, "predict needs them too"),
        (lambda t: pd.concat([t, t], axis=1), "several columns of the same name"),
    ],
)
def test_what_does_not_match_the_fit_is_refused_in_a_sentence(land, change, message):
    xy, table, depth = land
    model = IntervalKriging(**SMALL).fit(xy, depth, covariates=table)
    with pytest.raises(ValueError, match=message):
        model.predict(xy[:9], change(table[:9]))


def test_only_a_class_that_the_fit_has_not_seen_counts_as_none_of_its_classes(land):
    xy, table, depth = land
    model = IntervalKriging(**SMALL).fit(xy, depth, covariates=table)
    new = median(model, land, table[:9].assign(rock="basalt"))
    old = median(model, land, table[:9])
    assert np.isfinite(new).all()
    assert (new != old).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda t: t[["rock"]].mask(np.arange(300)[:, None] == 5),
            "missing in 1 of 300 rows, the first in row 5, column 'rock'",
        ),
        (lambda t: np.empty((300, 0)), "no column"),
        (lambda t: np.ones((300, 2, 2)), r"shape \(300, 2, 2\)"),
        (lambda t: np.array([["lime"]] * 300), "no number"),
        (lambda t: t.assign(drilled=pd.Timestamp("2001-02-03")), "'drilled' holds datetime"),
    ],
)
def test_bad_covariates_are_refused_in_the_fit(land, change, message):
    xy, table, depth = land
    with pytest.raises(ValueError, match=message):
        IntervalKriging(**SMALL).fit(xy, depth, covariates=change(table))


def test_covariates_that_the_fit_never_saw_are_refused(land):
    xy, table, depth = land
    with pytest.raises(ValueError, match="fitted without any"):
        IntervalKriging(**SMALL).fit(xy, depth).predict(xy[:9], table[:9])
    plain = IntervalKriging(**SMALL).fit(xy, depth, covariates=table[["elevation", "slope"]].to_numpy())
    with pytest.raises(ValueError, match="no names to match 'slope', 'elevation'"):
        plain.predict(xy[:9], table[:9][["slope", "elevation"]])


def test_a_series_of_numbers_or_classes_and_numbers_kept_as_objects(land):
    xy, table, depth = land
    for name in ("elevation", "rock"):
        model = IntervalKriging(**SMALL).fit(xy, depth, covariates=table[name])
        np.testing.assert_array_equal(median(model, land, table[name][:9]), median(model, land, table[[name]][:9]))
    numbers = IntervalKriging(**SMALL).fit(xy, depth, covariates=table[["elevation"]])
    objects = IntervalKriging(**SMALL).fit(xy, depth, covariates=table[["elevation"]].astype(object))
    np.testing.assert_array_equal(
        median(objects, land, table[["elevation"]][:9]), median(numbers, land, table[["elevation"]][:9])
    )


@pytest.mark.parametrize("blocks", [1, 3, 5])
def test_wells_of_few_blocks_are_fitted_without_a_trend(land, blocks):
    """Five folds leave whole blocks out: with fewer than five nothing is left to judge a trend by."""
    xy = np.random.default_rng(1).uniform(0, 290, (300, 2)) + 501_000
    xy[:, 0] = 501_000 + 300.0 * (np.arange(300) % blocks) + (xy[:, 0] - 501_000)
    model = IntervalKriging(**SMALL).fit(xy, land[2], covariates=land[1])
    assert (model.trend_ is None) == (blocks < 5)
    assert np.isfinite(model.predict(xy[:5], land[1][:5]).quantile([0.1, 0.9])).all()
