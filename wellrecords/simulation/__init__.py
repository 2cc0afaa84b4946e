"""Invented regions whose truth is known: for tests, studies and the sample region.

A region is a terrain with valleys, a rock surface under soil cover, a water
table that is a subdued copy of the terrain, three rock units, and fractures
met at random below the rock. A driller stops when there is enough water, or
at the job's limit. What a real record hides (the depth at which a target
would have been met, had the driller gone on) is known here.

- make one: `simulate_region`, from `RegionSettings` or one of `PRESETS`
- read its truth anywhere: `Region.at(coordinates).depth_to_bedrock_ft` and the like
- drill in it: `Region.drill`, then `depth_to_target_ft`, `yield_at_depth_gpm`
- its law at a place: `Region.draw_depth_to_target_ft`
- as records: `as_canonical`
"""

from wellrecords.simulation.canonical import as_canonical
from wellrecords.simulation.drilling import depth_to_target_ft, yield_at_depth_gpm
from wellrecords.simulation.fields import RandomField
from wellrecords.simulation.region import Ground, Region, simulate_region
from wellrecords.simulation.settings import PRESETS, RegionSettings, RockUnit

__all__ = [
    "PRESETS",
    "Ground",
    "RandomField",
    "Region",
    "RegionSettings",
    "RockUnit",
    "as_canonical",
    "depth_to_target_ft",
    "simulate_region",
    "yield_at_depth_gpm",
]
