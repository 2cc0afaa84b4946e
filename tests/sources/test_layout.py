"""Layouts: read whole, checked whole, every fault named at once."""

from __future__ import annotations

import pytest

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.sources import load_layout, shipped_layouts
from wellrecords.sources.column_rules import CODE_SETS, CodeRules, tidy_name
from wellrecords.sources.layout import parse_layout

SMALL = """
name = "small"
[readings.total_depth_ft]
from = "Depth"
zero = "unknown"
[[positions]]
kind = "degrees"
x = ["Lon"]
y = ["Lat"]
"""


@pytest.mark.parametrize("name", shipped_layouts())
def test_shipped_layouts_are_sound(name):
    layout = load_layout(name)
    assert layout.name == name
    assert layout.description
    assert "total_depth_ft" in layout.readings
    assert set(layout.codes) <= set(CODE_SETS)


def test_the_layouts_that_must_be_there_are():
    assert {"california_wcr", "sample_firm_log", "sample_completion_reports", "sample_well_inventory"} <= set(
        shipped_layouts()
    )
    metric = load_layout("sample_well_inventory")
    assert (metric.readings["total_depth_ft"].unit, metric.readings["yield_gpm"].unit) == ("m", "L/min")


def test_names_are_compared_by_their_letters_and_digits():
    assert tidy_name(" Total_Depth (Ft.) ") == tidy_name("TOTAL DEPTH FT")
    assert parse_layout(SMALL).known_names() == {"depth", "lon", "lat"}


def test_every_fault_of_a_layout_is_named_at_once():
    text = (
        SMALL.replace('zero = "unknown"', 'zero = "sometimes"\nunits_of = "ft"') + "\n[readings.colour]\nfrom = 'c'\n"
    )
    with pytest.raises(ProblemsError) as caught:
        parse_layout(text, "mine.toml")
    faults = {problem.column for problem in caught.value.problems}
    assert {"readings.total_depth_ft.zero", "readings.total_depth_ft.units_of"} <= faults
    assert all(problem.file == "mine.toml" for problem in caught.value.problems)


@pytest.mark.parametrize(
    ("addition", "said"),
    [
        ("[codes.well_use]\nfrom='u'\ncanonical={domestic=['D']}\nmend={d='irrigation'}", "classified twice"),
        ("[codes.well_use]\nfrom='u'\ncanonical={domestic=['D']}\nignore=['D']", "classified twice"),
        ("[codes.well_use]\nfrom='u'\ncanonical={domestic=['D*']}\nignore=['DX*']", "overlap"),
        ("[codes.well_use]\nfrom='u'\ncanonical={homely=['D']}", "not canonical"),
        ("[codes.well_use]\nfrom='u'\nmend={D='homely'}", "not canonical"),
        ("[fixed]\nwell_use='homely'", "not canonical"),
        ("[readings.yield_gpm]\nfrom='y'\nunit='m'", "does not measure"),
        ("[readings.yield_gpm]\nfrom='y'\nunit='furlong'", "no known unit"),
        ("[readings.yield_gpm]\nfrom='y'\nwords={none='nothing'}", "it can mean"),
        ("[readings.total_depth_ft2]\nfrom='y'", "cannot stand here"),
        ("[dates.drilled_on]\nfrom=['d']\nyear=['y']", "either in one column"),
        ("[[positions]]\nkind='utm'\nx=['e']\ny=['n']", "lacks columns"),
        ("[[positions]]\nkind='degrees'\nx=['e']\ny=['n']\nmethod='guess'", "no position method"),
        ("[layers]\nfile='a.csv'\ntext_from=['log']", "either in a text column"),
    ],
)
def test_faults(addition, said):
    text = SMALL + addition
    with pytest.raises(ProblemsError, match=said):
        parse_layout(text)


def test_code_sets_that_overlap_are_refused_whatever_the_letter_case():
    with pytest.raises(ValueError, match="classified twice"):
        CodeRules.model_validate({"from": "c", "canonical": {"domestic": ["Dom"]}, "hold_back": ["DOM "]})


def test_a_star_stands_for_what_is_not_listed_itself():
    rules = CodeRules.model_validate(
        {"from": "c", "canonical": {"other": ["Other *"], "hammer": ["Other hammer"], "new": ["*"]}}
    )
    assert rules.place_of("OTHER  HAMMER") == ("canonical", "hammer")
    assert rules.place_of("other auger") == ("canonical", "other")
    assert rules.place_of("anything") == ("canonical", "new")


def test_no_such_layout_names_those_there_are():
    with pytest.raises(WellRecordsError, match="california_wcr"):
        load_layout("no_such_layout")
    with pytest.raises(WellRecordsError, match="TOML"):
        parse_layout("name = ")
