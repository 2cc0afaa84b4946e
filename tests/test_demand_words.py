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
    NO_TANK,
    NOT_ENOUGH,
    describe_yield,
    need_facts,
    tank_cell,
    tank_gallons,
    tank_rule,
    watering_times,
    what_this_well_needs,
    what_to_ask_for,
    yields_needed,
)
from wellrecords.water_system import WaterSystemSettings, storage_tanks

SOLD = WaterSystemSettings()


def test_half_a_gallon_a_minute_serves_a_house_and_waters_no_lawn():
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    text = " ".join(describe_yield(0.5, need, SOLD, 200.0))
    assert "720 gallons a day" in text
    assert "It serves the house" in text
    assert "will not water the 5,000 ft²" in text
    plenty = " ".join(describe_yield(8.0, need, SOLD, 200.0))
    assert "also waters the 5,000 ft²" in plenty
    assert "without a storage tank" in plenty
    assert plenty.endswith("; the pump must deliver 7.5 gpm.")
    assert "does not serve the house" in " ".join(describe_yield(0.1, need, SOLD, 200.0))
    small = household_need(DemandSettings(persons=4, lawn_area_ft2=800))
    assert "also waters the 800 ft²" in " ".join(describe_yield(0.5, small, SOLD))
    assert "the pump must" not in " ".join(describe_yield(5.0, small, SOLD))


def test_a_watering_is_told_with_its_hours_and_what_the_well_makes_meanwhile():
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    told = describe_yield(1.0, need, SOLD, 150.0)
    assert told[2] == (
        "It also waters the 5,000 ft² of lawn and garden (890 gallons a day in all) with a 2,500 gallon storage tank "
        "(1,610 needed, and 25% over), beside 150 in the well."
    )
    assert told[3] == (
        "That is for waterings of 1,790 gallons, every 3 days within 4 hours right before or after the house's peak, "
        "in which the well makes 240."
    )
    assert "It cannot refill a tank between waterings by sprinklers" in describe_yield(0.5, need, SOLD)[3]
    assert "watering" not in " ".join(describe_yield(1.0, household_need(DemandSettings(persons=4)), SOLD))
    facts = dict(need_facts(DemandSettings(lawn_area_ft2=5000, watering_every_days=1, watering_hours=2)))
    assert facts["A watering by sprinklers, every day within 2 hours"] == "600 gal, 5 gpm"
    all_day = household_need(DemandSettings(lawn_area_ft2=5000, watering_every_days=1, watering_hours=22))
    assert watering_times(all_day) == "every day within 22 hours outside the house's peak"


@given(
    st.floats(0.3, 20),
    st.floats(0, 20_000),
    st.integers(1, 7),
    st.sampled_from([0.0, 60.0, 150.0, 400.0]),
    st.sampled_from([{}, {"horse": 3}]),
)
@settings(deadline=None)
def test_sentences_table_and_take_off_name_the_same_tank(flow, lawn, every_days, in_well, livestock):
    need = household_need(
        DemandSettings(persons=4, lawn_area_ft2=lawn, watering_every_days=every_days, livestock=livestock)
    )
    row = yield_storage_table(need, [flow], in_well).iloc[0]
    told = describe_yield(flow, need, SOLD, in_well)
    answer = what_this_well_needs(flow, need, (0.5, 1.0, 2.0, 5.0), SOLD, in_well)
    for needed, serves, sentence in (
        (row.house_tank_gal, row.serves_house, 1),
        (row.summer_tank_gal, row.serves_summer and lawn > 0, 2),
    ):
        if not serves:
            continue
        size, count = storage_tanks(needed, SOLD)
        if needed <= 0:
            assert "without a storage tank" in told[sentence]
            assert tank_cell(needed, SOLD) == NO_TANK
            continue
        assert size in SOLD.storage_tanks_gal
        assert size * count >= 1.25 * needed * (1 - 1e-6)
        bought = f"{count:.0f} storage tanks of {size:,g} gallons" if count > 1 else f"{size:,g} gallon storage tank"
        words = f"{bought} ({tank_gallons(needed)} needed, and 25% over)"
        assert words in told[sentence]
        assert words in answer
        assert tank_cell(needed, SOLD).endswith(f"{size:,g} gal for {tank_gallons(needed)}")


