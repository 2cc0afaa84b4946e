from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from report_browser import visit
from report_fakes import HOSTILE, Outline

from wellrecords import wording
from wellrecords.bid import NoBid
from wellrecords.report import write_lot_report
from wellrecords.report.lot_words import answer, yield_by_depth


@pytest.fixture(scope="module")
def common(wells, lot, context_layers):
    return {"wells": wells, "region": "Invented Hills", "lot": lot, "context_layers": context_layers}


@pytest.fixture(scope="module")
def contractor(tmp_path_factory, estimate, bid, common):
    path = tmp_path_factory.mktemp("lot") / "lot.html"
    return write_lot_report(path, estimate=estimate, bid=bid, prepared_on=date(2026, 3, 4), **common)


@pytest.fixture(scope="module")
def owner(tmp_path_factory, estimate, bid, common):
    path = tmp_path_factory.mktemp("owner") / "lot.html"
    return write_lot_report(path, estimate=estimate, bid=bid, audience="owner", **common)


def test_page_asks_for_nothing_and_is_well_formed(contractor):
    html = contractor.read_text("utf-8")
    page = Outline(html)
    assert page.loads == []
    assert len(page.ids) == len(set(page.ids))
    assert '<html lang="en">' in html
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in html
    assert page.tags.count("h1") == 1
    assert html.count("<title>") == 1


def test_answer_comes_first_and_says_the_draws_own_quantiles(contractor, estimate):
    page = Outline(contractor.read_text("utf-8"))
    low, middle, high = np.quantile(estimate.draws["depth_to_target_ft"], [0.1, 0.5, 0.9], method="inverted_cdf")
    said = re.search(
        r"Plan on a hole of about (\d+) ft to make 5 gpm; in 8 of 10 cases it takes (\d+) to (\d+) ft", page.text
    )
    assert said is not None
    for text, value in zip(said.groups(), (middle, low, high), strict=True):
        assert abs(int(text) - value) <= 2.5
    assert page.text.index("Plan on a hole") < page.text.index("The lot and the wells around it")


def test_every_section_is_there(contractor, bid):
    text = Outline(contractor.read_text("utf-8")).text
    for words in (
        "Chance that a hole makes 5 gpm by 600 ft",
        "Chance of a dry hole",
        "Fixed price",
        *bid.lines["label"],
        *bid.drivers["driver"],
        "The well and its water system",
        "The wells that the estimate leaned on",
        "An estimate is no guarantee",
        "Permits",
        "Setbacks",
        "buried utilities",
        "Overhead lines",
        "Disinfect and test",
        "Unused wells",
        "works with no network",
    ):
        assert words in text


def test_yield_of_the_planned_hole_and_of_finished_wells_are_kept_apart(contractor, estimate, bid):
    text = Outline(contractor.read_text("utf-8")).text

    def said(values):
        return [wording.flow(value) for value in np.quantile(values, [0.1, 0.5, 0.9], method="inverted_cdf")]

    hole, finished = said(bid.quantities["yield_gpm"]), said(estimate.draws["yield_gpm"])
    assert hole != finished
    first, middle, last = hole
    top = text[text.index("The answer") : text.index("The lot and the wells around it")]
    assert f"Yield of the planned hole {middle} {first.removesuffix(' gpm')} to {last}" in top
    assert "finished wells" not in top
    assert f"Yield of the planned hole {' '.join(hole)}" in text
    assert f"Yield of finished wells around here {' '.join(finished)}" in text
    assert not re.search(r"\bYield of a|\bYield \d+(\.\d)? gpm \d", text)


def test_without_a_bid_the_headline_is_the_yield_of_finished_wells(tmp_path, estimate, common):
    text = Outline(
        write_lot_report(tmp_path / "bare.html", estimate=estimate, bid=None, **common).read_text("utf-8")
    ).text
    middle = wording.flow(np.quantile(estimate.draws["yield_gpm"], 0.5, method="inverted_cdf"))
    assert f"Yield of finished wells around here {middle}" in text[: text.index("The lot and the wells")]
    assert "planned hole" not in text[text.index("The estimate") :].partition("The well and its water system")[0]
    assert "Hole as drilled" not in text
    assert "Depth to 5 gpm, middle" in text


