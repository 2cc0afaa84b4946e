"""Raw rows to canonical rows: nothing lost, every change written down."""

from __future__ import annotations

import datetime as dt
import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import box

from wellrecords.cleaning.convert import Converted, convert_source
from wellrecords.errors import ProblemsError
from wellrecords.land_grid import LandLayers, read_parcels, read_sections
from wellrecords.ledger import CHANGE_COLUMNS, HELD_BACK_COLUMNS, check_rows
from wellrecords.schema import WELL_COLUMNS, as_wells, check_wells
from wellrecords.sources import load_layout, read_source
from wellrecords.sources.layout import parse_layout
from wellrecords.sources.raw import RawTable

BOUNDS = (-70.3, 45.0, -69.6, 45.5)
TODAY = dt.date(2026, 1, 1)
LAYOUT = """
name = "state"
not_used = ["Remark"]
[text]
source_record_id = { from = "No" }
permit = { from = "Permit", optional = true }
owner = { from = "Owner", optional = true }
[dates.drilled_on]
from = ["Date"]
formats = ["%m/%d/%Y", "%m/%d/%y", "%B %Y", "%Y"]
mend_formats = ["%d%m%Y", "spreadsheet_days"]
missing = ["01/01/9999"]
[codes.record_kind]
from = "Kind"
canonical = { new = ["N"], deepened = ["D"], abandoned = ["S"] }
mend = { NN = "new" }
ignore = ["?"]
hold_back = ["G"]
[codes.hydrofractured]
from = "Frac"
canonical = { yes = ["Y"], no = ["N"] }
[codes.yield_method]
from = "How"
canonical = { pumping_test = ["P"], air_lift = ["A"] }
[readings.total_depth_ft]
from = "Depth"
zero = "unknown"
[readings.casing_depth_ft]
from = "Casing"
zero = "value"
unreadable = "unknown"
[readings.depth_to_bedrock_ft]
from = "Rock"
zero = "value"
words = { NE = "not_reached" }
[readings.depth_to_water_ft]
from = "Level"
zero = "flowing"
[readings.yield_gpm]
from = "Rate"
unit_from = ["Unit"]
unit = "gpm"
zero = "dry"
at_least_methods = ["pumping_test"]
[[positions]]
kind = "degrees"
x = ["Lon"]
y = ["Lat"]
error_m = 10
[[positions]]
kind = "land_grid"
township = ["T"]
range = ["R"]
section = ["S"]
quarter = ["Q"]
optional = true
"""
SOUND = {
    "No": "1", "Date": "06/14/1987", "Kind": "N", "Frac": "N", "How": "A", "Depth": "300", "Casing": "40", "Rock": "20",
    "Level": "15", "Rate": "4", "Unit": "", "Lon": "-70.123456", "Lat": "45.212345", "T": "", "R": "", "S": "", "Q": "",
}  # fmt: skip


def raw_of(*rows: dict[str, str]) -> RawTable:
    numbered = [{**SOUND, "No": str(number), **row} for number, row in enumerate(rows, 1)]
    table = pd.DataFrame(numbered).fillna("").astype("str")
    return RawTable(table=table, file_row=np.arange(2, 2 + len(table)), file="wells.csv")


def convert(*rows: dict[str, str], layout: str = LAYOUT, **more) -> Converted:
    more = {"bounds": BOUNDS, "today": TODAY, **more}
    return convert_source(raw_of(*rows), parse_layout(layout), **more)


def well(**row: str) -> pd.Series:
    converted = convert(row)
    assert len(converted.wells) == 1, converted.held_back["why"].tolist()
    return converted.wells.iloc[0]


def change(converted: Converted, column: str) -> pd.Series:
    rows = converted.changes[converted.changes["column"] == column]
    assert len(rows) == 1, converted.changes
    return rows.iloc[0]


