"""The local kriging kernel compiled by numba, where that is installed.

The same algebra as `wellrecords.interpolation.kernel`, one system after
another in registers and first-level cache instead of many at once through
memory. The factorisation is the right-looking Cholesky (Golub and Van Loan,
Matrix Computations, 4th ed., section 4.2.5) with the upper triangle kept in
rows, so that its inner loop runs along memory, four pivots to a pass.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

SQRT3 = math.sqrt(3.0)
LOG2_E = 1.0 / math.log(2.0)
LN2_HIGH, LN2_LOW = 6.93145751953125e-1, 1.42860682030941723212e-6  # ln 2 in two parts (Cody and Waite 1980)
C2, C3, C4, C5, C6, C7, C8, C9, C10, C11, C12, C13 = (1.0 / math.factorial(n) for n in range(2, 14))


@njit(nogil=True, cache=True, fastmath={"contract"})
def _exponentials(x, out, bits, power, count):  # type: ignore[no-untyped-def]
    """Exponentials of numbers of 0 or less, several at a time: 2^n exp(r), |r| < ln(2) / 2, exp(r) by its series.

    `power` is `bits` seen as floats. Right to 3e-16; the library's exponential is called one number at a time.
    """
    for i in range(count):
        value = max(x[i], -700.0)
        whole = math.floor(value * LOG2_E + 0.5)
        bits[i] = (np.int64(np.int32(whole)) + 1023) << 52
        r = (value - whole * LN2_HIGH) - whole * LN2_LOW
        tail = C8 + r * (C9 + r * (C10 + r * (C11 + r * (C12 + r * C13))))
        out[i] = 1.0 + r * (1.0 + r * (C2 + r * (C3 + r * (C4 + r * (C5 + r * (C6 + r * (C7 + r * tail)))))))
    for i in range(count):
        out[i] *= power[i]


@njit(nogil=True, cache=True, fastmath={"contract"})
def _covariances(kind, sill, range_m, work, out, bits, power, count):  # type: ignore[no-untyped-def]
    """Covariances at the squared distances in `work`, which is used up; `kind` is the place in covariance.KINDS."""
    inverse = 1.0 / range_m
    if kind == 2:
        for i in range(count):
            scaled = min(math.sqrt(work[i]) * inverse, 1.0)
            out[i] = sill * (1.0 - 1.5 * scaled + 0.5 * scaled * scaled * scaled)
        return
    if kind == 1:
        inverse *= SQRT3
    for i in range(count):
        work[i] = -math.sqrt(work[i]) * inverse
    _exponentials(work, out, bits, power, count)
    if kind == 1:
        for i in range(count):
            out[i] *= 1.0 - work[i]
    for i in range(count):
        out[i] *= sill


@njit(nogil=True, cache=True, fastmath={"contract"})
def _factorise(upper, k):  # type: ignore[no-untyped-def]
    """Cholesky factor in place, U^T U = C, four pivot rows in each pass over the rows below."""
    for start in range(0, k, 4):
        end = min(start + 4, k)
        for i in range(start, end):
            inverse = 1.0 / math.sqrt(upper[i, i])
            for j in range(i, k):
                upper[i, j] *= inverse
            for r in range(i + 1, end):
                factor = upper[i, r]
                for j in range(r, k):
                    upper[r, j] -= factor * upper[i, j]
        if end - start == 4:
            for r in range(end, k):
                f0, f1, f2, f3 = upper[start, r], upper[start + 1, r], upper[start + 2, r], upper[start + 3, r]
                for j in range(r, k):
                    upper[r, j] -= (
                        f0 * upper[start, j]
                        + f1 * upper[start + 1, j]
                        + f2 * upper[start + 2, j]
                        + f3 * upper[start + 3, j]
                    )


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
    size = k * (k - 1) // 2 + 2 * k
    work, cov, bits = np.empty(size), np.empty(size), np.empty(size, dtype=np.int64)
    power = bits.view(np.float64)
    for t in range(m):
        for i in range(k):
            p = neighbours[t, i]
            x[i], y[i], e[i], v[i] = points[p, 0], points[p, 1], error2[p], values[p]
        for i in range(k):
            dx, dy = x[i] - targets[t, 0], y[i] - targets[t, 1]
            work[i] = dx * dx + dy * dy + e[i] + target_error2[t]
            work[k + i] = 2.0 * e[i]
        run = 2 * k
        for i in range(k - 1):
            for j in range(i + 1, k):
                dx, dy = x[i] - x[j], y[i] - y[j]
                work[run + j - i - 1] = dx * dx + dy * dy + e[i] + e[j]
            run += k - 1 - i
        _covariances(kind, sill, range_m, work, cov, bits, power, run)
        run = 2 * k
        for i in range(k):
            c0[i] = cov[i]
            upper[i, i] = cov[k + i] + noise[neighbours[t, i]]
            for j in range(i + 1, k):
                upper[i, j] = cov[run + j - i - 1]
            run += k - 1 - i
        _factorise(upper, k)
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
    x, y, e = np.empty(k), np.empty(k), np.empty(k)
    size = k * (k - 1) // 2 + 2 * k
    work, cov, bits = np.empty(size), np.empty(size), np.empty(size, dtype=np.int64)
    power = bits.view(np.float64)
    for g in range(groups):
        for i in range(k):
            p = neighbours[g, i]
            x[i], y[i], e[i], v[i], b[i] = points[p, 0], points[p, 1], error2[p], values[p], 1.0
            work[i] = 2.0 * e[i]
        run = k
        for i in range(k - 1):
            for j in range(i + 1, k):
                dx, dy = x[i] - x[j], y[i] - y[j]
                work[run + j - i - 1] = dx * dx + dy * dy + e[i] + e[j]
            run += k - 1 - i
        _covariances(kind, sill, range_m, work, cov, bits, power, run)
        run = k
        for i in range(k):
            upper[i, i] = cov[i] + noise[neighbours[g, i]]
            for j in range(i + 1, k):
                upper[i, j] = cov[run + j - i - 1]
            run += k - 1 - i
        _factorise(upper, k)
        # With U^T U = C, the products that are wanted are those of U^-T c0, U^-T 1 and U^-T z.
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
                dx, dy = x[i] - targets[g, t, 0], y[i] - targets[g, t, 1]
                work[i] = dx * dx + dy * dy + e[i]
            _covariances(kind, sill, range_m, work, c0, bits, power, k)
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
