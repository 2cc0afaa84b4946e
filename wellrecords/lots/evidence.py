"""What the records say around lots that share them, before any lot is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.finished import FinishedDepths, map_finished_depths, share_finished
from wellrecords.lots.gravel import GravelMap, fit_gravels
from wellrecords.lots.ground import Ground, ended_above_rock, in_rock, start_ft, water_level_ft
from wellrecords.lots.laws import LawMap
from wellrecords.lots.learnt import learn_or_read
from wellrecords.lots.mapped import TREES, fit_models
from wellrecords.lots.places import LotPlaces, project
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.shared import Shared, learnt_from
from wellrecords.lots.stopping import MISSING
from wellrecords.lots.support import Nearness, rate_support
from wellrecords.lots.tiles import Company, District
from wellrecords.reading_words import DRY_BELOW_GPM

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
    water_starts_at : str
        Below which depth water may be met, see `ground.start_ft`.
    seal_ft : float
        How far into rock casings go.
    finished : FinishedDepths or None
        None where wells stop at the first water that is enough.
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
    seal_ft: float
    finished: FinishedDepths | None
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
        sealed = self.seal_ft if self.water_starts_at.startswith("casing") else 0.0
        return start_ft(self.water_starts_at, draws["depth_to_bedrock_ft"] + sealed, draws["depth_to_water_ft"])


def gather_evidence(
    wells: pd.DataFrame,
    places: LotPlaces,
    district: District,
    settings: EstimateSettings,
    water_zones: pd.DataFrame | None = None,
    learnt: Path | None = None,
) -> Iterator[tuple[Company, Evidence]]:
    """Read the wells of a district for its lots, company after company.

    Nothing that is learnt depends on where the lots are, or how many.

    Parameters
    ----------
    wells : DataFrame
        The wells of the district: the canonical table, with positions.
    places : LotPlaces
        All lots.
    district : District
    settings : EstimateSettings
    water_zones : DataFrame, optional
    learnt : Path, optional
        Folder of what was learnt before.

    Yields
    ------
    Company, Evidence
    """
    coordinates = project(district.middle, wells["longitude"].to_numpy(), wells["latitude"].to_numpy())
    some = learnt_from(coordinates, settings.random_state)
    sample = wells.iloc[some].reset_index(drop=True)

    def heard(company: Company, covariances: Mapping[str, Covariance], n_jobs: int) -> _Heard:
        theirs = wells.iloc[company.wells].reset_index(drop=True)
        return _Heard.of(theirs, coordinates[company.wells], covariances, settings.random_state, n_jobs)

    first = district.companies[0]
    shared, of_first = learn_or_read(learnt, sample, coordinates[some], settings, water_zones, partial(heard, first))
    for company in district.companies:
        theirs = of_first if company is first else heard(company, shared.covariances, settings.n_jobs)
        asked = places.take(company.lots)
        lots = project(district.middle, asked.longitude, asked.latitude)
        yield company, _evidence(theirs, asked, lots, _counts(lots, coordinates), shared, settings, water_zones)


@dataclass(frozen=True, eq=False)
class _Heard:
    """The wells of a company, and the maps of what they read."""

    wells: pd.DataFrame
    coordinates: np.ndarray
    models: Mapping[str, IntervalKriging]
    used: Mapping[str, np.ndarray]

    @classmethod
    def of(
        cls,
        wells: pd.DataFrame,
        coordinates: np.ndarray,
        covariances: Mapping[str, Covariance],
        random_state: int,
        n_jobs: int,
    ) -> _Heard:
        models, used = fit_models(
            wells, coordinates, covariances=covariances, trees=TREES, random_state=random_state, n_jobs=n_jobs
        )
        return cls(wells, coordinates, models, used)


def _evidence(
    heard: _Heard,
    places: LotPlaces,
    lots: np.ndarray,
    within: tuple[np.ndarray, np.ndarray, np.ndarray],
    shared: Shared,
    settings: EstimateSettings,
    water_zones: pd.DataFrame | None,
) -> Evidence:
    """Read the wells of a company, beside what they share with those around."""
    wells, coordinates, models, used = heard.wells, heard.coordinates, heard.models, heard.used
    starts_at = shared.water_starts_at
    ground = Ground.of(wells, coordinates, models, starts_at)
    laws = None if shared.laws is None else shared.laws.of_stops(ground.stops(starts_at, water_zones))
    ended_above, made_water = ended_above_rock(wells), (wells["yield_gpm_low"] > 0).to_numpy()
    gravels = finished = None
    if laws is not None and in_rock(starts_at):
        depth, gpm = (wells[name].to_numpy() for name in ("total_depth_ft", "yield_gpm_low"))
        known = np.isfinite(gpm) & np.isfinite(depth) & (made_water | ~ended_above)
        level = water_level_ft(wells[known], coordinates[known], models.get("depth_to_water_ft"))
        gravels = fit_gravels(
            coordinates[known], depth[known], gpm[known], ground.cover_ft[known], level, ended_above[known], laws.habits
        )
    elif laws is not None and shared.finished is not None:
        depths = map_finished_depths(laws.stops, shared.finished, settings.random_state)
        finished = None if depths is None else FinishedDepths(depths, share_finished(laws.habits))
    says = ended_above & made_water if laws is not None else np.zeros(len(wells), dtype=bool)
    if laws is not None:
        says[laws.stops.row[laws.stops.kind != MISSING]] = True
    error = wells["position_error_m"].fillna(0.0).to_numpy()
    nearness = {
        name: rate_support(lots, coordinates[rows], error[rows], settings.support)
        for name, rows in {**used, "depth_to_target_ft": np.flatnonzero(says)}.items()
    }
    return Evidence(
        places=places,
        lot_coordinates=lots,
        wells=wells,
        coordinates=coordinates,
        models=models,
        laws=laws,
        gravels=gravels,
        water_starts_at=starts_at,
        seal_ft=ground.seal_ft,
        finished=finished,
        correlation=shared.correlation,
        nearness=nearness,
        within_1km=within[0],
        within_5km=within[1],
        nearest_m=within[2],
        dry_below_gpm=_dry_below(wells, settings),
        level_residual_ft=_level_residual(wells, models, used),
    )


def _level_residual(
    wells: pd.DataFrame, models: Mapping[str, IntervalKriging], used: Mapping[str, np.ndarray]
) -> np.ndarray:
    residual = np.full(len(wells), np.nan)
    if "depth_to_water_ft" in models:
        model = models["depth_to_water_ft"]
        rows = used["depth_to_water_ft"][model.readings_.row]
        level = wells["depth_to_water_ft_low"].to_numpy()[rows]
        residual[rows] = level - model.leave_one_out().distribution.quantile(0.5)
    return np.where(np.isfinite(residual), residual, np.nan)


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
    return min(DRY_BELOW_GPM, float(np.quantile(positive, 0.01))) if len(positive) else DRY_BELOW_GPM
