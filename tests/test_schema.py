"""The canonical table refuses what its contract forbids, and says which column and check."""

import numpy as np
import pandas as pd
import pytest

from wellrecords.errors import ProblemsError
from wellrecords.schema import (
    INTERVAL_QUANTITIES,
    LAYER_COLUMNS,
    WELL_COLUMNS,
    among,
    as_wells,
    check_wells,
    conform,
    empty_table,
)


def good_wells(count=3):
    return as_wells(
        pd.DataFrame(
            {
                "record_id": [f"a:{number}" for number in range(count)],
                "source": "a",
                "record_kind": "new",
                "well_use": "domestic",
                "longitude": -69.5,
                "latitude": 45.1,
                "position_method": "gps",
                "position_error_m": 5.0,
                "total_depth_ft": 305.0,
                "drilling_method": "air_rotary",
                "depth_to_bedrock_ft_low": 12.0,
                "depth_to_bedrock_ft_high": 12.0,
                "depth_to_water_ft_low": -np.inf,
                "depth_to_water_ft_high": 0.0,
                "yield_gpm_low": 100.0,
                "yield_gpm_high": np.inf,
                "yield_method": "air_lift",
                "private": False,
            }
        )
    )


def test_open_intervals_and_nulls_are_allowed():
    wells = good_wells()
    wells.loc[0, ["yield_gpm_low", "yield_gpm_high"]] = np.nan
    check_wells(wells)


def test_an_empty_table_passes():
    check_wells(as_wells(empty_table(WELL_COLUMNS)))


@pytest.mark.parametrize("quantity", INTERVAL_QUANTITIES)
def test_low_above_high_is_refused(quantity):
    wells = good_wells()
    wells.loc[1, [f"{quantity}_low", f"{quantity}_high"]] = [5.0, 4.0]
    with pytest.raises(ProblemsError, match=quantity):
        check_wells(wells)


@pytest.mark.parametrize("quantity", INTERVAL_QUANTITIES)
def test_half_an_interval_is_refused(quantity):
    wells = good_wells()
    wells.loc[1, f"{quantity}_high"] = np.nan
    with pytest.raises(ProblemsError, match=quantity):
        check_wells(wells)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("record_kind", "drilled"),
        ("well_use", "house"),
        ("position_method", "guess"),
        ("yield_method", "bucket"),
        ("longitude", 285.0),
        ("position_error_m", -1.0),
        ("total_depth_ft", 0.0),
        ("yield_gpm_low", -1.0),
    ],
)
def test_a_value_outside_its_domain_is_refused_by_name(column, value):
    wells = good_wells()
    wells.loc[2, column] = value
    with pytest.raises(ProblemsError, match=column):
        check_wells(wells)


def test_the_same_record_twice_is_refused():
    wells = good_wells()
    wells["record_id"] = "a:1"
    with pytest.raises(ProblemsError, match="record_id"):
        check_wells(wells)


def test_all_faults_are_told_at_once():
    wells = good_wells()
    wells.loc[0, "well_use"] = "house"
    wells.loc[1, "record_kind"] = "drilled"
    with pytest.raises(ProblemsError) as caught:
        check_wells(wells)
    assert {problem.column for problem in caught.value.problems} >= {"well_use", "record_kind"}


def test_conform_adds_missing_columns_as_null_and_drops_others():
    table = conform(pd.DataFrame({"from_ft": [0, 12], "colour": ["red", "grey"]}), LAYER_COLUMNS)
    assert list(table) == list(LAYER_COLUMNS)
    assert table["material"].isna().all()
    assert {name: str(dtype) for name, dtype in table.dtypes.items()} == {
        name: str(pd.Series(dtype=dtype).dtype) for name, dtype in LAYER_COLUMNS.items()
    }


@pytest.mark.parametrize("dtype", ["object", "string"])
def test_records_are_found_among_others(dtype):
    ids = pd.Series(["a:1", "b:1", None, "a:2"], index=[7, 3, 5, 1], dtype=dtype)
    others = pd.Series(["a:2", "a:1", "c:9"], dtype=dtype)
    found = among(ids, others)
    pd.testing.assert_series_equal(found, pd.Series([True, False, False, True], index=ids.index))
    assert not among(ids, others.iloc[:0]).any()
