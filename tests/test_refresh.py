import csv
import json
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point, box
from typer.testing import CliRunner

import wellrecords.cleaning.clean_source
from wellrecords.cli import verbs
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.refresh import refresh, run_summary
from wellrecords.schema import INTERVAL_QUANTITIES, LAYER_COLUMNS, check_wells
from wellrecords.settings import load_settings
from wellrecords.store import read_manifest, read_table, read_wells

ROOT = Path(__file__).parents[1]
TRUTH = ROOT / "sample_records" / "truth"
TODAY = date(2026, 6, 1)
SOURCE_OF = {
    "firm_log.xlsx": "sample_firm_log",
    "completion_reports.csv": "sample_completion_reports",
    "well_inventory.csv": "sample_well_inventory",
}

LAYOUT = """
name = "{name}"
description = "A small file for tests."

[text]
source_record_id = {{ from = "NO" }}
permit = {{ from = "PERMIT", optional = true }}

[dates.drilled_on]
from = ["DATE"]
formats = ["%Y-%m-%d"]

[readings.total_depth_ft]
from = "DEPTH"
unit = "ft"
zero = "unknown"

[readings.depth_to_bedrock_ft]
from = "ROCK"
unit = "ft"
zero = "value"

[readings.yield_gpm]
from = "GPM"
unit = "gpm"
zero = "dry"

[[positions]]
kind = "degrees"
x = ["LON"]
y = ["LAT"]
method = "gps"
"""
COLUMNS = ["NO", "PERMIT", "DATE", "DEPTH", "ROCK", "GPM", "LON", "LAT"]
GOOD = ["1", "", "1994-06-17", "200", "20", "5", "-70.05", "45.3"]


def region(
    folder: Path, rows: dict[str, list[list[str]]], extra: str = "", delimiter: str = ",", encoding: str = "utf-8"
) -> Path:
    """Write the files of a small region and return its settings file."""
    sources = ""
    for name, table in rows.items():
        (folder / f"{name}.toml").write_text(LAYOUT.format(name=name), encoding="utf-8")
        with (folder / f"{name}.csv").open("w", newline="", encoding=encoding) as file:
            csv.writer(file, delimiter=delimiter).writerows([COLUMNS, *table])
        sources += f'[[sources]]\nfile = "{name}.csv"\nlayout = "{name}.toml"\n{extra}\n'
    path = folder / "region.toml"
    path.write_text(
        '[region]\nname = "Small"\ncrs = "EPSG:26919"\nbounds = [-70.5, 45.0, -69.5, 45.6]\nstore = "store"\n'
        + sources,
        encoding="utf-8",
    )
    return path


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """The sample region, refreshed into a store of its own."""
    whole = load_settings(ROOT / "pipelines" / "sample_region.toml")
    store = tmp_path_factory.mktemp("sample") / "store"
    whole = whole.model_copy(update={"region": whole.region.model_copy(update={"store": store})})
    told: list[tuple[str, int, int]] = []
    result = refresh(whole, lambda *what: told.append(what), today=TODAY)
    return whole, result, told


def test_every_row_of_the_sample_region_is_kept_merged_or_held_back(sample):
    whole, result, told = sample
    counts = result.counts
    assert counts["rows_read"] == counts["kept"] + counts["merged"] + counts["held_back"]
    assert counts["rows_read"] == len(pd.read_csv(TRUTH / "records.csv")) + 2, "the two sheets end in a count of jobs"
    assert (result.sources["rows_read"] == result.sources[["kept", "merged", "held_back"]].sum(axis=1)).all()
    store = whole.region.store
    wells = read_wells(store)
    check_wells(wells)
    assert len(wells) == counts["kept"]
    for name in ("merged", "held_back", "changes", "flags"):
        assert len(read_table(store, name)) == counts[name]
    assert told[0][0].startswith("reading")
    assert read_manifest(store)["counts"] == counts


