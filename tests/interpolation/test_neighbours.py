"""The compiled search for neighbours against scipy's tree."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wellrecords.interpolation import neighbours
from wellrecords.interpolation.neighbours import group_places, nearest

RNG = np.random.default_rng(3)


def scattered(count):
    return RNG.uniform(0, 50_000, (count, 2))


def clumps(count):
    """A few subdivisions with very many wells, noted to the metre, and nothing between them."""
    middles = np.repeat(scattered(-(-count // 200)), 200, axis=0)[:count]
    return np.round(middles + RNG.normal(0, 30, (count, 2)))


def on_a_line(count):
    return np.column_stack([np.full(count, 500.0), np.sort(RNG.uniform(0, 50_000, count))])


@pytest.mark.parametrize("layout", [scattered, clumps, on_a_line])
@pytest.mark.parametrize("count", [1, 12, 13, 3_000])
def test_finds_what_scipy_finds(layout, count):
    pytest.importorskip("numba")
    places = group_places(layout(count), np.zeros(count))
    targets = np.vstack([scattered(300), places.coordinates[:300] + 1.0, places.coordinates[:300]])
    k = min(48, places.count)
    distance, index = nearest(places, targets, 48, n_jobs=2)
    np.testing.assert_array_equal(distance, places.tree.query(targets, k=np.arange(1, k + 1))[0])
    offset = places.coordinates[index] - targets[:, None]
    np.testing.assert_array_equal(distance, np.sqrt(offset[..., 0] ** 2 + offset[..., 1] ** 2))
    assert all(len(set(row)) == k for row in index.tolist())


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 14), st.integers(1, 60), st.integers(0, 2**31))
@example(13, 34, 53)  # more ties at the edge than the first question to scipy's tree takes in
def test_ties_on_a_lattice_go_to_the_lower_number_in_both_languages(side, count, seed):
    """Wells at the corners of a survey's sections: equally far ones stand on every side."""
    pytest.importorskip("numba")
    lattice = np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1).reshape(-1, 2) * 1_600.0
    places = group_places(lattice, np.zeros(len(lattice)))
    targets = np.random.default_rng(seed).integers(0, 2 * side, (20, 2)) * 800.0
    _, index = nearest(places, targets, count)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(neighbours, "Leaves", None)
        _, plain = nearest(places, targets, count)
    np.testing.assert_array_equal(index, plain)
