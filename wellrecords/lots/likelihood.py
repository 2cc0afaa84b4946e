"""The likelihood of each stopped hole, for each law of a grid.

A stop of h feet with yield Y is as likely, a foot and a gpm, as

    sum over targets T <= Y of  share(T) * density of first passing T there with Y
    + hazard * sum over T > Y of share(T) * density of having made Y by then

and the other kinds of reading are sums of the same tables. All are kept as
terms (well, table, yield, coefficient), evaluated in one gather.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from wellrecords.lots.fractures import (
    BELOW,
    DENSITY,
    PASSAGE,
    STOP,
    STOP_SHARES,
    FractureTables,
    Jumps,
    LawGrid,
    summed_windows,
    weighed_windows,
)
from wellrecords.lots.stopping import (
    AT_LEAST,
    EXACT,
    FRACTURED,
    LEAST_FEET,
    LOGGED,
    MISSING,
    UNDER,
    USUAL_TARGETS_GPM,
    Habits,
    Stops,
)

FLOOR = 1e-25
LEAST_SHARE = 0.01
JUST_MADE = 1.0 + 1e-9

Terms = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def effective_feet(feet: np.ndarray, decay_ft: float) -> np.ndarray:
    """Return the feet of undiminished rate that `feet` of rock are worth.

    Parameters
    ----------
    feet : ndarray
    decay_ft : float
        Depth in which the rate of fractures falls by a factor e; infinite
        where it does not fall.
    """
    return feet if np.isinf(decay_ft) else -decay_ft * np.expm1(-feet / decay_ft)


def _slope(feet: np.ndarray, decay_ft: float) -> np.ndarray:
    """Return d log(effective feet) / d log(feet)."""
    if np.isinf(decay_ft):
        return np.ones_like(feet)
    return feet * np.exp(-feet / decay_ft) / effective_feet(feet, decay_ft)


def share_weights(target_over_yield: np.ndarray) -> np.ndarray:
    """Weights that interpolate a table of `STOP_SHARES` at each ratio, shape (..., n_shares)."""
    ratio = np.clip(target_over_yield, 0.0, 1.0)
    left = np.clip(np.searchsorted(STOP_SHARES, ratio, side="right") - 1, 0, len(STOP_SHARES) - 2)
    part = (ratio - STOP_SHARES[left]) / (STOP_SHARES[left + 1] - STOP_SHARES[left])
    number = np.arange(len(STOP_SHARES))
    return np.where(number == left[..., None], 1.0 - part[..., None], 0.0) + np.where(
        number == left[..., None] + 1, part[..., None], 0.0
    )


def _run_on(stops: Stops, decay_ft: float) -> list[tuple[np.ndarray, np.ndarray]]:
    """List how far holes may have gone on: coefficient, and log of the effective feet to the last fracture.

    The coefficient makes densities those of log(feet of the hole), whichever
    part of them was needed.
    """
    parts = []
    for weight, feet in stops.run_on():
        left = np.where(np.isfinite(feet), feet, LEAST_FEET)
        went = np.where(np.isfinite(feet), weight * _slope(left, decay_ft) * stops.feet / left, 0.0)
        parts.append((went, np.log(effective_feet(left, decay_ft))))
    return parts


def _terms(stops: Stops, habits: Habits, decay_ft: float) -> Terms:
    """List what each well's likelihood is a sum of: well, table, log feet, log gpm, coefficient."""
    limit = habits.hazard(stops.depth_ft) * stops.feet
    log_feet = np.log(effective_feet(stops.feet, decay_ft))
    bound = np.log(stops.gpm)
    share = habits.share
    terms: list[Terms] = []

    def add(wells: np.ndarray, table: int, feet: np.ndarray, gpm: float | np.ndarray, coefficient: np.ndarray) -> None:
        used = coefficient != 0
        count = int(used.sum())
        terms.append(
            (wells[used], np.full(count, table), feet[used], np.broadcast_to(gpm, used.shape)[used], coefficient[used])
        )

    exact = np.flatnonzero(stops.kind == EXACT)
    under = np.flatnonzero(stops.kind == UNDER)
    enough = np.flatnonzero((stops.kind == MISSING) | (stops.kind == AT_LEAST))
    missing = np.flatnonzero(stops.kind == MISSING)
    fractured = np.flatnonzero(stops.kind == FRACTURED)
    usual = [
        (np.log(target), part) for target, part in zip(USUAL_TARGETS_GPM, share, strict=True) if part >= LEAST_SHARE
    ]

    for weight, gpm in stops.yields():
        log_gpm = np.log(gpm[exact])
        ratio = USUAL_TARGETS_GPM / gpm[exact, None]
        passed = ratio <= JUST_MADE
        by_share = np.einsum("nt,nts->ns", np.where(passed, weight * share, 0.0), share_weights(ratio))
        for went, feet in _run_on(stops, decay_ft):
            for number in range(len(STOP_SHARES)):
                add(exact, STOP + number, feet[exact], log_gpm, by_share[:, number] * went[exact])
        short = np.where(passed, 0.0, weight * share).sum(axis=1)
        add(exact, DENSITY, log_feet[exact], log_gpm, limit[exact] * short)
    for went, feet in _run_on(stops, decay_ft):
        for target, part in usual:
            add(enough, PASSAGE, feet[enough], target, part * went[enough])
    add(under, BELOW, log_feet[under], bound[under], np.maximum(limit[under], 1e-6))
    at_least = np.flatnonzero(stops.kind == AT_LEAST)
    for target, part in usual:
        add(missing, BELOW, log_feet[missing], target, part * limit[missing])
        # A hole that makes a bound may have stopped at a limit short of any target above it.
        short = np.where(bound[at_least] < target, part * limit[at_least], 0.0)
        add(at_least, BELOW, log_feet[at_least], target, short)
        add(at_least, BELOW, log_feet[at_least], bound[at_least], -short)
        least = np.minimum(target, bound[fractured])
        add(fractured, BELOW, log_feet[fractured], least, part * np.maximum(limit[fractured], 1e-6))
    columns = [np.concatenate(parts) for parts in zip(*terms, strict=True)]
    order = np.argsort(columns[0], kind="stable")
    well, table, feet, gpm, coefficient = (column[order] for column in columns)
    return well, table, feet, gpm, coefficient


