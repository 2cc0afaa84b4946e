"""Yield and depth of held-out wells of a real state extract.

`python tests/benchmarks/bench_lots_real.py PATH_TO_california_siskiyou_wells.csv.gz [--held 600] [--seeds 2]`

The extract of the California Department of Water Resources is read as it is
(new wells with a depth, duplicates dropped); nothing of it is kept. Squares
of 300 m are held out. Yield: what the estimate says a finished well reports.
Depth: the total depth of held-out wells that made a target, against the
estimate of the depth to that target. Both by CRPS on the log scale, against
the known wells' own distribution, and depth against kriging the total depths
of the known wells as well.
"""

from __future__ import annotations

import argparse

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.scores import LEVELS, crps
from wellrecords.lots import EstimateSettings, estimate_lots
from wellrecords.lots.places import project

TARGETS_GPM = (1.0, 5.0, 10.0, 20.0)
SQUARE_M = 300.0


def read_extract(path: str) -> pd.DataFrame:
    raw = pd.read_csv(path, low_memory=False)
    raw = raw[raw["record_type"].fillna("").str.contains("New")]

    def number(name: str) -> pd.Series:
        values = pd.to_numeric(raw[name], errors="coerce")
        return values.where(values > 0)

    made, level = number("well_yield"), number("static_water_level_ft")
    by_section = raw["method_latlon"].fillna("").str.contains("TRS")
    wells = pd.DataFrame(
        {
            "longitude": pd.to_numeric(raw["lon"], errors="coerce"),
            "latitude": pd.to_numeric(raw["lat"], errors="coerce"),
            "total_depth_ft": number("total_completed_depth_ft").fillna(number("total_drill_depth_ft")),
            "position_error_m": np.where(by_section, 600.0, 100.0),
            "yield_gpm_low": made,
            "yield_gpm_high": made,
            "depth_to_water_ft_low": level,
            "depth_to_water_ft_high": level,
        }
    )
    wells = wells.drop_duplicates().dropna(subset=["longitude", "latitude", "total_depth_ft"])
    here = wells["longitude"].between(-124, -121) & wells["latitude"].between(41.0, 42.1)
    return wells[here].reset_index(drop=True)


def show(name: str, observed: np.ndarray, quantiles: np.ndarray, region: np.ndarray) -> None:
    observed, quantiles = np.log(observed), np.log(np.maximum(quantiles, 0.01))
    of_region = np.tile(np.quantile(np.log(region), LEVELS), (len(observed), 1))
    scores = [crps(observed, q).mean() for q in (quantiles, of_region)]
    below, above = np.mean(observed < quantiles[:, 9]), np.mean(observed > quantiles[:, 89])
    print(
        f"{name}: {len(observed)} wells, CRPS {scores[0]:.3f} (region {scores[1]:.3f}, skill "
        f"{1 - scores[0] / scores[1]:.2f}), 80 % interval covers {1 - below - above:.3f} "
        f"({below:.3f} below, {above:.3f} above)"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("path")
    parser.add_argument("--held", type=int, default=600)
    parser.add_argument("--seeds", type=int, default=2)
    options = parser.parse_args()
    wells = read_extract(options.path)
    print(f"{len(wells):,} wells; {wells['yield_gpm_low'].notna().mean():.0%} with a yield")
    for seed in range(options.seeds):
        study(wells, options.held, seed)


def study(wells: pd.DataFrame, n_held: int, seed: int) -> None:
    middle = (float(wells["longitude"].median()), float(wells["latitude"].median()))
    plane = project(middle, wells["longitude"].to_numpy(), wells["latitude"].to_numpy())
    _, square = np.unique(np.floor(plane / SQUARE_M), axis=0, return_inverse=True)
    out = np.isin(square, np.random.default_rng(seed).permutation(square.max() + 1)[: square.max() // 5])
    held = wells[out & wells["yield_gpm_low"].notna()]
    held = held.sample(min(n_held, len(held)), random_state=seed)
    known, points = wells[~out], gpd.points_from_xy(held["longitude"], held["latitude"])
    lots = gpd.GeoDataFrame({"lot_id": [str(row) for row in held.index]}, geometry=points, crs="EPSG:4326")
    asked = pd.concat([lots.assign(target_yield_gpm=gpm) for gpm in TARGETS_GPM])
    table = estimate_lots(known, asked, settings=EstimateSettings(quantiles=tuple(LEVELS)))
    first = table.iloc[: len(held)]
    said = (first["support"] != "none").to_numpy()
    print(f"deal {seed}: {said.mean():.0%} of {len(held)} can be said")
    made, depth = (held[name].to_numpy() for name in ("yield_gpm_low", "total_depth_ft"))
    show("yield", made[said], first.filter(like="yield_gpm_p").to_numpy()[said], known["yield_gpm_low"].dropna())
    total, error = (known[name].to_numpy() for name in ("total_depth_ft", "position_error_m"))
    kriged = IntervalKriging().fit(plane[~out], total, total, error).predict(plane[held.index]).quantile(LEVELS)
    for number, gpm in enumerate(TARGETS_GPM):
        rows = said & (made >= gpm)
        part = table.iloc[number * len(held) : (number + 1) * len(held)].filter(like="depth_to_target").to_numpy()
        show(f"depth to {gpm:g} gpm", depth[rows], part[rows], known["total_depth_ft"])
        show("  kriged total depth", depth[rows], kriged[rows], known["total_depth_ft"])


if __name__ == "__main__":
    main()
