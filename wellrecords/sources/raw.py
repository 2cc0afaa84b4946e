"""Rows as they were read: text under the file's own column names."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from wellrecords.errors import Problem, ProblemsError, counted
from wellrecords.ledger import HELD_BACK_COLUMNS
from wellrecords.schema import conform, empty_table
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.layout import Layout

HEADER_WITHIN = 40
"""Rows of a file among which its column names are looked for."""

Row = Sequence[str]


@dataclass(frozen=True)
class RawTable:
    """One file's rows, nothing interpreted.

    Parameters
    ----------
    table : pandas.DataFrame
        Text columns as written, under the file's own names; a blank cell is
        an empty text. The index counts from 0.
    file_row : ndarray of int, shape (n,)
        The line of the file, the row of the sheet, or the number of the
        feature, the first being 1.
    file : str
        The file's name. Of a workbook with several sheets each row's sheet
        stands in the column "sheet", and `file_row` counts within it.
    rejected : pandas.DataFrame
        Rows that could not be laid in columns, as held-back rows.
    crs : str, optional
        Coordinate system of the file's own points.
    notes : tuple of str
        What was found out about the file: encoding, delimiter, skipped lines.
    parts : dict of str to RawTable
        Companion files: "layers", "water_zones".
    """

    table: pd.DataFrame
    file_row: np.ndarray
    file: str
    rejected: pd.DataFrame = field(default_factory=lambda: empty_table(HELD_BACK_COLUMNS))
    crs: str | None = None
    notes: tuple[str, ...] = ()
    parts: Mapping[str, RawTable] = field(default_factory=dict)

    @property
    def rows_read(self) -> int:
        """Rows in the file, blank lines and column names aside."""
        return len(self.table) + len(self.rejected)


@dataclass(frozen=True)
class Header:
    """Where the column names stand.

    Parameters
    ----------
    first : int
        Index of the first row of names.
    rows : int
        How many rows the names fill.
    names : tuple of str
        One a column, unique.
    """

    first: int
    rows: int
    names: tuple[str, ...]


def find_header(rows: Sequence[Row], known: Collection[str] | None, header_rows: int, file: str) -> Header:
    """Find the row, or the two rows, of column names beneath any title rows.

    Parameters
    ----------
    rows : sequence of sequence of str
        The first rows of the file.
    known : collection of str or None
        Tidied names that the layout knows; None to find the names without a
        layout.
    header_rows : int
        How many rows the names fill.
    file : str
        For the error.

    Returns
    -------
    Header

    Raises
    ------
    ProblemsError
        Where no row holds a name that the layout knows.
    """
    best, best_score = None, 0.0
    for first in range(min(len(rows), HEADER_WITHIN)):
        names = _names(rows, first, header_rows, known)
        if names is None:
            continue
        score = _looks_like_names(rows, first, header_rows) if known is None else _known_share(names, known)
        if score > best_score:
            best, best_score = Header(first, header_rows, _unique(names)), score
    if best is None:
        problem = Problem(
            what="no row holds the column names that the layout knows",
            rule=f"one of the first {HEADER_WITHIN} rows holds them",
            next_step="choose the layout of this file, or add this file's names to it",
            file=file,
            code="no_header",
        )
        raise ProblemsError([problem])
    return best


def _names(rows: Sequence[Row], first: int, header_rows: int, known: Collection[str] | None) -> list[str] | None:
    if header_rows == 1:
        return [cell.strip() for cell in rows[first]]
    if first + 1 >= len(rows):
        return None
    upper, lower = list(rows[first]), list(rows[first + 1])
    width = max(len(upper), len(lower))
    upper += [""] * (width - len(upper))
    lower += [""] * (width - len(lower))
    names, group = [], ""
    for top, bottom in zip(upper, lower, strict=True):
        top, bottom = top.strip(), bottom.strip()
        group = top or group
        # A group's name stands over its first column only; whether it also covers this one, the layout knows.
        # A cell merged over both rows holds one name.
        both = bottom if group == bottom else f"{group} {bottom}".strip()
        own = bottom if top == bottom else f"{top} {bottom}".strip()
        names.append(
            next((name for name in (own, both, bottom) if known and tidy_name(name) in known), both if bottom else own)
        )
    return names


def _known_share(names: Sequence[str], known: Collection[str]) -> float:
    return float(len({tidy_name(name) for name in names} & set(known)))


def _looks_like_names(rows: Sequence[Row], first: int, header_rows: int) -> float:
    """Score a row without a layout: many cells, all of them words, all different; the first such row wins."""
    if header_rows == 2:
        both = [{cell.strip() for cell in row if cell.strip()} for row in rows[first : first + 2]]
        # A figure begins with a digit or a sign; a name may hold one, as "(UTM 19N)" does.
        if min(map(len, both)) < 2 or any(cell[0].isdigit() or cell[0] in "<>~+-." for row in both for cell in row):
            return 0.0
        return float(len(both[0]) + len(both[1]))
    cells = [cell.strip() for cell in rows[first] if cell.strip()]
    if not cells or len(set(cells)) < len(cells):
        return 0.0
    words = sum(not cell[0].isdigit() and any(letter.isalpha() for letter in cell) for cell in cells)
    return words / len(cells) * len(cells)


def _unique(names: Sequence[str]) -> tuple[str, ...]:
    counts: dict[str, int] = {}
    unique = []
    for place, name in enumerate(names, 1):
        base = name or f"column {place}"
        counts[base] = counts.get(base, 0) + 1
        unique.append(base if counts[base] == 1 else f"{base} ({counts[base]})")
    return tuple(unique)


def lay_out(
    rows: Sequence[Row], file_rows: Sequence[int], header: Header, *, file: str, source: str
) -> tuple[RawTable, int]:
    """Lay rows of cells under their names; a row that does not fit is rejected, with its text.

    Parameters
    ----------
    rows : sequence of sequence of str
        The rows beneath the header.
    file_rows : sequence of int
        Their places in the file.
    header : Header
    file, source : str

    Returns
    -------
    RawTable
    int
        How many rows of blank cells only were skipped.
    """
    width = len(header.names)
    kept, kept_rows, rejected = [], [], []
    blank = 0
    for cells, file_row in zip(rows, file_rows, strict=True):
        if not any(cell.strip() for cell in cells):
            blank += 1
            continue
        if len(cells) > width and not any(cell.strip() for cell in cells[width:]):
            cells = cells[:width]
        if len(cells) != width:
            why = f"the row has {len(cells)} cells where the header has {width}: a delimiter or a quote is out of place"
            rejected.append((file_row, "ragged_row", why, _cells_text(cells, header.names)))
        elif list(map(str.strip, cells)) == list(map(str.strip, header.names)):
            why = "the row repeats the column names"
            rejected.append((file_row, "repeated_header", why, _cells_text(cells, header.names)))
        else:
            kept.append(cells)
            kept_rows.append(file_row)
    columns = list(zip(*kept, strict=True)) if kept else [()] * width
    table = pd.DataFrame(
        {name: pd.Series(list(cells), dtype="str") for name, cells in zip(header.names, columns, strict=True)}
    )
    raw = RawTable(
        table=table,
        file_row=np.asarray(kept_rows, dtype=np.int64),
        file=file,
        rejected=conform(
            pd.DataFrame(rejected, columns=["file_row", "reason", "why", "original"]).assign(source=source, file=file),
            HELD_BACK_COLUMNS,
        ),
    )
    return raw, blank


def blank_note(blank: int) -> tuple[str, ...]:
    """Return what the notes say of blank lines."""
    return (f"{counted(blank, 'blank line')} skipped",) if blank else ()


def _cells_text(cells: Row, names: Sequence[str]) -> str:
    labels = [*names, *(f"beyond the last column ({place})" for place in range(1, len(cells) + 1))]
    return json.dumps({name: cell for name, cell in zip(labels, cells, strict=False) if cell}, ensure_ascii=False)


def stack_tables(tables: Sequence[RawTable], file: str) -> RawTable:
    """Return the tables of several sheets or blocks as one; a column that a sheet lacks is blank there."""
    if len(tables) == 1:
        return tables[0]
    table = pd.concat([each.table for each in tables], ignore_index=True).fillna("").astype("str")
    return RawTable(
        table=table,
        file_row=np.concatenate([each.file_row for each in tables]),
        file=file,
        rejected=pd.concat([each.rejected for each in tables], ignore_index=True).astype(HELD_BACK_COLUMNS),
        crs=tables[0].crs,
        notes=tuple(note for each in tables for note in each.notes),
    )


def header_names(layout: Layout | None) -> set[str] | None:
    """Return the tidied names that a layout knows, None without one."""
    return None if layout is None else layout.known_names()