def test_a_sound_row_is_kept_unchanged_and_fits_the_contract():
    converted = convert({})
    check_wells(as_wells(converted.wells))
    assert list(converted.wells.columns)[: len(WELL_COLUMNS)] == list(WELL_COLUMNS)
    row = converted.wells.iloc[0]
    assert (row["record_id"], row["source"], row["file_row"]) == ("state:1", "state", 2)
    assert (row["total_depth_ft"], row["yield_gpm_low"], row["yield_gpm_high"]) == (300.0, 4.0, 4.0)
    assert row["drilled_on"] == pd.Timestamp("1987-06-14")
    assert bool(row["hydrofractured"]) is False
    assert row["position_error_m"] == pytest.approx(10.0, abs=0.01)
    assert converted.changes.empty
    assert converted.held_back.empty


# --- readings --------------------------------------------------------------------------------------------


def test_censored_readings_become_intervals_and_are_written_down():
    converted = convert({"Rate": "<0.5"}, {"Rate": "100+"}, {"Rate": "1 to 5"})
    assert converted.wells["yield_gpm_low"].tolist() == [0.0, 100.0, 1.0]
    assert converted.wells["yield_gpm_high"].tolist() == [0.5, np.inf, 5.0]
    assert converted.changes["before"].tolist() == ["<0.5", "100+", "1 to 5"]
    assert converted.changes["after"].tolist() == ["0 to 0.5", "100 or more", "1 to 5"]
    assert converted.changes["rule"].tolist() == ["below", "at_least", "range"]
    assert list(converted.changes.columns) == list(CHANGE_COLUMNS)


def test_dry_is_less_than_the_smallest_yield_of_the_source():
    converted = convert({"Rate": "dry"}, {"Rate": "0"}, {"Rate": "trace"}, {"Rate": "0.25"}, {"Rate": "7"})
    assert converted.wells["yield_gpm_low"].tolist()[:3] == [0.0, 0.0, 0.0]
    assert converted.wells["yield_gpm_high"].tolist()[:3] == [0.25, 0.25, 0.25]
    assert convert({"Rate": "dry"}, {"Rate": "7"}, smallest_yield_gpm=0.1).wells["yield_gpm_high"].iloc[0] == 0.1


def test_a_held_back_row_does_not_set_the_smallest_yield():
    converted = convert({"Rate": "dry"}, {"Rate": "0.01", "Lon": "", "Lat": ""}, {"Rate": "0.3"})
    assert converted.wells["yield_gpm_high"].iloc[0] == 0.3


def test_a_dry_hole_is_never_taken_for_a_usable_well_however_few_wells_report():
    """The weakest of a few wells may make 3 gpm; a hole that makes 2 is not called dry."""
    converted = convert({"Rate": "dry"}, {"Rate": "3"}, {"Rate": "8"})
    assert converted.wells["yield_gpm_high"].tolist() == [0.5, 3.0, 8.0]
    assert change(converted, "yield_gpm")["after"] == "0 to 0.5"
    assert any("between 0 and half a gallon a minute, 0.5 gpm" in note for note in converted.notes)


def test_a_dry_hole_where_nobody_reports_a_yield_stays_unknown_and_says_so():
    converted = convert({"Rate": "dry"})
    assert np.isnan(converted.wells["yield_gpm_low"].iloc[0])
    assert np.isnan(converted.wells["yield_gpm_high"].iloc[0])
    assert change(converted, "yield_gpm")["before"] == "dry"
    assert any("nobody reports a yield" in note for note in converted.notes)


def test_rock_that_was_not_met_lies_below_the_hole():
    row = well(Rock="NE", Depth="90")
    assert (row["depth_to_bedrock_ft_low"], row["depth_to_bedrock_ft_high"]) == (90.0, np.inf)
    row = well(Rock="no rock to 80", Depth="90")
    assert (row["depth_to_bedrock_ft_low"], row["depth_to_bedrock_ft_high"]) == (80.0, np.inf)
    row = well(Rock="NE", Depth="")
    assert np.isnan(row["depth_to_bedrock_ft_low"])
    assert np.isnan(row["depth_to_bedrock_ft_high"])


