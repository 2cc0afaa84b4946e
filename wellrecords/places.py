"""Places: from what a record says about where a well stands to WGS84, with an error.

Every place gets a method and a typical error in metres: the mean horizontal
distance between the place on paper and the well. The mean distance of a well
from the centre of a square in which it may stand anywhere is 0.3826 of the
square's side (the mean of a uniform distribution; closed form
(sqrt 2 + ln(1 + sqrt 2)) / 6), which gives 616 m for a section, 308 m for a
quarter and 154 m for a quarter-quarter.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from wellrecords.units import M_PER_FT

MEAN_DISTANCE_IN_SQUARE = (math.sqrt(2.0) + math.log(1.0 + math.sqrt(2.0))) / 6.0
"""Mean distance from the centre of a unit square to a point anywhere in it: 0.3826."""
SECTION_SIDE_M = 5280.0 * M_PER_FT
"""Side of a nominal section: a mile of 5,280 ft."""
M_PER_DEGREE = 111_320.0
"""Metres in a degree of latitude (and of longitude at the equator), to 0.6 %."""

METHOD_ERRORS_M: dict[str, float] = {
    "survey": 1.0,
    "gps": 5.0,
    "map": 60.0,
    "parcel": 50.0,
    "address": 120.0,
    "quarter_quarter": MEAN_DISTANCE_IN_SQUARE * SECTION_SIDE_M / 4.0,
    "quarter": MEAN_DISTANCE_IN_SQUARE * SECTION_SIDE_M / 2.0,
    "section": MEAN_DISTANCE_IN_SQUARE * SECTION_SIDE_M,
    "town": 3000.0,
    "unknown": 500.0,
}
"""Typical error of each position method where neither the record nor the layout gives one (common practice)."""

DATUM_CRS = {"WGS84": "EPSG:4326", "NAD83": "EPSG:4269", "NAD27": "EPSG:4267"}
_UTM_EPSG = {"WGS84": 32600, "NAD83": 26900, "NAD27": 26700}

Bounds = Sequence[float]
"""West, south, east, north, in degrees."""


# --- degrees -----------------------------------------------------------------------------------------------

_NUMBER = re.compile(r"(?P<sign>[-+]?)(?P<value>\d+(?:\.(?P<decimals>\d*))?)")
_SEXAGESIMAL = re.compile(
    r"(?P<before>[nsew])?\s*(?P<sign>[-+])?\s*(?P<degrees>\d{1,3})"
    r"\s*(?:°|º|d|deg|degrees|:|-|\s)\s*(?P<minutes>\d{1,2}(?:\.(?P<minute_decimals>\d+))?)"
    r"\s*(?:(?:'|m|min|minutes|:|-|\s)\s*(?:(?P<seconds>\d{1,2}(?:\.(?P<second_decimals>\d+))?)"
    r"\s*(?:\"|''|s|sec|seconds)?)?)?\s*(?P<after>[nsew])?(?:orth|outh|ast|est)?"
)
_DECIMAL = re.compile(
    r"(?P<before>[nsew])?\s*(?P<sign>[-+])?\s*(?P<value>\d+(?:\.(?P<decimals>\d*))?)\s*(?:°|º|d|deg|degrees)?\s*"
    r"(?P<after>[nsew])?(?:orth|outh|ast|est)?"
)
_SAME = str.maketrans(
    {"–": "-", "—": "-", "−": "-", "’": "'", "′": "'", "‘": "'", "”": '"', "″": '"', "“": '"', "\xa0": " "}
)


@dataclass(frozen=True)
class Angle:
    """An angle as written.

    Parameters
    ----------
    degrees : float
        With its sign; null where the text is no angle.
    signed : bool
        Whether a sign or a point of the compass says the side.
    step : float
        The smallest step that the notation can show, in degrees.
    axis : {"", "latitude", "longitude"}
        What a point of the compass says it is.
    """

    degrees: float
    signed: bool
    step: float
    axis: str = ""


NO_ANGLE = Angle(math.nan, False, math.nan)


def parse_angle(text: str) -> Angle:
    """Read one angle in degrees, with minutes or seconds or without.

    Parameters
    ----------
    text : str
        ``45.2092``, ``45-12-33.2``, ``45°12'33.2"N``, ``W 69 12.553``, or
        packed as ``451233.2``.

    Returns
    -------
    Angle

    Examples
    --------
    >>> round(parse_angle("45-12-33.2").degrees, 6), parse_angle("69°12'W").degrees
    (45.209222, -69.2)
    """
    tidy = " ".join(text.translate(_SAME).casefold().split())
    if "," in tidy and "." not in tidy:
        tidy = tidy.replace(",", ".")
    match = _DECIMAL.fullmatch(tidy)
    if match:
        value, decimals = float(match["value"]), len(match["decimals"] or "")
        whole = match["value"].split(".")[0]
        if value > 360.0 and len(whole) in (6, 7):  # degrees, minutes and seconds run together
            minutes, seconds = int(whole[-4:-2]), float(match["value"][len(whole) - 2 :])
            if minutes >= 60 or seconds >= 60.0:
                return NO_ANGLE
            value, step = int(whole[:-4]) + minutes / 60.0 + seconds / 3600.0, 10.0**-decimals / 3600.0
        else:
            step = 10.0**-decimals
        return _signed(value, step, match)
    match = _SEXAGESIMAL.fullmatch(tidy)
    if match is None:
        return NO_ANGLE
    minutes_value, seconds_value = float(match["minutes"]), float(match["seconds"] or 0.0)
    if minutes_value >= 60.0 or seconds_value >= 60.0 or (match["minute_decimals"] and match["seconds"]):
        return NO_ANGLE
    value = int(match["degrees"]) + minutes_value / 60.0 + seconds_value / 3600.0
    if match["seconds"]:
        step = 10.0 ** -len(match["second_decimals"] or "") / 3600.0
    else:
        step = 10.0 ** -len(match["minute_decimals"] or "") / 60.0
    return _signed(value, step, match)


def _signed(value: float, step: float, match: re.Match[str]) -> Angle:
    side = (match["before"] or "") + (match["after"] or "")
    if len(side) > 1:
        return NO_ANGLE
    negative = match["sign"] == "-" or side in ("s", "w")
    axis = {"n": "latitude", "s": "latitude", "e": "longitude", "w": "longitude"}.get(side, "")
    return Angle(-value if negative else value, bool(side) or match["sign"] is not None, step, axis)


def parse_angles(texts: pd.Series) -> pd.DataFrame:
    """Read a column of angles, each distinct text once.

    Parameters
    ----------
    texts : pandas.Series
        Text as written.

    Returns
    -------
    pandas.DataFrame
        `degrees`, `signed`, `step` and `axis` as in `Angle`.
    """
    codes, uniques = pd.factorize(texts)
    series = pd.Series(uniques, dtype="str").str.strip()
    count = len(series)
    degrees, step = np.full(count + 1, np.nan), np.full(count + 1, np.nan)
    signed, axis = np.zeros(count + 1, dtype=bool), np.full(count + 1, "", dtype=object)
    plain = series.str.fullmatch(r"-?[0-9]{1,3}(?:\.[0-9]*)?").to_numpy(dtype=bool)
    if plain.any():
        numbers = series[plain]
        degrees[:-1][plain] = pd.to_numeric(numbers).to_numpy(dtype=float)
        point = numbers.str.find(".").to_numpy(dtype=float)
        decimals = np.where(point < 0, 0.0, numbers.str.len().to_numpy(dtype=float) - point - 1.0)
        step[:-1][plain] = 10.0**-decimals
        signed[:-1][plain] = numbers.str.startswith("-").to_numpy(dtype=bool)
    for place in np.flatnonzero(~plain):
        angle = parse_angle(series.iloc[place])
        degrees[place], signed[place], step[place], axis[place] = angle.degrees, angle.signed, angle.step, angle.axis
    table = {"degrees": degrees[codes], "signed": signed[codes], "step": step[codes], "axis": axis[codes]}
    return pd.DataFrame(table, index=texts.index)


def degree_places(
    x_texts: pd.Series, y_texts: pd.Series, *, bounds: Bounds | None, west: bool = False, margin: float = 0.01
) -> pd.DataFrame:
    """Read longitude and latitude, and mend what can be mended only one way.

    A longitude without its sign, or the two in each other's column, is mended
    where the pair as written is outside the bounds and the mended one inside.

    Parameters
    ----------
    x_texts, y_texts : pandas.Series
        Longitude and latitude as written.
    bounds : sequence of float, optional
        West, south, east, north; without them only what is no place on earth is mended.
    west : bool
        Whether a longitude without a sign is west by the rule of the source.
    margin : float
        Degrees by which the bounds are widened for this test.

    Returns
    -------
    pandas.DataFrame
        `longitude`, `latitude` (null where unreadable), `error_m` (from the
        number of digits), and `mend`: "", "unsigned_longitude",
        "swapped_coordinates" or "swapped_and_unsigned".
    """
    x, y = parse_angles(x_texts), parse_angles(y_texts)
    signed = {"x": x["signed"].to_numpy(), "y": y["signed"].to_numpy()}
    value = {"x": x["degrees"].to_numpy(), "y": y["degrees"].to_numpy()}
    west_of = {
        axis: np.where(signed[axis] | (value[axis] < 0), value[axis], -value[axis]) if west else value[axis]
        for axis in ("x", "y")
    }
    named_swap = (x["axis"].to_numpy() == "latitude") | (y["axis"].to_numpy() == "longitude")
    candidates = [
        ("", west_of["x"], value["y"], ~named_swap),
        ("unsigned_longitude", -np.abs(value["x"]), value["y"], ~signed["x"] & ~named_swap),
        ("swapped_coordinates", west_of["y"], value["x"], np.ones(len(x), dtype=bool)),
        ("swapped_and_unsigned", -np.abs(value["y"]), value["x"], ~signed["y"]),
    ]
    longitude, latitude = west_of["x"].copy(), value["y"].copy()
    mend = np.full(len(x), "", dtype=object)
    settled = np.zeros(len(x), dtype=bool)
    for name, lon, lat, allowed in candidates:
        fits = allowed & ~settled & inside(lon, lat, bounds, margin)
        longitude[fits], latitude[fits], mend[fits] = lon[fits], lat[fits], name
        settled |= fits
    finest = np.fmin(x["step"].to_numpy(), y["step"].to_numpy())
    return pd.DataFrame(
        {
            "longitude": longitude,
            "latitude": latitude,
            "error_m": MEAN_DISTANCE_IN_SQUARE * M_PER_DEGREE * finest,
            "mend": mend,
        },
        index=x_texts.index,
    )


def inside(longitude: np.ndarray, latitude: np.ndarray, bounds: Bounds | None, margin: float = 0.0) -> np.ndarray:
    """Return which places are inside the bounds (without bounds: on earth)."""
    west, south, east, north = bounds if bounds is not None else (-180.0, -90.0, 180.0, 90.0)
    with np.errstate(invalid="ignore"):
        return (
            (longitude >= west - margin)
            & (longitude <= east + margin)
            & (latitude >= south - margin)
            & (latitude <= north + margin)
        )


# --- projections and datums --------------------------------------------------------------------------------


def utm_crs(zone: str, datum: str, north: bool = True) -> str | None:
    """Return the EPSG code of a UTM zone, None where the zone cannot be read.

    Parameters
    ----------
    zone : str
        ``19``, ``19N``, ``19T`` (with the letter of the latitude band), ``Zone 19``.
    datum : {"WGS84", "NAD83", "NAD27"}
    north : bool
        Hemisphere where the zone does not say it.

    Examples
    --------
    >>> utm_crs("19T", "NAD27"), utm_crs("Zone 10", "WGS84"), utm_crs("77", "NAD83")
    ('EPSG:26719', 'EPSG:32610', None)
    """
    match = re.fullmatch(r"(?:utm)?\s*(?:zone|z)?\s*0*(\d{1,2})(?:\.0)?\s*([a-z])?", zone.strip().casefold())
    if match is None or not 1 <= int(match[1]) <= 60:
        return None
    number = int(match[1])
    south = match[2] is not None and match[2] < "n"
    if datum == "WGS84":
        return f"EPSG:{(32700 if south or not north else 32600) + number}"
    limit = 23 if datum == "NAD83" else 22
    return f"EPSG:{_UTM_EPSG[datum] + number}" if number <= limit and not south else None


@lru_cache(maxsize=64)
def _transformer(crs: str, bounds: tuple[float, ...] | None) -> tuple[object, float]:
    from pyproj import CRS
    from pyproj.aoi import AreaOfInterest
    from pyproj.transformer import TransformerGroup

    area: Any = AreaOfInterest(*bounds) if bounds is not None else None
    with warnings.catch_warnings():
        # Better transformations need grid files from the network; what is at hand says its own accuracy.
        warnings.simplefilter("ignore", UserWarning)
        group = TransformerGroup(CRS.from_user_input(crs), CRS.from_epsg(4326), always_xy=True, area_of_interest=area)
    best = group.transformers[0]
    accuracy = best.accuracy if best.accuracy is not None and best.accuracy >= 0.0 else 0.0
    return best, float(accuracy)


def to_wgs84(
    x: np.ndarray, y: np.ndarray, crs: str, bounds: Bounds | None = None
) -> tuple[np.ndarray, np.ndarray, float]:
    """Return WGS84 longitude and latitude, and the accuracy of the datum's transformation.

    Nothing is fetched: of the transformations that need no grid file, the one
    that is best for the region is taken, and its stated accuracy is returned
    to be added to the error of the position.

    Parameters
    ----------
    x, y : ndarray of float, shape (n,)
        Longitude and latitude, or easting and northing, in `crs`.
    crs : str
        Such as "EPSG:26719".
    bounds : sequence of float, optional
        West, south, east, north of the region.

    Returns
    -------
    longitude, latitude : ndarray of float, shape (n,)
        Null where the place cannot be transformed.
    accuracy_m : float
        Metres; 0 within WGS84.
    """
    transformer, accuracy = _transformer(crs, None if bounds is None else tuple(float(edge) for edge in bounds))
    longitude, latitude = transformer.transform(x, y)  # type: ignore[attr-defined]
    longitude, latitude = np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
    bad = ~(np.isfinite(longitude) & np.isfinite(latitude))
    longitude[bad], latitude[bad] = np.nan, np.nan
    return longitude, latitude, accuracy


# --- the verdict -------------------------------------------------------------------------------------------

REASONS: dict[str, str] = {
    "no_position": "the record says no place, or none that its layers know",
    "unreadable_position": "the place cannot be read, or is no place on earth",
    "zero_coordinates": "a coordinate is 0: a dummy for an unknown place",
    "round_degree_dummy": "both coordinates are whole degrees: a dummy for an unknown place",
    "outside_region": "the place is outside the region's bounds",
    "outside_outline": "the place is within the bounds but outside the region's land",
}
"""Reason for which a row is held back by its place -> why."""


def judge_places(
    longitude: np.ndarray, latitude: np.ndarray, bounds: Bounds | None = None, outline: object | None = None
) -> np.ndarray:
    """Return why each place cannot stand, None where it can.

    Parameters
    ----------
    longitude, latitude : ndarray of float, shape (n,)
        WGS84; null where nothing could be read.
    bounds : sequence of float, optional
        West, south, east, north of the region.
    outline : geopandas.GeoDataFrame, optional
        The region's land; what is off it stands in the sea, or in the next region.

    Returns
    -------
    ndarray of object, shape (n,)
        Keys of `REASONS`, or None.
    """
    reason = np.full(len(longitude), None, dtype=object)
    tests = [
        ("unreadable_position", ~inside(longitude, latitude, None)),
        ("zero_coordinates", (longitude == 0.0) | (latitude == 0.0)),
        ("round_degree_dummy", (longitude % 1.0 == 0.0) & (latitude % 1.0 == 0.0)),
        ("outside_region", ~inside(longitude, latitude, bounds)),
    ]
    for name, fails in tests:
        reason[fails & (reason == None)] = name  # noqa: E711
    if outline is not None:
        import shapely

        land = outline.to_crs("EPSG:4326").geometry.union_all()  # type: ignore[attr-defined]
        shapely.prepare(land)
        open_rows = np.flatnonzero(reason == None)  # noqa: E711
        off = ~shapely.intersects_xy(land, longitude[open_rows], latitude[open_rows])
        reason[open_rows[off]] = "outside_outline"
    return reason
