"""What is needed, and what would change the answer: other yields, a deeper limit, one more well.

The table of yields sets side by side what the records say (the chance of
each) and what the need says (the tank that goes with it), so that the wanted
yield is chosen and not taken from habit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wellrecords import wording
from wellrecords.bid import usable_in_well_gal
from wellrecords.demand import household_need
from wellrecords.demand_storage import required_yield_gpm, yield_storage_table
from wellrecords.demand_words import (
    NOT_ENOUGH,
    enough,
    gallons,
    need_facts,
    tank_cell,
    tank_rule,
    two_figures,
    watering_times,
    yields_needed,
)
from wellrecords.lots.change import AS_ASKED, DEEPER_LIMIT, GOOD_WELL, POOR_WELL
from wellrecords.lots.support import GOOD

if TYPE_CHECKING:
    import pandas as pd

    from wellrecords.bid import Bid
    from wellrecords.demand import DemandSettings, Need
    from wellrecords.lots import LotEstimate
    from wellrecords.water_system import WaterSystemSettings

PRICED, PRICED_FOR_OWNER = ("Middle cost", "Fixed price"), ("Fixed price",)
LITTLE = 0.02
"""One more well that moves the chance by no more hardly moves it."""


def need_section(
    estimate: LotEstimate,
    demand: DemandSettings,
    bid: Bid | None,
    water_system: WaterSystemSettings,
    prices: pd.DataFrame | None = None,
    *,
    owner: bool = False,
) -> dict[str, Any]:
    """Return what the template shows of the need.

    Parameters
    ----------
    estimate : LotEstimate
        With draws.
    demand : DemandSettings
    bid : Bid or None
        Whose wells say how much water stands in them; without one none is
        counted.
    water_system : WaterSystemSettings
        The tanks on sale, and their margin.
    prices : DataFrame, optional
        Of the yields, from `bid.compare_yields`.
    owner : bool, default=False
        The owner is told the price, not what it costs to build.

    Returns
    -------
    dict
        `facts`, `sentences`, `head`, `rows` (the asked yield marked), `caption`.
    """
    need = household_need(demand)
    in_well = usable_in_well_gal(bid) if bid is not None else 0.0
    asked = estimate.target_yield_gpm
    priced = prices is not None and not prices.empty
    # A hole for less water is not as deep, and less stands in it.
    of_each = prices["in_well_gal"].to_numpy() if prices is not None and priced else in_well
    table = yield_storage_table(need, estimate.by_yield["yield_gpm"], of_each)
    watered = need.irrigation_gal_day > 0
    rows = []
    for does, chance, depth in zip(
        table.itertuples(), estimate.by_yield["chance_of_target"], estimate.by_yield["depth_p50_ft"], strict=True
    ):
        needed = [does.house_tank_gal, *([does.summer_tank_gal] if watered else [])]
        rows.append(
            {
                "asked": does.yield_gpm == asked,
                "cells": [
                    f"{wording.flow(does.yield_gpm)}{', as asked' if does.yield_gpm == asked else ''}",
                    f"{gallons(does.gal_per_day)} gal",
                    *(tank_cell(gal, water_system) for gal in needed),
                    wording.percent(chance),
                    wording.target_depth(depth, estimate.max_depth_ft),
                    *_price_cells(does.yield_gpm, prices, owner=owner),
                ],
            }
        )
    served = "House, animals" if need.livestock_gal_day else "House"
    head = ["Yield", "Makes a day", f"{served}: tank", *([f"{served}, garden: tank"] if watered else [])]
    beside = f"Tanks stand beside the {gallons(in_well)} usable gallons in the planned well. " if in_well else ""
    if priced:
        beside = "Tanks stand beside the water that stands in a well drilled for that yield. "
    hours = f"Lawn and garden are watered {watering_times(need)}. " if watered else ""
    return {
        "facts": need_facts(demand),
        "sentences": (
            *yields_needed(need),
            *_against_the_target(asked, need, priced=priced),
        ),
        "head": [
            *head,
            f"Chance by {wording.depth(estimate.max_depth_ft)}",
            "Half of holes by",
            *((PRICED_FOR_OWNER if owner else PRICED) if priced else ()),
        ],
        "rows": rows,
        "caption": f"{tank_rule(water_system)} {beside}{hours}"
        f"“{NOT_ENOUGH[0].upper()}{NOT_ENOUGH[1:]}”: no tank makes up for it."
        f"{_what_is_priced(estimate, water_system) if priced else ''}",
    }


def _price_cells(gpm: float, prices: pd.DataFrame | None, *, owner: bool) -> list[str]:
    """Return what a yield costs to build, and its fixed price; to the owner the price alone."""
    if prices is None or prices.empty:
        return []
    row = prices.set_index("yield_gpm").loc[gpm]
    fixed = wording.money(row["fixed_price_usd"])
    return [fixed] if owner else [wording.money(row["cost_usd_p50"]), fixed]


def _what_is_priced(estimate: LotEstimate, water_system: WaterSystemSettings) -> str:
    """Say what the prices of the yields are for."""
    tank = "house alone" if water_system.storage_for == "house" else "house, lawn and garden"
    return (
        f" Prices: well and system, each hole drilled until it makes the yield or comes to "
        f"{wording.depth(estimate.max_depth_ft)}, with pump and tank for the {tank}."
    )


def _against_the_target(asked_gpm: float, need: Need, *, priced: bool) -> tuple[str, ...]:
    """Say when the asked yield is more, or less, than the house needs without a tank, or too little with any."""
    bare_gpm, least_gpm = (float(required_yield_gpm(need, storage_gal)) for storage_gal in (0.0, np.inf))
    asked = wording.flow(asked_gpm)
    if asked_gpm < least_gpm:
        return (f"The {asked} that are asked for are too little for the house, with any tank.",)
    if asked_gpm > 1.05 * bare_gpm:
        told = f"The {asked} that are asked for are more than the house alone needs: the table says what less would do"
        return (f"{told}, and what it would cost." if priced else f"{told}.",)
    if asked_gpm < 0.95 * bare_gpm:
        return (f"The {asked} that are asked for are less: a tank, or the water in the well, must carry the peak.",)
    if two_figures(asked_gpm) == two_figures(enough(bare_gpm)):
        return (f"The {asked} that are asked for are just that.",)
    if asked_gpm > bare_gpm:
        return (f"The {asked} that are asked for are a little more than that.",)
    return (
        f"The {asked} that are asked for are a little less: a small tank, or the water in the well, does the rest.",
    )


def change_section(estimate: LotEstimate) -> dict[str, Any] | None:
    """Return the rows of the table, None where the records cannot say.

    Parameters
    ----------
    estimate : LotEstimate

    Returns
    -------
    dict or None
        `head`, `rows` of text, `sentence`.
    """
    if estimate.changes.empty:
        return None
    rows = []
    for row in estimate.changes.to_dict("records"):
        target, limit = wording.flow(row["yield_gpm"]), wording.depth(row["max_depth_ft"])
        well = wording.depth(row["well_depth_ft"])
        said = {
            AS_ASKED: f"As asked: {target} by {limit}",
            DEEPER_LIMIT: f"The limit at {limit}",
            GOOD_WELL: f"A new well next door that makes {target} at {well}",
            POOR_WELL: f"A new well next door that is dry at {well}",
        }[row["change"]]
        rows.append(
            (
                said,
                wording.percent(row["chance_of_target"]),
                wording.target_depth(row["depth_p50_ft"], row["max_depth_ft"]),
            )
        )
    return {"head": ("If", "Chance of it", "Half of holes by"), "rows": rows, "sentence": _sentence(estimate)}


def _sentence(estimate: LotEstimate) -> str:
    chance = estimate.changes.set_index("change")["chance_of_target"]
    swing = float(chance[GOOD_WELL] - chance[POOR_WELL])
    deeper = float(chance[DEEPER_LIMIT] - chance[AS_ASKED])
    if swing <= LITTLE:
        told = (
            "One more well would hardly move the answer: the records around are many and agree."
            if estimate.support == GOOD
            else "One more well would hardly move the answer, thin as the records near the lot are: it weighs little "
            "beside what the wells farther off say together."
        )
        return told if deeper <= LITTLE else f"{told} A deeper limit would."
    if deeper > swing:
        return "A deeper limit would help more than knowing one more well."
    # The two ends are read off the table below it: a difference of its own would be rounded in another way.
    most = max((GOOD_WELL, POOR_WELL), key=lambda name: abs(float(chance[name] - chance[AS_ASKED])))
    return (
        f"One more well next door would move the chance at most from {wording.percent(chance[AS_ASKED])} to "
        f"{wording.percent(chance[most])}: a neighbour's record is worth asking for."
    )
