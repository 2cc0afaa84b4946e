"""The site plans of the sample region."""

import json
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from wellrecords.siting import load_siting_settings, read_site_plans, site_lots

SAMPLE = Path(__file__).parents[2] / "sample_records"


@pytest.fixture(scope="module")
def sitings():
    lots = gpd.read_file(SAMPLE / "lots.geojson")
    return site_lots(
        lots, read_site_plans(SAMPLE / "site_plans.geojson"), load_siting_settings(SAMPLE / "setbacks.toml")
    )


def test_the_file_is_what_its_maker_makes(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(SAMPLE))
    from make_site_plans import make_site_plans

    for name in ("lots.geojson", "streams.geojson"):
        (tmp_path / name).write_bytes((SAMPLE / name).read_bytes())
    made = json.loads(make_site_plans(tmp_path).read_text())["features"]
    kept = json.loads((SAMPLE / "site_plans.geojson").read_text())["features"]
    sys.modules.pop("make_site_plans", None)
    assert [feature["properties"] for feature in made] == [feature["properties"] for feature in kept]
    for ours, theirs in zip(made, kept, strict=True):
        ours, theirs = (
            np.hstack([np.ravel(part) for part in shape["geometry"]["coordinates"]]) for shape in (ours, theirs)
        )
        assert ours == pytest.approx(theirs, abs=2.1e-7)


def test_every_lot_is_sited_and_one_has_hardly_any_ground(sitings):
    share = {siting.lot_id: siting.ground_area_ft2 / siting.lot_area_ft2 for siting in sitings}
    assert list(share) == ["L-101", "L-102", "L-103", "L-104", "L-105"]
    assert 0 < share.pop("L-105") < 0.05
    assert min(share.values()) > 0.1
    for siting in sitings:
        assert siting.candidates["rig_access"].iloc[0]
        # Its prices stand in the price book alone.
        assert siting.candidates["cost_usd"].isna().all()
        assert (siting.candidates["slack_ft"] >= -1e-6).all()


def test_areas_agree_with_the_acres_of_the_deed(sitings):
    acres = gpd.read_file(SAMPLE / "lots.geojson").set_index("lot_id")["acres"]
    for siting in sitings:
        assert siting.lot_area_ft2 / 43_560 == pytest.approx(acres[siting.lot_id], rel=2e-3)


def test_the_stream_by_the_meadow_lot_is_on_its_plan(sitings):
    streams = {siting.lot_id: (siting.features["kind"] == "stream").sum() for siting in sitings}
    assert streams["L-105"] == 1
