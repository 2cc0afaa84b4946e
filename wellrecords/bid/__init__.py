"""Quantities to money: the price book, the cost as a distribution, prices and their risk.

`price_bid` takes a lot's estimate through stopping rule, take-off and price
book to a `Bid`, or to a `NoBid` with the reason. `risk` makes prices from
costs, `spread` says what drives them, `options` compares what may be agreed
for a hole that is short at the limit, and which yield may be asked for.
"""

from wellrecords.bid.model import OUTCOMES, Bid, BidSettings, NoBid, WellPlace
from wellrecords.bid.options import compare_options, compare_yields, stopping_options, usable_in_well_gal
from wellrecords.bid.price_book import PriceBook, PriceLine, cost_lines, load_price_book, spread_costs, unit_cost_of
from wellrecords.bid.pricing import price_bid
from wellrecords.bid.risk import chance_of_loss, expected_loss_usd, per_foot_price_usd, price_at_risk, price_table
from wellrecords.bid.spread import drivers_of_spread, explained_variance

__all__ = [
    "OUTCOMES",
    "Bid",
    "BidSettings",
    "NoBid",
    "PriceBook",
    "PriceLine",
    "WellPlace",
    "chance_of_loss",
    "compare_options",
    "compare_yields",
    "cost_lines",
    "drivers_of_spread",
    "expected_loss_usd",
    "explained_variance",
    "load_price_book",
    "per_foot_price_usd",
    "price_at_risk",
    "price_bid",
    "price_table",
    "spread_costs",
    "stopping_options",
    "unit_cost_of",
    "usable_in_well_gal",
]
