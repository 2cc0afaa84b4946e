"""What the places of two records say, against how many wells stand around them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtr

from wellrecords.places import MEAN_DISTANCE_IN_SQUARE

OWN_ERROR_M = 15.0
"""Added to every position error: two people standing at one well do not read the same place."""
CENTRES = ("section", "quarter", "quarter_quarter")
"""Methods that put a well on the centre of the square it stands in: anywhere in that square is as likely."""
SOFT_EDGE = 0.06
"""Sections are no perfect squares: their edges are blurred by that share of the side."""
SCALES_M = (2_000.0, 500.0, 125.0)
"""Wells cluster, so that they are counted in squares down to the size of what the two places leave open."""
WRONG_PLACE = 0.015
WRONG_PLACE_M = 3_000.0
"""One place in so many is plainly wrong (the next section, a digit misread), by some such distance."""
PLACE_SAYS_AT_MOST = 3.5
"""Errors of position are given too small as often as not."""
SIBLINGS_M = 150.0
"""Wells that one driller makes for one owner in one go stand about so far apart."""


@dataclass(frozen=True)
class Density:
    """How many records of each source stand in each square of the ground.

    Attributes
    ----------
    cells : tuple of ndarray of int, each of shape (n,)
        Square of each record, scale by scale.
    source : ndarray of int, shape (n,)
    counts : tuple of ndarray of int, each of shape (squares, sources)
    """

    cells: tuple[np.ndarray, ...]
    source: np.ndarray
    counts: tuple[np.ndarray, ...]

    @classmethod
    def of(cls, easting_m: np.ndarray, northing_m: np.ndarray, source: np.ndarray) -> Density:
        """Count the records, square by square."""
        sources = int(source.max()) + 1 if len(source) else 1
        cells, counts = [], []
        for scale in SCALES_M:
            east = np.floor(easting_m / scale).astype(np.int64)
            north = np.floor(northing_m / scale).astype(np.int64)
            cell, squares = pd.factorize(east * 4_000_003 + north)
            count = np.bincount(cell * sources + source, minlength=len(squares) * sources)
            cells.append(cell)
            counts.append(count.reshape(len(squares), sources).astype(np.int32))
        return cls(tuple(cells), source, tuple(counts))

    def of_partners(self, a: np.ndarray, b: np.ndarray, open_m: np.ndarray) -> np.ndarray:
        """Return records a square metre among which the partner of either is to be found.

        Of two sources with n and m records around, at most the smaller number
        can be pairs, so that one of n m possible pairs is right by the chance
        1 / max(n, m): the denser source counts. Small squares count without
        the record itself, which always stands in its own.
        """
        densest = np.zeros(len(a))
        for number, scale in enumerate(SCALES_M):
            here = np.arange(len(a)) if number == 0 else np.flatnonzero(open_m <= scale)
            if not len(here):
                continue
            one, other = a[here], b[here]
            most = np.maximum(
                np.maximum(self._count(number, one, other), self._count(number, other, one)),
                np.maximum(self._count(number, one, one), self._count(number, other, other)),
            )
            densest[here] = np.maximum(densest[here], (most - (number > 0)) / scale**2)
        return densest

    def _count(self, scale: int, where: np.ndarray, whose: np.ndarray) -> np.ndarray:
        return self.counts[scale][self.cells[scale][where], self.source[whose]]


@dataclass(frozen=True)
class Places:
    """Where the records stand, and how far off that may be.

    Attributes
    ----------
    easting_m, northing_m : ndarray, shape (n,)
    error_m : ndarray, shape (n,)
        Root of the mean squared distance from the true place.
    side_m : ndarray, shape (n,)
        Side of the square whose centre is given; null where the place itself is.
    density : Density
    """

    easting_m: np.ndarray
    northing_m: np.ndarray
    error_m: np.ndarray
    side_m: np.ndarray
    density: Density

    @classmethod
    def of(cls, easting_m: np.ndarray, northing_m: np.ndarray, wells: pd.DataFrame, source: np.ndarray) -> Places:
        """Take the places from the wells (`position_method`, `position_error_m`)."""
        error = wells["position_error_m"].to_numpy(dtype=float)
        centre = wells["position_method"].isin(CENTRES).to_numpy(dtype=bool) & (error > OWN_ERROR_M)
        return cls(
            easting_m=easting_m,
            northing_m=northing_m,
            error_m=np.hypot(error, OWN_ERROR_M),
            side_m=np.where(centre, error / MEAN_DISTANCE_IN_SQUARE, np.nan),
            density=Density.of(easting_m, northing_m, source),
        )

    def of_best(self, cluster: np.ndarray) -> Places:
        """Return the places with that of the least error given to all records of a group."""
        order = np.lexsort((np.arange(len(cluster)), self.error_m, cluster))
        groups, first = np.unique(cluster[order], return_index=True)
        best = np.zeros(int(cluster.max()) + 1, dtype=np.int64)
        best[groups] = order[first]
        rows = best[cluster]
        return replace(
            self,
            easting_m=self.easting_m[rows],
            northing_m=self.northing_m[rows],
            error_m=self.error_m[rows],
            side_m=self.side_m[rows],
        )

    def apart_m(self, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        """Return the distances of pairs."""
        return np.hypot(self.easting_m[a] - self.easting_m[b], self.northing_m[a] - self.northing_m[b])

    def compare(self, a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return how much likelier the distance is for one well, and for two of one campaign, than for strangers.

        Returns
        -------
        one_well, siblings : ndarray, shape (m,)
            Logs of densities over the density of wells around; that of
            siblings for one sibling a record.
        """
        east, north = self.easting_m[a] - self.easting_m[b], self.northing_m[a] - self.northing_m[b]
        squared = east**2 + north**2
        joint = self.error_m[a] ** 2 + self.error_m[b] ** 2
        around = np.maximum(self.density.of_partners(a, b, np.sqrt(joint)), 1e-12)
        near = np.exp(-squared / joint) / (np.pi * joint)
        side = np.fmax(self.side_m[a], self.side_m[b])
        square = np.flatnonzero(~np.isnan(side))
        if len(square):
            near[square] = self._in_square(a[square], b[square], side[square], east[square], north[square])
        wide = joint + WRONG_PLACE_M**2
        near = (1.0 - WRONG_PLACE) * near + WRONG_PLACE * np.exp(-squared / wide) / (np.pi * wide)
        aside = joint + SIBLINGS_M**2
        beside = np.exp(-squared / aside) / (np.pi * aside)
        if len(square):
            beside[square] = np.maximum(beside[square], near[square])
        with np.errstate(divide="ignore"):
            one_well = np.minimum(np.log(near / around), PLACE_SAYS_AT_MOST)
            siblings = np.log(beside / around)
        return one_well, siblings

    def _in_square(
        self, a: np.ndarray, b: np.ndarray, side: np.ndarray, east: np.ndarray, north: np.ndarray
    ) -> np.ndarray:
        """Return the density of the other place in the square of which one gives the centre, edges blurred."""
        # Of two centres the larger square holds the smaller one's; a place in it errs by its own error.
        given = np.where(np.isnan(self.side_m[a]), self.error_m[a], self.error_m[b])
        given = np.where(np.isnan(self.side_m[a] + self.side_m[b]), given, 0.0)
        blur = np.maximum(SOFT_EDGE * side, given / np.sqrt(2.0))
        inside = [ndtr((side / 2.0 - np.abs(away)) / blur) for away in (east, north)]
        return inside[0] * inside[1] / side**2
