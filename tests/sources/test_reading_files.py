"""Files of every kind come out as the same rows of text."""

from __future__ import annotations

import csv
import gzip
import io
import json
import zipfile

import geopandas as gpd
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from shapely.geometry import Point

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.sources import read_source, text_files
from wellrecords.sources.layout import FileRules, parse_layout
from wellrecords.sources.text_files import find_delimiter, read_delimited
from wellrecords.sources.workbooks import read_workbook

LAYOUT = """
name = "small"
{file}
[text]
source_record_id = {{ from = "No" }}
owner = {{ from = "Owner", optional = true }}
[readings.total_depth_ft]
from = ["Depth", "Depth ft", "Well Depth (ft)"]
zero = "unknown"
[[positions]]
kind = "{kind}"
x = ["Lon"]
y = ["Lat"]
"""
ROWS = [
    ["No", "Owner", "Depth", "Lon", "Lat"],
    ["1", "Åse Øhr", "305", "-70.1", "45.2"],
    ["2", 'B; "Bo", C', "12'6\"", "-70.2", "45.3"],
]


def layout(file: str = "", kind: str = "degrees"):
    return parse_layout(LAYOUT.format(file=file, kind=kind))


def as_text(rows=ROWS, delimiter=",") -> str:
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def check(raw, rows=ROWS):
    assert raw.table[rows[0]].to_numpy().tolist() == rows[1:]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_delimiters_encodings_and_line_ends(tmp_path, delimiter, encoding, ends):
    path = tmp_path / "wells.csv"
    path.write_bytes(as_text(delimiter=delimiter).replace("\n", ends).encode(encoding))
    raw = read_source(path, layout())
    check(raw)
    assert raw.file_row.tolist() == [2, 3]
    assert raw.rows_read == 2


def test_packed_text(tmp_path):
    data = as_text().encode()
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(data))
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        archive.writestr("folder/wells.tsv", as_text(delimiter="\t"))
        archive.writestr("read me.md", "see the table")
    check(read_source(tmp_path / "a.csv.gz", layout()))
    check(read_source(tmp_path / "b.zip", layout()))


