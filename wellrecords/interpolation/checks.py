"""Input of the interpolation, checked and brought to the scale on which it is kriged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from wellrecords.interpolation import spread
from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import Transform
from wellrecords.interpolation.neighbours import IntArray
from wellrecords.interpolation.settings import check_transform

NEAR_M = 10_000.0  # where the wells lie farther from 0, 0 than that, nothing within a few units of it is in metres
LARGEST = 1e100  # squares of readings beyond it, or of none above its inverse, come near the end of the numbers
PROJECT = "Project them first, for instance with geopandas: wells.to_crs(wells.estimate_utm_crs())."
LONELY_SD, WEAK_SD, LEAST_VARIANCE = 1.0, 0.5, 1e-8  # on the log scale: a factor of e, of 1.6, of 1.0001
LONELY_SHARE, WEAK_SHARE, LEAST_SHARE, CONSTANT_SHARE = (
    1.0,
    0.01,
    1e-11,
    1e-9,
)  # of the readings' size on the identity scale


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
    least_variance, constant_variance : float
        What is below the first is rounding, and the field taken for a
        constant one with the second, so that every system stays solvable.
    rounding_sd : float
        No fit may say that the readings differ by less.
    """

    coordinates: FloatArray
    low: FloatArray
    high: FloatArray
    position_error_m: FloatArray
    row: IntArray
    lonely_sd: float = LONELY_SD
    weak_sd: float = WEAK_SD
    least_variance: float = LEAST_VARIANCE
    constant_variance: float = LEAST_VARIANCE
    rounding_sd: float = 0.0

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
            return float(self.low.mean()), self.measured(float(self.low.var()))
        mean, sd = spread.mean_and_sd(self.low, self.high, self.weak_sd, np.sqrt(self.least_variance))
        return mean, self.measured(sd**2)

    def measured(self, variance: float) -> float:
        """Return a variance, or that of a constant field where it is no more than rounding."""
        return variance if variance > self.least_variance else self.constant_variance

    def variance_bounds(self) -> tuple[float, float]:
        """Least and most that the variance of the readings may be; next to 0 and infinite where all are exact."""
        least, most = spread.sd_bounds(self.low, self.high, self.weak_sd)
        return max(least, self.rounding_sd) ** 2, most**2


def check_coordinates(coordinates: npt.ArrayLike) -> FloatArray:
    """Check an (m, 2) array of metres; no places at all are an array of shape (0, 2).

    Raises
    ------
    ValueError
        Wrong shape, not numbers, or not finite.
    """
    points = as_numbers("coordinates", coordinates)
    if points.shape == (0,):
        return np.empty((0, 2))
    if points.ndim != 2 or points.shape[1] != 2:
        msg = f"Coordinates must have shape (n, 2), easting and northing in metres; got shape {points.shape}."
        raise ValueError(msg)
    bad = ~np.isfinite(points).all(axis=1)
    if bad.any():
        msg = f"{bad.sum()} coordinates are NaN or infinite, the first in row {np.argmax(bad)}; leave these wells out."
        raise ValueError(msg)
    return points


def check_groups(coordinates: npt.ArrayLike) -> FloatArray:
    """Check a (g, s, 2) array of metres.

    Raises
    ------
    ValueError
        As `check_coordinates`.
    """
    groups = as_numbers("coordinates", coordinates)
    if groups.ndim != 3 or groups.shape[2] != 2:
        msg = (
            f"Coordinates of groups must have shape (groups, places of a group, 2), easting and northing in metres; "
            f"got shape {groups.shape}. For single places use predict."
        )
        raise ValueError(msg)
    return check_coordinates(groups.reshape(-1, 2)).reshape(groups.shape)


