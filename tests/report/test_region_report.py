from __future__ import annotations

import base64
import io
import json
import re

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from PIL import Image
from pyproj import Transformer
from report_browser import visit
from report_fakes import HOSTILE, LATITUDE, LONGITUDE, Outline

from wellrecords.errors import WellRecordsError
from wellrecords.report import MapSurface, ReportLink, ReportSettings, RunCounts, write_index, write_region_report
from wellrecords.report.ramp import Ramp
from wellrecords.report.surfaces import picture_of, well_supported

CRS = "EPSG:26919"


def _surface(values=None, support=None) -> MapSurface:
    east, north = Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(LONGITUDE, LATITUDE)
    easting, northing = east + np.arange(-5000, 5001, 500.0), north + np.arange(-4000, 4001, 500.0)
    if values is None:
        values = np.broadcast_to(np.linspace(10, 60, len(easting)), (len(northing), len(easting)))
    return MapSurface("depth_to_bedrock_ft", "Depth to rock, middle", easting, northing, values, CRS, support=support)


@pytest.fixture(scope="module")
def ledger():
    changes = pd.DataFrame({"column": ["total_depth_ft"] * 3 + ["depth_to_water_ft"], "rule": "unit", "why": HOSTILE})
    held_back = pd.DataFrame(
        {"source": ["firm_log"] * 4, "reason": ["no_position"] * 3 + [HOSTILE], "why": "no place given"}
    )
    merged = pd.DataFrame({"source": ["state_extract"] * 6})
    return {"changes": changes, "held_back": held_back, "merged": merged}


@pytest.fixture(scope="module")
def arguments(wells, lot, context_layers, ledger):
    return {
        "wells": wells,
        "region": "Invented Hills",
        "counts": RunCounts(rows_read=250, kept=240, merged=6, held_back=4),
        "lots": gpd.GeoDataFrame({"lot_id": [HOSTILE]}, geometry=[lot], crs="EPSG:4326"),
        "context_layers": context_layers,
        "surfaces": [_surface()],
        **ledger,
    }


@pytest.fixture(scope="module")
def report(tmp_path_factory, arguments):
    return write_region_report(tmp_path_factory.mktemp("region") / "region.html", **arguments)


def test_rows_read_are_accounted_for(report):
    text = Outline(report.read_text("utf-8")).text
    assert "250 rows read = 240 kept + 6 merged into another + 4 held back" in text
    assert "240 wells from 2 sources" in text


def test_counts_that_do_not_add_up_are_refused():
    with pytest.raises(WellRecordsError, match=r"250 read, but 240 kept \+ 6 merged \+ 3 held back = 249"):
        RunCounts(rows_read=250, kept=240, merged=6, held_back=3)


def test_tables_count_what_the_frames_hold(report, wells):
    text = Outline(report.read_text("utf-8")).text
    assert "no position no place given 3" in text
    assert "unit total depth ft" in text
    assert f"firm log {(wells['source'] == 'firm_log').sum()} 0 4" in text
    assert "domestic 240 100%" in text


def test_page_is_whole_offline_and_the_same_each_time(report, tmp_path, arguments):
    html = report.read_text("utf-8")
    page = Outline(html)
    assert page.loads == []
    assert len(page.ids) == len(set(page.ids))
    assert write_region_report(tmp_path / "again.html", **arguments).read_bytes() == report.read_bytes()


@pytest.mark.browser
def test_browser_draws_wells_and_surface(chromium, report, wells):
    seen = visit(chromium, report)
    assert seen.console == ()
    assert f'data-wells-drawn="{len(wells)}"' in seen.dom
    assert seen.dom.count('class="well ') == len(wells)
    assert re.search(r'class="leaflet-image-layer[^"]*"[^>]*src="data:image/png', seen.dom)
    assert "Depth to rock, middle" in seen.dom
    assert "<title>hit" not in seen.dom


