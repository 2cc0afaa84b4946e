"""Depth to a target in regions whose drillers stop, read and report as drillers do: a second simulator.

`python tests/benchmarks/bench_lots_messy.py [--settings coarse,poor_sunk,...] [--seeds N] [--first-seed N] [--lots N]
[--no-kriging]`

It shares no code with the simulator of `bench_lots.py`, so that a habit of
that one which the estimate has come to rely on shows here. Fractures lie at
random, in clusters or evenly; the ground varies smoothly, by units of rock
(told or not) or along lineaments. Casing seals the first feet of rock, and
fractures above the water table are dry. Drillers have targets, limits and
rounding of their own, settle for less near the limit, deepen or hydrofracture
poor holes, and read yields by air lift or in a pumping test.

A setting, seed and target a row: lots scored; the median of the law's medians
and the share of its holes that never make the target in 2,000 ft; CRPS of the
log depth to the target at one hole a lot, by kriging total depth, by kriging
the true depths (which nobody has), by the estimate and by the region's own
law (the floor); the gap between the first two and the share of it that the
estimate closes, at that hole and (`mean_`) over 100 holes of the law, free of
the one hole's chance; `cover`, share of the holes in the estimate's 80 %
interval, `content`, what the law puts there, and `law_content`, what it puts
in its own (more where many holes never make the target); bias of the
estimate's median over the law's (median and mean over lots) and its spread
(in logs); seconds of the estimate, all targets at once. Then rows out of
bounds, means by kind of rock and target, and the predicted against the
observed chance of the target by a depth. `--no-kriging` leaves out both
krigings and what hangs on them.
"""

from __future__ import annotations

import argparse
import math
import time
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.scores import crps
from wellrecords.lots import EstimateSettings, estimate_lots

TARGETS = (1.0, 3.0, 5.0, 10.0)
LEVELS = np.round(np.arange(0.01, 1.0, 0.02), 2)
ASKED = np.append(LEVELS, [0.1, 0.5, 0.9])
MAX_DEPTHS_FT = (120.0, 200.0, 300.0, 400.0, 600.0, 800.0)
CAP_FT = 2000.0
CLEAR_GAP = 0.05
LAW_HOLES = 500
SCORED_HOLES = 100
DRILLERS = 8
CRS = "EPSG:32618"
CORNER_M = (400_000.0, 4_800_000.0)


@dataclass(frozen=True)
class Setting:
    """One invented region and its drillers; shares are of wells unless said otherwise."""

    rock: str = "middling"
    wells: int = 1000
    side_km: float = 15.0
    typical_gpm: float = 5.0  # what the median hole makes by `typical_ft`
    typical_ft: float = 250.0
    every_ft: float = 60.0
    gaps: str = "random"
    law: str = "lognormal"
    shape: float = 1.0
    smoothness: float = 1.5
    range_km: float = 5.0
    rate_sd: float = 0.4
    yield_sd: float = 0.7
    own_sd: float = 0.2  # of holes a step apart
    shared: float = 0.3  # of the variance of rate and yield, by one field
    units: int = 0
    unit_sd: float = 0.8
    units_known: bool = False
    lines: int = 0
    gradient: float = 0.0
    decay_ft: float = math.inf
    targets: dict[float, float] = field(default_factory=lambda: {3.0: 0.25, 5.0: 0.5, 8.0: 0.25})
    by_use: bool = True
    limits_ft: tuple[float, ...] = (300.0, 400.0, 500.0, 600.0, 800.0)  # none: each owner's purse
    settle: float = 0.4  # for a third of the target, from 0.6 of the limit
    least_ft: float = 0.0  # of most drillers
    to_300_ft: float = 0.0  # whatever the yield
    run_on_ft: float = 15.0
    air_lift_sd: float = 0.1
    by_5_gpm: float = 0.3  # of drillers, and so the next two
    by_half_gpm: float = 0.3
    by_20_ft: float = 0.3
    missing: float = 0.08
    pumped: float = 0.2
    hydrofractured: float = 0.3
    deepened_good: float = 0.01
    deepened_poor: float = 0.1
    rock_missing: float = 0.1
    rock_censored: float = 0.15
    position_error_m: float = 5.0


