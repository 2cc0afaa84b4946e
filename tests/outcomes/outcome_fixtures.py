"""A firm's wells and estimates, with estimates that are sound by construction."""

from dataclasses import dataclass
from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd

from wellrecords.outcomes import EstimateRecord, make_estimate_record

WELL = {
    "well_id": "2026-014",
    "lot_id": "L7",
    "drilled_on": "2026-05-31",
    "longitude": -70.0,
    "latitude": 45.2,
    "total_depth_ft": 305,
    "casing_depth_ft": 42.5,
    "depth_to_bedrock_ft": "31",
    "depth_to_water_ft": "18",
    "yield_gpm": "6",
    "cost_usd": 9800,
    "billed_usd": 11000,
}


@dataclass
class Draws:
    """What an estimate holds, for tests of the records."""

    lot_id: str
    draws: pd.DataFrame | None
    support: str = "good"
    target_yield_gpm: float = 5.0
    max_depth_ft: float = 600.0
    chance_of_target: float = 0.8
    chance_of_dry_hole: float = 0.05
    dry_below_gpm: float = 0.5
    longitude: float = -70.0
    latitude: float = 45.2


def make_record(
    seed: int = 0, lot_id: str = "L7", given_on: date = date(2026, 4, 1), bid: bool = True
) -> EstimateRecord:
    """Return a record of 4,000 draws; drilled_ft has weight on its limit of 600 ft."""
    rng = np.random.default_rng(seed)
    target = np.where(rng.random(4000) < 0.2, np.inf, rng.lognormal(5.5, 0.4, 4000))
    draws = pd.DataFrame(
        {
            "depth_to_bedrock_ft": rng.lognormal(3.3, 0.6, 4000),
            "depth_to_water_ft": rng.normal(20, 12, 4000),
            "depth_to_target_ft": target,
            "yield_gpm": rng.lognormal(1.6, 0.9, 4000),
        }
    )
    drilled = np.minimum(target, 600.0)
    money = SimpleNamespace(
        quantities=pd.DataFrame({"drilled_ft": drilled}),
        total_usd=3000 + 25 * drilled,
        fixed_price_usd=15000.0,
        chance_of_loss=0.2,
        expected_profit_usd=2500.0,
        expected_loss_usd=300.0,
    )
    return make_estimate_record(Draws(lot_id, draws), money if bid else None, given_on=given_on, inputs_hash="ab12")


def silent_record(lot_id: str = "L7", given_on: date = date(2026, 4, 1)) -> EstimateRecord:
    """Return the record of an estimate that said the records cannot say."""
    return EstimateRecord(lot_id=lot_id, given_on=given_on, support="none", target_yield_gpm=5.0, max_depth_ft=600.0)


def comparison_of(pits: np.ndarray, quantity: str = "drilled_ft") -> pd.DataFrame:
    """Return a table of comparisons with the given PITs, a well a week."""
    days = [pd.Timestamp(date(2024, 1, 1) + timedelta(weeks=week)) for week in range(len(pits))]
    return pd.DataFrame(
        {
            "well_id": [f"w{number:04d}" for number in range(len(pits))],
            "lot_id": "L",
            "drilled_on": days,
            "quantity": quantity,
            "reading_low": 100.0,
            "reading_high": 100.0,
            "interval_low": 50.0,
            "median": 100.0,
            "interval_high": 150.0,
            "pit_low": pits,
            "pit_high": pits,
            "pit": pits,
            "where": "inside",
        }
    )
