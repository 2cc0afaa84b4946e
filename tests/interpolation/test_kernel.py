"""The kriging kernel against PyKrige, scikit-learn's Gaussian process, and itself in two languages."""

import numpy as np
import pytest
from pykrige.ok import OrdinaryKriging
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from wellrecords.interpolation import Covariance, IntervalKriging, kernel, neighbours
from wellrecords.interpolation.covariance import KINDS
from wellrecords.interpolation.neighbours import group_places, nearest

RNG = np.random.default_rng(0)
XY = RNG.uniform(0, 10_000, (150, 2)) + 500_000
Z = np.sin(XY[:, 0] / 2_000) + RNG.normal(0, 0.3, 150)
TARGETS = RNG.uniform(0, 10_000, (40, 2)) + 500_000


def fixed(covariance, **settings):
    return IntervalKriging("identity", covariance=covariance, n_trees=0, **settings).fit(XY, Z)


@pytest.mark.parametrize(
    ("kind", "range_m", "pykrige_range"), [("exponential", 2_000, 6_000), ("spherical", 3_000, 3_000)]
)
@pytest.mark.parametrize("neighbours", [150, 32])
def test_equals_pykrige(kind, range_m, pykrige_range, neighbours):
    """PyKrige's exponential range is the practical one, 3 length scales."""
    ours = fixed(Covariance(kind, 1.0, range_m, 0.2), n_neighbours=neighbours).kriging(TARGETS)
    theirs = OrdinaryKriging(
        *XY.T, Z, variogram_model=kind, variogram_parameters={"psill": 1.0, "range": pykrige_range, "nugget": 0.2}
    ).execute("points", *TARGETS.T, backend="C", n_closest_points=neighbours)
    np.testing.assert_allclose(ours, theirs, atol=1e-8)


@pytest.mark.parametrize(("kind", "smoothness"), [("exponential", 0.5), ("matern", 1.5)])
def test_simple_kriging_equals_a_gaussian_process(kind, smoothness):
    mean, variance = fixed(Covariance(kind, 0.7, 2_000, 0.2), n_neighbours=150, known_mean=0.0).kriging(TARGETS)
    process = GaussianProcessRegressor(
        ConstantKernel(0.7) * Matern(2_000, nu=smoothness) + WhiteKernel(0.2), optimizer=None, alpha=0.0
    ).fit(XY, Z)
    their_mean, their_sd = process.predict(TARGETS, return_std=True)
    np.testing.assert_allclose(mean, their_mean, atol=1e-8)
    np.testing.assert_allclose(variance, their_sd**2, atol=1e-8)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("known_mean", [None, 0.3])
def test_compiled_and_numpy_kernels_agree(kind, known_mean, monkeypatch):
    pytest.importorskip("numba")
    covariance = Covariance(kind, 0.7, 2_500, 0.1)
    places = group_places(XY, RNG.uniform(0, 300, len(XY)))
    noise = RNG.uniform(0.1, 2.0, len(XY))
    _, index = nearest(places, TARGETS, 21)
    arguments = covariance, places, Z, noise

    def both_ways():
        single = kernel.solve(*arguments, TARGETS, np.full(40, 50.0), index, known_mean=known_mean, want_weights=True)
        groups = TARGETS[:30].reshape(10, 3, 2), np.full((10, 3), 50.0), index[:30:3]
        return single, kernel.solve_groups(*arguments, *groups, known_mean=known_mean, want_weights=True)

    compiled = both_ways()
    monkeypatch.setattr(kernel, "solve_tile", None)
    for ours, plain in zip(compiled, both_ways(), strict=True):
        for name in ("mean", "variance", "weights"):
            np.testing.assert_allclose(getattr(ours, name), getattr(plain, name), atol=1e-10)


