"""The firm's log: nothing lost, nothing half written, read by refresh."""

import csv
import multiprocessing
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from outcome_fixtures import WELL

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.outcomes import LOG_COLUMNS, DrilledWell, file_well, read_outcomes, take_back
from wellrecords.outcomes.drilled_well import checked_well
from wellrecords.outcomes.log import BACKUPS_KEPT


def test_a_filed_well_reads_back(tmp_path):
    log = tmp_path / "firm" / "outcomes.csv"
    assert file_well(log, WELL) == log
    (row,) = read_outcomes(log).to_dict("records")
    assert (row["well_id"], row["lot_id"], str(row["drilled_on"].date())) == ("2026-014", "L7", "2026-05-31")
    assert row["total_depth_ft"] == 305
    assert (row["yield_gpm_low"], row["yield_gpm_high"]) == (6, 6)
    assert (row["cost_usd"], row["billed_usd"]) == (9800, 11000)
    assert log.read_text().splitlines()[0] == ",".join(LOG_COLUMNS)
    assert not list(log.parent.glob("*.lock"))
    assert not list(log.parent.glob("*.part"))


def test_the_time_of_filing_is_kept_where_the_log_has_its_column(tmp_path):
    log = tmp_path / "outcomes.csv"
    before = datetime.now(UTC)
    file_well(log, WELL)
    noon = datetime(2026, 6, 1, 12, tzinfo=timezone(timedelta(hours=-4)))
    file_well(log, WELL | {"well_id": "noon"}, filed_at=noon)
    filed = read_outcomes(log).set_index("well_id")["filed_at"]
    assert before <= filed["2026-014"] <= datetime.now(UTC)
    assert filed["noon"] == noon
    # A log of an older version has no such column: its wells are filed all the same.
    older = tmp_path / "older.csv"
    older.write_text(",".join(name for name in LOG_COLUMNS if name != "filed_at") + "\n")
    file_well(older, WELL)
    assert read_outcomes(older)["filed_at"].isna().tolist() == [True]
    log.write_text("well_id,drilled_on,total_depth_ft,filed_at\na,2020-05-03,300,\nb,2020-05-03,300,noon\n")
    with pytest.raises(ProblemsError) as caught:
        read_outcomes(log)
    assert [(problem.row, problem.column) for problem in caught.value.problems] == [(3, "filed_at")]


def test_readings_become_intervals(tmp_path):
    """Dry is up to the smallest yield reported; rock not reached starts at the hole's depth; flowing is 0 or above."""
    log = tmp_path / "outcomes.csv"
    readings = [("31", "18", "0.5"), ("not reached", "flowing", "dry"), (">305", "", "100+"), ("30 to 35", "12", "0")]
    for number, (rock, water, rate) in enumerate(readings):
        well = WELL | {
            "well_id": f"w{number}",
            "depth_to_bedrock_ft": rock,
            "depth_to_water_ft": water,
            "yield_gpm": rate,
        }
        file_well(log, well)
    table = read_outcomes(log).set_index("well_id")
    ends = table.loc["w1", ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]].tolist()
    assert ends == [305, np.inf]
    assert table.loc["w1", ["depth_to_water_ft_low", "depth_to_water_ft_high"]].tolist() == [-np.inf, 0]
    assert table.loc[["w1", "w3"], "yield_gpm_low"].tolist() == [0, 0]
    assert table.loc[["w1", "w3"], "yield_gpm_high"].tolist() == [0.5, 0.5]
    assert table.loc["w2", ["yield_gpm_low", "yield_gpm_high"]].tolist() == [100, np.inf]
    assert np.isnan(table.loc["w2", "depth_to_water_ft_low"])
    assert table.loc["w3", ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]].tolist() == [30, 35]
    assert read_outcomes(log, smallest_yield_gpm=0.1).set_index("well_id").loc["w1", "yield_gpm_high"] == 0.1


def test_a_dry_hole_of_a_log_whose_weakest_well_is_good_makes_less_than_half_a_gallon(tmp_path):
    log = tmp_path / "outcomes.csv"
    for number, rate in enumerate(("3", "dry")):
        file_well(log, WELL | {"well_id": f"w{number}", "yield_gpm": rate})
    assert read_outcomes(log).set_index("well_id").loc["w1", "yield_gpm_high"] == 0.5


