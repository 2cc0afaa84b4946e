"""Where lots are, and what is asked of each."""

import pytest

from wellrecords.errors import ProblemsError
from wellrecords.lot_files import lots_at
from wellrecords.lots.places import lot_places


def test_a_wish_that_cannot_be_names_its_lot_and_is_told_once_for_all_its_places():
    lots = lots_at([(-70.0, 45.2)] * 4).assign(
        lot_id=["A", "A", "A", "B"], target_yield_gpm=[0, 0, 0, 5], max_depth_ft=[500, 500, 500, -1]
    )
    with pytest.raises(ProblemsError) as caught:
        lot_places(lots)
    assert [problem.what for problem in caught.value.problems] == [
        "target_yield_gpm of lot A is not a positive number",
        "max_depth_ft of lot B is not a positive number",
    ]
