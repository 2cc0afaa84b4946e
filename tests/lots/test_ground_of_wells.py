"""Where the search for water begins: top of rock, or the end of the casing that shuts off its first feet."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.lots.ground import Ground, in_rock, seal_ft, start_ft
from wellrecords.schema import WELL_COLUMNS, conform

RULES = ("ground", "water level", "bedrock", "bedrock and water level", "casing", "casing and water level")


def test_each_rule_starts_where_it_says():
    rock, water = np.array([40.0, 10.0, 40.0]), np.array([20.0, 30.0, -5.0])
    starts = {rule: start_ft(rule, rock, water).tolist() for rule in RULES}
    assert starts["ground"] == [0.0, 0.0, 0.0]
    assert starts["water level"] == [20.0, 30.0, 0.0]
    assert starts["bedrock"] == starts["casing"] == [40.0, 10.0, 40.0]
    assert starts["bedrock and water level"] == starts["casing and water level"] == [40.0, 30.0, 40.0]
    assert [in_rock(rule) for rule in RULES] == [False, False, True, True, True, True]


def wells(casing_below_rock_ft, n=30):
    table = pd.DataFrame(
        {
            "record_id": [str(number) for number in range(n)],
            "total_depth_ft": 200.0,
            "casing_depth_ft": 30.0 + np.asarray(casing_below_rock_ft),
            "depth_to_bedrock_ft_low": 30.0,
            "depth_to_bedrock_ft_high": 30.0,
        }
    )
    return conform(table, WELL_COLUMNS)


def test_the_seal_is_how_far_casings_go_into_rock():
    assert seal_ft(wells(np.full(30, 20.0))) == 20.0
    assert seal_ft(wells(np.where(np.arange(30) < 20, 25.0, -10.0))) == 25.0
    assert seal_ft(wells(np.full(30, 1.0))) == 0.0  # nothing to speak of
    assert seal_ft(wells(np.full(19, 20.0), 19)) == 0.0  # too few to know
    assert seal_ft(wells(np.full(30, 165.0))) == 0.0  # cased to the bottom: screened


def test_a_well_without_a_casing_on_record_is_sealed_as_the_others_are():
    table = wells(np.full(30, 20.0))
    table.loc[0, "casing_depth_ft"] = np.nan
    table.loc[1, ["casing_depth_ft", "total_depth_ft"]] = [np.nan, 40.0]  # it cannot have been
    ground = Ground(table, np.zeros((30, 2)), np.full(30, 30.0), np.full(30, 10.0), seal_ft(table))
    assert ground.rock_ft("bedrock").tolist() == [30.0] * 30
    assert ground.rock_ft("casing")[:3].tolist() == [50.0, 30.0, 50.0]


@pytest.mark.parametrize(("sealed_ft", "starts_at"), [(40.0, "casing"), (0.0, "bedrock")])
def test_the_wells_say_whether_the_casing_shut_water_off(sealed_ft, starts_at):
    """Casings of 40 ft into rock: of the same fractures the first 40 ft give water, or nothing, and truth follows."""
    rng = np.random.default_rng(3)
    n = 500
    xy = rng.uniform(0, 8_000, (n, 2))
    rock = rng.uniform(10.0, 60.0, n)
    target = rng.choice([2.0, 4.0, 6.0], n)
    feet = sealed_ft + np.cumsum(rng.exponential(40.0, (n, 60)), axis=1)
    total = np.cumsum(3.0 * np.exp(rng.standard_normal((n, 60))), axis=1)
    first = np.argmax(total >= target[:, None], axis=1)
    depth, made = rock + feet[np.arange(n), first], total[np.arange(n), first]
    table = gpd.GeoDataFrame(
        {
            "total_depth_ft": depth,
            "casing_depth_ft": np.where(depth > rock + 45.0, rock + 40.0, np.nan),
            "depth_to_bedrock_ft_low": rock,
            "depth_to_bedrock_ft_high": rock,
            "yield_gpm_low": made,
            "yield_gpm_high": made,
        },
        geometry=gpd.points_from_xy(400_000 + xy[:, 0], 5_000_000 + xy[:, 1]),
        crs="EPSG:26919",
    )
    lots = gpd.GeoDataFrame({"lot_id": ["a"]}, geometry=gpd.points_from_xy([404_000], [5_004_000]), crs="EPSG:26919")
    one = draw_lot_estimates(table, lots, EstimateSettings(target_yield_gpm=1.0))[0]
    assert {"casing": "end of the casing", "bedrock": "top of rock"}[starts_at] in one.technical_words
    truth = 35.0 + np.median(feet[np.arange(n), np.argmax(total >= 1.0, axis=1)])
    assert one.draws["depth_to_target_ft"].median() == pytest.approx(truth, rel=0.15)
