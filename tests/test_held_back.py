import csv
import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.held_back import OUR_COLUMNS, guard, held_back_csv, mend, read_mended, unguard
from wellrecords.ledger import held_back_rows
from wellrecords.sources import RawTable


def raw_table(*rows: dict[str, str], rejected: pd.DataFrame | None = None) -> RawTable:
    table = pd.DataFrame(list(rows), dtype="str")
    extra = {} if rejected is None else {"rejected": rejected}
    return RawTable(table=table, file_row=np.arange(2, len(rows) + 2), file="log.csv", **extra)


def held(raw: RawTable, *labels: int) -> pd.DataFrame:
    rows = list(labels)
    return held_back_rows(
        raw.table.loc[rows],
        source="firm",
        file=raw.file,
        file_row=raw.file_row[rows],
        reason="unreadable_reading",
        why="no rule can read it",
    )


ROWS = (
    {"Job": "1", "Depth": "3O0", "Notes": "=HYPERLINK(1)"},
    {"Job": "2", "Depth": "200", "Notes": "fine"},
    {"Job": "3", "Depth": "1-5", "Notes": "-12.5"},
    {"Job": "4", "Depth": "", "Notes": 'says "no, none"\nat all'},
)


@settings(deadline=None)
@given(st.text(max_size=30))
def test_what_is_guarded_is_read_back_as_it_was_and_starts_no_formula(text):
    shown = guard(text)
    assert (unguard(shown) if shown != text or text.startswith("'") else shown) == text
    assert unguard(guard(text)) == text
    number = shown.lstrip("-").replace(".", "", 1).isdigit()
    assert not shown or shown[0] not in "=+-@\t\r" or number


@pytest.mark.parametrize(
    "text", ["1-5", "3/4", "May 5", "007", "1e5", "12'6\"", "2014-06-01", "0.50", "+5", "=1", "@x", "-x"]
)
def test_what_a_spreadsheet_would_rewrite_or_run_is_guarded(text):
    assert guard(text) == f"'{text}"


@pytest.mark.parametrize("text", ["granite", "200", "-71.25", "0", "0.5", "", "Mayfield Road", "30051969"])
def test_plain_words_and_numbers_are_left_as_they_are(text):
    assert guard(text) == text


def test_the_file_opens_in_a_spreadsheet_and_says_why():
    raw = raw_table(*ROWS)
    data = held_back_csv(held(raw, 0, 3))
    assert data.startswith(b"\xef\xbb\xbf")
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert [row["in_row"] for row in rows] == ["2", "5"]
    assert rows[0]["held_back_because"] == "unreadable_reading"
    assert rows[0]["Notes"] == "'=HYPERLINK(1)"
    assert rows[1]["Notes"] == 'says "no, none"\nat all'


def test_the_file_has_every_column_of_the_source_in_its_order_though_all_held_back_rows_leave_it_blank():
    raw = raw_table(*({"Lat": "", **row, "Lon": ""} for row in ROWS))
    heading = held_back_csv(held(raw, 3, 0), list(raw.table.columns)).decode("utf-8-sig").splitlines()[0].split(",")
    assert heading[len(OUR_COLUMNS) :] == ["Lat", "Job", "Depth", "Notes", "Lon"]


def saved(path, data: bytes, change) -> pd.DataFrame:
    """Open, change and save the file as a spreadsheet does, with semicolons and in cp1252."""
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    change(rows)
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=";").writerows(rows)
    path.write_bytes(out.getvalue().encode("cp1252"))
    return read_mended(path)


def test_a_mended_cell_takes_the_place_of_the_one_that_was_read(tmp_path):
    raw = raw_table(*ROWS)

    def change(rows):
        rows[1][rows[0].index("Depth")] = "300"

    mended = saved(tmp_path / "mended.csv", held_back_csv(held(raw, 0, 2)), change)
    result = mend(raw, mended, "mended.csv")
    assert result.raw.table["Depth"].tolist() == ["300", "200", "1-5", ""]
    assert result.raw.table["Notes"].tolist() == [row["Notes"] for row in ROWS]
    assert result.cells.to_numpy().tolist() == [[0, "Depth", "3O0", "300"]]
    assert result.rows == 1
    assert result.raw.rows_read == raw.rows_read


