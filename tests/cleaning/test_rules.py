from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.cleaning.neighbourhood import flag_outliers, flag_terrain
from wellrecords.cleaning.rules import ACTIONS, CHECKS, CleaningSettings, apply_rules, load_rules
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.ledger import CHANGE_COLUMNS
from wellrecords.schema import WELL_COLUMNS, conform

TODAY = date(2026, 6, 1)
RULES = load_rules()


def wells_of(*records: dict[str, object]) -> pd.DataFrame:
    rows = [
        {
            "record_id": f"w{number:03d}",
            "source": "made_up",
            "record_kind": "new",
            "well_use": "domestic",
            "longitude": -70.0,
            "latitude": 45.0,
            "position_method": "gps",
            "position_error_m": 5.0,
            "total_depth_ft": 200.0,
            "drilling_method": "unknown",
            "yield_method": "unknown",
            "private": False,
            **record,
        }
        for number, record in enumerate(records)
    ]
    return conform(pd.DataFrame(rows), WELL_COLUMNS).assign(file_row=range(2, len(rows) + 2))


def interval(name: str, low: float, high: float | None = None) -> dict[str, object]:
    return {f"{name}_low": low, f"{name}_high": low if high is None else high}


def judge(record: dict[str, object]):
    return apply_rules(wells_of(record), RULES, TODAY)


@pytest.mark.parametrize(
    ("record", "rule", "column"),
    [
        (interval("depth_to_water_ft", 250.0), "water_below_hole", "depth_to_water_ft"),
        (interval("depth_to_bedrock_ft", 230.0), "rock_below_hole", "depth_to_bedrock_ft"),
        (interval("depth_to_bedrock_ft", 230.0, np.inf), "rock_below_hole", "depth_to_bedrock_ft"),
        ({"casing_depth_ft": 210.0}, "casing_longer_than_hole", "casing_depth_ft"),
        ({"screen_top_ft": 190.0, "screen_bottom_ft": 220.0}, "screen_ends_below_hole", "screen_bottom_ft"),
        ({"screen_top_ft": 210.0}, "screen_starts_below_hole", "screen_top_ft"),
        ({"screen_top_ft": 190.0, "screen_bottom_ft": 180.0}, "screen_upside_down", "screen_top_ft"),
        ({"drilled_on": pd.Timestamp("9999-01-01")}, "date_outside_drilling_history", "drilled_on"),
        ({"drilled_on": pd.Timestamp("0908-01-01")}, "date_outside_drilling_history", "drilled_on"),
        ({"drilled_on": pd.Timestamp("2026-06-02")}, "date_outside_drilling_history", "drilled_on"),
        ({"drilled_on": pd.Timestamp("1900-01-01")}, "date_is_a_placeholder", "drilled_on"),
        ({"casing_diameter_in": 240.0}, "diameter_outside_range", "casing_diameter_in"),
        (interval("yield_gpm", 45_000.0), "yield_outside_range", "yield_gpm"),
        (interval("depth_to_water_ft", -900.0), "water_outside_range", "depth_to_water_ft"),
        ({"total_depth_ft": 30_000.0, "casing_depth_ft": 40.0}, "depth_outside_range", "total_depth_ft"),
        (interval("depth_to_bedrock_ft", 4_000.0), "rock_outside_range", "depth_to_bedrock_ft"),
        ({"land_elevation_ft": 30_000.0}, "elevation_outside_range", "land_elevation_ft"),
    ],
)
def test_an_impossible_value_is_taken_out_and_written_down(record, rule, column):
    result = judge(record)
    assert len(result.wells) == 1
    names = [f"{column}_low", f"{column}_high"] if f"{column}_low" in result.wells else [column]
    assert result.wells[names].isna().all(axis=None)
    found = result.changes[(result.changes["rule"] == rule) & (result.changes["column"] == column)]
    assert len(found) == 1
    assert found["after"].isna().all()
    assert found["before"].notna().all()
    assert int(found["file_row"].iloc[0]) == 2


