"""The reports of one run: a page a lot, the region's map, and an index, in one folder."""

from __future__ import annotations

import hashlib
import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.bid import Bid
from wellrecords.errors import WellRecordsError
from wellrecords.interpolation.surface import SUPPORT
from wellrecords.lots import EstimateSettings, SupportSettings, three_quantiles
from wellrecords.region_maps import region_surfaces
from wellrecords.report.index_page import ReportLink, write_index
from wellrecords.report.lot_report import Audience, write_lot_report
from wellrecords.report.map_data import with_rows
from wellrecords.report.region_report import RunCounts, write_region_report
from wellrecords.report.run_report import write_run_report
from wellrecords.report.settings import ReportSettings
from wellrecords.report.surfaces import MapSurface
from wellrecords.run_tables import run_summary
from wellrecords.schema import WGS84
from wellrecords.store import read_manifest, read_table, read_wells
from wellrecords.water_system import WaterSystemSettings

if TYPE_CHECKING:
    from wellrecords.jobs import LotJob
    from wellrecords.settings import Settings

LONGEST_NAME = 100
"""Letters of a lot's name in that of its page; file systems take some 250 in all."""
SURFACES = {
    "depth_to_bedrock_ft": "Depth to rock, middle estimate",
    "depth_to_water_ft": "Depth to water, middle estimate",
    "yield_gpm": "Yield of finished wells, middle estimate",
}


def write_reports(
    folder: Path,
    settings: Settings,
    jobs: Sequence[LotJob],
    *,
    audience: Audience = "contractor",
    prepared_on: date | None = None,
    tell: Callable[[str, int, int], None] = lambda *_: None,
) -> Path:
    """Write a report a lot, the region's report, the refresh's for the analyst, and the page that links them.

    Parameters
    ----------
    folder : path
        Made where absent; files of the same names are replaced, each at once.
    settings : Settings
        The region's.
    jobs : sequence of LotJob
        May be empty: then the region's pages are all there is.
    audience : {"contractor", "owner"}, default="contractor"
    prepared_on : datetime.date, optional
        Printed in the headings.
    tell : callable, optional
        Told of progress.

    Returns
    -------
    pathlib.Path
        Of the index.
    """
    report_settings = settings.part("report", ReportSettings)
    water_system = settings.part("water_system", WaterSystemSettings)
    region = settings.region.name
    context = read_context(report_settings)
    wells = read_wells(settings.region.store)
    common: dict[str, Any] = {
        "audience": audience,
        "prepared_on": prepared_on,
        "prepared_by": report_settings.prepared_by,
        "settings": report_settings,
    }
    version = "owner" if audience == "owner" else ""
    kept = read_manifest(settings.region.store)["rows"]
    # A dataset that was written by an older version has no such table.
    told = audience != "owner" and "file_rows" in kept
    file_rows = read_table(settings.region.store, "file_rows") if told else None
    links = []
    names = page_names([job.lot_id for job in jobs])
    for number, job in enumerate(jobs):
        tell("writing reports", number, len(jobs) + 1)
        path = folder / f"{file_name('lot', names[job.lot_id], version)}.html"
        write_lot_report(
            path,
            estimate=job.estimate,
            bid=job.bid,
            other_yields=job.other_yields,
            wells=wells,
            region=region,
            lot=job.geometry,
            demand=job.demand,
            water_system=water_system,
            siting=job.siting,
            name=None if job.name == job.lot_id else job.name,
            context_layers=context,
            file_rows=file_rows,
            **common,
        )
        title = job.lot_id if job.name == job.lot_id else f"{job.lot_id}, {job.name}"
        links.append(ReportLink(path, title, summary(job), version="for the owner" if version else ""))
    tell("the region's surfaces and map", len(jobs), len(jobs) + 1)
    counts = read_manifest(settings.region.store)["counts"]
    tables: dict[str, Any] = {} if audience == "owner" else _run_tables(settings.region.store)
    region_path = write_region_report(
        folder / f"{file_name('region', '', version)}.html",
        wells=with_rows(wells, file_rows),
        region=region,
        counts=RunCounts(**{name: counts[name] for name in ("rows_read", "kept", "merged", "held_back")}),
        surfaces=_map_surfaces(
            wells,
            settings.region.crs,
            report_settings.surface_cells,
            settings.part("estimate", EstimateSettings).support,
            settings.region.terrain,
        ),
        lots=gpd.GeoDataFrame(
            {"lot_id": [job.lot_id for job in jobs]}, geometry=[job.geometry for job in jobs], crs=WGS84
        ),
        context_layers=context,
        **tables,
        **common,
    )
    links.append(ReportLink(region_path, region, f"{len(wells):,} wells and where they stand", group="Region"))
    if audience != "owner":
        run_path = write_refresh_report(folder, settings, prepared_on=prepared_on)
        links.append(ReportLink(run_path, "The last refresh", "What became of each row that was read", group="Region"))
    return write_index(
        folder / f"{file_name('index', '', version)}.html",
        region=region,
        links=links,
        prepared_on=prepared_on,
        prepared_by=report_settings.prepared_by,
        settings=report_settings,
    )


