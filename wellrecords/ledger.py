"""The ledger: what was changed, what was held back, what was merged.

Three tables that open in a spreadsheet. Together with the wells they account
for every row that was read: rows read = rows kept + rows merged + rows held
back, which `check_rows` proves at the end of each stage.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import pandas as pd

from wellrecords.errors import WellRecordsError
from wellrecords.schema import NUMBER, TEXT, empty_table

ROW = "int64"

CHANGE_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "source": TEXT,
    "sheet": TEXT,
    "file_row": ROW,
    "column": TEXT,
    "before": TEXT,
    "after": TEXT,
    "rule": TEXT,
    "why": TEXT,
}
"""One row a changed value: the text before, the value after, the rule's name, and why.

`sheet` is null but for a workbook with several sheets, each of which counts its own rows."""

HELD_BACK_COLUMNS: dict[str, str] = {
    "source": TEXT,
    "file": TEXT,
    "sheet": TEXT,
    "file_row": ROW,
    "reason": TEXT,
    "why": TEXT,
    "original": TEXT,
}
"""One row a row that was held back: `original` is its text, column by column, as JSON."""

MERGED_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "kept_record_id": TEXT,
    "source": TEXT,
    "source_record_id": TEXT,
    "score": NUMBER,
    "why": TEXT,
}
"""One row a record that was merged into another."""


def change_rows(
    records: pd.DataFrame,
    column: str,
    *,
    before: Sequence[object] | pd.Series | np.ndarray | None,
    after: Sequence[object] | pd.Series | np.ndarray | str | None,
    rule: str | Sequence[str] | pd.Series | np.ndarray,
    why: str | Sequence[str] | pd.Series | np.ndarray,
) -> pd.DataFrame:
    """Return ledger rows for one changed column of some records.

    Parameters
    ----------
    records : pandas.DataFrame
        The changed records: `record_id`, `source`, `file_row` and, where it is there, `sheet` are read.
    column : str
        The canonical column that was changed (an interval is named without
        `_low` and `_high`).
    before, after : sequence or None
        One value a record; written as text, null stays null.
    rule, why : str or sequence of str
        The rule's short name and the reason in words, for all or for each.

    Returns
    -------
    pandas.DataFrame
        The columns of `CHANGE_COLUMNS`.
    """
    table = pd.DataFrame(
        {
            "record_id": np.asarray(records["record_id"], dtype=object),
            "source": np.asarray(records["source"], dtype=object),
            "sheet": np.asarray(records["sheet"], dtype=object) if "sheet" in records else None,
            "file_row": np.asarray(records["file_row"], dtype=ROW),
        }
    )
    table["column"] = column
    table["before"] = as_text(before, len(table))
    table["after"] = as_text(after, len(table))
    table["rule"] = np.asarray(rule, dtype=object) if not isinstance(rule, str) else rule
    table["why"] = np.asarray(why, dtype=object) if not isinstance(why, str) else why
    return table.astype(CHANGE_COLUMNS)


def as_text(values: Sequence[object] | pd.Series | np.ndarray | str | None, length: int) -> pd.Series:
    """Return values as text, numbers in their shortest exact form, null as null.

    Parameters
    ----------
    values : sequence, str or None
        One a row, or one for all.
    length : int
        How many rows.

    Returns
    -------
    pandas.Series
        Of dtype "string".

    Examples
    --------
    >>> as_text([1.0, 2.5, None], 3).tolist()
    ['1', '2.5', <NA>]
    """
    if values is None or isinstance(values, str):
        return pd.Series([values] * length, dtype=TEXT)
    series = pd.Series(np.asarray(values, dtype=object) if not isinstance(values, pd.Series) else values.to_numpy())
    codes, uniques = pd.factorize(series)
    words = np.array([_word(value) for value in uniques] + [None], dtype=object)
    return pd.Series(words[codes], dtype=TEXT)


def _word(value: object) -> str:
    if isinstance(value, (float, np.floating)):
        return repr(int(value)) if float(value).is_integer() else repr(float(value))
    return str(value)


def interval_text(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return intervals as a person writes them, null where both ends are.

    Parameters
    ----------
    low, high : ndarray of float, shape (n,)

    Returns
    -------
    ndarray of object, shape (n,)

    Examples
    --------
    >>> interval_text(np.array([5.0, 100.0, -np.inf, np.nan]), np.array([5.0, np.inf, 0.0, np.nan])).tolist()
    ['5', '100 or more', '0 or less', None]
    """
    pairs = pd.MultiIndex.from_arrays([np.asarray(low, dtype=float), np.asarray(high, dtype=float)])
    codes, uniques = pd.factorize(pairs)
    words = np.array([_interval_word(a, b) for a, b in uniques] + [None], dtype=object)
    return words[codes]


