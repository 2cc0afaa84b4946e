"""Where on the lot: the plan to scale, the places and features in words, hostile names, what an owner sees."""

from __future__ import annotations

import re
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from report_browser import visit
from report_fakes import HOSTILE, LATITUDE, LONGITUDE, Outline
from shapely.geometry import LineString, Point, box

from wellrecords import wording
from wellrecords.report import write_lot_report
from wellrecords.report.lot_words import FOR_NO_PLACE, NO_GROUND, answer, planned
from wellrecords.report.site_plan import draw_site_plan, letters
from wellrecords.report.site_section import ALIKE, CAUTIONS, MAST, ONLY_WHAT_IS_DRAWN, PRICED, RANKED, site_section
from wellrecords.siting import load_siting_settings, site_lot

PLANE = f"+proj=tmerc +lat_0={LATITUDE} +lon_0={LONGITUDE} +k=1 +datum=WGS84 +units=ft +no_defs"
NAMES = ["lane", "power line", "Larkin's drain field", "house", "Ames's well", "far barn"]


def make_plan(names):
    """A lot of 300 by 200 ft, its features in feet from its middle."""
    return gpd.GeoDataFrame(
        {
            "kind": ["road", "overhead_line", "drain_field", "house", "well", "building"],
            "name": names,
            "status": ["existing", "existing", "proposed", "existing", "existing", "existing"],
        },
        geometry=[
            LineString([(-200, -110), (200, -110)]),
            LineString([(-200, 90), (200, 90)]),
            box(-140, -40, -90, 20),
            box(0, -30, 40, 0),
            Point(120, 60),
            box(900, 900, 930, 930),
        ],
        crs=PLANE,
    )


@pytest.fixture(scope="module")
def siting_settings(request):
    return load_siting_settings(request.config.rootpath / "sample_records" / "setbacks.toml")


@pytest.fixture(scope="module")
def make_siting(siting_settings):
    def make(names=tuple(NAMES), wide_ft=300, setback_ft=None):
        settings = siting_settings
        if setback_ft is not None:
            field = settings.kinds["drain_field"].model_copy(update={"setback_ft": setback_ft})
            settings = settings.model_copy(update={"kinds": settings.kinds | {"drain_field": field}})
        lot = gpd.GeoDataFrame({"lot_id": ["14-B"]}, geometry=[box(-wide_ft / 2, -100, wide_ft / 2, 100)], crs=PLANE)
        return site_lot(lot, make_plan(list(names)), settings)

    return make


@pytest.fixture(scope="module")
def siting(make_siting):
    return make_siting()


@pytest.fixture(scope="module")
def no_ground(make_siting):
    return make_siting(setback_ft=400.0)


@pytest.fixture(scope="module")
def write(tmp_path_factory, estimate, bid, wells, lot):
    def to_file(siting, **changes):
        path = tmp_path_factory.mktemp("site") / "lot.html"
        given = {"estimate": estimate, "bid": bid, "wells": wells, "region": "Hills", "lot": lot} | changes
        return write_lot_report(path, siting=siting, **given)

    return to_file


def section(path):
    """The section's own part of a page."""
    html = path.read_text("utf-8")
    return html[html.index('<section id="site"') :].partition("</section>")[0]


@pytest.mark.parametrize("audience", ["contractor", "owner"])
def test_a_lot_without_ground_says_so_before_its_figures(write, no_ground, siting, estimate, audience):
    """Else the page opens with a plan and a fixed price for a hole that may not be drilled."""
    html = write(no_ground, audience=audience).read_text("utf-8")
    block = html[html.index('<section id="answer"') :].partition("</section>")[0]
    assert f'<p class="lead">{NO_GROUND} {FOR_NO_PLACE}</p>' in block
    assert block.index("<dl") < block.index("Plan on a hole of about")
    assert NO_GROUND not in write(siting, audience=audience).read_text("utf-8")
    unsaid = answer(estimate.but(support="none"), None, owner=audience == "owner", minimum=5, no_ground=True)
    assert (unsaid.lead, unsaid.has_figures) == (NO_GROUND, False)


