import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_lot import FakeEstimate, invented_draws
from pydantic import ValidationError

from wellrecords.bid import (
    OUTCOMES,
    Bid,
    BidSettings,
    NoBid,
    PriceBook,
    PriceLine,
    WellPlace,
    load_price_book,
    price_bid,
    unit_cost_of,
)
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings
from wellrecords.errors import WellRecordsError
from wellrecords.water_system import WaterSystemSettings

SAMPLE = load_price_book(Path(__file__).parents[2] / "sample_records" / "price_book.toml")
ESTIMATE = FakeEstimate(invented_draws())


def priced(
    estimate=ESTIMATE, *, demand=None, construction=None, water=None, book=SAMPLE, place=None, **settings
) -> Bid:
    bid = price_bid(
        estimate,
        demand or DemandSettings(persons=4),
        construction or ConstructionSettings(),
        water or WaterSystemSettings(),
        book,
        BidSettings(**settings),
        place,
    )
    assert isinstance(bid, Bid)
    return bid


BID = priced()


def test_line_costs_add_up_to_the_total():
    assert np.allclose(BID.line_costs.sum(axis=1), BID.total_usd)
    assert BID.lines["cost_usd_mean"].sum() == pytest.approx(BID.total_quantiles["mean"])
    assert BID.lines["line"].tolist() == list(BID.line_costs.columns)
    assert (BID.line_costs >= 0).all().all()
    assert (BID.quantities.drop(columns=["pumping_level_ft"]) >= 0).all().all()
    assert np.isfinite(BID.quantities.to_numpy()).all()


def test_the_place_on_the_lot_is_taken_off_and_priced():
    """40 ft of trench for 100, 60 ft of way, 10 % of slope: at 16, 6 and 40 dollars a unit, worked by hand."""
    there = priced(place=WellPlace(trench_ft=40.0, access_ft=60.0, slope_percent=10.0))
    served = BID.quantities["served"].mean()
    cost, before = (bid.lines.set_index("line")["cost_usd_mean"] for bid in (there, BID))
    assert cost["trench"] == pytest.approx(40 * 16 * served, rel=0.03)
    assert cost["trench"] / before["trench"] == pytest.approx(0.4)
    assert cost["rig_way"] == pytest.approx(60 * 6, rel=0.03)
    assert cost["rig_pad"] == pytest.approx(10 * 40)
    assert (before["rig_way"], before["rig_pad"]) == (0.0, 0.0)
    assert there.quantities["cable_ft"].median() == BID.quantities["cable_ft"].median() - 60
    assert "Priced for the best place on the site plan: 40 ft of trench, 60 ft of way" in there.notes[-1]
    assert "No place on the lot is chosen: 100 ft of trench" in BID.notes[-1]
    nothing_known = priced(place=WellPlace())
    assert nothing_known.total_usd.tolist() == BID.total_usd.tolist()
    assert "100 ft of trench (taken, since none was found), no way for the rig" in nothing_known.notes[-1]
    assert (unit_cost_of(SAMPLE, "trench_ft"), unit_cost_of(SAMPLE, "pump"), unit_cost_of(SAMPLE, "gold")) == (
        16,
        650,
        None,
    )