def test_depth_of_the_water_and_hole_as_drilled_are_each_called_by_name(contractor, bid):
    text = Outline(contractor.read_text("utf-8")).text
    low, middle, high = (
        wording.depth(value)
        for value in np.quantile(bid.quantities["drilled_ft"], [0.1, 0.5, 0.9], method="inverted_cdf")
    )
    assert "Depth to 5 gpm is where that water is met. The hole as drilled comes to" in text
    assert f"comes to {middle} ({low.removesuffix(' ft')} to {high})" in text
    assert f"Hole as drilled {low} {middle} {high}" in text
    assert f"Hole as drilled {middle} ({low.removesuffix(' ft')} to {high})" in text
    for label, depth in (("p10", low), ("middle", middle), ("p90", high)):
        assert f"Hole as drilled, {label} {depth}" in text


def test_dry_is_the_word_of_the_records_alone(contractor):
    text = Outline(contractor.read_text("utf-8")).text
    assert "the chance of a dry hole, one that makes under 0.5 gpm even there, is 4%" in text
    assert "Chance of a dry hole by the records: under 0.5 gpm even at 600 ft 4%" in text
    assert "Too little to serve the house even with a tank, under 0.21 gpm 3%" in text
    assert "The last of these counts the hole as the bid drills it" in text
    assert "Dry:" not in text


def test_each_reader_is_told_which_total_is_signed(contractor, owner):
    firm, owners = (Outline(page.read_text("utf-8")).text for page in (contractor, owner))
    assert "The total of the lines is your cost, before any margin." in firm
    assert "You sign one of two: the fixed price, or the price by the foot." in owners
    assert "your cost" not in owners
    for text in (firm, owners):
        assert "The fixed price is reckoned as paid in every case, also where the hole is dry or falls short" in text


def test_a_target_hardly_met_is_said_first(estimate, bid):
    hopeless = replace(estimate, chance_of_target=0.02)
    said = answer(hopeless, bid, owner=True, minimum=1).lead
    assert said == (
        "A well here will hardly make 5 gpm: the chance by the limit of 600 ft is 2%; the prices are those of a hole "
        "that falls short."
    )
    assert "prices" not in answer(hopeless, None, owner=False, minimum=1).lead


def test_technical_sentence_is_folded_away(contractor, estimate, owner):
    html = contractor.read_text("utf-8")
    folded = re.search(r"<details[^>]*>(.*?)</details>", html, flags=re.DOTALL).group(1)
    assert "For the hydrogeologist" in folded
    assert html.count(estimate.technical_words) == folded.count(estimate.technical_words) == 1
    assert "<details" not in owner.read_text("utf-8")


def test_fixed_price_stands_beside_the_same_work_by_the_foot(contractor, owner, bid):
    low, middle, high = np.quantile(bid.by_the_foot_usd, [0.1, 0.5, 0.9])
    fixed, spread = wording.money(bid.fixed_price_usd), wording.span(low, high, wording.money)
    for page in (contractor, owner):
        text = Outline(page.read_text("utf-8")).text
        assert f"Fixed price, well and system {fixed}" in text
        assert f"By the foot, well and system, 8 in 10 {spread}" in text
        assert "Of it the well, without the system $5,200 to $18,100" in text
    text = Outline(owner.read_text("utf-8")).text
    assert f"Fixed price, well and system {fixed} whatever the depth" in text
    assert f"Or by the foot, well and system {wording.money(middle)} {spread}" in text
    assert f"In 8 of 10 cases the price by the foot, well and system, lies between {wording.money(low)}" in text
    assert f"The fixed price is {fixed}." in text


def test_bid_lines_say_no_range_twice_and_sizes_have_no_one_price(contractor, bid):
    html = contractor.read_text("utf-8")
    rows = {
        Outline(row).words[0]: [re.sub("<[^>]+>", "", cell) for cell in re.findall(r"<td.*?</td>", row)]
        for row in re.findall(r'<tr><th scope="row">.*?</tr>', html[html.index('class="lines"') :])
    }
    assert rows["Submersible pump"][:5] == ["always", "1", "", "by size", "$2,100"]
    assert rows["Trench"][:6] == ["always", "120 ft", "", "$16.00", "$1,920", ""]
    storage = float(bid.lines.set_index("line").loc["storage", "chance"])
    assert rows["Storage tank"][0] == f"{wording.percent(storage)} of cases"
    assert "to" in rows["Drilling in rock, 6 in"][2]


