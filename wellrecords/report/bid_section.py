"""The bid as the page shows it: cost and risk for the firm, prices for the owner.

The contractor sees what the job costs the firm and what the prices risk. The
owner sees prices only: the firm's costs, margin and risk are its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.report.charts import cost_distribution, share_bars

if TYPE_CHECKING:
    from wellrecords.bid import Bid

WHATEVER_IT_MAKES = (
    "The fixed price is reckoned as paid in every case, also where the hole is dry or falls short: settle in writing, "
    "before drilling, what is paid then."
)
"""How the fixed price was worked out; no setting says what a contract has for such a hole."""
GROUPS = {"well": "The well", "water_system": "The water system"}
COUNTED = ("each", "job")
"""Units of which the figure alone is said."""
BY_SIZE = "by size"
"""In place of the unit price of a line that is priced by size."""
OUTCOMES = {
    "target_met": "The wanted yield is met",
    "target_met_by_fracturing": "It is met after hydrofracturing",
    "short_of_target": "Usable water, less than wanted",
    "dry": "Too little to serve the house even with a tank, under {least}",
}

OUTCOMES_NOTE = (
    "The last of these counts the hole as the bid drills it, with all that is done at the limit, against the least "
    "that serves the house; the chance of a dry hole by the records counts holes drilled to the limit and left so, "
    "by its own least yield, and whatever gravel makes so much counts, which the bid's hole may pass by for more."
)
"""Why the least of the outcomes and the records' chance of a dry hole are two figures."""


def bid_section(bid: Bid, *, owner: bool) -> dict[str, Any]:
    """Return the bid as text and charts for the template.

    Parameters
    ----------
    bid : Bid
    owner : bool
        Whether the owner reads it: prices, no costs.

    Returns
    -------
    dict
    """
    drivers = bid.drivers.sort_values("share", ascending=False, kind="stable")
    section = {
        "chart": _chart(bid, owner),
        "drivers": share_bars(
            [str(driver)[:1].upper() + str(driver)[1:] for driver in drivers["driver"]],
            [float(share) for share in drivers["share"]],
            name="chart-drivers",
            title="What drives the spread of the cost",
        ),
        "outcomes": [
            (OUTCOMES.get(name, name).format(least=wording.flow(bid.least_usable_gpm)), wording.percent(chance))
            for name, chance in bid.outcomes.items()
        ],
        "outcomes_note": OUTCOMES_NOTE,
    }
    return {**section, **(_owner_side(bid) if owner else _firm_side(bid))}


def _chart(bid: Bid, owner: bool) -> Any:
    values = bid.by_the_foot_usd if owner else np.asarray(bid.total_usd)
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return cost_distribution(
        values,
        quantiles=(float(low), float(middle), float(high)),
        fixed_price_usd=bid.fixed_price_usd,
        axis_label="by the foot, well and system, $" if owner else "cost to build, $",
        what="price by the foot, well and system," if owner else "cost",
    )


def _firm_side(bid: Bid) -> dict[str, Any]:
    totals = bid.total_quantiles
    set_by = {"risk": "the accepted risk", "margin": "the wanted margin"}[bid.fixed_price_set_by]
    sentences = [
        "The owner signs one of two: the fixed price, or the price by the foot. The total of the lines is your cost, "
        "before any margin.",
        f"The fixed price is set by {set_by}: at most {wording.percent(bid.fixed_price_risk)} chance of loss, and "
        f"{wording.percent(bid.settings.margin)} on the expected cost.",
        WHATEVER_IT_MAKES,
        *bid.notes,
    ]
    return {
        "chart_title": "How the cost spreads",
        "facts": [
            ("Fixed price, well and system", wording.money(bid.fixed_price_usd)),
            ("Chance that it loses", wording.percent(bid.chance_of_loss)),
            ("Expected loss, over all cases", wording.money(bid.expected_loss_usd)),
            ("Mean loss where it loses", wording.money(bid.loss_when_losing_usd)),
            ("Expected profit", wording.money(bid.expected_profit_usd)),
            *_by_the_foot(bid),
            ("Chance that the bill for the well loses", wording.percent(bid.per_foot_chance_of_loss)),
        ],
        "sentences": sentences,
        "caption": "Cost to the firm. Quantities and costs: the middle figure, and the range of 8 in 10 cases.",
        "head": ("Line", "Needed", "Quantity", "8 in 10", "Unit cost", "Cost", "8 in 10", "Expected"),
        "groups": [
            {"label": label, "rows": [_firm_row(row) for row in rows.itertuples()]} for label, rows in _grouped(bid)
        ],
        "total": (
            "All",
            "",
            "",
            "",
            "",
            wording.money(totals["p50"]),
            _range(totals),
            wording.money(totals["mean"]),
        ),
        "foot": (
            "Middle figures of the lines do not add up to the middle of the whole: seldom is every line in its middle. "
            "The expected figures do, but for rounding."
        ),
    }


