"""From the well to the tap: pump setting and head, pipe, cable, pressure tank and storage.

`design` sizes a system for each draw; `hydraulics` (flow to a well),
`piping` (friction, head, power), `wiring` and `tanks` hold the formulas, each
with its unit and source. Sizes on sale and limits are settings.
"""

from wellrecords.water_system.design import design_water_systems
from wellrecords.water_system.hydraulics import (
    cooper_jacob_drawdown_ft,
    cooper_jacob_transmissivity_gpd_ft,
    radius_of_influence_ft,
    storativity_from_intercept,
    theis_drawdown_ft,
    theis_u,
    thiem_confined_head_difference_ft,
    thiem_unconfined_head_ft,
    well_function,
)
from wellrecords.water_system.piping import friction_ft_per_100ft, motor_hp_needed, total_dynamic_head_ft, water_hp
from wellrecords.water_system.settings import WaterSystemSettings
from wellrecords.water_system.tanks import drawdown_factor, next_size, simulate_supply, storage_tanks
from wellrecords.water_system.wiring import smallest_gauge, voltage_drop

__all__ = [
    "WaterSystemSettings",
    "cooper_jacob_drawdown_ft",
    "cooper_jacob_transmissivity_gpd_ft",
    "design_water_systems",
    "drawdown_factor",
    "friction_ft_per_100ft",
    "motor_hp_needed",
    "next_size",
    "radius_of_influence_ft",
    "simulate_supply",
    "smallest_gauge",
    "storage_tanks",
    "storativity_from_intercept",
    "theis_drawdown_ft",
    "theis_u",
    "thiem_confined_head_difference_ft",
    "thiem_unconfined_head_ft",
    "total_dynamic_head_ft",
    "voltage_drop",
    "water_hp",
    "well_function",
]
