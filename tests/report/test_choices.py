"""The need beside what the records say of each yield, and what would change the answer, in words and figures."""

import numpy as np
import pandas as pd
import pytest
from report_fakes import Outline

from wellrecords import wording
from wellrecords.demand import DemandSettings
from wellrecords.demand_words import NO_TANK, NOT_ENOUGH
from wellrecords.report import write_lot_report
from wellrecords.report.choices import change_section
from wellrecords.report.choices import need_section as section_of
from wellrecords.water_system import WaterSystemSettings

HOUSE_AND_LAWN = DemandSettings(persons=4, lawn_area_ft2=5000)


def need_section(estimate, demand, bid, **sold):
    return section_of(estimate, demand, bid, WaterSystemSettings(**sold))


def cells(told):
    return {row["cells"][0]: dict(zip(told["head"], row["cells"], strict=True)) for row in told["rows"]}


def test_half_a_gallon_serves_the_house_with_a_tank_and_waters_no_lawn(estimate):
    """720 gallons a day: 300 for the house with 240 of storage (300 less 0.5 x 120), not the 894 with the lawn."""
    told = need_section(estimate, HOUSE_AND_LAWN, None)
    half = cells(told)["0.5 gpm"]
    assert half["Makes a day"] == "720 gal"
    assert half["House: tank"] == "300 gal for 240"
    assert half["House, garden: tank"] == NOT_ENOUGH
    assert half["Chance by 600 ft"] == "97%"
    assert half["Half of holes by"] == "120 ft"
    assert cells(told)["0.1 gpm"]["House: tank"] == NOT_ENOUGH
    assert cells(told)["5 gpm, as asked"]["House: tank"] == NO_TANK
    # 1,781 gallons a watering, of which 5 gpm make 1,200 in 4 hours; the house's peak leaves 300 of 600.
    assert cells(told)["5 gpm, as asked"]["House, garden: tank"] == "1,000 gal for 590"
    assert "the least size sold that holds the gallons needed and 25% over" in told["caption"]
    assert "watered every 3 days within 4 hours right before or after the house's peak" in told["caption"]
    firm = need_section(estimate, HOUSE_AND_LAWN, None, storage_tanks_gal=(275.0,), storage_margin=0.0)
    assert cells(firm)["0.5 gpm"]["House: tank"] == "275 gal for 240"
    assert cells(firm)["5 gpm, as asked"]["House, garden: tank"] == "3 x 275 gal for 590"


def test_water_that_stands_in_the_well_counts(estimate, bid):
    stored = bid.quantities.assign(served=1.0, well_storage_gal=200.0)
    told = need_section(estimate, HOUSE_AND_LAWN, _with(bid, stored))
    assert int(cells(told)["0.5 gpm"]["House: tank"].rpartition(" for ")[2]) < 240
    assert "beside the 200 usable gallons in the planned well" in told["caption"]
    assert "usable gallons" not in need_section(estimate, HOUSE_AND_LAWN, None)["caption"]


def _with(bid, quantities):
    from dataclasses import replace

    return replace(bid, quantities=quantities)


def test_the_asked_yield_is_held_against_the_need(estimate):
    sentences = need_section(estimate, DemandSettings(persons=4), None)["sentences"]
    assert "Without a storage tank the house needs 2.5 gpm" in sentences[0]
    assert "5 gpm that are asked for are more than the house alone needs" in sentences[-1]
    little = need_section(estimate.but(target_yield_gpm=0.5), DemandSettings(persons=4), None)["sentences"]
    assert "0.5 gpm that are asked for are less:" in little[-1]
    least = need_section(estimate.but(target_yield_gpm=0.2), DemandSettings(persons=4), None)["sentences"]
    assert least[-1] == "The 0.2 gpm that are asked for are too little for the house, with any tank."
    exact = need_section(estimate.but(target_yield_gpm=2.5), DemandSettings(persons=4), None)["sentences"]
    assert exact[-1] == "The 2.5 gpm that are asked for are just that."
    # Five people need 3.125 gpm, which the page rounds up: 3 gpm are not "just that".
    for asked, words in (
        (3.0, "The 3 gpm that are asked for are a little less: a small tank"),
        (3.2, "The 3.2 gpm that are asked for are just that."),
        (3.28, "a little more"),
    ):
        near = need_section(estimate.but(target_yield_gpm=asked), DemandSettings(persons=5), None)["sentences"]
        assert "needs 3.2 gpm" in near[0]
        assert words in near[-1]
    assert "House, garden: tank" not in need_section(estimate, DemandSettings(persons=4), None)["head"]


def test_what_would_change_it_is_told_with_its_figures(estimate):
    told = change_section(estimate)
    chance = [wording.percent(value) for value in estimate.changes["chance_of_target"]]
    assert told["rows"][0] == ("As asked: 5 gpm by 600 ft", chance[0], "240 ft")
    assert told["rows"][1][0] == "The limit at 750 ft"
    assert told["rows"][2] == ("A new well next door that makes 5 gpm at 160 ft", chance[2], "230 ft")
    assert told["rows"][3] == ("A new well next door that is dry at 600 ft", chance[3], "over 600 ft")
    # Both ends stand in the table above, in the same figures.
    assert f"at most from {chance[0]} to {chance[3]}:" in told["sentence"]


