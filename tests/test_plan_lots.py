"""Of which lot a feature of a site plan is: names as people write them, and names of no lot."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely import Point, Polygon, box

from wellrecords.errors import ProblemsError
from wellrecords.placing import SitePlans, plan_notes, site
from wellrecords.plan_lots import find_strays, with_lots_as_known
from wellrecords.siting import load_siting_settings

PLANE = "+proj=tmerc +lat_0=45.2 +lon_0=-69.9 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=ft +no_defs"
FILE = Path("plan.geojson")
KNOWN = ("DRY-1", "wet-2")


@pytest.fixture(scope="module")
def setbacks(request):
    return load_siting_settings(request.config.rootpath / "sample_records" / "setbacks.toml")


@pytest.fixture
def lots():
    """One of the two lots of the file."""
    outline = box(0, 0, 300, 300)
    return gpd.GeoDataFrame({"lot_id": ["DRY-1"]}, geometry=[outline], crs=PLANE).to_crs("EPSG:4326")


def plan(field_lot, field=None, **columns):
    """A house of the lot, and a drain field that says of itself of which lot it is."""
    shapes = [box(200, 200, 240, 230), field or box(50, 50, 90, 80)]
    table = {"lot_id": ["DRY-1", field_lot], "kind": ["house", "drain field"]} | columns
    return gpd.GeoDataFrame(table, geometry=shapes, crs=PLANE)


@pytest.mark.parametrize("written", ["DRY-1", "DRY-1 ", " dry-1", "Dry-1\t", "", "  ", None, np.nan])
def test_blanks_and_case_leave_no_drain_field_out(written, lots, setbacks):
    siting = site(lots, SitePlans(FILE, plan(written), setbacks), KNOWN)["DRY-1"]
    assert list(siting.features["kind"]) == ["property_line", "house", "drain_field"]


def test_numbers_that_a_reader_took_for_decimals_name_their_lot():
    features = gpd.GeoDataFrame({"lot_id": [7.0, np.nan], "kind": ["well"] * 2}, geometry=[Point(0, 0)] * 2, crs=PLANE)
    assert list(with_lots_as_known(features, ["7"])["lot_id"].fillna("blank")) == ["7", "blank"]


def test_lots_that_differ_by_case_alone_are_named_as_they_are(lots):
    named = with_lots_as_known(plan("dry-1"), ["DRY-1", "dry-1"])["lot_id"]
    assert list(named) == ["DRY-1", "dry-1"]
    assert list(with_lots_as_known(plan("Dry-1"), ["DRY-1", "dry-1"])["lot_id"]) == ["DRY-1", "Dry-1"]


@pytest.mark.parametrize(
    ("written", "field", "told", "meant"),
    [
        ("DRY1", None, "lies on lot DRY-1", "write DRY-1 if"),
        ("DRI-1", None, "lies on lot DRY-1", "write DRY-1 if"),
        ("next door", box(-150, 0, -100, 50), "lies 100 ft from lot DRY-1", "write DRY-1 if"),
        ("wet 2", box(-150, 0, -100, 50), "lies 100 ft from lot DRY-1", "write wet-2 if"),
        ("dry_1", box(-900, 0, -800, 50), "has the lot_id of lot DRY-1 but for its spelling", "write DRY-1 if"),
    ],
)
def test_what_lies_by_a_lot_and_is_of_none_is_refused(written, field, told, meant, lots, setbacks):
    with pytest.raises(ProblemsError) as caught:
        site(lots, SitePlans(FILE, plan(written, field), setbacks), KNOWN)
    (problem,) = caught.value.problems
    assert problem.what.startswith("1 feature of the site plan (drain_field) has ")
    assert told in problem.what
    assert problem.next_step.startswith(meant)
    assert (problem.file, problem.row, problem.column, problem.value) == ("plan.geojson", 2, "lot_id", written)


def test_faults_of_the_plan_are_told_with_the_features_of_no_lot(lots, setbacks):
    with pytest.raises(ProblemsError) as caught:
        site(lots, SitePlans(FILE, plan("DRY1", kind=["duck pond", "drain_field"]), setbacks), KNOWN)
    assert [one.code for one in caught.value.problems] == ["feature_of_no_lot", "kind_without_setback"]


@pytest.mark.parametrize(
    ("written", "listed"),
    [("hill", "hill"), ("wet-3", "wet-3 (is wet-2 meant?)"), ("dry-2", "dry-2 (is DRY-1 meant?)")],
)
def test_features_of_other_lots_elsewhere_are_a_note(written, listed, lots, setbacks):
    plans = SitePlans(FILE, plan(written, box(9000, 0, 9100, 50)), setbacks)
    assert list(site(lots, plans, KNOWN)["DRY-1"].features["kind"]) == ["property_line", "house"]
    assert plan_notes(lots, plans, KNOWN) == (
        f"plan.geojson: 1 feature of the site plan is of no lot in the lots file and left out: {listed}. "
        "None lies within 200 ft of a lot asked about.",
    )


def test_lots_of_the_file_that_are_not_asked_about_are_known(lots, setbacks):
    plans = SitePlans(FILE, plan("WET-2", box(350, 0, 400, 50)), setbacks)
    assert "DRY-1" in site(lots, plans, KNOWN)
    assert plan_notes(lots, plans, KNOWN) == ()


def test_of_lots_that_are_points_a_plan_says_nothing(lots, setbacks):
    pins = lots.set_geometry(lots.geometry.representative_point())
    assert plan_notes(pins, SitePlans(FILE, plan("DRY1"), setbacks), KNOWN) == ()
    assert plan_notes(lots, None, KNOWN) == ()


def test_a_feature_that_is_nowhere_lies_by_no_lot(lots, setbacks):
    features = plan("hill").set_geometry([box(0, 0, 9, 9), Polygon()], crs=PLANE)
    assert find_strays(features, KNOWN, lots, setbacks, FILE).problems == ()
