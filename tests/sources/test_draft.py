"""Drafts of layouts, and layouts checked against files."""

from __future__ import annotations

import pytest
from openpyxl import Workbook

from wellrecords.cleaning.check_layout import TELLS, check_layout
from wellrecords.cleaning.convert import convert_source
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.sources import draft_layout, load_layout, read_source
from wellrecords.sources.draft import _unit_in, guess_columns
from wellrecords.sources.layout import parse_layout
from wellrecords.sources.read import read_table
from wellrecords.units import GPM_PER

STATE = """Extract of the state's well files
WELL_ID,USE_CODE,WORK,DRILL_DATE,LAT,LON,TOTAL_DEPTH_FT,DEPTH_TO_BEDROCK_FT,STATIC_LEVEL_FT,YIELD_GPM,YIELD_HOW,COLOUR
101,DOM,NEW,06/14/1987,45.2123,-70.1234,305,20,15,4,AIR,red
102,IRR,DEEPEN,07/01/1990,45.2124,-70.1235,210,NE,0,<0.5,BAIL,blue
103,DOM,NEW,08/20/1991,45.2125,-70.1236,150,12,F,100+,PUMP,red
104,WOW,NEW,1992,45.2126,-70.1237,100,8,20,0,AIR,red
"""
METRIC = """Site;Easting;Northing;Depth_m;Ledge_m;Level_m;Rate_lpm
1;412345;5012345;91,5;6,1;4,5;15
2;412445;5012445;61,0;>60;3,2;7,5
"""


def settled(text):
    """The draft, its open datum said."""
    return text.replace('datum = "SAY"', 'datum = "NAD83"')


@pytest.fixture
def state(tmp_path):
    path = tmp_path / "state wells.csv"
    path.write_text(STATE)
    return path


def test_a_draft_finds_the_columns_and_leaves_open_what_only_the_source_can_know(state):
    text = draft_layout(state)
    with pytest.raises(WellRecordsError, match="the draft left the datum open, and nothing in the file tells it"):
        parse_layout(text)
    layout = parse_layout(settled(text))
    assert layout.positions[0].datum == "NAD83"
    assert layout.name == "state_wells"
    assert layout.text["source_record_id"].from_ == ("WELL_ID",)
    assert layout.readings["depth_to_bedrock_ft"].from_ == ("DEPTH_TO_BEDROCK_FT",)
    assert layout.readings["yield_gpm"].from_ == ("YIELD_GPM",)
    assert layout.dates["drilled_on"].formats == ("%m/%d/%Y", "%Y")
    assert layout.codes["well_use"].canonical["domestic"] == ("DOM",)
    assert (layout.positions[0].kind, layout.positions[0].x, layout.positions[0].y) == ("degrees", ("LON",), ("LAT",))
    assert layout.not_used == ("COLOUR",)
    assert "'WOW' (1)" in text
    assert "SAY what 0 means (1 row)" in text
    assert "the name 'WELL_ID' looks like it; 100% of its texts are different" in text


def test_what_the_draft_leaves_open_stops_the_run_by_name(state):
    problems = check_layout(parse_layout(settled(draft_layout(state))), state)
    stops = [(problem.code, problem.value) for problem in problems if problem.code not in TELLS]
    assert ("unknown_code", "WOW") in stops
    assert sum(code == "zero_without_meaning" for code, _ in stops) == 2


def test_a_finished_draft_runs(state):
    text = settled(draft_layout(state))
    text = text.replace('domestic = ["DOM"]', 'domestic = ["DOM"]\nother = ["WOW"]')
    text = text.replace('# SAY what 0 means (1 row): zero = "value"', 'zero = "unknown"  #')
    layout = parse_layout(text)
    assert [problem.code for problem in check_layout(layout, state)] == [
        "would_hold_back",
        "would_be_unknown",
        "would_be_unknown",
    ]
    converted = convert_source(read_source(state, layout), layout)
    assert (len(converted.wells), len(converted.held_back)) == (3, 1)  # "F" is left for the layout to explain


