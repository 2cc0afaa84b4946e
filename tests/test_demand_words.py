"""The need in words: sentences that the reckoning bears out."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.demand import (
    DemandSettings,
    household_need,
)
from wellrecords.demand_storage import (
    yield_storage_table,
)
from wellrecords.demand_words import (
    describe_yield,
    need_facts,
    sprinklers_tank_gal,
    tank_gallons,
    what_this_well_needs,
    what_to_ask_for,
)


def printed_gal(text):
    return float(text.replace(",", ""))


def test_half_a_gallon_a_minute_serves_a_house_and_waters_no_lawn():
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    text = " ".join(describe_yield(0.5, need, 200.0))
    assert "720 gallons a day" in text
    assert "It serves the house" in text
    assert "will not water the 5,000 ft²" in text
    plenty = " ".join(describe_yield(6.0, need, 200.0))
    assert "also waters the 5,000 ft²" in plenty
    assert "without a storage tank" in plenty
    assert "does not serve the house" in " ".join(describe_yield(0.1, need, 200.0))
    small = " ".join(describe_yield(0.5, household_need(DemandSettings(persons=4, lawn_area_ft2=800))))
    assert "also waters the 800 ft²" in small


def test_a_watering_is_told_with_its_hours_and_what_the_well_makes_meanwhile():
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    assert describe_yield(1.0, need)[3] == (
        "A watering by sprinklers takes 1,790 gallons, every 3 days within 4 hours; in that time the well makes 240: "
        "1,550 gallons of storage on top of the house's."
    )
    assert "drawn down" in describe_yield(1.0, need, 150.0)[3]
    assert describe_yield(10.0, need)[3].endswith(
        "in that time the well makes 2,400: no storage on top of the house's."
    )
    assert "It cannot refill a tank between waterings by sprinklers" in describe_yield(0.5, need)[3]
    assert "sprinklers" not in " ".join(describe_yield(1.0, household_need(DemandSettings(persons=4))))
    facts = dict(need_facts(DemandSettings(lawn_area_ft2=5000, watering_every_days=1, watering_hours=2)))
    assert facts["A watering by sprinklers, every day within 2 hours"] == "600 gal, 4.9 gpm"
    told = what_to_ask_for(need, (0.5, 1.0, 2.0))
    assert told.endswith("With sprinklers it is a 1,730 gallon tank at 1 gpm, a 1,190 gallon tank at 2.5 gpm.")
    little = household_need(DemandSettings(persons=4, lawn_area_ft2=100, watering_every_days=1))
    assert what_to_ask_for(little, ()).endswith("Sprinklers need no tank either.")


@given(
    st.floats(0.3, 8),
    st.floats(500, 20_000),
    st.integers(1, 7),
    st.sampled_from([0.0, 60.0, 150.0, 400.0]),
    st.sampled_from([{}, {"horse": 3}]),
)
@settings(deadline=None)
def test_the_storage_of_a_watering_adds_up_as_it_is_printed(flow, lawn, every_days, in_well, livestock):
    need = household_need(
        DemandSettings(persons=4, lawn_area_ft2=lawn, watering_every_days=every_days, livestock=livestock)
    )
    table = yield_storage_table(need, [flow], in_well)
    if not table["serves_summer"].iloc[0]:
        assert sprinklers_tank_gal(table, need) == [np.inf]
        return
    told = describe_yield(flow, need, in_well)[3]
    takes = printed_gal(re.search(r"takes ([\d,]+) gallons", told).group(1))
    makes = printed_gal(re.search(r"the well makes ([\d,]+)", told).group(1))
    asked = re.search(r": ([\d,]+) gallons of storage on top of the house's(?:, and ([\d,]+) in place)?", told)
    rest, in_place = (printed_gal(text or "0") for text in asked.groups()) if asked else (0.0, 0.0)
    if asked and "house's, in place" not in told:
        assert takes - makes == rest
    # No less than is needed, and no more than the roundings.
    exact = float(table["watering_storage_gal"].iloc[0])
    assert exact - 1e-3 <= rest + in_place <= exact + 30
    house = printed_gal(tank_gallons(table["house_tank_gal"].iloc[0]))
    assert sprinklers_tank_gal(table, need) == [house + rest + in_place]


def test_a_tank_smaller_than_any_on_sale_is_not_advised():
    need = household_need(DemandSettings(persons=4))
    asked = describe_yield(1.0, need, 150.0, smallest_tank_gal=150.0)[1]
    assert asked.endswith(
        "with a storage tank of 70 gallons or more (the smallest sold holds 150), beside 150 in the well."
    )
    assert what_to_ask_for(need, (2.0,), smallest_tank_gal=150.0) == (
        "Ask for 2 gpm with the smallest tank sold (150 gallons, where 60 would do), or 2.5 gpm without one."
    )
    assert "270 gallon tank" in what_to_ask_for(need, (0.25,), smallest_tank_gal=150.0)


@pytest.mark.parametrize(
    ("household", "flow", "said"),
    [
        ({}, 3.0, "This well of 3 gpm needs no storage tank for the house."),
        ({}, 0.5, "This well of 0.5 gpm needs a 240 gallon storage tank for the house."),
        ({}, 0.1, "This well of 0.1 gpm does not serve the house. Ask for 0.25 gpm with a 270 gallon tank, or"),
        ({"lawn_area_ft2": 5000}, 0.5, "This well of 0.5 gpm needs a 240 gallon storage tank for the house. To water"),
        (
            {"lawn_area_ft2": 5000, "livestock": {"horse": 1}},
            3.0,
            "This well of 3 gpm needs no storage tank for the house and the animals, lawn and garden, a 1,080 gallon "
            "storage tank with sprinklers.",
        ),
    ],
)
def test_of_a_well_that_stands_it_is_said_what_it_needs(household, flow, said):
    need = household_need(DemandSettings(persons=4, **household))
    assert what_this_well_needs(flow, need, (0.1, 0.25, 0.5, 1.0, 2.0)).startswith(said)


def test_a_day_s_water_is_told_as_well_as_it_is_known():
    """7.8 gpm round the clock are 11,232 gallons: nobody knows the last three figures."""
    need = household_need(DemandSettings(persons=4))
    assert describe_yield(7.8, need)[0] == "A well of 7.8 gpm makes some 11,000 gallons a day."


def test_the_need_is_told_part_by_part():
    """Worked by hand: 3 x 75; 2 x 12 (horses); 1,000 ft2 x 1 in / 12 x 7.48 / 7 / 0.75."""
    settings = DemandSettings(persons=3, garden_area_ft2=1000, livestock={"horse": 2})
    facts = dict(need_facts(settings))
    assert facts["House of 3 people, at 75 gal each"] == "220 gal a day"
    assert facts["Animals: 2 horses"] == "24 gal a day"
    (said,) = [label for label in facts if label.startswith("Lawn and garden, 1,000 ft²")]
    garden = facts[said]
    assert "in the driest month, at 75% efficiency (watered May to Sep)" in said
    assert garden == "120 gal a day"
    assert facts["All, in the driest month"] == "370 gal a day"
    assert facts["Most at one moment"] == "5 gpm"
    assert dict(need_facts(DemandSettings(bedrooms=3)))["House of 3 bedrooms, at 110 gal each"] == "330 gal a day"


@pytest.mark.parametrize(
    ("household", "in_well_gal", "said"),
    [
        ({"persons": 4}, 0, "Ask for 0.25 gpm with a 270 gallon tank, or 2.5 gpm without one."),
        ({"persons": 4, "lawn_area_ft2": 5000}, 0, "Ask for 1 gpm with a 180 gallon tank for house and garden, or 2.5"),
        ({"persons": 4, "lawn_area_ft2": 90000}, 0, "Ask for 8.1 gpm for house and garden: less than that does not do"),
        ({"persons": 1, "peak_share": 0.2}, 60, "Ask for 0.1 gpm: it needs no tank beside the water in the well."),
    ],
)
def test_what_yield_is_answered_in_one_line_that_the_reckoning_bears_out(household, in_well_gal, said):
    need = household_need(DemandSettings(**household))
    told = what_to_ask_for(need, (0.1, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0), in_well_gal)
    assert told.startswith(said)