def test_the_encoding_that_the_layout_names_must_be_right(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_bytes(as_text().encode("cp1252"))
    with pytest.raises(WellRecordsError, match=r"wells\.csv is not utf-8 text"):
        read_source(path, layout('[file]\nencoding = "utf-8"'))


def test_bytes_that_no_encoding_explains_are_read_all_the_same():
    data = as_text([ROWS[0], ["1", "naïve Größe ", "5", "", ""]]).encode("cp1252") + b"2,\x81,5,,\n"
    raw = read_delimited(lambda: io.BytesIO(data), FileRules(), known=None, file="f", source="s")
    assert raw.rows_read == 2
    assert "cp1252" not in raw.notes[0]


def test_title_rows_above_and_blank_lines_between(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text(
        "Well log of the firm\n\nDepth in feet,,,\n" + as_text([ROWS[0], ROWS[1]]) + "\n,,,,\n" + as_text([ROWS[2]])
    )
    raw = read_source(path, layout())
    check(raw)
    assert raw.file_row.tolist() == [5, 8]
    assert any("2 blank lines skipped" in note for note in raw.notes)


def test_a_line_break_inside_quotes_keeps_the_count_of_lines(tmp_path):
    path = tmp_path / "wells.csv"
    rows = [ROWS[0], ["1", "first\nsecond\nthird", "10", "-70.1", "45.2"], ROWS[2]]
    path.write_text(as_text(rows))
    raw = read_source(path, layout())
    check(raw, rows)
    assert raw.file_row.tolist() == [2, 5]


def test_a_row_that_does_not_fit_is_held_back_with_its_text(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text(
        as_text() + "3,Smith, John,50,-70.1,45.2\n4,cut off\n" + "5,fits,60,-70.1,45.2,,,\n" + as_text([ROWS[0]])
    )
    raw = read_source(path, layout())
    assert raw.table["No"].tolist() == ["1", "2", "5"]
    assert raw.rejected["reason"].tolist() == ["ragged_row", "ragged_row", "repeated_header"]
    assert raw.rejected["file_row"].tolist() == [4, 5, 7]
    original = json.loads(raw.rejected["original"].iloc[0])
    assert list(original.values()) == ["3", "Smith", " John", "50", "-70.1", "45.2"]
    assert raw.rows_read == 6


cells = (
    st.text(st.characters(codec="utf-8", exclude_characters="\x00\r"), max_size=12)
    .map(str.strip)
    .filter(lambda text: not ("\n" in text and set(text) & set(",;\t|")))  # which would look like rows of their own
)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.lists(cells, min_size=1, max_size=7), max_size=12),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_every_row_of_any_file_is_read_or_rejected_or_blank(rows, delimiter, encoding):
    data = as_text([["No", "Owner", "Depth", "Lon", "Lat"], *rows], delimiter).encode(encoding)
    rules = FileRules(delimiter=delimiter)
    raw = read_delimited(lambda: io.BytesIO(data), rules, known=layout().known_names(), file="f.csv", source="s")
    blank = sum(not any(cell.strip() for cell in row) for row in rows)
    assert raw.rows_read + blank == len(rows)
    fitting = [row for row in rows if len(row) == 5 and any(row) and row != ["No", "Owner", "Depth", "Lon", "Lat"]]
    assert [row for row in raw.table.to_numpy().tolist() if row in fitting] == fitting
    lines = data.decode(encoding).splitlines()
    assert raw.file_row.max(initial=0) <= max(len(lines), data.decode(encoding).count("\n"))


cell = st.sampled_from(["", "5", "a, b", 'say "no"', "two\nlines", "Å", "305", " "])


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.lists(cell, min_size=4, max_size=6), min_size=1, max_size=30),
    st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.integers(60, 300),
    st.integers(0, 3),
)
def test_a_file_read_in_blocks_is_the_file_read_whole(monkeypatch, rows, encoding, ends, size, blank):
    text = as_text([ROWS[0], *rows]) + "\n" * blank + as_text(ROWS[1:]) + "\n" * blank
    data = text.replace("\n", ends).encode(encoding)

    def read():
        return read_delimited(
            lambda: io.BytesIO(data), FileRules(delimiter=","), known=layout().known_names(), file="f.csv", source="s"
        )

    whole = read()
    monkeypatch.setattr(text_files, "BLOCK_BYTES", size)
    blocks = read()
    monkeypatch.undo()
    pd.testing.assert_frame_equal(blocks.table, whole.table)
    pd.testing.assert_frame_equal(blocks.rejected, whole.rejected)
    assert blocks.file_row.tolist() == whole.file_row.tolist()
    assert blocks.notes == whole.notes


def test_a_stray_quote_in_one_block_does_not_spoil_the_others(monkeypatch):
    lines = [f"{number},x,{number + 100},-70.1,45.2" for number in range(2_000)]
    lines[1_000] = '1000,"x,1100,-70.1,45.2'
    data = "\n".join([",".join(ROWS[0]), *lines]).encode()
    monkeypatch.setattr(text_files, "BLOCK_BYTES", 4_000)
    raw = read_delimited(lambda: io.BytesIO(data), FileRules(), known=layout().known_names(), file="f", source="s")
    assert raw.rows_read == 2_000
    assert raw.table["No"].tolist() == [str(number) for number in range(2_000)]
    assert raw.file_row.tolist() == list(range(2, 2_002))


