"""A table to put before a sceptic: kriging against what anyone could do with the same wells.

Every method sees the same wells and is scored on the same ground left out.
Scores stand on the log scale where the model does, so that a CRPS of 0.40 is
about a factor of e^0.4.

Scored are the wells read exactly and those that lie below a limit, such as dry
holes: to ask only the wells that gave water would favour whoever knows of no
dry ones, for of a law that is right the share of the dry would count as
missed. They are scored on what is known of them: readings and quantiles below
the `floor` are lifted to it (Gneiting, T. and Ranjan, R. 2011, J. Bus. Econ.
Stat. 29, 411-422: a proper score of the law above a threshold). Other
intervals are learnt from (by kriging) or taken at their known end (by the
others, which have no better way), and not scored.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.spatial import cKDTree
from sklearn.base import clone
from sklearn.model_selection import BaseCrossValidator

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.kriging import IntervalKriging
from wellrecords.interpolation.scores import LEVELS, bias, crps, pinball_loss, width
from wellrecords.interpolation.splits import SpatialBlocks

Method = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]
P10, P50, P90 = 9, 49, 89  # columns of LEVELS


def nearest_wells(coordinates: FloatArray, reading: FloatArray, places: FloatArray) -> FloatArray:
    """Quantiles of the 15 nearest wells, what a driller does in the head, shape (m, len(LEVELS))."""
    _, index = cKDTree(coordinates).query(places, k=np.arange(1, min(15, len(reading)) + 1))
    return np.quantile(reading[index], LEVELS, axis=1).T


def inverse_distance(coordinates: FloatArray, reading: FloatArray, places: FloatArray) -> FloatArray:
    """Inverse squared distance over 15 wells, spread by its own leave-one-out errors, shape (m, len(LEVELS))."""
    tree = cKDTree(coordinates)

    def mean_at(points: FloatArray, skip: int) -> FloatArray:
        distance, index = tree.query(points, k=np.arange(1 + skip, min(15, len(reading) - skip) + 1 + skip))
        weight = 1.0 / np.maximum(distance, 1.0) ** 2
        return (weight * reading[index]).sum(axis=1) / weight.sum(axis=1)

    error = reading - mean_at(coordinates, 1)
    return mean_at(places, 0)[:, None] + np.quantile(error, LEVELS)


def quantile_forest(coordinates: FloatArray, reading: FloatArray, places: FloatArray) -> FloatArray:
    """Quantile forest on x and y: 200 trees, at least 5 wells a leaf (needs the quantile-forest package)."""
    from quantile_forest import RandomForestQuantileRegressor

    forest = RandomForestQuantileRegressor(n_estimators=200, min_samples_leaf=5, random_state=0, n_jobs=2)
    return forest.fit(coordinates, reading).predict(places, quantiles=list(LEVELS))


RIVALS: Mapping[str, Method] = {
    "nearest 15 wells": nearest_wells,
    "inverse distance": inverse_distance,
    "quantile forest": quantile_forest,
}


def floor(low: FloatArray, high: FloatArray) -> float:
    """Value below which readings are alike to the score, so that those below a limit can be scored.

    Of the limits of readings that are open below it is the one that costs the
    fewest readings: those open below a higher limit are not scored, exact
    ones under it only as lying there. One stray "below 500" sets no floor.

    Parameters
    ----------
    low, high : ndarrays of shape (n,)
        On the scale of the score; minus infinite where open below.

    Returns
    -------
    float
        Minus infinite where nothing is open below, or no limit is worth it.
    """
    limit, exact = np.sort(high[np.isneginf(low)]), np.sort(low[low == high])
    tried = np.append(-np.inf, np.unique(limit))
    lost = len(limit) - np.searchsorted(limit, tried, side="right") + np.searchsorted(exact, tried)
    return float(tried[np.argmin(lost)])


def validate(
    model: IntervalKriging,
    coordinates: npt.ArrayLike,
    low: npt.ArrayLike,
    high: npt.ArrayLike | None = None,
    position_error_m: float | npt.ArrayLike | None = None,
    *,
    covariates: pd.DataFrame | None = None,
    district: npt.ArrayLike | None = None,
    rivals: Sequence[str] = ("nearest 15 wells", "inverse distance"),
    cv: BaseCrossValidator | None = None,
    least_wells: int = 100,
) -> pd.DataFrame:
    """Score the model and its rivals on ground left out.

    Parameters
    ----------
    model : IntervalKriging
        Cloned and fitted anew for every fold.
    coordinates, low, high, position_error_m
        As in `IntervalKriging.fit`.
    covariates : DataFrame of n rows, optional
        Adds the method "kriging with covariates".
    district : array-like of shape (n,), optional
        Adds a row a method for every district with `least_wells` or more.
    rivals : sequence of {"nearest 15 wells", "inverse distance", "quantile forest"}
        The last needs the quantile-forest package.
    cv : BaseCrossValidator, optional
        `SpatialBlocks()` by default: five folds of 300 m cells.
    least_wells : int

    Returns
    -------
    DataFrame
        One row a district ("all" first) and method: `district`, `method`,
        `wells`, `crps`, `skill` (against the distribution of all wells,
        1 is perfect), `pinball_p10`, `pinball_p90`, `covers_80`, `width_80`,
        `bias_of_median`.
    """
    unknown = sorted(set(rivals) - set(RIVALS))
    if unknown:
        msg = f"Unknown rivals {unknown}; known are {list(RIVALS)}."
        raise ValueError(msg)
    points = np.asarray(coordinates, dtype=float)
    lows = np.asarray(low, dtype=float)
    highs = lows if high is None else np.asarray(high, dtype=float)
    error = None if position_error_m is None else np.broadcast_to(np.asarray(position_error_m, float), lows.shape)
    lower, upper = _on_scale(lows, highs, log=model.transform == "log")
    to_scale = np.log if model.transform == "log" else np.asarray
    lowest = floor(lower, upper)
    told = (lower == upper) | (np.isneginf(lower) & (upper <= lowest))
    usable = np.isfinite(lower) | np.isfinite(upper)
    bounded = np.isfinite(lower) & np.isfinite(upper)
    middle = to_scale(np.where(bounded, (lows + highs) / 2, 1.0))
    reading = np.where(bounded, middle, np.where(np.isfinite(upper), upper, lower))
    models: dict[str, pd.DataFrame | None] = {"kriging": None}
    if covariates is not None:
        models["kriging with covariates"] = covariates
    methods = (*models, *rivals)
    quantiles = {name: np.full((len(lows), len(LEVELS)), np.nan) for name in (*methods, "all wells")}
    for train, test in (cv or SpatialBlocks()).split(points):
        for name, known_there in models.items():
            seen, unseen = (None if known_there is None else known_there.iloc[rows] for rows in (train, test))
            fitted = clone(model).fit(
                points[train], lows[train], highs[train], None if error is None else error[train], seen
            )
            quantiles[name][test] = to_scale(fitted.predict(points[test], unseen).quantile(LEVELS))
        known = train[usable[train]]
        for name in rivals:
            quantiles[name][test] = RIVALS[name](points[known], reading[known], points[test])
        quantiles["all wells"][test] = np.quantile(reading[known], LEVELS)
    reading = np.maximum(reading, lowest)
    lifted = {name: np.maximum(table, lowest) for name, table in quantiles.items()}
    where = np.full(len(lows), "all") if district is None else np.asarray(district).astype(str)
    rows = []
    for name in ["all", *(sorted(set(where)) if district is not None else [])]:
        wells = told & ((where == name) | (name == "all"))
        if wells.sum() >= (1 if name == "all" else least_wells):
            least = crps(reading[wells], lifted["all wells"][wells]).mean()
            below = (lower[wells] < upper[wells]) | (lower[wells] < lowest)
            rows += [
                {"district": name, "method": method} | _row(reading[wells], below, lifted[method][wells], lowest, least)
                for method in methods
            ]
    return pd.DataFrame(rows)


def _on_scale(low: FloatArray, high: FloatArray, *, log: bool) -> tuple[FloatArray, FloatArray]:
    """Return the ends on the scale of the score; on the log scale 0 is open below, as the model reads it."""
    if not log:
        return low, high
    positive = np.concatenate([low[low > 0], high[(high > 0) & np.isfinite(high)]])
    with np.errstate(divide="ignore", invalid="ignore"):  # what is no reading, the model refuses in words
        return np.log(np.maximum(low, 0.0)), np.log(np.where(high == 0, positive.min(initial=np.inf), high))


def _row(
    reading: FloatArray, below: npt.NDArray[np.bool_], quantiles: FloatArray, lowest: float, least: float
) -> dict[str, float]:
    score = float(crps(reading, quantiles).mean())
    return {
        "wells": len(reading),
        "crps": score,
        "skill": 1.0 - score / least if least > 0 else np.nan,
        "pinball_p10": float(pinball_loss(reading, quantiles[:, P10], 0.1).mean()),
        "pinball_p90": float(pinball_loss(reading, quantiles[:, P90], 0.9).mean()),
        "covers_80": _covers_80(reading, below, quantiles, lowest),
        "width_80": width(quantiles[:, P10], quantiles[:, P90]),
        "bias_of_median": bias(reading, quantiles[:, P50]),
    }


def _covers_80(reading: FloatArray, below: npt.NDArray[np.bool_], quantiles: FloatArray, lowest: float) -> float:
    """Share of readings between P10 and P90; one below the floor counts by the part of its levels that lie there.

    All that is known of its level is that it lies below that of the floor
    (Czado, C., Gneiting, T. and Held, L. 2009, Biometrics 65, 1254-1261): of
    the dry, a law that gives them 0.3 covers two thirds.
    """
    covered = (reading >= quantiles[:, P10]) & (reading <= quantiles[:, P90])
    share = ((quantiles <= lowest).sum(axis=1) + 0.5) / (len(LEVELS) + 1.0)
    inside = (np.clip(share, 0.1, 0.9) - 0.1) / share
    return float(np.mean(np.where(below, inside, covered)))
