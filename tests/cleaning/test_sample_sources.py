"""The sample sources against what was planted in them: every fault found, classified and recorded."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer

from wellrecords.cleaning.convert import convert_source
from wellrecords.cleaning.rules import apply_rules, load_rules
from wellrecords.land_grid import LandLayers, read_sections
from wellrecords.ledger import check_rows
from wellrecords.schema import as_wells, check_wells
from wellrecords.sources import load_layout, read_source

FOLDER = Path(__file__).parents[2] / "sample_records"
BOUNDS = (-70.35, 44.9, -69.6, 45.6)
TODAY = date(2026, 6, 1)
FILES = {
    "firm_log.xlsx": "sample_firm_log",
    "completion_reports.csv": "sample_completion_reports",
    "well_inventory.csv": "sample_well_inventory",
}
BECOMES = {
    "casing_below_bottom": {"casing_longer_than_hole"},
    "code_misspelt": {"mended_code", "letter_case"},
    "date_month_only": {"date_not_to_the_day"},
    "date_unreadable": {"mended_date"},
    "depth_missing": {"unknown"},
    "depth_with_letter": {"unreadable_reading", "unit"},  # the mark of feet (`) can be read
    "doubtful_mark": {"uncertain"},
    "dry_word": {"dry"},
    "feet_and_inches": {"notation"},
    "feet_in_metric_file": {"unit"},
    "flowing": {"flowing"},
    "fraction": {"notation"},
    "less_than": {"below"},
    "missing_word": {"unknown"},
    "more_than": {"at_least"},
    "not_encountered": {"not_reached", "at_least"},
    "position_dummy": {"round_degree_dummy"},
    "position_missing": {"no_position"},
    "position_swapped": {"swapped_coordinates"},
    "position_zero": {"zero_coordinates"},
    "pumping_test": {"pumped"},
    "range": {"range"},
    "rock_below_bottom": {"rock_below_hole"},
    "trace_word": {"trace"},
    "water_below_bottom": {"water_below_hole"},
    "year_9999": {"unknown_date"},
    "year_future": {"date_outside_drilling_history"},
    "year_typo": {"date_outside_drilling_history", "unreadable_date"},
    "yield_missing": {"unknown"},
    "zero_level_flowing": {"flowing"},
    "zero_level_unknown": {"zero_unknown"},
    "zero_rock_unknown": {"zero_unknown"},
    "zero_yield_dry": {"dry"},
    "zero_yield_unknown": {"zero_unknown"},
}
"""Kind of planted fault -> rules of the ledger or reasons of held-back rows, one of which must stand at its row."""
FACTS = ("filed_twice", "destruction", "exact_duplicate", "deepening", "repair", "replacement")
"""Kinds of a whole row, which stand on the column that shows them."""
OUTSIDE = {"outside_region", "no_position", "zero_coordinates", "round_degree_dummy", "unreadable_reading"}
"""Reasons for which the whole row is held back, whatever else is planted in it."""


def _near(well: pd.Series, true: pd.Series) -> bool:
    here = Transformer.from_crs("EPSG:4326", "EPSG:26919", always_xy=True).transform(well.longitude, well.latitude)
    return (
        float(np.hypot(here[0] - true.easting_m, here[1] - true.northing_m)) < 1_200.0
    )  # a corner of a section is 1,138 m from its centre


SAYS: dict[str, Callable[[pd.Series, object, pd.Series], bool]] = {
    "date_as_text": lambda well, fault, true: well.drilled_on.date().isoformat() == fault.meant[:10],
    "deepening": lambda well, fault, true: well.record_kind == "deepened",
    "degrees_minutes_seconds": lambda well, fault, true: _near(well, true),
    "destruction": lambda well, fault, true: well.record_kind == "abandoned",
    "exact_duplicate": lambda well, fault, true: "~" in well.record_id or "#" in well.record_id or well.copies > 1,
    "filed_twice": lambda well, fault, true: True,  # a sound row: that it tells of another's well, the matching finds
    "hydrofractured": lambda well, fault, true: bool(well.hydrofractured),
    "level_above_ground": lambda well, fault, true: well.depth_to_water_ft_low < 0.0,
    "longitude_unsigned": lambda well, fault, true: well.longitude < 0.0,
    "markup_in_text": lambda well, fault, true: True,  # the remark is not used
    "monitoring_well": lambda well, fault, true: well.well_use == "monitoring",
    "neighbour_county": lambda well, fault, true: _near(well, true),  # written over the line, yet inside the bounds
    "position_truncated": lambda well, fault, true: well.position_error_m > 400.0,
    "quarter_section_centroid": lambda well, fault, true: well.position_method == "quarter",
    "repair": lambda well, fault, true: well.record_kind == "repaired",
    "replacement": lambda well, fault, true: well.record_kind == "replaced",
    "section_centroid": lambda well, fault, true: well.position_method == "section",
    "section_only": lambda well, fault, true: well.position_method in ("section", "quarter") and _near(well, true),
    "unit_in_text": lambda well, fault, true: True,  # read and noted once: the value is held to its meaning below
}
"""Kinds that are ways of writing, or facts: kind -> whether the well says what was meant."""


@pytest.fixture(scope="module", params=sorted(FILES))
def source(request):
    layout = load_layout(FILES[request.param])
    raw = read_source(FOLDER / request.param, layout)
    land = LandLayers(read_sections(FOLDER / "sections.geojson"))
    converted = convert_source(raw, layout, bounds=BOUNDS, land=land, today=TODAY)
    faults = pd.read_csv(FOLDER / "truth" / "faults.csv", dtype=str, keep_default_na=False)
    faults = faults[faults["file"] == request.param].drop_duplicates(["sheet", "file_row", "column"], keep="last")
    sheet = raw.table["sheet"] if "sheet" in raw.table else pd.Series("", index=raw.table.index)
    place = dict(zip(zip(sheet, raw.file_row.astype(str), strict=True), raw.table.index, strict=True))
    faults = faults.assign(label=[place[key] for key in zip(faults["sheet"], faults["file_row"], strict=True)])
    return raw, converted, faults


def test_nothing_is_lost_and_the_contract_is_kept(source):
    raw, converted, _ = source
    check_rows(raw.rows_read, kept=len(converted.wells), held_back=len(converted.held_back))
    check_wells(as_wells(converted.wells))
    assert len(converted.held_back) < 0.05 * raw.rows_read


def test_every_planted_kind_is_found_classified_and_recorded(source):
    """Each cell that the truth lists, of every kind; a kind that nobody says anything of fails."""
    raw, converted, faults = source
    ruled = apply_rules(converted.wells, load_rules(), TODAY)
    found: dict[tuple[object, int], set[str]] = {}
    for table, column in ((converted.changes, "rule"), (ruled.changes, "rule"), (converted.held_back, "reason")):
        for row in table.to_dict("records"):
            said = set(row[column].split("+"))
            found.setdefault((row["sheet"] if pd.notna(row["sheet"]) else "", row["file_row"]), set()).update(said)
    wells = converted.wells.assign(copies=converted.wells.groupby("source_record_id")["record_id"].transform("size"))
    records = pd.read_csv(FOLDER / "truth" / "records.csv", dtype=str, keep_default_na=False)
    of_file = records[records["file"] == _file_of(converted)]
    well_of = dict(zip(zip(of_file["sheet"], of_file["file_row"], strict=True), of_file["well_id"], strict=True))
    truth = pd.read_csv(FOLDER / "truth" / "wells.csv", index_col="well_id", dtype={"well_id": str})
    missed = []
    for fault in faults.itertuples():
        said = found.get((fault.sheet, int(fault.file_row)), set())
        if str(raw.table.loc[fault.label, fault.column]) != fault.written and fault.kind not in FACTS:
            continue  # another fault was planted over it
        if fault.kind in BECOMES:
            silent = (
                fault.kind == "pumping_test" and fault.sheet == "1978-1999"
            )  # no column says how the rate was found
            if not (said & (BECOMES[fault.kind] | OUTSIDE) or silent or fault.column == "COUNTY"):
                missed.append((fault.kind, fault.file_row, fault.column, fault.written, said))
        elif fault.label in wells.index:
            true = truth.loc[well_of[fault.sheet, fault.file_row]]
            if not SAYS[fault.kind](wells.loc[fault.label], fault, true):
                missed.append((fault.kind, fault.file_row, fault.column, fault.written, said))
        else:
            assert said & OUTSIDE
    assert missed == []


def test_what_cannot_be_placed_or_read_is_held_back_and_nothing_else(source):
    assert set(source[1].held_back["reason"]) <= OUTSIDE


def test_errors_of_position_follow_what_the_row_says(source):
    _, converted, faults = source
    wells = converted.wells
    truncated = faults[(faults["kind"] == "position_truncated") & faults["label"].isin(wells.index)]
    assert (wells.loc[truncated["label"], "position_error_m"] > 400.0).all()
    centroids = faults[faults["kind"].isin(["section_centroid", "section_only"]) & faults["label"].isin(wells.index)]
    assert (wells.loc[centroids["label"], "position_error_m"] > 250.0).all()


def test_places_are_true_to_their_error(source):
    # Within 4 times the stated error, 99 % of the places: the errors are means of a skew distribution.
    _, converted, _ = source
    truth = pd.read_csv(FOLDER / "truth" / "wells.csv", index_col=0)
    records = pd.read_csv(FOLDER / "truth" / "records.csv", dtype=str, keep_default_na=False)
    wells = as_wells(converted.wells).to_crs("EPSG:26919")
    records = records[records["file"].isin(FILES) & (records["file"] == _file_of(converted))]
    mine = records.drop_duplicates("source_record_id", keep=False).set_index("source_record_id")["well_id"]
    wells = wells.assign(well_id=wells["source_record_id"].map(mine))
    wells = wells[wells["well_id"].isin(truth.index.astype(str))]
    true = truth.set_index(truth.index.astype(str)).loc[wells["well_id"]]
    off = (
        (wells.geometry.x.to_numpy() - true["easting_m"].to_numpy()) ** 2
        + (wells.geometry.y.to_numpy() - true["northing_m"].to_numpy()) ** 2
    ) ** 0.5
    assert len(wells) > 500
    assert (off < 4.0 * wells["position_error_m"].to_numpy()).mean() > 0.98


def _file_of(converted) -> str:
    name = converted.wells["source"].iloc[0]
    return next(file for file, layout in FILES.items() if layout == name)


def test_layers_and_zones_come_along(source):
    _, converted, _ = source
    if converted.wells["source"].iloc[0] != "sample_well_inventory":
        assert len(converted.layers) > 1000
        assert (converted.layers["to_ft"] > converted.layers["from_ft"]).all()
        assert converted.layers["record_id"].isin(converted.wells["record_id"]).all()
        depths = converted.layers["record_id"].map(converted.wells.set_index("record_id")["total_depth_ft"])
        assert (
            converted.layers["to_ft"] <= depths + 1.0
        ).sum() == depths.notna().sum()  # no figure read in another unit
    if converted.wells["source"].iloc[0] == "sample_firm_log":
        assert len(converted.water_zones) > 500
        assert converted.water_zones["yield_gpm_low"].notna().mean() > 0.9
