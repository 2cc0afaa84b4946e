"""Flow to a well: drawdown by Theis, Cooper and Jacob, and Thiem, in field units.

Field units of the trade in the United States: flow in gpm, transmissivity T
in gallons a day and foot of width (gpd/ft), hydraulic conductivity K in
gpd/ft2, lengths in feet, time in days. The equations hold for a homogeneous
aquifer of wide extent with a fully penetrating well; a bedrock well fed by a
few fractures is none, and its pumping level is estimated in `design` from
its yield instead. Here they serve wells in overburden, interference between
wells, and the reading of pumping tests.

The constants follow from the units: 1.87 = 7.48052 / 4 in u, 114.6 = 1440 /
(4 pi), 264 = 1440 ln(10) / (4 pi), 528 = 2 * 264, 1055 = 1440 ln(10) / pi.
They are computed here, not copied, so they carry no rounding.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import exp1

from wellrecords.units import GAL_PER_FT3, MIN_PER_DAY

_FOUR_PI = 4.0 * np.pi


def well_function(u: ArrayLike) -> np.ndarray:
    """Return the Theis well function W(u), the exponential integral E1.

    Parameters
    ----------
    u : array-like
        Above 0.

    Returns
    -------
    ndarray
    """
    return np.asarray(exp1(np.asarray(u, dtype=float)))


def theis_u(
    radius_ft: ArrayLike, time_d: ArrayLike, transmissivity_gpd_ft: ArrayLike, storativity: ArrayLike
) -> np.ndarray:
    """Return u = 1.87 r^2 S / (T t) (UFC 3-220-05, equation C-4).

    Parameters
    ----------
    radius_ft : array-like
        Distance from the pumped well.
    time_d : array-like
        Days since pumping began.
    transmissivity_gpd_ft, storativity : array-like

    Returns
    -------
    ndarray
    """
    r, t = np.asarray(radius_ft, dtype=float), np.asarray(time_d, dtype=float)
    return GAL_PER_FT3 / 4.0 * r**2 * np.asarray(storativity) / (np.asarray(transmissivity_gpd_ft) * t)


def theis_drawdown_ft(
    flow_gpm: ArrayLike,
    radius_ft: ArrayLike,
    time_d: ArrayLike,
    transmissivity_gpd_ft: ArrayLike,
    storativity: ArrayLike,
) -> np.ndarray:
    """Return the drawdown s = 114.6 Q W(u) / T.

    Parameters
    ----------
    flow_gpm : array-like
    radius_ft, time_d, transmissivity_gpd_ft, storativity : array-like
        As in `theis_u`.

    Returns
    -------
    ndarray
        Feet.
    """
    u = theis_u(radius_ft, time_d, transmissivity_gpd_ft, storativity)
    flow_gpd = np.asarray(flow_gpm, dtype=float) * MIN_PER_DAY
    return flow_gpd / (_FOUR_PI * np.asarray(transmissivity_gpd_ft)) * well_function(u)


def cooper_jacob_drawdown_ft(
    flow_gpm: ArrayLike,
    radius_ft: ArrayLike,
    time_d: ArrayLike,
    transmissivity_gpd_ft: ArrayLike,
    storativity: ArrayLike,
) -> np.ndarray:
    """Return the drawdown by the straight-line approximation, good for u below about 0.01.

    s = 264 Q / T log10(0.3 T t / (r^2 S)), where 0.3 = 4 exp(-0.5772) / 7.48.

    Parameters
    ----------
    flow_gpm, radius_ft, time_d, transmissivity_gpd_ft, storativity : array-like
        As in `theis_drawdown_ft`.

    Returns
    -------
    ndarray
        Feet.
    """
    u = theis_u(radius_ft, time_d, transmissivity_gpd_ft, storativity)
    flow_gpd = np.asarray(flow_gpm, dtype=float) * MIN_PER_DAY
    return flow_gpd / (_FOUR_PI * np.asarray(transmissivity_gpd_ft)) * (-np.euler_gamma - np.log(u))


def cooper_jacob_transmissivity_gpd_ft(flow_gpm: ArrayLike, slope_ft_per_log_cycle: ArrayLike) -> np.ndarray:
    """Return T = 264 Q / ds from the slope of drawdown over the logarithm of time.

    A slope over distance (fixed time) is twice as steep: halve it first.

    Parameters
    ----------
    flow_gpm : array-like
    slope_ft_per_log_cycle : array-like
        Drawdown over one factor of ten in time.

    Returns
    -------
    ndarray
        gpd/ft.
    """
    flow_gpd = np.asarray(flow_gpm, dtype=float) * MIN_PER_DAY
    return flow_gpd * np.log(10.0) / (_FOUR_PI * np.asarray(slope_ft_per_log_cycle))


def storativity_from_intercept(
    transmissivity_gpd_ft: ArrayLike, time_at_zero_d: ArrayLike, radius_ft: ArrayLike
) -> np.ndarray:
    """Return S = 0.3 T t0 / r^2 from where the straight line meets zero drawdown.

    Parameters
    ----------
    transmissivity_gpd_ft : array-like
    time_at_zero_d : array-like
        Days at the line's intercept.
    radius_ft : array-like
        Of the observation well (or the distance at the intercept, at a fixed time).

    Returns
    -------
    ndarray
    """
    constant = 4.0 * np.exp(-np.euler_gamma) / GAL_PER_FT3
    return constant * np.asarray(transmissivity_gpd_ft) * np.asarray(time_at_zero_d) / np.square(radius_ft)


def thiem_confined_head_difference_ft(
    flow_gpm: ArrayLike, transmissivity_gpd_ft: ArrayLike, inner_radius_ft: ArrayLike, outer_radius_ft: ArrayLike
) -> np.ndarray:
    """Return the steady head difference between two distances, confined.

    h2 - h1 = 528 Q log10(r2 / r1) / T, with T = K b.

    Parameters
    ----------
    flow_gpm, transmissivity_gpd_ft : array-like
    inner_radius_ft, outer_radius_ft : array-like

    Returns
    -------
    ndarray
        Feet; the drawdown at the inner distance where the outer one is the
        radius of influence.
    """
    flow_gpd = np.asarray(flow_gpm, dtype=float) * MIN_PER_DAY
    ratio = np.asarray(outer_radius_ft, dtype=float) / np.asarray(inner_radius_ft, dtype=float)
    return flow_gpd * np.log(ratio) / (2.0 * np.pi * np.asarray(transmissivity_gpd_ft))


def thiem_unconfined_head_ft(
    flow_gpm: ArrayLike,
    conductivity_gpd_ft2: ArrayLike,
    known_head_ft: ArrayLike,
    known_radius_ft: ArrayLike,
    radius_ft: ArrayLike,
) -> np.ndarray:
    """Return the steady head above the base at a distance, unconfined.

    h^2 = h0^2 + 1055 Q log10(r / r0) / K.

    Parameters
    ----------
    flow_gpm, conductivity_gpd_ft2 : array-like
    known_head_ft, known_radius_ft : array-like
        Head above the base of the aquifer at one distance.
    radius_ft : array-like
        Distance at which the head is wanted.

    Returns
    -------
    ndarray
        Feet; null where the aquifer cannot give that flow.
    """
    flow_gpd = np.asarray(flow_gpm, dtype=float) * MIN_PER_DAY
    ratio = np.asarray(radius_ft, dtype=float) / np.asarray(known_radius_ft, dtype=float)
    squared = np.square(known_head_ft) + flow_gpd * np.log(ratio) / (np.pi * np.asarray(conductivity_gpd_ft2))
    return np.sqrt(np.where(squared >= 0, squared, np.nan))


def radius_of_influence_ft(
    flow_gpm: ArrayLike, transmissivity_gpd_ft: ArrayLike, drawdown_ft: ArrayLike, radius_ft: ArrayLike
) -> np.ndarray:
    """Return the distance at which a steady confined drawdown vanishes.

    R = r 10^(T s / (528 Q)).

    Parameters
    ----------
    flow_gpm, transmissivity_gpd_ft : array-like
    drawdown_ft, radius_ft : array-like
        The drawdown known at one distance.

    Returns
    -------
    ndarray
        Feet.
    """
    flow_gpd = np.asarray(flow_gpm, dtype=float) * MIN_PER_DAY
    power = 2.0 * np.pi * np.asarray(transmissivity_gpd_ft) * np.asarray(drawdown_ft) / flow_gpd
    return np.asarray(radius_ft) * np.exp(power)