def _logged(stops: Stops, wells: np.ndarray, decay_ft: float, jumps: Jumps, grid: LawGrid) -> np.ndarray:
    """Log likelihood of holes whose whole path is on record, shape (n, laws)."""
    number, total, squares, gpm, zone_feet = stops.zones[wells].T
    feet = effective_feet(stops.feet[wells], decay_ft)
    fading = 0.0 if np.isinf(decay_ft) else zone_feet / decay_ft
    met = number[:, None] * grid.log_rate - feet[:, None] * np.exp(grid.log_rate) - np.reshape(fading, (-1, 1))
    size, shape = grid.log_size, jumps.shape
    if jumps.kind == "lognormal":
        sizes = -(squares[:, None] - 2.0 * total[:, None] * size + number[:, None] * size**2) / (2.0 * shape**2)
        sizes = sizes - number[:, None] * np.log(shape * np.sqrt(2.0 * np.pi))
    else:
        log_scale = size + np.log(jumps.scale)
        sizes = shape * (total[:, None] - number[:, None] * log_scale) - gpm[:, None] * np.exp(-log_scale)
        sizes = sizes - number[:, None] * gammaln(shape)
    return (met[:, :, None] + sizes[:, None, :]).reshape(len(wells), -1)


def log_likelihood(
    stops: Stops, habits: Habits, tables: FractureTables, grid: LawGrid, decay_ft: float = np.inf
) -> np.ndarray:
    """Log likelihood of each stop under each law, up to a term that no law changes.

    Parameters
    ----------
    stops : Stops of n wells
    habits : Habits
    tables : FractureTables
    grid : LawGrid
    decay_ft : float, default=inf

    Returns
    -------
    ndarray of shape (n, grid.size), float32
        Of the density of (log feet, log gpm).
    """
    well, table, log_feet, gpm, coefficient = _terms(stops, habits, decay_ft)
    likelihood = summed_windows(tables, well, table, log_feet, gpm, coefficient, grid, len(stops))
    result = np.log(np.maximum(likelihood, 0.0) + np.float32(FLOOR))
    logged = np.flatnonzero(stops.kind == LOGGED)
    if len(logged):
        result[logged] = _logged(stops, logged, decay_ft, tables.jumps, grid)
    return result


def stop_densities(
    stops: Stops, prior: np.ndarray, tables: FractureTables, grid: LawGrid, decay_ft: float = np.inf
) -> tuple[np.ndarray, np.ndarray]:
    """Densities that `fit_habits` weighs, the law at each well drawn from `prior`.

    Parameters
    ----------
    prior : ndarray of shape (grid.size,)

    Returns
    -------
    stop_density : ndarray of shape (n, n_targets)
    limit_density : ndarray of shape (n, n_targets)
    """
    exact = np.flatnonzero(stops.kind == EXACT)
    stop_density = np.zeros((len(stops), len(USUAL_TARGETS_GPM)))
    limit_density = np.zeros_like(stop_density)
    log_feet = np.log(effective_feet(stops.feet[exact], decay_ft))
    for weight, gpm in stops.yields():
        ratio = USUAL_TARGETS_GPM / gpm[exact, None]
        passed = ratio <= JUST_MADE
        by_share = np.zeros((len(exact), len(STOP_SHARES)))
        for went, feet in _run_on(stops, decay_ft):
            for number in range(len(STOP_SHARES)):
                met = weighed_windows(tables, STOP + number, feet[exact], np.log(gpm[exact]), prior, grid)
                by_share[:, number] += weight * went[exact] * met
        stop_density[exact] += np.einsum("ns,nts->nt", by_share, share_weights(ratio)) * passed
        made = weighed_windows(tables, DENSITY, log_feet, np.log(gpm[exact]), prior, grid)
        limit_density[exact] += np.where(passed, 0.0, (weight * made * stops.feet[exact])[:, None])
    return stop_density, limit_density