def test_nothing_censored_is_lost_on_the_way(sample):
    wells = read_wells(sample[0].region.store)
    for quantity in INTERVAL_QUANTITIES:
        low, high = wells[f"{quantity}_low"], wells[f"{quantity}_high"]
        assert (low.notna() == high.notna()).all()
        assert (low.dropna() <= high.dropna()).all()
    assert np.isposinf(wells["depth_to_bedrock_ft_high"]).sum() > 300
    assert np.isneginf(wells["depth_to_water_ft_low"]).sum() > 100
    assert ((wells["yield_gpm_low"] == 0) & (wells["yield_gpm_high"] < 1)).sum() > 100


def _planted(kind: str) -> pd.DataFrame:
    faults = pd.read_csv(TRUTH / "faults.csv", dtype=str)
    return faults[faults["kind"] == kind].assign(
        source=lambda table: table["file"].map(SOURCE_OF), file_row=lambda table: table["file_row"].astype(int)
    )


@pytest.mark.parametrize(
    ("kind", "rule"),
    [
        ("water_below_bottom", "water_below_hole"),
        ("rock_below_bottom", "rock_below_hole"),
        ("casing_below_bottom", "casing_longer_than_hole"),
        ("year_future", "date_outside_drilling_history"),
    ],
)
def test_planted_faults_of_plausibility_are_found_in_their_rows(sample, kind, rule):
    store = sample[0].region.store
    changes, held = read_table(store, "changes"), read_table(store, "held_back")
    found = set(zip(changes["source"], changes["file_row"], changes["rule"], strict=True))
    aside = set(zip(held["source"], held["file_row"], strict=True))
    planted = _planted(kind)
    assert len(planted) > 1
    missed = [
        (source, row)
        for source, row in zip(planted["source"], planted["file_row"], strict=True)
        # A row that another fault holds back, or whose depth two readings outvote, is found as well.
        if (source, row, rule) not in found
        and (source, row, "hole_depth_outvoted") not in found
        and (source, row) not in aside
    ]
    assert missed == []


def test_planted_duplicates_of_the_sample_region_are_found(sample):
    store = sample[0].region.store
    records = pd.read_csv(TRUTH / "records.csv", dtype=str)
    key = records["file"].map(SOURCE_OF) + ":" + records["source_record_id"]
    well_of = dict(zip(key, records["well_id"], strict=True))
    wells, history = read_wells(store), read_table(store, "history")
    rows = pd.concat(
        [
            wells[["record_id", "source", "source_record_id"]].assign(into=wells["record_id"]),
            history[["record_id", "source", "source_record_id"]].assign(into=history["kept_record_id"]),
        ]
    )
    rows["well"] = (rows["source"] + ":" + rows["source_record_id"]).map(well_of)
    assert rows["well"].notna().all()
    groups = rows.groupby("into")["well"]
    # Pairs within groups of one table against pairs within groups of the other.
    found = _pairs(groups.size())
    true = _pairs(rows.groupby("well").size())
    right = _pairs(rows.groupby(["into", "well"]).size())
    assert right / found >= 0.98
    assert right / true >= 0.95


def test_the_rock_surface_read_from_the_layers_is_the_true_one(sample):
    changes = read_table(sample[0].region.store, "changes")
    filled = changes[changes["rule"] == "rock_from_layers"]
    records = pd.read_csv(TRUTH / "records.csv", dtype=str)
    records["file_row"] = records["file_row"].astype(int)
    records["source"] = records["file"].map(SOURCE_OF)
    own = filled["record_id"].str.split(":").str[1].str.split("[~#]", regex=True).str[0]
    filled = filled.assign(source_record_id=own.astype(str), source=filled["source"].astype(str))
    wells = pd.read_csv(TRUTH / "wells.csv")
    known = filled.merge(records, on=["source", "source_record_id", "file_row"]).merge(wells, on="well_id")
    assert len(known) == len(filled) > 100
    figure = pd.to_numeric(known["after"], errors="coerce")
    reached = figure.notna()
    # The log is in whole feet, and where a layer ends is read off the rods.
    assert (figure - known["depth_to_bedrock_ft"]).abs()[reached].max() < 3.0
    assert known["reached_bedrock"].astype(bool)[reached].all()
    assert not known["reached_bedrock"].astype(bool)[~reached].any()


