"""From a lot's estimate to a priced bid, by Monte Carlo through the stopping rule."""

from __future__ import annotations

from typing import Any, Literal, Protocol

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.bid.model import Bid, BidSettings, NoBid, WellPlace
from wellrecords.bid.price_book import PriceBook, cost_lines, spread_costs
from wellrecords.bid.risk import chance_of_loss, expected_loss_usd, per_foot_price_usd, price_at_risk
from wellrecords.bid.spread import drivers_of_spread
from wellrecords.construction import ConstructionSettings, design_wells, drill
from wellrecords.construction.stopping import OUTCOMES
from wellrecords.demand import DemandSettings, Need, household_need
from wellrecords.demand_storage import required_yield_gpm
from wellrecords.demand_words import describe_yield, watering_times
from wellrecords.errors import WellRecordsError
from wellrecords.water_system import WaterSystemSettings, design_water_systems

NEEDED = {"depth_to_bedrock_ft": "the depth to rock", "depth_to_target_ft": "the depth to the wanted water"}
"""Columns of the draws without which there is no bid, in words."""
NO_PLACE = "No place on the lot is chosen"
WORTH_SAYING = 0.005
"""A note on no more cases than this would say "in 0% of the cases"."""


class Estimate(Protocol):
    """What pricing needs of a lot's estimate."""

    @property
    def lot_id(self) -> str:
        """Name of the lot."""

    @property
    def support(self) -> str:
        """`good`, `thin` or `none`."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Plain sentences about the estimate."""

    @property
    def target_yield_gpm(self) -> float:
        """The wanted yield."""

    @property
    def max_depth_ft(self) -> float:
        """The depth limit."""

    @property
    def draws(self) -> pd.DataFrame | None:
        """Joint draws of the ground, None where support is `none`."""

    def yield_at_depth(self, depth_ft: Any) -> np.ndarray:
        """Yield of each draw, had the hole stopped at that depth."""


def price_bid(
    estimate: Estimate,
    demand: DemandSettings,
    construction: ConstructionSettings,
    water_system: WaterSystemSettings,
    price_book: PriceBook,
    settings: BidSettings,
    place: WellPlace | None = None,
) -> Bid | NoBid:
    """Price a lot.

    Each draw of the ground is drilled by the stopping rule, built, fitted with
    a water system and priced; the cost is the distribution over the draws.

    Parameters
    ----------
    estimate : Estimate
        A lot's estimate (`LotEstimate`).
    demand : DemandSettings
    construction : ConstructionSettings
    water_system : WaterSystemSettings
    price_book : PriceBook
    settings : BidSettings
    place : WellPlace, optional
        Where on the lot the hole is to stand; its trench, the rig's way and
        the pad are then taken off. None: the water system's own settings.

    Returns
    -------
    Bid, or NoBid where the records cannot say what is under the lot

    Raises
    ------
    WellRecordsError
        Where the draws are incomplete or the settings contradict each other.
    ProblemsError
        Where the price book does not fit.
    """
    refusal = _refusal(estimate)
    if refusal is not None or estimate.draws is None:
        return NoBid(estimate.lot_id, refusal or "No bid: there are no draws of this lot.")
    draws = estimate.draws.reset_index(drop=True)
    water = draws["depth_to_water_ft"].to_numpy(dtype=float)
    need = household_need(demand)
    usable_gpm = construction.least_usable_gpm
    if usable_gpm is None:
        usable_gpm = float(required_yield_gpm(need, np.inf))
    drilled = drill(
        draws["depth_to_target_ft"],
        draws["depth_to_bedrock_ft"],
        estimate.yield_at_depth,
        construction,
        target_yield_gpm=estimate.target_yield_gpm,
        limit_ft=estimate.max_depth_ft,
        least_usable_gpm=usable_gpm,
        random_state=settings.random_state,
    )
    if place is not None and place.trench_ft is not None:
        water_system = water_system.model_copy(update={"run_to_house_ft": place.trench_ft})
    outcome = drilled["outcome"].to_numpy(dtype=str)
    level_unknown = np.isnan(water)
    wells = design_wells(
        drilled["drilled_ft"],
        draws["depth_to_bedrock_ft"],
        np.where(level_unknown, 0.0, water),
        drilled["yield_gpm"],
        construction,
        usable=outcome != "dry",
    )
    system = design_water_systems(
        wells,
        np.where(level_unknown, drilled["drilled_ft"], water),
        drilled["yield_gpm"],
        need,
        water_system,
        hole_diameter_in=construction.hole_diameter_in,
    )
    quantities = pd.concat([drilled[["yield_gpm", "drilled_yield_gpm", "fracturing"]], wells, system], axis=1)
    quantities.insert(0, "job", 1.0)
    for name in ("access_ft", "slope_percent"):
        quantities[name] = (getattr(place, name) if place else None) or 0.0

    at_mean_costs = cost_lines(quantities, price_book)
    line_costs = spread_costs(at_mean_costs, price_book, settings.random_state)
    total = line_costs.sum(axis=1).to_numpy()
    unknowns = {
        "depth to the wanted water": draws["depth_to_target_ft"].to_numpy(),
        "depth to rock": draws["depth_to_bedrock_ft"].to_numpy(),
        "yield of the planned hole": drilled["drilled_yield_gpm"].to_numpy(),
    }
    if not level_unknown.any():
        unknowns["depth to the water level"] = water
    drivers = drivers_of_spread(
        unknowns,
        at_mean_costs.sum(axis=1).to_numpy(),
        float(np.var(total)),
        complete=not quantities["fracturing"].any(),
    )
    return Bid(
        lot_id=estimate.lot_id,
        settings=settings,
        quantities=quantities,
        outcome=outcome,
        line_costs=line_costs,
        lines=_line_table(quantities, line_costs, price_book, settings),
        total_usd=total,
        total_quantiles=_summary(total, settings),
        **_fixed_price(total, settings),
        **_per_foot(quantities, line_costs, price_book, settings),
        drivers=drivers,
        outcomes={name: float(np.mean(outcome == name)) for name in OUTCOMES},
        least_usable_gpm=usable_gpm,
        chance_of_screen=float(wells["screened"].mean()),
        notes=(
            *_notes(estimate, quantities, need, water_system, level_unknown=bool(level_unknown.any())),
            _place_note(place, water_system.run_to_house_ft),
        ),
    )


