"""Self-consistent distributions against published estimates for interval and left-censored readings."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtri

from wellrecords.interpolation.calibration import local_scale, residual_distribution, self_consistent

# Turnbull's estimate for the breast cosmesis data (Finkelstein and Wolfe 1985): mass of each innermost
# interval (from, to], in months; the figures as printed in textbooks, from memory.
TURNBULL = {
    "Rad": {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926, (33, 34): 0.0818,
            (38, 40): 0.1209, (46, 48): 0.4656},
    "RadChem": {(4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411,
                (19, 20): 0.1157, (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608},
}  # fmt: skip


def score(months):
    """Months on the grid of scores, which runs from -8 to 8."""
    return (np.asarray(months, dtype=float) - 30.0) / 10.0


@pytest.mark.parametrize("treatment", list(TURNBULL))
def test_turnbull_of_the_breast_cosmesis_data(reference, treatment):
    table = pd.read_csv(reference / "interval_bcos.csv").query("treatment == @treatment")
    edges, cumulative = self_consistent(
        score(table["left"]), score(table["right"]), np.ones(len(table)), prior_weight=0.0, sweeps=20_000
    )
    for (start, end), mass in TURNBULL[treatment].items():
        found = np.diff(np.interp(score([start, end]), edges, cumulative))[0]
        assert found == pytest.approx(mass, abs=2e-4)


def test_arsenic_below_several_detection_limits(reference):
    """Oahu arsenic: Helsel (2005) gives a Kaplan-Meier mean of 0.949 and a median of 0.70 ug/L (from memory).

    A distribution of readings known as [0, limit] brackets the mean between
    all mass at the low ends and all at the high ends of its intervals.
    """
    table = pd.read_csv(reference / "NADA_Oahu.csv")
    value, below = table["As"].to_numpy(), table["AsCen"].to_numpy()
    width = 0.02
    low = np.where(below, 0.0, value - width)
    edges, cumulative = self_consistent(low, value, np.ones(len(value)), prior_weight=0.0, sweeps=20_000)
    mass = np.diff(cumulative)
    inside = edges[1:] > 0
    first = np.min(value[~below])  # nothing was read below the lowest detected value
    at_least = np.sum(mass * np.where(edges[1:] < first - width / 2, 0.0, edges[1:])[: len(mass)])
    at_most = np.sum(mass * np.maximum(edges[1:], first))
    assert mass[~inside].sum() < 1e-9
    assert at_least - width <= 0.949 <= at_most + width
    assert np.interp(0.5, cumulative, edges) == pytest.approx(0.70, abs=0.03)


def test_interval_censored_tumours_keep_their_known_shares(reference):
    """Lung tumours of Hoel and Walburg's mice: with only current status, the estimate stays between 0 and 1 and rises,
    and equals the pooled isotonic share of tumours by age (Ayer et al. 1955)."""
    from sklearn.isotonic import IsotonicRegression

    table = pd.read_csv(reference / "icenReg_miceData.csv").query("grp == 'ce'")
    age = np.where(table["l"] > 0, table["l"], table["u"]).astype(float)
    tumour = (table["l"] == 0).to_numpy(dtype=float)
    low = np.where(table["l"] > 0, (table["l"] - 600.0) / 80.0, -np.inf)
    high = np.where(np.isfinite(table["u"]), (table["u"] - 600.0) / 80.0, np.inf)
    edges, cumulative = self_consistent(low, high, np.ones(len(table)), prior_weight=0.0, sweeps=50_000)
    isotonic = IsotonicRegression().fit(age, tumour).predict(age)
    ours = np.interp((age - 600.0) / 80.0, edges, cumulative)
    assert np.abs(ours - isotonic).max() < 0.06


def test_residuals_of_a_normal_are_normal():
    rng = np.random.default_rng(0)
    values = rng.standard_normal(20_000)
    limit = rng.standard_normal(20_000) + 1.0
    seen = values <= limit
    law = residual_distribution(np.where(seen, values, limit), np.where(seen, values, np.inf))
    levels = np.array([0.02, 0.1, 0.5, 0.9, 0.98])
    np.testing.assert_allclose(law.quantile(levels), ndtri(levels), atol=0.06)
    np.testing.assert_allclose(law.cdf(law.quantile(levels)), levels, atol=1e-9)


def test_local_scale_is_one_where_nothing_is_known():
    np.testing.assert_allclose(local_scale(np.array([0.0, 400.0]), np.array([0.0, 100.0])), [1.0, np.sqrt(410 / 110)])
