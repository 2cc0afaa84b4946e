"""The ground where a well may stand: a lot less what every setback takes.

All geometry is done in feet on a transverse Mercator plane centred on the
lot, where lengths are true to a few parts in a million over any lot. Arcs are
drawn around the true circle, never inside it (`keep_away`), so a place in the
allowed ground truly keeps every setback.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from wellrecords.errors import Problem, ProblemsError
from wellrecords.siting.settings import PROPERTY_LINE, SitingSettings, kind_name

WGS84 = "EPSG:4326"
QUAD_SEGS = 64
"""Chords in a quarter circle: a circle's area is then 0.005 % too large."""
OTHER_NAMES = {
    "property_line": ("boundary", "lot_line", "parcel_line", "line"),
    "house": ("home", "dwelling", "residence", "cabin"),
    "building": ("barn", "garage", "shed", "shop", "outbuilding"),
    "septic_tank": ("septic", "tank"),
    "drain_field": ("leach_field", "leachfield", "leaching_field", "septic_field", "absorption_field", "leach_bed"),
    "seepage_pit": ("cesspool", "dry_well", "leach_pit"),
    "sewer_line": ("sewer", "sewer_pipe", "septic_line"),
    "fuel_tank": ("oil_tank", "gas_tank", "propane_tank"),
    "livestock": ("barnyard", "corral", "animal_pen", "feedlot", "pasture"),
    "manure_pile": ("manure", "compost"),
    "stream": ("creek", "brook", "river", "ditch", "run"),
    "road": ("street", "highway", "lane"),
    "driveway": ("drive", "access"),
    "overhead_line": ("power_line", "powerline", "electric_line", "utility_line"),
    "well": ("neighbor_well", "neighbour_well", "old_well", "existing_well"),
}
"""What people call the kinds of features that the sample setbacks file has."""
ALIKE = 0.75
FT_PER_MILE = 5280.0
LARGE_LOT_FT2 = FT_PER_MILE**2
"""More than a section of land is seldom one lot: its corners are looked at again."""
_OUTSIDE = 1.0 / math.cos(math.pi / (4 * QUAD_SEGS))


@dataclass(frozen=True, eq=False)
class Plan:
    """A lot and its site features in feet on the lot's own plane.

    Attributes
    ----------
    lot : shapely.Polygon or MultiPolygon
    features : GeoDataFrame
        One row a feature: `feature` (a name that is unique on the lot),
        `kind`, `label`, `proposed`, `setback_ft`, `mast_clearance_ft` (0 but
        for overhead lines), `required_ft` (what the well must keep, the
        tolerance included) and `geometry`. The lot's own boundary is the
        first.
    crs : pyproj.CRS
        The plane, in international feet.
    notes : tuple of str
    """

    lot: BaseGeometry
    features: gpd.GeoDataFrame
    crs: CRS
    notes: tuple[str, ...]


def keep_away(geometry: BaseGeometry, distance_ft: float) -> BaseGeometry:
    """Return all points nearer than `distance_ft` to a geometry, and a hair more.

    Parameters
    ----------
    geometry : shapely geometry, feet
    distance_ft : float
        At 0 a polygon is returned as it is, points and lines as nothing.

    Returns
    -------
    shapely geometry
        Its arcs lie outside the true ones by at most 0.0075 % of the distance.
    """
    if distance_ft <= 0:
        return geometry.buffer(0)
    return geometry.buffer(distance_ft * _OUTSIDE, quad_segs=QUAD_SEGS)


def lot_plane(lot: gpd.GeoSeries) -> CRS:
    """Return the plane for a lot: transverse Mercator in feet, centred on it.

    Parameters
    ----------
    lot : GeoSeries with a CRS
    """
    west, south, east, north = lot.to_crs(WGS84).total_bounds
    return CRS.from_proj4(
        f"+proj=tmerc +lat_0={(south + north) / 2:.6f} +lon_0={(west + east) / 2:.6f} +k=1 +x_0=0 +y_0=0 "
        "+datum=WGS84 +units=ft +no_defs"
    )


def large_lot(area_ft2: float) -> str:
    """Return a sentence that asks after a lot whose outline is very large."""
    return f"The lot as drawn covers {area_ft2 / FT_PER_MILE**2:,.1f} square miles: check its outline."


