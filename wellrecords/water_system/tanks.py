"""Pressure tanks, storage tanks, and a day of supply stepped through.

>>> round(float(drawdown_factor(30.0, 50.0, 28.0)), 3)
0.295
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import ArrayLike

from wellrecords.demand import Need
from wellrecords.units import MIN_PER_DAY
from wellrecords.water_system.settings import WaterSystemSettings


def drawdown_factor(
    cut_in_psi: ArrayLike, cut_out_psi: ArrayLike, precharge_psi: ArrayLike, atmosphere_psi: ArrayLike = 14.7
) -> np.ndarray:
    """Return the share of a captive-air tank that it gives between cut-out and cut-in.

    Boyle's law at constant temperature: P1 / P2 - P1 / P3 in absolute
    pressures, P1 the precharge, P2 cut-in, P3 cut-out. Sources differ in the
    precharge (at cut-in, or 2 psi below it), which moves the factor by 5 %.

    Parameters
    ----------
    cut_in_psi, cut_out_psi, precharge_psi : array-like
        Gauge pressures.
    atmosphere_psi : array-like, default=14.7

    Returns
    -------
    ndarray
    """
    p1, p2, p3 = (
        np.asarray(gauge, dtype=float) + np.asarray(atmosphere_psi, dtype=float)
        for gauge in (precharge_psi, cut_in_psi, cut_out_psi)
    )
    return p1 / p2 - p1 / p3


def next_size(needed: ArrayLike, sizes: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Return the smallest size on sale that is enough, and how many of it.

    Parameters
    ----------
    needed : array-like of shape (n,)
    sizes : array-like
        On sale; any order.

    Returns
    -------
    size, count : ndarray of shape (n,)
        Where the largest is too small, several of the largest; 0 of size 0
        where nothing is needed.

    Examples
    --------
    >>> [part.tolist() for part in next_size([0.0, 90.0, 700.0], [150.0, 300.0])]
    [[0.0, 150.0, 300.0], [0.0, 1.0, 3.0]]
    """
    need = np.asarray(needed, dtype=float)
    ordered = np.sort(np.asarray(sizes, dtype=float))
    # A rounding error above a size on sale does not ask for the next.
    place = np.searchsorted(ordered, need * (1.0 - 1e-9))
    beyond = place == ordered.size
    size = ordered[np.minimum(place, ordered.size - 1)]
    count = np.where(beyond, np.ceil(need / ordered[-1] * (1.0 - 1e-9)), 1.0)
    none = need <= 0
    return np.where(none, 0.0, size), np.where(none, 0.0, count)


def storage_tanks(needed_gal: ArrayLike, settings: WaterSystemSettings) -> tuple[np.ndarray, np.ndarray]:
    """Return the storage tanks that serve a needed volume: the size to buy, and how many of it.

    The one place that says so, for the take-off and for every sentence.

    Parameters
    ----------
    needed_gal : array-like of shape (n,) or scalar
        As `wellrecords.demand_storage.tank_needed_gal` gives it, finite.
    settings : WaterSystemSettings
        The sizes on sale and the margin.

    Returns
    -------
    size, count : ndarray
        As `next_size`.

    Examples
    --------
    >>> [part.tolist() for part in storage_tanks([0.0, 110.0, 140.0, 3460.0], WaterSystemSettings())]
    [[0.0, 150.0, 300.0, 2500.0], [0.0, 1.0, 1.0, 2.0]]
    """
    return next_size(np.asarray(needed_gal, dtype=float) * (1.0 + settings.storage_margin), settings.storage_tanks_gal)


def simulate_supply(
    yield_gpm: ArrayLike,
    need: Need,
    *,
    in_well_gal: ArrayLike = 0.0,
    tank_gal: ArrayLike = 0.0,
    pump_gpm: ArrayLike = np.inf,
    irrigating: bool = False,
    watered_at_hours: float | None = None,
    inflow_follows_level: bool = False,
    days: int = 3,
    step_min: float = 2.0,
) -> np.ndarray:
    """Step through days of supply and return what could not be delivered.

    Well and tank start full. In each step water flows into the well, the pump
    lifts what the house draws and what the tank lacks, and the house draws.
    The peak comes first in the day, the rest of the use is spread evenly, and
    a watering is given on the first day and every `watering_every_days` on.

    Parameters
    ----------
    yield_gpm : array-like of shape (n,) or scalar
    need : Need
    in_well_gal : array-like, default=0
        Usable water standing in the well.
    tank_gal : array-like, default=0
        Volume of the storage tank.
    pump_gpm : array-like, default=inf
        Flow of the well pump.
    irrigating : bool, default=False
    watered_at_hours : float, optional
        When in the day a watering begins; None is right after the peak.
    inflow_follows_level : bool, default=False
        False: the well gives its yield until it is full (what the closed form
        takes). True: the inflow falls in proportion as the well fills, which
        is what a measured yield at full drawdown means.
    days : int, default=3
        Rounded up to whole times from one watering to the next.
    step_min : float, default=2

    Returns
    -------
    ndarray of shape (n,)
        Gallons not delivered on the last day, or from the last watering on.
    """
    flow, well, tank, pump = np.broadcast_arrays(
        *(np.asarray(value, dtype=float) for value in (yield_gpm, in_well_gal, tank_gal, pump_gpm))
    )
    peak_min = need.peak_hours * 60.0
    peak_rate = need.peak_gal / peak_min
    rest_rate = need.rest_gal(irrigating=False) / (MIN_PER_DAY - peak_min)
    watering = irrigating and need.watering_gal > 0
    every_days = need.watering_every_days if watering else 1
    begin = peak_min if watered_at_hours is None else 60.0 * watered_at_hours
    end_of_watering = begin + 60.0 * need.watering_hours
    in_well, in_tank = well.copy(), tank.copy()
    full = np.where(well > 0, well, np.inf)
    missing = np.zeros(flow.shape)
    bounds = [peak_min, MIN_PER_DAY, *([begin, end_of_watering] if watering else [])]
    edges = np.unique(np.append(np.arange(0.0, MIN_PER_DAY, step_min), bounds))
    for day in range(-(-days // every_days) * every_days):
        if day % every_days == 0:
            missing[...] = 0.0
        for start, end in itertools.pairwise(edges):
            length = end - start
            drawn = (peak_rate if end <= peak_min else rest_rate) * length
            if watering and day % every_days == 0 and begin <= start < end_of_watering:
                drawn += need.sprinklers_gpm * length
            inflow = flow * length * (1.0 - in_well / full if inflow_follows_level else 1.0)
            in_well = in_well + inflow
            lifted = np.minimum(np.minimum(in_well, pump * length), drawn + tank - in_tank)
            in_well = np.minimum(in_well - lifted, well)
            in_tank = in_tank + lifted - drawn
            missing += np.maximum(-in_tank, 0.0)
            in_tank = np.maximum(in_tank, 0.0)
    return missing
