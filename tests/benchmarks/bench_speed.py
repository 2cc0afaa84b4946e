"""Speed of the interpolation: beside PyKrige's compiled backend, and by number of wells.

Run: python tests/benchmarks/bench_speed.py [LARGEST]     (number of wells in the last table, 1e6 by default)
"""

import resource
import sys
import time

import numpy as np
from pykrige.ok import OrdinaryKriging

from wellrecords.interpolation import Covariance, IntervalKriging, kernel, surface
from wellrecords.interpolation.neighbours import nearest

PARAMETERS = Covariance("exponential", 0.5, 4_000.0, 0.2)


def wells(count, rng, side_m):
    """Invented wells with a smooth trend and noise."""
    xy = rng.uniform(0.0, side_m, size=(count, 2)) + 500_000.0
    wave = np.sin(xy[:, 0] / 9_000.0) + np.cos(xy[:, 1] / 7_000.0)
    return xy, np.exp(4.0 + wave + rng.normal(0.0, 0.5, count))


def clock(task, repeat=3):
    """Best wall time of a few runs, in seconds."""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return min(times)


def beside_pykrige():
    """Print places per second at 32 neighbours, scattered and on a grid."""
    rng = np.random.default_rng(0)
    xy, value = wells(3_000, rng, 50_000.0)
    model = IntervalKriging(covariance=PARAMETERS, n_neighbours=32, n_trees=0).fit(xy, value)
    reference = OrdinaryKriging(
        *xy.T,
        np.log(value),
        variogram_model="exponential",
        variogram_parameters={"psill": 0.5, "range": 12_000.0, "nugget": 0.2},
    )
    targets = rng.uniform(0.0, 50_000.0, size=(20_000, 2)) + 500_000.0
    axis = np.arange(200) * 100.0 + 510_000.0
    cells = np.stack(np.meshgrid(axis, axis), axis=-1)
    squares = cells.reshape(50, 4, 50, 4, 2).swapaxes(1, 2).reshape(-1, 16, 2)
    noise = np.full(model.places_.count, PARAMETERS.nugget)
    logs = np.zeros(model.places_.count)
    logs[model.places_.place_of_well] = np.log(value)

    def theirs(points):
        return reference.execute("points", *points.T, backend="C", n_closest_points=32)

    def shared():
        _, index = nearest(model.places_, squares.mean(axis=1), 32, 2)
        return kernel.solve_groups(
            PARAMETERS, model.places_, logs, noise, squares, np.zeros(squares.shape[:2]), index, n_jobs=2
        )

    model.kriging(targets[:300]), shared()  # compile before the clock starts
    difference = np.abs(model.kriging(targets[:2_000])[0] - theirs(targets[:2_000])[0]).max()
    base = len(targets) / clock(lambda: theirs(targets), 2)
    rates = {
        "PyKrige, compiled backend": base,
        "scattered places": len(targets) / clock(lambda: model.kriging(targets)),
        "grid, 16 cells share": squares.shape[0] * 16 / clock(shared),
    }
    compiled, kernel.solve_tile = kernel.solve_tile, None
    if compiled is not None:
        rates["scattered, without numba"] = len(targets) / clock(lambda: model.kriging(targets))
        rates["grid, without numba"] = squares.shape[0] * 16 / clock(shared)
    kernel.solve_tile = compiled
    print(f"32 neighbours of 3,000 wells, 2 threads; scattered means agree to {difference:.0e}")
    for name, rate in rates.items():
        print(f"  {name:28s} {rate:10,.0f} places/s   {rate / base:5.1f} times")


def by_size(largest):
    """Print times of fit, prediction and a surface by number of wells.

    The cells are 100 m wide, less where the wells' ground is too small for a
    million of them. `per n log n` is the CPU time of the fit in microseconds
    over n log2(n): level where time grows as that.
    """
    print("\n    wells  trees   fit s   CPU s  per n log n   1e4 places s   1e6 cells s   CPU s   peak MB")
    for count in [10**power for power in range(3, 8) if 10**power <= largest]:
        rng = np.random.default_rng(1)
        side = 320.0 * np.sqrt(count)
        cell = min(side / 1_000.0, 100.0)
        xy, value = wells(count, rng, side)
        for trees in (0, 60):
            start, cpu = time.perf_counter(), time.process_time()
            model = IntervalKriging(n_trees=trees).fit(xy, value)
            fit, fit_cpu = time.perf_counter() - start, time.process_time() - cpu
            places = clock(lambda model=model, xy=xy: model.predict(xy[:10_000] + 50.0), 1)
            start, cpu = time.perf_counter(), time.process_time()
            surface(model, (5e5, 5e5, 5e5 + 1_000.0 * cell, 5e5 + 1_000.0 * cell), cell)
            grid, grid_cpu = time.perf_counter() - start, time.process_time() - cpu
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
            print(
                f"{count:9,d}  {trees:5d}  {fit:6.1f}  {fit_cpu:6.1f}  {1e6 * fit_cpu / count / np.log2(count):11.1f}"
                f"  {places:13.2f}  {grid:12.1f}  {grid_cpu:6.1f}  {peak:8.0f}",
                flush=True,
            )


if __name__ == "__main__":
    beside_pykrige()
    by_size(float(sys.argv[1]) if len(sys.argv) > 1 else 1e6)
