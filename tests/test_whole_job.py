"""The whole path on the sample region, held to the truth that its generator knows."""

import importlib.util
import sys

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer

from wellrecords import jobs
from wellrecords.bid import Bid, NoBid
from wellrecords.lot_files import read_lots
from wellrecords.lots import draw_lot_estimates
from wellrecords.placing import ask
from wellrecords.refresh import refresh
from wellrecords.settings import load_settings
from wellrecords.simulation import depth_to_target_ft
from wellrecords.store import read_table, read_wells

HELD_OUT = 200
TARGET_GPM = 5.0
SEASON_SD_FT = 3.0
"""How far a level read on the day of drilling stands from its mean: the sample's drillers read it so."""


@pytest.fixture(scope="module")
def root(request):
    return request.config.rootpath


@pytest.fixture(scope="module")
def settings(root, tmp_path_factory):
    """The sample region's own settings, with a store that is made anew."""
    loaded = load_settings(root / "pipelines" / "sample_region.toml")
    region = loaded.region.model_copy(update={"store": tmp_path_factory.mktemp("store")})
    return loaded.model_copy(update={"region": region})


@pytest.fixture(scope="module")
def refreshed(settings):
    return refresh(settings)


@pytest.fixture(scope="module")
def region(root):
    file = root / "sample_records" / "make_sample_records.py"
    spec = importlib.util.spec_from_file_location("make_sample_records_for_truth", file)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module.sample_region()


@pytest.fixture(scope="module")
def held_out(root, region):
    """New holes at new places near wells, drilled as people there drill, each with the truth far below its bottom."""
    rng = np.random.default_rng(11)
    wells = pd.read_csv(root / "sample_records" / "truth" / "wells.csv")
    homes = wells[(wells["use"] == "domestic") & wells["target_gpm"].notna()]
    chosen = homes.sample(HELD_OUT, random_state=12)
    places = chosen[["easting_m", "northing_m"]].to_numpy() + rng.normal(0.0, 250.0, (HELD_OUT, 2))
    return region.drill(places, chosen["target_gpm"].to_numpy(), chosen["limit_ft"].to_numpy(), random_state=13)


@pytest.fixture(scope="module")
def estimates(settings, refreshed, held_out):
    places = held_out[["easting_m", "northing_m"]].to_numpy()
    longitude, latitude = Transformer.from_crs(settings.region.crs, "EPSG:4326", always_xy=True).transform(*places.T)
    lots = gpd.GeoDataFrame(
        {"lot_id": [f"held-out {number}" for number in range(HELD_OUT)]},
        geometry=gpd.points_from_xy(longitude, latitude),
        crs="EPSG:4326",
    )
    wells, zones = read_wells(settings.region.store), read_table(settings.region.store, "water_zones")
    question = jobs.job_settings(settings).estimate.model_copy(update={"target_yield_gpm": TARGET_GPM})
    return draw_lot_estimates(wells, lots, question, water_zones=zones)


@pytest.fixture(scope="module")
def truth(held_out):
    """What each new hole finds. A level is read on one day of the year, as every level of the records was."""
    season = np.random.default_rng(14).normal(0.0, SEASON_SD_FT, HELD_OUT)
    return {
        "depth_to_bedrock_ft": held_out["depth_to_bedrock_ft"].to_numpy(),
        "depth_to_water_ft": held_out["depth_to_water_ft"].to_numpy() + season,
        "depth_to_target_ft": depth_to_target_ft(held_out, TARGET_GPM),
        "yield_gpm": held_out["yield_gpm"].to_numpy(),
    }


def covered(estimates, name, truth):
    """Share of places whose truth lies in the 80 % interval."""
    inside = []
    for one, value in zip(estimates, truth, strict=True):
        if one.draws is not None:
            low, high = one.draws[name].quantile([0.1, 0.9], interpolation="nearest")
            inside.append(low <= value <= high)
    assert len(inside) >= 0.95 * HELD_OUT
    return float(np.mean(inside))


@pytest.mark.parametrize("name", ["depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm"])
def test_the_truth_lies_in_the_80_percent_interval_as_often_as_it_should(estimates, truth, name):
    assert 0.75 <= covered(estimates, name, truth[name]) <= 0.85


def test_the_chance_of_the_target_is_about_what_happens(estimates, truth):
    said = [one.chance_of_target for one in estimates if one.draws is not None]
    met = [
        depth <= one.max_depth_ft
        for one, depth in zip(estimates, truth["depth_to_target_ft"], strict=True)
        if one.draws is not None
    ]
    # Three standard errors of a share over 200 places.
    assert np.mean(said) == pytest.approx(np.mean(met), abs=3 * 0.5 / np.sqrt(HELD_OUT))


def test_every_row_is_accounted_for(refreshed):
    counts = refreshed.counts
    assert counts["rows_read"] == counts["kept"] + counts["merged"] + counts["held_back"]
    assert counts["rows_read"] == refreshed.sources["rows_read"].sum()
    assert min(counts["kept"], counts["merged"], counts["held_back"]) > 0


@pytest.fixture(scope="module")
def sample_jobs(settings, refreshed):
    lots = read_lots(settings.part("lots", jobs.LotsSettings).file)
    common = jobs.job_settings(settings)
    wells, zones = read_wells(settings.region.store), read_table(settings.region.store, "water_zones")
    return {job.lot_id: job for job in jobs.run_jobs(wells, ask(lots, common.site_plans), common, zones)}


def test_the_five_lots_are_answered_as_their_ground_is(sample_jobs):
    covered_lot, edge, none_near, poor, flowing = (sample_jobs[f"L-10{number}"] for number in range(1, 6))
    assert covered_lot.estimate.support == "good"
    assert edge.estimate.support in ("thin", "good")
    assert none_near.estimate.support == "none"
    assert poor.estimate.chance_of_target < covered_lot.estimate.chance_of_target - 0.2
    assert (flowing.estimate.draws["depth_to_water_ft"] < 0).mean() > 0.5


def test_a_bid_is_given_where_the_records_can_say_and_only_there(sample_jobs):
    for job in sample_jobs.values():
        assert isinstance(job.bid, NoBid if job.estimate.support == "none" else Bid)
        if isinstance(job.bid, Bid):
            assert job.bid.chance_of_loss <= job.bid.fixed_price_risk + 1e-9
            assert job.bid.line_costs.sum(axis=1).to_numpy() == pytest.approx(job.bid.total_usd)
