import pytest
from published import check, published

from wellrecords.construction import formulas as f
from wellrecords.units import FT_PER_M, GAL_PER_FT3, to_gpm

COMPUTED = {
    "gal_per_ft": lambda diameter_in: f.cylinder_ft3_per_ft(diameter_in) * GAL_PER_FT3,
    "annulus_gal": lambda length_ft, **hole: f.annulus_ft3_per_ft(**hole) * length_ft * GAL_PER_FT3,
    "slurry_ft3": f.slurry_ft3,
    "slurry_lb_per_gal": f.slurry_lb_per_gal,
    "at_least_lb_per_gal": lambda **mix: min(f.slurry_lb_per_gal(**mix), 10.0),
    "solids_percent": lambda water_gal, bentonite_lb: (
        100.0 * bentonite_lb / (bentonite_lb + water_gal * f.WATER_LB_PER_FT3 / GAL_PER_FT3)
    ),
    "screen_length_m": lambda flow_m3_h, open_area_m2_per_m, velocity_m_s: (
        f.screen_length_ft(to_gpm(flow_m3_h, "m3/h"), open_area_m2_per_m * FT_PER_M, velocity_m_s * FT_PER_M) / FT_PER_M
    ),
    "bleach_dose_mg_l": lambda bleach_pints, water_gal, bleach_percent: (
        bleach_pints / 8.0 / f.bleach_gal(water_gal, 1.0, bleach_percent)
    ),
}


@pytest.mark.parametrize("case", published("construction.csv"))
def test_agrees_with_the_published_value(case):
    check(case, COMPUTED)


def test_a_casing_must_fit_its_hole():
    with pytest.raises(ValueError, match="does not fit"):
        f.annulus_ft3_per_ft(6.0, 6.625)
