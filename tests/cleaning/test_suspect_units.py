"""Columns in another unit than is said, among sources that are not."""

import numpy as np
import pandas as pd
import pytest

from wellrecords.cleaning.suspect_units import suspect_units

CRS = "EPSG:26919"
L_PER_GAL = 3.785411784  # by definition (231 cubic inches)


def two_sources(depth_factor: float = 1.0, yield_factor: float = 1.0, seed: int = 0, count: int = 600) -> pd.DataFrame:
    """Wells of two sources on the same ground; the second's figures are multiplied."""
    rng = np.random.default_rng(seed)
    second = rng.random(count) < 0.4
    depth = np.exp(rng.normal(5.3, 0.5, count)) * np.where(second, depth_factor, 1.0)
    flow = np.exp(rng.normal(1.5, 1.1, count)) * np.where(second, yield_factor, 1.0)
    rock = np.exp(rng.normal(3.0, 0.7, count)) * np.where(second, depth_factor, 1.0)
    return pd.DataFrame(
        {
            "source": np.where(second, "state", "firm"),
            "longitude": rng.uniform(-70.1, -69.9, count),
            "latitude": rng.uniform(45.1, 45.3, count),
            "total_depth_ft": depth,
            "depth_to_bedrock_ft_low": rock,
            "depth_to_bedrock_ft_high": rock,
            "yield_gpm_low": flow,
            "yield_gpm_high": flow,
        }
    )


@pytest.mark.parametrize("seed", range(5))
def test_sources_in_one_unit_raise_no_alarm(seed):
    assert suspect_units(two_sources(seed=seed), CRS) == []
    assert suspect_units(two_sources(1.3, 0.7, seed=seed), CRS) == [], "another aquifer, not another unit"


@pytest.mark.parametrize(
    ("factors", "column", "words"),
    [
        ((0.3048, 1.0), "total_depth_ft", "if m had been taken for ft"),
        ((0.3048, 1.0), "depth_to_bedrock_ft", "if m had been taken for ft"),
        ((1 / 0.3048, 1.0), "total_depth_ft", "if ft had been taken for m"),
        ((1.0, L_PER_GAL), "yield_gpm", "L/min had been taken for gpm"),
        ((1.0, L_PER_GAL / 60.0), "yield_gpm", "L/s had been taken for gpm"),
    ],
)
def test_a_column_in_another_unit_is_told_of_both_sources(factors, column, words):
    told = suspect_units(two_sources(*factors), CRS)
    (state,) = (sentence for sentence in told if sentence.startswith(f"state: {column}"))
    assert words in state
    assert any(sentence.startswith(f"firm: {column}") for sentence in told), "nobody knows which of the two is right"


def test_one_source_or_sources_far_apart_say_nothing():
    wells = two_sources(0.3048)
    assert suspect_units(wells[wells["source"] == "state"], CRS) == []
    apart = wells.assign(latitude=wells["latitude"] + (wells["source"] == "state"))
    assert suspect_units(apart, CRS) == []
