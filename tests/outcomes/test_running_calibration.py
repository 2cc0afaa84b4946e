"""The running calibration, against published intervals and scipy."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outcome_fixtures import comparison_of
from scipy import stats

from wellrecords.outcomes import calibration, calibration_sentences, event_calibration, poisson_binomial, share_interval


@pytest.mark.parametrize(
    ("hits", "count", "wilson", "exact"),
    # Newcombe 1998, Statistics in Medicine 17, 857-872, table I, methods 3 and 5 (from memory).
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0000, 0.1611), (0.0000, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_published_intervals(hits, count, wilson, exact):
    assert share_interval(hits, count, method="wilson") == pytest.approx(wilson, abs=6e-5)
    assert share_interval(hits, count) == pytest.approx(exact, abs=6e-5)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 200), st.data(), st.sampled_from([0.5, 0.8, 0.95, 0.99]))
def test_intervals_are_those_of_scipy(count, data, confidence):
    hits = data.draw(st.integers(0, count))
    test = stats.binomtest(hits, count)
    for ours, theirs in (("exact", "exact"), ("wilson", "wilson")):
        expected = test.proportion_ci(confidence, method=theirs)
        assert share_interval(hits, count, confidence=confidence, method=ours) == pytest.approx(
            (expected.low, expected.high), abs=1e-9
        )


def test_nothing_counted_says_nothing_and_nonsense_is_refused():
    assert share_interval(0, 0) == (0.0, 1.0)
    with pytest.raises(ValueError, match="got 5 of 3"):
        share_interval(5, 3)


def test_calibration_by_hand():
    """Ten PITs: eight inside the 80 % interval, mean 0.5 plus 0.04."""
    pits = np.array([0.02, 0.15, 0.3, 0.45, 0.5, 0.6, 0.7, 0.85, 0.88, 0.95])
    (row,) = calibration(comparison_of(pits)).to_dict("records")
    assert (row["wells"], row["inside"], row["coverage"]) == (10, 8, 0.8)
    assert (row["coverage_low"], row["coverage_high"]) == pytest.approx(tuple(stats.binomtest(8, 10).proportion_ci()))
    assert row["coverage_p"] == pytest.approx(1.0)
    assert row["mean_pit"] == pytest.approx(0.54)
    assert row["mean_pit_high"] - row["mean_pit"] == pytest.approx(1.959964 / np.sqrt(120), rel=1e-6)
    assert row["even_p"] == pytest.approx(stats.kstest(pits, "uniform").pvalue)
    assert row["ratio"] == 1.0
    text = calibration_sentences(calibration(comparison_of(pits)))
    assert text[0].startswith("Drilled depth: 8 of 10 wells came out inside the 80% interval (80%; ")
    assert "low bids are won more easily" in text[-1]


def test_biased_and_over_sure_estimates_are_told():
    rng = np.random.default_rng(1)
    text = calibration_sentences(calibration(comparison_of(stats.norm.cdf(rng.normal(0.8, 1.6, 80)))))
    assert "not in keeping with 80%" in text[0]
    assert "wells came out deeper than estimated" in text[0]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=12))
def test_many_chances_against_counting_all_cases(chances):
    """Poisson-binomial by enumeration of every outcome."""
    count = len(chances)
    cases = (np.arange(2**count)[:, None] >> np.arange(count)) & 1
    weight = np.prod(np.where(cases == 1, chances, 1 - np.array(chances)), axis=1)
    expected = np.bincount(cases.sum(axis=1), weights=weight, minlength=count + 1)
    assert poisson_binomial(chances) == pytest.approx(expected, abs=1e-12)


def test_equal_chances_are_a_binomial():
    assert poisson_binomial([0.3] * 25) == pytest.approx(stats.binom(25, 0.3).pmf(np.arange(26)), abs=1e-14)


def test_events_against_scipy_and_by_hand():
    events = pd.DataFrame(
        {
            "target_met": pd.array([True] * 12 + [False] * 3 + [pd.NA], dtype="boolean"),
            "target_chance": [0.6] * 16,
            "dry": pd.array([pd.NA] * 16, dtype="boolean"),
            "dry_chance": np.nan,
            "lost": pd.array([True] * 9 + [False] * 7, dtype="boolean"),
            "loss_chance": [0.2] * 16,
        }
    )
    table = event_calibration(events).set_index("event")
    assert list(table.index) == ["target_met", "lost"]
    assert table.loc["target_met", "wells"] == 15
    assert table.loc["target_met", "p"] == pytest.approx(stats.binomtest(12, 15, 0.6).pvalue)
    assert table.loc["target_met", "brier"] == pytest.approx((12 * 0.16 + 3 * 0.36) / 15)
    assert table.loc["lost", "expected"] == pytest.approx(3.2)
    assert table.loc["lost", "p"] == pytest.approx(stats.binomtest(9, 16, 0.2).pvalue)
    text = calibration_sentences(calibration(comparison_of(np.full(16, 0.5))), event_calibration(events))
    assert any("9 of 16 wells cost more than the bid; 3.2 were expected to" in line for line in text)
    assert any("luck hardly explains" in line for line in text)


def test_few_wells_and_bounds_are_told():
    """Few wells are counted and not judged, and nothing is drawn for one of which it cannot be told."""
    bounds = {"reading_high": [100.0, np.inf, 100.0], "where": ["inside", "cannot tell", "above"]}
    table = comparison_of(np.array([0.3, 0.5, 0.97])).assign(**bounds)
    text = calibration_sentences(calibration(table))[0]
    assert text == (
        "Too few wells to judge (it takes 5). Inside the 80% interval came out: drilled depth 1 of 3, 1 cannot be told."
    )
    two = calibration_sentences(calibration(pd.concat([table, table.assign(quantity="cost_usd")])))
    assert len([line for line in two if "to judge" in line]) == 1
    assert "drilled depth 1 of 3, 1 cannot be told; cost 1 of 3, 1 cannot be told." in two[0]
    many = pd.concat([table, comparison_of(np.full(5, 0.5))])
    assert calibration_sentences(calibration(many))[0].endswith(
        "1 of them was read only as a bound; its place within the bounds was drawn."
    )


def test_a_small_expected_count_is_not_told_as_none():
    events = pd.DataFrame({"event": ["dry"], "wells": [1], "came": [0], "expected": [0.02], "p": [1.0], "brier": [0.0]})
    table = calibration(comparison_of(np.array([])))
    assert calibration_sentences(table, events)[0] == (
        "By the chances stated, of too few wells to judge: 0 of 1 wells were dry (fewer than 0.1 were expected to be)."
    )
    twice = pd.concat([events, events.assign(event="lost", expected=0.2)])
    (both, _) = calibration_sentences(table, twice)
    assert both.endswith(
        "(fewer than 0.1 were expected to be); 0 of 1 wells cost more than the bid (0.2 were expected to)."
    )


def test_no_wells_is_told():
    empty = calibration(comparison_of(np.array([])))
    assert empty.empty
    assert calibration_sentences(empty) == ["No drilled well has an estimate from before it was drilled."]
