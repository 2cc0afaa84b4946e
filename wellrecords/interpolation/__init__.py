"""Quantities in space, from interval readings of scattered wells to distributions.

>>> from wellrecords.interpolation import IntervalKriging
>>> IntervalKriging(transform="identity")
IntervalKriging(transform='identity')
"""

from wellrecords.interpolation.distribution import PredictiveDistribution
from wellrecords.interpolation.kriging import IntervalKriging, LeaveOneOut

__all__ = ["IntervalKriging", "LeaveOneOut", "PredictiveDistribution"]
