"""The report of a refresh, from a small region that is really refreshed."""

from __future__ import annotations

import csv
import re
from html import unescape

import pandas as pd
import pytest
from report_browser import visit
from report_fakes import HOSTILE, Outline

from wellrecords.errors import WellRecordsError
from wellrecords.refresh import refresh
from wellrecords.report import write_refresh_report, write_reports, write_run_report
from wellrecords.run_tables import run_summary
from wellrecords.settings import load_settings

LAYOUT = """
name = "{name}"
description = "A small file for tests."
text.source_record_id = {{ from = "NO" }}
dates.drilled_on = {{ from = ["DATE"], formats = ["%Y-%m-%d"] }}
readings.total_depth_ft = {{ from = "DEPTH", unit = "ft", zero = "unknown" }}
readings.yield_gpm = {{ from = "GPM", unit = "gpm", zero = "dry" }}
layers = {{ text_from = ["LOG"] }}

[[positions]]
kind = "degrees"
x = ["LON"]
y = ["LAT"]
method = "gps"
"""
FIRM = [
    ["1", "1994-06-17", "200", "5", "-70.05", "45.3", "0-10 zzqqx; 10-200 granite"],
    ["2", "1995-06-17", "0", "<0.5", "-70.06", "45.3", "0-10 clay; 10-300 granite"],
    ["3", "1996-06-17", "3OO secret", "4", "-70.07", "45.3", ""],
    ["4", "1996-06-17", "310", "4", "-70.08", "45.3", ""],
]
STATE = [
    ["A", "1994-06-17", "200", "5", "-70.15", "45.3", ""],
    ["B", "1997-06-17", "240", "100+", "-70.16", "45.3", ""],
    ["C", "1997-06-17", "0", "6", "-70.17", "45.3", ""],
    ["D", "1997-06-17", "250", "6", "-70.18", "45.3", ""],
    ["E", "1998-06-17", "24O public", "6", "-70.19", "45.3", ""],
]
REGION = """
[region]
name = "Small <i>Hills</i>"
crs = "EPSG:26919"
bounds = [-70.5, 45.0, -69.5, 45.6]
store = "store"
"""


@pytest.fixture(scope="module")
def settings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    text = REGION
    for name, rows, private in (("state", STATE, "false"), ("firm", FIRM, "true")):
        (folder / f"{name}.toml").write_text(LAYOUT.format(name=name))
        with (folder / f"{name}.csv").open("w", newline="") as file:
            csv.writer(file).writerows([["NO", "DATE", "DEPTH", "GPM", "LON", "LAT", "LOG"], *rows])
        text += f'[[sources]]\nfile = "{name}.csv"\nlayout = "{name}.toml"\nprivate = {private}\n'
    (folder / "region.toml").write_text(text)
    whole = load_settings(folder / "region.toml")
    refresh(whole)
    return whole


@pytest.fixture(scope="module")
def report(settings, tmp_path_factory):
    return write_refresh_report(tmp_path_factory.mktemp("reports"), settings)


def test_the_rows_are_accounted_for_worst_source_first(report):
    text = Outline(report.read_text("utf-8")).text
    assert "9 rows read = 7 kept + 0 merged into another + 2 held back" in text
    assert "Worst is firm: 25.0% of its rows are held back." in text
    assert text.index("firm 4 3 0 1 25.0%") < text.index("state 5 4 0 1 20.0%") < text.index("All 9 7 0 2 22.2%")
    assert "zero unknown total depth" in text
    assert "Yield 5 1 0 1 0" in text
    assert "0 pairs left undecided" in text


def test_no_text_of_a_private_row_is_shown_but_single_words(report):
    html = report.read_text("utf-8")
    assert "24O public" in html
    assert "secret" not in html
    assert "firm unreadable reading not shown: private rows only 1" in Outline(html).text
    assert "zzqqx firm 1" in Outline(html).text
    assert "10-200" not in html
    assert "Not for passing on" in html


def test_flowing_wells_are_told_to_be_in_no_bar(settings, tmp_path):
    tables = run_summary(settings.region.store)
    level = tables["intervals"]["quantity"] == "depth_to_water_ft"
    tables["intervals"].loc[level, "at_most"] = 2
    bins = tables["histograms"].query("column == 'total_depth_ft'").assign(column="depth_to_water_ft")
    tables["histograms"] = pd.concat([tables["histograms"], bins])
    html = write_run_report(tmp_path / "run.html", summary=tables, region="Hills").read_text("utf-8")
    assert Outline(html).text.count("In no bar: 2 wells that flow, or whose level is known at most.") == 1
    tables["intervals"].loc[level, "at_most"] = 0
    html = write_run_report(tmp_path / "none.html", summary=tables, region="Hills").read_text("utf-8")
    assert "In no bar" not in html


