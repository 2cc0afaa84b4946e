"""Accuracy on invented sets that are hard each in a way of its own, against simpler methods.

Crowds of one value, heaped depths, section centres without position error,
two far clusters, strong trends, heavy tails, zeros, sharp borders and more:
what other regions' records may bring. The log or the value itself is scored
on 300 m cells left out; kriging should beat the better of the nearest 15
wells and a quantile forest on each, and its 80 % intervals cover 80 %.

Run: python tests/benchmarks/bench_robust.py [SEED] [NAME ...]
"""

import sys
import time

import numpy as np
from scipy.spatial.distance import cdist

from wellrecords.interpolation import IntervalKriging, SpatialBlocks, validate
from wellrecords.interpolation.covariance import correlation

RIVALS = ("nearest 15 wells", "quantile forest")
KNOTS = 900


def field(xy, rng, range_m=5_000.0, kind="exponential"):
    """Draw a field of variance 1 at many points: a Gaussian field at knots, carried over by simple kriging."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    knots = np.vstack([rng.uniform(low, high, (KNOTS // 2, 2)), xy[rng.integers(len(xy), size=KNOTS // 2)]])
    knots = knots + rng.uniform(-200.0, 200.0, knots.shape)
    covariance = correlation(kind, cdist(knots, knots, "sqeuclidean"), range_m) + 1e-6 * np.eye(len(knots))
    weights = np.linalg.solve(covariance, np.linalg.cholesky(covariance) @ rng.standard_normal(len(knots)))
    return correlation(kind, cdist(xy, knots, "sqeuclidean"), range_m) @ weights


def scattered(n, rng, side_m=40_000.0):
    """Wells anywhere in a square."""
    return rng.uniform(0.0, side_m, (n, 2)) + 500_000.0


def clumped(n, rng, clumps=40, spread_m=900.0):
    """Most wells in villages, the rest anywhere."""
    middle = scattered(clumps, rng)
    share = rng.dirichlet(np.full(clumps, 0.6))
    xy = middle[rng.choice(clumps, n, p=share)] + spread_m * rng.standard_normal((n, 2))
    return np.where(rng.uniform(size=(n, 1)) < 0.25, scattered(n, rng), xy)


def heap(depth, rng):
    """Round as drillers do: most to 5, 20 or 100 feet."""
    step = rng.choice([1.0, 5.0, 20.0, 50.0, 100.0], len(depth), p=[0.2, 0.3, 0.25, 0.1, 0.15])
    return np.maximum(step * np.round(depth / step), np.minimum(step, 5.0))


def villages(rng):
    """Clumped wells, a field and a nugget."""
    xy = clumped(2_500, rng)
    return xy, np.exp(4.5 + 0.5 * field(xy, rng) + 0.4 * rng.standard_normal(len(xy)))


def heaped_depths(rng):
    """Depths on round figures."""
    xy = clumped(2_500, rng)
    return xy, heap(np.exp(5.0 + 0.35 * field(xy, rng) + 0.35 * rng.standard_normal(len(xy))), rng)


def crowds_of_one_job(rng):
    """Monitoring wells: crowds within a hundred metres that all read the same, unlike the wells around."""
    xy = clumped(2_500, rng)
    reading = np.exp(4.5 + 0.5 * field(xy, rng) + 0.6 * rng.standard_normal(len(xy)))
    for middle in scattered(8, rng):
        size = int(rng.integers(15, 60))
        xy = np.vstack([xy, middle + 110.0 * rng.standard_normal((size, 2))])
        reading = np.append(reading, np.round(np.exp(rng.normal(2.0, 0.8)) * rng.lognormal(0.0, 0.05, size)) + 1.0)
    return xy, reading


def section_centres(rng):
    """Positions at the middle of their square mile, their error not stated."""
    xy = clumped(4_000, rng)
    reading = heap(np.exp(4.8 + 0.5 * field(xy, rng) + 0.5 * rng.standard_normal(len(xy))), rng)
    return (np.floor(xy / 1_609.0) + 0.5) * 1_609.0, reading


def heavy_tails(rng):
    """Noise of Student's t with 2.5 degrees of freedom."""
    xy = scattered(2_000, rng)
    return xy, np.exp(np.clip(3.0 + 0.5 * field(xy, rng) + 0.35 * rng.standard_t(2.5, len(xy)), -6.0, 12.0))


def yields_with_zeros(rng):
    """One well in ten is dry; yields stand on round figures."""
    xy = clumped(2_000, rng)
    gpm = np.exp(2.0 + 0.35 * field(xy, rng) + 0.9 * rng.standard_normal(len(xy)))
    gpm = np.where(gpm > 3.0, np.maximum(5.0 * np.round(gpm / 5.0), 3.0), np.round(gpm, 1) + 0.1)
    return xy, np.where(rng.uniform(size=len(xy)) < 0.1, 0.0, gpm)


def nearly_constant(rng):
    """Half the region reads 30 feet save for a few; the other half varies."""
    xy = scattered(1_500, rng)
    lively = (xy[:, 0] > 520_000.0) | (rng.uniform(size=len(xy)) < 0.03)
    return xy, np.where(lively, np.exp(4.0 + 0.8 * field(xy, rng) + 0.4 * rng.standard_normal(len(xy))), 30.0)


