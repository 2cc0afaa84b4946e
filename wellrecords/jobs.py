"""The job for a lot, end to end: from the dataset and the question to a priced bid.

A lot may carry wishes of its own (persons, garden, target yield, depth
limit); what it does not say, the region's settings say. Every room to the
left is called here in its order, and nothing is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
from pydantic import BaseModel, ConfigDict, field_validator
from shapely.geometry.base import BaseGeometry

from wellrecords import wording
from wellrecords.bid import Bid, BidSettings, NoBid, PriceBook, compare_yields, load_price_book, price_bid
from wellrecords.bid.pricing import Estimate
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings, household_need
from wellrecords.demand_storage import target_from_need
from wellrecords.errors import Problem, ProblemsError, counted
from wellrecords.flagged import Flagged, flagged_by_record, flagged_notes
from wellrecords.lot_wishes import DEMAND_WISHES, given
from wellrecords.lots import SHOWN_QUANTILES, EstimateSettings, LotEstimate, draw_lot_estimates, summarise
from wellrecords.on_lot import WellPoints, on_lot_notes, well_points
from wellrecords.placing import Asked, SitePlans, site_plans, well_place
from wellrecords.settings import Settings
from wellrecords.site_notes import left_out_notes, no_ground_notes, no_trench_notes, outline_notes
from wellrecords.siting import Siting, SitingFiles, with_expectation
from wellrecords.water_system import WaterSystemSettings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

BID_FIGURES = ("cost_usd_p10", "cost_usd_p50", "cost_usd_p90", "fixed_price_usd", "chance_of_loss")


class LotsSettings(BaseModel):
    """The table ``[lots]``: which lots a run takes when the command names none."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    file: Path | None = None


class BidTable(BidSettings):
    """The table ``[bid]``: the bid's settings, and where the prices stand."""

    price_book: Path | None = None

    @field_validator("quantiles")
    @classmethod
    def _as_the_pages_say(cls, value: tuple[float, float, float]) -> tuple[float, float, float]:
        if value != SHOWN_QUANTILES:
            msg = "tables and pages say what 1, 5 and 9 of 10 cases come to, and nothing else: leave it out"
            raise ValueError(msg)
        return value