def write_refresh_report(folder: Path, settings: Settings, *, prepared_on: date | None = None) -> Path:
    """Write the report of the last refresh, ``run.html``, for the analyst.

    Parameters
    ----------
    folder : path
        Made where absent.
    settings : Settings
        The region's.
    prepared_on : datetime.date, optional

    Returns
    -------
    pathlib.Path
    """
    report_settings = settings.part("report", ReportSettings)
    return write_run_report(
        folder / "run.html",
        summary=run_summary(settings.region.store),
        region=settings.region.name,
        prepared_on=prepared_on,
        prepared_by=report_settings.prepared_by,
        settings=report_settings,
    )


def read_context(settings: ReportSettings) -> dict[str, gpd.GeoDataFrame]:
    """Read the layers that are drawn beneath the wells.

    Raises
    ------
    WellRecordsError
        If a file cannot be read; the message names the layer and the file.
    """
    layers = {}
    for name, path in settings.context.items():
        try:
            layers[name] = gpd.read_file(path).to_crs(WGS84)
        except Exception as error:
            msg = (
                f"The context layer {name!r} cannot be read from {path}: {error}. "
                "Next: mend [report.context] in the settings, or the file."
            )
            raise WellRecordsError(msg) from error
    return layers


def _map_surfaces(
    wells: gpd.GeoDataFrame, crs: str, cells: int, support: SupportSettings | None = None, terrain: Path | None = None
) -> list[MapSurface]:
    """Return the region's surfaces as layers of its map."""
    return [
        MapSurface(
            key,
            SURFACES[key],
            drawn.easting,
            drawn.northing,
            drawn.median,
            crs,
            unit="gpm" if key == "yield_gpm" else "ft",
            support=np.array(SUPPORT)[drawn.support],
        )
        for key, drawn in region_surfaces(wells, crs, cells, support, terrain).items()
    ]


def file_name(kind: str, name: str, version: str = "") -> str:
    """Return a file name without an ending that every file system takes.

    >>> file_name("lot", "W-101"), file_name("lot", "12/A b", "owner")
    ('lot_W-101', 'lot_12-A-b_owner')
    """
    return "_".join(part for part in (kind, _safe(name), version) if part)


def page_names(lot_ids: Iterable[str]) -> dict[str, str]:
    """Return what the page of each lot is called after: no two alike, on file systems that pass over case either.

    A lot whose name is alone keeps it. Where names of several lots come to
    the same, each has a mark of its own behind it, made from its `lot_id`:
    the other lots of the run do not change it.

    Parameters
    ----------
    lot_ids : iterable of str
        Each once.

    Examples
    --------
    >>> page_names(["W-101", "A/B", "A_B"])
    {'W-101': 'W-101', 'A/B': 'A-B-998d3ed8', 'A_B': 'A-B-6c1908f9'}
    """
    safe = {lot_id: _safe(lot_id) for lot_id in lot_ids}
    told = Counter(name.casefold() for name in safe.values())
    return {
        lot_id: name if told[name.casefold()] == 1 else f"{name}-{_mark(lot_id)}".strip("-")
        for lot_id, name in safe.items()
    }


def _safe(name: str) -> str:
    """Return a name in letters and characters that every file system takes, cut where it is beyond what they take."""
    return re.sub(r"[^A-Za-z0-9.-]+", "-", name)[:LONGEST_NAME].strip("-.")


def _mark(lot_id: str) -> str:
    return hashlib.sha256(lot_id.encode(errors="surrogatepass")).hexdigest()[:8]


def summary(job: LotJob) -> str:
    """Return a lot's answer in one line, for the index."""
    no_ground = job.siting is not None and not job.siting.has_ground
    return f"No place on the lot keeps the setbacks. For the ground there: {_said(job)}" if no_ground else _said(job)


def _said(job: LotJob) -> str:
    estimate = job.estimate
    if estimate.draws is None:
        return "The records cannot say."
    limit = estimate.max_depth_ft
    low, _, high = three_quantiles(estimate, "depth_to_target_ft")
    words = f"{wording.flow(estimate.target_yield_gpm)} by {wording.depth(limit)}"
    if math.isnan(low):
        return f"The records cannot say how deep a hole must go for {words}."
    words = f"{wording.percent(estimate.chance_of_target)} chance of {words}"
    if low <= limit:
        words += f" ({wording.span(low, high, partial(wording.target_depth, limit_ft=limit))})"
    if isinstance(job.bid, Bid):
        words += f"; fixed price {wording.money(job.bid.fixed_price_usd)}"
    return f"{words}; records {estimate.support}."


def _run_tables(store: Path) -> dict[str, pd.DataFrame]:
    return {name: read_table(store, name) for name in ("changes", "held_back", "merged")}
