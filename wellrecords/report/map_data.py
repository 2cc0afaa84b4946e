"""What the map shows, as plain data: wells, lots, rings, roads and streams.

Each function returns one group for `map.build_map`: a dict that
``assets/map.js`` draws. A group holds any of

- ``wells``: `lat`, `lon`, `codes` (ramp key -> class of each), `fields`
  (label and values for the card), `title`, `size` or `radius`, `marked`;
- ``shapes``: lines, areas and circles;
- ``labels``: text at a place;
- ``key``: its line in the legend, (swatch, colour, text).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry.base import BaseGeometry

from wellrecords import wording
from wellrecords.report.map import Bounds
from wellrecords.report.ramp import Ramp, ramp_of
from wellrecords.schema import WGS84, among

INK = "#1d2830"
_WATER: dict[str, Any] = {"colour": "#5b8fb9", "weight": 1.0, "fill": "#a9c8de", "fillOpacity": 0.6}
CONTEXT_STYLES: dict[str, dict[str, Any]] = {
    "roads": {"colour": "#9a8f80", "weight": 2.2},
    "streams": {"colour": "#5b8fb9", "weight": 1.6},
    "water": _WATER,
    "ponds": _WATER,
    "lakes": _WATER,
    "outline": {"colour": "#7d8489", "weight": 1.4, "dash": "7 4"},
}
"""Known kinds of context layers; any other is drawn in grey."""
OTHER_STYLE: dict[str, Any] = {"colour": "#7d8489", "weight": 1.4, "dash": "5 4"}

ROW_NAME = "row_name"
"""Column of wells: how a record without a number is called."""
RINGS_KM = (1, 5)
ROOM_FOR_LABEL = 1.06
"""Part of a ring's radius by which the map goes farther, so that the distance below the ring can be read."""
WELL_QUANTITIES = (
    ("total_depth_ft", "Well depth", "ft"),
    ("yield_gpm", "Yield", "gpm"),
    ("depth_to_water_ft", "Depth to water", "ft"),
    ("depth_to_bedrock_ft", "Depth to rock", "ft"),
)


