"""Voltage drop in the cable to a submersible motor.

Single phase: the current flows out and back, so twice the length counts.
Licensed electrical practice and the local code govern the installation.

>>> round(float(voltage_drop(8.0, 300.0, 10)), 2)
5.95
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

OHM_PER_KFT = {14: 3.14, 12: 1.98, 10: 1.24, 8: 0.778, 6: 0.491, 4: 0.308, 2: 0.194}
"""Resistance of stranded uncoated copper by AWG gauge: NFPA 70, chapter 9, table 8 (from memory)."""
CIRCULAR_MILS = {14: 4110, 12: 6530, 10: 10380, 8: 16510, 6: 26240, 4: 41740}
"""Cross-section by AWG gauge, same table."""
COPPER_OHM_CMIL_PER_FT = 12.9
"""Resistance of a circular-mil foot of copper at 75 C (from memory); it agrees with the table for stranded wire."""


def voltage_drop(current_a: ArrayLike, length_ft: ArrayLike, gauge_awg: int) -> np.ndarray:
    """Return the drop 2 I R L / 1000 in volts.

    Parameters
    ----------
    current_a : array-like
    length_ft : array-like
        One way.
    gauge_awg : int
        A key of `OHM_PER_KFT`.

    Returns
    -------
    ndarray
    """
    return 2.0 * np.asarray(current_a, dtype=float) * OHM_PER_KFT[gauge_awg] * np.asarray(length_ft) / 1000.0


def smallest_gauge(
    current_a: ArrayLike, length_ft: ArrayLike, gauges_awg: tuple[int, ...], allowed_drop_v: float
) -> np.ndarray:
    """Return the thinnest of the gauges on sale that keeps the drop allowed.

    Parameters
    ----------
    current_a, length_ft : array-like of shape (n,)
    gauges_awg : tuple of int
    allowed_drop_v : float

    Returns
    -------
    ndarray of shape (n,)
        AWG gauge; null where none of them is thick enough.
    """
    current, length = np.broadcast_arrays(np.asarray(current_a, dtype=float), np.asarray(length_ft, dtype=float))
    gauge = np.full(current.shape, np.nan)
    for awg in sorted(gauges_awg):  # thick wire has a low number: the last that fits is the thinnest
        gauge[voltage_drop(current, length, awg) <= allowed_drop_v] = awg
    return gauge