def test_decimal_commas_and_units_in_names(tmp_path):
    path = tmp_path / "m.csv"
    path.write_text(METRIC)
    text = settled(draft_layout(path))
    with pytest.raises(WellRecordsError, match="'SAY' is no UTM zone; say it, such as 19"):
        parse_layout(text)
    layout = parse_layout(text.replace('fixed_zone = "SAY"', 'fixed_zone = "19"'))
    assert layout.file.decimal == ","
    assert layout.readings["total_depth_ft"].unit == "m"
    assert layout.readings["yield_gpm"].unit == "L/min"
    assert layout.positions[0].kind == "utm"
    converted = convert_source(read_source(path, layout), layout)
    assert converted.wells["total_depth_ft"].tolist() == pytest.approx([91.5 / 0.3048, 61 / 0.3048])


def test_sheets_with_other_names_fill_one_role(tmp_path):
    book = Workbook()
    old = book.active
    old.append(["Job", "Depth", "Lat", "Long"])
    old.append(["1", 100, 45.2, -70.1])
    new = book.create_sheet("new")
    new.append(["THE FIRM"])
    new.append(["Job No.", "Total Depth (ft)", "Latitude", "Longitude"])
    new.append(["2", 120, 45.3, -70.2])
    book.save(tmp_path / "log.xlsx")
    guesses = guess_columns(read_table(tmp_path / "log.xlsx", None))
    assert guesses["source_record_id"].columns == ("Job", "Job No.")
    assert guesses["total_depth_ft"].columns == ("Depth", "Total Depth (ft)")
    assert guesses["longitude"].columns == ("Long", "Longitude")


def test_text_in_names_cannot_break_the_draft(tmp_path):
    path = tmp_path / 'odd "1" \\.csv'
    path.write_text('Depth ft,"Owner ""x"" \\ {{y}}",Lat,Lon\n100,"# ] = ""\n[evil]",45.2,-70.1\n')
    layout = parse_layout(settled(draft_layout(path)))
    assert layout.text["owner"].from_ == ('Owner "x" \\ {{y}}',)


def test_a_check_names_what_a_run_would_do_and_writes_nothing(tmp_path, state):
    layout = load_layout("california_wcr")
    problems = check_layout(layout, state)
    assert {problem.code for problem in problems} >= {"missing_column"}
    assert "wcr_number" in problems[0].rule
    assert check_layout(layout, tmp_path / "nothing.csv")[0].code == "unreadable_file"


def test_names_in_two_rows_merged_or_not(tmp_path):
    book = Workbook()
    sheet = book.active
    for row in (
        ["Wells of the county", "", "", "", "", ""],
        ["Well No", "Owner", "Total Depth", "Yield", "Place", ""],
        ["", "", "ft", "L/min", "Lon", "Lat"],
        ["7", "A. Nonymous", 300, 12.5, -70.1, 45.2],
        ["8", "B. Nonymous", 250, "dry", -70.2, 45.3],
    ):
        sheet.append(row)
    for cells in ("A1:F1", "A2:A3", "B2:B3", "E2:F2"):
        sheet.merge_cells(cells)
    book.save(tmp_path / "wells.xlsx")
    layout = parse_layout(settled(draft_layout(tmp_path / "wells.xlsx")))
    assert layout.file.header_rows == 2
    assert layout.readings["yield_gpm"].unit == "L/min"
    assert layout.readings["total_depth_ft"].from_ == ("Total Depth ft",)
    assert layout.positions[0].x == ("Place Lon",)
    assert read_source(tmp_path / "wells.xlsx", layout).file_row.tolist() == [4, 5]