def interval(wells: pd.DataFrame, quantity: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the low and high of a quantity; an exact column serves as both.

    Parameters
    ----------
    wells : DataFrame
        Columns that are absent count as not recorded.
    quantity : str

    Returns
    -------
    low, high : ndarray of shape (n,)
    """
    names = [f"{quantity}_low", f"{quantity}_high"] if f"{quantity}_low" in wells else [quantity, quantity]
    low, high = (
        wells[name].to_numpy(dtype=float, na_value=np.nan) if name in wells else np.full(len(wells), np.nan)
        for name in names
    )
    return low, high


def best_known(wells: pd.DataFrame, quantity: str) -> np.ndarray:
    """Return one number a reading: the middle of a range, the bound of an open one, NaN where not recorded.

    Parameters
    ----------
    wells : DataFrame
    quantity : str

    Returns
    -------
    ndarray of shape (n,)
    """
    low, high = interval(wells, quantity)
    with np.errstate(invalid="ignore"):
        middle = (low + high) / 2.0
    value = np.where(np.isinf(high), low, np.where(np.isinf(low), high, middle))
    return np.where(np.isinf(value), np.nan, value)


def well_ramps(wells: pd.DataFrame, classes: int) -> list[Ramp]:
    """Return a ramp for each quantity that at least two of the wells record.

    Parameters
    ----------
    wells : DataFrame
        The canonical table, or the neighbours of an estimate.
    classes : int
        Steps of each ramp, at most.

    Returns
    -------
    list of Ramp
    """
    ramps = []
    for key, label, unit in WELL_QUANTITIES:
        known = best_known(wells, key)
        if np.isfinite(known).sum() >= 2:
            ramps.append(ramp_of(key, label, unit, known, classes))
    return ramps


def well_fields(wells: pd.DataFrame) -> list[dict[str, Any]]:
    """Return label and text values of what a well's card says."""
    fields = []
    depth = wells["total_depth_ft"] if "total_depth_ft" in wells else pd.Series(np.nan, index=wells.index)
    fields.append({"label": "Depth", "values": ["" if pd.isna(v) else wording.exact_depth(v) for v in depth]})
    for key, label, unit in WELL_QUANTITIES[1:]:
        low, high = interval(wells, key)
        texts = [wording.reading(a, b, unit) for a, b in zip(low, high, strict=True)]
        fields.append({"label": label, "values": ["" if text == wording.MISSING else text for text in texts]})
    if "drilled_on" in wells:
        fields.append({"label": "Drilled", "values": ["" if pd.isna(v) else f"{v:%Y}" for v in wells["drilled_on"]]})
    if "source" in wells:
        fields.append({"label": "Source", "values": ["" if pd.isna(v) else str(v) for v in wells["source"]]})
    return [column for column in fields if any(column["values"])]


def short_ids(wells: pd.DataFrame) -> list[str]:
    """Return record ids without the name of the source, where that is said beside them.

    A record without a number of its own is called by its row in the file,
    where that is known (`with_rows`).

    >>> short_ids(pd.DataFrame({"record_id": ["firm:7", "x:8"], "source": ["firm", "firm"]}))
    ['7', 'x:8']
    """
    if ROW_NAME in wells:
        return [
            name if wording.is_missing(called) else str(called)
            for name, called in zip(short_ids(wells.drop(columns=ROW_NAME)), wells[ROW_NAME], strict=True)
        ]
    sources = wells["source"] if "source" in wells else pd.Series("", index=wells.index)
    return [
        str(record_id).removeprefix(f"{source}:") for record_id, source in zip(wells["record_id"], sources, strict=True)
    ]


def with_rows(wells: pd.DataFrame, file_rows: pd.DataFrame | None) -> pd.DataFrame:
    """Return wells with the rows by which those without a number of their own are found in their files.

    Parameters
    ----------
    wells : DataFrame
        With `record_id`.
    file_rows : DataFrame or None
        The dataset's table: `record_id`, `sheet`, `file_row`.

    Returns
    -------
    DataFrame
        With the column `ROW_NAME`, None where a well has a number.
    """
    if file_rows is None:
        return wells
    known = file_rows[among(file_rows["record_id"], wells["record_id"])]
    names = {
        record_id: f"row {row}" if pd.isna(sheet) else f"{sheet}, row {row}"
        for record_id, sheet, row in zip(known["record_id"], known["sheet"], known["file_row"], strict=True)
    }
    return wells.assign(**{ROW_NAME: [names.get(record_id) for record_id in wells["record_id"]]})


def wells_group(
    wells: pd.DataFrame,
    ramps: Sequence[Ramp],
    *,
    size: float = 5.0,
    weights: np.ndarray | None = None,
) -> dict[str, Any]:
    """Return a group of well circles.

    Parameters
    ----------
    wells : DataFrame
        With `longitude` and `latitude`.
    ramps : sequence of Ramp
    size : float
        Radius in pixels, where `weights` is None.
    weights : ndarray of shape (n,), optional
        Of the wells in the estimate: such wells get a dark ring and a size
        by their weight.

    Returns
    -------
    dict
    """
    content: dict[str, Any] = {
        "lat": [round(float(value), 5) for value in wells["latitude"]],
        "lon": [round(float(value), 5) for value in wells["longitude"]],
        "codes": {ramp.key: ramp.codes(*interval(wells, ramp.key)).tolist() for ramp in ramps},
        "fields": well_fields(wells),
        "size": size,
        "marked": weights is not None,
    }
    if "record_id" in wells:
        content["title"] = [f"Well {value}" for value in short_ids(wells)]
    group: dict[str, Any] = {"wells": content}
    if weights is not None:
        share = np.sqrt(np.clip(weights, 0.0, None) / max(float(np.max(weights, initial=0.0)), 1e-12))
        content["radius"] = [round(float(value), 1) for value in 5.0 + 6.0 * share]
        content["fields"].insert(0, {"label": "Weight", "values": [wording.fine_percent(value) for value in weights]})
        group["key"] = ["marked", None, "a dark outline: the estimate leaned on it; the larger, the more"]
    return group


def geometry_parts(geometry: BaseGeometry) -> tuple[list[Any], bool]:
    """Return a geometry's coordinates as Leaflet takes them, and whether it is an area.

    Returns
    -------
    parts : list
        ``[lat, lon]`` pairs, nested: lines of points, or areas of rings.
    closed : bool
    """
    kind = geometry.geom_type
    if kind == "Point":
        return [[round(geometry.y, 6), round(geometry.x, 6)]], False
    if kind in ("LineString", "LinearRing"):
        return [_pairs(geometry)], False
    if kind == "Polygon":
        return [[_pairs(geometry.exterior), *(_pairs(ring) for ring in geometry.interiors)]], True
    parts: list[Any] = []
    closed = False
    for part in getattr(geometry, "geoms", ()):
        more, closed = geometry_parts(part)
        parts.extend(more)
    return parts, closed


def lot_group(lot: BaseGeometry, label: str = "The lot") -> dict[str, Any]:
    """Return the lot: its outline, or a ring about its point (WGS84)."""
    parts, closed = geometry_parts(lot)
    shapes: list[dict[str, Any]] = [
        {"parts": parts, "closed": True, "colour": "#c2410c", "weight": 3, "fill": "#c2410c", "fillOpacity": 0.12}
        if closed
        else {"parts": parts, "radius_m": 60.0, "colour": "#c2410c", "weight": 3}
    ]
    centre = lot.centroid
    return {
        "shapes": shapes,
        "labels": [{"lat": round(lot.bounds[3], 6), "lon": round(centre.x, 6), "text": label}],
        "key": ["outline", "#c2410c", "the lot"],
    }


def rings_group(longitude: float, latitude: float, radii_km: Sequence[int] = RINGS_KM) -> dict[str, Any]:
    """Return circles about the lot with their distance written below them: the lot's own name stands above it."""
    shapes, labels = [], []
    for radius in radii_km:
        shapes.append(
            {
                "parts": [[round(latitude, 6), round(longitude, 6)]],
                "radius_m": radius * 1000.0,
                "colour": "#6b757c",
                "weight": 1,
                "dash": "2 5",
            }
        )
        labels.append(
            {
                "lat": round(latitude - radius / 111.2, 6),
                "lon": round(longitude, 6),
                "text": wording.distance(radius * 1000.0),
                "below": True,
            }
        )
    return {"shapes": shapes, "labels": labels}


def rings_frame(longitude: float, latitude: float, boxes: Sequence[Bounds]) -> Bounds:
    """Return the ground that the map must show for the rings that reach about as far as what is on it.

    Parameters
    ----------
    longitude, latitude : float
        The middle of the rings.
    boxes : sequence of (west, south, east, north)
        What else is on the map; a ring of more than twice its reach would
        shrink it, and is left to those who zoom out.
    """
    corners = pd.DataFrame(
        [(lon, lat) for west, south, east, north in boxes for lon in (west, east) for lat in (south, north)],
        columns=["longitude", "latitude"],
    )
    reach_km = float(distance_m(longitude, latitude, corners).max(initial=0.0)) / 1000.0
    shown_km = max([radius for radius in RINGS_KM if radius <= 2.0 * reach_km], default=RINGS_KM[0])
    return box_about(longitude, latitude, 1000.0 * shown_km * ROOM_FOR_LABEL)


def context_group(name: str, layer: gpd.GeoDataFrame | gpd.GeoSeries) -> dict[str, Any]:
    """Return roads, streams or another layer of lines or areas; its columns are left behind.

    Parameters
    ----------
    name : str
        "roads", "streams" and "water" have a style of their own.
    layer : GeoDataFrame or GeoSeries
        In any known system.

    Returns
    -------
    dict
    """
    geometries = layer.geometry.to_crs(WGS84)
    style = CONTEXT_STYLES.get(name.lower(), OTHER_STYLE)
    lines: list[Any] = []
    areas: list[Any] = []
    for geometry in geometries:
        if geometry is None or geometry.is_empty:
            continue
        parts, closed = geometry_parts(geometry)
        (areas if closed else lines).extend(parts)
    shapes = [{"parts": parts, "closed": closed, **style} for parts, closed in ((lines, False), (areas, True)) if parts]
    swatch = ["square", style["fill"]] if "fill" in style and areas else ["line", style["colour"]]
    return {"shapes": shapes, "key": [*swatch, name.lower()]}


def boxes_of(wells: pd.DataFrame, *, share: float = 1.0) -> list[Bounds]:
    """Return the ground that the wells cover, as none or one (west, south, east, north).

    Parameters
    ----------
    wells : DataFrame
    share : float, default=1.0
        Less than 1 leaves out the farthest wells, so that a few misplaced
        ones do not shrink the map.
    """
    if not len(wells):
        return []
    tail = (1.0 - share) / 2.0
    west, east = np.quantile(wells["longitude"], [tail, 1.0 - tail])
    south, north = np.quantile(wells["latitude"], [tail, 1.0 - tail])
    return [(float(west), float(south), float(east), float(north))]


def box_about(longitude: float, latitude: float, radius_m: float) -> Bounds:
    """Return the (west, south, east, north) of a circle about a place."""
    north = radius_m / 111_195.0
    east = north / max(0.1, float(np.cos(np.radians(latitude))))
    return longitude - east, latitude - north, longitude + east, latitude + north


def bounds_of(boxes: Sequence[Bounds]) -> Bounds:
    """Return the frame about some boxes, never smaller than some 800 m; the lower 48 states where there are none."""
    if not len(boxes):
        return -125.0, 24.0, -66.0, 50.0
    west, south = (min(box[side] for box in boxes) for side in (0, 1))
    east, north = (max(box[side] for box in boxes) for side in (2, 3))
    middle_lat, middle_lon = (south + north) / 2, (west + east) / 2
    half_lat = max((north - south) / 2, 0.0036)
    half_lon = max((east - west) / 2, 0.0036 / max(0.1, float(np.cos(np.radians(middle_lat)))))
    return middle_lon - half_lon, middle_lat - half_lat, middle_lon + half_lon, middle_lat + half_lat


def distance_m(longitude: float, latitude: float, wells: pd.DataFrame) -> np.ndarray:
    """Return each well's distance from a place in metres, good to 0.5 % within some 50 km."""
    north = (wells["latitude"].to_numpy(float) - latitude) * 111_195.0
    east = (wells["longitude"].to_numpy(float) - longitude) * 111_195.0 * np.cos(np.radians(latitude))
    return np.hypot(east, north)


def _pairs(line: BaseGeometry) -> list[list[float]]:
    return [[round(float(y), 6), round(float(x), 6)] for x, y in np.asarray(line.coords)[:, :2]]
