"""When the records can say: each rule of the support in its numbers, and what is said of it."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, SupportSettings, draw_lot_estimates
from wellrecords.lots.support import (
    GOOD,
    NONE,
    THIN,
    cannot_say,
    describe_levels,
    describe_positions,
    describe_support,
    distance,
    rate_support,
    rock_unseen,
)
from wellrecords.simulation import RegionSettings, as_canonical, simulate_region

RULES = SupportSettings()
LOT = np.array([[0.0, 0.0]])


def rated(distances_m, error_m=0.0):
    wells = np.column_stack([distances_m, np.zeros(len(distances_m))])
    return rate_support(LOT, wells, np.full(len(distances_m), error_m), RULES)


@pytest.mark.parametrize(
    ("distances_m", "error_m", "support"),
    [
        ([1_900] * 6, 0.0, GOOD),
        ([1_900] * 5, 0.0, THIN),  # number: six are wanted
        ([2_100] * 60, 0.0, THIN),  # distance: none within 2 km
        ([1_900] * 6, 600.0, THIN),  # position: a section's centroid counts for 0.92
        ([1_900] * 7, 600.0, GOOD),
        ([4_900, 9_000, 9_900], 0.0, THIN),
        ([5_100, 9_000, 9_900], 0.0, NONE),  # nothing within 5 km
        ([4_900, 9_000, 10_100], 0.0, NONE),  # fewer than three within 10 km
        ([], 0.0, NONE),
    ],
)
def test_support_is_defined_in_numbers(distances_m, error_m, support):
    assert rated(distances_m, error_m).support[0] == support


def test_what_is_thin_and_what_would_help_is_said_in_feet_and_miles():
    thin = describe_support(rated([1_900] * 5), 0, RULES)
    assert thin == [
        "Thin records: the wells within 1.2 miles are worth 5.0 well-placed ones, and 6 are wanted; the nearest "
        "stands 1.2 miles away."
    ]
    silent = cannot_say("depth_to_target_ft", 10_500.0, RULES)
    assert "the nearest well that speaks of it is 6.5 miles away" in silent
    assert "What would help: records of 3 wells within 3.1 miles with their depth and yield, or a test hole." in silent
    assert "fewer than 3 wells within 6.2 miles" in cannot_say("yield_gpm", 4_000.0, RULES)
    assert describe_positions(np.array([600.0, 600.0, 5.0]), RULES) == [
        "Most wells around are placed only to within about 0.4 miles."
    ]
    assert describe_positions(np.array([5.0, 600.0, 5.0]), RULES) == []
    assert distance(300.0) == "980 ft"


def test_old_levels_are_noted_and_a_trend_is_told_with_its_doubt():
    rng = np.random.default_rng(3)
    years = rng.uniform(0.0, 30.0, 200)
    steady = rng.normal(0.0, 5.0, 200)
    assert describe_levels(np.full(9, 25.0), np.zeros(9), RULES) == [
        "Water levels around are 25 years old (median); levels change."
    ]
    assert describe_levels(years, steady, RULES) == []
    # Six feet a decade deeper: in the newest wells most.
    (falling,) = describe_levels(years, steady - 0.6 * years, RULES)
    assert falling.startswith("Levels of newer wells around lie 6 ft a decade deeper")
    assert "not falling water" in falling
    assert describe_levels(years[:20], (steady - 0.6 * years)[:20], RULES) == []  # too few to tell


def test_rock_is_unseen_only_where_wells_name_theirs():
    assert rock_unseen("slate", np.array(["granite", "granite", "gneiss", ""]), RULES)
    assert not rock_unseen("Slate ", np.array(["granite", "slate", "gneiss"]), RULES)
    assert not rock_unseen("slate", np.array(["granite", "granite", ""]), RULES)
    assert not rock_unseen(None, np.array(["granite"] * 9), RULES)


def test_a_lot_in_a_rock_that_no_well_shows_is_thin_and_says_so():
    region = simulate_region(RegionSettings(width_m=4_000.0, height_m=4_000.0), random_state=4)
    holes = region.drill(region.random_places(40, random_state=1), 5.0, 400.0, random_state=2)
    wells, _ = as_canonical(holes, region.settings.crs)
    wells = wells.assign(main_rock="granite", drilled_on=pd.Timestamp("2020-01-01"))
    middle = wells.geometry.union_all().centroid
    lots = gpd.GeoDataFrame(
        {"lot_id": ["seen", "unseen", "unknown"], "main_rock": ["granite", "slate", None]},
        geometry=[middle] * 3,
        crs="EPSG:4326",
    )
    seen, unseen, unknown = draw_lot_estimates(wells, lots, EstimateSettings(n_draws=100, max_depth_ft=400.0))
    assert [one.support for one in (seen, unseen, unknown)] == [GOOD, THIN, GOOD]
    assert "No well within 3.1 miles is recorded in slate; the estimate is that of other rock." in unseen.notes
    assert "rough guess" in unseen.plain_words
    assert "rough guess" not in unknown.plain_words
    assert not any("recorded in" in note for note in seen.notes)
