"""Which yield with which storage meets a need.

A weak well that runs round the clock makes a good volume; a tank, and the
water standing in the well itself, carry the peak. So a target yield comes
from the need and the storage together:

    storage >= V_peak - q t_peak            (the peak)
    storage >= V_rest - q (24 h - t_peak)   (the rest of the day)
    q 24 h  >= V_peak + V_rest              (or no storage is enough)

with q the yield, V_peak the volume used within the peak t_peak, V_rest the
rest of the day's use, spread evenly. Lawn and garden are watered in sessions:
the water of `watering_every_days` days within `watering_hours`, right before
or after the house's peak, which is the hardest time. Drip lines that run all
day are the case of a session a day that fills the hours outside the peak.

The trade counts the water standing in the well like a tank
(`storage_needed_gal`; the published worked examples do). That is hopeful: a
yield is measured with the well drawn down, and a well that is still half full
gives only half of it. `tank_needed_gal` lets the inflow follow the level,
which is what the designs here are sized by.

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

_HALVINGS = 48
"""Of the interval in which a level or a yield is sought: far below a millionth of a gallon."""

Spell = tuple[float, float]
"""A time of even draw: gallons a minute, minutes."""


def storage_needed_gal(yield_gpm: ArrayLike, need: Need, *, irrigating: bool = False) -> np.ndarray:
    """Return the storage that a yield needs, all storage counted like a tank.

    With V the water of a session of the sprinklers, t its hours, r the house's
    rate outside its peak and H its use a day, a watering takes, beside the
    house's storage,

        V - min((q - r) t, q 24 h - H),

    what the well makes beyond the house's use in these hours, or in a day
    where the tank is not full again before the session. These are the exact
    answer of the mass balance from one watering to the next (a test steps
    through it).

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
    rest_min = MIN_PER_DAY - peak_min
    rest = need.rest_gal(irrigating=False)
    short = np.maximum(np.maximum(need.peak_gal - flow * peak_min, rest - flow * rest_min), 0.0)
    used = need.house_gal_day
    if irrigating:
        used = need.summer_gal_day
        in_session = np.maximum(flow - rest / rest_min, 0.0) * need.watering_hours * 60.0
        made = np.minimum(in_session, flow * MIN_PER_DAY - need.house_gal_day)
        short = short + np.maximum(need.watering_gal - made, 0.0)
    return np.where(flow * MIN_PER_DAY >= used * (1.0 - 1e-12), short, np.inf)


