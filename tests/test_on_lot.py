"""Wells on record that stand on a lot itself, told in its notes."""

import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point, box

from wellrecords.on_lot import MOST_UNSURE, on_lot_notes, well_points

LOT = box(-78.169, 38.6585, -78.168, 38.6593)
"""Some 285 by 290 ft."""
INSIDE = (-78.1685, 38.6589)


def wells(*places: tuple[float, float], **changes: object) -> pd.DataFrame:
    table = pd.DataFrame(
        {
            "record_id": [f"firm:{number}" for number in range(len(places))],
            "record_kind": "new",
            "longitude": [place[0] for place in places],
            "latitude": [place[1] for place in places],
            "position_error_m": 5.0,
            "total_depth_ft": 340.0,
            "yield_gpm_low": 4.0,
            "yield_gpm_high": 4.0,
            "drilled_on": pd.Timestamp("2026-11-28"),
            "private": True,
        }
    )
    return table.assign(**changes)


def told(lot, table, *, figures=True):
    return on_lot_notes(lot, well_points(table), figures=figures)


@pytest.mark.parametrize("lot", [LOT, Point(INSIDE)])
def test_a_well_on_the_lot_is_told_with_where_going_on_in_it_starts(lot):
    far = (-78.18, 38.66)
    assert told(lot, wells(INSIDE, far)) == [
        "A well on this very lot is on record: 340 ft, 4 gpm (2026). The figures are for another hole near it; going "
        "on in this one starts at 340 ft."
    ]
    assert told(lot, wells(INSIDE), figures=False) == ["A well on this very lot is on record: 340 ft, 4 gpm (2026)."]


def test_the_well_next_door_is_not_on_the_lot():
    next_door = (-78.1679, 38.6589)  # 30 ft beyond the line
    assert told(LOT, wells(next_door)) == []
    assert told(Point(INSIDE), wells(next_door)) == []
    assert told(LOT, wells()) == []


def test_a_sealed_well_cannot_be_gone_on_in():
    assert told(LOT, wells(INSIDE, record_kind="abandoned")) == []


def test_several_wells_are_told_together_with_what_is_known_of_each():
    two = wells(INSIDE, INSIDE, total_depth_ft=[340.0, np.nan], yield_gpm_low=[0.0, np.nan])
    two = two.assign(yield_gpm_high=[0.5, np.nan], drilled_on=[pd.NaT, pd.Timestamp("2001-05-01")])
    assert told(LOT, two) == [
        "2 wells on this very lot are on record: 340 ft, under 0.5 gpm; of unknown depth (2001). The figures are for "
        "another hole near them; going on in one of these starts at 340 ft."
    ]


def test_of_a_lot_with_very_many_wells_the_first_are_told():
    many = wells(*[INSIDE] * 1_000, total_depth_ft=100.0 + np.arange(1_000))
    (note,) = told(LOT, many)
    assert note.startswith("1000 wells on this very lot are on record: 100 ft, 4 gpm (2026); 101 ft, ")
    assert "107 ft, 4 gpm (2026); and 992 more. The figures" in note
    assert note.endswith("going on in one of these starts at its depth.")


def test_a_roughly_placed_well_may_stand_on_the_lot_unless_many_share_its_place():
    rough = wells(INSIDE, position_error_m=500.0)
    assert told(LOT, rough) == [
        "A well on record may stand on this very lot (placed only to within about 0.3 miles): 340 ft, 4 gpm (2026)."
    ]
    many = [INSIDE] * (MOST_UNSURE + 1)
    assert told(LOT, wells(*many, position_error_m=500.0)) == [], "that is the middle of a section"


def test_a_rough_position_well_inside_a_large_lot_is_on_it():
    farm = box(-78.2, 38.64, -78.14, 38.68)
    assert told(farm, wells(INSIDE, position_error_m=500.0))[0].startswith("A well on this very lot is on record")
