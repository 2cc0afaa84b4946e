"""The ground left on a lot, against areas worked by hand."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely import LineString, MultiPoint, Point, Polygon, affinity, box, set_precision
from site_fixtures import PLANE, make_lot, make_plan, make_settings

from wellrecords.errors import ProblemsError
from wellrecords.siting import site_lot
from wellrecords.siting.ground import free_ground, lay_out, zones_of

SETBACKS = pd.read_csv(Path(__file__).parents[1] / "reference" / "setbacks.csv")
SQUARE = box(0, 0, 300, 300)
THOUSANDTH = 1e-3


@pytest.mark.parametrize(
    ("feature", "taken_ft2"),
    [
        # A corner point within the inset square: a quarter circle, 100 ft from the inset's corner.
        (Point(10, 10), math.pi * 100**2 / 4),
        (Point(150, 150), math.pi * 100**2),
        (Point(150, 10), math.pi * 100**2 / 2),
        # A drain line 80 ft long: its strip and two half circles.
        (LineString([(110, 150), (190, 150)]), 80 * 200 + math.pi * 100**2),
        # A field of 40 by 60 ft: itself, four strips, four quarter circles.
        (box(130, 120, 170, 180), 40 * 60 + 2 * (40 + 60) * 100 + math.pi * 100**2),
        # Two risers 40 ft apart: two circles less their lens.
        (
            MultiPoint([(130, 150), (170, 150)]),
            2 * math.pi * 100**2 - (2 * 100**2 * math.acos(40 / 200) - 20 * math.sqrt(4 * 100**2 - 40**2)),
        ),
    ],
    ids=["corner", "middle", "side", "line", "field", "two risers"],
)
def test_square_lot_with_a_drain_field(feature, taken_ft2):
    """The lot is 300 ft square, property lines keep 10 ft, the drain field 100 ft."""
    siting = site_lot(
        make_lot(SQUARE), make_plan(("drain_field", feature)), make_settings(property_line=10, drain_field=100)
    )
    assert siting.lot_area_ft2 == pytest.approx(90_000, rel=1e-6)
    assert siting.ground_area_ft2 == pytest.approx(280**2 - taken_ft2, rel=THOUSANDTH)
    taken = siting.features.set_index("kind").loc["drain_field"]
    assert taken["taken_alone_ft2"] == pytest.approx(taken_ft2, rel=THOUSANDTH)


@pytest.mark.parametrize(
    "row", SETBACKS[SETBACKS["kind"] != "overhead_line"].to_dict("records"), ids=lambda row: row["id"]
)
def test_published_setbacks_take_a_circle(row):
    """A 700 ft square lot with one source of pollution in the middle, at each published setback."""
    siting = site_lot(
        make_lot(box(0, 0, 700, 700)),
        make_plan((row["kind"], Point(350, 350))),
        make_settings(property_line=25, **{row["kind"]: row["value"]}),
    )
    assert siting.ground_area_ft2 == pytest.approx(650**2 - math.pi * row["value"] ** 2, rel=THOUSANDTH)


def test_a_curved_stream_takes_half_a_ring():
    """Half a circle of 100 ft, drawn finely, keeps 25 ft: half a ring of 75 to 125 ft and two half circles."""
    angles = np.linspace(0, math.pi, 181)
    stream = LineString(np.column_stack([300 + 100 * np.cos(angles), 200 + 100 * np.sin(angles)]))
    siting = site_lot(make_lot(box(0, 0, 600, 600)), make_plan(("stream", stream)), make_settings(stream=25))
    taken = siting.features.set_index("kind").loc["stream", "taken_ft2"]
    assert taken == pytest.approx(math.pi / 2 * (125**2 - 75**2) + math.pi * 25**2, rel=THOUSANDTH)


def test_tolerance_shrinks_the_ground_on_all_sides():
    siting = site_lot(make_lot(SQUARE), None, make_settings(property_line=10, tolerance_ft=5))
    assert siting.ground_area_ft2 == pytest.approx(270**2, rel=THOUSANDTH)
    assert any("no site plan" in note for note in siting.notes)


def test_a_building_keeps_its_own_ground_at_setback_0():
    siting = site_lot(make_lot(SQUARE), make_plan(("building", box(100, 100, 150, 140))), make_settings(building=0))
    assert siting.ground_area_ft2 == pytest.approx(90_000 - 50 * 40, rel=THOUSANDTH)


def test_a_feature_off_the_lot_and_a_planned_one_count():
    """The neighbour's field lies 40 ft over the line; a strip of 60 ft is lost along a long edge."""
    plan = make_plan(("drain_field", box(340, -500, 400, 800)), status=["proposed"])
    siting = site_lot(make_lot(SQUARE), plan, make_settings(drain_field=100))
    assert siting.ground_area_ft2 == pytest.approx(300 * 240, rel=THOUSANDTH)
    assert siting.features["proposed"].tolist() == [False, True]


