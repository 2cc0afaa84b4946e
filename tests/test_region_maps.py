"""The maps of a region, and the verb that proves them on ground left out."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from wellrecords import region_maps
from wellrecords.cli.verbs import app
from wellrecords.units import FT_PER_M


@pytest.fixture(scope="module")
def wells():
    """300 wells on a slope of the depth to rock, one in five stopping above it."""
    rng = np.random.default_rng(0)
    east, north = rng.uniform(0, 9_000, (2, 300)) + np.array([[400_000.0], [5_000_000.0]])
    depth = np.exp(3.0 + (east - 400_000.0) / 4_000.0 + rng.normal(0, 0.3, 300))
    point = gpd.GeoSeries(gpd.points_from_xy(east, north), crs="EPSG:26919").to_crs("EPSG:4326")
    nothing = pd.Series(np.nan, index=range(300))
    return gpd.GeoDataFrame(
        {
            "depth_to_bedrock_ft_low": depth,
            "depth_to_bedrock_ft_high": np.where(rng.uniform(size=300) < 0.2, np.inf, depth),
            "depth_to_water_ft_low": nothing,
            "depth_to_water_ft_high": nothing,
            "yield_gpm_low": nothing,
            "yield_gpm_high": nothing,
            "total_depth_ft": nothing,
            "position_error_m": 10.0,
        },
        geometry=point,
    )


def test_the_table_has_each_quantity_that_is_read_and_the_maps_lead(wells):
    table = region_maps.validation_table(wells, "EPSG:26919")
    assert set(table["quantity"]) == {"depth_to_bedrock_ft"}
    whole = table[table["district"] == "all"].set_index("method")
    assert {"kriging", "nearest 15 wells", "inverse distance", "quantile forest"} == set(whole.index)
    assert whole["crps"].idxmin() == "kriging"
    assert "400000 E 5000000 N" in set(table["district"])


def test_the_verb_prints_and_saves_the_table(wells, tmp_path, monkeypatch):
    """One rival only, for speed."""
    monkeypatch.setattr("wellrecords.store.read_wells", lambda store: wells)
    monkeypatch.setattr(region_maps, "find_spec", lambda name: None)
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "wells.csv"\nlayout = "wells.toml"\n'
    )
    done = CliRunner().invoke(app, ["validate", str(settings), "--save", str(tmp_path / "scores.csv")])
    assert done.exit_code == 0, done.output
    assert "80 % covers" in done.output
    saved = pd.read_csv(tmp_path / "scores.csv", encoding="utf-8-sig")
    assert {"quantity", "district", "method", "crps", "pinball_p10"} <= set(saved.columns)


def test_too_few_readings_prove_nothing(wells):
    assert region_maps.validation_table(wells.head(30), "EPSG:26919").empty


def test_scores_of_few_wells_come_with_what_luck_alone_does(wells, tmp_path, monkeypatch):
    """The standard error of a share of 0.8 is 0.4 over the root of the number of wells."""
    monkeypatch.setattr("wellrecords.store.read_wells", lambda store: wells.head(50))
    monkeypatch.setattr(region_maps, "find_spec", lambda name: None)
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "wells.csv"\nlayout = "wells.toml"\n'
    )
    done = CliRunner().invoke(app, ["validate", str(settings)])
    assert done.exit_code == 0, done.output
    exact = int(np.isfinite(wells.head(50)["depth_to_bedrock_ft_high"]).sum())
    assert f"of {exact}, luck alone" in done.output
    assert f"some {40.0 / np.sqrt(exact):.0f} points" in done.output


@pytest.fixture(scope="module")
def hills(tmp_path_factory):
    """400 wells in hills whose water lies at one elevation under hill and valley, and the grid of the hills."""
    rasterio = pytest.importorskip("rasterio")
    from rasterio.transform import from_origin

    def land_m(east, north):
        return 200.0 + 25.0 * np.sin((east - 400_000.0) / 400.0) + 20.0 * np.cos((north - 5_000_000.0) / 500.0)

    path = tmp_path_factory.mktemp("hills") / "hills.tif"
    cell = 50.0
    row, column = np.mgrid[0:240, 0:240]
    cells = land_m(398_000.0 + (column + 0.5) * cell, 5_010_000.0 - (row + 0.5) * cell)
    profile = {"driver": "GTiff", "width": 240, "height": 240, "count": 1, "dtype": "float32", "crs": "EPSG:26919"}
    with rasterio.open(path, "w", transform=from_origin(398_000.0, 5_010_000.0, cell, cell), **profile) as grid:
        grid.write(cells.astype("float32"), 1)
    rng = np.random.default_rng(1)
    east, north = rng.uniform(0, 8_000, (2, 400)) + np.array([[400_000.0], [5_000_000.0]])
    level_ft = (land_m(east, north) - 150.0) * FT_PER_M + rng.normal(0.0, 8.0, 400)
    point = gpd.GeoSeries(gpd.points_from_xy(east, north), crs="EPSG:26919").to_crs("EPSG:4326")
    nothing = pd.Series(np.nan, index=range(400))
    names = [f"{name}_{end}" for name in ("depth_to_bedrock_ft", "yield_gpm") for end in ("low", "high")]
    table = {"depth_to_water_ft_low": level_ft, "depth_to_water_ft_high": level_ft, **dict.fromkeys(names, nothing)}
    return gpd.GeoDataFrame({**table, "total_depth_ft": nothing, "position_error_m": 5.0}, geometry=point), path


def test_where_water_follows_the_land_the_maps_do(hills, monkeypatch):
    wells, terrain = hills
    monkeypatch.setattr(region_maps, "find_spec", lambda name: None)
    table = region_maps.validation_table(wells, "EPSG:26919", terrain=terrain).set_index(["district", "method"])
    crps = table["crps"]["all"]
    assert crps["kriging with covariates"] < 0.7 * crps["kriging"]
    # no forecast can beat the readings' own scatter: the CRPS of N(0, 8 ft) is 8 / sqrt(pi)
    assert crps["kriging with covariates"] == pytest.approx(8.0 / np.sqrt(np.pi), rel=0.2)
    drawn = region_maps.region_surfaces(wells, "EPSG:26919", 40, terrain=terrain)["depth_to_water_ft"]
    plain = region_maps.region_surfaces(wells, "EPSG:26919", 40)["depth_to_water_ft"]
    assert np.nanstd(drawn.median) > np.nanstd(plain.median)
