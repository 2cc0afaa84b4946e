"""Lots read from a table of places, as a spreadsheet saves it."""

import pandas as pd
import pytest

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.lot_files import lots_at, read_lots
from wellrecords.lot_wishes import misspelt_wishes
from wellrecords.schema import WGS84


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("lot_id,latitude,longitude,target_yield_gpm,name\nT0,45.21,-70.05,3,Hill\nT1,45.3,-70.1,,Vale\n", "utf-8-sig"),
        ("Lot;Lat;Lon;target_yield_gpm;name\r\nT0;45.21;-70.05;3;Hill\r\n;;;;\r\nT1;45.3;-70.1;;Vale\r\n", "cp1252"),
        ("lot\tlat\tlong\ttarget_yield_gpm\tname\nT0\t45.21\t-70.05\t3\tHill\nT1\t45.3\t-70.1\t\tVale\n", "utf-8"),
    ],
)
def test_a_table_of_places_is_a_file_of_lots(tmp_path, text, encoding):
    path = tmp_path / "lots.csv"
    path.write_bytes(text.encode(encoding))
    lots = read_lots(path)
    assert lots["lot_id"].tolist() == ["T0", "T1"]
    assert lots.crs.to_epsg() == 4326
    assert (lots.geometry.x.tolist(), lots.geometry.y.tolist()) == ([-70.05, -70.1], [45.21, 45.3])
    assert lots["target_yield_gpm"].tolist()[0] == 3.0
    assert lots["target_yield_gpm"].isna().tolist() == [False, True]
    assert lots["name"].tolist() == ["Hill", "Vale"]
    assert misspelt_wishes(lots) == {}
    assert read_lots(path, ["t1"])["lot_id"].tolist() == ["T1"]


