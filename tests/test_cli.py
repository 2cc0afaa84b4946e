"""The commands: verbs, exit codes, what is shown and what is not."""

import json
import re
import subprocess
import sys

import pandas as pd
import pytest
from typer.testing import CliRunner

from wellrecords import terminal
from wellrecords.cli import dataset, verbs


def run(*words, cwd=None):
    """Run the installed command as a user does, output piped."""
    program = [sys.executable, "-c", "from wellrecords.cli import main; main()", *map(str, words)]
    return subprocess.run(program, capture_output=True, text=True, cwd=cwd, timeout=120, check=False)


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("draft-layout",),
        ("check-layout",),
        ("refresh",),
        ("validate",),
        ("estimate",),
        ("report",),
        ("held-back",),
        ("changes",),
        ("site",),
        ("need",),
        ("file-well",),
        ("outcomes",),
    ],
)
def test_each_verb_explains_itself(words):
    shown = CliRunner().invoke(verbs.app, [*words, "--help"])
    assert shown.exit_code == 0
    assert len(shown.output.splitlines()) > 5
    assert not any(line.rstrip().endswith("...") for line in shown.output.splitlines()[2:]), (
        "a verb's line is cut short"
    )


def test_an_absent_settings_file_is_an_expected_error(tmp_path):
    done = run("refresh", tmp_path / "none.toml")
    assert done.returncode == 2
    assert "There is no settings file" in done.stderr
    assert "Next:" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("place", ["here", "45.2", "1,2,3", "-70.1;45.2"])
def test_a_place_that_is_none_is_refused_with_the_way_to_write_it(place, tmp_path):
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "a.csv"\nlayout = "california_wcr"\n'
    )
    done = run("estimate", settings, f"--at={place}")
    assert done.returncode == 2
    assert "--at=-70.05,45.21" in done.stderr
    assert "Traceback" not in done.stderr


def test_unknown_settings_are_all_named_at_once(tmp_path):
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:4326"\nbounds = [-71, 45, -69, 46]\nstore = "store"\ncolour = "red"\n'
        '[[sources]]\nfile = "a.csv"\nlayout = "california_wcr"\n'
    )
    done = run("refresh", settings)
    assert done.returncode == 2
    assert "region.colour" in done.stderr
    assert "region.crs" in done.stderr


def test_a_source_that_is_no_pair_is_refused(tmp_path):
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "a.csv"\nlayout = "california_wcr"\n'
    )
    done = run("refresh", settings, "--source", "a.csv")
    assert done.returncode == 2
    assert "NAME=FILE" in done.stderr


def test_the_places_on_the_sample_lots_are_shown_and_saved(tmp_path, request):
    region = request.config.rootpath / "pipelines" / "sample_region.toml"
    done = run("site", region, "--lot", "L-104", "--save", tmp_path / "places.geojson")
    assert done.returncode == 0, done.stderr
    assert "Lot L-104: a well may stand on" in done.stdout
    assert "trench to the house" in done.stdout
    assert "cost of the place" in done.stdout
    assert "811" in done.stdout
    assert done.stderr == ""
    saved = json.loads((tmp_path / "places.geojson").read_text())
    assert [feature["properties"]["what"] for feature in saved["features"]] == ["ground"] + ["place"] * 5