def test_a_tank_beside_much_water_in_the_well_is_explained():
    """Half a gallon a minute and 400 gallons in the well do not carry a peak of 380: the inflow follows the level."""
    need = household_need(DemandSettings(persons=5))
    told = describe_yield(0.5, need, SOLD, 400.0)
    assert told[1].endswith("with a 150 gallon storage tank (20 needed, and 25% over), beside 400 in the well.")
    why = (
        "The 400 gallons in the well count for less than a tank's: a well gives its whole yield only when drawn down, "
        "and refills slower the fuller it stands."
    )
    assert told[-1] == why
    watered = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    assert describe_yield(1.0, watered, SOLD, 400.0)[-1] == why
    for flow, in_well_gal in ((0.5, 0.0), (10.0, 400.0), (0.1, 400.0)):
        assert "count for less" not in " ".join(describe_yield(flow, watered, SOLD, in_well_gal))


@given(
    st.integers(1, 8),
    st.floats(0, 20_000),
    st.sampled_from([0.0, 150.0, 400.0]),
)
@settings(deadline=None)
def test_no_yield_is_advised_that_a_smaller_one_does_the_work_of_with_the_same_tank(persons, lawn, in_well_gal):
    need = household_need(DemandSettings(persons=persons, lawn_area_ft2=lawn))
    asked = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
    answer = what_to_ask_for(need, asked, SOLD, in_well_gal)
    told = re.findall(r"([\d.]+) gpm with (an? [\d,]+ gallon tank|\d+ tanks of [\d,]+ gallons)", answer)
    for text, tank in told:
        smaller = [flow for flow in asked if flow < float(text)]
        tanks = yield_storage_table(need, smaller, in_well_gal)["summer_tank_gal"] if smaller else ()
        bought = [storage_tanks(gal, SOLD) for gal in tanks if np.isfinite(gal)]
        assert tank not in [
            f"{count:.0f} tanks of {size:,g} gallons" if count > 1 else f"a {size:,g} gallon tank"
            for size, count in bought
        ]
    assert len({tank for _, tank in told}) == len(told)


@pytest.mark.parametrize(
    ("household", "said"),
    [
        ({"persons": 5, "garden_area_ft2": 3000}, "lawn and garden, 3 gpm with a 500 gallon tank (370 needed"),
        ({"persons": 5, "lawn_area_ft2": 6000}, "lawn and garden, 2 gpm with a 2,500 gallon tank (1,800 needed"),
        ({"persons": 4, "garden_area_ft2": 8000}, "lawn and garden, or 11.9 gpm without one."),
    ],
)
def test_between_the_least_yield_and_none_stands_the_least_with_its_tank(household, said):
    assert said in what_to_ask_for(household_need(DemandSettings(**household)), (0.5, 1.0, 2.0, 3.0, 5.0), SOLD)


def test_a_volume_that_no_tank_on_sale_holds_is_not_advised():
    need = household_need(DemandSettings(persons=4))
    told = describe_yield(1.0, need, SOLD, 150.0)[1]
    assert told.endswith("with a 150 gallon storage tank (70 needed, and 25% over), beside 150 in the well.")
    assert what_to_ask_for(need, (2.0,), SOLD) == (
        "Ask for 2 gpm with a 150 gallon tank (60 needed, and 25% over), or 2.5 gpm without one."
    )
    # 270 gallons and a quarter more are beyond a tank of 300.
    assert "500 gallon tank (270 needed, and 25% over)" in what_to_ask_for(need, (0.25,), SOLD)
    bare = WaterSystemSettings(storage_margin=0.0, storage_tanks_gal=(200.0,))
    assert "2 tanks of 200 gallons (270 needed)" in what_to_ask_for(need, (0.25,), bare)
    assert tank_rule(bare) == "A tank is the least size sold that holds the gallons needed."
    assert tank_cell(270.0, bare) == "2 x 200 gal for 270"
    assert tank_cell(np.inf, bare) == NOT_ENOUGH


def test_the_least_yield_is_never_rounded_down():
    """894 gallons a day are 0.6207 gpm: 0.62 would make 893."""
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    assert yields_needed(need)[1].endswith("it is 7.5 gpm without a tank, 0.63 gpm with tanks.")


@pytest.mark.parametrize(
    ("household", "flow", "said"),
    [
        ({}, 3.0, "This well of 3 gpm needs no storage tank for the house."),
        ({}, 0.5, "This well of 0.5 gpm needs a 300 gallon storage tank (240 needed, and 25% over) for the house."),
        ({}, 0.1, "This well of 0.1 gpm does not serve the house. Ask for 0.25 gpm with a 500 gallon tank (270 needed"),
        (
            {"lawn_area_ft2": 5000},
            0.5,
            "This well of 0.5 gpm needs a 300 gallon storage tank (240 needed, and 25% over) for the house. To water",
        ),
        (
            {"lawn_area_ft2": 5000, "livestock": {"horse": 1}},
            3.0,
            "This well of 3 gpm needs no storage tank for the house and the animals, a 1,500 gallon storage tank "
            "(1,070 needed, and 25% over) with lawn and garden.",
        ),
        (
            {"lawn_area_ft2": 100},
            3.0,
            "This well of 3 gpm needs no storage tank for the house, lawn and garden.",
        ),
    ],
)
def test_of_a_well_that_stands_it_is_said_what_it_needs(household, flow, said):
    need = household_need(DemandSettings(persons=4, **household))
    assert what_this_well_needs(flow, need, (0.1, 0.25, 0.5, 1.0, 2.0), SOLD).startswith(said)


