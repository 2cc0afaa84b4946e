"""Errors carry what, where, rule and next step, and many are shown as one."""

import pytest

from wellrecords.errors import SHOWN_AT_MOST, Problem, ProblemsError, WellRecordsError


def problem(**changes):
    fields = {"what": "unknown use code", "rule": "each code is classified", "next_step": "classify it in the layout"}
    return Problem(**(fields | changes))


def test_a_problem_names_each_place_that_it_knows():
    text = str(problem(file="wells.csv", row=12, column="use", value="DOMM"))
    assert text == (
        "unknown use code (file wells.csv, row 12, column use, value 'DOMM'). "
        "Rule: each code is classified. Next: classify it in the layout."
    )


def test_a_problem_without_a_place_leaves_the_brackets_out():
    assert "(" not in str(problem())


def test_problems_are_shown_together_and_the_rest_is_counted():
    error = ProblemsError([problem(row=row) for row in range(SHOWN_AT_MOST + 3)], "Cannot read wells.csv")
    lines = str(error).splitlines()
    assert lines[0] == f"Cannot read wells.csv: {SHOWN_AT_MOST + 3} problems."
    assert len(lines) == 1 + SHOWN_AT_MOST + 1
    assert lines[-1].strip() == "… and 3 more."
    assert len(error.problems) == SHOWN_AT_MOST + 3


def test_one_problem_is_not_called_problems():
    assert "1 problem." in str(ProblemsError([problem()]))


def test_problems_error_is_an_expected_error():
    with pytest.raises(WellRecordsError):
        raise ProblemsError([problem()])


def test_no_problem_is_no_error():
    with pytest.raises(ValueError, match="at least one"):
        ProblemsError([])
