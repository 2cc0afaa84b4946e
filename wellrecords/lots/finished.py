"""How deep wells are finished, where the top of rock is not on record.

In hard rock a driller stops at the first water that is enough, and the law of
the fractures says how deep that is. In gravel, sand and lava he goes on to the
depth at which wells around are finished: to a good bed, past the fall of the
level in a dry year, to the reach of a pump. A target is then met at the depth
of a finished well, or deeper where the water asks for it. Where rock is not on
record nobody knows which ground it is, and the deeper answer is taken.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.stopping import AT_LEAST, EXACT, LOGGED, Stops

LEAST_WELLS = 30
"""With fewer wells that made water, no depth is called usual."""


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