def test_flowing_wells():
    row = well(Level="flowing")
    assert (row["depth_to_water_ft_low"], row["depth_to_water_ft_high"]) == (-np.inf, 0.0)
    row = well(Level="0")
    assert (row["depth_to_water_ft_low"], row["depth_to_water_ft_high"]) == (-np.inf, 0.0)
    row = well(Level="flows 3 gpm", Rate="", How="")
    assert (row["yield_gpm_low"], row["yield_gpm_high"], row["yield_method"]) == (3.0, 3.0, "flowing")
    row = well(Level="", Rate="flowing")
    assert (row["depth_to_water_ft_low"], row["depth_to_water_ft_high"]) == (-np.inf, 0.0)
    assert np.isnan(row["yield_gpm_low"])
    row = well(Level="12", Rate="flows 3 gpm")  # the figure of the level stands
    assert row["depth_to_water_ft_low"] == 12.0


def test_a_pumped_rate_is_a_least_yield_where_the_layout_says_so():
    row = well(Rate="12", How="P")
    assert (row["yield_gpm_low"], row["yield_gpm_high"]) == (12.0, np.inf)
    assert change(convert({"How": "P"}), "yield_gpm")["rule"] == "pumped"


def test_zero_means_what_the_layout_says():
    converted = convert({"Depth": "0", "Casing": "0"})
    assert np.isnan(converted.wells["total_depth_ft"].iloc[0])
    assert converted.wells["casing_depth_ft"].iloc[0] == 0.0
    row = change(converted, "total_depth_ft")
    assert (row["before"], row["rule"], row["after"] is pd.NA) == ("0", "zero_unknown", True)


def test_a_zero_of_which_the_layout_says_nothing_stops_the_run():
    layout = LAYOUT.replace('from = "Depth"\nzero = "unknown"', 'from = "Depth"')
    assert len(convert({}, layout=layout).wells) == 1
    with pytest.raises(ProblemsError, match="0 in 1 row, "):
        convert({}, {"Depth": "0"}, layout=layout)


@pytest.mark.parametrize("zero", ["", '\nzero = "unknown"'])
def test_rock_that_crops_out_is_at_0_ft_whatever_a_figure_of_0_means(zero):
    layout = LAYOUT.replace('from = "Rock"\nzero = "value"', f'from = "Rock"{zero}')
    assert convert({"Rock": "outcrop"}, layout=layout).wells["depth_to_bedrock_ft_high"].tolist() == [0.0]


def test_units_by_row():
    converted = convert({"Unit": "L/min", "Rate": "3.785411784"}, {"Unit": "GPM"}, {"Unit": "igpm", "Rate": "1"})
    assert converted.wells["yield_gpm_low"].tolist() == pytest.approx([1.0, 4.0, 1.20095], abs=1e-5)
    assert converted.changes.empty  # a rule of the layout, noted once and not row by row
    assert sum("converted from L/min" in note for note in converted.notes) == 1


def test_a_point_column_takes_the_end_or_the_middle_and_says_so():
    converted = convert({"Depth": "400+"}, {"Depth": "100 to 200"}, {"Depth": "<60"})
    assert converted.wells["total_depth_ft"].tolist() == [400.0, 150.0, 60.0]
    assert converted.changes["rule"].tolist() == ["at_least", "range", "below"]


def test_marks_beside_the_figure():
    layout = LAYOUT.replace(
        'zero = "dry"\n',
        'zero = "dry"\n'
        'mark_from = ["Mark"]\nmarks = { L = "<", G = ">", D = "dry", F = "flowing", E = "~", X = "unknown" }\n',
    )
    rows = [
        {"Mark": mark, "Rate": rate, "Level": ""}
        for mark, rate in (("L", "2"), ("G", "9"), ("D", ""), ("F", "3"), ("E", "4"), ("X", "4"), ("", "1"))
    ]
    converted = convert(*rows, layout=layout)
    low, high = converted.wells["yield_gpm_low"].tolist(), converted.wells["yield_gpm_high"].tolist()
    assert low[:5] == [0.0, 9.0, 0.0, 3.0, 4.0]
    assert high[:5] == [2.0, np.inf, 0.5, 3.0, 4.0]
    assert np.isnan(low[5])
    assert converted.wells["depth_to_water_ft_high"].iloc[3] == 0.0
    with pytest.raises(ProblemsError, match="unknown mark in 1 row"):
        convert({"Mark": "Q", "Rate": "3"}, layout=layout)


