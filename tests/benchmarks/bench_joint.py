"""Joint draws against independent ones, on held-out wells of the sample region and on simulated regions.

`python tests/benchmarks/bench_joint.py [--wells 3000] [--lots 800] [--regions sample,mixed,poor_rock,deep_cover]`

Of the sample region, whole squares of 300 m are held out: every record of a
well in them is taken from the store, and the estimate is held against what
`sample_records/truth` says of that well.

The energy score of the four quantities together (rock, water, depth to the
target, yield of the finished well; each on a scale of unit spread), with the
draws as they are and with each column shuffled by itself: the marginals are
then the same to the last digit. Lower is better; beside the gain stands its
standard error over the lots. Gneiting and Raftery (2007), J. Am. Stat. Assoc.
102, 359-378.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.lots.draws import QUANTITIES
from wellrecords.refresh import refresh
from wellrecords.settings import load_settings
from wellrecords.simulation import PRESETS, depth_to_target_ft, simulate_region
from wellrecords.simulation.canonical import as_canonical
from wellrecords.store import read_table, read_wells

CAP_FT = 2000.0
TARGET_GPM = 5.0
SQUARE_M = 300.0
HELD_SHARE = 0.2
ROOT = Path(__file__).parents[2]


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


def sample_region(n_lots: int):
    """Return the wells of the sample region but for those held out, their water zones, lots, and what is true there."""
    settings = load_settings(ROOT / "pipelines" / "sample_region.toml")
    with tempfile.TemporaryDirectory() as store:
        region = settings.region.model_copy(update={"store": Path(store)})
        refresh(settings.model_copy(update={"region": region}))
        wells, zones = read_wells(region.store), read_table(region.store, "water_zones")
    truth = pd.read_csv(ROOT / "sample_records" / "truth" / "wells.csv", index_col="well_id")
    records = pd.read_csv(ROOT / "sample_records" / "truth" / "records.csv", dtype=str)
    squares = np.floor(truth[["easting_m", "northing_m"]] / SQUARE_M).astype(int)
    square = squares.groupby(["easting_m", "northing_m"]).ngroup()
    rng = np.random.default_rng(5)
    out = square.isin(rng.permutation(square.max() + 1)[: int(HELD_SHARE * square.max())])
    held = truth[out & (truth["use"] == "domestic") & truth["target_gpm"].notna()].sample(n_lots, random_state=6)
    theirs = records.loc[records["well_id"].isin(truth.index[out]), "source_record_id"]
    points = gpd.points_from_xy(held["easting_m"], held["northing_m"])
    lots = gpd.GeoDataFrame({"lot_id": held.index}, geometry=points, crs=settings.region.crs)
    seen = held[["depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_5gpm_ft", "yield_gpm"]].fillna(np.inf)
    return wells[~wells["source_record_id"].isin(theirs)], zones, lots, seen.to_numpy()


def simulated_region(name: str, n_wells: int, n_lots: int):
    """Return wells, no water zones, lots, and what is true there, of a preset of the simulator."""
    rng = np.random.default_rng(7)
    region = simulate_region(PRESETS[name], random_state=1)
    n = n_wells + n_lots
    wanted, limit = rng.choice([3.0, 5.0, 8.0], n, p=[0.3, 0.5, 0.2]), rng.choice([300.0, 400.0, 500.0, 600.0], n)
    holes = region.drill(region.random_places(n, 2), wanted, limit, 3)
    wells, _ = as_canonical(holes.iloc[:n_wells], region.settings.crs)
    held = holes.iloc[n_wells:]
    points = gpd.points_from_xy(held["easting_m"], held["northing_m"])
    lots = gpd.GeoDataFrame({"lot_id": held.index.astype(str)}, geometry=points, crs=region.settings.crs)
    rock, water, made = (held[name] for name in ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm"))
    return wells, None, lots, np.column_stack([rock, water, depth_to_target_ft(held, TARGET_GPM), made])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wells", type=int, default=3000)
    parser.add_argument("--lots", type=int, default=800)
    parser.add_argument("--regions", default="sample,mixed,poor_rock,deep_cover")
    options = parser.parse_args()
    rng = np.random.default_rng(7)
    for number, name in enumerate(options.regions.split(",")):
        sizes = (options.wells, options.lots)
        wells, zones, lots, seen = sample_region(options.lots) if name == "sample" else simulated_region(name, *sizes)
        asked = EstimateSettings(target_yield_gpm=TARGET_GPM)
        estimates = draw_lot_estimates(wells, lots, asked, water_zones=zones)
        scores = []
        for one, observed in zip(estimates, scaled(seen), strict=True):
            if one.draws is None:
                continue
            draws = scaled(one.draws[list(QUANTITIES)].to_numpy())
            apart = np.column_stack([rng.permutation(column) for column in draws.T])
            scores.append([energy_score(draws, observed, rng), energy_score(apart, observed, rng)])
        joint, apart = np.array(scores).T
        gain = apart - joint
        row = {
            "region": name,
            "lots": len(gain),
            "joint": joint.mean(),
            "independent": apart.mean(),
            "gain": gain.mean(),
            "standard_error": gain.std() / np.sqrt(len(gain)),
        }
        print(pd.DataFrame([row]).round(4).to_string(index=False, header=number == 0), flush=True)


if __name__ == "__main__":
    main()
