"""Depth to a target on simulated regions: what the estimate says against what is true.

`python tests/benchmarks/bench_lots.py [--wells N] [--lots N] [--seeds N] [--first-seed N] [--settings base,rough,...]`

A setting and target a row: CRPS of the log depth to the target (capped at
2,000 ft) by kriging total depth, by kriging the true depths (which nobody
has), by the estimate, and by the region's own law (the floor); the gap
between the first two, and the share of it that the estimate closes (where
there is next to no gap, the share says nothing); cover of its 80 % interval
(and of the law's), and what it would be without the cap (`open_cover`); its
bias (mean of the log of its median over the law's median); and, over all
settings, how many rows keep within bounds and the predicted against the
observed chance of the target by four depths. The settings vary the simulator:
laws of one fracture's yield that the estimate does not know, rates that fade,
drillers who go on or round, limits, targets, rounded and missing yields,
holes that end above rock.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.scores import LEVELS, crps
from wellrecords.lots import EstimateSettings, estimate_lots

TARGETS = (1.0, 3.0, 5.0, 10.0)
DEPTHS_FT = (150.0, 250.0, 400.0, 600.0)
CAP_FT = 2000.0
CLEAR_GAP = 0.05
CRS = "EPSG:26919"


@dataclass(frozen=True)
class Setting:
    """One invented region and its drillers."""

    rate: float = 1 / 70
    rate_sd: float = 0.6
    size_gpm: float = 2.0
    size_sd: float = 0.5
    length_m: float = 4000.0
    law: str = "lognormal"
    shape: float = 1.0
    decay_ft: float = np.inf
    targets: dict[float, float] = field(default_factory=lambda: {3.0: 0.3, 5.0: 0.5, 8.0: 0.2})
    limits_ft: tuple[float, ...] = (300.0, 400.0, 500.0, 600.0)
    run_on_ft: float = 0.0
    depth_step_ft: float = 0.0
    rounded: bool = False
    missing: float = 0.0
    above_rock: float = 0.0
    rock_ft: float = 40.0


BASE = Setting()
SETTINGS = {
    "base": BASE,
    "good rock": replace(BASE, rate=1 / 35, size_gpm=4.0),
    "poor rock": replace(BASE, rate=1 / 160, size_gpm=1.2),
    "gamma": replace(BASE, law="gamma", shape=0.6, size_gpm=3.0),
    "exponential": replace(BASE, law="gamma", shape=1.0, size_gpm=3.0),
    "pareto": replace(BASE, law="pareto", shape=1.6, size_gpm=1.5),
    "skewed": replace(BASE, shape=1.6, size_gpm=1.0),
    "fading": replace(BASE, decay_ft=250.0),
    "run on": replace(BASE, run_on_ft=30.0, depth_step_ft=20.0),
    "2/6/10": replace(BASE, targets={2.0: 0.3, 6.0: 0.4, 10.0: 0.3}, limits_ft=(300.0, 500.0, 800.0)),
    "rounded and missing": replace(BASE, rounded=True, missing=0.3, depth_step_ft=5.0),
    "25 % above rock": replace(BASE, above_rock=0.25),
    "rough": replace(BASE, length_m=1500.0, rate_sd=0.8, size_sd=0.7),
    "smooth": replace(BASE, length_m=10_000.0, rate_sd=0.5, size_sd=0.3),
}
ROUND_GPM = np.array(
    [0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 75, 100, 150, 200, 300, 500]
)


def random_field(length_m: float, rng: np.random.Generator, features: int = 200):
    """Draw a smooth field of unit variance, by random cosines with heavy-tailed frequencies."""
    frequency = rng.standard_normal((features, 2)) * np.sqrt(3 / rng.chisquare(3, features))[:, None] / length_m
    phase = rng.uniform(0, 2 * np.pi, features)
    return lambda xy: np.sqrt(2 / features) * np.cos(xy @ frequency.T + phase).sum(axis=1)


def draw_sizes(setting: Setting, shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    if setting.law == "lognormal":
        return np.exp(setting.shape * rng.standard_normal(shape))
    if setting.law == "gamma":
        return rng.gamma(setting.shape, 1 / setting.shape, shape)
    return 0.6 * (rng.pareto(setting.shape, shape) + 1)


def drill(setting: Setting, rate: np.ndarray, size: np.ndarray, rng: np.random.Generator, fractures: int = 700):
    """Feet of rock to each fracture and running yield, (n, fractures)."""
    worth = np.cumsum(rng.exponential(size=(len(rate), fractures)), axis=1) / rate[:, None]
    if np.isfinite(setting.decay_ft):
        left = 1 - worth / setting.decay_ft
        worth = np.where(left > 0, -setting.decay_ft * np.log(np.maximum(left, 1e-300)), np.inf)
    return worth, np.cumsum(size[:, None] * draw_sizes(setting, worth.shape, rng), axis=1)


def feet_to(feet: np.ndarray, total: np.ndarray, gpm: float | np.ndarray) -> np.ndarray:
    gpm = np.broadcast_to(gpm, len(feet))[:, None]
    first = np.argmax(total >= gpm, axis=1)
    rows = np.arange(len(feet))
    return np.where(total[rows, -1] >= gpm[:, 0], feet[rows, first], np.inf)


def simulate(setting: Setting, n_wells: int, n_lots: int, seed: int):
    """Return canonical wells, their true depths to each target, lots, their true depths, and the law's draws."""
    rng = np.random.default_rng(seed)
    n, width = n_wells + n_lots, 25_000.0 * np.sqrt(n_wells / 3000)
    xy = rng.uniform(0, width, (n, 2))
    villages = rng.uniform(0, width, (12, 2))
    crowd = rng.random(n) < 0.5
    crowded = villages[rng.integers(0, 12, crowd.sum())] + rng.normal(0, 1500, (crowd.sum(), 2))
    xy[crowd] = np.clip(crowded, 0, width)
    rate_field, size_field, rock_field = (
        random_field(m, rng)(xy) for m in (setting.length_m, setting.length_m, 3000.0)
    )
    rate = setting.rate * np.exp(setting.rate_sd * rate_field)
    size = setting.size_gpm * np.exp(setting.size_sd * (0.5 * rate_field + 0.87 * size_field))
    noise = rng.standard_normal((2, n))
    rock = setting.rock_ft * np.exp(0.7 * (0.9 * rock_field - 0.25 * rate_field + 0.3 * noise[0]))
    water = np.clip(0.4 * rock + 15 * np.exp(0.3 * noise[1]) - 5 * rate_field, 1.0, None)
    water = np.minimum(water, np.maximum(rock, 1.0))
    feet, total = drill(setting, rate, size, rng)
    truth = {gpm: rock + feet_to(feet, total, gpm) for gpm in TARGETS}
    wanted = rng.choice(list(setting.targets), n, p=list(setting.targets.values()))
    limit = np.maximum(rng.choice(setting.limits_ft, n), rock + 50)
    depth = np.minimum(rock + feet_to(feet, total, wanted) + setting.run_on_ft * rng.uniform(0, 2, n), limit)
    if setting.depth_step_ft:
        depth = np.ceil(depth / setting.depth_step_ft) * setting.depth_step_ft
    made = np.where(rock[:, None] + feet <= depth[:, None], total, 0.0).max(axis=1)
    dry = made < 0.1
    low = np.where(dry, 0.0, made)
    if setting.rounded:
        nearest = np.abs(np.log(np.maximum(made, 0.1)[:, None] / ROUND_GPM)).argmin(axis=1)
        low = np.where(dry, 0.0, ROUND_GPM[nearest])
    high = np.where(dry, 0.1, low)
    unread = rng.random(n) < setting.missing
    above = rng.random(n) < setting.above_rock
    depth = np.where(above, np.maximum(rock * rng.uniform(0.3, 1.0, n), 5.0), depth)
    no_rock = rng.random(n) < 0.15
    wells = gpd.GeoDataFrame(
        {
            "record_id": [str(number) for number in range(n)],
            "total_depth_ft": depth,
            "depth_to_bedrock_ft_low": np.where(above, depth, np.where(no_rock, np.nan, rock)),
            "depth_to_bedrock_ft_high": np.where(above, np.inf, np.where(no_rock, np.nan, rock)),
            "depth_to_water_ft_low": np.where(dry, np.nan, water),
            "depth_to_water_ft_high": np.where(dry, np.nan, water),
            "yield_gpm_low": np.where(unread | above, np.nan, low),
            "yield_gpm_high": np.where(unread | above, np.nan, high),
        },
        geometry=gpd.points_from_xy(400_000 + xy[:, 0], 5_000_000 + xy[:, 1]),
        crs=CRS,
    )
    lots = wells.iloc[n_wells:][["record_id", "geometry"]].rename(columns={"record_id": "lot_id"})
    draws = {gpm: np.empty((n_lots, 200)) for gpm in TARGETS}
    for number in range(n_lots):
        place = n_wells + number
        copies = drill(setting, np.full(200, rate[place]), np.full(200, size[place]), rng, 300)
        for gpm in TARGETS:
            draws[gpm][number] = rock[place] + feet_to(*copies, gpm)
    split = {gpm: (values[:n_wells], values[n_wells:]) for gpm, values in truth.items()}
    return wells.iloc[:n_wells], xy, split, lots, draws