def _interval_word(low: float, high: float) -> str | None:
    if np.isnan(low) or np.isnan(high):
        return None
    if low == high:
        return _word(low)
    if np.isposinf(high):
        return f"{_word(low)} or more"
    if np.isneginf(low):
        return f"{_word(high)} or less"
    return f"{_word(low)} to {_word(high)}"


def held_back_rows(
    rows: pd.DataFrame,
    *,
    source: str,
    file: str,
    file_row: Sequence[int] | np.ndarray,
    reason: str | Sequence[str] | np.ndarray,
    why: str | Sequence[str] | np.ndarray,
) -> pd.DataFrame:
    """Return held-back rows, each with its original text as one JSON object.

    Parameters
    ----------
    rows : pandas.DataFrame
        The rows as they were read: text columns under the file's own names,
        and `sheet` where a workbook has several.
    source, file : str
        Name of the source, and of its file (not its folder).
    file_row : sequence of int
        The line of the file, or the row of the sheet, the first being 1.
    reason, why : str or sequence of str
        A stable short code, and the reason in words, for all or for each.

    Returns
    -------
    pandas.DataFrame
        The columns of `HELD_BACK_COLUMNS`.
    """
    table = pd.DataFrame({"file_row": np.asarray(file_row, dtype=ROW)})
    table["source"] = source
    table["file"] = file
    table["sheet"] = rows["sheet"].to_numpy(dtype=object) if "sheet" in rows else None
    table["reason"] = np.asarray(reason, dtype=object) if not isinstance(reason, str) else reason
    table["why"] = np.asarray(why, dtype=object) if not isinstance(why, str) else why
    table["original"] = original_text(rows)
    return table[list(HELD_BACK_COLUMNS)].astype(HELD_BACK_COLUMNS)


def original_text(rows: pd.DataFrame) -> np.ndarray:
    """Return each row as a JSON object of column name to text, blank cells left out.

    Parameters
    ----------
    rows : pandas.DataFrame
        Text columns.

    Returns
    -------
    ndarray of object, shape (n,)
    """
    names = [str(name) for name in rows.columns]
    cells = rows.astype(object).where(rows.notna(), None).to_numpy()
    return np.array(
        [
            json.dumps(
                {name: str(cell) for name, cell in zip(names, row, strict=True) if cell not in (None, "")},
                ensure_ascii=False,
            )
            for row in cells
        ],
        dtype=object,
    )


def stack(tables: Sequence[pd.DataFrame], columns: dict[str, str]) -> pd.DataFrame:
    """Return ledger tables as one, with a fresh index; no tables give an empty one.

    Parameters
    ----------
    tables : sequence of pandas.DataFrame
        Each with `columns`.
    columns : dict of str to str
        `CHANGE_COLUMNS`, `HELD_BACK_COLUMNS` or `MERGED_COLUMNS`.

    Returns
    -------
    pandas.DataFrame
    """
    filled = [table for table in tables if len(table)]
    if not filled:
        return empty_table(columns)
    return pd.concat(filled, ignore_index=True)[list(columns)].astype(columns)


def check_rows(rows_read: int, *, kept: int, merged: int = 0, held_back: int = 0) -> None:
    """Prove that no row was lost.

    Parameters
    ----------
    rows_read, kept, merged, held_back : int

    Raises
    ------
    WellRecordsError
        Where rows read are not rows kept + merged + held back.
    """
    if rows_read != kept + merged + held_back:
        msg = (
            f"The rows do not add up: {rows_read:,} read, but {kept:,} kept + {merged:,} merged + {held_back:,} held "
            f"back = {kept + merged + held_back:,}. Nothing was written; this is a fault of the program, please report."
        )
        raise WellRecordsError(msg)
