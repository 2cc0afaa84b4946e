"""Whatever a table of wells holds, the answer is ordered, or it is said that there is none."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, estimate_lots

CRS = "EPSG:26919"
SLIPS = (0.0, 1e-6, 1e-3, 1e4, 2e4, 1e6, 1e9, np.nan)
"""What a hand may write in place of a depth or a yield."""


def any_table(rng, n):
    """Wells of all kinds, with slips: on one point or over 20 km, with or without rock, water, ways of testing."""

    def with_slips(values):
        return np.where(rng.random(n) < 0.15, rng.choice(SLIPS, n), values)

    gpm = with_slips(np.exp(rng.normal(1.5, 1.2, n)))
    if rng.random() < 0.2:
        gpm = np.full(n, rng.choice([0.0, 5.0, np.nan]))
    with np.errstate(invalid="ignore"):
        high = np.where(rng.random(n) < 0.2, gpm * rng.choice([1.0, 2.0, np.inf], n), gpm)
    columns = {
        "record_id": [f"w{number}" for number in range(n)],
        "total_depth_ft": with_slips(np.exp(rng.normal(5.3, 0.6, n))),
        "yield_gpm_low": gpm,
        "yield_gpm_high": np.where(gpm == 0.0, 0.1, high),
    }
    if rng.random() < 0.8:
        rock = with_slips(np.exp(rng.normal(3.0, 1.0, n)))
        columns["depth_to_bedrock_ft_low"] = rock
        columns["depth_to_bedrock_ft_high"] = np.where(rng.random(n) < 0.2, np.inf, rock)
    if rng.random() < 0.7:
        columns["depth_to_water_ft_low"] = columns["depth_to_water_ft_high"] = rng.normal(30.0, 40.0, n)
    if rng.random() < 0.5:
        columns["hydrofractured"] = pd.array(rng.choice([True, False], n), dtype="boolean")
        columns["yield_method"] = rng.choice(["pumping_test", "air_lift", "unknown"], n)
    xy = rng.uniform(0.0, rng.choice([1.0, 1_000.0, 20_000.0]), (n, 2))
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy(400_000 + xy[:, 0], 5e6 + xy[:, 1]), crs=CRS)


def lots(rng, n=4):
    east, north = rng.uniform(-1_000.0, 20_000.0, (2, n))
    return gpd.GeoDataFrame(
        {"lot_id": [str(number) for number in range(n)], "target_yield_gpm": rng.choice([0.01, 0.5, 5.0, 100.0], n)},
        geometry=gpd.points_from_xy(400_000 + east, 5e6 + north),
        crs=CRS,
    )


@pytest.mark.parametrize("seed", range(12))
def test_whatever_a_table_holds_the_answer_is_ordered(seed):
    rng = np.random.default_rng(seed)
    wells = any_table(rng, int(rng.choice([1, 2, 5, 30, 120])))
    table = estimate_lots(wells, lots(rng), settings=EstimateSettings(n_jobs=1, n_draws=200))
    assert len(table) == 4
    said = table[table["support"] != "none"]
    assert said["chance_of_target"].between(0.0, 1.0).all()
    assert said["depth_to_target_ft_p50"].notna().all()
    for name in ("depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm"):
        figures = said[[f"{name}_p10", f"{name}_p50", f"{name}_p90"]].to_numpy()
        assert not (np.diff(figures, axis=1) < 0).any()


def sound_wells(n=40):
    rng = np.random.default_rng(1)
    xy = rng.uniform(0.0, 3_000.0, (n, 2))
    depth, gpm = np.exp(rng.normal(5.3, 0.4, n)), np.exp(rng.normal(1.5, 0.6, n))
    return gpd.GeoDataFrame(
        {"total_depth_ft": depth, "yield_gpm_low": gpm, "yield_gpm_high": gpm},
        geometry=gpd.points_from_xy(400_000 + xy[:, 0], 5e6 + xy[:, 1]),
        crs=CRS,
    )


@pytest.mark.parametrize(("column", "slip"), [("total_depth_ft", 1e9), ("total_depth_ft", -5.0), ("yield_gpm", 1e8)])
def test_a_reading_that_no_well_has_is_as_good_as_none(column, slip):
    """A hole of a thousand million feet took all memory there is; and a well without a depth says nothing of depth."""
    wells = sound_wells()
    names = [name for name in wells if name.startswith(column)]
    slipped, emptied = wells.copy(), wells.copy()
    slipped.loc[7, names], emptied.loc[7, names] = slip, np.nan
    place = lots(np.random.default_rng(2), 1).set_geometry(gpd.points_from_xy([401_500], [5e6 + 1_500], crs=CRS))
    settings = EstimateSettings(n_jobs=1, n_draws=200)
    pd.testing.assert_frame_equal(*(estimate_lots(one, place, settings=settings) for one in (slipped, emptied)))


def test_where_every_well_is_dry_the_target_is_hardly_met():
    """There is no yield to map on a log scale; the holes say all the same how much rock made nothing."""
    wells = sound_wells().assign(yield_gpm_low=0.0, yield_gpm_high=0.0)
    place = lots(np.random.default_rng(2), 1).set_geometry(gpd.points_from_xy([401_500], [5e6 + 1_500], crs=CRS))
    table = estimate_lots(wells, place, 5.0, 300.0, settings=EstimateSettings(n_jobs=1, n_draws=200))
    assert table["chance_of_target"].iloc[0] < 0.1
    assert np.isnan(table["yield_gpm_p50"].iloc[0])