def test_what_cannot_be_read_is_held_back_with_its_text_or_set_to_unknown():
    converted = convert({"Depth": "3O5", "Level": "deep"}, {"Casing": "lots"})
    held = converted.held_back.iloc[0]
    assert list(converted.held_back.columns) == list(HELD_BACK_COLUMNS)
    assert (held["reason"], held["file_row"], held["file"]) == ("unreadable_reading", 2, "wells.csv")
    assert "3O5" in held["why"]
    assert "deep" in held["why"]
    assert json.loads(held["original"])["Depth"] == "3O5"
    assert change(converted, "casing_depth_ft")["before"] == "lots"
    assert converted.changes["record_id"].tolist() == ["state:2"]  # a held-back row has no changes


# --- codes and dates -------------------------------------------------------------------------------------


def test_codes():
    converted = convert(
        {"Kind": "N"}, {"Kind": "n"}, {"Kind": "NN"}, {"Kind": "?"}, {"Kind": ""}, {"Kind": "S"}, {"Kind": "G"}
    )
    assert converted.wells["record_kind"].tolist() == ["new"] * 5 + ["abandoned"]
    assert converted.changes["rule"].tolist().count("mended_code") == 1
    assert set(converted.changes["rule"]) == {"mended_code", "ignored_code", "letter_case"}
    assert converted.held_back["reason"].tolist() == ["not_a_well"]


def test_unknown_codes_stop_the_run_with_spelling_count_and_place():
    with pytest.raises(ProblemsError) as caught:
        convert({"Kind": "Z"}, {}, {"Kind": "Z", "Frac": "maybe"}, {"Unit": "buckets"})
    problems = {problem.value: problem for problem in caught.value.problems}
    assert set(problems) == {"Z", "maybe", "buckets"}
    assert "2 rows" in problems["Z"].what
    assert (problems["Z"].row, problems["Z"].column, problems["Z"].file) == (2, "Kind", "wells.csv")
    assert "codes.record_kind" in problems["Z"].next_step


@pytest.mark.parametrize(("spelling", "hinted"), [('"Z', True), ('Z"', True), ('"Z"', False), ("Z", False)])
def test_a_lone_quote_in_an_unknown_code_is_pointed_at(spelling, hinted):
    with pytest.raises(ProblemsError) as caught:
        convert({}, {"Kind": spelling})
    next_step = caught.value.problems[0].next_step
    assert ("the file may hold a stray quote at row 3" in next_step) is hinted


def test_every_missing_column_is_named_at_once():
    raw = raw_of({})
    raw = RawTable(raw.table.drop(columns=["Depth", "Lat", "Kind"]), raw.file_row, raw.file)
    with pytest.raises(ProblemsError) as caught:
        convert_source(raw, parse_layout(LAYOUT))
    assert [problem.code for problem in caught.value.problems] == ["missing_column"] * 3


@pytest.mark.parametrize(
    ("text", "date", "rule"),
    [
        ("06/14/1987", "1987-06-14", None),
        ("6/14/87", "1987-06-14", None),
        ("6/14/27", "1927-06-14", None),  # 2027 is in the future
        ("6/14/21", "2021-06-14", None),
        ("June 1987", "1987-06-01", "date_not_to_the_day"),
        ("1987", "1987-01-01", "date_not_to_the_day"),
        ("30051969", "1969-05-30", "mended_date"),
        ("31942", "1987-06-14", "mended_date"),
        ("01/01/9999", None, "unknown_date"),
        ("13/45/1990", None, "unreadable_date"),
        ("about 1990", None, "unreadable_date"),
        ("01/02/1085", "1085-01-02", None),  # for the rules of plausibility to judge
        ("", None, None),
    ],
)
def test_dates(text, date, rule):
    converted = convert({"Date": text})
    drilled = converted.wells["drilled_on"].iloc[0]
    assert drilled is pd.NaT if date is None else drilled == pd.Timestamp(date)
    assert converted.changes["rule"].tolist() == ([rule] if rule else [])


