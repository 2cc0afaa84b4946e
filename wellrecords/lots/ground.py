"""Below which depth each well may meet water: under the ground, the water level, the top of rock, or the casing.

Casing shuts off the first feet of rock with whatever water they hold, so that
the open hole begins at its end. Whether records of casings say where the
search for water began is left to the wells (`shared`): the idea that predicts
them best is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging
from wellrecords.lots.stopping import Stops, read_stops

LEAST_ROCK_SHARE = 0.1
"""With a smaller share of wells that read the top of rock, the ground is not taken for rock."""
LEAST_CASINGS = 20
"""With fewer wells that read both casing and rock, nobody knows how far into rock casings go."""
MOST_AGAINST = 0.05
"""With a larger share of holes that end above the casing's usual end, casings are not what sets where water is met."""
LEAST_SEAL_FT = 2.0
"""Casings that end nearer below rock shut off nothing to speak of."""
DEEPEST_CASING = 0.95
"""Of the depth of the hole: a well cased so far takes its water through a screen."""


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
    rule : {"ground", "water level", "bedrock", "bedrock and water level", "casing", "casing and water level"}
    rock_ft : ndarray
        Top of rock; by the rules of the casing, its end.
    water_ft : ndarray
    """
    if rule == "ground":
        return np.zeros_like(rock_ft)
    if rule == "water level":
        return np.fmax(water_ft, 0.0)
    return np.fmax(rock_ft, water_ft) if rule.endswith("water level") else rock_ft


def in_rock(rule: str) -> bool:
    """Say whether by a rule water is met in rock alone."""
    return rule.startswith(("bedrock", "casing"))


def _casing_ft(table: pd.DataFrame) -> np.ndarray:
    """Depth of the casing above an open hole; NaN where there is none on record."""
    casing, depth = (table[name].to_numpy(dtype=float) for name in ("casing_depth_ft", "total_depth_ft"))
    return np.where(casing < DEEPEST_CASING * depth, casing, np.nan)


def seal_ft(table: pd.DataFrame) -> float:
    """Return how far casings go into rock, by the median.

    It is 0 where too few wells say, and where holes without a casing on
    record end within that of the top of rock: they found water there.

    Parameters
    ----------
    table : DataFrame
    """
    low, high = (table[f"depth_to_bedrock_ft_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
    rock = np.where(low == high, low, np.nan)
    into = _casing_ft(table) - rock
    into = into[np.isfinite(into)]
    seal = float(np.median(np.maximum(into, 0.0))) if len(into) >= LEAST_CASINGS else 0.0
    open_ft = (table["total_depth_ft"].to_numpy(dtype=float) - rock)[table["casing_depth_ft"].isna().to_numpy()]
    open_ft = open_ft[np.isfinite(open_ft)]
    against = np.mean(open_ft < seal) if len(open_ft) >= LEAST_CASINGS else 0.0
    return seal if seal >= LEAST_SEAL_FT and against <= MOST_AGAINST else 0.0


@dataclass(frozen=True, eq=False)
class Ground:
    """Wells with the depth of rock and of water at each, shape (n,), and how far into rock their casings go.

    `cover_ft` is 0, and `level_ft` NaN, where nothing is known or needed of them.
    """

    wells: pd.DataFrame
    coordinates: np.ndarray
    cover_ft: np.ndarray
    level_ft: np.ndarray
    seal_ft: float

    @classmethod
    def of(
        cls, wells: pd.DataFrame, coordinates: np.ndarray, models: Mapping[str, IntervalKriging], rule: str
    ) -> Ground:
        """Read or map the depths that a rule of where water starts may need."""
        cover, level = np.zeros(len(wells)), np.full(len(wells), np.nan)
        if "depth_to_water_ft" in models and "water" in rule:
            level = water_level_ft(wells, coordinates, models["depth_to_water_ft"])
        seal = 0.0
        if "depth_to_bedrock_ft" in models and in_rock(rule):
            cover, seal = _cover_ft(wells, coordinates, models["depth_to_bedrock_ft"]), seal_ft(wells)
        return cls(wells, coordinates, cover, level, seal)

    def rock_ft(self, rule: str) -> np.ndarray:
        """Depth of the top of rock, or of the casing by a rule that starts there, shape (n,)."""
        if not rule.startswith("casing"):
            return self.cover_ft
        sealed = self.cover_ft + self.seal_ft
        usual = self.wells["casing_depth_ft"].isna().to_numpy() & (sealed < self.wells["total_depth_ft"].to_numpy())
        return np.fmax(self.cover_ft, np.where(usual, sealed, _casing_ft(self.wells)))

    def stops(self, rule: str, water_zones: pd.DataFrame | None) -> Stops:
        """Read the stops; a hole that ended above rock is none, where water is met in rock."""
        start = start_ft(rule, self.rock_ft(rule), self.level_ft)
        if in_rock(rule):
            start = np.where(ended_above_rock(self.wells), np.nan, start)
        return read_stops(self.wells, self.coordinates, start, water_zones)
