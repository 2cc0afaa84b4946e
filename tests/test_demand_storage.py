"""Storage that meets a need: closed forms against stepped mass balances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.demand import (
    DemandSettings,
    household_need,
)
from wellrecords.demand_storage import (
    required_yield_gpm,
    storage_needed_gal,
    tank_needed_gal,
    target_from_need,
    yield_storage_table,
)
from wellrecords.demand_words import (
    yields_needed,
)
from wellrecords.water_system import simulate_supply

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


@pytest.mark.parametrize("in_well", [20.0, 150.0, 400.0])
def test_the_tank_holds_where_inflow_follows_the_level(in_well):
    need = household_need(DemandSettings(persons=4))
    flow = np.linspace(0.25, 3.0, 8)
    tank = tank_needed_gal(flow, need, in_well)
    stepped = {"inflow_follows_level": True, "days": 6, "in_well_gal": in_well}
    coarse = simulate_supply(flow, need, tank_gal=tank, step_min=3.0, **stepped)
    fine = simulate_supply(flow, need, tank_gal=tank, step_min=1.0, **stepped)
    assert fine.max() < 0.6  # gallons a day; what is left is the error of the step and shrinks with it
    assert fine.max() < 0.4 * coarse.max() + 1e-9
    needed = tank > 10
    assert needed.any() or in_well == 400.0
    smaller = simulate_supply(flow[needed], need, tank_gal=tank[needed] - 10.0, **stepped)
    assert (smaller > 4.0).all()


HOUSEHOLDS = [{"persons": 4}, {"persons": 2, "peak_share": 0.05, "livestock": {"horse": 3}}]


@pytest.mark.parametrize("in_well", [0.0, 60.0, 300.0])
@pytest.mark.parametrize("every_days", [1, 3])
@pytest.mark.parametrize("household", HOUSEHOLDS)
def test_the_tank_carries_house_and_waterings_at_any_hour(household, every_days, in_well):
    """Stepped from watering to watering, the inflow following the level: at the worst hour just enough."""
    need = household_need(DemandSettings(lawn_area_ft2=2500, watering_every_days=every_days, **household))
    least = float(required_yield_gpm(need, np.inf, irrigating=True))
    flow = np.array([1.02, 1.5, 3.0, 6.0]) * least
    tank = tank_needed_gal(flow, need, in_well, irrigating=True)
    stepped = {"irrigating": True, "inflow_follows_level": True, "days": 30, "in_well_gal": in_well, "step_min": 1.0}
    hours = (2.0, 3.0, 8.0, 17.0, 20.0)
    held = [simulate_supply(flow, need, tank_gal=tank, watered_at_hours=hour, **stepped) for hour in hours]
    assert np.max(held) < 1.5
    less = np.maximum(tank - 12.0, 0.0)
    short = [simulate_supply(flow, need, tank_gal=less, watered_at_hours=hour, **stepped) for hour in (2.0, 20.0)]
    assert (np.max(short, axis=0)[tank > 12] > 3.0).all()


def test_the_tank_holds_with_the_pump_that_is_designed_for_it():
    """A lawn of a quarter acre takes 16 gpm for 4 hours: the tank counts on all that the well makes meanwhile."""
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=10_890))
    flow, in_well = np.array([1.5, 5.0, 10.0]), 150.0
    tank = tank_needed_gal(flow, need, in_well, irrigating=True) * 1.25
    stepped = {"irrigating": True, "inflow_follows_level": True, "days": 12, "in_well_gal": in_well}
    assert simulate_supply(flow, need, tank_gal=tank, pump_gpm=np.maximum(5.0, flow), **stepped).max() == 0
    assert simulate_supply(flow, need, tank_gal=tank, pump_gpm=5.0, **stepped)[2] > 500


def test_counting_well_storage_in_full_would_leave_the_house_short():
    need = household_need(DemandSettings(persons=4))
    in_well = float(storage_needed_gal(0.25, need))
    short = simulate_supply(0.25, need, in_well_gal=in_well, inflow_follows_level=True, days=10)
    assert short > 0.2 * need.house_gal_day


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
@pytest.mark.parametrize("household", HOUSEHOLDS)
def test_storage_for_waterings_is_the_stepped_mass_balance(household, every_days):
    need = household_need(DemandSettings(lawn_area_ft2=2500, watering_every_days=every_days, **household))
    least = float(required_yield_gpm(need, np.inf, irrigating=True))
    for flow in (least, 1.02 * least, 1.5 * least, 4.0, 8.0):
        worst = max(stepped_storage_gal(flow, need, hour) for hour in (2, 3, 8, 17, 20))
        assert storage_needed_gal(flow, need, irrigating=True) == pytest.approx(worst, abs=0.5)


def test_half_a_gallon_and_a_garden_worked_by_hand():
    """1,000 ft2 x 1 in / 12 x 7.4805 / 7 / 0.75 are 118.7 gal a day, 356.2 a watering of 3 days.

    Without water in the well: the peak takes 300 - 0.5 x 120 = 240 gal, the watering next to it
    356.2 - 0.5 x 240 = 236.2: 476.2. Three days make 2,160 gal and use 900 + 356: it is refilled.
    """
    need = household_need(DemandSettings(persons=4, garden_area_ft2=1000))
    assert tank_needed_gal(0.5, need, irrigating=True) == pytest.approx(476.2, abs=0.1)
    assert tank_needed_gal(0.5, need) == pytest.approx(240.0)


def test_one_gallon_and_a_lawn_beside_water_in_the_well_worked_by_hand():
    """5,000 ft2 take 1,781.1 gal a watering; 150 gal stand in the well, full again before it.

    In the peak the house draws 2.5 gpm: the well is empty after 150 ln(1 + 150 / (150 x 1.5)) = 76.62 min, and the
    tank gives 1.5 x 43.38 = 65.06 gal. The watering next to it takes 1,781.1 - 240 = 1,541.1: 1,606.2 in all, where
    180 + 1,541.1 = 1,721.1 are needed without the well. Watered evenly over the day it would be 92.
    """
    need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    assert tank_needed_gal([0.5, 1.0], need, 150.0, irrigating=True) == pytest.approx([np.inf, 1606.2], abs=0.2)
    assert tank_needed_gal(1.0, need, irrigating=True) == pytest.approx(1721.1, abs=0.1)
    assert tank_needed_gal(10.0, need, irrigating=True) == 0.0


def test_without_lawn_and_garden_a_watering_takes_nothing():
    need = household_need(DemandSettings(persons=4))
    flow = [0.1, 0.5, 1.0]
    assert (tank_needed_gal(flow, need, 150.0, irrigating=True) == tank_needed_gal(flow, need, 150.0)).all()
    assert required_yield_gpm(need, irrigating=True) == required_yield_gpm(need)


@pytest.mark.parametrize("lawn_ft2", [0.0, 5_000.0])
def test_a_target_from_the_need_needs_no_tank(lawn_ft2):
    """300 gallons within 2 hours are 2.5 gpm; drip lines that run all day on a lawn are met by the same flow."""
    household = {"persons": 4, "lawn_area_ft2": lawn_ft2}
    need = household_need(DemandSettings(watering_every_days=1, watering_hours=22, **household))
    target = target_from_need(need)
    assert target == 2.5
    assert target_from_need(household_need(DemandSettings(**household))) == 2.5
    row = yield_storage_table(need, [target]).iloc[0]
    assert (row["house_tank_gal"], row["summer_tank_gal"]) == (0.0, 0.0)
    assert yield_storage_table(need, [target - 0.1]).iloc[0]["house_tank_gal"] > 0
    assert "Without a storage tank the house needs 2.5 gpm" in yields_needed(need)[0]
    assert len(yields_needed(need)) == (2 if lawn_ft2 else 1)