def test_neighbours_away_are_in_one_unit_and_weights_told_apart(tmp_path, contractor, estimate, bid, common):
    def column(page, name):
        html = page.read_text("utf-8")
        table = html[html.index('<table class="wells">') :].partition("</table>")[0]
        heads = re.findall(r"<th scope=\"col\"[^>]*>(.*?)</th>", table)
        if name not in heads:
            return None
        rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", table)
        return [re.findall(r"<td[^>]*>(.*?)</td>", row)[heads.index(name) - 1] for row in rows]

    assert len({text.split()[-1] for text in column(contractor, "Away")}) == 1
    assert len(set(column(contractor, "Weight"))) > 10
    assert "the weights of all wells add up to 100%" in contractor.read_text("utf-8")
    level = estimate.but(neighbours=estimate.neighbours.assign(weight=1 / 24))
    alike = write_lot_report(tmp_path / "alike.html", estimate=level, bid=bid, **common)
    assert column(alike, "Weight") is None
    assert "Each weighs about as much as the others: 4.2%" in Outline(alike.read_text("utf-8")).text


def test_every_neighbour_is_listed_with_its_readings(contractor, estimate):
    text = Outline(contractor.read_text("utf-8")).text
    for well in estimate.neighbours.itertuples():
        assert well.record_id in text
    assert "over " in text


def test_same_input_same_bytes_and_only_the_given_date(tmp_path, contractor, estimate, bid, common):
    again = write_lot_report(
        tmp_path / "again.html", estimate=estimate, bid=bid, prepared_on=date(2026, 3, 4), **common
    )
    assert again.read_bytes() == contractor.read_bytes()
    undated = write_lot_report(tmp_path / "undated.html", estimate=estimate, bid=bid, **common)
    assert "2026" not in re.sub(r"<script.*?</script>", "", undated.read_text("utf-8"), flags=re.DOTALL)


def test_no_support_gives_no_depth_and_no_price(tmp_path, no_support, bid, common):
    path = write_lot_report(tmp_path / "none.html", estimate=no_support, bid=bid, **common)
    html = path.read_text("utf-8")
    top = html[html.index('id="answer"') : html.index('id="wells"')]
    assert "The nearest wells on record" in html
    assert "leaned on" not in html
    words = Outline(top).text
    assert "The records cannot say" in words
    assert "The nearest well on record is 14 km away." in words
    assert "What would help" in words
    assert "No bid is given" in words
    assert "$" not in re.sub(r"<script.*?</script>", "", html, flags=re.DOTALL).split("<footer>")[0]
    assert not re.search(r"\d ft|\d gpm", words)
    assert "Plan on" not in words


def test_no_bid_says_why(tmp_path, estimate, common):
    reason = "The price book has no line for casing of 8 in."
    path = write_lot_report(tmp_path / "nobid.html", estimate=estimate, bid=NoBid(estimate.lot_id, reason), **common)
    text = Outline(path.read_text("utf-8")).text
    assert reason in text
    assert "Fixed price" not in text


def test_quantity_without_records_is_said_and_not_shown_as_a_number(tmp_path, estimate, bid, common):
    silent = estimate.but(draws=estimate.draws.assign(depth_to_water_ft=np.nan))
    path = write_lot_report(tmp_path / "silent.html", estimate=silent, bid=bid, **common)
    text = Outline(path.read_text("utf-8")).text
    assert "Water stands at cannot say no records of it here" in text
    assert "Depth to standing water – – –" in text
    assert "nan" not in re.findall(r"\b\w+\b", text)


def test_flowing_wells_are_said_to_flow(tmp_path, estimate, bid, common):
    flowing = estimate.but(draws=estimate.draws.assign(depth_to_water_ft=np.linspace(-20.0, 1.0, 1000)))
    path = write_lot_report(tmp_path / "flowing.html", estimate=flowing, bid=bid, **common)
    text = Outline(path.read_text("utf-8")).text
    assert "Water stands at it flows 20 ft above ground to ground level" in text
    assert "Depth to standing water 20 ft above ground 10 ft above ground ground level" in text