def test_a_bid_of_one_line_worked_by_hand():
    # Three holes of 100, 200 and 400 ft (the limit): 20 a foot from 20 ft of rock down.
    draws = pd.DataFrame(
        {
            "depth_to_bedrock_ft": [20.0] * 3,
            "depth_to_water_ft": [30.0] * 3,
            "depth_to_target_ft": [100.0, 200.0, np.inf],
        }
    )
    book = PriceBook(
        title="One line",
        lines=(PriceLine(key="rock", label="Rock", quantity="drilled_ft", unit="ft", unit_cost_usd=20.0),),
    )
    bid = priced(FakeEstimate(draws, max_depth_ft=400.0), book=book, fixed_price_risk=0.4, margin=0.1)
    assert bid.total_usd.tolist() == [2000.0, 4000.0, 8000.0]
    # The mean of 4,667 with 10 % is 5,133; one loss in three is within 0.4, so 4,000 would do: the margin sets it.
    assert bid.fixed_price_usd == pytest.approx(14_000 / 3 * 1.1)
    assert bid.fixed_price_set_by == "margin"
    assert bid.chance_of_loss == pytest.approx(1 / 3)
    assert bid.expected_loss_usd == pytest.approx((8000 - 14_000 / 3 * 1.1) / 3)
    assert bid.loss_when_losing_usd == pytest.approx(8000 - 14_000 / 3 * 1.1)
    safe = priced(FakeEstimate(draws, max_depth_ft=400.0), book=book, fixed_price_risk=0.1, margin=0.1)
    assert (safe.fixed_price_usd, safe.fixed_price_set_by, safe.chance_of_loss) == (8000.0, "risk", 0.0)
    # By the foot with a minimum of 3,000: (3000 + 200 p + 400 p) / 3 = 5,133.33, p = 20.667.
    foot = priced(FakeEstimate(draws, max_depth_ft=400.0), book=book, margin=0.1, minimum_charge_usd=3000.0)
    assert foot.per_foot_price_usd == pytest.approx((14_000 * 1.1 - 3000) / 600)
    assert foot.outcomes == {
        "target_met": pytest.approx(2 / 3),
        "target_met_by_fracturing": 0.0,
        "short_of_target": pytest.approx(1 / 3),
        "dry": 0.0,
    }


@pytest.mark.parametrize("risk", [0.05, 0.1, 0.2, 0.3])
def test_where_risk_sets_the_price_the_chance_of_loss_is_the_risk(risk):
    bid = priced(fixed_price_risk=risk, margin=0.0)
    assert bid.fixed_price_set_by == "risk"
    # Costs are spread by the price book's own spread, so there are no ties: to one draw.
    assert risk - 1 / len(bid.total_usd) < bid.chance_of_loss <= risk
    assert bid.chance_of_loss == np.mean(bid.total_usd > bid.fixed_price_usd)


def test_the_margin_sets_the_price_where_the_cost_is_sure():
    sure = pd.DataFrame(
        {"depth_to_bedrock_ft": [20.0] * 100, "depth_to_water_ft": [30.0] * 100, "depth_to_target_ft": [200.0] * 100}
    )
    bid = priced(FakeEstimate(sure), margin=0.3)
    assert bid.fixed_price_set_by == "margin"
    assert bid.expected_profit_usd == pytest.approx(0.3 * bid.total_quantiles["mean"])


@given(st.floats(0.02, 0.45), st.floats(0.02, 0.45))
@settings(deadline=None, max_examples=10)
def test_less_risk_is_a_higher_price(one, other):
    low, high = sorted((one, other))
    estimate = FakeEstimate(invented_draws(300))
    careful, bold = priced(estimate, fixed_price_risk=low), priced(estimate, fixed_price_risk=high)
    assert careful.fixed_price_usd >= bold.fixed_price_usd
    assert careful.chance_of_loss <= bold.chance_of_loss
    assert careful.expected_loss_usd <= bold.expected_loss_usd


def test_the_bill_by_the_foot_brings_in_cost_and_margin():
    group = BID.lines.set_index("line")["group"]
    hole = BID.line_costs[group.index[group == "well"]].sum(axis=1).to_numpy()
    bill = np.maximum(BID.per_foot_minimum_usd, BID.per_foot_price_usd * BID.quantities["drilled_ft"])
    assert bill.mean() == pytest.approx(hole.mean() * 1.15)
    assert BID.per_foot_bill_quantiles["mean"] == pytest.approx(bill.mean())
    assert BID.per_foot_chance_of_loss == pytest.approx(np.mean(hole > bill))


def test_price_by_the_foot_covers_the_same_work_as_the_fixed_price():
    assert BID.by_the_foot_usd.mean() == pytest.approx(BID.total_quantiles["mean"] * 1.15)
    system = BID.lines.loc[BID.lines["group"] == "water_system", "cost_usd_mean"].sum()
    assert BID.water_system_usd.mean() == pytest.approx(system * 1.15)
    bill = BID.by_the_foot_usd - BID.water_system_usd
    assert np.quantile(bill, 0.9) == pytest.approx(BID.per_foot_bill_quantiles["p90"])
    assert bill.min() >= BID.per_foot_minimum_usd - 1e-6


def test_lines_name_their_quantity_and_whether_size_prices_them():
    lines = BID.lines.set_index("line")
    assert lines.loc["trench", "quantity"] == "trench_ft"
    assert lines.index[lines["by_size"]].tolist() == ["pump", "drop_pipe", "cable", "pressure_tank", "storage_tank"]


