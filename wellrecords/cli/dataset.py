"""The verbs on records: describe a file by a layout, refresh the dataset, show what was changed and held back."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wellrecords.cli.common import SettingsFile, SourceFiles, load, refreshed
from wellrecords.errors import WellRecordsError, counted
from wellrecords.output import check_file, check_folder, write_whole
from wellrecords.terminal import short, show_changes, show_held_back, show_layout_check, show_refresh

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd


def draft_layout(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file of records that no layout knows yet.")],
    save: Annotated[
        Path | None, typer.Option("--save", metavar="LAYOUT.toml", help="Write the draft to a file to be edited.")
    ] = None,
) -> None:
    """Draft the layout of a new file, each guess with a reason.

    A draft is not whole: what only the source can know (what a zero or an odd
    code means) is marked SAY, and a run stops on it by name. Edit the draft,
    then try it with check-layout.
    """
    from wellrecords.sources import draft_layout as draft

    if save is not None and save.exists():
        msg = f"{save} is there already and may have been edited. Next: name another file, or move it away."
        raise WellRecordsError(msg)
    if save is not None:
        check_file(save)
    text = draft(file)
    if save is None:
        typer.echo(text, nl=False)
        return
    write_whole(save, text.encode())
    left = text.count("SAY ")
    typer.echo(f"Written: {save}. {counted(left, 'line')} marked SAY: only the source knows.")
    typer.echo(f"Next: edit it, then run: wellrecords check-layout {save} {file}")


def check_layout(
    layout: Annotated[str, typer.Argument(metavar="LAYOUT", help="A layout file, or the name of a shipped layout.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file of records to try it on.")],
    settings_file: Annotated[
        Path | None,
        typer.Option("--settings", metavar="SETTINGS", help="A region whose bounds and layers of land count too."),
    ] = None,
) -> None:
    """Try a layout on a file: what stops a run or is held back.

    Nothing is written. The exit status is 2 where a run would stop.
    """
    from wellrecords.cleaning.check_layout import TELLS
    from wellrecords.cleaning.check_layout import check_layout as check
    from wellrecords.land_grid import read_outline
    from wellrecords.refresh import land_layers
    from wellrecords.sources import load_layout

    region = load(settings_file).region if settings_file is not None else None
    problems = check(
        load_layout(layout),
        file,
        bounds=region.bounds if region else None,
        outline=read_outline(region.outline) if region and region.outline else None,
        land=land_layers(region) if region else None,
    )
    stops = [problem for problem in problems if problem.code not in TELLS]
    show_layout_check(stops, [problem for problem in problems if problem.code in TELLS])
    if stops:
        raise typer.Exit(2)


def refresh(
    settings_file: SettingsFile,
    source: SourceFiles = None,
    force: Annotated[bool, typer.Option("--force", help="Read everything again though nothing has changed.")] = False,
    report: Annotated[
        Path | None, typer.Option("--report", metavar="FOLDER", help="Write run.html: what became of each row.")
    ] = None,
) -> None:
    """Read the sources, clean and merge them, write the dataset.

    Nothing is lost: rows read = kept + merged + held back. A new version is
    written beside the old one and takes its place only when it is whole.
    """
    settings = load(settings_file, source)
    if report is not None:
        check_folder(report)
    show_refresh(refreshed(settings, force=force))
    if report is not None:
        from wellrecords.report import write_refresh_report

        typer.echo(f"Report: open {short(write_refresh_report(report, settings, prepared_on=date.today()))}")


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
    from wellrecords.store import read_manifest, read_table

    store = load(settings_file).region.store
    rows = read_table(store, "held_back")
    if reason is not None:
        reasons = sorted(rows["reason"].dropna().unique())
        if reason not in reasons:
            msg = f"No row was held back for {reason!r}. Reasons: {', '.join(reasons) or 'none'}."
            raise WellRecordsError(msg)
        rows = rows[rows["reason"] == reason]
    show_held_back(rows)
    if save is not None:
        for file in _save_held_back(rows, save, read_manifest(store).get("columns", {})):
            typer.echo(f"Written: {file}")


def changes(
    settings_file: SettingsFile,
    of_source: Annotated[str | None, typer.Option("--of", metavar="SOURCE", help="Only rows of this source.")] = None,
    rule: Annotated[str | None, typer.Option("--rule", help="Only what this rule did.")] = None,
    save: Annotated[
        Path | None, typer.Option("--save", metavar="FILE", help="Write each change and flag, a CSV for a spreadsheet.")
    ] = None,
) -> None:
    """Show what was changed and flagged in the rows that were kept.

    On the terminal how many, of which column, by which rule; saved, each with
    its row in the file, what was written there, what stands now, and why. What
    is only flagged was left as it was.
    """
    from wellrecords.changed import changed_csv, changed_table
    from wellrecords.store import read_table

    if save is not None:
        check_file(save)
    store = load(settings_file).region.store
    table = changed_table(read_table(store, "changes"), read_table(store, "flags"))
    for column, asked in (("source", of_source), ("rule", rule)):
        if asked is None:
            continue
        known = sorted(table[column].unique())
        if asked not in known:
            msg = f"Nothing was changed or flagged with {column} {asked!r}. There are: {', '.join(known) or 'none'}."
            raise WellRecordsError(msg)
        table = table[table[column] == asked]
    show_changes(table)
    if save is not None:
        typer.echo(f"Written: {write_whole(save, changed_csv(table))}")


def _save_held_back(rows: pd.DataFrame, folder: Path, columns: Mapping[str, Sequence[str]]) -> list[Path]:
    """Write the rows, a file a source with its own columns; one that is there may hold mended rows, so it stays."""
    from wellrecords.held_back import held_back_csv

    parts = {folder / f"{source}.csv": (part, columns.get(source, ())) for source, part in rows.groupby("source")}
    if there := [file for file in parts if file.exists()]:
        msg = f"{there[0]} is there already and may hold mended rows. Next: name another folder, or move it away."
        raise WellRecordsError(msg)
    contents = {file: held_back_csv(part, names) for file, (part, names) in parts.items()}
    return [write_whole(file, content) for file, content in contents.items()]
