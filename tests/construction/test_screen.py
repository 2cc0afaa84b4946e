import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import check, published

from wellrecords.construction import screen as s

SIEVES = [2.0, 0.84, 0.42, 0.297, 0.149]
RETAINED = [5.0, 40.0, 70.0, 90.0, 98.0]

COMPUTED = {
    "uniformity_coefficient": lambda d40_mm, d90_mm: s.uniformity_coefficient([d40_mm, d90_mm], [40, 90]),
    "most_screen_m": lambda thickness_m: s.screened_range_ft(thickness_m, confined=True)[1],
    "entrance_velocity_ft_min": lambda permeability_gpd_ft2: s.entrance_velocity_limit_ft_s(permeability_gpd_ft2) * 60,
}


@pytest.mark.parametrize("case", published("screen.csv"))
def test_agrees_with_the_published_value(case):
    check(case, COMPUTED)


def test_sizes_are_read_off_the_curve():
    assert s.retained_size_mm(SIEVES, RETAINED, 70) == pytest.approx(0.42)
    # Half way in share between two sieves is their geometric mean in size.
    assert s.retained_size_mm(SIEVES, RETAINED, 55) == pytest.approx(np.sqrt(0.84 * 0.42))
    assert s.retained_size_mm(SIEVES[::-1], RETAINED[::-1], 55) == pytest.approx(np.sqrt(0.84 * 0.42))
    assert s.natural_slot_in(SIEVES, RETAINED) == pytest.approx(0.84 / 25.4)
    assert s.filter_pack_mm(SIEVES, RETAINED) == pytest.approx((1.68, 2.52))
    assert s.screened_range_ft(30.0, confined=False) == pytest.approx((10.0, 15.0))


@given(st.floats(5, 98), st.floats(0, 93))
@settings(deadline=None)
def test_more_retained_is_finer(percent, more):
    further = min(percent + more, 98.0)
    assert s.retained_size_mm(SIEVES, RETAINED, further) <= s.retained_size_mm(SIEVES, RETAINED, percent) + 1e-12
    assert s.natural_slot_in(SIEVES, RETAINED, further) <= s.natural_slot_in(SIEVES, RETAINED, percent) + 1e-12


def test_a_curve_that_is_none_is_refused():
    with pytest.raises(ValueError, match="no less retained"):
        s.retained_size_mm([1.0, 0.5], [60, 40], 50)
    with pytest.raises(ValueError, match="lies outside"):
        s.retained_size_mm([1.0, 0.5], [20, 60], 90)
