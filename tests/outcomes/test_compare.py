"""A drilled well against its estimate."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from outcome_fixtures import WELL, make_record, silent_record
from scipy import stats

from wellrecords.outcomes import (
    EstimateRecord,
    compare_outcomes,
    event_table,
    file_well,
    read_outcomes,
    sentences_for_well,
)
from wellrecords.outcomes.compare import readings_to_compare
from wellrecords.outcomes.estimates import PROBABILITIES


def outcomes_of(tmp_path, *changes: dict) -> pd.DataFrame:
    log = tmp_path / "outcomes.csv"
    for number, change in enumerate(changes):
        file_well(log, WELL | {"well_id": f"w{number}"} | change)
    return read_outcomes(log, smallest_yield_gpm=0.25)


def test_a_well_by_hand(tmp_path):
    """Quantiles at 0.1, 0.5, 0.9 by hand: where each reading lies between them."""
    record = EstimateRecord(
        lot_id="L7",
        given_on=date(2026, 1, 1),
        target_yield_gpm=5,
        max_depth_ft=600,
        probabilities=(0.1, 0.5, 0.9),
        quantiles={
            "depth_to_bedrock_ft": (10, 30, 50),  # 31 ft: 0.5 + 0.4 / 20
            "depth_to_water_ft": (20, 30, 60),  # 18 ft: below the interval
            "yield_gpm": (1, 4, 8),  # 6 gpm: half way
            "drilled_ft": (150, 250, 300),  # 305 ft: above
            "depth_to_target_ft": (150, 250, 600),  # met between rock at 31 and 305 ft
            "cost_usd": (5000, 8000, 12000),  # 9,800: 0.5 + 0.4 * 1800 / 4000
        },
        bid_usd=11_000,
        chance_of_loss=0.2,
        expected_profit_usd=1500,
        chance_of_target=0.75,
        chance_of_dry_hole=0.03,
        dry_below_gpm=0.5,
    )
    outcomes = outcomes_of(tmp_path, {})
    rows = compare_outcomes(outcomes, [record]).set_index("quantity")
    assert rows.loc["depth_to_bedrock_ft", "pit"] == pytest.approx(0.52)
    assert rows.loc["yield_gpm", "pit"] == pytest.approx(0.7)
    assert rows.loc["cost_usd", "pit"] == pytest.approx(0.68)
    assert rows["where"].to_dict() == {
        "depth_to_bedrock_ft": "inside",
        "depth_to_water_ft": "below",
        "yield_gpm": "inside",
        "drilled_ft": "above",
        "cost_usd": "inside",
        "depth_to_target_ft": "cannot tell",
    }
    assert rows.loc["depth_to_target_ft", ["pit_low", "pit_high"]].tolist() == pytest.approx([0, 0.5 + 0.4 * 55 / 350])
    assert rows.loc["drilled_ft", ["interval_low", "median", "interval_high"]].tolist() == [150, 250, 300]
    events = event_table(outcomes, [record])
    (event,) = events.to_dict("records")
    assert (event["target_met"], event["dry"], event["lost"]) == (True, False, False)
    assert event["profit_usd"] == 11000 - 9800
    text = " ".join(sentences_for_well(compare_outcomes(outcomes, [record]), events, "w0"))
    assert "Drilled depth: 305 ft; estimated 250 (150 to 300): deeper than the interval." in text
    assert "Money: a profit of 1,200 dollars, where 1,500 was expected." in text


def test_no_estimate_from_before_is_told(tmp_path):
    outcomes = outcomes_of(tmp_path, {"drilled_on": "2026-03-01"})
    record = make_record(given_on=date(2026, 4, 1))
    table, events = compare_outcomes(outcomes, [record]), event_table(outcomes, [record])
    assert table.empty
    assert "no estimate was kept" in sentences_for_well(table, events, "w0")[0]


def test_what_a_reading_tells(tmp_path):
    """Pumped rates are lower bounds, fractured ones upper bounds; a short well has its target deeper."""
    wells = outcomes_of(
        tmp_path,
        {"yield_method": "pumping_test"},
        {"hydrofractured": "yes"},
        {"yield_gpm": "2"},
        {"yield_gpm": "dry", "depth_to_bedrock_ft": "not reached"},
        {"yield_gpm": "", "depth_to_bedrock_ft": "", "depth_to_water_ft": "", "cost_usd": None},
        {"yield_gpm": "3 to 8"},
    ).set_index("well_id")
    reads = {name: readings_to_compare(row.to_dict(), make_record()) for name, row in wells.iterrows()}
    assert reads["w0"]["yield_gpm"] == (6, np.inf)
    assert reads["w0"]["depth_to_target_ft"] == (31, 305)
    assert reads["w1"]["yield_gpm"] == (0, 6)
    assert "depth_to_target_ft" not in reads["w1"]
    assert reads["w2"]["depth_to_target_ft"] == (305, np.inf)
    assert reads["w3"]["yield_gpm"] == (0, 0.25)
    assert reads["w3"]["depth_to_bedrock_ft"] == (305, np.inf)
    assert set(reads["w4"]) == {"drilled_ft"}
    assert "depth_to_target_ft" not in reads["w5"]
    events = event_table(wells.reset_index(), [make_record()]).set_index("well_id")
    assert events["target_met"].isna().to_dict() == {
        "w0": False,
        "w1": True,
        "w2": False,
        "w3": False,
        "w4": True,
        "w5": True,
    }
    assert events["lost"].isna().sum() == 1
    assert events.loc["w3", "dry"]


@pytest.mark.parametrize("filed", ["0", "dry"])
def test_a_dry_hole_is_dry_however_few_wells_the_log_holds(tmp_path, filed):
    """The least yield of a young log is no bound: beside a lone well of 3 gpm a dry hole read as less than 3."""
    log = tmp_path / "outcomes.csv"
    file_well(log, WELL | {"well_id": "made", "yield_gpm": "3"})
    file_well(log, WELL | {"well_id": "dry", "yield_gpm": filed, "billed_usd": None})
    outcomes, record = read_outcomes(log), make_record()
    events = event_table(outcomes, [record]).set_index("well_id")
    assert events["dry"].to_dict() == {"made": False, "dry": True}
    assert not events.loc["dry", "target_met"]
    comparison = compare_outcomes(outcomes, [record])
    reading = comparison[(comparison["well_id"] == "dry") & (comparison["quantity"] == "yield_gpm")]
    assert reading[["reading_low", "reading_high"]].to_numpy().tolist() == [[0.0, 0.5]], "what the estimate calls dry"
    money = sentences_for_well(comparison, events.reset_index(), "dry")[-1]
    assert money.startswith("Money: a profit of 5,200 dollars (the bid of 15,000 taken as billed)")


def test_pits_of_sound_estimates_are_even_where_readings_are_censored():
    """Wells drawn from the estimate's own law; holes end short of rock, and many stop at the limit of 600 ft."""
    rng = np.random.default_rng(7)
    places = np.array(PROBABILITIES)
    target = np.where(places < 0.8, stats.lognorm(0.4, scale=np.exp(5.5)).ppf(np.minimum(places / 0.8, 1.0)), np.inf)
    rock_quantiles = stats.lognorm(0.6, scale=np.exp(3.3)).ppf(places)
    record = EstimateRecord(
        lot_id="L7",
        given_on=date(2026, 4, 1),
        target_yield_gpm=5,
        max_depth_ft=600,
        probabilities=PROBABILITIES,
        quantiles={"depth_to_bedrock_ft": tuple(rock_quantiles), "drilled_ft": tuple(np.minimum(target, 600.0))},
    )
    rows = []
    for number in range(1500):
        rock, depth = rng.lognormal(3.3, 0.6), rng.uniform(5, 60)
        target = np.inf if rng.random() < 0.2 else rng.lognormal(5.5, 0.4)
        reached = rock <= depth
        rows.append(
            {
                "well_id": f"w{number}",
                "lot_id": "L7",
                "drilled_on": pd.Timestamp("2026-05-01"),
                "total_depth_ft": min(target, 600.0),
                "hydrofractured": "",
                "yield_method": "",
                "cost_usd": np.nan,
                "billed_usd": np.nan,
                "depth_to_bedrock_ft_low": rock if reached else depth,
                "depth_to_bedrock_ft_high": rock if reached else np.inf,
                **dict.fromkeys(
                    ("depth_to_water_ft_low", "depth_to_water_ft_high", "yield_gpm_low", "yield_gpm_high"), np.nan
                ),
            }
        )
    table = compare_outcomes(pd.DataFrame(rows), [record])
    for quantity in ("depth_to_bedrock_ft", "drilled_ft"):
        group = table[table["quantity"] == quantity]
        assert ((group["pit_low"] < group["pit_high"]).mean()) > 0.15
        assert stats.kstest(group["pit"], "uniform").pvalue > 0.01
        assert ((group["pit"] > 0.1) & (group["pit"] < 0.9)).mean() == pytest.approx(0.8, abs=0.035)
    again = compare_outcomes(pd.DataFrame(rows[:700]), [record])
    assert again["pit"].tolist() == table["pit"].tolist()[: len(again)]