def test_the_cost_of_a_place_without_a_trench_says_what_it_leaves_out(siting):
    unreached = replace(siting, candidates=siting.candidates.assign(trench_ft=np.nan, cost_usd=190.0))
    places = site_section(unreached, None, owner=False, costs=True)["places"]
    assert {row[places["head"].index("Of the place")] for row in places["rows"]} == {"$190 without trench"}


def test_plan_is_to_scale_and_north_is_up(siting):
    svg = str(draw_site_plan(siting))
    bar = re.search(r'<path d="M1 [\d.]+ V[\d.]+ H([\d.]+) V.*?<text[^>]*>([\d,]+) ft</text>', svg)
    units_a_foot = (float(bar.group(1)) - 1) / float(bar.group(2).replace(",", ""))
    outline = re.findall(r'<path d="M([^"]+) Z" fill="none" stroke="#1d2830" stroke-width="2.2"', svg)
    corners = np.array([pair.split() for pair in outline[0].split(" L")], dtype=float)
    assert np.ptp(corners[:, 0]) / units_a_foot == pytest.approx(300, rel=0.005)
    assert np.ptp(corners[:, 1]) / units_a_foot == pytest.approx(200, rel=0.005)
    # The power line runs along the north, the road along the south.
    height = {letter: float(y) for y, letter in re.findall(r'class="letter" x="[\d.]+" y="([\d.]+)"[^>]*>(\w)<', svg)}
    assert height["B"] < height["D"] < height["A"]


def test_numbers_stand_on_the_drawn_ground(siting):
    svg = str(draw_site_plan(siting))
    drawn = re.search(r'<path d="([^"]+)" fill="#cfe4f2"', svg).group(1)
    rings = [
        shapely.Polygon([tuple(map(float, step.split())) for step in ring.strip(" Z").split(" L")])
        for ring in drawn.split("M")[1:]
    ]
    ground = shapely.union_all(rings)
    numbers = re.findall(r'class="number" x="([\d.]+)" y="([\d.]+)"[^>]*>(\d)<', svg)
    assert sorted(int(rank) for *_, rank in numbers) == list(siting.candidates["rank"])
    assert max(ground.distance(Point(float(x), float(y) - 5)) for x, y, _ in numbers) < 0.5


def test_letters_name_the_features_and_none_stands_twice(siting):
    svg = str(draw_site_plan(siting))
    shown = re.findall(r'class="letter"[^>]*>(\w+)<', svg)
    # The barn lies beyond the plan's edge; N is the arrow's.
    assert sorted(shown) == ["A", "B", "C", "D", "E", "N"]
    rows = site_section(siting, None, owner=False, costs=True)["features"]
    assert [row[0] for row in rows] == ["edge", "A", "B", "C", "D", "E", "F"]
    assert len(set(letters(120))) == 120
    assert not {"I", "O"} & set(letters(120))


def test_tables_say_what_the_siting_found(siting):
    told = site_section(siting, None, owner=False, costs=True)
    features = {row[1]: row for row in told["features"]}
    assert features["Larkin's drain field (drain field), planned"][2:5] == ["100 ft", "–", "103 ft"]
    assert features["Power line (overhead line)"][2:5] == ["0 ft", "25 ft", "28 ft"]
    assert features["Far barn (building)"][5] == "nothing"
    best, place = siting.candidates.iloc[0], dict(zip(told["places"]["head"], told["places"]["rows"][0], strict=True))
    assert place["Water line"] == f"{best['trench_ft']:.0f} ft"
    assert place["Nearest limit"] == best["binding"]
    assert float(place["Away"].removesuffix(" ft")) - float(place["Asked"].removesuffix(" ft")) == pytest.approx(
        best["slack_ft"], abs=0.11
    )


def test_page_shows_the_section_with_its_cautions(write, siting, bid):
    text = Outline(section(write(siting))).text
    for words in ("Where on the lot", "Larkin's drain field", "To scale, north up", "811", MAST, ONLY_WHAT_IS_DRAWN):
        assert words in text
    assert all(caution in text for caution in CAUTIONS)
    assert 'id="site"' not in write(None).read_text("utf-8")