@pytest.mark.parametrize(
    "record",
    [
        # Rock was not met in a hole of 200 ft: it lies at 200 ft or deeper. That is right, and no fault.
        interval("depth_to_bedrock_ft", 200.0, np.inf),
        # A dry hole: the water, if there is any, is deeper.
        interval("depth_to_water_ft", 200.0, np.inf),
        # A flowing well.
        interval("depth_to_water_ft", -np.inf, 0.0),
        interval("depth_to_water_ft", -23.0),
        # A range that the bottom of the hole lies within.
        interval("depth_to_bedrock_ft", 150.0, 250.0),
        # Converted from metres.
        {"total_depth_ft": 199.999, **interval("depth_to_bedrock_ft", 200.0, np.inf)},
        # The casing stands out of the ground.
        {"casing_depth_ft": 202.0},
        interval("yield_gpm", 0.0, 0.5),
        interval("yield_gpm", 100.0, np.inf),
        {"drilled_on": pd.Timestamp("2026-06-01")},
        {"drilled_on": pd.Timestamp("1880-01-01")},
        {"total_depth_ft": np.nan, **interval("depth_to_water_ft", 500.0)},
    ],
)
def test_what_a_censored_reading_does_not_say_breaks_no_rule(record):
    result = judge(record)
    assert result.changes.empty
    assert result.flags.empty
    assert result.set_aside.empty


def test_the_depth_of_the_hole_is_outvoted_by_two_deeper_readings():
    result = judge(
        {"total_depth_ft": 27.0, "casing_depth_ft": 60.0, **interval("depth_to_bedrock_ft", 45.0), "record_kind": "new"}
    )
    assert result.changes["rule"].tolist() == ["hole_depth_outvoted"]
    assert result.wells["total_depth_ft"].isna().all()
    assert result.wells["casing_depth_ft"].tolist() == [60.0]
    assert result.wells["depth_to_bedrock_ft_low"].tolist() == [45.0]


def test_a_row_that_says_nothing_is_held_back_unless_it_tells_of_a_sealing():
    result = apply_rules(
        wells_of({"total_depth_ft": np.nan}, {"total_depth_ft": np.nan, "record_kind": "abandoned"}, {}), RULES, TODAY
    )
    assert result.set_aside["record_id"].tolist() == ["w000"]
    assert result.set_aside["reason"].tolist() == ["nothing_to_learn"]
    assert result.wells["record_id"].tolist() == ["w001", "w002"]


def test_a_flag_changes_nothing():
    result = judge({**interval("yield_gpm", 3_000.0), "casing_diameter_in": 60.0})
    assert set(result.flags["rule"]) == {"yield_very_high", "diameter_unusual"}
    assert result.changes.empty
    assert result.wells["yield_gpm_low"].tolist() == [3_000.0]


def test_every_shipped_rule_has_a_reason_a_source_and_a_test_of_its_name():
    text = Path(__file__).read_text(encoding="utf-8")
    for rule in RULES:
        assert rule.action in ACTIONS
        assert rule.check in CHECKS
        assert rule.why
        assert rule.source
        assert f'"{rule.rule}"' in text, f"no test names {rule.rule}"


def test_casing_that_ends_above_the_rock_is_flagged():
    result = judge({"casing_depth_ft": 20.0, **interval("depth_to_bedrock_ft", 60.0)})
    assert result.flags["rule"].tolist() == ["casing_stops_above_rock"]
    assert judge({"casing_depth_ft": 20.0, **interval("depth_to_bedrock_ft", 60.0, np.inf)}).flags.empty


maybe = st.one_of(st.none(), st.floats(-600.0, 12_000.0))
record = st.fixed_dictionaries(
    {
        "total_depth_ft": st.one_of(st.none(), st.floats(0.5, 6_000.0)),
        "casing_depth_ft": st.one_of(st.none(), st.floats(0.0, 6_000.0)),
        "casing_diameter_in": st.one_of(st.none(), st.floats(0.1, 300.0)),
        "screen_top_ft": st.one_of(st.none(), st.floats(0.0, 6_000.0)),
        "screen_bottom_ft": st.one_of(st.none(), st.floats(0.0, 6_000.0)),
        "land_elevation_ft": maybe,
        "drilled_on": st.sampled_from([None, "1850-01-01", "1849-12-31", "1900-01-01", "2001-01-01", "9999-01-01"]),
        "record_kind": st.sampled_from(["new", "abandoned", "deepened"]),
        "readings": st.tuples(maybe, maybe, maybe),
        "open": st.tuples(st.booleans(), st.booleans(), st.booleans()),
    }
)


def from_draw(draw: dict[str, object]) -> dict[str, object]:
    made = {name: value for name, value in draw.items() if name not in ("readings", "open") and value is not None}
    if "drilled_on" in made:
        made["drilled_on"] = pd.Timestamp(str(made["drilled_on"]))
    made.setdefault("total_depth_ft", np.nan)
    quantities = ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
    for name, value, opened in zip(quantities, draw["readings"], draw["open"], strict=True):
        if value is not None:
            low = value if name == "depth_to_water_ft" else abs(value)
            made |= interval(name, low, np.inf if opened else None)
    return made


