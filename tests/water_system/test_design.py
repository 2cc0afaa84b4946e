import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from wellrecords.construction import ConstructionSettings, design_wells
from wellrecords.demand import DemandSettings, household_need, well_storage_gal
from wellrecords.demand_storage import tank_needed_gal
from wellrecords.water_system import WaterSystemSettings, design_water_systems
from wellrecords.water_system.piping import friction_ft_per_100ft

NEED = household_need(DemandSettings(persons=4, lawn_area_ft2=4000))
SETTINGS = WaterSystemSettings()


def systems(depth, water, flow, usable=True, need=NEED, rock=30.0, **changes):
    depth, water, flow = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in (depth, water, flow)))
    wells = design_wells(np.atleast_1d(depth), rock, water, flow, ConstructionSettings(), usable=usable)
    return design_water_systems(wells, np.atleast_1d(water), np.atleast_1d(flow), need, WaterSystemSettings(**changes))


def test_a_strong_well_worked_by_hand():
    # 300 ft deep, static 40, 20 gpm: 5 gpm draws it down a quarter of 260 ft, to 105; pump 40 ft below.
    row = systems(300.0, 40.0, 20.0).iloc[0]
    assert (row.pump_gpm, row.pumping_level_ft, row.pump_setting_ft) == (5.0, 105.0, 145.0)
    assert (row.drop_pipe_in, row.drop_pipe_ft, row.cable_ft) == (1.0, 145.0, 245.0)
    friction = float(friction_ft_per_100ft(5.0, 1.049)) * 2.45 * 1.1
    assert row.total_head_ft == pytest.approx(105 + 10 + 60 * 144 / 62.4 + friction)
    # 5 gpm against 257.6 ft: 0.326 water horsepower, 0.65 at half efficiency: the 3/4 hp motor.
    assert row.motor_hp == 0.75
    # 6.9 A over 245 ft, 11.5 V allowed: #14 drops 10.6 V.
    assert row.cable_awg == 14
    # 5 gal a start; 40/60 with 38 psi precharge gives 0.258 of the tank: 19.4 gal.
    assert (row.pressure_tank_gal, row.pressure_tanks) == (20.0, 1.0)
    assert (row.storage_tanks, row.booster_pump, row.short_column) == (0.0, 0.0, 0.0)


def test_a_weak_well_is_drawn_down_and_its_pump_hangs_low():
    row = systems(400.0, 40.0, 2.0).iloc[0]
    assert (row.pump_setting_ft, row.pumping_level_ft) == (390.0, 380.0)
    assert row.well_storage_gal == pytest.approx(float(well_storage_gal(6.0, 340.0)))
    assert (row.storage_tanks, row.pump_gpm) == (0.0, 5.0)


def test_a_very_weak_well_fills_a_storage_tank_without_pressure():
    row = systems(400.0, 200.0, 0.3).iloc[0]
    needed = float(tank_needed_gal(0.3, NEED, well_storage_gal(6.0, 180.0)))
    assert needed > 50
    assert row.tank_needed_gal == pytest.approx(needed)
    assert row.storage_tank_gal * row.storage_tanks >= needed * 1.25
    assert row.booster_pump == 1.0
    # No pressure in the head: lift 380 + 10 + 8 to the tank's inlet, and friction.
    friction = float(friction_ft_per_100ft(5.0, 1.049)) * 4.9 * 1.1
    assert row.total_head_ft == pytest.approx(398.0 + friction)


def test_a_screened_well_pumps_from_above_its_screen():
    wells = design_wells([80.0], 200.0, 15.0, 20.0, ConstructionSettings())
    row = design_water_systems(wells, [15.0], [20.0], NEED, SETTINGS).iloc[0]
    assert row.pump_setting_ft <= wells["casing_foot_ft"].iloc[0] - SETTINGS.pump_above_bottom_ft


def test_storage_for_the_garden_where_the_yield_allows():
    table = systems(150.0, 60.0, [0.3, 0.6], storage_for="irrigation")
    house = systems(150.0, 60.0, [0.3, 0.6])
    assert table["tank_needed_gal"].iloc[0] == house["tank_needed_gal"].iloc[0]
    assert table["tank_needed_gal"].iloc[1] > house["tank_needed_gal"].iloc[1]


