"""The command line: a handful of verbs in plain words.

Expected errors end with status 2 and a message without a traceback.
Results go to standard output, progress and errors to standard error;
progress is shown on a terminal only.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wellrecords.errors import WellRecordsError
from wellrecords.terminal import progress, short, show_estimates, show_held_back, show_refresh

if TYPE_CHECKING:
    import pandas as pd

    from wellrecords.jobs import LotJob
    from wellrecords.refresh import RefreshResult
    from wellrecords.settings import Settings

app = typer.Typer(
    name="wellrecords",
    help="From a pile of well records to a bid for a new lot: how deep, how much water, what it costs, how sure.",
    epilog="An estimate is no guarantee: the licensed contractor and local code govern.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

SettingsFile = Annotated[
    Path, typer.Argument(metavar="SETTINGS", help="The region's settings, such as pipelines/sample_region.toml.")
]
SourceFiles = Annotated[
    list[str] | None,
    typer.Option("--source", metavar="NAME=FILE", help="Read another file for a source of the settings (repeatable)."),
]
LotNames = Annotated[list[str] | None, typer.Option("--lot", metavar="LOT_ID", help="Only this lot (repeatable).")]
LotsFile = Annotated[
    Path | None, typer.Option("--lots", metavar="FILE", help="A file of lots in place of that of the settings.")
]
Place = Annotated[
    str | None,
    typer.Option("--at", metavar="LON,LAT", help="One place in degrees in place of a file, as --at=-70.05,45.21."),
]
Target = Annotated[
    float | None, typer.Option("--target-gpm", help="The wanted yield, over the settings and the lots' own wishes.")
]
MaxDepth = Annotated[
    float | None, typer.Option("--max-depth-ft", help="The deepest hole to drill, over the settings and the lots.")
]


@app.command()
def refresh(
    settings_file: SettingsFile,
    source: SourceFiles = None,
    force: Annotated[bool, typer.Option("--force", help="Read everything again though nothing has changed.")] = False,
) -> None:
    """Read the sources, clean and merge them, write the dataset.

    Nothing is lost: rows read = kept + merged + held back. A new version is
    written beside the old one and takes its place only when it is whole.
    """
    settings = _load(settings_file, source)
    show_refresh(_refreshed(settings, force=force))


@app.command()
def estimate(
    settings_file: SettingsFile,
    at: Place = None,
    lots: LotsFile = None,
    lot: LotNames = None,
    target_gpm: Target = None,
    max_depth_ft: MaxDepth = None,
    save: Annotated[Path | None, typer.Option("--save", metavar="FILE", help="Write the table as CSV.")] = None,
) -> None:
    """Estimate lots: rock, water, depth, yield, cost, how sure.

    One place (--at) or a file of lots (--lots; else that of the settings).

    Each figure is given as p10, p50 and p90: one well in ten turns out below
    the first, half below the second, nine in ten below the third.
    """
    settings = _load(settings_file)
    jobs = _run(settings, at=at, lots_file=lots, lot_ids=lot, target_gpm=target_gpm, max_depth_ft=max_depth_ft)
    show_estimates(jobs)
    if save is not None:
        from wellrecords.jobs import answers

        _write_csv(answers(jobs), save)
        typer.echo(f"Written: {save}")


@app.command()
def report(
    settings_file: SettingsFile,
    at: Place = None,
    lots: LotsFile = None,
    lot: LotNames = None,
    target_gpm: Target = None,
    max_depth_ft: MaxDepth = None,
    to: Annotated[Path | None, typer.Option("--to", metavar="FOLDER", help="Where the reports go.")] = None,
    source: SourceFiles = None,
    owner: Annotated[
        bool, typer.Option("--owner", help="Write the owner's version: counts and ranges, no record of a well.")
    ] = False,
) -> None:
    """Do the whole job, from the records to the HTML reports.

    The dataset is refreshed where an input has changed. One report a lot, one
    map of the region and a page that links them; each is a single file that
    opens without a network.
    """
    settings = _load(settings_file, source)
    show_refresh(_refreshed(settings), notes=False)
    from wellrecords.report import write_reports

    jobs = _run(settings, at=at, lots_file=lots, lot_ids=lot, target_gpm=target_gpm, max_depth_ft=max_depth_ft)
    show_estimates(jobs)
    folder = to or settings.region.reports
    with progress() as tell:
        index = write_reports(
            folder,
            settings,
            jobs,
            audience="owner" if owner else "contractor",
            prepared_on=date.today(),
            tell=tell,
        )
    typer.echo(f"\nReports: open {short(index)}")


@app.command("held-back")
def held_back(
    settings_file: SettingsFile,
    reason: Annotated[str | None, typer.Option("--reason", help="Only rows held back for this reason.")] = None,
    save: Annotated[
        Path | None, typer.Option("--save", metavar="FOLDER", help="Write the rows, a CSV a source, to be mended.")
    ] = None,
) -> None:
    """Show the rows that were held back, and why.

    A held-back row keeps its text. Save the rows, mend them in a
    spreadsheet, name the file as `mended` beside its source in the settings,
    and refresh again.
    """
    from wellrecords.store import read_table

    rows = read_table(_load(settings_file).region.store, "held_back")
    if reason is not None:
        reasons = sorted(rows["reason"].dropna().unique())
        if reason not in reasons:
            msg = f"No row was held back for {reason!r}. Reasons: {', '.join(reasons) or 'none'}."
            raise WellRecordsError(msg)
        rows = rows[rows["reason"] == reason]
    show_held_back(rows)
    if save is not None:
        for file in _save_held_back(rows, save):
            typer.echo(f"Written: {file}")


def main() -> None:
    """Run the command line; expected errors end with status 2."""
    try:
        app()
    except WellRecordsError as error:
        typer.echo(str(error), err=True)
        sys.exit(2)
    except BrokenPipeError:
        # The reader of our output (head, less) has gone: no fault of the run.
        sys.stderr.close()
        sys.exit(0)


# --- the work behind the verbs --------------------------------------------------------------------------------------


def _load(settings_file: Path, sources: list[str] | None = None) -> Settings:
    from wellrecords.settings import load_settings

    settings = load_settings(settings_file)
    files: dict[str, str] = {}
    for pair in sources or ():
        name, equals, file = pair.partition("=")
        if not (name and equals and file):
            msg = f"--source {pair!r} is not NAME=FILE. Next: name a source of the settings, as in state=wells.csv."
            raise WellRecordsError(msg)
        files[name] = file
    return settings.with_source_files(files) if files else settings


def _refreshed(settings: Settings, *, force: bool = False) -> RefreshResult:
    from wellrecords.refresh import refresh as run

    with progress() as tell:
        return run(settings, tell, force=force)


def _run(
    settings: Settings,
    *,
    at: str | None,
    lots_file: Path | None,
    lot_ids: list[str] | None,
    target_gpm: float | None,
    max_depth_ft: float | None,
) -> list[LotJob]:
    from wellrecords import jobs
    from wellrecords.lots import wells_box
    from wellrecords.store import read_table, read_wells

    common = jobs.job_settings(settings)
    if at is not None:
        lots = jobs.lot_at(*_place(at))
    else:
        file = lots_file or settings.part("lots", jobs.LotsSettings).file
        if file is None:
            msg = "No lot is named. Next: give --at=LON,LAT or --lots FILE, or set [lots] file in the settings."
            raise WellRecordsError(msg)
        lots = jobs.read_lots(file, lot_ids or ())
    for name, value in (("target_yield_gpm", target_gpm), ("max_depth_ft", max_depth_ft)):
        if value is not None:
            if value <= 0:
                msg = f"{name} must be above 0, not {value}."
                raise WellRecordsError(msg)
            lots[name] = value
    wells = read_wells(settings.region.store, bbox=wells_box(lots, common.estimate))
    zones = read_table(settings.region.store, "water_zones")
    with progress() as tell:
        tell("estimating and pricing", 0, 1)
        done = jobs.run_jobs(wells, lots, common, zones)
        tell("estimating and pricing", 1, 1)
    return done


def _place(text: str) -> tuple[float, float]:
    try:
        longitude, latitude = (float(part) for part in text.split(","))
    except ValueError:
        msg = f"--at {text!r} is not LON,LAT in degrees. Next: write it as --at=-70.05,45.21 (west is negative)."
        raise WellRecordsError(msg) from None
    return longitude, latitude


def _save_held_back(rows: pd.DataFrame, folder: Path) -> list[Path]:
    """Write the rows, a file a source; a file that is there may hold mended rows and is not overwritten."""
    from wellrecords.held_back import held_back_csv

    parts = {folder / f"{source}.csv": part for source, part in rows.groupby("source")}
    if there := [file for file in parts if file.exists()]:
        msg = f"{there[0]} is there already and may hold mended rows. Next: name another folder, or move it away."
        raise WellRecordsError(msg)
    folder.mkdir(parents=True, exist_ok=True)
    for file, part in parts.items():
        beside = file.with_name(f".{file.name}.part")
        beside.write_bytes(held_back_csv(part))
        beside.replace(file)
    return list(parts)


def _write_csv(table: pd.DataFrame, path: Path) -> None:
    """Write a table beside its place and move it there, so that nothing half written is left."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.part")
    table.to_csv(beside, index=False, encoding="utf-8-sig")
    beside.replace(path)
