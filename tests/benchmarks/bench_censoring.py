"""Interval kriging where many holes stop above rock, against dropping those holes.

Simulated rock surfaces whose truth is known: the log of the depth to rock is
a Gaussian field with a nugget, the drillers stop for reasons of their own,
about 30 % of them above rock, which leaves "rock is deeper than this hole".
The bias is held against the true median at each place, which is the field
without the nugget: against the depths of the 2,000 wells held out it would
show their luck, some 1.5 % where the nugget is large. Several regions of each
surface are drawn. One treatment leaves 60 % of the readings as wide
intervals, for the share of nugget.

Run: python tests/benchmarks/bench_censoring.py [REGIONS]
"""

import sys

import numpy as np

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import correlation

WELLS, PLACES = 3_000, 2_000
CLASS = np.log(6.0)
HOLE_BELOW = 0.6  # spreads below the median depth to rock, where the typical hole ends
SURFACES = {  # kind, sill, range_m, nugget, of the log of depth
    "smooth": ("matern", 0.50, 4_000.0, 0.10),
    "rough": ("exponential", 0.50, 4_000.0, 0.15),
    "noisy": ("exponential", 0.40, 8_000.0, 0.40),
    "short": ("exponential", 0.60, 1_500.0, 0.10),
    "small": ("matern", 0.15, 6_000.0, 0.05),
}


def surface(kind, sill, range_m, nugget, rng):
    """Draw one region at wells and at places: coordinates, the median of log depth, and the log depth of a well."""
    xy = rng.uniform(0.0, 30_000.0, size=(WELLS + PLACES, 2)) + 500_000.0
    squared = ((xy[:, None] - xy[None]) ** 2).sum(axis=-1)
    covariance = sill * correlation(kind, squared, range_m) + 1e-9 * np.eye(len(xy))
    median = np.log(60.0) + np.linalg.cholesky(covariance) @ rng.standard_normal(len(xy))
    return xy, median, median + np.sqrt(nugget) * rng.standard_normal(len(xy))


def scored(model, xy, median, log_depth):
    """Bias of the median against the true one, and share of the wells held out that lie in the 80 % interval."""
    low, middle, high = np.log(model.predict(xy).quantile([0.1, 0.5, 0.9])).T
    return np.expm1(np.mean(middle - median)), np.mean((log_depth >= low) & (log_depth <= high))


def region(parameters, rng):
    """Bias and coverage of each treatment of the censored holes in one region, and the share of nugget."""
    xy, median, log_depth = surface(*parameters, rng)
    wells, held_out = slice(0, WELLS), slice(WELLS, None)
    spread = np.sqrt(parameters[1] + parameters[3])
    hole = np.log(60.0) + spread * (HOLE_BELOW + 0.6 * rng.standard_normal(WELLS))
    stopped = hole < log_depth[wells]
    truth = np.exp(log_depth[wells])
    low = np.exp(np.where(stopped, hole, log_depth[wells]))
    wide = rng.uniform(size=WELLS) < 0.6
    offset = rng.uniform(size=WELLS)  # classes of a factor of 6, each well's with limits of its own
    shelf = (np.floor(log_depth[wells] / CLASS + offset) - offset) * CLASS
    readings = {
        "intervals": (low, np.where(stopped, np.inf, low)),
        "those holes dropped": (low[~stopped], low[~stopped]),
        "every hole to rock": (truth, truth),
        "60 % wide intervals": (np.where(wide, np.exp(shelf), truth), np.where(wide, np.exp(shelf + CLASS), truth)),
    }
    found = {}
    for name, (least, most) in readings.items():
        at = xy[wells][~stopped] if name == "those holes dropped" else xy[wells]
        model = IntervalKriging().fit(at, least, most)
        nugget = model.covariance_.nugget / (model.covariance_.nugget + model.covariance_.sill)
        found[name] = (*scored(model, xy[held_out], median[held_out], log_depth[held_out]), nugget)
    return stopped.mean(), found


def main(regions):
    """Print a table a surface, and the worst of all."""
    biases, coverage = [], []
    for number, (name, parameters) in enumerate(SURFACES.items()):
        results = [region(parameters, np.random.default_rng([number, again])) for again in range(regions)]
        stopped = np.mean([share for share, _ in results])
        truth = parameters[3] / (parameters[1] + parameters[3])
        print(f"{name}: {stopped:.0%} of {WELLS} holes stop above rock; share of nugget {truth:.2f} in truth")
        for treatment in results[0][1]:
            bias, covered, nugget = np.transpose([found[treatment] for _, found in results])
            each = " ".join(f"{share:+.1%}" for share in bias)
            print(
                f"  {treatment:20s} bias {bias.mean():+6.1%} ({each})  "
                f"covers {covered.min():.1%} to {covered.max():.1%}  nugget {nugget.mean():.2f}",
                flush=True,
            )
            if treatment == "intervals":
                biases.append(bias.mean())
                coverage += list(covered)
    print(
        f"bias of the median {max(map(abs, biases)):.1%} at most; "
        f"80 % intervals cover {min(coverage):.1%} to {max(coverage):.1%}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
