"""Each well against what the wells elsewhere say of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.distribution import PredictiveDistribution
from wellrecords.interpolation.neighbours import IntArray


@dataclass(frozen=True)
class LeaveOneOut:
    """Each well against what the wells elsewhere say of it.

    Parameters
    ----------
    distribution : PredictiveDistribution of n wells
        From all wells but those of its own block of ground.
    pit_low, pit_high : ndarrays of shape (n,)
        Its probability at the low and the high end of the reading (the
        probability integral transform); equal where the reading is exact.
    rows : ndarray of shape (n,)
        Row of each well in the input of `fit`; readings that say nothing
        (open on both sides) are not among them.
    """

    distribution: PredictiveDistribution
    pit_low: FloatArray
    pit_high: FloatArray
    rows: IntArray

    def pit(self, random_state: int | np.random.Generator | None = None) -> FloatArray:
        """One value a well, uniform on (0, 1) if the model is right; drawn inside the interval if censored."""
        rng = np.random.default_rng(random_state)
        return self.pit_low + (self.pit_high - self.pit_low) * rng.uniform(size=len(self.pit_low))
