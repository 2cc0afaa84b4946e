"""The estimate of a lot in plain words, for a contractor and for an owner."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from wellrecords import wording
from wellrecords.bid import NoBid
from wellrecords.lots import SHOWN_QUANTILES, three_quantiles
from wellrecords.lots.words import HARDLY
from wellrecords.report.owner_view import count_text, wells_behind

if TYPE_CHECKING:
    from wellrecords.bid import Bid
    from wellrecords.lots import LotEstimate

FINISHED_YIELD = "Yield of finished wells around here"
"""What the records say: each driller stopped where the owner was content, or the money spent."""
PLANNED_YIELD = "Yield of the planned hole"
"""What the bid drills: on until it makes the wanted yield, or to the limit."""
PASSED_BY = "Of the hole for {target}: gravel above rock that makes less is cased off, and the hole goes on."
"""Why the yield at a depth hangs on what was asked for."""
MOST_DEPTHS, ROUND_FT = 6, 50.0
"""Depths at which the yield of a hole is told, and what they are multiples of."""
NO_GROUND = "By the setbacks that are set, no place is left on this lot where a well may stand."
FOR_NO_PLACE = "The figures are for the ground there, and no permit to drill: settle a place first."
AS_DRILLED = "Hole as drilled"
"""The depth that is drilled and paid: the target's, rounded up to whole rods, or the limit."""


@dataclass(frozen=True)
class Figure:
    """One large figure of the answer and its range."""

    label: str
    middle: str
    range: str


@dataclass(frozen=True)
class Answer:
    """The top of the report.

    Parameters
    ----------
    lead : str
        The answer in a sentence.
    figures : tuple of Figure
        Empty where the records cannot say.
    sentences : tuple of str
        How sure, and what it rests on.
    help : tuple of str
        What would make it surer, where it cannot be said.
    """

    lead: str
    figures: tuple[Figure, ...] = ()
    sentences: tuple[str, ...] = ()
    help: tuple[str, ...] = field(default=())

    @property
    def has_figures(self) -> bool:
        """Whether the report may give figures."""
        return bool(self.figures)


def planned(bid: Bid | NoBid | None, quantity: str) -> tuple[float, float, float] | None:
    """Return p10, p50, p90 of a quantity of the bid's take-off, None where there is none."""
    if bid is None or isinstance(bid, NoBid) or quantity not in bid.quantities:
        return None
    low, middle, high = np.quantile(bid.quantities[quantity].to_numpy(float), SHOWN_QUANTILES, method="inverted_cdf")
    return float(low), float(middle), float(high)


def answer(
    estimate: LotEstimate, bid: Bid | NoBid | None, *, owner: bool, minimum: int, no_ground: bool = False
) -> Answer:
    """Return the answer at the top of the report.

    Parameters
    ----------
    estimate : LotEstimate
    bid : Bid, NoBid or None
    owner : bool
        Whether the owner reads it.
    minimum : int
        Least number of wells behind an owner's figure.
    no_ground : bool, default=False
        Whether the setbacks leave no place on the lot, which is said before all else.

    Returns
    -------
    Answer
        Without figures where the support is "none", or where an owner's
        figures would rest on fewer than `minimum` wells.
    """
    told = _answer(estimate, bid, owner, minimum)
    if not no_ground:
        return told
    lead = f"{NO_GROUND} {FOR_NO_PLACE}" if told.has_figures else NO_GROUND
    return replace(told, lead=lead, sentences=(told.lead, *told.sentences))


def _answer(estimate: LotEstimate, bid: Bid | NoBid | None, owner: bool, minimum: int) -> Answer:
    if estimate.support == "none" or estimate.draws is None:
        return _cannot_say(estimate, owner, minimum)
    if owner and wells_behind(estimate.neighbours["weight"].to_numpy(float)) < minimum:
        return Answer(
            lead="This version gives no figures for this lot.",
            sentences=(
                f"They would rest on fewer than {minimum} wells, and could give away a single well's private record.",
            ),
            help=("Ask the contractor, who may show you more.",),
        )
    return Answer(
        lead=_lead(estimate, bid),
        figures=_figures(estimate, bid, owner),
        sentences=(*_as_drilled(estimate, bid), _chances(estimate), _support(estimate, owner, minimum)),
    )


def estimate_rows(estimate: LotEstimate, bid: Bid | NoBid | None = None) -> list[dict[str, str]]:
    """Return the rows of the estimate's table, as text; with a bid, also those of the hole that it drills."""
    limit = estimate.max_depth_ft
    rows: list[tuple[str, tuple[float, float, float] | None, Callable[[float], str]]] = [
        (
            _depth_to_target(estimate),
            three_quantiles(estimate, "depth_to_target_ft"),
            lambda value: wording.target_depth(value, limit),
        ),
        (AS_DRILLED, planned(bid, "drilled_ft"), wording.depth),
        (PLANNED_YIELD, planned(bid, "yield_gpm"), wording.flow),
        ("Depth to rock", three_quantiles(estimate, "depth_to_bedrock_ft"), wording.depth),
        ("Depth to standing water", three_quantiles(estimate, "depth_to_water_ft"), wording.water_level),
        (FINISHED_YIELD, three_quantiles(estimate, "yield_gpm"), wording.flow),
    ]
    return [
        {"label": label, **dict(zip(("p10", "p50", "p90"), map(say, values), strict=True))}
        for label, values, say in rows
        if values is not None
    ]