@pytest.mark.parametrize(
    ("deeper", "good", "poor", "words"),
    [
        (0.9, 0.89, 0.88, "hardly move the answer"),
        (0.99, 0.9, 0.85, "A deeper limit would help more"),
    ],
)
def test_the_sentence_says_what_matters(estimate, deeper, good, poor, words):
    changed = estimate.changes.assign(chance_of_target=[0.88, deeper, good, poor])
    assert words in change_section(estimate.but(changes=changed))["sentence"]


def test_thin_records_are_not_called_many(estimate):
    changed = estimate.changes.assign(chance_of_target=[0.88, 0.89, 0.89, 0.88])
    told = {support: change_section(estimate.but(changes=changed, support=support)) for support in ("good", "thin")}
    assert "the records around are many and agree" in told["good"]["sentence"]
    assert "many" not in told["thin"]["sentence"]
    assert "thin as the records near the lot are" in told["thin"]["sentence"]


@pytest.fixture
def prices(estimate):
    """Each gallon a minute costs a thousand dollars more; 20 gallons more stand in the well that is drilled for it."""
    gpm = estimate.by_yield["yield_gpm"]
    return pd.DataFrame(
        {
            "yield_gpm": gpm,
            "in_well_gal": 100.0 + 20.0 * gpm,
            "cost_usd_p50": 10_000.0 + 1_000.0 * gpm,
            "fixed_price_usd": 12_000.0 + 1_000.0 * gpm,
        }
    )


def test_what_other_yields_would_cost_stands_beside_them(estimate, prices):
    told = section_of(estimate, DemandSettings(persons=4), None, WaterSystemSettings(), prices)
    asked, half = cells(told)["5 gpm, as asked"], cells(told)["0.5 gpm"]
    assert (asked["Middle cost"], asked["Fixed price"]) == ("$15,000", "$17,000")
    assert (half["Middle cost"], half["Fixed price"]) == ("$10,500", "$12,500")
    assert "each hole drilled until it makes the yield or comes to 600 ft" in told["caption"]
    assert "with pump and tank for the house alone." in told["caption"]
    assert told["sentences"][-1].endswith("the table says what less would do, and what it would cost.")
    watered = WaterSystemSettings(storage_for="irrigation")
    assert "for the house, lawn and garden." in section_of(estimate, HOUSE_AND_LAWN, None, watered, prices)["caption"]
    for none in (None, prices.iloc[:0]):
        bare = section_of(estimate, DemandSettings(persons=4), None, WaterSystemSettings(), none)
        assert "Fixed price" not in bare["head"]
        assert "Prices:" not in bare["caption"]


def test_the_water_in_the_well_is_that_of_a_hole_for_the_yield(estimate, prices):
    """110 gallons in a hole for half a gallon a minute, of the 240 that the house needs."""
    told = section_of(estimate, DemandSettings(persons=4), None, WaterSystemSettings(), prices)
    alone = section_of(estimate, DemandSettings(persons=4), None, WaterSystemSettings(), prices.assign(in_well_gal=0.0))
    needed = [int(cells(one)["0.5 gpm"]["House: tank"].rpartition(" for ")[2]) for one in (told, alone)]
    assert needed[1] == 240
    assert 130 <= needed[0] < 240
    assert "the water that stands in a well drilled for that yield" in told["caption"]


def test_the_owner_is_told_the_price_and_not_the_cost(tmp_path, estimate, bid, wells, prices):
    given = {"estimate": estimate, "bid": bid, "wells": wells, "region": "Hills", "demand": HOUSE_AND_LAWN}
    pages = {
        audience: write_lot_report(tmp_path / "lot.html", audience=audience, other_yields=prices, **given).read_text()
        for audience in ("contractor", "owner")
    }
    assert "$10,500" in pages["contractor"]
    assert "$10,500" not in pages["owner"]
    assert all("$12,500" in page for page in pages.values())


@pytest.mark.parametrize("audience", ["contractor", "owner"])
def test_both_readers_find_them_on_the_page(tmp_path, estimate, bid, wells, audience):
    given = {"estimate": estimate, "bid": bid, "wells": wells, "region": "Hills", "audience": audience}
    text = Outline(write_lot_report(tmp_path / "lot.html", demand=HOUSE_AND_LAWN, **given).read_text("utf-8")).text
    for words in ("The water that is needed", "What other yields would do", "What would change it", "890 gal a day"):
        assert words in text
    assert "nan" not in text.split()


def test_where_the_records_cannot_say_there_is_neither(tmp_path, no_support, wells):
    page = write_lot_report(
        tmp_path / "lot.html", estimate=no_support, bid=None, wells=wells, region="Hills", demand=HOUSE_AND_LAWN
    )
    text = page.read_text("utf-8")
    assert "What would change it" not in text
    assert "The water that is needed" not in text
    assert np.isnan(no_support.chance_of_target)