@pytest.mark.parametrize(
    "before",
    [
        b"\xef\xbb\xbfwell_id;remark;drilled_on;total_depth_ft;lot_id;longitude;latitude;casing_depth_ft;depth_to_bedrock_ft;"
        b"depth_to_water_ft;yield_gpm;cost_usd;billed_usd\r\nold 1;two; words;2020-01-02;200\r\n",
        b"well_id,drilled_on,total_depth_ft,lot_id,longitude,latitude,casing_depth_ft,depth_to_bedrock_ft,depth_to_water_ft,"
        b"yield_gpm,cost_usd,billed_usd,owner\nold,2020-01-02,200,,,,,,,,,,Ren\xe9",
    ],
    ids=["semicolons, byte-order mark, windows lines", "cp1252, an own column, no last newline"],
)
def test_a_log_that_stands_keeps_every_byte(tmp_path, before):
    log = tmp_path / "outcomes.csv"
    log.write_bytes(before)
    backup = file_well(log, WELL)
    after = log.read_bytes()
    assert after.startswith(before)
    assert backup.read_bytes() == before
    added = after[len(before) :].decode("cp1252")
    assert added.count("\n") == (1 if before.endswith(b"\n") else 2)
    assert ("\r\n" in added) == (b"\r\n" in before)
    delimiter = ";" if b";" in before else ","
    header = before.removeprefix(b"\xef\xbb\xbf").split(b"\n")[0].decode().strip().split(delimiter)
    (row,) = csv.reader([added.strip()], delimiter=delimiter)
    assert dict(zip(header, row, strict=True))["well_id"] == "2026-014"


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    notes=st.lists(
        st.text(st.characters(min_codepoint=32, blacklist_categories=("Cs", "Cc", "Zl", "Zp")), max_size=30), max_size=4
    ),
    depth=st.floats(1, 3000),
)
def test_nothing_is_lost(tmp_path_factory, notes, depth):
    """Whatever is written in the texts comes back, and earlier lines stand."""
    log = tmp_path_factory.mktemp("firm") / "outcomes.csv"
    contents = b""
    for number, note in enumerate(notes):
        file_well(
            log,
            WELL
            | {
                "well_id": f"w{number}",
                "notes": note,
                "total_depth_ft": depth,
                "casing_depth_ft": None,
                "depth_to_bedrock_ft": "",
                "depth_to_water_ft": "",
            },
        )
        assert log.read_bytes().startswith(contents)
        contents = log.read_bytes()
    if notes:
        with log.open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        assert [row["notes"] for row in rows] == [note.strip() for note in notes]
        assert [float(row["total_depth_ft"]) for row in rows] == [depth] * len(notes)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"total_depth_ft": -3}, "must be above 0"),
        ({"yield_gpm": "plenty"}, "cannot be read as a figure"),
        ({"drilled_on": (datetime.now(UTC) + timedelta(days=3)).date().isoformat()}, "no date on which"),
        ({"drilled_on": "31/05/2026"}, "the month stands first"),
        ({"casing_depth_ft": 400}, "longer than the hole"),
        ({"depth_to_bedrock_ft": "310"}, "lies within the hole"),
        ({"notes": "two\nlines"}, "one line"),
        ({"well_use": "garden"}, "no known code"),
        ({"latitude": 452}, "must be at most 90"),
        ({"colour": "red"}, "no such field"),
        ({"well_id": " "}, "must not be blank"),
    ],
)
def test_faults_are_refused_and_nothing_is_written(tmp_path, change, words):
    log = tmp_path / "outcomes.csv"
    file_well(log, WELL | {"well_id": "first"})
    before = log.read_bytes()
    with pytest.raises(ProblemsError, match="(?s)" + words):
        file_well(log, WELL | change)
    assert log.read_bytes() == before


