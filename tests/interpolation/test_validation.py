import numpy as np
import pytest

from wellrecords.interpolation import IntervalKriging, SpatialBlocks, validate


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
