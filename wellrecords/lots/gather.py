"""Sums over the tables of the fractures and over wells, compiled: without numba `fractures` and `laws` do by numpy."""

from __future__ import annotations

from wellrecords.interpolation.jit import fast


@fast(contract=False)
def add_windows(flat, starts, columns, coefficient, well, out):  # type: ignore[no-untyped-def]
    """Add each term's window, times its coefficient, to the row of its well.

    `flat` are the tables as one row; `starts` (n, rates) where the rows of
    each window begin, `columns` (n, sizes) its columns; `out` (wells, rates,
    sizes).
    """
    for term in range(len(well)):
        row = out[well[term]]
        for rate in range(starts.shape[1]):
            start = starts[term, rate]
            for size in range(columns.shape[1]):
                row[rate, size] += coefficient[term] * flat[start + columns[term, size]]


@fast(contract=False)
def weigh_windows(flat, starts, columns, weights, step, out):  # type: ignore[no-untyped-def]
    """Sum each window by the weights of the laws, (rates, sizes), for tables `step` apart, into `out` (n, tables)."""
    for term in range(out.shape[0]):
        for table in range(out.shape[1]):
            total = 0.0
            for rate in range(starts.shape[1]):
                row = flat[starts[term, rate] + table * step :]
                for size in range(columns.shape[1]):
                    total += weights[rate, size] * row[columns[term, size]]
            out[term, table] = total


@fast(contract=False)
def add_rows(known, index, weights, out):  # type: ignore[no-untyped-def]
    """Add the rows of `known` (n, laws) at each row of `index` (m, k), times their weights, into `out` (m, laws)."""
    fours = index.shape[1] - index.shape[1] % 4
    for place in range(len(index)):
        row, near, weight = out[place], index[place], weights[place]
        for first in range(0, fours, 4):  # four at a time: the sum is fetched and put back a quarter as often
            a, b, c, d = known[near[first]], known[near[first + 1]], known[near[first + 2]], known[near[first + 3]]
            for law in range(len(row)):
                total = row[law] + weight[first] * a[law]
                total = total + weight[first + 1] * b[law]
                total = total + weight[first + 2] * c[law]
                row[law] = total + weight[first + 3] * d[law]
        for number in range(fours, len(near)):
            last = known[near[number]]
            for law in range(len(row)):
                row[law] += weight[number] * last[law]
