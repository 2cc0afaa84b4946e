import numpy as np
import pytest

from wellrecords.interpolation import IntervalKriging, SpatialBlocks, validate
from wellrecords.interpolation.scores import LEVELS
from wellrecords.interpolation.validation import _covers_80, floor


def test_the_table_has_a_row_a_district_and_method_and_kriging_leads(field):
    xy, value = field
    district = np.where(xy[:, 0] < 510_000, "west", "east")
    censored = np.arange(400) % 5 == 0
    low, high = np.where(censored, 0.5 * value, value), np.where(censored, np.inf, value)
    table = validate(
        IntervalKriging(n_trees=0),
        xy,
        low,
        high,
        district=district,
        cv=SpatialBlocks(2),
        rivals=("nearest 15 wells", "inverse distance", "quantile forest"),
    )
    assert table.groupby("district", sort=False).size().to_dict() == {"all": 4, "east": 4, "west": 4}
    whole = table[table["district"] == "all"].set_index("method")
    assert whole["crps"].idxmin() == "kriging"
    assert (whole["wells"] == 320).all()
    assert whole.loc["kriging", "covers_80"] == pytest.approx(0.8, abs=0.06)
    assert whole.loc["kriging", "skill"] > 0.1


def test_unknown_rivals_are_refused(field):
    with pytest.raises(ValueError, match="Unknown rivals"):
        validate(IntervalKriging(), *field, rivals=("guess",))


@pytest.mark.parametrize("as_zero", [True, False])
def test_dry_wells_are_scored_with_the_others(as_zero):
    """A fifth dry whatever the place: predictions are near the truth, cover what they claim, and beat no law of all.

    Asked of the wells with water alone, the same predictions would cover 88 %, and lose to whoever left out the dry.
    """
    rng = np.random.default_rng(3)
    xy = rng.uniform(0.0, 20_000.0, (900, 2)) + 500_000.0
    dry = rng.uniform(size=900) < 0.2
    gpm = np.where(dry, 0.0, np.maximum(np.exp(2.0 + 0.7 * rng.standard_normal(900)), 0.5))
    high = gpm if as_zero else np.where(dry, 0.5, gpm)
    table = validate(IntervalKriging(n_trees=0), xy, gpm, high, cv=SpatialBlocks(3), rivals=("nearest 15 wells",))
    table = table.set_index("method")
    assert (table["wells"] == 900).all()
    assert table.loc["kriging", "covers_80"] == pytest.approx(0.8, abs=0.025)
    assert table.loc["kriging", "skill"] == pytest.approx(0.0, abs=0.02)
    assert table.loc["kriging", "crps"] < table.loc["nearest 15 wells", "crps"]


def test_a_right_law_with_dry_wells_covers_what_it_claims():
    """Dry with 0, 5, 30 or 95 in 100, else uniform above the floor: 80 % in the mean, whatever the share."""
    rng = np.random.default_rng(0)
    for share in (0.0, 0.05, 0.30, 0.95):
        level = rng.uniform(size=200_000)
        quantiles = np.tile(np.maximum(LEVELS, share), (200_000, 1))
        below = level < share
        assert _covers_80(np.maximum(level, share), below, quantiles, share) == pytest.approx(0.8, abs=0.006)


@pytest.mark.parametrize(
    ("limits", "exact", "lowest"),
    [
        ([], [1.0, 2.0], -np.inf),
        ([0.5] * 30, [0.5, 0.7, 3.0], 0.5),
        ([500.0], list(range(400)), -np.inf),  # one stray limit is not worth 400 readings
        ([1.0] * 20 + [2.0] * 10, [0.5] * 3 + [1.5] * 4 + [9.0] * 50, 2.0),  # costs 7 readings, the lower one 13
        ([1.0] * 20 + [2.0] * 3, [0.5] * 3 + [1.5] * 4 + [9.0] * 50, 1.0),  # costs 6, the higher one 7 and none 23
    ],
)
def test_the_floor_costs_the_fewest_readings(limits, exact, lowest):
    low = np.append(np.full(len(limits), -np.inf), exact)
    assert floor(low, np.append(limits, exact)) == lowest
