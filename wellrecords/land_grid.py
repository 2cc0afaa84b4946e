"""The land grid: section, township and range, and parcels, through layers that the user supplies."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wellrecords.errors import Problem, ProblemsError
from wellrecords.places import M_PER_DEGREE, MEAN_DISTANCE_IN_SQUARE

SECTION_NAMES: dict[str, tuple[str, ...]] = {
    "township": ("township", "twp", "twnshp", "town", "t", "tshp"),
    "range": ("range", "rng", "rge", "r"),
    "section": ("section number", "section no", "secno", "sec", "section", "sect", "frstdivno"),
    "meridian": ("meridian", "baseline meridian", "mer", "prinmer", "prinmercd"),
}
"""Names under which a section layer may keep each part."""

PARCEL_NAMES: tuple[str, ...] = ("parcel", "parcel id", "parcelid", "apn", "pin", "map lot", "maplot", "lot id")

CORNERS = ("sw", "se", "nw", "ne")


@dataclass(frozen=True)
class LandLayers:
    """Layers by which a record's land description becomes a place.

    Parameters
    ----------
    sections : pandas.DataFrame, optional
        From `read_sections`.
    parcels : pandas.DataFrame, optional
        From `read_parcels`.
    """

    sections: pd.DataFrame | None = None
    parcels: pd.DataFrame | None = None


def township_key(text: str) -> str | None:
    """Return a township or range in its short form, None where it cannot be read.

    Examples
    --------
    >>> township_key("T. 02 North"), township_key("R3E"), township_key("05W"), township_key("T 2 1/2 S")
    ('2N', '3E', '5W', '2.5S')
    """
    match = re.fullmatch(
        r"(?:t|r|tp|twp|tshp|rng|rge|township|range)?\.?\s*0*(\d+)(\.5|\s*1/2|\s*½)?\s*([nsew])(?:orth|outh|ast|est|\.)?",
        text.strip().casefold(),
    )
    return None if match is None else f"{match[1]}{'.5' if match[2] else ''}{match[3].upper()}"


def section_key(text: str) -> str | None:
    """Return a section's number without leading zeros, None where it is not 1 to 36 (or a numbered tract).

    Examples
    --------
    >>> section_key("S 09"), section_key("14"), section_key("0")
    ('9', '14', None)
    """
    match = re.fullmatch(r"(?:s|sec|section)?\.?\s*0*(\d{1,3})(?:\.0)?", text.strip().casefold())
    return None if match is None or not int(match[1]) >= 1 else match[1]


@dataclass(frozen=True)
class Quarter:
    """A part of a section, as shares of its sides counted from the south-west corner.

    Parameters
    ----------
    west, east, south, north : float
        Between 0 and 1.
    method : {"section", "quarter", "quarter_quarter"}
    """

    west: float
    east: float
    south: float
    north: float
    method: str


WHOLE_SECTION = Quarter(0.0, 1.0, 0.0, 1.0, "section")


def parse_quarter(text: str) -> Quarter | None:
    """Read a quarter call, the smallest part first, as the trade writes it.

    Parameters
    ----------
    text : str
        ``NE``, ``NE1/4 SW1/4``, ``NESW``, ``SE/4 of NW/4``, ``N1/2 SE``, ``NW-SE``, ``northeast``.

    Returns
    -------
    Quarter or None
        None where the text is no quarter call; the whole section where it is blank.

    Examples
    --------
    >>> parse_quarter("NE1/4 of SW1/4")
    Quarter(west=0.25, east=0.5, south=0.25, north=0.5, method='quarter_quarter')
    """
    tidy = text.casefold().replace("¼", "1/4").replace("½", "1/2")
    tidy = re.sub(r"\b(north|south)\s?(east|west)\b", lambda words: words[1][0] + words[2][0], tidy)
    tidy = re.sub(r"\b(?:of|the|quarter|qtr)\b|[-,;.\s]|/(?![24])", "", tidy)
    if not tidy:
        return WHOLE_SECTION
    calls = re.findall(r"(ne|nw|se|sw)(?:1/4|/4|4)?|([nsew])(?:1/2|/2|2)", tidy)
    if not calls or re.sub(r"(?:ne|nw|se|sw)(?:1/4|/4|4)?|[nsew](?:1/2|/2|2)", "", tidy):
        return None
    west, east, south, north, quarters = 0.0, 1.0, 0.0, 1.0, 0
    for quarter, half in reversed(calls):
        sides = quarter or half
        middle_x, middle_y = (west + east) / 2.0, (south + north) / 2.0
        west, east = (middle_x, east) if "e" in sides else (west, middle_x) if "w" in sides else (west, east)
        south, north = (middle_y, north) if "n" in sides else (south, middle_y) if "s" in sides else (south, north)
        quarters += bool(quarter)
    method = ("section", "quarter", "quarter_quarter")[min(quarters, 2)]
    return Quarter(west, east, south, north, method)


def read_sections(layer: str | Path | gpd.GeoDataFrame, names: Mapping[str, str] | None = None) -> pd.DataFrame:
    """Read a section layer.

    Parameters
    ----------
    layer : path or GeoDataFrame
        Polygons, one a section.
    names : mapping of str to str, optional
        "township", "range", "section", "meridian" -> the layer's columns; by
        default they are found among `SECTION_NAMES`.

    Returns
    -------
    pandas.DataFrame
        By key (township, range and section, as "2N 3E 14", and once more with
        the meridian behind it where the layer has one; a key that stands
        twice is left out): the four corners in degrees, and `area_m2`.

    Raises
    ------
    ProblemsError
        Where the layer has no coordinate system, or lacks a column.
    """
    frame = _wgs84(layer)
    columns = {part: (names or {}).get(part) or _found(frame, part) for part in SECTION_NAMES}
    missing = [part for part in ("township", "range", "section") if columns[part] is None]
    if missing:
        problems = [
            Problem(
                what=f"the section layer has no column for the {part}",
                rule=f"it is called one of: {', '.join(SECTION_NAMES[part])}",
                next_step="rename the layer's column",
                code="missing_column",
            )
            for part in missing
        ]
        raise ProblemsError(problems, "The section layer cannot be used")
    keys = section_keys(frame[columns["township"]], frame[columns["range"]], frame[columns["section"]])
    table = _corners(frame.geometry)
    table["key"] = keys.to_numpy()
    tables = [table]
    if columns["meridian"] is not None:
        meridians = frame[columns["meridian"]].astype("str").map(_tidy).to_numpy()
        tables.append(table.assign(key=table["key"] + " " + meridians))
    table = pd.concat(tables)
    table = table[table["key"].notna()]
    return table[~table["key"].duplicated(keep=False)].set_index("key")


def read_parcels(layer: str | Path | gpd.GeoDataFrame, name: str | None = None) -> pd.DataFrame:
    """Read a parcel layer.

    Parameters
    ----------
    layer : path or GeoDataFrame
        Polygons, one a parcel.
    name : str, optional
        Column of the parcel's number; by default found among `PARCEL_NAMES`.

    Returns
    -------
    pandas.DataFrame
        By parcel number (tidied; a number that stands twice is left out):
        `longitude`, `latitude` of a point inside, and `area_m2`.
    """
    frame = _wgs84(layer)
    by_tidy = {_tidy(column): column for column in frame.columns}
    column = name or next((by_tidy[known] for known in PARCEL_NAMES if known in by_tidy), None)
    if column is None:
        problem = Problem(
            what="the parcel layer has no column for the parcel's number",
            rule=f"it is called one of: {', '.join(PARCEL_NAMES)}",
            next_step="rename the layer's column",
            code="missing_column",
        )
        raise ProblemsError([problem], "The parcel layer cannot be used")
    points = frame.geometry.representative_point()
    table = pd.DataFrame({"longitude": points.x, "latitude": points.y, "area_m2": _area_m2(frame.geometry)})
    table["key"] = frame[column].astype("str").map(parcel_key).to_numpy()
    return table[~table["key"].duplicated(keep=False)].set_index("key")


def read_outline(layer: str | Path | gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Read the outline of a region's land.

    Parameters
    ----------
    layer : path or GeoDataFrame
        Polygons: together the region's land.

    Returns
    -------
    geopandas.GeoDataFrame
        In WGS84.

    Raises
    ------
    ProblemsError
        Where the layer has no coordinate system, or holds no polygon.
    """
    frame = _wgs84(layer)
    frame = frame[frame.geometry.geom_type.isin(("Polygon", "MultiPolygon"))]
    if frame.empty:
        problem = Problem(
            what="the outline of the region holds no polygon",
            rule="an outline is one polygon or more: the region's land",
            next_step="draw the land as a closed polygon, or leave the outline out of the settings",
            file=None if isinstance(layer, gpd.GeoDataFrame) else str(layer),
            code="no_polygon",
        )
        raise ProblemsError([problem], "The outline of the region cannot be used")
    return frame