def _pairs(sizes: pd.Series) -> int:
    return int((sizes * (sizes - 1) // 2).sum())


def test_an_unchanged_region_is_not_read_again_and_says_so(sample, monkeypatch):
    whole, first, _ = sample

    def fails(*_):
        msg = "the source was read again"
        raise AssertionError(msg)

    monkeypatch.setattr(wellrecords.cleaning.clean_source, "read_source", fails)
    again = refresh(whole, today=TODAY)
    assert again.unchanged
    assert not first.unchanged
    assert again.counts == first.counts
    assert again.version == first.version
    with pytest.raises(AssertionError, match="read again"):
        refresh(whole, today=TODAY, force=True)


def test_the_tables_of_a_run_add_up(sample):
    store = sample[0].region.store
    tables = run_summary(store)
    counts = read_manifest(store)["counts"]
    assert tables["held_back_by_reason"]["rows"].sum() == counts["held_back"]
    assert tables["changes_by_rule"]["changes"].sum() == counts["changes"]
    assert tables["flags_by_rule"]["flags"].sum() == counts["flags"]
    assert tables["merged_by_kind"]["rows"].sum() == counts["merged"]
    assert tables["sources"]["share_held_back"].is_monotonic_decreasing
    quantities = tables["intervals"].drop(columns="quantity").sum(axis=1)
    assert (quantities == counts["kept"]).all()
    assert {"total_depth_ft", "yield_gpm"} <= set(tables["histograms"]["column"])


def test_the_private_owner_and_permit_are_nowhere_in_the_store_but_in_held_back_rows(sample):
    version = sample[1].version
    for path in version.glob("*.parquet"):
        columns = pd.read_parquet(path).columns
        assert not {"owner", "permit", "address"} & set(columns), path.name
    assert "original" in read_table(sample[0].region.store, "held_back")


def test_two_faulty_files_are_told_at_once_and_nothing_is_written(tmp_path):
    path = region(tmp_path, {"one": [GOOD], "two": [GOOD]})
    for name in ("one", "two"):
        text = (tmp_path / f"{name}.csv").read_text().replace("DEPTH", "DEEPNESS")
        (tmp_path / f"{name}.csv").write_text(text)
    with pytest.raises(ProblemsError) as caught:
        refresh(load_settings(path))
    assert {problem.file for problem in caught.value.problems} == {"one.csv", "two.csv"}
    assert not (tmp_path / "store").exists()
    (tmp_path / "one.csv").unlink()
    with pytest.raises(ProblemsError, match="no such file"):
        refresh(load_settings(path))


def test_every_fault_of_every_kind_is_told_in_one_go(tmp_path):
    """A broken layout, a file that is gone, one that is no workbook, and one with four faults of its own."""
    path = region(tmp_path, {name: [GOOD] for name in ("one", "two", "three", "four")})
    layout = (tmp_path / "one.toml").read_text().replace('zero = "unknown"\n', "")
    layout = layout.replace('unit = "gpm"', 'unit_from = ["UNIT"]\nunit = "gpm"').replace('"ROCK"', '"LEDGE"')
    layout += '[codes.well_use]\nfrom = "USE"\ncanonical = { domestic = ["D"] }\n'
    (tmp_path / "one.toml").write_text(layout)
    rows = [[*COLUMNS, "USE", "UNIT"], [*GOOD, "D", "gpm"], ["2", *GOOD[1:3], "0", *GOOD[4:], "X", "furlongs"]]
    (tmp_path / "one.csv").write_text("\n".join(map(",".join, rows)))
    (tmp_path / "two.csv").unlink()
    (tmp_path / "three.toml").write_text((tmp_path / "three.toml").read_text().replace('"ft"', '"league"'))
    (tmp_path / "four.csv").rename(tmp_path / "four.xlsx")
    path.write_text(path.read_text().replace("four.csv", "four.xlsx"))
    with pytest.raises(ProblemsError) as caught:
        refresh(load_settings(path), today=TODAY)
    found = {(Path(p.file).name, p.code, p.row, p.column, p.value) for p in caught.value.problems}
    assert found == {
        ("one.csv", "missing_column", None, None, None),
        ("one.csv", "unknown_code", 3, "USE", "X"),
        ("one.csv", "zero_without_meaning", 3, "DEPTH", "0"),
        ("one.csv", "unknown_unit", 3, "UNIT", "furlongs"),
        ("two.csv", "file_missing", None, None, None),
        ("three.toml", "layout", None, "readings.total_depth_ft", None),
        ("three.toml", "layout", None, "readings.depth_to_bedrock_ft", None),
        ("four.xlsx", "unusable", None, None, None),
    }
    assert all(p.rule and p.next_step and str(p) in str(caught.value) for p in caught.value.problems)
    assert not (tmp_path / "store").exists()


def test_two_sources_of_one_name_are_refused(tmp_path):
    path = region(tmp_path, {"one": [GOOD], "two": [GOOD]})
    path.write_text(path.read_text().replace('layout = "two.toml"', 'layout = "one.toml"'))
    with pytest.raises(WellRecordsError, match="called one"):
        refresh(load_settings(path))
    path.write_text(path.read_text().replace('layout = "one.toml"\n\n[[', 'layout = "one.toml"\nname = "first"\n[['))
    assert set(refresh(load_settings(path)).sources["source"]) == {"first", "one"}


def test_the_sum_is_checked_and_a_lost_row_stops_the_run(tmp_path, monkeypatch):
    path = region(tmp_path, {"one": [GOOD, [*GOOD[:3], "310", *GOOD[4:]]]})
    real = wellrecords.cleaning.clean_source.apply_rules

    def loses_one(*args):
        ruled = real(*args)
        return type(ruled)(ruled.wells.iloc[1:], ruled.changes, ruled.set_aside, ruled.flags)

    monkeypatch.setattr(wellrecords.cleaning.clean_source, "apply_rules", loses_one)
    with pytest.raises((WellRecordsError, ProblemsError), match="do not add up"):
        refresh(load_settings(path))
    assert not (tmp_path / "store").exists()


def test_a_changed_input_is_read_again(tmp_path):
    path = region(tmp_path, {"one": [GOOD]})
    first = refresh(load_settings(path))
    assert refresh(load_settings(path)).unchanged
    region(tmp_path, {"one": [GOOD, ["2", "", "2001-05-05", "310", "12", "3", "-70.2", "45.2"]]})
    second = refresh(load_settings(path))
    assert not second.unchanged
    assert (first.counts["kept"], second.counts["kept"]) == (1, 2)
    path.write_text(path.read_text() + "[matching]\nthreshold = 2.0\n")
    assert not refresh(load_settings(path)).unchanged


def test_wells_off_the_land_of_the_outline_are_held_back(tmp_path):
    sea = [["2", *GOOD[1:6], "-69.80", GOOD[7]]]
    path = region(tmp_path, {"a": [GOOD, *sea]})
    assert refresh(load_settings(path), today=TODAY).counts["kept"] == 2
    land = tmp_path / "land.geojson"
    gpd.GeoSeries([box(-70.4, 45.1, -69.9, 45.5)], crs="EPSG:4326").to_crs("EPSG:26919").to_file(land)
    path.write_text(path.read_text().replace('store = "store"', 'store = "store"\noutline = "land.geojson"'))
    result = refresh(load_settings(path), today=TODAY)
    assert not result.unchanged
    assert (result.counts["kept"], result.counts["held_back"]) == (1, 1)
    held_back = read_table(tmp_path / "store", "held_back")
    assert held_back[["reason", "file_row"]].to_numpy().tolist() == [["outside_outline", 3]]
    assert "outline" in [one["role"] for one in read_manifest(tmp_path / "store")["inputs"]]
    assert refresh(load_settings(path), today=TODAY).unchanged
    gpd.GeoSeries([box(-70.4, 45.1, -69.7, 45.5)], crs="EPSG:4326").to_file(land)
    assert refresh(load_settings(path), today=TODAY).counts["kept"] == 2


def test_an_outline_that_is_none_is_refused(tmp_path):
    path = region(tmp_path, {"a": [GOOD]})
    path.write_text(path.read_text().replace('store = "store"', 'store = "store"\noutline = "land.geojson"'))
    land = tmp_path / "land.geojson"
    for text, told in (
        ("no map", "the layer cannot be read"),
        (gpd.GeoSeries([Point(-70, 45.3)], crs="EPSG:4326").to_json(), "holds no polygon"),
    ):
        land.write_text(text)
        with pytest.raises(ProblemsError, match=told):
            refresh(load_settings(path), today=TODAY)
    assert not (tmp_path / "store").exists()


def test_rows_of_a_companion_file_are_accounted_for_one_by_one(tmp_path):
    nothing = ["2", "", "2002-05-05", "", "", "", "-70.1", "45.2"]
    path = region(
        tmp_path, {"one": [GOOD, nothing, ["3", *GOOD[1:3], "3O0", *GOOD[4:]], [*GOOD[:3], "210", *GOOD[4:]]]}
    )
    parts = '[layers]\nfile = "logs.csv"\nkey = ["NO"]\ntop = ["TOP"]\nbottom = ["BOTTOM"]\nmaterial = ["WHAT"]\n'
    (tmp_path / "one.toml").write_text((tmp_path / "one.toml").read_text() + parts)
    logs = [
        "NO,TOP,BOTTOM,WHAT",
        "1,0,20,clay",
        "1,20,200,granite",
        "2,0,9,sand",
        "3,0,9,sand",
        "9,0,9,sand",
        "1,9,2,x",
    ]
    (tmp_path / "logs.csv").write_text("\n".join([*logs, "1,2,3,4,5,6"]))
    result = refresh(load_settings(path), today=TODAY)
    held = read_table(tmp_path / "store", "parts_held_back")
    assert sorted(zip(held["file_row"], held["reason"], strict=True)) == [
        (4, "well_held_back"),  # by a rule of plausibility
        (5, "well_held_back"),  # by an unreadable figure
        (6, "no_such_well"),
        (7, "unreadable_layer"),
        (8, "ragged_row"),
    ]
    assert "one: logs.csv: rows read 7 = kept with their wells 2 + held back 5" in result.notes
    assert list(read_table(tmp_path / "store", "layers").columns) == list(LAYER_COLUMNS)


def test_held_back_rows_are_mended_by_hand_and_read_again(tmp_path):
    rows = [
        GOOD,
        ["2", "", "2001-05-05", "3O0", "12", "3", "-70.2", "45.2"],
        ["3", "", "2002-05-05", "", "", "", "-70.1", "45.2"],
    ]
    path = region(tmp_path, {"one": rows})
    first = refresh(load_settings(path))
    assert (first.counts["kept"], first.counts["held_back"], first.counts["mended"]) == (1, 2, 0)
    held = read_table(tmp_path / "store", "held_back")
    assert set(held["reason"]) == {"unreadable_reading", "nothing_to_learn"}
    # The row that the rules set aside keeps its own text and its own place in the file.
    aside = held[held["reason"] == "nothing_to_learn"].iloc[0]
    assert json.loads(aside["original"])["NO"] == "3"
    assert aside["file_row"] == 4
    sheet = (first.version / "held_back" / "one.csv").read_text(encoding="utf-8-sig")
    (tmp_path / "mended.csv").write_text(sheet.replace("'3O0", "300"), encoding="utf-8-sig")
    path.write_text(path.read_text().replace('layout = "one.toml"', 'layout = "one.toml"\nmended = "mended.csv"'))
    second = refresh(load_settings(path))
    assert second.counts["rows_read"] == 3
    assert (second.counts["kept"], second.counts["held_back"], second.counts["mended"]) == (2, 1, 1)
    changes = read_table(tmp_path / "store", "changes")
    by_hand = changes[changes["rule"] == "mended_by_hand"]
    assert by_hand[["record_id", "column", "before", "after"]].to_numpy().tolist() == [["one:2", "DEPTH", "3O0", "300"]]
    assert refresh(load_settings(path)).unchanged
    assert not any("mended" in note for note in second.notes)


@pytest.mark.parametrize(
    ("layout_says", "settings_say", "private"),
    [("true", None, True), ("false", None, False), ("true", "false", False), ("false", "true", True)],
)
def test_records_are_private_as_the_layout_says_unless_the_settings_say(tmp_path, layout_says, settings_say, private):
    path = region(tmp_path, {"one": [GOOD]})
    layout = tmp_path / "one.toml"
    layout.write_text(layout.read_text().replace("\n[text]", f"private = {layout_says}\n\n[text]", 1))
    if settings_say:
        said = f'layout = "one.toml"\nprivate = {settings_say}'
        path.write_text(path.read_text().replace('layout = "one.toml"', said))
    refresh(load_settings(path))
    assert read_wells(tmp_path / "store")["private"].to_list() == [private]


def test_a_column_that_is_blank_in_all_held_back_rows_is_there_to_be_mended(tmp_path):
    rows = [GOOD, ["2", "", "2001-05-05", "300", "12", "3", "-70.2", ""]]
    path = region(tmp_path, {"one": rows})
    first = refresh(load_settings(path))
    sheet = (first.version / "held_back" / "one.csv").read_text(encoding="utf-8-sig")
    done = CliRunner().invoke(verbs.app, ["held-back", str(path), "--save", str(tmp_path / "held")])
    assert done.exit_code == 0
    assert (tmp_path / "held" / "one.csv").read_text(encoding="utf-8-sig") == sheet
    heading, row = csv.reader(sheet.splitlines())
    assert heading[6:] == (tmp_path / "one.csv").read_text().splitlines()[0].split(",")
    row[heading.index("LAT")] = "45.2"
    with (tmp_path / "mended.csv").open("w", newline="") as file:
        csv.writer(file).writerows([heading, row])
    path.write_text(path.read_text().replace('layout = "one.toml"', 'layout = "one.toml"\nmended = "mended.csv"'))
    second = refresh(load_settings(path))
    assert (second.counts["kept"], second.counts["held_back"], second.counts["mended"]) == (2, 0, 1)


def test_a_mended_row_that_is_still_wrong_is_told(tmp_path):
    rows = [GOOD, *([str(number), "", "2001-05-05", "3O0", "12", "3", "-70.2", "45.2"] for number in range(2, 11))]
    path = region(tmp_path, {"one": rows})
    first = refresh(load_settings(path))
    sheet = (first.version / "held_back" / "one.csv").read_text(encoding="utf-8-sig")
    heading, one, *others = sheet.splitlines(keepends=True)
    sheet = heading + one.replace("'3O0", "310") + "".join(others).replace("'3O0", "3l0")
    (tmp_path / "mended.csv").write_text(sheet, encoding="utf-8-sig")
    path.write_text(path.read_text().replace('layout = "one.toml"', 'layout = "one.toml"\nmended = "mended.csv"'))
    second = refresh(load_settings(path))
    assert (second.counts["mended"], second.counts["held_back"]) == (9, 8)
    assert [note for note in second.notes if "mended" in note] == [
        "one: of 9 mended rows, 8 held back still: row 4 (unreadable reading), row 5 (unreadable reading), "
        "row 6 (unreadable reading), row 7 (unreadable reading), row 8 (unreadable reading), and 3 more"
    ]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([], ["the file has no rows", "source one"]),
        (
            [
                ["8", "", "1994-06-17", "200", "20", "5", "-10.5", "3.5"],
                ["9", "", "1994-06-17", "200", "20", "5", "", ""],
            ],
            ["source one keeps no row", "all 2 rows", "outside", "no_position 1 (first row 3"],
        ),
    ],
)
def test_a_source_of_which_nothing_is_kept_stops_the_run_and_the_dataset_stays(tmp_path, rows, said):
    """A download that broke off after its header must not replace good wells by none."""
    path = region(tmp_path, {"one": [GOOD], "two": [["2", "", "1994-06-17", "300", "20", "5", "-70.1", "45.4"]]})
    before = refresh(load_settings(path), today=TODAY)
    region(tmp_path, {"one": rows, "two": [GOOD]})
    with pytest.raises(ProblemsError) as caught:
        refresh(load_settings(path), today=TODAY)
    assert all(words in str(caught.value) for words in (*said, "the dataset stays as it was"))
    assert len(caught.value.problems) == 1
    assert read_manifest(tmp_path / "store")["counts"] == before.counts
    layout = tmp_path / "one.toml"
    shown = CliRunner().invoke(
        verbs.app, ["check-layout", str(layout), str(tmp_path / "one.csv"), "--settings", str(path)]
    )
    assert shown.exit_code == 2
    assert all(words in shown.output for words in said)


