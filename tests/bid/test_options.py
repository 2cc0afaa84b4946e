from dataclasses import replace
from pathlib import Path

import pytest
from invented_lot import FakeEstimate, invented_draws

from wellrecords.bid import (
    BidSettings,
    compare_options,
    compare_yields,
    load_price_book,
    price_bid,
    stopping_options,
    usable_in_well_gal,
)
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


def price(estimate):
    return price_bid(estimate, DemandSettings(), ConstructionSettings(), WaterSystemSettings(), BOOK, BidSettings())


def test_each_yield_has_the_price_of_a_bid_for_it():
    draws = invented_draws(800)
    shallow = draws.assign(depth_to_target_ft=0.6 * draws["depth_to_target_ft"])
    two, five = FakeEstimate(shallow, target_yield_gpm=2.0), FakeEstimate(draws, target_yield_gpm=5.0)
    table = compare_yields([two, five], price)
    assert table["yield_gpm"].tolist() == [2.0, 5.0]
    for row, bid in zip(table.itertuples(), (price(two), price(five)), strict=True):
        assert row.fixed_price_usd == bid.fixed_price_usd
        assert row.cost_usd_p50 == pytest.approx(bid.total_quantiles["p50"])
        assert row.in_well_gal == usable_in_well_gal(bid) > 0.0
    # The hole for less water is not as deep: cheaper, and less stands in it.
    assert table["cost_usd_p50"].is_monotonic_increasing
    assert table["in_well_gal"].is_monotonic_increasing


def test_where_there_is_no_bid_no_yield_has_a_price():
    assert compare_yields([FakeEstimate(None, support="none")], price).empty


def test_a_well_that_serves_nobody_holds_nothing_to_use():
    bid = price(FakeEstimate(invented_draws(200)))
    unserved = replace(bid, quantities=bid.quantities.assign(served=0.0))
    assert usable_in_well_gal(unserved) == 0.0
