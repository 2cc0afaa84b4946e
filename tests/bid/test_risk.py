import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import lognorm

from wellrecords.bid.risk import chance_of_loss, expected_loss_usd, per_foot_price_usd, price_at_risk, price_table

costs = st.lists(st.floats(100, 1e5), min_size=2, max_size=200).map(np.array)


@given(costs, st.floats(0, 1.2e5), st.floats(0, 5e4))
@settings(deadline=None)
def test_chance_and_size_of_loss_fall_with_the_price(cost, price, more):
    assert chance_of_loss(cost, price + more) <= chance_of_loss(cost, price)
    assert expected_loss_usd(cost, price + more) <= expected_loss_usd(cost, price) + 1e-9
    assert chance_of_loss(cost, price) == np.mean(cost > price)
    assert expected_loss_usd(cost, cost.max()) == 0


@given(costs, st.floats(0.01, 0.99))
@settings(deadline=None)
def test_the_price_at_a_risk_is_the_least_that_keeps_it(cost, risk):
    price = price_at_risk(cost, risk)
    assert chance_of_loss(cost, price) <= risk + 1e-12
    cheaper = cost[cost < price]
    if cheaper.size:
        assert chance_of_loss(cost, cheaper.max()) > risk - 1e-12


def test_the_price_at_a_risk_has_that_chance_of_loss_in_fresh_draws():
    rng = np.random.default_rng(3)
    price = price_at_risk(rng.lognormal(9.5, 0.4, 20_000), 0.2)
    fresh = rng.lognormal(9.5, 0.4, 20_000)
    assert chance_of_loss(fresh, price) == pytest.approx(0.2, abs=3 * np.sqrt(2 * 0.16 / 20_000))


def test_expected_loss_is_the_closed_form_of_a_lognormal_cost():
    # E max(C - P, 0) = E[C] Phi(s - d) - P Phi(-d), d = (ln P - m) / s: the stop-loss of a lognormal.
    mean, sd, price = 9.5, 0.4, 16_000.0
    cost = lognorm(sd, scale=np.exp(mean)).ppf((np.arange(200_000) + 0.5) / 200_000)
    d = (np.log(price) - mean) / sd
    below = lambda x: lognorm(1.0).cdf(np.exp(x))  # noqa: E731
    exact = np.exp(mean + sd**2 / 2) * below(sd - d) - price * below(-d)
    assert expected_loss_usd(cost, price) == pytest.approx(exact, rel=1e-4)


def test_the_table_is_the_functions_side_by_side():
    cost = np.array([100.0, 200.0, 300.0, 400.0])
    table = price_table(cost, [250.0, 400.0])
    assert table["chance_of_loss"].tolist() == [0.5, 0.0]
    assert table["expected_loss_usd"].tolist() == [50.0, 0.0]
    assert table["expected_profit_usd"].tolist() == [0.0, 150.0]


@given(st.lists(st.floats(50, 1000), min_size=1, max_size=50).map(np.array), st.floats(1000, 1e5), st.floats(0, 2e5))
@settings(deadline=None)
def test_the_expected_bill_by_the_foot_is_the_wanted_sum(depth, wanted, minimum):
    price = per_foot_price_usd(depth, wanted, minimum)
    bill = np.maximum(minimum, price * depth).mean()
    assert bill == pytest.approx(max(wanted, minimum), rel=1e-6)


def test_by_the_foot_without_a_minimum():
    assert per_foot_price_usd(np.array([100.0, 300.0]), 6000.0, 0.0) == pytest.approx(30.0)
