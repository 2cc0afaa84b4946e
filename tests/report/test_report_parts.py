from __future__ import annotations

import hashlib
import json
import re
from importlib.resources import files
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markupsafe import Markup
from report_fakes import HOSTILE

from wellrecords import wording
from wellrecords.report.assets import LEAFLET_VERSION, leaflet_script, leaflet_style
from wellrecords.report.charts import before_and_after, chance_by_depth, cost_distribution, histogram, share_bars
from wellrecords.report.escape import folium_text, json_for_page
from wellrecords.report.owner_view import count_squares, wells_behind
from wellrecords.report.page import render_page, write_page
from wellrecords.report.ramp import BOUND_ONLY, count_ramp, ramp_of
from wellrecords.report.well_drawing import WellLayout, draw_well, spread_apart

# sha256 of the files of the npm package leaflet 1.9.4, as packed by its publisher.
LEAFLET_SHA256 = {
    "LICENSE.txt": "53e8dc25862014e4324741ca18fbe3611e11d42ef69f59f86ea8c5389647d4cb",
    "layers-2x.png": "066daca850d8ffbef007af00b06eac0015728dee279c51f3cb6c716df7c42edf",
    "layers.png": "1dbbe9d028e292f36fcba8f8b3a28d5e8932754fc2215b9ac69e4cdecf5107c6",
    "leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
    "leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
}


@pytest.mark.parametrize("name", LEAFLET_SHA256)
def test_vendored_leaflet_is_unchanged(name):
    content = (files("wellrecords.report") / "assets" / "leaflet" / name).read_bytes()
    assert hashlib.sha256(content).hexdigest() == LEAFLET_SHA256[name]


def test_leaflet_asks_for_no_file_and_brings_its_licence():
    assert f'version="{LEAFLET_VERSION}"' in leaflet_script()
    assert "sourceMappingURL" not in leaflet_script()
    assert "Redistribution and use in source and binary forms" in leaflet_script()
    assert "url(images/" not in leaflet_style()


@given(st.text())
@settings(deadline=None)
def test_json_for_page_round_trips_and_cannot_close_its_element(text):
    written = json_for_page({"a": [text]})
    assert json.loads(written) == {"a": [text]}
    assert not set("<>&\u2028\u2029") & set(written)


def test_json_for_page_refuses_what_json_cannot_hold():
    with pytest.raises(ValueError, match="JSON"):
        json_for_page([float("nan")])


def test_folium_text_leaves_nothing_to_act_on():
    assert not set("<>\"'{}`$\\") & set(folium_text(HOSTILE))


def test_page_refuses_a_script_that_would_end_early():
    with pytest.raises(ValueError, match="script"):
        render_page("index.html", title="x", scripts=["'</SCRIPT>'"])


