"""The report of a regional dataset: its map, its surfaces, and whether it can be trusted."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.errors import WellRecordsError
from wellrecords.report import map_data, owner_view, quality
from wellrecords.report.assets import LEAFLET_VERSION
from wellrecords.report.charts import histogram
from wellrecords.report.map import MapParts, SurfaceLayer, build_map
from wellrecords.report.page import render_page, write_page
from wellrecords.report.ramp import Ramp, ramp_of
from wellrecords.report.settings import ReportSettings
from wellrecords.report.surfaces import MapSurface, picture_of, well_supported
from wellrecords.schema import WGS84

CANVAS_ABOVE = 1500
"""More circles than this are drawn on a canvas; fewer as SVG, which prints sharper."""


@dataclass(frozen=True)
class RunCounts:
    """What became of the rows that a refresh read.

    Parameters
    ----------
    rows_read, kept, merged, held_back : int

    Raises
    ------
    WellRecordsError
        Where the rows do not add up: a report must not show such a run.
    """

    rows_read: int
    kept: int
    merged: int
    held_back: int

    def __post_init__(self) -> None:
        total = self.kept + self.merged + self.held_back
        if self.rows_read != total:
            msg = (
                f"The run's rows do not add up: {self.rows_read} read, but {self.kept} kept + {self.merged} merged + "
                f"{self.held_back} held back = {total}. Run the refresh again, and report this if it stays."
            )
            raise WellRecordsError(msg)


def write_region_report(
    path: str | os.PathLike[str],
    *,
    wells: pd.DataFrame,
    region: str,
    counts: RunCounts | None = None,
    changes: pd.DataFrame | None = None,
    held_back: pd.DataFrame | None = None,
    merged: pd.DataFrame | None = None,
    surfaces: Sequence[MapSurface] = (),
    lots: gpd.GeoDataFrame | None = None,
    context_layers: Mapping[str, gpd.GeoDataFrame | gpd.GeoSeries] | None = None,
    audience: Literal["contractor", "owner"] = "contractor",
    prepared_on: date | None = None,
    prepared_by: str | None = None,
    settings: ReportSettings | None = None,
) -> Path:
    """Write the report of a region as one self-contained HTML file.

    Parameters
    ----------
    path : path-like
    wells : DataFrame
        The canonical table.
    region : str
        Its name.
    counts : RunCounts, optional
        Rows read, kept, merged and held back.
    changes, held_back, merged : DataFrame, optional
        The ledger's tables, summed up by rule and reason. The original text
        of held-back rows is not shown.
    surfaces : sequence of MapSurface
        Layers of the map, one shown at a time.
    lots : GeoDataFrame, optional
        With `lot_id`, drawn and named.
    context_layers : mapping of str to GeoDataFrame, optional
    audience : {"contractor", "owner"}, default="contractor"
        The owner's version counts wells by squares, leaves out the ledger
        and the sources, and draws surfaces only where their support is good.
    prepared_on, prepared_by : optional
        As in `write_lot_report`.
    settings : ReportSettings, optional

    Returns
    -------
    pathlib.Path
    """
    settings = settings or ReportSettings()
    owner = audience == "owner"
    least = settings.private_minimum if owner else 1
    if owner:
        surfaces = [well_supported(one) for one in surfaces if one.support is not None]
    parts, drawn = _region_map(wells, surfaces, lots, context_layers or {}, owner, settings)
    html = render_page(
        "region.html",
        title=f"{region}: wells on record",
        language=settings.language,
        styles=parts.styles,
        scripts=parts.scripts,
        data={"map-data": parts.data},
        owner=owner,
        region=region,
        prepared_on=f"{prepared_on:%B} {prepared_on.day}, {prepared_on.year}" if prepared_on else None,
        prepared_by=prepared_by,
        lead=_lead(wells, owner),
        has_private=not owner and bool(wells["private"].fillna(value=False).any()),
        figures=_figures(wells, least),
        counts=counts,
        map_html=parts.html,
        map_caption=_map_caption(len(wells), drawn, owner, surfaces, settings),
        sources=None if owner else quality.rows_by_source(wells, merged, held_back),
        held_back=quality.held_back_by_reason(held_back) if held_back is not None and not owner else None,
        changes=quality.changes_by_rule(changes) if changes is not None and not owner else None,
        readings=quality.readings_table(wells, least=least),
        positions=quality.positions_table(wells, least=least),
        uses=quality.shares_table(wells, "well_use", least=least),
        decades=quality.decades_table(wells, least=least),
        charts=_charts(wells, least),
        leaflet_version=LEAFLET_VERSION,
    )
    return write_page(path, html)


def _region_map(
    wells: pd.DataFrame,
    surfaces: Sequence[MapSurface],
    lots: gpd.GeoDataFrame | None,
    context_layers: Mapping[str, gpd.GeoDataFrame | gpd.GeoSeries],
    owner: bool,
    settings: ReportSettings,
) -> tuple[MapParts, int]:
    shown = wells
    if len(wells) > settings.max_wells_on_map:
        shown = wells.sample(settings.max_wells_on_map, random_state=0).sort_index()
    ramps = map_data.well_ramps(shown, settings.colour_classes)
    pictures = [_surface_layer(surface, ramps, settings.colour_classes) for surface in surfaces]
    groups = [(name.capitalize(), map_data.context_group(name, layer)) for name, layer in context_layers.items()]
    if owner:
        box = map_data.bounds_of(map_data.boxes_of(wells, share=0.9))
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        layers, boxes = owner_view.squares_layer(wells, *middle, settings.private_minimum)
        groups += layers
    else:
        groups.append(("Wells", map_data.wells_group(shown, ramps, size=_circle_size(len(shown)))))
        boxes = map_data.boxes_of(wells, share=0.995 if len(wells) > 1000 else 1.0)
    if lots is not None and len(lots):
        boxes = [*boxes, tuple(lots.to_crs(WGS84).total_bounds.tolist())]
        groups.append(("Lots", _lots_group(lots)))
    parts = build_map(
        bounds=map_data.bounds_of(boxes),
        groups=groups,
        ramps=[] if owner else ramps,
        surfaces=pictures,
        canvas=not owner and len(shown) > CANVAS_ABOVE,
    )
    return parts, len(shown)


def _circle_size(count: int) -> float:
    return 4.5 if count < 1000 else 3.5 if count < 3000 else 2.6


def _surface_layer(surface: MapSurface, ramps: Sequence[Ramp], classes: int) -> SurfaceLayer:
    """Colour a surface as the wells are coloured by the same quantity."""
    ramp = next((ramp for ramp in ramps if ramp.key == surface.key), None)
    if ramp is None:
        known = {key: (label, unit) for key, label, unit in map_data.WELL_QUANTITIES}
        label, unit = known.get(surface.key, (surface.title, surface.unit))
        ramp = ramp_of(surface.key, label, unit, np.asarray(surface.values).ravel(), classes)
    return SurfaceLayer(surface.title, ramp, picture_of(surface, ramp))


def _lots_group(lots: gpd.GeoDataFrame) -> dict[str, Any]:
    group: dict[str, Any] = {"shapes": [], "labels": []}
    for lot_id, geometry in zip(lots["lot_id"], lots.geometry.to_crs(WGS84), strict=True):
        drawn = map_data.lot_group(geometry, label=f"Lot {lot_id}")
        group["shapes"] += drawn["shapes"]
        group["labels"] += drawn["labels"]
        group["key"] = ["outline", drawn["key"][1], "a lot"]
    return group


def _lead(wells: pd.DataFrame, owner: bool) -> str:
    sources = wells["source"].nunique()
    words = f"{wording.counted(len(wells), 'well')} from {wording.counted(sources, 'source')}"
    years = wells["drilled_on"].dropna()
    # The first and the last year are each one well's: not for the owner.
    if len(years) and not owner:
        words += f", drilled {years.min():%Y} to {years.max():%Y}"
    return f"{words}."


def _figures(wells: pd.DataFrame, least: int) -> list[dict[str, str]]:
    figures = []
    for key, label, unit in map_data.WELL_QUANTITIES:
        low, middle, high = quality.middle_eight(wells, key)
        say = wording.flow if unit == "gpm" else wording.water_level if key == "depth_to_water_ft" else wording.depth
        if np.isfinite(map_data.best_known(wells, key)).sum() >= least and not np.isnan(middle):
            figures.append({"label": label, "middle": say(middle), "range": wording.span(low, high, say)})
    return figures


def _map_caption(count: int, drawn: int, owner: bool, surfaces: Sequence[MapSurface], settings: ReportSettings) -> str:
    if owner:
        caption = f"Wells counted by squares; a square with fewer than {settings.private_minimum} is left blank."
    elif drawn < count:
        caption = f"{drawn:,} of the {count:,} wells, picked at random, are drawn; the tables count them all."
    else:
        caption = f"All {count:,} wells."
    if surfaces:
        caption += " Surfaces are estimates from the wells, "
        if all(surface.support is not None for surface in surfaces):
            caption += (
                "empty where few wells stand behind them."
                if owner
                else "fainter where few wells stand behind them, empty where the records cannot say."
            )
        else:
            caption += "drawn also where no well is near: there they are guesses."
    return caption


def _charts(wells: pd.DataFrame, least: int) -> list[dict[str, Any]]:
    charts = []
    for key, label, unit, log in (("total_depth_ft", "Well depth", "ft", False), ("yield_gpm", "Yield", "gpm", True)):
        values = map_data.best_known(wells, key)
        values = values[np.isfinite(values)]
        if values.size >= 20:
            charts.append(
                {
                    "title": label,
                    "svg": histogram(values, name=f"chart-{key}", label=label, unit=unit, log=log, least=least),
                }
            )
    return charts
