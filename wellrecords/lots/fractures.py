"""Water met at random: the law that a driller works against.

Below the top of rock, water-bearing fractures are met at random, `rate` of
them a foot, and each gives a yield drawn from one skewed law of median
`size`. The yield of a hole is the sum of what it has met: a compound Poisson
process. The depth in rock at which a hole first makes a target is the first
passage of that sum, so that

    P(more than h feet of rock to make t gpm) = P(Z(rate * h) < t / size)

where Z(m) is the sum of a Poisson(m) number of draws of median one. This
module tabulates Z, and the two densities that a stopped hole speaks with, on
grids of log m and log u (u = yield / size) with one common step, so that a
likelihood over a grid of (rate, size) is one window of a table.

The distribution of the sum is computed by the fast Fourier transform on two
lattices with exponential tilting (Embrechts and Frei 2009, "Panjer recursion
versus FFT for compound distributions", Mathematical Methods of Operations
Research 69, 497-508).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import Literal

import numpy as np
from scipy import special
from scipy.interpolate import CubicSpline

try:
    from wellrecords.lots.gather import add_windows, weigh_windows
except ImportError:  # numba is optional
    add_windows = weigh_windows = None

COARSE_STEP = 0.25
REFINE = 8
STEP = COARSE_STEP / REFINE
"""Step of the tables in log m and log u: a reading is rounded to 1.6 %."""

LOG_M = np.arange(np.log(2e-4), np.log(600.0), COARSE_STEP)
LOG_U = np.arange(np.log(2e-3), np.log(4000.0), COARSE_STEP)
STOP_SHARES = 1.0 - np.array([1.0, 0.8, 0.6, 0.4, 0.3, 0.2, 0.15, 0.1, 0.07, 0.05, 0.03, 0.02, 0.01, 0.0])
"""Target over final yield, for which the density of a stop is tabulated: close to 1, where with many small fractures
the yields lie, and where too wide a mesh gave such laws up to three times their likelihood."""

BELOW, DENSITY, STOP = 0, 1, 2
LEAP = STOP + len(STOP_SHARES)
PASSAGE = LEAP + len(STOP_SHARES) - 1
"""Index of the tables: P(Z < u); u times its density; from STOP on, by `STOP_SHARES`, m u times the density of a stop
with u that had not made that share of u before; from LEAP on m times the rate of such stops with u or more, of which
the last is that of the first passage of u."""

TINY = 1e-30
ROWS = 8
"""Of the tables that are worked out at a time."""
CHUNK = 20_000
"""Windows held at a time where they are not summed as they are read."""


@dataclass(frozen=True)
class Jumps:
    """The law of one fracture's yield, its median being one.

    Parameters
    ----------
    kind : {"lognormal", "gamma"}
    shape : float
        Standard deviation of the log yield; or the gamma law's shape, 1 being
        the exponential.
    """

    kind: Literal["lognormal", "gamma"]
    shape: float

    @property
    def scale(self) -> float:
        """Scale of the gamma law that makes its median one."""
        return float(1.0 / special.gammaincinv(self.shape, 0.5))

    def pdf(self, gpm: np.ndarray) -> np.ndarray:
        """Density, at positive yields."""
        if self.kind == "lognormal":
            return np.exp(-0.5 * (np.log(gpm) / self.shape) ** 2) / (gpm * self.shape * np.sqrt(2.0 * np.pi))
        x = gpm / self.scale
        return np.exp((self.shape - 1.0) * np.log(x) - x - special.gammaln(self.shape)) / self.scale

    def cdf(self, gpm: np.ndarray) -> np.ndarray:
        """Probability of less."""
        if self.kind == "lognormal":
            with np.errstate(divide="ignore"):
                return special.ndtr(np.log(gpm) / self.shape)
        return special.gammainc(self.shape, np.asarray(gpm) / self.scale)

    def ppf(self, level: float) -> float:
        """Quantile."""
        if self.kind == "lognormal":
            return float(np.exp(self.shape * special.ndtri(level)))
        return float(self.scale * special.gammaincinv(self.shape, level))

    def draw(self, size: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
        """Draw yields."""
        if self.kind == "lognormal":
            return np.exp(self.shape * rng.standard_normal(size))
        return rng.gamma(self.shape, self.scale, size)


@dataclass(frozen=True)
class FractureTables:
    """Tables of the unit process.

    Attributes
    ----------
    jumps : Jumps
        The law of one fracture's yield.
    values : ndarray of shape (n_tables, n_m, n_u), float32
        By `BELOW`, `DENSITY`, `STOP` and `LEAP` + index of `STOP_SHARES`.
    """

    jumps: Jumps
    values: np.ndarray

    def __reduce__(self) -> tuple[Callable[[Jumps], FractureTables], tuple[Jumps]]:
        """Pickle the law alone: another process makes the tables, which are large, anew, and once."""
        return fracture_tables, (self.jumps,)

    def index_m(self, log_m: np.ndarray) -> np.ndarray:
        """Row of the table nearest to `log_m`, within the table."""
        return np.clip(np.rint((log_m - LOG_M[0]) / STEP), 0, self.values.shape[1] - 1).astype(np.int32)

    def index_u(self, log_u: np.ndarray) -> np.ndarray:
        """Column of the table nearest to `log_u`, within the table."""
        return np.clip(np.rint((log_u - LOG_U[0]) / STEP), 0, self.values.shape[2] - 1).astype(np.int32)


def _compound_masses(jumps: Jumps, step: float, count: int, m: np.ndarray) -> np.ndarray:
    """Masses of Z(m) at 0, step, 2 step, ... (n_m, count)."""
    edges = (np.arange(count + 1) - 0.5) * step
    edges[0] = 0.0
    single = np.diff(jumps.cdf(edges))
    tilt = 20.0 / count  # keeps what wraps round below e^-20 of its size
    fade = np.exp(-tilt * np.arange(count))
    transform = np.fft.rfft(single * fade, 2 * count)
    masses = np.empty((len(m), count))
    for first in range(0, len(m), ROWS):  # a few at a time: memory that is used again costs less than fresh memory
        rows = slice(first, first + ROWS)
        tilted = np.fft.irfft(np.exp(m[rows, None] * (transform - 1.0)), 2 * count)[:, :count]
        np.divide(np.maximum(tilted, 0.0), fade, out=masses[rows])
    return masses


def _refining(count: int) -> np.ndarray:
    """Matrix that interpolates values on a grid `REFINE` times as fine, by cubic splines."""
    coarse = np.arange(count)
    return CubicSpline(coarse, np.eye(count))(np.arange((count - 1) * REFINE + 1) / REFINE)


def fracture_tables(jumps: Jumps) -> FractureTables:
    """Tabulate the unit process for one law of the fractures' yields, once in the life of the process.

    Parameters
    ----------
    jumps : Jumps

    Returns
    -------
    FractureTables
    """
    with _LOCKS.setdefault(jumps, Lock()):  # who asks while another thread tabulates, waits for it
        return _tabulate(jumps)


_LOCKS: dict[Jumps, Lock] = {}


@lru_cache(maxsize=8)
def _tabulate(jumps: Jumps) -> FractureTables:
    m, u = np.exp(LOG_M), np.exp(LOG_U)
    tables = np.empty((PASSAGE + 1, len(m), len(u)))
    for step, count, first, last in ((0.01, 8192, 0.0, 60.0), (0.5, 8192 + 512, 60.0, np.inf)):
        columns = np.flatnonzero((u >= first) & (u < last))
        lattice = np.arange(count) * step
        masses = _compound_masses(jumps, step, count, m)
        place = u[columns] / step
        whole = place.astype(int)
        # a lattice point stands for the cell around it
        below = np.cumsum(masses, axis=1)[:, whole]
        below += (place - whole - 0.5) * masses[:, whole + (place - whole > 0.5)]
        dry = np.exp(-m)
        at_most_one = dry[:, None] * (1.0 + m[:, None] * jumps.cdf(u[columns]))
        tables[BELOW][:, columns] = np.where(place < 5.0, at_most_one, np.maximum(below, dry[:, None]))
        masses[:, 0] = np.maximum(masses[:, 0] - dry, 0.0)  # from here on without the dry
        for column, last_cell in zip(columns, whole, strict=True):
            amount = u[column]
            cells = lattice[: last_cell + 1]
            gap = amount - cells
            density_one = jumps.pdf(np.maximum(gap, 0.5 * step))
            gap = np.maximum(gap, 0.0)
            # from each cell, one fracture more: to just the amount, past it, and its size where it is just that
            last_jump = np.column_stack([density_one, 1.0 - jumps.cdf(gap), gap * density_one])
            alone, past = dry * jumps.pdf(amount), dry * (1.0 - jumps.cdf(amount))
            reach = np.column_stack([alone, past, amount * alone])
            ends = np.searchsorted(cells, STOP_SHARES * amount)
            for number, (start, end) in enumerate(itertools.pairwise([0, *ends, len(cells)])):
                reach = reach + masses[:, start:end] @ last_jump[start:end]
                if number < len(STOP_SHARES):
                    tables[STOP + number, :, column] = m * amount * reach[:, 0]
                    tables[LEAP + number, :, column] = m * reach[:, 1]
            tables[PASSAGE, :, column] = m * reach[:, 1]
            # the density by the identity u a(u) = m * E[jump; sum = u], which is smooth where masses are not
            tables[DENSITY, :, column] = m * reach[:, 2]
    finer_m, finer_u = (_refining(len(part)).astype(np.float32) for part in (m, u))
    fine = finer_m @ np.log(np.maximum(tables, TINY)).astype(np.float32) @ finer_u.T
    np.minimum(fine[BELOW], 0.0, out=fine[BELOW])
    return FractureTables(jumps, np.exp(fine, out=fine))


@dataclass(frozen=True)
class LawGrid:
    """The laws among which the records choose: a grid of rates and sizes.

    Attributes
    ----------
    log_rate : ndarray of shape (n_rates,), log of fractures a foot
    log_size : ndarray of shape (n_sizes,), log of the median gpm of one
    """

    log_rate: np.ndarray
    log_size: np.ndarray

    @property
    def shape(self) -> tuple[int, int]:
        """Number of rates and of sizes."""
        return len(self.log_rate), len(self.log_size)

    @property
    def step(self) -> float:
        """Step of the grid in the logs of rate and size."""
        return float(self.log_rate[1] - self.log_rate[0])

    @property
    def size(self) -> int:
        """Number of laws."""
        return len(self.log_rate) * len(self.log_size)


def window(
    tables: FractureTables, table: np.ndarray, log_feet: np.ndarray, log_gpm: np.ndarray, grid: LawGrid
) -> np.ndarray:
    """Read a table for each law of the grid at each reading.

    Parameters
    ----------
    tables : FractureTables
    table : ndarray of shape (n,), int
        Which table, a reading.
    log_feet, log_gpm : ndarray of shape (n,)
        Log of the feet of rock (in units of the rate) and of the yield.
    grid : LawGrid

    Returns
    -------
    ndarray of shape (n, n_rates, n_sizes), float32
    """
    starts, columns = _corners(tables, table, log_feet, log_gpm, grid)
    return tables.values.reshape(-1)[starts[:, :, None] + columns[:, None, :]]


def _corners(
    tables: FractureTables, table: np.ndarray, log_feet: np.ndarray, log_gpm: np.ndarray, grid: LawGrid
) -> tuple[np.ndarray, np.ndarray]:
    """Return where the rows of each window begin in the tables laid end to end, and its columns."""
    rows = tables.index_m(log_feet[:, None] + grid.log_rate)
    columns = tables.index_u(log_gpm[:, None] - grid.log_size)
    _, height, width = tables.values.shape
    return (table[:, None].astype(np.int64) * height + rows) * width, columns


def summed_windows(
    tables: FractureTables,
    well: np.ndarray,
    table: np.ndarray,
    log_feet: np.ndarray,
    log_gpm: np.ndarray,
    coefficient: np.ndarray,
    grid: LawGrid,
    count: int,
) -> np.ndarray:
    """Sum windows, each times its coefficient, by well.

    Parameters
    ----------
    tables : FractureTables
    well : ndarray of shape (n,), int
        Rising.
    table, log_feet, log_gpm : ndarray of shape (n,)
        As for `window`.
    coefficient : ndarray of shape (n,)
    grid : LawGrid
    count : int
        Number of wells.

    Returns
    -------
    ndarray of shape (count, grid.size), float32
    """
    out = np.zeros((count, grid.size), dtype=np.float32)
    coefficient = coefficient.astype(np.float32)
    if add_windows is not None:
        corners = _corners(tables, table, log_feet, log_gpm, grid)
        add_windows(tables.values.reshape(-1), *corners, coefficient, well, out.reshape(count, *grid.shape))
        return out
    # a well is never cut in two, so that its sum does not depend on which other wells are asked
    edges = np.unique(np.append(np.searchsorted(well, well[::CHUNK]), len(well)))
    for first, last in itertools.pairwise(edges):
        part = slice(first, last)
        values = window(tables, table[part], log_feet[part], log_gpm[part], grid).reshape(-1, grid.size)
        values *= coefficient[part, None]
        starts = np.flatnonzero(np.diff(well[part], prepend=-1) > 0)
        out[well[part][starts]] += np.add.reduceat(values, starts, axis=0)
    return out


def weighed_windows(
    tables: FractureTables,
    first: int,
    count: int,
    log_feet: np.ndarray,
    log_gpm: np.ndarray,
    weights: np.ndarray,
    grid: LawGrid,
) -> np.ndarray:
    """Mean of tables over laws, at each reading.

    Parameters
    ----------
    tables : FractureTables
    first, count : int
        Which tables.
    log_feet, log_gpm : ndarray of shape (n,)
    weights : ndarray of shape (grid.size,)
    grid : LawGrid

    Returns
    -------
    ndarray of shape (n, count)
    """
    out = np.empty((len(log_feet), count))
    if weigh_windows is not None:
        corners = _corners(tables, np.full(len(out), first), log_feet, log_gpm, grid)
        step = tables.values[0].size
        weigh_windows(tables.values.reshape(-1), *corners, weights.reshape(grid.shape), step, out)
        return out
    for start in range(0, len(out), CHUNK):
        part = slice(start, start + CHUNK)
        for number in range(count):
            which = np.full(len(out[part]), first + number)
            values = window(tables, which, log_feet[part], log_gpm[part], grid)
            out[part, number] = values.reshape(-1, grid.size) @ weights
    return out