def test_lots_without_a_place_are_told_why_and_what_a_site_plan_holds(tmp_path, request):
    region = request.config.rootpath / "pipelines" / "sample_region.toml"
    lots = tmp_path / "lots.csv"
    lots.write_text("lot,lat,lon\nL-101,45.21,-70.05\n")
    point = run("site", region, "--lots", lots)
    assert point.returncode == 0, point.stderr
    assert point.stdout.strip() == (
        "L-101: no place was chosen: the lots file gives a point. Next: give the outline as a polygon, from the deed "
        "or the county's parcels."
    )
    drawn = tmp_path / "lots.geojson"
    ring = [[-70.05, 45.21], [-70.049, 45.21], [-70.049, 45.211], [-70.05, 45.21]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    features = [{"type": "Feature", "properties": {"lot_id": "N-1"}, "geometry": shape}]
    drawn.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    blank = run("site", region, "--lots", drawn)
    assert blank.returncode == 0, blank.stderr
    assert "N-1: no place was chosen: no feature of it is on the site plan" in blank.stdout
    assert "site_plans.geojson ([siting] site_plans). Next: draw there" in blank.stdout
    assert "each feature with its lot_id and a kind: house, building, septic_tank" in blank.stdout
    assert "what has a blank lot_id is kept away from by lots that have a feature of their own." in blank.stdout


def test_a_feature_of_no_lot_stops_the_lot_that_it_lies_on(tmp_path, request):
    """Left out, the drain field would give the lot ground that it does not have."""
    region = request.config.rootpath / "pipelines" / "sample_region.toml"
    sample = request.config.rootpath / "sample_records"
    plan = json.loads((sample / "site_plans.geojson").read_text())
    field = next(one for one in plan["features"] if one["properties"]["name"] == "neighbour's drain field")
    field["properties"]["lot_id"] = "L 101"
    (tmp_path / "plan.geojson").write_text(json.dumps(plan))
    settings = tmp_path / "region.toml"
    text = region.read_text().replace("../", f"{request.config.rootpath.as_posix()}/")
    settings.write_text(text.replace(f"{sample.as_posix()}/site_plans.geojson", "plan.geojson"))
    done = run("site", settings)
    assert (done.returncode, done.stdout) == (2, "")
    assert "1 feature of the site plan (drain_field) has a lot_id of no lot" in done.stderr
    assert "Next: write L-101 if that lot is meant" in done.stderr
    other = run("site", settings, "--lot", "L-104")
    assert other.returncode == 0, other.stderr
    assert "Note: plan.geojson: 1 feature of the site plan is of no lot in the lots file" in other.stderr


def test_a_column_of_lots_that_is_not_read_is_told_with_those_that_are(tmp_path, request):
    region = request.config.rootpath / "pipelines" / "sample_region.toml"
    lots = tmp_path / "lots.csv"
    lots.write_text("lot,lat,lon,people,lawn_ft2\nL-101,45.21,-70.05,6,800\n")
    lines = run("site", region, "--lots", lots).stderr.splitlines()
    assert lines[0] == "Note: lots.csv: the column 'lawn_ft2' is not read. Is lawn_area_ft2 meant?"
    assert lines[1] == "Note: lots.csv: the column 'people' is not read. Is persons meant?"
    assert lines[2].startswith("Note: the columns of lots that are read: lot_id, name, main_rock, target_yield_gpm, ")
    assert len(lines) == 3


def test_half_a_gallon_serves_the_house_and_waters_no_lawn(request):
    """720 gallons a day against 300 for four people and 594 more for 5,000 ft2 of lawn at an inch a week."""
    region = request.config.rootpath / "pipelines" / "sample_region.toml"
    done = run("need", region, "--lawn-ft2", 5000, "--yield-gpm", 0.5, "--in-well-gal", 150)
    assert done.returncode == 0, done.stderr
    assert "House of 4 people, at 75 gal each: 300 gal a day" in done.stdout
    assert "A well of 0.5 gpm makes some 720 gallons a day." in done.stdout
    assert "It serves the house (300 gallons a day) with a 150 gallon storage tank (110 needed" in done.stdout
    assert "It will not water the 5,000 ft² of lawn and garden" in done.stdout
    row = next(line.split() for line in done.stdout.splitlines() if line.strip().startswith("0.5 gpm"))
    assert row == ["0.5", "gpm", "720", "gal", "150", "gal", "for", "110", "too", "little"]
    assert "A tank is the least size sold that holds the gallons needed and 25% over." in done.stdout
    assert "storage will not help" in done.stdout
    assert "every 3 days within 4 hours" in done.stdout
    assert done.stdout.splitlines()[-1].startswith("This well of 0.5 gpm needs a 150 gallon storage tank (110")
    asked = run("need", region)
    assert asked.stdout.splitlines()[-1].startswith("Ask for ")
    every_day = run("need", region, "--lawn-ft2", 5000, "--yield-gpm", 1, "--watering-every-days", 1)
    assert "every day within 4 hours right before or after the house's peak, in which the well makes 240" in (
        every_day.stdout
    )
    assert run("need", region, "--lawn-ft2", "5,000", "--yield-gpm", 0.5, "--in-well-gal", 150).stdout == done.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--persons", 0), "--persons"),
        (("--persons", 5000), "it must be at most 500"),
        (("--persons", 2, "--bedrooms", 2), "--persons and --bedrooms were both given"),
        (("--livestock", "horse"), "KIND=HEADS"),
        (("--livestock", "camel=2"), "unknown kind of livestock"),
        (("--livestock", "horses=2"), "did you mean horse?"),
        (("--lawn-ft2", "500 m2"), "without a unit ('m2')"),
        (("--yield-gpm", -1), "--yield-gpm must be 0 or more"),
        (("--watering-every-days", 0), "--watering-every-days"),
        (("--watering-every-days", 1.5), "whole number"),
    ],
)
def test_a_need_that_cannot_be_is_refused_by_its_option(request, words, told):
    done = run("need", request.config.rootpath / "pipelines" / "sample_region.toml", *words)
    assert done.returncode == 2
    assert told in done.stderr
    assert "Next:" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("report", "--to", "/proc/nope"), r"/proc/nope.*Next:"),
        (("report", "--source", "nothing=a.csv"), r"'nothing' names no source.*Sources: .*Next: name one of these"),
        (("site", "--lot", "L-999"), r"There is no lot L-999 in .*Lots: L-101, .*Next: name one of these"),
    ],
)
def test_what_is_not_there_is_told_with_the_next_step(request, words, told):
    verb, *options = words
    done = run(verb, request.config.rootpath / "pipelines" / "sample_region.toml", *options)
    assert done.returncode == 2
    assert re.search(told, done.stderr), done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_without_setbacks_no_place_is_chosen(tmp_path):
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "a.csv"\nlayout = "california_wcr"\n'
    )
    done = run("site", settings)
    assert done.returncode == 2
    assert "under [siting]" in done.stderr