def lay_out(lot: gpd.GeoDataFrame, site_plan: gpd.GeoDataFrame | None, settings: SitingSettings) -> Plan:
    """Check a lot and its site plan, and lay both on the lot's plane.

    Parameters
    ----------
    lot : GeoDataFrame of one row, any CRS
        A polygon; `lot_id` where there is one.
    site_plan : GeoDataFrame or None, any CRS
        Column `kind`; optional `name`, `status` ("existing" or "proposed")
        and `voltage_kv` (overhead lines). A planned feature counts as one
        that stands. Any geometry type.
    settings : SitingSettings

    Raises
    ------
    ProblemsError
        All faults at once: no CRS, a lot that is no polygon, a kind without
        a setback, a feature without geometry or far from the lot.
    """
    outline, crs = _lot_outline(lot)
    notes = []
    if not outline.is_valid:
        outline = _polygons(shapely.make_valid(outline))
        notes.append("The lot's outline crossed itself and was mended; check it against the deed.")
    if outline.area > LARGE_LOT_FT2:
        notes.append(large_lot(outline.area))
    boundary_kind = settings.kinds[PROPERTY_LINE]
    rows: list[dict] = [
        {
            "feature": boundary_kind.label,
            "kind": PROPERTY_LINE,
            "label": boundary_kind.label,
            "proposed": False,
            "setback_ft": boundary_kind.setback_ft,
            "mast_clearance_ft": 0.0,
            "geometry": outline.boundary,
        }
    ]
    if site_plan is None or site_plan.empty:
        notes.append(
            "There is no site plan: only the lot's boundary was kept. Draw every feature before a well is staked."
        )
    else:
        found, mended = _features(outline, site_plan, crs, settings)
        rows += found
        notes += mended
    features = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=crs)
    features["required_ft"] = features[["setback_ft", "mast_clearance_ft"]].max(axis=1) + settings.tolerance_ft
    features["feature"] = _unique(features["feature"])
    return Plan(outline, features, crs, tuple(notes))


def _lot_outline(lot: gpd.GeoDataFrame) -> tuple[BaseGeometry, CRS]:
    if len(lot) != 1:
        msg = f"One lot at a time: got {len(lot)} rows."
        raise ValueError(msg)
    name = str(lot["lot_id"].iloc[0]) if "lot_id" in lot else None
    geometry = lot.geometry.iloc[0]
    if geometry is None or geometry.is_empty or geometry.geom_type not in ("Polygon", "MultiPolygon"):
        kind = "nothing" if geometry is None or geometry.is_empty else geometry.geom_type
        problem = Problem(
            what="the lot has no outline",
            rule="a place on the lot can be chosen only where the lot is a polygon",
            next_step="give the lot's polygon, from the deed or the county's parcels",
            column="geometry",
            value=f"{name}: {kind}" if name else kind,
            code="lot_no_polygon",
        )
        raise ProblemsError([problem], "No place can be chosen")
    if lot.crs is None:
        raise ProblemsError([_no_crs("the lot")], "No place can be chosen")
    crs = lot_plane(lot.geometry)
    outline = shapely.force_2d(lot.geometry.to_crs(crs).iloc[0])
    if not shapely.make_valid(outline).area > 0:
        problem = Problem(
            what="the lot's outline encloses no ground",
            rule="the corners of a lot go around its ground, in degrees or in the units of its coordinate system",
            next_step="draw the lot again, from the deed or the county's parcels",
            column="geometry",
            value=name,
            code="lot_no_ground",
        )
        raise ProblemsError([problem], "No place can be chosen")
    return outline, crs


def _meant(kind: str, settings: SitingSettings) -> str:
    """Return a question after the known kind that an unknown one may be, or nothing."""
    known = next((name for name, others in OTHER_NAMES.items() if kind in others and name in settings.kinds), None)
    known = known or next(iter(get_close_matches(kind, list(settings.kinds), 1, ALIKE)), None)
    return f"did you mean {known}? Else " if known else ""


def _features(
    lot: BaseGeometry, site_plan: gpd.GeoDataFrame, crs: CRS, settings: SitingSettings
) -> tuple[list[dict], list[str]]:
    if "kind" not in site_plan:
        problem = Problem(
            what="the site plan has no column of kinds",
            rule="each feature has a `kind`, such as drain_field",
            next_step="add it",
            column="kind",
            code="plan_no_kind",
        )
        raise ProblemsError([problem], "The site plan cannot be used")
    if site_plan.crs is None:
        raise ProblemsError([_no_crs("the site plan")], "The site plan cannot be used")
    rows, problems, notes = [], [], []
    # The index counts the features of the file, of which these may be only some.
    for number, given, shape in zip(
        site_plan.index + 1,
        pd.DataFrame(site_plan).to_dict("records"),
        site_plan.geometry.to_crs(crs),
        strict=True,
    ):
        kind = "" if pd.isna(given["kind"]) else kind_name(given["kind"])
        known = settings.kinds.get(kind)
        if not kind:
            problems.append(
                Problem(
                    what="a feature of the site plan has no kind",
                    row=int(number),
                    column="kind",
                    rule="each feature has a kind, such as drain_field: it says how far a well keeps away",
                    next_step="name its kind, or take the feature out",
                    code="feature_no_kind",
                )
            )
            continue
        if known is None:
            problems.append(
                Problem(
                    what="the site plan has a kind without a setback",
                    row=int(number),
                    column="kind",
                    value=str(given["kind"]),
                    rule=f"the kinds of the setbacks file are {', '.join(settings.kinds)}",
                    next_step=f"{_meant(kind, settings)}add [kinds.{kind}] with label, setback_ft (0 where the code "
                    "has none) and source to the setbacks file",
                    code="kind_without_setback",
                )
            )
            continue
        misplaced = _misplaced(shape, lot, settings.far_ft)
        if misplaced is not None:
            problems.append(replace(misplaced, row=int(number), column="geometry", value=f"{kind}: {misplaced.value}"))
            continue
        name = _text(given.get("name")) or known.label
        shape = shapely.force_2d(shape)
        if not shape.is_valid:
            shape = shapely.make_valid(shape)
            notes.append(f"The outline of {name} crossed itself and was mended; check it.")
        try:
            clearance = settings.rig.mast_clearance_ft(_voltage_kv(given)) if known.overhead else 0.0
        except ProblemsError as error:
            problems += [replace(problem, row=int(number)) for problem in error.problems]
            continue
        rows.append(
            {
                "feature": name,
                "kind": kind,
                "label": known.label,
                "proposed": _text(given.get("status")).lower() == "proposed",
                "setback_ft": known.setback_ft,
                "mast_clearance_ft": clearance,
                "geometry": shape,
            }
        )
    if problems:
        raise ProblemsError(problems, "The site plan cannot be used")
    return rows, notes


