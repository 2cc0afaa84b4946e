"""Places on the allowed ground, weighed by what each would cost and yield."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from wellrecords.siting.ground import WGS84, Plan
from wellrecords.siting.routes import Grid, Routes, find_routes, make_grid
from wellrecords.siting.settings import KindSettings, PlaceCosts, SitingSettings

Elevation = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Longitudes and latitudes (WGS84) -> land elevation in feet, null where unknown."""

_MOST_PLACES = 20_000
"""About how many places of the ground are weighed at most; the grid widens beyond."""
_TIED_USD = 0.01
"""Places whose costs differ by less tie."""
_MOST_NODES = 60_000
"""About how many places the whole grid has at most, ground or not."""


@dataclass(frozen=True, eq=False)
class Places:
    """The places that were chosen.

    Attributes
    ----------
    table : DataFrame
        One row a place, the best first; see `Siting.candidates`.
    distances : DataFrame
        `rank`, `feature`, `kind`, `distance_ft`, `required_ft`, `slack_ft`.
    access, trenches : list of LineString or None
        On the lot's plane, in feet; in the order of `table`.
    notes : tuple of str
    no_trench : str
        Why no place has a trench to the house, as a clause; empty where one has.
    """

    table: pd.DataFrame
    distances: pd.DataFrame
    access: list[LineString | None]
    trenches: list[LineString | None]
    notes: tuple[str, ...]
    no_trench: str = ""


def place_cost_usd(places: pd.DataFrame, costs: PlaceCosts) -> np.ndarray:
    """Return what choosing each place costs, as far as it differs over the lot.

    Parameters
    ----------
    places : DataFrame
        `access_ft`, `trench_ft`, `slope_percent`; what is null or endless
        counts nothing.
    costs : PlaceCosts

    Returns
    -------
    ndarray of shape (n_places,), dollars
        Null where nothing is priced.
    """
    if not costs.has_prices:
        return np.full(len(places), np.nan)
    prices = {
        "trench_ft": costs.trench_usd_per_ft,
        "access_ft": costs.access_usd_per_ft,
        "slope_percent": costs.slope_usd_per_percent,
    }
    parts = [(price or 0.0) * _finite(places[name]) for name, price in prices.items()]
    return np.sum(parts, axis=0)


def net_usd(places: pd.DataFrame, costs: PlaceCosts) -> np.ndarray:
    """Return what places are ranked by: cost, the room that is missing, less what the yield is worth.

    Parameters
    ----------
    places : DataFrame
        `expected_cost_usd` (of the whole job) or else `cost_usd`;
        `slack_ft`; `expected_yield_gpm` where it is known. Where no cost is
        known a foot of trench or way counts as a dollar, and so does a foot
        of missing room.
    costs : PlaceCosts

    Returns
    -------
    ndarray of shape (n_places,), dollars
    """
    short_ft = np.maximum(costs.slack_wanted_ft - places["slack_ft"].to_numpy(dtype=float), 0.0)
    if not costs.has_prices:
        return _finite(places["trench_ft"]) + _finite(places["access_ft"]) + short_ft
    whole = places["expected_cost_usd"] if "expected_cost_usd" in places else places["cost_usd"]
    gain = costs.yield_worth_usd_per_gpm * places["expected_yield_gpm"] if "expected_yield_gpm" in places else 0.0
    return np.asarray(whole + costs.slack_short_usd_per_ft * short_ft - gain, dtype=float)


def _finite(values: pd.Series) -> np.ndarray:
    return np.nan_to_num(values.to_numpy(dtype=float), nan=0.0, posinf=0.0)


