from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from wellrecords.bid import PriceBook, PriceLine, cost_lines, load_price_book, spread_costs
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.water_system import WaterSystemSettings

SAMPLE = Path(__file__).parents[2] / "sample_records" / "price_book.toml"


def line(key="drilling", quantity="rock_ft", unit_cost_usd=10.0, **more):
    return PriceLine(key=key, label=key, quantity=quantity, unit="ft", unit_cost_usd=unit_cost_usd, **more)


def book(*lines):
    return PriceBook(title="Test", lines=lines)


def test_quantities_times_costs():
    quantities = pd.DataFrame({"rock_ft": [100.0, 200.0], "pump": [1.0, 0.0], "motor_hp": [0.75, 0.0]})
    pump = line("pump", "pump", {0.5: 700.0, 0.75: 800.0}, by="motor_hp")
    costs = cost_lines(quantities, book(line(), pump))
    assert costs["drilling"].tolist() == [1000.0, 2000.0]
    assert costs["pump"].tolist() == [800.0, 0.0]  # no pump, no size, no cost


def test_what_does_not_fit_is_told_all_at_once():
    quantities = pd.DataFrame({"rock_ft": [1.0], "pump": [1.0], "motor_hp": [3.0]})
    wrong = book(line("a", "stone_ft"), line("b", "pump", {0.5: 700.0}, by="motor_hp"), line("c"))
    with pytest.raises(ProblemsError) as caught:
        cost_lines(quantities, wrong)
    assert [(problem.code, problem.column) for problem in caught.value.problems] == [
        ("unknown_quantity", "a"),
        ("unpriced_size", "b"),
    ]
    assert "motor_hp = 3" in str(caught.value)


@given(st.floats(0.01, 0.6), st.integers(0, 1000))
@settings(deadline=None, max_examples=25)
def test_spread_keeps_the_mean_and_gives_the_standard_deviation(spread, seed):
    n = 40_000
    costs = pd.DataFrame({"drilling": np.full(n, 100.0), "casing": np.full(n, 50.0)})
    drawn = spread_costs(costs, book(line(spread=spread), line("casing", "casing_ft")), seed)
    assert drawn["drilling"].mean() == pytest.approx(100.0, abs=5 * 100 * spread / np.sqrt(n))
    assert drawn["drilling"].std() == pytest.approx(100.0 * spread, rel=0.08)
    assert (drawn["drilling"] > 0).all()
    assert (drawn["casing"] == 50.0).all()
    assert (costs["drilling"] == 100.0).all()


def test_the_sample_book_prices_every_size_on_sale():
    sample = load_price_book(SAMPLE)
    assert "local code governs" in sample.note.lower()
    sizes = WaterSystemSettings()
    on_sale = {
        "motor_hp": sizes.motors_hp,
        "drop_pipe_in": sizes.pipes_in,
        "cable_awg": sizes.cables_awg,
        "pressure_tank_gal": sizes.pressure_tanks_gal,
        "storage_tank_gal": sizes.storage_tanks_gal,
    }
    by_size = {priced.by: priced.unit_cost_usd for priced in sample.lines if priced.by is not None}
    assert {name: set(costs) for name, costs in by_size.items()} == {name: set(on_sale[name]) for name in on_sale}


def write(folder, text):
    path = folder / "book.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_files_that_cannot_be_used_say_why(tmp_path):
    with pytest.raises(WellRecordsError, match="There is no price book"):
        load_price_book(tmp_path / "absent.toml")
    with pytest.raises(WellRecordsError, match="not valid TOML"):
        load_price_book(write(tmp_path, "title = "))
    (tmp_path / "latin.toml").write_bytes(b'title = "\xe9"')
    with pytest.raises(WellRecordsError, match="not UTF-8"):
        load_price_book(tmp_path / "latin.toml")
    head = 'title = "T"\n[[lines]]\nkey = "a"\nlabel = "A"\nquantity = "rock_ft"\nunit = "ft"\n'
    with pytest.raises(ProblemsError, match=r"lines\.1.*0 or more"):
        load_price_book(write(tmp_path, head + "unit_cost_usd = -3\n"))
    with pytest.raises(ProblemsError, match=r"lines\.1\.price"):
        load_price_book(write(tmp_path, head + "price = 3\n"))
    with pytest.raises(ProblemsError, match="at least one line"):
        load_price_book(write(tmp_path, 'title = "T"\nlines = []\n'))
    with pytest.raises(ProblemsError, match="a single cost has no `by`"):
        load_price_book(write(tmp_path, head + 'unit_cost_usd = 3\nby = "motor_hp"\n'))
    with pytest.raises(ProblemsError, match="needs `by`"):
        load_price_book(write(tmp_path, head + '[lines.unit_cost_usd]\n"1" = 3\n'))


def test_a_key_stands_for_one_line():
    with pytest.raises(ValidationError, match="more than once: drilling"):
        book(line(), line())