@pytest.mark.parametrize(
    ("voltage_kv", "clearance_ft"),
    # 29 CFR 1926.1408 (10 and 15 ft) and the 20 ft rule of a drilling safety guide; the mast reaches 5 ft.
    [(12.0, 15.0), (50.0, 15.0), (115.0, 20.0), (None, 25.0)],
)
def test_overhead_line_keeps_the_mast_clear(voltage_kv, clearance_ft):
    line = LineString([(-50, 150), (350, 150)])
    plan = make_plan(("overhead_line", line), voltage_kv=[voltage_kv])
    siting = site_lot(make_lot(SQUARE), plan, make_settings(overhead_line=0))
    assert siting.ground_area_ft2 == pytest.approx(90_000 - 300 * 2 * clearance_ft, rel=THOUSANDTH)


def test_lengths_and_areas_are_true_on_the_ellipsoid():
    """Areas on the lot's plane against pyproj's geodesic ones, from 10 to 70 degrees north."""
    geod = Geod(ellps="WGS84")
    for latitude in (10.0, 45.0, 70.0):
        lot = Polygon(
            [(20.0, latitude), (20.004, latitude + 0.0005), (20.0045, latitude + 0.003), (20.0, latitude + 0.002)]
        )
        siting = site_lot(make_lot(lot, crs="EPSG:4326"), None, make_settings())
        geodesic_ft2 = abs(geod.geometry_area_perimeter(lot)[0]) / 0.3048**2
        assert siting.ground_area_ft2 == pytest.approx(geodesic_ft2, rel=1e-5)
        west, south, east, north = lot.bounds
        assert siting.zones.crs == "EPSG:4326"
        assert siting.ground.total_bounds == pytest.approx([west, south, east, north], abs=1e-9)


@st.composite
def sites(draw):
    """Return a lot of 200 to 400 ft and up to four features in and around it."""
    width, depth = draw(st.integers(200, 400)), draw(st.integers(200, 400))
    lot = Polygon([(0, 0), (width, draw(st.integers(0, 60))), (width, depth), (draw(st.integers(0, 60)), depth)])
    features = []
    for _ in range(draw(st.integers(1, 4))):
        x, y = draw(st.integers(-60, width + 60)), draw(st.integers(-60, depth + 60))
        across, up = draw(st.integers(5, 60)), draw(st.integers(5, 60))
        shape = draw(
            st.sampled_from([Point(x, y), LineString([(x, y), (x + across, y + up)]), box(x, y, x + across, y + up)])
        )
        features.append((draw(st.sampled_from(["drain_field", "septic_tank", "stream"])), shape))
    return lot, features


def ground_ft2(lot, plan, rules):
    """Return the allowed ground alone, without the search for places that `site_lot` adds."""
    laid = lay_out(lot, plan, rules)
    return free_ground(laid.lot, zones_of(laid), rules.least_ground_ft2).area


RULES = {"property_line": 10.0, "drain_field": 100.0, "septic_tank": 50.0, "stream": 25.0}


@settings(max_examples=30, deadline=None)
@given(sites(), st.sampled_from(sorted(RULES)), st.floats(1, 40))
def test_a_larger_setback_never_gives_more_ground(site, kind, more_ft):
    lot, features = site
    before = ground_ft2(make_lot(lot), make_plan(*features), make_settings(**RULES))
    after = ground_ft2(make_lot(lot), make_plan(*features), make_settings(**(RULES | {kind: RULES[kind] + more_ft})))
    assert after <= before + 1e-6


