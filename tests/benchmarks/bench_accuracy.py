"""Accuracy on real open records: kriging against the nearest wells and a quantile forest.

The records are not part of the project: give the folder that holds them.

Run: python tests/benchmarks/bench_accuracy.py FOLDER [SEED [DEALS]]
     (california_siskiyou_wells.csv.gz, oregon_first_water.csv, idaho_depth_to_water.csv)
SEED deals the cells into the folds: some records lie in dense clusters, and a
deal that leaves a whole cluster out is harder than one that cuts it. With
DEALS, so many deals from SEED on, and at the end what they say together.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from pyproj import Transformer

from wellrecords.interpolation import IntervalKriging, SpatialBlocks, validate

RIVALS = ("nearest 15 wells", "inverse distance", "quantile forest")


def project(frame, longitude, latitude, crs):
    """Longitude and latitude to metres, shape (n, 2)."""
    plane = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    return np.column_stack(plane.transform(frame[longitude].to_numpy(), frame[latitude].to_numpy()))


def real_sets(folder):
    """Yield name, coordinates, reading and district of each set (readings above 0 only, as published)."""
    wells = pd.read_csv(folder / "california_siskiyou_wells.csv.gz", low_memory=False)
    wells = wells[wells["lat"].notna() & wells["lon"].notna()]
    wells["township_range"] = wells["township"].astype(str) + " " + wells["range"].astype(str)
    depth = wells["total_completed_depth_ft"].fillna(wells["total_drill_depth_ft"])
    gpm = wells["well_yield"].where(wells["well_yield_unit"].astype(str).str.upper().str.contains("GPM"))
    for name, reading in (("California depth", depth), ("California yield", gpm)):
        kept = reading > 0
        xy = project(wells[kept], "lon", "lat", "EPSG:32610")
        yield name, xy, reading[kept].to_numpy(float), wells.loc[kept, "township_range"].to_numpy()
    wells = pd.read_csv(folder / "oregon_first_water.csv").query("depth_first_water_ft > 0")
    yield (
        "Oregon first water",
        project(wells, "lon", "lat", "EPSG:5070"),
        wells["depth_first_water_ft"].to_numpy(),
        None,
    )
    wells = pd.read_csv(folder / "idaho_depth_to_water.csv").query("median_dtw_ft > 0")
    yield "Idaho levels", wells[["x_m_local_crs", "y_m_local_crs"]].to_numpy(), wells["median_dtw_ft"].to_numpy(), None


def deal(folder, seed):
    """Print one table a set; return the tables together, with the ratio of CRPS to the better rival's."""
    tables = []
    for name, xy, reading, district in real_sets(folder):
        start = time.perf_counter()
        table = validate(
            IntervalKriging(), xy, reading, district=district, rivals=RIVALS, cv=SpatialBlocks(random_state=seed)
        )
        whole = table[table["district"] == "all"].set_index("method").drop(columns="district")
        best = whole.loc[["nearest 15 wells", "quantile forest"], "crps"].min()
        ratio = whole.loc["kriging", "crps"] / best
        print(f"\n{name}: CRPS {ratio:.3f} of the better rival ({time.perf_counter() - start:.0f} s)")
        print(whole.round(3).to_string(), flush=True)
        tables.append(table[table["method"] == "kriging"].assign(set=name, seed=seed, ratio=ratio))
    return pd.concat(tables)


def main(folder, seed=0, deals=1):
    """Print each deal, and what they say together."""
    told = []
    for number in range(seed, seed + deals):
        told.append(deal(folder, number))
        ratio = told[-1].query("district == 'all'")["ratio"]
        print(
            f"\ndeal {number}: geometric mean of the ratios {np.exp(np.log(ratio).mean()):.3f}, worst {ratio.max():.3f}"
        )
    told = pd.concat(told)
    ours = told[told["district"] == "all"]
    by_set = ours.groupby("set", sort=False)
    print(f"\nall deals: geometric mean of the ratios {np.exp(np.log(ours['ratio']).mean()):.3f}; by set")
    print(by_set[["ratio", "covers_80"]].agg(["mean", "min", "max"]).round(3).to_string())
    by_district = told[told["district"] != "all"].groupby(["set", "district"])["covers_80"]
    print("districts of 100 wells or more: the least cover in one deal, and over the deals")
    print(f"{by_district.min().min():.3f} {by_district.mean().min():.3f}")
    low = by_district.agg(["mean", "min"]).query("min < 0.7")
    print(low.round(3).to_string() if len(low) else "none below 0.700 in any deal")


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3, 4):
        raise SystemExit(__doc__)
    main(Path(sys.argv[1]), *map(int, sys.argv[2:]))
