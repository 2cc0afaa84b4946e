"""Screen and filter pack for a well that ends in overburden, from a sieve analysis.

Before the hole is drilled nobody has a sieve analysis, so the bid counts a
screen by its length alone; these are for the day on which the sample is on
the table. A sieve curve is given as sieve openings and the share retained on
each sieve and those above, as drillers plot it.

>>> round(uniformity_coefficient([0.84, 0.297], [40, 90]), 2)
2.83
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wellrecords.units import MM_PER_IN

_PERMEABILITY_GPD_FT2 = (500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0, 4000.0, 5000.0)
_VELOCITY_FT_MIN = (3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)


def retained_size_mm(opening_mm: ArrayLike, retained_percent: ArrayLike, percent: float) -> float:
    """Return the grain size that a share of the sample is coarser than.

    Read off the curve between two sieves, on a logarithmic scale of sizes.

    Parameters
    ----------
    opening_mm : array-like of shape (k,)
        Sieve openings, any order.
    retained_percent : array-like of shape (k,)
        Cumulative share retained; more the finer the sieve.
    percent : float
        40 for the size with 40 % of the sample coarser.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        Where the curve is none, or does not reach the share.
    """
    opening, retained = np.asarray(opening_mm, dtype=float), np.asarray(retained_percent, dtype=float)
    order = np.argsort(opening)[::-1]
    opening, retained = opening[order], retained[order]
    if opening.size < 2 or (opening <= 0).any() or (np.diff(retained) < 0).any():
        msg = (
            "A sieve curve needs two or more openings above 0 mm, with no less retained on a finer sieve; got "
            f"{opening.tolist()} mm retaining {retained.tolist()} %."
        )
        raise ValueError(msg)
    if not retained[0] <= percent <= retained[-1]:
        msg = f"The sieves retain {retained[0]:g} to {retained[-1]:g} %; {percent:g} % lies outside. Use more sieves."
        raise ValueError(msg)
    return float(np.exp(np.interp(percent, retained, np.log(opening))))


def uniformity_coefficient(opening_mm: ArrayLike, retained_percent: ArrayLike) -> float:
    """Return the size with 40 % retained over that with 90 % retained.

    Parameters
    ----------
    opening_mm, retained_percent : array-like of shape (k,)
        As in `retained_size_mm`.

    Returns
    -------
    float
        1 for grains of one size.
    """
    return retained_size_mm(opening_mm, retained_percent, 40.0) / retained_size_mm(opening_mm, retained_percent, 90.0)


def natural_slot_in(opening_mm: ArrayLike, retained_percent: ArrayLike, kept_percent: float = 40.0) -> float:
    """Return the slot of a screen without a pack, developed in the formation itself.

    Parameters
    ----------
    opening_mm, retained_percent : array-like of shape (k,)
        As in `retained_size_mm`.
    kept_percent : float, default=40
        Share of the formation that the slot holds back: 40 % is the common
        advice, 50 to 70 % is taken for domestic wells (The Driller, article
        89267).

    Returns
    -------
    float
        Inches; slot numbers are thousandths of an inch.
    """
    return retained_size_mm(opening_mm, retained_percent, kept_percent) / MM_PER_IN


def filter_pack_mm(opening_mm: ArrayLike, retained_percent: ArrayLike) -> tuple[float, float]:
    """Return the range of the 70 % retained size of a filter pack.

    4 times that of the finest stratum where it is fine and uniform, 6 times
    where it is coarse and not (TI 814-01, 1998, p. 5-17). The screen's slot
    then holds back 85 to 100 % of the pack (same; TM 5-813-1).

    Parameters
    ----------
    opening_mm, retained_percent : array-like of shape (k,)
        Of the finest stratum; as in `retained_size_mm`.

    Returns
    -------
    low, high : float
    """
    size = retained_size_mm(opening_mm, retained_percent, 70.0)
    return 4.0 * size, 6.0 * size


def screened_range_ft(thickness_ft: float, *, confined: bool) -> tuple[float, float]:
    """Return how much of an aquifer to screen: its least and most, from the bottom up.

    70 to 80 % of a confined aquifer, the lower third to half of an unconfined
    one (TM 5-813-1, 1987).

    Parameters
    ----------
    thickness_ft : float
    confined : bool

    Returns
    -------
    low, high : float
    """
    least, most = (0.7, 0.8) if confined else (1.0 / 3.0, 0.5)
    return least * thickness_ft, most * thickness_ft


def entrance_velocity_limit_ft_s(permeability_gpd_ft2: ArrayLike) -> np.ndarray:
    """Return the entrance velocity that suits a permeability.

    The table of TI 814-01 (1998), p. 5-16, straight lines between its rows;
    2 ft/min below 500 gpd/ft2. The plain limit of 0.1 ft/s (6 ft/min) lies in
    its middle.

    Parameters
    ----------
    permeability_gpd_ft2 : array-like

    Returns
    -------
    ndarray
        Feet a second.
    """
    permeability = np.asarray(permeability_gpd_ft2, dtype=float)
    per_min = np.interp(permeability, _PERMEABILITY_GPD_FT2, _VELOCITY_FT_MIN)
    return np.where(permeability < _PERMEABILITY_GPD_FT2[0], 2.0, per_min) / 60.0
