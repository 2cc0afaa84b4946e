"""The maps of a region, and the verb that proves them on ground left out."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from wellrecords import region_maps
from wellrecords.cli.verbs import app


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
    assert region_maps.validation_table(wells.head(50), "EPSG:26919").empty
