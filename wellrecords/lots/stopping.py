"""What a finished hole says: how far it went, what it made, and why it stopped.

A driller stops when there is enough water or at a limit of depth or purse.
Total depth and yield are therefore one outcome of a stopping rule, and each
well is read as what it is:

- it stopped with a yield: the last fracture took it past a target that lies
  at or below that yield, or it stopped at a limit short of its target;
- its yield is only known to be small (a dry hole), or not known at all;
- it had enough above, and went on to the least depth that its driller goes to (`least`);
- its yield is a lower bound; so may be the rate of a pumping test, which draws what the
  pump draws (`tested`);
- it was hydrofractured: the rock by itself had not made enough at that depth;
- its water zones were logged: then the whole path is known;
- it was deepened: its last state is read as that of one hole. That somebody went
  on says what the last stop says anyway, that there was not enough above.

Which target, and whether it was a limit, is not on the record. Both are
nuisances that the region's wells estimate together (`Habits`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.lots.least import gone_on
from wellrecords.lots.rounding import read_rounding
from wellrecords.lots.tested import read_tests

EXACT, UNDER, MISSING, AT_LEAST, FRACTURED, LOGGED = range(6)
"""How the yield of a stop is known."""

USUAL_TARGETS_GPM = np.array([0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0])
"""Yields at which drillers may stop; how often each, the wells say."""

LEAST_FEET = 2.0
"""A hole is taken to have gone at least so far below where water may start."""

LIMIT_WINDOW_FT = 10.0
"""Limits are heaped on round depths: their frequency is counted over this much to either side."""


@dataclass(frozen=True)
class Stops:
    """One row a hole that says something of the depth to water.

    Attributes
    ----------
    row : ndarray of shape (n,)
        Row of the well table.
    coordinates : ndarray of shape (n, 2), metres
    position_error_m : ndarray of shape (n,)
    depth_ft, feet : ndarray of shape (n,)
        Total depth, and the part of it below where water may start.
    run_on_ft : float
        How far drillers who have enough go on below the last fracture, on average.
    gpm : ndarray of shape (n,)
        The yield, its upper bound (`UNDER`) or lower bound (`AT_LEAST`); 1 where missing.
    as_written : ndarray of shape (n,)
    rounded : ndarray of shape (n, RANGES, 3)
        What an exact yield may stand for (`rounding.read_rounding`, `tested.read_tests`).
    kind : ndarray of shape (n,)
        `EXACT` ... `LOGGED`.
    gone_on : ndarray of shape (n,)
        Above 0 where drillers go on to a least depth (`least.gone_on`).
    zones : ndarray of shape (n, 5)
        Number of logged zones, sum and sum of squares of their log yields, sum
        of their yields and of their feet; used where `LOGGED`.
    """

    row: np.ndarray
    coordinates: np.ndarray
    position_error_m: np.ndarray
    depth_ft: np.ndarray
    feet: np.ndarray
    run_on_ft: float
    gpm: np.ndarray
    as_written: np.ndarray
    rounded: np.ndarray
    kind: np.ndarray
    gone_on: np.ndarray
    zones: np.ndarray

    def __len__(self) -> int:
        return len(self.row)

    def take(self, index: np.ndarray) -> Stops:
        """Return the stops at `index` (rows of this object)."""
        parts = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return Stops(**{name: part if name == "run_on_ft" else part[index] for name, part in parts.items()})

    def run_on(self) -> list[tuple[float, np.ndarray]]:
        """List how far holes that made enough may have gone on: weight, and the feet to the last fracture.

        A third of them not at all, a third as far as the mean, a third twice
        as far. Feet are NaN where a hole is too short to have done so.
        """
        if self.run_on_ft <= 0.0:
            return [(1.0, self.feet)]
        went_on = (0.0, self.run_on_ft, 2.0 * self.run_on_ft)
        left = [self.feet - further for further in went_on]
        return [(1.0 / 3.0, np.where(feet >= LEAST_FEET, feet, np.nan)) for feet in left]


def read_stops(
    wells: pd.DataFrame,
    coordinates: np.ndarray,
    start_ft: np.ndarray,
    water_zones: pd.DataFrame | None = None,
) -> Stops:
    """Read what each hole says of the depth to water.

    Repairs are left out (the hole is on record already), and abandoned wells
    that give no yield; so are holes without a depth.

    Parameters
    ----------
    wells : DataFrame of n wells
        With `total_depth_ft` and the yield's columns; `record_kind`,
        `hydrofractured` and `yield_method` where known.
    coordinates : ndarray of shape (n, 2), metres
    start_ft : ndarray of shape (n,)
        Depth below which water may be met (top of rock); NaN to leave a well out.
    water_zones : DataFrame, optional
        Child table: `record_id`, `depth_ft`, `yield_gpm_low`, `yield_gpm_high`.

    Returns
    -------
    Stops
    """
    depth = wells["total_depth_ft"].to_numpy(dtype=float)
    low, high = (wells[f"yield_gpm_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
    fractured = wells["hydrofractured"].fillna(False).to_numpy(dtype=bool)
    tested = (wells["yield_method"] == "pumping_test").fillna(False).to_numpy(dtype=bool)
    record_kind = wells["record_kind"].fillna("new")
    kept = (
        np.isfinite(depth)
        & np.isfinite(start_ft)
        & (record_kind != "repaired").to_numpy()
        & ~((record_kind == "abandoned").to_numpy() & np.isnan(low))
    )
    exact = (low == high) & (low > 0)
    between = ~exact & (low > 0) & np.isfinite(high)
    gpm = np.select(
        [exact, between, np.isinf(high), high > 0], [low, np.sqrt(low * np.where(between, high, 1.0)), low, high], 1.0
    )
    kind = np.select(
        [np.isnan(low), np.isinf(high) & (low > 0), np.isinf(high), exact | between],
        [MISSING, AT_LEAST, MISSING, EXACT],
        UNDER,
    )
    # The rate of a test is on record as a yield or as a bound; which it is, the other wells say.
    tested = tested & ((kind == EXACT) | (kind == AT_LEAST))
    kind = np.where(tested, EXACT, kind)
    kind = np.where(fractured & (kind != MISSING), FRACTURED, kind)
    read = kept & (kind == EXACT)
    figure, pumped, ranged = read & exact & ~tested, np.flatnonzero(read & tested), np.flatnonzero(read & between)
    as_written, rounded = read_rounding(gpm, figure)
    as_written[pumped], rounded[pumped] = read_tests(gpm[pumped], gpm[figure])
    as_written[ranged] = 0.0
    rounded[ranged, 0] = np.column_stack([1.0 / np.log(high[ranged] / low[ranged]), low[ranged], high[ranged]])
    # A zero read exactly is a dry hole: below what anybody would write down.
    smallest = max(float(np.nanmin(np.where(kept & exact, low, np.nan), initial=0.5)), 0.05)
    gpm = np.where((kind == UNDER) & ~(high > 0), smallest, gpm)
    zones = np.zeros((len(wells), 5))
    if water_zones is not None and len(water_zones):
        zones, logged = _read_zones(wells, water_zones, start_ft, gpm, kind)
        kind = np.where(logged, LOGGED, kind)
    row = np.flatnonzero(kept)
    feet = np.maximum(depth - start_ft, LEAST_FEET)
    error = wells["position_error_m"].fillna(0.0).to_numpy(dtype=float)
    return Stops(
        row=row,
        coordinates=coordinates[row],
        position_error_m=error[row],
        depth_ft=depth[row],
        feet=feet[row],
        run_on_ft=0.0,
        gpm=gpm[row],
        as_written=as_written[row],
        rounded=rounded[row],
        kind=kind[row].astype(np.int64),
        gone_on=gone_on(depth, feet, gpm, figure)[row],
        zones=zones[row],
    )


def _read_zones(
    wells: pd.DataFrame, water_zones: pd.DataFrame, start_ft: np.ndarray, gpm: np.ndarray, kind: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Sum up the logged zones of each well, and say whose log is complete: its zones add up to its yield."""
    owner = pd.Index(wells["record_id"]).get_indexer(pd.Index(water_zones["record_id"]))
    zone_gpm = np.sqrt(water_zones["yield_gpm_low"].to_numpy() * water_zones["yield_gpm_high"].to_numpy())
    depth = water_zones["depth_ft"].to_numpy(dtype=float)
    good = (owner >= 0) & np.isfinite(zone_gpm) & (zone_gpm > 0) & np.isfinite(depth)
    n = len(wells)
    bad = np.bincount(owner[(owner >= 0) & ~good], minlength=n)
    owner, zone_gpm, depth = owner[good], zone_gpm[good], depth[good]
    feet = np.maximum(depth - np.nan_to_num(start_ft)[owner], 0.0)
    log_gpm = np.log(zone_gpm)
    zones = np.column_stack(
        [
            np.bincount(owner, weights, minlength=n)
            for weights in (np.ones(len(owner)), log_gpm, log_gpm**2, zone_gpm, feet)
        ]
    )
    total = np.bincount(owner, zone_gpm, minlength=n)
    logged = (zones[:, 0] > 0) & (bad == 0) & (kind == EXACT) & (np.abs(total - gpm) <= 0.25 * gpm)
    return zones, logged