@pytest.mark.parametrize(("table", "told"), [("", "under [outcomes]"), ('[outcomes]\nestimates = "e"\n', "lot_id")])
def test_what_cannot_be_kept_is_refused_before_the_work(tmp_path, table, told):
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "a.csv"\nlayout = "california_wcr"\n' + table
    )
    done = run("estimate", settings, "--at=-70.1,45.2", "--keep")
    assert done.returncode == 2
    assert told in done.stderr


@pytest.fixture
def state_file(tmp_path):
    """A file that no layout knows, with a code and a zero that only its source can explain."""
    file = tmp_path / "state.csv"
    file.write_text(
        "WELL_ID,USE_CODE,DRILL_DATE,LAT,LON,TOTAL_DEPTH_FT,YIELD_GPM\n"
        "101,DOM,06/14/1987,45.2123,-70.1234,305,4\n"
        "102,DOM,07/01/1990,45.2124,-70.1235,210,<0.5\n"
        "103,WOW,08/20/1991,45.9125,-70.1236,150,0\n"
    )
    return file


def test_a_layout_is_drafted_edited_and_checked(tmp_path, state_file):
    draft = tmp_path / "state.toml"
    shown = run("draft-layout", state_file)
    assert shown.returncode == 0, shown.stderr
    saved = run("draft-layout", state_file, "--save", draft)
    assert saved.returncode == 0, saved.stderr
    assert draft.read_text() == shown.stdout
    assert "3 lines marked SAY" in saved.stdout

    stopped = run("check-layout", draft, state_file)
    assert stopped.returncode == 2
    assert "the draft left the datum open" in stopped.stderr
    draft.write_text(draft.read_text().replace('datum = "SAY"', 'datum = "NAD27"'))
    stopped = run("check-layout", draft, state_file)
    assert stopped.returncode == 2
    assert "value 'WOW'" in stopped.stdout
    assert "1 row(s)" not in stopped.stdout
    assert "does not fit the file yet: 2 problems to mend" in stopped.stdout

    text = draft.read_text().replace('domestic = ["DOM"]', 'domestic = ["DOM"]\nother = ["WOW"]')
    draft.write_text(text.replace("# SAY what 0 means (1 row): zero", "zero").replace('"value", ', '"dry"  # '))
    done = run("check-layout", draft, state_file)
    assert done.returncode == 0, done.stdout
    assert "The layout fits the file" in done.stdout

    again = run("draft-layout", state_file, "--save", draft)
    assert again.returncode == 2
    assert "may have been edited" in again.stderr
    assert 'other = ["WOW"]' in draft.read_text(), "the edited layout stands"


