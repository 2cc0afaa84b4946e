"""Precision and recall of the matching on planted duplicates, and its time at a million rows.

Run: python tests/benchmarks/bench_matching.py [--rows 1000000]
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))
from planted import CRS, Planted, pairs_of, plant

from wellrecords.matching import MatchingSettings, Merged, merge_duplicates
from wellrecords.schema import LAYER_COLUMNS, WATER_ZONE_COLUMNS, empty_table


def run(planted: Planted, settings: MatchingSettings) -> Merged:
    return merge_duplicates(planted.wells, empty_table(LAYER_COLUMNS), empty_table(WATER_ZONE_COLUMNS), settings, CRS)


def found_pairs(planted: Planted, merged: Merged) -> set[tuple[str, str]]:
    into = merged.merged.set_index("record_id")["kept_record_id"]
    group = pd.Series(planted.truth.index, index=planted.truth.index)
    group.loc[into.index] = into.to_numpy()
    return pairs_of(group)


def quality(planted: Planted, merged: Merged) -> tuple[float, float, int]:
    true, found = planted.true_pairs(), found_pairs(planted, merged)
    right = len(true & found)
    return right / max(len(found), 1), right / max(len(true), 1), len(true)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--rows", type=int, default=0, help="also time a run of about so many rows")
    arguments.add_argument("--wells", type=int, default=30_000, help="true wells a setting")
    rows, wells = vars(arguments.parse_args()).values()
    print(f"{'place':10}{'wells/km2':>10}{'threshold':>11}{'pairs':>8}{'precision':>11}{'recall':>8}{'undecided':>11}")
    for place in ("open", "sections", "mixed"):
        for density in (3.0, 12.0):
            planted = plant(wells, place=place, per_km2=density, seed=1)
            for threshold in (0.0, 0.5, 1.0, 2.0, 3.0):
                merged = run(planted, MatchingSettings(threshold=threshold))
                precision, recall, pairs = quality(planted, merged)
                print(
                    f"{place:10}{density:10.0f}{threshold:11.1f}{pairs:8,}{precision:11.4f}{recall:8.4f}"
                    f"{len(merged.undecided):11,}"
                )
    if rows:
        planted = plant(int(rows / 1.25), place="mixed", per_km2=8.0, seed=2)
        start, start_cpu = time.perf_counter(), time.process_time()
        merged = run(planted, MatchingSettings())
        seconds, cpu = time.perf_counter() - start, time.process_time() - start_cpu
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"\n{len(planted.wells):,} rows matched in {seconds:.1f} s ({cpu:.1f} s of CPU)")
        print(f"peak memory {peak:.2f} GB, the planting of the records among it")
        print(f"merged {len(merged.merged):,}, undecided {len(merged.undecided):,}")


if __name__ == "__main__":
    main()