def parcel_key(text: str) -> str:
    """Return a parcel's number as it is compared: letters and digits, without leading zeros in each group."""
    return "-".join(group.lstrip("0") or "0" for group in re.findall(r"[^\W_]+", text.casefold()))


def section_keys(
    townships: pd.Series, ranges: pd.Series, sections: pd.Series, meridians: pd.Series | None = None
) -> pd.Series:
    """Return keys such as "2N 3E 14", null where a part is missing or unreadable.

    With meridians "2N 3E 14 mount diablo", where the meridian is not blank.
    """
    parts = [
        _each(townships, township_key),
        _each(ranges, township_key),
        _each(sections, section_key),
    ]
    whole = parts[0].notna() & parts[1].notna() & parts[2].notna()
    keys = parts[0].astype(object) + " " + parts[1].astype(object) + " " + parts[2].astype(object)
    if meridians is not None:
        named = _each(meridians, _tidy).astype(object)
        keys = keys.where(named == "", keys + " " + named)
    return keys.where(whole, None)


def section_places(keys: pd.Series, quarters: pd.Series, layer: pd.DataFrame) -> pd.DataFrame:
    """Return the centre of each section, or of the part of it that a quarter call names.

    Parameters
    ----------
    keys : pandas.Series
        From `section_keys`.
    quarters : pandas.Series
        Quarter calls as written; blank for the whole section.
    layer : pandas.DataFrame
        From `read_sections`.

    Returns
    -------
    pandas.DataFrame
        `longitude`, `latitude` (null where the layer has no such section),
        `method`, `error_m` from the size of the part, and `quarter_read`: false
        where the call cannot be read, so that the whole section stands for it.
    """
    found = layer.reindex(keys.to_numpy())
    codes, uniques = pd.factorize(quarters.fillna(""))
    calls = [parse_quarter(text) for text in uniques]
    parts = [call or WHOLE_SECTION for call in calls]
    shares = np.array([(part.west, part.east, part.south, part.north) for part in parts], dtype=float)
    shares = shares.reshape(-1, 4)[codes]
    methods = np.array([part.method for part in parts], dtype=object)[codes]
    u, v = (shares[:, 0] + shares[:, 1]) / 2.0, (shares[:, 2] + shares[:, 3]) / 2.0
    weights = {"sw": (1 - u) * (1 - v), "se": u * (1 - v), "nw": (1 - u) * v, "ne": u * v}
    longitude = sum(weights[corner] * found[f"{corner}_x"].to_numpy() for corner in CORNERS)
    latitude = sum(weights[corner] * found[f"{corner}_y"].to_numpy() for corner in CORNERS)
    share = (shares[:, 1] - shares[:, 0]) * (shares[:, 3] - shares[:, 2])
    return pd.DataFrame(
        {
            "longitude": longitude,
            "latitude": latitude,
            "method": methods,
            "error_m": MEAN_DISTANCE_IN_SQUARE * np.sqrt(found["area_m2"].to_numpy() * share),
            "quarter_read": np.array([call is not None for call in calls], dtype=bool)[codes],
        },
        index=keys.index,
    )


