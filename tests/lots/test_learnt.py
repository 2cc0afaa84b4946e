"""What was learnt of a district is read back to the last digit, and only where it was learnt from the same."""

import shutil

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, draw_lot_estimates, learnt
from wellrecords.simulation import RegionSettings, as_canonical, simulate_region


@pytest.fixture(scope="module")
def ground():
    region = simulate_region(RegionSettings(width_m=6_000.0, height_m=6_000.0), random_state=4)
    holes = region.drill(region.random_places(60, random_state=1), 5.0, 500.0, random_state=2)
    wells, zones = as_canonical(holes, region.settings.crs)
    lot = gpd.GeoDataFrame({"lot_id": ["a"]}, geometry=[wells.geometry.union_all().centroid], crs="EPSG:4326")
    return wells, zones, lot


def draws(ground, folder, wells=None, zones=None, **wishes):
    settings = EstimateSettings(n_draws=200, **wishes)
    kept, logged, lot = ground
    wells, zones = (kept if wells is None else wells), (logged if zones is None else zones)
    return draw_lot_estimates(wells, lot, settings, water_zones=zones, learnt=folder)[0].draws


@pytest.fixture(scope="module")
def folder(ground, tmp_path_factory):
    folder = tmp_path_factory.mktemp("store") / "learnt"
    draws(ground, folder)
    return folder


def files(folder):
    return sorted(folder.iterdir())


def test_the_second_estimate_is_read_and_equals_the_first(ground, folder, monkeypatch):
    plain = draws(ground, None)
    assert len(files(folder)) == 1
    monkeypatch.setattr(learnt, "learn", lambda *_: pytest.fail("it was learnt anew"))
    pd.testing.assert_frame_equal(draws(ground, folder), plain, check_exact=True)
    assert len(files(folder)) == 1
    draws(ground, folder, target_yield_gpm=2.0, max_depth_ft=300.0)  # another wish asks of the same ground


def test_other_wells_zones_or_settings_are_learnt_anew(ground, folder):
    wells, zones, _ = ground
    before = len(files(folder))
    deeper = wells.assign(total_depth_ft=wells["total_depth_ft"] + 1.0)
    changes = (
        {"wells": deeper},
        {"wells": wells.iloc[1:]},
        {"zones": zones.assign(depth_ft=zones["depth_ft"] + 1.0)},
        {"random_state": 1},
    )
    for number, change in enumerate(changes, 1):
        draws(ground, folder, **change)
        assert len(files(folder)) == before + number


@pytest.mark.parametrize("text", ["", "{", "[]", '{"covariances": {}}', '{"covariances": {"a": {"b": 1}}}'])
def test_what_is_not_whole_is_refused(text):
    with pytest.raises((ValueError, KeyError, TypeError)):
        learnt.from_json(text)


def test_a_broken_file_is_learnt_anew_and_mended(ground, folder, tmp_path):
    broken = shutil.copytree(folder, tmp_path / "learnt")
    for path in files(broken):
        path.write_text("{")
    pd.testing.assert_frame_equal(draws(ground, broken), draws(ground, None))
    assert sum(path.read_text() != "{" for path in files(broken)) == 1


def test_a_folder_that_cannot_be_written_keeps_nothing_and_stops_nothing(ground, tmp_path):
    (tmp_path / "learnt").write_text("a file stands in its place")
    pd.testing.assert_frame_equal(draws(ground, tmp_path / "learnt"), draws(ground, None))


def test_what_was_learnt_goes_through_json_to_the_last_digit(folder):
    text = files(folder)[0].read_text()
    assert learnt.to_json(learnt.from_json(text)) == text
    assert np.isfinite(learnt.from_json(text).correlation).all()
