"""From the draws of a bid to the depths and sizes that the page shows.

Construction and water system name their quantities with units
(`casing_foot_ft`, `motor_hp`); those that people ask for are known here by
name. What else the take-off holds is in the lines of the bid.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.demand_words import up_to_ten
from wellrecords.lots import SHOWN_QUANTILES, three_quantiles
from wellrecords.report import lot_words
from wellrecords.report.well_drawing import WellLayout

if TYPE_CHECKING:
    from wellrecords.bid import Bid, NoBid
    from wellrecords.lots import LotEstimate

NEEDED_STORAGE = "tank_needed_gal"
SIZES = (
    ("drilled_ft", lot_words.AS_DRILLED, "ft"),
    ("casing_foot_ft", "Casing below ground", "ft"),
    ("casing_diameter_in", "Casing size", "in"),
    ("screen_ft", "Screen", "ft"),
    ("grout_ft3", "Grout", "ft³"),
    ("pumping_level_ft", "Water level while pumping", "ft"),
    ("pump_setting_ft", "Pump set at", "ft"),
    ("pump_gpm", "Pump delivers", "gpm"),
    ("total_head_ft", "against a head of", "ft"),
    ("motor_hp", "Pump motor", "hp"),
    ("drop_pipe_in", "Drop pipe size", "in"),
    ("cable_ft", "Pump cable", "ft"),
    ("cable_awg", "Cable size, AWG", ""),
    ("pressure_tanks", "Pressure tanks", ""),
    ("pressure_tank_gal", "Pressure tank, each", "gal"),
    ("well_storage_gal", "Usable water standing in the well", "gal"),
    (NEEDED_STORAGE, "Storage needed beside it", "gal"),
    ("storage_tanks", "Storage tanks", ""),
    ("storage_tank_gal", "Storage tank, each", "gal"),
)
"""Quantities of the take-off that the table of sizes shows: column, words, unit."""


def layout_of(estimate: LotEstimate, bid: Bid | NoBid | None, design: pd.DataFrame | None) -> WellLayout | None:
    """Return the depths of the drawing, or None where no depth can be drawn.

    Parameters
    ----------
    estimate : LotEstimate
    bid : Bid, NoBid or None
    design : DataFrame or None
        One row a draw.

    Returns
    -------
    WellLayout or None
    """
    draws = _draws(bid, design)
    limit = estimate.max_depth_ft
    if "drilled_ft" in draws:
        low, middle, high = _quantiles(draws["drilled_ft"])
    else:
        low, middle, high = three_quantiles(estimate, "depth_to_target_ft")
    if any(math.isnan(value) for value in (low, middle, high)):
        return None
    rock_low, rock, rock_high = three_quantiles(estimate, "depth_to_bedrock_ft")
    _, water, _ = three_quantiles(estimate, "depth_to_water_ft")
    parts = []
    for count, size, words in (
        ("pressure_tanks", "pressure_tank_gal", "pressure tank"),
        ("storage_tanks", "storage_tank_gal", "storage tank"),
    ):
        # A part that fewer than half of the draws need is left to the table.
        if _share_needed(draws, size) >= 0.5:
            number = _middle(draws, count)
            many = f"{number:.0f} {words}s" if number > 1 else words
            parts.append(f"{many}, {_middle(draws, size):,.0f} gal{' each' if number > 1 else ''}")
    casing_size, power = _middle(draws, "casing_diameter_in"), _middle(draws, "motor_hp")
    return WellLayout(
        depth_low_ft=low,
        depth_mid_ft=middle,
        depth_high_ft=high,
        depth_name=lot_words.AS_DRILLED
        if "drilled_ft" in draws
        else f"Depth to {wording.flow(estimate.target_yield_gpm)}",
        limit_ft=math.inf if "drilled_ft" in draws else limit,
        bedrock_ft=rock,
        bedrock_low_ft=rock_low,
        bedrock_high_ft=rock_high,
        casing_ft=_middle(draws, "casing_foot_ft"),
        screen_ft=_middle(draws, "screen_ft") if _share_needed(draws, "screen_ft") >= 0.5 else math.nan,
        water_ft=water,
        pump_ft=_middle(draws, "pump_setting_ft"),
        casing_text=f"{casing_size:g} in" if math.isfinite(casing_size) else "",
        pump_text=f"{power:g} hp" if math.isfinite(power) else "",
        surface_parts=tuple(parts),
    )


def layout_parts(bid: Bid | NoBid | None, design: pd.DataFrame | None) -> list[tuple[str, str]]:
    """Return the sizes of the design as label and text: middle and range, where needed.

    Parameters
    ----------
    bid : Bid, NoBid or None
    design : DataFrame or None

    Returns
    -------
    list of (label, text)
        A part that not every draw needs says in how many it is; the
        others' zeros are left out of its figures.
    """
    draws = _draws(bid, design)
    rows = []
    for name, label, unit in SIZES:
        needed = _share_needed(draws, name)
        if needed < 0.005:
            continue
        low, middle, high = _quantiles(draws[name])
        if name == NEEDED_STORAGE:
            low, middle, high = (up_to_ten(value) for value in (low, middle, high))
        text = _said(middle, unit)
        if _said(low, unit) != _said(high, unit):
            text += f" ({_range(low, high, unit)})"
        if needed < 0.995:
            label = f"{label}, in {wording.percent(needed)} of cases"
        rows.append((label, text))
    return rows


def _draws(bid: Bid | NoBid | None, design: pd.DataFrame | None) -> pd.DataFrame:
    """Return the numeric columns of design and bid, the design's first."""
    tables: Iterable[pd.DataFrame | None] = (design, getattr(bid, "quantities", None))
    columns: dict[str, np.ndarray] = {}
    for table in tables:
        if table is not None:
            for name in table.select_dtypes("number"):
                columns.setdefault(str(name), table[name].to_numpy(float))
    lengths = {len(values) for values in columns.values()}
    if len(lengths) > 1:
        msg = f"The design and the bid must hold the same draws, but their tables have {sorted(lengths)} rows."
        raise ValueError(msg)
    return pd.DataFrame(columns)


def _quantiles(values: pd.Series) -> tuple[float, float, float]:
    """Return p10, p50, p90 of the draws that need the part at all."""
    known = values.to_numpy(float)
    known = known[~np.isnan(known) & (known > 0)]
    if not known.size:
        return math.nan, math.nan, math.nan
    low, middle, high = np.quantile(known, SHOWN_QUANTILES, method="inverted_cdf")
    return float(low), float(middle), float(high)


def _middle(draws: pd.DataFrame, name: str) -> float:
    return _quantiles(draws[name])[1] if name in draws else math.nan


def _share_needed(draws: pd.DataFrame, name: str) -> float:
    return float((draws[name] > 0).mean()) if name in draws and len(draws) else 0.0


def _range(low: float, high: float, unit: str) -> str:
    return wording.span(low, high, lambda value: _said(value, unit))


def _said(value: float, unit: str) -> str:
    if unit == "ft" and value >= 20:
        return wording.depth(value)
    number = f"{value:,.0f}" if value == round(value) or value >= 100 else wording.two_figures(value)
    return f"{number} {unit}".strip()