def choose_places(
    plan: Plan,
    ground: BaseGeometry,
    settings: SitingSettings,
    *,
    elevation_ft: Elevation | None = None,
) -> Places:
    """Weigh the places on the allowed ground and choose the best few.

    Parameters
    ----------
    plan : Plan
    ground : shapely geometry, feet
        Where a well may stand; not empty.
    settings : SitingSettings
    elevation_ft : callable, optional
        See `Elevation`.
    """
    ways_in = _union(plan.features, settings, "access")
    house = _union(plan.features, settings, "house")
    grid, in_ground = _grid_over(plan, ground, ways_in, settings)
    points = gpd.GeoSeries(gpd.points_from_xy(grid.x_ft.ravel(), grid.y_ft.ravel()), crs=plan.crs).to_crs(WGS84)
    elevation, slope = _terrain(grid, points, elevation_ft)
    rig_ways = None if ways_in is None else _rig_ways(plan, ground, ways_in, grid, slope, settings)
    water_ways = None if house is None else _water_ways(plan, ground, house, grid, settings)
    places = pd.DataFrame(
        {
            "node": np.flatnonzero(in_ground),
            "x_ft": grid.x_ft[in_ground],
            "y_ft": grid.y_ft[in_ground],
            "longitude": points.x.to_numpy()[in_ground.ravel()],
            "latitude": points.y.to_numpy()[in_ground.ravel()],
            "elevation_ft": elevation[in_ground],
            "slope_percent": slope[in_ground],
            "access_ft": np.nan if rig_ways is None else rig_ways.length_ft[in_ground],
            "trench_ft": np.nan if water_ways is None else water_ways.length_ft[in_ground],
        }
    )
    places["slack_ft"] = _slacks(places, plan.features).min(axis=0)
    chosen = _best_apart(_ranked(places, settings.costs), settings)
    why_none = "the site plan shows no house" if house is None else why_no_trench(plan, house, settings, grid.step_ft)
    return _presented(chosen, plan, rig_ways, water_ways, settings, why_none)


def why_no_trench(plan: Plan, house: BaseGeometry, settings: SitingSettings, step_ft: float = 0.0) -> str:
    """Return why no trench leads to the house, for a lot on which none was found.

    Parameters
    ----------
    plan : Plan
    house : shapely geometry, feet
    settings : SitingSettings
    step_ft : float
        Of the grid that was searched.

    Returns
    -------
    str
        A clause.
    """
    off_ft = float(shapely.distance(house, plan.lot))
    if off_ft > 0:
        return f"the house lies {off_ft:,.0f} ft off the lot, and a trench is looked for on the lot alone"
    clear_ft = max(settings.trench_clear_ft, step_ft)
    in_the_way = [
        feature["feature"]
        for feature in plan.features.iloc[1:].to_dict("records")  # the first is the lot's boundary
        if not (settings.kinds[feature["kind"]].house or _crossable(settings.kinds[feature["kind"]]))
        and shapely.distance(feature["geometry"], house) <= clear_ft
    ]
    if in_the_way:
        return (
            f"the house stands on or within {clear_ft:.0f} ft of the {' and the '.join(in_the_way)}, where no trench "
            "may lead"
        )
    return "what a trench may not cross lies all the way between"


def _presented(
    chosen: pd.DataFrame,
    plan: Plan,
    rig_ways: Routes | None,
    water_ways: Routes | None,
    settings: SitingSettings,
    why_no_trench: str,
) -> Places:
    """Give the chosen places their drawn ways, their rank, the limits that bind, and their words."""
    notes = []
    if rig_ways is None:
        notes.append("The site plan shows no road or driveway: the rig's access was not judged.")
    if water_ways is None:
        notes.append("The site plan shows no house: the water line was not counted.")
    access, trenches = ([_way(ways, node) for node in chosen["node"]] for ways in (rig_ways, water_ways))
    reached = [pd.NA if rig_ways is None else way is not None for way in access]
    chosen = chosen.assign(
        access_ft=_lengths(access, rig_ways),
        trench_ft=_lengths(trenches, water_ways),
        rig_access=pd.array(reached, dtype="boolean"),
    )
    # Tightened ways are a little shorter, so the order may change.
    chosen = _ranked(chosen, settings.costs)
    order = chosen.index
    chosen = chosen.drop(columns="node").reset_index(drop=True)
    chosen[["access_ft", "trench_ft"]] = chosen[["access_ft", "trench_ft"]].replace(np.inf, np.nan)
    chosen.insert(0, "rank", np.arange(1, len(chosen) + 1))
    if rig_ways is not None and not chosen["rig_access"].any():
        notes.append("The rig reaches none of the allowed ground from the road: clear a way, or ask for a smaller rig.")
    no_trench = "" if chosen["trench_ft"].notna().any() else why_no_trench
    if no_trench and water_ways is not None:
        notes.append(
            f"No place has a way for a trench to the house: {no_trench}. The cost of a place is without the trench. "
            "Next: mend the site plan."
        )
    distances = _distances(chosen, plan.features)
    tightest = distances.groupby("rank").head(1).set_index("rank")
    chosen["binding"] = tightest["feature"].to_numpy()
    chosen["sentence"] = [
        _sentence(place, tightest.loc[place["rank"]], water_ways is not None) for place in chosen.to_dict("records")
    ]
    return Places(
        chosen,
        distances,
        [access[number] for number in order],
        [trenches[number] for number in order],
        tuple(notes),
        no_trench,
    )