def test_a_layout_is_checked_against_the_region_too(tmp_path, state_file, request):
    draft = tmp_path / "state.toml"
    assert run("draft-layout", state_file, "--save", draft).returncode == 0
    text = (
        draft.read_text()
        .replace('datum = "SAY"', 'datum = "NAD27"')
        .replace('domestic = ["DOM"]', 'domestic = ["DOM"]\nother = ["WOW"]')
    )
    draft.write_text(text.replace("# SAY what 0 means (1 row): zero", "zero").replace('"value", ', '"dry"  # '))
    region = request.config.rootpath / "pipelines" / "sample_region.toml"
    done = run("check-layout", draft, state_file, "--settings", region)
    assert done.returncode == 0
    assert "1 row would be held back: outside_region" in done.stdout


def test_a_file_or_layout_that_is_not_there_is_an_expected_error(tmp_path, state_file):
    for words in (("draft-layout", tmp_path / "none.csv"), ("check-layout", "no_such_layout", state_file)):
        done = run(*words)
        assert done.returncode == 2
        assert "Traceback" not in done.stderr
        assert done.stderr.strip()
    gone = run("check-layout", "california_wcr", tmp_path / "none.csv")
    assert gone.returncode == 2
    assert "There is no file" in gone.stdout


@pytest.fixture
def small_region(tmp_path):
    """A region of one small file, not yet refreshed."""
    (tmp_path / "wells.csv").write_text(
        "NO,DEPTH,LON,LAT\n1,200,-70.05,45.30\n2,240,-70.06,45.31\n3,3OO,-70.07,45.32\n", encoding="utf-8"
    )
    (tmp_path / "wells.toml").write_text(
        'name = "wells"\ndescription = "A small file for tests."\n'
        'text.source_record_id = { from = "NO" }\n'
        'readings.total_depth_ft = { from = "DEPTH", unit = "ft" }\n'
        '[[positions]]\nkind = "degrees"\nx = ["LON"]\ny = ["LAT"]\nmethod = "gps"\n'
    )
    settings = tmp_path / "region.toml"
    settings.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "wells.csv"\nlayout = "wells.toml"\n'
    )
    return settings


