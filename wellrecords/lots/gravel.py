"""Water above rock: gravels that satisfy a driller before rock is reached.

Where the cover is thick and stands in water, some holes meet a gravel and end
there. How often is counted among the wells around (those whose cover is thick
and wet enough), how deep as a share of the wet cover, and how much from the
yields of such wells, which are known only where they satisfied the driller.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats
from scipy.spatial import cKDTree

from wellrecords.lots.stopping import USUAL_TARGETS_GPM, Habits

PRIOR_WELLS = 4.0
"""The region's own share counts as so many wells near each lot."""
NEAREST = 40
REACH_M = 3000.0
SCREEN_FT = 5.0
"""A gravel well goes so far below its water level: a screen of some feet must stand in water (common practice)."""


@dataclass(frozen=True, eq=False)
class GravelMap:
    """How often, how deep and how much.

    Attributes
    ----------
    coordinates : ndarray of shape (n, 2)
        Of the wells whose cover is thick and wet enough.
    in_gravel : ndarray of shape (n,), bool
    least_cover_ft : float
        No gravel well has been found under less.
    depth_share : ndarray
        Where the gravel wells end, sorted: 0 is `SCREEN_FT` below the water
        level (or the ground, if that is lower), 1 the top of rock.
    log_mean, log_sd : float
        Of the yield of a gravel, gpm, satisfying or not.
    habits : Habits
    """

    coordinates: np.ndarray
    in_gravel: np.ndarray
    least_cover_ft: float
    depth_share: np.ndarray
    log_mean: float
    log_sd: float
    habits: Habits

    def can_be(self, rock_ft: np.ndarray, water_ft: np.ndarray) -> np.ndarray:
        """Say where the cover is thick enough and wet enough for a gravel well."""
        return (rock_ft >= self.least_cover_ft) & (rock_ft >= shallowest_ft(water_ft))

    def depth_ft(self, share: np.ndarray, rock_ft: np.ndarray, water_ft: np.ndarray) -> np.ndarray:
        """Depth of gravel wells, below the water and no deeper than rock, for values of `depth_share`."""
        top = shallowest_ft(water_ft)
        return np.minimum(top + share * (rock_ft - top), rock_ft)  # rounding must not put it in rock

    def chance(self, coordinates: np.ndarray, gpm: float) -> np.ndarray:
        """Chance that a hole where a gravel well `can_be` meets a gravel of at least `gpm`, shape (m,)."""
        count = min(NEAREST, len(self.coordinates))
        distance, index = cKDTree(self.coordinates).query(coordinates, np.arange(1, count + 1))
        weight = np.exp(-((distance / REACH_M) ** 2))
        region = self.in_gravel.mean()
        found = (weight * self.in_gravel[index]).sum(axis=1) + PRIOR_WELLS * region
        share = found / (weight.sum(axis=1) + PRIOR_WELLS)
        satisfied = float(self.habits.share @ self._above(USUAL_TARGETS_GPM))
        return np.clip(share * float(self._above(np.array(gpm))) / satisfied, 0.0, 1.0)

    def _above(self, gpm: np.ndarray) -> np.ndarray:
        return stats.norm.sf(np.log(gpm), self.log_mean, self.log_sd)

    def yields(self, gpm: float, level: np.ndarray) -> np.ndarray:
        """Quantiles of the yield of a gravel that makes at least `gpm`."""
        above = self._above(np.array(gpm))
        return np.exp(stats.norm.isf(above * (1.0 - level), self.log_mean, self.log_sd))


def shallowest_ft(water_ft: np.ndarray) -> np.ndarray:
    """Return the least depth of a gravel well; above ground, or not known, the water stands at the ground."""
    return np.fmax(water_ft, 0.0) + SCREEN_FT


def fit_gravels(
    coordinates: np.ndarray,
    depth_ft: np.ndarray,
    gpm: np.ndarray,
    cover_ft: np.ndarray,
    water_ft: np.ndarray,
    in_gravel: np.ndarray,
    habits: Habits,
    least_wells: int = 5,
) -> GravelMap | None:
    """Learn about gravels from the wells that ended in one.

    Parameters
    ----------
    coordinates : ndarray of shape (n, 2), metres
    depth_ft, gpm : ndarray of shape (n,)
        Total depth and yield; NaN where not known.
    cover_ft : ndarray of shape (n,)
        Depth to bedrock, read or estimated.
    water_ft : ndarray of shape (n,)
        Depth to water, read or estimated; NaN where not known.
    in_gravel : ndarray of shape (n,), bool
        The well made water and ended above rock.
    habits : Habits
    least_wells : int, default=5
        With fewer gravel wells, none are reckoned with.

    Returns
    -------
    GravelMap or None
    """
    if in_gravel.sum() < least_wells:
        return None
    cover = np.maximum(cover_ft, np.where(in_gravel, depth_ft, 0.0))
    least = float(np.quantile(cover[in_gravel], 0.02))
    # A gravel well stands in water, whatever an estimated level says.
    top = shallowest_ft(np.where(in_gravel, np.fmin(water_ft, depth_ft - SCREEN_FT), water_ft))
    thick = np.isfinite(cover) & (cover >= np.fmax(least, top))
    ended = in_gravel & thick
    if not ended.any():
        return None  # all of them are shallower than a screen
    wet = np.maximum(cover - top, 1.0)[ended]
    log_gpm = np.log(gpm[in_gravel & np.isfinite(gpm) & (gpm > 0)])
    log_mean, log_sd = _fit_yields(log_gpm, habits)
    return GravelMap(
        coordinates=coordinates[thick],
        in_gravel=in_gravel[thick],
        least_cover_ft=least,
        depth_share=np.sort(np.clip((depth_ft - top)[ended] / wet, 0.0, 1.0)),
        log_mean=log_mean,
        log_sd=log_sd,
        habits=habits,
    )


def _fit_yields(log_gpm: np.ndarray, habits: Habits) -> tuple[float, float]:
    """Fit the lognormal of a gravel's yield by maximum likelihood, given that each satisfied its driller."""
    log_target = np.log(USUAL_TARGETS_GPM)

    def loss(parameters: np.ndarray) -> float:
        mean, sd = parameters[0], np.exp(parameters[1])
        satisfied = habits.share @ stats.norm.sf(log_target, mean, sd)
        # a weak prior (a spread of about a factor of two and a half) holds few wells in place
        prior = 0.5 * ((parameters[1] - np.log(0.9)) / 0.4) ** 2
        return float(-stats.norm.logpdf(log_gpm, mean, sd).sum() + len(log_gpm) * np.log(satisfied + 1e-300) + prior)

    start = np.array([log_gpm.mean(), np.log(0.9)])
    found = optimize.minimize(loss, start, method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-3})
    return float(found.x[0]), float(np.exp(found.x[1]))