def as_numbers(name: str, values: object) -> FloatArray:
    """Return numbers as floats, a missing one as NaN.

    Raises
    ------
    ValueError
        Text, complex or true and false, with the first row and its value.
    """
    if np.ma.isMaskedArray(values):
        values = np.ma.filled(values.astype(float), np.nan)
    if isinstance(values, (pd.Series, pd.DataFrame)):
        values = values.to_numpy(dtype=object, na_value=np.nan) if values.isna().to_numpy().any() else values.to_numpy()
    found = np.asarray(values)
    if found.dtype.kind not in "cbMm":
        try:
            return np.asarray(values, dtype=float)
        except (TypeError, ValueError):
            pass
    wrong = [number for number, value in enumerate(found.ravel()) if not _is_real(value)]
    width = found.shape[1] if found.ndim == 2 else 1
    first = wrong[0] if wrong else 0
    where = f" in row {first // width}" if found.ndim else ""
    shown = found.ravel()[first] if found.size else found
    shown = shown.item() if isinstance(shown, np.generic) else shown
    none = f"{len(wrong) or found.size} of {found.size} values are no numbers"
    msg = f"{name} must be numbers: got {shown!r}{where} ({none})."
    raise ValueError(msg)


def _is_real(value: object) -> bool:
    if isinstance(value, (bool, np.bool_, complex, np.complexfloating, np.datetime64, np.timedelta64)):
        return False
    try:
        float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return False
    return True


def refuse_degrees(points: FloatArray) -> None:
    """Refuse wells of which all, or some among metres, can only be longitude and latitude, in either order.

    All within 360 and 90 units of 0 are degrees, unless they fill a corner
    at 0, 0: no coordinate is negative, and both begin within a tenth of the
    span (a yard on a plane of its own, 0 to 80 m each way; no land lies
    there in degrees). Some are degrees if all the others lie `NEAR_M` or
    farther from 0.

    Raises
    ------
    ValueError
    """
    like = _like_degrees(points)
    if not like.any():
        return
    if like.all():
        span = np.ptp(points, axis=0).max()
        if np.all(points >= 0) and np.all(points.min(axis=0) <= 0.1 * span):
            return
        west, south = points.min(axis=0)
        swapped = " They seem to be latitude before longitude, too." if np.any(np.abs(points[:, 1]) > 90.0) else ""
        msg = f"Coordinates look like degrees (from {west:.3f}, {south:.3f}); metres are needed.{swapped} {PROJECT}"
        raise ValueError(msg)
    if np.abs(points[~like]).max(axis=1).min() > NEAR_M:
        raise ValueError(_some_degrees(points, like))


def refuse_degrees_far_from(points: FloatArray, wells: FloatArray, *, all_of_them: bool = False) -> None:
    """Refuse targets that look like degrees, unless the wells lie near them (a local plane may start at 0, 0).

    Parameters
    ----------
    points, wells : ndarrays of shape (m, 2), (n, 2)
    all_of_them : bool
        Refuse only where every target looks so: a grid may cross 0, 0.

    Raises
    ------
    ValueError
    """
    like = _like_degrees(points)
    if not like.any() or (all_of_them and not like.all()):
        return
    away = np.maximum(wells.min(axis=0) - points, points - wells.max(axis=0)).max(axis=1)
    like &= away > NEAR_M
    if like.any():
        raise ValueError(_some_degrees(points, like))


def _like_degrees(points: FloatArray) -> npt.NDArray[np.bool_]:
    x, y = np.abs(points).T
    return ((x <= 360.0) & (y <= 90.0)) | ((x <= 90.0) & (y <= 360.0))