def test_dates_in_three_columns():
    layout = LAYOUT.replace(
        'from = ["Date"]\nformats = ["%m/%d/%Y", "%m/%d/%y", "%B %Y", "%Y"]\n',
        'year = ["Y"]\nmonth = ["M"]\nday = ["D"]\n',
    )
    layout = layout.replace('missing = ["01/01/9999"]', "")
    parts = [
        ("1987", "6", "14"),
        ("1987.0", "6.0", "4.0"),
        ("1987", "6", ""),
        ("1987", "", ""),
        ("9999", "1", "1"),
        ("908", "1", "1"),
        ("1987", "2", "30"),
    ]
    converted = convert(*({"Y": y, "M": m, "D": d} for y, m, d in parts), layout=layout)
    written = np.datetime_as_string(converted.wells["drilled_on"].to_numpy(), unit="D").tolist()
    assert written == ["1987-06-14", "1987-06-04", "1987-06-01", "1987-01-01", "9999-01-01", "0908-01-01", "NaT"]


# --- places ----------------------------------------------------------------------------------------------


def test_places_that_cannot_stand_are_held_back_each_for_its_reason():
    converted = convert(
        {"Lon": "", "Lat": ""},
        {"Lat": ""},
        {"Lon": "0", "Lat": "0"},
        {"Lon": "-70", "Lat": "45"},
        {"Lon": "-80.5", "Lat": "40.5"},
        {"Lon": "north of town"},
        {},
    )
    assert converted.held_back["reason"].tolist() == [
        "no_position",
        "no_position",
        "zero_coordinates",
        "round_degree_dummy",
        "outside_region",
        "unreadable_position",
    ]
    assert len(converted.wells) == 1


def test_mended_places_are_written_down():
    converted = convert({"Lon": "70.123456"}, {"Lon": "45.212345", "Lat": "-70.123456"})
    assert converted.wells["longitude"].tolist() == [-70.123456] * 2
    assert converted.changes["rule"].tolist() == ["unsigned_longitude", "swapped_coordinates"]
    assert converted.changes["before"].tolist()[0] == "45.212345, 70.123456"
    assert converted.changes["after"].tolist() == ["45.212345, -70.123456"] * 2


def test_truncated_coordinates_have_a_larger_error():
    assert well(Lon="-70.12", Lat="45.21")["position_error_m"] == pytest.approx(426, rel=0.01)


def land() -> LandLayers:
    sections = gpd.GeoDataFrame(
        {"twp": ["T2N"], "rng": ["R3E"], "sec": ["14"]},
        geometry=[box(412_000, 5_010_000, 412_000 + 1609.344, 5_010_000 + 1609.344)],
        crs="EPSG:26919",
    )
    parcels = gpd.GeoDataFrame(
        {"parcel": ["12-34"]}, geometry=[box(412_000, 5_010_000, 412_100, 5_010_100)], crs="EPSG:26919"
    )
    return LandLayers(read_sections(sections), read_parcels(parcels))


def test_section_township_and_range_where_there_are_no_coordinates():
    here = {"Lon": "", "Lat": "", "T": "2N", "R": "3E"}
    converted = convert({**here, "S": "14"}, {**here, "S": "14", "Q": "NE SW"}, {**here, "S": "15"}, land=land())
    assert converted.wells["position_method"].tolist() == ["section", "quarter_quarter"]
    assert converted.wells["position_error_m"].tolist() == pytest.approx([616, 154], rel=0.01)
    assert converted.held_back["reason"].tolist() == ["no_position"]
    without = convert({**here, "S": "14"})
    assert without.held_back["reason"].tolist() == ["no_position"]
    assert any("no section layer" in note for note in without.notes)


def test_a_quarter_call_that_cannot_be_read_leaves_the_section():
    here = {"Lon": "", "Lat": "", "T": "2", "R": "3", "S": "14", "Q": "center", "TD": "N", "RD": "E"}
    sides = 'range = ["R"]\ntownship_side = ["TD"]\nrange_side = ["RD"]'
    converted = convert(here, layout=LAYOUT.replace('range = ["R"]', sides), land=land())
    assert converted.wells["position_method"].tolist() == ["section"]
    assert converted.changes[["rule", "before"]].to_numpy().tolist() == [
        ["unreadable_quarter", "T 2N R 3E S 14 center"]
    ]