def _by_the_foot(bid: Bid) -> list[tuple[str, str]]:
    """Return the other way to pay: the same work as the fixed price first, then its parts."""
    return [
        ("By the foot, well and system, 8 in 10", _spread(bid.by_the_foot_usd)),
        ("Of it the well, without the system", _range(bid.per_foot_bill_quantiles)),
        ("Of it the water system, at unit prices", _spread(bid.water_system_usd)),
        ("The well by the foot", f"{wording.unit_price(bid.per_foot_price_usd)} a ft"),
        ("Least charge for the well", wording.money(bid.per_foot_minimum_usd)),
    ]


def _spread(values_usd: np.ndarray) -> str:
    low, high = np.quantile(values_usd, [0.1, 0.9])
    return wording.span(float(low), float(high), wording.money)


def _needed(chance: float) -> str:
    if chance >= 1.0:
        return "always"
    return "nearly always" if chance > 0.995 else f"{wording.percent(chance)} of cases"


def _unit_price(row: Any, value_usd: float) -> str:
    return BY_SIZE if row.by_size else wording.unit_price(value_usd)


def _firm_row(row: Any) -> tuple[str, ...]:
    return (
        str(row.label),
        _needed(row.chance),
        _quantity(row.quantity_p50, row.unit),
        _where_it_differs(_quantity_range(row), _quantity(row.quantity_p50, row.unit)),
        _unit_price(row, row.unit_cost_usd),
        wording.small_money(row.cost_usd_p50),
        _where_it_differs(
            wording.span(row.cost_usd_p10, row.cost_usd_p90, wording.small_money), wording.small_money(row.cost_usd_p50)
        ),
        wording.small_money(row.cost_usd_mean),
    )


def _owner_side(bid: Bid) -> dict[str, Any]:
    factor = _price_factor(bid)
    totals = {name: value * factor for name, value in bid.total_quantiles.items()}
    rows_of = {label: [_owner_row(row, factor) for row in rows.itertuples()] for label, rows in _grouped(bid)}
    return {
        "chart_title": "How the price spreads",
        "facts": [
            ("Fixed price, well and system", wording.money(bid.fixed_price_usd)),
            *_by_the_foot(bid),
        ],
        "sentences": [
            "You sign one of two: the fixed price, or the price by the foot. What the lines below come to, all at unit "
            "prices, is the same work before anything is added for the risk of a deep hole.",
            "At a fixed price the contractor carries the risk of a deep hole; by the foot, you do. By the foot, the "
            "water system is priced apart from the footage, at its unit prices.",
            WHATEVER_IT_MAKES,
            *bid.notes,
        ],
        "caption": "Prices, line by line. Quantities and amounts: the range of 8 in 10 cases.",
        "head": ("Line", "Needed", "Quantity", "Unit price", "Amount"),
        "groups": [{"label": label, "rows": rows} for label, rows in rows_of.items()],
        "total": ("All, at unit prices", "", "", "", _range(totals)),
        "foot": "Ranges of the lines do not add up to the range of the whole: seldom does every line run high at once. "
        "The price by the foot spreads wider than their sum: it charges every foot of the hole alike.",
    }


def _owner_row(row: Any, factor: float) -> tuple[str, ...]:
    return (
        str(row.label),
        _needed(row.chance),
        _quantity_range(row),
        _unit_price(row, row.unit_price_usd),
        wording.span(row.cost_usd_p10 * factor, row.cost_usd_p90 * factor, wording.small_money),
    )


def _grouped(bid: Bid) -> list[tuple[str, pd.DataFrame]]:
    needed = bid.lines[bid.lines["chance"] > 0]
    return [
        (GROUPS.get(str(group), str(group)), rows) for group, rows in needed.groupby("group", sort=False, observed=True)
    ]


def _price_factor(bid: Bid) -> float:
    return 1.0 + bid.settings.margin


def _range(totals: dict[str, float]) -> str:
    return wording.span(totals["p10"], totals["p90"], wording.money)


def _quantity(value: float, unit: str) -> str:
    amount = _amount(value, unit)
    if unit in COUNTED:
        return amount
    # Whole words take a plural, symbols do not: "2 hours", "2 ft".
    plural = "s" if len(unit) > 3 and unit.isalpha() and amount != "1" else ""
    return f"{amount} {unit}{plural}"


def _where_it_differs(spread: str, middle: str) -> str:
    """Return a range, or nothing where it is no more than the middle figure again."""
    return "" if spread == middle else spread


def _quantity_range(row: Any) -> str:
    unit = str(row.unit)
    return wording.span(row.quantity_p10, row.quantity_p90, lambda value: _quantity(value, unit))


def _amount(value: float, unit: str) -> str:
    """Return a quantity: feet to 5, others to what a price book counts."""
    if wording.is_missing(value):
        return wording.MISSING
    if unit == "ft" and value >= 20:
        return f"{wording.round_half_up(value, 5.0):,.0f}"
    if value == round(value) or value >= 100:
        return f"{value:,.0f}"
    if value >= 1:
        return wording.two_figures(value)
    # Less than one of a thing is known to one figure, such as the bleach for a well.
    return f"{float(f'{value:.1g}'):g}"