def _some_degrees(points: FloatArray, like: npt.NDArray[np.bool_]) -> str:
    row = int(np.argmax(like))
    x, y = points[row]
    return (
        f"{like.sum()} of {len(points)} coordinates look like degrees while the wells stand in metres, the first in "
        f"row {row} ({x:.3f}, {y:.3f}). {PROJECT}"
    )


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
        All that is wrong, each with its count and its first row and value.
    """
    check_transform(transform)
    points = check_coordinates(coordinates)
    refuse_degrees(points)
    n = len(points)
    lows = as_numbers("low", low)
    highs = lows if high is None else as_numbers("high", high)
    error = np.zeros(n) if position_error_m is None else as_numbers("position_error_m", position_error_m)
    error = np.full(n, float(error)) if error.ndim == 0 else error
    for name, values in (("low", lows), ("high", highs), ("position_error_m", error)):
        if values.shape != (n,):
            msg = f"{name} must have one value a well, shape ({n},); got shape {values.shape}."
            raise ValueError(msg)
    _refuse_readings(lows, highs, error, transform, one_end=high is None)
    if transform == "log":
        lows, highs = _to_log(lows, highs)
    says = np.isfinite(lows) | np.isfinite(highs)
    if not says.any():
        open_ones = f"{n} readings, all of them open on both sides" if n else "none"
        msg = f"At least 1 reading that says something is needed; got {open_ones}."
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
        constant_variance=(CONSTANT_SHARE * largest) ** 2,
        rounding_sd=LEAST_SHARE * largest,
    )


def _refuse_readings(
    low: FloatArray, high: FloatArray, error: FloatArray, transform: Transform, *, one_end: bool
) -> None:
    """Refuse readings that are no intervals, and position errors that are no lengths, all in one go."""
    missing = "a missing reading must be left out, an open end is infinite"
    faults = [_fault(np.isnan(low), "low is NaN", missing, low)]
    if not one_end:
        faults.append(_fault(np.isnan(high), "high is NaN", missing, high))
    faults.append(_fault(low > high, "low is above high", "each reading is an interval [low, high]", low, high))
    same = (low == high) & np.isinf(low)
    faults.append(_fault(same, "low and high are the same infinity", "an exact reading is finite", low))
    bad = ~((error >= 0) & np.isfinite(error))
    faults.append(_fault(bad, "position_error_m is negative, NaN or infinite", "it is a length in metres", error))
    if transform == "log":
        rule = 'transform="log" needs readings of 0 or more; use transform="identity"'
        below = ((low < 0) & ~np.isneginf(low)) | ((high < 0) & np.isfinite(high))
        faults.append(_fault(below, "a reading is negative", rule, low, high))
    else:
        ends = np.where(np.isfinite(low), np.abs(low), 0.0), np.where(np.isfinite(high), np.abs(high), 0.0)
        size = np.maximum(*ends)
        rule = "its square is beyond what a computer reckons with; look for a stray exponent"
        faults.append(_fault(size > LARGEST, f"a reading is beyond {LARGEST:g}", rule, low, high))
        faults.append(
            _fault((size > 0) & (size.max() < 1.0 / LARGEST), "a reading is next to nothing", rule, low, high)
        )
    told = [fault for fault in faults if fault is not None]
    if told:
        raise ValueError("\n".join(told))


def _to_log(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log of the readings; open below is from 0, and an exact 0 becomes "below the smallest positive reading"."""
    low = np.where(np.isneginf(low), 0.0, low)
    zero = high == 0
    if zero.any():
        positive = np.concatenate([low[low > 0], high[(high > 0) & np.isfinite(high)]])
        if not len(positive):
            msg = f"All {len(low)} readings are 0: a log scale needs at least one positive reading."
            raise ValueError(msg)
        high = np.where(zero, positive.min(), high)
    with np.errstate(divide="ignore"):
        return np.log(low), np.log(high)


def _fault(bad: npt.NDArray[np.bool_], what: str, rule: str, *values: FloatArray) -> str | None:
    """Say what is wrong in how many rows, the first of them with its value or both its ends, and the rule."""
    if not bad.any():
        return None
    row = int(np.argmax(bad))
    shown = " to ".join(dict.fromkeys(f"{column[row]:g}" for column in values))
    return f"{what} in {bad.sum()} of {len(bad)} rows, the first in row {row} ({shown}); {rule}."
