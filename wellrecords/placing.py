"""Where on the lots: the places that a well may take, and what the records are asked about each.

A lot with a site plan is asked about at each of its best places, so that they
can be ranked by what a well there should cost and yield; any other lot is
asked about at one point.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.bid import PriceBook, WellPlace, unit_cost_of
from wellrecords.errors import Problem, ProblemsError
from wellrecords.plan_lots import find_strays, with_lots_as_known
from wellrecords.schema import WGS84
from wellrecords.siting import (
    Siting,
    SitingFiles,
    SitingSettings,
    load_siting_settings,
    read_site_plans,
    site_lots,
)
from wellrecords.siting.settings import PROPERTY_LINE
from wellrecords.terrain import sample_elevation_ft

PRICED_BY = {
    "trench_usd_per_ft": "trench_ft",
    "access_usd_per_ft": "access_ft",
    "slope_usd_per_percent": "slope_percent",
}
"""Price of the setbacks file -> the quantity of the price book that it is."""


@dataclass(frozen=True, eq=False)
class SitePlans:
    """What is known of the ground of the lots: their features, the setbacks, and the terrain where it is given."""

    file: Path
    features: gpd.GeoDataFrame
    setbacks: SitingSettings
    terrain: Path | None = None


@dataclass(frozen=True, eq=False)
class Asked:
    """Lots, and the points at which the records are asked about them.

    Attributes
    ----------
    lots : GeoDataFrame
    sitings : mapping of str to Siting
        By lot, for those that have one.
    points : GeoDataFrame
        The columns of `lots`: a row a place of a lot that has places, else
        the lot itself.
    lot : ndarray of int
        Row of `lots` of each point.
    """

    lots: gpd.GeoDataFrame
    sitings: Mapping[str, Siting]
    points: gpd.GeoDataFrame
    lot: np.ndarray


def ask(lots: gpd.GeoDataFrame, plans: SitePlans | None, known: Sequence[str] | None = None) -> Asked:
    """Say at which points the records are asked about lots.

    Parameters
    ----------
    lots : GeoDataFrame
        WGS84, with `lot_id`.
    plans : SitePlans or None
    known : sequence of str, optional
        As in `site`.

    Raises
    ------
    ProblemsError
        The faults of all plans at once.
    """
    lots = lots.reset_index(drop=True)
    sitings = site(lots, plans, known)
    rows: list[int] = []
    shapes = []
    for row, (lot_id, shape) in enumerate(zip(lots["lot_id"].astype(str), lots.geometry, strict=True)):
        places = sitings[lot_id].candidates.geometry if lot_id in sitings else ()
        rows += [row] * max(len(places), 1)
        shapes += list(places) or [shape]
    points = lots.iloc[rows].reset_index(drop=True).set_geometry(gpd.GeoSeries(shapes, crs=lots.crs))
    return Asked(lots, sitings, points, np.array(rows, dtype=int))


def well_place(siting: Siting, row: int) -> WellPlace:
    """Return what a place of a lot costs the bid: its trench, the rig's way and the slope, None where not known."""
    place = siting.candidates.iloc[row]
    return WellPlace(
        **{
            name: None if pd.isna(place[name]) else float(place[name])
            for name in ("trench_ft", "access_ft", "slope_percent")
        }
    )


def site_plans(
    files: SitingFiles, terrain: Path | None = None, price_book: PriceBook | None = None
) -> SitePlans | None:
    """Read the setbacks and the site plans; None where the settings do not name both.

    Parameters
    ----------
    files : SitingFiles
        The table ``[siting]``.
    terrain : path, optional
        The region's grid of land elevation.
    price_book : PriceBook, optional
        Whose prices rank the places.

    Raises
    ------
    ProblemsError
        Where a price stands in the setbacks file and in the price book.
    """
    if files.setbacks is None or files.site_plans is None:
        return None
    setbacks = load_siting_settings(files.setbacks)
    if price_book is not None:
        setbacks = _priced(setbacks, price_book, files.setbacks)
    return SitePlans(files.site_plans, read_site_plans(files.site_plans), setbacks, terrain)


