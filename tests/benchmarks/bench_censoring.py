"""Interval kriging where many holes stop above rock, against dropping those holes.

Simulated rock surfaces whose truth is known: the log of the depth to rock is
a Gaussian field with a nugget, the drillers stop for reasons of their own,
about 30 % of them above rock, which leaves "rock is deeper than this hole".
A last part leaves 60 % of the readings as wide intervals and looks at the
share of nugget.

Run: python tests/benchmarks/bench_censoring.py
"""

import time

import numpy as np

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import correlation

WELLS, PLACES = 3_000, 2_000
CLASS = np.log(6.0)
SURFACES = {  # kind, sill, range_m, nugget, of the log of depth
    "smooth": ("matern", 0.50, 4_000.0, 0.10),
    "rough": ("exponential", 0.50, 4_000.0, 0.15),
    "noisy": ("exponential", 0.40, 8_000.0, 0.40),
    "short": ("exponential", 0.60, 1_500.0, 0.10),
    "small": ("matern", 0.15, 6_000.0, 0.05),
}


def surface(kind, sill, range_m, nugget, rng):
    """Draw one field at wells and at places: coordinates and log depth of both."""
    xy = rng.uniform(0.0, 30_000.0, size=(WELLS + PLACES, 2)) + 500_000.0
    squared = ((xy[:, None] - xy[None]) ** 2).sum(axis=-1)
    covariance = sill * correlation(kind, squared, range_m)
    covariance[np.diag_indices_from(covariance)] += nugget
    return xy, np.log(60.0) + np.linalg.cholesky(covariance) @ rng.standard_normal(len(xy))


def report(label, model, xy, log_depth):
    """Print bias of the median, coverage and width of the 80 % interval at the places held out."""
    low, median, high = np.log(model.predict(xy).quantile([0.1, 0.5, 0.9])).T
    bias = np.expm1(np.mean(median - log_depth))
    covered = np.mean((log_depth >= low) & (log_depth <= high))
    nugget = model.covariance_.nugget / (model.covariance_.nugget + model.covariance_.sill)
    width = np.mean(high - low)
    shares = f"bias {bias:+7.1%}   covers {covered:6.1%}"
    print(f"  {label:28s} {shares}   width {width:.2f}   nugget {nugget:.2f}", flush=True)
    return bias, covered


def main():
    """Print the tables."""
    worst_bias, coverage = 0.0, []
    for number, (name, parameters) in enumerate(SURFACES.items()):
        rng = np.random.default_rng(number)
        xy, log_depth = surface(*parameters, rng)
        wells = slice(0, WELLS)
        spread = np.sqrt(parameters[1] + parameters[3])
        hole = np.log(60.0) + 0.7 * spread + 0.6 * spread * rng.standard_normal(WELLS)
        stopped = hole < log_depth[wells]
        low = np.exp(np.where(stopped, hole, log_depth[wells]))
        high = np.where(stopped, np.inf, low)
        print(f"{name}: {stopped.mean():.0%} of {WELLS} holes stop above rock")
        start = time.process_time()
        kept = IntervalKriging().fit(xy[wells], low, high)
        seconds = time.process_time() - start
        bias, covered = report(f"intervals ({seconds:.1f} s CPU)", kept, xy[WELLS:], log_depth[WELLS:])
        coverage.append(covered)
        report(
            "those holes dropped",
            IntervalKriging().fit(xy[wells][~stopped], low[~stopped]),
            xy[WELLS:],
            log_depth[WELLS:],
        )
        truth = np.exp(log_depth[wells])
        known, _ = report("every hole to rock", IntervalKriging().fit(xy[wells], truth), xy[WELLS:], log_depth[WELLS:])
        worst_bias = max(worst_bias, abs(bias - known))  # what censoring adds to the luck of the places
        wide = rng.uniform(size=WELLS) < 0.6
        offset = rng.uniform(size=WELLS)  # classes of a factor of 6, each well's with limits of its own
        shelf = (np.floor(log_depth[wells] / CLASS + offset) - offset) * CLASS
        model = IntervalKriging().fit(
            xy[wells], np.where(wide, np.exp(shelf), truth), np.where(wide, np.exp(shelf + CLASS), truth)
        )
        report("60 % wide intervals", model, xy[WELLS:], log_depth[WELLS:])
    print(
        f"censoring adds a bias of {worst_bias:.1%} at most; "
        f"80 % intervals cover {min(coverage):.1%} to {max(coverage):.1%}"
    )


if __name__ == "__main__":
    main()
