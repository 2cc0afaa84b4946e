"""Lots and plans as they come: parts, holes, other coordinate systems, streams across, slips; areas worked by hand."""

import geopandas as gpd
import numpy as np
import pytest
from shapely import LineString, MultiPolygon, Point, Polygon, box
from site_fixtures import PLANE, make_lot, make_plan, make_settings

from wellrecords.errors import ProblemsError
from wellrecords.siting import site_lot

SQUARE = box(0, 0, 300, 300)
TEN = make_settings(property_line=10)
FIELD = make_settings(drain_field=100)
ROUND_FIELD = make_plan(("drain_field", Point(150, 150)))


@pytest.mark.parametrize(
    ("lot", "plan", "rules", "ground_ft2"),
    [
        # Two squares of 100 ft, 10 ft off each edge.
        (MultiPolygon([box(0, 0, 100, 100), box(200, 0, 300, 100)]), None, TEN, 2 * 80.0**2),
        # A hole of 100 ft (another's land): kept 10 ft off, its corners rounded outwards.
        (SQUARE.difference(box(100, 100, 200, 200)), None, TEN, 280.0**2 - (100.0**2 + 4 * 100 * 10 + np.pi * 10**2)),
        # No plan, and a plan without a feature: the boundary alone.
        (SQUARE, None, TEN, 280.0**2),
        (SQUARE, ROUND_FIELD.iloc[:0], TEN, 280.0**2),
        # A stream from edge to edge: 25 ft on either side.
        (SQUARE, make_plan(("stream", LineString([(-50, 150), (350, 150)]))), make_settings(stream=25), 300 * 250.0),
        # A neighbour's field, 20 ft beyond the line.
        (SQUARE, make_plan(("drain_field", box(320, 0, 340, 300))), FIELD, 300 * 220.0),
        # An outline drawn as a bow: its two triangles.
        (Polygon([(0, 0), (300, 300), (300, 0), (0, 300)]), None, make_settings(), 300**2 / 2),
        # Heights on the corners do not matter.
        (Polygon([(0, 0, 1), (300, 0, 1), (300, 300, 2), (0, 300, 2)]), None, TEN, 280.0**2),
    ],
)
def test_areas_agree_with_those_worked_by_hand(lot, plan, rules, ground_ft2):
    assert site_lot(make_lot(lot), plan, rules).ground_area_ft2 == pytest.approx(ground_ft2, rel=1e-3)


@pytest.mark.parametrize("crs", ["EPSG:26919", "EPSG:3857", "EPSG:4326", "EPSG:2249"])
def test_lot_and_plan_may_be_in_any_two_systems(crs):
    """A circle of 100 ft in a square of 300 ft: 58,584 square feet are left."""
    siting = site_lot(make_lot(SQUARE).to_crs(crs), ROUND_FIELD.to_crs("EPSG:4326"), FIELD)
    assert siting.ground_area_ft2 == pytest.approx(300**2 - np.pi * 100**2, rel=1e-3)


def test_both_parts_of_a_lot_have_places():
    parts = MultiPolygon([box(0, 0, 100, 100), box(200, 0, 300, 100)])
    places = site_lot(make_lot(parts), None, make_settings(property_line=10, candidates=40)).candidates
    assert {x < 0 for x in places["x_ft"]} == {True, False}


@pytest.mark.parametrize(("miles", "told"), [(0.5, False), (6.0, True)])
def test_a_lot_larger_than_a_section_is_asked_after(miles, told):
    notes = site_lot(make_lot(box(0, 0, 5280 * miles, 5280 * miles)), None, TEN).notes
    assert (
        any(note.startswith("The lot as drawn covers 36.0 square miles: check its outline.") for note in notes) == told
    )


def features(**columns):
    count = len(next(iter(columns.values())))
    return gpd.GeoDataFrame(columns, geometry=[LineString([(150, 0), (150, 300)])] * count, crs=PLANE)


@pytest.mark.parametrize(
    ("lot", "plan", "code"),
    [
        (Point(0, 0), None, "lot_no_polygon"),
        (LineString([(0, 0), (1, 1)]), None, "lot_no_polygon"),
        (Polygon([(0, 0), (300, 0), (300, 0), (0, 0)]), None, "lot_no_ground"),
        (SQUARE, make_plan(("drain_field", box(90_000, 0, 90_100, 300))), "feature_far"),
        (SQUARE, gpd.GeoDataFrame({"kind": ["drain_field"]}, geometry=[Point(45.2, -69.9)], crs=4326), "feature_far"),
        (SQUARE, features(kind=[None]), "feature_no_kind"),
        (SQUARE, features(kind=["duck pond"]), "kind_without_setback"),
        (SQUARE, features(kind=["overhead_line"], voltage_kv=["many"]), "line_voltage"),
        (SQUARE, features(kind=["overhead_line"], voltage_kv=[-5.0]), "line_voltage"),
    ],
)
def test_slips_are_told_and_not_computed_with(lot, plan, code):
    with pytest.raises(ProblemsError) as caught:
        site_lot(make_lot(lot), plan, make_settings(drain_field=100, overhead_line=0))
    assert [problem.code for problem in caught.value.problems] == [code]
    assert "Next: " in str(caught.value)


def test_a_voltage_written_as_text_is_read():
    for written in (40.0, "40", " 40.0 "):
        siting = site_lot(
            make_lot(SQUARE), features(kind=["overhead_line"], voltage_kv=[written]), make_settings(overhead_line=0)
        )
        assert siting.features["mast_clearance_ft"].iloc[1] == 10 + 5


@pytest.mark.parametrize(
    ("written", "meant"),
    [("leach field", "drain_field"), ("Creek", "stream"), ("septic tnak", "septic_tank"), ("duck pond", None)],
)
def test_an_unknown_kind_is_told_with_the_one_that_may_be_meant_and_those_that_there_are(written, meant):
    with pytest.raises(ProblemsError) as caught:
        site_lot(make_lot(SQUARE), features(kind=[written]), make_settings(drain_field=100, stream=25, septic_tank=50))
    (problem,) = caught.value.problems
    assert problem.rule.startswith("the kinds of the setbacks file are ")
    assert "drain_field, stream, septic_tank" in problem.rule
    asked = f"did you mean {meant}? Else add [kinds." if meant else "add [kinds.duck_pond] with label"
    assert problem.next_step.startswith(asked)