BASE = Setting()
GOOD = replace(BASE, rock="good", typical_gpm=20.0, typical_ft=150.0, every_ft=40.0)
POOR = replace(BASE, rock="poor", typical_gpm=1.0, typical_ft=400.0, every_ft=80.0)
MOSAIC = replace(BASE, shape=0.6, yield_sd=0.3, rate_sd=0.2, unit_sd=1.0)
SETTINGS = {
    "base": BASE,
    "good_smooth": replace(GOOD, smoothness=2.5, range_km=8.0, own_sd=0.0, shape=0.8),
    "good_rough": replace(GOOD, smoothness=0.5, range_km=2.0, own_sd=0.5, law="exponential"),
    "good_regular": replace(
        GOOD, wells=800, every_ft=35.0, gaps="regular", law="exponential", targets={5.0: 0.5, 10.0: 0.3, 15.0: 0.2}
    ),
    "poor_smooth": replace(
        POOR, every_ft=90.0, smoothness=2.5, range_km=6.0, own_sd=0.0, law="gamma", shape=0.5, yield_sd=0.8
    ),
    "poor_iid": replace(POOR, shape=1.3, own_sd=0.6, targets={2.0: 0.3, 5.0: 0.5, 6.0: 0.2}),
    "poor_sunk": replace(
        POOR, wells=1200, law="exponential", hydrofractured=0.5, deepened_poor=0.4, deepened_good=0.05
    ),
    "mosaic_known": replace(MOSAIC, wells=1500, units=14, units_known=True, law="weibull"),
    "mosaic_hidden": replace(
        MOSAIC, rock="poor", wells=600, typical_gpm=1.5, typical_ft=400.0, every_ft=80.0, units=10, law="gamma"
    ),
    "lineaments": replace(
        BASE, wells=2000, side_km=18.0, lines=6, gradient=1.0, typical_ft=300.0, yield_sd=0.4, law="pareto", shape=1.7
    ),
    "clustered": replace(BASE, wells=1500, gaps="clustered", every_ft=45.0),
    "sparse": replace(BASE, wells=300, side_km=20.0, typical_gpm=4.0, typical_ft=300.0, law="weibull", shape=0.8),
    "dense_one_target": replace(
        BASE,
        wells=3000,
        side_km=14.0,
        range_km=3.0,
        targets={5.0: 1.0},
        settle=0.0,
        by_use=False,
        law="gamma",
        shape=0.7,
    ),
    "coarse": replace(
        BASE, wells=1200, by_5_gpm=0.8, by_20_ft=0.8, missing=0.25, air_lift_sd=0.3, pumped=0.1, rock_missing=0.4
    ),
    "decay_cost": replace(BASE, wells=1200, decay_ft=250.0, limits_ft=(), every_ft=40.0, law="exponential"),
    "habit_depth": replace(BASE, least_ft=150.0, to_300_ft=0.2, typical_gpm=8.0, run_on_ft=30.0),
    "poor_position": replace(BASE, position_error_m=150.0, range_km=3.0),
}


@dataclass(frozen=True)
class Ground:
    """A region without its wells."""

    setting: Setting
    side_m: float
    fields: dict[str, Callable[[np.ndarray], np.ndarray]]
    unit_xy: np.ndarray
    unit_log_rate: np.ndarray
    unit_log_yield: np.ndarray
    towards: float
    lines: list[tuple[np.ndarray, float]]
    villages: np.ndarray
    scale: float = 1.0


@dataclass(frozen=True)
class Holes:
    """Holes and their fractures (holes, fractures), however deep they are drilled."""

    rock_ft: np.ndarray
    casing_ft: np.ndarray
    water_ft: np.ndarray
    open_ft: np.ndarray
    fracture_ft: np.ndarray
    fracture_gpm: np.ndarray

    def made(self, depth_ft: np.ndarray) -> np.ndarray:
        return np.where(self.fracture_ft <= depth_ft[:, None], self.fracture_gpm, 0).sum(axis=1)

    def feet_to(self, gpm: float | np.ndarray, read: float | np.ndarray = 1.0) -> np.ndarray:
        """Feet to where the running yield, times `read`, makes so much; infinite where it never does."""
        running = self.fracture_gpm.cumsum(axis=1) * np.broadcast_to(read, len(self.rock_ft))[:, None]
        enough = running >= np.broadcast_to(gpm, len(running))[:, None]
        depth = np.minimum(self.fracture_ft[np.arange(len(running)), enough.argmax(axis=1)], CAP_FT)
        return np.where(enough.any(axis=1), depth, np.inf)