@pytest.mark.parametrize("words", [("estimate", "--at=-70.05,45.3"), ("held-back",), ("changes",)])
def test_before_any_refresh_the_command_to_run_is_named(words, small_region):
    verb, *options = words
    done = run(verb, small_region, *options)
    assert done.returncode == 2
    assert "There is no dataset in" in done.stderr
    assert "Next: run `wellrecords refresh" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_refresh_writes_its_report_where_it_is_told(small_region, tmp_path):
    done = run("refresh", small_region, "--report", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "Rows read 3 = kept 2 + merged 0 + held back 1" in done.stdout
    assert f"Report: open {tmp_path / 'out' / 'run.html'}" in done.stdout
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["run.html"]
    assert "unreadable reading" in (tmp_path / "out" / "run.html").read_text()


def test_what_was_changed_in_a_file_is_shown_and_saved_row_by_row(small_region, tmp_path):
    wells = tmp_path / "wells.csv"
    wells.write_text(wells.read_text().replace("1,200,", "1,200 ft,").replace("2,240,-70.06", "2,240,70.06"))
    assert run("refresh", small_region).returncode == 0
    done = run("changes", small_region, "--save", tmp_path / "changes.csv")
    assert done.returncode == 0, done.stderr
    assert "unsigned_longitude" in done.stdout
    assert "70.06" not in done.stdout, "what was written is in the file alone"
    saved = pd.read_csv(tmp_path / "changes.csv")
    (moved,) = saved.query("rule == 'unsigned_longitude'").to_dict("records")
    assert (moved["source"], moved["file_row"]) == ("wells", 3)
    assert "70.06" in moved["before"]
    unknown = run("changes", small_region, "--rule", "no_such_rule")
    assert unknown.returncode == 2
    assert "There are: " in unknown.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("report", "--to", "afile"),
        ("report", "--to", "afile/deeper"),
        ("estimate", "--at=-70.05,45.3", "--save", "afile/x.csv"),
        ("site", "--save", "afile/x.geojson"),
        ("refresh", "--report", "afile"),
        ("draft-layout", "--save", "afile/x.toml"),
    ],
)
def test_an_output_that_cannot_be_written_is_refused_before_the_work(words, small_region, tmp_path):
    (tmp_path / "afile").write_text("mine")
    verb, *options = words
    given = tmp_path / "wells.csv" if verb == "draft-layout" else small_region
    done = run(verb, given, *options, cwd=tmp_path)
    assert done.returncode == 2, done.stderr
    assert "cannot be written (" in done.stderr
    assert "Next: name a folder you may write to" in done.stderr
    assert done.stdout == "", "the work had begun"
    assert not (tmp_path / "store").exists()
    assert (tmp_path / "afile").read_text() == "mine"


def test_held_back_rows_are_shown_in_the_order_of_file_sheet_and_row(capsys):
    rows = pd.DataFrame(
        [("s", "b.csv", 9, None), ("s", "a.xlsx", 7, "2019"), ("s", "a.xlsx", 8, "2018")],
        columns=["source", "file", "file_row", "sheet"],
    ).assign(reason="no_position", why="no place")
    terminal.show_held_back(rows)
    table = [line.split()[:3] for line in capsys.readouterr().out.splitlines() if ".xlsx" in line or ".csv" in line]
    assert table == [["a.xlsx", "2018", "8"], ["a.xlsx", "2019", "7"], ["b.csv", "9", "no_position"]]
    terminal.show_held_back(rows.head(1))
    assert "sheet" not in capsys.readouterr().out


def test_a_target_below_zero_names_its_option(small_region):
    done = run("estimate", small_region, "--at=-70.05,45.3", "--target-gpm", "-3")
    assert done.returncode == 2
    assert "--target-gpm must be above 0, not -3. Next: " in done.stderr


@pytest.mark.parametrize(
    ("place", "told"),
    [
        ("45.3,-70.05", "did you mean --at=-70.05,45.3?"),
        ("70.05,45.3", "did you mean --at=-70.05,45.3?"),
        ("-75,45.3", "Next: write it as --at=LON,LAT"),
    ],
)
def test_a_place_far_from_the_region_is_refused(place, told, small_region):
    for verb in ("estimate", "report"):
        done = run(verb, small_region, f"--at={place}")
        assert done.returncode == 2
        assert "is outside the bounds of R (longitude -71 to -69, latitude 45 to 46); longitude comes" in done.stderr
        assert told in done.stderr
        assert done.stdout == "", "the work had begun"


def test_lots_far_from_the_region_are_refused_together(small_region, tmp_path):
    file = tmp_path / "mine.geojson"
    places = [("swapped", [45.3, -70.1]), ("inside", [-70.1, 45.3]), ("elsewhere", [5.0, 5.0])]
    features = [
        {"type": "Feature", "properties": {"lot_id": name}, "geometry": {"type": "Point", "coordinates": place}}
        for name, place in places
    ]
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    done = run("estimate", small_region, "--lots", file)
    assert done.returncode == 2
    assert "lot swapped is outside the bounds of R" in done.stderr
    assert "Next: mend the place: -70.1,45.3 was meant?" in done.stderr
    assert "lot elsewhere is outside the bounds of R" in done.stderr
    assert "lot inside" not in done.stderr


