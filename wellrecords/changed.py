"""What a refresh changed and flagged in the rows that it kept, out to a spreadsheet.

The ledger's `changes` and `flags` are tables of the dataset. A firm that asks
what became of its own log reads them row by row beside the file; this puts
the two into one table in the order of the file.
"""

from __future__ import annotations

import csv
import io

import pandas as pd

from wellrecords.held_back import guard

CHANGED_COLUMNS = ("source", "sheet", "file_row", "record_id", "column", "done", "before", "after", "rule", "why")
"""`done` is "changed" or "flagged"; what is only flagged has no `after`: it stands as it was."""


def changed_table(changes: pd.DataFrame, flags: pd.DataFrame) -> pd.DataFrame:
    """Return changes and flags as one table, in the order of the files.

    Parameters
    ----------
    changes : DataFrame
        `ledger.CHANGE_COLUMNS`.
    flags : DataFrame
        `record_id`, `source`, `column`, `value`, `rule`, `why`. A flag knows
        its record; the row of the file is taken from a change of the same
        record in the same source, if there is one.

    Returns
    -------
    DataFrame
        `CHANGED_COLUMNS`, text but for `file_row` (nullable whole numbers).
    """
    rows = changes.drop_duplicates(["record_id", "source"])[["record_id", "source", "sheet", "file_row"]]
    flagged = flags.rename(columns={"value": "before"}).merge(rows, on=["record_id", "source"], how="left")
    both = pd.concat([changes.assign(done="changed"), flagged.assign(done="flagged", after="")], ignore_index=True)
    text = [name for name in CHANGED_COLUMNS if name != "file_row"]
    both[text] = both[text].astype(object).fillna("").astype(str)
    both["file_row"] = both["file_row"].astype("Int64")
    order = ["source", "sheet", "file_row", "column"]
    return both.sort_values(order, kind="stable", ignore_index=True)[list(CHANGED_COLUMNS)]


def changed_csv(table: pd.DataFrame) -> bytes:
    """Return a table of `changed_table` as a CSV file, of which no cell is run or rewritten by a spreadsheet.

    Returns
    -------
    bytes
        UTF-8 with a byte-order mark.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(CHANGED_COLUMNS)
    texts = table.astype(object).where(table.notna(), "").astype(str)
    for row in texts.to_numpy().tolist():
        writer.writerow([guard(cell) for cell in row])
    return out.getvalue().encode("utf-8-sig")
