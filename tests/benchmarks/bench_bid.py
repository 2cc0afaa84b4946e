"""How fast a bid is, and what counting well storage in full costs a weak well.

python tests/benchmarks/bench_bid.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "bid"))
from invented_lot import FakeEstimate, invented_draws

from wellrecords.bid import BidSettings, load_price_book, price_bid
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings, household_need
from wellrecords.demand_storage import storage_needed_gal, tank_needed_gal
from wellrecords.water_system import WaterSystemSettings, simulate_supply

BOOK = load_price_book(Path(__file__).parents[2] / "sample_records" / "price_book.toml")


def speed() -> pd.DataFrame:
    rows = []
    for draws in (1_000, 4_000, 16_000):
        lots = [FakeEstimate(invented_draws(draws, seed)) for seed in range(5)]
        asked = (DemandSettings(), ConstructionSettings(), WaterSystemSettings(), BOOK, BidSettings())
        price_bid(lots[0], *asked)
        wall, cpu = time.perf_counter(), time.process_time()
        for lot in lots:
            price_bid(lot, *asked)
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        rows.append({"lots": 5, "draws": draws, "seconds": round(wall, 2), "cpu seconds": round(cpu, 2)})
    return pd.DataFrame(rows)


def storage() -> pd.DataFrame:
    """A house of four, 200 gal in the well: the tank by the trade's sum and by inflow that follows the level."""
    need = household_need(DemandSettings(persons=4))
    flow = np.array([0.22, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0])
    plain = np.maximum(storage_needed_gal(flow, need) - 200.0, 0.0)
    level = tank_needed_gal(flow, need, 200.0)
    stepped = {"in_well_gal": 200.0, "inflow_follows_level": True, "days": 20}
    return pd.DataFrame(
        {
            "yield_gpm": flow,
            "tank, storage counted in full": plain.round(),
            "short a day, gal": simulate_supply(flow, need, tank_gal=plain, **stepped).round(),
            "tank, inflow follows level": level.round(),
            "short a day with it, gal": simulate_supply(flow, need, tank_gal=level, **stepped).round(1),
        }
    )


def main() -> None:
    print(speed().to_string(index=False))
    print()
    print(storage().to_string(index=False))


if __name__ == "__main__":
    main()