@dataclass(frozen=True, eq=False)
class JobSettings:
    """What every lot of a region's run has in common.

    `target_from_need` is true where the settings name no target yield: what
    a lot's household needs is asked for then.
    """

    estimate: EstimateSettings
    demand: DemandSettings
    site_plans: SitePlans | None
    construction: ConstructionSettings
    water_system: WaterSystemSettings
    bid: BidSettings
    price_book: PriceBook | None
    target_from_need: bool = False

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
        Of the best place, where the lot has places; else of a point in it.
    demand : DemandSettings
    siting : Siting or None
        None where the lot is a point or has no site plan.
    bid : Bid, NoBid or None
        Of the same place. None where the region has no price book.
    other_yields : DataFrame or None
        The prices of the yields of `estimate.by_yield`, as
        `bid.compare_yields` gives them; None where they were not asked for.
    """

    lot_id: str
    name: str
    geometry: BaseGeometry
    estimate: LotEstimate
    demand: DemandSettings
    siting: Siting | None
    bid: Bid | NoBid | None
    other_yields: pd.DataFrame | None = None


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
    table = parts.pop("bid")
    bid = BidSettings.model_validate(table.model_dump(exclude={"price_book"}))
    book = load_price_book(table.price_book) if table.price_book else None
    plans = site_plans(parts.pop("siting"), settings.region.terrain, book)
    from_need = "target_yield_gpm" not in settings.estimate
    return JobSettings(bid=bid, price_book=book, site_plans=plans, target_from_need=from_need, **parts)


def run_jobs(
    wells: pd.DataFrame,
    asked: Asked,
    settings: JobSettings,
    water_zones: pd.DataFrame | None = None,
    learnt: Path | None = None,
    tell: Callable[[str, int, int], None] = lambda *_: None,
    flags: pd.DataFrame | None = None,
    other_yields: bool = False,
) -> list[LotJob]:
    """Estimate and price lots.

    Parameters
    ----------
    wells : DataFrame
        The canonical table: all wells, or those in `lots.wells_box` of the
        points asked about where the settings are `by_tile`.
    asked : placing.Asked
        The lots: WGS84, with `lot_id`; optional columns are wishes
        (`persons`, `bedrooms`, `garden_area_ft2`, `lawn_area_ft2`,
        `fixtures`, `peak_gpm`, `target_yield_gpm`, `max_depth_ft`) and `name`.
    settings : JobSettings
    water_zones : DataFrame, optional
        The child table of logged zones.
    learnt : Path, optional
        Folder of what was learnt of the ground before.
    tell : callable, optional
        Told of progress, in counts: no lot is named.
    flags : DataFrame, optional
        The child table of flags: those that a lot leans on stand in its notes.
    other_yields : bool, default=False
        Whether to price other yields than the asked ones too, which takes
        some six times as long.

    Returns
    -------
    list of LotJob
        In the order of the lots.
    """
    points = asked.points
    if settings.target_from_need:
        points = with_targets_from_need(points, settings.demand)
    lots = asked.lots.to_dict("records")
    tell(f"estimating {counted(len(lots), 'lot')} at {counted(len(points), 'place')}", 0, 1)
    estimates = draw_lot_estimates(wells, points, settings.estimate, water_zones=water_zones, learnt=learnt)
    done, flagged, points_of_wells = [], flagged_by_record(flags), well_points(wells)
    for number, lot in enumerate(lots):
        tell("pricing", number, len(lots))
        of_lot = [one for one, row in zip(estimates, asked.lot, strict=True) if row == number]
        siting = asked.sitings.get(str(lot["lot_id"]))
        done.append(_job(lot, of_lot, siting, settings, flagged, points_of_wells, other_yields=other_yields))
    return done


def with_targets_from_need(lots: gpd.GeoDataFrame, demand: DemandSettings) -> gpd.GeoDataFrame:
    """Return lots that all have a target yield: their own, else what their household needs without a tank.

    Parameters
    ----------
    lots : GeoDataFrame
        With their wishes.
    demand : DemandSettings
        The region's.
    """
    needed = [
        float(lot["target_yield_gpm"])
        if given(lot.get("target_yield_gpm"))
        else target_from_need(household_need(_demand_settings(lot, demand)))
        for lot in lots.to_dict("records")
    ]
    return lots.assign(target_yield_gpm=needed)


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


def _job(
    lot: dict[str, Any],
    estimates: list[LotEstimate],
    siting: Siting | None,
    settings: JobSettings,
    flagged: Flagged,
    wells: WellPoints,
    *,
    other_yields: bool,
) -> LotJob:
    """Price a lot at each of its places, and answer for the best."""
    demand = _demand_settings(lot, settings.demand)
    has_places = siting is not None and len(siting.candidates) > 0

    def price(row: int, estimate: Estimate, water_system: WaterSystemSettings) -> Bid | NoBid:
        assert settings.price_book is not None
        place = well_place(siting, row) if siting is not None and has_places else None
        return price_bid(
            estimate, demand, settings.construction, water_system, settings.price_book, settings.bid, place
        )

    with_prices = settings.price_book is not None
    bids = [price(row, one, settings.water_system) if with_prices else None for row, one in enumerate(estimates)]
    best = 0
    priced = [bid for bid in bids if isinstance(bid, Bid)]
    if siting is not None and settings.site_plans is not None and has_places and len(priced) == len(bids):
        expected = pd.DataFrame(
            {
                "expected_cost_usd": [bid.total_quantiles["mean"] for bid in priced],
                "expected_yield_gpm": [float(bid.quantities["yield_gpm"].mean()) for bid in priced],
            }
        )
        siting, order = with_expectation(siting, expected, settings.site_plans.setbacks.costs)
        best = int(order[0])
    name, answer = lot.get("name"), estimates[best]
    figures = answer.draws is not None
    notes = (
        *no_ground_notes(siting),
        *left_out_notes(siting),
        *outline_notes(lot["geometry"]),
        *on_lot_notes(lot["geometry"], wells, figures=figures),
        *(_target_notes(lot, answer) if figures and settings.target_from_need else ()),
        *answer.notes,
        *no_trench_notes(siting, bids[best], settings.water_system.run_to_house_ft),
        *_garden_notes(bids[best], demand, settings.water_system, partial(price, best, answer)),
        *flagged_notes(answer.neighbours, flagged),
    )
    others = None
    if other_yields and isinstance(bids[best], Bid):
        asked = (answer.asked_for(float(gpm)) for gpm in answer.by_yield["yield_gpm"])
        others = compare_yields(asked, lambda one: price(best, one, settings.water_system))
    return LotJob(
        lot_id=str(lot["lot_id"]),
        name=str(name) if given(name) else str(lot["lot_id"]),
        geometry=lot["geometry"],
        estimate=replace(answer, notes=notes),
        demand=demand,
        siting=siting,
        bid=bids[best],
        other_yields=others,
    )


def _target_notes(lot: dict[str, Any], answer: LotEstimate) -> list[str]:
    """Say where a target comes from that nobody has named."""
    if given(lot.get("target_yield_gpm")):
        return []
    return [
        f"No yield is asked for: the target of {wording.flow(answer.target_yield_gpm)} is what the household needs "
        "without a storage tank. Another is asked for by --target-gpm, target_yield_gpm of the lot or under [estimate]."
    ]


def _garden_notes(
    bid: Bid | NoBid | None,
    demand: DemandSettings,
    water_system: WaterSystemSettings,
    price: Callable[[WaterSystemSettings], Bid | NoBid],
) -> list[str]:
    """Say that a garden's water is not in the price, how to put it in, and what the price is then."""
    if not isinstance(bid, Bid) or water_system.storage_for != "house" or not household_need(demand).watering_gal:
        return []
    note = (
        'Pump and storage are priced for the house alone; set storage_for = "irrigation" under [water_system] to price '
        "the water of lawn and garden too"
    )
    watered = price(water_system.model_copy(update={"storage_for": "irrigation"}))
    if not isinstance(watered, Bid):
        return [f"{note}."]
    (cost, fixed), now = (
        (wording.money(one.total_quantiles["p50"]), wording.money(one.fixed_price_usd)) for one in (watered, bid)
    )
    if (cost, fixed) == now:
        return [f"{note}: that moves neither the middle cost nor the fixed price."]
    less = watered.total_quantiles["p50"] < bid.total_quantiles["p50"]
    why = " (less, since with a tank a smaller pump does)" if less else ""
    return [f"{note}: the middle cost is {cost} then{why}, the fixed price {fixed}."]


def _wishes(lot: dict[str, Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: lot[name] for name in names if given(lot.get(name))}


def _demand_settings(lot: dict[str, Any], base: DemandSettings) -> DemandSettings:
    wishes = _wishes(lot, DEMAND_WISHES)
    known = base.model_dump()
    if {"persons", "bedrooms"} & set(wishes):
        # The lot says how its household is counted; the region's way of counting must not stand beside it.
        known |= {"persons": None, "bedrooms": None}
    if "peak_gpm" in wishes:
        # The fixtures of the region's settings would go before it.
        known |= {"fixtures": None}
    return DemandSettings.model_validate(known | wishes)
