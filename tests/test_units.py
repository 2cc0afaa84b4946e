"""Units against their definitions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import check, published

from wellrecords import units
from wellrecords.units import FEET_PER, GPM_PER, known_unit, to_feet, to_gpm, to_inches

COMPUTED = {
    "metres": lambda unit: to_feet(1.0, unit) * units.M_PER_FT,
    "litres": lambda unit: to_gpm(1.0, unit) * units.L_PER_GAL,
    "gallons": lambda unit: to_gpm(1.0, unit),
    "gpm": lambda unit: to_gpm(1.0, unit),
    "feet_of_metres": lambda metres: to_feet(metres, "m"),
}


@pytest.mark.parametrize("case", published("units.csv"))
def test_published_values(case):
    check(case, COMPUTED)


def test_the_gallon_is_231_cubic_inches():
    # NIST Handbook 44, appendix C (from memory); an inch is 2.54 cm
    assert pytest.approx(units.L_PER_GAL, rel=1e-12) == 231 * 2.54**3 / 1000


@pytest.mark.parametrize(
    ("value", "unit", "gpm"),
    [
        (1.0, "gpm", 1.0),
        (1.0, "L/s", 60 / 3.785411784),
        (3.785411784, "L/min", 1.0),
        (1.0, "igpm", 4.54609 / 3.785411784),
        (1.0, "m3/h", 1000 / 60 / 3.785411784),
        (24.0, "m3/d", 1000 / 60 / 3.785411784),
        (1440.0, "gpd", 1.0),
        (4.0, "qts/min", 1.0),
        (1.0, "ft3/s", 448.8312),  # common practice: 1 cfs is 449 gpm
    ],
)
def test_flows(value, unit, gpm):
    assert to_gpm(value, unit) == pytest.approx(gpm, rel=1e-7)


@pytest.mark.parametrize(
    ("value", "unit", "feet"),
    [(0.3048, "m", 1.0), (30.48, "cm", 1.0), (304.8, "mm", 1.0), (12.0, "in", 1.0), (1.0, "yd", 3.0),
     (100.0, "us_survey_ft", 100.0002)],
)  # fmt: skip
def test_lengths(value, unit, feet):
    assert to_feet(value, unit) == pytest.approx(feet, rel=1e-9)


def test_whole_inches_stay_whole():
    assert to_inches(6.0, "in") == 6.0
    assert to_inches(152.4, "mm") == pytest.approx(6.0, abs=1e-12)


@pytest.mark.parametrize(
    ("spelling", "unit"),
    [("GPM", "gpm"), ("Gal/Min", "gpm"), ("gallons per minute", "gpm"), ("imp gal/min", "igpm"), ("IGPM", "igpm"),
     ("litres/sec", "L/s"), ("lpm", "L/min"), ("M3/DAY", "m3/d"), ("cfs", "ft3/s"), ("metres", "m"), ("FT.", "ft"),
     ("'", "ft"), ('"', "in"), ("furlong", None), ("", None)],
)  # fmt: skip
def test_spellings(spelling, unit):
    assert known_unit(spelling) == unit


def test_no_spelling_stands_for_two_units():
    words = [(units._bare(word), unit) for unit, words in units._SPELLINGS.items() for word in words.split()]
    assert len({word for word, _ in words}) == len(set(words))


@given(st.sampled_from(sorted(FEET_PER)), st.floats(-1e6, 1e6))
def test_feet_are_linear_and_pass_null_and_infinity(unit, value):
    array = to_feet(np.array([value, np.nan, np.inf]), unit)
    assert array[0] == to_feet(value, unit)
    assert np.isnan(array[1])
    assert np.isposinf(array[2])


@pytest.mark.parametrize(("convert", "unit"), [(to_feet, "gpm"), (to_gpm, "m"), (to_feet, "furlong")])
def test_a_wrong_unit_is_refused_with_those_that_are_known(convert, unit):
    with pytest.raises(ValueError, match=f"'{unit}' is not a known unit.*Known: "):
        convert(1.0, unit)


def test_every_unit_is_a_spelling_of_itself():
    for unit in (*FEET_PER, *GPM_PER):
        assert known_unit(unit) == unit
