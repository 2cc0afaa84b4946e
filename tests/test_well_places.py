"""Places: angles, datums, projections, dummies."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from wellrecords.places import (
    MEAN_DISTANCE_IN_SQUARE,
    METHOD_ERRORS_M,
    degree_places,
    judge_places,
    parse_angle,
    parse_angles,
    to_wgs84,
    utm_crs,
)
from wellrecords.schema import POSITION_METHODS

MAINE = (-70.3, 45.1, -69.8, 45.5)
DMS = 45 + 12 / 60 + 33.2 / 3600

ANGLES = [
    ("45.2092", 45.2092, 1e-4),
    ("-69.5", -69.5, 0.1),
    ("45", 45.0, 1.0),
    ("45-12-33.2", DMS, 0.1 / 3600),
    ("45°12'33.2\"", DMS, 0.1 / 3600),
    ("45°12'33.2\"N", DMS, 0.1 / 3600),
    ("45° 12′ 33.2″ N", DMS, 0.1 / 3600),
    ("45 12 33.2", DMS, 0.1 / 3600),
    ("45:12:33.2", DMS, 0.1 / 3600),
    ("45d12m33.2s", DMS, 0.1 / 3600),
    ("N45 12 33.2", DMS, 0.1 / 3600),
    ("451233.2", DMS, 0.1 / 3600),
    ("N45 12.553", 45 + 12.553 / 60, 0.001 / 60),
    ("W 122° 30.5'", -122 - 30.5 / 60, 0.1 / 60),
    ("122.5W", -122.5, 0.1),
    ("-122-30-15", -122 - 30.25 / 60, 1 / 3600),
    ("1223015W", -122 - 30.25 / 60, 1 / 3600),
    ("45,2092", 45.2092, 1e-4),
    ("45°12'", 45.2, 1 / 60),
    ("45 deg 12 min 33.2 sec North", DMS, 0.1 / 3600),
    ("122.5 West", -122.5, 0.1),
]


@pytest.mark.parametrize(("text", "degrees", "step"), ANGLES, ids=[a[0] for a in ANGLES])
def test_angles(text, degrees, step):
    angle = parse_angle(text)
    assert angle.degrees == pytest.approx(degrees, abs=1e-9)
    assert angle.step == pytest.approx(step)


@pytest.mark.parametrize("text", ["", "north of town", "45-72-10", "45-12-75", "N45N", "45.5.5", "456190"])
def test_texts_that_are_no_angles(text):
    assert math.isnan(parse_angle(text).degrees)


def test_a_column_of_angles_reads_like_its_cells():
    texts = [a[0] for a in ANGLES] + ["", "abc", "-70", "+45.1"]
    table = parse_angles(pd.Series(texts * 2, dtype="str"))
    for text, row in zip(texts * 2, table.itertuples(index=False), strict=True):
        one = parse_angle(text)
        assert (row.degrees == one.degrees) or (math.isnan(row.degrees) and math.isnan(one.degrees)), text
        assert (row.signed, row.axis) == (one.signed, one.axis), text


@settings(deadline=None, max_examples=50)
@given(st.lists(st.text(max_size=10) | st.sampled_from(["45.2", "٤٥.2", "-70", "451233", "45-12"]), max_size=8))
def test_no_column_of_texts_breaks_it(texts):
    table = parse_angles(pd.Series(texts, dtype="str"))
    for text, degrees in zip(texts, table["degrees"], strict=True):
        one = parse_angle(text).degrees
        assert degrees == one or (math.isnan(degrees) and math.isnan(one)), text


@settings(deadline=None)
@given(
    st.floats(0, 89.99), st.sampled_from(["{d}-{m}-{s:.2f}", "{d}°{m}'{s:.2f}\"", "{d} {m} {s:.2f}", "{d}:{m}:{s:.2f}"])
)
def test_an_angle_written_in_seconds_comes_back(value, form):
    degrees, rest = divmod(value * 3600, 3600)
    minutes, seconds = divmod(rest, 60)
    if round(seconds, 2) < 60:
        text = form.format(d=int(degrees), m=int(minutes), s=seconds)
        assert parse_angle(text).degrees == pytest.approx(value, abs=0.006 / 3600)


def places(x, y, bounds=MAINE, **more):
    return degree_places(pd.Series([x], dtype="str"), pd.Series([y], dtype="str"), bounds=bounds, **more).iloc[0]


@pytest.mark.parametrize(
    ("x", "y", "mend"),
    [
        ("-70.1", "45.2", ""),
        ("70.1", "45.2", "unsigned_longitude"),
        ("45.2", "-70.1", "swapped_coordinates"),
        ("45.2", "70.1", "swapped_and_unsigned"),
        ("70.1W", "45.2N", ""),
        ("45.2N", "70.1W", "swapped_coordinates"),
    ],
)
def test_mends_that_only_one_reading_of_the_pair_allows(x, y, mend):
    place = places(x, y)
    assert (place.longitude, place.latitude, place.mend) == (-70.1, 45.2, mend)


def test_what_no_mend_brings_inside_stays_as_written():
    place = places("-120.1", "35.2")
    assert (place.longitude, place.latitude, place.mend) == (-120.1, 35.2, "")


def test_a_longitude_that_is_west_by_rule_is_no_mend():
    assert places("70.1", "45.2", west=True).mend == ""
    assert places("70.1", "45.2", west=True).longitude == -70.1
    swapped = places("45.2", "70.1", west=True)
    assert (swapped.longitude, swapped.mend) == (-70.1, "swapped_coordinates")


def test_without_bounds_only_what_is_no_place_on_earth_is_mended():
    assert places("70.1", "45.2", bounds=None).mend == ""
    assert places("45.2", "-122.1", bounds=None).mend == "swapped_coordinates"


@pytest.mark.parametrize(
    ("x", "y", "metres"), [("-70.1", "45.2", 4259), ("-70.12", "45.2", 426), ("-70.123456", "45.2", 0.04)]
)
def test_few_digits_are_a_large_error(x, y, metres):
    # 0.3826 of a step of 0.1, 0.01 and 0.000001 degree of 111.32 km
    assert places(x, y).error_m == pytest.approx(metres, rel=0.07)


def test_mean_distance_in_a_square_by_counting():
    rng = np.random.default_rng(0)
    points = rng.uniform(-0.5, 0.5, (400_000, 2))
    assert np.hypot(*points.T).mean() == pytest.approx(MEAN_DISTANCE_IN_SQUARE, abs=0.001)


def test_the_errors_of_the_land_grid_are_those_of_the_trade():
    # A section centroid is off by some 600 m, a quarter-quarter by 150 m (common practice)
    assert METHOD_ERRORS_M["section"] == pytest.approx(600, rel=0.05)
    assert METHOD_ERRORS_M["quarter_quarter"] == pytest.approx(150, rel=0.05)
    assert set(METHOD_ERRORS_M) == set(POSITION_METHODS)


def test_nad27_is_some_tens_of_metres_off():
    # USGS FAQ: the shift from NAD 27 to NAD 83 is 10 to 100 m in latitude and longitude, about 200 m in UTM (read)
    longitude, latitude, accuracy = to_wgs84(np.array([-70.0]), np.array([45.2]), "EPSG:4267", MAINE)
    north = (latitude[0] - 45.2) * 111_320
    east = (longitude[0] + 70.0) * 111_320 * math.cos(math.radians(45.2))
    assert 10 < math.hypot(north, east) < 100
    assert 0 < accuracy <= 20
    x27, y27, _ = to_wgs84(np.array([412_345.0]), np.array([5_012_345.0]), "EPSG:26719", MAINE)
    x83, y83, _ = to_wgs84(np.array([412_345.0]), np.array([5_012_345.0]), "EPSG:26919", MAINE)
    shift = math.hypot((y83 - y27)[0] * 111_320, (x83 - x27)[0] * 111_320 * math.cos(math.radians(45.2)))
    assert shift == pytest.approx(200, abs=40)


def test_wgs84_stays_as_it_is():
    longitude, latitude, accuracy = to_wgs84(np.array([-70.0]), np.array([45.2]), "EPSG:4326")
    assert (longitude[0], latitude[0], accuracy) == (-70.0, 45.2, 0.0)


@settings(deadline=None, max_examples=30)
@given(
    st.floats(-70.2, -69.9),
    st.floats(45.15, 45.45),
    st.sampled_from(["EPSG:26919", "EPSG:26719", "EPSG:32619", "EPSG:4267"]),
)
def test_a_place_written_in_any_system_comes_back_within_the_stated_accuracy(longitude, latitude, crs):
    from pyproj import Transformer

    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(longitude, latitude)
    back_x, back_y, accuracy = to_wgs84(np.array([x]), np.array([y]), crs, MAINE)
    off = math.hypot(
        (back_y[0] - latitude) * 111_320, (back_x[0] - longitude) * 111_320 * math.cos(math.radians(latitude))
    )
    assert off <= 2 * accuracy + 0.01


@pytest.mark.parametrize(
    ("zone", "datum", "crs"),
    [("19", "NAD83", "EPSG:26919"), ("19.0", "NAD83", "EPSG:26919"), ("019", "NAD83", "EPSG:26919"),
     ("19N", "WGS84", "EPSG:32619"), ("UTM zone 19T", "NAD27", "EPSG:26719"),
     ("19 K", "WGS84", "EPSG:32719"), ("61", "WGS84", None), ("", "NAD83", None), ("55", "NAD27", None)],
)  # fmt: skip
def test_zones(zone, datum, crs):
    assert utm_crs(zone, datum) == crs


def test_verdicts():
    longitude = np.array([-70.0001, np.nan, 0.0, -70.0, -70.1, -71.0001, -70.25])
    latitude = np.array([45.2, 45.2, 45.2, 45.0, 95.0, 45.2, 45.15])
    land = gpd.GeoDataFrame(geometry=[box(-70.2, 45.1, -69.9, 45.4)], crs="EPSG:4326").to_crs("EPSG:26919")
    assert judge_places(longitude, latitude, MAINE, land).tolist() == [
        None,
        "unreadable_position",
        "zero_coordinates",
        "round_degree_dummy",
        "unreadable_position",
        "outside_region",
        "outside_outline",
    ]
