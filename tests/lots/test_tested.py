"""What rates of pumping tests say, where they drew all and where they did not."""

import numpy as np
import pandas as pd
import pytest

from wellrecords.lots.mapped import readings
from wellrecords.lots.tested import most_that_tests_say, read_tests, share_that_draw_all


def invented(all_of, n=600, seed=3):
    """Yields read by air lift, and rates of tests of which so many drew all, the others a part."""
    rng = np.random.default_rng(seed)
    made = np.exp(rng.normal(1.5, 0.7, n))
    part = np.where(rng.random(n) < all_of, 1.0, np.exp(-rng.uniform(0.0, np.log(8.0), n)))
    return made * part, np.exp(rng.normal(1.5, 0.7, n))


@pytest.mark.parametrize("all_of", [0.0, 0.5, 1.0])
def test_the_share_that_draws_all_is_found(all_of):
    """Against invented tests."""
    assert share_that_draw_all(*invented(all_of)) == pytest.approx(all_of, abs=0.2)


def test_nothing_to_compare_with():
    """One half where there is no other yield, and no more is promised than was drawn."""
    rate = np.array([3.0, 8.0])
    assert share_that_draw_all(rate, np.empty(0)) == 0.5
    assert most_that_tests_say(rate, np.empty(0)) == pytest.approx(rate)


def test_chances_sum_to_one():
    """A density of one gives one."""
    rate, read = invented(0.4)
    as_written, ranges = read_tests(rate, read)
    chance, low, high = np.moveaxis(ranges, 2, 0)
    assert as_written + (chance * np.log(high / low)).sum(axis=1) == pytest.approx(np.ones(len(rate)))


@pytest.mark.parametrize("bound", [False, True])
def test_mapped_yields_of_tests(bound):
    """Rates short of the yields around are bounds, rates like them are yields, whatever the record says."""
    for all_of, most in ((1.0, 1.0), (0.0, 10.0)):
        rate, read = invented(all_of)
        table = pd.DataFrame(
            {
                "yield_gpm_low": np.append(rate, read),
                "yield_gpm_high": np.append(np.where(bound, np.inf, rate), read),
                "yield_method": ["pumping_test"] * len(rate) + ["air_lift"] * len(read),
                "record_kind": "new",
            }
        )
        before = table.copy()
        _, low, high = readings(table, "yield_gpm")
        assert high[: len(rate)] == pytest.approx(most * rate)
        assert np.array_equal(low[len(rate) :], high[len(rate) :])
        pd.testing.assert_frame_equal(table, before)
