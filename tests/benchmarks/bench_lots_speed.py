"""Time and memory of lot estimates.

`python tests/benchmarks/bench_lots_speed.py [--wells 100000] [--lots 1000]`

One lot with the wells of its box (as a store gives them), and many lots
against a state's wells in one call.
"""

from __future__ import annotations

import argparse
import resource
import time

import geopandas as gpd
import numpy as np

from wellrecords.lots import EstimateSettings, estimate_lots, wells_box


def invented_wells(n: int, width_m: float, seed: int = 0) -> gpd.GeoDataFrame:
    """Wells of one hard-rock law, spread evenly; fast to make."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, width_m, (n, 2))
    wave = np.sin(xy[:, 0] / 9000) + np.cos(xy[:, 1] / 7000)
    rock = 30 * np.exp(0.3 * wave + 0.4 * rng.standard_normal(n))
    depth = np.minimum(rock + 120 * np.exp(0.3 * wave) * rng.gamma(2.0, 0.6, n), rng.choice([300, 400, 500, 600], n))
    made = 5 * np.exp(0.8 * rng.standard_normal(n))
    water = np.minimum(rock, 20 + 5 * wave + 4 * rng.standard_normal(n))
    return gpd.GeoDataFrame(
        {
            "total_depth_ft": depth,
            "depth_to_bedrock_ft_low": rock,
            "depth_to_bedrock_ft_high": rock,
            "depth_to_water_ft_low": water,
            "depth_to_water_ft_high": water,
            "yield_gpm_low": made,
            "yield_gpm_high": made,
        },
        geometry=gpd.points_from_xy(400_000 + xy[:, 0], 5_000_000 + xy[:, 1]),
        crs="EPSG:26919",
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wells", type=int, default=100_000)
    parser.add_argument("--lots", type=int, default=1000)
    options = parser.parse_args()
    # 3 wells a square kilometre, as in settled country
    width = 1000.0 * np.sqrt(options.wells / 3.0)
    wells = invented_wells(options.wells, width)
    rng = np.random.default_rng(1)
    xy = 400_000 + rng.uniform(0.1, 0.9, (options.lots, 2)) * width
    points = gpd.points_from_xy(xy[:, 0], 4_600_000 + xy[:, 1])
    lots = gpd.GeoDataFrame({"lot_id": range(options.lots)}, geometry=points, crs="EPSG:26919")

    west, south, east, north = wells_box(lots.iloc[:1])
    near = wells.to_crs("EPSG:4326").cx[west:east, south:north]
    cases = (
        (f"1 lot, {len(near):,} wells of its box", near, lots.iloc[:1], EstimateSettings(by_tile=True)),
        (f"{options.lots:,} lots, {options.wells:,} wells", wells, lots, EstimateSettings()),
    )
    for what, some, which, settings in cases:
        wall, cpu = time.perf_counter(), time.process_time()
        table = estimate_lots(some, which, settings=settings)
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        said = (table["support"] != "none").mean()
        print(
            f"{what}: {wall:.1f} s ({cpu:.1f} s of processor), peak {memory:.0f} MB; {said:.0%} of lots said",
            flush=True,
        )


if __name__ == "__main__":
    main()
