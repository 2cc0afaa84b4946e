"""The hole: where drilling stops, what is built, and how much of each thing it takes.

`settings` holds the firm's and the code's rules; `stopping` says how deep
each draw is drilled and what it makes; `hole` takes off casing, grout,
screen, development and disinfection; `formulas` has the volumes behind it,
`screen` sizes slot and filter pack from a sieve analysis.
Every function takes one draw or arrays of draws. Local code and licensed
practice govern: every minimum is a setting.
"""

from wellrecords.construction.formulas import (
    annulus_ft3_per_ft,
    bleach_gal,
    cylinder_ft3_per_ft,
    screen_length_ft,
    slurry_ft3,
    slurry_lb_per_gal,
)
from wellrecords.construction.hole import design_wells
from wellrecords.construction.settings import ConstructionSettings, GroutMix
from wellrecords.construction.stopping import drill

__all__ = [
    "ConstructionSettings",
    "GroutMix",
    "annulus_ft3_per_ft",
    "bleach_gal",
    "cylinder_ft3_per_ft",
    "design_wells",
    "drill",
    "screen_length_ft",
    "slurry_ft3",
    "slurry_lb_per_gal",
]