def test_a_stray_quote_loses_no_row(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text(
        as_text() + '3,"6 in,50,-70.1,45.2\n4,Ann,60,-70.1,45.2\n5,"Bo",70,-70.1,45.2\n6,Cy,80,-70.1,45.2\n'
    )
    raw = read_source(path, layout())
    assert raw.rows_read == 6
    assert raw.table["No"].tolist() == ["1", "2", "3", "4", "5", "6"]
    assert raw.file_row.tolist() == [2, 3, 4, 5, 6, 7]
    assert raw.table["Owner"].tolist()[2:] == ['"6 in', "Ann", '"Bo"', "Cy"]


def test_a_file_of_names_only_has_no_rows(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text(as_text(ROWS[:1]))
    raw = read_source(path, layout())
    assert (raw.rows_read, len(raw.table), list(raw.table.columns)) == (0, 0, ROWS[0])


def test_a_sheet_with_one_name_by_chance_is_no_sheet_of_wells(tmp_path):
    path = tmp_path / "log.xlsx"
    path.write_bytes(
        workbook_bytes({"wells": ROWS, "notes": [["Depth", "is measured from the ground"], ["see the office", ""]]})
    )
    raw = read_source(path, layout())
    assert raw.rows_read == 2
    assert any("passed over: notes" in note for note in raw.notes)


def test_delimiters_are_told_by_even_rows():
    assert find_delimiter("a;b;c\n1,5;2,5;3\n4;5;6\n") == ";"
    assert find_delimiter("a\tb\n1, 2\t3\n") == "\t"
    assert find_delimiter("title\n\na,b,c\n1,2,3\n4,5,6\n") == ","


def workbook_bytes(sheets: dict[str, list[list[object]]], merged: dict[str, list[str]] | None = None) -> bytes:
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
        for cells_ in (merged or {}).get(name, []):
            page.merge_cells(cells_)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_a_workbook_of_several_sheets_with_titles_and_types(tmp_path):
    import datetime as dt

    path = tmp_path / "log.xlsx"
    sheets = {
        "old": [
            ["THE FIRM"],
            ["all in feet"],
            ["No", "Depth", "Lat", "Lon", "On"],
            ["1", 305, 45.2, -70.1, dt.datetime(1987, 6, 14)],
        ],
        "new": [
            ["No", "Depth ft", "Lat", "Lon", "Owner"],
            [2, 12.5, 45.25, -70.2, "Bo"],
            [None] * 5,
            [3, "dry?", None, None, True],
        ],
        "notes": [["call the office"]],
    }
    path.write_bytes(workbook_bytes(sheets))
    raw = read_source(path, layout())
    assert raw.table["No"].tolist() == ["1", "2", "3"]
    assert raw.table["Depth"].tolist() == ["305", "", ""]
    assert raw.table["Depth ft"].tolist() == ["", "12.5", "dry?"]
    assert raw.table["On"].tolist() == ["1987-06-14", "", ""]
    assert raw.table["Owner"].tolist() == ["", "Bo", "TRUE"]
    assert raw.table["sheet"].tolist() == ["old", "new", "new"]
    assert raw.file_row.tolist() == [4, 2, 4]
    assert any("notes" in note for note in raw.notes)


def test_two_row_headers_and_merged_cells():
    rows = [
        ["Log"],
        ["No", "Well", None, "Place", None],
        [None, "Depth (ft)", "Owner", "Lon", "Lat"],
        [1, 305, "Ann", -70.1, 45.2],
        [2, 100, None, -70.2, 45.3],
    ]
    data = workbook_bytes({"s": rows}, {"s": ["B2:C2", "D2:E2", "C4:C5"]})
    rules = FileRules(header_rows=2)
    known = parse_layout(LAYOUT.format(file="[file]\nheader_rows = 2", kind="degrees")).known_names()
    raw = read_workbook(data, rules, known=known, file="f.xlsx", source="s")
    assert raw.table["Well Depth (ft)"].tolist() == ["305", "100"]
    assert raw.table["No"].tolist() == ["1", "2"]
    assert raw.table["Lon"].tolist() == ["-70.1", "-70.2"]
    assert raw.table["Owner"].tolist() == ["Ann", "Ann"]  # one cell over both rows
    assert raw.file_row.tolist() == [4, 5]


def test_two_row_headers_in_text(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text("Well log,,,\n,Well,Place,\nNo,Depth (ft),Lon,Lat\n1,305,-70.1,45.2\n")
    raw = read_source(path, layout("[file]\nheader_rows = 2"))
    assert raw.table[["No", "Well Depth (ft)", "Lon", "Lat"]].to_numpy().tolist() == [["1", "305", "-70.1", "45.2"]]
    assert raw.file_row.tolist() == [4]


def test_other_workbooks(tmp_path):
    frame = pd.DataFrame(ROWS[1:], columns=ROWS[0])
    frame.to_excel(tmp_path / "a.ods", engine="odf", index=False) if _has("odf") else None
    if _has("xlwt"):
        import xlwt

        book = xlwt.Workbook()
        page = book.add_sheet("s")
        for i, row in enumerate(ROWS):
            for j, cell in enumerate(row):
                page.write(i, j, cell)
        book.save(str(tmp_path / "b.xls"))
    made = sorted(tmp_path.iterdir())
    if not made:
        pytest.skip("no writer of ODS or XLS at hand")
    for path in made:
        check(read_source(path, layout()))


def _has(module: str) -> bool:
    from importlib.util import find_spec

    return find_spec(module) is not None


def test_a_sheet_that_is_not_there_is_named():
    with pytest.raises(ProblemsError, match="choose among: s"):
        read_workbook(workbook_bytes({"s": [["No"]]}), FileRules(sheets=("t",)), known={"no"}, file="f", source="s")


@pytest.mark.parametrize(
    "name", ["wells.geojson", "wells.gpkg", "wells.shp", "wells.zip", "folder.zip", "wells.parquet"]
)
def test_map_files(tmp_path, name):
    frame = gpd.GeoDataFrame(
        {"No": ["1", "2"], "Depth": ["305", None]},
        geometry=gpd.points_from_xy([412_000.25, 413_000], [5_010_000, 5_011_000]),
        crs="EPSG:26919",
    )
    path = tmp_path / name
    if name.endswith("parquet"):
        frame.to_parquet(path)
    elif name.endswith("zip"):
        frame.to_file(tmp_path / "wells.shp")
        with zipfile.ZipFile(path, "w") as archive:
            for part in tmp_path.glob("wells.*"):
                if part.suffix != ".zip":
                    archive.write(part, f"state/{part.name}" if name == "folder.zip" else part.name)
            archive.writestr("__MACOSX/._wells.shp", b"what a packer adds for itself")
    else:
        frame.to_crs("EPSG:4326" if name.endswith("geojson") else "EPSG:26919").to_file(path)
    raw = read_source(path, layout(kind="geometry"))
    assert raw.table["No"].tolist() == ["1", "2"]
    assert raw.table["Depth"].tolist() == ["305", ""]
    assert raw.crs is not None
    back = gpd.GeoSeries.from_xy(
        raw.table["point x"].astype(float), raw.table["point y"].astype(float), crs=raw.crs
    ).to_crs("EPSG:26919")
    assert back.x.tolist() == pytest.approx([412_000.25, 413_000], abs=0.01)
    assert raw.file_row.tolist() == [1, 2]


def test_the_first_of_several_layers_is_read_and_the_others_are_named(tmp_path):
    for number, layer in enumerate(("wells", "springs")):
        frame = gpd.GeoDataFrame({"No": [str(number)], "Depth": ["5"]}, geometry=[Point(-70, 45)], crs="EPSG:4326")
        frame.to_file(tmp_path / "a.gpkg", layer=layer)
    raw = read_source(tmp_path / "a.gpkg", layout(kind="geometry"))
    assert raw.table["No"].tolist() == ["0"]
    assert "(wells, springs)" in raw.notes[0]


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.csv", b"", "is empty"),
        ("a.pdf", b"x", "no kind that can be read"),
        ("a.xlsx", b"not a workbook", "cannot be read as a workbook"),
        ("a.zip", b"not a zip", "no whole zip"),
        ("a.csv.gz", b"not gzip", "cannot be read to its end"),
        ("a.csv.gz", gzip.compress(b"No,Depth" * 9, mtime=0)[:-9], "cannot be read to its end"),
        ("a.gpkg", b"not a package", "cannot be read as a map file"),
        ("a.csv", b"x,y\n1,2\n", "no row holds the column names"),
    ],
)
def test_files_that_cannot_be_read_say_why(tmp_path, name, data, said):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(WellRecordsError, match=said):
        read_source(tmp_path / name, layout())


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(WellRecordsError, match=r"no file .*nothing\.csv"):
        read_source(tmp_path / "nothing.csv", layout())
