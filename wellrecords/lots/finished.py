"""How deep wells are finished, where the top of rock is not on record.

In hard rock a driller stops at the first water that is enough, and the law of
the fractures says how deep that is. In gravel, sand and lava he goes on to the
depth at which wells around are finished: to a good bed, past the fall of the
level in a dry year, to the reach of a pump. A target is then met at the depth
of a finished well, if that makes it, and deeper if not.

Where rock is not on record, the yields say which ground it is. Read as holes
that stop at the first water that is enough, they tell how much was wanted
(`Habits`). Where that is more than a house uses, it was not the want of water
that set the depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.stopping import AT_LEAST, EXACT, LOGGED, USUAL_TARGETS_GPM, Habits, Stops

LEAST_WELLS = 30
"""With fewer wells that made water, no depth is called usual."""
MORE_THAN_A_HOUSE_GPM = 20.0
FEW, ALL = 0.04, 0.12
"""Shares of holes that seem to have wanted so much: up to the first, some do; from the second on, none stopped for
water. Regions simulated to stop at household targets show 0.01 at most, valleys of gravel and lava 0.16 to 0.8."""


@dataclass(frozen=True, eq=False)
class FinishedDepths:
    """The depths at which wells are finished.

    Attributes
    ----------
    model : IntervalKriging
    share : float
        Of wells that are finished so, and not at the first water that is enough.
    """

    model: IntervalKriging
    share: float

    def draw(self, coordinates: np.ndarray, levels: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Return the depths at n levels for m places, shape (m, n); 0 where a draw stops at the first water."""
        depth = self.model.predict(coordinates).quantile(levels)
        return np.where(rng.uniform(size=len(levels)) < self.share, depth, 0.0)


def share_finished(habits: Habits) -> float:
    """Return the share of wells that are finished at a usual depth, by how much those that stopped seem to have wanted.

    Parameters
    ----------
    habits : Habits

    Returns
    -------
    float
    """
    wanted = float(habits.share[USUAL_TARGETS_GPM >= MORE_THAN_A_HOUSE_GPM].sum())
    return float(np.clip((wanted - FEW) / (ALL - FEW), 0.0, 1.0))


def map_finished_depths(
    stops: Stops, covariance: Literal["auto"] | Covariance = "auto", random_state: int = 0
) -> IntervalKriging | None:
    """Map the depth at which wells that made water were finished.

    Parameters
    ----------
    stops : Stops
    covariance : Covariance, optional
        Fitted where it is not given.
    random_state : int, default=0

    Returns
    -------
    IntervalKriging or None
        None where there are too few such wells.
    """
    rows = np.flatnonzero(np.isin(stops.kind, (EXACT, LOGGED, AT_LEAST)))
    if len(rows) < LEAST_WELLS:
        return None
    depth = stops.depth_ft[rows]
    model = IntervalKriging(covariance=covariance, random_state=random_state, n_jobs=1)
    return model.fit(stops.coordinates[rows], depth, depth, stops.position_error_m[rows])
