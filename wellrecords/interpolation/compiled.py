"""The local kriging kernel compiled by numba, where that is installed.

The same algebra as `wellrecords.interpolation.kernel`, one system after
another in registers and first-level cache instead of many at once through
memory. The factorisation is the right-looking Cholesky (Golub and Van Loan,
Matrix Computations, 4th ed., section 4.2.5) with the upper triangle kept in
rows, so that its inner loop runs along memory and vectorises without
reordering any sum.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

SQRT3 = math.sqrt(3.0)


@njit(nogil=True, cache=True, inline="always", fastmath={"contract"})
def _correlation(kind, distance2, range_m):  # type: ignore[no-untyped-def]
    # kind: the place of the name in covariance.KINDS
    scaled = math.sqrt(distance2) / range_m
    if kind == 0:
        return math.exp(-scaled)
    if kind == 1:
        return (1.0 + SQRT3 * scaled) * math.exp(-SQRT3 * scaled)
    if scaled >= 1.0:
        return 0.0
    return 1.0 - 1.5 * scaled + 0.5 * scaled * scaled * scaled


@njit(nogil=True, cache=True, fastmath={"contract"})
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
    """Solve the systems of one tile of targets; the arguments as in `kernel.solve`."""
    m, k = neighbours.shape
    upper = np.empty((k, k))
    a, b, c0, z = np.empty(k), np.empty(k), np.empty(k), np.empty(k)
    x, y, e, v = np.empty(k), np.empty(k), np.empty(k), np.empty(k)
    for t in range(m):
        for i in range(k):
            p = neighbours[t, i]
            x[i], y[i], e[i], v[i] = points[p, 0], points[p, 1], error2[p], values[p]
            upper[i, i] = sill * _correlation(kind, 2.0 * e[i], range_m) + noise[p]
            dx, dy = x[i] - targets[t, 0], y[i] - targets[t, 1]
            c0[i] = sill * _correlation(kind, dx * dx + dy * dy + e[i] + target_error2[t], range_m)
        for i in range(k):
            for j in range(i + 1, k):
                dx, dy = x[i] - x[j], y[i] - y[j]
                upper[i, j] = sill * _correlation(kind, dx * dx + dy * dy + e[i] + e[j], range_m)
        for i in range(k):
            inverse = 1.0 / math.sqrt(upper[i, i])
            for j in range(i, k):
                upper[i, j] *= inverse
            for r in range(i + 1, k):
                factor = upper[i, r]
                for j in range(r, k):
                    upper[r, j] -= factor * upper[i, j]
        # With U^T U = C, mean and variance need only a = U^-T c0, b = U^-T 1 and z = U^-T v.
        for i in range(k):
            a[i], b[i], z[i] = c0[i], 1.0, v[i]
        for i in range(k):
            inverse = 1.0 / upper[i, i]
            a[i] *= inverse
            b[i] *= inverse
            z[i] *= inverse
            for j in range(i + 1, k):
                a[j] -= upper[i, j] * a[i]
                b[j] -= upper[i, j] * b[i]
                z[j] -= upper[i, j] * z[i]
        explained, seen, total, drift, mean = 0.0, 0.0, 0.0, 0.0, 0.0
        for i in range(k):
            explained += a[i] * a[i]
            seen += a[i] * b[i]
            total += b[i] * b[i]
            drift += b[i] * z[i]
            mean += a[i] * z[i]
        variance = sill - explained
        slack = 0.0
        if simple:
            mean += known_mean * (1.0 - seen)
        else:
            slack = (1.0 - seen) / total
            variance += (1.0 - seen) * slack
            mean += slack * drift
        out_mean[t] = mean
        out_variance[t] = max(variance, 0.0)
        if out_weights.shape[0] > 0:
            for i in range(k - 1, -1, -1):
                weight = a[i] + slack * b[i]
                for j in range(i + 1, k):
                    weight -= upper[i, j] * out_weights[t, j]
                out_weights[t, i] = weight / upper[i, i]


@njit(nogil=True, cache=True, fastmath={"contract"})
def solve_shared_tile(  # type: ignore[no-untyped-def]
    kind,
    sill,
    range_m,
    points,
    error2,
    values,
    noise,
    targets,
    neighbours,
    simple,
    known_mean,
    out_mean,
    out_variance,
):
    """Solve groups of targets that share their neighbours; the arguments as in `kernel.solve_shared`."""
    groups, k = neighbours.shape
    members = targets.shape[1]
    upper = np.empty((k, k))
    v, b, c0 = np.empty(k), np.empty(k), np.empty(k)
    for g in range(groups):
        for i in range(k):
            p = neighbours[g, i]
            upper[i, i] = sill * _correlation(kind, 2.0 * error2[p], range_m) + noise[p]
            for j in range(i + 1, k):
                q = neighbours[g, j]
                dx, dy = points[p, 0] - points[q, 0], points[p, 1] - points[q, 1]
                upper[i, j] = sill * _correlation(kind, dx * dx + dy * dy + error2[p] + error2[q], range_m)
        for i in range(k):
            inverse = 1.0 / math.sqrt(upper[i, i])
            for j in range(i, k):
                upper[i, j] *= inverse
            for r in range(i + 1, k):
                factor = upper[i, r]
                for j in range(r, k):
                    upper[r, j] -= factor * upper[i, j]
        # With U^T U = C, the products that are wanted are those of U^-T c0, U^-T 1 and U^-T z.
        for i in range(k):
            v[i], b[i] = values[neighbours[g, i]], 1.0
        for i in range(k):
            v[i] /= upper[i, i]
            b[i] /= upper[i, i]
            for j in range(i + 1, k):
                v[j] -= upper[i, j] * v[i]
                b[j] -= upper[i, j] * b[i]
        total, drift = 0.0, 0.0
        for i in range(k):
            total += b[i] * b[i]
            drift += b[i] * v[i]
        centre = known_mean if simple else drift / total
        for t in range(members):
            for i in range(k):
                p = neighbours[g, i]
                dx, dy = points[p, 0] - targets[g, t, 0], points[p, 1] - targets[g, t, 1]
                c0[i] = sill * _correlation(kind, dx * dx + dy * dy + error2[p], range_m)
            mean, explained, seen = centre, 0.0, 0.0
            for i in range(k):
                c0[i] /= upper[i, i]
                for j in range(i + 1, k):
                    c0[j] -= upper[i, j] * c0[i]
                mean += c0[i] * (v[i] - centre * b[i])
                explained += c0[i] * c0[i]
                seen += c0[i] * b[i]
            variance = sill - explained
            if not simple:
                variance += (1.0 - seen) ** 2 / total
            out_mean[g, t] = mean
            out_variance[g, t] = max(variance, 0.0)