def tank_needed_gal(
    yield_gpm: ArrayLike, need: Need, in_well_gal: ArrayLike = 0.0, *, irrigating: bool = False
) -> np.ndarray:
    """Return the storage tank that a well needs, its inflow following its level.

    With W the usable water in the well and S its most, the inflow is
    q (1 - W / S): nothing when the well is full, the yield q when it is drawn
    down. The well is emptied before the tank, and the tank filled before the
    well rises, so the water above (or below) an empty well with a full tank
    is one figure x, which moves at

        q (1 - x / S) - d   above 0,        q - d   below it,

    d the draw. Where the well is to carry the draw d > q alone it empties after
    S / q ln(1 + x / (S (d / q - 1))). The days repeat from one watering to the
    next: the x with which they begin and end is found by halving, and the tank
    is how far x falls below 0 on the way.

    Parameters
    ----------
    yield_gpm : array-like of shape (n,) or scalar
        At full drawdown.
    need : Need
    in_well_gal : array-like, default=0
        Usable water standing in the well.
    irrigating : bool, default=False
        Whether lawn and garden are watered too, in sessions right before or
        right after the house's peak, whichever takes more.

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
    drawn = [_drawn_gal(q[todo], s[todo], most[todo], spells) for spells in _cycles(need, irrigating=irrigating)]
    tank[todo] = np.minimum(np.max(drawn, axis=0), most[todo])
    return tank


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
    rest_min = MIN_PER_DAY - peak_min
    rest = need.rest_gal(irrigating=False)
    house = np.maximum(np.maximum((need.peak_gal - storage) / peak_min, (rest - storage) / rest_min), 0.0)
    house = np.maximum(house, need.house_gal_day / MIN_PER_DAY)
    if not (irrigating and need.watering_gal):
        return house
    round_the_clock = need.summer_gal_day / MIN_PER_DAY
    low = np.full(storage.shape, round_the_clock)
    high = np.maximum(house, max(rest / rest_min + need.sprinklers_gpm, round_the_clock))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        does = storage_needed_gal(middle, need, irrigating=True) <= storage
        low, high = np.where(does, low, middle), np.where(does, middle, high)
    return np.where(storage_needed_gal(round_the_clock, need, irrigating=True) <= storage, round_the_clock, high)


def target_from_need(need: Need) -> float:
    """Return the yield that the house needs without a tank, and lawn and garden too if watered evenly over the day.

    A target that is no habit. Sprinklers draw the water of days within hours:
    a hole for their flow would be deeper than a tank is dear, so at this yield
    they may take one (`tank_needed_gal`).

    Parameters
    ----------
    need : Need

    Returns
    -------
    float
        Gallons a minute, rounded up to a tenth.
    """
    rest_min = MIN_PER_DAY - need.peak_hours * 60.0
    least = max(
        float(required_yield_gpm(need)),
        need.rest_gal(irrigating=True) / rest_min,
        need.summer_gal_day / MIN_PER_DAY,
    )
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
        `yield_gpm`, `gal_per_day`, `house_tank_gal`, `summer_tank_gal` (house
        and animals, lawn and garden in the driest month, watered in sessions;
        infinite where no tank is enough), `serves_house`, `serves_summer`.
    """
    flow = np.atleast_1d(np.asarray(yields_gpm, dtype=float))
    house, summer = (tank_needed_gal(flow, need, in_well_gal, irrigating=irrigating) for irrigating in (False, True))
    return pd.DataFrame(
        {
            "yield_gpm": flow,
            "gal_per_day": flow * MIN_PER_DAY,
            "house_tank_gal": house,
            "summer_tank_gal": summer,
            "serves_house": np.isfinite(house),
            "serves_summer": np.isfinite(summer),
        }
    )


def _cycles(need: Need, *, irrigating: bool) -> list[list[Spell]]:
    """Return the spells of the days that repeat, the peak first; with waterings once after and once before the peak."""
    peak_min = need.peak_hours * 60.0
    rest_min = MIN_PER_DAY - peak_min
    peak, rest_gpm = (need.peak_gal / peak_min, peak_min), need.rest_gal(irrigating=False) / rest_min
    day = [peak, (rest_gpm, rest_min)]
    if not (irrigating and need.watering_gal):
        return [day]
    session_min = need.watering_hours * 60.0
    session, rest = (rest_gpm + need.sprinklers_gpm, session_min), (rest_gpm, rest_min - session_min)
    others = day * (need.watering_every_days - 1)
    return [[peak, session, rest, *others], [peak, rest, session, *others]]


def _drawn_gal(q: np.ndarray, s: np.ndarray, most: np.ndarray, spells: list[Spell]) -> np.ndarray:
    """Return how far a tank is drawn down by days that repeat."""
    low, high = -most, s.copy()
    for _ in range(_HALVINGS):
        begin = (low + high) / 2.0
        end = begin
        for draw_gpm, minutes in spells:
            end = _level_after(end, draw_gpm, minutes, q, s)
        holds = end >= begin - 1e-10
        low, high = np.where(holds, begin, low), np.where(holds, high, begin)
    level = lowest = low
    for draw_gpm, minutes in spells:
        level = _level_after(level, draw_gpm, minutes, q, s)
        lowest = np.minimum(lowest, level)
    return np.maximum(-lowest, 0.0)


def _level_after(x: np.ndarray, draw_gpm: float, minutes: float, q: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Return the water above (or below) an empty well with a full tank, after a spell of even draw."""
    net = q - draw_gpm
    toward = s * net / q
    above, below = np.maximum(x, 0.0), np.minimum(x, 0.0)
    rising = net > 0
    safe = np.where(net == 0, 1.0, np.abs(net))
    falls_min = np.where(net == 0, np.inf, s / q * np.log1p(above * q / (s * safe)))
    above_min = np.where(rising, minutes - np.minimum(-below / safe, minutes), np.minimum(falls_min, minutes))
    risen = np.where(x + net * minutes < 0, x + net * minutes, toward + (above - toward) * np.exp(-q / s * above_min))
    return np.where(rising | (above_min >= minutes), risen, below + net * (minutes - above_min))