def test_utm_by_zone_and_datum_and_parcels():
    layout = (
        LAYOUT[: LAYOUT.index("[[positions]]")]
        + """
[[positions]]
kind = "utm"
x = ["E"]
y = ["N"]
zone = ["Zone"]
datum = "NAD83"
datum_from = ["Datum"]
datums = { "old" = "NAD27" }
method = "map"
[[positions]]
kind = "parcel"
parcel = ["Lot"]
"""
    )
    here = {"E": "412345", "N": "5012345", "Zone": "19", "Datum": "", "Lot": ""}
    rows = [here, {**here, "Datum": "old"}, {**here, "E": "5012345", "N": "412345"}, {**here, "E": "0", "N": "0"}]
    rows += [{**here, "E": "", "N": "", "Lot": "012-0034"}, {**here, "Zone": ""}]
    converted = convert(*rows, layout=layout, land=land())
    wells = converted.wells
    metres = (wells["latitude"].iloc[1] - wells["latitude"].iloc[0]) * 111_320
    assert metres == pytest.approx(220, abs=20)  # NAD27 northings are some 220 m short here
    assert wells["longitude"].iloc[2] == wells["longitude"].iloc[0]
    assert wells["position_method"].tolist() == ["map", "map", "map", "parcel"]
    assert wells["position_error_m"].iloc[1] > wells["position_error_m"].iloc[0] >= 60.0
    assert converted.held_back["reason"].tolist() == ["zero_coordinates", "unreadable_position"]
    assert converted.changes["rule"].tolist() == ["swapped_coordinates"]
    with pytest.raises(ProblemsError, match="unknown datum"):
        convert({**here, "Datum": "Bessel"}, layout=layout)


def test_one_column_of_latitude_and_longitude():
    layout = LAYOUT[: LAYOUT.index("[[positions]]")] + '[[positions]]\nkind = "degrees"\npair = ["Place"]\n'
    texts = ["45.212345, -70.123456", "(45.212345,-70.123456)", "45,212345; -70,123456", "45.212345 -70.123456"]
    texts += ["POINT (-70.123456 45.212345)", "45 12 44.442 N 70 07 24.4416 W", "45°12'44.442\"N 70°07'24.4416\"W"]
    texts += ["45-12-44.442 N / 70-07-24.4416 W", "", "by the church, north side, 2 miles"]
    converted = convert(*({"Place": text} for text in texts), layout=layout)
    assert converted.wells["longitude"].tolist() == pytest.approx([-70.123456] * 8)
    assert converted.wells["latitude"].tolist() == pytest.approx([45.212345] * 8)
    assert converted.held_back["reason"].tolist() == ["no_position", "unreadable_position"]


def test_places_off_the_land_are_held_back():
    dry_land = gpd.GeoDataFrame(geometry=[box(-70.2, 45.1, -70.0, 45.4)], crs="EPSG:4326")
    converted = convert({}, {"Lon": "-69.912345"}, outline=dry_land)
    assert converted.held_back["reason"].tolist() == ["outside_outline"]


def test_a_crowd_on_one_point_is_noted():
    layout = LAYOUT.replace("error_m = 10", 'error_m = 10\nmethod = "gps"')
    said = "12 places of method gps stand on 1 point of"
    assert any(said in note for note in convert(*[{}] * 12, layout=layout).notes)
    assert not any("stand on" in note for note in convert(*[{}] * 5, layout=layout).notes)


# --- ids, order, counts ----------------------------------------------------------------------------------


def test_ids_are_the_sources_own_and_copies_are_told_apart():
    converted = convert(
        {"No": "A"}, {"No": "B"}, {"No": "B"}, {"No": "C"}, {"No": "C", "Depth": "50"}, {"No": ""}, {"No": ""}
    )
    ids = converted.wells["record_id"].tolist()
    assert ids[:3] == ["state:A", "state:B", "state:B~2"]
    assert ids[3].startswith("state:C#")
    assert ids[4].startswith("state:C#")
    assert ids[5].startswith("state:#")
    assert ids[6] == ids[5] + "~2"
    assert len(set(ids)) == 7


