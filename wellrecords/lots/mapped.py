"""What the wells say of rock, water and yield, as maps; and below which depth each of them may meet water."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.stopping import Stops, read_stops

MAPPED = ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
LEAST_READINGS = {"depth_to_bedrock_ft": 5, "depth_to_water_ft": 3, "yield_gpm": 3}
"""With fewer finite readings a quantity is not mapped."""
LEAST_ROCK_SHARE = 0.1
"""With a smaller share of wells that read the top of rock, the ground is not taken for rock."""
TREES = {"depth_to_bedrock_ft": 40, "depth_to_water_ft": 40, "yield_gpm": 0}
"""Rock and water have sharp borders, which a forest sees; with yields, which scatter, it has not helped."""

Item = TypeVar("Item")
Result = TypeVar("Result")


def side_by_side(task: Callable[[Item], Result], items: Iterable[Item], n_jobs: int) -> list[Result]:
    """Run `task` on each item, in at most `n_jobs` threads; what it returns, in the order of the items."""
    if n_jobs == 1:
        return [task(item) for item in items]
    with ThreadPoolExecutor(n_jobs) as pool:
        return list(pool.map(task, items))


def readings(table: pd.DataFrame, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the rows of the wells that say something of a quantity, and the ends of what they say.

    A quantity that hardly a well reads has no rows.
    """
    low, high = (table[f"{name}_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
    if name == "yield_gpm":
        tested = (table["yield_method"] == "pumping_test").fillna(False).to_numpy(dtype=bool)
        high = np.where(tested, np.inf, high)  # a pumping test draws what the pump draws: a lower bound
    first_record = (table["record_kind"] != "repaired").fillna(True).to_numpy(dtype=bool)
    says = (np.isfinite(low) & ~np.isnan(high)) | (np.isinf(low) & np.isfinite(high))
    rows = np.flatnonzero(says & first_record)
    if np.sum(np.isfinite(low[rows]) & np.isfinite(high[rows])) < LEAST_READINGS[name]:
        rows = rows[:0]
    return rows, low[rows], high[rows]


def fit_models(
    table: pd.DataFrame,
    coordinates: np.ndarray,
    *,
    covariances: Mapping[str, Covariance],
    trees: Mapping[str, int],
    random_state: int,
    n_jobs: int,
) -> tuple[dict[str, IntervalKriging], dict[str, np.ndarray]]:
    """Map each quantity of which something is known.

    Parameters
    ----------
    table : DataFrame of n wells
    coordinates : ndarray of shape (n, 2), metres
    covariances : mapping of str to Covariance
        Those that are known already; the others are fitted.
    trees : mapping of str to int
        Size of each quantity's forest.
    random_state : int
    n_jobs : int
        Threads, a quantity each.

    Returns
    -------
    models : dict of str to IntervalKriging
        Those of which nothing is known are absent.
    used : dict of str to ndarray
        Rows that each quantity was read from.
    """
    error = table["position_error_m"].fillna(0.0).to_numpy()
    read = {name: readings(table, name) for name in MAPPED}

    def fit(name: str) -> IntervalKriging:
        rows, low, high = read[name]
        model = IntervalKriging(
            "identity" if name == "depth_to_water_ft" else "log",
            covariance=covariances.get(name, "auto"),
            n_trees=trees[name],
            random_state=random_state,
            n_jobs=1,
        )
        return model.fit(coordinates[rows], low, high, error[rows])

    known = [name for name in MAPPED if len(read[name][0])]
    models = dict(zip(known, side_by_side(fit, known, n_jobs), strict=True))
    return models, {name: rows for name, (rows, _, _) in read.items()}


def rock_is_on_record(table: pd.DataFrame) -> bool:
    """Say whether enough wells read the top of rock to take the ground for rock."""
    read = np.isfinite(table["depth_to_bedrock_ft_high"].to_numpy())
    return bool(read.sum() >= LEAST_ROCK_SHARE * max(table["total_depth_ft"].notna().sum(), 1))


def ended_above_rock(table: pd.DataFrame) -> np.ndarray:
    """Return the holes whose record says that rock lies below their bottom."""
    low, high = table["depth_to_bedrock_ft_low"].to_numpy(), table["depth_to_bedrock_ft_high"].to_numpy()
    return np.isinf(high) & (low >= table["total_depth_ft"].to_numpy() - 0.5)


def _cover_ft(table: pd.DataFrame, coordinates: np.ndarray, model: IntervalKriging) -> np.ndarray:
    """Depth to bedrock of every well: as read, else as mapped, but no deeper than casing or most of the hole.

    Of a hole that ended above rock, it is as mapped, below its bottom.
    """
    low, high = table["depth_to_bedrock_ft_low"].to_numpy(), table["depth_to_bedrock_ft_high"].to_numpy()
    cover = 0.5 * (low + high)
    open_ended = ~np.isfinite(cover)
    mapped = model.predict(coordinates[open_ended]).quantile(0.5) if open_ended.any() else np.empty(0)
    casing, depth = (table[name].to_numpy()[open_ended] for name in ("casing_depth_ft", "total_depth_ft"))
    least = low[open_ended]
    in_rock = np.fmin(np.fmin(mapped, casing), 0.9 * depth)
    cover[open_ended] = np.where(np.isnan(least), in_rock, np.fmax(mapped, least))
    return cover


def water_level_ft(table: pd.DataFrame, coordinates: np.ndarray, model: IntervalKriging | None) -> np.ndarray:
    """Depth to water of every well: as read, else as mapped, but no deeper than most of the hole.

    NaN where there is no map.
    """
    if model is None:
        return np.full(len(table), np.nan)
    high = table["depth_to_water_ft_high"].to_numpy()
    level = np.where(np.isfinite(high), high, np.nan)
    unread = np.isnan(level)
    if unread.any():
        mapped = model.predict(coordinates[unread]).quantile(0.5)
        level[unread] = np.fmin(mapped, 0.9 * table["total_depth_ft"].to_numpy()[unread])
    return level


def start_ft(rule: str, rock_ft: np.ndarray, water_ft: np.ndarray) -> np.ndarray:
    """Return the depth below which water may be met.

    Parameters
    ----------
    rule : {"ground", "water level", "bedrock", "bedrock and water level"}
    rock_ft, water_ft : ndarray
    """
    if rule == "ground":
        return np.zeros_like(rock_ft)
    if rule == "water level":
        return np.fmax(water_ft, 0.0)
    return rock_ft if rule == "bedrock" else np.fmax(rock_ft, water_ft)


@dataclass(frozen=True, eq=False)
class Ground:
    """Wells with the depth of rock and of water at each, shape (n,).

    `cover_ft` is 0, and `level_ft` NaN, where nothing is known or needed of them.
    """

    wells: pd.DataFrame
    coordinates: np.ndarray
    cover_ft: np.ndarray
    level_ft: np.ndarray

    @classmethod
    def of(
        cls, wells: pd.DataFrame, coordinates: np.ndarray, models: Mapping[str, IntervalKriging], rule: str
    ) -> Ground:
        """Read or map the depths that a rule of where water starts may need."""
        cover, level = np.zeros(len(wells)), np.full(len(wells), np.nan)
        if "depth_to_water_ft" in models and "water" in rule:
            level = water_level_ft(wells, coordinates, models["depth_to_water_ft"])
        if "depth_to_bedrock_ft" in models and rule.startswith("bedrock"):
            cover = _cover_ft(wells, coordinates, models["depth_to_bedrock_ft"])
        return cls(wells, coordinates, cover, level)

    def stops(self, rule: str, water_zones: pd.DataFrame | None) -> Stops:
        """Read the stops; a hole that ended above rock is none, where water is met in rock."""
        start = start_ft(rule, self.cover_ft, self.level_ft)
        if rule.startswith("bedrock"):
            start = np.where(ended_above_rock(self.wells), np.nan, start)
        return read_stops(self.wells, self.coordinates, start, water_zones)