def test_a_place_just_over_the_line_is_taken(small_region):
    assert run("refresh", small_region).returncode == 0
    done = run("estimate", small_region, "--at=-71.05,45.3")
    assert done.returncode == 0, done.stderr
    assert "Note: -71.05,45.3 is outside the bounds of R" in done.stderr
    assert "wells filed there are held back until `bounds` under [region] are widened." in done.stderr
    assert "no price book" in done.stdout
    assert "no bid" not in done.stdout
    lines = done.stdout.splitlines()
    # The heading has two lines, the lower one with the units.
    assert "yield around," in lines[0]
    assert lines[1].startswith("lot")
    assert lines == [line.rstrip() for line in lines]


def test_a_report_without_lots_is_of_the_region_alone(small_region, tmp_path):
    done = run("report", small_region, "--to", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["index.html", "region.html", "run.html"]
    named = run("report", small_region, "--to", tmp_path / "out", "--lot", "L-1")
    assert named.returncode == 2
    assert "No lot is named" in named.stderr


def test_lots_whose_names_come_to_the_same_have_pages_of_their_own(small_region, tmp_path):
    lots = tmp_path / "lots.csv"
    lots.write_text("lot,lat,lon\nA/B,45.3,-70.05\nA_B,45.31,-70.05\nx1,45.3,-70.06\nX1,45.31,-70.06\n")
    done = run("report", small_region, "--lots", lots, "--to", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    index = (tmp_path / "out" / "index.html").read_text("utf-8")
    pages = [page for page in (tmp_path / "out").glob("lot_*.html") if f"./{page.name}" in index]
    assert len({page.name.casefold() for page in pages}) == 4
    titles = [re.search(r"<title>(.*?)</title>", page.read_text("utf-8"))[1] for page in pages]
    assert sorted(name for name in ("A/B", "A_B", "x1", "X1") for title in titles if name in title) == sorted(
        ("A/B", "A_B", "x1", "X1")
    )


def test_places_in_metres_are_no_matter_of_the_bounds(small_region):
    done = run("estimate", small_region, "--at=417578,5006860")
    assert done.returncode == 2
    assert "--at 417578,5006860 is no place in degrees: it looks like metres or feet of a map's grid." in done.stderr
    assert "bounds" not in done.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--max-depth-ft", "50,000"), "--max-depth-ft 50,000 is far too much: a digit too many? Rule: it is at most"),
        (("--target-gpm", -3), "--target-gpm must be above 0"),
    ],
)
def test_a_wish_that_cannot_be_is_refused_by_its_option(small_region, words, told):
    done = run("estimate", small_region, "--at=-70.05,45.3", *words)
    assert done.returncode == 2
    assert told in done.stderr


def stop(*_, **__):
    raise KeyboardInterrupt


def test_a_user_who_stops_a_verb_is_told_what_stands(small_region, monkeypatch):
    """Nothing before the dataset is refreshed; the dataset's new version after it."""
    monkeypatch.setattr("wellrecords.output._written", [])
    monkeypatch.setattr("wellrecords.cleaning.clean_source.read_source", stop)
    done = CliRunner().invoke(verbs.app, ["refresh", str(small_region)])
    assert (done.exit_code, done.stderr.splitlines()[-1]) == (130, "Stopped; nothing was written.")
    monkeypatch.undo()
    monkeypatch.setattr("wellrecords.output._written", [])
    monkeypatch.setattr("wellrecords.cli.dataset.show_refresh", stop)
    done = CliRunner().invoke(verbs.app, ["refresh", str(small_region)])
    assert done.exit_code == 130
    assert "Stopped; written before, and whole: " in done.stderr
    assert "versions" in done.stderr


