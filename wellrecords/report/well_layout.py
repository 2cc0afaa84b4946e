"""From the draws of a bid to the depths and sizes that the page shows.

Construction and water system name their quantities with units (`casing_ft`,
`pump_power_hp`). The few that the drawing needs are known here by name; all
others appear in the table of sizes under a name made from the column's.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from wellrecords.report import lot_words, wording
from wellrecords.report.well_drawing import WellLayout

if TYPE_CHECKING:
    from wellrecords.bid import Bid, NoBid
    from wellrecords.lots import LotEstimate

UNITS = {
    "ft": "ft",
    "in": "in",
    "gal": "gal",
    "gpm": "gpm",
    "hp": "hp",
    "psi": "psi",
    "ft3": "ft³",
    "gpd": "gal a day",
    "bags": "bags",
    "lb": "lb",
    "hours": "h",
    "h": "h",
    "kw": "kW",
    "awg": "AWG",
}


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
        low, middle, high = (min(value, limit) for value in lot_words.quantiles(estimate, "depth_to_target_ft"))
    if not all(math.isfinite(value) for value in (low, middle, high)):
        return None
    rock_low, rock, rock_high = lot_words.quantiles(estimate, "depth_to_bedrock_ft")
    _, water, _ = lot_words.quantiles(estimate, "depth_to_water_ft")
    parts = [
        text
        for name, words in (("pressure_tank_gal", "pressure tank"), ("storage_gal", "storage tank"))
        if (text := _sized(draws, name, words))
    ]
    casing_size = _middle(draws, "casing_diameter_in")
    power = _middle(draws, "pump_hp")
    return WellLayout(
        depth_low_ft=low,
        depth_mid_ft=middle,
        depth_high_ft=high,
        bedrock_ft=rock,
        bedrock_low_ft=rock_low,
        bedrock_high_ft=rock_high,
        casing_ft=_middle(draws, "casing_ft"),
        water_ft=water,
        pump_ft=_middle(draws, "pump_setting_ft"),
        casing_text=f"{casing_size:g} in" if math.isfinite(casing_size) else "",
        pump_text=f"{power:g} hp" if math.isfinite(power) else "",
        surface_parts=tuple(parts),
    )


def layout_parts(bid: Bid | NoBid | None, design: pd.DataFrame | None) -> list[tuple[str, str]]:
    """Return each quantity of the design as label and text, middle and range.

    Quantities that are zero in nine draws of ten or more are left out.

    Parameters
    ----------
    bid : Bid, NoBid or None
    design : DataFrame or None

    Returns
    -------
    list of (label, text)
    """
    rows = []
    for name, values in _draws(bid, design).items():
        low, middle, high = _quantiles(values)
        if not math.isfinite(middle) or high == 0:
            continue
        label, unit = label_of(str(name))
        text = _said(middle, unit)
        if _said(low, unit) != _said(high, unit):
            text += f" ({wording.span(low, high, lambda value, unit=unit: _said(value, unit))})"  # type: ignore[misc]
        rows.append((label, text))
    return rows


def label_of(name: str) -> tuple[str, str]:
    """Return words and unit of a column's name.

    >>> label_of("pump_setting_ft"), label_of("casing_joints")
    (('Pump setting', 'ft'), ('Casing joints', ''))
    """
    words = name.split("_")
    unit = UNITS.get(words[-1], "") if len(words) > 1 else ""
    if unit:
        words = words[:-1]
    return " ".join(words).capitalize(), unit


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
    known = values.to_numpy(float)
    known = known[~np.isnan(known)]
    if not known.size:
        return math.nan, math.nan, math.nan
    low, middle, high = np.quantile(known, lot_words.QUANTILES, method="inverted_cdf")
    return float(low), float(middle), float(high)


def _middle(draws: pd.DataFrame, name: str) -> float:
    return _quantiles(draws[name])[1] if name in draws else math.nan


def _sized(draws: pd.DataFrame, name: str, words: str) -> str:
    middle = _middle(draws, name)
    return f"{words}, {middle:,.0f} gal" if math.isfinite(middle) and middle > 0 else ""


def _said(value: float, unit: str) -> str:
    if unit == "ft" and value >= 20:
        return wording.depth(value)
    number = f"{value:,.0f}" if value == round(value) or value >= 100 else wording.two_figures(value)
    return f"{number} {unit}".strip()
