"""Surfaces: median, 10th and 90th percentile and support on a grid of cells.

The grid is cut into squares of 4 by 4 cells that share their neighbours and
one factorisation, and into bands that bound the memory. Cells where the
records cannot say are left empty (NaN).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.kriging import IntervalKriging

LEVELS = (0.1, 0.5, 0.9)
SUPPORT = ("none", "thin", "good")
SIDE = 4  # cells of a square that share their neighbours
SPAN = 4.0  # the neighbours must reach this many times farther than the corners of the square
CELLS_A_BAND = 60_000


@dataclass(frozen=True)
class Surface:
    """A quantity on a grid, in the unit of the readings.

    Parameters
    ----------
    easting : ndarray of shape (columns,)
        Middle of each column, rising, metres.
    northing : ndarray of shape (rows,)
        Middle of each row, rising, metres.
    p10, median, p90 : ndarrays of float32, shape (rows, columns)
        NaN where the records cannot say.
    support : ndarray of int8, shape (rows, columns)
        0 none, 1 thin, 2 good.
    """

    easting: FloatArray
    northing: FloatArray
    p10: npt.NDArray[np.float32]
    median: npt.NDArray[np.float32]
    p90: npt.NDArray[np.float32]
    support: npt.NDArray[np.int8]

    def compact(self, digits: int = 3) -> dict[str, Any]:
        """Return plain lists for JSON, rounded to so many significant digits, empty cells as None."""
        layers = {name: _plain(getattr(self, name), digits) for name in ("p10", "median", "p90")}
        return {
            "west_m": float(self.easting[0]),
            "south_m": float(self.northing[0]),
            "cell_m": float(self.easting[1] - self.easting[0]) if len(self.easting) > 1 else None,
            "columns": len(self.easting),
            "rows": len(self.northing),
            "support": self.support.ravel().tolist(),
            **layers,
        }

    def write_geotiff(self, path: str | Path, crs: str) -> Path:
        """Write a GeoTIFF of four bands: p10, median, p90, support (needs the optional rasterio).

        Parameters
        ----------
        path : str or Path
        crs : str
            Of the coordinates, for instance "EPSG:26919".

        Returns
        -------
        Path
        """
        import rasterio
        from rasterio.transform import from_origin

        if len(self.easting) < 2 or len(self.northing) < 2:
            msg = f"A GeoTIFF needs at least 2 by 2 cells; the surface has {self.median.shape}."
            raise ValueError(msg)
        across, along = self.easting[1] - self.easting[0], self.northing[1] - self.northing[0]
        corner = from_origin(self.easting[0] - across / 2, self.northing[-1] + along / 2, across, along)
        layers = {name: getattr(self, name) for name in ("p10", "median", "p90", "support")}
        with rasterio.open(
            path,
            "w",
            driver="GTiff",
            height=len(self.northing),
            width=len(self.easting),
            count=len(layers),
            dtype="float32",
            crs=crs,
            transform=corner,
            nodata=np.nan,
            compress="deflate",
            tiled=True,
        ) as raster:
            for band, (name, values) in enumerate(layers.items(), 1):
                raster.write(values[::-1].astype(np.float32), band)  # rasters start in the north
                raster.set_band_description(band, name)
        return Path(path)


def surface(
    model: IntervalKriging,
    bounds_m: tuple[float, float, float, float],
    cell_m: float,
    *,
    reach_m: float = 2_000.0,
    good_wells: int = 6,
    support: Callable[[FloatArray], npt.NDArray[Any]] | None = None,
    covariates: Callable[[FloatArray], Any] | None = None,
) -> Surface:
    """Predict on a grid.

    Parameters
    ----------
    model : IntervalKriging
        Fitted.
    bounds_m : tuple of (west, south, east, north), metres
    cell_m : float
    reach_m, good_wells : float, int
        Support is good where so many wells stand within reach, thin where at
        least one does, and none elsewhere.
    support : callable, optional
        Takes points of shape (m, 2) and returns "none", "thin" or "good" for
        each (or 0, 1, 2), in place of the rule above.
    covariates : callable, optional
        Takes points of shape (m, 2) and returns those that the model was
        fitted with, (m, c).

    Returns
    -------
    Surface
    """
    west, south, east, north = bounds_m
    if not (cell_m > 0 and east > west and north > south):
        msg = f"bounds_m must be (west, south, east, north) with positive cell_m; got {bounds_m} and {cell_m}."
        raise ValueError(msg)
    easting = _middles(west, east, cell_m)
    northing = _middles(south, north, cell_m)
    shape = len(northing), len(easting)
    layers = [np.full(shape, np.nan, dtype=np.float32) for _ in LEVELS]
    rated = np.zeros(shape, dtype=np.int8)
    rate = support if support is not None else _nearness(model, reach_m, good_wells)
    rows = max(SIDE, CELLS_A_BAND // len(easting) // SIDE * SIDE)
    for start in range(0, len(northing), rows):
        band = slice(start, min(start + rows, len(northing)))
        points = np.stack(np.meshgrid(easting, northing[band]), axis=-1)
        rated[band] = _as_numbers(rate(points.reshape(-1, 2))).reshape(points.shape[:2])
        for group in _squares(points.shape[:2], rated[band] > 0, _share(model, points, cell_m)):
            known = None if covariates is None else covariates(points[group].reshape(-1, 2))
            quantiles = model.predict_groups(points[group], known).quantile(LEVELS)
            for layer, values in zip(layers, quantiles.T, strict=True):
                layer[band][group] = values.reshape(group[0].shape)
    for layer in layers:
        layer[rated == 0] = np.nan
    return Surface(easting, northing, layers[0], layers[1], layers[2], rated)


def _middles(start: float, end: float, cell_m: float) -> FloatArray:
    count = max(1, round((end - start) / cell_m))
    return np.asarray(start + cell_m * (np.arange(count) + 0.5), dtype=np.float64)


Group = tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]


def _squares(shape: tuple[int, int], wanted: npt.NDArray[np.bool_], share: npt.NDArray[np.bool_]) -> list[Group]:
    """Row and column indices of the squares, shape (groups, cells): whole ones that may share, and single cells."""
    row, column = np.indices(shape)
    height, width = shape[0] // SIDE, shape[1] // SIDE
    groups: list[Group] = []
    single = wanted.copy()
    if height and width:
        cut = (slice(None, height * SIDE), slice(None, width * SIDE))

        def square(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
            return values[cut].reshape(height, SIDE, width, SIDE).swapaxes(1, 2).reshape(-1, SIDE * SIDE)

        chosen = square(wanted).any(axis=1) & square(share).all(axis=1)
        if chosen.any():
            groups.append((square(row)[chosen], square(column)[chosen]))
            single[groups[0]] = False
    if single.any():
        alone_row, alone_column = np.nonzero(single)
        groups.append((alone_row[:, None], alone_column[:, None]))
    return groups


def _share(model: IntervalKriging, points: FloatArray, cell_m: float) -> npt.NDArray[np.bool_]:
    """Whether each cell's neighbours reach far enough for a square of cells to share them."""
    thinned = points[SIDE // 2 :: SIDE, SIDE // 2 :: SIDE]
    corner = cell_m * SIDE / np.sqrt(2.0)
    if thinned.size == 0:
        return np.zeros(points.shape[:2], dtype=bool)
    reach = model.reach(thinned.reshape(-1, 2)).reshape(thinned.shape[:2])
    wide = np.kron(reach > SPAN * corner, np.ones((SIDE, SIDE), dtype=bool))
    out: npt.NDArray[np.bool_] = np.zeros((points.shape[0], points.shape[1]), dtype=bool)
    rows, columns = np.minimum(wide.shape, out.shape)
    out[:rows, :columns] = wide[:rows, :columns]
    return out


def _nearness(model: IntervalKriging, reach_m: float, good_wells: int) -> Callable[[FloatArray], npt.NDArray[np.int8]]:
    def rate(points: FloatArray) -> npt.NDArray[np.int8]:
        wells = model.wells_within(points, reach_m, good_wells)
        return (1 + (wells >= good_wells)).astype(np.int8) * (wells > 0)

    return rate


def _as_numbers(support: npt.NDArray[Any]) -> npt.NDArray[np.int8]:
    if np.issubdtype(np.asarray(support).dtype, np.number):
        return np.asarray(support).astype(np.int8)
    return np.array([SUPPORT.index(str(word)) for word in np.asarray(support).ravel()], dtype=np.int8)


def _plain(values: npt.NDArray[np.float32], digits: int) -> list[float | None]:
    """Round to significant digits; NaN as None."""
    flat = values.ravel().astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        power = 10.0 ** (digits - 1 - np.floor(np.log10(np.abs(flat))))
        rounded = np.where(flat == 0, 0.0, np.round(flat * power) / power)
    return [None if np.isnan(value) else value for value in rounded.tolist()]
