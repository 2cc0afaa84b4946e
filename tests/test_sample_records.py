"""The sample region: made anew the same, dirty as promised, true underneath."""

import csv
import importlib.util
import json
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer

SAMPLE = Path(__file__).parents[1] / "sample_records"
TEXT_FILES = (
    "completion_reports.csv",
    "completion_layers.csv",
    "well_inventory.csv",
    "sections.geojson",
    "outline.geojson",
    "roads.geojson",
    "streams.geojson",
    "ponds.geojson",
    "lots.geojson",
    "truth/wells.csv",
    "truth/records.csv",
    "truth/faults.csv",
)
FT_PER_M, GPM_PER_LPM = 1.0 / 0.3048, 1.0 / 3.785411784

PLANTED = {
    "completion_reports.csv": """
        year_9999 year_typo year_future date_unreadable zero_level_unknown zero_yield_dry dry_word flowing
        level_above_ground less_than more_than range feet_and_inches fraction not_encountered unit_in_text doubtful_mark
        missing_word trace_word depth_with_letter depth_missing yield_missing water_below_bottom rock_below_bottom
        casing_below_bottom exact_duplicate filed_twice destruction repair deepening replacement neighbour_county
        position_zero position_swapped position_dummy position_truncated position_missing longitude_unsigned
        code_misspelt monitoring_well hydrofractured pumping_test markup_in_text""",
    "well_inventory.csv": """
        year_9999 year_typo zero_level_flowing zero_yield_unknown zero_rock_unknown dry_word flowing level_above_ground
        less_than more_than range not_encountered unit_in_text feet_in_metric_file doubtful_mark depth_with_letter
        water_below_bottom rock_below_bottom exact_duplicate filed_twice destruction repair deepening neighbour_county
        position_zero position_swapped code_misspelt monitoring_well pumping_test section_centroid
        quarter_section_centroid section_only""",
    "firm_log.xlsx": """
        date_as_text date_month_only zero_level_flowing zero_yield_dry dry_word flowing less_than more_than range
        feet_and_inches fraction not_encountered unit_in_text doubtful_mark depth_with_letter water_below_bottom repair
        deepening replacement position_swapped position_missing longitude_unsigned degrees_minutes_seconds
        hydrofractured pumping_test""",
}

CODE_COLUMNS = set(
    """WORK_CODE USE_CODE LOC_METHOD DRILL_METHOD YIELD_METHOD HYDROFRACTURED
    POS KIND PURPOSE RATE_HOW METHOD COUNTY""".split()  # noqa: SIM905
)


def load_maker():
    spec = importlib.util.spec_from_file_location("make_sample_records", SAMPLE / "make_sample_records.py")
    maker = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(maker)
    return maker


@pytest.fixture(scope="module")
def maker():
    return load_maker()


@pytest.fixture(scope="module")
def region(maker):
    return maker.sample_region()


