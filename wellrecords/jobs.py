"""The job for a lot, end to end: from the dataset and the question to a priced bid.

A lot may carry wishes of its own (persons, garden, target yield, depth
limit); what it does not say, the region's settings say. Every room to the
left is called here in its order, and nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict
from shapely.geometry.base import BaseGeometry

from wellrecords.bid import Bid, BidSettings, NoBid, PriceBook, load_price_book, price_bid
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings
from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.lots import EstimateSettings, LotEstimate, draw_lot_estimates, summarise
from wellrecords.schema import WGS84
from wellrecords.settings import Settings
from wellrecords.siting import Siting, SitingFiles, SitingSettings, load_siting_settings, read_site_plans, site_lots
from wellrecords.terrain import sample_elevation_ft
from wellrecords.water_system import WaterSystemSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

ESTIMATE_WISHES = ("target_yield_gpm", "max_depth_ft")
BID_FIGURES = ("cost_usd_p10", "cost_usd_p50", "cost_usd_p90", "fixed_price_usd", "chance_of_loss")
DEMAND_WISHES = ("persons", "bedrooms", "garden_area_ft2", "lawn_area_ft2", "fixtures", "peak_gpm")


class LotsSettings(BaseModel):
    """The table ``[lots]``: which lots a run takes when the command names none."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    file: Path | None = None


class BidTable(BidSettings):
    """The table ``[bid]``: the bid's settings, and where the prices stand."""

    price_book: Path | None = None


@dataclass(frozen=True, eq=False)
class SitePlans:
    """What is known of the ground of the lots: their features, the setbacks, and the terrain where it is given."""

    file: Path
    features: gpd.GeoDataFrame
    setbacks: SitingSettings
    terrain: Path | None = None


@dataclass(frozen=True, eq=False)
class JobSettings:
    """What every lot of a region's run has in common."""

    estimate: EstimateSettings
    demand: DemandSettings
    site_plans: SitePlans | None
    construction: ConstructionSettings
    water_system: WaterSystemSettings
    bid: BidSettings
    price_book: PriceBook | None

    def by_tile(self) -> JobSettings:
        """Return the settings for wells that are only a box of a large store (`lots.wells_box`)."""
        return replace(self, estimate=self.estimate.model_copy(update={"by_tile": True}))


@dataclass(frozen=True, eq=False)
class LotJob:
    """One lot with its answer.

    Attributes
    ----------
    lot_id, name : str
    geometry : shapely geometry
        The lot in WGS84, a point or a polygon.
    estimate : LotEstimate
    demand : DemandSettings
    siting : Siting or None
        None where the lot is a point or has no site plan.
    bid : Bid, NoBid or None
        None where the region has no price book.
    """

    lot_id: str
    name: str
    geometry: BaseGeometry
    estimate: LotEstimate
    demand: DemandSettings
    siting: Siting | None
    bid: Bid | NoBid | None


def job_settings(settings: Settings) -> JobSettings:
    """Return the checked settings of every room that a job passes through.

    Raises
    ------
    ProblemsError
        Every wrong key of every table, together.
    """
    models: dict[str, type[BaseModel]] = {
        "estimate": EstimateSettings,
        "demand": DemandSettings,
        "siting": SitingFiles,
        "construction": ConstructionSettings,
        "water_system": WaterSystemSettings,
        "bid": BidTable,
    }
    parts: dict[str, Any] = {}
    problems: list[Problem] = []
    for table, model in models.items():
        try:
            parts[table] = settings.part(table, model)
        except ProblemsError as error:
            problems += error.problems
    if problems:
        raise ProblemsError(problems, "The settings cannot be used")
    plans = site_plans(parts.pop("siting"), settings.region.terrain)
    table = parts.pop("bid")
    bid = BidSettings.model_validate(table.model_dump(exclude={"price_book"}))
    book = load_price_book(table.price_book) if table.price_book else None
    return JobSettings(bid=bid, price_book=book, site_plans=plans, **parts)


def site_plans(files: SitingFiles, terrain: Path | None = None) -> SitePlans | None:
    """Read the setbacks and the site plans; None where the settings do not name both.

    Parameters
    ----------
    files : SitingFiles
        The table ``[siting]``.
    terrain : path, optional
        The region's grid of land elevation.
    """
    if files.setbacks is None or files.site_plans is None:
        return None
    return SitePlans(files.site_plans, read_site_plans(files.site_plans), load_siting_settings(files.setbacks), terrain)


