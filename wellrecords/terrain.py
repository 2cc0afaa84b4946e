"""Land elevation from a grid, at places, and what the form of the land says of a place.

Needs the extra `raster` (rasterio).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import numpy as np
import pandas as pd
from scipy.ndimage import distance_transform_edt, map_coordinates, minimum_filter

from wellrecords.errors import WellRecordsError
from wellrecords.schema import WGS84
from wellrecords.units import FT_PER_M

TILE_CELLS = 1_024
"""Cells a side of the windows that are read one after the other."""
FORM_CELL_M, MOST_CELLS = 30.0, 1_500
"""The form of the land is taken from cells of this size, or so many across the region where that is coarser."""
VALLEY_M = 1_000.0
"""The nearest valley is the lowest ground so far east or west, north or south (common practice: a landform's size)."""
_FEET = {"ft", "foot", "feet", "us survey foot", "us-ft", "ftus", "international foot"}
_METRES = {"m", "metre", "metres", "meter", "meters"}


def sample_elevation_ft(
    path: str | Path, longitude: np.ndarray, latitude: np.ndarray, unit: str | None = None
) -> np.ndarray:
    """Return the land elevation at places, in feet, between the grid's cells by bilinear interpolation.

    Parameters
    ----------
    path : path
        A raster that rasterio reads, such as a GeoTIFF; its first band is used.
    longitude, latitude : array_like, shape (n,)
        Degrees WGS84.
    unit : {"m", "ft"}, optional
        Of the band, where the file does not say; a file that says neither is
        taken to be in metres, as public elevation grids are.

    Returns
    -------
    ndarray of float, shape (n,)
        Feet above the grid's datum; nan outside the grid and where a cell around the place is empty.

    Raises
    ------
    WellRecordsError
        If rasterio is not installed, the file cannot be read, has no
        coordinate system, or is in a unit that is neither metres nor feet.
    """
    longitude, latitude = np.atleast_1d(np.asarray(longitude, float)), np.atleast_1d(np.asarray(latitude, float))
    with _opened(path) as grid:
        from rasterio.warp import transform

        factor = _feet_a_unit(unit or (grid.units[0] or ""), path)
        place = np.isfinite(longitude) & np.isfinite(latitude)
        x, y = (
            np.array(values)
            for values in transform(WGS84, grid.crs, longitude[place].tolist(), latitude[place].tolist())
        )
        to_cells = ~grid.transform
        column = to_cells.a * x + to_cells.b * y + to_cells.c
        row = to_cells.d * x + to_cells.e * y + to_cells.f
        out = np.full(len(longitude), np.nan)
        out[place] = _bilinear(grid, column - 0.5, row - 0.5) * factor
        return out


@dataclass(frozen=True, eq=False)
class LandForm:
    """Elevation, slope and height above the nearest valley, on a grid of the region's plane.

    Attributes
    ----------
    west, north, cell_m : float
        Corner and cell of the grid, metres.
    layers : dict of str to ndarray of shape (rows, columns), rows from the north
        `land_elevation_ft`; `slope_percent`, of the plane through the cells
        beside; `above_valley_ft`, above the lowest ground within `VALLEY_M`.
    """

    west: float
    north: float
    cell_m: float
    layers: dict[str, np.ndarray]

    @classmethod
    def read(cls, path: str | Path, crs: str, bounds_m: tuple[float, float, float, float]) -> Self:
        """Read the ground around a region, put on its plane.

        Parameters
        ----------
        path : path
            A raster that rasterio reads.
        crs : str
            The region's projected coordinate system, metres.
        bounds_m : tuple of (west, south, east, north)

        Returns
        -------
        LandForm
            Empty cells, and ground beyond the raster, take the nearest cell.

        Raises
        ------
        WellRecordsError
            As `sample_elevation_ft`; or where the raster lies elsewhere.
        """
        west, south, east, north = bounds_m
        cell_m = max(FORM_CELL_M, max(east - west, north - south) / MOST_CELLS)
        west, north = west - VALLEY_M, north + VALLEY_M
        shape = (int((north - south + VALLEY_M) / cell_m) + 1, int((east + VALLEY_M - west) / cell_m) + 1)
        with _opened(path) as grid:
            from rasterio.enums import Resampling
            from rasterio.transform import from_origin
            from rasterio.vrt import WarpedVRT

            factor = _feet_a_unit(grid.units[0] or "", path)
            corner = from_origin(west, north, cell_m, cell_m)
            options = {"crs": crs, "transform": corner, "height": shape[0], "width": shape[1], "nodata": np.nan}
            with WarpedVRT(grid, resampling=Resampling.bilinear, dtype="float64", **options) as warped:
                elevation = warped.read(1) * factor
        known = np.isfinite(elevation)
        if not known.any():
            msg = f"The terrain {path} holds no ground of the region. Next: give the grid of the region as `terrain`."
            raise WellRecordsError(msg)
        nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
        elevation = elevation[tuple(nearest)]
        rise_south, rise_east = np.gradient(elevation, cell_m * FT_PER_M)
        across = 2 * round(VALLEY_M / cell_m) + 1
        layers = {
            "land_elevation_ft": elevation,
            "slope_percent": 100.0 * np.hypot(rise_south, rise_east),
            "above_valley_ft": elevation - minimum_filter(elevation, size=across, mode="nearest"),
        }
        return cls(west, north, cell_m, layers)

    def at(self, coordinates: np.ndarray) -> pd.DataFrame:
        """Return the layers at places, between the cells' middles by bilinear interpolation.

        Parameters
        ----------
        coordinates : ndarray of shape (n, 2), metres

        Returns
        -------
        DataFrame
            A column a layer.
        """
        row = (self.north - coordinates[:, 1]) / self.cell_m - 0.5
        column = (coordinates[:, 0] - self.west) / self.cell_m - 0.5
        at = {
            name: map_coordinates(layer, (row, column), order=1, mode="nearest") for name, layer in self.layers.items()
        }
        return pd.DataFrame(at)


@contextmanager
def _opened(path: str | Path) -> Iterator[Any]:
    """Open a raster; what may go wrong is told as an error for people."""
    try:
        import rasterio
        from rasterio.errors import RasterioIOError
    except ImportError as error:
        msg = (
            "Elevation from a terrain grid needs rasterio. Next: pip install 'wellrecords[raster]', or leave "
            "`terrain` out of the settings."
        )
        raise WellRecordsError(msg) from error
    try:
        with rasterio.open(path) as grid:
            if grid.crs is None:
                msg = f"The terrain {path} has no coordinate system. Next: give it one (gdal_edit -a_srs)."
                raise WellRecordsError(msg)
            yield grid
    except RasterioIOError as error:
        msg = f"The terrain {path} cannot be read: {error}. Next: give a GeoTIFF as `terrain` in the settings."
        raise WellRecordsError(msg) from error


def _feet_a_unit(unit: str, path: str | Path) -> float:
    name = unit.strip().lower()
    if name in _FEET:
        return 1.0
    if name in _METRES or not name:
        return FT_PER_M
    msg = f"The terrain {path} is in {unit!r}. Rule: metres or feet. Next: say `unit`, or convert the grid."
    raise WellRecordsError(msg)


def _bilinear(grid: Any, column: np.ndarray, row: np.ndarray) -> np.ndarray:
    """Interpolate between cell centres, reading the grid in windows; columns and rows count from cell centres.

    In the half cell along the rim the outermost cells go on.
    """
    from rasterio.windows import Window

    out = np.full(len(column), np.nan)
    inside = (column >= -0.5) & (column <= grid.width - 0.5) & (row >= -0.5) & (row <= grid.height - 0.5)
    column = np.where(inside, np.clip(column, 0, grid.width - 1), 0.0)
    row = np.where(inside, np.clip(row, 0, grid.height - 1), 0.0)
    left, top = np.floor(column).astype(int), np.floor(row).astype(int)
    tile = (top // TILE_CELLS) * (grid.width // TILE_CELLS + 1) + left // TILE_CELLS
    for number in np.unique(tile[inside]):
        here = np.flatnonzero(inside & (tile == number))
        first_column, first_row = int(left[here].min()), int(top[here].min())
        wide = min(int(left[here].max()) + 2, grid.width) - first_column
        high = min(int(top[here].max()) + 2, grid.height) - first_row
        window = Window(first_column, first_row, wide, high)
        cells = grid.read(1, window=window, masked=True).astype(float).filled(np.nan)
        c, r = left[here] - first_column, top[here] - first_row
        c2, r2 = np.minimum(c + 1, wide - 1), np.minimum(r + 1, high - 1)
        u, v = column[here] - left[here], row[here] - top[here]
        upper = _between(cells[r, c], cells[r, c2], u)
        lower = _between(cells[r2, c], cells[r2, c2], u)
        out[here] = _between(upper, lower, v)
    return out


def _between(first: np.ndarray, second: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Weigh two values; an empty cell of weight 0 does not empty the result."""
    return np.where(share == 0.0, first, np.where(share == 1.0, second, first * (1.0 - share) + second * share))