@pytest.mark.browser
def test_browser_one_choice_colours_wells_and_surface(chromium, report, tmp_path):
    """Rock has a surface, the wells' depth has none: with depth chosen the surface goes, with rock it comes back."""
    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", report.read_text("utf-8"))
    probe = """
    var choice = document.getElementById("map-variable"), seen = [];
    function note() {
      seen.push(choice.value + ":" + document.querySelectorAll(".leaflet-image-layer").length + ":"
        + document.querySelectorAll('path.well[stroke="#ffffff"]').length);
    }
    note();
    ["total_depth_ft", "depth_to_bedrock_ft"].forEach(function (key) {
      choice.value = key; choice.dispatchEvent(new Event("change")); note();
    });
    document.body.dataset.seen = seen.join(" ");
    document.body.dataset.hidden = choice.parentElement.hidden;
    """
    path = tmp_path / "choice.html"
    path.write_text(html.replace("</body>", f"<script>{probe}</script></body>"), "utf-8")
    dom = visit(chromium, path).dom
    first, depth, again = re.search(r'data-seen="([^"]*)"', dom).group(1).split(" ")
    assert first == again
    key, images, ringed = first.split(":")
    assert (key, images) == ("depth_to_bedrock_ft", "1")
    assert int(ringed) > 100
    assert depth == "total_depth_ft:0:0"
    assert 'data-hidden="false"' in dom
    assert "Depth to rock, ft: the wells, and under them depth to rock, middle" in dom


@pytest.mark.browser
def test_browser_paints_thousands_on_a_canvas(chromium, tmp_path, wells):
    many = pd.concat([wells.assign(record_id=wells["record_id"] + f"-{part}") for part in range(10)], ignore_index=True)
    rng = np.random.default_rng(0)
    many["longitude"] += rng.normal(0, 0.02, len(many))
    settings = ReportSettings(max_wells_on_map=2000)
    path = write_region_report(tmp_path / "many.html", wells=many, region="Many", settings=settings)
    assert "2,000 of the 2,400 wells" in path.read_text("utf-8")
    picture = tmp_path / "many.png"
    seen = visit(chromium, path, arguments=("--dump-dom", f"--screenshot={picture}"))
    assert seen.console == ()
    assert 'data-wells-drawn="2000"' in seen.dom
    assert "<canvas" in seen.dom
    pixels = np.asarray(Image.open(picture).convert("RGB")).reshape(-1, 3)
    colours = json.loads(re.search(r'id="map-data">(.*?)</script>', seen.dom, re.DOTALL).group(1))["ramps"][0][
        "classes"
    ]
    for step in colours:
        wanted = np.array([int(step["colour"][at : at + 2], 16) for at in (1, 3, 5)])
        near = np.abs(pixels.astype(int) - wanted).max(axis=1) <= 16
        assert near.sum() > 300


def test_owner_version_frames_squares_and_not_wells(tmp_path, arguments, wells):
    html = write_region_report(tmp_path / "owner.html", audience="owner", **arguments).read_text("utf-8")
    text = Outline(html).text
    assert "held back, by reason" not in text.lower()
    assert not any(record_id in html for record_id in wells["record_id"])
    data = json.loads(re.search(r'id="map-data">(.*?)</script>', html, re.DOTALL).group(1))
    assert not any("wells" in group for group in data["groups"])
    (south, west), (north, east) = data["bounds"]
    for edge, values in (
        (west, wells["longitude"]),
        (east, wells["longitude"]),
        (south, wells["latitude"]),
        (north, wells["latitude"]),
    ):
        assert np.abs(values - edge).min() > 1e-5


def test_owner_version_draws_surfaces_only_where_five_wells_stand(tmp_path, arguments):
    support = np.full(np.shape(_surface().values), "thin", dtype=object)
    support[:, :5] = "good"
    support[0] = "none"
    drawn = np.isfinite(np.asarray(well_supported(_surface(support=support)).values))
    assert drawn[1:, :5].all()
    assert not drawn[:, 5:].any()
    assert not drawn[0].any()
    given = {**arguments, "surfaces": [_surface()], "audience": "owner"}
    html = write_region_report(tmp_path / "unknown.html", **given).read_text("utf-8")
    data = json.loads(re.search(r'id="map-data">(.*?)</script>', html, re.DOTALL).group(1))
    assert data["surfaces"] == {}, "a surface whose support is not known is drawn"
    html = write_region_report(tmp_path / "known.html", **{**given, "surfaces": [_surface(support=support)]})
    assert "empty where few wells stand behind them" in Outline(html.read_text("utf-8")).text


