"""What the records say around lots that share them, before any lot is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from wellrecords.interpolation import IntervalKriging
from wellrecords.lots.gravel import GravelMap, fit_gravels
from wellrecords.lots.joint import normal_correlation
from wellrecords.lots.laws import LawMap
from wellrecords.lots.learning import fit_laws
from wellrecords.lots.places import LotPlaces, project
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.stopping import AT_LEAST, EXACT, LOGGED, MISSING, Stops, read_stops
from wellrecords.lots.support import Nearness, rate_support
from wellrecords.lots.tiles import Company

LEAST_ROCK_READINGS = 5
LEAST_ROCK_SHARE = 0.1
"""With fewer readings of the top of rock, or a smaller share of wells with one, the ground is not taken for rock."""
FINISHED_WELLS = 60
"""Nearest wells whose depths say how shallow wells are finished, where rock is not on record."""
JOINT_WELLS = 2000
MAPPED = ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
JOINT_ORDER = ("depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm")


SHOWN_COLUMNS = [
    "record_id",
    "longitude",
    "latitude",
    "total_depth_ft",
    "depth_to_bedrock_ft_low",
    "depth_to_bedrock_ft_high",
    "depth_to_water_ft_low",
    "depth_to_water_ft_high",
    "yield_gpm_low",
    "yield_gpm_high",
    "private",
    "source",
    "drilled_on",
]
"""Columns of the wells that an estimate shows."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """Everything that the lots are drawn from.

    Attributes
    ----------
    places : LotPlaces
    lot_coordinates : ndarray of shape (m, 2), metres
    wells : DataFrame of n wells
    coordinates : ndarray of shape (n, 2), metres
    models : mapping of str to IntervalKriging
        By quantity; those of which nothing is known are absent.
    laws : LawMap or None
    gravels : GravelMap or None
    water_starts_at : {"ground", "water level", "bedrock", "bedrock and water level"}
        Below which depth water may be met.
    shallow_ft : ndarray of shape (m, k)
        Where top of rock is not on record: depths of the shallowest sixth of
        the wells around. A well is not finished shallower than such. 0 in rock.
    correlation : ndarray of shape (4, 4)
        Of `JOINT_ORDER`.
    nearness : mapping of str to Nearness
    within_1km, within_5km, nearest_m : ndarray of shape (m,)
    dry_below_gpm : float
    level_residual_ft : ndarray of shape (n,)
        Water level less the median that the other wells give it; NaN where
        there is none.
    """

    places: LotPlaces
    lot_coordinates: np.ndarray
    wells: pd.DataFrame
    coordinates: np.ndarray
    models: Mapping[str, IntervalKriging]
    laws: LawMap | None
    gravels: GravelMap | None
    water_starts_at: str
    shallow_ft: np.ndarray
    correlation: np.ndarray
    nearness: Mapping[str, Nearness]
    within_1km: np.ndarray
    within_5km: np.ndarray
    nearest_m: np.ndarray
    dry_below_gpm: float
    level_residual_ft: np.ndarray

    @cached_property
    def noted(self) -> dict[str, np.ndarray]:
        """Columns that the notes read, as arrays."""
        drilled = self.wells["drilled_on"]
        rock = self.wells["main_rock"]
        return {
            "position_error_m": self.wells["position_error_m"].to_numpy(dtype=float),
            "total_depth_ft": self.wells["total_depth_ft"].to_numpy(dtype=float),
            "age_years": ((drilled.max() - drilled).dt.days / 365.25).to_numpy(dtype=float),
            "main_rock": np.array(["" if pd.isna(name) else str(name) for name in rock], dtype=object),
        }

    @cached_property
    def neighbour_table(self) -> pd.DataFrame:
        """The wells, in the columns that an estimate shows."""
        return self.wells[SHOWN_COLUMNS]

    @cached_property
    def tree(self) -> cKDTree | None:
        """Of the wells; None where there are none."""
        return cKDTree(self.coordinates) if len(self.coordinates) else None

    def quantiles(self, quantity: str, levels: np.ndarray) -> np.ndarray:
        """Quantiles of a mapped quantity at the lots, shape (m, n_levels); NaN without a model."""
        if quantity not in self.models:
            return np.full((len(self.places), len(levels)), np.nan)
        predicted = self.models[quantity].predict(self.lot_coordinates)
        return predicted.quantile_at(np.broadcast_to(levels[:, None], (len(levels), len(self.places)))).T

    def start(self, draws: Mapping[str, np.ndarray]) -> np.ndarray:
        """Depth below which each draw may meet water, feet."""
        return _start(self.water_starts_at, draws["depth_to_bedrock_ft"], draws["depth_to_water_ft"])


def _start(rule: str, rock_ft: np.ndarray, water_ft: np.ndarray) -> np.ndarray:
    if rule == "ground":
        return np.zeros_like(rock_ft)
    if rule == "water level":
        return np.fmax(water_ft, 0.0)
    return rock_ft if rule == "bedrock" else np.fmax(rock_ft, water_ft)


def gather_evidence(
    wells: pd.DataFrame,
    places: LotPlaces,
    company: Company,
    settings: EstimateSettings,
    water_zones: pd.DataFrame | None = None,
) -> Evidence:
    """Read the wells for lots that share them.

    Nothing that is learnt depends on where the lots are, or how many.

    Parameters
    ----------
    wells : DataFrame
        The canonical table, with positions.
    places : LotPlaces
        All lots.
    company : Company
        Which of the wells and the lots.
    settings : EstimateSettings
    water_zones : DataFrame, optional

    Returns
    -------
    Evidence
        Of the lots of the company.
    """
    places = places.take(company.lots)
    lots = project(company.middle, places.longitude, places.latitude)
    longitude, latitude = wells["longitude"].to_numpy(), wells["latitude"].to_numpy()
    within = _counts(lots, project(company.middle, longitude[company.around], latitude[company.around]))
    table = wells.iloc[company.wells].reset_index(drop=True)
    coordinates = project(company.middle, table["longitude"].to_numpy(), table["latitude"].to_numpy())
    error = table["position_error_m"].fillna(0.0).to_numpy()

    models, used = _fit_models(table, coordinates, error, settings)
    laws, starts_at, cover = _fit_laws(table, coordinates, models, settings, water_zones)
    in_rock = starts_at.startswith("bedrock")
    gravels = None
    shallow = np.zeros((len(places), 1))
    if laws is not None and not in_rock and len(places):
        shallow = _shallowest(laws.stops, lots)
    ended_above = _ended_above_rock(table)
    made_water = (table["yield_gpm_low"] > 0).to_numpy()
    if in_rock and laws is not None:
        known = np.isfinite(table["yield_gpm_low"].to_numpy()) & np.isfinite(table["total_depth_ft"].to_numpy())
        known &= made_water | ~ended_above
        gravels = fit_gravels(
            coordinates[known],
            table["total_depth_ft"].to_numpy()[known],
            table["yield_gpm_low"].to_numpy()[known],
            cover[known],
            ended_above[known],
            laws.habits,
        )
    says = np.zeros(len(table), dtype=bool)
    if laws is not None:
        says[laws.stops.row[laws.stops.kind != MISSING]] = True
        says |= ended_above & made_water
    nearness = {
        name: rate_support(lots, coordinates[rows], error[rows], settings.support)
        for name, rows in {**used, "depth_to_target_ft": np.flatnonzero(says)}.items()
    }
    residual = np.full(len(table), np.nan)
    if "depth_to_water_ft" in models:
        model = models["depth_to_water_ft"]
        rows = used["depth_to_water_ft"][model.readings_.row]
        residual[rows] = table["depth_to_water_ft_low"].to_numpy()[rows] - model.leave_one_out().distribution.quantile(
            0.5
        )
    return Evidence(
        places=places,
        lot_coordinates=lots,
        wells=table,
        coordinates=coordinates,
        models=models,
        laws=laws,
        gravels=gravels,
        water_starts_at=starts_at,
        shallow_ft=shallow,
        correlation=_correlation(models, used, laws, len(table), settings.random_state),
        nearness=nearness,
        within_1km=within[0],
        within_5km=within[1],
        nearest_m=within[2],
        dry_below_gpm=_dry_below(table, settings),
        level_residual_ft=np.where(np.isfinite(residual), residual, np.nan),
    )


def _counts(lots: np.ndarray, wells: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if not len(wells) or not len(lots):
        zero = np.zeros(len(lots), dtype=int)
        return zero, zero, np.full(len(lots), np.inf)
    tree = cKDTree(wells)
    one, five = (tree.query_ball_point(lots, reach, return_length=True) for reach in (1000.0, 5000.0))
    return one, five, tree.query(lots)[0]


def _dry_below(table: pd.DataFrame, settings: EstimateSettings) -> float:
    if settings.dry_below_gpm is not None:
        return settings.dry_below_gpm
    positive = table["yield_gpm_low"].to_numpy()
    positive = positive[np.isfinite(positive) & (positive > 0)]
    return min(0.5, float(np.quantile(positive, 0.01))) if len(positive) else 0.5


def _ended_above_rock(table: pd.DataFrame) -> np.ndarray:
    """Return the holes whose record says that rock lies below their bottom."""
    low, high = table["depth_to_bedrock_ft_low"].to_numpy(), table["depth_to_bedrock_ft_high"].to_numpy()
    return np.isinf(high) & (low >= table["total_depth_ft"].to_numpy() - 0.5)


def _fit_models(
    table: pd.DataFrame, coordinates: np.ndarray, error: np.ndarray, settings: EstimateSettings
) -> tuple[dict[str, IntervalKriging], dict[str, np.ndarray]]:
    """Map each quantity of which something is known; return also the rows used."""
    models, used = {}, {}
    first_record = (table["record_kind"] != "repaired").fillna(True).to_numpy(dtype=bool)
    tested = (table["yield_method"] == "pumping_test").fillna(False).to_numpy(dtype=bool)
    for name in MAPPED:
        low, high = (table[f"{name}_{end}"].to_numpy(dtype=float).copy() for end in ("low", "high"))
        if name == "yield_gpm":
            high[tested] = np.inf  # a pumping test draws what the pump draws: a lower bound
        rows = np.flatnonzero(np.isfinite(low + 0.0 * np.nan_to_num(high)) | (np.isinf(low) & np.isfinite(high)))
        rows = rows[~np.isnan(high[rows]) & first_record[rows]]
        used[name] = rows
        if np.sum(np.isfinite(high[rows]) & np.isfinite(low[rows])) < (
            LEAST_ROCK_READINGS if name == "depth_to_bedrock_ft" else 3
        ):
            used[name] = rows[:0]
            continue
        transform: Literal["log", "identity"] = "identity" if name == "depth_to_water_ft" else "log"
        model = IntervalKriging(transform=transform, random_state=settings.random_state)
        models[name] = model.fit(coordinates[rows], low[rows], high[rows], error[rows])
    return models, used


def _cover(table: pd.DataFrame, coordinates: np.ndarray, model: IntervalKriging) -> np.ndarray:
    """Depth to bedrock of every well: as read, else as mapped, but no deeper than casing or most of the hole."""
    low, high = table["depth_to_bedrock_ft_low"].to_numpy(), table["depth_to_bedrock_ft_high"].to_numpy()
    cover = 0.5 * (low + high)
    open_ended = ~np.isfinite(cover)
    mapped = model.predict(coordinates[open_ended]).quantile(0.5) if open_ended.any() else np.empty(0)
    casing = table["casing_depth_ft"].to_numpy()[open_ended]
    bottom = 0.9 * table["total_depth_ft"].to_numpy()[open_ended]
    least = np.nan_to_num(low[open_ended], nan=0.0)
    cover[open_ended] = np.maximum(np.fmin(np.fmin(mapped, casing), bottom), least)
    return cover


def _fit_laws(
    table: pd.DataFrame,
    coordinates: np.ndarray,
    models: Mapping[str, IntervalKriging],
    settings: EstimateSettings,
    water_zones: pd.DataFrame | None,
) -> tuple[LawMap | None, str, np.ndarray]:
    """Fit the law of fractures; say below what water may start, and how thick the cover is at each well."""
    cover = np.zeros(len(table))
    level = np.full(len(table), np.nan)
    rules = ["ground"]
    if "depth_to_water_ft" in models:
        level = _water_level(table, coordinates, models["depth_to_water_ft"])
        rules = ["water level"]
    in_rock = np.ones(len(table), dtype=bool)
    if "depth_to_bedrock_ft" in models and _rock_is_on_record(table):
        cover = _cover(table, coordinates, models["depth_to_bedrock_ft"])
        rules = ["bedrock and water level", "bedrock"] if "depth_to_water_ft" in models else ["bedrock"]
        in_rock = ~_ended_above_rock(table)
    starts = [_start(rule, cover, level) for rule in rules]
    candidates = [read_stops(table, coordinates, np.where(in_rock, start, np.nan), water_zones) for start in starts]
    if not np.any(candidates[0].kind != MISSING):
        return None, rules[0], cover
    laws = fit_laws(candidates, n_neighbours=settings.n_neighbours, random_state=settings.random_state)
    return laws, rules[laws.candidate], cover


def _shallowest(stops: Stops, lots: np.ndarray) -> np.ndarray:
    """Depths of the shallowest sixth of the producing wells around each lot but for the last few, shape (m, k)."""
    producing = np.isin(stops.kind, (EXACT, LOGGED, AT_LEAST))
    if not producing.any():
        return np.zeros((len(lots), 1))
    count = min(FINISHED_WELLS, int(producing.sum()))
    _, near = cKDTree(stops.coordinates[producing]).query(lots, np.arange(1, count + 1))
    return np.sort(stops.depth_ft[producing][near], axis=1)[:, count // 20 : max(count // 6, 1)]


def _rock_is_on_record(table: pd.DataFrame) -> bool:
    read = np.isfinite(table["depth_to_bedrock_ft_high"].to_numpy())
    return bool(read.sum() >= LEAST_ROCK_SHARE * max(table["total_depth_ft"].notna().sum(), 1))


def _water_level(table: pd.DataFrame, coordinates: np.ndarray, model: IntervalKriging) -> np.ndarray:
    """Depth to water of every well: as read, else as mapped, but no deeper than most of the hole."""
    high = table["depth_to_water_ft_high"].to_numpy()
    level = np.where(np.isfinite(high), high, np.nan)
    unread = np.isnan(level)
    if unread.any():
        mapped = model.predict(coordinates[unread]).quantile(0.5)
        level[unread] = np.fmin(mapped, 0.9 * table["total_depth_ft"].to_numpy()[unread])
    return level


def _correlation(
    models: Mapping[str, IntervalKriging],
    used: Mapping[str, np.ndarray],
    laws: LawMap | None,
    n: int,
    random_state: int,
) -> np.ndarray:
    """Correlation of the four quantities, from where the wells' readings fell."""
    low, high = np.zeros((n, len(JOINT_ORDER))), np.ones((n, len(JOINT_ORDER)))
    for name, model in models.items():
        left_out = model.leave_one_out()
        rows, column = used[name][model.readings_.row], JOINT_ORDER.index(name)
        low[rows, column], high[rows, column] = left_out.pit_low, left_out.pit_high
    if laws is not None:
        rows, column = laws.stops.row[laws.scored], JOINT_ORDER.index("depth_to_target_ft")
        low[rows, column], high[rows, column] = laws.left_out_levels()
    spoken = (high - low < 0.999).sum(axis=1) >= 2
    if laws is not None:
        spoken &= np.isin(np.arange(n), laws.stops.row[laws.scored])
    chosen = np.random.default_rng(random_state).permutation(np.flatnonzero(spoken))[:JOINT_WELLS]
    return normal_correlation(low[chosen], high[chosen], random_state=random_state)
