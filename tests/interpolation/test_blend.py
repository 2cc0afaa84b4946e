"""Forests beside kriging: shares that help, and nothing else."""

import numpy as np
import pytest

from wellrecords.interpolation.blend import blend, choose_shares, table_score
from wellrecords.interpolation.distribution import SCORES, ScoreTable
from wellrecords.interpolation.forest import ABOUT_KRIGING, ANGLES, features, of_the_ground

RANK = np.arange(4_000)


def normal(mean, n=4_000):
    """Table of the same normal distribution at n places."""
    return np.tile(mean + SCORES, (n, 1))


def test_the_score_of_a_normal_table_is_the_closed_form():
    """CRPS of N(0, 1) at its own draws has the mean 1 / sqrt(pi) (Gneiting and Raftery 2007, eq. 21)."""
    reading = np.random.default_rng(0).standard_normal(20_000)
    assert table_score(normal(0.0, len(reading)), reading) == pytest.approx(1.0 / np.sqrt(np.pi), rel=0.02)


def test_shares_are_those_that_lead_to_the_truth():
    """Readings about 0.2; kriging says -1, one forest 1, another 5: six tenths of the first are right."""
    reading = 0.2 + np.random.default_rng(1).standard_normal(4_000)
    first, second = choose_shares(normal(-1.0), [normal(1.0), normal(5.0)], reading, RANK, np.random.default_rng(0))
    assert 2.0 * first + 6.0 * second - 1.0 == pytest.approx(0.2, abs=0.11)
    alone = choose_shares(normal(0.2), [normal(1.0), normal(5.0)], reading, RANK, np.random.default_rng(0))
    assert alone == (0.0, 0.0)


def test_shares_are_the_best_of_all_tenths():
    """Against every pair of tenths: a way downhill can end in a narrow valley."""
    rng = np.random.default_rng(4)
    for _ in range(5):
        reading = rng.standard_normal(300)
        kriging, first, second = (normal(0.0, 300) * rng.uniform(0.3, 3.0) + rng.normal(0.0, 1.0) for _ in range(3))
        w, v = choose_shares(kriging, [first, second], reading, np.arange(300), rng)

        def score(w, v, tables=(kriging, first, second), reading=reading):
            return table_score((1.0 - w - v) * tables[0] + w * tables[1] + v * tables[2], reading)

        every = [score(i / 10, j / 10) for i in range(11) for j in range(11 - i)]
        assert score(w, v) == pytest.approx(min(every), rel=1e-9)


def test_many_wells_are_scored_alike_in_whatever_order_they_come(monkeypatch):
    monkeypatch.setattr("wellrecords.interpolation.blend.SCORED_AT_MOST", 40)
    rng = np.random.default_rng(6)
    reading, rank = rng.standard_normal(300), rng.permutation(300)
    tables = [normal(0.0, 300) + rng.standard_normal((300, 1)) for _ in range(3)]

    def shares(order, seed):
        kriging, *forests = (table[order] for table in tables)
        return choose_shares(kriging, forests, reading[order], rank[order], np.random.default_rng(seed))

    for seed in range(5):
        assert shares(np.arange(300), seed) == shares(rng.permutation(300), seed)
    assert len({shares(np.arange(300), seed) for seed in range(20)}) > 1  # forty wells are not all


def test_a_blend_is_the_weighted_mean_of_the_quantiles():
    kriging = ScoreTable.normal(np.array([2.0]), np.array([1.0]))
    told = blend(kriging, [(normal(4.0, 1), 0.25), (normal(8.0, 1), 0.25)], 1e-9)
    assert told.at(SCORES)[0] == pytest.approx(0.5 * 2.0 + 0.25 * 4.0 + 0.25 * 8.0 + SCORES, abs=1e-6)


def test_the_ground_alone_knows_no_reading():
    rng = np.random.default_rng(2)
    xy, mean, sd, around, slope = (
        rng.normal(size=(5, 2)),
        rng.normal(size=5),
        np.ones(5),
        np.ones((5, 3)),
        np.arange(5.0),
    )
    inputs = features(xy, np.zeros(2), mean, sd, around, slope[:, None])
    other = features(xy, np.zeros(2), mean + 9.0, 2.0 * sd, 7.0 * around, slope[:, None])
    assert inputs.shape[1] == ANGLES + ABOUT_KRIGING + 1
    assert np.array_equal(of_the_ground(inputs), of_the_ground(other))
    assert np.array_equal(of_the_ground(inputs)[:, -1], slope)