def test_a_figure_without_an_end_and_a_small_yield_are_said_as_such():
    row = {
        "well_id": "a",
        "quantity": "depth_to_target_ft",
        "reading_low": 600.0,
        "reading_high": np.inf,
        "median": 1673.0,
        "interval_low": 614.0,
        "interval_high": np.inf,
        "limit": 2000.0,
        "where": "cannot tell",
    }
    small = row | {"quantity": "yield_gpm", "reading_low": 0.7, "reading_high": 0.7, "where": "inside"}
    small["limit"] = np.inf
    level = small | {"quantity": "depth_to_water_ft", "reading_low": -np.inf, "reading_high": 0.0}
    level |= {"median": 3.0, "interval_low": -4.2, "interval_high": 22.0}
    small |= {"median": 1.24, "interval_low": 0.31, "interval_high": 4.4}
    events = pd.DataFrame(
        {"well_id": ["a"], "profit_usd": [np.nan], "expected_profit_usd": [np.nan], "figures": [True], "unsaid": [""]}
    )
    depth, flow, water = sentences_for_well(pd.DataFrame([row, small, level]), events, "a")
    assert water == "Depth to water: flowing; estimated 3 (flowing to 22): inside the interval."
    assert "more than 600 ft; estimated 1,673 (614 to over 2,000): which may be inside or outside" in depth
    assert "0.7 gpm; estimated 1.2 (0.31 to 4.4): inside" in flow