@pytest.fixture(scope="module")
def made(maker, tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    maker.make_sample_records(folder)
    return folder


@pytest.fixture(scope="module")
def truth():
    wells = pd.read_csv(SAMPLE / "truth" / "wells.csv", index_col="well_id", parse_dates=["drilled_on"])
    records = pd.read_csv(SAMPLE / "truth" / "records.csv", dtype=str, keep_default_na=False)
    faults = pd.read_csv(SAMPLE / "truth" / "faults.csv", dtype=str, keep_default_na=False)
    return wells, records, faults


def read_sheets(path):
    from openpyxl import load_workbook

    book = load_workbook(path)
    return {page.title: [[cell.value for cell in line] for line in page.iter_rows()] for page in book}


@pytest.fixture(scope="module")
def cells():
    """Every cell as written, {(file, sheet): {file_row: {column: text}}}."""
    found = {}
    for file, encoding, delimiter in (
        ("completion_reports.csv", "utf-8-sig", ","),
        ("well_inventory.csv", "cp1252", ";"),
    ):
        with (SAMPLE / file).open(encoding=encoding, newline="") as stream:
            found[file, ""] = dict(enumerate(csv.DictReader(stream, delimiter=delimiter), 2))
    for sheet, lines in read_sheets(SAMPLE / "firm_log.xlsx").items():
        top = next(i for i, line in enumerate(lines) if "Town" in line)
        found["firm_log.xlsx", sheet] = {
            i + 1: dict(zip(lines[top], ["" if x is None else x for x in line], strict=True))
            for i, line in enumerate(lines)
            if i > top
        }
    return found


def rows_of(cells, records, file):
    """Return a file's rows as a frame of texts, with the truth about each."""
    of_file = records[records["file"] == file].reset_index(drop=True)
    written = [cells[file, sheet][int(row)] for sheet, row in zip(of_file["sheet"], of_file["file_row"], strict=True)]
    return pd.concat([pd.DataFrame(written), of_file.add_prefix("true_")], axis=1)


def unspoilt(rows, faults, file, *columns):
    """Return the rows in which nothing is planted in the columns, and all are filled."""
    spoilt = faults[(faults["file"] == file) & faults["column"].isin(columns)]
    keys = set(zip(spoilt["sheet"], spoilt["file_row"], strict=True))
    sound = np.array([key not in keys for key in zip(rows["true_sheet"], rows["true_file_row"], strict=True)])
    filled = (rows[list(columns)].astype(str) != "").all(axis=1)
    return rows[sound & filled]


class TestMadeAnew:
    @pytest.mark.parametrize("name", TEXT_FILES)
    def test_text_files_are_the_same_to_the_byte(self, made, name):
        assert (made / name).read_bytes() == (SAMPLE / name).read_bytes()

    def test_the_workbook_is_the_same_and_carries_no_clock(self, made):
        assert read_sheets(made / "firm_log.xlsx") == read_sheets(SAMPLE / "firm_log.xlsx")
        with zipfile.ZipFile(made / "firm_log.xlsx") as archive:
            assert {entry.date_time for entry in archive.infolist()} == {(2024, 12, 31, 12, 0, 0)}
            assert archive.read("docProps/core.xml").count(b"2024-12-31T12:00:00Z") == 2

    def test_the_terrain_is_the_same(self, made):
        rasterio = pytest.importorskip("rasterio")
        with rasterio.open(made / "terrain.tif") as new, rasterio.open(SAMPLE / "terrain.tif") as old:
            assert new.profile == old.profile
            assert np.array_equal(new.read(1), old.read(1))

    def test_all_files_together_are_small(self):
        assert sum(path.stat().st_size for path in SAMPLE.rglob("*.*") if path.suffix != ".pyc") < 4_000_000


class TestCounts:
    def test_as_many_wells_as_promised(self, truth):
        _, records, _ = truth
        rows = records.groupby("file").size()
        assert rows["firm_log.xlsx"] == 600
        wells = records.groupby("file")["well_id"].nunique()
        assert wells["completion_reports.csv"] >= 3_000
        assert wells["well_inventory.csv"] >= 3_000

    def test_the_three_files_overlap_in_part(self, truth):
        _, records, _ = truth
        seen = {file: set(group) for file, group in records.groupby("file")["well_id"]}
        reports, inventory, firm = (seen[f] for f in ("completion_reports.csv", "well_inventory.csv", "firm_log.xlsx"))
        assert len(reports & inventory) > 1_000
        assert 400 < len(firm & reports) < len(firm)
        assert 200 < len(firm & inventory) < len(firm)
        assert len(firm - reports - inventory) > 40

    @pytest.mark.parametrize("file", sorted(PLANTED))
    def test_every_kind_of_dirt_is_there(self, truth, file):
        _, _, faults = truth
        kinds = set(faults.loc[faults["file"] == file, "kind"])
        assert kinds == set(PLANTED[file].split())

    def test_more_than_a_third_of_the_levels_are_missing(self, truth, cells):
        _, records, _ = truth
        assert (rows_of(cells, records, "well_inventory.csv")["LEVEL_M"] == "").mean() > 0.4
        assert (rows_of(cells, records, "completion_reports.csv")["STATIC_LEVEL_FT"] == "").mean() > 0.25


class TestTruthIsOfTheFiles:
    def test_every_record_stands_where_the_truth_says(self, truth, cells):
        _, records, _ = truth
        number = {"completion_reports.csv": "REPORT_NO", "well_inventory.csv": "SITE"}
        for record in records.itertuples():
            row = cells[record.file, record.sheet][int(record.file_row)]
            found = row.get("Job", row.get("Job No.")) if record.file == "firm_log.xlsx" else row[number[record.file]]
            assert found == record.source_record_id

    def test_every_row_of_the_extracts_is_accounted_for(self, truth, cells):
        _, records, _ = truth
        for file in ("completion_reports.csv", "well_inventory.csv"):
            assert len(cells[file, ""]) == (records["file"] == file).sum()

    def test_every_fault_stands_where_the_truth_says(self, truth, cells):
        """The last fault planted in a cell is what the cell shows."""
        _, _, faults = truth
        last = faults.drop_duplicates(["file", "sheet", "file_row", "column"], keep="last")
        assert len(last) > 5_000
        for fault in last[~last["kind"].isin(["filed_twice", "destruction"])].itertuples():
            assert str(cells[fault.file, fault.sheet][int(fault.file_row)][fault.column]) == fault.written

    @pytest.mark.parametrize(
        ("file", "columns"),
        [
            (
                "completion_reports.csv",
                "LAT_DD LON_DD TOTAL_DEPTH_FT CASING_LENGTH_FT CASING_DIAM_IN SCREEN_FROM_FT SCREEN_TO_FT "
                "BEDROCK_DEPTH_FT STATIC_LEVEL_FT YIELD_GPM LAND_ELEV_FT",
            ),
            ("well_inventory.csv", "EAST NORTH ALT_M DEPTH_M CASING_M DIAM_MM ROCK_M LEVEL_M RATE_LPM"),
            ("firm_log.xlsx", "Depth Csg Ledge Static GPM Lat"),
        ],
    )
    def test_what_is_not_noted_is_a_plain_number(self, truth, cells, file, columns):
        _, records, faults = truth
        rows = rows_of(cells, records, file)
        for column in columns.split():
            if file == "firm_log.xlsx":
                rows = rows[rows["true_sheet"] == "1978-1999"]
            texts = unspoilt(rows, faults, file, column)[column].astype(str).str.replace(",", ".")
            assert len(texts) > 80
            assert pd.to_numeric(texts, errors="coerce").notna().all()

    def test_reports_tell_the_truth_where_nothing_is_planted(self, truth, cells):
        wells, records, faults = truth
        file = "completion_reports.csv"
        columns = ("LAT_DD", "LON_DD", "TOTAL_DEPTH_FT", "BEDROCK_DEPTH_FT")
        rows = unspoilt(rows_of(cells, records, file), faults, file, *columns)
        rows = rows[rows["true_work"] == "new"]
        true = wells.loc[rows["true_well_id"]]
        assert np.abs(rows["TOTAL_DEPTH_FT"].astype(float).to_numpy() - true["total_depth_ft"]).max() <= 1.0
        assert np.abs(rows["BEDROCK_DEPTH_FT"].astype(float).to_numpy() - true["depth_to_bedrock_ft"]).max() <= 3.0
        east, north = Transformer.from_crs("EPSG:4326", "EPSG:26919", always_xy=True).transform(
            rows["LON_DD"].astype(float).to_numpy(), rows["LAT_DD"].astype(float).to_numpy()
        )
        away = np.hypot(east - true["easting_m"], north - true["northing_m"])
        by_method = pd.Series(away.to_numpy()).groupby(rows["LOC_METHOD"].to_numpy()).median()
        assert by_method["1"] < 15.0
        assert 30.0 < by_method["2"] < 90.0
        assert by_method["5"] > 500.0

    def test_the_inventory_tells_the_truth_in_its_units_and_datum(self, truth, cells):
        wells, records, faults = truth
        file = "well_inventory.csv"
        rows = unspoilt(rows_of(cells, records, file), faults, file, "EAST", "NORTH", "POS", "DEPTH_M")
        rows = rows[(rows["true_work"] == "new") & (rows["POS"] == "G")]
        true = wells.loc[rows["true_well_id"]]
        depth_ft = rows["DEPTH_M"].str.replace(",", ".").astype(float).to_numpy() * FT_PER_M
        assert np.abs(depth_ft - true["total_depth_ft"]).max() < 1.0
        nad27 = rows[["EAST", "NORTH"]].astype(float).to_numpy().T
        east, north = Transformer.from_crs("EPSG:26719", "EPSG:26919", always_xy=True).transform(*nad27)
        away = np.hypot(east - true["easting_m"], north - true["northing_m"])
        assert np.median(away) < 25.0  # receiver, and the datum shift that a machine without grids reckons
        unshifted = np.hypot(nad27[0] - true["easting_m"], nad27[1] - true["northing_m"])
        assert np.median(unshifted) > 150.0  # taken as NAD83 they would be off by the shift of the datum

    def test_rates_agree_between_the_two_offices(self, truth, cells):
        _, records, faults = truth
        pairs = []
        rates = (("completion_reports.csv", "YIELD_GPM", 1.0), ("well_inventory.csv", "RATE_LPM", GPM_PER_LPM))
        for file, column, factor in rates:
            rows = unspoilt(rows_of(cells, records, file), faults, file, column)
            rows = rows[(rows["true_work"] == "new") & (rows["true_role"] == "first")]
            gpm = rows[column].str.replace(",", ".").astype(float) * factor
            pairs.append(pd.Series(gpm.to_numpy(), index=rows["true_well_id"]))
        both = pd.concat(pairs, axis=1, join="inner")
        assert len(both) > 400
        assert np.abs(np.log(both[0] / both[1])).quantile(0.95) < 0.12

    def test_rates_are_heaped_on_round_gallons(self, truth, cells):
        _, records, faults = truth
        file = "completion_reports.csv"
        rows = unspoilt(rows_of(cells, records, file), faults, file, "YIELD_GPM")
        assert rows["YIELD_GPM"].isin(["3", "4", "5", "6", "7", "8", "10", "12", "15", "20"]).mean() > 0.6
        assert rows["YIELD_GPM"].nunique() < 30


class TestHowTheFilesAreWritten:
    def test_reports_are_utf8_with_a_mark(self):
        assert (SAMPLE / "completion_reports.csv").read_bytes().startswith(b"\xef\xbb\xbfREPORT_NO,")

    def test_inventory_is_windows_1252_with_decimal_commas(self):
        raw = (SAMPLE / "well_inventory.csv").read_bytes()
        with pytest.raises(UnicodeDecodeError):
            raw.decode("utf-8")
        assert "½" in raw.decode("cp1252")
        assert raw.startswith(b"SITE;COUNTY;")

    def test_the_log_has_titles_above_two_different_headers(self):
        sheets = read_sheets(SAMPLE / "firm_log.xlsx")
        assert list(sheets) == ["1978-1999", "2000-2024"]
        assert sheets["1978-1999"][3][:4] == ["Job", "Date", "Town", "Road"]
        assert sheets["2000-2024"][2][:4] == ["Job No.", "Date Drilled", "Town", "Road / Lot"]
        for lines in sheets.values():
            assert "SKERRYDALE" in lines[0][0]
            assert lines[-1][0] == "Wells on this sheet:"

    def test_water_zones_and_layers_are_words(self, cells):
        rows = pd.DataFrame(cells["firm_log.xlsx", "2000-2024"].values())
        assert rows["Water Zones"].str.contains(r"^\d+' ?[\d.]+ ?gpm", regex=True).mean() > 0.3
        assert rows["Formation Log"].str.contains(r"^0-\d+ [\w ,&/]+(?:; \d+-\d+ )", regex=True).mean() > 0.7

    def test_the_readme_names_every_column_and_code(self, truth, cells):
        _, _, faults = truth
        text = (SAMPLE / "README.md").read_text(encoding="utf-8")
        misspelt = set(faults.loc[faults["kind"] == "code_misspelt", "written"])
        for (file, _), rows in cells.items():
            table = pd.DataFrame(rows.values())
            for column in table.columns:
                assert column in text
            for column in set(table.columns) & CODE_COLUMNS:
                for code in set(table[column]) - misspelt - {""}:
                    assert f"`{code}`" in text, (file, column, code)

    def test_layers_belong_to_reports_and_join_up(self, cells):
        layers = pd.read_csv(SAMPLE / "completion_layers.csv", encoding="utf-8-sig", dtype={"REPORT_NO": str})
        reports = {row["REPORT_NO"] for row in cells["completion_reports.csv", ""].values()}
        assert set(layers["REPORT_NO"]) < reports
        assert (layers["FROM_FT"] < layers["TO_FT"]).all()
        assert layers.groupby("REPORT_NO")["FROM_FT"].min().eq(0.0).all()
        above = layers.groupby("REPORT_NO")["TO_FT"].shift()
        assert (above.isna() | (above == layers["FROM_FT"])).all()


class TestTheMap:
    def test_true_wells_are_the_regions(self, truth, region):
        wells, _, _ = truth
        ground = region.at(wells[["easting_m", "northing_m"]].to_numpy())
        assert ground.depth_to_bedrock_ft == pytest.approx(wells["depth_to_bedrock_ft"].to_numpy(), abs=0.006)
        assert ground.depth_to_water_ft == pytest.approx(wells["depth_to_water_ft"].to_numpy(), abs=0.006)

    def test_easterly_gore_is_empty(self, truth):
        wells, _, _ = truth
        in_gore = (wells["easting_m"] > 415_000.0) & (wells["northing_m"] > 5_015_000.0)
        assert not in_gore.any()

    def test_terrain_is_the_regions_in_feet(self, region):
        rasterio = pytest.importorskip("rasterio")
        with rasterio.open(SAMPLE / "terrain.tif") as raster:
            assert raster.crs.to_epsg() == 26919
            assert raster.units == ("ft",)
            assert raster.res == (100.0, 100.0)
            rng = np.random.default_rng(0)
            rows, columns = rng.integers(0, raster.height, 300), rng.integers(0, raster.width, 300)
            centres = np.column_stack(raster.xy(rows, columns))
            found = raster.read(1)[rows, columns]
        assert found == pytest.approx(region.at(centres).elevation_ft, abs=0.51)

    def test_many_wells_crowd_on_section_centres(self, cells):
        sections = gpd.read_file(SAMPLE / "sections.geojson").to_crs("EPSG:26919")
        assert len(sections) == 576
        assert sections.area.to_numpy() == pytest.approx(1609.344**2, rel=1e-3)
        assert sections["section"].is_unique
        centres = sections.set_index("section").centroid
        rows = pd.DataFrame(cells["well_inventory.csv", ""].values())
        rows = rows[rows["POS"] == "S"]
        named = rows["TWP"] + " " + rows["RNG"] + " S" + rows["SEC"].str.zfill(2)
        nad27 = rows[["EAST", "NORTH"]].astype(float).to_numpy().T
        east, north = Transformer.from_crs("EPSG:26719", "EPSG:26919", always_xy=True).transform(*nad27)
        assert np.hypot(east - centres[named].x, north - centres[named].y).max() < 25.0
        assert len(rows) > 1_000
        assert rows[["EAST", "NORTH"]].drop_duplicates().shape[0] < len(rows) / 3

    def test_streams_run_in_valleys_and_downhill(self, region):
        streams = gpd.read_file(SAMPLE / "streams.geojson").to_crs("EPSG:26919")
        assert len(streams) > 20
        steps = [line.interpolate(d) for line in streams.geometry for d in np.arange(100.0, line.length, 300.0)]
        points = np.array([(step.x, step.y) for step in steps])
        turn = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
        around = points[:, None, :] + 500.0 * np.column_stack([np.cos(turn), np.sin(turn)])
        rim = region.at(around.reshape(-1, 2)).elevation_ft.reshape(len(points), 12).mean(axis=1)
        assert (region.at(points).elevation_ft < rim).mean() > 0.9
        start, end = (np.array([line.coords[i] for line in streams.geometry]) for i in (0, -1))
        assert (region.at(start).elevation_ft > region.at(end).elevation_ft).mean() > 0.95

    @pytest.mark.parametrize("name", ["outline", "roads", "streams", "ponds"])
    def test_context_layers_open_and_lie_on_the_region(self, name):
        layer = gpd.read_file(SAMPLE / f"{name}.geojson")
        assert layer.crs.to_epsg() == 4326
        west, south, east, north = layer.to_crs("EPSG:26919").total_bounds
        assert 395_900.0 <= west < east <= 434_100.0
        assert 4_995_900.0 <= south < north <= 5_034_100.0
        assert layer.geometry.is_valid.all()


class TestLots:
    @pytest.fixture
    def lots(self):
        return gpd.read_file(SAMPLE / "lots.geojson").set_index("lot_id")

    @pytest.fixture
    def near(self, lots, truth):
        """Recorded wells by distance to each lot, {lot_id: frame}."""
        wells, records, _ = truth
        homes = wells[wells.index.isin(records["well_id"]) & ~wells["use"].isin(["monitoring", "test"])]
        centres = lots.to_crs("EPSG:26919").centroid
        return {
            lot: homes.assign(distance_m=np.hypot(homes["easting_m"] - place.x, homes["northing_m"] - place.y))
            for lot, place in centres.items()
        }

    def test_lots_are_one_to_four_acres(self, lots):
        acres = lots.to_crs("EPSG:26919").area / 4046.8564224
        assert acres.to_numpy() == pytest.approx(lots["acres"].to_numpy(), rel=2e-3)
        assert acres.between(1.0, 4.01).all()
        assert (lots["persons"].notna() ^ lots["bedrooms"].notna()).all()

    def test_one_is_in_well_covered_ground(self, near):
        assert (near["L-101"]["distance_m"] < 1_000.0).sum() > 100

    def test_one_is_at_the_edge_of_the_records(self, near):
        distance = near["L-102"]["distance_m"]
        assert 1_500.0 < distance.min() < 3_000.0
        assert (distance < 5_000.0).sum() > 100

    def test_one_has_no_record_near(self, near, cells):
        assert near["L-103"]["distance_m"].min() > 6_000.0
        centre = gpd.read_file(SAMPLE / "lots.geojson").set_index("lot_id").to_crs("EPSG:26919").centroid["L-103"]
        rows = pd.DataFrame(cells["completion_reports.csv", ""].values())
        written = rows[["LON_DD", "LAT_DD"]].apply(pd.to_numeric, errors="coerce").dropna().to_numpy().T
        east, north = Transformer.from_crs("EPSG:4326", "EPSG:26919", always_xy=True).transform(*written)
        assert np.nanmin(np.hypot(east - centre.x, north - centre.y)) > 6_000.0

    def test_one_is_in_poor_rock(self, near):
        around = near["L-104"][near["L-104"]["distance_m"] < 1_000.0]
        assert len(around) > 50
        assert (around["rock_unit"] == "slate").all()
        assert around["yield_gpm"].median() < 0.4 * near["L-101"].query("distance_m < 1000")["yield_gpm"].median()

    def test_one_has_flowing_neighbours(self, near):
        around = near["L-105"][near["L-105"]["distance_m"] < 700.0]
        assert len(around) > 20
        assert (around["depth_to_water_ft"] < 0.0).mean() > 0.5

    def test_every_lot_lies_in_the_outline(self, lots):
        outline = gpd.read_file(SAMPLE / "outline.geojson").union_all()
        assert lots.within(outline).all()


def test_geojson_is_one_feature_a_line():
    for path in (SAMPLE / name for name in TEXT_FILES if name.endswith(".geojson")):
        lines = path.read_text(encoding="utf-8").splitlines()
        assert len(json.loads(path.read_text(encoding="utf-8"))["features"]) == len(lines) - 2
