"""The verbs on the dataset: refresh it, and show what was held back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wellrecords.cli.common import SettingsFile, SourceFiles, load, refreshed
from wellrecords.errors import WellRecordsError
from wellrecords.terminal import show_held_back, show_refresh

if TYPE_CHECKING:
    import pandas as pd


def refresh(
    settings_file: SettingsFile,
    source: SourceFiles = None,
    force: Annotated[bool, typer.Option("--force", help="Read everything again though nothing has changed.")] = False,
) -> None:
    """Read the sources, clean and merge them, write the dataset.

    Nothing is lost: rows read = kept + merged + held back. A new version is
    written beside the old one and takes its place only when it is whole.
    """
    settings = load(settings_file, source)
    show_refresh(refreshed(settings, force=force))


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

    rows = read_table(load(settings_file).region.store, "held_back")
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
