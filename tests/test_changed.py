"""Changes and flags as one table, in the order of the files."""

import csv
import io

import pandas as pd

from wellrecords.changed import CHANGED_COLUMNS, changed_csv, changed_table
from wellrecords.ledger import CHANGE_COLUMNS

CHANGES = pd.DataFrame(
    [
        ("log:b", "log", None, 9, "total_depth_ft", "=1+1", "2", "figure", "a sum was written"),
        ("log:a", "log", None, 3, "drilled_on", "August 1982", "1982-08-01", "date_not_to_the_day", "no day is given"),
    ],
    columns=list(CHANGE_COLUMNS),
)
FLAGS = pd.DataFrame(
    {
        "record_id": ["log:a", "state:7"],
        "source": ["log", "state"],
        "column": ["yield_gpm", "total_depth_ft"],
        "value": ["900", "4000"],
        "rule": ["outlier", "outlier"],
        "why": ["far above those around", "far below those around"],
    }
)


def test_changes_and_flags_stand_in_the_order_of_the_file():
    table = changed_table(CHANGES, FLAGS)
    assert list(table["record_id"]) == ["log:a", "log:a", "log:b", "state:7"]
    assert list(table["done"]) == ["changed", "flagged", "changed", "flagged"]


def test_a_flag_takes_its_row_from_a_change_of_the_same_record_or_has_none():
    flagged = changed_table(CHANGES, FLAGS).query("done == 'flagged'").set_index("record_id")
    assert flagged.loc["log:a", "file_row"] == 3
    assert pd.isna(flagged.loc["state:7", "file_row"])
    assert flagged.loc["log:a", "before"] == "900"
    assert flagged.loc["log:a", "after"] == ""


def test_no_cell_of_the_file_is_run_by_a_spreadsheet():
    rows = list(csv.reader(io.StringIO(changed_csv(changed_table(CHANGES, FLAGS)).decode("utf-8-sig"))))
    assert rows[0] == list(CHANGED_COLUMNS)
    assert len(rows) == 5
    assert "'=1+1" in rows[3]
    assert rows[4][2] == ""


def test_without_changes_or_flags_the_table_is_empty():
    assert changed_table(CHANGES.head(0), FLAGS.head(0)).empty
