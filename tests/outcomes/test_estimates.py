"""What was said at bid time, kept whole."""

import json
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outcome_fixtures import Draws, make_record
from scipy import stats

from wellrecords.errors import ProblemsError
from wellrecords.outcomes import EstimateRecord, hash_inputs, make_estimate_record, read_estimates, write_estimate
from wellrecords.outcomes.estimates import PROBABILITIES, latest_before


def record_of(**quantiles: list[float]) -> EstimateRecord:
    return EstimateRecord(
        lot_id="L",
        given_on=date(2026, 1, 1),
        target_yield_gpm=5,
        max_depth_ft=600,
        probabilities=(0.1, 0.3, 0.5, 0.7, 0.9),
        quantiles=quantiles,
    )


def test_a_record_reads_back_the_same_and_is_one_file(tmp_path):
    record = make_record()
    path = write_estimate(tmp_path / "estimates", record)
    assert write_estimate(tmp_path / "estimates", record) == path
    write_estimate(tmp_path / "estimates", make_record(1, "lot / 9?", date(2025, 1, 1)))
    oldest, newest = read_estimates(tmp_path / "estimates")
    assert newest == record
    assert oldest.lot_id == "lot / 9?"
    assert path.stat().st_size < 20_000
    assert newest.quantiles["depth_to_target_ft"][-1] == np.inf
    json.loads(path.read_text(), parse_constant=lambda text: pytest.fail(f"{text} is no JSON"))
    assert read_estimates(tmp_path / "absent") == []


def test_quantiles_are_those_of_the_draws():
    """Normal draws against scipy's quantiles; the share that never meets the target is infinite."""
    draws = pd.DataFrame({"depth_to_water_ft": np.random.default_rng(0).normal(20, 5, 100_000)})
    record = make_estimate_record(Draws("L", draws), given_on=date(2026, 1, 1))
    expected = stats.norm(20, 5).ppf(PROBABILITIES)
    assert np.abs(np.array(record.quantiles["depth_to_water_ft"]) - expected).max() < 0.25
    assert record.bid_usd is None
    for value in (12.0, 20.0, 27.3):
        assert record.chance_below("depth_to_water_ft", value) == pytest.approx(
            (stats.norm(20, 5).cdf(value),) * 2, abs=0.01
        )
    never = make_record().chance_below("depth_to_target_ft", 1e6)
    assert never[0] == pytest.approx(0.8, abs=0.02)
    assert make_record().chance_below("depth_to_target_ft", np.inf)[1] == 1.0


def test_a_quantity_that_the_records_cannot_tell_stays_out():
    draws = pd.DataFrame({"yield_gpm": [1.0, 2.0, 3.0], "depth_to_water_ft": [np.nan] * 3})
    assert set(make_estimate_record(Draws("L", draws), given_on=date(2026, 1, 1)).quantiles) == {"yield_gpm"}


def test_no_estimate_has_no_quantiles():
    record = make_estimate_record(
        Draws("L", None, support="none", chance_of_target=np.nan, chance_of_dry_hole=np.nan), given_on=date(2026, 1, 1)
    )
    assert record.quantiles == {}
    assert record.chance_of_target is None


@pytest.mark.parametrize(
    ("value", "chances"),
    [
        (15.0, (0.2, 0.2)),  # half way between the quantiles at 0.1 and 0.3
        (20.0, (0.3, 0.3)),
        (5.0, (0.0, 0.1)),  # beyond the kept quantiles: known only to lie there
        (60.0, (0.9, 1.0)),
        (50.0, (0.9, 0.9)),
    ],
)
def test_chances_by_hand(value, chances):
    assert record_of(yield_gpm=[10, 20, 30, 40, 50]).chance_below("yield_gpm", value) == pytest.approx(chances)


