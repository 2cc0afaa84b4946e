"""The local kriging kernel compiled by numba, where that is installed.

The same algebra as `wellrecords.interpolation.kernel`, on four groups of
targets at a time, one in each lane of the registers (`lanes`). The right-hand
sides stand beside the matrix as further columns, so that the factorisation
solves for them as it passes: it is the right-looking Cholesky (Golub and Van
Loan, Matrix Computations, 4th ed., section 4.2.5) on the upper triangle, four
pivots to a pass.
"""

from __future__ import annotations

import math

import numpy as np

from wellrecords.interpolation.jit import fast
from wellrecords.interpolation.lanes import WIDTH, largest, load, power_of_two, root, smallest, spread, store

SQRT3 = math.sqrt(3.0)
LOG2_E = 1.0 / math.log(2.0)
LN2_HIGH, LN2_LOW = 6.93145751953125e-1, 1.42860682030941723212e-6  # ln 2 in two parts (Cody and Waite 1980)
ROUND = 1.5 * 2.0**52  # added to a small number, it leaves the nearest whole one in the last bits
C2, C3, C4, C5, C6, C7, C8, C9, C10, C11, C12, C13 = (1.0 / math.factorial(n) for n in range(2, 14))


@fast(contract=True)
def _exponential(x):  # type: ignore[no-untyped-def]
    """Exponential of numbers of 0 or less: 2^n exp(r), |r| < ln(2) / 2, exp(r) by its series. Right to 3e-16."""
    x = largest(x, spread(-700.0))
    rounded = x * LOG2_E + ROUND
    whole = rounded - ROUND
    r = (x - whole * LN2_HIGH) - whole * LN2_LOW
    r2 = r * r
    even = 1.0 + r2 * (C2 + r2 * (C4 + r2 * (C6 + r2 * (C8 + r2 * (C10 + r2 * C12)))))
    odd = 1.0 + r2 * (C3 + r2 * (C5 + r2 * (C7 + r2 * (C9 + r2 * (C11 + r2 * C13)))))
    return (even + r * odd) * power_of_two(rounded)


@fast(contract=True)
def _covariance(kind, sill, range_m, distance2):  # type: ignore[no-untyped-def]
    """Covariance at squared distances; `kind` is the place in covariance.KINDS."""
    scaled = root(distance2) * (1.0 / range_m)
    if kind == 2:
        scaled = smallest(scaled, spread(1.0))
        return sill * (1.0 - scaled * (1.5 - 0.5 * scaled * scaled))
    if kind == 1:
        scaled = scaled * SQRT3
        return sill * (1.0 + scaled) * _exponential(0.0 - scaled)
    return sill * _exponential(0.0 - scaled)


@fast(contract=True)
def _factorise(rows, k):  # type: ignore[no-untyped-def]
    """Turn (C | B) into (U | U^-T B), U^T U = C, in place."""
    width = rows.shape[1]
    for start in range(0, k, 4):
        end = min(start + 4, k)
        for i in range(start, end):
            inverse = 1.0 / root(load(rows, (i, i)))
            for j in range(i, width):
                store(rows, (i, j), load(rows, (i, j)) * inverse)
            for r in range(i + 1, end):
                factor = load(rows, (i, r))
                for j in range(r, width):
                    store(rows, (r, j), load(rows, (r, j)) - factor * load(rows, (i, j)))
        for r in range(end, k):  # none after the last pivots, be they four or fewer
            f0, f1 = load(rows, (start, r)), load(rows, (start + 1, r))
            f2, f3 = load(rows, (start + 2, r)), load(rows, (start + 3, r))
            for j in range(r, width):
                rest = load(rows, (r, j)) - f0 * load(rows, (start, j)) - f1 * load(rows, (start + 1, j))
                store(rows, (r, j), rest - f2 * load(rows, (start + 2, j)) - f3 * load(rows, (start + 3, j)))


