"""The report of one lot: the answer first, then why, then the limits.

The page computes nothing of the estimate or the bid: it reads their figures,
rounds them to what they are worth, and says them in plain words. Where the
records cannot say (`support` "none") it gives no figure at all.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import geopandas as gpd
import pandas as pd
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from wellrecords import wording
from wellrecords.bid import NoBid
from wellrecords.lots import three_quantiles
from wellrecords.report import lot_words, map_data, owner_view
from wellrecords.report.assets import LEAFLET_VERSION
from wellrecords.report.bid_section import bid_section
from wellrecords.report.charts import chance_by_depth
from wellrecords.report.choices import change_section, need_section
from wellrecords.report.map import MapParts, build_map
from wellrecords.report.page import render_page, write_page
from wellrecords.report.ramp import Ramp
from wellrecords.report.settings import ReportSettings
from wellrecords.report.site_section import site_section
from wellrecords.report.well_drawing import draw_well
from wellrecords.report.well_layout import layout_of, layout_parts
from wellrecords.water_system import WaterSystemSettings

if TYPE_CHECKING:
    from wellrecords.bid import Bid
    from wellrecords.demand import DemandSettings
    from wellrecords.lots import LotEstimate
    from wellrecords.siting import Siting

Audience = Literal["contractor", "owner"]
BOUNDS = "A bound such as “over 90 ft” is a record that did not reach, and is used as such."
WEIGHT = "Weight: the well’s share in the estimate; the weights of all wells add up to 100%."


def write_lot_report(
    path: str | os.PathLike[str],
    *,
    estimate: LotEstimate,
    bid: Bid | NoBid | None,
    wells: pd.DataFrame,
    region: str,
    lot: BaseGeometry | None = None,
    name: str | None = None,
    design: pd.DataFrame | None = None,
    demand: DemandSettings | None = None,
    water_system: WaterSystemSettings | None = None,
    siting: Siting | None = None,
    other_yields: pd.DataFrame | None = None,
    context_layers: Mapping[str, gpd.GeoDataFrame | gpd.GeoSeries] | None = None,
    audience: Audience = "contractor",
    prepared_on: date | None = None,
    prepared_by: str | None = None,
    settings: ReportSettings | None = None,
    file_rows: pd.DataFrame | None = None,
) -> Path:
    """Write the report of a lot as one self-contained HTML file.

    Parameters
    ----------
    path : path-like
        Of the file; its folder is made where absent.
    estimate : LotEstimate
        Of `wellrecords.lots`.
    bid : Bid, NoBid or None
        Of `wellrecords.bid`; None where none was asked for. Not shown where
        the estimate's support is "none".
    wells : DataFrame
        The canonical table; those near the lot are drawn.
    region : str
        Its name.
    lot : shapely geometry, optional
        The lot in WGS84; else its point is drawn.
    name : str, optional
        What people call the lot, beside its id.
    design : DataFrame, optional
        One row a draw: what construction and water system came to. Beside
        the bid's quantities it feeds the drawing and the table of sizes.
    demand : DemandSettings, optional
        Whom and what the well must serve.
    water_system : WaterSystemSettings, optional
        That the bid was priced with: the storage tanks on sale. Without it
        the defaults.
    siting : Siting, optional
        Of `wellrecords.siting`: where on the lot the well may stand.
    other_yields : DataFrame, optional
        What other yields would cost, from `bid.compare_yields`.
    context_layers : mapping of str to GeoDataFrame, optional
        Lines or areas to draw beneath the wells ("roads", "streams", ...).
    audience : {"contractor", "owner"}, default="contractor"
        The owner's version holds no record of a well: counts and ranges
        only, and no figure that fewer than `settings.private_minimum` wells
        stand behind.
    prepared_on : datetime.date, optional
        Printed in the heading; nothing else in the page depends on the day.
    prepared_by : str, optional
        The firm, as text.
    settings : ReportSettings, optional
    file_rows : DataFrame, optional
        The dataset's table: by it the contractor finds a well without a
        number in its file. The owner's version holds no such name.

    Returns
    -------
    pathlib.Path

    Examples
    --------
    ``write_lot_report("reports/lot_7.html", estimate=e, bid=b, wells=w, region="Hill County")``
    """
    settings = settings or ReportSettings()
    owner = audience == "owner"
    rows = None if owner else file_rows
    parts = _lot_map(estimate, wells, lot, context_layers or {}, owner, settings, rows)
    words = lot_words.answer(
        estimate,
        bid,
        owner=owner,
        minimum=settings.private_minimum,
        no_ground=siting is not None and not siting.has_ground,
    )
    figures = words.has_figures
    priced = bid if figures and bid is not None and not isinstance(bid, NoBid) else None
    layout = layout_of(estimate, bid, design) if figures else None
    html = render_page(
        "lot.html",
        title=f"Lot {estimate.lot_id}: water well report",
        language=settings.language,
        styles=parts.styles,
        scripts=parts.scripts,
        data={"map-data": parts.data},
        owner=owner,
        lot_id=estimate.lot_id,
        name=name if name != estimate.lot_id else None,
        region=region,
        prepared_on=f"{prepared_on:%B} {prepared_on.day}, {prepared_on.year}" if prepared_on else None,
        prepared_by=prepared_by,
        support=estimate.support,
        answer=words,
        map_html=parts.html,
        map_caption=_map_caption(estimate, owner, settings),
        estimate_rows=lot_words.estimate_rows(estimate, bid) if figures else None,
        estimate_notes=lot_words.estimate_notes(estimate, bid) if figures else (),
        yield_by_depth=lot_words.yield_by_depth(estimate) if figures else None,
        yield_by_depth_note=lot_words.PASSED_BY.format(target=wording.flow(estimate.target_yield_gpm)),
        target_yield_gpm=estimate.target_yield_gpm,
        chance_chart=_chance_chart(estimate) if figures and len(estimate.target_curve) else None,
        facts=lot_words.facts(estimate, owner=owner, minimum=settings.private_minimum) if figures else None,
        notes=() if owner else estimate.notes,
        technical=None if owner else estimate.technical_words or None,
        money=bid_section(priced, owner=owner) if priced is not None else None,
        no_bid=lot_words.no_bid(estimate, bid, figures, owner=owner),
        # Where no bid is given no dollar stands on the page, so that none is taken for one.
        site=site_section(siting, priced, owner=owner, costs=figures and not owner) if siting is not None else None,
        need=need_section(
            estimate,
            demand,
            priced,
            water_system or WaterSystemSettings(),
            other_yields if priced else None,
            owner=owner,
        )
        if figures and demand is not None
        else None,
        changes=change_section(estimate) if figures else None,
        drawing=draw_well(layout) if layout else None,
        parts=layout_parts(bid, design) if figures else None,
        neighbours=None if owner else _neighbour_table(estimate, settings, rows),
        surroundings=_surroundings(estimate, wells, settings) if owner else None,
        leaflet_version=LEAFLET_VERSION,
    )
    return write_page(path, html)


def _lot_map(
    estimate: LotEstimate,
    wells: pd.DataFrame,
    lot: BaseGeometry | None,
    context_layers: Mapping[str, gpd.GeoDataFrame | gpd.GeoSeries],
    owner: bool,
    settings: ReportSettings,
    file_rows: pd.DataFrame | None,
) -> MapParts:
    place = lot if lot is not None else Point(estimate.longitude, estimate.latitude)
    near = owner_view.wells_within(wells, estimate.longitude, estimate.latitude, settings.map_radius_m)
    neighbours = map_data.with_rows(estimate.neighbours, file_rows)
    lot_group = map_data.lot_group(place)
    groups = [(name.capitalize(), map_data.context_group(name, layer)) for name, layer in context_layers.items()]
    rings = ("Distance rings", map_data.rings_group(estimate.longitude, estimate.latitude))
    ramps: list[Ramp] = []
    if owner:
        layers, boxes = owner_view.squares_layer(near, estimate.longitude, estimate.latitude, settings.private_minimum)
        groups += [*layers, rings]
    else:
        groups.append(rings)
        ramps = map_data.well_ramps(near if len(near) > 2 else neighbours, settings.colour_classes)
        others = map_data.with_rows(near[~near["record_id"].isin(neighbours["record_id"])], file_rows)
        if len(others):
            groups.append(("Other wells", map_data.wells_group(others, ramps, size=4.0)))
        if _leans(estimate):
            leaned_on = map_data.wells_group(neighbours, ramps, weights=neighbours["weight"].to_numpy(float))
            groups.append(("Wells the estimate leaned on", leaned_on))
        elif len(neighbours):
            groups.append(("Nearest wells", map_data.wells_group(neighbours, ramps)))
        boxes = map_data.boxes_of(neighbours)
    # Topmost: a small lot would be hidden by the well that stands on it.
    groups.append(("The lot", lot_group))
    frame = map_data.rings_frame(estimate.longitude, estimate.latitude, boxes)
    return build_map(
        bounds=map_data.bounds_of([place.bounds, *boxes, frame]),
        groups=groups,
        ramps=ramps,
        canvas=not owner and len(near) > 3000,
    )


def _map_caption(estimate: LotEstimate, owner: bool, settings: ReportSettings) -> str:
    reach = wording.distance(settings.map_radius_m)
    if owner:
        return (
            f"Wells within {reach} of the lot, counted by squares; a square with fewer than "
            f"{settings.private_minimum} wells is left blank."
        )
    if not _leans(estimate):
        return f"The {len(estimate.neighbours)} nearest wells on record, and any others within {reach} of the lot."
    return f"Wells on record within {reach} of the lot."


def _chance_chart(estimate: LotEstimate) -> Any:
    low, middle, high = three_quantiles(estimate, "depth_to_target_ft")
    return chance_by_depth(
        estimate.target_curve,
        target_yield_gpm=estimate.target_yield_gpm,
        max_depth_ft=estimate.max_depth_ft,
        depths_ft=(low, middle, high),
    )


def _leans(estimate: LotEstimate) -> bool:
    """Tell whether the neighbours carry weights; without an estimate they are only the nearest wells."""
    return estimate.draws is not None and bool(estimate.neighbours["weight"].notna().any())


def _neighbour_table(
    estimate: LotEstimate, settings: ReportSettings, file_rows: pd.DataFrame | None
) -> dict[str, Any] | None:
    table = map_data.with_rows(estimate.neighbours, file_rows)
    if not len(table):
        return None
    table = table.sort_values(["weight", "distance_m", "record_id"], ascending=[False, True, True])
    shown = table.head(settings.neighbours_listed)
    columns = {quantity: map_data.interval(shown, quantity) for quantity, _, _ in map_data.WELL_QUANTITIES}

    def said(quantity: str, unit: str) -> list[str]:
        return [wording.reading(low, high, unit) for low, high in zip(*columns[quantity], strict=True)]

    readings = zip(
        said("depth_to_bedrock_ft", "ft"), said("depth_to_water_ft", "ft"), said("yield_gpm", "gpm"), strict=True
    )
    away = wording.distances(shown["distance_m"])
    weights = [wording.fine_percent(weight) for weight in shown["weight"]]
    rows = [
        {**_neighbour_row(row, name, *texts), "distance": distance, "weight": weight}
        for row, name, texts, distance, weight in zip(
            shown.itertuples(), map_data.short_ids(shown), readings, away, weights, strict=True
        )
    ]
    if not _leans(estimate):
        return {
            "title": "The nearest wells on record",
            "text": "They stand too far off to say what lies under the lot, and no figure was made from them.",
            "weighted": False,
            "caption": BOUNDS,
            "rows": rows,
        }
    share = float(shown["weight"].sum())
    text = f"{wording.counted(len(shown), 'well')}, the heaviest first."
    if share < 0.995:
        text += f" They carry {wording.percent(share)} of the weight; the rest is spread over others."
    alike = len(set(weights)) == 1
    if alike:
        text += f" Each weighs about as much as the others: {weights[0]}."
    return {
        "title": "The wells that the estimate leaned on",
        "text": text,
        "weighted": not alike,
        "caption": BOUNDS if alike else f"{WEIGHT} {BOUNDS}",
        "rows": rows,
    }


def _neighbour_row(row: Any, name: str, rock: str, water: str, flow: str) -> dict[str, Any]:
    return {
        "record_id": name,
        "private": bool(row.private),
        "depth": wording.exact_depth(row.total_depth_ft),
        "rock": rock,
        "water": water,
        "flow": flow,
        "year": wording.MISSING if pd.isna(row.drilled_on) else f"{row.drilled_on:%Y}",
        "source": str(row.source).replace("_", " "),
    }


def _surroundings(estimate: LotEstimate, wells: pd.DataFrame, settings: ReportSettings) -> dict[str, Any]:
    minimum = settings.private_minimum
    near = owner_view.wells_within(wells, estimate.longitude, estimate.latitude, 5000.0)
    rows: list[tuple[str, str]] = []
    if len(near) >= minimum:
        rows = owner_view.quantity_ranges(near, minimum)
    counts = (
        f"{owner_view.count_text(estimate.wells_within_1km, minimum)} within 0.6 mi of the lot and "
        f"{owner_view.count_text(estimate.wells_within_5km, minimum)} within 3.1 mi."
    )
    return {
        "text": (
            f"{counts[0].upper()}{counts[1:]} Single wells are not shown: many records are private. No figure here "
            f"rests on fewer than {minimum} wells."
        ),
        "rows": rows,
        "caption": "Wells within 3.1 mi: eight in ten lie in these ranges.",
    }
