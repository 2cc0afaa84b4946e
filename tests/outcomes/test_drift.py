"""The warning: its rate of false alarms, and how soon it sees a drift."""

import numpy as np
import pandas as pd
import pytest
from outcome_fixtures import comparison_of
from scipy import stats

from wellrecords.outcomes import DriftSettings, drift, drift_sentences
from wellrecords.outcomes.drift import (
    alarm_chance,
    average_run_length,
    normal_chain,
    normal_limit,
    outsider_chain,
    outsider_limit,
    running_sum,
)


@pytest.mark.parametrize(
    ("limit", "shift_sd", "run_length"),
    # Two-sided CUSUM with k = 0.5: Montgomery, Introduction to Statistical Quality Control, table 9.3, after
    # Lucas and Crosier 1982 (from memory). Two-sided from one-sided: 1 / L = 1 / L_high + 1 / L_low.
    [(4, 0.0, 168), (4, 0.5, 26.6), (4, 1.0, 8.38), (5, 0.0, 465), (5, 0.5, 38.0), (5, 1.0, 10.4)],
)
def test_published_run_lengths(limit, shift_sd, run_length):
    """A shift of the mean by d is a slack of k - d on one side and k + d on the other."""
    high = average_run_length(normal_chain(0.5 - shift_sd, limit))
    low = average_run_length(normal_chain(0.5 + shift_sd, limit))
    assert 1 / (1 / high + 1 / low) == pytest.approx(run_length, rel=0.01)


def test_running_sum_by_hand():
    assert running_sum(np.array([1.0, -3.0, 0.5, 2.0, -1.0])).tolist() == [1.0, 0.0, 0.5, 2.5, 1.5]


def plain_alarms(pit, settings):
    """Return the alarms of the three charts by plain recursion, (firms, 3), for PITs of one quantity (firms, wells)."""
    share = settings.false_alarm_rate / (3 * len(settings.quantities))
    limit = normal_limit(settings.slack_sd, settings.horizon, share)
    slack, outsiders = outsider_limit(1 - settings.level, settings.horizon, share)
    sums, highest = np.zeros((3, len(pit))), np.zeros((3, len(pit)))
    for well in pit.T:
        score = stats.norm.ppf(well)
        steps = np.array([score - settings.slack_sd, -score - settings.slack_sd, (np.abs(well - 0.5) > 0.4) - slack])
        sums = np.maximum(0, sums + steps)
        highest = np.maximum(highest, sums)
    return (highest >= np.array([[limit], [limit], [outsiders - 1e-9]])).T


def test_the_chance_of_a_false_alarm_is_as_stated():
    """20,000 firms of 100 sound wells: any warning at most 5 % (three standard errors: 0.46 points), and not far below.

    Each chart alone against the chance that its chain gives.
    """
    settings = DriftSettings(quantities=("drilled_ft",))
    alarms = plain_alarms(np.random.default_rng(5).random((20_000, 100)), settings)
    assert 0.03 <= alarms.any(axis=1).mean() <= 0.05 + 0.0046
    slack, limit = outsider_limit(0.2, 100, 0.05 / 3)
    stated = alarm_chance(outsider_chain(0.2, slack, limit), 100)
    assert stated <= 0.05 / 3
    assert alarms[:, 2].mean() == pytest.approx(stated, abs=0.0028)
    assert alarms[:, :2].mean(axis=0) == pytest.approx([0.05 / 3] * 2, abs=0.0028)


def test_the_charts_are_the_plain_recursion():
    """Forty firms, half of them drifting: the same alarms."""
    rng = np.random.default_rng(6)
    settings = DriftSettings(quantities=("drilled_ft",), horizon=50)
    pit = stats.norm.cdf(rng.normal(np.repeat([0.0, 0.5], 20)[:, None], 1.2, (40, 50)))
    table = comparison_of(np.zeros(50))
    ours = np.array([drift(table.assign(pit=firm), settings)["alarm"].to_numpy() for firm in pit])
    expected = plain_alarms(pit, settings)
    assert (ours == expected).all()
    assert 0 < expected.sum() < expected.size


def many_firms(rng, firms, wells, quantities, mean=0.0, spread=1.0):
    """Return the share of firms that are warned, their scores from one normal law."""
    settings = DriftSettings(quantities=quantities)
    table = pd.concat([comparison_of(np.zeros(wells), quantity) for quantity in quantities])
    scores = rng.normal(mean, spread, (firms, len(table)))
    return float(np.mean([drift(table.assign(pit=stats.norm.cdf(firm)), settings)["alarm"].any() for firm in scores]))


@pytest.mark.parametrize(("mean", "spread", "least"), [(0.8, 1.0, 0.9), (-0.8, 1.0, 0.9), (0.0, 1.8, 0.9)])
def test_drift_is_seen(mean, spread, least):
    """Within 60 wells: a bias of 0.8 standard deviations, or intervals that cover some 52 % for 80 %."""
    assert many_firms(np.random.default_rng(2), 60, 60, ("drilled_ft",), mean, spread) >= least


def test_warnings_say_what_and_since_when():
    """40 sound wells, then 30 that come out deeper: the run starts near the change."""
    rng = np.random.default_rng(4)
    pit = stats.norm.cdf(np.concatenate([rng.normal(0, 1, 40), rng.normal(1.5, 1, 30)]))
    settings = DriftSettings(quantities=("drilled_ft",))
    charts = drift(comparison_of(pit), settings)
    high = charts.set_index("chart").loc["high"]
    assert high["alarm"]
    change = pd.Timestamp("2024-01-01") + pd.Timedelta(weeks=40)
    assert abs((high["since"] - change).days) <= 7 * 8
    text = drift_sentences(charts, settings)
    assert any("wells come out deeper than estimated" in line for line in text)
    assert "of 100 firms whose estimates are sound, at most 5 would see a warning by bad luck in 100 wells" in text[-1]
    calm = drift(comparison_of(rng.random(70)), settings)
    assert drift_sentences(calm, settings)[0].startswith("No sign of drift in the last 70 wells")
    assert "at most 5 would see a warning by bad luck" in drift_sentences(calm, settings)[0]
    assert drift_sentences(calm.assign(wells=10), settings)[0].startswith("No sign of drift in the last 10 wells")
    said = "too few to see drift; estimates that are plainly off show within some 25 wells."
    assert drift_sentences(calm.assign(wells=9), settings) == [f"9 wells: {said}"]
    assert drift_sentences(calm.assign(wells=1), settings) == [f"1 well: {said}"]
    # What does give an alarm is told, however few they are.
    assert drift_sentences(charts.assign(wells=3), settings)[0].startswith("Warning, drilled depth")
    nothing = drift(comparison_of(np.array([])), settings)
    assert "nothing can be said" in drift_sentences(nothing, settings)[0]


def test_only_the_last_wells_are_watched_and_order_is_by_date():
    rng = np.random.default_rng(8)
    pit = np.concatenate([np.full(40, 0.97), rng.uniform(0.2, 0.8, 100)])
    table = comparison_of(pit)
    assert not drift(table)["alarm"].any()
    assert drift(table.head(60))["alarm"].any()
    shuffled = table.sample(frac=1, random_state=0)
    pd.testing.assert_frame_equal(drift(shuffled), drift(table))
