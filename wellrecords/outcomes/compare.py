"""A drilled well against its estimate: where in the distribution it came out.

The place of a reading in the estimated distribution is its *PIT* (probability
integral transform): 0.5 is the estimate's median, below 0.1 or above 0.9 is
outside the 80 % interval. If estimates are sound, PITs are spread evenly from
0 to 1. An interval reading (rock not reached, less than 0.5 gpm) has an
interval of PITs; `pit` is then a point drawn evenly from it, always the same
one for the same well. With it the PITs of sound estimates are spread evenly
also where readings are censored or the estimate has weight on single values.
Ref: Czado, Gneiting and Held 2009, Biometrics 65, 1254-1261 (from memory).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np
import pandas as pd

from wellrecords.outcomes.estimates import EstimateRecord, latest_before
from wellrecords.outcomes.log import FILED_AT

QUANTITIES: dict[str, tuple[str, str, str, str]] = {
    "depth_to_bedrock_ft": ("depth to rock", "ft", "deeper", "shallower"),
    "depth_to_water_ft": ("depth to water", "ft", "deeper", "shallower"),
    "depth_to_target_ft": ("depth to the wanted yield", "ft", "deeper", "shallower"),
    "yield_gpm": ("yield", "gpm", "stronger", "weaker"),
    "drilled_ft": ("drilled depth", "ft", "deeper", "shallower"),
    "cost_usd": ("cost", "dollars", "dearer", "cheaper"),
}
"""What can be compared: its name, its unit, and what a high and a low outcome are called."""

ESTIMATED_OF = {
    "yield_gpm": " (against that of finished wells around here; the page's headline is of the planned hole)"
}
"""What an estimate speaks of, where a reader may take it for something else."""

OF_THE_GROUND = ("depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm")
"""What an estimate speaks of unless the records cannot say; depth and cost of the job need a bid as well."""

COMPARISON_COLUMNS = (
    "well_id",
    "lot_id",
    "drilled_on",
    "quantity",
    "reading_low",
    "reading_high",
    "interval_low",
    "median",
    "interval_high",
    "limit",
    "pit_low",
    "pit_high",
    "pit",
    "where",
)


def compare_outcomes(
    outcomes: pd.DataFrame, estimates: Sequence[EstimateRecord], *, level: float = 0.8
) -> pd.DataFrame:
    """Hold every drilled well against the last estimate kept before it was drilled and filed.

    Parameters
    ----------
    outcomes : DataFrame
        From `read_outcomes`.
    estimates : sequence of EstimateRecord
    level : float, default=0.8
        Of the central interval.

    Returns
    -------
    pandas.DataFrame
        One row a well and quantity that was both estimated and read:
        `well_id`, `lot_id`, `drilled_on`, `quantity`, `reading_low`/`_high`,
        `interval_low`, `median`, `interval_high` (of the estimate), `limit`
        (beyond which the estimate gave no figure), `pit_low`, `pit_high`,
        `pit` (see the module) and `where`: "inside", "above", "below" the
        interval, or "cannot tell".
    """
    tail = (1.0 - level) / 2.0
    rows = []
    for well in outcomes.to_dict("records"):
        record = latest_before(estimates, str(well["lot_id"]), well["drilled_on"], well.get(FILED_AT))
        if record is None:
            continue
        for quantity, (low, high) in readings_to_compare(well, record).items():
            if quantity not in record.quantiles:
                continue
            pit_low, pit_high = record.chance_below(quantity, low)[0], record.chance_below(quantity, high)[1]
            ends = record.quantile(quantity, tail), record.quantile(quantity, 1.0 - tail)
            rows.append(
                {
                    "well_id": well["well_id"],
                    "lot_id": well["lot_id"],
                    "drilled_on": well["drilled_on"],
                    "quantity": quantity,
                    "reading_low": low,
                    "reading_high": high,
                    "interval_low": ends[0],
                    "median": record.quantile(quantity, 0.5),
                    "interval_high": ends[1],
                    "limit": record.max_depth_ft if quantity == "depth_to_target_ft" else np.inf,
                    "pit_low": pit_low,
                    "pit_high": pit_high,
                    "pit": pit_low + (pit_high - pit_low) * _even_draw(f"{well['well_id']}|{quantity}"),
                    "where": _where(low, high, *ends),
                }
            )
    return pd.DataFrame(rows, columns=list(COMPARISON_COLUMNS))


def readings_to_compare(well: dict, record: EstimateRecord) -> dict[str, tuple[float, float]]:
    """Return what a drilled well tells about each estimated quantity, as intervals.

    Parameters
    ----------
    well : dict
        A row of `read_outcomes`.
    record : EstimateRecord
        The estimate: its target, and below what it calls a hole dry.

    Returns
    -------
    dict of str to (low, high)
        A dry hole made less than the estimate calls dry, whatever the least
        yield in a short log. A rate that was only pumped is a lower bound of the yield; the rate of
        a fractured well is an upper bound of what it made before. A well that
        made the target met it between rock and its bottom; one that did not
        has it deeper.
    """
    found = {
        quantity: (float(well[f"{quantity}_low"]), float(well[f"{quantity}_high"]))
        for quantity in ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
    }
    found["drilled_ft"] = (float(well["total_depth_ft"]),) * 2
    found["cost_usd"] = (float(well["cost_usd"]),) * 2
    low, high = found["yield_gpm"]
    if well.get("dry") and record.dry_below_gpm is not None:
        high = min(high, record.dry_below_gpm)
    if well.get("hydrofractured") == "yes":
        low = 0.0
    if well.get("yield_method") == "pumping_test":
        high = np.inf
    found["yield_gpm"] = (low, high)
    if low >= record.target_yield_gpm:
        rock_ft = found["depth_to_bedrock_ft"][0]
        found["depth_to_target_ft"] = (0.0 if np.isnan(rock_ft) else rock_ft, float(well["total_depth_ft"]))
    elif high < record.target_yield_gpm:
        found["depth_to_target_ft"] = (float(well["total_depth_ft"]), np.inf)
    tells = {name: ends for name, ends in found.items() if not np.isnan(ends).any()}
    return {name: (low, high) for name, (low, high) in tells.items() if np.isfinite(low) or np.isfinite(high)}


def event_table(outcomes: pd.DataFrame, estimates: Sequence[EstimateRecord]) -> pd.DataFrame:
    """Return what was given a chance beforehand, whether it came, and the money.

    Parameters
    ----------
    outcomes : DataFrame
        From `read_outcomes`.
    estimates : sequence of EstimateRecord

    Returns
    -------
    pandas.DataFrame
        One row a well with an estimate: `well_id`, `lot_id`, `drilled_on`,
        `target_chance`, `target_met`, `dry_chance`, `dry`, `loss_chance`,
        `lost` (nullable booleans: null where it cannot be told; a hole that was
        stopped short of the limit by choice counts as not met), `bid_usd`,
        `billed_usd`, `cost_usd`, `profit_usd`, `expected_profit_usd`. The
        profit is what was billed (else bid) less the cost; `lost` holds the
        cost against the bid, which is what the stated chance speaks of.
        `figures` is false where the estimate said that the records cannot say;
        `unsaid` names, parted by commas, what the well tells and the estimate
        did not.
    """
    rows = []
    for well in outcomes.to_dict("records"):
        record = latest_before(estimates, str(well["lot_id"]), well["drilled_on"], well.get(FILED_AT))
        if record is None:
            continue
        readings = readings_to_compare(well, record)
        low, high = readings.get("yield_gpm", (np.nan, np.nan))
        cost, billed, bid = well["cost_usd"], well["billed_usd"], record.bid_usd
        paid = billed if not np.isnan(billed) else np.nan if bid is None else bid
        rows.append(
            {
                "well_id": well["well_id"],
                "lot_id": well["lot_id"],
                "drilled_on": well["drilled_on"],
                "target_chance": record.chance_of_target,
                "target_met": _came(low >= record.target_yield_gpm, high < record.target_yield_gpm),
                "dry_chance": record.chance_of_dry_hole,
                "dry": _came(well.get("dry", False) or high < record.dry_below_gpm, low >= record.dry_below_gpm)
                if record.dry_below_gpm is not None
                else pd.NA,
                "loss_chance": record.chance_of_loss,
                "lost": pd.NA if bid is None or np.isnan(cost) else bool(cost > bid),
                "bid_usd": bid,
                "billed_usd": billed,
                "cost_usd": cost,
                "profit_usd": paid - cost,
                "expected_profit_usd": record.expected_profit_usd,
                "figures": bool(record.quantiles),
                "unsaid": ",".join(name for name in OF_THE_GROUND if name in readings and name not in record.quantiles),
            }
        )
    columns = (
        *("well_id", "lot_id", "drilled_on", "target_chance", "target_met", "dry_chance", "dry", "loss_chance", "lost"),
        *("bid_usd", "billed_usd", "cost_usd", "profit_usd", "expected_profit_usd"),
        *("figures", "unsaid"),
    )
    table = pd.DataFrame(rows, columns=list(columns))
    flags = dict.fromkeys(("target_met", "dry", "lost"), "boolean")
    numbers = [name for name in columns if name.endswith(("_chance", "_usd"))]
    return table.astype(flags | dict.fromkeys(numbers, "float64") | {"figures": "bool", "unsaid": "str"})


def sentences_for_well(comparison: pd.DataFrame, events: pd.DataFrame, well_id: str) -> list[str]:
    """Return how one well came out, in plain sentences.

    Parameters
    ----------
    comparison : DataFrame
        From `compare_outcomes`.
    events : DataFrame
        From `event_table`.
    well_id : str
    """
    rows = comparison[comparison["well_id"] == well_id]
    if rows.empty and not (events["well_id"] == well_id).any():
        return [f"Well {well_id}: no estimate was kept from before it was drilled, so there is nothing to compare."]
    told = []
    for row in rows.to_dict("records"):
        name, unit, high_word, low_word = QUANTITIES[row["quantity"]]
        verdict = {
            "inside": "inside the interval",
            "above": f"{high_word} than the interval",
            "below": f"{low_word} than the interval",
            "cannot tell": "which may be inside or outside",
        }[row["where"]]
        low, middle, high = (
            _said(row[end], row["quantity"], row["limit"]) for end in ("interval_low", "median", "interval_high")
        )
        made = _span(row["reading_low"], row["reading_high"], row["quantity"], unit)
        of = ESTIMATED_OF.get(row["quantity"], "")
        told.append(f"{name.capitalize()}{of}: {made}; estimated {middle} ({low} to {high}): {verdict}.")
    for row in events[events["well_id"] == well_id].to_dict("records"):
        told += _unsaid(row)
        if not np.isnan(row["profit_usd"]):
            word = "profit" if row["profit_usd"] >= 0 else "loss"
            expected = row["expected_profit_usd"]
            against = "" if np.isnan(expected) else f", where {expected:,.0f} was expected"
            billed = f" (the bid of {row['bid_usd']:,.0f} taken as billed)" if np.isnan(row["billed_usd"]) else ""
            told.append(f"Money: a {word} of {abs(row['profit_usd']):,.0f} dollars{billed}{against}.")
    return told


def _unsaid(event: dict) -> list[str]:
    """Say of what an estimate could not speak: a well without a line would look as if it had been forgotten."""
    if not event["figures"]:
        return ["The kept estimate said: cannot say. So there is no figure to hold this well against."]
    return [
        f"{QUANTITIES[name][0].capitalize()}: the kept estimate said: cannot say."
        for name in event["unsaid"].split(",")
        if name
    ]


def _where(low: float, high: float, interval_low: float, interval_high: float) -> str:
    if interval_low <= low and high <= interval_high:
        return "inside"
    if high < interval_low:
        return "below"
    return "above" if low > interval_high else "cannot tell"


def _came(yes: bool, no: bool) -> object:
    return True if yes else False if no else pd.NA


def _even_draw(name: str) -> float:
    """Return a number between 0 and 1 that hangs on the name alone, spread evenly over names."""
    return (int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big") + 0.5) / 2**64


def _said(value: float, quantity: str, limit: float) -> str:
    """Return an estimated figure: whole from 10 on, two figures below; past the limit only "over" it."""
    if value > limit:
        return f"over {limit:,.0f}"
    if quantity == "depth_to_water_ft" and value < 0:
        return "flowing"
    if np.isinf(value):
        return "no limit"
    return f"{value:,.0f}" if abs(value) >= 10 else f"{value:.2g}"


def _span(low: float, high: float, quantity: str, unit: str) -> str:
    if quantity == "depth_to_water_ft" and high <= 0:
        return "flowing"
    if low == high:
        return f"{low:,.4g} {unit}" if abs(low) < 1000 else f"{low:,.0f} {unit}"
    if np.isposinf(high):
        return f"more than {low:,.4g} {unit}"
    return f"less than {high:,.4g} {unit}" if low <= 0 else f"{low:,.4g} to {high:,.4g} {unit}"