def test_target_beyond_the_limit_is_said_as_such(tmp_path, estimate, common):
    draws = estimate.draws.assign(depth_to_target_ft=np.inf)
    poor = estimate.but(draws=draws, chance_of_target=0.0)
    text = Outline(write_lot_report(tmp_path / "poor.html", estimate=poor, bid=None, **common).read_text("utf-8")).text
    assert "A well here will hardly make 5 gpm" in text
    assert "over 600 ft" in text
    assert "inf" not in re.findall(r"\b\w+\b", text)
    assert "nan" not in re.findall(r"\b\w+\b", text)


@pytest.mark.parametrize("priced", [True, False])
def test_no_depth_beyond_the_limit_is_told_as_a_figure(tmp_path, estimate, bid, common, priced):
    draws = estimate.draws.assign(depth_to_target_ft=estimate.draws["depth_to_target_ft"] * 3)
    assert 600 < np.quantile(draws["depth_to_target_ft"], 0.9, method="inverted_cdf") < np.inf
    deep = estimate.but(draws=draws)
    html = write_lot_report(tmp_path / "deep.html", estimate=deep, bid=bid if priced else None, **common).read_text(
        "utf-8"
    )
    html = html[: html.index('id="map"')] + html[html.index('id="estimate"') : html.index('id="wells"')]
    text = Outline(html).text
    assert "The limit at 750 ft" in text  # another limit, named as such
    depths = [
        int(depth.replace(",", "")) for depth in re.findall(r"(\d[\d,]*) ft\b", text.replace("limit at 750 ft", ""))
    ]
    assert "over 600 ft" in html
    assert max(depths) <= 600
    if not priced:
        assert "Depth to 5 gpm, p90 over 600 ft" in Outline(html).text


def test_owner_sees_no_single_well_and_no_cost_of_the_firm(owner, estimate, wells, bid):
    html = owner.read_text("utf-8")
    for well in wells.itertuples():
        assert well.record_id not in html
    data = json.loads(re.search(r'id="map-data">(.*?)</script>', html, flags=re.DOTALL).group(1))
    corners = np.array(list(_places(data["groups"])))
    for well in wells.itertuples():
        away_m = 111_195 * np.hypot(corners[:, 0] - well.latitude, (corners[:, 1] - well.longitude) * 0.717)
        assert away_m.min() > 1.0
    assert "firm_log" not in html
    assert "state_extract" not in html
    assert "Chance that it loses" not in html
    assert "Expected profit" not in html
    assert "margin" not in Outline(html).text
    for cost in bid.lines["unit_cost_usd"]:
        assert f"${cost:,.2f}" not in html


def test_owner_reads_no_note_that_may_speak_of_one_well(tmp_path, estimate, no_support, bid, common):
    telling = ("The nearest well, 180 m north, made 3 gpm at 412 ft.",)
    for case, spoken in (("good", estimate), ("none", no_support)):
        html = write_lot_report(
            tmp_path / f"{case}.html",
            estimate=spoken.but(notes=telling, technical_words=telling[0]),
            bid=NoBid(spoken.lot_id, telling[0]),
            audience="owner",
            **common,
        ).read_text("utf-8")
        assert "412 ft" not in html
        assert "180 m" not in html
        assert "of the lot and" in html
        assert "nearest" not in Outline(html).text.lower()