@settings(max_examples=15, deadline=None)
@given(sites())
def test_every_candidate_keeps_every_setback(site):
    """Distances are measured here on the test's own plane, from the geometry as given."""
    lot, features = site
    siting = site_lot(make_lot(lot), make_plan(*features), make_settings(tolerance_ft=2, **RULES))
    assert siting.candidates.empty == (siting.ground_area_ft2 == 0)
    if siting.candidates.empty:
        return
    for place in siting.candidates.to_crs(PLANE).geometry:
        assert lot.contains(place)
        assert place.distance(lot.boundary) >= 12 - 1e-4
        for kind, shape in features:
            assert place.distance(shape) >= RULES[kind] + 2 - 1e-4
    assert (siting.distances["slack_ft"] >= -1e-6).all()
    assert siting.candidates["slack_ft"].to_numpy() == pytest.approx(
        siting.distances.groupby("rank")["slack_ft"].min().to_numpy()
    )


@settings(max_examples=30, deadline=None)
@given(
    sites(), st.integers(1, 359), st.sampled_from(["EPSG:4326", "EPSG:26919", "EPSG:2802", "EPSG:3857", "EPSG:5070"])
)
def test_the_ground_does_not_depend_on_crs_or_rotation(site, angle, crs):
    lot, features = site
    rules = make_settings(**RULES)
    plain = ground_ft2(make_lot(lot), make_plan(*features), rules)
    turned = make_lot(affinity.rotate(lot, angle, origin=(0, 0)))
    turned_plan = make_plan(*((kind, affinity.rotate(shape, angle, origin=(0, 0))) for kind, shape in features))
    other = ground_ft2(turned.to_crs(crs), turned_plan.to_crs(crs), rules)
    # Ground that is hardly there is judged against a hundredth of the lot.
    assert abs(other - plain) <= THOUSANDTH * max(plain, 0.01 * lot.area)


def test_faults_of_the_plan_are_told_together():
    plan = make_plan(
        ("drain_field", Point(10, 10)),
        ("Slurry Pit", Point(5, 5)),
        ("drain_field", None),
        ("drain_field", Point(9e5, 0)),
    )
    with pytest.raises(ProblemsError) as caught:
        site_lot(make_lot(SQUARE), plan, make_settings(drain_field=100))
    assert [problem.code for problem in caught.value.problems] == [
        "kind_without_setback",
        "feature_no_geometry",
        "feature_far",
    ]
    assert "[kinds.slurry_pit]" in str(caught.value)
    assert "Slurry Pit" in str(caught.value)


def test_a_voltage_without_a_clearance_is_an_error():
    plan = make_plan(("overhead_line", LineString([(0, 0), (9, 9)])), voltage_kv=[765.0])
    with pytest.raises(ProblemsError, match="no clearance is set"):
        site_lot(make_lot(SQUARE), plan, make_settings(overhead_line=0))


def test_lots_and_plans_without_crs_or_outline_are_refused():
    with pytest.raises(ProblemsError, match="the lot has no coordinate system"):
        site_lot(make_lot(SQUARE, crs=None), None, make_settings())
    with pytest.raises(ProblemsError, match="the site plan has no coordinate system"):
        site_lot(make_lot(SQUARE), make_plan(("drain_field", Point(0, 0)), crs=None), make_settings(drain_field=100))
    with pytest.raises(ProblemsError, match="the lot has no outline"):
        site_lot(make_lot(Point(0, 0)), None, make_settings())


def test_inputs_stay_as_they_are():
    lot, plan = make_lot(SQUARE), make_plan(("drain_field", Point(10, 10)))
    lot_before, plan_before = lot.copy(deep=True), plan.copy(deep=True)
    site_lot(lot, plan, make_settings(drain_field=100))
    assert_geodataframe_equal(lot, lot_before)
    assert_geodataframe_equal(plan, plan_before)


def test_a_crossed_outline_is_mended_and_told():
    """A bow tie of two triangles of 100 by 200 ft halves to 2 x 100 * 200 / 2 / 2 ft2."""
    bow_tie = Polygon([(0, 0), (200, 200), (200, 0), (0, 200)])
    siting = site_lot(make_lot(set_precision(bow_tie, 0.0)), None, make_settings())
    assert siting.lot_area_ft2 == pytest.approx(20_000, rel=1e-6)
    assert any("crossed itself" in note for note in siting.notes)
