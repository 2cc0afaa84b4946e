"""A lot and its site plan in; the ground, the places and the conflicts out."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from wellrecords.errors import Problem, ProblemsError, WellRecordsError, counted
from wellrecords.siting.candidates import Elevation, Places, choose_places, net_usd
from wellrecords.siting.conflicts import Conflict, find_conflicts
from wellrecords.siting.ground import WGS84, Plan, cut_to_lot, distance_to, free_ground, lay_out, lot_plane, zones_of
from wellrecords.siting.settings import PlaceCosts, SitingSettings, kind_name

TIED_SHARE = 0.02
"""Of a job's cost: a smaller difference between places of a lot is no more than the scatter of a thousand draws, whose
mean yield is known to some 0.4 gpm where yields are as skewed as in rock."""
_CONFLICTS_TOLD = 3
_MOST_LONGITUDE, _MOST_LATITUDE = 360.0, 90.0
"""Degrees; longitudes that are counted east all around go to 360."""
LOCAL_CODE = (
    "Setbacks are the settings' values: local code and the permit govern, and only the authority may grant a variance."
)
BEFORE_DIGGING = (
    "Before anything is dug or a mast is raised: have buried utilities located (811 in the United States), locate "
    "private lines too, and keep the mast clear of overhead lines; move the rig with the mast down."
)


@dataclass(frozen=True, eq=False)
class Siting:
    """Where a well may stand on one lot. All tables with geometry are WGS84, ready for a map.

    Attributes
    ----------
    lot_id : str
    lot_area_ft2, ground_area_ft2 : float
    ground : GeoDataFrame
        One row: `lot_id`, `area_ft2`, the allowed ground (empty where none is left).
    zones : GeoDataFrame
        One row a kind: `kind`, `label`, `setback_ft`, `required_ft`,
        `area_ft2` that it takes from the lot; cut to the lot.
    features : GeoDataFrame
        One row a feature, the lot's boundary first: `feature`, `kind`,
        `label`, `proposed`, `setback_ft`, `mast_clearance_ft`,
        `required_ft`, `taken_ft2` (from the lot) and `taken_alone_ft2`
        (what no other feature takes: the ground that would be gained
        without it).
    candidates : GeoDataFrame
        The best places, first the best: `rank`, `longitude`, `latitude`,
        `x_ft`, `y_ft` (on the lot's plane), `elevation_ft`, `slope_percent`,
        `access_ft`, `trench_ft`, `slack_ft` (room to spare at the tightest
        setback), `binding` (that feature), `rig_access`, `cost_usd` (of
        trench, rig's way and pad; null without prices), `net_usd` (what they
        are ranked by), `sentence`, and after `with_expectation` what a well
        there is expected to cost and yield.
    distances : DataFrame
        Every candidate against every feature: `rank`, `feature`, `kind`,
        `distance_ft`, `required_ft`, `slack_ft`; the tightest first.
    ways : GeoDataFrame
        `rank`, `way` ("access" or "trench"), `length_ft`, a line each.
    conflicts : tuple of Conflict
        Only where no ground is left.
    notes : tuple of str
        Plain sentences.
    no_trench : str
        Why no candidate has a trench to the house, as a clause; empty where one has.
    left_out : str
        The note on features of other lots' plans that lie nearer than their
        setback and that this lot's plan has not; empty where there are none.
    """

    lot_id: str
    lot_area_ft2: float
    ground_area_ft2: float
    ground: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    candidates: gpd.GeoDataFrame
    distances: pd.DataFrame
    ways: gpd.GeoDataFrame
    conflicts: tuple[Conflict, ...]
    notes: tuple[str, ...]
    no_trench: str = ""
    left_out: str = ""

    @property
    def has_ground(self) -> bool:
        """Whether a well may stand on the lot at all."""
        return self.ground_area_ft2 > 0

    @property
    def in_the_way(self) -> str:
        """What leaves no ground, shortly: features that would have to give, each or together; empty where some is."""
        if self.has_ground:
            return ""
        if not self.conflicts:
            return "the features themselves, the tolerance or overhead lines"
        shown = [" with ".join(conflict.features) for conflict in self.conflicts[:_CONFLICTS_TOLD]]
        return " or ".join(shown) + (", among others" if len(self.conflicts) > _CONFLICTS_TOLD else "")


def site_lot(
    lot: gpd.GeoDataFrame,
    site_plan: gpd.GeoDataFrame | None,
    settings: SitingSettings,
    *,
    elevation_ft: Elevation | None = None,
) -> Siting:
    """Return where a well may stand on a lot.

    Parameters
    ----------
    lot : GeoDataFrame of one row, any CRS
        The lot's polygon, and `lot_id`.
    site_plan : GeoDataFrame or None, any CRS
        The features of this lot and around it: `kind`, optional `name`,
        `status` ("existing", "proposed"), `voltage_kv`; any geometry type.
        Only what is drawn is kept away from, so neighbours' tanks, fields
        and wells belong in it.
    settings : SitingSettings
    elevation_ft : callable, optional
        (longitude, latitude) -> elevation in feet.

    Returns
    -------
    Siting

    Raises
    ------
    ProblemsError
        Every fault of lot and plan at once.
    """
    plan = lay_out(lot, site_plan, settings)
    lot_id = str(lot["lot_id"].iloc[0]) if "lot_id" in lot else "lot"
    zones = zones_of(plan)
    ground = free_ground(plan.lot, zones, settings.least_ground_ft2)
    notes = list(plan.notes)
    places: Places | None = None
    conflicts: tuple[Conflict, ...] = ()
    if ground.is_empty:
        conflicts = find_conflicts(plan, settings.least_ground_ft2)
        notes.append(_no_ground(conflicts))
    else:
        places = choose_places(plan, ground, settings, elevation_ft=elevation_ft)
        notes += places.notes
    if plan.features["mast_clearance_ft"].gt(0).any():
        notes.append("Overhead lines are on the plan: every place keeps the raised mast clear of them.")
    notes += [LOCAL_CODE, BEFORE_DIGGING]
    candidates = pd.DataFrame() if places is None else places.table
    return Siting(
        lot_id=lot_id,
        lot_area_ft2=plan.lot.area,
        ground_area_ft2=ground.area,
        ground=_on_map({"lot_id": [lot_id], "area_ft2": [ground.area]}, [ground], plan),
        zones=_zones_by_kind(plan, zones),
        features=_feature_table(plan, zones),
        candidates=gpd.GeoDataFrame(
            candidates,
            geometry=[] if places is None else gpd.points_from_xy(candidates["longitude"], candidates["latitude"]),
            crs=WGS84,
        ),
        distances=pd.DataFrame() if places is None else places.distances,
        ways=_ways(places, plan),
        conflicts=conflicts,
        notes=tuple(notes),
        no_trench="" if places is None else places.no_trench,
    )


def site_lots(
    lots: gpd.GeoDataFrame,
    site_plans: gpd.GeoDataFrame | None,
    settings: SitingSettings,
    *,
    elevation_ft: Elevation | None = None,
) -> list[Siting]:
    """Return `site_lot` for every lot that is a polygon, in their order.

    Parameters
    ----------
    lots : GeoDataFrame
        `lot_id` and geometry; lots that are points are passed over.
    site_plans : GeoDataFrame or None
        Features with `lot_id`; one without counts for every lot it lies near.
    settings, elevation_ft
        As in `site_lot`.

    Raises
    ------
    ProblemsError
        The faults of all lots at once.
    """
    found: list[Siting] = []
    problems: list[Problem] = []
    for number in np.flatnonzero(lots.geometry.geom_type.isin(["Polygon", "MultiPolygon"])):
        lot = lots.iloc[[number]]
        try:
            plan = plan_of_lot(lot, site_plans, settings)
            sited = site_lot(lot, plan, settings, elevation_ft=elevation_ft)
            found.append(_with_left_out(sited, lot, site_plans, plan, settings))
        except ProblemsError as error:
            problems += error.problems
    if problems:
        raise ProblemsError(problems, "The lots cannot be sited")
    return found


def plan_of_lot(
    lot: gpd.GeoDataFrame, site_plans: gpd.GeoDataFrame | None, settings: SitingSettings
) -> gpd.GeoDataFrame | None:
    """Return the features that belong to a lot: those with its `lot_id`, and those without any that lie near.

    Parameters
    ----------
    lot : GeoDataFrame of one row with `lot_id`
    site_plans : GeoDataFrame or None
    settings : SitingSettings
        `far_ft` says what is near.
    """
    if site_plans is None or "lot_id" not in site_plans or site_plans.crs is None:
        return site_plans
    own = (site_plans["lot_id"].astype("string") == str(lot["lot_id"].iloc[0])).fillna(False)
    shared = site_plans["lot_id"].isna() & ~site_plans.geometry.isna()
    plane = lot_plane(lot.geometry)
    outline = lot.geometry.to_crs(plane).iloc[0]
    away_ft = np.array([distance_to(shape, outline) for shape in site_plans.geometry.to_crs(plane)])
    near = away_ft <= settings.far_ft
    return site_plans[own | (shared & near)]


def _with_left_out(
    siting: Siting,
    lot: gpd.GeoDataFrame,
    site_plans: gpd.GeoDataFrame | None,
    own: gpd.GeoDataFrame | None,
    settings: SitingSettings,
) -> Siting:
    """Note what only the neighbours' plans have, and a well on this lot should keep away from all the same."""
    if site_plans is None or own is None or len(own) == len(site_plans):
        return siting
    plane = lot_plane(lot.geometry)
    outline = shapely.make_valid(lot.geometry.to_crs(plane).iloc[0])
    others = site_plans[~site_plans.index.isin(own.index) & site_plans["kind"].notna()].to_crs(plane)
    drawn = own[own["kind"].notna()].to_crs(plane)
    drawn_kinds = drawn["kind"].map(kind_name)
    told: dict[str, float] = {}
    for kind, shape in zip(others["kind"].map(kind_name), others.geometry, strict=True):
        rule = settings.kinds.get(kind)
        away_ft = distance_to(shape, outline)
        if rule is None or rule.setback_ft <= 0 or away_ft >= rule.setback_ft + settings.tolerance_ft:
            continue
        alike = drawn.geometry[drawn_kinds == kind]
        if min((distance_to(one, shape) for one in alike), default=math.inf) > settings.tolerance_ft:
            told[rule.label] = min(away_ft, told.get(rule.label, math.inf))
    if not told:
        return siting
    left_out = ", ".join(f"{label} ({'on the lot' if ft <= 0 else f'{ft:,.0f} ft off'})" for label, ft in told.items())
    note = (
        f"Other lots' plans show what this lot's does not, nearer than its setback: {left_out}. The places do not keep "
        "away from it until it is drawn on this lot's plan too, or its lot_id is left blank."
    )
    return replace(siting, left_out=note, notes=(note, *siting.notes))


def read_site_plans(path: str | Path) -> gpd.GeoDataFrame:
    """Read site plans from a file that geopandas reads (GeoJSON, GeoPackage, shapefile).

    Parameters
    ----------
    path : path
        Features with `kind`, and `lot_id` where the file holds several lots.

    Raises
    ------
    WellRecordsError
        If it is absent or unreadable.
    ProblemsError
        If it has no `kind`.
    """
    if not Path(path).exists():
        msg = f"There is no site plan file {path}. Next: name the file that holds the features of the lot."
        raise WellRecordsError(msg)
    try:
        plans = gpd.read_file(path)
    except Exception as error:  # the drivers raise many kinds
        msg = f"The site plan file {path} cannot be read: {error}. Next: save it as GeoJSON or GeoPackage."
        raise WellRecordsError(msg) from error
    if "kind" not in plans or not isinstance(plans, gpd.GeoDataFrame):
        problem = Problem(
            what="the site plan has no kinds or no geometry",
            file=str(path),
            column="kind",
            rule="each feature has a geometry and a `kind`, such as drain_field",
            next_step="add them",
            code="plan_no_kind",
        )
        raise ProblemsError([problem], "The site plan cannot be used")
    _check_degrees(plans, Path(path))
    return plans


def _check_degrees(plans: gpd.GeoDataFrame, path: Path) -> None:
    """Refuse a plan said to be in degrees, or that says nothing and so is taken for degrees, whose numbers are none."""
    if plans.crs is None or not plans.crs.is_geographic:
        return
    bounds = plans.geometry.bounds
    wrong = (bounds[["minx", "maxx"]].abs() > _MOST_LONGITUDE).any(axis=1)
    wrong |= (bounds[["miny", "maxy"]].abs() > _MOST_LATITUDE).any(axis=1)
    if not wrong.any():
        return
    first = int(np.flatnonzero(wrong)[0])
    problem = Problem(
        what=f"{counted(int(wrong.sum()), 'feature')} of the site plan "
        f"{'is' if wrong.sum() == 1 else 'are'} drawn in numbers that are no degrees",
        file=str(path),
        row=first + 1,
        column="geometry",
        value=f"{bounds['minx'].iloc[first]:.10g}, {bounds['miny'].iloc[first]:.10g}",
        rule="a map file that states no coordinate system is read as degrees, longitude (-180 to 180) first, then "
        "latitude (-90 to 90)",
        next_step="save the plan in degrees (WGS84, EPSG:4326), or with its coordinate system stated, such as a "
        "GeoPackage in metres or feet",
        code="plan_no_degrees",
    )
    raise ProblemsError([problem], "The site plan cannot be used")


def with_expectation(siting: Siting, expected: pd.DataFrame, costs: PlaceCosts) -> tuple[Siting, np.ndarray]:
    """Rank the places anew by what a well at each is expected to cost and to yield.

    Parameters
    ----------
    siting : Siting
    expected : DataFrame
        One row a candidate, in their order: `expected_cost_usd` of the whole
        job there, `expected_yield_gpm`.
    costs : PlaceCosts

    Returns
    -------
    Siting
        `candidates`, `distances` and `ways` in the new order; a place that
        rig or trench does not reach still comes after those they do, and
        places within `TIED_SHARE` of the job's cost keep their order.
    ndarray of int
        The old row of each place.
    """
    places = siting.candidates.assign(**{name: expected[name].to_numpy() for name in expected})
    places["net_usd"] = net_usd(places, costs)
    cut_off = places["rig_access"].eq(False).fillna(False).to_numpy(dtype=bool)
    least_told_usd = TIED_SHARE * float(places["expected_cost_usd"].median())
    worse_reached = 2 * cut_off + places["trench_ft"].isna().to_numpy(dtype=int)
    ranked_before = np.lexsort([places["rank"], worse_reached])
    order = _moved(ranked_before, worse_reached, places["net_usd"].to_numpy(dtype=float), least_told_usd)
    new_rank = {int(places["rank"].iloc[old]): rank for rank, old in enumerate(order, 1)}
    ranked = places.iloc[order].assign(rank=np.arange(1, len(places) + 1)).reset_index(drop=True)
    distances, ways = (
        table.assign(rank=table["rank"].map(new_rank)).sort_values("rank", kind="stable", ignore_index=True)
        for table in (siting.distances, siting.ways)
    )
    return replace(siting, candidates=ranked, distances=distances, ways=ways), order


def _moved(ranked: np.ndarray, reached: np.ndarray, net_usd: np.ndarray, within_usd: float) -> np.ndarray:
    """Return ranked places in their order but for those that are surely cheaper.

    A place moves ahead of the first that costs more than it by over
    `within_usd`, among those that are reached as well as it. No place then
    stands ahead of one that is cheaper by more, and those that differ by less
    are not parted by where a rounding happens to fall.
    """
    order: list[int] = []
    for place in ranked:
        dearer = (reached[order] == reached[place]) & (net_usd[order] > net_usd[place] + within_usd)
        order.insert(int(np.argmax(dearer)) if dearer.any() else len(order), int(place))
    return np.array(order, dtype=int)


def describe(siting: Siting) -> list[str]:
    """Return the result in plain sentences, the ground first.

    Parameters
    ----------
    siting : Siting
    """
    share = siting.ground_area_ft2 / siting.lot_area_ft2
    told = [
        f"Lot {siting.lot_id}: a well may stand on {siting.ground_area_ft2:,.0f} of {siting.lot_area_ft2:,.0f} square "
        f"feet ({share:.0%})."
    ]
    if len(siting.candidates):
        told += [f"Place {place['rank']}: {place['sentence']}" for place in siting.candidates.to_dict("records")]
    told += [conflict.sentence for conflict in siting.conflicts]
    return told + list(siting.notes)


def _no_ground(conflicts: tuple[Conflict, ...]) -> str:
    if not conflicts:
        return (
            "No ground is left, and lowering setbacks would free none: the features themselves, the tolerance or "
            "overhead lines take the whole lot."
        )
    alone = [conflict.features[0] for conflict in conflicts if len(conflict.features) == 1]
    if alone:
        return f"No ground is left. Each of these setbacks alone decides it: {'; '.join(alone)}."
    return f"No ground is left. No single setback decides it; at least {len(conflicts[0].features)} would have to give."


def _on_map(columns: dict, shapes: Iterable[BaseGeometry], plan: Plan) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=plan.crs).to_crs(WGS84)


