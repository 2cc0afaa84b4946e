"""Rows a second from a state-like CSV to canonical rows.

Run it from the project's folder::

    python tests/benchmarks/bench_read.py [rows]

It writes an invented CSV of so many rows (by default 1,000,000) as dirty as
state extracts are, reads and converts it, and prints the seconds of each
step, the peak of memory, and what the ledger holds.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from wellrecords.cleaning.convert import convert_source
from wellrecords.ledger import check_rows
from wellrecords.sources import read_source
from wellrecords.sources.layout import Layout, parse_layout

LAYOUT = """
name = "state_like"
not_used = ["COUNTY", "REMARKS"]
[text]
source_record_id = { from = "REPORT_NO" }
permit = { from = "PERMIT" }
owner = { from = "OWNER" }
address = { from = "ROAD" }
main_rock = { from = "ROCK" }
[dates.drilled_on]
from = ["DATE"]
formats = ["%m/%d/%Y"]
missing = ["01/01/9999"]
[codes.record_kind]
from = "WORK"
canonical = { new = ["NEW"], deepened = ["DEEP"], abandoned = ["SEAL"] }
mend = { NWE = "new" }
[codes.well_use]
from = "USE"
canonical = { domestic = ["DOM"], irrigation = ["IRR"], monitoring = ["MON"], public = ["PWS"] }
mend = { DMO = "domestic" }
ignore = ["?"]
[codes.drilling_method]
from = "METHOD"
canonical = { air_rotary = ["AR"], cable_tool = ["CT"], mud_rotary = ["MR"] }
[codes.yield_method]
from = "RATE_BY"
canonical = { air_lift = ["AIR"], bailer = ["BAIL"], pumping_test = ["PUMP"] }
[readings.total_depth_ft]
from = "DEPTH"
unit = "ft"
zero = "unknown"
[readings.casing_depth_ft]
from = "CASING"
unit = "ft"
zero = "value"
unreadable = "unknown"
[readings.casing_diameter_in]
from = "DIAM"
unit = "in"
zero = "unknown"
unreadable = "unknown"
[readings.depth_to_bedrock_ft]
from = "ROCK_DEPTH"
unit = "ft"
zero = "value"
words = { NE = "not_reached" }
[readings.depth_to_water_ft]
from = "LEVEL"
unit = "ft"
zero = "unknown"
words = { F = "flowing" }
[readings.yield_gpm]
from = "RATE"
unit_from = ["RATE_UNIT"]
unit = "gpm"
zero = "dry"
[[positions]]
kind = "degrees"
x = ["LON"]
y = ["LAT"]
datum = "NAD83"
error_from = ["LOC"]
error_codes = { 1 = 10, 2 = 60, 3 = 120 }
method_codes = { from = "LOC", canonical = { gps = ["1"], map = ["2"], address = ["3"] } }
"""
BOUNDS = (-71.2, 42.9, -66.8, 47.5)


def layout() -> Layout:
    """Return the layout of the invented extract."""
    return parse_layout(LAYOUT, "state_like.toml")


def state_like(rows: int, seed: int = 0) -> pd.DataFrame:
    """Return an invented extract as text, with a few per cent of every kind of dirt."""
    rng = np.random.default_rng(seed)

    def dirty(clean: np.ndarray, dirt: dict[str, float]) -> np.ndarray:
        words = np.array(list(dirt), dtype=object)
        odds = np.array(list(dirt.values()))
        picked = rng.choice(len(words) + 1, rows, p=[1.0 - odds.sum(), *odds])
        return np.where(picked > 0, words[np.maximum(picked, 1) - 1], clean)

    def numbers(values: np.ndarray, places: int = 0) -> np.ndarray:
        return np.char.mod(f"%.{places}f", values).astype(object)

    depth = np.exp(rng.normal(5.4, 0.6, rows)).round()
    rate = np.exp(rng.normal(1.8, 1.1, rows))
    longitude = rng.uniform(-71.0, -67.0, rows)
    days = np.datetime64("1970-01-01") + rng.integers(0, 19_000, rows).astype("timedelta64[D]")
    dates = pd.Series(days).dt.strftime("%m/%d/%Y").to_numpy(dtype=object)
    table = {
        "REPORT_NO": np.arange(1_000_001, 1_000_001 + rows).astype(str).astype(object),
        "PERMIT": dirty(numbers(rng.integers(10_000, 99_999, rows)), {"": 0.4}),
        "COUNTY": rng.choice(np.array(["North", "South", "East"], dtype=object), rows),
        "OWNER": np.char.add("Owner ", rng.integers(0, 400_000, rows).astype(str)).astype(object),
        "ROAD": np.char.add("Road ", rng.integers(0, 50_000, rows).astype(str)).astype(object),
        "WORK": dirty(np.full(rows, "NEW", dtype=object), {"DEEP": 0.02, "SEAL": 0.02, "NWE": 0.001, "new": 0.001}),
        "USE": dirty(np.full(rows, "DOM", dtype=object), {"IRR": 0.05, "MON": 0.05, "": 0.03, "DMO": 1e-3, "?": 1e-3}),
        "METHOD": rng.choice(np.array(["AR", "CT", "MR", ""], dtype=object), rows),
        "DATE": dirty(dates, {"01/01/9999": 0.005, "13/45/1990": 0.0005}),
        "LAT": dirty(numbers(rng.uniform(43.0, 47.4, rows), 6), {"": 0.003, "0": 0.002, "45": 0.0005}),
        "LON": numbers(np.where(rng.uniform(size=rows) < 0.005, -longitude, longitude), 6),
        "LOC": rng.choice(np.array(["1", "2", "3"], dtype=object), rows),
        "DEPTH": dirty(numbers(depth), {"": 0.02, "0": 0.002, "305 ft": 0.002, "3O5": 0.0005, "9999": 0.001}),
        "CASING": numbers(np.minimum(depth, 20.0 + rng.gamma(2.0, 15.0, rows)).round()),
        "DIAM": dirty(np.full(rows, "6", dtype=object), {"6.25": 0.1, "6 5/8": 0.02, "8": 0.02, "": 0.1}),
        "ROCK_DEPTH": dirty(numbers(rng.gamma(2.0, 12.0, rows).round()), {"NE": 0.1, "": 0.1, "12?": 0.001}),
        "LEVEL": dirty(numbers(rng.gamma(2.0, 15.0, rows).round()), {"": 0.3, "0": 0.05, "F": 0.02, "12'6\"": 0.001}),
        "RATE": dirty(numbers(rate, 1), {"": 0.05, "0": 0.02, "dry": 5e-3, "<0.5": 5e-3, "100+": 0.01, "1 to 5": 3e-3}),
        "RATE_UNIT": rng.choice(np.array(["GPM", "GPM", "GPM", "L/min"], dtype=object), rows),
        "RATE_BY": rng.choice(np.array(["AIR", "BAIL", "PUMP", ""], dtype=object), rows),
        "ROCK": rng.choice(np.array(["granite", "schist", "slate", ""], dtype=object), rows),
        "REMARKS": rng.choice(np.array(["", "iron", "as filed, see \"plan\""], dtype=object), rows),
    }  # fmt: skip
    return pd.DataFrame(table)


def main() -> None:
    """Time it and print the table."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "state_like.csv"
        state_like(rows).to_csv(path, index=False)
        megabytes = path.stat().st_size / 1e6
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        start, start_cpu = time.perf_counter(), time.process_time()
        raw = read_source(path, layout())
        read, read_cpu = time.perf_counter(), time.process_time()
        converted = convert_source(raw, layout(), bounds=BOUNDS)
        done, done_cpu = time.perf_counter(), time.process_time()
    check_rows(rows, kept=len(converted.wells), held_back=len(converted.held_back))
    print(f"{rows:,} rows, {megabytes:.0f} MB")
    print("step       seconds     of CPU        rows/s")
    for name, wall, cpu in (
        ("read", read - start, read_cpu - start_cpu),
        ("convert", done - read, done_cpu - read_cpu),
        ("both", done - start, done_cpu - start_cpu),
    ):
        print(f"{name:8s} {wall:9.2f}  {cpu:9.2f}  {rows / wall:12,.0f}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"peak memory {peak:.2f} GB (before reading, with the generator's, {before:.2f} GB)")
    print(f"kept {len(converted.wells):,}, held back {len(converted.held_back):,}, changes {len(converted.changes):,}")
    print(converted.held_back["reason"].value_counts().to_string())


if __name__ == "__main__":
    main()
