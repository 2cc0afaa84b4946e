"""How often the drift warning is wrong, and how soon it sees a drift.

Run ``python tests/benchmarks/bench_drift.py``. Firms of 100 wells, one
quantity, default settings; normal scores of the PITs with a mean (bias, in
standard deviations of the estimate) and a spread (above 1: over-sure).
"""

import time

import numpy as np
import pandas as pd
from scipy import stats

from wellrecords.outcomes import DriftSettings, drift

FIRMS, WELLS = 100, 100


def warned_by(mean: float, spread: float, seed: int) -> list[float]:
    """Return the shares of firms that are warned by 25, 50 and 100 wells."""
    rng = np.random.default_rng(seed)
    settings = DriftSettings(quantities=("drilled_ft",))
    days = pd.date_range("2020-01-01", periods=WELLS, freq="7D")
    table = pd.DataFrame({"well_id": [f"w{n:03d}" for n in range(WELLS)], "drilled_on": days, "quantity": "drilled_ft"})
    scores = rng.normal(mean, spread, (FIRMS, WELLS))
    return [
        float(
            np.mean(
                [
                    drift(table.head(seen).assign(pit=stats.norm.cdf(firm[:seen])), settings)["alarm"].any()
                    for firm in scores
                ]
            )
        )
        for seen in (25, 50, 100)
    ]


if __name__ == "__main__":
    print(f"{'bias, sd':>9} {'spread':>7} {'80 % covers':>12} {'by 25':>7} {'by 50':>7} {'by 100':>7}")
    start = time.perf_counter()
    for seed, (mean, spread) in enumerate([(0, 1), (0.3, 1), (0.5, 1), (1, 1), (-1, 1), (0, 1.3), (0, 1.6), (0, 0.7)]):
        z = stats.norm.ppf(0.9)
        covers = stats.norm.cdf((z - mean) / spread) - stats.norm.cdf((-z - mean) / spread)
        shares = "".join(f"{share:>8.0%}" for share in warned_by(mean, spread, seed))
        print(f"{mean:>9g} {spread:>7g} {covers:>12.0%}{shares}")
    print(f"{FIRMS} firms a line; {time.perf_counter() - start:.0f} s")
