"""Pipe friction, the pump's total head, and the power that it takes.

>>> round(float(friction_ft_per_100ft(10.0, 1.380)), 2)
1.45
>>> round(float(total_dynamic_head_ft(60.0, 50.0, 27.5)))
203
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wellrecords.units import GAL_PER_FT3, IN_PER_FT

FT_OF_WATER_PER_PSI = 144.0 / 62.4
"""2.3077 with water of 62.4 lb/ft3; 2.31 in rounded tables."""
GPM_FT_PER_HP = 33000.0 * GAL_PER_FT3 / 62.4
"""3956: 33,000 ft lb a minute over the weight of a gallon. 3960 in rounded tables (0.1 % apart)."""


def friction_ft_per_100ft(flow_gpm: ArrayLike, inside_diameter_in: ArrayLike, roughness_c: float = 150.0) -> np.ndarray:
    """Return the friction loss by Hazen and Williams.

    In consistent US units v = 1.318 C R^0.63 S^0.54 (feet, seconds; R the
    hydraulic radius, d/4 in a full pipe), solved for the slope S.

    Parameters
    ----------
    flow_gpm : array-like
    inside_diameter_in : array-like
    roughness_c : float, default=150
        150 for smooth plastic.

    Returns
    -------
    ndarray
        Feet of head in 100 ft of pipe.
    """
    diameter_ft = np.asarray(inside_diameter_in, dtype=float) / IN_PER_FT
    velocity = flow_velocity_ft_s(flow_gpm, inside_diameter_in)
    return 100.0 * (velocity / (1.318 * roughness_c * (diameter_ft / 4.0) ** 0.63)) ** (1.0 / 0.54)


def flow_velocity_ft_s(flow_gpm: ArrayLike, inside_diameter_in: ArrayLike) -> np.ndarray:
    """Return the mean velocity in a full pipe, feet a second.

    Parameters
    ----------
    flow_gpm, inside_diameter_in : array-like

    Returns
    -------
    ndarray
    """
    area_ft2 = np.pi / 4.0 * np.square(np.asarray(inside_diameter_in, dtype=float) / IN_PER_FT)
    return np.asarray(flow_gpm, dtype=float) / GAL_PER_FT3 / 60.0 / area_ft2


def total_dynamic_head_ft(lift_ft: ArrayLike, pressure_psi: ArrayLike, friction_ft: ArrayLike) -> np.ndarray:
    """Return lift plus pressure plus friction, in feet of water.

    Parameters
    ----------
    lift_ft : array-like
        From the pumping level to the outlet.
    pressure_psi : array-like
        At the outlet: the pressure switch's cut-out.
    friction_ft : array-like

    Returns
    -------
    ndarray
    """
    return np.asarray(lift_ft) + np.asarray(pressure_psi) * FT_OF_WATER_PER_PSI + np.asarray(friction_ft)


def water_hp(flow_gpm: ArrayLike, head_ft: ArrayLike) -> np.ndarray:
    """Return the power that the water takes, Q H / 3956, in horsepower.

    Parameters
    ----------
    flow_gpm, head_ft : array-like

    Returns
    -------
    ndarray
    """
    return np.asarray(flow_gpm, dtype=float) * np.asarray(head_ft, dtype=float) / GPM_FT_PER_HP


def motor_hp_needed(flow_gpm: ArrayLike, head_ft: ArrayLike, pump_efficiency: float) -> np.ndarray:
    """Return the power at the pump's shaft.

    Parameters
    ----------
    flow_gpm, head_ft : array-like
    pump_efficiency : float
        Of the pump's hydraulics, 0 to 1.

    Returns
    -------
    ndarray
        Horsepower; the next motor on sale carries it.
    """
    return water_hp(flow_gpm, head_ft) / pump_efficiency
