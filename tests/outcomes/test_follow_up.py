"""Estimates kept, a drilled well filed and compared, the account taken: by the functions and by the commands."""

import json
from datetime import date
from types import SimpleNamespace

import pandas as pd
import pytest
from outcome_fixtures import WELL, Draws, make_record
from typer.testing import CliRunner

from wellrecords import follow_up
from wellrecords.cli.verbs import app
from wellrecords.demand import DemandSettings
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.outcomes import OUTCOME_COLUMNS, read_estimates, read_outcomes, write_estimate
from wellrecords.settings import load_settings

SETTINGS = """
[region]
name = "Simulated"
crs = "EPSG:26919"
bounds = [-71, 44, -68, 46]
store = "store"
[[sources]]
file = "none.csv"
layout = "california_wcr"
[bid]
price_book = "prices.toml"
[outcomes]
file = "firm/drilled.csv"
estimates = "firm/estimates"
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "region.toml"
    path.write_text(SETTINGS)
    (tmp_path / "prices.toml").write_text("pump = 1")
    return path


@pytest.fixture
def settings(file):
    return load_settings(file)


def well_file(path, fields):
    """Write a CSV of one row."""
    pd.DataFrame([fields]).to_csv(path, index=False)
    return path


def apart(number):
    """Return a place on the lot of `WELL` for each number, some 20 m from the next."""
    return {"longitude": round(WELL["longitude"] + 0.00025 * number, 6)}


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def keep(settings, monkeypatch, fingerprint="f1", persons=4, given_on=date(2026, 4, 1)):
    monkeypatch.setattr(follow_up, "read_manifest", lambda _: {"fingerprint": fingerprint})
    draws = pd.DataFrame({"yield_gpm": [1.0, 2.0, 3.0]})
    job = SimpleNamespace(
        lot_id="L7", estimate=Draws("L7", draws), demand=DemandSettings(persons=persons, bedrooms=None), bid=None
    )
    return follow_up.keep_estimates(settings, [job], given_on=given_on)


@pytest.mark.parametrize("first", ["keep", "file"])
def test_a_well_filed_already_is_not_held_against_an_estimate_kept_after_it(
    first, settings, file, tmp_path, monkeypatch
):
    today = date.today()
    words = ("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | {"drilled_on": today.isoformat()}))
    if first == "keep":
        keep(settings, monkeypatch, given_on=today)
        assert run(*words).exit_code == 0
    else:
        assert run(*words).exit_code == 0
        keep(settings, monkeypatch, given_on=today)
    told = run("outcomes", file).output
    assert f"{int(first == 'keep')} of 1 filed wells" in told


def test_a_log_that_cannot_say_when_a_well_was_filed_is_told_what_it_lacks(settings, file, tmp_path, monkeypatch):
    today = date.today()
    keep(settings, monkeypatch, given_on=today)
    (tmp_path / "firm" / "drilled.csv").write_text(",".join(OUTCOME_COLUMNS) + "\n")
    words = ("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | {"drilled_on": today.isoformat()}))
    told = run(*words).output
    assert "was kept on the day of drilling" in told
    assert "Next: add the column filed_at to the log's first line" in told


def test_an_estimate_is_kept_once_and_says_what_it_was_made_from(settings, monkeypatch, tmp_path):
    first = keep(settings, monkeypatch)
    assert keep(settings, monkeypatch) == first
    assert first[0].parent == tmp_path / "firm" / "estimates"
    keep(settings, monkeypatch, fingerprint="f2")
    keep(settings, monkeypatch, persons=6)
    (tmp_path / "prices.toml").write_text("pump = 2")
    keep(settings, monkeypatch)
    records = read_estimates(tmp_path / "firm" / "estimates")
    assert len({record.inputs_hash for record in records}) == len(records) == 4
    # Where the files stand is no part of what the estimate was made from.
    assert str(tmp_path) not in first[0].read_text()


def test_a_well_is_filed_from_a_row_and_compared(file, tmp_path):
    write_estimate(tmp_path / "firm" / "estimates", make_record())
    done = run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    assert done.exit_code == 0, done.output
    assert "Filed: 2026-014" in done.output
    assert "Depth to rock: 31 ft" in done.output
    assert "Money: a profit of 1,200 dollars" in done.output
    assert list(read_outcomes(tmp_path / "firm" / "drilled.csv")["well_id"]) == ["2026-014"]


def test_toml_and_options_give_the_same_line_as_a_row(file, tmp_path):
    toml = tmp_path / "well.toml"
    toml.write_text("\n".join(f"{name} = {json.dumps(value)}" for name, value in WELL.items() if name != "drilled_on"))
    log = tmp_path / "firm" / "drilled.csv"
    lines = []
    for words in (
        ("--from", well_file(tmp_path / "well.csv", WELL)),
        ("--from", toml, "--drilled-on", "2026-05-31"),
        (
            *("--well-id", "2026-014", "--lot", "L7", "--drilled-on", "2026-05-31", "--at=-70.0,45.2"),
            *("--depth-ft", "305", "--rock-ft", "31", "--water-ft", "18", "--yield-gpm", "6"),
            *("--cost-usd", "9800", "--billed-usd", "11000", "--field", "casing_depth_ft=42.5"),
        ),
    ):
        done = run("file-well", file, *words)
        assert done.exit_code == 0, done.output
        # The time of the filing, last on the line, is another each time.
        lines.append(log.read_text().rpartition(",")[0])
        log.unlink()
    assert lines[0] == lines[1] == lines[2]
    assert lines[0].startswith(",".join(OUTCOME_COLUMNS))


def test_an_option_wins_over_the_file(settings, file, tmp_path):
    run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL), "--yield-gpm", "<0.5")
    assert read_outcomes(settings.outcomes["file"])["yield_gpm_high"].tolist() == [0.5]


def test_a_faulty_well_is_not_filed_and_all_its_faults_are_told(settings, tmp_path):
    with pytest.raises(ProblemsError, match="2 problems") as caught:
        follow_up.file_and_compare(settings, {**WELL, "casing_depth_ft": "wide", "colour": "red"})
    assert {problem.column for problem in caught.value.problems} == {"casing_depth_ft", "colour"}
    assert not (tmp_path / "firm" / "drilled.csv").exists()


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("well.csv", "well_id,lot_id\na,b\nc,d\n", "holds 2 wells"),
        ("well.csv", "well_id,lot_id\n", "holds 0 wells"),
        ("well.csv", "well_id,lot_id\na,b,c\n", "more cells than columns"),
        ("well.toml", "well_id = ", "cannot be read"),
    ],
)
def test_a_file_that_is_not_one_well_is_refused(tmp_path, name, text, told):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(WellRecordsError, match=told):
        follow_up.read_well(path)


def test_blanks_are_left_out_and_truth_values_are_words(tmp_path):
    path = tmp_path / "well.toml"
    path.write_text('well_id = " a "\nlot_id = ""\nhydrofractured = true\ndrilled_on = 2026-05-31\n')
    assert follow_up.read_well(path) == {"well_id": "a", "hydrofractured": "yes", "drilled_on": "2026-05-31"}


def test_the_account_is_shown_with_its_warnings(file, tmp_path):
    write_estimate(tmp_path / "firm" / "estimates", make_record())
    for number in range(12):
        well = WELL | {"well_id": f"w{number}", "depth_to_bedrock_ft": "300"} | apart(number)
        assert run("file-well", file, "--from", well_file(tmp_path / "well.csv", well)).exit_code == 0
    done = run("outcomes", file)
    assert done.exit_code == 0
    assert "12 of 12 filed wells have an estimate" in done.output
    assert "Warning, depth to rock: " in done.output
    assert "wells come out deeper than estimated" in done.output


@pytest.mark.parametrize("words", [("outcomes",), ("file-well", "--well-id", "a")])
def test_settings_without_the_table_are_told_what_to_set(words, tmp_path):
    path = tmp_path / "region.toml"
    path.write_text(SETTINGS.partition("[outcomes]")[0])
    done = run(words[0], path, *words[1:])
    assert isinstance(done.exception, WellRecordsError)
    assert "under [outcomes]" in str(done.exception)


def test_the_faults_of_a_well_name_the_options_in_plain_words(file):
    done = run("file-well", file, "--well-id", "a", "--drilled-on", "May", "--depth-ft", "deep", "--cost-usd", "-1")
    told = str(done.exception)
    assert "a field is missing (column --at (longitude, latitude)). Rule: it must be given" in told
    assert "column --drilled-on (drilled_on), value 'May'). Rule: a date is written 2026-05-31" in told
    assert "column --depth-ft (total_depth_ft), value 'deep'). Rule: it is a number" in told
    assert "column --cost-usd (cost_usd), value '-1'). Rule: it must be at least 0" in told
    assert "4 problems" in told
    assert "nput should" not in told
    assert "Field required" not in told


def test_a_field_that_is_no_pair_is_refused(file):
    done = run("file-well", file, "--field", "casing")
    assert "NAME=VALUE" in str(done.exception)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"lot_id": "L77"}, "No estimate of a lot L77 is kept; kept are L7, L8."),
        (
            {"drilled_on": "2026-03-01"},
            "The estimate of lot L7 was kept on 2026-04-01, after the well was drilled on 2026-03-01",
        ),
    ],
)
def test_a_well_that_does_not_fit_its_lot_is_asked_about_then_filed_and_told(file, tmp_path, other, said):
    for lot_id in ("L7", "L8"):
        write_estimate(tmp_path / "firm" / "estimates", make_record(lot_id=lot_id))
    words = ("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | other))
    assert "The well is not filed yet: 1 problem." in str(run(*words).exception)
    assert not (tmp_path / "firm" / "drilled.csv").exists()
    done = run(*words, "--sure")
    assert done.exit_code == 0, done.output
    assert said in done.output
    assert "Filed: 2026-014" in done.output


@pytest.mark.parametrize(
    ("other", "column", "said"),
    [
        ({"longitude": -70.5}, "--at (longitude, latitude)", "24 miles from lot L7: wrong lot or wrong place?"),
        ({"longitude": -70.012}, "--at (longitude, latitude)", "0.6 miles from lot L7: wrong lot or wrong place?"),
        ({"yield_gpm": "800000"}, "--yield-gpm (yield_gpm)", "Rule: 0 to 25,000 is believed: no single well yields"),
        ({"total_depth_ft": 9000}, "--depth-ft (total_depth_ft)", "Rule: 1 to 5,000 is believed: no water well is so"),
    ],
)
def test_what_is_hardly_true_is_not_filed_until_one_is_sure(file, tmp_path, other, column, said):
    write_estimate(tmp_path / "firm" / "estimates", make_record())
    words = ("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | other))
    asked = run(*words)
    assert isinstance(asked.exception, ProblemsError)
    told = str(asked.exception)
    assert "The well is not filed yet: 1 problem." in told
    assert f"column {column}, value" in told
    assert said in told
    assert "or file it all the same with --sure" in told
    log = tmp_path / "firm" / "drilled.csv"
    assert not log.exists()
    done = run(*words, "--sure")
    assert done.exit_code == 0, done.output
    assert f"Filed: 2026-014 in {log} (to take it back: --take-back 2026-014)" in done.output
    assert len(read_outcomes(log)) == 1


def test_a_lot_that_was_never_estimated_lies_where_the_lots_file_has_it(file, tmp_path):
    (tmp_path / "lots.csv").write_text("lot,lat,lon\nL7,45.2,-70.3\n")
    file.write_text(f'{SETTINGS}[lots]\nfile = "lots.csv"\n')
    words = ("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    assert "the well stands 15 miles from lot L7" in str(run(*words).exception)
    # A lot of another file is no reason to refuse its well.
    assert run(*words, "--lot", "L8").exit_code == 0


def test_the_region_s_own_rules_say_what_is_doubted(settings, file, tmp_path):
    rules = tmp_path / "rules.csv"
    rules.write_text(
        "rule,check,columns,other,low,high,action,why,source\n"
        "deep,outside_range,total_depth_ft,,1,300,flag,nobody drills so deep here,common practice\n"
    )
    file.write_text(f'{SETTINGS}[cleaning]\nrules = "{rules}"\n')
    with pytest.raises(ProblemsError, match="1 to 300 is believed: nobody drills so deep here"):
        follow_up.file_and_compare(load_settings(file), WELL)


def test_a_depth_below_the_hole_names_its_option(file, tmp_path):
    done = run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL), "--rock-ft", "400")
    assert "column --rock-ft (depth_to_bedrock_ft), value '400'). Rule: it lies within the hole (305 ft)" in str(
        done.exception
    )


def test_a_well_on_its_lot_raises_no_question_and_an_older_record_without_a_place_neither(file, tmp_path):
    folder = tmp_path / "firm" / "estimates"
    write_estimate(folder, make_record())
    done = run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    assert "wrong lot" not in done.output
    (record,) = folder.glob("*.json")
    older = {
        name: value for name, value in json.loads(record.read_text()).items() if name not in ("longitude", "latitude")
    }
    record.write_text(json.dumps(older))
    moved = WELL | {"well_id": "w2", "longitude": -70.5}
    done = run("file-well", file, "--from", well_file(tmp_path / "well.csv", moved))
    assert done.exit_code == 0, done.output
    assert "wrong lot" not in done.output
    assert "Depth to rock: 31 ft" in done.output


def test_what_a_yield_was_estimated_of_and_the_way_into_the_dataset_are_told(file, tmp_path):
    write_estimate(tmp_path / "firm" / "estimates", make_record())
    done = run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    assert (
        "Yield (against that of finished wells around here; the page's headline is of the planned hole): 6 gpm"
        in done.output
    )
    log = tmp_path / "firm" / "drilled.csv"
    assert f'file = "{log}" and layout = "firm_outcomes"' in done.output
    file.write_text(f'{SETTINGS}[[sources]]\nfile = "firm/drilled.csv"\nlayout = "firm_outcomes"\n')
    again = run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | {"well_id": "w2"} | apart(1)))
    assert again.exit_code == 0, again.output
    assert "add the log to the settings" not in again.output


def test_few_outcomes_are_counted_without_a_share(file, tmp_path):
    write_estimate(tmp_path / "firm" / "estimates", make_record())
    run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    told = run("outcomes", file).output
    (line,) = [line for line in told.splitlines() if line.startswith("depth to the wanted")]
    # No share is known of any quantity yet, so the columns of shares are left out.
    assert line.split()[-4:] == ["1", "0", "0", "1"]
    assert "covers" not in told
    assert told.count("too few") + told.count("Too few") == 3
    assert "1 well: too few to see drift" in told
    for number in range(5):
        run(
            "file-well",
            file,
            "--from",
            well_file(tmp_path / "well.csv", WELL | {"well_id": f"n{number}"} | apart(number + 1)),
        )
    lines = run("outcomes", file).output.splitlines()
    assert "covers" in lines[0]
    (line,) = [line for line in lines if line.startswith("depth to rock")]
    assert "%" in line
    (line,) = [line for line in lines if line.startswith("depth to the wanted")]
    assert "%" not in line, "of none of the six can it be told"


def test_numbers_are_filed_as_people_type_them_and_refused_with_a_unit(file, tmp_path):
    words = ("--from", well_file(tmp_path / "well.csv", WELL))
    typed = ("--depth-ft", "1,305", "--cost-usd", "$9,800.50", "--billed-usd", "$11,000")
    done = run("file-well", file, *words, *typed)
    assert done.exit_code == 0, done.output
    filed = read_outcomes(tmp_path / "firm" / "drilled.csv").iloc[0]
    assert (filed["total_depth_ft"], filed["cost_usd"], filed["billed_usd"]) == (1305, 9800.5, 11000)
    with pytest.raises(ProblemsError) as caught:
        follow_up.file_and_compare(load_settings(file), WELL | {"well_id": "m", "total_depth_ft": "93 m"})
    (problem,) = caught.value.problems
    assert (problem.column, problem.value) == ("total_depth_ft", "93 m")
    assert "it is a number alone, without a unit ('m')" in problem.rule
    assert len(read_outcomes(tmp_path / "firm" / "drilled.csv")) == 1, "nothing was filed"


def test_a_filed_well_is_taken_back_and_it_is_said_where_its_line_went(file, tmp_path):
    log = tmp_path / "firm" / "drilled.csv"
    run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    mixed = run("file-well", file, "--take-back", "2026-014", "--lot", "L7")
    assert "--take-back stands alone" in str(mixed.exception)
    done = run("file-well", file, "--take-back", "2026-014")
    assert done.exit_code == 0, done.exception
    beside = tmp_path / "firm" / "drilled_taken_back.csv"
    assert f"Taken back: 2026-014; its line was moved from {log} to {beside}." in done.output
    assert "until the next refresh" not in done.output
    assert len(read_outcomes(log)) == 0
    spaced = run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | {"well_id": "No 7"}))
    assert "(to take it back: --take-back 'No 7')" in spaced.output
    assert run("file-well", file, "--take-back", "No 7").exit_code == 0
    assert "0 of 0 filed wells" in run("outcomes", file).output
    file.write_text(f'{SETTINGS}[[sources]]\nfile = "firm/drilled.csv"\nlayout = "firm_outcomes"\n')
    run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL))
    run("file-well", file, "--from", well_file(tmp_path / "well.csv", WELL | {"well_id": "b"} | apart(1)))
    told = run("file-well", file, "--take-back", "2026-014").output
    assert "The dataset knows it until the next refresh." in told
    assert "holds no well now" not in told
    told = run("file-well", file, "--take-back", "b").output
    assert "The log holds no well now: take its [[sources]] out of the settings until one is filed." in told


def test_an_empty_form_is_written_filled_in_and_filed(file, tmp_path):
    form = tmp_path / "form.csv"
    done = run("file-well", file, "--form", form)
    assert f"Form: {form}; fill in a row below its first line" in done.output
    assert not (tmp_path / "firm").exists()
    assert "stands already" in str(run("file-well", file, "--form", form).exception)
    headings = form.read_text(encoding="utf-8-sig").strip().split(",")
    assert headings == list(OUTCOME_COLUMNS)
    form.write_text(form.read_text() + ",".join(str(WELL.get(name, "")) for name in headings) + "\n")
    assert run("file-well", file, "--from", form).exit_code == 0


def test_the_help_names_every_field_and_headings_may_differ_by_case_and_blanks(tmp_path):
    told = " ".join(run("file-well", "--help").output.replace(",", " ").replace(".", " ").split())
    assert " ".join(OUTCOME_COLUMNS) in told
    path = tmp_path / "well.csv"
    path.write_text("Well ID,Total_Depth_FT,colour\na,305,red\n")
    assert follow_up.read_well(path) == {"well_id": "a", "total_depth_ft": "305", "colour": "red"}


def test_options_are_read_as_the_log_is(settings, file):
    words = (
        "--well-id",
        "a",
        "--drilled-on",
        "5/31/2026",
        "--at=-70.0,45.2",
        "--depth-ft",
        "340'",
        "--rock-ft",
        "none",
    )
    done = run("file-well", file, *words)
    assert done.exit_code == 0, done.exception
    (well,) = read_outcomes(settings.outcomes["file"]).to_dict("records")
    assert (f"{well['drilled_on']:%Y-%m-%d}", well["total_depth_ft"]) == ("2026-05-31", 340)
    assert well["depth_to_bedrock_ft_low"] == 340
