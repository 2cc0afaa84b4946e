"""What the wells say of rock, water and yield, as maps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.side_by_side import side_by_side
from wellrecords.lots.tested import most_that_tests_say

MAPPED = ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
ON_LOG_SCALE = ("depth_to_bedrock_ft", "yield_gpm")
LEAST_READINGS = {"depth_to_bedrock_ft": 5, "depth_to_water_ft": 3, "yield_gpm": 3}
"""With fewer finite readings a quantity is not mapped."""
TREES = {"depth_to_bedrock_ft": 40, "depth_to_water_ft": 40, "yield_gpm": 0}
"""Rock and water have sharp borders, which a forest sees; with yields, which scatter, it has not helped."""


def readings(table: pd.DataFrame, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the rows of the wells that say something of a quantity, and the ends of what they say.

    A quantity that hardly a well reads has no rows; nor has one that is 0 in
    all that read it, where maps are drawn on a log scale.
    """
    low, high = (table[f"{name}_{end}"].to_numpy(dtype=float, copy=True) for end in ("low", "high"))
    if name == "yield_gpm":
        tested = (table["yield_method"] == "pumping_test").fillna(False).to_numpy(dtype=bool)
        exact = (low == high) & (low > 0)
        rate = tested & (exact | ((low > 0) & np.isinf(high)))
        high[rate] = most_that_tests_say(low[rate], low[exact & ~tested])
    first_record = (table["record_kind"] != "repaired").fillna(True).to_numpy(dtype=bool)
    says = (np.isfinite(low) & ~np.isnan(high)) | (np.isinf(low) & np.isfinite(high))
    rows = np.flatnonzero(says & first_record)
    if np.sum(np.isfinite(low[rows]) & np.isfinite(high[rows])) < LEAST_READINGS[name]:
        rows = rows[:0]
    if name in ON_LOG_SCALE and not (low[rows] > 0).any():
        rows = rows[:0]
    return rows, low[rows], high[rows]


def fit_models(
    table: pd.DataFrame,
    coordinates: np.ndarray,
    *,
    covariances: Mapping[str, Covariance],
    trees: Mapping[str, int],
    random_state: int,
    n_jobs: int,
    names: Sequence[str] = MAPPED,
) -> tuple[dict[str, IntervalKriging], dict[str, np.ndarray]]:
    """Map each quantity of which something is known.

    Parameters
    ----------
    table : DataFrame of n wells
    coordinates : ndarray of shape (n, 2), metres
    covariances : mapping of str to Covariance
        Those that are known already; the others are fitted.
    trees : mapping of str to int
        Size of each quantity's forest.
    random_state : int
    n_jobs : int
        Threads, a quantity each.
    names : sequence of str, default=MAPPED
        The quantities that are wanted.

    Returns
    -------
    models : dict of str to IntervalKriging
        Those of which nothing is known are absent.
    used : dict of str to ndarray
        Rows that each quantity was read from.
    """
    error = table["position_error_m"].fillna(0.0).to_numpy()
    read = {name: readings(table, name) for name in names}

    def fit(name: str) -> IntervalKriging:
        rows, low, high = read[name]
        model = IntervalKriging(
            "log" if name in ON_LOG_SCALE else "identity",
            covariance=covariances.get(name, "auto"),
            n_trees=trees[name],
            random_state=random_state,
            n_jobs=1,
        )
        return model.fit(coordinates[rows], low, high, error[rows])

    known = [name for name in names if len(read[name][0])]
    models = dict(zip(known, side_by_side(fit, known, n_jobs), strict=True))
    return models, {name: rows for name, (rows, _, _) in read.items()}
