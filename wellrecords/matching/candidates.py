"""Pairs of records that could be one well.

Comparing each record with each is out of the question, and comparing all
records on one point is as bad where a state lays thousands of wells on the
centres of its sections. So a pair must be near in space, as far as the two
position errors allow, *and* alike in depth or in date; or carry the same
number; or one of the two must be the record of a later state of a well.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
import pandas as pd
from scipy.spatial import KDTree

from wellrecords.matching.settings import MatchingSettings

ERROR_CLASSES_M = (150.0, 450.0, 1_000.0, np.inf)
"""Upper ends of the classes of position error: receiver, map or address; quarter; section; town."""
REACH, LEAST_REACH_M = 2.0, 300.0
"""Search radius in joint position errors, and at least: 98 % of the true pairs lie within it (Rayleigh distribution),
but the errors of receivers and maps are given too small as often as not."""
LOG_DEPTH_APART = 0.05
DEPTH_OFFSET_FT = 60.0
"""Depths are alike within 5 % of (depth + 60 ft): 3 ft for a shallow hole, 13 ft at 200 ft."""
SHARED_NUMBER_AT_MOST = 20
"""A number that more records carry names a project, not a well."""
STRIP_M = 2_000.0
LATER_KINDS = ("deepened", "repaired", "abandoned")


def candidate_pairs(
    easting_m: np.ndarray,
    northing_m: np.ndarray,
    wells: pd.DataFrame,
    numbers: tuple[tuple[np.ndarray, ...], ...],
    settings: MatchingSettings,
) -> np.ndarray:
    """Return pairs of row positions that are worth a score.

    Parameters
    ----------
    easting_m, northing_m : ndarray, shape (n,)
        Projected metres.
    wells : pandas.DataFrame
        `position_error_m`, `total_depth_ft`, `drilled_on`, `record_kind` are read.
    numbers : tuple of tuples of ndarray of int, each of shape (n,)
        Codings, each of one or more columns (record numbers and permits; addresses), -1 where there is none;
        records that carry one code of a coding are compared.
    settings : MatchingSettings

    Returns
    -------
    ndarray of int, shape (m, 2)
        Each pair once, the smaller position first, sorted.
    """
    error = wells["position_error_m"].to_numpy(dtype=float)
    depth = wells["total_depth_ft"].to_numpy(dtype=float)
    alike_depth = np.log(np.maximum(depth, 0.0) + DEPTH_OFFSET_FT) / LOG_DEPTH_APART
    day = wells["drilled_on"].to_numpy().astype("datetime64[D]")
    no_day = np.isnat(day)
    year = day.astype("datetime64[Y]")
    year_only = ~no_day & (day == year)
    alike_year = np.where(no_day, np.nan, 1.5 * year.astype("int64"))
    alike_day = np.where(no_day, np.nan, day.astype("int64") / max(settings.days_apart, 0.5))
    later = wells["record_kind"].isin(LATER_KINDS).to_numpy(dtype=bool)
    unknown_depth = np.isnan(alike_depth)
    everywhere = np.zeros(len(wells))
    searches = [
        *_searches(easting_m, northing_m, error, alike_depth, settings.furthest_m),
        *_searches(easting_m, northing_m, error, alike_day, settings.furthest_m),
        # Where one gives the year alone, years are compared.
        *_searches(easting_m, northing_m, error, alike_year, settings.furthest_m, one_of=year_only),
        # A record of a later state, and a record without a depth and a date, are compared with all around them.
        *_searches(
            easting_m, northing_m, error, everywhere, settings.furthest_m, one_of=later | (unknown_depth & no_day)
        ),
        *(partial(_same_number, coding) for coding in numbers),
    ]
    # The trees are searched outside Python's lock, so threads run side by side.
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        found = list(pool.map(lambda search: search(), searches))
    key = np.sort(np.concatenate([np.empty(0, dtype=np.int64), *(_as_key(pairs, len(wells)) for pairs in found)]))
    key = key[np.diff(key, prepend=-1) > 0]
    return np.column_stack(np.divmod(key, max(len(wells), 1)))


def _searches(
    easting_m: np.ndarray,
    northing_m: np.ndarray,
    error_m: np.ndarray,
    alike: np.ndarray,
    furthest_m: float,
    one_of: np.ndarray | None = None,
) -> Iterator[Callable[[], np.ndarray]]:
    """Yield searches for pairs near in space whose third coordinate differs by at most 1, by classes of error.

    With `one_of`, one record of a pair at least must be among those.
    """
    known = ~np.isnan(alike)
    classes = np.searchsorted(ERROR_CLASSES_M, error_m)
    # In strips of ground, so that a search finds the last one's part of the tree at hand.
    along = np.lexsort((northing_m, np.floor(easting_m / STRIP_M)))
    members = [along[(known & (classes == number))[along]] for number in range(len(ERROR_CLASSES_M))]
    places = np.column_stack([easting_m, northing_m, alike])
    worst = [error_m[rows].max() if len(rows) else 0.0 for rows in members]
    for a, rows_a in enumerate(members):
        for b in range(a, len(members)):
            rows_b = members[b]
            if not len(rows_a) or not len(rows_b):
                continue
            radius = min(max(REACH * float(np.hypot(worst[a], worst[b])), LEAST_REACH_M), furthest_m) + 1.0
            scale = np.array([radius, radius, 1.0])
            if one_of is not None:
                chosen_a, chosen_b = rows_a[one_of[rows_a]], rows_b[one_of[rows_b]]
                yield partial(_search, places, scale, chosen_a, rows_b)
                if a != b:
                    yield partial(_search, places, scale, rows_a, chosen_b)
            else:
                yield partial(_search, places, scale, rows_a, rows_b)


def _search(places: np.ndarray, scale: np.ndarray, rows_a: np.ndarray, rows_b: np.ndarray) -> np.ndarray:
    """Return pairs of one row of `rows_a` and one of `rows_b` that differ by at most `scale` in each coordinate."""
    if not len(rows_a) or not len(rows_b):
        return np.empty((0, 2), dtype=np.int64)
    tree = KDTree(places[rows_a] / scale, balanced_tree=False)
    if rows_a is rows_b:
        return rows_a[tree.query_pairs(1.0, p=np.inf, output_type="ndarray")]
    other = KDTree(places[rows_b] / scale, balanced_tree=False)
    near = tree.sparse_distance_matrix(other, 1.0, p=np.inf, output_type="ndarray")
    return np.column_stack([rows_a[near["i"]], rows_b[near["j"]]])


def _same_number(numbers: tuple[np.ndarray, ...]) -> np.ndarray:
    """Return all pairs of records that carry one number, be it a permit in one and its own in the other."""
    codes = np.concatenate(numbers)
    rows = np.tile(np.arange(len(numbers[0])), len(numbers))[codes >= 0]
    codes = codes[codes >= 0]
    order = np.lexsort((rows, codes))
    codes, rows = codes[order], rows[order]
    size = np.bincount(codes)[codes] if len(codes) else codes
    few = (size > 1) & (size <= SHARED_NUMBER_AT_MOST)
    codes, rows = codes[few], rows[few]
    found = []
    for step in range(1, SHARED_NUMBER_AT_MOST):
        together = codes[:-step] == codes[step:]
        if not together.any():
            break
        found.append(np.column_stack([rows[:-step][together], rows[step:][together]]))
    return np.concatenate(found) if found else np.empty((0, 2), dtype=np.int64)


def _as_key(pairs: np.ndarray, count: int) -> np.ndarray:
    """Return one number a pair, the smaller row first; a record is no pair with itself."""
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    return pairs.min(axis=1).astype(np.int64) * count + pairs.max(axis=1)