@dataclass(frozen=True)
class Habits:
    """How the drillers of a region stop.

    Attributes
    ----------
    share : ndarray of shape (n_targets,)
        How often each of `USUAL_TARGETS_GPM` is the yield that is wanted.
    limit_depth_ft, limit_hazard : ndarray
        Chance a foot that a hole which has gone so deep stops there without
        enough water, at rising depths.
    """

    share: np.ndarray
    limit_depth_ft: np.ndarray
    limit_hazard: np.ndarray

    def hazard(self, depth_ft: np.ndarray) -> np.ndarray:
        """Chance a foot of a limit at each depth, from the nearest depth on record."""
        right = np.clip(np.searchsorted(self.limit_depth_ft, depth_ft), 1, len(self.limit_depth_ft) - 1)
        left = right - 1
        nearer = np.abs(self.limit_depth_ft[left] - depth_ft) <= np.abs(self.limit_depth_ft[right] - depth_ft)
        return self.limit_hazard[np.where(nearer, left, right)]

    def run_out(self, stops: Stops) -> np.ndarray:
        """Return the limits that each hole has passed, in the mean: its chance of not having met one is exp(-this)."""
        every_ft = np.arange(0.0, stops.depth_ft.max(initial=0.0) + 2.0)
        passed = np.append(0.0, np.cumsum(self.hazard(every_ft + 0.5)))
        edges = np.append(every_ft, every_ft[-1] + 1.0)
        return np.interp(stops.depth_ft, edges, passed) - np.interp(stops.depth_ft - stops.feet, edges, passed)


