"""One file with dirt of every kind: each fault found, called by its name, and written down.

Every row plants one fault in a sound record, and says what must become of it. The lists of what the package can find
(rules of plausibility, reasons of places, flags of readings) are held against the planted ones: a kind that nobody
plants fails the test, and so does a finding that nobody planted.
"""

import csv
import math
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point, box

from wellrecords.cleaning.positions import MEND_WHY
from wellrecords.cleaning.rules import load_rules
from wellrecords.places import REASONS
from wellrecords.readings import WHY
from wellrecords.refresh import refresh
from wellrecords.settings import load_settings
from wellrecords.store import read_table, read_wells
from wellrecords.units import FT_PER_M, L_PER_GAL, L_PER_IMPERIAL_GAL

INF, NULL = math.inf, math.nan
SMALLEST = 0.5  # gpm, the smallest rate of the file
GPM_PER_LPM = 1.0 / L_PER_GAL

LAYOUT = """
name = "dirty"
[text]
source_record_id = { from = "NO" }
permit = { from = "PERMIT" }
[dates.drilled_on]
from = ["DATE"]
formats = ["%Y-%m-%d", "%B %Y"]
mend_formats = ["%d%m%Y"]
missing = ["0000-00-00"]
[codes.record_kind]
from = "KIND"
canonical = { new = ["N"], deepened = ["D"] }
mend = { NN = "new" }
ignore = ["?"]
hold_back = ["GEOTECH"]
[codes.yield_method]
from = "HOW"
canonical = { pumping_test = ["P"] }
[readings]
total_depth_ft = { from = "DEPTH", unit = "ft", zero = "unknown" }
casing_depth_ft = { from = "CASING", unit = "ft", zero = "value", unreadable = "unknown" }
casing_diameter_in = { from = "DIAM", unit = "in", zero = "unknown" }
screen_top_ft = { from = "TOP", unit = "ft", zero = "value" }
screen_bottom_ft = { from = "BOTTOM", unit = "ft", zero = "unknown" }
land_elevation_ft = { from = "ELEV", unit = "ft" }
depth_to_bedrock_ft = { from = "ROCK", unit = "ft", zero = "value" }
depth_to_water_ft = { from = "LEVEL", unit = "ft", zero = "hold_back" }
[readings.yield_gpm]
from = "RATE"
unit_from = ["UNIT"]
unit = "gpm"
zero = "dry"
at_least_methods = ["pumping_test"]
[[positions]]
kind = "degrees"
x = ["LON"]
y = ["LAT"]
datum_from = ["DATUM"]
method = "gps"
[[positions]]
kind = "utm"
x = ["EAST"]
y = ["NORTH"]
zone = ["ZONE"]
datum_from = ["DATUM"]
method = "map"
[[positions]]
kind = "land_grid"
township = ["T"]
range = ["R"]
section = ["S"]
quarter = ["Q"]
[[positions]]
kind = "parcel"
parcel = ["LOT"]
[layers]
text_from = ["LOG"]
"""
REGION = """
[region]
name = "Dirt"
crs = "EPSG:26919"
bounds = [-70.6, 44.95, -69.4, 45.75]
sections = "sections.geojson"
parcels = "parcels.geojson"
outline = "land.geojson"
store = "store"
[[sources]]
file = "dirty.csv"
layout = "dirty.toml"
"""
COLUMNS = [
    "NO", "PERMIT", "DATE", "KIND", "HOW", "DEPTH", "CASING", "DIAM", "TOP", "BOTTOM", "ELEV", "ROCK", "LEVEL", "RATE",
    "UNIT", "LON", "LAT", "DATUM", "EAST", "NORTH", "ZONE", "T", "R", "S", "Q", "LOT", "LOG",
]  # fmt: skip
SOUND = dict.fromkeys(COLUMNS, "") | {
    "KIND": "N", "DEPTH": "300", "CASING": "40", "DIAM": "6", "ELEV": "500", "ROCK": "20", "LEVEL": "15", "RATE": "4",
}  # fmt: skip
UNPLACED = {"LON": "", "LAT": ""}


@dataclass(frozen=True)
class Fault:
    """What a row plants, and what must become of it.

    `table` is where it must be written down under the name `said`, for the canonical `column`; "" where nothing is
    changed by it. `low` and `high` are what must be kept.
    """

    cells: dict[str, str]
    table: str
    column: str = ""
    said: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    also: dict[str, object] = field(default_factory=dict)


