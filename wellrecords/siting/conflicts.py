"""Which setbacks leave no ground between them, and what would free some.

The zones of all features cut the lot into faces; on each face a known set of
setbacks is broken. The sets that are smallest, in the sense that none of their
parts does, are the only ways to gain ground: every other way asks for more.

This is information for the talk with the authority and for the move of what
is only planned. **Only the authority may grant a variance**, and the distance
from an overhead line to the raised mast is never given up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from wellrecords.siting.ground import Plan, free_ground, keep_away, zones_of

_STEPS = 24
"""Halvings in the search for the distance that would do: 100 ft to 0.00001 ft."""


@dataclass(frozen=True)
class Conflict:
    """A smallest set of setbacks that, if relaxed together, would free ground.

    Attributes
    ----------
    features : tuple of str
        Names of the features, one or more; all of them would have to give.
    setback_ft : tuple of float
        What the settings ask.
    would_do_ft : tuple of float
        The largest setbacks, all lowered by the same share, that leave the
        least ground asked for (`least_ground_ft2`).
    freed_ft2 : float
        Ground if these features kept nobody away (their own ground and mast
        clearance aside): the most that relaxing them can give.
    proposed : tuple of str
        Those of `features` that are only planned and so may be moved.
    """

    features: tuple[str, ...]
    setback_ft: tuple[float, ...]
    would_do_ft: tuple[float, ...]
    freed_ft2: float
    proposed: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The conflict in plain words."""
        # Rounded down: a hair more would not do.
        parts = [
            f"{name} (from {asked:g} to {math.floor(10 * would) / 10:g} ft)"
            for name, asked, would in zip(self.features, self.setback_ft, self.would_do_ft, strict=True)
        ]
        told = (
            f"Ground would come free if the setback from the {' and from the '.join(parts)} were lowered; only the "
            "authority may grant that."
        )
        if self.proposed:
            told += f" Only planned, so moving may do as well: {', '.join(self.proposed)}."
        return told


def find_conflicts(plan: Plan, least_ground_ft2: float) -> tuple[Conflict, ...]:
    """Return every smallest set of setbacks whose relaxing would free ground.

    Parameters
    ----------
    plan : Plan
    least_ground_ft2 : float
        Ground smaller than this counts as none.

    Returns
    -------
    tuple of Conflict
        Fewest features first, then most ground. Empty where no relaxing
        helps: the lot is covered by the features themselves, by the
        tolerance, or by the reach of overhead lines.
    """
    zones = zones_of(plan)
    # What no relaxing takes back: a feature's own ground, the tolerance, the mast's clearance.
    fixed = _zones_at(plan, 0.0, range(len(zones)))
    faces = _faces(plan.lot, zones + fixed)
    inside = shapely.point_on_surface(faces)
    open_faces = inside[~np.array([shapely.contains(zone, inside) for zone in fixed]).any(axis=0)]
    broken = np.array([shapely.contains(zone, open_faces) for zone in zones])
    found: list[Conflict] = []
    smallest: list[frozenset[int]] = []
    for members in sorted({frozenset(np.flatnonzero(face).tolist()) for face in broken.T}, key=len):
        if not members or any(known <= members for known in smallest):
            continue
        others = [zone for number, zone in enumerate(zones) if number not in members]
        freed = free_ground(plan.lot, others + [fixed[number] for number in members], least_ground_ft2)
        if not freed.is_empty:
            smallest.append(members)
            found.append(_conflict(plan, others, sorted(members), freed.area, least_ground_ft2))
    return tuple(sorted(found, key=lambda conflict: (len(conflict.features), -conflict.freed_ft2)))


def _zones_at(plan: Plan, share: float, which: list[int] | range) -> list[BaseGeometry]:
    """Return the zones of some features with their setbacks at a share of what is asked.

    The tolerance and the mast's clearance are no setbacks and stay whole.
    """
    chosen = plan.features.iloc[list(which)]
    asked = chosen[["setback_ft", "mast_clearance_ft"]].max(axis=1)
    tolerance_ft = chosen["required_ft"] - asked
    lowered = pd.concat([chosen["setback_ft"] * share, chosen["mast_clearance_ft"]], axis=1).max(axis=1) + tolerance_ft
    return [keep_away(shape, float(distance)) for shape, distance in zip(chosen.geometry, lowered, strict=True)]


def _faces(lot: BaseGeometry, zones: list[BaseGeometry]) -> np.ndarray:
    """Return the parts into which the zones' edges cut the lot."""
    edges = shapely.union_all([lot.boundary, *(zone.boundary for zone in zones if not zone.is_empty)])
    faces = shapely.get_parts(shapely.polygonize([edges]))
    return faces[shapely.contains(lot, shapely.point_on_surface(faces))]


def _conflict(
    plan: Plan, others: list[BaseGeometry], members: list[int], freed_ft2: float, least_ground_ft2: float
) -> Conflict:
    """Find the largest share of the members' setbacks that leaves ground, by halving."""
    low, high = 0.0, 1.0
    for _ in range(_STEPS):
        middle = (low + high) / 2
        left = free_ground(plan.lot, others + _zones_at(plan, middle, members), least_ground_ft2)
        low, high = (low, middle) if left.is_empty else (middle, high)
    chosen = plan.features.iloc[members]
    return Conflict(
        features=tuple(chosen["feature"]),
        setback_ft=tuple(float(asked) for asked in chosen["setback_ft"]),
        would_do_ft=tuple(float(asked * low) for asked in chosen["setback_ft"]),
        freed_ft2=freed_ft2,
        proposed=tuple(chosen.loc[chosen["proposed"], "feature"]),
    )
