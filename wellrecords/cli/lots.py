"""The verbs on lots: estimate them, find where a well may stand, write the reports."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wellrecords.cli.common import (
    LotNames,
    LotsFile,
    MaxDepth,
    Places,
    SettingsFile,
    SourceFiles,
    Target,
    check_lots_near,
    load,
    place_of,
    refreshed,
)
from wellrecords.errors import WellRecordsError
from wellrecords.output import check_file, check_folder, write_whole
from wellrecords.terminal import plain, progress, short, show_estimates, show_refresh, show_sitings

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas as gpd
    import pandas as pd

    from wellrecords.jobs import LotJob
    from wellrecords.settings import Settings

Keep = Annotated[
    bool, typer.Option("--keep", help="Keep each estimate, to be held against the drilled well ([outcomes] estimates).")
]


def estimate(
    settings_file: SettingsFile,
    at: Places = None,
    lots: LotsFile = None,
    lot: LotNames = None,
    target_gpm: Target = None,
    max_depth_ft: MaxDepth = None,
    save: Annotated[Path | None, typer.Option("--save", metavar="FILE", help="Write the table as CSV.")] = None,
    keep: Keep = False,
) -> None:
    """Estimate lots: rock, water, depth, yield, cost, how sure.

    Places (--at; of several the first is lot A) or a file of lots (--lots;
    else that of the settings). Of a file, the columns lot_id (with latitude
    and longitude in a CSV), name and main_rock are read, and what a lot may
    wish for itself: target_yield_gpm, max_depth_ft, persons, bedrooms,
    garden_area_ft2, lawn_area_ft2, fixtures, peak_gpm.

    Each figure is given as p10, p50 and p90: one well in ten turns out below
    the first, half below the second, nine in ten below the third.
    """
    settings = load(settings_file)
    _check_lots_once(at, lots, lot)
    if keep:
        _check_keep(settings, at)
    if save is not None:
        check_file(save)
    jobs = _run(settings, at=at, lots_file=lots, lot_ids=lot, target_gpm=target_gpm, max_depth_ft=max_depth_ft)
    show_estimates(jobs)
    if save is not None:
        from wellrecords.jobs import answers, rounded

        _write_csv(rounded(answers(jobs)), save)
        typer.echo(f"Written: {save}")
    if keep:
        _keep(settings, jobs)


def site(
    settings_file: SettingsFile,
    lots: LotsFile = None,
    lot: LotNames = None,
    save: Annotated[
        Path | None, typer.Option("--save", metavar="FILE", help="Write the ground and the places as GeoJSON.")
    ] = None,
) -> None:
    """Find where on each lot a well may stand, best place first.

    The setbacks file and the site plans of the settings ([siting]) say what
    to keep away from; only what is drawn on the plan is kept away from.

    A site plan is a map file (GeoJSON, GeoPackage) of the features on and
    around the lots, each a point, line or polygon with `lot_id` (blank: of
    every lot near it) and `kind`, a kind of the setbacks file such as house,
    septic_tank, drain_field or road. A feature by a lot whose lot_id is of
    no lot in the lots file is refused: it would be left out.

    The report ranks the places anew where what a well there should cost and
    make tells more than 2 % of the job between them.
    """
    from wellrecords import jobs, placing

    settings = load(settings_file)
    if save is not None:
        check_file(save)
    plans = jobs.job_settings(settings).site_plans
    if plans is None:
        msg = (
            f"The settings {settings_file} name no setbacks and site plans. "
            "Next: set `setbacks` and `site_plans` under [siting]."
        )
        raise WellRecordsError(msg)
    chosen, known = _lots(settings, lots, lot)
    sitings = placing.site(chosen, plans, known)
    _tell(placing.plan_notes(chosen, plans, known))
    show_sitings(sitings.values(), placing.why_no_place(chosen, sitings, plans))
    if save is not None:
        write_whole(save, placing.sitings_geojson(sitings.values()).encode())
        typer.echo(f"Written: {save}")


def report(
    settings_file: SettingsFile,
    at: Places = None,
    lots: LotsFile = None,
    lot: LotNames = None,
    target_gpm: Target = None,
    max_depth_ft: MaxDepth = None,
    to: Annotated[Path | None, typer.Option("--to", metavar="FOLDER", help="Where the reports go.")] = None,
    source: SourceFiles = None,
    owner: Annotated[
        bool, typer.Option("--owner", help="Write the owner's version: counts and ranges, no record of a well.")
    ] = False,
    keep: Keep = False,
) -> None:
    """Do the whole job, from the records to the HTML reports.

    The dataset is refreshed where an input has changed. One report a lot, one
    map of the region and a page that links them; each is a single file that
    opens without a network. Lots (--at, --lots, else those of the settings)
    may be left out: the region's pages are written all the same.
    """
    settings = load(settings_file, source)
    _check_lots_once(at, lots, lot)
    if keep:
        _check_keep(settings, at)
    named = bool(at) or lots is not None or bool(lot) or keep or _settings_lots(settings) is not None
    for place in at or ():
        place_of(place, settings.region)
    folder = to or settings.region.reports
    check_folder(folder)
    show_refresh(refreshed(settings), notes=False)
    from wellrecords.report import write_reports

    jobs = []
    if named:
        wishes: dict[str, Any] = {"target_gpm": target_gpm, "max_depth_ft": max_depth_ft}
        jobs = _run(settings, at=at, lots_file=lots, lot_ids=lot, **wishes, other_yields=True)
        show_estimates(jobs)
    with progress() as tell:
        index = write_reports(
            folder,
            settings,
            jobs,
            audience="owner" if owner else "contractor",
            prepared_on=date.today(),
            tell=tell,
        )
    if keep:
        _keep(settings, jobs)
    typer.echo(f"\nReports: open {short(index)}")


def _check_lots_once(at: list[str] | None, lots_file: Path | None, lot_ids: list[str] | None) -> None:
    """Refuse places beside a file of lots: one of them would be left out in silence."""
    for option, value in (("--lots", lots_file), ("--lot", lot_ids)):
        if at and value:
            msg = (
                f"--at and {option} were both given. Rule: lots are places (--at) or lots of a file. "
                "Next: leave one of them out, or run the command twice."
            )
            raise WellRecordsError(msg)


def _check_keep(settings: Settings, at: list[str] | None) -> None:
    """Refuse before the work what could not be kept after it."""
    from wellrecords.follow_up import estimates_folder

    check_folder(estimates_folder(settings))
    if at:
        msg = "--keep needs a lot with a name of its own, not --at. Next: give the lot a lot_id in a file (--lots)."
        raise WellRecordsError(msg)


def _keep(settings: Settings, jobs: list[LotJob]) -> None:
    from wellrecords.follow_up import keep_estimates

    kept = keep_estimates(settings, jobs, given_on=date.today())
    typer.echo(f"Kept: {len(kept)} estimate{'' if len(kept) == 1 else 's'} in {short(kept[0].parent)}")


def _settings_lots(settings: Settings) -> Path | None:
    from wellrecords.jobs import LotsSettings

    return settings.part("lots", LotsSettings).file


def _tell(notes: Iterable[str]) -> None:
    for note in notes:
        typer.echo(f"Note: {plain(note)}", err=True)


def _lots(settings: Settings, lots_file: Path | None, lot_ids: list[str] | None) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Return the lots asked about, and the `lot_id` of every lot of their file."""
    from wellrecords import lot_files, lot_wishes

    file = lots_file or _settings_lots(settings)
    if file is None:
        msg = "No lot is named. Next: give --at=LON,LAT or --lots FILE, or set [lots] file in the settings."
        raise WellRecordsError(msg)
    every = lot_files.read_lots(file)
    lots, known = lot_files.choose_lots(every, lot_ids or (), file), list(every["lot_id"])
    unread = lot_wishes.misspelt_wishes(lots)
    for column, wish in unread.items():
        typer.echo(f"Note: {file.name}: the column {column!r} is not read. Is {wish} meant?", err=True)
    if unread:
        typer.echo(f"Note: the columns of lots that are read: {', '.join(lot_wishes.LOT_COLUMNS)}.", err=True)
    for asked in lot_wishes.unusual_wishes(lots):
        typer.echo(f"Note: {file.name}: {plain(asked)}", err=True)
    check_lots_near(lots, file, settings.region)
    return lots, known


