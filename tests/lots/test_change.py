"""What would change a lot's answer: each change moves it the way that it must, and by a figure that is its own."""

import geopandas as gpd
import pandas as pd
import pytest
from shapely.geometry import Point

from wellrecords import wording
from wellrecords.lots import EstimateSettings, draw_lot_estimates, three_quantiles
from wellrecords.lots.change import AS_ASKED, DEEPER_LIMIT, GOOD_WELL, POOR_WELL
from wellrecords.simulation import RegionSettings, as_canonical, simulate_region


@pytest.fixture(scope="module")
def ground():
    region = simulate_region(RegionSettings(width_m=6_000.0, height_m=6_000.0), random_state=4)
    holes = region.drill(region.random_places(200, random_state=1), 5.0, 500.0, random_state=2)
    wells, zones = as_canonical(holes, region.settings.crs)
    return wells, zones, wells.geometry.union_all().centroid


def estimate_at(ground, wells=None, **wishes):
    asked = {"target_yield_gpm": 5.0, "max_depth_ft": 400.0} | wishes
    lot = gpd.GeoDataFrame({"lot_id": ["a"]}, geometry=[ground[2]], crs="EPSG:4326")
    settings = EstimateSettings(n_draws=400, **asked)
    return draw_lot_estimates(ground[0] if wells is None else wells, lot, settings, water_zones=ground[1])[0]


@pytest.fixture(scope="module")
def estimate(ground):
    return estimate_at(ground)


def test_less_water_is_surer_and_shallower(estimate):
    table = estimate.by_yield
    assert table["yield_gpm"].is_monotonic_increasing
    assert table["chance_of_target"].is_monotonic_decreasing
    assert table["depth_p50_ft"].is_monotonic_increasing
    asked = table.set_index("yield_gpm").loc[5.0]
    assert asked["chance_of_target"] == estimate.chance_of_target
    # The very figure of the page's first lines, not one of the two draws beside the middle.
    assert asked["depth_p50_ft"] == three_quantiles(estimate, "depth_to_target_ft")[1]
    assert wording.depth(asked["depth_p50_ft"]).removesuffix(" ft") in estimate.technical_words
    assert f"Chance of 5 gpm by 400 ft {wording.percent(estimate.chance_of_target)};" in estimate.technical_words


def test_the_question_asked_outright_has_the_same_answer(ground, estimate):
    """2 gpm, and then the deeper limit, asked as the lot's own wish."""
    two = estimate_at(ground, target_yield_gpm=2.0)
    assert estimate.by_yield.set_index("yield_gpm").loc[2.0, "chance_of_target"] == two.chance_of_target
    deeper = estimate.changes.set_index("change").loc[DEEPER_LIMIT]
    assert deeper["max_depth_ft"] == 500.0
    assert estimate_at(ground, max_depth_ft=500.0).chance_of_target == deeper["chance_of_target"]


@pytest.mark.parametrize("gpm", [0.5, 2.0, 5.0, 10.0])
def test_the_estimate_for_another_yield_is_that_of_the_question_asked_outright(ground, estimate, gpm):
    other, outright = estimate.asked_for(gpm), estimate_at(ground, target_yield_gpm=gpm)
    pd.testing.assert_frame_equal(other.draws, outright.draws, check_exact=True)
    pd.testing.assert_frame_equal(other.target_curve, outright.target_curve, check_exact=True)
    assert (other.target_yield_gpm, other.chance_of_target) == (gpm, outright.chance_of_target)
    assert (other.yield_at_depth(300.0) == outright.yield_at_depth(300.0)).all()
    assert other.notes == ()
    assert other.changes.empty


def test_a_yield_that_was_not_asked_about_is_refused(estimate):
    with pytest.raises(ValueError, match=r"not asked about 7 gpm. Yields that were: 0.5, 1, 2, 3, 5, 10"):
        estimate.asked_for(7.0)


def test_a_good_well_next_door_raises_the_chance_and_a_poor_one_lowers_it(estimate):
    chance = estimate.changes.set_index("change")["chance_of_target"]
    depth = estimate.changes.set_index("change")["depth_p50_ft"]
    assert chance[POOR_WELL] < chance[AS_ASKED] < chance[GOOD_WELL]
    assert depth[GOOD_WELL] < depth[AS_ASKED] < depth[POOR_WELL]
    assert chance[AS_ASKED] == estimate.chance_of_target


def test_drilling_that_well_in_truth_moves_the_answer_alike(ground, estimate):
    """The poor well put among the records, habits and shared figures learnt anew: the answer moves as was said."""
    wells = ground[0]
    rock, water = estimate.draws[["depth_to_bedrock_ft", "depth_to_water_ft"]].median()
    poor = wells.iloc[[0]].assign(
        depth_to_bedrock_ft_low=rock,
        depth_to_bedrock_ft_high=rock,
        depth_to_water_ft_low=water,
        depth_to_water_ft_high=water,
        record_id="next-door",
        total_depth_ft=400.0,
        yield_gpm_low=0.0,
        yield_gpm_high=estimate.dry_below_gpm,
        yield_method="unknown",
        hydrofractured=False,
        position_error_m=0.0,
        longitude=ground[2].x + 50.0 / 78_700.0,
        latitude=ground[2].y,
    )
    poor = poor.set_geometry([Point(poor["longitude"].iloc[0], poor["latitude"].iloc[0])], crs=wells.crs)
    after = estimate_at(ground, pd.concat([wells, poor], ignore_index=True))
    said = estimate.changes.set_index("change").loc[POOR_WELL, "chance_of_target"]
    moved, foretold = (value - estimate.chance_of_target for value in (after.chance_of_target, said))
    assert foretold < -0.01
    assert moved < 0
    assert moved == pytest.approx(foretold, abs=0.03)


def test_where_the_records_cannot_say_nothing_would_be_changed(ground):
    lot = gpd.GeoDataFrame({"lot_id": ["far"]}, geometry=[Point(ground[2].x + 2.0, ground[2].y)], crs="EPSG:4326")
    far = draw_lot_estimates(ground[0], lot, EstimateSettings(n_draws=100))[0]
    assert far.changes.empty
    assert far.by_yield.empty