def test_names_in_two_rows_of_a_text_file_with_the_zone_in_a_name(tmp_path):
    rows = (
        "Wells of the district;;;;",
        "Well;East;North;Total;Yield",
        "no.;(UTM 19N);(UTM 19N);depth (m);(L/min)",
        "B001;421903,7;5014353,8;103,2;<0,5",
        "B002;421913,7;5014453,8;98,75;20",
    )
    (tmp_path / "a.csv").write_text("\n".join(rows))
    layout = parse_layout(settled(draft_layout(tmp_path / "a.csv")))
    assert layout.file.header_rows == 2
    assert layout.text["source_record_id"].from_ == ("Well no.",)
    assert (layout.readings["total_depth_ft"].from_, layout.readings["total_depth_ft"].unit) == (
        ("Total depth (m)",),
        "m",
    )
    assert layout.readings["yield_gpm"].unit == "L/min"
    assert layout.positions[0].fixed_zone == "19"
    assert len(read_source(tmp_path / "a.csv", layout).table) == 2


def test_a_code_is_guessed_by_a_word_in_it_and_said_so(tmp_path):
    rows = ("Well No,Work Type,Lon,Lat", "1,Well/New/Domestic,-70.1,45.2", "2,Drill and Destroy,-70.2,45")
    (tmp_path / "a.csv").write_text("\n".join(rows))
    text = draft_layout(tmp_path / "a.csv")
    assert 'new = ["Well/New/Domestic"]' in text
    assert "look twice: 'Well/New/Domestic' (new)" in text
    assert "repaired, abandoned): 'Drill and Destroy' (1)" in text


@pytest.mark.parametrize(
    ("name", "unit"),
    [("Yield L/min", "L/min"), ("RATE_LPM", "L/min"), ("yield_l_s", "L/s"), ("Yield (gpm)", "gpm"), ("Yield", None),
     ("flow m3/h", "m3/h"), ("yield at 40 ft, gpm", "gpm"), ("yield at 40 ft", None)],
)  # fmt: skip
def test_units_in_names(name, unit):
    assert _unit_in(name, GPM_PER) == unit


def test_a_unit_that_no_name_tells_stops_the_layout_until_it_is_said(tmp_path):
    (tmp_path / "a.csv").write_text("Well No,Total Depth,Yield gpm,Lon,Lat\n1,50,3,-70.1,45.2\n2,60,4,-70.2,45.3\n")
    text = draft_layout(tmp_path / "a.csv")
    with pytest.raises(WellRecordsError, match="say it: ft, "):
        parse_layout(text)
    assert parse_layout(settled(text).replace('unit = "SAY"', 'unit = "m"')).readings["total_depth_ft"].unit == "m"


