"""A warning when estimates drift, with a stated rate of false alarms.

Three running sums (CUSUM charts; Page 1954) watch each quantity over the last
wells: two on the normal scores of the PITs, for wells that come out high or
low, and one on the wells outside the interval, for estimates that are over-
sure. A sound estimate makes the scores standard normal and puts a well
outside with a known chance, so the chance of a false alarm within the watched
wells is computed, not guessed, and the alarm limits are set from it: the
chance that *any* chart of *any* quantity gives a false alarm is at most
`false_alarm_rate` (Bonferroni's bound).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict, Field
from scipy import optimize, stats

from wellrecords.errors import counted
from wellrecords.outcomes.compare import QUANTITIES

FEWEST = 10
"""Silence over fewer wells than this says nothing: a bias of one standard deviation takes up to 25 to be found."""
_STATES = 200
"""Steps into which a sum's range is cut in the Markov chain (Brook and Evans 1972)."""
_UNIT = 0.05
"""The sum of outsiders moves in steps of this, so its chain is exact."""


Quantity = Literal[
    "depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm", "drilled_ft", "cost_usd"
]


class DriftSettings(BaseModel):
    """How watchful the warning is.

    Parameters
    ----------
    horizon : int, default=100
        Wells that are watched: the last so many of each quantity.
    false_alarm_rate : float, default=0.05
        Chance that sound estimates raise any warning within them.
    level : float, default=0.8
        Of the interval whose outsiders are counted.
    slack_sd : float, default=0.5
        Half of the shift of the normal scores that should be found quickest,
        in standard deviations.
    quantities : tuple of str
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    horizon: int = Field(default=100, ge=5)
    false_alarm_rate: float = Field(default=0.05, gt=0, lt=1)
    level: float = Field(default=0.8, gt=0, lt=1)
    slack_sd: float = Field(default=0.5, gt=0)
    quantities: tuple[Quantity, ...] = (
        "depth_to_bedrock_ft",
        "depth_to_water_ft",
        "yield_gpm",
        "drilled_ft",
        "cost_usd",
    )


def drift(comparison: pd.DataFrame, settings: DriftSettings | None = None) -> pd.DataFrame:
    """Run the charts over the firm's comparisons.

    Parameters
    ----------
    comparison : DataFrame
        From `compare_outcomes`; taken in order of `drilled_on` and `well_id`.
    settings : DriftSettings, optional

    Returns
    -------
    pandas.DataFrame
        One row a quantity and chart: `quantity`, `chart` ("high", "low",
        "over_sure"), `wells` (watched), `highest` (of the sum), `limit`,
        `alarm`, `since` (date of the first well of the run that led to the
        highest sum), `wells_since`.
    """
    settings = settings or DriftSettings()
    share = settings.false_alarm_rate / (3 * len(settings.quantities))
    tail = (1.0 - settings.level) / 2.0
    score_limit = normal_limit(settings.slack_sd, settings.horizon, share)
    outside_slack, outside_limit = outsider_limit(1.0 - settings.level, settings.horizon, share)
    rows = []
    for quantity in settings.quantities:
        group = comparison[comparison["quantity"] == quantity].sort_values(["drilled_on", "well_id"])
        group = group.tail(settings.horizon)
        pit = group["pit"].to_numpy(dtype=float)
        scores = stats.norm.ppf(np.clip(pit, 1e-6, 1 - 1e-6))
        outside = ((pit < tail) | (pit > 1.0 - tail)).astype(float)
        for chart, steps, limit in (
            ("high", scores - settings.slack_sd, score_limit),
            ("low", -scores - settings.slack_sd, score_limit),
            ("over_sure", outside - outside_slack, outside_limit),
        ):
            sums = running_sum(steps)
            peak = int(np.argmax(sums)) if len(sums) else -1
            start = _start_of_run(sums, peak)
            rows.append(
                {
                    "quantity": quantity,
                    "chart": chart,
                    "wells": len(group),
                    "highest": float(sums[peak]) if len(sums) else 0.0,
                    "limit": limit,
                    # A hair below: sums of twentieths are not exact in binary.
                    "alarm": bool(len(sums) and sums[peak] >= limit - 1e-9),
                    "since": group["drilled_on"].iloc[start] if len(sums) else pd.NaT,
                    "wells_since": len(sums) - start if len(sums) else 0,
                }
            )
    return pd.DataFrame(rows)


def drift_sentences(charts: pd.DataFrame, settings: DriftSettings | None = None) -> list[str]:
    """Return the warnings in plain sentences; one sentence of calm where there is none.

    Parameters
    ----------
    charts : DataFrame
        From `drift`.
    settings : DriftSettings, optional
        As given to `drift`.
    """
    settings = settings or DriftSettings()
    rate = (
        f"of 100 firms whose estimates are sound, at most {100 * settings.false_alarm_rate:.3g} would see a warning by "
        f"bad luck in {settings.horizon} wells"
    )
    told = []
    for row in charts[charts["alarm"]].to_dict("records"):
        name, _, high_word, low_word = QUANTITIES[row["quantity"]]
        since = f"since about {row['since']:%B %Y} ({counted(row['wells_since'], 'well')})"
        fault = {
            "high": f"wells come out {high_word} than estimated",
            "low": f"wells come out {low_word} than estimated",
            "over_sure": f"too many wells fall outside the {settings.level:.0%} interval: estimates are too sure",
        }[row["chart"]]
        told.append(f"Warning, {name}: {since} {fault}.")
    if told:
        return [
            *told,
            f"How far to trust this: {rate}. Next: refresh the records, look where these wells stand, and widen bids.",
        ]
    most = int(charts["wells"].max()) if len(charts) else 0
    if most == 0:
        return ["No drilled well has an estimate yet: nothing can be said about drift."]
    if most < FEWEST:
        return [
            f"{counted(most, 'well')}: too few to see drift; estimates that are plainly off show within some 25 wells."
        ]
    return [
        f"No sign of drift in the last {most} wells; small or recent drift may still go unseen. How far to trust a "
        f"warning, if one comes: {rate}."
    ]


def running_sum(steps: np.ndarray) -> np.ndarray:
    """Return the CUSUM: what has added up, never below 0.

    Parameters
    ----------
    steps : ndarray of shape (n,)

    Returns
    -------
    ndarray of shape (n,)
        ``s[i] = max(0, s[i - 1] + steps[i])``.
    """
    total = np.concatenate([[0.0], np.cumsum(steps)])
    return (total - np.minimum.accumulate(total))[1:]


def normal_chain(slack_sd: float, limit: float) -> np.ndarray:
    """Return the transition matrix of a CUSUM of standard normal scores, below its limit.

    The range (0, limit) is cut into cells whose middles stand for them
    (Brook and Evans 1972, Biometrika 59, 539-549; from memory).
    """
    width = 2.0 * limit / (2 * _STATES - 1)
    middles = np.arange(_STATES) * width
    upper = stats.norm.cdf(middles[None, :] - middles[:, None] + width / 2 + slack_sd)
    lower = stats.norm.cdf(middles[None, :] - middles[:, None] - width / 2 + slack_sd)
    lower[:, 0] = 0.0
    return upper - lower


def outsider_chain(chance: float, slack: float, limit: float) -> np.ndarray:
    """Return the transition matrix of a CUSUM of outsiders, below its limit; exact."""
    top, down, up = round(limit / _UNIT), round(slack / _UNIT), round((1.0 - slack) / _UNIT)
    chain = np.zeros((top, top))
    for state in range(top):
        chain[state, max(state - down, 0)] += 1.0 - chance
        if state + up < top:
            chain[state, state + up] += chance
    return chain


def alarm_chance(chain: np.ndarray, wells: int) -> float:
    """Return the chance that a sum which starts at 0 reaches its limit within so many wells."""
    silent = np.zeros(len(chain))
    silent[0] = 1.0
    for _ in range(wells):
        silent = silent @ chain
    return float(1.0 - silent.sum())


def average_run_length(chain: np.ndarray) -> float:
    """Return how many wells a sum takes to its limit on average, from 0."""
    return float(np.linalg.solve(np.eye(len(chain)) - chain, np.ones(len(chain)))[0])


@lru_cache(maxsize=64)
def normal_limit(slack_sd: float, wells: int, chance: float) -> float:
    """Return the limit at which a sum of standard normal scores has a chance of a false alarm within so many wells."""

    def excess(limit: float) -> float:
        return float(np.log(alarm_chance(normal_chain(slack_sd, limit), wells)) - np.log(chance))

    return float(optimize.brentq(excess, 0.5, 25.0, xtol=1e-4))


@lru_cache(maxsize=64)
def outsider_limit(chance_outside: float, wells: int, chance: float) -> tuple[float, float]:
    """Return slack and limit of the sum of outsiders, for at most a chance of a false alarm.

    The slack is that of the likelihood ratio of twice the chance outside
    against the chance itself, rounded to a twentieth.
    """
    doubled = min(2.0 * chance_outside, 0.5 * (1.0 + chance_outside))
    quiet = np.log((1.0 - chance_outside) / (1.0 - doubled))
    slack = round(quiet / (quiet + np.log(doubled / chance_outside)) / _UNIT) * _UNIT
    limit = _UNIT
    # The chance falls as the limit rises; steps of a twentieth are all the limits there are.
    while alarm_chance(outsider_chain(chance_outside, slack, limit), wells) > chance:
        limit += _UNIT
    return float(slack), float(limit)


def _start_of_run(sums: np.ndarray, peak: int) -> int:
    """Return the first well after the sum last stood at 0 before its peak."""
    zeros = np.flatnonzero(sums[: peak + 1] <= 1e-12)
    return int(min(zeros[-1] + 1, peak)) if len(zeros) else 0
