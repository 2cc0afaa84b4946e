"""Dependence from intervals, and draws through a copula."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from wellrecords.lots.joint import copula_levels, normal_correlation


def test_correlation_is_found_through_censoring():
    """With a third of one column known only as 'above', the correlation is still found."""
    rng = np.random.default_rng(0)
    z = rng.multivariate_normal([0, 0], [[1, 0.6], [0.6, 1]], 3000)
    low = stats.norm.cdf(z)
    high = low.copy()
    censored = low[:, 1] > 0.66
    low[censored, 1], high[censored, 1] = 0.66, 1.0
    assert normal_correlation(low, high)[0, 1] == pytest.approx(0.6, abs=0.05)


def test_a_column_not_known_at_all_is_independent():
    """Nothing is made up for a quantity without readings."""
    rng = np.random.default_rng(1)
    low = np.column_stack([rng.uniform(size=300), np.zeros(300)])
    high = np.column_stack([low[:, 0], np.ones(300)])
    assert normal_correlation(low, high)[0, 1] == pytest.approx(0.0, abs=0.15)
    assert normal_correlation(low[:0], high[:0]) == pytest.approx(np.eye(2))


@settings(deadline=None, max_examples=25)
@given(rho=st.floats(-0.9, 0.9), n=st.integers(50, 400))
def test_each_column_is_evenly_spread(rho, n):
    """The marginals are exact, whatever the dependence."""
    levels = copula_levels(np.array([[1, rho], [rho, 1]]), n, 3)
    assert np.sort(levels, axis=0) == pytest.approx(np.tile(((np.arange(n) + 0.5) / n)[:, None], (1, 2)))


def test_the_dependence_is_that_asked():
    """Spearman's rank correlation of a Gaussian copula is 6/pi asin(rho/2)."""
    levels = copula_levels(np.array([[1, -0.7], [-0.7, 1]]), 5000, 4)
    assert stats.spearmanr(*levels.T).statistic == pytest.approx(6 / np.pi * np.arcsin(-0.35), abs=0.03)
