import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import check, published
from pydantic import ValidationError

from wellrecords.demand import (
    LIVESTOCK_GAL_PER_HEAD_DAY,
    DemandSettings,
    household_need,
    irrigation_gal,
    required_yield_gpm,
    storage_needed_gal,
    tank_needed_gal,
    target_from_need,
    watering_storage_gal,
    well_storage_gal,
    yield_storage_table,
)
from wellrecords.demand_words import (
    describe_yield,
    need_facts,
    sprinklers_tank_gal,
    tank_gallons,
    what_this_well_needs,
    what_to_ask_for,
    yields_needed,
)
from wellrecords.errors import ProblemsError
from wellrecords.units import L_PER_GAL, M_PER_FT, MM_PER_IN
from wellrecords.water_system import simulate_supply


def well_storage_l(diameter_mm, column_m):
    return float(well_storage_gal(diameter_mm / MM_PER_IN, column_m / M_PER_FT)) * L_PER_GAL


def need_of_gal_day(gal_day):
    return household_need(DemandSettings(persons=1, gal_per_person_day=gal_day))


def is_adequate(flow_l_min, daily_l, diameter_mm, column_m):
    """The published rule: what stands in the well and flows in within the peak carries the day's use."""
    need = need_of_gal_day(daily_l / L_PER_GAL)
    return storage_needed_gal(flow_l_min / L_PER_GAL, need) * L_PER_GAL <= well_storage_l(diameter_mm, column_m)


COMPUTED = {
    "well_storage_l": well_storage_l,
    "volume_l": lambda flow_l_min, minutes: flow_l_min * minutes,
    "well_and_yield_l": lambda flow_l_min, minutes, **well: flow_l_min * minutes + well_storage_l(**well),
    "surplus_is_positive": is_adequate,
    "required_yield_gpm": lambda daily_gal: required_yield_gpm(need_of_gal_day(daily_gal)),
    "house_gal_day": lambda **household: household_need(DemandSettings(**household)).house_gal_day,
    "peak_gpm": lambda **household: household_need(DemandSettings(**household)).peak_gpm,
    "gal_per_day": lambda yield_gpm: yield_storage_table(need_of_gal_day(1.0), [yield_gpm])["gal_per_day"].iloc[0],
    "irrigation_gal": irrigation_gal,
    "tank_gal": lambda diameter_in, depth_ft: well_storage_gal(diameter_in, depth_ft),
    "livestock_gal_per_head": lambda kind: LIVESTOCK_GAL_PER_HEAD_DAY[kind],
}


@pytest.mark.parametrize("case", published("demand.csv"))
def test_agrees_with_the_published_value(case):
    check(case, COMPUTED)


needs = st.builds(
    lambda persons, lawn, hours, share: household_need(
        DemandSettings(persons=persons, lawn_area_ft2=lawn, peak_hours=hours, peak_share=share)
    ),
    st.floats(1, 10),
    st.floats(0, 8000),
    st.floats(0.25, 12),
    st.floats(0.2, 1),
)


@given(needs, st.floats(0.05, 20), st.floats(1.01, 3), st.booleans())
@settings(deadline=None)
def test_more_yield_never_needs_more_storage(need, flow, times, irrigating):
    less, more = storage_needed_gal([flow, flow * times], need, irrigating=irrigating)
    assert more <= less
    in_well = 200.0
    less, more = tank_needed_gal([flow, flow * times], need, in_well, irrigating=irrigating)
    assert more <= less + 0.1


@given(needs, st.floats(0, 1000), st.booleans())
@settings(deadline=None)
def test_required_yield_is_the_inverse_of_storage(need, storage, irrigating):
    flow = required_yield_gpm(need, storage, irrigating=irrigating)
    assert storage_needed_gal(flow, need, irrigating=irrigating) <= storage + 1e-6
    assert storage_needed_gal(flow * 0.999, need, irrigating=irrigating) > storage


@given(needs, st.floats(0.05, 20), st.floats(0, 1000), st.floats(1, 500), st.booleans())
@settings(deadline=None)
def test_water_in_the_well_saves_tank_and_never_more_than_itself(need, flow, in_well, more, irrigating):
    bare = storage_needed_gal(flow, need, irrigating=irrigating)
    tank = tank_needed_gal(flow, need, in_well, irrigating=irrigating)
    assert tank <= bare
    if np.isfinite(bare):
        assert tank >= bare - in_well - 0.1
        assert tank_needed_gal(flow, need, in_well + more, irrigating=irrigating) <= tank + 0.1


