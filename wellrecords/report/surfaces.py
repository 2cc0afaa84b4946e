"""Surfaces on the map: a grid of values as a picture laid over its ground."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np
from pyproj import Transformer

from wellrecords.report.assets import data_uri
from wellrecords.report.ramp import Ramp

_MERCATOR = "EPSG:3857"
_WGS84 = "EPSG:4326"
_SUPPORT_OPACITY = {"good": 1.0, "thin": 0.55, "none": 0.0}


@dataclass(frozen=True)
class MapSurface:
    """One layer of a regional map: a regular grid in a projected system.

    Parameters
    ----------
    key : str
        Quantity, such as ``"depth_to_bedrock_ft"``; surfaces of one key share
        their colours with each other and with the wells.
    title : str
        Of the layer, such as "Depth to rock, middle estimate".
    easting, northing : ndarray of shape (n_columns,) and (n_rows,)
        Cell centres in metres, evenly spaced, rising or falling.
    values : ndarray of shape (n_rows, n_columns)
        NaN where there is none.
    crs : str
        Of easting and northing.
    unit : str, default="ft"
        Of the values, where the key is not one that the wells have.
    support : ndarray of str, shape (n_rows, n_columns), optional
        "good", "thin" (drawn fainter) or "none" (left empty).
    """

    key: str
    title: str
    easting: np.ndarray
    northing: np.ndarray
    values: np.ndarray
    crs: str
    unit: str = "ft"
    support: np.ndarray | None = None

    def __post_init__(self) -> None:
        expected = (len(self.northing), len(self.easting))
        for name in ("values", "support"):
            array = getattr(self, name)
            if array is not None and np.shape(array) != expected:
                msg = (
                    f"The {name} of surface {self.title!r} have shape {np.shape(array)}; "
                    f"northing and easting give {expected} (rows, columns)."
                )
                raise ValueError(msg)


@dataclass(frozen=True)
class SurfacePicture:
    """A picture and the corners it is laid on: ``[[south, west], [north, east]]``, WGS84."""

    uri: str
    bounds: list[list[float]]


def well_supported(surface: MapSurface) -> MapSurface:
    """Return a surface that is empty where its support is not good: for those who may not see one well's reading.

    Parameters
    ----------
    surface : MapSurface
        With its support.
    """
    good = np.asarray(surface.support) == "good"
    return replace(surface, values=np.where(good, surface.values, np.nan))


def picture_of(surface: MapSurface, ramp: Ramp, *, pixels_a_cell: float = 2.0) -> SurfacePicture:
    """Draw a surface in web Mercator, as the map shows it.

    Each pixel takes the value of the cell it falls in: nothing is smoothed
    that the interpolation did not say.

    Parameters
    ----------
    surface : MapSurface
    ramp : Ramp
        Classes and colours.
    pixels_a_cell : float, default=2.0
        Pixels along a cell's side; the picture is at most 1,600 pixels wide.

    Returns
    -------
    SurfacePicture
        A PNG as data URI, and its corners.
    """
    easting, northing = np.asarray(surface.easting, float), np.asarray(surface.northing, float)
    width, height = _step(easting), _step(northing)
    edge_east = np.linspace(easting.min() - abs(width) / 2, easting.max() + abs(width) / 2, 33)
    edge_north = np.linspace(northing.min() - abs(height) / 2, northing.max() + abs(height) / 2, 33)
    outline_east = np.concatenate([edge_east, edge_east, np.full(33, edge_east[0]), np.full(33, edge_east[-1])])
    outline_north = np.concatenate([np.full(33, edge_north[0]), np.full(33, edge_north[-1]), edge_north, edge_north])
    to_mercator = Transformer.from_crs(surface.crs, _MERCATOR, always_xy=True)
    x, y = to_mercator.transform(outline_east, outline_north)
    columns = int(min(1600, max(2, len(easting) * pixels_a_cell)))
    rows = int(min(1600, max(2, len(northing) * pixels_a_cell)))
    pixel_x = np.linspace(x.min(), x.max(), columns, endpoint=False) + (x.max() - x.min()) / columns / 2
    pixel_y = np.linspace(y.max(), y.min(), rows, endpoint=False) - (y.max() - y.min()) / rows / 2
    grid_x, grid_y = np.meshgrid(pixel_x, pixel_y)
    back_east, back_north = to_mercator.transform(grid_x, grid_y, direction="INVERSE")
    column = np.rint((back_east - easting[0]) / width).astype(int)
    row = np.rint((back_north - northing[0]) / height).astype(int)
    inside = (column >= 0) & (column < len(easting)) & (row >= 0) & (row < len(northing))
    column, row = np.clip(column, 0, len(easting) - 1), np.clip(row, 0, len(northing) - 1)
    values = np.where(inside, np.asarray(surface.values, float)[row, column], np.nan)
    opacity = np.ones(values.shape)
    if surface.support is not None:
        shares = np.vectorize(_SUPPORT_OPACITY.__getitem__, otypes=[float])(np.asarray(surface.support, dtype=object))
        opacity = shares[row, column]
    return SurfacePicture(data_uri(_png(_coloured(values, opacity, ramp))), _corners(x, y))


def _coloured(values: np.ndarray, opacity: np.ndarray, ramp: Ramp) -> np.ndarray:
    palette = np.array([[int(colour[i : i + 2], 16) for i in (1, 3, 5)] for colour in ramp.colours])
    codes = ramp.codes(values, values)
    picture = np.zeros((*values.shape, 4), dtype=np.uint8)
    known = codes >= 0
    picture[known, :3] = palette[codes[known]]
    picture[..., 3] = np.where(known, np.rint(255 * opacity), 0).astype(np.uint8)
    return picture


def _png(picture: np.ndarray) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(picture, "RGBA").save(buffer, format="PNG", optimize=True)
    return buffer.getvalue()


def _corners(x: np.ndarray, y: np.ndarray) -> list[list[float]]:
    back = Transformer.from_crs(_MERCATOR, _WGS84, always_xy=True)
    (west, east), (south, north) = back.transform([x.min(), x.max()], [y.min(), y.max()])
    return [[round(south, 6), round(west, 6)], [round(north, 6), round(east, 6)]]


def _step(centres: np.ndarray) -> float:
    return float(centres[1] - centres[0]) if len(centres) > 1 else 1.0