def _refusal(estimate: Estimate) -> str | None:
    """Say why there can be no bid; None where there can."""
    if estimate.support == "none" or estimate.draws is None:
        what = "how deep a well must go or what it would make"
    else:
        draws = estimate.draws
        if draws.empty or not {*NEEDED, "depth_to_water_ft"} <= set(draws.columns):
            msg = (
                f"The draws of lot {estimate.lot_id!r} must have rows, with the columns depth_to_water_ft and "
                f"{', '.join(NEEDED)}; found {len(draws)} rows with {', '.join(draws.columns)}. "
                "Next: estimate the lot again."
            )
            raise WellRecordsError(msg)
        unknown = [words for name, words in NEEDED.items() if draws[name].isna().any()]
        if not unknown:
            return None
        what = " and ".join(unknown)
    reason = f"No bid: the records near this lot cannot say {what}."
    return " ".join([reason, *(estimate.notes or ["A test hole, or records of wells nearby, would change that."])])


def suffixes(settings: BidSettings) -> tuple[str, ...]:
    """Return the names of the three quantiles: p10, p50, p90 for 0.1, 0.5, 0.9.

    Parameters
    ----------
    settings : BidSettings

    Returns
    -------
    tuple of str
    """
    return tuple(f"p{round(100 * q):02d}" for q in settings.quantiles)


def _summary(values: np.ndarray, settings: BidSettings) -> dict[str, float]:
    levels = np.quantile(values, settings.quantiles)
    return {name: float(level) for name, level in zip(suffixes(settings), levels, strict=True)} | {
        "mean": float(values.mean())
    }


def _line_table(
    quantities: pd.DataFrame, line_costs: pd.DataFrame, book: PriceBook, settings: BidSettings
) -> pd.DataFrame:
    lines = book.lines
    amounts = quantities[[line.quantity for line in lines]].to_numpy()
    costs = line_costs.to_numpy()
    used, spent = amounts.sum(axis=0), costs.sum(axis=0)
    # A line priced by size has no one unit cost: its units' mean cost is shown, null where none is needed.
    by_size = np.divide(spent, used, out=np.full(len(lines), np.nan), where=used > 0)
    unit_cost = [
        mean if isinstance(line.unit_cost_usd, dict) else line.unit_cost_usd
        for line, mean in zip(lines, by_size, strict=True)
    ]
    table = pd.DataFrame(
        {
            "line": [line.key for line in lines],
            "label": [line.label for line in lines],
            "group": [line.group for line in lines],
            "unit": [line.unit for line in lines],
            "quantity": [line.quantity for line in lines],
            "by_size": [line.by is not None for line in lines],
            "unit_cost_usd": unit_cost,
            "unit_price_usd": np.array(unit_cost) * (1.0 + settings.margin),
        }
    )
    for what, values in (("quantity", amounts), ("cost_usd", costs)):
        for name, level in zip(suffixes(settings), np.quantile(values, settings.quantiles, axis=0), strict=True):
            table[f"{what}_{name}"] = level
    table["cost_usd_mean"] = costs.mean(axis=0)
    table["chance"] = (amounts > 0).mean(axis=0)
    return table