def test_owner_version_has_no_bar_of_fewer_than_five_wells(tmp_path, arguments, wells):
    """Three wells of 900 ft stand alone in their bar: on the owner's page they have none."""
    lone = wells.assign(total_depth_ft=np.r_[np.full(len(wells) - 3, 200.0), [900.0] * 3])

    def bars(audience):
        page = write_region_report(tmp_path / f"{audience}.html", **{**arguments, "wells": lone, "audience": audience})
        svg = next(part for part in page.read_text("utf-8").split("<svg") if "chart-total_depth_ft" in part)
        edges = re.findall(r'd="M [\d.]+ ([\d.]+) \nL [\d.]+ ([\d.]+) \nL [\d.]+ ([\d.]+) \n', svg)
        return sum(low == across != top for low, across, top in edges)

    assert bars("contractor") == bars("owner") + 1


def test_surface_picture_puts_each_cell_on_its_ground():
    """One marked cell comes back at its own longitude and latitude (PROJ gives both)."""
    surface = _surface()
    values = np.full(np.shape(surface.values), 1.0)
    values[3, 15] = 9.0
    ramp = Ramp("x", "x", (5.0,), ("low", "high"), ("#000000", "#ff0000"))
    picture = picture_of(_surface(values), ramp, pixels_a_cell=8.0)
    image = np.asarray(Image.open(io.BytesIO(base64.b64decode(picture.uri.split(",")[1]))))
    rows, columns = np.nonzero((image[..., 0] == 255) & (image[..., 3] == 255))
    (south, west), (north, east) = picture.bounds
    longitude = west + (columns.mean() + 0.5) / image.shape[1] * (east - west)
    latitude = north - (rows.mean() + 0.5) / image.shape[0] * (north - south)
    back = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    expected = back.transform(surface.easting[15], surface.northing[3])
    east_m, north_m = (longitude - expected[0]) * 79_700, (latitude - expected[1]) * 111_195
    assert abs(east_m) < 65
    assert abs(north_m) < 65


def test_surface_is_empty_without_support_and_faint_where_thin():
    shape = np.shape(_surface().values)
    support = np.full(shape, "good", dtype=object)
    support[:, :7] = "none"
    support[:, 7:14] = "thin"
    ramp = Ramp("x", "x", (), ("all",), ("#123456",))
    picture = picture_of(_surface(support=support), ramp)
    image = np.asarray(Image.open(io.BytesIO(base64.b64decode(picture.uri.split(",")[1]))))
    assert set(np.unique(image[..., 3])) == {0, 140, 255}
    middle = image[image.shape[0] // 2, :, 3]
    assert (middle[: len(middle) // 4] == 0).all()
    assert (middle[-len(middle) // 6 : -3] == 255).all()


def test_caption_says_whether_surfaces_know_their_support(report, tmp_path, arguments):
    assert "drawn also where no well is near: there they are guesses" in Outline(report.read_text("utf-8")).text
    support = np.full(np.shape(_surface().values), "good", dtype=object)
    known = write_region_report(tmp_path / "s.html", **{**arguments, "surfaces": [_surface(support=support)]})
    assert "empty where the records cannot say" in Outline(known.read_text("utf-8")).text


def test_surface_of_wrong_shape_is_refused():
    with pytest.raises(ValueError, match=r"shape \(2, 2\)"):
        _surface(np.zeros((2, 2)))


def test_index_links_relative_and_safe(tmp_path):
    links = [
        ReportLink(tmp_path / "lots" / "lot 7 #1.html", HOSTILE, HOSTILE),
        ReportLink(tmp_path / "javascript:x.html", "odd"),
        ReportLink(tmp_path / "region.html", "The region", group="Region"),
    ]
    html = write_index(tmp_path / "index.html", region=HOSTILE, links=links).read_text("utf-8")
    page = Outline(html)
    assert page.loads == ["./lots/lot%207%20%231.html", "./javascript%3Ax.html", "./region.html"]
    assert "script" not in page.tags
    assert "img" not in page.tags


@pytest.mark.browser
def test_browser_keeps_the_names_of_lots_on_one_place_apart(chromium, tmp_path, arguments, lot):
    twins = gpd.GeoDataFrame({"lot_id": ["ONE", "TWO"]}, geometry=[lot, lot], crs="EPSG:4326")
    page = write_region_report(tmp_path / "region.html", **{**arguments, "lots": twins})
    seen = visit(chromium, page)
    assert seen.console == ()
    tops = dict(re.findall(r'<span style="position: relative; top: (-?\d+)px;">Lot (ONE|TWO)</span>', seen.dom))
    assert sorted(tops.values()) == ["ONE", "TWO"]
    assert tops["0"] == "TWO"
    assert min(map(int, tops)) <= -9, "the one covers the other"