def test_all_faults_at_once_and_no_well_twice(tmp_path):
    log = tmp_path / "outcomes.csv"
    with pytest.raises(ProblemsError) as caught:
        file_well(log, {"well_id": "w", "total_depth_ft": "deep", "yield_gpm": "?!"})
    assert {problem.column for problem in caught.value.problems} >= {
        "drilled_on",
        "longitude",
        "total_depth_ft",
        "yield_gpm",
    }
    assert not log.exists()
    file_well(log, WELL)
    with pytest.raises(ProblemsError, match="in the log already"):
        file_well(log, WELL)
    assert len(read_outcomes(log)) == 1


def test_a_figure_without_a_column_is_refused(tmp_path):
    log = tmp_path / "outcomes.csv"
    log.write_text("well_id,drilled_on,total_depth_ft,lot_id,longitude,latitude\n")
    with pytest.raises(ProblemsError) as caught:
        file_well(log, WELL)
    assert {problem.column for problem in caught.value.problems} == {
        *("casing_depth_ft", "depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm", "cost_usd", "billed_usd")
    }


def test_other_files_and_bad_cells_are_told(tmp_path):
    log = tmp_path / "outcomes.csv"
    with pytest.raises(WellRecordsError, match="no log of drilled wells"):
        read_outcomes(log)
    log.write_text("name,depth\nx,3\n")
    with pytest.raises(WellRecordsError, match="lacks well_id, drilled_on"):
        file_well(log, WELL)
    log.write_text("well_id,drilled_on,total_depth_ft,yield_gpm\n\na,25/3/2020,300,6\nb,2020-05-03,3OO,lots\n")
    with pytest.raises(ProblemsError) as caught:
        read_outcomes(log)
    assert [(problem.row, problem.column) for problem in caught.value.problems] == [
        (3, "drilled_on"),
        (4, "total_depth_ft"),
        (4, "yield_gpm"),
    ]
    log.write_text("well_id,drilled_on,total_depth_ft\na,2020-05-03,300,too much\n")
    with pytest.raises(ProblemsError, match="more cells than columns"):
        read_outcomes(log)


def test_backups_are_kept_and_only_so_many(tmp_path):
    log = tmp_path / "outcomes.csv"
    for number in range(BACKUPS_KEPT + 4):
        file_well(log, WELL | {"well_id": f"w{number:03d}"})
    backups = sorted((tmp_path / "outcomes_backups").iterdir())
    assert len(backups) == BACKUPS_KEPT
    assert log.read_bytes().startswith(backups[-1].read_bytes())
    assert len(read_outcomes(backups[-1])) == BACKUPS_KEPT + 3


def _file_several(log, name):
    for number in range(5):
        file_well(log, WELL | {"well_id": f"{name}-{number}"})


def test_two_offices_filing_at_once_lose_nothing(tmp_path):
    log = tmp_path / "outcomes.csv"
    context = multiprocessing.get_context("fork")
    workers = [context.Process(target=_file_several, args=(log, name)) for name in ("a", "b", "c")]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert [worker.exitcode for worker in workers] == [0, 0, 0]
    assert sorted(read_outcomes(log)["well_id"]) == sorted(f"{name}-{number}" for name in "abc" for number in range(5))


def test_a_lock_left_behind_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("wellrecords.outcomes.log._LOCK_WAIT_S", 0.1)
    log = tmp_path / "outcomes.csv"
    (tmp_path / "outcomes.csv.lock").touch()
    with pytest.raises(WellRecordsError, match="Another filing holds"):
        file_well(log, WELL)


def test_refresh_reads_the_log_as_a_source(tmp_path):
    """The layout firm_outcomes takes the log to canonical wells, and knows every column that is filed."""
    from wellrecords.cleaning.convert import convert_source
    from wellrecords.sources import load_layout, read_source

    log = tmp_path / "outcomes.csv"
    file_well(
        log,
        WELL | {"water_zones": "120' 2 gpm, 290' 4 gpm", "layers": "0-31 clay; 31-305 granite", "hydrofractured": "no"},
    )
    file_well(
        log,
        WELL
        | {
            "well_id": "dry one",
            "yield_gpm": "dry",
            "depth_to_bedrock_ft": "not reached",
            "depth_to_water_ft": "flowing",
        },
    )
    layout = load_layout("firm_outcomes")
    converted = convert_source(read_source(log, layout), layout)
    assert converted.held_back.empty
    wells = converted.wells.set_index("source_record_id")
    assert wells["private"].all()
    assert wells.loc["2026-014", "total_depth_ft"] == 305
    assert wells.loc["2026-014", "yield_gpm_low"] == 6
    assert wells.loc["dry one", ["yield_gpm_low", "yield_gpm_high"]].tolist() == [0, 0.5]
    assert wells.loc["dry one", ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]].tolist() == [305, np.inf]
    assert wells.loc["dry one", "depth_to_water_ft_high"] == 0
    assert len(converted.layers) == 2
    assert converted.water_zones["depth_ft"].tolist() == [120, 290]
    known = layout.known_names()
    assert {name.replace("_", " ") for name in (*DrilledWell.model_fields, *LOG_COLUMNS)} <= known