def _lengths(ways: list[LineString | None], routes: Routes | None) -> list[float]:
    """Return the lengths of ways: infinite where none leads, null where none was looked for."""
    return [np.nan if routes is None else np.inf if way is None else way.length for way in ways]


def _union(features: gpd.GeoDataFrame, settings: SitingSettings, flag: str) -> BaseGeometry | None:
    """Return all features whose kind has a flag, None where there is none."""
    flagged = features.geometry[[getattr(settings.kinds[kind], flag) for kind in features["kind"]]].to_list()
    return shapely.union_all(flagged) if flagged else None


def _obstacles(
    features: gpd.GeoDataFrame, settings: SitingSettings, may_cross: str, leave: str = "access"
) -> BaseGeometry:
    """Return the features that a way may not lead over."""
    kinds = features["kind"].map(settings.kinds)
    closed = [
        shape
        for number, (kind, shape) in enumerate(zip(kinds, features.geometry, strict=True))
        if number > 0 and not getattr(kind, may_cross) and not getattr(kind, leave)  # 0 is the lot's boundary
    ]
    return shapely.union_all(closed)


def _crossable(kind: KindSettings) -> bool:
    """Tell whether a trench may lead over a feature of a kind."""
    return kind.trench_may_cross or kind.access


def _grid_over(
    plan: Plan, ground: BaseGeometry, ways_in: BaseGeometry | None, settings: SitingSettings
) -> tuple[Grid, np.ndarray]:
    """Return the grid over lot and frontage, and which of its places lie on allowed ground."""
    extent = plan.lot
    if ways_in is not None:
        extent = extent.union(ways_in.intersection(plan.lot.buffer(settings.rig.road_reach_ft)))
    west, south, east, north = extent.bounds
    spacings = (
        settings.grid_ft,
        np.sqrt(ground.area / _MOST_PLACES),
        np.sqrt((east - west) * (north - south) / _MOST_NODES),
    )
    grid = make_grid(extent.bounds, float(max(spacings)))
    in_ground = shapely.contains_xy(ground, grid.x_ft, grid.y_ft)
    for part in shapely.get_parts(ground):
        # A part that falls between the lines gets the nearest place moved to its roomiest point.
        if part.area >= settings.least_ground_ft2 and not shapely.contains_xy(part, grid.x_ft, grid.y_ft).any():
            x_ft, y_ft = shapely.get_coordinates(shapely.maximum_inscribed_circle(part))[0]
            nearest = np.unravel_index(np.argmin(np.hypot(grid.x_ft - x_ft, grid.y_ft - y_ft)), grid.x_ft.shape)
            grid.x_ft[nearest], grid.y_ft[nearest], in_ground[nearest] = x_ft, y_ft, True
    return grid, in_ground


def _terrain(grid: Grid, points: gpd.GeoSeries, elevation_ft: Elevation | None) -> tuple[np.ndarray, np.ndarray]:
    """Return elevation (ft) and slope (percent) on the grid, null where no terrain is given."""
    if elevation_ft is None:
        unknown = np.full(grid.x_ft.shape, np.nan)
        return unknown, unknown
    elevation = np.asarray(elevation_ft(points.x.to_numpy(), points.y.to_numpy()), dtype=float).reshape(grid.x_ft.shape)
    up, across = np.gradient(elevation, grid.step_ft)
    return elevation, 100.0 * np.hypot(up, across)


def _rig_ways(
    plan: Plan, ground: BaseGeometry, ways_in: BaseGeometry, grid: Grid, slope: np.ndarray, settings: SitingSettings
) -> Routes:
    """Return the rig's ways: a lane's half width inside the lot and clear of every obstacle."""
    rig = settings.rig
    lane = plan.lot.buffer(-rig.width_ft / 2)
    frontage = ways_in.buffer(rig.road_reach_ft)
    obstacles = _obstacles(plan.features, settings, "rig_may_cross").buffer(rig.width_ft / 2)
    # The allowed ground is clear by its setbacks, so the rig may also stand on it.
    open_ground = shapely.union_all([lane, frontage]).difference(obstacles).union(ground)
    passable = ~(slope > rig.max_slope_percent)
    return find_routes(grid, open_ground, ways_in, passable)