def test_page_is_written_whole_or_not_at_all(tmp_path):
    page = tmp_path / "page.html"
    page.write_text("old", "utf-8")
    with pytest.raises(AttributeError):
        write_page(page, None)
    assert page.read_text("utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    write_page(page, "a lone surrogate: \ud800")
    assert page.read_text("utf-8") == "a lone surrogate: ?"


@pytest.mark.parametrize(
    ("say", "value", "text"),
    [
        (wording.depth, 242.4, "240 ft"),
        (wording.depth, 1247.5, "1,250 ft"),
        (wording.depth, float("nan"), "–"),
        (wording.depth, pd.NA, "–"),
        (wording.water_level, 0.0, "0 ft"),
        (wording.water_level, -1.0, "ground level"),
        (wording.water_level, float("-inf"), "flowing"),
        (wording.flow, 0.0999, "0.1 gpm"),
        (wording.flow, 99.6, "100 gpm"),
        (wording.flow, 1250.0, "1,200 gpm"),
        (wording.money, 18_449.0, "$18,400"),
        (wording.money, 0.0, "$0"),
        (wording.small_money, 4.06, "$4"),
        (wording.small_money, 0.0, "$0"),
        (wording.small_money, 24.0, "$20"),
        (wording.fine_percent, 0.0149, "1.5%"),
        (wording.money, 1_234_567.0, "$1,234,600"),
        (wording.percent, 0.0, "under 1%"),
        (wording.percent, 1.0, "over 99%"),
        (wording.percent, 0.125, "13%"),
    ],
)
def test_numbers_are_said_with_what_they_are_worth(say, value, text):
    assert say(value) == text


def test_reading_says_what_kind_of_reading_it_was():
    assert wording.reading(float("nan"), float("nan"), "ft") == "–"
    assert wording.reading(float("-inf"), float("inf"), "ft") == "–"
    assert wording.reading(12.5, 12.5, "ft") == "12.5 ft"
    assert wording.reading(100.07, float("inf"), "ft") == "over 100 ft"
    assert wording.reading(2.5123, 2.5123, "gpm") == "2.51 gpm"
    assert wording.reading(0.5, 0.5, "gpm") == "0.5 gpm"
    assert wording.reading(1250.0, 1250.0, "ft") == "1,250 ft"
    assert wording.reading(100.0, float("inf"), "gpm") == "over 100 gpm"


def test_ramp_puts_each_reading_into_the_class_its_label_says():
    ramp = ramp_of("depth", "Depth", "ft", np.arange(100.0, 500.0), 5)
    assert len(set(ramp.colours)) == len(ramp.labels)
    low = np.array([ramp.edges[0] - 1, ramp.edges[0], 90.0, np.nan, -np.inf])
    high = np.array([ramp.edges[0] - 1, ramp.edges[0], np.inf, np.nan, np.inf])
    assert ramp.codes(low, high).tolist() == [0, 1, BOUND_ONLY, -1, -1]


def test_ramp_grows_darker_with_the_value():
    """Lightness falls from class to class, so that the order can be seen in grey and by colour-blind eyes."""
    ramp = ramp_of("depth", "Depth", "ft", np.arange(100.0, 500.0), 6)
    grey = [0.2126 * int(c[1:3], 16) + 0.7152 * int(c[3:5], 16) + 0.0722 * int(c[5:7], 16) for c in ramp.colours]
    assert all(first > second + 8 for first, second in pairwise(grey))


@pytest.mark.parametrize("values", [[], [np.nan], [5.0, 5.0], [0.0, 0.0, 0.0], [np.inf, 3.0, 4.0]])
def test_ramp_of_little_data_still_has_a_class_for_each(values):
    ramp = ramp_of("yield", "Yield", "gpm", np.array(values), 6)
    assert len(ramp.labels) == len(ramp.colours) == len(ramp.edges) + 1


@given(
    st.lists(st.floats(0, 500), min_size=1, max_size=8).map(sorted),
    st.floats(1, 60),
)
@settings(deadline=None)
def test_labels_are_kept_apart_in_order_and_inside(wanted, step):
    places = spread_apart(wanted, step, 0.0, 500.0)
    gap = min(step, 500.0 / max(1, len(wanted) - 1))
    assert all(second - first >= gap - 1e-6 for first, second in pairwise(places))
    assert min(places) >= -1e-6
    assert max(places) <= 500.0 + 1e-6


def test_charts_tell_their_story_in_words_and_do_not_share_ids():
    depth = np.arange(0.0, 601.0, 10.0)
    curve = pd.DataFrame({"depth_ft": depth, "chance_of_target": np.minimum(depth / 500.0, 0.9)})
    chance = chance_by_depth(curve, target_yield_gpm=5.0, max_depth_ft=600.0, depths_ft=(50.0, 250.0, float("inf")))
    cost = cost_distribution(
        np.linspace(5e3, 2e4, 500), quantiles=(6500.0, 12_500.0, 18_500.0), fixed_price_usd=17_000.0
    )
    assert isinstance(chance, Markup)
    assert "20% by 100 ft" in chance
    assert "90% at the limit of 600 ft" in chance
    assert "$6,500 and $18,500" in cost
    for chart in (chance, cost):
        assert "<title" in chart
        assert "<desc" in chart
    assert not set(_ids(chance)) & set(_ids(cost))
    assert HOSTILE not in share_bars([HOSTILE], [1.0], name="x", title=HOSTILE)


def test_few_wells_are_counted_in_whole_ones():
    bins = pd.DataFrame({"from": [50.0, 100.0], "to": [100.0, 150.0], "before": [1, 2], "after": [2, 1]})
    ticks = _texts(before_and_after(bins, name="x", label="Depth", unit="ft"))
    assert [text for text in ticks if text in "012"] == ["0", "1", "2"], "a number of wells stands twice"
    assert "0 1 2" in " ".join(_texts(histogram(np.array([120.0, 240.0, 250.0]), name="x", label="Depth", unit="ft")))


def test_a_last_bar_that_holds_what_lies_beyond_says_so():
    depths = np.r_[np.linspace(100.0, 300.0, 400), 5000.0]
    (label,) = (text for text in _texts(histogram(depths, name="x", label="Depth", unit="ft")) if "depth, ft" in text)
    assert re.fullmatch(r"depth, ft \(last bar: all from \d+ on\)", label)
    even = _texts(histogram(np.linspace(100.0, 300.0, 30), name="x", label="Depth", unit="ft"))
    assert "depth, ft" in even


def _texts(svg: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg)


def _ids(svg: str) -> list[str]:
    return [part.split('"')[0] for part in svg.split(' id="')[1:]]


def test_drawing_is_to_scale_in_depth():
    """Casing at 100 ft of 400 ft ends a quarter of the way down; the pump at 300 ft three quarters."""
    drawing = draw_well(
        WellLayout(depth_low_ft=200.0, depth_mid_ft=400.0, depth_high_ft=400.0, casing_ft=100.0, pump_ft=300.0)
    )
    feet = [float(value) for value in re.findall(r'<line x1="203.0" y1="104.0" x2="203.0" y2="([\d.]+)"', drawing)]
    ground, bottom = 120.0, 596.0
    assert feet == [pytest.approx(ground + (bottom - ground) / 4, abs=0.1)]
    pump = float(re.search(r'y="([\d.]+)" width="10" height="18"', drawing).group(1))
    assert pump + 18 == pytest.approx(ground + (bottom - ground) * 3 / 4, abs=0.1)


def test_the_squares_of_two_lots_lie_one_upon_the_other():
    """Else two pages laid one over the other would tell of the few wells between two edges."""
    rng = np.random.default_rng(4)
    place = {"longitude": -71.5 + rng.normal(0, 0.02, 400), "latitude": 44.2 + rng.normal(0, 0.02, 400)}
    wells = pd.DataFrame({**place, "total_depth_ft": 200.0})
    first, second = (
        {square["bounds"]: square["count"] for square in count_squares(wells, longitude, latitude, 5)[1]}
        for longitude, latitude in ((-71.5, 44.2), (-71.4873, 44.2119))
    )
    assert len(first) > 10
    assert first == second


def test_counts_are_classed_by_the_counts_that_they_hold():
    ramp = count_ramp("Wells in a square", np.repeat([5, 6, 7, 9, 30], 10), 4)
    assert ramp.labels == ("5", "6", "7 to 8", "9 and more")
    counts = np.array([5.0, 6.0, 7.0, 8.0, 9.0, 30.0])
    assert ramp.codes(counts, counts).tolist() == [0, 1, 2, 2, 3, 3]
    assert count_ramp("Wells", np.array([5, 5]), 4).labels == ("5",)


def test_wells_behind_an_estimate_count_by_their_weight():
    """Kish: five of one weight are five; four small ones beside a heavy one hardly count."""
    assert wells_behind(np.full(5, 0.2)) == pytest.approx(5)
    assert wells_behind(np.array([0.96, 0.01, 0.01, 0.01, 0.01])) == pytest.approx(1 / (0.96**2 + 4 * 0.01**2))
    assert wells_behind(np.zeros(3)) == 0


def test_squares_hold_enough_wells_and_lose_none_twice():
    rng = np.random.default_rng(3)
    wells = pd.DataFrame(
        {
            "longitude": -71.5 + rng.normal(0, 0.02, 300),
            "latitude": 44.2 + rng.normal(0, 0.02, 300),
            "total_depth_ft": rng.uniform(100, 400, 300),
        }
    )
    size, squares = count_squares(wells, -71.5, 44.2, 5)
    assert min(square["count"] for square in squares) >= 5
    assert 180 <= sum(square["count"] for square in squares) <= 300
    for square in squares:
        west, south, east, north = square["bounds"]
        inside = wells["longitude"].between(west, east) & wells["latitude"].between(south, north)
        assert inside.sum() == square["count"]
        assert (north - south) * 111_195 == pytest.approx(size, rel=1e-6)
