"""A whole column in another unit than its layout says, seen by the wells of other sources around."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from pyproj import Transformer
from scipy.spatial import KDTree

from wellrecords.cleaning.rules import ends
from wellrecords.schema import WGS84
from wellrecords.units import FEET_PER, GPM_PER

COMPARED = {
    "total_depth_ft": {unit: FEET_PER[unit] for unit in ("ft", "m")},
    "depth_to_bedrock_ft": {unit: FEET_PER[unit] for unit in ("ft", "m")},
    "yield_gpm": {unit: GPM_PER[unit] for unit in ("gpm", "L/min", "L/s", "m3/h")},
}
"""Quantity -> units that are taken for each other, and what each is worth. Water levels vary too much to tell."""
WITHIN_M, AROUND = 5_000.0, 5
LEAST_WELLS = 50
MOST_WELLS = 5_000
"""Wells of a source that are held against the others; more would tell the same."""
NEAR_FACTOR, FAR_FROM_ONE = 0.2, 0.6
"""On the log scale, beside two and four standard errors: how near a unit's factor the ratio is, how far from 1."""


def suspect_units(wells: pd.DataFrame, crs: str) -> list[str]:
    """Tell which columns of a source look as if they were in another unit.

    The ratio of a source's readings to those of the nearest wells of the
    other sources is about 1 where both are in the unit that is said, and about 0.3
    where metres were taken for feet.

    Parameters
    ----------
    wells : pandas.DataFrame
        Canonical columns, of several sources.
    crs : str
        Projected system in metres.

    Returns
    -------
    list of str
        A sentence a column.
    """
    if wells["source"].nunique() < 2:
        return []
    easting, northing = Transformer.from_crs(WGS84, crs, always_xy=True).transform(
        wells["longitude"].to_numpy(dtype=float), wells["latitude"].to_numpy(dtype=float)
    )
    places, source = np.column_stack([easting, northing]), wells["source"].to_numpy(dtype=object)
    told = []
    for column, units in COMPARED.items():
        low, high = ends(wells, column)
        read = np.flatnonzero(np.isfinite(low) & (low == high) & (low > 0))
        for name, ratio in _ratios(places[read], np.log(low[read]), source[read]):
            error = 1.25 * np.std(ratio) / np.sqrt(len(ratio))  # of a median
            middle = float(np.median(ratio))
            if abs(middle) < FAR_FROM_ONE + 4.0 * error:
                continue
            factors = {(taken, said): np.log(units[said] / units[taken]) for taken in units for said in units}
            miss = {pair: abs(factor - middle) for pair, factor in factors.items()}
            fits = [pair for pair in sorted(miss, key=miss.__getitem__) if miss[pair] < NEAR_FACTOR + 2.0 * error]
            if fits:
                ways = ", or ".join(f"{taken} had been taken for {said}" for taken, said in fits)
                told.append(
                    f"{name}: {column}: its figures are {np.exp(middle):.2g} times those of the wells around in other "
                    f"sources, as they would be if {ways}. Check the unit in its layout."
                )
    return told


def _ratios(places: np.ndarray, log_value: np.ndarray, source: np.ndarray) -> Iterator[tuple[str, np.ndarray]]:
    """Yield each source and the log ratios of its wells to the middle of those of other sources around."""
    for name in pd.unique(source):
        own, others = np.flatnonzero(source == name), np.flatnonzero(source != name)
        if min(len(own), len(others)) < LEAST_WELLS:
            continue
        own = own[:: -(-len(own) // MOST_WELLS)]
        distance, near = KDTree(places[others]).query(places[own], k=AROUND, distance_upper_bound=WITHIN_M)
        known = np.isfinite(distance).all(axis=1)
        if known.sum() >= LEAST_WELLS:
            yield str(name), log_value[own[known]] - np.median(log_value[others][near[known]], axis=1)
