"""Check a layout against a file before a run."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from wellrecords.cleaning.convert import convert_source
from wellrecords.cleaning.nothing_kept import nothing_kept
from wellrecords.cleaning.positions import MEND_WHY
from wellrecords.errors import Problem, ProblemsError, WellRecordsError, counted
from wellrecords.land_grid import LandLayers
from wellrecords.places import Bounds
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.layout import Layout
from wellrecords.sources.raw import RawTable
from wellrecords.sources.read import read_source

TELLS = ("would_hold_back", "would_be_unknown", "unused_column", "not_told", "would_be_mended")
"""Codes of problems that only tell what a run would do; any other stops it."""
MISSED = {
    "source_record_id": "a well filed twice under one number is not seen",
    "total_depth_ft": "these wells say nothing of how deep wells are drilled, and hardly anything of a depth to water",
    "yield_gpm": "these wells say nothing of how much water the ground gives",
}
"""Columns without which a source is worth much less, and why."""


def check_layout(
    layout: Layout,
    path: str | Path,
    *,
    bounds: Bounds | None = None,
    outline: object | None = None,
    land: LandLayers | None = None,
) -> list[Problem]:
    """Return what is wrong between a layout and a file, and what a run would hold back or drop.

    Parameters
    ----------
    layout : Layout
    path : str or Path
    bounds, outline, land : optional
        As for `convert_source`.

    Returns
    -------
    list of Problem
        Those whose code is one of `TELLS` count the rows that would be held
        back ("would_hold_back"), the texts that would become unknown
        ("would_be_unknown"), the columns that the layout does not name
        ("unused_column"), the figures that no column gives ("not_told") and
        the places that would be mended, by kind ("would_be_mended").
        All others would stop a run. Nothing is written.
    """
    try:
        raw = read_source(path, layout)
    except ProblemsError as error:
        return list(error.problems)
    except WellRecordsError as error:
        return [_problem(str(error), "the file can be read", "see there", "unreadable_file", Path(path).name)]
    problems = [*_not_told(layout, raw), *_unused(layout, raw)]
    try:
        converted = convert_source(raw, layout, bounds=bounds, outline=outline, land=land)
    except ProblemsError as error:
        return [*error.problems, *problems]
    nothing = nothing_kept(
        layout.name,
        raw.file,
        rows_read=converted.rows_read,
        kept=len(converted.wells),
        held_back=converted.held_back,
    )
    problems += [nothing] if nothing else []
    for reason, rows in converted.held_back.groupby("reason", sort=True):
        problems.append(
            _problem(
                f"{counted(len(rows), 'row')} would be held back: {reason}",
                str(rows["why"].iloc[0]),
                "say in the layout what the text means, mend the rows, or leave it so",
                "would_hold_back",
                raw.file,
                row=int(rows["file_row"].iloc[0]),
            )
        )
    lost = converted.changes[converted.changes["after"].isna()]
    for (column, rule), rows in lost.groupby(["column", "rule"], sort=True):
        problems.append(
            _problem(
                f"{counted(len(rows), 'text')} would become unknown: {rule}",
                str(rows["why"].iloc[0]),
                converted.unread[str(column)].partition("Next: ")[2]
                if column in converted.unread
                else "say in the layout what the text means, or leave it so",
                "would_be_unknown",
                raw.file,
                row=int(rows["file_row"].iloc[0]),
                column=str(column),
                value=None if pd.isna(rows["before"].iloc[0]) else str(rows["before"].iloc[0]),
            )
        )
    problems += [
        _problem(
            told,
            MEND_WHY[rule],
            "look at the first of them; nothing to do where they stand right then",
            "would_be_mended",
            raw.file,
            row=int(converted.changes.loc[converted.changes["rule"] == rule, "file_row"].iloc[0]),
        )
        for rule, told in converted.mended.items()
    ]
    return problems


def _not_told(layout: Layout, raw: RawTable) -> list[Problem]:
    there = {tidy_name(str(column)) for column in raw.table.columns}
    given = {purpose for purpose, names, _ in layout.column_lists() if any(tidy_name(name) in there for name in names)}
    return [
        _problem(
            f"no column gives {name}",
            loss,
            "if the file has such a column, name it in the layout",
            "not_told",
            raw.file,
        )
        for name, loss in MISSED.items()
        if name not in given
    ]


def _unused(layout: Layout, raw: RawTable) -> list[Problem]:
    known = layout.known_names() | {"sheet", "point x", "point y"}
    return [
        _problem(
            "a column that the layout does not name",
            "each column is used, or listed under not_used",
            "add it to a rule of the layout, or to not_used",
            "unused_column",
            raw.file,
            column=str(column),
        )
        for column in raw.table.columns
        if tidy_name(str(column)) not in known
    ]


def _problem(
    what: str,
    rule: str,
    next_step: str,
    code: str,
    file: str,
    row: int | None = None,
    column: str | None = None,
    value: str | None = None,
) -> Problem:
    return Problem(what=what, rule=rule, next_step=next_step, code=code, file=file, row=row, column=column, value=value)
