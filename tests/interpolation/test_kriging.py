import numpy as np
import pytest

from wellrecords.interpolation import IntervalKriging


@pytest.fixture(scope="module")
def field():
    """400 places of a Gaussian field (sill 0.3, range 5 km, nugget 0.1, mean 4) on the log scale."""
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 20_000, (400, 2)) + 500_000
    distance = np.hypot(*(xy[:, None] - xy[None]).T)
    covariance = 0.3 * np.exp(-distance / 5_000) + 0.1 * np.eye(400)
    return xy, np.exp(4 + np.linalg.cholesky(covariance) @ rng.normal(size=400))


def test_shapes_of_the_contract(field):
    xy, value = field
    d = IntervalKriging(transform="log").fit(xy[:300], value[:300], value[:300]).predict(xy[300:])
    assert d.quantile(0.5).shape == (100,)
    assert d.quantile([0.1, 0.5, 0.9]).shape == (100, 3)
    assert d.cdf(50.0).shape == (100,)
    assert d.sample(1000, random_state=0).shape == (1000, 100)
    assert d.quantile_at(np.full((7, 100), 0.5)).shape == (7, 100)
    np.testing.assert_allclose(d.quantile_at(np.full(100, 0.5)), d.quantile(0.5))


def test_cdf_inverts_quantile(field):
    xy, value = field
    d = IntervalKriging().fit(xy, value, value).predict(xy[:50] + 300.0)
    for level in (0.0005, 0.02, 0.1, 0.5, 0.77, 0.9995):
        np.testing.assert_allclose(d.cdf(d.quantile(level)), level, atol=1e-9)


def test_weights_sum_to_one_and_are_the_nearest(field):
    xy, value = field
    model = IntervalKriging(n_neighbours=16).fit(xy, value, value)
    indices, weights = model.weights(xy[:5] + 1.0)
    np.testing.assert_allclose(weights.sum(axis=1), 1.0)
    assert (indices[:, 0] == np.arange(5)).all()


@pytest.mark.parametrize(
    ("coordinates", "low", "high", "message"),
    [
        ([[-121.5, 41.2], [-121.6, 41.3]], [1, 2], [1, 2], "degrees"),
        ([[1000, 0], [2000, 0]], [1, 3], [1, 2], "low is above high in 1 of 2 rows, the first in row 1"),
        ([[1000, 0], [np.nan, 0]], [1, 3], [1, 3], "NaN"),
        ([[1000, 0], [2000, 0]], [1, np.nan], [1, 3], "low is NaN"),
        ([[1000, 0], [2000, 0]], [1, 2], [np.inf, np.inf], "censored on one side"),
        ([[1000, 0], [2000, 0]], [-1, 2], [-1, 2], "negative"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(coordinates, low, high, message):
    with pytest.raises(ValueError, match=message):
        IntervalKriging().fit(coordinates, low, high)
