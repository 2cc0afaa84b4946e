"""What is known where a well is filed, gathered from the dataset, the log and the kept estimates."""

from datetime import date

import geopandas as gpd
import pytest
from typer.testing import CliRunner

from wellrecords import filing_doubts
from wellrecords.cli.verbs import app
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.outcomes import EstimateRecord, read_outcomes, write_estimate

SETTINGS = """
[region]
name = "Simulated"
crs = "EPSG:26919"
bounds = [-71, 44, -68, 46]
store = "store"
[[sources]]
file = "none.csv"
layout = "california_wcr"
[outcomes]
file = "drilled.csv"
estimates = "estimates"
"""
WORDS = ("--well-id", "b", "--drilled-on", "2026-05-31", "--at=-70.0,45.2", "--depth-ft", "300")


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "region.toml"
    path.write_text(SETTINGS)
    return path


def keep(tmp_path, lot_id, given_on=date(2026, 4, 1)):
    kept = EstimateRecord(
        lot_id=lot_id, longitude=-70, latitude=45.2, given_on=given_on, target_yield_gpm=5, max_depth_ft=600
    )
    write_estimate(tmp_path / "estimates", kept)


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def wells_in(monkeypatch, depth_ft, places):
    """Let the store hold wells at places (longitude, latitude)."""

    def read(_store, box, columns):
        wells = gpd.GeoDataFrame(
            {"total_depth_ft": float(depth_ft), "yield_gpm_low": 9.0},
            index=range(len(places)),
            geometry=gpd.points_from_xy(*zip(*places, strict=True)),
        )
        wells["longitude"], wells["latitude"] = wells.geometry.x, wells.geometry.y
        return wells.cx[box[0] : box[2], box[1] : box[3]][[*columns, "geometry"]]

    monkeypatch.setattr(filing_doubts, "read_wells", read)


def test_wells_around_are_those_within_five_miles_and_none_without_a_dataset(monkeypatch, tmp_path):
    assert len(filing_doubts.wells_around(tmp_path / "store", -70.0, 45.2)) == 0
    east_5mi = 8046.72 / 78800.0  # metres in a degree of longitude at 45.2 north
    places = [(-70.0, 45.2), (-70.0 + 0.98 * east_5mi, 45.2), (-70.0 + 1.02 * east_5mi, 45.2), (-70.0, 45.274)]
    wells_in(monkeypatch, 300, places)
    assert list(filing_doubts.wells_around(tmp_path / "store", -70.0, 45.2).index) == [0, 1]


def test_a_ten_fold_depth_is_asked_about_and_filed_when_sure(file, tmp_path, monkeypatch):
    wells_in(monkeypatch, 420, [(-70.0, 45.2)] * 12)
    words = ("file-well", file, "--well-id", "26-04", "--drilled-on", "2026-05-31", "--at=-70.0,45.2")
    asked = run(*words, "--depth-ft", "3400")
    assert isinstance(asked.exception, ProblemsError)
    told = str(asked.exception)
    assert "3,400 ft is far beyond all that is known here: a digit too many? (column --depth-ft" in told
    assert "the deepest well within 5 miles 420 ft" in told
    assert not (tmp_path / "drilled.csv").exists()
    assert run(*words, "--depth-ft", "3400", "--sure").exit_code == 0
    # The deepest well filed is now 3,400 ft: firms do drill deep where they know that they do.
    assert run(*words, "--well-id", "26-05", "--at=-70.0,45.21", "--depth-ft", "3000").exit_code == 0


def test_a_figure_is_asked_about_once(file, monkeypatch):
    wells_in(monkeypatch, 420, [(-70.0, 45.2)] * 12)
    words = ("file-well", file, "--well-id", "26-04", "--drilled-on", "2026-05-31", "--at=-70.0,45.2")
    told = str(run(*words, "--depth-ft", "9000").exception)
    assert "1 problem." in told
    assert "1 to 5,000 is believed" in told


