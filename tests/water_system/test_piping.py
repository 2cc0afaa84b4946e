import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import check, published

from wellrecords.water_system import piping as p
from wellrecords.water_system import tanks, wiring

COMPUTED = {
    "friction_ft_per_100ft": p.friction_ft_per_100ft,
    "water_hp": p.water_hp,
    "total_dynamic_head_ft": p.total_dynamic_head_ft,
    "drawdown_factor": tanks.drawdown_factor,
    "drawdown_gal": lambda tank_gal, **pressures: tank_gal * tanks.drawdown_factor(**pressures),
    "ohm_per_kft": lambda gauge_awg: wiring.voltage_drop(1.0, 500.0, int(gauge_awg)),
    "ohm_by_circular_mils": lambda circular_mils: 1000.0 * wiring.COPPER_OHM_CMIL_PER_FT / circular_mils,
}


@pytest.mark.parametrize("case", published("water_system.csv"))
def test_agrees_with_the_published_value(case):
    check(case, COMPUTED)


@given(st.floats(1, 60), st.floats(0.75, 4))
@settings(deadline=None)
def test_friction_scales_as_hazen_and_williams_say(flow, inside):
    # Loss goes with flow^1.852 and diameter^-4.87.
    here = p.friction_ft_per_100ft(flow, inside)
    assert p.friction_ft_per_100ft(2 * flow, inside) == pytest.approx(here * 2 ** (1 / 0.54))
    assert p.friction_ft_per_100ft(flow, 2 * inside) == pytest.approx(here * 2 ** (-2.63 / 0.54))
    assert p.friction_ft_per_100ft(flow, inside, 100.0) > here


def test_the_usual_short_formula_agrees():
    # h = 10.44 L Q^1.85 / (C^1.85 d^4.8655) in gpm, inches, feet: common practice.
    short = 10.44 * 100 * 10**1.85 / (150**1.85 * 1.38**4.8655)
    assert p.friction_ft_per_100ft(10.0, 1.38) == pytest.approx(short, rel=0.02)


def test_twice_the_efficiency_is_half_the_motor():
    assert p.motor_hp_needed(5.0, 400.0, 0.5) == pytest.approx(2 * p.motor_hp_needed(5.0, 400.0, 1.0))


@given(st.floats(1, 30), st.floats(10, 900))
@settings(deadline=None)
def test_the_gauge_is_the_thinnest_that_holds(current, length):
    gauges = (14, 12, 10, 8, 6, 4)
    (gauge,) = wiring.smallest_gauge([current], [length], gauges, 11.5)
    holds = [awg for awg in gauges if wiring.voltage_drop(current, length, awg) <= 11.5]
    if holds:
        assert gauge == max(holds)
    else:
        assert gauge != gauge
