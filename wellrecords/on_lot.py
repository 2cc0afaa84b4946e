"""Wells on record that stand on a lot itself, told in its notes.

An estimate speaks of a hole that is not yet drilled. Where one is there
already, that hole is what the owner sees, and the reader must be told which of
the two the figures are of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from wellrecords import wording
from wellrecords.lots.places import project
from wellrecords.lots.support import distance
from wellrecords.places import M_PER_DEGREE

AT_THE_POINT_M = 30.0
"""How far from a lot that is a point a well may stand and be on it: about the width of a yard."""
MOST_UNSURE = 3
"""More wells than this on one rough place stand on the middle of a section, not on the lot."""
MOST_LISTED = 8
"""Of more wells than this on one lot the first are told, and how many more there are."""
AROUND_DEG = 2.0 * AT_THE_POINT_M / M_PER_DEGREE
UNKNOWN_DEPTH = "of unknown depth"


@dataclass(frozen=True, eq=False)
class WellPoints:
    """Wells to be found by their place: those of the canonical table that are not sealed."""

    wells: pd.DataFrame
    tree: shapely.STRtree


def well_points(wells: pd.DataFrame) -> WellPoints:
    """Return the wells that may stand on a lot.

    Parameters
    ----------
    wells : DataFrame
        The canonical table.
    """
    open_wells = wells[wells["record_kind"].ne("abandoned").to_numpy(bool)]
    points = shapely.points(open_wells["longitude"].to_numpy(float), open_wells["latitude"].to_numpy(float))
    return WellPoints(open_wells, shapely.STRtree(points))


def on_lot_notes(lot: BaseGeometry, points: WellPoints, *, figures: bool) -> list[str]:
    """Say which wells on record stand on a lot, or may; of a well its depth, yield and year, and no name.

    Parameters
    ----------
    lot : shapely geometry
        WGS84; on a point stands a well that is hardly farther than its yard.
    points : WellPoints
    figures : bool
        Whether the lot has figures, which are of another hole.

    Returns
    -------
    list of str
        Empty where none does.
    """
    west, south, east, north = lot.bounds
    wide = AROUND_DEG / max(0.1, float(np.cos(np.radians(lot.centroid.y))))
    box = shapely.box(west - wide, south - AROUND_DEG, east + wide, north + AROUND_DEG)
    near = points.wells.iloc[np.sort(points.tree.query(box))]
    if near.empty:
        return []
    on_it, sure = _on(lot, near)
    notes = []
    if (wells := near[on_it & sure]).shape[0]:
        one = len(wells) == 1
        beside = (
            f" The figures are for another hole near {'it' if one else 'them'}; going on in "
            f"{'this one' if one else 'one of these'} starts at {_start(wells)}."
        )
        notes.append(
            f"{'A well' if one else f'{len(wells)} wells'} on this very lot {'is' if one else 'are'} on record: "
            f"{_listed(wells)}.{beside if figures else ''}"
        )
    if 0 < len(wells := near[on_it & ~sure]) <= MOST_UNSURE:
        one = len(wells) == 1
        error = distance(float(wells["position_error_m"].max()))
        notes.append(
            f"{'A well' if one else f'{len(wells)} wells'} on record may stand on this very lot (placed only to within "
            f"about {error}): {_listed(wells)}."
        )
    return notes


def _on(lot: BaseGeometry, near: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Tell of each well whether its coordinates lie on the lot, and whether its position is good enough to be sure."""
    middle = (lot.centroid.x, lot.centroid.y)
    error_m = near["position_error_m"].to_numpy(float)
    places = shapely.points(project(middle, near["longitude"].to_numpy(float), near["latitude"].to_numpy(float)))
    shape = shapely.transform(lot, lambda degrees: project(middle, degrees[:, 0], degrees[:, 1]))
    away_m = shapely.distance(places, shape)
    # A point is no outline: within a yard of it counts as on the lot.
    on_it = away_m <= (0.0 if shape.area > 0 else AT_THE_POINT_M)
    inside_m = shapely.distance(places, shape.boundary) if shape.area > 0 else np.zeros(len(near))
    return on_it, error_m <= np.maximum(inside_m, AT_THE_POINT_M)


def _listed(wells: pd.DataFrame) -> str:
    told = [_told(row) for row in wells.head(MOST_LISTED).to_dict("records")]
    more = len(wells) - len(told)
    return "; ".join([*told, f"and {more:,} more"] if more else told)


def _told(well: dict[str, object]) -> str:
    depth, low, high = well["total_depth_ft"], well["yield_gpm_low"], well["yield_gpm_high"]
    flow = wording.reading(low, high, "gpm")  # type: ignore[arg-type]
    said = [UNKNOWN_DEPTH if wording.is_missing(depth) else wording.exact_depth(float(str(depth)))]
    said += [] if flow == wording.MISSING else [flow]
    year = well["drilled_on"]
    return f"{', '.join(said)}{'' if wording.is_missing(year) else f' ({year:%Y})'}"


def _start(wells: pd.DataFrame) -> str:
    depths = sorted(set(wells["total_depth_ft"].dropna()))
    if not depths or len(depths) > MOST_LISTED:
        return "its depth"
    return " or ".join(wording.exact_depth(float(depth)) for depth in depths)