def test_a_log_that_a_spreadsheet_saved_is_read(tmp_path):
    log = tmp_path / "outcomes.csv"
    file_well(log, WELL)
    as_filed = read_outcomes(log)
    line = log.read_text()
    for ours, theirs in (("2026-05-31,", "5/31/2026,"), ("2026-05-31,", "05/31/26,"), (",9800,", ',"$9,800.00 ",')):
        assert ours in line
        log.write_text(line.replace(ours, theirs))
        assert read_outcomes(log).equals(as_filed)
    log.write_text(line.replace(",305,", ',"1,305",'))
    assert read_outcomes(log)["total_depth_ft"].tolist() == [1305]


@pytest.mark.parametrize("text", ["31/5/2026", "5-31-2026", "5.6.2026", "2/30/2026", "May 31", ""])
def test_a_date_that_may_be_two_is_refused_with_the_rule(tmp_path, text):
    log = tmp_path / "outcomes.csv"
    log.write_text(f"well_id,drilled_on,total_depth_ft\na,{text},300\n")
    with pytest.raises(ProblemsError) as caught:
        read_outcomes(log)
    (problem,) = caught.value.problems
    assert (problem.row, problem.column, problem.value) == (2, "drilled_on", text)
    assert "or month first with slashes as 5/31/2026; what may be two days" in problem.rule


def test_the_layout_reads_what_a_spreadsheet_saved(tmp_path):
    from wellrecords.cleaning.convert import convert_source
    from wellrecords.sources import load_layout, read_source

    path = tmp_path / "outcomes.csv"
    dates = ("2026-05-31", "5/31/2026", "5/31/26")
    for number, text in enumerate(dates):
        file_well(path, WELL | {"well_id": f"w{number}"})
        path.write_text(path.read_text().replace(f"w{number},L7,2026-05-31", f"w{number},L7,{text}"))
    layout = load_layout("firm_outcomes")
    converted = convert_source(read_source(path, layout), layout)
    assert converted.held_back.empty
    assert [f"{day:%Y-%m-%d}" for day in converted.wells["drilled_on"]] == ["2026-05-31"] * 3


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_a_well_that_is_taken_back_is_moved_as_it_stood(tmp_path, newline):
    log = tmp_path / "outcomes.csv"
    for name in ("a", "b", "c"):
        file_well(log, WELL | {"well_id": name})
    log.write_bytes(log.read_bytes().replace(b"\n", newline.encode()))
    before = log.read_bytes().splitlines(keepends=True)
    beside = take_back(log, "b")
    assert beside == tmp_path / "outcomes_taken_back.csv"
    assert log.read_bytes() == b"".join(before[:2] + before[3:])
    assert beside.read_bytes() == before[0] + before[2]
    backups = sorted((tmp_path / "outcomes_backups").glob("*.csv"))
    assert backups[-1].read_bytes() == b"".join(before)
    take_back(log, "c")
    assert beside.read_bytes() == before[0] + before[2] + before[3]
    assert read_outcomes(beside)["well_id"].tolist() == ["b", "c"]
    # Its number is free again.
    file_well(log, WELL | {"well_id": "b"})
    assert read_outcomes(log)["well_id"].tolist() == ["a", "b"]


