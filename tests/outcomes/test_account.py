"""From bid to drilled well to the running account, through files."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from outcome_fixtures import WELL, make_record, silent_record

from wellrecords.outcomes import account, file_well, money_sentences, write_estimate


def test_the_whole_way(tmp_path):
    """Twelve wells drawn from their own estimates, and one without."""
    rng = np.random.default_rng(3)
    log, kept = tmp_path / "outcomes.csv", tmp_path / "estimates"
    for number in range(12):
        write_estimate(kept, make_record(number, f"L{number}"))
        depth = float(np.round(min(rng.lognormal(5.5, 0.4) if rng.random() < 0.8 else 600.0, 600.0), 1))
        well = {
            "well_id": f"w{number}",
            "lot_id": f"L{number}",
            "total_depth_ft": depth,
            "casing_depth_ft": None,
            "depth_to_bedrock_ft": f"{min(rng.lognormal(3.3, 0.6), depth):.1f}",
            "depth_to_water_ft": f"{min(rng.normal(20, 12), depth):.1f}",
            "yield_gpm": f"{rng.lognormal(1.6, 0.9):.2f}",
            "cost_usd": 3000 + 25 * depth,
            "billed_usd": 15000,
        }
        file_well(log, WELL | well)
    file_well(log, WELL | {"well_id": "stray", "lot_id": ""})
    whole = account(log, kept)
    assert (whole.wells, whole.compared) == (13, 12)
    assert set(whole.event_calibration["event"]) == {"target_met", "dry", "lost"}
    assert (whole.calibration.set_index("quantity").loc[["drilled_ft", "cost_usd"], "wells"] == 12).all()
    # The cost follows the depth here, so their places in the estimate are the same where both are read exactly.
    pits = whole.comparison.pivot_table(index="well_id", columns="quantity", values="pit_low")
    assert pits["drilled_ft"].to_numpy() == pytest.approx(pits["cost_usd"].to_numpy(), abs=0.01)
    assert not whole.warned
    text = " ".join(whole.sentences)
    assert "12 of 13 filed wells have an estimate" in text
    assert "Over 12 jobs the profit was" in text
    assert "No sign of drift" in text


def test_estimates_given_after_drilling_do_not_count(tmp_path):
    file_well(tmp_path / "outcomes.csv", WELL)
    write_estimate(tmp_path / "estimates", make_record(given_on=date(2026, 6, 1)))
    whole = account(tmp_path / "outcomes.csv", tmp_path / "estimates")
    assert (whole.wells, whole.compared) == (1, 0)
    assert whole.sentences == (
        "0 of 1 filed wells have an estimate from before they were drilled.",
        "No drilled well has an estimate yet: nothing can be said about drift.",
    )


def test_money_by_hand():
    events = pd.DataFrame({"profit_usd": [1200.0, -800.0, np.nan], "expected_profit_usd": [1000.0, 900.0, 5.0]})
    assert money_sentences(events) == [
        "Over 2 jobs the profit was 400 dollars; a profit of 1,900 was expected. 1 of them lost money, the largest "
        "800 dollars."
    ]
    assert money_sentences(events.head(0)) == []
    (lost,) = money_sentences(events.iloc[[1]])
    assert lost == "Over 1 job the loss was 800 dollars; a profit of 900 was expected."
    assert money_sentences(events.head(1)) == [
        "Over 1 job the profit was 1,200 dollars; a profit of 1,000 was expected."
    ]
    assert money_sentences(events.iloc[[0, 0]])[0].endswith("None of them lost money.")


def test_wells_of_which_we_could_not_say_are_counted_apart(tmp_path):
    log, kept = tmp_path / "outcomes.csv", tmp_path / "estimates"
    write_estimate(kept, make_record())
    write_estimate(kept, silent_record("FAR"))
    for well_id, lot_id in (("a", "L7"), ("b", "L7"), ("c", "FAR")):
        file_well(log, WELL | {"well_id": well_id, "lot_id": lot_id})
    assert account(log, kept).sentences[0] == (
        "3 of 3 filed wells have an estimate from before they were drilled: 2 with figures, 1 where we said we could "
        "not say."
    )
