import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from sklearn.linear_model import LinearRegression
from sklearn.model_selection import cross_val_score

from wellrecords.interpolation import BufferedBlocks, SpatialBlocks


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10_000), folds=st.integers(2, 6), cell_m=st.floats(100, 2_000))
def test_every_well_is_left_out_once_with_its_whole_cell(seed, folds, cell_m):
    xy = np.random.default_rng(seed).uniform(0, 20_000, (200, 2))
    cell = [tuple(row) for row in np.floor(xy / cell_m).astype(int)]
    tested = []
    for train, test in SpatialBlocks(folds, cell_m, random_state=seed).split(xy):
        assert not {cell[i] for i in train} & {cell[i] for i in test}
        tested.extend(test)
    assert sorted(tested) == list(range(200))


def test_the_buffer_keeps_the_training_wells_away():
    xy = np.random.default_rng(0).uniform(0, 10_000, (300, 2))
    for train, test in BufferedBlocks(5, 1_000.0, 250.0).split(xy):
        assert cKDTree(xy[test]).query(xy[train])[0].min() > 250.0


def test_works_where_scikit_learn_takes_a_cross_validator():
    xy = np.random.default_rng(0).uniform(0, 10_000, (300, 2))
    assert len(cross_val_score(LinearRegression(), xy, xy[:, 0], cv=SpatialBlocks(4))) == 4


def test_too_few_cells_and_too_wide_a_buffer_are_refused():
    xy = np.random.default_rng(0).uniform(0, 100, (30, 2))
    with pytest.raises(ValueError, match="5 folds need at least as many cells"):
        next(iter(SpatialBlocks(5, 1_000.0).split(xy)))
    with pytest.raises(ValueError, match="leaves no wells"):
        next(iter(BufferedBlocks(2, 10.0, 500.0).split(xy)))