def test_a_line_over_several_lines_and_one_without_an_end_are_moved_whole(tmp_path):
    log = tmp_path / "outcomes.csv"
    header, first = b"well_id,drilled_on,total_depth_ft,notes\n", b"old,2020-01-02,200,plain\n"
    taken, last = b'two,2020-01-03,210,"deep\nand dry"\n', b"new,2020-01-04,220,"
    log.write_bytes(header + first + taken + last)
    assert take_back(log, "two").read_bytes() == header + taken
    assert log.read_bytes() == header + first + last
    assert take_back(log, "new").read_bytes() == header + taken + last + b"\n"
    # Other columns, another file: a line is never set under a header that is not its own.
    log.write_bytes(b"well_id,drilled_on,total_depth_ft\nx,2020-01-02,200\n")
    assert take_back(log, "x").name == "outcomes_taken_back_2.csv"


def test_what_cannot_be_taken_back_is_told_and_nothing_moves(tmp_path):
    log = tmp_path / "outcomes.csv"
    with pytest.raises(WellRecordsError, match="There is no log"):
        take_back(log, "a")
    log.write_text("well_id,drilled_on,total_depth_ft\n26-04,2020-01-02,200\nb,2020-01-02,200\nb,2020-01-02,200\n")
    before = log.read_bytes()
    with pytest.raises(WellRecordsError, match=r"no well 2604 in .* Next: did you mean 26-04"):
        take_back(log, "2604")
    with pytest.raises(WellRecordsError, match=r"more than once \(lines 3, 4\)"):
        take_back(log, "b")
    with pytest.raises(WellRecordsError, match="no well well_id"):
        take_back(log, "well_id")
    assert log.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["outcomes.csv"]


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ({"total_depth_ft": "305'"}, {"total_depth_ft": 305}),
        ({"total_depth_ft": "1,305 ft"}, {"total_depth_ft": 1305}),
        ({"casing_depth_ft": "42.5 feet", "casing_diameter_in": '6"'}, {"casing_diameter_in": 6}),
        ({"cost_usd": "$9,800 "}, {"cost_usd": 9800}),
        ({"drilled_on": "5/31/2026"}, {}),
        ({"drilled_on": "5/31/26"}, {}),
        ({"depth_to_bedrock_ft": "none"}, {"depth_to_bedrock_ft": "not reached"}),
        ({"depth_to_bedrock_ft": "31'", "depth_to_water_ft": "18 ft"}, {}),
    ],
)
def test_what_the_log_may_hold_may_be_filed_and_is_read_alike(tmp_path, typed, plain):
    log, other, by_hand = tmp_path / "typed.csv", tmp_path / "plain.csv", tmp_path / "hand.csv"
    now = datetime.now(UTC)
    file_well(log, WELL | typed, filed_at=now)
    file_well(other, WELL | plain, filed_at=now)
    assert read_outcomes(log).equals(read_outcomes(other))
    # The same spellings, typed into the log itself.
    with by_hand.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [*WELL, "casing_diameter_in", "filed_at"], restval="")
        writer.writeheader()
        writer.writerow(WELL | typed | {"filed_at": now.strftime("%Y-%m-%dT%H:%M:%S.%fZ")})
    # Only a filing writes the defaults of the codes.
    assert read_outcomes(by_hand).drop(columns="yield_method").equals(read_outcomes(other).drop(columns="yield_method"))


def test_no_rock_in_a_log_kept_by_hand_is_rock_not_reached_at_the_refresh_too(tmp_path):
    from wellrecords.cleaning.convert import convert_source
    from wellrecords.sources import load_layout, read_source

    log = tmp_path / "outcomes.csv"
    file_well(log, WELL | {"depth_to_bedrock_ft": "none"})
    assert ",not reached," in log.read_text()
    log.write_text(log.read_text().replace(",not reached,", ",none,"))
    layout = load_layout("firm_outcomes")
    ends = convert_source(read_source(log, layout), layout).wells[
        ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]
    ]
    assert ends.to_numpy().tolist() == [[305, np.inf]]


def test_many_strange_fields_are_told_once_with_the_list():
    with pytest.raises(ProblemsError) as caught:
        checked_well({"Well": "a", "TD": "210", "GPM": "6"})
    told = str(caught.value)
    assert told.count("casing_diameter_in") == 1
    assert "there are no such fields (3 of them) (column Well, TD, GPM)" in told
    assert "start from an empty form (--form FILE)" in told
