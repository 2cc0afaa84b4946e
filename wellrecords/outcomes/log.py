"""The firm's log of drilled wells: one CSV file, added to and never rewritten.

A new well is one line at the end of the file; the lines before it keep every
byte. A well that is taken back is moved, its line as it stands, to a file
beside the log. The new file is written beside the old one and switched in by
one atomic rename, and the old one is kept in a folder of backups. The columns
are those of the layout ``firm_outcomes``, so the file is a source like any
other when the dataset is refreshed. A log that was saved in a spreadsheet is
read as well, its dates 11/28/2026 and its numbers 1,305. It holds private
records: keep it with the firm.
"""

from __future__ import annotations

import csv
import io
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from difflib import get_close_matches
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.outcomes.drilled_well import (
    DEFAULTED,
    NUMBER_UNITS,
    OUTCOME_COLUMNS,
    READING_KINDS,
    READING_WORDS,
    DrilledWell,
    checked_well,
    fields_of,
)
from wellrecords.reading_words import DRY_BELOW_GPM
from wellrecords.readings import parse_readings
from wellrecords.typed_dates import DATE_RULE, typed_date
from wellrecords.typed_numbers import typed_number

FILED_AT = "filed_at"
"""The column of the time at which a line was filed: written by the filing, asked of nobody."""
LOG_COLUMNS = (*OUTCOME_COLUMNS, FILED_AT)
"""The columns of a new log."""
BACKUPS_KEPT = 20
_LOCK_WAIT_S = 5.0


def file_well(log_file: str | Path, well: DrilledWell | dict, *, filed_at: datetime | None = None) -> Path:
    """Add a drilled well to the firm's log.

    Parameters
    ----------
    log_file : path
        The log, such as ``outcomes.csv``; made with its header where it is
        absent. A log that already stands keeps its own order of columns, its
        delimiter, its encoding and every byte of its lines.
    well : DrilledWell or dict
        A dict is checked first.
    filed_at : datetime with a zone, optional
        By default now. A log without the column `filed_at` takes no time: an
        estimate of the day of drilling is then not counted.

    Returns
    -------
    pathlib.Path
        The backup of the log as it was; the log itself where it is new.

    Raises
    ------
    ProblemsError
        Every fault of the well, or of the log's header, at once; nothing is
        written.
    WellRecordsError
        Where the file cannot be written, or another filing holds it.
    """
    log_file = Path(log_file)
    checked = well if isinstance(well, DrilledWell) else checked_well(well)
    filed_at = datetime.now(UTC) if filed_at is None else filed_at.astimezone(UTC)
    try:
        log_file.parent.mkdir(parents=True, exist_ok=True)
        with _sole_writer(log_file):
            if not log_file.exists():
                _switch_in(log_file, _header().encode() + _line(checked, LOG_COLUMNS, ",", filed_at).encode())
                return log_file
            before = log_file.read_bytes()
            after = before + _addition(before, checked, log_file, filed_at)
            backup = _back_up(log_file, before)
            _switch_in(log_file, after)
            return backup
    except OSError as error:
        msg = (
            f"The log {log_file} cannot be written ({error.strerror or error}). Next: close it in the spreadsheet, "
            "check the folder's rights, and file the well again; nothing was changed."
        )
        raise WellRecordsError(msg) from error


def take_back(log_file: str | Path, well_id: str) -> Path:
    """Move a well's line out of the firm's log, to a file beside it.

    Parameters
    ----------
    log_file : path
    well_id : str

    Returns
    -------
    pathlib.Path
        The file to which the line was added as it stood, below the log's
        first line: ``<log>_taken_back.csv``, or one with a number where the
        log had other columns when the last one was taken back.

    Raises
    ------
    WellRecordsError
        Where the log does not hold the well, or holds it more than once, or a
        file cannot be written; nothing is changed.
    """
    log_file = Path(log_file)
    if not log_file.exists():
        msg = (
            f"There is no log of drilled wells {log_file}: no well was filed yet. Next: check `file` under [outcomes]."
        )
        raise WellRecordsError(msg)
    try:
        with _sole_writer(log_file):
            before = log_file.read_bytes()
            lines = before.splitlines(keepends=True)
            first, last = _lines_of(before, log_file, well_id)
            taken = b"".join(lines[first:last])
            beside, stands = _taken_back_file(log_file, lines[0])
            _back_up(log_file, before)
            # Added there before it is gone here: a run that is broken off leaves it in both, and loses nothing.
            _switch_in(beside, _ended(stands or lines[0]) + _ended(taken))
            _switch_in(log_file, b"".join([*lines[:first], *lines[last:]]))
            return beside
    except OSError as error:
        msg = (
            f"The well cannot be taken out of {log_file} ({error.strerror or error}). Next: close it in the "
            "spreadsheet, check the folder's rights, and try again; the log is as it was."
        )
        raise WellRecordsError(msg) from error