def estimate_notes(estimate: LotEstimate, bid: Bid | NoBid | None) -> tuple[str, ...]:
    """Return what keeps apart the quantities of the table that look alike."""
    target, limit = wording.flow(estimate.target_yield_gpm), wording.depth(estimate.max_depth_ft)
    finished = f"{FINISHED_YIELD}: each of those wells was stopped where its owner was content, some short of {target}."
    if planned(bid, "yield_gpm") is None:
        return (finished,)
    return (
        f"{PLANNED_YIELD}: the one that the bid drills, on until it makes {target} or comes to the limit of {limit}.",
        finished,
    )


def yield_by_depth(estimate: LotEstimate) -> list[dict[str, str]]:
    """Return what a hole makes that stops at each of some depths, as text: `label`, `p10`, `p50`, `p90`."""
    limit = estimate.max_depth_ft
    step = ROUND_FT * math.ceil(limit / MOST_DEPTHS / ROUND_FT)
    rows = []
    for depth in [*np.arange(step, limit, step), limit]:
        made = estimate.yield_at_depth(float(depth))
        # An order statistic, as elsewhere on the page: the hole either met the fracture or it did not.
        figures = np.quantile(made, SHOWN_QUANTILES, method="inverted_cdf")
        said = (_made(float(gpm), estimate.dry_below_gpm) for gpm in figures)
        rows.append({"label": wording.depth(float(depth)), **dict(zip(("p10", "p50", "p90"), said, strict=True))})
    return rows


def _made(gpm: float, dry_below_gpm: float) -> str:
    return wording.flow(gpm) if gpm >= dry_below_gpm else f"under {wording.flow(dry_below_gpm)}"


def facts(estimate: LotEstimate, *, owner: bool, minimum: int) -> list[tuple[str, str]]:
    """Return chances and support as label and text."""
    rows = [
        (
            f"Chance that a hole makes {wording.flow(estimate.target_yield_gpm)} by "
            f"{wording.depth(estimate.max_depth_ft)}",
            wording.percent(estimate.chance_of_target),
        ),
        (
            f"Chance of a dry hole by the records: under {wording.flow(estimate.dry_below_gpm)} even at "
            f"{wording.depth(estimate.max_depth_ft)}",
            wording.percent(estimate.chance_of_dry_hole),
        ),
        ("Support by records", estimate.support),
    ]

    def count(number: int) -> str:
        return count_text(number, minimum) if owner else wording.counted(number, "well")

    rows += [
        ("Within 0.6 mi", count(estimate.wells_within_1km)),
        ("Within 3.1 mi", count(estimate.wells_within_5km)),
    ]
    if not owner:
        rows.append(("Nearest well", wording.distance(estimate.nearest_well_m)))
    return rows


def no_bid(estimate: LotEstimate, bid: Bid | NoBid | None, figures: bool, *, owner: bool) -> str | None:
    """Return why there is no bid, or None where there is one or none was asked for."""
    if estimate.support == "none" or estimate.draws is None:
        thing = "price" if owner else "bid"
        return f"No {thing} is given: the records cannot say how deep the well must go, so any price would be a guess."
    if not figures:
        return "No price is given in this version, since no figures are."
    if not isinstance(bid, NoBid):
        return None
    # The reason may speak of single wells ("the nearest is 430 m away").
    return "The records are too few for a price." if owner else bid.reason


def _depth_to_target(estimate: LotEstimate) -> str:
    return f"Depth to {wording.flow(estimate.target_yield_gpm)}"


def _as_drilled(estimate: LotEstimate, bid: Bid | NoBid | None) -> tuple[str, ...]:
    depths = planned(bid, "drilled_ft")
    if depths is None:
        return ()
    low, middle, high = depths
    met = three_quantiles(estimate, "depth_to_target_ft")[1] <= estimate.max_depth_ft
    first = f"{_depth_to_target(estimate)} is where that water is met. " if met else ""
    return (
        f"{first}The hole as drilled comes to {wording.depth(middle)} "
        f"({wording.span(low, high, wording.depth)}): the drawing, the sizes and the prices go by it.",
    )