def _water_ways(plan: Plan, ground: BaseGeometry, house: BaseGeometry, grid: Grid, settings: SitingSettings) -> Routes:
    """Return the ways for a trench: on the lot, clear of what it may not cross."""
    obstacles = _obstacles(plan.features, settings, "trench_may_cross", leave="house")
    # At least a step, so that no thin obstacle slips between two places of the grid.
    clear = obstacles.buffer(max(settings.trench_clear_ft, grid.step_ft))
    return find_routes(grid, shapely.union_all([plan.lot.difference(clear), house, ground]), house)


def _slacks(places: pd.DataFrame, features: gpd.GeoDataFrame) -> np.ndarray:
    """Return the room to spare from each feature to each place, (n_features, n_places), feet."""
    points = shapely.points(places["x_ft"], places["y_ft"])
    return np.array(
        [
            shapely.distance(points, shape) - required
            for shape, required in zip(features.geometry, features["required_ft"], strict=True)
        ]
    )


def _ranked(places: pd.DataFrame, costs: PlaceCosts) -> pd.DataFrame:
    """Return the places with their cost: those that rig and trench reach first, the cheapest (yield counted) first."""
    places = places.assign(cost_usd=place_cost_usd(places, costs))
    places["net_usd"] = net_usd(places, costs)
    cost = _stepped(places["net_usd"].to_numpy(dtype=float))
    order = np.lexsort(
        [places["y_ft"], places["x_ft"], cost, np.isinf(places["trench_ft"]), np.isinf(places["access_ft"])]
    )
    return places.iloc[order]


def _stepped(values_usd: np.ndarray) -> np.ndarray:
    """Return a number for each cost that rises with it, the same where no cent lies between two.

    The two halves of an even lot cost the same but for the last digits, which
    are another on each machine: ties are broken by the place, west first.
    """
    order = np.argsort(values_usd, kind="stable")
    steps = np.zeros(len(values_usd), dtype=int)
    steps[order[1:]] = np.cumsum(np.diff(values_usd[order]) > _TIED_USD)
    return steps


def _best_apart(ranked: pd.DataFrame, settings: SitingSettings) -> pd.DataFrame:
    """Return the first places of the ranking that keep their distance from each other."""
    where = ranked[["x_ft", "y_ft"]].to_numpy()
    kept: list[int] = []
    still = np.ones(len(ranked), dtype=bool)
    while still.any() and len(kept) < settings.candidates:
        best = int(np.argmax(still))
        kept.append(best)
        still &= np.hypot(*(where - where[best]).T) >= settings.candidate_spacing_ft
        still[best] = False
    return ranked.iloc[kept].reset_index(drop=True)


def _way(routes: Routes | None, node: int) -> LineString | None:
    return None if routes is None else routes.way(node)


def _distances(chosen: pd.DataFrame, features: gpd.GeoDataFrame) -> pd.DataFrame:
    slacks = _slacks(chosen, features)
    many, few = slacks.shape
    table = pd.DataFrame(
        {
            "rank": np.tile(chosen["rank"], many),
            "feature": np.repeat(features["feature"].to_numpy(), few),
            "kind": np.repeat(features["kind"].to_numpy(), few),
            "required_ft": np.repeat(features["required_ft"].to_numpy(), few),
            "slack_ft": slacks.ravel(),
        }
    )
    table.insert(3, "distance_ft", table["slack_ft"] + table["required_ft"])
    return table.sort_values(["rank", "slack_ft"], kind="stable", ignore_index=True)


def _sentence(place: dict, tightest: pd.Series, has_house: bool) -> str:
    parts = []
    if np.isfinite(place["trench_ft"]):
        parts.append(f"{place['trench_ft']:,.0f} ft of trench to the house")
    elif has_house:
        parts.append("no way for a trench to the house")
    if np.isfinite(place["access_ft"]):
        parts.append(f"{place['access_ft']:,.0f} ft for the rig from the nearest road or driveway")
    elif not pd.isna(place["rig_access"]):
        parts.append("no way in for the rig")
    if np.isfinite(place["slope_percent"]):
        parts.append(f"slope {place['slope_percent']:.0f} %")
    parts.append(
        f"the nearest limit is the {tightest['feature']}: {tightest['distance_ft']:,.0f} ft away, "
        f"{tightest['required_ft']:,.0f} ft asked with the tolerance"
    )
    told = "; ".join(parts)
    return f"{told[0].upper()}{told[1:]}."
