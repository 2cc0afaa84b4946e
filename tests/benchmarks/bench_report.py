"""How long the region's report takes and how large it is, by number of wells.

Run: python tests/benchmarks/bench_report.py
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from wellrecords.report import ReportSettings, write_region_report
from wellrecords.schema import as_wells


def invented_wells(count: int) -> pd.DataFrame:
    """Return wells with the readings a report shows, drawn at random."""
    rng = np.random.default_rng(0)
    level = np.round(rng.gamma(2.0, 20.0, count))
    flow = np.round(rng.lognormal(1.5, 1.0, count), 1)
    return as_wells(
        pd.DataFrame(
            {
                "record_id": [f"state:{number}" for number in range(count)],
                "source": "state",
                "record_kind": "new",
                "well_use": "domestic",
                "drilled_on": pd.Timestamp("1970-01-01") + pd.to_timedelta(rng.integers(0, 19_000, count), unit="D"),
                "longitude": rng.uniform(-70.0, -69.0, count),
                "latitude": rng.uniform(45.0, 46.0, count),
                "position_method": "gps",
                "position_error_m": 5.0,
                "total_depth_ft": np.round(rng.gamma(3.0, 90.0, count) + 20.0),
                "drilling_method": "unknown",
                "depth_to_water_ft_low": level,
                "depth_to_water_ft_high": level,
                "yield_gpm_low": flow,
                "yield_gpm_high": flow,
                "yield_method": "unknown",
                "private": False,
            }
        )
    )


def main() -> None:
    """Write reports of growing regions and print their time and size."""
    print(f"{'wells':>9} {'drawn':>7} {'seconds':>8} {'MB':>6}")
    with tempfile.TemporaryDirectory() as folder:
        write_region_report(Path(folder) / "warm.html", wells=invented_wells(100), region="Warm up")
        for count in (500, 5_000, 20_000, 200_000):
            wells = invented_wells(count)
            start = time.perf_counter()
            path = write_region_report(Path(folder) / f"{count}.html", wells=wells, region="Invented")
            seconds = time.perf_counter() - start
            drawn = min(count, ReportSettings().max_wells_on_map)
            print(f"{count:>9,} {drawn:>7,} {seconds:>8.2f} {path.stat().st_size / 1e6:>6.2f}")


if __name__ == "__main__":
    main()
