import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import check, published
from scipy.integrate import quad

from wellrecords.units import GAL_PER_FT3, L_PER_GAL, M_PER_FT, MIN_PER_DAY
from wellrecords.water_system import hydraulics as h

M2_D_PER_GPD_FT = L_PER_GAL / 1000.0 / M_PER_FT
GPM_PER_M3_MIN = 1000.0 / L_PER_GAL
# The books round 1440 ln(10) / (4 pi) = 263.86 to 264 (and 528): as if the flow were 0.05 % greater.
BOOK_ROUNDING = 264.0 / (MIN_PER_DAY * np.log(10.0) / (4.0 * np.pi))

COMPUTED = {
    "well_function": lambda u: h.well_function(u),
    "theis_u": h.theis_u,
    "theis_W": lambda **inputs: h.well_function(h.theis_u(**inputs)),
    "theis_drawdown_ft": h.theis_drawdown_ft,
    "jacob_transmissivity_by_264": lambda flow_gpm, slope_ft_per_log_cycle: h.cooper_jacob_transmissivity_gpd_ft(
        flow_gpm * BOOK_ROUNDING, slope_ft_per_log_cycle
    ),
    "radius_of_influence_by_528": lambda flow_gpm, **steady: h.radius_of_influence_ft(
        flow_gpm * BOOK_ROUNDING, **steady
    ),
    "conductivity_gpd_ft2": lambda thickness_ft, **test: h.cooper_jacob_transmissivity_gpd_ft(**test) / thickness_ft,
    "storativity_from_intercept": h.storativity_from_intercept,
    "transmissivity_ft2_d": lambda **test: h.cooper_jacob_transmissivity_gpd_ft(**test) / GAL_PER_FT3,
    "thiem_confined_head_difference_ft": h.thiem_confined_head_difference_ft,
    "thiem_unconfined_head_ft": h.thiem_unconfined_head_ft,
    "theis_drawdown_m": lambda flow_m3_min, radius_m, time_min, transmissivity_m2_d, storativity: (
        h.theis_drawdown_ft(
            flow_m3_min * GPM_PER_M3_MIN,
            radius_m / M_PER_FT,
            time_min / MIN_PER_DAY,
            transmissivity_m2_d / M2_D_PER_GPD_FT,
            storativity,
        )
        * M_PER_FT
    ),
    "jacob_transmissivity_m2_d": lambda flow_m3_min, slope_m_per_log_cycle: (
        h.cooper_jacob_transmissivity_gpd_ft(flow_m3_min * GPM_PER_M3_MIN, slope_m_per_log_cycle / M_PER_FT)
        * M2_D_PER_GPD_FT
    ),
    "jacob_storativity_si": lambda transmissivity_m2_d, time_d, radius_m: h.storativity_from_intercept(
        transmissivity_m2_d / M2_D_PER_GPD_FT, time_d, radius_m / M_PER_FT
    ),
    "transmissivity_per_specific_capacity": lambda transmissivity_gpd_ft, storativity, radius_ft, time_d: (
        transmissivity_gpd_ft * h.cooper_jacob_drawdown_ft(1.0, radius_ft, time_d, transmissivity_gpd_ft, storativity)
    ),
    "m2_d_per_gpd_ft": lambda gpd_ft: gpd_ft * M2_D_PER_GPD_FT,
}


@pytest.mark.parametrize("case", published("hydraulics.csv"))
def test_agrees_with_the_published_value(case):
    check(case, COMPUTED)


@given(st.floats(1e-6, 8.0))
@settings(deadline=None, max_examples=50)
def test_well_function_is_the_integral(u):
    integral, _ = quad(lambda x: np.exp(-x) / x, u, np.inf, epsabs=0, epsrel=1e-10, limit=500)
    assert float(h.well_function(u)) == pytest.approx(integral, rel=1e-7)


@given(st.floats(0.5, 50), st.floats(1, 500), st.floats(0.01, 30), st.floats(50, 50_000), st.floats(1e-5, 0.3))
@settings(deadline=None)
def test_drawdown_falls_with_distance_and_grows_with_time(flow, radius, days, transmissivity, storativity):
    here = h.theis_drawdown_ft(flow, radius, days, transmissivity, storativity)
    assert here >= h.theis_drawdown_ft(flow, radius * 1.5, days, transmissivity, storativity)
    assert here <= h.theis_drawdown_ft(flow, radius, days * 1.5, transmissivity, storativity)
    assert h.theis_drawdown_ft(2 * flow, radius, days, transmissivity, storativity) == pytest.approx(2 * here)


@given(st.floats(1e-8, 0.01))
@settings(deadline=None)
def test_the_straight_line_is_good_where_u_is_small(u):
    # s is proportional to W(u); the straight line leaves out u - u^2/4 + ..., at most u.
    exact = h.theis_drawdown_ft(10.0, 1.0, 1.0, 1000.0, u * 4000.0 / GAL_PER_FT3)
    line = h.cooper_jacob_drawdown_ft(10.0, 1.0, 1.0, 1000.0, u * 4000.0 / GAL_PER_FT3)
    assert abs(line - exact) <= 10.0 * MIN_PER_DAY / (4 * np.pi * 1000.0) * u + 1e-12
    assert line == pytest.approx(exact, rel=0.003)


def test_slope_and_intercept_give_back_what_made_them():
    transmissivity, storativity, radius, flow = 8000.0, 2e-4, 50.0, 12.0
    days = np.array([0.1, 1.0])
    drawdown = h.cooper_jacob_drawdown_ft(flow, radius, days, transmissivity, storativity)
    slope = drawdown[1] - drawdown[0]
    zero_at = 10.0 ** (-1.0 - drawdown[0] / slope)
    found = h.cooper_jacob_transmissivity_gpd_ft(flow, slope)
    assert found == pytest.approx(transmissivity)
    assert h.storativity_from_intercept(found, zero_at, radius) == pytest.approx(storativity)


def test_confined_head_and_radius_of_influence_are_inverse():
    outer = h.radius_of_influence_ft(40.0, 6000.0, 5.0, 10.0)
    assert h.thiem_confined_head_difference_ft(40.0, 6000.0, 10.0, outer) == pytest.approx(5.0)


def test_an_aquifer_that_cannot_give_the_flow_has_no_head():
    assert np.isnan(h.thiem_unconfined_head_ft(4000.0, 20.0, 30.0, 100.0, 0.25))