def _zones_by_kind(plan: Plan, zones: list[BaseGeometry]) -> gpd.GeoDataFrame:
    table = gpd.GeoDataFrame(plan.features.drop(columns="geometry"), geometry=cut_to_lot(plan, zones), crs=plan.crs)
    rows = table.dissolve("kind", aggfunc={"label": "first", "setback_ft": "first", "required_ft": "max"}, sort=False)
    rows["area_ft2"] = rows.area
    return rows.reset_index()[["kind", "label", "setback_ft", "required_ft", "area_ft2", "geometry"]].to_crs(WGS84)


def _feature_table(plan: Plan, zones: list[BaseGeometry]) -> gpd.GeoDataFrame:
    table = plan.features.copy()
    table["taken_ft2"] = shapely.area(cut_to_lot(plan, zones))
    others = [shapely.union_all(zones[:number] + zones[number + 1 :]) for number in range(len(zones))]
    table["taken_alone_ft2"] = [
        zone.intersection(plan.lot).difference(rest).area for zone, rest in zip(zones, others, strict=True)
    ]
    return table.to_crs(WGS84)


def _ways(places: Places | None, plan: Plan) -> gpd.GeoDataFrame:
    rows = (
        [
            (rank, kind, way)
            for kind, ways in (("access", places.access), ("trench", places.trenches))
            for rank, way in enumerate(ways, 1)
            if way is not None
        ]
        if places is not None
        else []
    )
    ranks, kinds, lines = zip(*rows, strict=True) if rows else ((), (), ())
    return _on_map({"rank": list(ranks), "way": list(kinds), "length_ft": [line.length for line in lines]}, lines, plan)