CANONICAL = {
    "RATE": "yield_gpm",
    "LEVEL": "depth_to_water_ft",
    "ROCK": "depth_to_bedrock_ft",
    "DEPTH": "total_depth_ft",
}


def reading(column: str, text: str, said: str, low: float, high: float | None = None, **cells: str) -> Fault:
    """Return a reading and the interval that it must become."""
    high = low if high is None else high
    return Fault({column: text, **cells}, "changes" if said else "", CANONICAL[column], tuple(said.split()), low, high)


def held(reason: str, **cells: str) -> Fault:
    return Fault(cells, "held_back", said=(reason,))


def taken_out(rule: str, column: str, **cells: str) -> Fault:
    return Fault(cells, "changes", column, (rule,), NULL, NULL)


def flagged(rule: str, column: str, **cells: str) -> Fault:
    return Fault(cells, "flags", column, (rule,))


def changed(said: str, column: str, also: dict[str, object] | None = None, **cells: str) -> Fault:
    return Fault(cells, "changes", column, (said,), also=also or {})


READINGS = [
    reading("RATE", "<0.5", "below", 0, 0.5),
    reading("RATE", "0.5-", "below", 0, 0.5),
    reading("RATE", "100+", "at_least", 100, INF),
    reading("ROCK", ">28", "at_least", 28, INF),
    reading("RATE", "1 to 5", "range", 1, 5),
    reading("RATE", "1-5", "range", 1, 5),
    reading("RATE", "5 to 1", "range reversed", 1, 5),
    reading("LEVEL", "12'6\"", "notation", 12.5),
    reading("LEVEL", "12 ft 6 in", "notation", 12.5),
    reading("LEVEL", "12 1/2", "notation", 12.5),
    reading("LEVEL", "25.39?", "uncertain", 25.39),
    reading("LEVEL", "8,5*", "notation uncertain", 8.5),
    reading("RATE", "dry", "dry", 0, SMALLEST),
    reading("RATE", "dry hole", "dry", 0, SMALLEST),
    reading("RATE", "0", "dry", 0, SMALLEST),
    reading("RATE", "trace", "trace", 0, SMALLEST),
    reading("LEVEL", "flowing", "flowing", -INF, 0),
    reading("LEVEL", "flows 3 gpm", "flowing", -INF, 0),
    reading("LEVEL", "artesian", "flowing", -INF, 0),
    reading("LEVEL", "overflow", "flowing", -INF, 0),
    reading("LEVEL", "2 ft above ground", "above_ground", -2),
    reading("ROCK", "not encountered", "not_reached", 300, INF),
    reading("ROCK", "no rock to 90", "not_reached", 90, INF),
    reading("RATE", "9999", "unknown", NULL),
    reading("RATE", "n/a", "unknown", NULL),
    reading("RATE", "3.5 gpm", "", 3.5),
    reading("RATE", "13 L/min", "unit", 13 * GPM_PER_LPM),
    reading("RATE", "2 igpm", "unit", 2 * L_PER_IMPERIAL_GAL / L_PER_GAL),
    reading("RATE", "5 US gal/min", "", 5),
    reading("RATE", "0.5 L/s", "unit", 30 * GPM_PER_LPM),
    reading("RATE", "1.2 m3/h", "unit", 20 * GPM_PER_LPM),
    reading("RATE", "28.8 m³/d", "unit", 20 * GPM_PER_LPM),
    reading("RATE", "20", "", 20 * GPM_PER_LPM, UNIT="L/min"),
    reading("DEPTH", "45 m", "unit", 45 * FT_PER_M),
    reading("RATE", "6", "pumped", 6, INF, HOW="P"),
    reading("RATE", "5 gpm @ 100 ft", "remark", 5),
    Fault(
        {"LEVEL": "flows 3 gpm", "RATE": ""},
        *("changes", "yield_gpm", ("flowing",), 3.0, 3.0),
        also={"yield_method": "flowing"},
    ),
    Fault({"CASING": "to ledge"}, "changes", "casing_depth_ft", ("unreadable_as_unknown",), NULL, NULL),
    held("unreadable_reading", DEPTH="3O5"),
    held("unreadable_reading", RATE="-3"),
    held("unreadable_reading", RATE="5-Jan"),
    held("zero_reading", LEVEL="0"),
    held("total_row", PERMIT="Total:", **UNPLACED),
]
PLACES = [
    changed("swapped_coordinates", "position", {"x": -70.011}, LON="45.311", LAT="-70.011"),
    changed("unsigned_longitude", "position", {"x": -70.012}, LON="70.012", LAT="45.312"),
    changed("swapped_and_unsigned", "position", {"x": -70.013}, LON="45.313", LAT="70.013"),
    Fault({"LON": "70-00-50.4 W", "LAT": "45°18'50.4\"N"}, "", also={"x": -70.014, "y": 45.314}),
    Fault({"LON": "-70.02", "LAT": "45.31"}, "", also={"error above": 400.0}),
    Fault({**UNPLACED, "EAST": "421500", "NORTH": "5019500", "ZONE": "19"}, "", also={"position_method": "map"}),
    Fault({"LON": "-70.016", "LAT": "45.316", "DATUM": "NAD27"}, "", also={"metres from": (-70.016, 45.316, 20, 120)}),
    Fault({"LON": "-70.017", "LAT": "45.317", "DATUM": "NAD83"}, "", also={"metres from": (-70.017, 45.317, 0, 3)}),
    Fault({**UNPLACED, "T": "T2N", "R": "3E", "S": "14"}, "", also={"position_method": "section", "error above": 600}),
    Fault(
        {**UNPLACED, "T": "2N", "R": "R3E", "S": "15", "Q": "NE of SW"},
        *("", ""),
        also={"position_method": "quarter_quarter", "error above": 150.0},
    ),
    changed(
        *("unreadable_quarter", "position"), {"position_method": "section"}, **UNPLACED, T="2N", R="3E", S="16", Q="?"
    ),
    Fault({**UNPLACED, "LOT": "012-0034"}, "", also={"position_method": "parcel"}),
    held("no_position", **UNPLACED),
    held("unreadable_position", LON="by the mill", LAT="45.3"),
    held("zero_coordinates", LON="0", LAT="0"),
    held("round_degree_dummy", LON="-70", LAT="45"),
    held("outside_region", LON="-71.512", LAT="45.312"),
    held("outside_outline", LON="-69.4512", LAT="45.312"),
]
IMPLAUSIBLE = [
    taken_out("date_outside_drilling_history", "drilled_on", DATE="9999-01-01"),
    taken_out("date_outside_drilling_history", "drilled_on", DATE="0908-05-05"),
    taken_out("date_is_a_placeholder", "drilled_on", DATE="1900-01-01"),
    taken_out("depth_outside_range", "total_depth_ft", DEPTH="6000"),
    taken_out("diameter_outside_range", "casing_diameter_in", DIAM="100"),
    taken_out("rock_outside_range", "depth_to_bedrock_ft", DEPTH="4900", ROCK="3500"),
    taken_out("water_outside_range", "depth_to_water_ft", LEVEL="-600"),
    taken_out("yield_outside_range", "yield_gpm", RATE="30000"),
    taken_out("elevation_outside_range", "land_elevation_ft", ELEV="20000"),
    taken_out("hole_depth_outvoted", "total_depth_ft", DEPTH="10"),
    taken_out("water_below_hole", "depth_to_water_ft", LEVEL="400"),
    taken_out("rock_below_hole", "depth_to_bedrock_ft", ROCK="400"),
    taken_out("casing_longer_than_hole", "casing_depth_ft", CASING="400"),
    taken_out("screen_upside_down", "screen_top_ft", TOP="200", BOTTOM="100"),
    taken_out("screen_starts_below_hole", "screen_top_ft", TOP="310"),
    taken_out("screen_ends_below_hole", "screen_bottom_ft", TOP="290", BOTTOM="420"),
    held("nothing_to_learn", **dict.fromkeys(("DEPTH", "CASING", "ROCK", "LEVEL", "RATE"), "")),
    flagged("yield_very_high", "yield_gpm", RATE="3000"),
    flagged("diameter_unusual", "casing_diameter_in", DIAM="60"),
    flagged("casing_stops_above_rock", "casing_depth_ft", CASING="10"),
    flagged("stands_out_from_neighbours", "total_depth_ft", DEPTH="2400"),
    flagged("rock_against_layers", "depth_to_bedrock_ft", LOG="0-60 clay; 60-300 granite"),
]
CODES_AND_DATES = [
    changed("mended_code", "record_kind", {"record_kind": "new"}, KIND="NN"),
    changed("letter_case", "record_kind", {"record_kind": "new"}, KIND="n"),
    changed("ignored_code", "record_kind", {"record_kind": "new"}, KIND="?"),
    held("not_a_well", KIND="GEOTECH"),
    changed("mended_date", "drilled_on", {"drilled_on": "1969-05-30"}, DATE="30051969"),
    changed("date_not_to_the_day", "drilled_on", {"drilled_on": "1987-06-01"}, DATE="June 1987"),
    taken_out("unknown_date", "drilled_on", DATE="0000-00-00"),
    taken_out("unreadable_date", "drilled_on", DATE="last spring"),
]
LAYERS = [
    reading("ROCK", "", "rock_from_layers", 40, LOG="0-3 tpsl; 3-20 brn cly w/ gvl; 20-40 rotten ledge; 40-300 granit"),
    reading("ROCK", "", "rock_from_layers", 300, INF, LOG="0-10 clay, 10-300 snd & gravl"),
    reading("ROCK", "", "rock_from_layers", 12, LOG="0' - 12' zorp and hardpan; 12' - 300' schist"),
    changed("rock_name_from_layers", "main_rock", {"main_rock": "gneiss"}, LOG="0-20 sand; 20-300 hard gniess"),
    Fault({"LOG": "hard all the way"}, "changes", "layers", ("unreadable_as_unknown",)),
]  # fmt: skip
FAULTS = [*READINGS, *PLACES, *IMPLAUSIBLE, *CODES_AND_DATES, *LAYERS]
NOT_IN_A_TABLE = {
    "own_unit": "noted once for the column: the figure is as it would be without",
    "unreadable": "the reason of a held-back row",
    "date": "told in the why of the held-back row",
    "negative": "told in the why of the held-back row",
}
BY_CIRCUMSTANCE = {"flowing", "rock_name_from_layers", "casing_stops_above_rock", "stands_out_from_neighbours"}
"""What may be found in another fault's row too: a flow's method, a log's rock, an odd value among the wells around."""


