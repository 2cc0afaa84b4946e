"""Choices side by side, with their prices: what to do with a hole that is short at the limit, what yield to ask for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np
import pandas as pd

from wellrecords.bid.model import Bid, BidSettings, NoBid
from wellrecords.bid.price_book import PriceBook
from wellrecords.bid.pricing import Estimate, price_bid
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings
from wellrecords.water_system import WaterSystemSettings


def stopping_options(construction: ConstructionSettings) -> dict[str, ConstructionSettings]:
    """Return the choices at the depth limit, by a name for people.

    Parameters
    ----------
    construction : ConstructionSettings
        Everything but the choice; going on is a choice where `second_limit_ft`
        is set.

    Returns
    -------
    dict of str to ConstructionSettings
    """
    options = {
        "stop at the limit": construction.model_copy(update={"at_limit": "stop"}),
        "hydrofracture at the limit": construction.model_copy(update={"at_limit": "hydrofracture"}),
    }
    if construction.second_limit_ft is not None:
        name = f"go on to {construction.second_limit_ft:g} ft"
        options[name] = construction.model_copy(update={"at_limit": "go_on"})
    return options


def compare_options(
    estimate: Estimate,
    demand: DemandSettings,
    options: Mapping[str, ConstructionSettings],
    water_system: WaterSystemSettings,
    price_book: PriceBook,
    settings: BidSettings,
) -> pd.DataFrame:
    """Price a lot under each option, with the same draws of the ground.

    Parameters
    ----------
    estimate : Estimate
    demand : DemandSettings
    options : mapping of str to ConstructionSettings
        Such as `stopping_options` gives.
    water_system : WaterSystemSettings
    price_book : PriceBook
    settings : BidSettings

    Returns
    -------
    DataFrame
        One row an option: `option`, `chance_of_target`, `chance_of_usable`
        (water enough for the house), `expected_cost_usd`, `fixed_price_usd`,
        `usd_per_chance` (expected cost over the chance of the target: what a
        success costs on average; infinite where there is none). Empty where
        the records cannot say.
    """
    rows = []
    for name, construction in options.items():
        bid = price_bid(estimate, demand, construction, water_system, price_book, settings)
        if isinstance(bid, NoBid):
            break
        met = bid.outcomes["target_met"] + bid.outcomes["target_met_by_fracturing"]
        mean = bid.total_quantiles["mean"]
        per_chance = mean / met if met else float("inf")
        rows.append((name, met, 1.0 - bid.outcomes["dry"], mean, bid.fixed_price_usd, per_chance))
    return pd.DataFrame(
        rows,
        columns=[
            "option",
            "chance_of_target",
            "chance_of_usable",
            "expected_cost_usd",
            "fixed_price_usd",
            "usd_per_chance",
        ],
    )


def compare_yields(estimates: Iterable[Estimate], price: Callable[[Estimate], Bid | NoBid]) -> pd.DataFrame:
    """Price a lot for each of several yields, with the same draws of the ground.

    Parameters
    ----------
    estimates : iterable of Estimate
        One a yield (`LotEstimate.asked_for`).
    price : callable
        Estimate -> bid: `price_bid` with all else that it takes.

    Returns
    -------
    DataFrame
        One row a yield: `yield_gpm`, `in_well_gal` (`usable_in_well_gal`),
        `cost_usd_p50`, `fixed_price_usd`. Empty where there is no bid.
    """
    rows = []
    for estimate in estimates:
        bid = price(estimate)
        if isinstance(bid, NoBid):
            break
        cost = float(np.median(bid.total_usd))
        rows.append((estimate.target_yield_gpm, usable_in_well_gal(bid), cost, bid.fixed_price_usd))
    return pd.DataFrame(rows, columns=["yield_gpm", "in_well_gal", "cost_usd_p50", "fixed_price_usd"])


def usable_in_well_gal(bid: Bid) -> float:
    """Return the gallons that may be used of those standing in the well, the middle of the cases that are served.

    Parameters
    ----------
    bid : Bid

    Returns
    -------
    float
        0 where no case is served.
    """
    served = bid.quantities["served"] > 0
    return float(bid.quantities.loc[served, "well_storage_gal"].median()) if served.any() else 0.0
