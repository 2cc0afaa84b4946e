"""What an owner may see of wells: counts and ranges over areas, never a well.

No figure is shown that fewer than `minimum` wells stand behind, and no place
finer than a square that holds at least that many. The wells' own figures are
given as the range of the middle eight in ten, rounded, since the least and
the greatest would each be one well's record.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.report.map import Bounds
from wellrecords.report.map_data import WELL_QUANTITIES, best_known, distance_m
from wellrecords.report.ramp import Ramp, count_ramp

CELL_SIZES_M = (500.0, 1000.0, 2000.0, 5000.0)
SHARE_SHOWN = 0.6
M_PER_DEGREE = 111_195.0
FEW_SQUARES = 9
"""So many squares have room for their numbers; of more, colours and a legend tell the order."""
PALE = "#cfe0ec"


def count_squares(
    wells: pd.DataFrame, longitude: float, latitude: float, minimum: int
) -> tuple[float, list[dict[str, Any]]]:
    """Count wells by the squares of a grid that hangs on no place.

    The grid is the same for every page of a region: two pages laid one over
    the other then tell no more than one. The smallest square size is taken at which the squares with enough wells
    hold at least six wells in ten; squares with fewer wells are left out.

    Parameters
    ----------
    wells : DataFrame
        With `longitude`, `latitude` and the canonical columns.
    longitude, latitude : float
        The lot, or the middle of the region; only the whole degree of the
        latitude counts.
    minimum : int
        Least number of wells of a square.

    Returns
    -------
    size_m : float
        Side of the squares.
    squares : list of dict
        `bounds` (west, south, east, north), `count`, `ranges` (label, text).
    """
    shrink = np.cos(np.radians(round(latitude)))
    east = wells["longitude"].to_numpy(float) * M_PER_DEGREE * shrink
    north = wells["latitude"].to_numpy(float) * M_PER_DEGREE
    squares: list[dict[str, Any]] = []
    size = CELL_SIZES_M[-1]
    for size in CELL_SIZES_M:
        cells = pd.DataFrame({"column": np.floor(east / size), "row": np.floor(north / size)}, index=wells.index)
        counts = cells.groupby(["row", "column"], sort=True).size()
        enough = counts[counts >= minimum]
        if enough.sum() >= SHARE_SHOWN * len(wells) or size == CELL_SIZES_M[-1]:
            groups = cells.groupby(["row", "column"], sort=True).indices
            for row, column in enough.index:
                inside = wells.iloc[groups[(row, column)]]
                west, south = column * size / (M_PER_DEGREE * shrink), row * size / M_PER_DEGREE
                squares.append(
                    {
                        "bounds": (west, south, west + size / (M_PER_DEGREE * shrink), south + size / M_PER_DEGREE),
                        "count": len(inside),
                        "ranges": quantity_ranges(inside, minimum),
                    }
                )
            break
    return size, squares


def quantity_ranges(wells: pd.DataFrame, minimum: int) -> list[tuple[str, str]]:
    """Return the middle eight in ten of each quantity, where enough wells record it.

    Parameters
    ----------
    wells : DataFrame
    minimum : int

    Returns
    -------
    list of (label, text)
    """
    ranges = []
    for key, label, unit in WELL_QUANTITIES:
        value = best_known(wells, key)
        value = value[np.isfinite(value)]
        if value.size < minimum:
            continue
        first, last = np.quantile(value, [0.1, 0.9])
        say = wording.flow if unit == "gpm" else wording.water_level if key == "depth_to_water_ft" else wording.depth
        ranges.append((f"{label}, most wells", wording.span(first, last, say)))
    return ranges


def squares_layer(
    wells: pd.DataFrame, longitude: float, latitude: float, minimum: int
) -> tuple[list[tuple[str, dict[str, Any]]], list[Bounds]]:
    """Return the counted squares as a layer of the map, and the ground they cover.

    Parameters
    ----------
    wells : DataFrame
    longitude, latitude : float
        See `count_squares`.
    minimum : int

    Returns
    -------
    layers : list of (name, group)
        Empty where no square holds enough wells.
    bounds : list of (west, south, east, north)
        Of the squares: the map's frame must not follow a single well.
    """
    size_m, squares = count_squares(wells, longitude, latitude, minimum)
    if not squares:
        return [], []
    counts = np.array([square["count"] for square in squares], dtype=float)
    label = f"Wells in a square of {wording.distance(size_m)} a side"
    if len(squares) <= FEW_SQUARES:
        group = numbered_squares(squares, f"{label[0].lower()}{label[1:]}")
    else:
        group = squares_group(squares, count_ramp(label, counts, 6))
    return [("Wells, counted by squares", group)], [square["bounds"] for square in squares]


def numbered_squares(squares: list[dict[str, Any]], key: str) -> dict[str, Any]:
    """Return a few squares as a group of the map, each with its number written on it; colours would tell less."""
    ramp = Ramp("count", "", (), ("",), (PALE,))
    group = squares_group(squares, ramp)
    del group["legend"]
    labels = []
    for square in squares:
        west, _, east, north = (float(value) for value in square["bounds"])
        text = wording.counted(square["count"], "well")
        labels.append({"lat": round(north, 6), "lon": round((west + east) / 2.0, 6), "text": text, "below": True})
    return {**group, "labels": labels, "key": ["square", PALE, key]}


def squares_group(squares: list[dict[str, Any]], ramp: Ramp) -> dict[str, Any]:
    """Return the squares as a group of the map, coloured by the number of wells."""
    shapes = []
    for square in squares:
        west, south, east, north = (round(float(value), 5) for value in square["bounds"])
        count = np.array([float(square["count"])])
        shapes.append(
            {
                "parts": [[[south, west], [south, east], [north, east], [north, west]]],
                "closed": True,
                "colour": "#6b757c",
                "weight": 0.8,
                "fill": ramp.colours[int(ramp.codes(count, count)[0])],
                "fillOpacity": 0.75,
                "title": wording.counted(square["count"], "well"),
                "rows": [list(row) for row in square["ranges"]],
            }
        )
    return {"shapes": shapes, "legend": ramp.as_data()}


def wells_behind(weights: np.ndarray) -> float:
    """Return how many wells stand behind an estimate: five of one weight are five, one that outweighs all is one.

    Parameters
    ----------
    weights : ndarray of shape (n,)
        Of the wells that it leaned on.

    Returns
    -------
    float
        The effective number, (sum w)² / sum w² (Kish 1965, "Survey Sampling").

    Examples
    --------
    >>> wells_behind(np.full(8, 0.125)), round(wells_behind(np.array([0.96, 0.01, 0.01, 0.01, 0.01])), 1)
    (8.0, 1.1)
    """
    squares = float(np.sum(np.square(weights)))
    return float(np.sum(weights)) ** 2 / squares if squares > 0 else 0.0


def count_text(count: int, minimum: int) -> str:
    """Return a count of wells, or that it is less than may be told.

    >>> count_text(3, 5), count_text(12, 5), count_text(0, 5)
    ('fewer than 5 wells', '12 wells', 'no wells')
    """
    if count == 0:
        return "no wells"
    return f"fewer than {minimum} wells" if count < minimum else wording.counted(count, "well")


def wells_within(wells: pd.DataFrame, longitude: float, latitude: float, radius_m: float) -> pd.DataFrame:
    """Return the wells within a distance of a place."""
    return wells[distance_m(longitude, latitude, wells) <= radius_m]
