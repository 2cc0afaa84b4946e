import pytest
from published import check, published
from pydantic import ValidationError

from wellrecords.demand import (
    LIVESTOCK_GAL_PER_HEAD_DAY,
    DemandSettings,
    household_need,
    irrigation_gal,
    well_storage_gal,
)
from wellrecords.demand_storage import (
    required_yield_gpm,
    storage_needed_gal,
    yield_storage_table,
)
from wellrecords.errors import ProblemsError
from wellrecords.units import L_PER_GAL, M_PER_FT, MM_PER_IN


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
    with pytest.raises(ValidationError, match="less than or equal to 31"):
        DemandSettings(watering_every_days=365)
    with pytest.raises(ValidationError, match="more than 24 together"):
        DemandSettings(peak_hours=12, watering_hours=13)


def test_a_kind_of_livestock_that_is_nearly_known_is_asked_after():
    with pytest.raises(ProblemsError, match=r"did you mean horse\? Else give its gallons"):
        household_need(DemandSettings(livestock={"horses": 2}))
    with pytest.raises(ProblemsError) as caught:
        household_need(DemandSettings(livestock={"camel": 2}))
    assert "did you mean" not in str(caught.value)
