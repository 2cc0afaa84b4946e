"""A water system for each draw: pump, pipe, cable, pressure tank, storage.

The pumping level is an estimate and says so. A driller's yield is what the
well gives with the water drawn (or blown) down to near the bottom. So

- a well that yields the peak flow is drawn down in proportion to the flow
  (its specific capacity is its yield over the whole drawdown), and the pump
  hangs a margin below that level;
- a weaker well is drawn down all the way to the low-water cut-off, and its
  pump hangs near the bottom, where the well stores most.

Where yield and well storage together cannot carry the peak, the well pump
fills a storage tank at the house without pressure, and a booster pump behind
it makes the pressure. Where lawn and garden are to be watered without a tank,
the well pump must deliver what the sprinklers draw.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wellrecords.demand import Need, well_storage_gal
from wellrecords.demand_storage import tank_needed_gal
from wellrecords.units import MIN_PER_DAY
from wellrecords.water_system.piping import friction_ft_per_100ft, motor_hp_needed, total_dynamic_head_ft
from wellrecords.water_system.settings import WaterSystemSettings
from wellrecords.water_system.tanks import drawdown_factor, next_size, storage_tanks
from wellrecords.water_system.wiring import smallest_gauge


def design_water_systems(
    wells: pd.DataFrame,
    depth_to_water_ft: ArrayLike,
    yield_gpm: ArrayLike,
    need: Need,
    settings: WaterSystemSettings,
    *,
    hole_diameter_in: float = 6.0,
) -> pd.DataFrame:
    """Size the water system of each draw.

    Parameters
    ----------
    wells : DataFrame, n rows
        As `design_wells` gives it: `drilled_ft`, `casing_foot_ft`,
        `screened`, `well_cap` (0 for a dry hole, which gets no system).
    depth_to_water_ft : array-like of shape (n,)
        Static level; negative where the well flows.
    yield_gpm : array-like of shape (n,)
        Of the finished well.
    need : Need
    settings : WaterSystemSettings
    hole_diameter_in : float, default=6

    Returns
    -------
    DataFrame, n rows
        `served` (1, or 0 for a dry hole, where all else is 0 too), `pump`,
        `pump_gpm`, `pump_setting_ft`, `pumping_level_ft`, `total_head_ft`,
        `motor_hp`, `drop_pipe_ft`, `drop_pipe_in` (nominal), `cable_ft`,
        `cable_awg`, `trench_ft`, `pressure_tanks`, `pressure_tank_gal`
        (size of each), `well_storage_gal` (usable), `tank_needed_gal`, `storage_tanks`, `storage_tank_gal`
        (size of each), `booster_pump`, `watered` (1 where pump and storage
        carry lawn and garden too), `beyond_lists` (1 where motor or cable
        needed is beyond the lists and the largest was taken), `short_column`
        (1 where the water column is too short for the margins of the pump).
    """
    drilled = wells["drilled_ft"].to_numpy()
    bottom = np.where(wells["screened"] > 0, wells["casing_foot_ft"], drilled)
    served = wells["well_cap"].to_numpy() > 0
    flow = np.where(served, np.asarray(yield_gpm, dtype=float), 0.0)
    level = np.minimum(np.asarray(depth_to_water_ft, dtype=float), bottom)

    deepest = np.maximum(bottom - settings.pump_above_bottom_ft, 0.0)
    cut_off = np.maximum(deepest - settings.submergence_ft, level)
    stored = well_storage_gal(hole_diameter_in, cut_off - np.maximum(level, 0.0))
    tank_needed, watered = _tank_needed_gal(flow, stored, need, settings)
    needed = np.where(served, tank_needed, 0.0)
    tank_size, tanks = storage_tanks(needed, settings)

    to_tank = tanks > 0
    rest_gpm = need.rest_gal(irrigating=False) / (MIN_PER_DAY - 60.0 * need.peak_hours)
    at_taps_gpm = np.where(watered, max(need.peak_gpm, need.sprinklers_gpm + rest_gpm), need.peak_gpm)
    # What a well makes beyond the usual flow must reach the tank: the tank is sized by it.
    pump_gpm = np.where(to_tank, np.maximum(settings.tank_fill_gpm, flow), at_taps_gpm)
    strong = ~to_tank & (flow >= pump_gpm)
    share = np.divide(pump_gpm, flow, out=np.ones_like(flow), where=flow > 0)
    pumping_level = np.where(strong, np.minimum(level + share * (bottom - level), cut_off), cut_off)
    margin = settings.submergence_ft + settings.level_decline_ft
    setting = np.where(strong, np.minimum(pumping_level + margin, deepest), deepest)
    setting = np.maximum(setting, 0.0)

    length = setting + settings.run_to_house_ft
    nominal, loss = _pipe(pump_gpm, settings)
    friction = loss / 100.0 * length * (1.0 + settings.fittings_share)
    lift = pumping_level + settings.house_above_well_ft + np.where(to_tank, settings.tank_inlet_ft, 0.0)
    pressure = np.where(to_tank, 0.0, settings.cut_out_psi)
    head = np.maximum(total_dynamic_head_ft(lift, pressure, friction), 0.0)

    motor_hp, motors = next_size(motor_hp_needed(pump_gpm, head, settings.pump_efficiency), list(settings.motors_hp))
    amperes = pd.Series(motor_hp).map({0.0: 0.0} | settings.motors_hp).to_numpy()
    gauge = smallest_gauge(amperes, length, settings.cables_awg, settings.voltage_drop_share * settings.voltage_v)
    beyond = (motors > 1) | np.isnan(gauge)
    gauge = np.where(np.isnan(gauge), min(settings.cables_awg), gauge)

    factor = drawdown_factor(
        settings.cut_in_psi,
        settings.cut_out_psi,
        settings.cut_in_psi - settings.precharge_below_cut_in_psi,
        settings.atmosphere_psi,
    )
    air_size, air_tanks = next_size(at_taps_gpm * settings.minimum_run_min / factor, settings.pressure_tanks_gal)
    system = pd.DataFrame(
        {
            "served": 1.0,
            "pump": 1.0,
            "pump_gpm": pump_gpm,
            "pump_setting_ft": setting,
            "pumping_level_ft": pumping_level,
            "total_head_ft": head,
            "motor_hp": motor_hp,
            "drop_pipe_ft": setting,
            "drop_pipe_in": nominal,
            "cable_ft": length,
            "cable_awg": gauge,
            "trench_ft": settings.run_to_house_ft,
            "pressure_tanks": air_tanks,
            "pressure_tank_gal": air_size,
            "well_storage_gal": stored,
            "tank_needed_gal": needed,
            "storage_tanks": tanks,
            "storage_tank_gal": tank_size,
            "booster_pump": to_tank.astype(float),
            "watered": watered.astype(float),
            "beyond_lists": beyond.astype(float),
            "short_column": (deepest - settings.submergence_ft < level).astype(float),
        },
        index=range(flow.size),
    )
    return system.mul(served.astype(float), axis=0)


def _tank_needed_gal(
    flow: np.ndarray, stored: np.ndarray, need: Need, settings: WaterSystemSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Return the needed storage, and whether it is for lawn and garden too."""
    house = tank_needed_gal(flow, need, stored)
    # A hole that is taken as usable by a setting below the house's own need still gets a full day's tank.
    house = np.where(np.isfinite(house), house, need.house_gal_day)
    if settings.storage_for == "house" or not need.watering_gal:
        return house, np.zeros(flow.shape, dtype=bool)
    summer = tank_needed_gal(flow, need, stored, irrigating=True)
    watered = np.isfinite(summer)
    return np.where(watered, summer, house), watered


def _pipe(flow_gpm: np.ndarray, settings: WaterSystemSettings) -> tuple[np.ndarray, np.ndarray]:
    """Return nominal size and loss (ft in 100 ft) of the smallest pipe within the limit, else of the largest."""
    nominal = np.array(sorted(settings.pipes_in))
    inside = np.array([settings.pipes_in[size] for size in nominal])
    losses = friction_ft_per_100ft(flow_gpm[:, None], inside, settings.pipe_c)
    fits = losses <= settings.friction_limit_ft_per_100ft
    place = np.where(fits.any(axis=1), fits.argmax(axis=1), nominal.size - 1)
    return nominal[place], losses[np.arange(place.size), place]