def test_a_stop_between_two_held_back_files_tells_the_first(tmp_path, monkeypatch):
    rows = pd.DataFrame({"source": ["a", "b"], "file": "f.csv", "sheet": None, "file_row": [2, 3], "original": "{}"})
    real, done = dataset.write_whole, []

    def first_only(path, data):
        if done:
            raise KeyboardInterrupt
        done.append(path)
        return real(path, data)

    monkeypatch.setattr("wellrecords.output._written", [])
    monkeypatch.setattr(dataset, "write_whole", first_only)
    with pytest.raises(KeyboardInterrupt):
        dataset._save_held_back(rows.assign(reason="r", why="w"), tmp_path / "held", {})
    assert verbs.what_stands().startswith("written before, and whole: ")
    assert verbs.what_stands().endswith("a.csv")


def test_a_stop_while_the_program_loads_shows_no_traceback(tmp_path):
    code = "import sys, wellrecords.cli as c\nclass Stop:\n    def find_spec(self, name, *_):\n"
    code += "        if name == 'typer': raise KeyboardInterrupt\nsys.meta_path.insert(0, Stop())\nc.main()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (130, "Stopped; nothing was written.\n")


def test_held_back_rows_and_the_dataset_are_not_written_into_a_file(small_region, tmp_path):
    (tmp_path / "afile").write_text("mine")
    assert run("refresh", small_region).returncode == 0
    saved = run("held-back", small_region, "--save", tmp_path / "afile")
    small_region.write_text(small_region.read_text().replace('"store"', '"afile"'))
    stored = run("refresh", small_region)
    for done in (saved, stored):
        assert done.returncode == 2
        assert "cannot be written" in done.stderr
        assert "Next: name a folder you may write to" in done.stderr
        assert "Traceback" not in done.stderr
    assert (tmp_path / "afile").read_text() == "mine"


def test_every_place_that_is_given_is_answered(small_region):
    assert run("refresh", small_region).returncode == 0
    done = run("estimate", small_region, "--at=-70.05,45.3", "--at=-70.06,45.31")
    assert done.returncode == 0, done.stderr
    named = [line.split()[0] for line in done.stdout.splitlines() if line.startswith(("A ", "B ", "here "))]
    assert named == ["A", "B"]


def test_one_mistyped_depth_among_a_lot_s_wells_is_told_in_its_notes(small_region, tmp_path):
    layout = tmp_path / "wells.toml"
    made = 'readings.yield_gpm = { from = "GPM", unit = "gpm" }\n[[positions]]'
    layout.write_text(layout.read_text().replace("[[positions]]", made))
    rows = [
        f"{n},{3050 if n == 8 else 285 + 5 * n},{2 + n % 5},{-70.05 - n % 5 / 300},{45.3 + n / 900}" for n in range(20)
    ]
    (tmp_path / "wells.csv").write_text("\n".join(["NO,DEPTH,GPM,LON,LAT", *rows]))
    assert run("refresh", small_region).returncode == 0
    done = run("estimate", small_region, "--at=-70.055,45.31", "--target-gpm", "3")
    assert done.returncode == 0, done.stderr
    assert "here: A flagged reading is in use: total depth 3,050 ft of well wells:8, " in done.stdout


@pytest.mark.parametrize(("option", "value"), [("--lots", "lots.geojson"), ("--lot", "L-1")])
@pytest.mark.parametrize("verb", ["estimate", "report"])
def test_places_beside_lots_are_refused_as_one_of_them_would_be_left_out(small_region, verb, option, value):
    done = run(verb, small_region, "--at=-70.05,45.3", option, value)
    assert done.returncode == 2
    assert f"--at and {option} were both given" in done.stderr
    assert done.stdout == "", "the work had begun"


def test_the_module_runs_as_the_program_does():
    program = [sys.executable, "-m", "wellrecords", "--help"]
    done = subprocess.run(program, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert "draft-layout" in done.stdout


@pytest.mark.parametrize("verb", ["estimate", "refresh", "report", "need"])
def test_a_file_of_records_in_place_of_the_settings_is_called_so(tmp_path, verb):
    file = tmp_path / "wells.csv"
    file.write_text("NO,DEPTH\n1,200\n")
    done = run(verb, file)
    assert done.returncode == 2
    assert "wells.csv is a file of records or places, and no settings file. Next: give the region's" in done.stderr