def test_dry_is_less_than_what_the_bid_calls_usable():
    makes = BID.quantities["yield_gpm"].to_numpy()
    assert ((BID.outcome == "dry") == (makes < BID.least_usable_gpm)).all()
    # Four persons at 75 gallons a day, as the demand reckons, drawn evenly over the day.
    assert BID.least_usable_gpm == pytest.approx(300 / 1440)


def test_chances_and_shares_add_up():
    assert list(BID.outcomes) == list(OUTCOMES)
    assert sum(BID.outcomes.values()) == pytest.approx(1.0)
    assert BID.drivers["share"].sum() == pytest.approx(1.0)
    assert BID.drivers["driver"][0] == "depth to the wanted water"
    assert set(np.unique(BID.outcome)) <= set(OUTCOMES)


def test_deeper_limits_meet_the_target_more_often_and_cost_more():
    shallow, deep = (priced(dataclasses.replace(ESTIMATE, max_depth_ft=limit)) for limit in (300.0, 700.0))
    assert deep.outcomes["target_met"] > shallow.outcomes["target_met"]
    assert deep.total_quantiles["mean"] > shallow.total_quantiles["mean"]
    on = priced(
        dataclasses.replace(ESTIMATE, max_depth_ft=300.0),
        construction=ConstructionSettings(at_limit="go_on", second_limit_ft=700.0),
    )
    assert on.outcomes["target_met"] == deep.outcomes["target_met"]


def test_fracturing_is_priced_where_it_is_done():
    bid = priced(construction=ConstructionSettings(at_limit="hydrofracture"))
    done = bid.quantities["fracturing"] > 0
    assert done.mean() == pytest.approx(1 - BID.outcomes["target_met"])
    assert (bid.line_costs["hydrofracturing"][done] > 0).all()
    assert (bid.line_costs["hydrofracturing"][~done] == 0).all()
    assert bid.outcomes["target_met_by_fracturing"] > 0
    assert any("hydrofractured" in note for note in bid.notes)


def test_a_dry_hole_costs_its_drilling_and_sealing_and_no_pump():
    draws = invented_draws(500).assign(depth_to_target_ft=np.inf)
    bid = priced(FakeEstimate(draws), construction=ConstructionSettings(least_usable_gpm=3.0))
    assert bid.outcomes["dry"] == 1.0
    water = bid.lines[bid.lines["group"] == "water_system"]
    assert (water["cost_usd_mean"] == 0).all()
    assert (bid.line_costs["sealing"] > 0).all()
    assert any("In over 99% of the cases the hole makes too little" in note for note in bid.notes)


@pytest.mark.parametrize(("short", "said"), [(4, False), (5, False), (60, True)])
@pytest.mark.parametrize(
    ("at_limit", "quantity", "words"),
    [("hydrofracture", "fracturing", "hydrofractured"), ("stop", "storage_tanks", "storage tank and a booster")],
)
def test_what_hardly_ever_happens_is_not_noted(short, said, at_limit, quantity, words):
    draws = invented_draws(1000)
    ground = draws.assign(depth_to_target_ft=np.where(np.arange(1000) < short, np.inf, 150.0))
    estimate = FakeEstimate(ground, target_yield_gpm=20.0, max_depth_ft=200.0)
    bid = priced(estimate, demand=DemandSettings(persons=8), construction=ConstructionSettings(at_limit=at_limit))
    assert (bid.quantities[quantity] > 0).sum() == short
    assert any(words in note for note in bid.notes) == said
    assert not any("In 0% of" in note for note in bid.notes)


def test_the_same_seed_gives_the_same_bid_and_the_draws_stay():
    before = ESTIMATE.draws.copy()
    again = priced()
    assert (again.total_usd == BID.total_usd).all()
    assert (priced(random_state=1).total_usd != BID.total_usd).any()
    pd.testing.assert_frame_equal(before, ESTIMATE.draws)


def test_dearer_units_never_make_a_cheaper_bid():
    dear = SAMPLE.model_copy(
        update={
            "lines": tuple(
                line.model_copy(update={"unit_cost_usd": line.unit_cost_usd * 1.5})
                if line.key == "drilling_rock"
                else line
                for line in SAMPLE.lines
            )
        }
    )
    assert (priced(book=dear).total_usd >= BID.total_usd).all()
    assert priced(book=dear).fixed_price_usd > BID.fixed_price_usd


