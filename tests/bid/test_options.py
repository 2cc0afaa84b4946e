from pathlib import Path

import pytest
from invented_lot import FakeEstimate, invented_draws

from wellrecords.bid import BidSettings, compare_options, load_price_book, stopping_options
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings
from wellrecords.water_system import WaterSystemSettings

BOOK = load_price_book(Path(__file__).parents[2] / "sample_records" / "price_book.toml")


def compared(estimate, construction):
    return compare_options(
        estimate, DemandSettings(), stopping_options(construction), WaterSystemSettings(), BOOK, BidSettings()
    )


def test_every_way_on_meets_the_target_more_often_and_costs_more():
    table = compared(FakeEstimate(invented_draws(2000)), ConstructionSettings(second_limit_ft=900.0))
    stop, fracture, go_on = table.itertuples()
    assert [row.option for row in (stop, fracture, go_on)] == [
        "stop at the limit",
        "hydrofracture at the limit",
        "go on to 900 ft",
    ]
    for row in (fracture, go_on):
        assert row.chance_of_target > stop.chance_of_target
        assert row.expected_cost_usd > stop.expected_cost_usd
        assert row.usd_per_chance == pytest.approx(row.expected_cost_usd / row.chance_of_target)


def test_going_on_is_no_choice_without_a_second_limit():
    assert len(stopping_options(ConstructionSettings())) == 2


def test_where_the_records_cannot_say_nothing_is_compared():
    table = compared(FakeEstimate(None, support="none"), ConstructionSettings())
    assert table.empty
    assert "fixed_price_usd" in table