def _lead(estimate: LotEstimate, bid: Bid | NoBid | None) -> str:
    limit = estimate.max_depth_ft
    target = wording.flow(estimate.target_yield_gpm)
    low, middle, high = three_quantiles(estimate, "depth_to_target_ft")
    if math.isnan(middle):
        return f"The records here do not say how deep a well must go to make {target}."
    if estimate.chance_of_target < HARDLY:
        priced = "; the prices are those of a hole that falls short" if planned(bid, "drilled_ft") is not None else ""
        return (
            f"A well here will hardly make {target}: the chance by the limit of {wording.depth(limit)} is "
            f"{wording.percent(estimate.chance_of_target)}{priced}."
        )
    if middle > limit:
        return (
            f"More likely than not, a hole down to the limit of {wording.depth(limit)} will not make {target}. "
            f"The chance that it does is {wording.percent(estimate.chance_of_target)}."
        )
    spread = wording.span(low, high, lambda value: wording.target_depth(value, limit))
    return f"Plan on a hole of about {wording.depth(middle)} to make {target}; in 8 of 10 cases it takes {spread}."


def _figures(estimate: LotEstimate, bid: Bid | NoBid | None, owner: bool) -> tuple[Figure, ...]:
    limit = estimate.max_depth_ft
    figures = []
    for label, quantity, say in (
        (_depth_to_target(estimate), "depth_to_target_ft", None),
        ("Water stands at", "depth_to_water_ft", wording.water_level),
        (FINISHED_YIELD, "yield_gpm", wording.flow),
    ):
        low, middle, high = three_quantiles(estimate, quantity)
        hole = planned(bid, "yield_gpm") if quantity == "yield_gpm" else None
        if hole is not None:
            label, (low, middle, high) = PLANNED_YIELD, hole
        words = say or (lambda value: wording.target_depth(value, limit))
        if math.isnan(middle):
            figures.append(Figure(label, "cannot say", "no records of it here"))
        else:
            flows = quantity == "depth_to_water_ft" and middle < 0
            figures.append(Figure(label, "it flows" if flows else words(middle), wording.span(low, high, words)))
    if bid is not None and not isinstance(bid, NoBid):
        label = "Or by the foot, well and system" if owner else "Cost to build"
        if owner:
            low, middle, high = np.quantile(bid.by_the_foot_usd, SHOWN_QUANTILES)
        else:
            low, middle, high = (bid.total_quantiles[name] for name in ("p10", "p50", "p90"))
        spread = Figure(label, wording.money(middle), wording.span(low, high, wording.money))
        risk = "whatever the depth" if owner else f"{wording.percent(bid.chance_of_loss)} chance of loss"
        fixed = Figure("Fixed price, well and system", wording.money(bid.fixed_price_usd), risk)
        figures += [fixed, spread] if owner else [spread, fixed]
    return tuple(figures)


def _chances(estimate: LotEstimate) -> str:
    if math.isnan(estimate.chance_of_target):
        return "The chance of making it cannot be said from these records."
    return (
        f"The chance of making {wording.flow(estimate.target_yield_gpm)} by {wording.depth(estimate.max_depth_ft)} is "
        f"{wording.percent(estimate.chance_of_target)}; the chance of a dry hole, one that makes under "
        f"{wording.flow(estimate.dry_below_gpm)} even there, is {wording.percent(estimate.chance_of_dry_hole)}."
    )


def _support(estimate: LotEstimate, owner: bool, minimum: int) -> str:
    if owner:
        near, far = (count_text(n, minimum) for n in (estimate.wells_within_1km, estimate.wells_within_5km))
        rests = f"{near} within 0.6 mi and {far} within 3.1 mi"
    else:
        near, far = (wording.counted(n, "well") for n in (estimate.wells_within_1km, estimate.wells_within_5km))
        rests = (
            f"{near} within 0.6 mi, {far} within 3.1 mi, the nearest {wording.distance(estimate.nearest_well_m)} away"
        )
    if estimate.support == "good":
        return f"The records support this well: {rests}."
    return f"Take this with care: the records behind it are thin ({rests}). The ranges are wide for that reason."


def _cannot_say(estimate: LotEstimate, owner: bool, minimum: int) -> Answer:
    reasons = [] if owner else list(estimate.notes)
    if not reasons:
        far = count_text(estimate.wells_within_5km, minimum if owner else 0)
        reason = f"There are {far} on record within 3.1 mi of the lot."
        if estimate.wells_within_5km == 0:
            reason = "There is no well on record within 3.1 mi of the lot."
        if not owner and math.isfinite(estimate.nearest_well_m):
            reason += f" The nearest is {wording.distance(estimate.nearest_well_m)} away."
        reasons = [reason]
    return Answer(
        lead=(
            "The records cannot say how deep a well must go here, how much water it would make, or what it would cost."
        ),
        sentences=(*reasons, "A figure taken from wells that far off would look like knowledge and be a guess."),
        help=(
            "Logs of wells nearer to the lot: from the state, from neighbours, from other contractors.",
            "A well on a neighbouring lot whose owner lets its depth, level and yield be measured.",
            "A geologist's look at the ground, or a test hole priced by the foot with a limit agreed beforehand.",
        ),
    )