def _places(value):
    """Yield each pair of numbers in nested lists and dicts."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from _places(inner)
    elif isinstance(value, list):
        if len(value) == 2 and all(isinstance(number, float) for number in value):
            yield value
        else:
            for inner in value:
                yield from _places(inner)


def test_owner_figures_rest_on_enough_wells(tmp_path, estimate, bid, common):
    few = estimate.but(neighbours=estimate.neighbours.head(4), wells_within_1km=4)
    text = Outline(
        write_lot_report(tmp_path / "few.html", estimate=few, bid=bid, audience="owner", **common).read_text("utf-8")
    ).text
    assert "This version gives no figures for this lot" in text
    assert "ewer than 5 wells within 0.6 mi" in text
    assert "Plan on" not in text


def test_an_estimate_that_one_well_outweighs_is_not_for_the_owner(tmp_path, estimate, bid, common):
    """Forty wells, of which the one next door holds nearly all the weight: the figures would be that well's."""
    count = len(estimate.neighbours)
    weight = np.r_[0.96, np.full(count - 1, 0.04 / (count - 1))]
    one = estimate.but(neighbours=estimate.neighbours.assign(weight=weight))
    given = {"estimate": one, "bid": bid, **common}
    text = Outline(write_lot_report(tmp_path / "one.html", audience="owner", **given).read_text("utf-8")).text
    assert "This version gives no figures for this lot" in text
    assert not re.search(r"\$\d", text.replace("to $100", ""))
    firm = Outline(write_lot_report(tmp_path / "firm.html", **given).read_text("utf-8")).text
    assert "Plan on" in firm


@pytest.mark.browser
def test_browser_draws_the_map_without_a_complaint(chromium, contractor, estimate, wells):
    seen = visit(chromium, contractor)
    assert seen.console == ()
    drawn = int(re.search(r'data-wells-drawn="(\d+)"', seen.dom).group(1))
    assert seen.dom.count('class="well well-marked') == len(estimate.neighbours)
    assert seen.dom.count('class="well ') == drawn
    assert len(estimate.neighbours) < drawn <= len(wells)
    assert "leaflet-control-scale-line" in seen.dom
    assert "Wells the estimate leaned on" in seen.dom


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_browser_page_is_no_wider_than_the_screen(chromium, tmp_path, contractor, width):
    """Only the tables' own boxes scroll sideways, so that a phone need not."""
    probe = "document.body.dataset.over = document.documentElement.scrollWidth - document.documentElement.clientWidth;"
    page = _probed(contractor, tmp_path, probe)
    assert 'data-over="0"' in visit(chromium, page, width=width).dom


@pytest.mark.browser
def test_browser_prints_to_paper(chromium, tmp_path, contractor):
    paper = tmp_path / "lot.pdf"
    seen = visit(chromium, contractor, arguments=("--no-pdf-header-footer", f"--print-to-pdf={paper}"))
    assert seen.console == ()
    content = paper.read_bytes()
    assert content.startswith(b"%PDF-")
    assert 4 <= len(re.findall(rb"/Type\s*/Page\b", content)) <= 8


@pytest.mark.browser
def test_browser_draws_the_owners_squares(chromium, owner):
    seen = visit(chromium, owner)
    assert seen.console == ()
    assert 'data-wells-drawn="0"' in seen.dom
    assert seen.dom.count("leaflet-interactive") > 3


def _write_hostile(path, estimate, wells, bid, common):
    """Write a report in which every text that may come from a record or a user is hostile."""
    ids = [f"{HOSTILE}{number}" for number in range(len(wells))]
    spoiled = wells.assign(source=HOSTILE, record_id=ids)
    neighbours = estimate.neighbours.assign(source=HOSTILE, record_id=ids[: len(estimate.neighbours)])
    return write_lot_report(
        path,
        estimate=estimate.but(lot_id=HOSTILE, notes=(HOSTILE,), neighbours=neighbours),
        bid=bid,
        wells=spoiled,
        region=HOSTILE,
        lot=common["lot"],
        context_layers={HOSTILE: common["context_layers"]["roads"]},
        prepared_by=HOSTILE,
        name=f"{HOSTILE}, the lot",
    )


def test_hostile_text_builds_and_stays_text(tmp_path, contractor, estimate, wells, bid, common):
    html = _write_hostile(tmp_path / "hostile.html", estimate, wells, bid, common).read_text("utf-8")
    assert "hit" in html
    assert Outline(html).tags.count("script") == Outline(contractor.read_text("utf-8")).tags.count("script")
    assert "img" not in Outline(html).tags
    heading = Outline(html[html.index("<h1>") : html.index("</h1>")]).text
    assert "{{ 7*7 }}" in heading
    assert "49" not in heading