def test_a_log_that_cannot_be_read_is_told_before_anything_is_filed(file, tmp_path):
    log = tmp_path / "drilled.csv"
    log.write_text("well_id,drilled_on,total_depth_ft,longitude,latitude,filed_at\na,May,300,,,\n")
    before = log.read_text()
    assert isinstance(run("file-well", file, *WORDS, "--sure").exception, WellRecordsError)
    assert log.read_text() == before
    log.write_text(before.replace("May", "2026-05-01"))
    assert run("file-well", file, *WORDS, "--sure").exit_code == 0
    assert len(read_outcomes(log)) == 2


def test_the_case_of_a_lot_does_not_matter_and_the_kept_spelling_is_filed(file, tmp_path):
    keep(tmp_path, "RUNION")
    done = run("file-well", file, *WORDS, "--lot", "runion")
    assert done.exit_code == 0, done.exception
    assert "Lot runion is filed as RUNION." in done.output
    assert list(read_outcomes(tmp_path / "drilled.csv")["lot_id"]) == ["RUNION"]
    # A line that was typed into the log by hand finds its estimate too.
    log = tmp_path / "drilled.csv"
    log.write_text(log.read_text().replace("RUNION", "Runion"))
    assert "1 of 1 filed wells" in run("outcomes", file).output


def test_lots_that_differ_by_case_alone_keep_theirs(file, tmp_path):
    keep(tmp_path, "a1")
    keep(tmp_path, "A1")
    for number, lot_id in enumerate(("A1", "a1")):
        done = run("file-well", file, *WORDS, "--well-id", lot_id, "--lot", lot_id, f"--at=-70.00{number},45.2")
        assert done.exit_code == 0
    assert set(read_outcomes(tmp_path / "drilled.csv")["lot_id"]) == {"a1", "A1"}


def test_an_unknown_lot_is_asked_about_with_the_one_that_was_meant(file, tmp_path):
    for lot_id in ("RUNION", "MILL-2"):
        keep(tmp_path, lot_id)
    told = str(run("file-well", file, *WORDS, "--lot", "mill2").exception)
    assert "no estimate of a lot mill2 is kept: wrong name? (column --lot (lot_id), value 'mill2')" in told
    assert "kept are MILL-2, RUNION. Next: did you mean MILL-2? Mend it, or file it all the same with --sure" in told
    assert "did you mean" not in str(run("file-well", file, *WORDS, "--lot", "zebra").exception)
    assert not (tmp_path / "drilled.csv").exists()
    assert run("file-well", file, *WORDS, "--lot", "mill2", "--sure").exit_code == 0


def test_a_lot_of_the_lots_file_or_none_is_not_asked_about(file, tmp_path):
    keep(tmp_path, "RUNION")
    (tmp_path / "lots.csv").write_text("lot,lat,lon\nHILL,45.2,-70.0\n")
    file.write_text(f'{SETTINGS}[lots]\nfile = "lots.csv"\n')
    assert run("file-well", file, *WORDS, "--lot", "hill").exit_code == 0
    assert list(read_outcomes(tmp_path / "drilled.csv")["lot_id"]) == ["HILL"]
    assert run("file-well", file, *WORDS, "--well-id", "c").exit_code == 0


def test_a_date_before_every_estimate_of_the_lot_is_asked_about(file, tmp_path):
    keep(tmp_path, "RUNION", date(2026, 6, 2))
    words = ("file-well", file, *WORDS, "--lot", "RUNION")
    told = str(run(*words).exception)
    assert "the estimate of lot RUNION was kept on 2026-06-02, after the day of drilling: wrong date?" in told
    assert "column --drilled-on (drilled_on), value '2026-05-31'" in told
    keep(tmp_path, "RUNION", date(2026, 5, 2))
    assert run(*words).exit_code == 0


def test_a_well_outside_the_bounds_is_filed_and_told_that_it_will_be_held_back(file):
    words = ("file-well", file, *WORDS)
    assert "outside the bounds" not in run(*words).output
    done = run(*words, "--well-id", "c", "--at=-67.9,45.2")
    assert done.exit_code == 0
    assert (
        "The well stands outside the bounds of Simulated (longitude -71 to -68, latitude 44 to 46): widen `bounds` "
        "under [region], or the next refresh holds it back." in done.output
    )
