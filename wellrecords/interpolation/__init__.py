"""Quantities in space: from interval readings of scattered wells to distributions at any place.

- `IntervalKriging`: the estimator (`fit`, `predict`, `leave_one_out`, `weights`)
- `LandElevation`: the trend under which a water level is interpolated as elevation
- `PredictiveDistribution`: what it predicts (`quantile`, `cdf`, `sample`, `quantile_at`)
- `surface`, `Surface`: grids of median, p10, p90 and support
- `validate`: the table of scores on ground left out, against simpler methods
- `SpatialBlocks`, `BufferedBlocks`: the cross-validators behind it
- `scores`: CRPS, pinball loss, coverage, width, bias

>>> from wellrecords.interpolation import IntervalKriging
>>> IntervalKriging(transform="identity")
IntervalKriging(transform='identity')
"""

from wellrecords.interpolation.covariance import Covariance
from wellrecords.interpolation.distribution import PredictiveDistribution
from wellrecords.interpolation.kriging import IntervalKriging
from wellrecords.interpolation.left_out import LeaveOneOut
from wellrecords.interpolation.splits import BufferedBlocks, SpatialBlocks
from wellrecords.interpolation.surface import Surface, surface
from wellrecords.interpolation.trend import LandElevation
from wellrecords.interpolation.validation import validate

__all__ = [
    "BufferedBlocks",
    "Covariance",
    "IntervalKriging",
    "LandElevation",
    "LeaveOneOut",
    "PredictiveDistribution",
    "SpatialBlocks",
    "Surface",
    "surface",
    "validate",
]