def test_places_are_shown_with_what_a_well_there_should_cost_and_yield(siting, bid):
    costs = 900.0 + 10.0 * np.arange(len(siting.candidates))
    priced = siting.candidates.assign(cost_usd=costs, expected_cost_usd=9_040.0, expected_yield_gpm=6.26)
    ranked = replace(siting, candidates=priced)
    told = site_section(ranked, bid, owner=False, costs=True)
    assert told["places"]["head"][-3:] == ["Of the place", "Whole job, expected", "Yield, expected"]
    assert told["places"]["rows"][1][-3:] == ["$910", "$9,000", "6.3 gpm"]
    middles = f"{wording.money(bid.total_quantiles['p50'])} to build and {wording.flow(planned(bid, 'yield_gpm')[1])}"
    assert told["sentences"][:3] == [PRICED, RANKED.format(middles=f" ({middles} at place 1)"), ALIKE]
    for_owner = site_section(ranked, bid, owner=True, costs=False)
    assert "$" not in str(for_owner)
    assert for_owner["sentences"][0] == PRICED


def test_owner_reads_kinds_in_place_of_names_and_no_cost(write, siting, no_ground):
    for sited in (siting, no_ground):
        html = section(write(sited, audience="owner"))
        for name in ("Larkin", "Ames", "lane", "barn"):
            assert name not in html
        text = Outline(html).text
        assert "$" not in text
        assert "Drain field, planned" in text
        assert all(caution in text for caution in CAUTIONS)


def test_no_dollar_where_no_bid_is_given(write, siting, no_support):
    assert "$" not in section(write(siting, estimate=no_support))


def test_no_ground_is_said_with_what_would_free_some(write, no_ground):
    text = Outline(section(write(no_ground))).text
    assert "no ground is left on this lot where a well may stand" in text
    assert "the setback from the Larkin's drain field (from 400 to " in text
    assert "only the authority may grant that" in text
    assert "The places, the best first" not in text
    assert "nan" not in re.findall(r"\b\w+\b", text)


@pytest.fixture(scope="module")
def hostile(make_siting):
    return make_siting([f"{HOSTILE}{number}" for number in range(len(NAMES))])


@pytest.mark.parametrize("audience", ["contractor", "owner"])
def test_hostile_names_stay_text(write, siting, hostile, audience):
    page, harmless = (write(one, audience=audience) for one in (hostile, siting))
    tags = [Outline(one.read_text("utf-8")).tags for one in (page, harmless)]
    assert tags[0].count("script") == tags[1].count("script")
    assert "img" not in tags[0]
    # No name stands in the drawing at all.
    svg = section(page)
    svg = svg[svg.index("<svg") : svg.index("</svg>")]
    assert "hit" not in svg
    assert ("{{ 7*7 }}" in Outline(section(page)).text) == (audience == "contractor")


@pytest.mark.browser
def test_browser_shows_hostile_names_as_text(chromium, write, hostile):
    """Escaping alone keeps the page safe: the policy is off."""
    path = write(hostile)
    path.write_text(re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", path.read_text("utf-8")), "utf-8")
    seen = visit(chromium, path)
    assert seen.console == ()
    assert "<title>Lot 14-B" in seen.dom
    assert "<img" not in seen.dom


@pytest.mark.browser
def test_browser_prints_a_lot_with_its_siting_on_ten_sheets(chromium, tmp_path, write, siting):
    paper = tmp_path / "lot.pdf"
    visit(chromium, write(siting), arguments=("--no-pdf-header-footer", f"--print-to-pdf={paper}"))
    assert 4 <= len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes())) <= 10


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_browser_section_is_no_wider_than_the_screen(chromium, write, siting, width):
    path = write(siting)
    probe = "document.body.dataset.over = document.documentElement.scrollWidth - document.documentElement.clientWidth;"
    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", path.read_text("utf-8"))
    path.write_text(html.replace("</body>", f"<script>{probe}</script></body>"), "utf-8")
    assert 'data-over="0"' in visit(chromium, path, width=width).dom
