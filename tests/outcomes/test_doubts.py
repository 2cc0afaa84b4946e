"""What is asked about a well before it is filed, and what is not."""

import numpy as np
import pandas as pd
import pytest
from outcome_fixtures import WELL, make_record

from wellrecords.outcomes import no_outcomes
from wellrecords.outcomes.doubts import FEWEST_KNOWN, Known, far_beyond, far_from_bid, same_place
from wellrecords.outcomes.drilled_well import checked_well

NONE_AROUND = pd.DataFrame({"total_depth_ft": [], "yield_gpm_low": []}, dtype=float)


def around(count=20, depth_ft=400.0, yield_gpm=20.0):
    return pd.DataFrame({"total_depth_ft": [depth_ft] * count, "yield_gpm_low": [yield_gpm] * count})


def filed(**other):
    row = {"well_id": "old", "lot_id": "l7", "drilled_on": pd.Timestamp("2026-05-01"), "longitude": -70.0}
    return pd.DataFrame([row | {"latitude": 45.2, "total_depth_ft": 300.0, "yield_gpm_low": 5.0} | other])


def well(**other):
    return checked_well(WELL | other)


def columns_of(problems):
    return [problem.column for problem in problems]


@pytest.mark.parametrize(
    ("figures", "doubted"),
    [
        ({"total_depth_ft": 3050}, ["total_depth_ft"]),
        ({"yield_gpm": "60"}, ["yield_gpm"]),
        ({"yield_gpm": "60+"}, ["yield_gpm"]),
        ({"total_depth_ft": 600, "yield_gpm": "40"}, []),
        ({"yield_gpm": "dry"}, []),
        ({"yield_gpm": ""}, []),
    ],
)
def test_a_figure_far_beyond_the_wells_around_is_doubted(figures, doubted):
    assert columns_of(far_beyond(well(**figures), Known(around(), no_outcomes()))) == doubted


def test_of_few_wells_nothing_is_doubted_unless_an_estimate_was_kept():
    slip = well(total_depth_ft=3050)
    few = around(FEWEST_KNOWN - 1)
    assert not far_beyond(slip, Known(few, no_outcomes()))
    assert not far_beyond(slip, Known(NONE_AROUND, no_outcomes()))
    (doubt,) = far_beyond(slip, Known(NONE_AROUND, no_outcomes(), make_record()))
    assert "the limit of the lot's estimate 600 ft" in doubt.rule


def test_a_deeper_limit_a_deep_well_around_or_a_deep_filed_well_each_answer_the_doubt():
    deep = well(total_depth_ft=850)
    assert far_beyond(deep, Known(around(), filed()))
    assert not far_beyond(deep, Known(around(), filed(), make_record()))
    assert not far_beyond(deep, Known(around(depth_ft=600.0), filed()))
    assert not far_beyond(deep, Known(around(), filed(total_depth_ft=600.0)))


def test_a_strong_yield_is_held_against_the_estimate_too():
    record = make_record()
    strong = record.quantile("yield_gpm", 0.95)
    some = Known(around(yield_gpm=1.0), no_outcomes(), record)
    assert not far_beyond(well(yield_gpm=f"{1.9 * strong:.1f}"), some)
    (doubt,) = far_beyond(well(yield_gpm=f"{2.1 * strong:.1f}"), some)
    assert "the strongest well within 5 miles 1 gpm" in doubt.rule


@pytest.mark.parametrize(
    ("sums", "doubted"),
    [
        ({"cost_usd": 980}, "under a third of the estimate's cost"),
        ({"cost_usd": 98000}, "over three times the estimate's cost"),
        ({"billed_usd": 1100}, "under a third of the bid"),
        ({"billed_usd": 110000}, "over three times the bid"),
        ({"cost_usd": 4000, "billed_usd": 44000}, None),
        ({"cost_usd": None, "billed_usd": None}, None),
    ],
)
def test_money_far_from_the_bid_is_doubted(sums, doubted):
    problems = far_from_bid(well(**sums), make_record())
    assert [doubted] * bool(doubted) == [doubted for problem in problems if doubted and doubted in problem.what]
    assert len(problems) == bool(doubted)
    assert not far_from_bid(well(**sums), make_record(bid=False))
    assert not far_from_bid(well(**sums), None)


@pytest.mark.parametrize(
    ("other", "old", "doubted"),
    [
        ({}, {}, True),
        ({"longitude": -70.0001}, {}, True),
        ({"longitude": -70.0002}, {}, False),
        ({"lot_id": "L8"}, {}, False),
        ({"record_kind": "deepened"}, {}, False),
        ({}, {"longitude": np.nan}, False),
        ({}, {"well_id": "2026-014"}, False),
    ],
)
def test_a_well_at_the_place_of_another_on_its_lot_is_doubted(other, old, doubted):
    problems = same_place(well(**other), filed(**old))
    assert columns_of(problems) == ["well_id"] * doubted
    if doubted:
        assert "well old, drilled on 2026-05-01, is filed at this place" in problems[0].what
    assert not same_place(well(**other), no_outcomes())