def log_capped(depth_ft: np.ndarray) -> np.ndarray:
    return np.log(np.clip(depth_ft, 1.0, CAP_FT))


def open_cover(observed: np.ndarray, quantiles: np.ndarray) -> float:
    """Share inside the 80 % interval, had depths no cap.

    Where hole and law both pass 2,000 ft nobody sees which is deeper: such a
    hole lies at any of the levels past the cap, each as likely.
    """
    inside = (observed >= quantiles[:, 9]) & (observed <= quantiles[:, 89])
    capped = quantiles >= np.log(CAP_FT) - 1e-9
    first = np.where(capped.any(axis=1), LEVELS[capped.argmax(axis=1)], 1.0)
    part = np.clip(0.9 - np.maximum(first, 0.1), 0.0, None) / np.maximum(1.0 - first, 1e-9)
    return float(np.where((observed >= np.log(CAP_FT) - 1e-9) & (first < 1.0), part, inside).mean())


def study(name: str, setting: Setting, n_wells: int, n_lots: int, seed: int) -> tuple[list[dict], list[pd.DataFrame]]:
    wells, xy, truth, lots, law = simulate(setting, n_wells, n_lots, seed)
    rows, chances = [], []
    by_depth = IntervalKriging().fit(xy[:n_wells], wells["total_depth_ft"], wells["total_depth_ft"])
    kriged_depth = log_capped(by_depth.predict(xy[n_wells:]).quantile(LEVELS))
    asked = pd.concat([lots.assign(target_yield_gpm=gpm, lot_id=f"{gpm:g}:" + lots["lot_id"]) for gpm in TARGETS])
    start = time.process_time()
    table = estimate_lots(wells, asked, settings=EstimateSettings(quantiles=tuple(LEVELS), n_draws=1000))
    spent = time.process_time() - start
    every = log_capped(table.filter(like="depth_to_target").to_numpy()).reshape(len(TARGETS), n_lots, -1)
    for gpm, said in zip(TARGETS, every, strict=True):
        at_wells, at_lots = (np.minimum(values, CAP_FT) for values in truth[gpm])
        observed = log_capped(at_lots)
        kriged_truth = log_capped(
            IntervalKriging().fit(xy[:n_wells], at_wells, at_wells).predict(xy[n_wells:]).quantile(LEVELS)
        )
        of_law = log_capped(np.quantile(law[gpm], LEVELS, axis=1, method="nearest").T)
        scores = [crps(observed, quantiles).mean() for quantiles in (kriged_depth, kriged_truth, said, of_law)]
        covers = [np.mean((observed >= q[:, 9]) & (observed <= q[:, 89])) for q in (said, of_law)]
        rows.append(
            {
                "setting": name,
                "gpm": gpm,
                "depth": scores[0],
                "truth": scores[1],
                "estimate": scores[2],
                "law": scores[3],
                "gap": scores[0] - scores[1],
                "closed": (scores[0] - scores[2]) / (scores[0] - scores[1]),
                "cover": covers[0],
                "law_cover": covers[1],
                "open_cover": open_cover(observed, said),
                "bias": np.expm1(np.mean(said[:, 49] - of_law[:, 49])),
                "cpu_s": spent,
            }
        )
        for depth in DEPTHS_FT:
            chance = np.array([np.interp(np.log(depth), row, LEVELS, left=0.0, right=1.0) for row in said])
            chances.append(
                pd.DataFrame({"said": chance, "law": (law[gpm] <= depth).mean(axis=1), "seen": at_lots <= depth})
            )
    return rows, chances


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wells", type=int, default=2000)
    parser.add_argument("--lots", type=int, default=500)
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--settings", default=",".join(SETTINGS))
    options = parser.parse_args()
    rows, chances = [], []
    for name in options.settings.split(","):
        for seed in range(options.first_seed, options.first_seed + options.seeds):
            more = study(name, SETTINGS[name], options.wells, options.lots, seed)
            rows += more[0]
            chances += more[1]
            print(pd.DataFrame(more[0]).round(3).to_string(index=False, header=not rows[len(more[0]) :]), flush=True)
    table = pd.DataFrame(rows)
    total = table[["depth", "truth", "estimate"]].sum()
    print(f"\ngap closed over all: {(total.depth - total.estimate) / (total.depth - total.truth):.3f}")
    told = table[table["gap"] > CLEAR_GAP]
    print(
        f"of {len(table)} rows {np.sum(table['bias'].abs() > 0.05)} have a bias beyond 5 %, "
        f"{np.sum((table['cover'] - 0.8).abs() > 0.03)} a cover outside 77 to 83 % (the law itself "
        f"{np.sum((table['law_cover'] - 0.8).abs() > 0.03)}); of {len(told)} with a gap over {CLEAR_GAP:g} "
        f"{np.sum(told['closed'] < 0.9)} close less than nine tenths of it"
    )
    shown = ["depth", "truth", "estimate", "law", "cover", "law_cover", "open_cover", "bias"]
    if options.seeds > 1:
        together = table.groupby(["setting", "gpm"], sort=False)[[*shown, "gap"]].mean()
        together["closed"] = (together["depth"] - together["estimate"]) / together["gap"]
        between = table.groupby(["setting", "gpm"], sort=False)["bias"].std() / np.sqrt(options.seeds)
        print("\nseeds together, with the standard error of the bias")
        print(together.assign(bias_se=between).round(3).to_string())
        print(
            f"of {len(together)} {np.sum(together['bias'].abs() > 0.05)} have a bias beyond 5 %, "
            f"{np.sum((together['open_cover'] - 0.8).abs() > 0.03)} an open cover outside 77 to 83 %; "
            f"{np.sum(together['closed'][together['gap'] > CLEAR_GAP] < 0.9)} close less than nine tenths of a gap\n"
        )
    print(table.groupby("gpm")[shown].mean().round(3).to_string())
    every = pd.concat(chances)
    bins = every.groupby(np.minimum((every["said"] * 10).astype(int), 9))
    print("\nchance of the target by a depth, in ten bins: said, by the region's own law, seen")
    print(bins.mean().assign(places=bins.size()).round(3).to_string())


if __name__ == "__main__":
    main()
