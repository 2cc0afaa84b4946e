"""Time and memory of lot estimates.

`python tests/benchmarks/bench_lots_speed.py [--wells 100000] [--lots 1000] [--store-wells 1000000] [--folder FOLDER]`

Many lots against a state's wells in one call; and one lot by the real command
in fresh processes, from a store of many more wells (made first, in FOLDER if
given and then kept for the next run). The command is run five times, for lots
400 m apart: the first may compile, or find its files not yet in memory; what
it learnt of the district is taken away again, so that the second learns it,
and the others read it.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.ledger import as_text
from wellrecords.lots import EstimateSettings, estimate_lots
from wellrecords.store import current_version, learnt_folder, write_dataset

WELLS_A_KM2 = 3.0
"""As in settled country."""
LEARNING_RUNS, RUNS = 2, 5
SETTINGS = """
[region]
name = "Invented"
crs = "EPSG:26919"
bounds = [{0:.4f}, {1:.4f}, {2:.4f}, {3:.4f}]
store = "store"

[[sources]]
file = "none.csv"
layout = "sample_completion_reports"
"""


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


def make_store(folder: Path, n: int) -> None:
    """Write a store with its settings: a fifth of the holes stop above rock, a third have two zones, 1 in 40 a flag."""
    points = invented_wells(n, 1000.0 * np.sqrt(n / WELLS_A_KM2)).to_crs("EPSG:4326")
    rng = np.random.default_rng(3)
    wells = pd.DataFrame(points.drop(columns="geometry")).assign(
        record_id=[f"state:{number:07d}" for number in range(n)],
        source="state",
        record_kind="new",
        well_use="domestic",
        drilled_on=pd.Timestamp("1970-01-01") + pd.to_timedelta(rng.integers(0, 20_000, n), unit="D"),
        longitude=points.geometry.x.to_numpy(),
        latitude=points.geometry.y.to_numpy(),
        position_method="map",
        position_error_m=rng.choice([15.0, 50.0, 150.0], n),
        drilling_method="air_rotary",
        yield_method="air_lift",
        private=False,
    )
    above = np.flatnonzero(rng.random(n) < 0.2)
    depth = 0.8 * wells["depth_to_bedrock_ft_low"].to_numpy()[above]
    for name in ("total_depth_ft", "depth_to_bedrock_ft_low"):
        wells.loc[above, name] = depth
    wells.loc[above, "depth_to_bedrock_ft_high"] = np.inf
    wells.loc[above, ["yield_gpm_low", "yield_gpm_high"]] = np.nan
    logged = np.repeat(np.setdiff1d(np.arange(0, n, 3), above), 2)
    half = 0.5 * wells["yield_gpm_low"].to_numpy()[logged]
    zones = pd.DataFrame(
        {
            "record_id": wells["record_id"].to_numpy()[logged],
            "depth_ft": wells["total_depth_ft"].to_numpy()[logged] * np.tile([0.7, 1.0], len(logged) // 2),
            "yield_gpm_low": half,
            "yield_gpm_high": half,
        }
    )
    flagged = wells.loc[::40, ["record_id", "source"]]
    flags = flagged.assign(
        column="total_depth_ft",
        value=as_text(wells.loc[::40, "total_depth_ft"], len(flagged)).to_numpy(),
        rule="stands_out_from_neighbours",
        why="said so here",
    )
    write_dataset(folder / "store", {"wells": wells, "water_zones": zones, "flags": flags}, {})
    (folder / "region.toml").write_text(SETTINGS.format(*points.total_bounds), encoding="utf-8")


def time_command(folder: Path, n: int) -> None:
    """Time `wellrecords estimate` for one lot, each time in a fresh process."""
    if current_version(folder / "store") is None:
        # In a process of its own: a command started from a large process would be given that one's peak.
        maker = multiprocessing.get_context("spawn").Process(target=make_store, args=(folder, n))
        maker.start()
        maker.join()
    middle = 500.0 * np.sqrt(n / WELLS_A_KM2)
    command = "from wellrecords.cli import main; main()"
    for run in range(1, RUNS + 1):
        if run <= LEARNING_RUNS:
            shutil.rmtree(learnt_folder(folder / "store"), ignore_errors=True)
        east, north = 400_000 + middle + 400.0 * run, 5_000_000 + middle
        points = gpd.points_from_xy([east], [north], crs="EPSG:26919").to_crs("EPSG:4326")
        at = f"--at={points.x[0]:.4f},{points.y[0]:.4f}"
        words = [sys.executable, "-c", command, "estimate", str(folder / "region.toml"), at]
        # A package that is installed has its bytecode; whoever works on this one may have forbidden that it is written.
        environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        start = time.perf_counter()
        process = subprocess.Popen(words, stdout=subprocess.PIPE, env=environment)
        assert process.stdout is not None
        said = process.stdout.read().decode()
        _, status, used = os.wait4(process.pid, 0)
        wall = time.perf_counter() - start
        assert status == 0
        assert " by 600 ft" in said
        print(
            f"one lot by the command, store of {n:,} wells, run {run}, "
            f"{'learns' if run <= LEARNING_RUNS else 'reads'} what the district shares: {wall:.1f} s "
            f"({used.ru_utime + used.ru_stime:.1f} s of processor), peak {used.ru_maxrss / 1024:.0f} MB",
            flush=True,
        )


def time_lots(n_wells: int, n_lots: int) -> None:
    """Time many lots against many wells in one call."""
    width = 1000.0 * np.sqrt(n_wells / WELLS_A_KM2)
    wells = invented_wells(n_wells, width)
    xy = 400_000 + np.random.default_rng(1).uniform(0.1, 0.9, (n_lots, 2)) * width
    points = gpd.points_from_xy(xy[:, 0], 4_600_000 + xy[:, 1])
    lots = gpd.GeoDataFrame({"lot_id": range(n_lots)}, geometry=points, crs="EPSG:26919")
    start = time.perf_counter()
    table = estimate_lots(wells, lots, settings=EstimateSettings())
    wall, said = time.perf_counter() - start, (table["support"] != "none").mean()
    print(f"{n_lots:,} lots, {n_wells:,} wells: {wall:.1f} s; {said:.0%} of lots said", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wells", type=int, default=100_000)
    parser.add_argument("--lots", type=int, default=1000)
    parser.add_argument("--store-wells", type=int, default=1_000_000)
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = options.folder or Path(passing)
        folder.mkdir(parents=True, exist_ok=True)
        time_command(folder, options.store_wells)
    time_lots(options.wells, options.lots)


if __name__ == "__main__":
    main()
