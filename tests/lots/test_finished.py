"""Where rock is not on record: as deep as wells are finished."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.lots.finished import map_finished_depths
from wellrecords.lots.stopping import read_stops
from wellrecords.schema import WELL_COLUMNS, conform

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
