"""Input of the interpolation, checked and brought to the scale on which it is kriged."""

from __future__ import annotations

import numbers
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, get_args

import numpy as np
import numpy.typing as npt

from wellrecords.interpolation import spread
from wellrecords.interpolation.covariance import KINDS, Covariance, FloatArray
from wellrecords.interpolation.distribution import Transform
from wellrecords.interpolation.neighbours import IntArray

FAR_M = 300_000.0  # no prediction is of use so far from the nearest well
LONELY_SD, WEAK_SD, LEAST_VARIANCE = 1.0, 0.5, 1e-8  # on the log scale: a factor of e, of 1.6, of 1.0001
LONELY_SHARE, WEAK_SHARE, LEAST_SHARE = 1.0, 0.01, 1e-11  # of the readings' size on the identity scale


@dataclass(frozen=True)
class Readings:
    """Checked readings on the transformed scale, those that say nothing left out.

    Parameters
    ----------
    coordinates : ndarray of shape (n, 2), metres
    low, high : ndarrays of shape (n,)
    position_error_m : ndarray of shape (n,)
    row : ndarray of shape (n,)
        Row of each in the input.
    lonely_sd, weak_sd : float
        The spread to reckon with where there is one well, and where there
        are more but they have not measured it. Scales of their own on the
        log scale; shares of the readings' size on the identity scale, where
        feet and metres must give the same answer.
    least_variance : float
        Of a constant field, so that every system stays solvable.
    """

    coordinates: FloatArray
    low: FloatArray
    high: FloatArray
    position_error_m: FloatArray
    row: IntArray
    lonely_sd: float = LONELY_SD
    weak_sd: float = WEAK_SD
    least_variance: float = LEAST_VARIANCE

    @property
    def any_censored(self) -> bool:
        """Whether any reading is an interval."""
        return bool(np.any(self.low != self.high))

    def less(self, offset: FloatArray) -> Readings:
        """Return the readings less an offset each, shape (n,); open ends stay open."""
        return replace(self, low=self.low - offset, high=self.high - offset)

    @cached_property
    def rank(self) -> IntArray:
        """Where each well comes when they are sorted by place and reading, whatever their order in the input."""
        keys = (self.position_error_m, self.high, self.low, self.coordinates[:, 1], self.coordinates[:, 0])
        rank = np.empty(len(self.low), dtype=np.intp)
        rank[np.lexsort(keys)] = np.arange(len(self.low))
        return rank

    def rough_mean_and_variance(self) -> tuple[float, float]:
        """Mean and variance of the readings in space taken no account of: a censored normal fit (`spread`)."""
        if not self.any_censored:
            return float(self.low.mean()), max(float(self.low.var()), self.least_variance)
        mean, sd = spread.mean_and_sd(self.low, self.high, self.weak_sd, np.sqrt(self.least_variance))
        return mean, max(sd**2, self.least_variance)

    def variance_bounds(self) -> tuple[float, float]:
        """Least and most that the variance of the readings may be; 0 and infinite where all are exact."""
        least, most = spread.sd_bounds(self.low, self.high, self.weak_sd)
        return least**2, most**2