def site(lots: gpd.GeoDataFrame, plans: SitePlans | None) -> dict[str, Siting]:
    """Return where a well may stand, by lot, for the lots that are polygons and have features on a plan.

    A lot without a single drawn feature is passed over: with nothing to keep
    away from, nearly all of it would seem allowed.

    Parameters
    ----------
    lots : geopandas.GeoDataFrame
        With `lot_id`.
    plans : SitePlans or None
        A file without the column `lot_id` is the plan of every lot.

    Raises
    ------
    ProblemsError
        The faults of all plans at once, each with the file.
    """
    if plans is None:
        return {}
    if "lot_id" in plans.features:
        lots = lots[lots["lot_id"].isin(plans.features["lot_id"].dropna().astype(str))]
    elevation = partial(sample_elevation_ft, plans.terrain) if plans.terrain else None
    try:
        sited = site_lots(lots, plans.features, plans.setbacks, elevation_ft=elevation)
    except ProblemsError as error:
        named = [problem if problem.file else replace(problem, file=str(plans.file)) for problem in error.problems]
        raise ProblemsError(named, error.heading) from error
    return {one.lot_id: one for one in sited}


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


def read_lots(path: str | Path, lot_ids: Iterable[str] = ()) -> gpd.GeoDataFrame:
    """Read a file of lots.

    Parameters
    ----------
    path : path
        GeoJSON, GeoPackage or another format that pyogrio reads, with a
        column `lot_id` and points or polygons in a known coordinate system.
    lot_ids : iterable of str
        Only these lots; all where none is named.

    Returns
    -------
    geopandas.GeoDataFrame
        WGS84, one row a lot, `lot_id` as text.

    Raises
    ------
    WellRecordsError
        If the file cannot be read.
    ProblemsError
        One problem a faulty lot.
    """
    path = Path(path)
    if not path.exists():
        msg = f"There is no lots file {path}. Next: name a GeoJSON or GeoPackage of lots."
        raise WellRecordsError(msg)
    try:
        lots = gpd.read_file(path)
    except Exception as error:
        # What the reader says names its own drivers, which help nobody.
        msg = f"The lots file {path} cannot be read as a map of lots. Next: name a GeoJSON or GeoPackage of lots."
        raise WellRecordsError(msg) from error
    _check_lots(lots, path)
    lots = lots.to_crs(WGS84).assign(lot_id=lots["lot_id"].astype(str))
    wanted = list(lot_ids)
    if unknown := sorted(set(wanted) - set(lots["lot_id"])):
        known = ", ".join(lots["lot_id"])
        msg = f"There is no lot {', '.join(unknown)} in {path}. Lots: {known}. Next: name one of these."
        raise WellRecordsError(msg)
    return lots[lots["lot_id"].isin(wanted)].reset_index(drop=True) if wanted else lots


def lot_at(longitude: float, latitude: float, lot_id: str = "here") -> gpd.GeoDataFrame:
    """Return a point as a table of one lot.

    Parameters
    ----------
    longitude, latitude : float
        Degrees WGS84.
    lot_id : str, default="here"

    Raises
    ------
    WellRecordsError
        If the place is not on earth.
    """
    if not (-180 <= longitude <= 180 and -90 <= latitude <= 90):
        msg = (
            f"{longitude}, {latitude} is no place: longitude first (-180 to 180, west negative), "
            "then latitude (-90 to 90)."
        )
        raise WellRecordsError(msg)
    return gpd.GeoDataFrame({"lot_id": [lot_id]}, geometry=gpd.points_from_xy([longitude], [latitude]), crs=WGS84)


def run_jobs(
    wells: pd.DataFrame, lots: gpd.GeoDataFrame, settings: JobSettings, water_zones: pd.DataFrame | None = None
) -> list[LotJob]:
    """Estimate and price lots.

    Parameters
    ----------
    wells : DataFrame
        The canonical table: all wells, or those in `lots.wells_box` where the
        settings are `by_tile`.
    lots : geopandas.GeoDataFrame
        WGS84, with `lot_id`; optional columns are wishes (`persons`,
        `bedrooms`, `garden_area_ft2`, `lawn_area_ft2`, `fixtures`,
        `peak_gpm`, `target_yield_gpm`, `max_depth_ft`) and `name`.
    settings : JobSettings
    water_zones : DataFrame, optional
        The child table of logged zones.

    Returns
    -------
    list of LotJob
        In the order of the lots.
    """
    drawn = draw_lot_estimates(wells, lots, settings.estimate, water_zones=water_zones)
    estimates = {one.lot_id: one for one in drawn}
    sitings = site(lots, settings.site_plans)
    names = [str(lot_id) for lot_id in lots["lot_id"]]
    return [
        _job(lot, estimates[name], sitings.get(name), settings)
        for name, lot in zip(names, lots.to_dict("records"), strict=True)
    ]