def sound_row(number: int) -> dict[str, str]:
    """Return a record in which nothing is wrong, on a place, a day and a permit of its own."""
    day = date(1970 + number % 50, 1 + number % 12, 1 + number % 28)
    lon, lat = -70.2 - 0.02137 * (number % 13), 45.1 + 0.02339 * (number // 13)
    place = {"LON": f"{lon:.6f}", "LAT": f"{lat:.6f}"}
    return SOUND | {"NO": str(number), "PERMIT": f"W{number:05d}", "DATE": day.isoformat()} | place


def write_land(folder: Path) -> None:
    sections = [box(424_000 + 1609 * i, 5_010_000, 424_000 + 1609 * (i + 1), 5_011_609) for i in range(3)]
    land = gpd.GeoDataFrame({"twp": "T2N", "rng": "R3E", "sec": [14, 15, 16]}, geometry=sections, crs="EPSG:26919")
    land.to_crs("EPSG:4326").to_file(folder / "sections.geojson")
    parcel = box(430_000, 5_015_000, 430_100, 5_015_100)
    gpd.GeoDataFrame({"parcel": ["12-34"]}, geometry=[parcel], crs="EPSG:26919").to_crs("EPSG:4326").to_file(
        folder / "parcels.geojson"
    )
    gpd.GeoSeries([box(-70.6, 44.95, -69.5, 45.75)], crs="EPSG:4326").to_file(folder / "land.geojson")


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The dirty file, refreshed: (result, tables by name, wells by file row)."""
    folder = tmp_path_factory.mktemp("dirt")
    write_land(folder)
    (folder / "dirty.toml").write_text(LAYOUT)
    (folder / "region.toml").write_text(REGION)
    rows = [sound_row(number) | fault.cells for number, fault in enumerate(FAULTS)]
    first = len(rows)
    rows += [sound_row(first + number) for number in range(60)]
    twice = dict(rows[-1])
    again = rows[-2] | {"NO": "9001"}
    deeper = rows[-3] | {"NO": "9002", "KIND": "D", "DEPTH": "480", "RATE": "9", "DATE": "2024-05-05"}
    lines = [list(row.values()) for row in (*rows, twice, again, deeper)]
    lines += [COLUMNS, [*lines[-4], "beyond the last"], [""] * len(COLUMNS)]
    with (folder / "dirty.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([COLUMNS, *lines])
    result = refresh(load_settings(folder / "region.toml"), today=date(2026, 6, 1))
    names = ("changes", "held_back", "flags", "merged", "history", "unknown_words")
    tables = {name: read_table(folder / "store", name) for name in names}
    wells = pd.DataFrame(read_wells(folder / "store"))
    return result, tables, wells.set_index(wells["source_record_id"].astype(str))


def test_every_row_is_accounted_for(run):
    counts = run[0].counts
    assert counts["rows_read"] == len(FAULTS) + 60 + 3 + 2
    assert counts["rows_read"] == counts["kept"] + counts["merged"] + counts["held_back"]


@pytest.mark.parametrize("number", range(len(FAULTS)), ids=[str(fault.cells) for fault in FAULTS])
def test_each_fault_is_found_classified_and_recorded(run, number):
    _, tables, wells = run
    fault, name = FAULTS[number], str(number)
    if fault.table == "held_back":
        held_back = tables["held_back"]
        row = held_back[held_back["file_row"] == number + 2]
        assert row["reason"].tolist() == list(fault.said)
        for text in filter(None, fault.cells.values()):
            assert text in row["original"].iloc[0].replace('\\"', '"')
        return
    well = wells.loc[name]
    found = tables[fault.table] if fault.table else tables["changes"].iloc[:0]
    found = found[(found["record_id"] == f"dirty:{name}") & (found["column"] == fault.column)]
    said = {word for rule in found["rule"] for word in rule.split("+")}
    assert set(fault.said) <= said
    if fault.low is not None:
        low = fault.column if fault.column in well else f"{fault.column}_low"
        high = fault.column if fault.column in well else f"{fault.column}_high"
        if math.isnan(fault.low):
            assert pd.isna(well[low])
            assert pd.isna(well[high])
            assert found["after"].isna().all()
            assert found["before"].notna().all()
        else:
            assert (well[low], well[high]) == pytest.approx((fault.low, fault.high))
    for what, wanted in fault.also.items():
        if what in ("x", "y"):
            assert well["longitude" if what == "x" else "latitude"] == pytest.approx(wanted, abs=1e-6)
        elif what == "error above":
            assert well["position_error_m"] > wanted
        elif what == "metres from":
            x, y, least, most = wanted
            here, there = (Point(*place) for place in ((x, y), (well["longitude"], well["latitude"])))
            metres = gpd.GeoSeries([here, there], crs="EPSG:4326").to_crs("EPSG:26919")
            assert least <= metres.iloc[0].distance(metres.iloc[1]) <= most
        elif what == "drilled_on":
            assert str(well[what].date()) == wanted
        else:
            assert well[what] == wanted


def test_rows_that_do_not_fit_their_columns_are_held_back(run):
    held_back = run[1]["held_back"]
    assert {"ragged_row", "repeated_header"} <= set(held_back["reason"])


def test_the_same_well_twice_is_one_well_with_its_history(run):
    _, tables, wells = run
    last = len(FAULTS) + 59
    told = tables["history"].set_index("record_id")[["kept_record_id", "relation"]].to_numpy().tolist()
    records = dict(zip(tables["history"]["record_id"], told, strict=True))
    assert records == {
        f"dirty:{last}~2": [f"dirty:{last}", "the same record, filed twice"],
        "dirty:9001": [f"dirty:{last - 1}", "the same record, filed twice"],
        f"dirty:{last - 2}": ["dirty:9002", "its state before it was deepened"],
    }
    assert set(tables["merged"]["record_id"]) == set(records)
    deepened = wells[wells["record_id"] == "dirty:9002"]
    assert deepened["total_depth_ft"].tolist() == [480.0], "the deepest state is the current one"


def test_unknown_words_of_drillers_are_listed_with_their_counts(run):
    words = run[1]["unknown_words"]
    assert words[words["word"] == "zorp"]["layers"].tolist() == [1]


def test_no_kind_is_passed_over_in_silence(run):
    """What can be found is planted, and what was found was planted."""
    _, tables, _ = run
    planted = {said for fault in FAULTS for said in fault.said}
    flags = set(WHY) - set(NOT_IN_A_TABLE)
    assert flags <= planted
    assert {rule.rule for rule in load_rules()} <= planted
    assert {*REASONS, *MEND_WHY} <= planted
    expected: dict[tuple[str, int], set[str]] = {}
    for number, fault in enumerate(FAULTS):
        expected["dirty:" + str(number), number + 2] = {*fault.said}
    for name in ("changes", "flags"):
        for row in tables[name].to_dict("records"):
            number = str(row["record_id"]).removeprefix("dirty:")
            words = set(row["rule"].split("+")) - {"own_unit"} - BY_CIRCUMSTANCE
            fault = FAULTS[int(number)] if number.isdigit() and int(number) < len(FAULTS) else None
            assert words <= set(fault.said if fault else ()), row
    assert np.isin(tables["held_back"]["file_row"] - 2, range(len(FAULTS))).sum() == sum(
        fault.table == "held_back" for fault in FAULTS
    )
