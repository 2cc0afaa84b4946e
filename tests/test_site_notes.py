"""What a lot's outline asks to be said; what its ground and trench ask is tested on whole jobs."""

from types import SimpleNamespace

import pytest
from shapely import MultiPolygon, Point, Polygon, box

from wellrecords.site_notes import CROSSED, left_out_notes, no_ground_notes, no_trench_notes, outline_notes

BOW = Polygon([(-70.0, 45.0), (-69.999, 45.001), (-69.999, 45.0), (-70.0, 45.001)])


@pytest.mark.parametrize(
    ("lot", "told"),
    [
        (Point(-70, 45), []),
        (box(-70.0, 45.0, -69.999, 45.001), []),
        (MultiPolygon([box(-70.0, 45.0, -69.999, 45.001), box(-69.998, 45.0, -69.997, 45.001)]), []),
        (BOW, [CROSSED]),
        # A tenth of a degree each way: 11.12 by 7.88 km, 33.8 square miles.
        (
            box(-70.1, 45.0, -70.0, 45.1),
            [
                "The lot as drawn covers 33.8 square miles: check its outline. The figures are for one place on it; "
                "--at asks about another."
            ],
        ),
    ],
)
def test_an_outline_that_crosses_itself_or_is_very_large_is_asked_after(lot, told):
    assert outline_notes(lot) == told


def test_what_the_siting_left_out_is_among_the_notes():
    assert left_out_notes(SimpleNamespace(left_out="A field is left out.")) == ["A field is left out."]
    assert left_out_notes(SimpleNamespace(left_out="")) == left_out_notes(None) == []


def test_of_a_lot_without_a_plan_nothing_is_said():
    assert no_ground_notes(None) == []
    assert no_trench_notes(None, None, 100.0) == []