def _lines_of(raw: bytes, log_file: Path, well_id: str) -> tuple[int, int]:
    """Return from which line of the log up to which a well stands; a text in quotes may run over several."""
    text, _ = _decoded(raw)
    columns, delimiter = _columns(text, log_file)
    number = columns.index("well_id")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    places, names, start = [], [], 0
    for row in reader:
        name = row[number].strip() if len(row) > number else ""
        if start and name:
            names.append(name)
            if name == well_id.strip():
                places.append((start, reader.line_num))
        start = reader.line_num
    if len(places) == 1:
        return places[0]
    if places:
        rows = ", ".join(str(first + 1) for first, _ in places)
        msg = f"The well {well_id} stands in {log_file} more than once (lines {rows}). Next: mend the log by hand."
    else:
        close = get_close_matches(well_id, names, n=1)
        hint = f"did you mean {close[0]}?" if close else "look up its number in the log."
        msg = f"There is no well {well_id} in {log_file}: nothing was taken back. Next: {hint}"
    raise WellRecordsError(msg)


def _taken_back_file(log_file: Path, header: bytes) -> tuple[Path, bytes]:
    """Return the file for lines that are taken back, one with the columns of the log, and what it holds already."""
    for number in range(1, 1000):
        name = f"{log_file.stem}_taken_back{f'_{number}' if number > 1 else ''}{log_file.suffix}"
        beside = log_file.with_name(name)
        stands = beside.read_bytes() if beside.exists() else b""
        if not stands or stands.splitlines()[0] == header.rstrip(b"\r\n"):
            return beside, stands
    msg = f"There are too many files of wells taken back beside {log_file}. Next: move them elsewhere."
    raise WellRecordsError(msg)


def _ended(content: bytes) -> bytes:
    return content if content.endswith((b"\n", b"\r")) else content + b"\n"


def read_outcomes(log_file: str | Path, *, smallest_yield_gpm: float | None = None) -> pd.DataFrame:
    """Read the firm's log, its readings as intervals.

    Parameters
    ----------
    log_file : path
    smallest_yield_gpm : float, optional
        Upper end of a dry hole's yield; by default the smallest yield above 0
        that the log itself holds, `DRY_BELOW_GPM` at most.

    Returns
    -------
    pandas.DataFrame
        One row a well in order of drilling: `well_id`, `lot_id`, `drilled_on`,
        `longitude`, `latitude`, `total_depth_ft`, `hydrofractured`,
        `yield_method`, `water_zones`, `cost_usd`, `billed_usd` and
        ``<name>_low``/``<name>_high`` of rock, water and yield; `dry`, true
        where the hole was filed as dry or with a yield of 0; `filed_at`, null
        where the line does not say.

    Raises
    ------
    WellRecordsError
        If it is absent or is no such log.
    ProblemsError
        Every cell that cannot be read.
    """
    log_file = Path(log_file)
    try:
        raw = log_file.read_bytes()
    except FileNotFoundError as error:
        msg = f"There is no log of drilled wells {log_file}. Next: file the first well (`wellrecords file-well`)."
        raise WellRecordsError(msg) from error
    text, _ = _decoded(raw)
    columns, delimiter = _columns(text, log_file)
    rows = _rows(text, delimiter)
    problems = [
        Problem(
            what="a line of the log has more cells than columns",
            file=str(log_file),
            row=line,
            rule=f"a line has at most {len(columns)} cells",
            next_step="put a text that holds the delimiter between double quotes",
            code="outcome_cells",
        )
        for line, row in rows
        if len(row) > len(columns)
    ]
    if problems:
        raise ProblemsError(problems, "The log of drilled wells cannot be used")
    filled = [row + [""] * (len(columns) - len(row)) for _, row in rows]
    table = pd.DataFrame(filled, columns=columns, index=[line for line, _ in rows], dtype="str")
    return _as_intervals(table, log_file, smallest_yield_gpm)


