"""Volumes, mixes and doses of a drilled well, each with its formula.

>>> round(float(cylinder_ft3_per_ft(6.0) * GAL_PER_FT3), 2)
1.47
>>> round(float(annulus_ft3_per_ft(10.0, 6.625) * 100), 1)
30.6
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wellrecords.units import GAL_PER_FT3, IN_PER_FT

WATER_LB_PER_FT3 = 62.4
CEMENT_SPECIFIC_GRAVITY = 3.15
"""Portland cement; "Volume of grout", Concrete Construction."""
BENTONITE_SPECIFIC_GRAVITY = 2.5
"""From memory; it returns the published volumes of 20 and 30 % bentonite grouts."""
SAND_SPECIFIC_GRAVITY = 2.65
"""Quartz."""


def cylinder_ft3_per_ft(diameter_in: ArrayLike) -> np.ndarray:
    """Return the volume of a foot of round hole: pi/4 d^2, in cubic feet.

    Parameters
    ----------
    diameter_in : array-like

    Returns
    -------
    ndarray
    """
    return np.pi / 4.0 * (np.asarray(diameter_in, dtype=float) / IN_PER_FT) ** 2


def annulus_ft3_per_ft(hole_diameter_in: ArrayLike, casing_od_in: ArrayLike) -> np.ndarray:
    """Return the volume of a foot of annulus between hole and casing, in cubic feet.

    Parameters
    ----------
    hole_diameter_in : array-like
    casing_od_in : array-like
        Outside diameter of the casing.

    Returns
    -------
    ndarray
        pi/4 (D^2 - d^2).

    Raises
    ------
    ValueError
        Where the casing does not fit the hole.
    """
    if np.any(np.asarray(casing_od_in) > np.asarray(hole_diameter_in)):
        msg = f"A casing of {casing_od_in!r} in outside diameter does not fit a hole of {hole_diameter_in!r} in."
        raise ValueError(msg)
    return cylinder_ft3_per_ft(hole_diameter_in) - cylinder_ft3_per_ft(casing_od_in)


def slurry_ft3(water_gal: float, *, cement_lb: float = 0.0, bentonite_lb: float = 0.0, sand_lb: float = 0.0) -> float:
    """Return the volume of a grout batch by absolute volumes.

    Water plus, for each solid, its weight over its specific gravity times
    62.4 lb/ft3; no air.

    Parameters
    ----------
    water_gal, cement_lb, bentonite_lb, sand_lb : float

    Returns
    -------
    float
        Cubic feet.

    Examples
    --------
    One 94 lb sack of cement with 5.2 gal of water; 50 lb of bentonite with 24 gal.

    >>> round(slurry_ft3(5.2, cement_lb=94), 3), round(slurry_ft3(24, bentonite_lb=50), 2)
    (1.173, 3.53)
    """
    solids = cement_lb / CEMENT_SPECIFIC_GRAVITY + bentonite_lb / BENTONITE_SPECIFIC_GRAVITY
    solids += sand_lb / SAND_SPECIFIC_GRAVITY
    return water_gal / GAL_PER_FT3 + solids / WATER_LB_PER_FT3


def slurry_lb_per_gal(
    water_gal: float, *, cement_lb: float = 0.0, bentonite_lb: float = 0.0, sand_lb: float = 0.0
) -> float:
    """Return the weight of a gallon of the batch; the mud balance at the rig checks it.

    Parameters
    ----------
    water_gal, cement_lb, bentonite_lb, sand_lb : float

    Returns
    -------
    float
    """
    weight = water_gal * WATER_LB_PER_FT3 / GAL_PER_FT3 + cement_lb + bentonite_lb + sand_lb
    volume = slurry_ft3(water_gal, cement_lb=cement_lb, bentonite_lb=bentonite_lb, sand_lb=sand_lb)
    return weight / (volume * GAL_PER_FT3)


def screen_length_ft(flow_gpm: ArrayLike, open_area_ft2_per_ft: float, entrance_velocity_ft_s: float) -> np.ndarray:
    """Return the screen length at which water enters at the given velocity.

    length = Q / (open area per foot times velocity); 0.1 ft/s is the usual
    limit (TM 5-813-1, 1987).

    Parameters
    ----------
    flow_gpm : array-like
    open_area_ft2_per_ft : float
        Open area of a foot of screen.
    entrance_velocity_ft_s : float

    Returns
    -------
    ndarray
        Feet.
    """
    flow_ft3_s = np.asarray(flow_gpm, dtype=float) / GAL_PER_FT3 / 60.0
    return flow_ft3_s / (open_area_ft2_per_ft * entrance_velocity_ft_s)


def bleach_gal(water_gal: ArrayLike, dose_mg_l: float, bleach_percent: float) -> np.ndarray:
    """Return the household bleach that brings water to a chlorine dose.

    volume times dose over strength, 1 % being 10,000 mg/L; the density of
    the bleach and the bleach's own volume are neglected, as the dosing tables
    of the extension services do.

    Parameters
    ----------
    water_gal : array-like
    dose_mg_l : float
        Wanted free chlorine.
    bleach_percent : float
        Sodium hypochlorite in the bleach.

    Returns
    -------
    ndarray
        Gallons.
    """
    return np.asarray(water_gal, dtype=float) * dose_mg_l / (bleach_percent * 1e4)