def test_a_column_of_units_leaves_no_unit_open(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text(
        "Well No,Depth ft,Yield,Yield Unit,Lat,Long\n"
        "1,200,5,GPM,45.1,-70.1\n2,300,20,L/min,45.2,-70.2\n3,250,2,GPM,45.3,-70.3\n"
    )
    text = settled(draft_layout(path))
    layout = parse_layout(text)
    assert layout.readings["yield_gpm"].unit is None
    assert layout.readings["yield_gpm"].unit_from == ("Yield Unit",)
    assert read_yields(path, layout) == pytest.approx([5.0, 20 / 3.785411784, 2.0])


def read_yields(path, layout):
    return convert_source(read_source(path, layout), layout).wells["yield_gpm_low"].to_list()


def test_a_file_without_depths_and_yields_is_told_what_it_is_worth(tmp_path):
    path = tmp_path / "wells.csv"
    path.write_text("Well No,Static Water ft,Lat,Long\n1,20,45.1,-70.1\n2,30,45.2,-70.2\n3,25,45.3,-70.3\n")
    problems = check_layout(parse_layout(settled(draft_layout(path))), path)
    assert [(problem.code, problem.what) for problem in problems] == [
        ("not_told", "no column gives total_depth_ft"),
        ("not_told", "no column gives yield_gpm"),
    ]
    assert "how much water the ground gives" in problems[1].rule


@pytest.mark.parametrize("rock", ["To Rock", "Rock At", "Top of Rock", "TO_ROCK_FT"])
@pytest.mark.parametrize("dated", ["Comp Date", "Finished", "Date Finished"])
def test_a_firms_own_words_for_rock_and_date_are_known(tmp_path, rock, dated):
    path = tmp_path / "firm.csv"
    path.write_text(f"Job,{rock},{dated},TD\n1,20,06/14/1987,305\n2,42,07/01/1990,210\n")
    text = draft_layout(path)
    found = guess_columns(read_table(path, None))
    assert (found["depth_to_bedrock_ft"].columns, found["drilled_on"].columns) == ((rock,), (dated,))
    assert "No column looks like a depth to rock" not in text
    assert "No column looks like a date" not in text


def test_a_column_called_finished_that_holds_depths_is_no_date(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text("Job,Finished\n1,305\n2,210\n")
    assert "drilled_on" not in guess_columns(read_table(path, None))


def test_what_no_column_looks_like_is_said_with_what_can_be_added(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text("Job,TD,Lat,Lon\n1,305,45.2,-70.1\n2,210,45.3,-70.2\n")
    text = draft_layout(path)
    assert "# No column looks like a depth to rock. If one is, add its name:\n# [readings.depth_to_bedrock_ft]" in text
    assert "# No column looks like a date of drilling." in text
    (added,) = [line for line in text.splitlines() if line.startswith("# What can be added: ")]
    assert "readings.depth_to_water_ft" in added
    assert "dates.drilled_on" in added
    assert "readings.total_depth_ft" not in added, "it was found"
    assert "No column looks like a total depth" not in text
    assert '# No column looks like a yield. If one is, add its name:\n# [readings.yield_gpm]\n# from = ["..."]' in text


def taken_up(text, *lines):
    """The draft with the # taken off commented lines."""
    for line in lines:
        assert f"# {line}" in text
        text = text.replace(f"# {line}", line)
    return text


def test_the_templates_of_a_draft_make_a_layout_once_their_names_are_said(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text("Hole,Lowest,Comes,Up,Over\n1,305,5,45.2,-70.1\n2,205,15,45.3,-70.2\n3,405,0,45.4,-70.3\n")
    text = draft_layout(path)
    with pytest.raises(ProblemsError, match=r"write in the file where the wells stand, as a table \[\[positions\]\]"):
        parse_layout(text)
    text = taken_up(text, "[[positions]]", 'kind = "degrees"', 'x = ["..."]', 'y = ["..."]', 'datum = "WGS84"')
    text = text.replace('\nx = ["..."]', '\nx = ["Over"]').replace('\ny = ["..."]', '\ny = ["Up"]')
    for role, column in (("total_depth_ft", "Lowest"), ("yield_gpm", "Comes")):
        form = f'# [readings.{role}]\n# from = ["..."]\n# unit = '
        assert form in text
        before, after = text.split(form)
        text = f'{before}[readings.{role}]\nfrom = ["{column}"]\nunit = {after.replace("# zero", "zero", 1)}'
    layout = parse_layout(text)
    converted = convert_source(read_source(path, layout), layout)
    assert converted.wells["total_depth_ft"].to_list() == [305, 205, 405]
    assert converted.wells["latitude"].to_list() == [45.2, 45.3, 45.4]


@pytest.mark.parametrize("filled", ["positions = []", ""])
def test_a_layout_without_positions_is_told_their_form(filled):
    with pytest.raises(ProblemsError) as caught:
        parse_layout(f'name = "firm"\n{filled}\n')
    (problem,) = caught.value.problems
    assert problem.column == "positions"
    assert 'kind = "degrees", x = ["the column of longitudes"]' in problem.next_step


UNUSUAL = """Our Number,When,North,West,Hole Bottom ft,Static ft,Makes
1,06/14/1987,44.5123,-72.5123,305,20,5
2,07/01/1990,44.5223,-72.5223,205,25,15
3,08/20/1991,44.5323,-72.5323,405,15,2
"""


def test_places_and_dates_are_guessed_by_what_stands_in_the_columns_and_asked_to_be_confirmed(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text(UNUSUAL)
    text = settled(draft_layout(path)).replace('unit = "SAY"', 'unit = "gpm"')
    assert "# SAY whether 'When' is the day of drilling" in text
    assert "# SAY whether this is so: 'West' (around -72.5223) the longitude, 'North' (around 44.5223)" in text
    layout = parse_layout(text)
    assert (layout.positions[0].kind, layout.positions[0].x, layout.positions[0].y) == (
        "degrees",
        ("West",),
        ("North",),
    )
    assert layout.positions[0].unsigned_longitude == "repair"
    assert (layout.dates["drilled_on"].from_, layout.dates["drilled_on"].formats) == (("When",), ("%m/%d/%Y",))
    assert layout.text["source_record_id"].from_ == ("Our Number",)
    assert (layout.readings["total_depth_ft"].from_, layout.readings["total_depth_ft"].unit) == (
        ("Hole Bottom ft",),
        "ft",
    )
    assert layout.readings["yield_gpm"].from_ == ("Makes",)
    converted = convert_source(read_source(path, layout), layout)
    assert (len(converted.wells), len(converted.held_back)) == (3, 0)


def test_degrees_west_without_a_sign_are_west(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text(UNUSUAL.replace(",-72", ",72"))
    text = settled(draft_layout(path)).replace('unit = "SAY"', 'unit = "gpm"')
    layout = parse_layout(text)
    assert layout.positions[0].unsigned_longitude == "west"
    converted = convert_source(read_source(path, layout), layout)
    assert converted.wells["longitude"].to_list() == [-72.5123, -72.5223, -72.5323]


@pytest.mark.parametrize(
    "columns",
    [
        ("A,B", "44.5,-72.5", "44.6,-72.6", "44.7,-72.7"),  # one decimal: some seven miles
        ("A,B", "91.440,-72.5123", "60.960,-72.5124", "30.480,-72.5125"),  # depths in metres
        ("A,B", "44.5123,72.5123", "44.5124,72.5124", "44.5125,72.5125"),  # which is which?
        ("A,B,C", "44.5123,-72.5,1", "44.5124,,", ",,"),  # too few
        ("A,B,C", "-72.5123,-72.5223,44.5123", "-72.5124,-72.5224,44.5124", "-72.5125,-72.5225,44.5125"),
    ],
)
def test_a_place_is_not_guessed_where_it_is_not_clear(tmp_path, columns):
    path = tmp_path / "firm.csv"
    path.write_text("\n".join(columns))
    text = draft_layout(path)
    assert "# SAY where the wells stand: no column looks like a position" in text
    assert "\n[[positions]]" not in text


@pytest.mark.parametrize(
    "columns",
    [
        ("When,Then", "06/14/1987,06/15/1987", "07/01/1990,07/02/1990", "08/20/1991,08/21/1991"),
        ("Permit day,Job", "06/14/1987,1", "07/01/1990,2", "08/20/1991,3"),
        ("Level,Job", "1987,1", "1990,2", "1991,3"),
        ("When,Job", "06/14/1987,1", "spring,2", "fall,3"),
    ],
)
def test_a_day_is_not_guessed_where_it_is_not_clear(tmp_path, columns):
    path = tmp_path / "firm.csv"
    path.write_text("\n".join(columns))
    assert "# No column looks like a date of drilling." in draft_layout(path)


def test_records_that_name_owners_are_taken_for_private_and_asked_about(tmp_path, state):
    path = tmp_path / "firm.csv"
    path.write_text("Job,Customer,TD ft,Lat,Lon\n1,A,305,45.2,-70.1\n2,B,210,45.3,-70.2\n")
    text = draft_layout(path)
    assert "# SAY whether these records are private: owners are named in it ('Customer')" in text
    assert parse_layout(settled(text)).private
    assert not parse_layout(settled(draft_layout(state))).private


def test_the_units_that_fit_are_named_in_the_draft_and_in_the_refusal(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text("Job,TD,Yield,Lat,Lon\n1,305,4,45.2,-70.1\n2,210,6,45.3,-70.2\n")
    text = draft_layout(path)
    lines = [line for line in text.splitlines() if line.startswith('unit = "SAY"')]
    assert [line.partition(": ")[2] for line in lines] == ["ft, m, in", "gpm, L/s, L/min, m3/h"]
    with pytest.raises(ProblemsError) as caught:
        parse_layout(text)
    open_units = {problem.column: problem.rule for problem in caught.value.problems if "unit open" in problem.rule}
    assert list(open_units) == ["readings.total_depth_ft", "readings.yield_gpm"]
    assert "gpm" not in open_units["readings.total_depth_ft"]
    assert "L/min" in open_units["readings.yield_gpm"]
    assert any("datum open" in problem.rule for problem in caught.value.problems), "all that is open is told at once"


def test_a_draft_says_how_to_tell_the_error_of_places(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text("Job,TD ft,Lat,Lon\n1,305,45.2123,-70.1234\n2,210,45.3123,-70.2234\n")
    text = draft_layout(path)
    assert "so their error is assumed" in text
    told = settled(text).replace('# method = "gps"', 'method = "gps"').replace("# error_m = 10", "error_m = 10")
    assert (parse_layout(told).positions[0].method, parse_layout(told).positions[0].error_m) == ("gps", 10)


def test_remarks_that_say_how_a_well_was_made_are_shown_with_the_tables_that_read_them(tmp_path):
    path = tmp_path / "firm.csv"
    notes = ["hydrofracked", "deepened, old hole", "iron", "test hole, abandoned", "fractured granite", ""]
    rows = "".join(
        f'{number},{100 + number},3,45.{number}1,-70.{number}1,"{note}"\n' for number, note in enumerate(notes)
    )
    path.write_text(f"No,Depth (ft),Yield (gpm),Lat,Long,Notes\n{rows}")
    text = settled(draft_layout(path))
    assert "'hydrofracked' (1)" in text
    assert parse_layout(text).not_used == ("Notes",), "a draft reads no remarks unless it is told to"
    text = text.replace('not_used = ["Notes"]', "not_used = []").replace('# from = ["Notes"]', 'from = ["Notes"]')
    text = taken_up(
        text,
        "[codes.hydrofractured]",
        "[codes.hydrofractured.canonical]",
        "[codes.record_kind]",
        "[codes.record_kind.canonical]",
        'yes = ["hydrofracked"]',
        'deepened = ["deepened, old hole"]',
        'abandoned = ["test hole, abandoned"]',
        'ignore = ["*"]',
    )
    layout = parse_layout(text)
    wells = convert_source(read_source(path, layout), layout).wells.set_index("source_record_id")
    assert wells["hydrofractured"].fillna(False).tolist() == [True, False, False, False, False, False]
    assert wells["record_kind"].tolist() == ["new", "deepened", "new", "abandoned", "new", "new"]


def test_remarks_that_differ_from_row_to_row_are_not_listed(tmp_path):
    path = tmp_path / "firm.csv"
    rows = "".join(f'{number},{100 + number},3,45.1,-70.1,"deepened by {number} ft"\n' for number in range(20))
    path.write_text(f"No,Depth (ft),Yield (gpm),Lat,Long,Notes\n{rows}")
    assert "deepened by" not in draft_layout(path)


def test_a_word_among_figures_comes_with_the_line_that_reads_it(tmp_path):
    path = tmp_path / "firm.csv"
    path.write_text("No,Depth (ft),Rock (ft),Yield (gpm),Lat,Long\n1,200,20,3,45.1,-70.1\n2,60,nil,5,45.2,-70.2\n")
    text = settled(draft_layout(path))
    text = taken_up(text, 'words = { "nil" = "unknown" }').replace('= "unknown" }', '= "not_reached" }')
    layout = parse_layout(text)
    wells = convert_source(read_source(path, layout), layout).wells
    assert wells["depth_to_bedrock_ft_high"].tolist() == [20.0, float("inf")]
