"""An invented lot for the tests of the bid: a small estimate with known ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True, eq=False)
class FakeEstimate:
    draws: pd.DataFrame | None
    lot_id: str = "lot-1"
    support: str = "good"
    notes: tuple[str, ...] = ()
    target_yield_gpm: float = 5.0
    max_depth_ft: float = 600.0

    def yield_at_depth(self, depth_ft):
        assert self.draws is not None
        target = self.draws["depth_to_target_ft"].to_numpy()
        made = self.target_yield_gpm * np.asarray(depth_ft) / np.where(np.isinf(target), 4000.0, target)
        return np.where(np.asarray(depth_ft) >= target, np.maximum(made, self.target_yield_gpm), made * 0.6)


def invented_draws(n: int = 4000, seed: int = 0) -> pd.DataFrame:
    """Rock, water and depth to target that hang together; one in eight never makes the target."""
    rng = np.random.default_rng(seed)
    common = rng.standard_normal(n)
    rock = 30.0 * np.exp(0.6 * (0.5 * common + 0.87 * rng.standard_normal(n)))
    water = 25.0 + 15.0 * (0.4 * common + 0.92 * rng.standard_normal(n))
    target = rock + 20.0 + 180.0 * np.exp(0.8 * (0.5 * common + 0.87 * rng.standard_normal(n)))
    target = np.where(rng.random(n) < 0.125, np.inf, target)
    return pd.DataFrame(
        {
            "depth_to_bedrock_ft": rock,
            "depth_to_water_ft": water,
            "depth_to_target_ft": target,
            "yield_gpm": np.where(np.isinf(target), 1.5, 7.0),
        }
    )