def _run(
    settings: Settings,
    *,
    at: list[str] | None,
    lots_file: Path | None,
    lot_ids: list[str] | None,
    target_gpm: float | None,
    max_depth_ft: float | None,
    other_yields: bool = False,
) -> list[LotJob]:
    from wellrecords import jobs
    from wellrecords.filing_doubts import outside_bounds
    from wellrecords.lot_files import lots_at
    from wellrecords.lot_wishes import unusual, wish_fault
    from wellrecords.lots import tabulate_ahead, wells_box
    from wellrecords.placing import ask, plan_notes
    from wellrecords.store import learnt_folder, read_manifest, read_table, read_wells

    common = jobs.job_settings(settings)
    if common.estimate.n_jobs != 1:
        tabulate_ahead()
    places = [place_of(place, settings.region) for place in at or ()]
    for longitude, latitude in places:
        if outside := outside_bounds(settings.region, longitude, latitude):
            told = f"Note: {longitude:.10g},{latitude:.10g} is {outside}: wells filed there are held back"
            typer.echo(f"{told} until `bounds` under [region] are widened.", err=True)
    # A site plan is of lots with outlines: of a place it says nothing.
    lots, known = (lots_at(places), None) if places else _lots(settings, lots_file, lot_ids)
    for name, option, value in (
        ("target_yield_gpm", "--target-gpm", target_gpm),
        ("max_depth_ft", "--max-depth-ft", max_depth_ft),
    ):
        if value is not None:
            if not 0 < value < math.inf:
                msg = f"{option} must be above 0, not {value:g}. Next: give a number above 0, or leave the option out."
                raise WellRecordsError(msg)
            if fault := wish_fault(name, value):
                msg = (
                    f"{option} {value:,g} {fault[0]} Rule: {fault[1]}. Next: give another number, or leave the option "
                    "out."
                )
                raise WellRecordsError(msg)
            if asked_of := unusual(name, value):
                typer.echo(f"Note: {asked_of.replace(name, option)}", err=True)
            lots[name] = value
    with progress() as tell:
        tell("finding where wells may stand", 0, 1)
        asked = ask(lots, common.site_plans, known)
        _tell(plan_notes(lots, common.site_plans, known or ()))
        tell("reading the dataset", 0, 1)
        box = None
        if read_manifest(settings.region.store)["rows"]["wells"] > common.estimate.wells_per_fit:
            common, box = common.by_tile(), wells_box(asked.points)
        wells = read_wells(settings.region.store, bbox=box)
        zones, flags = (
            read_table(settings.region.store, name, None if box is None else wells["record_id"])
            for name in ("water_zones", "flags")
        )
        learnt = learnt_folder(settings.region.store)
        return jobs.run_jobs(wells, asked, common, zones, learnt, tell, flags, other_yields)


def _write_csv(table: pd.DataFrame, path: Path) -> None:
    # The mark at the start makes spreadsheets read it as UTF-8.
    write_whole(path, table.to_csv(index=False, lineterminator="\n").encode("utf-8-sig"))
