"""The price book: what each unit costs the firm, as the user's data.

A line names a quantity (a column of the take-off), a unit and a cost. Where
the cost depends on a size (a motor, a cable gauge, a tank), `by` names the
column that holds the size and `unit_cost_usd` is a table by size.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict, Field, model_validator

from wellrecords.checked import checked, read_toml
from wellrecords.errors import Problem, ProblemsError


class PriceLine(BaseModel):
    """One line of the price book.

    Parameters
    ----------
    key : str
        Short stable name; the column of `Bid.line_costs`.
    label : str
        For people.
    group : {"well", "water_system"}, default="well"
        The per-foot price covers the lines of the well.
    quantity : str
        Column of the take-off, such as "overburden_ft"; "job" is 1 always.
    unit : str
    unit_cost_usd : float or dict of float to float
        Cost to the firm of one unit, or size -> cost.
    by : str or None
        Column of the take-off that holds the size, with a table of costs.
    spread : float, default=0
        Standard deviation of the unit cost as a share of it: how sure the
        firm is of its own cost. Drawn once a job, as a lognormal of mean 1.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str
    group: Literal["well", "water_system"] = "well"
    quantity: str
    unit: str
    unit_cost_usd: float | dict[float, float]
    by: str | None = None
    spread: float = Field(default=0.0, ge=0)

    @model_validator(mode="after")
    def _check(self) -> PriceLine:
        if isinstance(self.unit_cost_usd, dict) != (self.by is not None):
            msg = f"line {self.key!r}: a table of costs needs `by`, the column of the size; a single cost has no `by`"
            raise ValueError(msg)
        costs = self.unit_cost_usd.values() if isinstance(self.unit_cost_usd, dict) else [self.unit_cost_usd]
        if not costs or not all(np.isfinite(cost) and cost >= 0 for cost in costs):
            msg = f"line {self.key!r}: every unit cost must be a number, 0 or more"
            raise ValueError(msg)
        return self


class PriceBook(BaseModel):
    """All lines, in the order in which a bid shows them.

    Parameters
    ----------
    title, note : str
        Shown with the bid: whose prices, from when, sample or real.
    lines : tuple of PriceLine
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str
    note: str = ""
    lines: tuple[PriceLine, ...]

    @model_validator(mode="after")
    def _check(self) -> PriceBook:
        if not self.lines:
            msg = "a price book needs at least one line"
            raise ValueError(msg)
        keys = [line.key for line in self.lines]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        if twice:
            msg = f"line keys must differ; more than once: {', '.join(twice)}"
            raise ValueError(msg)
        return self


def load_price_book(path: str | Path) -> PriceBook:
    """Read a price book from a TOML file.

    Parameters
    ----------
    path : path

    Returns
    -------
    PriceBook

    Raises
    ------
    WellRecordsError
        Where the file is absent or no TOML.
    ProblemsError
        One problem a wrong line.
    """
    raw = read_toml(path, "price book", "name one, such as sample_records/price_book.toml")
    return checked(PriceBook, raw, path, heading="The price book cannot be used", code="price_book")


def unit_cost_of(book: PriceBook, quantity: str) -> float | None:
    """Return what a unit of a quantity costs, all its lines together; None where no line prices it by one figure.

    Parameters
    ----------
    book : PriceBook
    quantity : str
        Such as ``trench_ft``.
    """
    costs = [line.unit_cost_usd for line in book.lines if line.quantity == quantity]
    single = [cost for cost in costs if not isinstance(cost, dict)]
    return sum(single) if single else None


def cost_lines(quantities: pd.DataFrame, book: PriceBook) -> pd.DataFrame:
    """Return the cost of each line of each draw, every unit cost at its mean.

    Parameters
    ----------
    quantities : DataFrame, n rows
        The take-off.
    book : PriceBook

    Returns
    -------
    DataFrame, n rows
        One column a line, by key, in US dollars.

    Raises
    ------
    ProblemsError
        Where a line names a quantity that the take-off does not have, or a
        size turns up that the line does not price.
    """
    problems: list[Problem] = []
    costs: dict[str, np.ndarray] = {}
    for line in book.lines:
        unknown = [name for name in (line.quantity, line.by) if name is not None and name not in quantities]
        if unknown:
            problems += [_unknown_column(line, name, quantities) for name in unknown]
            continue
        amount = quantities[line.quantity].to_numpy(dtype=float)
        if isinstance(line.unit_cost_usd, dict):
            sizes = quantities[line.by]
            unit_cost = sizes.map(line.unit_cost_usd).to_numpy(dtype=float)
            unpriced = np.isnan(unit_cost) & (amount > 0)
            problems += [_unpriced_size(line, size) for size in sorted(sizes[unpriced].unique())]
            cost = np.where(amount > 0, amount * unit_cost, 0.0)
        else:
            cost = amount * line.unit_cost_usd
        costs[line.key] = cost
    if problems:
        raise ProblemsError(problems, f"The price book {book.title!r} does not fit the take-off")
    return pd.DataFrame(costs)


def spread_costs(line_costs: pd.DataFrame, book: PriceBook, random_state: int) -> pd.DataFrame:
    """Return the costs with the spread of each line's unit cost drawn.

    Parameters
    ----------
    line_costs : DataFrame, n rows
        As `cost_lines` gives them.
    book : PriceBook
    random_state : int
        The same seed draws the same luck for every lot.

    Returns
    -------
    DataFrame, n rows
    """
    spread = line_costs.copy()
    for number, line in enumerate(book.lines):
        if line.spread > 0:
            variance = np.log1p(line.spread**2)
            normal = np.random.default_rng((random_state, number)).standard_normal(len(spread))
            spread[line.key] *= np.exp(np.sqrt(variance) * normal - variance / 2.0)
    return spread


def _unknown_column(line: PriceLine, name: str, quantities: pd.DataFrame) -> Problem:
    return Problem(
        what="the price book names a quantity that is not taken off",
        column=line.key,
        value=name,
        rule=f"quantities are {', '.join(quantities.columns)}",
        next_step="correct the line's quantity",
        code="unknown_quantity",
    )


def _unpriced_size(line: PriceLine, size: float) -> Problem:
    return Problem(
        what="the price book has no price for a size that is needed",
        column=line.key,
        value=f"{line.by} = {size:g}",
        rule="every size in the water system's lists needs a cost",
        next_step="add the size to unit_cost_usd, or take it out of the list of sizes",
        code="unpriced_size",
    )
