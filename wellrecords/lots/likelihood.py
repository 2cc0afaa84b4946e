"""The likelihood of each stopped hole, for each law of a grid.

A stop of h feet with yield Y is as likely, a foot and a gpm, as

    sum over targets T <= Y of  share(T) * density of first passing T there with Y
    + hazard * sum over T > Y of share(T) * density of having made Y by then
    + at a least depth, part of those who go on to it * sum over T <= Y of share(T) * the same density

A rounded yield, and one of which a bound is known, says the same of a range
of yields; their probabilities are tabulated too, since a few yields would not
stand for a range in which the density of many small fractures is all at its
targets. All are kept as terms (well, table, yield, coefficient), evaluated in
one gather.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from wellrecords.lots.fractures import (
    BELOW,
    DENSITY,
    LEAP,
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
JUST = 1e-9

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
    weights = np.zeros((*ratio.shape, len(STOP_SHARES)))
    np.put_along_axis(weights, left[..., None], 1.0 - part[..., None], axis=-1)
    np.put_along_axis(weights, left[..., None] + 1, part[..., None], axis=-1)
    return weights


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


def _counted(target: np.ndarray, gpm: np.ndarray) -> np.ndarray:
    """Return how much of each figure lies at or past each target, (n, targets): half of one that is written just so."""
    ratio = target / gpm[:, None]
    return np.where(np.abs(ratio - 1.0) <= JUST, 0.5, np.where(ratio < 1.0, 1.0, 0.0))


def _ranges(stops: Stops) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """List the ranges that yields are known to lie in: well, lowest and highest gpm, chance."""
    exact, bounded, missing = (np.flatnonzero(stops.kind == kind) for kind in (EXACT, AT_LEAST, MISSING))
    chance, low, high = np.moveaxis(stops.rounded[exact], 2, 0)
    used = chance > 0
    place = np.nonzero(used)[0]
    open_ended = np.concatenate([bounded, missing])
    return (
        np.concatenate([exact[place], open_ended]),
        np.concatenate([low[used], stops.gpm[bounded], np.zeros(len(missing))]),
        np.concatenate([high[used], np.full(len(open_ended), np.inf)]),
        np.concatenate([chance[used], np.ones(len(open_ended))]),
    )


def _terms(stops: Stops, habits: Habits, decay_ft: float) -> Terms:
    """List what each well's likelihood is a sum of: well, table, log feet, log gpm, coefficient."""
    limit = habits.hazard(stops.depth_ft) * stops.feet
    log_feet = np.log(effective_feet(stops.feet, decay_ft))
    bound = np.log(stops.gpm)
    share = np.where(habits.share >= LEAST_SHARE, habits.share, 0.0)
    terms: list[Terms] = []

    def add(wells: np.ndarray, table: int, feet: np.ndarray, gpm: float | np.ndarray, coefficient: np.ndarray) -> None:
        used = coefficient != 0
        count = int(used.sum())
        terms.append(
            (wells[used], np.full(count, table), feet[used], np.broadcast_to(gpm, used.shape)[used], coefficient[used])
        )

    def add_by_share(wells: np.ndarray, first: int, gpm: np.ndarray, part: np.ndarray) -> None:
        """Add stops past each target, `part` (n, targets), read at a yield from the tables from `first` on."""
        by_share = np.einsum("nt,nts->ns", part, share_weights(USUAL_TARGETS_GPM / gpm[:, None]))
        for went, feet in run_on:
            for number in range(len(STOP_SHARES)):
                add(wells, first + number, feet[wells], np.log(gpm), by_share[:, number] * went[wells])

    run_on = _run_on(stops, decay_ft)
    exact = np.flatnonzero(stops.kind == EXACT)
    passed = _counted(USUAL_TARGETS_GPM, stops.gpm[exact])
    written = stops.as_written[exact]
    add_by_share(exact, STOP, stops.gpm[exact], written[:, None] * passed * habits.share)
    enough = passed @ habits.share
    ended = limit[exact] * (1.0 - enough) + stops.gone_on[exact] * enough
    add(exact, DENSITY, log_feet[exact], bound[exact], written * ended)

    well, low, high, chance = _ranges(stops)
    for end, sign in ((low, 1.0), (high, -1.0)):
        bounded = (end > 0) & np.isfinite(end)
        at, gpm, signed = well[bounded], end[bounded], sign * chance[bounded]
        passed = gpm[:, None] >= USUAL_TARGETS_GPM
        add_by_share(at, LEAP, gpm, np.where(passed, signed[:, None] * share, 0.0))
        short, enough = np.where(passed, 0.0, share).sum(axis=1), np.where(passed, share, 0.0).sum(axis=1)
        ended = limit[at] * short + stops.gone_on[at] * enough
        add(at, BELOW, log_feet[at], np.log(gpm), -signed * ended)
    for target, part in zip(USUAL_TARGETS_GPM[share > 0], share[share > 0], strict=True):
        inside = (low < target) & (target <= high)
        at, log_target, weight = well[inside], np.log(target), chance[inside] * part
        for went, feet in run_on:
            add(at, PASSAGE, feet[at], log_target, weight * went[at])
        add(at, BELOW, log_feet[at], log_target, weight * (limit[at] - stops.gone_on[at]))

    under, fractured = (np.flatnonzero(stops.kind == kind) for kind in (UNDER, FRACTURED))
    add(under, BELOW, log_feet[under], bound[under], np.maximum(limit[under], 1e-6))
    for target, part in zip(np.log(USUAL_TARGETS_GPM[share > 0]), share[share > 0], strict=True):
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
    stops : Stops of n wells
    prior : ndarray of shape (grid.size,)

    Returns
    -------
    stop_density : ndarray of shape (n, n_targets)
        Of stopping so at each target.
    limit_density : ndarray of shape (n, n_targets)
        Of a hole that ends so short of each target, a foot. Both are 0 for
        holes of whose yield an upper bound is all that is known.
    """
    stop_density = np.zeros((len(stops), len(USUAL_TARGETS_GPM)))
    limit_density = np.zeros_like(stop_density)
    log_feet = np.log(effective_feet(stops.feet, decay_ft))
    run_on = _run_on(stops, decay_ft)

    def mean(first: int, wells: np.ndarray, feet: np.ndarray, gpm: np.ndarray, count: int = 1) -> np.ndarray:
        return weighed_windows(tables, first, count, feet[wells], np.log(gpm), prior, grid)

    def by_target(first: int, wells: np.ndarray, gpm: np.ndarray, part: np.ndarray) -> np.ndarray:
        by_share = np.zeros((len(wells), len(STOP_SHARES)))
        for went, feet in run_on:
            by_share += went[wells, None] * mean(first, wells, feet, gpm, len(STOP_SHARES))
        return part * np.einsum("ns,nts->nt", by_share, share_weights(USUAL_TARGETS_GPM / gpm[:, None]))

    as_written = np.where(stops.kind == LOGGED, 1.0, stops.as_written)  # zones that add up to a yield bear it out
    exact = np.flatnonzero(np.isin(stops.kind, (EXACT, LOGGED)) & (as_written > 0))
    gpm, written = stops.gpm[exact], as_written[exact, None]
    passed = _counted(USUAL_TARGETS_GPM, gpm)
    there = written * mean(DENSITY, exact, log_feet, gpm)
    gone_on = stops.gone_on[exact, None] * passed * there
    stop_density[exact] = by_target(STOP, exact, gpm, written * passed) + gone_on
    limit_density[exact] = (1.0 - passed) * there

    well, low, high, chance = _ranges(stops)
    for end, sign in ((low, 1.0), (high, -1.0)):
        bounded = (end > 0) & np.isfinite(end)
        at, gpm, signed = well[bounded], end[bounded], sign * chance[bounded, None]
        passed = gpm[:, None] >= USUAL_TARGETS_GPM
        np.add.at(stop_density, at, by_target(LEAP, at, gpm, signed * passed))
        below = signed * mean(BELOW, at, log_feet, gpm)
        np.add.at(limit_density, at, -below * ~passed)
        np.add.at(stop_density, at, -below * passed * stops.gone_on[at, None])
    for number, target in enumerate(USUAL_TARGETS_GPM):
        inside = (low < target) & (target <= high)
        at, weight, gpm = well[inside], chance[inside], np.full(inside.sum(), target)
        for went, feet in run_on:
            np.add.at(stop_density[:, number], at, weight * went[at] * mean(PASSAGE, at, feet, gpm)[:, 0])
        below = weight * mean(BELOW, at, log_feet, gpm)[:, 0]
        np.add.at(limit_density[:, number], at, below)
        np.add.at(stop_density[:, number], at, -stops.gone_on[at] * below)
    limit_density *= stops.feet[:, None]
    return np.maximum(stop_density, 0.0), np.maximum(limit_density, 0.0)