def _each(texts: pd.Series, read: object) -> pd.Series:
    codes, uniques = pd.factorize(texts)
    words = [read(str(text)) for text in uniques]  # type: ignore[operator]
    return pd.Series(np.array([*words, None], dtype=object)[codes], index=texts.index)


def _tidy(name: object) -> str:
    return " ".join(re.findall(r"[^\W_]+", str(name).casefold()))


def _found(frame: gpd.GeoDataFrame, part: str) -> str | None:
    by_tidy = {_tidy(column): str(column) for column in frame.columns}
    return next((by_tidy[name] for name in SECTION_NAMES[part] if name in by_tidy), None)


def _wgs84(layer: str | Path | gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    frame = layer if isinstance(layer, gpd.GeoDataFrame) else _read_layer(Path(layer))
    if frame.crs is None:
        problem = Problem(
            what="the layer does not say its coordinate system",
            rule="a layer of land names the system of its coordinates",
            next_step="save it again with its coordinate system",
            code="no_crs",
        )
        raise ProblemsError([problem], "The layer cannot be used")
    return frame.to_crs("EPSG:4326")


def _read_layer(path: Path) -> gpd.GeoDataFrame:
    try:
        return gpd.read_file(path)
    except (OSError, ValueError, RuntimeError) as error:
        problem = Problem(
            what=f"the layer cannot be read ({error})",
            rule="a layer of land is a map file, such as GeoJSON, GeoPackage or Shapefile",
            next_step="open it in a map program and save it again",
            file=str(path),
            code="unreadable_file",
        )
        raise ProblemsError([problem], "The layer cannot be used") from error


def _area_m2(shapes: gpd.GeoSeries) -> np.ndarray:
    """Area of small shapes in degrees, on the local tangent plane: within 1 % for sections and parcels."""
    edges = shapes.bounds
    shrink = np.cos(np.radians((edges["miny"] + edges["maxy"]).to_numpy() / 2.0))
    return shapely.area(shapes.to_numpy()) * shrink * M_PER_DEGREE**2


def _corners(shapes: gpd.GeoSeries) -> pd.DataFrame:
    """Return the four corners of each polygon: its points furthest to the south-west, and so on."""
    points = shapes.get_coordinates(ignore_index=False)
    x, y, shape = points["x"].to_numpy(), points["y"].to_numpy(), points.index
    table = pd.DataFrame({"x": x, "y": y}, index=shape).reset_index(names="shape")
    shrink = np.cos(np.radians(y))
    corners: dict[str, np.ndarray] = {}
    for corner, (east, north) in {"sw": (-1, -1), "se": (1, -1), "nw": (-1, 1), "ne": (1, 1)}.items():
        furthest = pd.Series(east * x * shrink + north * y).groupby(table["shape"].to_numpy()).idxmax()
        picked = table.loc[furthest.to_numpy()].set_index("shape").reindex(shapes.index)
        corners[f"{corner}_x"], corners[f"{corner}_y"] = picked["x"].to_numpy(), picked["y"].to_numpy()
    with_area = pd.DataFrame(corners, index=shapes.index)
    with_area["area_m2"] = _area_m2(shapes)
    return with_area