def test_a_day_s_water_is_told_as_well_as_it_is_known():
    """7.8 gpm round the clock are 11,232 gallons: nobody knows the last three figures."""
    need = household_need(DemandSettings(persons=4))
    assert describe_yield(7.8, need, SOLD)[0] == "A well of 7.8 gpm makes some 11,000 gallons a day."


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
    assert facts["Most at one moment, in the house"] == "5 gpm"
    assert dict(need_facts(DemandSettings(bedrooms=3)))["House of 3 bedrooms, at 110 gal each"] == "330 gal a day"


@pytest.mark.parametrize(
    ("household", "in_well_gal", "said"),
    [
        ({"persons": 4}, 0, "Ask for 0.25 gpm with a 500 gallon tank (270 needed, and 25% over), or"),
        (
            {"persons": 4, "lawn_area_ft2": 5000},
            0,
            "Ask for 1 gpm with a 2,500 gallon tank (1,730 needed, and 25% over) for the house, lawn and garden, 2.5 "
            "gpm with a 1,500 gallon tank (1,190 needed, and 25% over), or 7.5 gpm without one.",
        ),
        (
            {"persons": 4, "lawn_area_ft2": 90000},
            0,
            "Ask for 8.1 gpm with 16 tanks of 2,500 gallons (30,120 needed, and 25% over)",
        ),
        ({"persons": 1, "peak_share": 0.2}, 60, "Ask for 0.1 gpm: it needs no tank beside the water in the well."),
    ],
)
def test_what_yield_is_answered_in_one_line_that_the_reckoning_bears_out(household, in_well_gal, said):
    need = household_need(DemandSettings(**household))
    told = what_to_ask_for(need, (0.1, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0), SOLD, in_well_gal)
    assert told.startswith(said)


def test_a_use_in_parts_adds_up_to_its_total():
    facts = dict(need_facts(DemandSettings(persons=4, lawn_area_ft2=8000)))
    lawn = next(text for label, text in facts.items() if label.startswith("Lawn and garden"))
    house, total = facts["House of 4 people, at 75 gal each"], facts["All, in the driest month"]
    parts = [float(text.removesuffix(" gal a day").replace(",", "")) for text in (house, lawn, total)]
    assert parts == [300.0, 950.0, 1250.0]
    assert "(1,250 gallons a day in all)" in " ".join(
        describe_yield(5.0, household_need(DemandSettings(persons=4, lawn_area_ft2=8000)), SOLD)
    )


def test_more_than_a_house_well_makes_is_answered_by_what_one_waters():
    """A million square feet at an inch a week are 118,700 gallons a day: 82.7 gpm round the clock."""
    lawn = household_need(DemandSettings(persons=4, lawn_area_ft2=1e6))
    told = what_to_ask_for(lawn, (0.5, 10.0), SOLD)
    assert told == (
        "No house well serves that: the house, lawn and garden take 119,000 gallons a day, 83 gpm round the clock with "
        "the largest tanks. A good one of 10 gpm waters some 120,000 ft² beside the house at most, with storage for it."
    )
    assert what_this_well_needs(5.0, lawn, (0.5, 10.0), SOLD).endswith(
        f"water lawn and garden too: {told[0].lower()}{told[1:]}"
    )
    herd = household_need(DemandSettings(persons=4, livestock={"milking_dairy": 2000}))
    assert what_to_ask_for(herd, (0.5, 10.0), SOLD) == (
        "No house well serves that: the house and the animals take 80,300 gallons a day, 56 gpm round the clock with "
        "the largest tanks."
    )


def test_a_dry_hole_is_called_one():
    need = household_need(DemandSettings(persons=4))
    assert describe_yield(0.0, need, SOLD) == (
        "A well of 0 gpm is a dry hole: it makes no water, and serves the house with no storage.",
    )
    assert what_this_well_needs(0.0, need, (0.25, 1.0), SOLD).startswith("Ask for 0.25 gpm with a 500 gallon tank")
