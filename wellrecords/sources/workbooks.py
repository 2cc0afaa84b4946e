"""Workbooks (XLSX, XLS, ODS): title rows, two-row headers, several sheets, merged cells."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Collection
from dataclasses import replace

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.layout import FileRules
from wellrecords.sources.raw import Header, RawTable, blank_note, find_header, lay_out, stack_tables


def read_workbook(data: bytes, rules: FileRules, *, known: Collection[str] | None, file: str, source: str) -> RawTable:
    """Read every sheet that holds the layout's columns.

    Cells come as text: a whole number without its ".0", a date in ISO form.
    A merged cell's content counts for each cell beneath it.

    Parameters
    ----------
    data : bytes
    rules : FileRules
    known : collection of str or None
        Tidied names that the layout knows.
    file, source : str

    Returns
    -------
    RawTable
        The sheets one after another; with several, each row's sheet stands
        in a column "sheet".
    """
    from python_calamine import CalamineError, load_workbook

    try:
        workbook = load_workbook(io.BytesIO(data))
        names = list(rules.sheets) or workbook.sheet_names
        missing = [name for name in names if name not in workbook.sheet_names]
        if missing:
            problems = [
                Problem(
                    what="the workbook has no such sheet",
                    rule="every sheet that the layout names is there",
                    next_step=f"choose among: {', '.join(workbook.sheet_names)}",
                    file=file,
                    value=name,
                    code="no_sheet",
                )
                for name in missing
            ]
            raise ProblemsError(problems)
        sheets = {name: _cells(workbook.get_sheet_by_name(name)) for name in names}
    except CalamineError as error:
        msg = f"{file} cannot be read as a workbook ({error}). Open it in a spreadsheet and save it again as .xlsx."
        raise WellRecordsError(msg) from error
    headers: dict[str, Header] = {}
    last_error: ProblemsError | None = None
    for name, rows in sheets.items():
        try:
            headers[name] = find_header(rows, known, rules.header_rows, f"{file}, sheet {name}")
        except ProblemsError as error:
            last_error = error
    # A sheet of notes may hold one of the names by chance: it has far fewer of them than the sheets of wells.
    most = max((_known_names(header, known) for header in headers.values()), default=0)
    named = {name for name, header in headers.items() if rules.sheets or 2 * _known_names(header, known) >= most}
    tables, passed_over = [], [name for name in sheets if name not in named]
    for name, rows in sheets.items():
        if name not in named:
            continue
        header = headers[name]
        below = header.first + header.rows
        raw, blank = lay_out(rows[below:], range(below + 1, len(rows) + 1), header, file=file, source=source)
        if len(sheets) > 1:
            table = raw.table.assign(sheet=name).astype("str")
            raw = replace(raw, table=table, rejected=raw.rejected.assign(sheet=name))
        tables.append(replace(raw, notes=(f"sheet {name!r}: column names in row {below}", *blank_note(blank))))
    if not tables:
        msg = f"{file} has no sheet with rows."
        raise last_error or WellRecordsError(msg)
    stacked = stack_tables(tables, file)
    if passed_over:
        note = f"without the layout's columns and passed over: {', '.join(passed_over)}"
        stacked = replace(stacked, notes=(*stacked.notes, note))
    return stacked


def _known_names(header: Header, known: Collection[str] | None) -> int:
    names = {tidy_name(name) for name in header.names}
    return len(names if known is None else names & set(known))


def _cells(sheet: object) -> list[list[str]]:
    rows = [[cell_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]  # type: ignore[attr-defined]
    for (top, left), (bottom, right) in getattr(sheet, "merged_cell_ranges", None) or ():
        for row in rows[top : bottom + 1]:
            row[left : right + 1] = [rows[top][left]] * len(row[left : right + 1])
    return rows


def cell_text(cell: object) -> str:
    """Return a cell's value as the text that a person would have typed.

    Examples
    --------
    >>> cell_text(12.0), cell_text(0.1), cell_text(True), cell_text(None)
    ('12', '0.1', 'TRUE', '')
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(sep=" ")
    if isinstance(cell, (dt.date, dt.time)):
        return cell.isoformat()
    return str(cell)
