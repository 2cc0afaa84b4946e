"""Whole holes drawn from the laws of a place: what a hole makes at any depth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wellrecords.lots.laws import LocalLaws


@dataclass(frozen=True)
class Paths:
    """n holes in rock.

    Attributes
    ----------
    feet : ndarray of shape (n, k)
        Feet of rock to each fracture, rising; infinite beyond the last.
    total_gpm : ndarray of shape (n, k)
        Yield of the hole from there on.
    """

    feet: np.ndarray
    total_gpm: np.ndarray

    def feet_to(self, gpm: float) -> np.ndarray:
        """Feet of rock that first make `gpm`, shape (n,), infinite where none do."""
        enough = (self.total_gpm >= gpm) & np.isfinite(self.feet)
        return np.where(enough, self.feet, np.inf).min(axis=1, initial=np.inf)

    def gpm_at(self, feet: np.ndarray) -> np.ndarray:
        """Yield of each hole after so many feet of rock, shape (n,)."""
        reached = self.feet <= feet[:, None]
        return np.where(reached, self.total_gpm, 0.0).max(axis=1, initial=0.0)

    def reach(self, gpm: float, feet: np.ndarray) -> Paths:
        """Return the holes with one more fracture that makes `gpm` at `feet`, where that is finite.

        Its hole then makes what some other hole makes on passing `gpm`.
        """
        passed = (self.total_gpm >= gpm) & np.isfinite(self.feet)
        first = np.where(passed, self.total_gpm, np.inf).min(axis=1, initial=np.inf)
        made = np.resize(first[np.isfinite(first)], len(feet)) if np.isfinite(first).any() else np.full(len(feet), gpm)
        return Paths(np.column_stack([self.feet, feet]), np.column_stack([self.total_gpm, made]))

    def take(self, order: np.ndarray, stretch: np.ndarray) -> Paths:
        """Return the holes in another order, their feet stretched."""
        return Paths(self.feet[order] * stretch[:, None], self.total_gpm[order])


def draw_paths(laws: LocalLaws, place: int, n_draws: int, deepest_ft: float, rng: np.random.Generator) -> Paths:
    """Draw holes at one place, each under a law drawn from what is known of it.

    Parameters
    ----------
    laws : LocalLaws
    place : int
        Row of `laws`.
    n_draws : int
    deepest_ft : float
        Feet of rock that are drawn.
    rng : Generator

    Returns
    -------
    Paths of n_draws holes
    """
    law = rng.choice(laws.grid.size, n_draws, p=laws.probability[place])
    rate_index, size_index = np.unravel_index(law, laws.grid.shape)
    rate, size = np.exp(laws.grid.log_rate[rate_index]), np.exp(laws.grid.log_size[size_index])
    worth = deepest_ft if np.isinf(laws.decay_ft) else -laws.decay_ft * np.expm1(-deepest_ft / laws.decay_ft)
    count = rng.poisson(rate * worth)
    width = int(count.max(initial=0))
    there = np.arange(width) < count[:, None]
    # Given their number, the fractures are spread evenly over the worth of the rock.
    share = np.sort(np.where(there, rng.uniform(size=there.shape), np.inf), axis=1)
    feet = share * worth
    if np.isfinite(laws.decay_ft):
        feet = np.where(there, -laws.decay_ft * np.log1p(-np.where(there, feet, 0.0) / laws.decay_ft), np.inf)
    gpm = size[:, None] * laws.tables.jumps.draw(there.shape, rng)
    return Paths(feet, np.cumsum(np.where(there, gpm, 0.0), axis=1))
