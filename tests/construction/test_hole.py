import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.construction import ConstructionSettings, GroutMix, design_wells
from wellrecords.units import GAL_PER_FT3

SETTINGS = ConstructionSettings()


def one(drilled, rock, water=20.0, flow=5.0, usable=True, **changes):
    return design_wells([drilled], [rock], [water], [flow], ConstructionSettings(**changes), usable=usable).iloc[0]


def test_a_rock_well_worked_by_hand():
    # 300 ft, rock at 40: 50 ft of casing below ground, 10 of them in rock, 1.5 above ground.
    well = one(300.0, 40.0)
    assert (well.overburden_ft, well.rock_socket_ft, well.rock_ft) == (40.0, 10.0, 250.0)
    assert (well.casing_ft, well.casing_foot_ft, well.drive_shoe, well.screen_ft) == (51.5, 50.0, 1.0, 0.0)
    # pi/4 (10^2 - 6.625^2) / 144 = 0.30603 ft3 a foot; 50 ft and 15 % over; 1.173 ft3 a sack.
    assert well.grout_ft3 == pytest.approx(0.30603 * 50 * 1.15, rel=1e-4)
    assert well.grout_batches == 15
    # Water from 20 ft: 30 ft in the casing (6.065 in), 250 ft in the open hole (6 in).
    standing = np.pi / 4 * ((6.065 / 12) ** 2 * 30 + 0.25 * 250) * GAL_PER_FT3
    assert well.well_water_gal == pytest.approx(standing)
    assert well.bleach_gal == pytest.approx(standing * 100 / 50_000)
    assert (well.sealing_ft3, well.sealing_batches, well.well_cap) == (0.0, 0.0, 1.0)


def test_shallow_rock_still_gets_the_least_casing():
    assert one(300.0, 2.0).casing_foot_ft == 20.0
    assert one(300.0, 2.0).rock_socket_ft == 18.0
    assert one(300.0, 2.0, minimum_casing_ft=40.0, stick_up_ft=1.0).casing_ft == 41.0


def test_a_well_that_ends_in_overburden_gets_a_screen():
    well = one(80.0, 200.0, flow=10.0, screen_open_area_ft2_per_ft=0.02)
    # 10 gpm = 0.02228 ft3/s through 0.02 ft2 a foot at 0.1 ft/s: 11.1 ft.
    assert well.screen_ft == pytest.approx(11.14, abs=0.01)
    assert well.casing_foot_ft == pytest.approx(80.0 - well.screen_ft)
    assert (well.screened, well.drive_shoe, well.rock_ft, well.development_h) == (1.0, 0.0, 0.0, 4.0)
    assert well.filter_pack_ft3 == pytest.approx(0.30603 * (well.screen_ft + 3.0), rel=1e-4)
    assert well.grout_ft3 == pytest.approx(0.30603 * (well.casing_foot_ft - 3.0) * 1.15, rel=1e-4)
    assert one(80.0, 200.0, flow=0.5).screen_ft == SETTINGS.minimum_screen_ft
    assert one(80.0, 200.0, flow=500.0).screen_ft == SETTINGS.maximum_screen_ft


def test_a_dry_hole_is_sealed_and_not_fitted_out():
    well = one(300.0, 40.0, flow=0.0, usable=False)
    assert (well.well_cap, well.bleach_gal, well.yield_test_h, well.development_h, well.screen_ft) == (0, 0, 0, 0, 0)
    hole = np.pi / 4 * ((6.065 / 12) ** 2 * 50 + 0.25 * 250) * 1.15
    assert well.sealing_ft3 == pytest.approx(hole)
    assert well.sealing_batches == np.ceil(hole / SETTINGS.grout.batch_ft3)
    assert well.casing_ft == 51.5


def test_a_flowing_well_is_full_and_needs_control():
    well = one(300.0, 40.0, water=-3.0)
    assert well.flow_control == 1.0
    assert well.well_water_gal == one(300.0, 40.0, water=0.0).well_water_gal
    assert one(300.0, 40.0, water=500.0).well_water_gal == 0.0


def test_a_grout_of_bentonite_and_a_short_seal():
    mix = GroutMix(water_gal=24, cement_lb=0, bentonite_lb=50)
    well = one(300.0, 40.0, grout=mix, grouted_ft=20.0, grout_loss=0.0)
    assert well.grout_ft3 == pytest.approx(0.30603 * 20, rel=1e-4)
    assert well.grout_batches == 2


wells = st.tuples(st.floats(1, 1200), st.floats(0, 800), st.floats(-20, 600), st.floats(0, 100), st.booleans())


@given(st.lists(wells, min_size=1, max_size=30))
@settings(deadline=None)
def test_quantities_are_whole_and_add_up(rows):
    drilled, rock, water, flow, usable = (np.array(column) for column in zip(*rows, strict=True))
    table = design_wells(drilled, rock, water, flow, SETTINGS, usable=usable)
    assert (table >= 0).all().all()
    assert np.allclose(table["overburden_ft"] + table["rock_socket_ft"] + table["rock_ft"], drilled)
    assert (table["casing_foot_ft"] <= drilled + 1e-9).all()
    assert (table["casing_foot_ft"] + table["screen_ft"] <= drilled + 1e-9).all()
    assert (table["grout_batches"] * SETTINGS.grout.batch_ft3 >= table["grout_ft3"] - 1e-6).all()
    assert ((table["grout_batches"] - 1) * SETTINGS.grout.batch_ft3 <= table["grout_ft3"] + 1e-6).all()
    assert (table["screened"].to_numpy() <= (drilled < rock)).all()


@given(wells, st.floats(0, 200))
@settings(deadline=None)
def test_deeper_rock_never_takes_less_casing_and_deeper_holes_never_less_drilling(well, more):
    drilled, rock, water, flow, usable = well
    here = one(drilled, rock, water, flow, usable)
    assert one(drilled + more, rock, water, flow, usable).drilled_ft >= here.drilled_ft
    if drilled >= rock + more:  # in rock both times
        deeper = one(drilled, rock + more, water, flow, usable)
        assert deeper.casing_ft >= here.casing_ft
        assert deeper.grout_ft3 >= here.grout_ft3
