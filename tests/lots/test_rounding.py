"""How drillers round, from the figures they write."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wellrecords.lots.rounding import FEWEST, RANGES, STEPS_GPM, read_rounding, step_chances


def written(shares, n=4000, seed=0):
    """Yields around 5 gpm, each rounded to a step drawn by its share."""
    rng = np.random.default_rng(seed)
    made = np.exp(rng.normal(1.6, 0.8, n))
    step = rng.choice(list(shares), n, p=list(shares.values()))
    figure = np.where(made < 0.5 * step, 0.1, 1.0) * np.round(made / step) * step
    figure = np.where(figure > 0, figure, np.maximum(np.round(made, 1), 0.1))
    return made, step, np.round(figure, 2)


@pytest.mark.parametrize("shares", [{0.1: 0.3, 1.0: 0.4, 5.0: 0.3}, {0.5: 0.2, 5.0: 0.8}, {0.1: 1.0}])
def test_the_shares_of_the_steps_are_found(shares):
    """Of invented drillers, each of whom rounds in a way of his own."""
    _, _, figure = written(shares)
    figures, count = np.unique(figure, return_counts=True)
    chance = step_chances(figures, count)
    near = (figures > 3.5) & (figures < 12)
    found = np.average(chance[near], axis=0, weights=count[near])
    for step, said in zip(STEPS_GPM, found, strict=True):
        assert said == pytest.approx(shares.get(step, 0.0), abs=0.09)


def test_a_heap_stands_for_what_was_rounded_to_it():
    """Five for anything from 2.5 to 7.5, by most: the mean of its range is that of what was made."""
    made, _, figure = written({0.1: 0.2, 5.0: 0.8})
    as_written, rounded = read_rounding(figure, np.ones(len(figure), dtype=bool))
    five = np.flatnonzero(figure == 5.0)
    chance, low, high = rounded[five[0]].T
    wide = chance > 0
    assert (low[wide], high[wide]) == (pytest.approx([2.5]), pytest.approx([7.5]))
    inside = np.mean((made[five] > 2.5) & (made[five] < 7.5))
    assert inside > 0.98
    share = np.mean((made[five] < 4.95) | (made[five] > 5.05))
    assert (chance * np.log(high / np.maximum(low, 1e-9)))[wide].sum() == pytest.approx(share, abs=0.03)
    other = np.flatnonzero(figure == 4.3)
    assert as_written[other] == pytest.approx(1.0)
    assert not rounded[other, :, 0].any()


def test_yields_as_measured_stand_for_themselves():
    """Nothing is heaped where nobody rounds."""
    gpm = np.exp(np.random.default_rng(1).normal(1.0, 1.0, 500))
    as_written, rounded = read_rounding(gpm, np.ones(500, dtype=bool))
    assert as_written == pytest.approx(np.ones(500))
    assert not rounded[:, :, 0].any()


def test_a_few_yields_are_taken_as_written():
    """Nobody knows how they were rounded."""
    as_written, rounded = read_rounding(np.full(FEWEST - 1, 5.0), np.ones(FEWEST - 1, dtype=bool))
    assert (as_written == 1.0).all()
    assert not rounded[:, :, 0].any()


@given(st.lists(st.sampled_from([0.1, 0.25, 0.5, 0.7, 1.0, 1.5, 2.0, 3.33, 5.0, 10.0, 12.0, 50.0, 400.0]), min_size=10))
def test_chances_sum_to_one(figures):
    """Whatever the figures: one density gives one, ranges are whole, and the order does not matter."""
    gpm = np.array(figures)
    read = np.ones(len(gpm), dtype=bool)
    as_written, rounded = read_rounding(gpm, read)
    chance, low, high = np.moveaxis(rounded, 2, 0)
    assert chance.shape == (len(gpm), RANGES)
    assert np.all(low <= gpm[:, None])
    assert np.all(high >= gpm[:, None])
    assert as_written + (chance * np.log(high / low)).sum(axis=1) == pytest.approx(np.ones(len(gpm)))
    turned = read_rounding(gpm[::-1], read)
    assert np.array_equal(turned[0][::-1], as_written)


@pytest.mark.parametrize("slip", [1e-4, 3e4, 1e9])
def test_a_yield_that_no_well_has_stands_for_itself_and_changes_no_other(slip):
    """A slip of the pen lies off the grid on which the others are weighed."""
    _, _, figure = written({0.1: 0.2, 5.0: 0.8})
    read = np.ones(len(figure), dtype=bool)
    alone = read_rounding(figure, read)
    with_slip = read_rounding(np.append(figure, slip), np.append(read, True))
    assert with_slip[0][-1] == 1.0
    assert with_slip[1][-1, :, 0].sum() == 0.0
    for one, other in zip(alone, with_slip, strict=True):
        assert np.array_equal(one, other[:-1])
