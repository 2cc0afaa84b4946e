"""The ledger's tables."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from wellrecords.errors import WellRecordsError
from wellrecords.ledger import (
    CHANGE_COLUMNS,
    HELD_BACK_COLUMNS,
    change_rows,
    check_rows,
    held_back_rows,
    interval_text,
    stack,
)


def test_change_rows_keep_text_and_null():
    records = pd.DataFrame({"record_id": ["a:1", "a:2"], "source": "a", "file_row": [2, 3]})
    rows = change_rows(records, "total_depth_ft", before=["0", "0.0"], after=[np.nan, 5.0], rule="zero", why="because")
    assert list(rows.columns) == list(CHANGE_COLUMNS)
    assert rows["before"].tolist() == ["0", "0.0"]
    assert rows["after"].isna().tolist() == [True, False]
    assert rows["after"].iloc[1] == "5"


def test_held_back_rows_keep_the_original_text_whatever_it_is():
    raw = pd.DataFrame({"Név": ['É "quoted", {{x}}', ""], "depth": ["1'6\"", None]}, dtype="str")
    rows = held_back_rows(raw, source="s", file="f.csv", file_row=[2, 3], reason="r", why=["x", "y"])
    assert list(rows.columns) == list(HELD_BACK_COLUMNS)
    assert json.loads(rows["original"].iloc[0]) == {"Név": 'É "quoted", {{x}}', "depth": "1'6\""}
    assert json.loads(rows["original"].iloc[1]) == {}


def test_intervals_in_words():
    low = np.array([0.0, 90.0, -np.inf, 2.5, np.nan, -3.0])
    high = np.array([0.5, np.inf, 0.0, 2.5, np.nan, -3.0])
    assert interval_text(low, high).tolist() == ["0 to 0.5", "90 or more", "0 or less", "2.5", None, "-3"]


def test_stack_of_nothing_has_the_columns_and_types():
    empty = stack([], CHANGE_COLUMNS)
    assert list(empty.columns) == list(CHANGE_COLUMNS)
    assert str(empty["file_row"].dtype) == "int64"


def test_rows_must_add_up():
    check_rows(10, kept=7, merged=1, held_back=2)
    with pytest.raises(WellRecordsError, match="10 read"):
        check_rows(10, kept=7, merged=1, held_back=1)