@settings(deadline=None, max_examples=60)
@given(st.lists(record, min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_cleaning_twice_changes_nothing_and_the_order_of_rows_does_not_matter(draws, random):
    wells = wells_of(*map(from_draw, draws))
    once = apply_rules(wells, RULES, TODAY)
    assert len(wells) == len(once.wells) + len(once.set_aside)
    twice = apply_rules(once.wells, RULES, TODAY)
    pd.testing.assert_frame_equal(once.wells, twice.wells)
    assert twice.changes.empty
    assert twice.set_aside.empty
    order = list(range(len(wells)))
    random.shuffle(order)
    shuffled = apply_rules(wells.iloc[order], RULES, TODAY)
    pd.testing.assert_frame_equal(shuffled.wells.sort_index(), once.wells)
    key = list(CHANGE_COLUMNS)
    pd.testing.assert_frame_equal(
        shuffled.changes.sort_values(key, ignore_index=True), once.changes.sort_values(key, ignore_index=True)
    )


HEADER = "rule,check,columns,other,low,high,action,why,source\n"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("x,outside_range,total_depth_ft,,1,deep,null,why,source", "not a number"),
        ("x,outside_range,hole_depth,,1,2,null,why,source", "unknown column"),
        ("x,too_odd,total_depth_ft,,1,2,null,why,source", "unknown check"),
        ("x,outside_range,total_depth_ft,,1,2,delete,why,source", "unknown action"),
        ("x,outside_range,total_depth_ft,,1,2,null,why,", "incomplete rule"),
        ("x,deeper_than,total_depth_ft,,1,,null,why,source", "nothing to compare with"),
        ("x,outside_dates,drilled_on,,yesterday,today,null,why,source", "not a date"),
        ("x,upside_down,screen_top_ft,,0,,null,why,source", "wrong number of columns"),
    ],
)
def test_a_rule_that_cannot_be_used_is_named_with_file_row_and_column(tmp_path, row, says):
    path = tmp_path / "rules.csv"
    path.write_text(HEADER + row + "\n", encoding="utf-8")
    with pytest.raises(ProblemsError, match=says) as caught:
        load_rules(path)
    assert caught.value.problems[0].row == 2
    assert caught.value.problems[0].file == str(path)


def test_a_file_of_rules_that_is_none_is_said_clearly(tmp_path):
    with pytest.raises(WellRecordsError, match="cannot be read"):
        load_rules(tmp_path / "absent.csv")
    (tmp_path / "short.csv").write_text("rule,check\n", encoding="utf-8")
    with pytest.raises(WellRecordsError, match="lacks the column"):
        load_rules(tmp_path / "short.csv")


def test_a_user_can_set_other_thresholds(tmp_path):
    path = tmp_path / "rules.csv"
    row = "deep,outside_range,total_depth_ft,,1,150,flag,deeper than wells here,our own records\n"
    path.write_text(HEADER + row, encoding="utf-8-sig")
    result = apply_rules(wells_of({}), load_rules(path), TODAY)
    assert result.flags["rule"].tolist() == ["deep"]


def a_neighbourhood(count: int = 60) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    return wells_of(
        *[
            {
                "longitude": -70.0 + float(east) / 100,
                "latitude": 45.0 + float(north) / 100,
                "total_depth_ft": float(depth),
                **interval("yield_gpm", 5.0),
            }
            for east, north, depth in zip(
                rng.uniform(0, 1, count), rng.uniform(0, 1, count), rng.normal(200.0, 20.0, count), strict=True
            )
        ]
    )


def test_a_value_far_from_its_neighbours_is_flagged_and_kept():
    wells = a_neighbourhood()
    assert flag_outliers(wells, "EPSG:26919", CleaningSettings()).empty
    wells.loc[7, "total_depth_ft"] = 2_000.0  # a nought too many
    flags = flag_outliers(wells, "EPSG:26919", CleaningSettings())
    assert flags["record_id"].tolist() == ["w007"]
    assert flags["rule"].tolist() == ["stands_out_from_neighbours"]
    assert flags["value"].tolist() == ["2000"]


def test_an_open_reading_is_not_compared_with_the_neighbours():
    wells = a_neighbourhood()
    wells.loc[7, ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]] = [1_500.0, np.inf]
    wells.loc[8:40, ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]] = 12.0
    assert flag_outliers(wells, "EPSG:26919", CleaningSettings()).empty


def test_a_land_elevation_far_from_the_terrain_is_flagged():
    wells = wells_of({"land_elevation_ft": 500.0}, {"land_elevation_ft": 900.0}, {})
    flags = flag_terrain(wells, np.array([520.0, 520.0, 520.0]), 100.0)
    assert flags["record_id"].tolist() == ["w001"]
    assert "520 ft" in flags["why"].iloc[0]
