"""What is hardly true of a well that is to be filed: a slip of the keyboard, or a well that is in the log already.

A figure that `DrilledWell` can hold may still be a slip, and a filed slip
enters the calibration and, with the next refresh, the bids. So it is asked
about before it is filed. Three things are asked of figures: whether the rules
believe them by which records are cleaned; whether depth and yield lie far
beyond all that the firm and the neighbourhood know; and whether the money is
far from what was bid. Each margin is wide, since who is asked too often
answers without reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from pyproj import Geod

from wellrecords.cleaning.rules import CHECKS, Rule
from wellrecords.errors import Problem
from wellrecords.outcomes.drilled_well import READING_KINDS, DrilledWell, fields_of
from wellrecords.outcomes.estimates import EstimateRecord
from wellrecords.readings import parse_reading
from wellrecords.units import FT_PER_M

SURE = "file it all the same with --sure"
AROUND_MI = 5.0
"""Wells of the dataset this near to the new one are its neighbourhood."""
FEWEST_KNOWN = 10
"""Of fewer known wells the deepest says little of how deep a well may be, where no estimate was kept either."""
TIMES_DEEPER = 1.5
"""Of the invented county's 5,416 wells, each held against its neighbours, this asks about none; four in five of their
depths with a digit too many are asked about."""
TIMES_STRONGER = 2.0
"""None of 4,605 wells is asked about; one in twelve of their yields with a digit too many, since yields around a place
spread over more than a digit."""
TIMES_MONEY = 3.0
SAME_PLACE_M = 10.0
"""Two holes of one lot stand farther apart than this; a hand-held receiver errs by some metres."""
_PLAIN = ("total_depth_ft", "casing_depth_ft", "casing_diameter_in")
_LEVEL = 0.8


@dataclass(frozen=True, eq=False)
class Known:
    """What is known where a well is filed.

    Parameters
    ----------
    around : DataFrame
        Wells of the dataset within `AROUND_MI`: `total_depth_ft`, `yield_gpm_low`.
    filed : DataFrame
        From `read_outcomes`: every well of the log.
    estimate : EstimateRecord, optional
        The last one that was kept of the lot.
    """

    around: pd.DataFrame
    filed: pd.DataFrame
    estimate: EstimateRecord | None = None


def doubtful_figures(well: DrilledWell, rules: Sequence[Rule]) -> list[Problem]:
    """Return the figures of a well that lie outside the ranges of the rules, one problem each.

    Parameters
    ----------
    well : DrilledWell
    rules : sequence of Rule
        From `cleaning.rules.load_rules`; those of a range of one figure are read, whatever is done with rows of a
        source that break them.
    """
    figures: dict[str, float] = {}
    for name in _PLAIN:
        value = getattr(well, name)
        figures[name] = np.nan if value is None else value
    for name, kind in READING_KINDS.items():
        reading = parse_reading(getattr(well, name), kind=kind)
        figures |= {f"{name}_low": reading.low, f"{name}_high": reading.high}
    row = pd.DataFrame([figures], dtype=float)
    doubts: dict[str, Problem] = {}
    for rule in rules:
        (column,) = rule.columns if len(rule.columns) == 1 else ("",)
        if rule.check != "outside_range" or column not in (*_PLAIN, *READING_KINDS) or column in doubts:
            continue
        if CHECKS[rule.check](row, rule, date.today())[0]:
            doubts[column] = _doubt(
                well,
                column,
                "a figure is hardly true",
                f"{float(rule.low):,g} to {float(rule.high):,g} is believed: {rule.why}",
                "outcome_doubtful",
            )
    return list(doubts.values())


def far_beyond(well: DrilledWell, known: Known) -> list[Problem]:
    """Return depth and yield where they lie far beyond all that is known, one problem each.

    Parameters
    ----------
    well : DrilledWell
    known : Known
        Where no estimate was kept and fewer than `FEWEST_KNOWN` wells are known, nothing is doubted.
    """
    estimate = known.estimate
    limit_ft = None if estimate is None else estimate.max_depth_ft
    # One well in twenty is stronger; farther out an estimate's own tail is wide enough for any slip.
    strong_gpm = (
        None if estimate is None or "yield_gpm" not in estimate.quantiles else estimate.quantile("yield_gpm", 0.95)
    )
    rate = parse_reading(well.yield_gpm, kind="yield").low
    doubts = [
        _beyond(
            well,
            ("total_depth_ft", well.total_depth_ft, "ft"),
            {
                "the limit of the lot's estimate": limit_ft,
                **_most(known, "total_depth_ft", "the deepest well"),
            },
            TIMES_DEEPER,
            _count(known, "total_depth_ft"),
        ),
        _beyond(
            well,
            ("yield_gpm", rate, "gpm"),
            {
                "one well in twenty by the lot's estimate over": strong_gpm,
                **_most(known, "yield_gpm_low", "the strongest well"),
            },
            TIMES_STRONGER,
            _count(known, "yield_gpm_low"),
        ),
    ]
    return [doubt for doubt in doubts if doubt is not None]


def far_from_bid(well: DrilledWell, estimate: EstimateRecord | None) -> list[Problem]:
    """Return cost and billed sum where they are far from what was bid, one problem each.

    Parameters
    ----------
    well : DrilledWell
    estimate : EstimateRecord, optional
        The last one that was kept of the lot; without its costs nothing is doubted.
    """
    if estimate is None or "cost_usd" not in estimate.quantiles:
        return []
    tail = (1.0 - _LEVEL) / 2.0
    low, high = (estimate.quantile("cost_usd", share) for share in (tail, 1.0 - tail))
    spans = {"cost_usd": (low, high, "the estimate's cost", f"{low:,.0f} to {high:,.0f} dollars")}
    if estimate.bid_usd is not None:
        spans["billed_usd"] = (estimate.bid_usd, estimate.bid_usd, "the bid", f"{estimate.bid_usd:,.0f} dollars")
    doubts = []
    for column, (least, most, what, said) in spans.items():
        value = getattr(well, column)
        if value is None or least / TIMES_MONEY <= value <= most * TIMES_MONEY:
            continue
        word = "under a third of" if value < least else "over three times"
        doubts.append(
            _doubt(
                well,
                column,
                f"the sum is {word} {what}: a digit too few or too many?",
                f"{what} was {said}; up to three times more or less is filed without a question",
                "outcome_money",
            )
        )
    return doubts


def same_place(well: DrilledWell, filed: pd.DataFrame) -> list[Problem]:
    """Return the doubt that a new well is one that was filed already under another number.

    Parameters
    ----------
    well : DrilledWell
        A hole that was deepened or mended is filed again, and not doubted.
    filed : DataFrame
        From `read_outcomes`.
    """
    if well.record_kind != "new" or filed.empty:
        return []
    alike = filed[
        (filed["lot_id"].str.casefold() == well.lot_id.casefold())
        & (filed["well_id"] != well.well_id)
        & filed["longitude"].notna()
        & filed["latitude"].notna()
    ]
    if alike.empty:
        return []
    count = len(alike)
    metres = Geod(ellps="WGS84").inv(
        alike["longitude"], alike["latitude"], [well.longitude] * count, [well.latitude] * count
    )[2]
    near = alike[np.asarray(metres) <= SAME_PLACE_M]
    if near.empty:
        return []
    first = near.iloc[0]
    lot = f"on lot {well.lot_id}" if well.lot_id else "on no named lot"
    return [
        _doubt(
            well,
            "well_id",
            f"well {first['well_id']}, drilled on {first['drilled_on']:%Y-%m-%d}, is filed at this place {lot} "
            "already: the same well?",
            f"two new wells of a lot stand more than {SAME_PLACE_M * FT_PER_M:.0f} ft apart",
            "outcome_same_place",
        )
    ]


def _beyond(
    well: DrilledWell,
    figure: tuple[str, float, str],
    marks: dict[str, float | None],
    times: float,
    count: int,
) -> Problem | None:
    """Return the doubt of a figure that is so many times the greatest of what is known."""
    column, value, unit = figure
    given = {what: mark for what, mark in marks.items() if mark is not None and np.isfinite(mark) and mark > 0}
    estimated = any("estimate" in what for what in given)
    if not given or not (estimated or count >= FEWEST_KNOWN) or not value > times * max(given.values()):
        return None
    said = ", ".join(f"{what} {mark:,.4g} {unit}" for what, mark in given.items())
    return _doubt(
        well,
        column,
        f"{value:,.6g} {unit} is far beyond all that is known here: a digit too many?",
        f"up to {times:g} times the greatest of these is filed without a question: {said}",
        "outcome_beyond",
    )


def _most(known: Known, column: str, superlative: str) -> dict[str, float | None]:
    places = {
        f"{superlative} within {AROUND_MI:g} miles": known.around,
        f"{superlative} filed": known.filed,
    }
    return {what: float(table[column].max()) if len(table) else None for what, table in places.items()}


def _count(known: Known, column: str) -> int:
    return int(known.around[column].notna().sum() + known.filed[column].notna().sum())


def _doubt(well: DrilledWell, column: str, what: str, rule: str, code: str) -> Problem:
    return Problem(
        what=what,
        column=column,
        value=fields_of(well)[column],
        rule=rule,
        next_step=f"mend it, or {SURE}",
        code=code,
        private=True,
    )
