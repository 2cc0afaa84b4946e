"""Which yield with which storage meets a need.

A weak well that runs round the clock makes a good volume; a tank, and the
water standing in the well itself, carry the peak. So a target yield comes
from the need and the storage together:

    storage >= V_peak - q t_peak            (the peak)
    storage >= V_rest - q (24 h - t_peak)   (the rest of the day)
    q 24 h  >= V_peak + V_rest              (or no storage is enough)

with q the yield, V_peak the volume used within the peak t_peak, V_rest the
rest of the day's use, spread evenly. For a tank these are the exact answer of
the mass balance of a day that repeats (a test steps through it).

The trade counts the water standing in the well like a tank
(`storage_needed_gal`; the published worked examples do). That is hopeful: a
yield is measured with the well drawn down, and a well that is still half full
gives only half of it. `tank_needed_gal` lets the inflow follow the level,
which is what the designs here are sized by. Sprinklers draw more in a session
than a weak well makes meanwhile: `watering_storage_gal` is what that takes on
top of the house's storage.

>>> from wellrecords.demand import DemandSettings, household_need
>>> need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
>>> [round(float(required_yield_gpm(need, storage)), 2) for storage in (0.0, 240.0)]
[2.5, 0.5]
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wellrecords.demand import Need
from wellrecords.units import MIN_PER_DAY

_HALVINGS = 30
"""Of the interval in which a tank's volume is sought: to a millionth of a gallon."""


def storage_needed_gal(yield_gpm: ArrayLike, need: Need, *, irrigating: bool = False) -> np.ndarray:
    """Return the storage that a yield needs, all storage counted like a tank.

    Parameters
    ----------
    yield_gpm : array-like of shape (n,) or scalar
    need : Need
    irrigating : bool, default=False
        Whether lawn and garden (in the driest month) are watered too.

    Returns
    -------
    ndarray
        Gallons; infinite where the yield over a day is below the day's use.
    """
    flow = np.asarray(yield_gpm, dtype=float)
    peak_min = need.peak_hours * 60.0
    rest = need.rest_gal(irrigating=irrigating)
    short = np.maximum(need.peak_gal - flow * peak_min, rest - flow * (MIN_PER_DAY - peak_min))
    enough = flow * MIN_PER_DAY >= (need.peak_gal + rest) * (1.0 - 1e-12)
    return np.where(enough, np.maximum(short, 0.0), np.inf)


def tank_needed_gal(
    yield_gpm: ArrayLike, need: Need, in_well_gal: ArrayLike = 0.0, *, irrigating: bool = False
) -> np.ndarray:
    """Return the storage tank that a well needs, its inflow following its level.

    With W the usable water in the well and S its most, the inflow is
    q (1 - W / S): nothing when the well is full, the yield q when it is drawn
    down. While the house draws at the heavy rate h > q the well empties after

        t = S / q ln(1 + W0 / (S (h / q - 1))),

    and the tank gives (h - q) for what is left of that time. It is refilled
    at q less the light rate l with the well held empty, then the well rises
    towards S (1 - l / q). W0, the level when the heavy draw starts again, and
    the tank depend on each other; the tank that is just drawn empty, day after
    day, is found by halving the interval between no tank and
    `storage_needed_gal`.

    Parameters
    ----------
    yield_gpm : array-like of shape (n,) or scalar
        At full drawdown.
    need : Need
    in_well_gal : array-like, default=0
        Usable water standing in the well.
    irrigating : bool, default=False

    Returns
    -------
    ndarray
        Gallons; 0 where the well alone is enough, infinite where the yield
        over a day is below the day's use. Without storage in the well it is
        `storage_needed_gal`.
    """
    without_well = storage_needed_gal(yield_gpm, need, irrigating=irrigating)
    q, s, most = np.broadcast_arrays(
        np.asarray(yield_gpm, dtype=float), np.asarray(in_well_gal, dtype=float), without_well
    )
    tank = most.copy()
    todo = np.isfinite(most) & (most > 0) & (s > 0)
    if not todo.any():
        return tank
    q, s, most = q[todo], s[todo], most[todo]
    peak_min = need.peak_hours * 60.0
    spells = [
        (need.peak_gal / peak_min, peak_min),
        (need.rest_gal(irrigating=irrigating) / (MIN_PER_DAY - peak_min), MIN_PER_DAY - peak_min),
    ]
    (light, light_min), (heavy, heavy_min) = sorted(spells)

    def drawn_from(volume: np.ndarray) -> np.ndarray:
        """Return what a day draws from a tank of that volume, where it holds."""
        refill_min = volume / (q - light)
        level = s * (1.0 - light / q) * -np.expm1(-q / s * np.maximum(light_min - refill_min, 0.0))
        empty_after_min = s / q * np.log1p(level / (s * (heavy / q - 1.0)))
        return (heavy - q) * np.maximum(heavy_min - empty_after_min, 0.0)

    low, high = np.zeros(q.shape), most
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        too_small = drawn_from(middle) > middle
        low, high = np.where(too_small, middle, low), np.where(too_small, high, middle)
    needed = np.where(drawn_from(np.zeros(q.shape)) > 0, high, 0.0)
    tank[todo] = needed
    return tank