def answers(jobs: Sequence[LotJob], quantiles: Sequence[float] = (0.1, 0.5, 0.9)) -> pd.DataFrame:
    """Return the answers as one table, a row a lot, with the bid beside the estimate.

    Parameters
    ----------
    jobs : sequence of LotJob
    quantiles : sequence of float

    Returns
    -------
    DataFrame
        The columns of `lots.estimate_lots`, then `cost_usd_p10`, `_p50`,
        `_p90`, `fixed_price_usd`, `chance_of_loss`; empty where the records
        cannot say.
    """
    said = summarise([job.estimate for job in jobs], tuple(quantiles)).reset_index()
    for number, name in enumerate(("longitude", "latitude", "target_yield_gpm", "max_depth_ft"), start=1):
        said.insert(number, name, [getattr(job.estimate, name) for job in jobs])
    bids = pd.DataFrame([_bid_figures(job.bid) for job in jobs], columns=list(BID_FIGURES))
    return pd.concat([said, bids], axis=1)


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of answers with its figures rounded to more than they are worth, but not to nonsense.

    Parameters
    ----------
    table : DataFrame
        From `answers`.

    Returns
    -------
    DataFrame
        Degrees to 6 decimals, feet and metres to 0.1, gallons a minute to
        three figures, chances to 0.001, dollars whole.
    """

    def of_column(values: pd.Series) -> pd.Series:
        name = str(values.name)
        if not pd.api.types.is_float_dtype(values):
            return values
        if "_usd" in name:
            return values.round().astype("Int64")
        if "_gpm" in name:
            return values.map(lambda value: float(f"{value:.3g}"))
        return values.round(6 if name in ("longitude", "latitude") else 3 if "chance" in name else 1)

    return pd.DataFrame({name: of_column(table[name]) for name in table.columns})


def _bid_figures(bid: Bid | NoBid | None) -> dict[str, float]:
    if not isinstance(bid, Bid):
        return {}
    total = {f"cost_usd_{name}": bid.total_quantiles[name] for name in ("p10", "p50", "p90")}
    return total | {"fixed_price_usd": bid.fixed_price_usd, "chance_of_loss": bid.chance_of_loss}


def _job(lot: dict[str, Any], estimate: LotEstimate, siting: Siting | None, settings: JobSettings) -> LotJob:
    demand = _demand_settings(lot, settings.demand)
    bid = None
    if settings.price_book is not None:
        bid = price_bid(
            estimate, demand, settings.construction, settings.water_system, settings.price_book, settings.bid
        )
    name = lot.get("name")
    return LotJob(
        lot_id=str(lot["lot_id"]),
        name=str(name) if _given(name) else str(lot["lot_id"]),
        geometry=lot["geometry"],
        estimate=estimate,
        demand=demand,
        siting=siting,
        bid=bid,
    )


def _given(value: Any) -> bool:
    return value is not None and not (isinstance(value, float) and np.isnan(value)) and value is not pd.NA


def _wishes(lot: dict[str, Any], names: Sequence[str]) -> dict[str, Any]:
    return {name: lot[name] for name in names if _given(lot.get(name))}


def _demand_settings(lot: dict[str, Any], base: DemandSettings) -> DemandSettings:
    wishes = _wishes(lot, DEMAND_WISHES)
    known = base.model_dump()
    if {"persons", "bedrooms"} & set(wishes):
        # The lot says how its household is counted; the region's way of counting must not stand beside it.
        known |= {"persons": None, "bedrooms": None}
    return DemandSettings.model_validate(known | wishes)


def _check_lots(lots: gpd.GeoDataFrame, path: Path) -> None:
    problems: list[Problem] = []

    def note(what: str, rule: str, next_step: str, **where: Any) -> None:
        problems.append(Problem(what=what, rule=rule, next_step=next_step, file=str(path), code="lots", **where))

    if "lot_id" not in lots:
        note("the column lot_id is missing", "each lot has a name of its own", "add lot_id", column="lot_id")
    if not isinstance(lots, gpd.GeoDataFrame) or lots.crs is None:
        note("the lots have no coordinate system", "places must be known", "save the file with its system")
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
    twice = lots["lot_id"].astype(str).duplicated()
    for place, lot in enumerate(lots.to_dict("records")):
        where = {"row": place + 1, "column": "lot_id", "value": str(lot["lot_id"])}
        if not _given(lot["lot_id"]):
            note("the lot has no name", "each lot has a lot_id", "give it one", row=place + 1, column="lot_id")
        elif twice.iloc[place]:
            note("two lots have one name", "each lot_id stands once", "rename one of them", **where)
        if lot["geometry"] is None or lot["geometry"].is_empty:
            note("the lot has no place", "each lot is a point or a polygon", "draw it", **where)
        for name in (*ESTIMATE_WISHES, *DEMAND_WISHES):
            value = lot.get(name)
            if _given(value) and not (isinstance(value, int | float) and value >= 0):
                note(f"{name} is no number", "a wish is a number, not below 0", "mend it", **where)
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
