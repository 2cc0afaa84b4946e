"""What a bid is: its settings, and the figures that a report reads.

Costs are what the job costs the firm (quantities times the price book);
prices are what the customer pays. A fixed price puts the spread of the cost
on the firm; a per-foot price puts most of it on the owner. Both are computed
from the same draws, so they can be compared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict, Field, field_validator

from wellrecords.construction.stopping import OUTCOMES

__all__ = ["OUTCOMES", "Bid", "BidSettings", "NoBid", "WellPlace"]


class BidSettings(BaseModel):
    """How the firm prices.

    Parameters
    ----------
    fixed_price_risk : float, default=0.2
        The accepted chance that a fixed price does not cover the cost.
    margin : float, default=0.15
        Wanted profit as a share of the expected cost (a markup): 0.15 for
        15 %, at most 1.
    quantiles : tuple of three floats, default=(0.1, 0.5, 0.9)
        Low, middle and high quantile of every figure shown.
    minimum_charge_usd : float or None, default=None
        Least charge of the per-foot price. None: the cost of the hole at
        `minimum_charge_quantile`, with the margin.
    minimum_charge_quantile : float, default=0.1
    random_state : int, default=0
        Seed of what the ground draws do not hold: the luck of hydrofracturing
        and the spread of prices.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    fixed_price_risk: float = Field(default=0.2, gt=0, lt=1)
    margin: float = Field(default=0.15, ge=0, le=1)
    quantiles: tuple[float, float, float] = (0.1, 0.5, 0.9)
    minimum_charge_usd: float | None = Field(default=None, ge=0)
    minimum_charge_quantile: float = Field(default=0.1, ge=0, le=1)
    random_state: int = Field(default=0, ge=0)

    @field_validator("quantiles")
    @classmethod
    def _whole_percents(cls, value: tuple[float, float, float]) -> tuple[float, float, float]:
        percents = [round(100 * level) for level in value]
        if not 0 < percents[0] < percents[1] < percents[2] < 100:
            msg = f"quantiles are three rising levels inside (0, 1), a percent or more apart, not {value}"
            raise ValueError(msg)
        return value


@dataclass(frozen=True)
class WellPlace:
    """Where on its lot the hole is to stand, as far as that costs money.

    Parameters
    ----------
    trench_ft : float or None
        Water line from the well to the house. None: not known, and
        `run_to_house_ft` of the water system is taken.
    access_ft : float or None
        Way of the rig from the nearest road or driveway. None: not known,
        and no way is made.
    slope_percent : float or None
        Of the ground, for the pad. None: not known, and taken as level.
    """

    trench_ft: float | None = None
    access_ft: float | None = None
    slope_percent: float | None = None


@dataclass(frozen=True)
class NoBid:
    """No bid can be given; `reason` says why in a plain sentence."""

    lot_id: str
    reason: str


@dataclass(frozen=True, eq=False)
class Bid:
    """A priced lot: cost as a distribution, and the prices made from it.

    `n` is the number of Monte Carlo draws of the lot's estimate. Columns
    named `_p10`, `_p50`, `_p90` follow `BidSettings.quantiles` (two digits,
    0.05 is `_p05`). What cannot be priced is a `NoBid`, not a Bid of blanks.

    Attributes
    ----------
    lot_id : str
    settings : BidSettings
    quantities : DataFrame, n rows
        One row a draw; one numeric column a quantity, units in the names.
        Among them `trench_ft`, `access_ft` and `slope_percent` of the place.
    outcome : ndarray of str, shape (n,)
        How each draw ended, one of `OUTCOMES`.
    line_costs : DataFrame, n rows
        Cost to the firm, one column a line of the price book (by its key).
    lines : DataFrame
        One row a line, in the order of the price book: `line` (key), `label`,
        `group` ("well" or "water_system"), `unit`, `unit_cost_usd`,
        `unit_price_usd` (cost with the margin), `quantity_p10/_p50/_p90`,
        `cost_usd_p10/_p50/_p90/_mean`, `chance` (share of draws that need
        the line at all), `quantity` (the column of `quantities` it takes)
        and `by_size` (whether it is priced by size: its unit cost is then
        the mean over the sizes needed).
    total_usd : ndarray of shape (n,)
        Cost to the firm of each draw: the sum of its line costs.
    total_quantiles : dict of str to float
        `p10`, `p50`, `p90`, `mean` of `total_usd`.
    fixed_price_usd : float
        The least price that holds both conditions: the chance of loss is at
        most `fixed_price_risk`, and the expected profit is at least `margin`.
    fixed_price_set_by : {"risk", "margin"}
        Which of the two conditions set it.
    fixed_price_risk : float
    chance_of_loss : float
        Chance that the cost exceeds `fixed_price_usd`.
    expected_loss_usd : float
        Mean of the loss at the fixed price, draws without loss counting 0.
    loss_when_losing_usd : float
        Mean loss over the draws that lose (0 where none does).
    expected_profit_usd : float
        Mean of price less cost at the fixed price.
    per_foot_price_usd, per_foot_minimum_usd : float
        Price of the hole by the drilled foot, and its least charge: with
        these two the expected bill for the lines of group "well" is their
        expected cost with the margin.
    per_foot_bill_quantiles : dict of str to float
        `p10`, `p50`, `p90`, `mean` of what the owner would pay for the hole
        by the foot.
    per_foot_chance_of_loss : float
        Chance that this bill does not cover the cost of the hole.
    drivers : DataFrame
        What drives the spread of the cost: `driver` (text for people),
        `share` (Shapley effect; the shares add up to 1) and `alone` (the
        share of the variance that would go if this alone were known).
    outcomes : dict of str to float
        Chance of each of `OUTCOMES` (they add up to 1).
    least_usable_gpm : float
        A finished hole that makes less is `dry`.
    chance_of_screen : float
        Chance that the well ends in overburden, with a screen.
    notes : tuple of str
        Plain sentences: assumptions that bind, what fell outside the lists.
    """

    lot_id: str
    settings: BidSettings
    quantities: pd.DataFrame
    outcome: np.ndarray
    line_costs: pd.DataFrame
    lines: pd.DataFrame
    total_usd: np.ndarray
    total_quantiles: dict[str, float]
    fixed_price_usd: float
    fixed_price_set_by: Literal["risk", "margin"]
    fixed_price_risk: float
    chance_of_loss: float
    expected_loss_usd: float
    loss_when_losing_usd: float
    expected_profit_usd: float
    per_foot_price_usd: float
    per_foot_minimum_usd: float
    per_foot_bill_quantiles: dict[str, float]
    per_foot_chance_of_loss: float
    drivers: pd.DataFrame
    outcomes: dict[str, float]
    least_usable_gpm: float
    chance_of_screen: float
    notes: tuple[str, ...]

    @property
    def by_the_foot_usd(self) -> np.ndarray:
        """What the owner pays, well and water system, with the hole by the foot: one figure a draw.

        The same work as the fixed price covers, so that the two can be
        compared: the bill by the foot, and the water system at unit prices.
        """
        bill = np.maximum(self.per_foot_minimum_usd, self.per_foot_price_usd * self.quantities["drilled_ft"].to_numpy())
        return bill + self.water_system_usd

    @property
    def water_system_usd(self) -> np.ndarray:
        """Price of the water system at unit prices: one figure a draw."""
        keys = self.lines.loc[self.lines["group"] == "water_system", "line"]
        return self.line_costs[list(keys)].sum(axis=1).to_numpy() * (1.0 + self.settings.margin)
