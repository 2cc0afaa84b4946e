"""Candidate places, their ways and their costs."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box, union_all
from site_fixtures import PLANE, make_lot, make_plan, make_settings

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.siting import (
    PlaceCosts,
    describe,
    load_siting_settings,
    read_site_plans,
    site_lot,
    site_lots,
    with_expectation,
)
from wellrecords.siting.routes import find_routes, make_grid
from wellrecords.siting.siting import _moved

ROOT = Path(__file__).parents[2]
SQUARE = box(0, 0, 300, 300)
ROAD = ("road", LineString([(-100, -10), (400, -10)]))


def test_a_way_around_a_wall_is_the_taut_string():
    """From (50, 10) round the end of a wall at (0..80, 45..55) to a goal line at y = 100: two straight pieces."""
    open_ground = box(0, 0, 100, 100).difference(box(-10, 45, 80, 55))
    goal = LineString([(0, 100), (60, 100)])
    grid = make_grid((0, 0, 100, 100), 2.0)
    routes = find_routes(grid, open_ground, goal)
    row, column = 5, 25  # (50, 10)
    way = routes.way(row * grid.x_ft.shape[1] + column)
    taut = np.hypot(30, 35) + 10 + np.hypot(20, 45)
    assert open_ground.covers(way)
    assert way.length == pytest.approx(taut, rel=0.02)
    assert way.length >= taut - 1e-9
    assert routes.length_ft[row, column] >= way.length - 1e-9


def test_no_way_is_infinite():
    routes = find_routes(
        make_grid((0, 0, 100, 100), 5.0), union_all([box(0, 0, 40, 100), box(60, 0, 100, 100)]), Point(80, 50)
    )
    assert np.isinf(routes.length_ft[10, 2])
    assert routes.way(10 * 21 + 2) is None


def even_lot():
    """The western half of lot and plan is the mirror image of the eastern."""
    plan = make_plan(ROAD, ("house", box(130, 100, 170, 140)), ("drain_field", box(120, 180, 180, 220)))
    return site_lot(make_lot(SQUARE), plan, make_settings(road=25, house=10, drain_field=100, candidates=6))


def test_of_places_that_cost_the_same_the_western_comes_first():
    places = even_lot().candidates
    costs = places["net_usd"].to_numpy()
    tied = np.flatnonzero(np.diff(costs) < 0.01)
    assert len(tied), "an even lot has places that tie"
    x_ft = places["x_ft"].to_numpy()
    assert (x_ft[tied] < x_ft[tied + 1]).all()
    assert (np.diff(costs) > -0.01).all()


def test_a_difference_that_the_records_cannot_tell_leaves_the_places_in_their_order():
    siting = even_lot()
    count = len(siting.candidates)

    def ranked(more_usd):
        expected = pd.DataFrame({"expected_cost_usd": 10_000.0, "expected_yield_gpm": 5.0}, index=range(count))
        expected["expected_cost_usd"] += np.asarray(more_usd)
        again, _ = with_expectation(siting, expected, PlaceCosts(trench_usd_per_ft=30, access_usd_per_ft=5))
        return again.candidates["longitude"].tolist()

    before = siting.candidates["longitude"].tolist()
    assert ranked(np.linspace(180, 0, count)) == before
    assert ranked([300, *[0] * (count - 1)]) == [*before[1:], before[0]]


@given(st.lists(st.floats(0, 2000), min_size=1, max_size=8), st.floats(0, 500))
def test_no_place_stands_ahead_of_one_that_is_surely_cheaper(net_usd, within_usd):
    net = np.array(net_usd)
    order = _moved(np.arange(len(net)), np.zeros(len(net), dtype=int), net, within_usd)
    assert sorted(order.tolist()) == list(range(len(net)))
    for first, place in enumerate(order):
        assert (net[place] <= net[order[first:]] + within_usd + 1e-9).all()
    if np.ptp(net) <= within_usd:
        assert order.tolist() == list(range(len(net)))


def test_straight_ways_are_exact():
    """No obstacles: access is the distance to the road, the trench the distance to the house."""
    plan = make_plan(ROAD, ("house", box(130, 130, 170, 170)))
    siting = site_lot(make_lot(SQUARE), plan, make_settings(property_line=10, road=25, house=10))
    house, road = plan.geometry.iloc[1], plan.geometry.iloc[0]
    for place, shape in zip(
        siting.candidates.to_dict("records"), siting.candidates.to_crs(PLANE).geometry, strict=True
    ):
        assert place["rig_access"]
        assert place["access_ft"] >= shape.distance(road) - 1e-6
        assert place["trench_ft"] == pytest.approx(shape.distance(house), rel=1e-6)
        assert place["cost_usd"] == pytest.approx(30 * place["trench_ft"] + 5 * place["access_ft"])
    assert (siting.candidates["net_usd"].diff().dropna() >= -0.01).all()
    best = siting.candidates.iloc[0]
    # The trench costs six times the access: the well stands by the house, 10 ft off (a grid's step aside).
    assert best["trench_ft"] <= 20


def test_the_rig_does_not_drive_over_the_drain_field_or_the_house():
    plan = make_plan(ROAD, ("house", box(60, 60, 240, 90)), ("drain_field", box(-10, 95, 200, 110)))
    siting = site_lot(make_lot(SQUARE), plan, make_settings(road=25, house=10, drain_field=50))
    way = siting.ways[(siting.ways["way"] == "access") & (siting.ways["rank"] == 1)].to_crs(PLANE).geometry.iloc[0]
    for obstacle in plan.geometry.iloc[1:]:
        assert way.distance(obstacle) >= 6 - 0.01  # half of the rig's 12 ft
    assert way.length == pytest.approx(siting.candidates["access_ft"].iloc[0])


def test_the_trench_goes_around_the_field():
    """Well ground and house on either side of a long field: the trench keeps 10 ft from it, around its end."""
    field = box(40, 140, 290, 160)
    plan = make_plan(("drain_field", field), ("house", box(140, 200, 180, 230)))
    siting = site_lot(make_lot(box(0, 0, 300, 240)), plan, make_settings(drain_field=100, house=10))
    (ground,) = siting.ground.to_crs(PLANE).geometry
    assert ground.bounds[3] == pytest.approx(140 - np.sqrt(100**2 - 40**2), abs=0.01)  # at the west edge
    trench = siting.ways[(siting.ways["way"] == "trench") & (siting.ways["rank"] == 1)].to_crs(PLANE).geometry.iloc[0]
    assert trench.distance(field) >= 10 - 0.3  # a chord of the rounded corner
    assert trench.length > siting.candidates.to_crs(PLANE).geometry.iloc[0].distance(plan.geometry.iloc[1])


@pytest.mark.parametrize(
    ("features", "why"),
    [
        (
            [("house", box(400, 100, 440, 130))],
            "the house lies 100 ft off the lot, and a trench is looked for on the lot alone",
        ),
        (
            [("drain_field", box(200, 200, 260, 230)), ("house", box(210, 205, 250, 225))],
            "the house stands on or within 10 ft of the drain field, where no trench may lead",
        ),
        (
            [("drain_field", box(200, 200, 300, 300).difference(box(220, 220, 280, 280))), ("house", Point(250, 250))],
            "what a trench may not cross lies all the way between",
        ),
        ([], "the site plan shows no house"),
    ],
)
def test_why_no_place_has_a_trench_is_told_with_what_the_cost_leaves_out(features, why):
    rules = make_settings(drain_field=100, house=10, road=10)
    siting = site_lot(make_lot(SQUARE), make_plan(ROAD, *features), rules)
    assert siting.candidates["trench_ft"].isna().all()
    assert siting.no_trench == why
    told = f"No place has a way for a trench to the house: {why}. The cost of a place is without the trench."
    assert any(note.startswith(told) for note in siting.notes) == bool(features)


def test_where_a_trench_is_found_nothing_is_told_of_it():
    plan = make_plan(("drain_field", box(200, 250, 260, 280)), ("house", box(100, 100, 140, 130)))
    siting = site_lot(make_lot(SQUARE), plan, make_settings(drain_field=100, house=10))
    assert siting.no_trench == ""
    assert "trench" not in " ".join(siting.notes)


def test_a_place_without_a_way_for_the_trench_comes_last():
    """A sewer line cuts the lot in two: the house lies north of it, and so do the best places."""
    plan = make_plan(("sewer_line", LineString([(-50, 150), (350, 150)])), ("house", box(140, 230, 180, 260)))
    siting = site_lot(make_lot(box(0, 90, 300, 300)), plan, make_settings(sewer_line=20, house=10, candidates=200))
    reached = siting.candidates["trench_ft"].notna()
    north = siting.candidates.to_crs(PLANE).geometry.y > 150
    assert reached.tolist() == north.tolist() == sorted(north, reverse=True)
    assert 0 < reached.sum() < len(reached)
    assert "no way for a trench" in siting.candidates["sentence"].iloc[-1].lower()


def test_a_large_lot_with_little_ground_stays_quick_and_finds_it():
    """A square mile with one pocket of 30 by 30 ft between fields: the grid widens, the pocket is found."""
    fields = box(-10, -10, 5290, 5290).difference(box(2000, 2000, 2230, 2230))
    siting = site_lot(
        make_lot(box(0, 0, 5280, 5280)), make_plan(("drain_field", fields)), make_settings(drain_field=100)
    )
    assert siting.ground_area_ft2 == pytest.approx(900, rel=1e-2)
    assert len(siting.candidates)
    assert all(box(2100, 2100, 2130, 2130).contains(place) for place in siting.candidates.to_crs(PLANE).geometry)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(5, 85), st.integers(5, 80), st.integers(4, 50), st.integers(4, 30)), max_size=5))
def test_ways_stay_on_open_ground_and_are_no_shorter_than_straight(walls):
    """Random walls in a square of 100 ft, goal on its upper edge."""
    open_ground = box(0, 0, 100, 100).difference(
        union_all([box(x, y, x + wide, y + deep) for x, y, wide, deep in walls])
    )
    goal = LineString([(0, 100), (100, 100)])
    grid = make_grid((0, 0, 100, 100), 4.0)
    routes = find_routes(grid, open_ground, goal)
    for row, column in [(1, 1), (1, 12), (1, 24)]:
        way = routes.way(row * grid.x_ft.shape[1] + column)
        if way is None:
            continue
        assert way.difference(open_ground).length <= 4.0
        assert 100 - grid.y_ft[row, column] - 1e-9 <= way.length <= routes.length_ft[row, column] + 1e-9


def test_ground_that_the_rig_cannot_reach_comes_last_and_is_told():
    """A stream across the lot: behind it no place is reached."""
    plan = make_plan(ROAD, ("stream", LineString([(-50, 150), (350, 150)])), ("house", box(130, 200, 170, 240)))
    both = site_lot(make_lot(SQUARE), plan, make_settings(road=25, stream=25, house=10, candidates=40))
    assert both.candidates["rig_access"].iloc[0]
    reached = both.candidates["rig_access"].to_numpy(dtype=bool)
    assert (both.candidates.to_crs(PLANE).geometry.y[reached] < 150).all()
    assert (both.candidates.to_crs(PLANE).geometry.y[~reached] > 150).all()
    assert list(reached) == sorted(reached, reverse=True)
    far_side = make_lot(box(0, 151, 300, 300))
    none = site_lot(far_side, plan, make_settings(road=25, stream=25, house=10))
    assert not none.candidates["rig_access"].any()
    assert any("rig reaches none" in note for note in none.notes)
    assert "no way in for the rig" in none.candidates["sentence"].iloc[0].lower()


def test_steep_ground_is_no_way():
    """A plane that rises 1 ft in 4 (25 %) beyond y = 150 ft: the rig climbs 20 %."""
    lot = make_lot(SQUARE)
    _, south, _, north = lot.to_crs("EPSG:4326").total_bounds

    def hill(longitude, latitude):
        y_ft = 300 * (latitude - south) / (north - south)
        return 100 + 0.02 * y_ft + 0.25 * np.maximum(y_ft - 150, 0)

    siting = site_lot(lot, make_plan(ROAD), make_settings(road=25, candidates=60), elevation_ft=hill)
    reached = siting.candidates[siting.candidates["rig_access"]]
    assert reached["slope_percent"].min() == pytest.approx(2, abs=0.1)
    assert reached["slope_percent"].max() <= 20
    assert (siting.candidates.loc[~siting.candidates["rig_access"], "slope_percent"] > 13).all()


def test_expected_cost_and_yield_rank_the_places():
    """By money alone the well stands by the road; a job that is dearer there, or a better yield far off, moves it."""
    rules = make_settings(property_line=10, road=25)
    siting = site_lot(make_lot(SQUARE), make_plan(ROAD), rules)
    count, farthest = len(siting.candidates), len(siting.candidates) - 1
    dear_near = pd.DataFrame({"expected_cost_usd": 9000.0 - 400.0 * np.arange(count), "expected_yield_gpm": 5.0})
    moved, order = with_expectation(siting, dear_near, rules.costs)
    assert order[0] == farthest
    assert moved.candidates["rank"].tolist() == list(range(1, count + 1))
    assert moved.candidates["access_ft"].iloc[0] == siting.candidates["access_ft"].iloc[farthest]
    # Distances and ways follow their place.
    for table, column in ((siting.distances, "distance_ft"), (siting.ways, "length_ft")):
        after = (moved.distances if column == "distance_ft" else moved.ways).query("rank == 1")[column]
        assert after.tolist() == table[table["rank"] == farthest + 1][column].tolist()

    worth = rules.costs.model_copy(update={"yield_worth_usd_per_gpm": 300.0})
    wet = pd.DataFrame({"expected_cost_usd": 9000.0, "expected_yield_gpm": np.arange(count) * 1.0})
    watered, order = with_expectation(siting, wet, worth)
    assert order.tolist() == list(range(count))[::-1]
    assert watered.candidates["net_usd"].tolist() == [9000.0 - 300.0 * gpm for gpm in range(count)][::-1]


def test_a_place_that_the_rig_does_not_reach_stays_last_however_cheap():
    plan = make_plan(ROAD, ("stream", LineString([(-50, 150), (350, 150)])))
    rules = make_settings(road=25, stream=25, candidates=40)
    siting = site_lot(make_lot(SQUARE), plan, rules)
    reached = siting.candidates["rig_access"].to_numpy(dtype=bool)
    cheap = pd.DataFrame({"expected_cost_usd": np.where(reached, 20_000.0, 1.0), "expected_yield_gpm": 5.0})
    ranked, _ = with_expectation(siting, cheap, rules.costs)
    assert ranked.candidates["rig_access"].tolist() == sorted(reached, reverse=True)


def test_without_prices_places_are_ranked_by_feet_and_no_money_is_told():
    rules = make_settings(property_line=10, road=25, house=10)
    rules = rules.model_copy(update={"costs": PlaceCosts()})
    siting = site_lot(make_lot(SQUARE), make_plan(ROAD, ("house", box(130, 130, 170, 170))), rules)
    feet = siting.candidates["trench_ft"] + siting.candidates["access_ft"]
    assert siting.candidates["cost_usd"].isna().all()
    assert feet.tolist() == sorted(feet)


def test_places_keep_apart_and_small_parts_are_found():
    rules = make_settings(property_line=10)
    siting = site_lot(make_lot(SQUARE), None, rules)
    points = siting.candidates.to_crs(PLANE).geometry
    assert min(a.distance(b) for i, a in enumerate(points) for b in points[i + 1 :]) >= 20 - 1e-6
    # A pocket of 4 by 4 ft between the lines of the 10 ft grid.
    pocket = site_lot(make_lot(box(2, 2, 26, 26)), None, rules.model_copy(update={"least_ground_ft2": 5.0}))
    assert pocket.ground_area_ft2 == pytest.approx(16, rel=1e-3)
    assert len(pocket.candidates) == 1


def test_the_result_is_the_same_each_time_and_describes_itself():
    plan = make_plan(ROAD, ("house", box(130, 130, 170, 170)), ("drain_field", Point(50, 250)))
    rules = make_settings(property_line=10, road=25, house=10, drain_field=100)
    first, again = (site_lot(make_lot(SQUARE), plan, rules) for _ in range(2))
    pd.testing.assert_frame_equal(pd.DataFrame(first.candidates), pd.DataFrame(again.candidates))
    text = describe(first)
    assert text[0].startswith("Lot L1: a well may stand on ")
    assert any("Place 1: " in line for line in text)
    assert any("811" in line for line in text)


def test_the_sample_setbacks_load_and_agree_with_their_sources():
    """Each kind that names New York as its example carries the published value."""
    sample = load_siting_settings(ROOT / "sample_records" / "setbacks.toml")
    published = pd.read_csv(ROOT / "tests" / "reference" / "setbacks.csv")
    new_york = published[published["inputs"] == "New York"].set_index("kind")["value"]
    named = {kind: rule for kind, rule in sample.kinds.items() if "10 NYCRR" in rule.source}
    assert len(named) >= 6
    for kind, rule in named.items():
        assert rule.setback_ft == new_york[kind]
    assert sample.kinds["sewer_line"].setback_ft == published.set_index("id").loc["201d", "value"]
    overhead = published.set_index("id")
    reach = sample.rig.mast_reach_ft
    assert sample.rig.mast_clearance_ft(50) == overhead.loc["212a", "value"] + reach
    assert sample.rig.mast_clearance_ft(200) == overhead.loc["212b", "value"] + reach
    assert sample.rig.mast_clearance_ft(None) == overhead.loc["213", "value"] + reach
    assert "LOCAL CODE GOVERNS" in (ROOT / "sample_records" / "setbacks.toml").read_text().splitlines()[0]


def test_wrong_settings_are_told(tmp_path):
    file = tmp_path / "setbacks.toml"
    with pytest.raises(WellRecordsError, match="There is no setbacks file"):
        load_siting_settings(file)
    file.write_text("tolerance_ft = -1\ncolour = 3\n")
    with pytest.raises(ProblemsError) as caught:
        load_siting_settings(file)
    assert {problem.column for problem in caught.value.problems} >= {"tolerance_ft", "colour", "kinds", "rig"}
    sample = (ROOT / "sample_records" / "setbacks.toml").read_text()
    file.write_text(sample.replace("[kinds.property_line]", "[kinds.deed_line]"))
    with pytest.raises(ProblemsError, match="property_line"):
        load_siting_settings(file)


def test_what_only_the_neighbours_plan_has_by_a_lot_is_told():
    """A field 40 ft off, asked to keep 100 ft, counts only if it is drawn for this lot too."""
    lots = pd.concat([make_lot(SQUARE), make_lot(box(300, 0, 600, 300))], ignore_index=True)
    lots["lot_id"] = ["west", "east"]
    house, field = ("house", box(130, 130, 170, 170)), ("drain_field", box(340, 100, 380, 140))
    far = ("drain_field", box(500, 100, 540, 140))
    rules = make_settings(drain_field=100, house=10, tolerance_ft=3)
    alone = make_plan(house, field, far, lot_id=["west", "east", "east"])
    west, east = site_lots(lots, alone, rules)
    assert (west.left_out, east.left_out) == (west.notes[0], "")
    assert west.left_out.startswith(
        "Other lots' plans show what this lot's does not, nearer than its setback: drain field (40 ft off). The places "
    )
    for both in (
        make_plan(house, field, field, lot_id=["west", "east", "west"]),
        make_plan(house, field, ("house", box(500, 0, 520, 20)), lot_id=["west", None, "east"]),
    ):
        assert [siting.left_out for siting in site_lots(lots, both, rules)] == ["", ""]


def test_a_fault_of_a_plan_of_several_lots_names_the_row_of_the_file():
    plan = make_plan(("house", Point(9, 9)), ("house", Point(5, 5)), ("pond", Point(6, 6)), lot_id=["B", "L1", "L1"])
    with pytest.raises(ProblemsError) as caught:
        site_lots(make_lot(SQUARE), plan, make_settings(house=10))
    assert [problem.row for problem in caught.value.problems] == [3]


def test_a_plan_in_metres_that_states_no_system_is_refused(tmp_path):
    """Read as degrees its features would lie nowhere, and distances to them are no numbers."""
    plan = make_plan(("house", box(0, 0, 30, 30)), ("well", Point(0, 0))).to_crs("EPSG:26919")
    unstated = plan.set_crs("EPSG:4326", allow_override=True)
    unstated.to_file(tmp_path / "plan.geojson")
    with pytest.raises(ProblemsError) as caught:
        read_site_plans(tmp_path / "plan.geojson")
    (problem,) = caught.value.problems
    assert problem.what == "2 features of the site plan are drawn in numbers that are no degrees"
    assert "states no coordinate system is read as degrees" in problem.rule
    assert "save the plan in degrees (WGS84, EPSG:4326), or with its coordinate system stated" in problem.next_step
    plan.to_file(tmp_path / "plan.gpkg")
    assert len(read_site_plans(tmp_path / "plan.gpkg")) == 2


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("lot_id", [None, "L1"])
def test_a_feature_that_lies_nowhere_on_earth_is_said_to(lot_id):
    nowhere = make_plan(
        ("well", Point(4e5, 5e6)), ("house", Point(-69.9, 45.2)), crs="EPSG:4326", lot_id=[lot_id, "L1"]
    )
    lot = make_lot(SQUARE)
    if lot_id is None:
        assert list(site_lots(lot, nowhere, make_settings(well=10, house=10))[0].features["kind"])[1:] == ["house"]
        return
    with pytest.raises(ProblemsError, match="nowhere on earth"):
        site_lots(lot, nowhere, make_settings(well=10, house=10))


def test_plans_of_several_lots_are_read_from_one_file(tmp_path):
    """Features go by lot_id; one without is shared by the lots near it; lots that are points are passed over."""
    lots = pd.concat([make_lot(SQUARE), make_lot(box(0, 300, 300, 600)), make_lot(Point(5, 5))], ignore_index=True)
    lots["lot_id"] = ["north", "south", "pin"]
    plans = make_plan(
        ("drain_field", Point(150, 150)), ("stream", LineString([(-9, 300), (309, 300)])), lot_id=["north", None]
    )
    plans.to_crs("EPSG:4326").to_file(tmp_path / "plans.geojson")
    rules = make_settings(drain_field=100, stream=25)
    north, south = site_lots(lots, read_site_plans(tmp_path / "plans.geojson"), rules)
    assert [north.lot_id, south.lot_id] == ["north", "south"]
    assert south.ground_area_ft2 == pytest.approx(300 * 275, rel=1e-3)
    assert north.ground_area_ft2 == pytest.approx(300 * 275 - np.pi * 100**2, rel=1e-3)
    with pytest.raises(WellRecordsError, match="There is no site plan file"):
        read_site_plans(tmp_path / "absent.geojson")