def test_a_first_run_of_which_nothing_is_kept_says_that_nothing_was_written(tmp_path):
    path = region(tmp_path, {"one": []})
    with pytest.raises(ProblemsError, match="nothing was written"):
        refresh(load_settings(path), today=TODAY)
    assert not (tmp_path / "store").exists()


def test_dates_that_no_format_reads_and_places_turned_round_are_said_and_not_only_counted(tmp_path):
    rows = [[str(n), "", f"0{n}/14/1987", "200", "20", "5", "-70.05", f"45.3{n}"] for n in range(1, 5)]
    rows[0][6:], rows[1][6:] = ["45.31", "-70.05"], ["45.32", "-70.05"]
    rows[2][6] = "70.05"
    path = region(tmp_path, {"one": rows})
    notes = refresh(load_settings(path), today=TODAY).notes
    unread = 'drilled_on: 4 of 4 texts cannot be read and became unknown. Next: add formats = ["%m/%d/%Y"] under dates.'
    assert any(unread in note for note in notes)
    assert "one: 2 places had latitude and longitude swapped and were turned round" in notes
    assert "one: 1 place had lost the minus sign of the longitude and was put west of Greenwich" in notes
    shown = CliRunner().invoke(
        verbs.app, ["check-layout", str(tmp_path / "one.toml"), str(tmp_path / "one.csv"), "--settings", str(path)]
    )
    assert shown.exit_code == 0, "they stop no run"
    assert "2 places had latitude and longitude swapped and were turned round (file one.csv, row 2)" in shown.output
    assert 'add formats = ["%m/%d/%Y"] under dates.drilled_on' in shown.output


