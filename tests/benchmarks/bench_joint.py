"""Joint draws against independent ones, on held-out holes of simulated regions.

`python tests/benchmarks/bench_joint.py [--wells 3000] [--lots 800]`

The energy score of the four quantities together (rock, water, depth to the
target, yield of the finished well; each on a scale of unit spread), with the
draws as they are and with each column shuffled by itself: the marginals are
then the same to the last digit. Lower is better; beside the gain stands its
standard error over the lots. Gneiting and Raftery (2007), J. Am. Stat. Assoc.
102, 359-378.
"""

from __future__ import annotations

import argparse

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.lots.estimate import QUANTITIES
from wellrecords.simulation import PRESETS, depth_to_target_ft, simulate_region
from wellrecords.simulation.canonical import as_canonical

CAP_FT = 2000.0
TARGET_GPM = 5.0


def scaled(values: np.ndarray) -> np.ndarray:
    """Bring columns in the order of `QUANTITIES` to scales of like spread: logs, and water in tens of feet."""
    rock, water, target, gpm = np.moveaxis(values, -1, 0)
    columns = [
        np.log(np.maximum(rock, 1)),
        water / 10,
        np.log(np.clip(target, 1, CAP_FT)),
        np.log(np.maximum(gpm, 0.1)),
    ]
    return np.stack(columns, axis=-1)


def energy_score(draws: np.ndarray, observed: np.ndarray, rng: np.random.Generator) -> float:
    """Mean distance to what was seen, less half the mean distance between draws."""
    other = draws[rng.permutation(len(draws))]
    between = np.linalg.norm(draws - other, axis=1).mean()
    return float(np.linalg.norm(draws - observed, axis=1).mean() - 0.5 * between)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wells", type=int, default=3000)
    parser.add_argument("--lots", type=int, default=800)
    options = parser.parse_args()
    rows = []
    for name in ("mixed", "poor_rock", "deep_cover"):
        rng = np.random.default_rng(7)
        region = simulate_region(PRESETS[name], random_state=1)
        n = options.wells + options.lots
        wanted, limit = rng.choice([3.0, 5.0, 8.0], n, p=[0.3, 0.5, 0.2]), rng.choice([300.0, 400.0, 500.0, 600.0], n)
        holes = region.drill(region.random_places(n, 2), wanted, limit, 3)
        wells, _ = as_canonical(holes.iloc[: options.wells], region.settings.crs)
        held = holes.iloc[options.wells :]
        points = gpd.points_from_xy(held["easting_m"], held["northing_m"])
        lots = gpd.GeoDataFrame({"lot_id": held.index.astype(str)}, geometry=points, crs=region.settings.crs)
        estimates = draw_lot_estimates(wells, lots, EstimateSettings(target_yield_gpm=TARGET_GPM))
        target = depth_to_target_ft(held, TARGET_GPM)
        others = [held[name].to_numpy() for name in ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")]
        seen = scaled(np.column_stack([*others[:2], target, others[2]]))
        scores = []
        for one, observed in zip(estimates, seen, strict=True):
            if one.draws is None:
                continue
            draws = scaled(one.draws[list(QUANTITIES)].to_numpy())
            apart = np.column_stack([rng.permutation(column) for column in draws.T])
            scores.append([energy_score(draws, observed, rng), energy_score(apart, observed, rng)])
        joint, apart = np.array(scores).T
        gain = apart - joint
        rows.append(
            {
                "region": name,
                "lots": len(gain),
                "joint": joint.mean(),
                "independent": apart.mean(),
                "gain": gain.mean(),
                "standard_error": gain.std() / np.sqrt(len(gain)),
            }
        )
        print(pd.DataFrame(rows[-1:]).round(4).to_string(index=False, header=len(rows) == 1), flush=True)


if __name__ == "__main__":
    main()