@pytest.mark.parametrize("irrigating", [False, True])
def test_the_closed_form_is_the_stepped_mass_balance(irrigating):
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=3000, livestock={"horse": 2}))
    flow = np.linspace(0.3, 3.0, 60)
    storage = storage_needed_gal(flow, need, irrigating=irrigating)
    flow, storage = flow[np.isfinite(storage)], storage[np.isfinite(storage)]
    missing = simulate_supply(flow, need, tank_gal=storage, irrigating=irrigating)
    assert missing.max() < 1e-9
    needed = storage > 10
    short = simulate_supply(flow[needed], need, tank_gal=storage[needed] - 5.0, irrigating=irrigating)
    assert short.min() == pytest.approx(5.0)
    # A well that gives its full yield until it is full is a tank of its own: the published method.
    assert simulate_supply(flow, need, in_well_gal=storage, irrigating=irrigating).max() < 1e-9


@pytest.mark.parametrize("irrigating", [False, True])
@pytest.mark.parametrize("in_well", [20.0, 150.0, 400.0])
def test_the_tank_holds_where_inflow_follows_the_level(in_well, irrigating):
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=4000))
    flow = np.linspace(0.35, 3.0, 8)
    tank = tank_needed_gal(flow, need, in_well, irrigating=irrigating)
    flow, tank = flow[np.isfinite(tank)], tank[np.isfinite(tank)]
    stepped = {"irrigating": irrigating, "inflow_follows_level": True, "days": 6, "in_well_gal": in_well}
    coarse = simulate_supply(flow, need, tank_gal=tank, step_min=3.0, **stepped)
    fine = simulate_supply(flow, need, tank_gal=tank, step_min=1.0, **stepped)
    assert fine.max() < 0.6  # gallons a day; what is left is the error of the step and shrinks with it
    assert fine.max() < 0.4 * coarse.max() + 1e-9
    needed = tank > 10
    assert needed.any() or in_well == 400.0
    smaller = simulate_supply(flow[needed], need, tank_gal=tank[needed] - 10.0, **stepped)
    assert (smaller > 4.0).all()


def test_counting_well_storage_in_full_would_leave_the_house_short():
    need = household_need(DemandSettings(persons=4))
    in_well = float(storage_needed_gal(0.25, need))
    short = simulate_supply(0.25, need, in_well_gal=in_well, inflow_follows_level=True, days=10)
    assert short > 0.2 * need.house_gal_day


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


