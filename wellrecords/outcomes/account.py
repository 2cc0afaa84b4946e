"""The whole account of a firm's drilled wells: files in, tables and sentences out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict, Field

from wellrecords.outcomes.calibration import calibration, calibration_sentences, event_calibration
from wellrecords.outcomes.compare import compare_outcomes, event_table
from wellrecords.outcomes.drift import DriftSettings, drift, drift_sentences
from wellrecords.outcomes.estimates import read_estimates
from wellrecords.outcomes.log import read_outcomes


class OutcomesSettings(BaseModel):
    """The table ``[outcomes]`` of a region's settings.

    Parameters
    ----------
    file : path, optional
        The firm's log of drilled wells.
    estimates : path, optional
        The folder of kept estimates.
    level : float, default=0.8
        Of the interval whose coverage is counted.
    drift : DriftSettings
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    file: Path | None = None
    estimates: Path | None = None
    level: float = Field(default=0.8, gt=0, lt=1)
    drift: DriftSettings = DriftSettings()


@dataclass(frozen=True, eq=False)
class Account:
    """How the firm's estimates have held.

    Attributes
    ----------
    wells : int
        In the log.
    compared : int
        With an estimate from before they were drilled and filed.
    comparison, events, calibration, event_calibration, drift : DataFrame
        See the functions of the same names.
    sentences : tuple of str
        The calibration, the money and the drift in plain words.
    """

    wells: int
    compared: int
    comparison: pd.DataFrame
    events: pd.DataFrame
    calibration: pd.DataFrame
    event_calibration: pd.DataFrame
    drift: pd.DataFrame
    sentences: tuple[str, ...]

    @property
    def warned(self) -> bool:
        """Whether any chart of drift gives an alarm."""
        return bool(self.drift["alarm"].any())


def account(log_file: str | Path, estimates_folder: str | Path, settings: OutcomesSettings | None = None) -> Account:
    """Hold every filed well against its estimate.

    Parameters
    ----------
    log_file, estimates_folder : path
    settings : OutcomesSettings, optional

    Raises
    ------
    WellRecordsError, ProblemsError
        Where log or estimates cannot be read.
    """
    settings = settings or OutcomesSettings()
    outcomes, estimates = read_outcomes(log_file), read_estimates(estimates_folder)
    comparison = compare_outcomes(outcomes, estimates, level=settings.level)
    events = event_table(outcomes, estimates)
    running, chances = calibration(comparison, level=settings.level), event_calibration(events)
    charts = drift(comparison, settings.drift)
    compared = len(events)
    have = "has" if compared == 1 else "have"
    told = [
        f"{compared} of {len(outcomes)} filed wells {have} an estimate from before they were drilled{_apart(events)}."
    ]
    told += calibration_sentences(running, chances, level=settings.level) if compared else []
    told += money_sentences(events) + drift_sentences(charts, settings.drift)
    return Account(len(outcomes), compared, comparison, events, running, chances, charts, tuple(told))


def _apart(events: pd.DataFrame) -> str:
    """Count the wells of which the estimate said nothing apart from the others."""
    silent = int((~events["figures"]).sum())
    return f": {len(events) - silent} with figures, {silent} where we said we could not say" if silent else ""


def money_sentences(events: pd.DataFrame) -> list[str]:
    """Return what the jobs earned against what was expected, in plain sentences.

    Parameters
    ----------
    events : DataFrame
        From `event_table`.
    """
    profit = events["profit_usd"].dropna()
    if profit.empty:
        return []
    losing = profit[profit < 0]
    told = f"Over {len(profit)} job{'s' if len(profit) > 1 else ''} {_earned(profit.sum())} dollars"
    both = events[["profit_usd", "expected_profit_usd"]].dropna()
    if len(both) == len(profit):
        told += f"; a profit of {both['expected_profit_usd'].sum():,.0f} was expected"
    elif len(both):
        told += (
            f"; for the {len(both)} with an expected profit it was {both['profit_usd'].sum():,.0f} against "
            f"{both['expected_profit_usd'].sum():,.0f}"
        )
    worst = "" if losing.empty else f", the largest {-float(np.min(losing)):,.0f} dollars"
    if len(profit) == 1:
        return [f"{told}."]
    return [f"{told}. {len(losing) or 'None'} of them lost money{worst}."]


def _earned(profit_usd: float) -> str:
    return f"the {'profit' if profit_usd >= 0 else 'loss'} was {abs(profit_usd):,.0f}"
