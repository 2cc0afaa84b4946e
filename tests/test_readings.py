"""Every form in which people write a reading, and what it becomes."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.readings import DEFAULT_UNITS, WHY, parse_reading, parse_readings
from wellrecords.units import L_PER_GAL, L_PER_IMPERIAL_GAL

INF, NULL = math.inf, math.nan
IMPERIAL = L_PER_IMPERIAL_GAL / L_PER_GAL
FT = 1 / 0.3048

FORMS = [
    # kind, text, low, high, flags
    ("yield", "5", 5, 5, ""),
    ("yield", " 5.50 ", 5.5, 5.5, ""),
    ("yield", ".5", 0.5, 0.5, ""),
    ("yield", "5.", 5, 5, ""),
    ("yield", "0", 0, 0, ""),
    ("yield", "<0.5", 0, 0.5, "below"),
    ("yield", "< 1/2", 0, 0.5, "below notation"),
    ("yield", "0.5-", 0, 0.5, "below"),
    ("yield", "less than 1", 0, 1, "below"),
    ("yield", "up to 5", 0, 5, "below"),
    ("yield", "100+", 100, INF, "at_least"),
    ("yield", ">28", 28, INF, "at_least"),
    ("yield", "≥ 28", 28, INF, "at_least"),
    ("yield", "over 50 gpm", 50, INF, "at_least own_unit"),
    ("yield", "5 or more", 5, INF, "at_least"),
    ("yield", "1 to 5", 1, 5, "range"),
    ("yield", "1-5", 1, 5, "range"),
    ("yield", "1 – 5", 1, 5, "range"),
    ("yield", "5-1", 1, 5, "range reversed"),
    ("yield", "between 1 and 5", 1, 5, "range"),
    ("yield", "1/2-1", 0.5, 1, "range notation"),
    ("yield", "12 1/2", 12.5, 12.5, "notation"),
    ("yield", "12½", 12.5, 12.5, "notation"),
    ("yield", "12-1/2", 12.5, 12.5, "notation"),
    ("yield", "25.39?", 25.39, 25.39, "uncertain"),
    ("yield", "8,5*", 8.5, 8.5, "notation uncertain"),
    ("yield", "1,200", 1200, 1200, "notation"),
    ("yield", "~3", 3, 3, "uncertain"),
    ("yield", "10 est.", 10, 10, "uncertain"),
    ("yield", "100+/-", 100, 100, "uncertain"),
    ("yield", "dry", 0, NULL, "dry"),
    ("yield", "Dry Hole", 0, NULL, "dry"),
    ("yield", "no water", 0, NULL, "dry"),
    ("yield", "trace", 0, NULL, "trace"),
    ("yield", "seepage", 0, NULL, "trace"),
    ("yield", "flowing", NULL, NULL, "flowing"),
    ("yield", "artesian", NULL, NULL, "flowing"),
    ("yield", "flows 3 gpm", 3, 3, "flowing own_unit"),
    ("yield", "flowing @ 3", 3, 3, "flowing"),
    ("yield", "3.5 gpm", 3.5, 3.5, "own_unit"),
    ("yield", "13 L/min", 13 / L_PER_GAL, 13 / L_PER_GAL, "unit"),
    ("yield", "2 igpm", 2 * IMPERIAL, 2 * IMPERIAL, "unit"),
    ("yield", "0.5 l/s", 30 / L_PER_GAL, 30 / L_PER_GAL, "unit"),
    ("yield", "1 m3/h", 1000 / 60 / L_PER_GAL, 1000 / 60 / L_PER_GAL, "unit"),
    ("yield", "24 m³/d", 1000 / 60 / L_PER_GAL, 1000 / 60 / L_PER_GAL, "unit"),
    ("yield", "10-20 L/min", 10 / L_PER_GAL, 20 / L_PER_GAL, "range unit"),
    ("yield", "5 gpm @ 100 ft", 5, 5, "own_unit remark"),
    ("yield", "15 gpm for 2 hrs", 15, 15, "own_unit remark"),
    ("yield", "n/a", NULL, NULL, "unknown"),
    ("yield", "9999", NULL, NULL, "unknown"),
    ("yield", "-99999.0", NULL, NULL, "unknown"),
    ("yield", "", NULL, NULL, "blank"),
    ("yield", "   ", NULL, NULL, "blank"),
    ("yield", "45 m", NULL, NULL, "unreadable"),
    ("yield", "-3", NULL, NULL, "unreadable negative"),
    ("yield", "lots", NULL, NULL, "unreadable"),
    ("yield", "1.5.2", NULL, NULL, "unreadable"),
    ("yield", "5-Jan", NULL, NULL, "unreadable date"),
    ("yield", "2024-01-05", NULL, NULL, "unreadable date"),
    ("depth", "12'6\"", 12.5, 12.5, "notation"),
    ("depth", "12 ft 6 in", 12.5, 12.5, "notation"),
    ("depth", "12’ 6”", 12.5, 12.5, "notation"),
    ("depth", "305'", 305, 305, "own_unit"),
    ("depth", "305`", 305, 305, "own_unit"),
    ("depth", "45 m", 45 * FT, 45 * FT, "unit"),
    ("depth", "3O5", NULL, NULL, "unreadable"),
    ("depth", "12'15\"", NULL, NULL, "unreadable"),
    ("water", "flowing", -INF, 0, "flowing"),
    ("water", "FLOWS", -INF, 0, "flowing"),
    ("water", "overflow", -INF, 0, "flowing"),
    ("water", "artesian", -INF, 0, "flowing"),
    ("water", "flows 3 gpm", -INF, 0, "flowing"),
    ("water", "flowing, +2.5 ft", -2.5, -2.5, "flowing above_ground"),
    ("water", "-2", -2, -2, ""),
    ("water", "+2", -2, -2, "above_ground"),
    ("yield", "10/20", NULL, NULL, "unreadable"),
    ("depth", "300/320", NULL, NULL, "unreadable"),
    ("yield", "100 + gpm", 100, INF, "at_least own_unit"),
    ("yield", "20 gpm/2 hr", 20, 20, "own_unit remark"),
    ("yield", "NE", NULL, NULL, "unreadable"),
    ("yield", "dry to 300", 0, NULL, "dry"),
    ("water", "dry to 100'", 100, INF, "dry own_unit"),
    ("water", "static 12'", 12, 12, "own_unit remark"),
    ("water", "12' static level", 12, 12, "own_unit remark"),
    ("bedrock", "no ledge to 60", 60, INF, "not_reached"),
    ("bedrock", "ledge not enc.", NULL, INF, "not_reached"),
    ("bedrock", "rock @ 20", 20, 20, "remark"),
    ("bedrock", "20 ft to bedrock", 20, 20, "own_unit remark"),
    ("bedrock", "outcrop", 0, 0, "notation"),
    ("bedrock", "NE", NULL, INF, "not_reached"),
    ("water", "<0", -INF, 0, "below"),
    ("water", "-2 to 5", -2, 5, "range"),
    ("water", "2-3 ft above ground", -3, -2, "range own_unit above_ground"),
    ("depth", "123456789012", NULL, NULL, "unreadable"),
    ("depth", "#N/A", NULL, NULL, "unknown"),
    ("water", "2 ft above ground", -2, -2, "own_unit above_ground"),
    ("water", "20' below ground", 20, 20, "own_unit remark"),
    ("water", "at surface", 0, 0, "notation"),
    ("water", "dry", NULL, INF, "dry"),
    ("water", "not encountered", NULL, INF, "not_reached"),
    ("bedrock", "not encountered", NULL, INF, "not_reached"),
    ("bedrock", "bedrock not reached", NULL, INF, "not_reached"),
    ("bedrock", "no rock to 90", 90, INF, "not_reached"),
    ("bedrock", "no bedrock at 27 m", 27 * FT, INF, "not_reached unit"),
    ("bedrock", ">90", 90, INF, "at_least"),
    ("bedrock", "dry", NULL, NULL, "unreadable"),
    ("bedrock", "none", NULL, NULL, "unreadable"),
    ("diameter", "6", 6, 6, ""),
    ("diameter", '6"', 6, 6, "own_unit"),
    ("diameter", "6 5/8", 6.625, 6.625, "notation"),
    ("diameter", "150 mm", 150 / 25.4, 150 / 25.4, "unit"),
    ("diameter", "8/6", NULL, NULL, "unreadable"),
    ("yield", "3.5 GPM.", 3.5, 3.5, "own_unit"),
    ("yield", "5 u.s. gal. per min.", 5, 5, "own_unit"),
    ("yield", "2 gpm (imp.)", 2 * IMPERIAL, 2 * IMPERIAL, "unit"),
    ("yield", "2 Imp. gal/min", 2 * IMPERIAL, 2 * IMPERIAL, "unit"),
    ("yield", "2 gpm (in imp. measure)", NULL, NULL, "unreadable"),
    ("yield", "1.2 cu m/hr", 1200 / 60 / L_PER_GAL, 1200 / 60 / L_PER_GAL, "unit"),
    ("yield", "5 gal in 30 sec", 10, 10, "notation"),
    ("yield", "1 gal in 2 min", 0.5, 0.5, "notation"),
    ("yield", "10 L per 20 s.", 30 / L_PER_GAL, 30 / L_PER_GAL, "notation"),
    ("yield", "1 gal in 2 hours", NULL, NULL, "unreadable"),
    ("yield", "5 gpm w/ 20' drawdown", 5, 5, "own_unit remark"),
    ("yield", "10 gpm pumped", 10, 10, "own_unit remark"),
    ("yield", "3 gpm (bailer)", 3, 3, "own_unit remark"),
    ("yield", "5 gpm 4 hrs", 5, 5, "own_unit remark"),
    ("yield", "3 or 4", 3, 4, "range"),
    ("yield", "1/5", NULL, NULL, "unreadable"),
    ("yield", "1.5E+01", 15, 15, "notation"),
    ("yield", "1 000", 1000, 1000, "notation"),
    ("yield", "9999.99", NULL, NULL, "unknown"),
    ("yield", "not tested", NULL, NULL, "unknown"),
    ("water", "flowing 2 ft above ground", -2, -2, "flowing above_ground"),
    ("water", "Artesian +5", -5, -5, "flowing above_ground"),
    ("water", "art.", -INF, 0, "flowing"),
    ("water", "12-6", NULL, NULL, "unreadable"),
    ("depth", "305-10", NULL, NULL, "unreadable"),
    ("water", "below 50", NULL, NULL, "unreadable"),
    ("water", "deeper than 50", 50, INF, "at_least"),
    ("water", "8.5 mbgl", 8.5 * FT, 8.5 * FT, "unit"),
    ("bedrock", "none to 90", 90, INF, "not_reached"),
    ("bedrock", "hit ledge at 20", 20, 20, "remark"),
    ("depth", "TD 305", 305, 305, "remark"),
    ("depth", "45 m (148 ft)", 45 * FT, 45 * FT, "unit remark"),
    ("depth", "45 (148 ft)", NULL, NULL, "unreadable"),
    ("depth", "45 (m)", 45 * FT, 45 * FT, "unit"),
    ("diameter", '6" PVC', 6, 6, "own_unit remark"),
    ("elevation", "1200 ft amsl", 1200, 1200, "own_unit remark"),
]  # fmt: skip


def same(a: float, b: float) -> bool:
    return (math.isnan(a) and math.isnan(b)) or a == pytest.approx(b, rel=1e-12)


@pytest.mark.parametrize(("kind", "text", "low", "high", "flags"), FORMS, ids=[f"{f[0]}: {f[1]}" for f in FORMS])
def test_forms(kind, text, low, high, flags):
    reading = parse_reading(text, kind=kind)
    assert (same(reading.low, low), same(reading.high, high), " ".join(reading.flags)) == (True, True, flags), reading


@pytest.mark.parametrize("kind", sorted(DEFAULT_UNITS))
def test_a_column_reads_like_its_cells(kind):
    texts = [form[1] for form in FORMS] * 2 + [None]
    table = parse_readings(pd.Series(texts, dtype="str"), kind=kind)
    for text, row in zip(texts, table.itertuples(index=False), strict=True):
        one = parse_reading(text, kind=kind)
        assert same(row.low, one.low), text
        assert same(row.high, one.high), text
        assert row.flag == " ".join(one.flags), text
        assert row.unreadable == one.unreadable


def test_a_flow_beside_a_level_is_kept():
    assert parse_reading("flows 3 gpm", kind="water").flow_gpm == (3.0, 3.0)
    assert parse_reading("flowing 3", kind="water").flow_gpm is None  # feet or gallons: it does not say
    table = parse_readings(pd.Series(["flows 10-12 gpm", "5"]), kind="water")
    assert table["flow_low"].tolist()[0] == 10.0
    assert np.isnan(table["flow_high"].tolist()[1])


def test_the_unit_of_the_column_holds_unless_the_text_names_another():
    assert parse_reading("100", kind="depth", unit="m").low == pytest.approx(100 * FT)
    assert parse_reading("100 ft", kind="depth", unit="m").low == 100.0
    assert parse_reading("10", kind="yield", unit="L/min").low == pytest.approx(10 / L_PER_GAL)
    # 4.54609 / 3.785411784: an imperial gallon is 1.20095 US gallons (from memory)
    assert parse_reading("1", kind="yield", unit="igpm").low == pytest.approx(1.20095, abs=1e-5)


def test_decimal_commas():
    assert parse_reading("27,4", kind="depth", unit="m", decimal=",").low == pytest.approx(27.4 * FT)
    assert parse_reading("1.200,5", kind="depth", decimal=",").low == 1200.5
    assert parse_reading("8.5", kind="depth", decimal=",") == parse_reading("8,5", kind="depth", decimal=".")
    assert parse_readings(pd.Series([">27,4", "0,5"]), kind="depth", decimal=",")["low"].tolist() == [27.4, 0.5]


def test_a_layout_may_say_what_a_word_means():
    words = {"ne": "not_reached", "999": "unknown", "none": "dry"}
    assert parse_reading("NE", kind="bedrock", words=words).flags == ("not_reached",)
    assert parse_reading("999", kind="depth", words=words).flags == ("unknown",)
    assert parse_reading("999", kind="depth").low == 999.0
    assert parse_reading("None", kind="yield", words=words).flags == ("dry",)
    assert parse_readings(pd.Series(["999"]), kind="depth", words=words)["flag"].tolist() == ["unknown"]


@settings(deadline=None, max_examples=300)
@given(st.text(max_size=20), st.sampled_from(sorted(DEFAULT_UNITS)), st.sampled_from([".", ","]))
def test_no_text_breaks_it_and_every_interval_is_one(text, kind, decimal):
    reading = parse_reading(text, kind=kind, decimal=decimal)
    assert not reading.low > reading.high
    assert set(reading.flags) <= {*WHY, "blank"}
    if reading.unreadable:
        assert math.isnan(reading.low)
        assert math.isnan(reading.high)


@settings(deadline=None, max_examples=50)
@given(st.lists(st.text(max_size=8) | st.sampled_from(["5", "٣", "1٠", "½", "9999", "5.", "١٠ gpm"]), max_size=8))
def test_no_column_of_texts_breaks_it(texts):
    table = parse_readings(pd.Series(texts, dtype="str"), kind="yield")
    for text, row in zip(texts, table.itertuples(index=False), strict=True):
        one = parse_reading(text, kind="yield")
        assert same(row.low, one.low), text
        assert same(row.high, one.high), text


figures = st.decimals(min_value=0, max_value=5000, places=2)


@settings(deadline=None)
@given(figures, figures, st.sampled_from(["{a} to {b}", "{a}-{b}", "{a} - {b} gpm", "between {a} and {b}", "{a}..{b}"]))
def test_ranges_hold_both_ends(a, b, form):
    reading = parse_reading(form.format(a=a, b=b), kind="yield")
    assert (reading.low, reading.high) == (float(min(a, b)), float(max(a, b)))


@settings(deadline=None)
@given(
    st.integers(0, 2000),
    st.integers(0, 11),
    st.sampled_from(["{f}'{i}\"", "{f} ft {i} in", "{f}' - {i}", "{f} feet {i} inches"]),
)
def test_feet_and_inches(feet, inches, form):
    assert parse_reading(form.format(f=feet, i=inches), kind="depth").low == pytest.approx(feet + inches / 12)


@settings(deadline=None)
@given(st.floats(0, 1e5), st.sampled_from(["gpm", "L/s", "L/min", "igpm", "m3/h", "m3/d"]))
def test_what_is_written_in_a_unit_is_what_the_column_in_that_unit_holds(value, unit):
    text = f"{value:.3f}"
    in_text = parse_reading(f"{text} {unit}", kind="yield")
    in_column = parse_reading(text, kind="yield", unit=unit)
    if not in_column.flags:  # 9999.000 and its like are no figures
        assert (in_text.low, in_text.high) == (in_column.low, in_column.high)
