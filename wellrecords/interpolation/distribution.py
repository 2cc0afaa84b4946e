r"""The predictive distribution: one for each place asked.

A distribution is kept as a table: the (transformed) reading at some normal
scores :math:`\zeta`, rising along each row. Kriging alone gives
:math:`m + s \zeta`, a straight line, for which two columns are enough; a
blend with a forest bends it. What the scores of held-out readings really
looked like, the `ResidualDistribution`, then says which score belongs to
which probability.
"""

from __future__ import annotations

import numbers
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri, stdtrit

from wellrecords.interpolation.covariance import FloatArray

Transform = Literal["log", "identity"]
SCORES = np.linspace(-2.8, 2.8, 29)  # normal scores at which bent distributions are tabulated


@dataclass(frozen=True)
class ResidualDistribution:
    """Distribution of the scores of held-out readings, as a quantile function.

    Parameters
    ----------
    levels : ndarray of shape (q,)
        Rising probabilities inside (0, 1).
    values : ndarray of shape (q,)
        The score at each level. Between levels the function is linear;
        beyond the outer ones it goes on with the tail of a normal
        distribution through the last point.
    """

    levels: FloatArray
    values: FloatArray

    def quantile(self, level: FloatArray) -> FloatArray:
        """Score at each level, any shape."""
        return self._at(level, ndtri(level))

    def widened(self, degrees: float, factor: float) -> ResidualDistribution:
        """Return the distribution with the tails of Student's t in the place of a normal's.

        What the normal law would reach with probability p, Student's reaches
        with less: the level p is read at the score that t has there, times
        `factor`.

        Parameters
        ----------
        degrees : float
            Of freedom.
        factor : float
            At least 1.
        """
        z = factor * stdtrit(degrees, self.levels)
        return ResidualDistribution(self.levels, self._at(ndtr(z), z))

    def _at(self, level: FloatArray, z: FloatArray) -> FloatArray:
        """Score at each level, whose normal score is z, known apart from it since a level of 1 - 1e-17 is 1."""
        inner = np.interp(level, self.levels, self.values)
        first, last = ndtri(self.levels[0]), ndtri(self.levels[-1])
        below = self.values[0] + (z - first) * self._slope
        above = self.values[-1] + (z - last) * self._slope
        return np.where(level < self.levels[0], below, np.where(level > self.levels[-1], above, inner))

    def cdf(self, value: FloatArray) -> FloatArray:
        """Probability of a score at or below each value, any shape."""
        inner = np.interp(value, self.values, self.levels)
        first, last = ndtri(self.levels[0]), ndtri(self.levels[-1])
        below = ndtr(first + (value - self.values[0]) / self._slope)
        above = ndtr(last + (value - self.values[-1]) / self._slope)
        return np.where(value < self.values[0], below, np.where(value > self.values[-1], above, inner))

    @property
    def _slope(self) -> float:
        """Score for one unit of the normal score, over the whole span."""
        return float((self.values[-1] - self.values[0]) / (ndtri(self.levels[-1]) - ndtri(self.levels[0])))


@dataclass(frozen=True)
class ScoreTable:
    """Readings at normal scores, a row for each of m places.

    Parameters
    ----------
    scores : ndarray of shape (c,), c >= 2
        Rising normal scores, the same for all places.
    values : ndarray of shape (m, c)
        Transformed reading at each score, rising along the row; linear
        between the columns, and beyond them with the mean slope of the row.
    """

    scores: FloatArray
    values: FloatArray

    @classmethod
    def normal(cls, mean: FloatArray, sd: FloatArray) -> ScoreTable:
        """Return the table of a normal distribution at each place."""
        return cls(np.array([-1.0, 1.0]), np.column_stack([mean - sd, mean + sd]))

    @classmethod
    def joined(cls, tables: Sequence[ScoreTable]) -> ScoreTable:
        """Put the tables of several tiles under each other; of none, a table of no places."""
        if not tables:
            return cls.normal(np.empty(0), np.empty(0))
        return cls(tables[0].scores, np.concatenate([table.values for table in tables]))

    def __len__(self) -> int:
        return len(self.values)

    def plus(self, offset: FloatArray) -> ScoreTable:
        """Return the table moved by an offset at each place, shape (m,)."""
        return ScoreTable(self.scores, self.values + offset[:, None])

    def rising(self, least_sd: float) -> ScoreTable:
        """Return the table with every row strictly rising, by `least_sd` a score at least."""
        return ScoreTable(self.scores, np.maximum.accumulate(self.values, axis=1) + least_sd * self.scores)

    def at(self, scores: FloatArray) -> FloatArray:
        """Return the table resampled at other scores, shape (m, q)."""
        if np.array_equal(scores, self.scores):
            return self.values
        return self.value(np.broadcast_to(scores[:, None], (len(scores), len(self)))).T

    def value(self, score: FloatArray) -> FloatArray:
        """Return the reading at a score for each place, shape (m,) or (n_draws, m)."""
        column = np.clip(np.searchsorted(self.scores, score) - 1, 0, len(self.scores) - 2)
        row = np.arange(len(self))
        left, right = self.values[row, column], self.values[row, column + 1]
        inner = left + (right - left) * (score - self.scores[column]) / (self.scores[column + 1] - self.scores[column])
        below = self.values[:, 0] + (score - self.scores[0]) * self._slope
        above = self.values[:, -1] + (score - self.scores[-1]) * self._slope
        return np.where(score < self.scores[0], below, np.where(score > self.scores[-1], above, inner))

    def score(self, value: FloatArray) -> FloatArray:
        """Return the score of a reading at each place, shape (m,); infinite readings have infinite scores."""
        row = np.arange(len(self))
        column = np.clip((self.values < value[:, None]).sum(axis=1) - 1, 0, len(self.scores) - 2)
        left, right = self.values[row, column], self.values[row, column + 1]
        step = self.scores[column + 1] - self.scores[column]
        inner = self.scores[column] + step * (value - left) / (right - left)
        below = self.scores[0] + (value - self.values[:, 0]) / self._slope
        above = self.scores[-1] + (value - self.values[:, -1]) / self._slope
        return np.where(value < self.values[:, 0], below, np.where(value > self.values[:, -1], above, inner))

    @property
    def _slope(self) -> FloatArray:
        return (self.values[:, -1] - self.values[:, 0]) / (self.scores[-1] - self.scores[0])


