"""A region's maps from its dataset, and how good they are on ground left out."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging, surface, validate
from wellrecords.interpolation.distribution import Transform
from wellrecords.interpolation.surface import Surface
from wellrecords.lots import SupportSettings
from wellrecords.lots.support import rate_support
from wellrecords.terrain import LandForm

TRANSFORMS: dict[str, Transform] = {
    "depth_to_bedrock_ft": "log",
    "depth_to_water_ft": "identity",
    "yield_gpm": "log",
    "total_depth_ft": "log",
}
"""Scale on which each quantity is kriged: levels may stand above ground."""
SURFACES = ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
LEAST_WELLS = 30
LEAST_SCORED, LEAST_IN_DISTRICT = 30, 100
"""Exact readings below which a quantity, and a district of it, is not scored: it would be luck."""
DISTRICT_M = 10_000.0


def region_surfaces(
    wells: gpd.GeoDataFrame,
    crs: str,
    cells: int,
    support: SupportSettings | None = None,
    terrain: Path | None = None,
) -> dict[str, Surface]:
    """Interpolate the region's surfaces for its map.

    Parameters
    ----------
    wells : GeoDataFrame
        The canonical table.
    crs : str
        Projected metres.
    cells : int
        Along the longer side of the ground that holds wells.
    support : SupportSettings, optional
        When the records can say, as for a lot: cells where they cannot are
        left empty.
    terrain : path, optional
        A grid of elevation: the form of the land enters each map as far as
        left-out wells are clearly better predicted by it.

    Returns
    -------
    dict of str to Surface
        One a quantity that enough wells have read.
    """
    if len(wells) < LEAST_WELLS:
        return {}
    places = _on_plane(wells, crs)
    (west, south), (east, north) = places.min(axis=0).tolist(), places.max(axis=0).tolist()
    cell_m = max(east - west, north - south) / cells
    error = wells["position_error_m"].to_numpy(dtype=float)
    rules = support or SupportSettings()
    land = None if terrain is None else LandForm.read(terrain, crs, (west, south, east, north))
    drawn = {}
    for quantity in SURFACES:
        low, high = _readings(wells, quantity)
        read = ~np.isnan(low)
        if read.sum() < LEAST_WELLS:
            continue
        known = None if land is None else land.at(places[read])
        model = IntervalKriging(transform=TRANSFORMS[quantity])
        model.fit(places[read], low[read], high[read], error[read], known)
        rate = partial(_support, places[read], error[read], rules)
        bounds_m = (west, south, east, north)
        drawn[quantity] = surface(model, bounds_m, cell_m, support=rate, covariates=None if land is None else land.at)
    return drawn


def validation_table(
    wells: gpd.GeoDataFrame,
    crs: str,
    tell: Callable[[str, int, int], None] = lambda *_: None,
    terrain: Path | None = None,
) -> pd.DataFrame:
    """Score each quantity on ground left out, over the region and by district.

    Parameters
    ----------
    wells : GeoDataFrame
        The canonical table.
    crs : str
        Projected metres.
    tell : callable, optional
        Told of progress.
    terrain : path, optional
        A grid of elevation: adds kriging with the form of the land.

    Returns
    -------
    DataFrame
        The columns of `wellrecords.interpolation.validate` behind `quantity`;
        empty where no quantity has enough exact readings.
    """
    rivals = ["nearest 15 wells", "inverse distance"]
    if find_spec("quantile_forest") is not None:
        rivals.append("quantile forest")
    places = _on_plane(wells, crs)
    corner = np.floor(places / DISTRICT_M) * DISTRICT_M
    district = np.array([f"{east:.0f} E {north:.0f} N" for east, north in corner])
    error = wells["position_error_m"].to_numpy(dtype=float)
    known = None
    if terrain is not None and len(places):
        known = LandForm.read(terrain, crs, (*places.min(axis=0).tolist(), *places.max(axis=0).tolist())).at(places)
    tables = []
    for number, (quantity, transform) in enumerate(TRANSFORMS.items()):
        tell(f"Validating {quantity}", number, len(TRANSFORMS))
        low, high = _readings(wells, quantity)
        read = ~np.isnan(low) & ~np.isnan(high)
        if np.sum(read & (low == high)) < LEAST_SCORED:
            continue
        table = validate(
            IntervalKriging(transform=transform),
            places[read],
            low[read],
            high[read],
            error[read],
            covariates=None if known is None else known.iloc[read],
            district=district[read],
            rivals=rivals,
            least_wells=LEAST_IN_DISTRICT,
        )
        table.insert(0, "quantity", quantity)
        tables.append(table)
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def _on_plane(wells: gpd.GeoDataFrame, crs: str) -> np.ndarray:
    plane = wells.geometry.to_crs(crs)
    return np.column_stack([plane.x, plane.y])


def _readings(wells: gpd.GeoDataFrame, quantity: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the low and the high ends; a total depth is exact."""
    ends = (quantity, quantity) if quantity in wells else (f"{quantity}_low", f"{quantity}_high")
    low, high = (wells[end].to_numpy(dtype=float) for end in ends)
    return low, high


def _support(readings: np.ndarray, error_m: np.ndarray, rules: SupportSettings, points: np.ndarray) -> np.ndarray:
    return rate_support(points, readings, error_m, rules).support