def test_storage_for_the_garden_carries_its_waterings_and_the_pump_what_they_draw():
    """4,000 ft2 take 1,425 gal a watering, 5.9 gpm; 0.6 gpm make 144 of them: evenly watered it was a tenth."""
    weak, strong = systems(150.0, 60.0, [0.6, 20.0], storage_for="irrigation").itertuples()
    assert weak.tank_needed_gal == pytest.approx(
        float(tank_needed_gal(0.6, NEED, weak.well_storage_gal, irrigating=True))
    )
    assert weak.tank_needed_gal > 1425 - 144
    assert (weak.storage_tanks, weak.storage_tank_gal, weak.watered) == (1.0, 2500.0, 1.0)
    assert (strong.storage_tanks, strong.pump_gpm) == (0.0, pytest.approx(1424.9 / 240, abs=0.01))
    # What the well makes during a watering counts, so the pump lifts it to the tank.
    lawn = household_need(DemandSettings(persons=4, lawn_area_ft2=10_890))
    assert systems(150.0, 60.0, 10.0, need=lawn, storage_for="irrigation").iloc[0].pump_gpm == 10.0
    assert systems(150.0, 60.0, 0.3, storage_for="irrigation").iloc[0].watered == 0.0


def test_a_dry_hole_gets_nothing():
    assert (systems(400.0, 40.0, 0.0, usable=False) == 0).all().all()


def test_what_is_beyond_the_lists_is_said():
    row = systems(1500.0, 900.0, 1.0, motors_hp={0.5: 4.9, 1.0: 8.0}).iloc[0]
    assert (row.motor_hp, row.beyond_lists) == (1.0, 1.0)
    assert systems(30.0, 25.0, 8.0).iloc[0].short_column == 1.0


def test_an_unknown_water_level_at_the_bottom_is_the_hardest_case():
    known, unknown = systems(300.0, [40.0, 300.0], 2.0).itertuples()
    assert unknown.total_head_ft >= known.total_head_ft - SETTINGS.cut_out_psi * 144 / 62.4
    assert unknown.well_storage_gal == 0.0


rows = st.tuples(st.floats(20, 1000), st.floats(-20, 800), st.floats(0.25, 60))


@given(st.lists(rows, min_size=1, max_size=30))
@settings(deadline=None)
def test_every_system_hangs_together(cases):
    depth, water, flow = (np.array(column) for column in zip(*cases, strict=True))
    table = systems(depth, water, flow)
    assert np.isfinite(table.to_numpy()).all()
    assert (table.drop(columns="pumping_level_ft") >= 0).all().all()
    assert (table["pump_setting_ft"] <= depth).all()
    assert (table["pump_setting_ft"] >= table["pumping_level_ft"]).where(table["short_column"] == 0, True).all()
    assert table["motor_hp"].isin(SETTINGS.motors_hp).all()
    assert table["cable_awg"].isin(SETTINGS.cables_awg).all()
    assert (table["booster_pump"] == (table["storage_tanks"] > 0)).all()
    holds = table["storage_tanks"] * table["storage_tank_gal"]
    assert (holds >= table["tank_needed_gal"] * 1.25 - 1e-6).all()


@given(rows, st.floats(1, 100))
@settings(deadline=None)
def test_deeper_water_never_asks_for_less_head_or_storage(case, deeper):
    depth, water, flow = case
    here, below = systems(depth, [water, water + deeper], flow).itertuples()
    if here.storage_tanks == 0 and below.storage_tanks == 0:
        assert below.pumping_level_ft >= here.pumping_level_ft - 1e-9
        assert below.total_head_ft >= here.total_head_ft - 1e-9
    assert below.tank_needed_gal >= here.tank_needed_gal - 0.1


@given(rows, st.floats(1.0, 5.0))
@settings(deadline=None)
def test_more_yield_never_needs_more_tank(case, times):
    depth, water, flow = case
    here, more = systems(depth, water, [flow, flow * times]).itertuples()
    assert more.storage_tanks * more.storage_tank_gal <= here.storage_tanks * here.storage_tank_gal


def test_settings_that_contradict_themselves_are_refused():
    with pytest.raises(ValidationError, match="cut_in_psi"):
        WaterSystemSettings(cut_in_psi=60, cut_out_psi=40)
    with pytest.raises(ValidationError, match="known gauges"):
        WaterSystemSettings(cables_awg=(11,))
    with pytest.raises(ValidationError, match="at least one size"):
        WaterSystemSettings(storage_tanks_gal=())
    read_back = WaterSystemSettings.model_validate({"motors_hp": {"0.5": 4.9}, "pipes_in": {"1.25": 1.38}})
    assert read_back.motors_hp == {0.5: 4.9}


def test_the_index_of_the_wells_does_not_matter():
    wells = design_wells([300.0, 400.0], 30.0, 40.0, 8.0, ConstructionSettings())
    other = wells.set_axis([7, 3])
    plain = design_water_systems(wells, [40.0, 40.0], [8.0, 8.0], NEED, SETTINGS)
    pd.testing.assert_frame_equal(design_water_systems(other, [40.0, 40.0], [8.0, 8.0], NEED, SETTINGS), plain)
