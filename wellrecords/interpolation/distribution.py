"""The predictive distribution: one for each place asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from wellrecords.interpolation.covariance import FloatArray

Transform = Literal["log", "identity"]


@dataclass(frozen=True)
class ResidualDistribution:
    """Distribution of standardised residuals, as a quantile function.

    Parameters
    ----------
    levels : ndarray of shape (q,)
        Rising probabilities inside (0, 1).
    values : ndarray of shape (q,)
        The residual at each level. Between levels the function is linear;
        beyond the outer ones it goes on with the tail of a normal
        distribution through the last point.
    """

    levels: FloatArray
    values: FloatArray

    def quantile(self, level: FloatArray) -> FloatArray:
        """Residual at each level, any shape."""
        inner = np.interp(level, self.levels, self.values)
        first, last = ndtri(self.levels[0]), ndtri(self.levels[-1])
        z = ndtri(level)
        below = self.values[0] + (z - first) * self._slope
        above = self.values[-1] + (z - last) * self._slope
        return np.where(level < self.levels[0], below, np.where(level > self.levels[-1], above, inner))

    def cdf(self, value: FloatArray) -> FloatArray:
        """Probability of a residual at or below each value, any shape."""
        inner = np.interp(value, self.values, self.levels)
        first, last = ndtri(self.levels[0]), ndtri(self.levels[-1])
        below = ndtr(first + (value - self.values[0]) / self._slope)
        above = ndtr(last + (value - self.values[-1]) / self._slope)
        return np.where(value < self.values[0], below, np.where(value > self.values[-1], above, inner))

    @property
    def _slope(self) -> float:
        """Residuals for one unit of the normal score, over the whole span."""
        return float((self.values[-1] - self.values[0]) / (ndtri(self.levels[-1]) - ndtri(self.levels[0])))


def normal_residuals(count: int = 199) -> ResidualDistribution:
    """Return the standard normal as a residual distribution."""
    levels = (np.arange(count) + 0.5) / count
    return ResidualDistribution(levels, ndtri(levels))


@dataclass(frozen=True)
class PredictiveDistribution:
    """Distribution of the reading of a well at each of m places.

    Parameters
    ----------
    transform : {"log", "identity"}
        Scale on which `location` and `scale` stand.
    location, scale : ndarrays of shape (m,)
    residuals : ResidualDistribution
        Of (transformed reading - location) / scale.
    """

    transform: Transform
    location: FloatArray
    scale: FloatArray
    residuals: ResidualDistribution

    def __len__(self) -> int:
        return len(self.location)

    def quantile(self, level: float | npt.ArrayLike) -> FloatArray:
        """Quantiles in the unit of the readings.

        Parameters
        ----------
        level : float, or array-like of shape (q,)
            Inside (0, 1).

        Returns
        -------
        ndarray of shape (m,) for one level, (m, q) for several
        """
        levels = _check_levels(level)
        z = self.residuals.quantile(levels)
        if levels.ndim == 0:
            return self._back(self.location + self.scale * z)
        return self._back(self.location[:, None] + self.scale[:, None] * z)

    def quantile_at(self, level: npt.ArrayLike) -> FloatArray:
        """Quantiles at a level of its own for each place.

        Parameters
        ----------
        level : array-like of shape (m,) or (n_draws, m)
            Inside (0, 1), for instance uniforms that a copula has tied to
            those of another quantity.

        Returns
        -------
        ndarray of the shape of `level`
        """
        return self._back(self.location + self.scale * self.residuals.quantile(_check_levels(level)))

    def cdf(self, value: float | npt.ArrayLike) -> FloatArray:
        """Probability of a reading at or below `value`.

        Parameters
        ----------
        value : float or array-like broadcasting to (m,)
            In the unit of the readings.

        Returns
        -------
        ndarray of shape (m,)
        """
        values = np.asarray(value, dtype=float)
        if self.transform == "log":
            with np.errstate(divide="ignore", invalid="ignore"):
                values = np.where(values > 0, np.log(values), -np.inf)
        with np.errstate(invalid="ignore"):
            return self.residuals.cdf((values - self.location) / self.scale)

    def sample(self, n_draws: int = 1, random_state: int | np.random.Generator | None = None) -> FloatArray:
        """Draw readings, independent between places, shape (n_draws, m)."""
        rng = np.random.default_rng(random_state)
        uniform = rng.uniform(np.finfo(float).tiny, 1.0, size=(n_draws, len(self)))
        return self.quantile_at(uniform)

    def _back(self, value: FloatArray) -> FloatArray:
        return np.exp(value) if self.transform == "log" else value


def _check_levels(level: float | npt.ArrayLike) -> FloatArray:
    levels = np.asarray(level, dtype=float)
    if not np.all((levels > 0) & (levels < 1)):
        msg = "A quantile level must lie inside (0, 1), the median being 0.5; got a level outside."
        raise ValueError(msg)
    return levels
