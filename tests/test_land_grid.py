"""Section, township and range, quarter calls, parcels."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box
from shapely.affinity import rotate

from wellrecords.errors import ProblemsError
from wellrecords.land_grid import (
    parcel_key,
    parse_quarter,
    read_parcels,
    read_sections,
    section_key,
    section_keys,
    section_places,
    township_key,
)

MILE = 1609.344


def sections(angle: float = 0.0) -> gpd.GeoDataFrame:
    shapes = [rotate(box(MILE * i, 0, MILE * (i + 1), MILE), angle, origin=(0, 0)) for i in range(3)]
    table = {"TWP": ["T02N"] * 3, "RNG": ["R 3 E"] * 3, "SEC": [14, 15, 15]}
    frame = gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:26919")
    return frame.set_geometry(frame.geometry.translate(410_000, 5_010_000))


@pytest.mark.parametrize(
    ("text", "key"),
    [("T2N", "2N"), ("02N", "2N"), ("T. 2 North", "2N"), ("R3E", "3E"), ("5W", "5W"), ("Rge 5 W", "5W"),
     ("T 2 1/2 S", "2.5S"), ("T2", None), ("x", None)],
)  # fmt: skip
def test_township_keys(text, key):
    assert township_key(text) == key


@pytest.mark.parametrize(
    ("text", "key"),
    [("9", "9"), ("09", "9"), ("Sec. 9", "9"), ("S14", "14"), ("0", None), ("NE", None), ("14.0", "14")],
)
def test_section_numbers(text, key):
    assert section_key(text) == key


@pytest.mark.parametrize(
    ("text", "box_", "method"),
    [
        ("", (0, 1, 0, 1), "section"),
        ("NE", (0.5, 1, 0.5, 1), "quarter"),
        ("SW1/4", (0, 0.5, 0, 0.5), "quarter"),
        ("NE¼ of SW¼", (0.25, 0.5, 0.25, 0.5), "quarter_quarter"),
        ("NESW", (0.25, 0.5, 0.25, 0.5), "quarter_quarter"),
        ("SE/4, NW/4", (0.25, 0.5, 0.5, 0.75), "quarter_quarter"),
        ("N1/2 SE", (0.5, 1, 0.25, 0.5), "quarter"),
        ("NW-SE", (0.5, 0.75, 0.25, 0.5), "quarter_quarter"),
        ("northeast of the south west quarter", (0.25, 0.5, 0.25, 0.5), "quarter_quarter"),
        ("SE SE NW", (0.375, 0.5, 0.5, 0.625), "quarter_quarter"),
    ],
)
def test_quarter_calls(text, box_, method):
    quarter = parse_quarter(text)
    assert (quarter.west, quarter.east, quarter.south, quarter.north) == box_
    assert quarter.method == method


@pytest.mark.parametrize("text", ["XX", "NE of town", "12"])
def test_texts_that_are_no_quarter_calls(text):
    assert parse_quarter(text) is None


@given(st.lists(st.sampled_from(["NE", "NW", "SE", "SW"]), min_size=1, max_size=4))
def test_each_quarter_halves_the_sides_and_lies_in_the_larger_one(calls):
    whole, part = parse_quarter(" ".join(calls[1:])), parse_quarter(" ".join(calls))
    assert part.east - part.west == pytest.approx((whole.east - whole.west) / 2)
    assert whole.west <= part.west < part.east <= whole.east
    assert whole.south <= part.south < part.north <= whole.north


@pytest.mark.parametrize("angle", [0.0, 2.0, -5.0])
def test_the_centre_of_a_section_and_of_its_parts(angle):
    layer = read_sections(sections(angle))
    keys = section_keys(pd.Series(["2N"] * 4), pd.Series(["3E"] * 4), pd.Series(["14", "14", "14", "20"]))
    found = section_places(keys, pd.Series(["", "NE", "NE SW", ""]), layer)
    shares = [(0.5, 0.5), (0.75, 0.75), (0.375, 0.375)]
    turn = math.radians(angle)
    for row, (u, v) in zip(found.itertuples(), shares, strict=False):
        x, y = MILE * u, MILE * v
        east, north = x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)
        true = (
            gpd.GeoSeries.from_xy([410_000 + east], [5_010_000 + north], crs="EPSG:26919").to_crs("EPSG:4326").iloc[0]
        )
        off = math.hypot(
            (row.latitude - true.y) * 111_320, (row.longitude - true.x) * 111_320 * math.cos(math.radians(true.y))
        )
        assert off < 2.0
    assert found["method"].tolist()[:3] == ["section", "quarter", "quarter_quarter"]
    # 616, 308 and 154 m: 0.3826 of a side of 1,609 m, 805 m and 402 m
    assert found["error_m"].tolist()[:3] == pytest.approx([616, 308, 154], rel=0.01)
    assert np.isnan(found["longitude"].iloc[3])


def test_a_section_that_stands_twice_says_nothing():
    assert read_sections(sections()).index.tolist() == ["2N 3E 14"]


def test_a_layer_without_columns_or_coordinate_system_is_refused():
    with pytest.raises(ProblemsError, match="no column for the township"):
        read_sections(sections().rename(columns={"TWP": "where"}))
    with pytest.raises(ProblemsError, match="coordinate system"):
        read_sections(gpd.GeoDataFrame({"TWP": ["1N"], "RNG": ["1E"], "SEC": [1]}, geometry=[box(0, 0, 1, 1)]))


def test_meridians_tell_sections_of_one_number_apart():
    frame = sections().iloc[:2].assign(SEC=14, MERIDIAN=["Mount Diablo", "Humboldt"])
    layer = read_sections(frame)
    assert layer.index.tolist() == ["2N 3E 14 mount diablo", "2N 3E 14 humboldt"]
    parts = [pd.Series([text] * 3) for text in ("2N", "3E", "14")]
    keys = section_keys(*parts, pd.Series(["HUMBOLDT", "Mount  Diablo", ""]))
    found = section_places(keys, pd.Series([""] * 3), layer)
    assert found["longitude"].iloc[0] > found["longitude"].iloc[1]  # the second square lies east of the first
    assert np.isnan(found["longitude"].iloc[2])  # without a meridian it could be either


def test_parcels():
    layer = gpd.GeoDataFrame(
        {"MAP_LOT": ["012-0034", "7-1", "7-1"]},
        geometry=[box(410_000, 5_010_000, 410_100, 5_010_100), box(0, 0, 1, 1), box(0, 0, 1, 1)],
        crs="EPSG:26919",
    )
    parcels = read_parcels(layer)
    assert parcels.index.tolist() == [parcel_key("12 / 34")]
    assert parcels["area_m2"].iloc[0] == pytest.approx(10_000, rel=0.01)