def no_outcomes() -> pd.DataFrame:
    """Return the table of `read_outcomes` for a log that does not exist yet."""
    return _as_intervals(pd.DataFrame(columns=list(LOG_COLUMNS), dtype="str"), Path(), None)


def _as_intervals(table: pd.DataFrame, log_file: Path, smallest_yield_gpm: float | None) -> pd.DataFrame:
    problems: list[Problem] = []

    def faulty(column: str, wrong: np.ndarray, rule: str) -> None:
        problems.extend(
            Problem(
                what="a cell of the log cannot be read",
                file=str(log_file),
                row=int(table.index[place]),
                column=column,
                value=str(table[column].iloc[place]),
                rule=rule,
                next_step="mend the cell in the log",
                code="outcome_cell",
                private=True,
            )
            for place in np.flatnonzero(wrong).tolist()
        )

    def given(column: str) -> pd.Series:
        return table[column].str.strip() if column in table else pd.Series("", index=table.index, dtype="str")

    result = pd.DataFrame({column: given(column).astype("string") for column in ("well_id", "lot_id")})
    dates = pd.to_datetime(given("drilled_on").map(_date_or_none), errors="coerce")
    faulty("drilled_on", dates.isna().to_numpy(), DATE_RULE)
    result["drilled_on"] = dates
    for column in ("longitude", "latitude", "total_depth_ft", "cost_usd", "billed_usd"):
        values = given(column).map(partial(_number_or_nan, units=NUMBER_UNITS[column]))
        faulty(column, (values.isna() & (given(column) != "")).to_numpy(), "it is a number, as 305, 1,305 or 0.5")
        result[column] = values.astype(float)
    # Nothing but a time of the calendar is one: to_datetime would read "3" as a year.
    times = pd.to_datetime(given(FILED_AT), format="ISO8601", utc=True, errors="coerce")
    times = times.where(given(FILED_AT).str.contains("T", regex=False))
    faulty(
        FILED_AT,
        (times.isna() & (given(FILED_AT) != "")).to_numpy(),
        "the time of filing is written 2026-05-31T14:03:07Z, or left blank where it is not known",
    )
    result[FILED_AT] = times
    for column in ("hydrofractured", "yield_method", "water_zones"):
        result[column] = given(column).astype("string")
    for column, kind in READING_KINDS.items():
        readings = parse_readings(given(column), kind=kind, words=READING_WORDS.get(column))
        faulty(column, readings["unreadable"].to_numpy(), "readings are written 42, <0.5, >305, dry or flowing")
        result[f"{column}_low"], result[f"{column}_high"] = readings["low"], readings["high"]
        if column == "depth_to_bedrock_ft":
            unreached = readings["low"].isna() & np.isposinf(readings["high"])
            result.loc[unreached, f"{column}_low"] = result["total_depth_ft"]
        if column == "yield_gpm":
            _settle_dry_holes(result, smallest_yield_gpm)
    if problems:
        raise ProblemsError(problems, "The log of drilled wells cannot be used")
    return result.sort_values(["drilled_on", "well_id"], kind="stable", ignore_index=True)


def _date_or_none(text: str) -> date | None:
    try:
        return typed_date(text)
    except ValueError:
        return None


def _number_or_nan(text: str, units: tuple[str, ...]) -> float:
    try:
        return typed_number(text, units)
    except ValueError:
        return np.nan


def _settle_dry_holes(result: pd.DataFrame, smallest_yield_gpm: float | None) -> None:
    """Mark dry holes (a yield of 0, or "dry") and give them their upper end, in place."""
    low, high = result["yield_gpm_low"], result["yield_gpm_high"]
    dry = (low == 0) & (high.isna() | (high == 0))
    result["dry"] = dry
    reported = min(low[low > 0].min(), DRY_BELOW_GPM) if smallest_yield_gpm is None else smallest_yield_gpm
    result.loc[dry, "yield_gpm_high"] = 0.0 if pd.isna(reported) else reported


