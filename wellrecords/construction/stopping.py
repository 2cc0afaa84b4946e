"""Where drilling stops, and what the finished hole makes.

A driller stops when there is enough water. At the depth limit without enough
there is a choice, made before the job: stop, hydrofracture, or go on to a
second limit. One row of the result is one draw of the ground.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wellrecords.construction.settings import ConstructionSettings
from wellrecords.errors import WellRecordsError

OUTCOMES = ("target_met", "target_met_by_fracturing", "short_of_target", "dry")
"""How a hole can end. `short_of_target`: usable water, less than wanted; `dry`: too little to serve the house."""


def drill(
    depth_to_target_ft: ArrayLike,
    depth_to_bedrock_ft: ArrayLike,
    yield_at_depth: Callable[[np.ndarray], np.ndarray],
    settings: ConstructionSettings,
    *,
    target_yield_gpm: float,
    limit_ft: float,
    least_usable_gpm: float,
    random_state: int = 0,
) -> pd.DataFrame:
    """Drill each draw by the stopping rule.

    Parameters
    ----------
    depth_to_target_ft : array-like of shape (n,)
        Depth at which the hole first makes the target; infinite for never.
    depth_to_bedrock_ft : array-like of shape (n,)
    yield_at_depth : callable
        Depths of shape (n,) -> yields of shape (n,), joint with the draws.
    settings : ConstructionSettings
    target_yield_gpm : float
    limit_ft : float
        The depth agreed with the owner.
    least_usable_gpm : float
        A finished hole that makes less is dry.
    random_state : int, default=0
        Seed of the luck of hydrofracturing.

    Returns
    -------
    DataFrame, n rows
        `drilled_ft`, `drilled_yield_gpm` (before fracturing), `yield_gpm`,
        `fracturing` (1 where done, else 0), `outcome` (one of `OUTCOMES`).

    Raises
    ------
    WellRecordsError
        Where the second limit is not below the first, or a yield is missing.

    Notes
    -----
    Where the target is made, the yield is at least the target, also where
    `yield_at_depth` (another estimate of the same ground) says less. Water
    above the foot of the casing is cased off: a rock well is drilled at least
    `minimum_open_hole_ft` below it, past the limit if it must.
    """
    target = np.asarray(depth_to_target_ft, dtype=float)
    rock = np.asarray(depth_to_bedrock_ft, dtype=float)
    last_ft = _last_depth_ft(settings, limit_ft)

    drilled = _stops_at_ft(target, rock, limit_ft, settings)
    drilled_yield = _yields(yield_at_depth, drilled)
    accept = settings.accept_at_limit_gpm
    accepted = drilled_yield >= (np.inf if accept is None else accept)
    if last_ft > limit_ft:
        goes_on = (target > drilled) & ~accepted
        drilled = np.where(goes_on, _stops_at_ft(target, rock, last_ft, settings), drilled)
        drilled_yield = _yields(yield_at_depth, drilled)

    met = target <= drilled
    drilled_yield = np.where(met, np.maximum(drilled_yield, target_yield_gpm), drilled_yield)
    fractured = np.zeros(target.shape, dtype=bool)
    if settings.at_limit == "hydrofracture":
        fractured = ~met & ~accepted & (rock < drilled)
    final_yield = drilled_yield + np.where(fractured, _fracturing_adds_gpm(target.size, settings, random_state), 0.0)

    outcome = np.select(
        [met, final_yield >= target_yield_gpm, final_yield >= least_usable_gpm],
        ["target_met", "target_met_by_fracturing", "short_of_target"],
        default="dry",
    )
    # A yield that another estimate puts above the target without the depth saying so is not a success of fracturing.
    outcome = np.where((outcome == "target_met_by_fracturing") & ~fractured, "target_met", outcome)
    return pd.DataFrame(
        {
            "drilled_ft": drilled,
            "drilled_yield_gpm": drilled_yield,
            "yield_gpm": final_yield,
            "fracturing": fractured.astype(float),
            "outcome": outcome,
        }
    )


def _yields(yield_at_depth: Callable[[np.ndarray], np.ndarray], depth_ft: np.ndarray) -> np.ndarray:
    made = np.array(yield_at_depth(depth_ft), dtype=float)
    unknown = int(np.isnan(made).sum())
    if made.shape != depth_ft.shape or unknown:
        msg = (
            f"The yields at the drilled depths must be one number a draw: {depth_ft.size} draws, yields of shape "
            f"{made.shape}, {unknown} of them missing. Next: estimate the lot again."
        )
        raise WellRecordsError(msg)
    return made


def _last_depth_ft(settings: ConstructionSettings, limit_ft: float) -> float:
    if settings.at_limit != "go_on" or settings.second_limit_ft is None:
        return limit_ft
    if settings.second_limit_ft <= limit_ft:
        msg = (
            f"The second limit of {settings.second_limit_ft:g} ft must lie below the depth limit of {limit_ft:g} ft. "
            f'Next: raise second_limit_ft, or choose at_limit = "stop".'
        )
        raise WellRecordsError(msg)
    return settings.second_limit_ft


def _stops_at_ft(target: np.ndarray, rock: np.ndarray, limit_ft: float, settings: ConstructionSettings) -> np.ndarray:
    """Depth at which drilling stops under one limit: at the target, on a full rod, or at the limit.

    A hole that meets its water above rock ends there, where the screen is set.
    """
    casing_foot = np.maximum(rock + settings.casing_into_rock_ft, settings.minimum_casing_ft)
    floor = np.maximum(casing_foot + settings.minimum_open_hole_ft, settings.minimum_depth_ft)
    in_rock = np.minimum(np.maximum(_whole_rods_ft(target, settings.rod_ft), floor), np.maximum(limit_ft, floor))
    return np.where(np.minimum(target, limit_ft) >= rock, in_rock, np.minimum(target, limit_ft))


def _whole_rods_ft(depth_ft: np.ndarray, rod_ft: float) -> np.ndarray:
    """Round up to the rod; a depth that is whole already stays."""
    if rod_ft == 0:
        return depth_ft
    return np.ceil(np.round(depth_ft / rod_ft, 9)) * rod_ft


def _fracturing_adds_gpm(draws: int, settings: ConstructionSettings, random_state: int) -> np.ndarray:
    rng = np.random.default_rng(random_state)
    works = rng.random(draws) < settings.fracturing_works
    added = settings.fracturing_adds_gpm * np.exp(settings.fracturing_log_sd * rng.standard_normal(draws))
    return np.where(works, added, 0.0)