def test_weight_on_one_value_spans_its_chances():
    """Quantiles at 0.5, 0.7 and 0.9 are the limit of 600 ft: less than it between 0.3 and 0.5, at most it above 0.9."""
    assert record_of(drilled_ft=[200, 400, 600, 600, 600]).chance_below("drilled_ft", 600) == pytest.approx((0.4, 0.95))


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=5, max_size=5), st.floats(-2e3, 2e3), st.floats(0, 500))
def test_chances_are_ordered(values, place, more):
    record = record_of(depth_to_water_ft=sorted(values))
    low, high = record.chance_below("depth_to_water_ft", place)
    after = record.chance_below("depth_to_water_ft", place + more)
    assert 0 <= low <= high <= 1
    assert after[0] >= low - 1e-12 or more == 0
    assert after[1] >= high - 1e-12


def test_wrong_records_are_told(tmp_path):
    with pytest.raises(ValueError, match="must rise"):
        record_of(yield_gpm=[10, 9, 30, 40, 50])
    with pytest.raises(ValueError, match="3 quantiles for 5"):
        record_of(yield_gpm=[10, 20, 30])
    (tmp_path / "broken.json").write_text("{")
    (tmp_path / "other.json").write_text('{"format": 2}')
    with pytest.raises(ProblemsError) as caught:
        read_estimates(tmp_path)
    assert len(caught.value.problems) == 2


def test_a_file_of_the_first_format_must_stay_readable():
    text = (
        '{"format":1,"lot_id":"L7","given_on":"2026-04-01","support":"good","target_yield_gpm":5.0,"max_depth_ft":600.0,'
        '"probabilities":[0.1,0.5,0.9],"quantiles":{"depth_to_target_ft":[120.0,260.0,"Infinity"]},"chance_of_target":0.8,'
        '"chance_of_dry_hole":0.05,"bid_usd":15000.0,"chance_of_loss":0.2,"expected_profit_usd":2500.0,'
        '"expected_loss_usd":300.0,"inputs_hash":"ab12","code_version":"0.1.0"}'
    )
    record = EstimateRecord.model_validate_json(text)
    assert record.quantile("depth_to_target_ft", 0.5) == 260
    assert record.quantiles["depth_to_target_ft"][2] == np.inf


def test_the_last_estimate_before_drilling_counts():
    records = [make_record(given_on=date(2026, month, 1)) for month in (1, 3, 6)]
    assert latest_before(records, "L7", date(2026, 5, 31)) is records[1]
    assert latest_before(records, "L7", date(2025, 5, 31)) is None
    assert latest_before(records, "other", date(2026, 5, 31)) is None


def test_an_estimate_of_the_day_of_drilling_counts_only_if_it_was_kept_before_the_filing():
    day = date(2026, 5, 31)
    morning, noon, evening = (datetime(2026, 5, 31, hour, tzinfo=UTC) for hour in (8, 12, 18))
    old, untimed = make_record(given_on=date(2026, 5, 30)), make_record(given_on=day)
    early, late = (untimed.model_copy(update={"kept_at": kept}) for kept in (morning, evening))
    assert latest_before([old, early, late], "L7", day, noon) is early
    assert latest_before([late], "L7", day, noon) is None
    assert latest_before([early, late], "L7", day, datetime(2026, 6, 3, tzinfo=UTC)) is late
    # Without a time on both sides the day decides, and the day of drilling itself says nothing.
    assert latest_before([early], "L7", day) is None
    assert latest_before([untimed], "L7", day, noon) is None
    assert latest_before([old, untimed, early], "L7", day, pd.NaT) is old
    # A well that was drilled before its estimate is never held against it, however late it is filed.
    assert latest_before([early], "L7", date(2026, 5, 30), datetime(2026, 7, 1, tzinfo=UTC)) is None


def test_an_estimate_kept_again_on_its_day_keeps_the_time_of_the_first(tmp_path):
    first, again = (
        make_record().model_copy(update={"kept_at": datetime(2026, 4, 1, hour, tzinfo=UTC)}) for hour in (8, 12)
    )
    assert write_estimate(tmp_path, first) == write_estimate(tmp_path, again)
    assert [record.kept_at for record in read_estimates(tmp_path)] == [first.kept_at]


def test_the_hash_tells_inputs_apart_and_not_their_order():
    assert hash_inputs({"a": 1, "b": [2.5, "x"]}) == hash_inputs({"b": [2.5, "x"], "a": 1})
    assert hash_inputs({"a": 1}) != hash_inputs({"a": 2})