def first_habits(stops: Stops) -> Habits:
    """Return habits before anything is known: common targets, and one hazard at all depths."""
    share = np.where((USUAL_TARGETS_GPM >= 1.0) & (USUAL_TARGETS_GPM <= 15.0), 1.0, 0.2)
    hazard = 0.3 / np.median(stops.feet)
    depth = np.array([0.0, stops.depth_ft.max()])
    return Habits(share / share.sum(), depth, np.full(2, hazard))


def fit_habits(
    stops: Stops, habits: Habits, stop_density: np.ndarray, limit_density: np.ndarray, sweeps: int = 30
) -> Habits:
    """Estimate targets and limits by expectation and maximisation.

    Each well with a yield, or a lower bound of it, stopped either at one of
    the usual targets that it has passed, or at a limit short of one that it
    has not; a dry hole, and one that was fractured, at a limit.

    Parameters
    ----------
    stops : Stops
    habits : Habits
        Where to start.
    stop_density : ndarray of shape (n, n_targets)
        For wells with a yield or a lower bound: density of stopping so at
        each target; 0 where the yield is short of it.
    limit_density : ndarray of shape (n, n_targets)
        The same for a hole that ends at that depth short of each target, a foot.
    sweeps : int, default=30

    Returns
    -------
    Habits
    """
    known = np.isin(stops.kind, (EXACT, LOGGED, AT_LEAST))
    short = np.isin(stops.kind, (UNDER, FRACTURED))
    order = np.argsort(stops.depth_ft, kind="stable")
    depth = stops.depth_ft[order]
    first = np.searchsorted(depth, depth - LIMIT_WINDOW_FT)
    last = np.searchsorted(depth, depth + LIMIT_WINDOW_FT, side="right")
    counted = np.concatenate([[0.0], np.cumsum((known | short)[order])])
    at_risk = counted[-1] - 0.5 * (counted[first] + counted[last])
    share, hazard = habits.share, habits.hazard(stops.depth_ft)
    for _ in range(sweeps):
        enough = stop_density[known] * share
        limited = hazard[known, None] * limit_density[known] * share
        total = enough.sum(axis=1) + limited.sum(axis=1) + 1e-300
        share = ((enough + limited) / total[:, None]).sum(axis=0) + 0.5
        share /= share.sum()
        at_limit = np.zeros(len(stops))
        at_limit[known] = limited.sum(axis=1) / total
        at_limit[short] = 1.0
        running = np.concatenate([[0.0], np.cumsum(at_limit[order])])
        # 20 ft of one well at risk, with 0.02 limits, keeps a hazard where nothing is seen
        here = (running[last] - running[first] + 0.02) / (2.0 * LIMIT_WINDOW_FT * (np.maximum(at_risk, 0.5) + 1.0))
        hazard = np.empty(len(stops))
        hazard[order] = here
    unique, place = np.unique(depth, return_index=True)
    return Habits(share, unique, here[place])
