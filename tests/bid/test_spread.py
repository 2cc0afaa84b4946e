import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.bid.spread import drivers_of_spread, explained_variance


def shares(unknowns, cost, total=None, complete=True):
    table = drivers_of_spread(unknowns, cost, float(np.var(cost)) if total is None else total, complete=complete)
    return table.set_index("driver")


def test_ishigami_function_has_its_known_indices():
    # f = sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on (-pi, pi)^3 (Ishigami and Homma 1990). In closed form the
    # first-order indices are 0.3139, 0.4424 and 0; x1 and x3 share an interaction of 0.2437, half to each effect.
    x = np.random.default_rng(0).uniform(-np.pi, np.pi, (8000, 3))
    cost = np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    table = shares({"x1": x[:, 0], "x2": x[:, 1], "x3": x[:, 2]}, cost)
    assert table["alone"][["x1", "x2", "x3"]].tolist() == pytest.approx([0.3139, 0.4424, 0.0], abs=0.03)
    assert table["share"][["x1", "x2", "x3"]].tolist() == pytest.approx([0.4358, 0.4424, 0.1218], abs=0.03)
    assert table["share"]["prices and luck"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("correlation", [-0.5, 0.0, 0.7])
def test_two_unknowns_that_hang_together_share_by_the_closed_form(correlation):
    # y = x1 + 2 x2, standard normal with correlation r: effect 1 = b1^2 (1 - r^2/2) + r b1 b2 + b2^2 r^2/2
    # (Owen and Prieur, SIAM/ASA J. Uncertainty Quantification 5, 2017).
    r = correlation
    x = np.random.default_rng(1).multivariate_normal([0, 0], [[1, r], [r, 1]], 8000)
    table = shares({"a": x[:, 0], "b": x[:, 1]}, x[:, 0] + 2 * x[:, 1])
    variance = 5 + 4 * r
    exact = {
        "a": ((1 - r**2 / 2) + 2 * r + 4 * r**2 / 2) / variance,
        "b": (4 * (1 - r**2 / 2) + 2 * r + r**2 / 2) / variance,
    }
    assert table["share"]["a"] == pytest.approx(exact["a"], abs=0.02)
    assert table["share"]["b"] == pytest.approx(exact["b"], abs=0.02)
    assert table["alone"]["a"] == pytest.approx((1 + 2 * r) ** 2 / variance, abs=0.03)


def test_noise_that_no_unknown_explains_is_named():
    rng = np.random.default_rng(2)
    x = rng.standard_normal((6000, 2))
    cost = x[:, 0] + 0.5 * rng.standard_normal(6000)
    table = shares({"a": x[:, 0], "b": x[:, 1]}, cost, complete=False)
    assert table["share"]["prices and luck"] == pytest.approx(0.2, abs=0.04)
    assert table["share"]["a"] == pytest.approx(0.8, abs=0.04)


def test_spread_of_prices_is_added_on_top():
    x = np.random.default_rng(4).standard_normal((4000, 1))
    table = shares({"a": x[:, 0]}, x[:, 0], total=2.0 * float(np.var(x)))
    assert table["share"].to_dict() == pytest.approx({"a": 0.5, "prices and luck": 0.5})


@given(st.integers(20, 400), st.integers(0, 10_000), st.booleans())
@settings(deadline=None, max_examples=40)
def test_shares_are_shares(n, seed, complete):
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((n, 3))
    x[rng.random(n) < 0.3, 0] = np.inf
    cost = np.where(np.isinf(x[:, 0]), 5.0, x[:, 0]) + x[:, 1] ** 2
    table = shares({"a": x[:, 0], "b": x[:, 1], "c": x[:, 2]}, cost, complete=complete)
    assert (table["share"] >= -1e-12).all()
    assert table["share"].sum() == pytest.approx(1.0)
    assert table["share"].is_monotonic_decreasing


def test_what_does_not_vary_has_no_drivers():
    table = shares({"a": np.arange(100.0)}, np.full(100, 7.0))
    assert table["share"].tolist() == [0.0, 0.0]
    assert explained_variance(np.arange(100.0)[:, None], np.full(100, 7.0)) == 0.0


def test_the_draws_are_left_as_they_are():
    x = np.random.default_rng(5).standard_normal(200)
    before = x.copy()
    first = shares({"a": x}, x)
    pd.testing.assert_frame_equal(first, shares({"a": x}, x))
    assert (x == before).all()
