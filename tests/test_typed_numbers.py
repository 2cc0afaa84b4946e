"""Numbers as people type them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wellrecords.typed_numbers import DOLLARS, FEET, INCHES, typed_number


@given(st.floats(-1e9, 1e9).map(lambda value: round(value, 2)))
def test_a_number_is_read_with_and_without_its_commas_and_its_dollar(value):
    assert typed_number(f"{value:.2f}") == typed_number(f"{value:,.2f}") == value
    sign = "-" if value < 0 else ""
    assert typed_number(f"{sign}${abs(value):,.2f}") == value


@pytest.mark.parametrize("text", ["305 ft", "93m", "1,305 ft", "12'", '6"', "5 gpm", "500 m2", "75%"])
def test_a_unit_behind_a_number_is_refused_and_named(text):
    with pytest.raises(ValueError, match="without a unit"):
        typed_number(text)


@pytest.mark.parametrize("text", ["", "deep", "1,30", "1,3050", "nan", "inf", "12 6", "1.2.3", "--5", "1e5 1"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError, match="it is a number"):
        typed_number(text)


@pytest.mark.parametrize(
    ("text", "units", "read"),
    [
        ("340'", FEET, 340),
        ("1,340.5 ft.", FEET, 1340.5),
        ("12 Feet", FEET, 12),
        ('6 1/4"', INCHES, None),
        ('6.25"', INCHES, 6.25),
        ("$9,800 USD", DOLLARS, 9800),
        ("93 m", FEET, None),
        ("6 in", FEET, None),
        ("' ", FEET, None),
        ("340''", FEET, None),
    ],
)
def test_a_number_s_own_unit_may_stand_behind_it_and_no_other(text, units, read):
    if read is not None:
        assert typed_number(text, units) == read
        return
    with pytest.raises(ValueError, match="it is a number"):
        typed_number(text, units)
