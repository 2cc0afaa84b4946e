"""Held-back rows out to a spreadsheet, mended by hand, and in again.

A refresh writes one CSV file a source. A person corrects cells in it, saves
it, and names it as the source's `mended` file; the next refresh puts the
mended cells in place of those in the source's file before it reads them. A
mended row is still one row that was read, so the sum of rows holds.

A spreadsheet runs a cell such as ``=1+1`` and turns ``1-5`` into a day in
May. Cells that it would so touch are written with an apostrophe before them,
which is taken off when the file is read; no other text is altered.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.ledger import CHANGE_COLUMNS, original_text
from wellrecords.schema import empty_table
from wellrecords.sources import RawTable
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.read import read_table

KEY, FILE, SHEET, FILE_ROW = "row_key", "in_file", "in_sheet", "in_row"
OUR_COLUMNS = (KEY, FILE, SHEET, FILE_ROW, "held_back_because", "explanation")
"""Columns that we put before the source's own; only the source's own are to be mended."""

_PLAIN_NUMBER = re.compile(r"-?(?:0|[1-9]\d{0,14})(?:\.\d*[1-9])?")
_LIKE_A_DATE = re.compile(r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[\s\-/.,]*\d", re.IGNORECASE)


def guard(text: str) -> str:
    """Return a cell's text so that no spreadsheet runs or rewrites it.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        With an apostrophe before it where the cell would be taken for a
        formula, a date, or a number that is written otherwise.

    Examples
    --------
    >>> [guard(text) for text in ("=1+1", "1-5", "granite", "-71.25", "007", "'90")]
    ["'=1+1", "'1-5", 'granite', '-71.25', "'007", "''90"]
    """
    if not text or _PLAIN_NUMBER.fullmatch(text):
        return text
    risky = text[0] in "=+-@'.\t\r\n" or text[0].isdigit() or text[0].isspace() or _LIKE_A_DATE.match(text)
    # A spreadsheet also looks behind full-width signs and invisible characters.
    return f"'{text}" if risky or not (text[0].isalnum() or text[0].isascii()) else text


def unguard(text: str) -> str:
    """Return a cell's text as it was before `guard`."""
    return text.removeprefix("'")


def row_key(file: str, original: str) -> str:
    """Return the short name of a row: of what file it is, and what it says."""
    return hashlib.sha256(f"{file}\n{original}".encode()).hexdigest()[:16]


def held_back_csv(held_back: pd.DataFrame, columns: Sequence[str] = ()) -> bytes:
    """Return the held-back rows of one source as a CSV file for a spreadsheet.

    Parameters
    ----------
    held_back : pandas.DataFrame
        `ledger.HELD_BACK_COLUMNS`, of one source.
    columns : sequence of str
        The source's own columns in their order. The rows keep no blank
        cells, so they cannot tell of a column that is blank in all of them,
        which may be the very one to be mended.

    Returns
    -------
    bytes
        UTF-8 with a byte-order mark. First why the row was held back, then
        the source's own columns as they were written, then cells that stand
        beyond the last of them.
    """
    originals = [json.loads(text) for text in held_back["original"]]
    columns = list(dict.fromkeys([*columns, *(name for original in originals for name in original)]))
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([*OUR_COLUMNS, *(guard(name) for name in columns)])
    ours_of = (
        held_back[["file", "original", "sheet", "file_row", "reason", "why"]].astype(object).fillna("").astype(str)
    )
    for (file, text, sheet, *rest), original in zip(ours_of.to_numpy().tolist(), originals, strict=True):
        ours = [row_key(file, text), guard(file), guard(sheet), *rest]
        writer.writerow([*ours, *(guard(original.get(name, "")) for name in columns)])
    return out.getvalue().encode("utf-8-sig")


def read_mended(path: str | Path) -> pd.DataFrame:
    """Read a file of held-back rows that somebody has mended.

    Parameters
    ----------
    path : path
        As written by `held_back_csv`, perhaps saved again by a spreadsheet
        (with semicolons or tabs, in another encoding, or as a workbook).

    Returns
    -------
    pandas.DataFrame
        Text, without the guarding apostrophes; a blank cell is an empty text.

    Raises
    ------
    WellRecordsError
        If the file cannot be read or has lost the column `row_key`.
    """
    path = Path(path)
    lost = f"The mended rows {path} have no column {KEY!r}. Next: start again from the file that the refresh wrote."
    try:
        raw = read_table(path, None, known={tidy_name(KEY)})
    except ProblemsError as error:
        raise WellRecordsError(lost) from error
    if KEY not in raw.table:
        raise WellRecordsError(lost)
    if len(raw.rejected):
        rows = ", ".join(map(str, raw.rejected["file_row"].head(5)))
        msg = f"The mended rows {path} do not all fit the header (row {rows}). Next: save the file again as a table."
        raise WellRecordsError(msg)
    table = raw.table.astype(object)
    table.columns = [name if name in OUR_COLUMNS else unguard(name) for name in table.columns]
    for name in table.columns:
        if name not in OUR_COLUMNS:
            table[name] = [unguard(cell) for cell in table[name]]
    return table


@dataclass(frozen=True)
class Mending:
    """A source's rows with the mended cells in place.

    Attributes
    ----------
    raw : RawTable
    cells : pandas.DataFrame
        One row a mended cell: `label` (of the row in ``raw.table``), `column`, `before`, `after`.
    """

    raw: RawTable
    cells: pd.DataFrame

    @property
    def rows(self) -> int:
        """How many rows were mended."""
        return int(self.cells["label"].nunique())


