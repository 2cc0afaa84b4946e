"""Layers and water zones, out of words and out of companion files."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.cleaning.convert import convert_source
from wellrecords.cleaning.parts import parse_layers, parse_zones
from wellrecords.errors import ProblemsError
from wellrecords.sources import read_source
from wellrecords.sources.layout import parse_layout

LAYOUT = """
name = "s"
[text]
source_record_id = { from = "No" }
[readings.total_depth_ft]
from = "Depth"
zero = "unknown"
[[positions]]
kind = "degrees"
x = ["Lon"]
y = ["Lat"]
"""
IN_TEXT = LAYOUT + '[layers]\ntext_from = ["Log"]\n[water_zones]\ntext_from = ["Water"]\n'
IN_FILES = (
    LAYOUT
    + """
[layers]
file = "{stem}_layers.csv"
key = ["No"]
top = ["From"]
bottom = ["To"]
material = ["What"]
unit = "m"
[water_zones]
file = "zones.csv"
key = ["Well"]
depth = ["Depth"]
amount = ["Rate"]
flow_unit = "L/min"
optional = true
"""
)


@pytest.mark.parametrize(
    ("text", "layers"),
    [
        ("0-12 brn clay & bldrs; 12-305 gry granite", [("0", "12", "brn clay & bldrs"), ("12", "305", "gry granite")]),
        ("0 to 12 clay\n12 to 90' rock, hard", [("0", "12", "clay"), ("12", "90'", "rock, hard")]),
        ("0'-12': clay, 12'-30': sand and gravel", [("0'", "12'", "clay"), ("12'", "30'", "sand and gravel")]),
        ("0-2.5 top soil | 2.5-12 till", [("0", "2.5", "top soil"), ("2.5", "12", "till")]),
        (
            "0-20 med sand; 20-23 feldspar; 23-30 m clay",
            [("0", "20", "med sand"), ("20", "23", "feldspar"), ("23", "30 m", "clay")],
        ),
        ("0-4 ft. fill; 4-9 footing stone", [("0", "4 ft.", "fill"), ("4", "9", "footing stone")]),
        ("clay over rock", None),
        ("0-12", None),
    ],
)
def test_layers_in_words(text, layers):
    assert parse_layers(text) == layers


@pytest.mark.parametrize(
    ("text", "zones"),
    [
        ("120' 2gpm, 210' 4 gpm", [("120'", "2gpm"), ("210'", "4 gpm")]),
        ("120 ft - 2 gpm; 210 ft - 4 gpm", [("120 ft", "2 gpm"), ("210 ft", "4 gpm")]),
        ("120'-2gpm", [("120'", "2gpm")]),
        ("at 85 (1/2 gpm)", [("85", "1/2 gpm")]),
        ("85 @ 1 gpm and 140 @ 3 gpm", [("85", "1 gpm"), ("140", "3 gpm")]),
        ("120'", [("120'", "")]),
        ("85-90: 2 gpm", [("85-90", "2 gpm")]),
        ("none", []),
        ("dry", []),
        ("some at the bottom", None),
    ],
)
def test_zones_in_words(text, zones):
    assert parse_zones(text) == zones


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 900), st.decimals(min_value="0.1", max_value=50, places=1)), min_size=1, max_size=5
    )
)
def test_zones_written_in_any_number_come_back(zones):
    text = ", ".join(f"{depth}' {amount} gpm" for depth, amount in zones)
    assert parse_zones(text) == [(f"{depth}'", f"{amount} gpm") for depth, amount in zones]


@settings(deadline=None)
@given(st.text(max_size=30))
def test_no_text_breaks_them(text):
    assert parse_layers(text) is None or parse_layers(text)
    parse_zones(text)


def convert(tmp_path, layout, rows, **files):
    (tmp_path / "wells.csv").write_text("No,Depth,Lon,Lat,Log,Water\n" + rows)
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
    read = parse_layout(layout)
    return convert_source(read_source(tmp_path / "wells.csv", read), read)


def test_parts_in_text_become_child_tables_of_the_wells_that_are_kept(tmp_path):
    rows = (
        "1,305,-70.12345,45.2,0-12 clay; 12-305 granite,\"120' 2gpm, 210' trace\"\n"
        "2,100,,,0-100 clay,50' 1 gpm\n"
        "3,100,-70.12345,45.3,clay over rock,none\n"
        "4,100,-70.12345,45.3,5-5 clay; 5-9 sand,85-90: 2 gpm\n"
    )
    converted = convert(tmp_path, IN_TEXT, rows)
    layers = converted.layers
    assert layers[["record_id", "from_ft", "to_ft", "material"]].to_numpy().tolist() == [
        ["s:1", 0.0, 12.0, "clay"],
        ["s:1", 12.0, 305.0, "granite"],
        ["s:4", 5.0, 9.0, "sand"],
    ]
    zones = converted.water_zones
    assert zones["record_id"].tolist() == ["s:1", "s:1", "s:4"]
    assert zones["depth_ft"].tolist() == [120.0, 210.0, 87.5]
    assert zones["yield_gpm_low"].tolist()[::2] == [2.0, 2.0]
    assert np.isnan(zones["yield_gpm_high"].iloc[1])  # a trace: a zone was met, its amount is not known
    unreadable = converted.changes[converted.changes["rule"] == "unreadable_as_unknown"]
    assert unreadable[["record_id", "column", "before"]].to_numpy().tolist() == [["s:3", "layers", "clay over rock"]]
    assert any("1 layer without thickness" in note for note in converted.notes)


def test_companion_files(tmp_path):
    rows = "1,305,-70.12345,45.2,,\n2,100,,,,\n3,90,-70.2345,45.3,,\n3,80,-70.2345,45.3,,\n"
    layers = "No,From,To,What\n1,0,3.048,clay\n1,3.048,30.48,granite\n2,0,9,clay\n9,0,9,clay\n3,0,1,till\n"
    layers += "1,9,5,upside down\n"
    zones = "Well,Depth,Rate\n1,120,37.85411784\n1,0,3\n3,50,lots\n"
    converted = convert(tmp_path, IN_FILES, rows, wells_layers=layers, zones=zones)
    assert converted.layers.groupby("record_id", sort=False).size().tolist()[0] == 2
    assert converted.layers["to_ft"].tolist()[:2] == pytest.approx([10.0, 100.0])
    assert len(converted.layers) == 4  # the layers of number 3 go with both of its rows
    assert converted.water_zones["yield_gpm_low"].tolist() == pytest.approx([10.0])
    assert converted.parts_rows_read == {"layers": 6, "water_zones": 3}
    held = converted.parts_held_back
    assert sorted(zip(held["file"], held["file_row"], held["reason"], strict=True)) == [
        ("wells_layers.csv", 4, "well_held_back"),
        ("wells_layers.csv", 5, "no_such_well"),
        ("wells_layers.csv", 7, "unreadable_layer"),
        ("zones.csv", 3, "unreadable_zone"),
        ("zones.csv", 4, "unreadable_zone"),
    ]
    assert json.loads(held["original"].iloc[0])
    assert converted.rows_read == len(converted.wells) + len(converted.held_back) == 4


def test_an_optional_companion_may_be_missing_and_any_other_may_not(tmp_path):
    rows = "1,305,-70.12345,45.2,,\n"
    layers = "No,From,To,What\n1,0,3,clay\n"
    converted = convert(tmp_path, IN_FILES, rows, wells_layers=layers)
    assert converted.parts_rows_read == {"layers": 1}
    assert converted.water_zones.empty
    (tmp_path / "wells_layers.csv").unlink()
    with pytest.raises(Exception, match="wells_layers"):
        convert(tmp_path, IN_FILES, rows)


def test_a_companion_without_its_columns_is_a_problem(tmp_path):
    with pytest.raises(ProblemsError, match="no column for material"):
        convert(tmp_path, IN_FILES, "1,305,-70.12345,45.2,,\n", wells_layers="No,From,To,Colour\n1,0,3,red\n")