def test_the_faults_of_a_table_of_lots_are_told_together_with_their_cells(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("lot,lat,lon\nT0,45.21,-70.05\nT1,north,-70.1\nT2,95,\n")
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    places = [(problem.row, problem.column, problem.value) for problem in caught.value.problems]
    assert places == [(3, "lat", "north"), (4, "lat", "95"), (4, "lon", "")]
    path.write_text("parcel,lat\nT0,45.21\n")
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    assert [problem.column for problem in caught.value.problems] == ["lot_id", "longitude"]
    path.write_text("lot,lat,lon,persons\nT0,45.21,-70.05,many\n")
    with pytest.raises(ProblemsError, match="persons is no number"):
        read_lots(path)


def test_rows_of_a_table_count_with_its_header_and_features_of_a_map_from_one(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("lot,lat,lon,persons\nT0,45.21,-70.05,3\n,,,\nT0,45.21,-70.05,many\n,45.2,-70.0,2\n")
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    told = [(problem.row, problem.column) for problem in caught.value.problems]
    assert told == [(4, "lot_id"), (4, "persons"), (5, "lot_id")]
    drawn = tmp_path / "lots.geojson"
    lots_at([(-70.0, 45.0), (-70.1, 45.0)]).assign(persons=[2, -1]).to_file(drawn)
    with pytest.raises(ProblemsError) as caught:
        read_lots(drawn)
    assert [(problem.row, problem.column) for problem in caught.value.problems] == [(2, "persons")]


def test_a_table_that_is_none_says_what_lots_may_be(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_bytes(b"")
    with pytest.raises(WellRecordsError, match="a CSV with lot_id, latitude and longitude"):
        read_lots(path)


def test_many_places_have_names_of_their_own():
    names = list(lots_at([(-70.0, 45.0)] * 28)["lot_id"])
    assert (names[0], names[25:]) == ("A", ["Z", "AA", "AB"])
    assert list(lots_at([(-70.0, 45.0)])["lot_id"]) == ["here"]


def test_numbers_are_read_as_people_type_them(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text('lot,lat,lon,max_depth_ft,lawn_area_ft2,name,main_rock\nT0,45.2,-70,"1,000","6,000 sq ft",,\n')
    drawn = tmp_path / "lots.geojson"
    lots_at([(-70.0, 45.2)]).assign(max_depth_ft="1,000 ft", lawn_area_ft2=" 6,000", name=" ").to_file(drawn)
    for file in (path, drawn):
        lot = read_lots(file).iloc[0]
        assert (lot["max_depth_ft"], lot["lawn_area_ft2"]) == (1000.0, 6000.0)
        assert lot["name"] is None
    assert read_lots(path)["main_rock"].tolist() == [None]


def test_faults_of_wishes_name_file_row_and_lot_once(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text(
        "lot,lat,lon,target_yield_gpm,max_depth_ft,persons,bedrooms\n"
        "T0,45.2,-70,0,600,4,3\nT1,45.2,-70.1,-5,50000,0,3\n"
    )
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    told = [(problem.row, problem.column, problem.what) for problem in caught.value.problems]
    assert told == [
        (2, "target_yield_gpm", "target_yield_gpm is 0"),
        (2, "persons, bedrooms", "persons and bedrooms are both given"),
        (3, "target_yield_gpm", "target_yield_gpm is below 0"),
        (3, "max_depth_ft", "max_depth_ft is far too much: a digit too many?"),
        (3, "persons", "persons is 0"),
    ]
    assert {problem.file for problem in caught.value.problems} == {str(path)}
    assert str(caught.value.problems[0]).endswith(
        "Rule: it must be above 0; an empty cell takes what the settings say. Next: mend the cell of lot T0, or empty "
        "it."
    )


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("lots.csv", "lot_id,latitude,longitude\n"),
        ("lots.csv", "lot_id,latitude,longitude\n,,\n"),
        ("lots.geojson", '{"type": "FeatureCollection", "features": []}'),
    ],
)
def test_a_file_without_a_lot_is_said_to_hold_none(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(WellRecordsError, match="holds no lot"):
        read_lots(path)


@pytest.mark.parametrize("ending", ["txt", "tsv", "CSV"])
def test_a_table_may_have_another_ending(tmp_path, ending):
    path = tmp_path / f"lots.{ending}"
    path.write_text("lot\tlat\tlon\nA\t45.2\t-70\n")
    assert read_lots(path)["lot_id"].tolist() == ["A"]


def test_a_workbook_of_lots_is_to_be_saved_as_a_table(tmp_path):
    path = tmp_path / "lots.xlsx"
    pd.DataFrame({"lot_id": ["A"], "latitude": [45.2], "longitude": [-70.0]}).to_excel(path, index=False)
    with pytest.raises(WellRecordsError, match="is a workbook, which is not read"):
        read_lots(path)


@pytest.mark.parametrize("heading", ["LotID", "Lot ID", "lot", "LOT_ID", "lotid"])
def test_another_heading_for_a_lot_s_name_is_suggested(tmp_path, heading):
    path = tmp_path / "lots.geojson"
    lots_at([(-70.0, 45.2)]).rename(columns={"lot_id": heading}).to_file(path)
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    (problem,) = caught.value.problems
    assert problem.what == "the column lot_id is missing"
    assert problem.next_step == f"rename the column {heading!r} to lot_id, if that is meant"


def test_the_other_headings_of_a_table_are_suggested_together(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("Lot No.,Latitude (deg),Longtitude\nA,45.2,-70\n")
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    assert [problem.next_step.split(" to ")[0] for problem in caught.value.problems] == [
        "rename the column 'Lot No.'",
        "rename the column 'Latitude (deg)'",
        "rename the column 'Longtitude'",
    ]


def test_metres_without_their_system_are_told_once_for_the_file(tmp_path):
    path = tmp_path / "lots.geojson"
    metres = lots_at([(-70.0, 45.2), (-70.1, 45.2)]).to_crs("EPSG:26919")
    metres.set_crs(WGS84, allow_override=True).to_file(path, driver="GeoJSON")
    with pytest.raises(ProblemsError) as caught:
        read_lots(path)
    (problem,) = caught.value.problems
    assert problem.what == "the places of 2 lots are no degrees; they look like metres or feet of a map's grid"
    assert problem.row == 1
    assert "name the system in the file" in problem.next_step
    assert "bounds" not in str(problem)
    # With its system the same file is read.
    stated = tmp_path / "lots.gpkg"
    metres.to_file(stated)
    assert read_lots(stated).geometry.x.round(6).tolist() == [-70.0, -70.1]
    table = tmp_path / "lots.csv"
    table.write_text("lot,lat,lon\nA,5006860,417578\n")
    with pytest.raises(ProblemsError) as caught:
        read_lots(table)
    assert {problem.next_step for problem in caught.value.problems} == {
        "give degrees: it looks like metres or feet of a map's grid"
    }