texts = {
    "No": st.sampled_from(["", "1", "2", "3", "4"]),
    "Date": st.sampled_from(["", "06/14/1987", "1/1/70", "30051969", "junk", "1955"]),
    "Kind": st.sampled_from(["N", "D", "S", "NN", "?", "G", "", " n "]),
    "Frac": st.sampled_from(["Y", "N", ""]),
    "How": st.sampled_from(["P", "A", ""]),
    "Depth": st.sampled_from(["", "0", "12'6\"", "3O5", "9999", "300+", "45 m"]) | st.integers(1, 900).map(str),
    "Casing": st.sampled_from(["", "0", "40", "some"]),
    "Rock": st.sampled_from(["", "0", "NE", "no rock to 90", "20", "12 1/2", "granite"]),
    "Level": st.sampled_from(["", "0", "flowing", "flows 3 gpm", "-2", "15", "dry", "?"]),
    "Rate": st.sampled_from(["", "0", "dry", "trace", "<0.5", "100+", "1 to 5", "flows 2", "4", "-4", "3 L/s"]),
    "Unit": st.sampled_from(["", "gpm", "L/s"]),
    "Lon": st.sampled_from(["-70.123456", "70.123456", "-70", "0", "", "45.212345", "-80.1", "x"]),
    "Lat": st.sampled_from(["45.212345", "-70.123456", "45", "0", "", "45-12-33.2"]),
    "T": st.sampled_from(["", "2N"]),
    "R": st.sampled_from(["", "3E"]),
    "S": st.sampled_from(["", "14", "15"]),
    "Q": st.sampled_from(["", "NE"]),
}  # fmt: skip
files = st.lists(st.fixed_dictionaries(texts), min_size=1, max_size=15)
LAND = land()


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(files, st.randoms(use_true_random=False))
def test_nothing_is_lost_nothing_is_silent_and_order_does_not_matter(rows, random):
    raw = raw_of(*rows)
    layout = parse_layout(LAYOUT)
    one = convert_source(raw, layout, bounds=BOUNDS, land=LAND, today=TODAY)
    check_rows(len(rows), kept=len(one.wells), held_back=len(one.held_back))
    assert one.rows_read == len(rows)
    assert sorted([*one.wells["file_row"], *one.held_back["file_row"]]) == sorted(raw.file_row)
    check_wells(as_wells(one.wells))
    # what stands otherwise than it was written is in the ledger
    written = raw.table.set_index(raw.file_row)
    changed = set(zip(one.changes["file_row"], one.changes["column"], strict=True))
    for _, row in one.wells.iterrows():
        depth = written.loc[row["file_row"], "Depth"]
        if depth.isdigit() and depth not in ("0", "9999"):
            assert row["total_depth_ft"] == float(depth)
        elif depth:
            assert (row["file_row"], "total_depth_ft") in changed
        rate = written.loc[row["file_row"], "Rate"]
        own_unit = rate == "3 L/s" and written.loc[row["file_row"], "Unit"] == "L/s"  # nothing changed: noted once
        if not rate.isdigit() and rate and not own_unit:
            assert (row["file_row"], "yield_gpm") in changed
    # the same rows in another order give the same wells and the same ledger
    order = list(range(len(rows)))
    random.shuffle(order)
    shuffled = RawTable(raw.table.iloc[order].reset_index(drop=True), raw.file_row[order], raw.file)
    two = convert_source(shuffled, layout, bounds=BOUNDS, land=LAND, today=TODAY)
    for first, second, keys in (
        (one.wells, two.wells, ["record_id"]),
        (one.changes, two.changes, ["record_id", "column", "rule", "before"]),
        (one.held_back, two.held_back, ["reason", "why", "original"]),
    ):
        a, b = (t.drop(columns="file_row").sort_values(keys, ignore_index=True) for t in (first, second))
        pd.testing.assert_frame_equal(a, b)


def test_a_file_without_rows_gives_empty_tables():
    raw = raw_of({})
    empty = RawTable(raw.table.iloc[:0], raw.file_row[:0], raw.file)
    converted = convert_source(empty, parse_layout(LAYOUT), bounds=BOUNDS, land=LAND)
    assert converted.rows_read == len(converted.wells) == len(converted.held_back) == len(converted.changes) == 0
    check_wells(as_wells(converted.wells))


