"""Yield and depth of held-out wells of a real state extract.

`python tests/benchmarks/bench_lots_real.py PATH_TO_california_siskiyou_wells.csv.gz [--held 600]`

The extract of the California Department of Water Resources is read as it is
(new wells with a depth, duplicates dropped); nothing of it is kept. Whole
sections are held out. Yield: what the estimate says a finished well reports.
Depth: the total depth of a held-out well against the estimate of the depth
to the largest usual target (3, 5, 8, 10, 15, 20, 30 gpm) that it made, which
is what its driller may have stopped at. CRPS on the log scale, against the
region's own distribution of yields and depths.
"""

from __future__ import annotations

import argparse

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.interpolation.scores import LEVELS, crps
from wellrecords.lots import EstimateSettings, estimate_lots

USUAL = np.array([3.0, 5.0, 8.0, 10.0, 15.0, 20.0, 30.0])


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
    options = parser.parse_args()
    wells = read_extract(options.path)
    print(f"{len(wells):,} wells; {wells['yield_gpm_low'].notna().mean():.0%} with a yield")
    place = wells.groupby(["longitude", "latitude"]).ngroup().to_numpy()
    out = np.isin(place, np.random.default_rng(0).permutation(np.unique(place))[: place.max() // 5])
    held = wells[out & wells["yield_gpm_low"].notna()].sample(options.held, random_state=0)
    known = wells[~out]
    made = held["yield_gpm_low"].to_numpy()
    usual = USUAL[np.maximum(np.searchsorted(USUAL, made, side="right") - 1, 0)]
    points = gpd.points_from_xy(held["longitude"], held["latitude"])
    lots = gpd.GeoDataFrame({"lot_id": range(len(held)), "target_yield_gpm": usual}, geometry=points, crs="EPSG:4326")
    table = estimate_lots(known, lots, settings=EstimateSettings(quantiles=tuple(LEVELS)))
    said = (table["support"] != "none").to_numpy()
    print(f"{said.mean():.0%} can be said")
    show("yield", made[said], table.filter(like="yield_gpm_p").to_numpy()[said], known["yield_gpm_low"].dropna())
    reached = said & (made >= USUAL[0])
    depth = held["total_depth_ft"].to_numpy()
    show("depth", depth[reached], table.filter(like="depth_to_target").to_numpy()[reached], known["total_depth_ft"])


if __name__ == "__main__":
    main()
