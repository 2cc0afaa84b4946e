"""Where on a lot a well may stand, which distances bind, and which places are best.

Setbacks are the user's settings and **local code governs**; this room does
the geometry. It finds no utilities: have buried lines located (811 in the
United States) before anything is dug, and keep the mast clear of overhead
lines.

- `load_siting_settings`: the setbacks file
- `read_site_plans`: features keyed by `lot_id`
- `site_lot`, `site_lots`: the ground, the zones, the candidate places, the conflicts
- `with_expectation`: the places ranked by what a well at each should cost and yield
- `describe`: the result in plain sentences
"""

from wellrecords.siting.candidates import Places, place_cost_usd
from wellrecords.siting.conflicts import Conflict
from wellrecords.siting.settings import (
    KindSettings,
    LineClearance,
    PlaceCosts,
    RigSettings,
    SitingFiles,
    SitingSettings,
    load_siting_settings,
)
from wellrecords.siting.siting import Siting, describe, read_site_plans, site_lot, site_lots, with_expectation

__all__ = [
    "Conflict",
    "KindSettings",
    "LineClearance",
    "PlaceCosts",
    "Places",
    "RigSettings",
    "Siting",
    "SitingFiles",
    "SitingSettings",
    "describe",
    "load_siting_settings",
    "place_cost_usd",
    "read_site_plans",
    "site_lot",
    "site_lots",
    "with_expectation",
]