def test_the_row_is_found_where_it_has_moved_to(tmp_path):
    raw = raw_table(*ROWS)

    def change(rows):
        rows[1][rows[0].index("Depth")] = "300"

    mended = saved(tmp_path / "mended.csv", held_back_csv(held(raw, 0)), change)
    moved = raw_table(ROWS[3], ROWS[1], ROWS[0])
    assert mend(moved, mended, "mended.csv").raw.table["Depth"].tolist() == ["", "200", "300"]


def test_a_row_that_is_gone_from_the_source_is_told(tmp_path):
    raw = raw_table(*ROWS)
    mended = saved(tmp_path / "mended.csv", held_back_csv(held(raw, 0)), lambda rows: None)
    with pytest.raises(ProblemsError, match="not in the source any more"):
        mend(raw_table(*ROWS[1:]), mended, "mended.csv")


def test_a_row_that_did_not_fit_its_columns_is_laid_out_by_hand(tmp_path):
    rejected = held_back_rows(
        pd.DataFrame([{"Job": "9", "Depth": "250", "Notes": "a", "beyond the last column (1)": "b"}]),
        source="firm", file="log.csv", file_row=[6], reason="ragged_row", why="4 cells for 3 columns",
    )  # fmt: skip
    raw = raw_table(*ROWS, rejected=rejected)
    assert raw.rows_read == 5
    data = held_back_csv(rejected)
    untouched = mend(raw, saved(tmp_path / "a.csv", data, lambda rows: None), "a.csv")
    assert untouched.rows == 0
    assert len(untouched.raw.rejected) == 1

    def change(rows):
        rows[1][rows[0].index("Notes")] = "a, b"
        rows[1][rows[0].index("beyond the last column (1)")] = ""

    result = mend(raw, saved(tmp_path / "b.csv", data, change), "b.csv")
    assert result.raw.table.iloc[4].tolist() == ["9", "250", "a, b"]
    assert result.raw.file_row[4] == 6
    assert result.raw.rejected.empty
    assert result.raw.rows_read == 5

    def half(rows):
        rows[1][rows[0].index("Notes")] = "a, b"

    with pytest.raises(ProblemsError, match="more cells than columns"):
        mend(raw, saved(tmp_path / "c.csv", data, half), "c.csv")


def test_a_file_that_is_no_mended_file_is_said_clearly(tmp_path):
    with pytest.raises(WellRecordsError, match="no file"):
        read_mended(tmp_path / "absent.csv")
    (tmp_path / "other.csv").write_text("a,b\n1,2\n")
    with pytest.raises(WellRecordsError, match="row_key"):
        read_mended(tmp_path / "other.csv")


@pytest.mark.parametrize("name", ["semicolons.csv", "utf16.txt", "book.xlsx", "book.ods"])
def test_a_file_that_a_spreadsheet_has_saved_is_read_back(tmp_path, name):
    """Semicolons and cp1252, tabs and UTF-16, a workbook whose cells became numbers and lost their apostrophes."""
    raw = raw_table(*ROWS[:3], {"Job": "5", "Depth": "2OO", "Notes": "Größe – ½"})
    rows = list(csv.reader(io.StringIO(held_back_csv(held(raw, 2, 3)).decode("utf-8-sig"))))
    for row in rows[1:]:
        row[rows[0].index("Depth")] = "300"
    path, text = tmp_path / name, io.StringIO(newline="")
    csv.writer(text, delimiter="\t" if name == "utf16.txt" else ";", lineterminator="\r\n").writerows(rows)
    if name.startswith("book"):
        plain = [[cell.removeprefix("'") for cell in row] for row in rows]
        cells = [
            plain[0],
            *([float(cell) if cell in ("3", "5", "300", "-12.5") else cell for cell in row] for row in plain[1:]),
        ]
        pd.DataFrame(cells[1:], columns=cells[0]).to_excel(path, index=False)
    else:
        path.write_bytes(text.getvalue().encode("utf-16" if name == "utf16.txt" else "cp1252"))
    result = mend(raw, read_mended(path), name)
    assert result.cells[["label", "column", "before", "after"]].to_numpy().tolist() == [
        [2, "Depth", "1-5", "300"],
        [3, "Depth", "2OO", "300"],
    ]