@fast(contract=True)
def _back_substitute(rows, slack, column, weights):  # type: ignore[no-untyped-def]
    """Weights of the target whose right-hand side is `column`: U^-1 (U^-T c0 + slack U^-T 1)."""
    k = len(weights)
    for i in range(k - 1, -1, -1):
        rest = load(rows, (i, column)) + slack * load(rows, (i, k))
        for j in range(i + 1, k):
            rest = rest - load(rows, (i, j)) * load(weights, (j,))
        store(weights, (i,), rest / load(rows, (i, i)))


@fast(contract=True)
def solve_tile(  # type: ignore[no-untyped-def]
    kind,
    sill,
    range_m,
    points,
    error2,
    values,
    noise,
    targets,
    target_error2,
    neighbours,
    simple,
    known_mean,
    out_mean,
    out_variance,
    out_weights,
):
    """Solve one tile of groups; the arguments as in `kernel.solve_groups`."""
    groups, k = neighbours.shape
    members = targets.shape[1]
    zero, one = spread(0.0), spread(1.0)
    x, y, e, own = np.empty((k, WIDTH)), np.empty((k, WIDTH)), np.empty((k, WIDTH)), np.empty((k, WIDTH))
    target, weights, found = np.empty((3, WIDTH)), np.empty((k, WIDTH)), np.empty((2, WIDTH))
    rows = np.empty((k, k + 2 + members, WIDTH))  # C, and beside it ones, readings and c0 of each target
    for first in range(0, groups, WIDTH):
        filled = min(WIDTH, groups - first)  # lanes to spare repeat the last group
        for lane in range(WIDTH):
            group = first + min(lane, filled - 1)
            for i in range(k):
                p = neighbours[group, i]
                x[i, lane], y[i, lane], e[i, lane], own[i, lane] = points[p, 0], points[p, 1], error2[p], noise[p]
                rows[i, k, lane], rows[i, k + 1, lane] = 1.0, values[p]
        for i in range(k):
            xi, yi, ei = load(x, (i,)), load(y, (i,)), load(e, (i,))
            store(rows, (i, i), _covariance(kind, sill, range_m, ei + ei) + load(own, (i,)))
            for j in range(i + 1, k):
                dx, dy = xi - load(x, (j,)), yi - load(y, (j,))
                store(rows, (i, j), _covariance(kind, sill, range_m, dx * dx + dy * dy + ei + load(e, (j,))))
        for t in range(members):
            for lane in range(WIDTH):
                group = first + min(lane, filled - 1)
                target[0, lane], target[1, lane] = targets[group, t, 0], targets[group, t, 1]
                target[2, lane] = target_error2[group, t]
            xt, yt, et = load(target, (0,)), load(target, (1,)), load(target, (2,))
            for i in range(k):
                dx, dy = xt - load(x, (i,)), yt - load(y, (i,))
                c0 = _covariance(kind, sill, range_m, dx * dx + dy * dy + et + load(e, (i,)))
                store(rows, (i, k + 2 + t), c0)
        _factorise(rows, k)
        total, drift = zero, zero
        for i in range(k):
            b, v = load(rows, (i, k)), load(rows, (i, k + 1))
            total = total + b * b
            drift = drift + b * v
        centre = spread(known_mean) if simple else drift / total
        for t in range(members):
            explained, seen, mean = zero, zero, centre
            for i in range(k):
                a, b, v = load(rows, (i, k + 2 + t)), load(rows, (i, k)), load(rows, (i, k + 1))
                explained = explained + a * a
                seen = seen + a * b
                mean = mean + a * (v - centre * b)
            slack = zero if simple else (one - seen) / total
            store(found, (0,), mean)
            store(found, (1,), largest(sill - explained + slack * (one - seen), zero))
            for lane in range(filled):
                out_mean[first + lane, t], out_variance[first + lane, t] = found[0, lane], found[1, lane]
            if out_weights.shape[0] > 0:
                _back_substitute(rows, slack, k + 2 + t, weights)
                for lane in range(filled):
                    out_weights[first + lane, t] = weights[:, lane]