def test_quantile_columns_follow_the_settings():
    bid = priced(quantiles=(0.05, 0.5, 0.95))
    assert {"cost_usd_p05", "cost_usd_p95", "quantity_p50"} <= set(bid.lines.columns)
    assert list(bid.total_quantiles) == ["p05", "p50", "p95", "mean"]
    assert bid.total_quantiles["p05"] < bid.total_quantiles["p50"] < bid.total_quantiles["p95"]


def test_quantiles_that_would_share_a_name_are_refused():
    for quantiles in ((0.9, 0.5, 0.1), (0.101, 0.104, 0.9), (0.0, 0.5, 0.9), (0.1, 0.5, 0.999)):
        with pytest.raises(ValidationError, match="three rising levels"):
            BidSettings(quantiles=quantiles)


def price(estimate):
    return price_bid(estimate, DemandSettings(), ConstructionSettings(), WaterSystemSettings(), SAMPLE, BidSettings())


def test_where_the_records_cannot_say_there_is_no_figure():
    answer = price(FakeEstimate(None, support="none", notes=("The nearest well is 31 km away.",)))
    assert isinstance(answer, NoBid)
    assert answer.lot_id == "lot-1"
    assert answer.reason.startswith("No bid: the records near this lot cannot say")
    assert "31 km" in answer.reason
    assert not any(character in answer.reason for character in "$")
    unknown_rock = price(FakeEstimate(invented_draws(50).assign(depth_to_bedrock_ft=np.nan)))
    assert isinstance(unknown_rock, NoBid)
    assert "cannot say the depth to rock" in unknown_rock.reason


def test_without_water_levels_the_pump_is_priced_at_its_hardest():
    bid = priced(FakeEstimate(invented_draws().assign(depth_to_water_ft=np.nan)))
    assert bid.total_quantiles["mean"] > BID.total_quantiles["mean"]
    assert any("do not give the water level" in note for note in bid.notes)
    assert "depth to the water level" not in set(bid.drivers["driver"])


def test_incomplete_draws_are_an_error():
    with pytest.raises(WellRecordsError, match="must have rows"):
        price(FakeEstimate(invented_draws(10).drop(columns="depth_to_water_ft")))
    with pytest.raises(WellRecordsError, match="found 0 rows"):
        price(FakeEstimate(invented_draws(10).iloc[:0]))


def test_the_notes_say_what_the_middle_case_serves():
    text = " ".join(priced(demand=DemandSettings(persons=4, lawn_area_ft2=5000)).notes)
    middle = np.quantile(BID.quantities["yield_gpm"], 0.5, method="inverted_cdf")
    assert f"The planned hole at its middle yield: a well of {float(f'{middle:.2g}'):g} gpm makes" in text
    assert "serves the house" in text
    thin = priced(dataclasses.replace(ESTIMATE, support="thin"))
    assert thin.notes[0].startswith("The records near this lot are thin")


@pytest.mark.parametrize(
    ("storage_for", "said"),
    [
        ("house", "priced for the house alone: what lawn and garden take is not in the price"),
        (
            "irrigation",
            "lawn and garden too, watered every 3 days within 4 hours right before or after the house's peak",
        ),
    ],
)
def test_the_notes_name_the_tank_to_buy_and_what_it_is_for(storage_for, said):
    """The middle hole makes 0.5 gpm: 720 gallons a day, which wait for the peak in a tank that is sold."""
    ground = invented_draws(200).assign(depth_to_target_ft=150.0, depth_to_water_ft=140.0)
    bid = price_bid(
        FakeEstimate(ground, target_yield_gpm=0.5),
        DemandSettings(persons=4, garden_area_ft2=500),
        ConstructionSettings(),
        WaterSystemSettings(storage_for=storage_for),
        SAMPLE,
        BidSettings(),
    )
    notes = " ".join(bid.notes)
    assert "with a 300 gallon storage tank (" in notes
    assert " needed, and 25% over)" in notes
    assert said in notes
    tanks = {"house": 300.0, "irrigation": 500.0}[storage_for]
    assert bid.quantities["storage_tank_gal"].median() == tanks
    assert f"{tanks:g} gallon storage tank" in notes