def _addition(before: bytes, well: DrilledWell, log_file: Path, filed_at: datetime) -> bytes:
    """Return the bytes that the well adds to a log that stands."""
    text, encoding = _decoded(before)
    columns, delimiter = _columns(text, log_file)
    number = columns.index("well_id")
    lines = {row[number].strip(): line for line, row in _rows(text, delimiter) if len(row) > number}
    problems = []
    if well.well_id in lines:
        problems.append(
            Problem(
                what="the well is in the log already",
                file=str(log_file),
                row=lines[well.well_id],
                column="well_id",
                value=well.well_id,
                rule="each well has its own number",
                next_step="give the new well its own number, or take the filed one back (--take-back) and file it anew",
                code="outcome_twice",
                private=True,
            )
        )
    fields = fields_of(well)
    problems += [
        Problem(
            what="the log has no column for a figure of this well",
            file=str(log_file),
            column=name,
            value=fields[name],
            rule="nothing that is filed may be lost",
            next_step=f"add the column {name} to the log's first line",
            code="outcome_column",
            private=True,
        )
        for name in OUTCOME_COLUMNS
        if fields[name] and name not in columns and name not in DEFAULTED
    ]
    line = _line(well, columns, delimiter, filed_at)
    newline = "\r\n" if "\r\n" in text else "\n"
    try:
        added = (("" if text.endswith(("\n", "\r")) else newline) + line.replace("\n", newline)).encode(encoding)
    except UnicodeEncodeError as error:
        problems.append(
            Problem(
                what="the log's encoding cannot hold a letter of this well",
                file=str(log_file),
                value=line[error.start : error.end],
                rule=f"the log is kept in {encoding}",
                next_step="save the log as UTF-8, or write the letter in another way",
                code="outcome_encoding",
                private=True,
            )
        )
    if problems:
        raise ProblemsError(problems, "The well cannot be filed")
    return added


def _line(well: DrilledWell, columns: tuple[str, ...] | list[str], delimiter: str, filed_at: datetime) -> str:
    written = io.StringIO()
    fields = fields_of(well) | {FILED_AT: filed_at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")}
    csv.writer(written, delimiter=delimiter, lineterminator="\n").writerow([fields.get(name, "") for name in columns])
    return written.getvalue()


def _header() -> str:
    return ",".join(LOG_COLUMNS) + "\n"


def _decoded(raw: bytes) -> tuple[str, str]:
    """Return the log's text and the encoding in which a line must be added to it."""
    try:
        return raw.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace"), "cp1252"


def _columns(text: str, log_file: Path) -> tuple[list[str], str]:
    first = text.split("\n", 1)[0].rstrip("\r")
    delimiter = max(",;\t", key=first.count)
    columns = [name.strip() for name in next(csv.reader([first], delimiter=delimiter), [])]
    absent = [name for name in ("well_id", "drilled_on", "total_depth_ft") if name not in columns]
    twice = sorted({name for name in columns if columns.count(name) > 1})
    if absent or twice:
        msg = (
            f"{log_file} is no log of drilled wells: its first line lacks {', '.join(absent)}."
            if absent
            else f"{log_file} has the column {twice[0]} twice."
        )
        msg += " Next: name another file, or mend its first line."
        raise WellRecordsError(msg)
    return columns, delimiter


def _rows(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Return the log's rows below its first, blank ones left out, each with the line on which it ends."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    return [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)][1:]


@contextmanager
def _sole_writer(log_file: Path) -> Iterator[None]:
    """Hold a lock file beside the log while it is changed."""
    lock = log_file.with_name(log_file.name + ".lock")
    deadline = time.monotonic() + _LOCK_WAIT_S
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            break
        except FileExistsError as error:
            if time.monotonic() > deadline:
                msg = (
                    f"Another filing holds {log_file}, or one was broken off. Next: wait, or delete {lock} when no "
                    "other filing runs."
                )
                raise WellRecordsError(msg) from error
            time.sleep(0.05)
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)


def _back_up(log_file: Path, content: bytes) -> Path:
    """Keep the log as it was; the oldest copies beyond `BACKUPS_KEPT` go."""
    folder = log_file.with_name(log_file.stem + "_backups")
    folder.mkdir(exist_ok=True)
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    backup = folder / f"{log_file.stem}_{stamp}{log_file.suffix}"
    _switch_in(backup, content)
    for old in sorted(folder.glob(f"{log_file.stem}_*{log_file.suffix}"))[:-BACKUPS_KEPT]:
        old.unlink()
    return backup


def _switch_in(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