def random_field(smoothness: float, range_m: float, rng: np.random.Generator, waves: int = 1500):
    """Draw a Matérn field of unit variance: its spectrum is a t distribution's."""
    frequency = rng.normal(size=(waves, 2))
    frequency /= np.sqrt(rng.chisquare(2 * smoothness, waves) / (2 * smoothness))[:, None] * range_m / 1.5
    phase = rng.uniform(0, 2 * np.pi, waves)
    return lambda xy: np.sqrt(2 / waves) * np.cos(xy @ frequency.T + phase).sum(axis=1)


def unit_gaps(kind: str, shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """Gaps of mean one; the first is what is left of a gap, for a casing ends anywhere between two fractures."""
    if kind == "random":
        return rng.exponential(1, shape)
    if kind == "regular":
        gaps = rng.gamma(4, 0.25, shape)
        gaps[:, 0] = rng.gamma(5, 0.25, len(gaps)) * rng.random(len(gaps))
        return gaps
    near, near_gap = 0.65, 0.08
    far_gap = (1 - near * near_gap) / (1 - near)

    def mixed(share: float, size: int | tuple[int, int]) -> np.ndarray:
        return np.where(rng.random(size) < share, rng.exponential(near_gap, size), rng.exponential(far_gap, size))

    gaps = mixed(near, shape)
    gaps[:, 0] = mixed(near * near_gap, len(gaps))
    return gaps


def unit_yields(law: str, shape: float, size: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    if law == "lognormal":
        return np.exp(rng.normal(-(shape**2) / 2, shape, size))
    if law == "gamma":
        return rng.gamma(shape, 1 / shape, size)
    if law == "weibull":
        return rng.weibull(shape, size) / math.gamma(1 + 1 / shape)
    if law == "pareto":
        return rng.pareto(shape, size) * (shape - 1)
    return rng.exponential(1, size)


def draw_ground(setting: Setting, rng: np.random.Generator) -> Ground:
    side, range_m = setting.side_km * 1000, setting.range_km * 1000
    kinds = dict.fromkeys(("rate", "yield", "both"), (setting.smoothness, range_m))
    kinds |= {"rock": (1.5, 3000.0), "water": (1.5, 4000.0)}
    units = max(setting.units, 1)
    ground = Ground(
        setting=setting,
        side_m=side,
        fields={name: random_field(*kind, rng) for name, kind in kinds.items()},
        unit_xy=rng.uniform(0, side, (units, 2)),
        unit_log_rate=rng.normal(0, setting.unit_sd / 2, units),
        unit_log_yield=rng.normal(0, setting.unit_sd, units),
        towards=rng.uniform(0, 2 * np.pi),
        lines=[(rng.uniform(0, side, 2), rng.uniform(0, np.pi)) for _ in range(setting.lines)],
        villages=rng.uniform(0, side, (12, 2)),
    )
    holes = draw_holes(ground, rng.uniform(0, side, (3000, 2)), rng, open_ft=30.0)
    made = holes.made(np.full(3000, setting.typical_ft))
    typical = np.median(made) or np.quantile(made[made > 0], 0.25)
    return replace(ground, scale=setting.typical_gpm / typical)


def unit_at(ground: Ground, xy: np.ndarray) -> np.ndarray:
    return ((xy[:, None, :] - ground.unit_xy) ** 2).sum(axis=2).argmin(axis=1)


def log_means(ground: Ground, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Log of the fractures a foot and of a fracture's yield, against the region's."""
    setting, fields = ground.setting, ground.fields
    both = np.sqrt(setting.shared) * fields["both"](xy)
    rate = setting.rate_sd * (both + np.sqrt(1 - setting.shared) * fields["rate"](xy))
    gpm = setting.yield_sd * (both + np.sqrt(1 - setting.shared) * fields["yield"](xy))
    if setting.units:
        unit = unit_at(ground, xy)
        rate, gpm = rate + ground.unit_log_rate[unit], gpm + ground.unit_log_yield[unit]
    along = (xy - ground.side_m / 2) @ [np.cos(ground.towards), np.sin(ground.towards)] / ground.side_m
    rate, gpm = rate + 0.6 * setting.gradient * along, gpm + 1.6 * setting.gradient * along
    for point, angle in ground.lines:
        near = np.exp(-(((xy - point) @ [-np.sin(angle), np.cos(angle)] / 300.0) ** 2))
        rate, gpm = rate + 1.1 * near, gpm + 0.7 * near
    return rate, gpm


def draw_holes(
    ground: Ground, xy: np.ndarray, rng: np.random.Generator, copies: int = 1, open_ft: float | None = None
) -> Holes:
    """Draw holes at places, each of the copies with a part of its own, open from casing and water down."""
    setting, n = ground.setting, len(xy) * copies
    log_rate, log_gpm = (np.repeat(values, copies) for values in log_means(ground, xy))
    rate = np.exp(log_rate + 0.6 * setting.own_sd * rng.normal(size=n)) / setting.every_ft
    mean_gpm = ground.scale * np.exp(log_gpm + setting.own_sd * rng.normal(size=n))
    rock = np.repeat(30 * np.exp(0.6 * ground.fields["rock"](xy)), copies) * np.exp(0.25 * rng.normal(size=n))
    casing = np.maximum(20.0, np.ceil(rock + rng.uniform(5, 20, n)))
    water = np.repeat(25 * np.exp(0.5 * ground.fields["water"](xy)), copies) * np.exp(0.25 * rng.normal(size=n))
    water = np.maximum(water, 2.0)
    top = np.maximum(casing, water) if open_ft is None else np.full(n, open_ft)
    decay = setting.decay_ft
    # feet down to the cap as if fractures did not thin out: with decay there are only so many in all
    reach = decay * -np.expm1(-CAP_FT / decay) if np.isfinite(decay) else CAP_FT
    most = rate.max() * reach
    count = int(np.ceil(most + (16 if setting.gaps == "clustered" else 8) * np.sqrt(most) + 20))
    feet = unit_gaps(setting.gaps, (n, count), rng).cumsum(axis=1) / rate[:, None]
    if np.isfinite(decay):
        feet = np.where(feet < decay, -decay * np.log1p(-np.minimum(feet / decay, 1 - 1e-12)), np.inf)
    depth = top[:, None] + feet
    gpm = unit_yields(setting.law, setting.shape, depth.shape, rng) * mean_gpm[:, None]
    return Holes(rock, casing, water, top, depth, np.where(depth <= CAP_FT, gpm, 0.0))


def draw_places(ground: Ground, n: int, rng: np.random.Generator) -> np.ndarray:
    side = ground.side_m
    crowd = rng.random(n) < 0.6
    near = ground.villages[rng.integers(0, len(ground.villages), n)] + rng.normal(0, 0.09 * side, (n, 2))
    outside = ((near < 0) | (near > side)).any(axis=1)
    near = np.where(outside[:, None], rng.uniform(0, side, (n, 2)), near)
    return np.where(crowd[:, None], near, rng.uniform(0, side, (n, 2)))


def drill(ground: Ground, holes: Holes, xy: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """Drill holes: what each driller does, and what it made."""
    setting, n = ground.setting, len(xy)
    homes = rng.uniform(0, ground.side_m, (DRILLERS, 2))
    far = np.sqrt(((xy[:, None] - homes) ** 2).sum(axis=2)) / (0.25 * ground.side_m)
    driller = (rng.gumbel(size=(n, DRILLERS)) - far).argmax(axis=1)
    targets, shares = np.array(list(setting.targets)), np.array(list(setting.targets.values()))
    # a hair over, for a gamma of shape exactly one would be drawn by another rule than its neighbours
    habits = rng.dirichlet(4 * shares + 1e-9, DRILLERS) if len(targets) > 1 else np.ones((DRILLERS, 1))
    target = targets[[rng.choice(len(targets), p=habits[one]) for one in driller]]
    uses = {"domestic": 0.82, "irrigation": 0.05, "public": 0.03, "livestock": 0.05, "unknown": 0.05}
    use = rng.choice(list(uses), n, p=list(uses.values()))
    if setting.by_use:
        target = np.select([use == "irrigation", use == "public"], [30.0, 20.0], target)
    if setting.limits_ft:
        limit = rng.choice(setting.limits_ft, (DRILLERS, 2))[driller, rng.integers(0, 2, n)]
    else:
        limit = np.exp(rng.normal(np.log(480), 0.4, n))
    limit = np.maximum(limit, holes.open_ft + 60)
    air_lift = np.exp(setting.air_lift_sd * rng.normal(size=n))
    stop = holes.feet_to(target, air_lift)
    content = np.minimum(stop, np.maximum(holes.feet_to(target / 3, air_lift), 0.6 * limit))
    stop = np.where(rng.random(n) < setting.settle, content, stop)
    run_on = rng.uniform(2, 2 + 2 * setting.run_on_ft, n)
    stop = np.maximum(stop + run_on, setting.least_ft * (rng.random(DRILLERS) < 0.6)[driller])
    stop = np.where(rng.random(n) < setting.to_300_ft, 300.0, stop)
    depth = np.maximum(np.minimum(stop, limit), holes.casing_ft + 5)
    poor = (stop > limit) & (holes.made(depth) < target)
    sunk = poor & (rng.random(n) < setting.deepened_poor)
    deepened = sunk | (~poor & (rng.random(n) < setting.deepened_good))
    hoped = holes.feet_to(np.where(sunk, np.maximum(1.0, target / 2), target * 1.5), air_lift) + run_on
    deeper = np.clip(hoped, depth + 20, depth + rng.choice([150.0, 200.0, 300.0], n))
    depth = np.minimum(np.where(deepened, deeper, depth), CAP_FT - 10)
    made = holes.made(depth)
    burst = poor & ~deepened & (made < 2) & (rng.random(n) < setting.hydrofractured)
    made = np.where(burst, made * rng.uniform(1.5, 4, n) + rng.exponential(1.0, n), made)
    columns = {"driller": driller, "use": use, "depth_ft": depth, "deepened": deepened, "burst": burst}
    return pd.DataFrame(columns | {"made_gpm": made, "air_lift": air_lift})


def read_yields(setting: Setting, drilled: pd.DataFrame, pumped: np.ndarray, rng: np.random.Generator):
    """Return ends of the yields as reported: each driller rounds in a way of its own, a pumping test to a tenth."""
    n, driller = len(drilled), drilled["driller"].to_numpy()
    read = drilled["made_gpm"].to_numpy() * np.where(pumped, np.exp(0.05 * rng.normal(size=n)), drilled["air_lift"])
    fives = (rng.random(DRILLERS) < setting.by_5_gpm)[driller]
    halves = (rng.random(DRILLERS) < setting.by_half_gpm)[driller]
    low = np.where(halves, np.round(read * 2) / 2, np.round(read, 1))
    low = np.where(fives & (read > 3), 5.0, low)
    low = np.where(read >= 7.5, np.where(fives, 5 * np.round(read / 5), np.round(read)), low)
    low = np.where(pumped, np.round(read, 1), low)
    low = np.where(read > 20, 5 * np.round(read / 5), low)
    dry = low < 0.25
    says_dry = (rng.random(DRILLERS) < 0.5)[driller]
    high = np.where(dry, np.where(says_dry, 0.5, low[~dry].min(initial=0.5)), low)
    low = np.where(dry, 0.0, low)
    over = (low >= 100) & (rng.random(n) < 0.5)
    low, high = np.where(over, 100.0, low), np.where(over, np.inf, high)
    missing = rng.random(n) < setting.missing
    return np.where(missing, np.nan, low), np.where(missing, np.nan, high)


def report(
    ground: Ground, holes: Holes, drilled: pd.DataFrame, xy: np.ndarray, rng: np.random.Generator
) -> gpd.GeoDataFrame:
    """Return the canonical wells, as their drillers report them."""
    setting, n = ground.setting, len(drilled)
    pumped = rng.random(n) < setting.pumped
    low, high = read_yields(setting, drilled, pumped, rng)
    depth, casing = drilled["depth_ft"].to_numpy(), holes.casing_ft
    by_20_ft = (rng.random(DRILLERS) < setting.by_20_ft)[drilled["driller"]]
    told = np.maximum(np.where(by_20_ft, 20 * np.ceil(depth / 20), 5 * np.round(depth / 5)), casing)
    censored, no_rock = rng.random(n) < setting.rock_censored, rng.random(n) < setting.rock_missing
    rock = np.where(no_rock, np.nan, np.round(holes.rock_ft))
    water = np.where(rng.random(n) < 0.25, np.nan, np.round(np.clip(holes.water_ft, 2, depth * 0.9)))
    seen_xy = xy + rng.normal(0, setting.position_error_m / np.sqrt(2), (n, 2))
    return gpd.GeoDataFrame(
        {
            "record_id": [f"w{number}" for number in range(n)],
            "record_kind": np.where(drilled["deepened"], "deepened", "new"),
            "well_use": drilled["use"],
            "position_error_m": setting.position_error_m,
            "total_depth_ft": told,
            "casing_depth_ft": np.where(rng.random(n) < 0.1, np.nan, casing),
            "drilled_on": pd.Timestamp("1985-01-01") + pd.to_timedelta(rng.integers(0, 14_600, n), "D"),
            "hydrofractured": drilled["burst"],
            "depth_to_bedrock_ft_low": np.where(censored & ~no_rock, 0.0, rock),
            "depth_to_bedrock_ft_high": np.where(censored & ~no_rock, casing, rock),
            "depth_to_water_ft_low": water,
            "depth_to_water_ft_high": water,
            "yield_gpm_low": low,
            "yield_gpm_high": high,
            "yield_method": np.where(pumped, "pumping_test", "air_lift"),
            "main_rock": [f"unit {unit}" for unit in unit_at(ground, xy)] if setting.units_known else None,
        },
        geometry=gpd.points_from_xy(*(seen_xy + CORNER_M).T),
        crs=CRS,
    )


def ask(ground: Ground, xy: np.ndarray, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return the lots, once a target, each with the deepest hole that its owner would drill."""
    lots = pd.DataFrame({"lot": range(len(xy)), "max_depth_ft": rng.choice(MAX_DEPTHS_FT, len(xy))})
    if ground.setting.units_known:
        lots["main_rock"] = [f"unit {unit}" for unit in unit_at(ground, xy)]
    lots = gpd.GeoDataFrame(lots, geometry=gpd.points_from_xy(*(xy + CORNER_M).T), crs=CRS)
    return pd.concat(
        [lots.assign(target_yield_gpm=gpm, lot_id=lots["lot"].astype(str) + f"_{gpm:g}") for gpm in TARGETS]
    )


def capped(depth_ft: np.ndarray) -> np.ndarray:
    return np.clip(depth_ft, 1.0, CAP_FT)


def score(hole: np.ndarray, law: np.ndarray, quantiles: dict[str, np.ndarray]) -> dict[str, float]:
    """Score log quantiles at a hole a lot and over many holes of the law."""
    row = {name: crps(hole, q[:, :-3], LEVELS).mean() for name, q in quantiles.items()}
    if "truth" in quantiles:
        holes = law[:, :SCORED_HOLES].T
        means = {n: np.mean([crps(one, q[:, :-3], LEVELS) for one in holes]) for n, q in quantiles.items()}
        for kind, by in (("", dict(row)), ("mean_", means)):
            row[kind + "gap"] = by["depth"] - by["truth"]
            row[kind + "closed"] = (by["depth"] - by["estimate"]) / row[kind + "gap"]

    def inside(name: str, depth: np.ndarray) -> float:
        q = quantiles[name]
        return np.mean((depth >= q[:, [-3]] - 1e-9) & (depth <= q[:, [-1]] + 1e-9))

    off = quantiles["estimate"][:, -2] - quantiles["law"][:, -2]
    return row | {
        "cover": inside("estimate", hole[:, None]),
        "content": inside("estimate", law),
        "law_content": inside("law", law),
        "bias": np.expm1(np.median(off)),
        "mean_bias": np.expm1(off.mean()),
        "spread": off.std(),
    }


def study(name: str, seed: int, n_lots: int, kriging: bool) -> tuple[list[dict], list[pd.DataFrame]]:
    setting = SETTINGS[name]
    rng = np.random.default_rng([zlib.crc32(name.encode()), seed])  # settings do not hang on one another
    ground = draw_ground(setting, rng)
    xy = draw_places(ground, setting.wells, rng)
    holes = draw_holes(ground, xy, rng)
    wells = report(ground, holes, drill(ground, holes, xy, rng), xy, rng)
    lot_xy = draw_places(ground, n_lots, rng)
    at_lots = draw_holes(ground, lot_xy, rng)
    law_parts = []
    for part in np.array_split(lot_xy, max(1, n_lots // 10)):  # all at once would take gigabytes
        law_holes = draw_holes(ground, part, rng, LAW_HOLES)
        law_parts.append([capped(law_holes.feet_to(gpm)).reshape(len(part), LAW_HOLES) for gpm in TARGETS])
    asked = ask(ground, lot_xy, rng)
    start = time.process_time()
    table = estimate_lots(wells, asked, settings=EstimateSettings(quantiles=tuple(ASKED), n_jobs=1))
    spent = time.process_time() - start
    shown = [f"depth_to_target_ft_p{100 * level:02.0f}" for level in ASKED]

    def krige(depth_ft: np.ndarray) -> np.ndarray:
        seen_xy = wells.get_coordinates().to_numpy()
        fitted = IntervalKriging(n_jobs=1).fit(seen_xy, depth_ft, position_error_m=setting.position_error_m)
        return np.log(capped(fitted.predict(lot_xy + CORNER_M).quantile(ASKED)))

    by_depth = krige(wells["total_depth_ft"].to_numpy()) if kriging else None
    rows, chances = [], []
    for number, gpm in enumerate(TARGETS):
        said = table.iloc[number * n_lots :][:n_lots]
        law = np.concatenate([part[number] for part in law_parts])
        hole = capped(at_lots.feet_to(gpm))
        quantiles = {"estimate": np.log(capped(said[shown].to_numpy(float)))}
        quantiles["law"] = np.quantile(np.log(law), ASKED, axis=1, method="hazen").T
        if kriging:
            quantiles = {"depth": by_depth, "truth": krige(capped(holes.feet_to(gpm)))} | quantiles
        known = np.isfinite(quantiles["estimate"]).all(axis=1)
        row = {"setting": name, "rock": setting.rock, "seed": seed, "gpm": gpm, "lots": known.sum()}
        row |= {"median_ft": np.exp(np.median(quantiles["law"][:, -2])), "never": np.mean(law >= CAP_FT)}
        row |= score(np.log(hole)[known], np.log(law)[known], {key: q[known] for key, q in quantiles.items()})
        rows.append(row | {"cpu_s": spent})
        limit = asked["max_depth_ft"].to_numpy()[:n_lots]
        by_limit = {"said": said["chance_of_target"], "law": (law <= limit[:, None]).mean(axis=1)}
        chances.append(pd.DataFrame(by_limit | {"seen": hole <= limit})[known])
    return rows, chances


def summarise(table: pd.DataFrame, chances: pd.DataFrame) -> None:
    off_law = ((table["content"] - 0.8).abs() > 0.03) & ((table["content"] - table["law_content"]).abs() > 0.03)
    print(
        f"\nof {len(table)} rows {np.sum(table['bias'].abs() > 0.05)} have a bias beyond 5 %, "
        f"{np.sum((table['cover'] - 0.8).abs() > 0.03)} a cover outside 77 to 83 %, "
        f"{off_law.sum()} a content outside it that is 3 points off the law's own too"
    )
    for kind, holes in (("", "at one hole a lot"), ("mean_", f"over {SCORED_HOLES} holes")):
        if kind + "gap" in table:
            told = table[table[kind + "gap"] > CLEAR_GAP]
            closed = (table[kind + "closed"] * table[kind + "gap"]).sum() / table[kind + "gap"].sum()
            print(
                f"gap closed over all, {holes}: {closed:.3f}; of {len(told)} with a gap over {CLEAR_GAP:g} "
                f"{np.sum(told[kind + 'closed'] < 0.9)} close less than nine tenths of it"
            )
    numbers = table.drop(columns=["setting", "seed", "lots", "cpu_s", "closed", "mean_closed"], errors="ignore")
    print(numbers.groupby(["rock", "gpm"]).mean().round(3).to_string())
    bins = chances.groupby(np.minimum((chances["said"] * 10).astype(int), 9))
    print("\nchance of the target by the owner's depth, in ten bins: said, by the region's own law, seen")
    print(bins.mean().assign(places=bins.size()).round(3).to_string())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--settings", default=",".join(SETTINGS))
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--lots", type=int, default=250)
    parser.add_argument("--no-kriging", action="store_true")
    options = parser.parse_args()
    rows, chances = [], []
    for name in options.settings.split(","):
        for seed in range(options.first_seed, options.first_seed + options.seeds):
            more = study(name, seed, options.lots, not options.no_kriging)
            rows += more[0]
            chances += more[1]
            shown = pd.DataFrame(more[0]).drop(columns="rock").round(3)
            print(shown.to_string(index=False, header=not rows[len(more[0]) :]), flush=True)
    summarise(pd.DataFrame(rows), pd.concat(chances))


if __name__ == "__main__":
    main()
