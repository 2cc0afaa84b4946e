"""Flagged readings that a lot leans on, told in its notes."""

import numpy as np
import pandas as pd
import pytest

from wellrecords.flagged import MOST_TOLD, TOLD_FROM, flagged_by_record, flagged_notes


def neighbours(**changes: object) -> pd.DataFrame:
    """Four wells leaned on, the second of which has a slip in its depth."""
    table = pd.DataFrame(
        {
            "record_id": ["log:1", "log:2", "log:3", "log:4"],
            "source": "log",
            "private": False,
            "distance_m": [100.0, 200.0, 2000.0, 4000.0],
            "weight": [0.4, 0.3, 0.2, TOLD_FROM / 2],
            "total_depth_ft": [305.0, 3050.0, 325.0, 3000.0],
            "yield_gpm_low": [5.0, 0.0, 60.0, 4.0],
            "yield_gpm_high": [5.0, 0.5, 60.0, 4.0],
        }
    )
    return table.assign(**changes)


def flags(*rows: tuple[str, str, str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["record_id", "column", "value"])
    return table.assign(source="log", rule="stands_out_from_neighbours", why="far off")


SLIP = ("log:2", "total_depth_ft", "3050")


def test_a_flagged_reading_that_is_leaned_on_is_told_with_its_well_its_figure_and_what_to_do():
    assert flagged_notes(neighbours(), flagged_by_record(flags(SLIP))) == [
        "A flagged reading is in use: total depth 3,050 ft of well log:2, 660 ft away (the others leaned on: 325 "
        "ft in the middle). Check its record; where it is a slip, mend it in its source or take its row out, and "
        "refresh."
    ]


def test_a_private_record_is_told_by_its_source_and_distance():
    (note,) = flagged_notes(neighbours(private=True), flagged_by_record(flags(SLIP)))
    assert "total depth 3,050 ft of a private well of log, 660 ft away" in note
    assert "log:2" not in note


@pytest.mark.parametrize(
    "flag",
    [
        ("log:9", "total_depth_ft", "3050"),  # not leaned on
        ("log:4", "total_depth_ft", "3000"),  # hardly leaned on
        ("log:2", "total_depth_ft", "2900"),  # another record's figure has taken its place
        ("log:2", "land_elevation_ft", "900"),  # nothing rests on it
    ],
)
def test_a_flag_that_bears_on_no_figure_is_not_told(flag):
    assert flagged_notes(neighbours(), flagged_by_record(flags(flag))) == []


def test_without_flags_or_without_figures_nothing_is_told():
    assert flagged_notes(neighbours(), flagged_by_record(None)) == []
    assert flagged_notes(neighbours(weight=0.0), flagged_by_record(flags(SLIP))) == []
    assert flagged_notes(neighbours().head(0), flagged_by_record(flags(SLIP))) == []


def test_several_are_told_weightiest_first_and_each_once():
    wanted = flags(("log:3", "yield_gpm", "60"), ("log:2", "yield_gpm", "0 to 0.5"), SLIP, SLIP)
    (note,) = flagged_notes(neighbours(), flagged_by_record(wanted))
    assert note.startswith("3 flagged readings are in use: yield 0 to 0.5 gpm of well log:2, ")
    assert [note.index(said) for said in ("log:2", "3,050 ft", "yield 60 gpm of well log:3, 1.2 miles away")] == sorted(
        note.index(said) for said in ("log:2", "3,050 ft", "yield 60 gpm of well log:3, 1.2 miles away")
    )
    assert "more" not in note
    assert "Check their records" in note


def test_of_many_the_rest_is_counted():
    many = pd.concat([neighbours(record_id=[f"log:{n}{i}" for i in range(4)], weight=0.05) for n in range(2)])
    many = many.assign(total_depth_ft=3050.0).reset_index(drop=True)
    wanted = flags(*((record_id, "total_depth_ft", "3050") for record_id in many["record_id"]))
    (note,) = flagged_notes(many, flagged_by_record(wanted))
    assert note.startswith("8 flagged readings are in use: ")
    assert note.count("of well") == MOST_TOLD
    assert f"; and {8 - MOST_TOLD} more. Check" in note


def test_a_lone_reading_has_no_middle_beside_it():
    depths = [np.nan, 3050.0, np.nan, np.nan]
    (note,) = flagged_notes(neighbours(total_depth_ft=depths), flagged_by_record(flags(SLIP)))
    assert "660 ft away. Check its record" in note
