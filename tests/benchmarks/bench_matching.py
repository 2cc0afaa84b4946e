"""Precision and recall of the matching on planted duplicates, and its time at a million rows.

Two truths, made by two programs that err in different ways. The scorer was
built on the first (`planted`); its threshold was settled with an eye on both.

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
from planted_forms import fill_in

from wellrecords.matching import MatchingSettings, Merged, merge_duplicates
from wellrecords.schema import LAYER_COLUMNS, WATER_ZONE_COLUMNS, empty_table

PLACES = ("open", "sections", "mixed")
FIRST = "planted: the truth that the scorer was built on"
SECOND = "planted_forms: other errors; seen when the threshold was settled"


def run(planted: Planted, settings: MatchingSettings) -> Merged:
    return merge_duplicates(planted.wells, empty_table(LAYER_COLUMNS), empty_table(WATER_ZONE_COLUMNS), settings, CRS)


def found_pairs(planted: Planted, merged: Merged) -> set[tuple[str, str]]:
    into = merged.merged.set_index("record_id")["kept_record_id"]
    group = pd.Series(planted.truth.index, index=planted.truth.index)
    group.loc[into.index] = into.to_numpy()
    return pairs_of(group)


def quality(planted: Planted, merged: Merged) -> tuple[float, float, int]:
    """Return precision, recall and the number of true pairs."""
    return quality_by_kind(planted, merged)["all"]


def quality_by_kind(planted: Planted, merged: Merged) -> dict[str, tuple[float, float, int]]:
    """Return precision, recall and the number of true pairs: of all, by two sources, filed twice, later states."""
    true, found = planted.true_pairs(), found_pairs(planted, merged)
    records = planted.wells.set_index("record_id")
    source, kind = records["source"].to_dict(), records["record_kind"].to_dict()

    def sort(pair: tuple[str, str]) -> str:
        one, other = pair
        if kind[one] != "new" or kind[other] != "new":
            return "later"
        return "twice" if source[one] == source[other] else "across"

    told = {}
    for name in ("all", "across", "twice", "later"):
        of_true = {pair for pair in true if name in ("all", sort(pair))}
        of_found = {pair for pair in found if name in ("all", sort(pair))}
        right = len(of_true & of_found)
        told[name] = right / max(len(of_found), 1), right / max(len(of_true), 1), len(of_true)
    return told


def show(label: str, planted: Planted, settings: MatchingSettings) -> None:
    merged = run(planted, settings)
    told = quality_by_kind(planted, merged)
    parts = "".join(f"{precision:9.3f}{recall:6.3f}" for precision, recall, _ in list(told.values())[1:])
    precision, recall, pairs = told["all"]
    print(f"{label:28}{pairs:8,}{precision:11.4f}{recall:8.4f}{parts}{len(merged.undecided):11,}", flush=True)


def heading(title: str, first: str) -> None:
    print(f"\n{title}")
    print(
        f"{first:28}{'pairs':>8}{'precision':>11}{'recall':>8}{'across':>15}{'twice':>15}{'later':>15}{'undecided':>11}"
    )


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--rows", type=int, default=0, help="also time a run of about so many rows")
    arguments.add_argument("--wells", type=int, default=15_000, help="true wells a row of the tables")
    rows, wells = vars(arguments.parse_args()).values()
    heading(FIRST, "place, wells/km2, threshold")
    for place in PLACES:
        for density in (3.0, 12.0):
            planted = plant(wells, place=place, per_km2=density, seed=1)
            for threshold in (-0.5, MatchingSettings().threshold, 1.5):
                show(f"{place:10}{density:6.0f}{threshold:8.1f}", planted, MatchingSettings(threshold=threshold))
    heading(SECOND, "place, wells/km2, dirt")
    for place in PLACES:
        for density, dirt in ((3.0, 0.5), (3.0, 1.0), (12.0, 1.0), (8.0, 2.0)):
            planted = fill_in(wells, place=place, per_km2=density, dirt=dirt, seed=1)
            show(f"{place:10}{density:6.0f}{dirt:8.1f}", planted, MatchingSettings())
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
