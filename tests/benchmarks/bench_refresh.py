"""A million rows of a state-like CSV, read, cleaned, matched and stored.

Run it from the project's folder::

    python tests/benchmarks/bench_refresh.py [rows]

Half of the wells stand on the centres of their sections, three in a hundred
rows are filed twice. The file is written by another process, so that the peak
of memory is that of the refresh.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))

SETTINGS = """
[region]
name = "A state"
crs = "EPSG:26919"
bounds = [-71.2, 42.9, -66.8, 47.5]
store = "store"

[[sources]]
file = "state_like.csv"
layout = "state_like.toml"
"""
SECTION_DEGREES = (0.0204, 0.01446)
"""A mile of longitude and of latitude at 45 degrees north."""


def write_state(folder: Path, rows: int) -> None:
    """Write the invented extract, its layout and the settings."""
    from bench_read import LAYOUT, state_like

    rng = np.random.default_rng(1)
    table = state_like(int(rows * 0.97))
    on_section = rng.random(len(table)) < 0.5
    for column, step in zip(("LON", "LAT"), SECTION_DEGREES, strict=True):
        degrees = pd.to_numeric(table[column], errors="coerce")
        centre = ((np.floor(degrees / step) + 0.5) * step).map("{:.6f}".format)
        table[column] = table[column].mask(on_section & (degrees.abs() > 1), centre)
    table["LOC"] = table["LOC"].mask(on_section, "4")
    twice = table.iloc[rng.integers(0, len(table), rows - len(table))].copy()
    twice["REPORT_NO"] += "7"
    pd.concat([table, twice]).to_csv(folder / "state_like.csv", index=False)
    layout = LAYOUT.replace("3 = 120 }", "3 = 120, 4 = 600 }")
    layout = layout.replace('address = ["3"]', 'address = ["3"], section = ["4"]')
    (folder / "state_like.toml").write_text(layout, encoding="utf-8")
    (folder / "region.toml").write_text(SETTINGS, encoding="utf-8")


def main() -> None:
    """Time it and print the table."""
    from wellrecords.refresh import refresh
    from wellrecords.settings import load_settings

    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        writer = multiprocessing.get_context("spawn").Process(target=write_state, args=(folder, rows))
        writer.start()
        writer.join()
        size = (folder / "state_like.csv").stat().st_size / 1e6
        start, start_cpu = time.perf_counter(), time.process_time()
        result = refresh(load_settings(folder / "region.toml"))
        wall, cpu = time.perf_counter() - start, time.process_time() - start_cpu
        stored = sum(path.stat().st_size for path in result.version.rglob("*") if path.is_file()) / 1e6
    print(f"{rows:,} rows, {size:.0f} MB")
    print("stage        seconds")
    for stage, seconds in result.seconds.items():
        print(f"{stage:12s} {seconds:7.1f}")
    print(f"{'all':12s} {wall:7.1f}   ({cpu:.1f} of CPU)")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB, store {stored:.0f} MB")
    print(", ".join(f"{key} {value:,}" for key, value in result.counts.items()))


if __name__ == "__main__":
    main()