@dataclass(frozen=True)
class PredictiveDistribution:
    """Distribution of the reading of a well at each of m places.

    Parameters
    ----------
    transform : {"log", "identity"}
        Scale on which the table stands.
    table : ScoreTable of m places
    residuals : ResidualDistribution
        Which score belongs to which probability.
    """

    transform: Transform
    table: ScoreTable
    residuals: ResidualDistribution

    def __len__(self) -> int:
        return len(self.table)

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
        if levels.ndim > 1:
            msg = f"quantile takes one level or a list of them; got shape {levels.shape}. See quantile_at, too."
            raise ValueError(msg)
        table = self.table.at(np.atleast_1d(self.residuals.quantile(levels)))
        return self._back(table[:, 0] if levels.ndim == 0 else table)

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
        levels = _check_levels(level)
        if levels.ndim not in (1, 2) or levels.shape[-1] != len(self):
            msg = (
                f"quantile_at takes a level for each of the {len(self)} places, shape ({len(self)},) or "
                f"(n_draws, {len(self)}); got shape {levels.shape}."
            )
            raise ValueError(msg)
        return self._back(self.table.value(self.residuals.quantile(levels)))

    def cdf(self, value: float | npt.ArrayLike) -> FloatArray:
        """Probability of a reading at or below `value`.

        Parameters
        ----------
        value : float or array-like of shape (m,)
            In the unit of the readings; NaN has the probability NaN.

        Returns
        -------
        ndarray of shape (m,)

        Raises
        ------
        ValueError
            Neither one value nor one a place.
        """
        values = np.asarray(value, dtype=float)
        if values.shape not in ((), (len(self),)):
            msg = f"cdf takes one value, or one for each of the {len(self)} places; got shape {values.shape}."
            raise ValueError(msg)
        if self.transform == "log":
            with np.errstate(divide="ignore", invalid="ignore"):
                values = np.where(values <= 0, -np.inf, np.log(values))
        return self.residuals.cdf(self.table.score(np.broadcast_to(values, (len(self),))))

    def sample(self, n_draws: int = 1, random_state: int | np.random.Generator | None = None) -> FloatArray:
        """Draw readings, independent between places, shape (n_draws, m)."""
        if not isinstance(n_draws, numbers.Integral) or n_draws < 0:
            msg = f"n_draws must be a whole number of 0 or more; got {n_draws!r}."
            raise ValueError(msg)
        rng = np.random.default_rng(random_state)
        uniform = rng.uniform(np.finfo(float).tiny, 1.0, size=(n_draws, len(self)))
        return self.quantile_at(uniform)

    def _back(self, value: FloatArray) -> FloatArray:
        return np.exp(value) if self.transform == "log" else value


def _check_levels(level: float | npt.ArrayLike) -> FloatArray:
    try:
        levels = np.asarray(level, dtype=float)
    except (TypeError, ValueError):
        levels = np.array(np.nan)
    outside = ~((levels > 0) & (levels < 1))
    if outside.any():
        first = levels[outside].flat[0] if levels.ndim else level
        msg = f"A quantile level must lie inside (0, 1), the median being 0.5; got {first!r}."
        raise ValueError(msg)
    return levels