def test_a_few_texts_that_cannot_be_read_are_left_to_the_ledger(tmp_path):
    rows = [[str(n), "", "1994-06-17" if n else "in June", "200", "20", "5", "-70.05", f"45.3{n}"] for n in range(4)]
    assert not any("became unknown" in note for note in refresh(load_settings(region(tmp_path, {"one": rows}))).notes)


@pytest.mark.parametrize("distinct", [False, True])
def test_rows_that_are_copies_are_named(tmp_path, distinct):
    other = ["2", "", "1994-06-17", "300", "20", "5", "-70.1", "45.4"]
    path = region(tmp_path, {"one": [GOOD, other, GOOD]}, "distinct = true" if distinct else "")
    result = refresh(load_settings(path), today=TODAY)
    assert result.counts["rows_read"] == 3
    assert not distinct or result.counts["kept"] == 3
    (told,) = [note for note in result.notes if "copied letter" in note]
    stay = [note for note in result.notes if "stays beside the first" in note]
    assert len(stay) == (0 if distinct else 1), "no permit, owner or address says that they are one"
    assert "1 row copied letter by letter: row 4 is the same as row 2" in told
    assert ("`distinct`" in told) == distinct


def test_where_a_record_without_a_number_stands_in_its_file_is_kept(tmp_path):
    nameless = ["", "", "1995-06-17", "300", "20", "5", "-70.1", "45.4"]
    path = region(tmp_path, {"one": [GOOD, nameless]})
    refresh(load_settings(path), today=TODAY)
    (row,) = read_table(load_settings(path).region.store, "file_rows").to_dict("records")
    assert (row["source"], row["file_row"]) == ("one", 3), "the header is row 1; the first has its number"
    assert row["record_id"].startswith("one:#")
