"""Sums over the tables of the fractures, compiled: what `fractures` reckons by numpy where numba is absent."""

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