def check_coordinates(coordinates: npt.ArrayLike) -> FloatArray:
    """Check an (m, 2) array of metres.

    Raises
    ------
    ValueError
        Wrong shape, not finite, or degrees.
    """
    points = np.asarray(coordinates, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2:
        msg = f"Coordinates must have shape (n, 2), easting and northing in metres; got shape {points.shape}."
        raise ValueError(msg)
    bad = ~np.isfinite(points).all(axis=1)
    if bad.any():
        msg = f"{bad.sum()} coordinates are NaN or infinite, the first in row {np.argmax(bad)}; leave these wells out."
        raise ValueError(msg)
    return points


def refuse_degrees(points: FloatArray) -> None:
    """Refuse coordinates that can only be longitude and latitude: all in their bounds, within a few units.

    Raises
    ------
    ValueError
    """
    inside = np.all(np.abs(points[:, 0]) <= 360.0) and np.all(np.abs(points[:, 1]) <= 90.0)
    if len(points) and inside and np.any(points != np.round(points)):
        west, south = points.min(axis=0)
        msg = (
            f"Coordinates look like degrees (from {west:.3f}, {south:.3f}); metres are needed. "
            "Project them first, for instance with geopandas: wells.to_crs(wells.estimate_utm_crs())."
        )
        raise ValueError(msg)


def refuse_degrees_far_from(points: FloatArray, wells: FloatArray) -> None:
    """Refuse targets that look like degrees, unless the wells lie near them (a local plane may start at 0, 0).

    Raises
    ------
    ValueError
    """
    if not len(points):
        return
    away = np.maximum(wells.min(axis=0) - points.max(axis=0), points.min(axis=0) - wells.max(axis=0))
    if away.max() > FAR_M:
        refuse_degrees(points)


def check_readings(
    coordinates: npt.ArrayLike,
    low: npt.ArrayLike,
    high: npt.ArrayLike | None,
    position_error_m: float | npt.ArrayLike | None,
    transform: Transform,
) -> Readings:
    """Check readings and transform them.

    Raises
    ------
    ValueError
        With the count and the first row of what is wrong.
    """
    if transform not in get_args(Transform):
        msg = f"transform must be one of {get_args(Transform)}; got {transform!r}."
        raise ValueError(msg)
    points = check_coordinates(coordinates)
    refuse_degrees(points)
    n = len(points)
    lows = np.asarray(low, dtype=float)
    highs = lows if high is None else np.asarray(high, dtype=float)
    error = np.zeros(n) if position_error_m is None else np.asarray(position_error_m, dtype=float)
    error = np.full(n, float(error)) if error.ndim == 0 else error
    for name, values in (("low", lows), ("high", highs), ("position_error_m", error)):
        if values.shape != (n,):
            msg = f"{name} must have one value a well, shape ({n},); got shape {values.shape}."
            raise ValueError(msg)
        _refuse(np.isnan(values), f"{name} is NaN", "a missing reading must be left out, an open end is infinite")
    _refuse(lows > highs, "low is above high", "each reading is an interval [low, high]")
    _refuse((lows == highs) & np.isinf(lows), "low and high are the same infinity", "an exact reading is finite")
    _refuse(~((error >= 0) & np.isfinite(error)), "position_error_m is negative or infinite", "it is a length")
    if transform == "log":
        lows, highs = _to_log(lows, highs)
    says = np.isfinite(lows) | np.isfinite(highs)
    if not says.any():
        msg = f"At least 1 reading that says something is needed; got {n} readings, all of them open on both sides."
        raise ValueError(msg)
    if np.all(np.isinf(lows[says])) or np.all(np.isinf(highs[says])):
        side = "below" if np.all(np.isinf(lows[says])) else "above"
        msg = (
            f"All {says.sum()} readings are censored on one side: they say only that the quantity lies {side} "
            "some value, so that nothing bounds it on the other. At least 1 exact or interval reading is needed."
        )
        raise ValueError(msg)
    found = Readings(points[says], lows[says], highs[says], error[says], np.flatnonzero(says))
    if transform == "log":
        return found
    ends = np.abs(spread.finite_ends(found.low, found.high))
    size, largest = float(ends.mean()) or 1.0, float(ends.max()) or 1.0
    return replace(
        found,
        lonely_sd=LONELY_SHARE * size,
        weak_sd=WEAK_SHARE * size,
        least_variance=(LEAST_SHARE * largest) ** 2,
    )


def _to_log(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log of the readings; open below is from 0, and an exact 0 becomes "below the smallest positive reading"."""
    low = np.where(np.isneginf(low), 0.0, low)
    _refuse(low < 0, "a reading is negative", 'transform="log" needs readings of 0 or more; use transform="identity"')
    zero = high == 0
    if zero.any():
        positive = np.concatenate([low[low > 0], high[(high > 0) & np.isfinite(high)]])
        if not len(positive):
            msg = f"All {len(low)} readings are 0: a log scale needs at least one positive reading."
            raise ValueError(msg)
        high = np.where(zero, positive.min(), high)
    with np.errstate(divide="ignore"):
        return np.log(low), np.log(high)


def _refuse(bad: npt.NDArray[np.bool_], what: str, rule: str) -> None:
    if bad.any():
        msg = f"{what} in {bad.sum()} of {len(bad)} rows, the first in row {np.argmax(bad)}; {rule}."
        raise ValueError(msg)


def check_settings(model: Any) -> None:
    """Check the parameters of an `IntervalKriging`.

    Raises
    ------
    ValueError
        Naming the parameter, the value found and the rule.
    """
    shapes = ("auto", *KINDS)
    if not isinstance(model.covariance, Covariance) and model.covariance not in shapes:
        msg = f"covariance must be one of {', '.join(shapes)} or a Covariance; got {model.covariance!r}."
        raise ValueError(msg)
    for name, least in (("n_neighbours", 1), ("n_trees", 0), ("block_m", 0), ("n_jobs", 1)):
        value = getattr(model, name)
        if not isinstance(value, numbers.Real) or not float(value) >= least:
            msg = f"{name} must be a number of at least {least}; got {value!r}."
            raise ValueError(msg)
    stretched = model.anisotropy
    if not (stretched is None or stretched == "auto" or (len(stretched) == 2 and stretched[0] > 0)):
        msg = f'anisotropy must be "auto", None or (ratio > 0, angle in degrees); got {stretched!r}.'
        raise ValueError(msg)
    if not (model.trend is None or model.trend == "auto" or hasattr(model.trend, "predict")):
        msg = f'trend must be "auto", None or a scikit-learn regressor; got {model.trend!r}.'
        raise ValueError(msg)