def _priced(setbacks: SitingSettings, book: PriceBook, file: Path) -> SitingSettings:
    """Return the setbacks with the prices of the price book; one price stands in one file only."""
    prices = {name: unit_cost_of(book, quantity) for name, quantity in PRICED_BY.items()}
    twice = [
        Problem(
            what="a price stands in the setbacks file and in the price book",
            file=str(file),
            column=f"costs.{name}",
            value=f"{getattr(setbacks.costs, name):g}",
            rule=f"the price book prices {PRICED_BY[name]} ({price:g}), and the places are ranked by its price",
            next_step="take it out of the setbacks file",
            code="price_twice",
        )
        for name, price in prices.items()
        if price is not None and getattr(setbacks.costs, name) is not None
    ]
    if twice:
        raise ProblemsError(twice, "The setbacks cannot be used with this price book")
    known = {name: price for name, price in prices.items() if price is not None}
    return setbacks.model_copy(update={"costs": setbacks.costs.model_copy(update=known)})


def site(lots: gpd.GeoDataFrame, plans: SitePlans | None, known: Sequence[str] | None = None) -> dict[str, Siting]:
    """Return where a well may stand, by lot, for the lots that are polygons and have features on a plan.

    A lot without a single drawn feature is passed over: with nothing to keep
    away from, nearly all of it would seem allowed.

    Parameters
    ----------
    lots : geopandas.GeoDataFrame
        With `lot_id`.
    plans : SitePlans or None
        A file without the column `lot_id` is the plan of every lot.
    known : sequence of str, optional
        Every `lot_id` that a feature may have; features of no such lot that
        lie by one of `lots` are refused. Without it none is.

    Raises
    ------
    ProblemsError
        The faults of all plans at once, each with the file.
    """
    if plans is None:
        return {}
    features = with_lots_as_known(plans.features, lots["lot_id"] if known is None else known)
    problems: list[Problem] = []
    if known is not None:
        problems += find_strays(features, known, lots, plans.setbacks, plans.file).problems
    if "lot_id" in features:
        lots = lots[lots["lot_id"].isin(features["lot_id"].dropna())]
    elevation = partial(sample_elevation_ft, plans.terrain) if plans.terrain else None
    heading, sited = "The lots cannot be sited", []
    try:
        sited = site_lots(lots, features, plans.setbacks, elevation_ft=elevation)
    except ProblemsError as error:
        heading = error.heading
        problems += [problem if problem.file else replace(problem, file=str(plans.file)) for problem in error.problems]
    if problems:
        raise ProblemsError(problems, heading)
    return {one.lot_id: one for one in sited}


def plan_notes(lots: gpd.GeoDataFrame, plans: SitePlans | None, known: Sequence[str]) -> tuple[str, ...]:
    """Say which lots a plan names that the file of lots has not, where their features lie by no lot asked about."""
    if plans is None:
        return ()
    return find_strays(with_lots_as_known(plans.features, known), known, lots, plans.setbacks, plans.file).notes


def why_no_place(lots: gpd.GeoDataFrame, sitings: Mapping[str, Siting], plans: SitePlans) -> list[str]:
    """Say of the lots without places why they have none, and what to do.

    Parameters
    ----------
    lots : geopandas.GeoDataFrame
        With `lot_id`.
    sitings : mapping of str to Siting
        From `site`.
    plans : SitePlans
    """
    left = lots[~lots["lot_id"].isin(list(sitings))]
    outlined = left.geometry.geom_type.isin(["Polygon", "MultiPolygon"])
    # The boundary is the outline itself and is not drawn again.
    kinds = ", ".join(kind for kind in plans.setbacks.kinds if kind != PROPERTY_LINE)
    reasons = (
        (
            ~outlined,
            "the lots file gives a point. Next: give the outline as a polygon, from the deed or the county's parcels",
        ),
        (
            outlined,
            f"no feature of it is on the site plan {plans.file} ([siting] site_plans). Next: draw there what stands on "
            f"and around it, each feature with its lot_id and a kind: {kinds}; what has a blank lot_id is kept away "
            "from by lots that have a feature of their own",
        ),
    )
    return [
        f"{', '.join(left.loc[these, 'lot_id'])}: no place was chosen: {reason}."
        for these, reason in reasons
        if these.any()
    ]


def sitings_geojson(sitings: Iterable[Siting]) -> str:
    """Return the allowed ground and the chosen places of some lots as GeoJSON.

    Parameters
    ----------
    sitings : iterable of Siting

    Returns
    -------
    str
        A feature collection; `what` is "ground" or "place".
    """
    parts = [
        part.assign(lot_id=one.lot_id, what=what)
        for one in sitings
        for what, part in (("ground", one.ground), ("place", one.candidates))
        if len(part)
    ]
    if not parts:
        return gpd.GeoSeries([], crs=WGS84).to_json()
    return pd.concat(parts, ignore_index=True).to_json(drop_id=True)