@pytest.mark.browser
@pytest.mark.parametrize("policy", [True, False], ids=["policy on", "policy off"])
def test_browser_shows_hostile_text_as_text(chromium, tmp_path, estimate, wells, bid, common, policy):
    """Escaping alone keeps the page safe: with the policy off, and with each card opened, nothing fires."""
    path = _write_hostile(tmp_path / "hostile.html", estimate, wells, bid, common)
    if not policy:
        path = _probed(path, tmp_path, "document.querySelectorAll('.well-marked').forEach((well) => well.focus());")
    seen = visit(chromium, path)
    assert seen.console == ()
    assert re.search(r"<title>([^<]*)", seen.dom).group(1).startswith("Lot {{ 7*7 }}")
    assert "<img" not in seen.dom
    assert "data-wells-drawn" in seen.dom
    if not policy:
        assert "&lt;img src=x onerror=" in seen.dom[seen.dom.index('class="well-card"') :]


@pytest.mark.browser
def test_browser_opens_a_wells_card_by_keyboard(chromium, tmp_path, contractor, estimate):
    page = _probed(contractor, tmp_path, "document.querySelector('.well-marked').focus();")
    dom = visit(chromium, page).dom
    card = Outline(dom[dom.index('class="well-card"') - 5 :]).text
    assert re.match(r"Well w\d{4} Weight \d+\.\d% Depth \d+ ft Yield", card)


def _probed(page, folder, script):
    """Return a copy of a page with its policy off and a script at its end."""
    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page.read_text("utf-8"))
    probed = folder / "probed.html"
    probed.write_text(html.replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    return probed


@pytest.mark.browser
@pytest.mark.parametrize("sink", ["page", "map data", "layer name"])
def test_browser_control_unescaped_text_does_harm(chromium, tmp_path, contractor, sink):
    """The same hostile text, let through unescaped and with the policy off, is seen to fire."""
    html = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", contractor.read_text("utf-8"))
    payload = "<img src=x onerror=\"document.title='hit'\">"
    if sink == "page":
        spoiled = html.replace("<h1>", f"<h1>{payload}")
    elif sink == "map data":
        spoiled = html.replace('"map":"map_report"', "</script><script>document.title='hit'</script>", 1)
    else:
        spoiled = html.replace('"Roads" :', f"{json.dumps(payload)} :")
    assert spoiled != html
    page = tmp_path / "control.html"
    page.write_text(spoiled, "utf-8")
    assert "<title>hit</title>" in visit(chromium, page).dom


def test_policy_names_each_script_that_the_page_runs(contractor):
    html = contractor.read_text("utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html).group(1).replace("&#39;", "'")
    scripts = re.findall(r"<script>(.*?)</script>", html, flags=re.DOTALL)
    hashes = {f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in scripts}
    assert len(hashes) == 3
    assert hashes == set(re.findall(r"'sha256-[^']+'", policy))
    assert "default-src 'none'" in policy


def test_what_a_hole_makes_that_stops_at_some_depth_is_told(estimate, contractor, owner):
    """The fake's holes make 6 gpm from their target on; nine in ten have met it by 600 ft, fewer than one by 100."""
    rows = {row["label"]: row for row in yield_by_depth(estimate)}
    assert list(rows) == ["100 ft", "200 ft", "300 ft", "400 ft", "500 ft", "600 ft"]
    made = estimate.yield_at_depth(300.0)
    low, middle, high = np.quantile(made, (0.1, 0.5, 0.9), method="inverted_cdf")
    assert rows["300 ft"] == {
        "label": "300 ft",
        "p10": wording.flow(low),
        "p50": wording.flow(middle),
        "p90": wording.flow(high),
    }
    assert rows["600 ft"]["p50"] == "6 gpm"
    assert rows["100 ft"]["p10"] not in ("6 gpm", "0 gpm")
    assert [row["label"] for row in yield_by_depth(estimate.but(max_depth_ft=620.0))][-2:] == ["600 ft", "620 ft"]
    assert yield_by_depth(estimate.but(dry_below_gpm=5.0))[0]["p10"] == "under 5 gpm"
    for page in (contractor, owner):
        assert "Yield by depth, if the hole stops there" in Outline(page.read_text("utf-8")).text