anything = st.text(max_size=10)
junk = st.fixed_dictionaries({name: anything for name in SOUND if name not in ("Kind", "Frac", "How", "Unit")})


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(junk, min_size=1, max_size=8))
def test_no_text_in_any_cell_breaks_a_run_or_loses_a_row(rows):
    rows = [{**row, "Lon": "-70.123456", "Lat": "45.212345"} if number % 2 else row for number, row in enumerate(rows)]
    converted = convert_source(raw_of(*rows), parse_layout(LAYOUT), bounds=BOUNDS, land=LAND, today=TODAY)
    check_rows(len(rows), kept=len(converted.wells), held_back=len(converted.held_back))
    check_wells(as_wells(converted.wells))


def test_conversion_does_not_touch_its_input():
    raw = raw_of({"Rate": "dry"}, {"Rate": "2"})
    before = raw.table.copy(deep=True)
    convert_source(raw, parse_layout(LAYOUT), bounds=BOUNDS)
    pd.testing.assert_frame_equal(raw.table, before)


def test_private_is_what_the_run_says_or_else_the_layout():
    assert not convert({}).wells["private"].iloc[0]
    assert convert({}, private=True).wells["private"].iloc[0]
    assert convert({}, layout="private = true\n" + LAYOUT).wells["private"].iloc[0]


def test_columns_that_nobody_knows_are_noted():
    assert any(
        "Colour" in note and "Remark" not in note
        for note in convert({"Colour": "red", "Remark": "x"}).notes
        if "left out" in note
    )


# --- layouts on files ------------------------------------------------------------------------------------

CALIFORNIA = """wcr_number,legacy_log_number,region_office,county,permit_agency,permit_date,use_type,record_type,lat,lon,method_latlon,latlon_accuracy,horizontal_datum,ground_surface_elev_ft,elev_accuracy,elev_method,vertical_datum,township,range,section,baseline_meridian,month,day,year,received_date,total_drill_depth_ft,total_completed_depth_ft,top_perforated_ft,bottom_perforated_ft,casing_diameter_in,drilling_method,drilling_fluid,static_water_level_ft,total_drawdown_ft,test_type,pump_test_length_h,well_yield,well_yield_unit,mtrs
X1,,,Anyshire,,,domestic,WellCompletion/New/Production or Monitoring/NA,41.512345,-122.412345,Derived from TRS,Centroid of Section,,,,,,43N,05W,10,Mount Diablo,10,31,2001,,,75.0,35.0,75.0,6.0,Direct Rotary,Air,,,,,65.0,GPM,M43N05W10
X2,,,Anyshire,,,missing,WellCompletion/Destruction/NA/NA,41.512345,-122.412345,,,,,,,,43N,05W,10,Mount Diablo,10,1,9999,,120.0,0.0,,,-99999.0,Other odd tool,,0.0,,Air Lift,1.0,0.0,GPM,M43N05W10
X3,,,Anyshire,,,agriculture,WellCompletion/New/Production or Monitoring/NA,41.6,-130.4,GPS,20 Ft,WGS84,2717,,,,43N,05W,10,Mount Diablo,10,1,1977,,,410.0,,,16.0,Cable Tool,,12.0,30.0,Pump,4.0,900.0,GPM,M43N05W10
"""  # noqa: E501


def test_the_california_layout_on_invented_rows(tmp_path):
    (tmp_path / "wells.csv").write_text(CALIFORNIA)
    layout = load_layout("california_wcr")
    converted = convert_source(read_source(tmp_path / "wells.csv", layout), layout, bounds=(-123.8, 40.9, -121.3, 42.1))
    check_wells(as_wells(converted.wells))
    assert converted.wells["record_id"].tolist() == ["california_wcr:X1", "california_wcr:X2"]
    assert converted.wells["record_kind"].tolist() == ["new", "abandoned"]
    assert converted.wells["position_method"].tolist() == ["section", "unknown"]
    assert converted.wells["yield_gpm_low"].tolist()[0] == 65.0
    assert converted.wells["yield_gpm_low"].isna().tolist()[1]
    assert converted.held_back["reason"].tolist() == ["outside_region"]
    rules = converted.changes.set_index("column")["rule"].to_dict()
    assert rules == {
        "casing_diameter_in": "unknown",
        "depth_to_water_ft": "zero_unknown",
        "total_depth_ft": "zero_unknown",
        "yield_gpm": "zero_unknown",
    }
