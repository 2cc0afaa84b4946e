"""Where rock is not on record: as deep as wells are finished, unless the yields say that holes stop for water."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.lots.finished import map_finished_depths, share_finished
from wellrecords.lots.stopping import USUAL_TARGETS_GPM, Habits, read_stops
from wellrecords.schema import WELL_COLUMNS, conform
from wellrecords.simulation import RegionSettings, simulate_region
from wellrecords.simulation.canonical import as_canonical

N = 300


def table(depth, gpm):
    wells = pd.DataFrame(
        {
            "record_id": [str(number) for number in range(len(depth))],
            "total_depth_ft": depth,
            "yield_gpm_low": gpm,
            "yield_gpm_high": gpm,
        }
    )
    return wells


@pytest.fixture(scope="module")
def gravel_ground():
    """Wells finished at 100 to 150 ft by place, whatever they make: 10 to 40 gpm."""
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 8_000, (N, 2))
    depth = (100.0 + 50.0 * xy[:, 0] / 8_000) * np.exp(0.1 * rng.standard_normal(N))
    return xy, depth, 20.0 * np.exp(0.5 * rng.standard_normal(N))


def test_a_small_target_is_met_as_deep_as_wells_are_finished(gravel_ground):
    """1 gpm could be met at 20 ft; nobody finishes a well there. Half of the wells around the middle reach 125 ft."""
    xy, depth, gpm = gravel_ground
    points = gpd.points_from_xy(400_000 + xy[:, 0], 5_000_000 + xy[:, 1])
    wells = gpd.GeoDataFrame(table(depth, gpm), geometry=points, crs="EPSG:26919")
    lots = gpd.GeoDataFrame({"lot_id": ["a"]}, geometry=gpd.points_from_xy([404_000], [5_004_000]), crs="EPSG:26919")
    one = draw_lot_estimates(wells, lots, EstimateSettings(target_yield_gpm=1.0))[0]
    assert one.draws["depth_to_target_ft"].median() == pytest.approx(125.0, rel=0.06)
    assert (one.yield_at_depth(one.draws["depth_to_target_ft"].to_numpy()) >= 1.0).all()
    assert any("finished at" in note for note in one.notes)


def test_a_few_wells_make_no_custom(gravel_ground):
    xy, depth, gpm = (part[:20] for part in gravel_ground)
    assert map_finished_depths(read_stops(conform(table(depth, gpm), WELL_COLUMNS), xy, np.zeros(20))) is None


@pytest.mark.parametrize(("of_20_gpm", "share"), [(0.0, 0.0), (0.04, 0.0), (0.08, 0.5), (0.12, 1.0), (1.0, 1.0)])
def test_holes_that_wanted_more_than_a_house_uses_did_not_stop_for_water(of_20_gpm, share):
    wanted = np.where(USUAL_TARGETS_GPM == 20.0, of_20_gpm, 0.0) + np.where(USUAL_TARGETS_GPM == 5.0, 1 - of_20_gpm, 0)
    assert share_finished(Habits(wanted, np.zeros(2), np.zeros(2))) == pytest.approx(share)


@pytest.mark.parametrize("gpm", [1.0, 5.0])
def test_hard_rock_is_known_by_its_yields_where_no_log_names_it(gpm):
    """Holes that stop at 3, 5 or 8 gpm: 1 gpm is met far above where they stop, as 200 other holes there say.

    It is met a little too high, since nobody knows how far down the rock begins.
    """
    region = simulate_region(RegionSettings(gravel_chance=0.0), random_state=3)
    middle = np.array([415_000.0, 5_015_000.0])
    rng = np.random.default_rng(5)
    places = middle + 0.3 * (region.random_places(600, 1) - middle)
    holes = region.drill(places, rng.choice([3.0, 5.0, 8.0], 600), rng.choice([300.0, 400.0, 500.0], 600), 2)
    wells = as_canonical(holes, region.settings.crs)[0]
    rock = ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]
    wells[rock] = np.nan
    xy = middle + 0.28 * (region.random_places(40, 4) - middle)
    points = gpd.points_from_xy(*xy.T)
    lots = gpd.GeoDataFrame({"lot_id": [str(number) for number in range(40)]}, geometry=points, crs=region.settings.crs)
    said = draw_lot_estimates(wells, lots, EstimateSettings(target_yield_gpm=gpm, n_draws=200))
    middle_ft = np.log([one.draws["depth_to_target_ft"].median() for one in said])
    truth = region.draw_depth_to_target_ft(xy, gpm, 200, 6)
    assert np.mean(middle_ft - np.log(np.median(truth, axis=0))) == pytest.approx(0.0, abs=0.25)