def _misplaced(shape: BaseGeometry | None, lot: BaseGeometry, far_ft: float) -> Problem | None:
    """Return what is wrong with where a feature is drawn, None where nothing is."""
    if shape is None or shape.is_empty:
        return Problem(
            what="a feature has no geometry",
            value="nothing drawn",
            rule="a feature that is not drawn cannot be kept away from",
            next_step="draw it or take the row out",
            code="feature_no_geometry",
        )
    distance_ft = distance_to(shape, lot)
    if distance_ft <= far_ft:
        return None
    return Problem(
        what="a feature lies far from the lot",
        value=f"{distance_ft / FT_PER_MILE:,.1f} miles away" if math.isfinite(distance_ft) else "nowhere on earth",
        rule=f"features lie within {far_ft:,.0f} ft of the lot (far_ft)",
        next_step="check the plan's coordinate system and the order of its coordinates, or take it out",
        code="feature_far",
    )


def distance_to(shape: BaseGeometry | None, lot: BaseGeometry) -> float:
    """Return how far a feature lies from a lot, endless where it is drawn nowhere.

    Coordinates that the projection cannot take come back infinite.
    """
    if shape is None or shape.is_empty or not np.isfinite(shapely.get_coordinates(shape)).all():
        return math.inf
    return float(shapely.distance(shape, lot))


def _voltage_kv(given: dict) -> float | None:
    """Return the voltage of an overhead line, None where it is not known."""
    text = _text(given.get("voltage_kv"))
    if not text:
        return None
    try:
        voltage = float(text)
    except ValueError:
        voltage = math.nan
    if not 0 < voltage < math.inf:
        problem = Problem(
            what="the voltage of an overhead line is no number",
            column="voltage_kv",
            value=text,
            rule="it is in kilovolts, above 0, such as 7.2; blank where it is not known",
            next_step="ask the line's owner, or leave it blank",
            code="line_voltage",
        )
        raise ProblemsError([problem], "The site plan cannot be used")
    return voltage


def _text(value: Any) -> str:
    return "" if pd.isna(value) else str(value).strip()


def _no_crs(what: str) -> Problem:
    return Problem(
        what=f"{what} has no coordinate system",
        rule="without one no distance is known",
        next_step="set it where the file was made, or with set_crs",
        code="no_crs",
    )


def _unique(names: pd.Series) -> list[str]:
    """Return the names, those that stand more than once numbered."""
    count, total = names.groupby(names).cumcount() + 1, names.groupby(names).transform("size")
    # The index is the order of the plan, so numbers follow the drawing.
    return [f"{name} {place}" if many > 1 else name for name, place, many in zip(names, count, total, strict=True)]


def _polygons(geometry: BaseGeometry) -> BaseGeometry:
    """Return the polygons of a geometry, without lines and points that an overlay may leave."""
    parts = [part for part in shapely.get_parts(geometry) if isinstance(part, Polygon) and part.area > 0]
    if len(parts) == 1:
        return parts[0]
    return shapely.MultiPolygon(parts)


def zones_of(plan: Plan) -> list[BaseGeometry]:
    """Return what each feature keeps a well away from, in the order of `plan.features`.

    Returns
    -------
    list of shapely geometry, feet
        Not cut to the lot: cutting first and taking away afterwards would
        leave hairs of ground along the lot's edge.
    """
    return [
        keep_away(shape, required)
        for shape, required in zip(plan.features.geometry, plan.features["required_ft"], strict=True)
    ]


def cut_to_lot(plan: Plan, zones: list[BaseGeometry]) -> list[BaseGeometry]:
    """Return the parts of the zones on the lot, as polygons (perhaps none)."""
    return [_polygons(zone.intersection(plan.lot)) for zone in zones]


def free_ground(lot: BaseGeometry, zones: list[BaseGeometry], least_ft2: float) -> shapely.MultiPolygon:
    """Return the lot less the zones, without the parts that are too small to be staked out.

    Parameters
    ----------
    lot : shapely geometry, feet
    zones : list of shapely geometry, feet
    least_ft2 : float
        Parts smaller than this are left out.
    """
    parts = shapely.get_parts(_polygons(lot.difference(shapely.union_all(zones))))
    return shapely.MultiPolygon([part for part in parts if part.area >= least_ft2])