def mend(raw: RawTable, mended: pd.DataFrame, mended_file: str) -> Mending:
    """Put mended cells in place of those that were read.

    Parameters
    ----------
    raw : RawTable
        The source as read.
    mended : pandas.DataFrame
        From `read_mended`.
    mended_file : str
        Its name, for errors.

    Returns
    -------
    Mending
        As many rows as before: ``raw.rows_read`` is the same.

    Raises
    ------
    ProblemsError
        One problem a row that the source no longer has, or that still has
        cells beyond the last column.
    """
    table, rejected = raw.table.copy(), raw.rejected
    place_of = _find_rows(raw, mended)
    problems: list[Problem] = []
    cells: list[tuple[int, str, str, str]] = []
    added_rows: list[dict[str, str]] = []
    added_file_rows: list[int] = []
    freed: list[int] = []
    own = [name for name in mended.columns if name not in (*OUR_COLUMNS, "sheet")]
    for number, (_, row) in enumerate(mended.iterrows(), 2):
        found = place_of.get(str(row[KEY]))
        if found is None:
            problems.append(
                Problem(
                    what="the mended row is not in the source any more",
                    rule="a mended row replaces the row that it was made from",
                    next_step="take the row out of the mended file, or mend the new held-back file",
                    file=mended_file,
                    row=number,
                    column=KEY,
                    value=str(row[KEY]),
                    code="mended_row_gone",
                )
            )
            continue
        kind, place = found
        if kind == "table":
            for name in own:
                if name in table.columns and row[name] != (before := str(table[name].iloc[place])):
                    cells.append((place, name, before, row[name]))
                    table.loc[place, name] = row[name]
            continue
        # A row that did not fit its columns: laid out by hand, it joins the others.
        beyond = [name for name in own if name not in table.columns and row[name]]
        original = json.loads(rejected["original"].iloc[place])
        after = {name: str(row.get(name, "")) for name in table.columns}
        if all(after.get(name, row.get(name, "")) == original.get(name, "") for name in {*own, *original}):
            continue
        if beyond:
            problems.append(
                Problem(
                    what="the mended row still has more cells than columns",
                    rule="each cell stands under a column of the source",
                    next_step="move the cells to their columns and empty the others",
                    file=mended_file,
                    row=number,
                    column=beyond[0],
                    value=row[beyond[0]],
                    code="mended_row_ragged",
                    private=True,
                )
            )
            continue
        if "sheet" in table.columns:
            after["sheet"] = str(rejected["sheet"].iloc[place])
        label = len(table) + len(added_rows)
        added_rows.append(after)
        added_file_rows.append(int(rejected["file_row"].iloc[place]))
        freed.append(place)
        cells += [
            (label, name, original.get(name, ""), after[name])
            for name in table.columns
            if name != "sheet" and after[name] != original.get(name, "")
        ]
    if problems:
        raise ProblemsError(problems, "The mended rows cannot be used")
    if added_rows:
        table = pd.concat([table, pd.DataFrame(added_rows, columns=table.columns)], ignore_index=True).astype("str")
        rejected = rejected.drop(index=rejected.index[freed]).reset_index(drop=True)
    file_row = np.concatenate([raw.file_row, np.asarray(added_file_rows, dtype=np.int64)])
    return Mending(
        raw=replace(raw, table=table, file_row=file_row, rejected=rejected),
        cells=pd.DataFrame(cells, columns=["label", "column", "before", "after"]),
    )


def mending_changes(mending: Mending, wells: pd.DataFrame, source: str) -> pd.DataFrame:
    """Return the mended cells as rows of the ledger; `record_id` is null where the row was held back again.

    Parameters
    ----------
    mending : Mending
    wells : pandas.DataFrame
        The converted wells, whose index holds the labels of ``raw.table``.
    source : str
    """
    cells, table = mending.cells, mending.raw.table
    if cells.empty:
        return empty_table(CHANGE_COLUMNS)
    rows = cells["label"].to_numpy(dtype=int)
    return pd.DataFrame(
        {
            "record_id": wells["record_id"].reindex(cells["label"]).astype(object).to_numpy(),
            "source": source,
            "sheet": table["sheet"].iloc[rows].to_numpy() if "sheet" in table else None,
            "file_row": mending.raw.file_row[rows],
            "column": cells["column"],
            "before": cells["before"],
            "after": cells["after"],
            "rule": "mended_by_hand",
            "why": "the row had been held back; somebody corrected the cell",
        }
    ).astype(CHANGE_COLUMNS)


def _find_rows(raw: RawTable, mended: pd.DataFrame) -> dict[str, tuple[str, int]]:
    """Return where each mended row stands in the source: by what it says, wherever it has moved."""
    wanted = set(mended[KEY].astype(str))
    found: dict[str, tuple[str, int]] = {}
    for place, (file, original) in enumerate(zip(raw.rejected["file"], raw.rejected["original"], strict=True)):
        key = row_key(file, original)
        if key in wanted:
            found.setdefault(key, ("rejected", place))
    rows_said = pd.to_numeric(mended[FILE_ROW], errors="coerce") if FILE_ROW in mended else pd.Series(dtype=float)
    nearby = np.flatnonzero(np.isin(raw.file_row, rows_said.dropna().to_numpy()))
    for places in (nearby, np.arange(len(raw.table))):
        if wanted <= found.keys():
            break
        for place, original in zip(places.tolist(), original_text(raw.table.iloc[places]), strict=True):
            key = row_key(raw.file, original)
            if key in wanted:
                found.setdefault(key, ("table", place))
    return found