def _fixed_price(cost: np.ndarray, settings: BidSettings) -> dict[str, Any]:
    by_risk = price_at_risk(cost, settings.fixed_price_risk)
    by_margin = float(cost.mean() * (1.0 + settings.margin))
    price = max(by_risk, by_margin)
    set_by: Literal["risk", "margin"] = "risk" if by_risk >= by_margin else "margin"
    loss = np.maximum(cost - price, 0.0)
    return {
        "fixed_price_usd": price,
        "fixed_price_set_by": set_by,
        "fixed_price_risk": settings.fixed_price_risk,
        "chance_of_loss": float(chance_of_loss(cost, price)),
        "expected_loss_usd": float(expected_loss_usd(cost, price)),
        "loss_when_losing_usd": float(loss[loss > 0].mean()) if loss.any() else 0.0,
        "expected_profit_usd": price - float(cost.mean()),
    }


def _per_foot(
    quantities: pd.DataFrame, line_costs: pd.DataFrame, book: PriceBook, settings: BidSettings
) -> dict[str, Any]:
    hole = line_costs[[line.key for line in book.lines if line.group == "well"]].sum(axis=1).to_numpy()
    depth = quantities["drilled_ft"].to_numpy()
    markup = 1.0 + settings.margin
    minimum = settings.minimum_charge_usd
    if minimum is None:
        minimum = float(np.quantile(hole, settings.minimum_charge_quantile)) * markup
    price = per_foot_price_usd(depth, float(hole.mean()) * markup, minimum)
    bill = np.maximum(minimum, price * depth)
    return {
        "per_foot_price_usd": price,
        "per_foot_minimum_usd": minimum,
        "per_foot_bill_quantiles": _summary(bill, settings),
        "per_foot_chance_of_loss": float(np.mean(hole > bill)),
    }


def _place_note(place: WellPlace | None, run_ft: float) -> str:
    """Say which run of the water line, way of the rig and pad are priced, and which are not known."""
    if place is None:
        return (
            f"{NO_PLACE}: {run_ft:,.0f} ft of trench from the well to the house are reckoned with, "
            "and no way or pad for the rig."
        )
    trench = f"{run_ft:,.0f} ft of trench" + (" (taken, since none was found)" if place.trench_ft is None else "")
    way = "no way for the rig, which none was found for" if place.access_ft is None else None
    way = way or f"{place.access_ft:,.0f} ft of way for the rig"
    slope = "" if place.slope_percent is None else f", a pad on ground of {place.slope_percent:.0f}% slope"
    return f"Priced for the best place on the site plan: {trench}, {way}{slope}."


def _notes(
    estimate: Estimate,
    quantities: pd.DataFrame,
    need: Need,
    water_system: WaterSystemSettings,
    *,
    level_unknown: bool,
) -> tuple[str, ...]:
    served = quantities["served"] > 0
    notes = []
    if estimate.support == "thin":
        notes.append("The records near this lot are thin: the spread is wide, and a fixed price carries more risk.")
    if served.any():
        # The middle over all draws, as a report shows the yield; the storage of wells that have a pump.
        middle_gpm = float(np.quantile(quantities["yield_gpm"], 0.5, method="inverted_cdf"))
        in_well_gal = float(quantities.loc[served, "well_storage_gal"].median())
        first, *others = describe_yield(float(f"{middle_gpm:.2g}"), need, water_system, in_well_gal)
        notes += [f"The planned hole at its middle yield: {first[0].lower()}{first[1:]}", *others]
        notes += _watering_notes(need, water_system)
    with_garden = water_system.storage_for == "irrigation" and need.watering_gal > 0
    carried = "the peak and the waterings" if with_garden else "the peak"
    cases = {
        "the hole makes too little to serve the house: it is sealed, and no pump or tank is priced": ~served,
        f"a storage tank and a booster pump are needed to carry {carried}": quantities["storage_tanks"] > 0,
        "the hole makes too little for lawn and garden: its pump and storage are priced for the house alone": (
            served & (quantities["watered"] == 0) & with_garden
        ),
        "the hole is hydrofractured": quantities["fracturing"] > 0,
        "the motor or cable needed is beyond the lists; the largest is priced": quantities["beyond_lists"] > 0,
    }
    if not level_unknown:
        cases["the water column is too short for the margins of the pump"] = quantities["short_column"] > 0
    for what, holds in cases.items():
        share = float(np.mean(holds))
        if share > WORTH_SAYING:
            notes.append(f"In {wording.percent(share)} of the cases {what}.")
    if level_unknown:
        notes.append(
            "The records here do not give the water level: the pump and its power are priced as if the level stood "
            "at the bottom, and no storage in the well is counted."
        )
    return tuple(notes)


def _watering_notes(need: Need, water_system: WaterSystemSettings) -> list[str]:
    """Say whether pump and storage are priced for lawn and garden, and for which hours."""
    if not need.watering_gal:
        return []
    if water_system.storage_for == "house":
        return ["Pump and storage are priced for the house alone: what lawn and garden take is not in the price."]
    return [
        f"Pump and storage are priced for lawn and garden too, watered {watering_times(need)}, where the yield allows."
    ]
