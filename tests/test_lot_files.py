"""Lots read from a table of places, as a spreadsheet saves it."""

import pytest

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.lot_files import lots_at, misspelt_wishes, read_lots


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


@pytest.mark.parametrize(
    ("column", "wish"),
    [
        ("lawn_ft2", "lawn_area_ft2"),
        ("Garden sq ft", "garden_area_ft2"),
        ("people", "persons"),
        ("Persons", "persons"),
        ("beds", "bedrooms"),
        ("target_gpm", "target_yield_gpm"),
        ("depth_limit_ft", "max_depth_ft"),
        ("rock", "main_rock"),
    ],
)
def test_a_column_of_another_name_is_told_with_the_one_that_is_read(column, wish):
    lots = lots_at([(-70.0, 45.0), (-70.1, 45.0)])
    assert misspelt_wishes(lots.assign(**{column: 4})) == {column: wish}
    # One lot says it rightly, the other does not: what the second says would be lost.
    both = lots.assign(**{column: [None, 4], wish: [4, None]})
    assert misspelt_wishes(both) == {column: wish}
    assert misspelt_wishes(lots.assign(**{column: 4, wish: 4})) == {}
    assert misspelt_wishes(lots.assign(**{column: [None, ""]})) == {}


def test_columns_that_are_read_or_mean_nothing_here_are_not_told():
    lots = lots_at([(-70.0, 45.0)])
    assert misspelt_wishes(lots.assign(name="Hill", main_rock="granite", parcel="7", deed_book=3, address="x")) == {}