def watering_storage_gal(yield_gpm: ArrayLike, need: Need, in_well_gal: ArrayLike = 0.0) -> np.ndarray:
    """Return the storage that a watering by sprinklers takes on top of the house's tank.

    With V the water of a session, t its hours, r the house's rate outside its
    peak and H its use a day, all storage must hold, beside the house's,

        V - min((q - r) t, q 24 h - H),

    what the well makes beyond the house's use in these hours, or in a day
    where the tank is not full again before the session. It is exact for the
    worst hour outside the peak, for days that repeat from one watering to the
    next (a test steps through them). The well is drawn down by then, so the
    water in it is not counted, for the house neither.

    Parameters
    ----------
    yield_gpm : array-like of shape (n,) or scalar
        At full drawdown.
    need : Need
    in_well_gal : array-like, default=0
        Usable water standing in the well, on which the house's tank counts
        (`tank_needed_gal`).

    Returns
    -------
    ndarray
        Gallons; 0 without lawn and garden, infinite where the well cannot
        refill the storage between two waterings.
    """
    flow = np.asarray(yield_gpm, dtype=float)
    rest_gpm = need.rest_gal(irrigating=False) / (MIN_PER_DAY - need.peak_hours * 60.0)
    in_session = np.maximum(flow - rest_gpm, 0.0) * need.watering_hours * 60.0
    short = need.watering_gal - np.minimum(in_session, flow * MIN_PER_DAY - need.house_gal_day)
    house, beside_well = np.broadcast_arrays(storage_needed_gal(flow, need), tank_needed_gal(flow, need, in_well_gal))
    if not need.watering_gal:
        return np.zeros(house.shape)
    refilled = np.isfinite(storage_needed_gal(flow, need, irrigating=True))
    of_the_well = np.where(refilled, house, 0.0) - np.where(refilled, beside_well, 0.0)
    return np.where(refilled, np.maximum(short, 0.0) + of_the_well, np.inf)


def required_yield_gpm(need: Need, storage_gal: ArrayLike = 0.0, *, irrigating: bool = False) -> np.ndarray:
    """Return the least yield that meets the need with the given storage.

    The inverse of `storage_needed_gal`.

    Parameters
    ----------
    need : Need
    storage_gal : array-like, default=0
        In tanks; water standing in the well counts for less, see
        `tank_needed_gal`.
    irrigating : bool, default=False

    Returns
    -------
    ndarray
        Gallons a minute.
    """
    storage = np.asarray(storage_gal, dtype=float)
    peak_min = need.peak_hours * 60.0
    rest = need.rest_gal(irrigating=irrigating)
    round_the_clock = (need.peak_gal + rest) / MIN_PER_DAY
    in_peak = (need.peak_gal - storage) / peak_min
    in_rest = (rest - storage) / (MIN_PER_DAY - peak_min)
    return np.maximum(np.maximum(in_peak, in_rest), round_the_clock)


def target_from_need(need: Need) -> float:
    """Return the yield that meets the need without a tank, lawn and garden too: a target that is no habit.

    Parameters
    ----------
    need : Need

    Returns
    -------
    float
        Gallons a minute, rounded up to a tenth.
    """
    least = max(float(required_yield_gpm(need, irrigating=irrigating)) for irrigating in (False, True))
    return float(np.ceil(10.0 * least - 1e-9) / 10.0)


def yield_storage_table(need: Need, yields_gpm: ArrayLike, in_well_gal: ArrayLike = 0.0) -> pd.DataFrame:
    """Return what each yield makes and the tank it needs: the trade-off.

    Parameters
    ----------
    need : Need
    yields_gpm : array-like of shape (n,)
    in_well_gal : array-like of shape (n,) or scalar, default=0
        Usable gallons standing in the well.

    Returns
    -------
    DataFrame
        `yield_gpm`, `gal_per_day`, `house_tank_gal`, `summer_tank_gal`
        (lawn and garden watered evenly over the day; infinite where no tank is
        enough), `watering_storage_gal` (that their sprinklers take on top of
        the house's), `serves_house`, `serves_summer`.
    """
    flow = np.atleast_1d(np.asarray(yields_gpm, dtype=float))
    house, summer = (tank_needed_gal(flow, need, in_well_gal, irrigating=irrigating) for irrigating in (False, True))
    return pd.DataFrame(
        {
            "yield_gpm": flow,
            "gal_per_day": flow * MIN_PER_DAY,
            "house_tank_gal": house,
            "summer_tank_gal": summer,
            "watering_storage_gal": watering_storage_gal(flow, need, in_well_gal),
            "serves_house": np.isfinite(house),
            "serves_summer": np.isfinite(summer),
        }
    )
