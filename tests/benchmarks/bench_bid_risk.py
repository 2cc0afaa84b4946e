"""Is the risk in the price true? Bids of simulated lots against the wells then drilled there.

    python tests/benchmarks/bench_bid_risk.py [lots] [wells] [region ...]

In each simulated region the lots are estimated from the records and bid at
several accepted risks. Then a well is drilled on every lot in the true ground,
by the same stopping rule and the same price book. Where the bids are honest,
the share of lots that lose money is the accepted risk, and the share of costs
between p10 and p90 is 80 %. For comparison: a flat price for every lot at the
same risk, from the costs of the region's own recorded wells. It needs no map
and is as honest over the region, but it loses more where it loses: it is too
low where the ground is poor and too high where it is good.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.bid import Bid, BidSettings, load_price_book, price_at_risk, price_bid
from wellrecords.construction import ConstructionSettings
from wellrecords.demand import DemandSettings
from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.simulation import (
    PRESETS,
    as_canonical,
    depth_to_target_ft,
    simulate_region,
    yield_at_depth_gpm,
)
from wellrecords.water_system import WaterSystemSettings

TARGET_GPM, LIMIT_FT = 5.0, 500.0
RISKS = (0.05, 0.1, 0.2, 0.3)
BOOK = load_price_book(Path(__file__).parents[2] / "sample_records" / "price_book.toml")


@dataclass(frozen=True, eq=False)
class TrueGround:
    """Holes whose ground is known, in the shape of an estimate: one row a lot."""

    holes: pd.DataFrame
    lot_id: str = "truth"
    support: str = "good"
    notes: tuple[str, ...] = ()
    target_yield_gpm: float = TARGET_GPM
    max_depth_ft: float = LIMIT_FT

    @property
    def draws(self) -> pd.DataFrame:
        return pd.DataFrame(
            {
                "depth_to_bedrock_ft": self.holes["depth_to_bedrock_ft"].to_numpy(),
                "depth_to_water_ft": self.holes["depth_to_water_ft"].to_numpy(),
                "depth_to_target_ft": depth_to_target_ft(self.holes, TARGET_GPM),
            }
        )

    def yield_at_depth(self, depth_ft: np.ndarray) -> np.ndarray:
        ends_in_gravel = depth_ft < self.holes["depth_to_bedrock_ft"].to_numpy()
        gravel = self.holes["gravel_gpm"].fillna(0.0).to_numpy()
        return np.where(ends_in_gravel, gravel, yield_at_depth_gpm(self.holes, depth_ft))


def priced(estimate, random_state: int = 0) -> Bid:
    bid = price_bid(
        estimate,
        DemandSettings(persons=4),
        ConstructionSettings(),
        WaterSystemSettings(),
        BOOK,
        BidSettings(margin=0.0, random_state=random_state),
    )
    assert isinstance(bid, Bid)
    return bid


def study(name: str, lots: int, wells: int) -> pd.DataFrame:
    region = simulate_region(PRESETS[name], random_state=11)
    rng = np.random.default_rng(12)
    targets = rng.choice([3.0, 5.0, 8.0], wells)
    holes = region.drill(region.random_places(wells, 13), targets, rng.choice([400.0, 500.0, 600.0], wells), 14)
    records, _ = as_canonical(holes, region.settings.crs)
    places = region.random_places(lots, 15)
    sites = gpd.GeoDataFrame(
        {"lot_id": [str(number) for number in range(lots)]},
        geometry=gpd.points_from_xy(places[:, 0], places[:, 1], crs=region.settings.crs),
    ).to_crs("EPSG:4326")
    asked = EstimateSettings(target_yield_gpm=TARGET_GPM, max_depth_ft=LIMIT_FT)
    start = time.perf_counter()
    estimates = draw_lot_estimates(records, sites, asked)
    estimated_s = time.perf_counter() - start
    told = np.array([estimate.support != "none" for estimate in estimates])
    start = time.perf_counter()
    costs = np.array([priced(estimate).total_usd for estimate, tell in zip(estimates, told, strict=True) if tell])
    priced_s = time.perf_counter() - start
    truth = priced(TrueGround(region.drill(places, TARGET_GPM, LIMIT_FT, 16)), random_state=1).total_usd[told]
    recorded = priced(TrueGround(holes), random_state=2).total_usd
    print(f"{name}: {told.sum()} of {lots} lots; estimated in {estimated_s:.1f} s, priced in {priced_s:.1f} s")

    low, high = np.quantile(costs, [0.1, 0.9], axis=1)
    rows = []
    for risk in RISKS:
        bids = np.array([price_at_risk(cost, risk) for cost in costs])
        flat = price_at_risk(recorded, risk)
        rows.append(
            {
                "region": name,
                "risk": risk,
                "lost": np.mean(truth > bids),
                "mean price": bids.mean(),
                "mean loss": np.maximum(truth - bids, 0).mean(),
                "flat: lost": np.mean(truth > flat),
                "flat: price": flat,
                "flat: mean loss": np.maximum(truth - flat, 0).mean(),
                "80 % interval holds": np.mean((truth >= low) & (truth <= high)),
                "cost / expected": truth.mean() / costs.mean(),
            }
        )
    return pd.DataFrame(rows)


def main() -> None:
    lots = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    wells = int(sys.argv[2]) if len(sys.argv) > 2 else 2000
    names = sys.argv[3:] or list(PRESETS)
    table = pd.concat([study(name, lots, wells) for name in names], ignore_index=True)
    with pd.option_context("display.width", 250, "display.max_columns", 20):
        print(table.round({name: 3 for name in table if "$" not in name}).to_string(index=False))


if __name__ == "__main__":
    main()