def test_without_private_rows_the_page_may_be_passed_on(settings, tmp_path):
    tables = run_summary(settings.region.store)
    tables["sources"] = tables["sources"].assign(private=False)
    html = write_run_report(tmp_path / "run.html", summary=tables, region="Hills").read_text("utf-8")
    assert "Not for passing on" not in html


def test_the_page_is_whole_offline_and_the_same_each_time(report, settings, tmp_path):
    html = report.read_text("utf-8")
    page = Outline(html)
    assert page.loads == []
    assert len(page.ids) == len(set(page.ids))
    assert html.count('<svg class="chart"') == 2, "depth and yield are on record"
    assert "script-src 'none'" in unescape(html)
    assert write_refresh_report(tmp_path, settings).read_bytes() == report.read_bytes()


@pytest.fixture(scope="module")
def hostile(settings):
    """The same tables, every text in them hostile."""
    tables = run_summary(settings.region.store)
    for name, columns in {
        "sources": ["source"],
        "held_back_by_reason": ["source", "reason", "why"],
        "changes_by_rule": ["rule", "column", "why"],
        "flags_by_rule": ["rule", "column", "why"],
        "merged_by_kind": ["why"],
        "unknown_words": ["source", "word", "example"],
    }.items():
        filled = tables[name] if len(tables[name]) else pd.DataFrame([dict.fromkeys(tables[name].columns, 1)])
        tables[name] = filled.assign(**dict.fromkeys(columns, HOSTILE))
    return tables


def test_hostile_words_stay_text(hostile, tmp_path):
    path = write_run_report(tmp_path / "run.html", summary=hostile, region=HOSTILE, prepared_by=HOSTILE)
    html = path.read_text("utf-8")
    page = Outline(html)
    assert not {"script", "img"} & set(page.tags)
    assert page.loads == []
    assert " ".join(HOSTILE.split()) in page.text
    # A text that turns the reading direction is shut in with its cell.
    bare = re.sub(r"<bdi>.*?</bdi>|<title>.*?</title>", "", html, flags=re.DOTALL)
    assert "\u202e" not in bare


@pytest.mark.browser
def test_a_browser_runs_nothing_of_it(chromium, hostile, tmp_path):
    seen = visit(chromium, write_run_report(tmp_path / "run.html", summary=hostile, region=HOSTILE))
    assert seen.console == ()
    assert "<title>hit" not in seen.dom


def test_rows_that_do_not_add_up_are_refused(settings, tmp_path):
    tables = run_summary(settings.region.store)
    tables["sources"] = tables["sources"].assign(kept=0)
    with pytest.raises(WellRecordsError, match="do not add up"):
        write_run_report(tmp_path / "run.html", summary=tables, region="Hills")
    assert not (tmp_path / "run.html").exists()


def test_the_index_links_it_for_the_contractor_alone(settings, tmp_path):
    index = write_reports(tmp_path / "firm", settings, [])
    assert "./run.html" in Outline(index.read_text("utf-8")).loads
    owner = write_reports(tmp_path / "owner", settings, [], audience="owner")
    assert "run.html" not in owner.read_text("utf-8")
    assert not (tmp_path / "owner" / "run.html").exists()


def test_the_region_s_map_calls_a_well_without_a_number_by_its_row_but_for_the_owner(tmp_path):
    nameless = [["", *row[1:]] for row in (FIRM[0], FIRM[3])]
    (tmp_path / "firm.toml").write_text(LAYOUT.format(name="firm"))
    with (tmp_path / "firm.csv").open("w", newline="") as file:
        csv.writer(file).writerows([["NO", "DATE", "DEPTH", "GPM", "LON", "LAT", "LOG"], *nameless])
    source = '[[sources]]\nfile = "firm.csv"\nlayout = "firm.toml"\nprivate = true\n'
    (tmp_path / "region.toml").write_text(REGION + source)
    small = load_settings(tmp_path / "region.toml")
    refresh(small)
    for audience, called in (("contractor", ["2", "3"]), ("owner", [])):
        write_reports(tmp_path / audience, small, [], audience=audience)
        (page,) = (tmp_path / audience).glob("region*.html")
        assert sorted(re.findall(r"Well row (\d+)", page.read_text("utf-8"))) == called