def test_an_estimate_is_the_same_without_numba(monkeypatch):
    """Fit, forest and all, on both sides of a border, where a third of the readings are censored."""
    pytest.importorskip("numba")
    reading = Z + 3.0 * (XY[:, 1] > 505_000)
    high = np.where(RNG.uniform(size=150) < 0.3, np.inf, reading)

    def both_ways():
        model = IntervalKriging("identity", n_trees=10).fit(XY, reading, high)
        assert model.forests_
        squares = TARGETS[:, None] + np.linspace(-20.0, 20.0, 4)[:, None]
        return model.predict(TARGETS).table.values, model.predict_groups(squares).table.values

    compiled = both_ways()
    monkeypatch.setattr(kernel, "solve_tile", None)
    monkeypatch.setattr(neighbours, "Leaves", None)
    for ours, plain in zip(compiled, both_ways(), strict=True):
        np.testing.assert_allclose(ours, plain, atol=1e-10)


def test_sharing_neighbours_changes_nothing_when_all_are_used():
    model = fixed(Covariance("matern", 0.7, 2_500, 0.1), n_neighbours=150)
    shared = model.predict_groups(TARGETS.reshape(10, 4, 2)).table.values
    single = model.predict(TARGETS).table.values
    # The distances that shape the residuals are those of the group, so compare the kriging itself.
    middle = np.argmin(np.abs(model.predict(TARGETS).table.scores))
    assert np.corrcoef(shared[:, middle], single[:, middle])[0, 1] > 0.999
    value = Z[model.places_.place_of_well.argsort()]
    noise = np.full(150, 0.1)
    index = np.tile(np.arange(150), (10, 1))
    shared = kernel.solve_groups(
        model.covariance_, model.places_, value, noise, TARGETS.reshape(10, 4, 2), np.zeros((10, 4)), index
    )
    ours_mean, ours_variance = model.kriging(TARGETS)
    np.testing.assert_allclose(shared.mean.ravel(), ours_mean, atol=1e-9)
    np.testing.assert_allclose(shared.variance.ravel() + 0.1, ours_variance, atol=1e-9)


def test_a_crowd_on_one_point_is_kriged_as_its_wells_one_by_one():
    """Pooling is exact: a tiny scatter in place of one point gives the same answer."""
    crowd = np.repeat(XY[:30], 4, axis=0)
    reading = np.repeat(Z[:30], 4) + RNG.normal(0, 0.3, 120)
    covariance = Covariance("exponential", 1.0, 2_000, 0.2)
    pooled = IntervalKriging("identity", covariance=covariance, n_trees=0).fit(crowd, reading).kriging(TARGETS)
    scattered = crowd + RNG.normal(0, 1e-5, crowd.shape)
    alone = IntervalKriging("identity", covariance=covariance, n_trees=0, n_neighbours=120).fit(scattered, reading)
    np.testing.assert_allclose(pooled, alone.kriging(TARGETS), atol=1e-6)


def test_position_error_draws_the_weight_away():
    """A well whose place is known to 2 km only counts for less than one that is known exactly."""
    xy = np.array([[-1_000.0, 0.0], [1_000.0, 0.0]]) + 500_000
    model = IntervalKriging("identity", covariance=Covariance("exponential", 1.0, 2_000, 0.1), n_trees=0)
    model.fit(xy, [1.0, 2.0], position_error_m=[0.0, 2_000.0])
    indices, weights = model.weights([[500_000.0, 500_000.0]])
    assert indices[0, 0] == 0
    assert weights[0, 0] > 0.6


def test_compiles_where_nothing_can_be_kept_on_disk(monkeypatch):
    """Numba refuses to cache in a folder that may not be written, as in a shared installation."""
    numba = pytest.importorskip("numba")
    jit = pytest.importorskip("wellrecords.interpolation.jit")

    def read_only(cache=False, **options):
        if cache:
            msg = "cannot cache function: no locator available"
            raise RuntimeError(msg)
        return numba.njit(**options)

    monkeypatch.setattr(jit, "njit", read_only)
    assert jit.fast(contract=False)(lambda x: x + 1.0)(2.0) == 3.0