def two_far_clusters(rng):
    """Two towns 200 km apart, with nothing in common."""
    xy = np.vstack([scattered(500, rng, 9_000.0), scattered(300, rng, 6_000.0) + np.array([200_000.0, 30_000.0])])
    first = np.arange(800) < 500
    noise = np.where(first, 0.25, 0.7) * rng.standard_normal(800)
    return xy, np.exp(np.where(first, 4.0, 6.0) + 0.3 * field(xy, rng, 2_000.0) + noise)


def strong_trend(rng):
    """A slope that dwarfs the rest, sparse wells."""
    xy = scattered(600, rng)
    slope = (xy - 520_000.0) @ [1.5e-4, 0.7e-4]
    return xy, np.exp(4.0 + slope + 0.3 * field(xy, rng) + 0.2 * rng.standard_normal(len(xy)))


def sharp_border(rng):
    """A fault: fifty feet on one side, four hundred on the other."""
    xy = clumped(2_000, rng)
    deep = xy[:, 1] > 520_000.0 + 4_000.0 * np.sin((xy[:, 0] - 500_000.0) / 6_000.0)
    return xy, np.exp(np.where(deep, 6.0, 3.9) + 0.3 * field(xy, rng) + 0.25 * rng.standard_normal(len(xy)))


def two_aquifers(rng):
    """A perched and a deep aquifer in the same ground, the share of each drifting."""
    xy = clumped(3_000, rng)
    perched = rng.uniform(size=len(xy)) < 1.0 / (1.0 + np.exp(-1.5 * field(xy, rng)))
    level = (
        np.where(perched, 2.7, 5.3) + 0.3 * field(xy, rng) + np.where(perched, 0.5, 0.2) * rng.standard_normal(len(xy))
    )
    return xy, np.round(np.exp(level)) + 1.0


def lively_and_calm(rng):
    """The scale of the noise drifts by a factor of six."""
    xy = scattered(2_500, rng)
    scale = 0.35 * np.exp(0.7 * field(xy, rng, 8_000.0))
    return xy, np.exp(4.0 + 0.4 * field(xy, rng) + scale * rng.standard_normal(len(xy)))


def folded_ridges(rng):
    """Bands eight times longer than wide, at an angle."""
    xy = scattered(1_200, rng)
    turn = np.array([[np.cos(0.6), np.sin(0.6)], [-np.sin(0.6), np.cos(0.6)]])
    bands = field(500_000.0 + ((xy - 500_000.0) @ turn.T) * [1.0, 8.0], rng, 20_000.0)
    return xy, np.exp(4.5 + 0.8 * bands + 0.25 * rng.standard_normal(len(xy)))


def pure_noise(rng):
    """Nothing to be learnt from the place, few wells."""
    xy = scattered(500, rng)
    return xy, np.exp(2.0 + 1.0 * rng.standard_normal(len(xy)))


def many_wells(rng):
    """Twenty thousand wells in villages, skewed noise."""
    xy = clumped(20_000, rng, clumps=300)
    return xy, heap(np.exp(4.5 + 0.5 * field(xy, rng) + 0.5 * (rng.gamma(2.0, 1.0, len(xy)) - 2.0)), rng)


SETS = (
    villages,
    heaped_depths,
    crowds_of_one_job,
    section_centres,
    heavy_tails,
    yields_with_zeros,
    nearly_constant,
    two_far_clusters,
    strong_trend,
    sharp_border,
    two_aquifers,
    lively_and_calm,
    folded_ridges,
    pure_noise,
    many_wells,
)


def main(seed, names):
    """Print a row a set, and the geometric mean of the CRPS ratios."""
    ratios, covers = [], []
    print(f"{'set':20s} {'wells':>6s} {'CRPS':>7s} {'ratio':>6s} {'covers':>7s} {'rivals cover':>13s} {'CPU s':>6s}")
    for number, make in enumerate(SETS):
        if names and make.__name__ not in names:
            continue
        xy, reading = make(np.random.default_rng([seed, number]))
        start = time.process_time()
        table = validate(IntervalKriging(), xy, reading, rivals=RIVALS, cv=SpatialBlocks(random_state=seed))
        table = table.set_index("method")
        ours, theirs = table.loc["kriging"], table.loc[list(RIVALS)]
        ratios.append(ours["crps"] / theirs["crps"].min())
        covers.append(ours["covers_80"])
        rivals = " ".join(f"{share:.3f}" for share in theirs["covers_80"])
        print(
            f"{make.__name__:20s} {len(xy):6d} {ours['crps']:7.4f} {ratios[-1]:6.3f} {covers[-1]:7.3f} {rivals:>13s} "
            f"{time.process_time() - start:6.1f}",
            flush=True,
        )
    mean = np.exp(np.mean(np.log(ratios)))
    print(f"geometric mean {mean:.3f}, worst {max(ratios):.3f}; covers {min(covers):.1%} to {max(covers):.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 0, sys.argv[2:])
