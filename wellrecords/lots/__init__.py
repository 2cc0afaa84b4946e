"""A lot: how deep to make the wanted water, how sure, and why.

>>> from wellrecords.lots import EstimateSettings
>>> EstimateSettings(target_yield_gpm=3.0).max_depth_ft
600.0
"""

from wellrecords.lots.estimate import (
    SHOWN_QUANTILES,
    LotEstimate,
    draw_lot_estimates,
    estimate_lots,
    summarise,
    three_quantiles,
)
from wellrecords.lots.learning import tabulate_ahead
from wellrecords.lots.settings import EstimateSettings, SupportSettings
from wellrecords.lots.tiles import wells_box

__all__ = [
    "SHOWN_QUANTILES",
    "EstimateSettings",
    "LotEstimate",
    "SupportSettings",
    "draw_lot_estimates",
    "estimate_lots",
    "summarise",
    "tabulate_ahead",
    "three_quantiles",
    "wells_box",
]