def test_an_estimate_that_could_not_say_is_told_as_such(tmp_path):
    outcomes, record = outcomes_of(tmp_path, {}), silent_record()
    events = event_table(outcomes, [record])
    assert events["figures"].tolist() == [False]
    silent, money = sentences_for_well(compare_outcomes(outcomes, [record]), events, "w0")
    assert silent == "The kept estimate said: cannot say. So there is no figure to hold this well against."
    assert money.startswith("Money: a profit of 1,200 dollars")
    assert event_table(outcomes, [])["figures"].empty


def test_what_an_estimate_left_unsaid_is_told_of_each_figure_of_the_ground(tmp_path):
    outcomes, whole = outcomes_of(tmp_path, {}, {"depth_to_bedrock_ft": ""}), make_record()
    kept = {name: table for name, table in whole.quantiles.items() if name not in ("depth_to_bedrock_ft", "cost_usd")}
    record = whole.model_copy(update={"quantiles": kept})
    comparison, events = compare_outcomes(outcomes, [record]), event_table(outcomes, [record])
    told = [line for line in sentences_for_well(comparison, events, "w0") if "cannot say" in line]
    assert told == ["Depth to rock: the kept estimate said: cannot say."]
    # Of what the well does not tell nothing is missing.
    assert not [line for line in sentences_for_well(comparison, events, "w1") if "cannot say" in line]