def stepped_storage_gal(flow_gpm, need, watered_at_h, step_min=5):
    """Draw on a store that starts full, through three waterings, and return how far it falls."""
    days = 3 * need.watering_every_days
    minute = np.arange(0, days * 1440, step_min)
    hour = minute % 1440 / 60.0
    peak = hour < need.peak_hours
    rest_gpm = need.rest_gal(irrigating=False) / (1440.0 - 60.0 * need.peak_hours)
    drawn_gpm = np.where(peak, need.peak_gal / (60.0 * need.peak_hours), rest_gpm)
    watered = (minute // 1440 % need.watering_every_days == 0) & (hour >= watered_at_h)
    watered &= hour < watered_at_h + need.watering_hours
    drawn_gpm = drawn_gpm + np.where(watered, need.watering_gal / (60.0 * need.watering_hours), 0.0)
    below_full = lowest = 0.0
    for drawn in drawn_gpm:
        below_full = max(below_full + (drawn - flow_gpm) * step_min, 0.0)
        lowest = max(lowest, below_full)
    return lowest


@pytest.mark.parametrize("every_days", [1, 3])
@pytest.mark.parametrize("household", [{"persons": 4}, {"persons": 2, "peak_share": 0.05, "livestock": {"horse": 3}}])
def test_storage_for_sprinklers_is_the_stepped_mass_balance(household, every_days):
    need = household_need(DemandSettings(lawn_area_ft2=2500, watering_every_days=every_days, **household))
    least = float(required_yield_gpm(need, np.inf, irrigating=True))
    for flow in (least, 1.02 * least, 1.5 * least, 4.0, 8.0):
        worst = max(stepped_storage_gal(flow, need, hour) for hour in (2, 3, 8, 17, 20))
        whole = storage_needed_gal(flow, need) + watering_storage_gal(flow, need)
        assert whole == pytest.approx(worst, abs=0.5)


def test_storage_for_a_lawn_worked_by_hand():
    """5,000 ft2 x 1 in / 12 x 7.48 / 7 / 0.75 x 3 days are 1,781 gal; 1 gpm makes 240 of them in 4 hours."""
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    assert need.watering_gal == pytest.approx(1781, abs=1)
    assert watering_storage_gal([0.5, 1.0, 10.0], need) == pytest.approx([np.inf, 1541, 0.0], abs=1)
    # The well is drawn down when the house wakes: what it would have given the house stands in the tank.
    spared = float(storage_needed_gal(1.0, need) - tank_needed_gal(1.0, need, 150.0))
    assert spared > 100
    assert watering_storage_gal(1.0, need, 150.0) == pytest.approx(1541 + spared, abs=1)
    assert watering_storage_gal([0.1, 1.0], household_need(DemandSettings(persons=4))).tolist() == [0.0, 0.0]


@given(needs, st.floats(0.05, 20), st.floats(1.01, 3))
@settings(deadline=None)
def test_a_stronger_well_takes_no_more_storage_for_sprinklers(need, flow, times):
    less, more = storage_needed_gal([flow, flow * times], need) + watering_storage_gal([flow, flow * times], need)
    assert more <= less + 1e-6
    assert np.isfinite(watering_storage_gal(flow, need)) == (
        not need.watering_gal or np.isfinite(storage_needed_gal(flow, need, irrigating=True))
    )


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


def printed_gal(text):
    return float(text.replace(",", ""))


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


@pytest.mark.parametrize("lawn_ft2", [0.0, 5_000.0])
def test_a_target_from_the_need_needs_no_tank(lawn_ft2):
    """300 gallons within 2 hours are 2.5 gpm; a lawn that is watered round the clock is met by the same flow."""
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=lawn_ft2))
    target = target_from_need(need)
    assert target == 2.5
    row = yield_storage_table(need, [target]).iloc[0]
    assert (row["house_tank_gal"], row["summer_tank_gal"]) == (0.0, 0.0)
    assert yield_storage_table(need, [target - 0.1]).iloc[0]["house_tank_gal"] > 0
    assert "Without a storage tank the house needs 2.5 gpm" in yields_needed(need)[0]
    assert len(yields_needed(need)) == (2 if lawn_ft2 else 1)


def test_months_follow_the_season():
    need = household_need(DemandSettings(persons=2, garden_area_ft2=1000, livestock={"horse": 1, "chicken": 10}))
    assert need.months["irrigation_gal_day"].iloc[0] == 0
    assert need.months["total_gal_day"].max() == pytest.approx(need.summer_gal_day)
    assert need.livestock_gal_day == pytest.approx(12 + 1.2)
    assert need.indoor_gal_day == 150


def test_wrong_settings_are_refused_with_a_sentence():
    with pytest.raises(ProblemsError, match="unknown kind of livestock"):
        household_need(DemandSettings(persons=2, livestock={"camel": 1, "llama": 2}))
    with pytest.raises(ValidationError, match="persons or bedrooms"):
        DemandSettings(persons=2, bedrooms=2)
    with pytest.raises(ValidationError, match="12 values"):
        DemandSettings(irrigation_in_per_week=(1, 1))
    with pytest.raises(ValidationError):
        DemandSettings(people=3)
    with pytest.raises(ValidationError, match="more than 24 together"):
        DemandSettings(peak_hours=12, watering_hours=13)


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


def test_a_kind_of_livestock_that_is_nearly_known_is_asked_after():
    with pytest.raises(ProblemsError, match=r"did you mean horse\? Else give its gallons"):
        household_need(DemandSettings(livestock={"horses": 2}))
    with pytest.raises(ProblemsError) as caught:
        household_need(DemandSettings(livestock={"camel": 2}))
    assert "did you mean" not in str(caught.value)
