import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from wellrecords.construction import ConstructionSettings, design_wells, drill
from wellrecords.construction.stopping import OUTCOMES
from wellrecords.errors import WellRecordsError

LIMIT, TARGET, USABLE = 400.0, 5.0, 0.25


def linear_yield(target_ft):
    """A ground that makes water in proportion to depth, the target at its depth; a dry one where it is never made."""
    target_ft = np.asarray(target_ft, dtype=float)
    return lambda depth: np.where(np.isinf(target_ft), 0.0, TARGET * np.asarray(depth) / target_ft)


def drilled(target_ft, rock_ft=20.0, **changes):
    target_ft = np.asarray(target_ft, dtype=float)
    return drill(
        target_ft,
        np.full(target_ft.shape, rock_ft) if np.isscalar(rock_ft) else rock_ft,
        linear_yield(target_ft),
        ConstructionSettings(**changes),
        target_yield_gpm=TARGET,
        limit_ft=LIMIT,
        least_usable_gpm=USABLE,
        random_state=1,
    )


def test_drilling_stops_on_the_rod_that_makes_the_target_or_at_the_limit():
    result = drilled([100.0, 101.0, 390.0, 401.0, np.inf])
    assert result["drilled_ft"].tolist() == [100.0, 120.0, 400.0, 400.0, 400.0]
    assert result["outcome"].tolist() == ["target_met"] * 3 + ["short_of_target", "dry"]
    assert (result["yield_gpm"][:3] >= TARGET).all()
    assert drilled([101.0], rod_ft=0)["drilled_ft"].tolist() == [101.0]


def test_the_casing_is_seated_before_water_counts():
    # Rock at 60 ft, 10 ft of casing in it, 20 ft open below: 90 ft at least, also past the limit.
    assert drilled([65.0], rock_ft=60.0)["drilled_ft"].tolist() == [90.0]
    assert drilled([np.inf], rock_ft=395.0)["drilled_ft"].tolist() == [425.0]
    # Where rock is not reached within the limit, the hole ends in overburden.
    assert drilled([np.inf], rock_ft=500.0)["drilled_ft"].tolist() == [400.0]
    assert drilled([50.0], rock_ft=500.0)["drilled_ft"].tolist() == [50.0]


def test_water_met_just_above_rock_is_screened_there():
    # A full rod would run into rock at 58 ft and leave no screen; the hole ends at the water.
    hole = drilled([55.0], rock_ft=58.0)
    assert hole["drilled_ft"].tolist() == [55.0]
    well = design_wells(hole["drilled_ft"], 58.0, 10.0, hole["yield_gpm"], ConstructionSettings())
    assert well["screened"].tolist() == [1.0]


def test_going_on_ends_at_the_second_limit():
    result = drilled([100.0, 500.0, 900.0], at_limit="go_on", second_limit_ft=600.0)
    assert result["drilled_ft"].tolist() == [100.0, 500.0, 600.0]
    assert result["outcome"].tolist() == ["target_met", "target_met", "short_of_target"]
    content = drilled([500.0, 900.0], at_limit="go_on", second_limit_ft=600.0, accept_at_limit_gpm=3.0)
    assert content["drilled_ft"].tolist() == [400.0, 600.0]
    with pytest.raises(WellRecordsError, match="must lie below the depth limit"):
        drilled([500.0], at_limit="go_on", second_limit_ft=300.0)


def test_hydrofracturing_only_ever_adds():
    target = np.concatenate([np.full(2000, 200.0), np.full(2000, 900.0), np.full(2000, np.inf)])
    plain = drilled(target)
    fractured = drilled(target, at_limit="hydrofracture", fracturing_works=0.75, fracturing_adds_gpm=2.0)
    assert fractured["fracturing"].tolist() == [0.0] * 2000 + [1.0] * 4000
    assert fractured["drilled_ft"].equals(plain["drilled_ft"])
    added = fractured["yield_gpm"] - fractured["drilled_yield_gpm"]
    assert (added[:2000] == 0).all()
    assert (added >= 0).all()
    # The settings' chance and median come back: 4,000 draws, three standard errors.
    worked = added[2000:] > 0
    assert worked.mean() == pytest.approx(0.75, abs=3 * np.sqrt(0.75 * 0.25 / 4000))
    assert np.median(added[2000:][worked]) == pytest.approx(2.0, rel=3 * 0.8 * 1.25 / np.sqrt(3000))
    assert set(fractured["outcome"]) == set(OUTCOMES)
    # It is not done where the hole is accepted, nor in overburden.
    assert drilled([900.0], at_limit="hydrofracture", accept_at_limit_gpm=1.0)["fracturing"].sum() == 0
    assert drilled([900.0], rock_ft=700.0, at_limit="hydrofracture")["fracturing"].sum() == 0


def test_the_yield_is_that_of_the_hole_as_drilled():
    asked = []

    def yields(depth):
        asked.append(np.array(depth))
        return np.full(2, 1.0)

    result = drill(
        [100.0, np.inf],
        [20.0, 20.0],
        yields,
        ConstructionSettings(),
        target_yield_gpm=TARGET,
        limit_ft=LIMIT,
        least_usable_gpm=USABLE,
    )
    assert [depths.tolist() for depths in asked] == [[100.0, 400.0]]
    assert result["yield_gpm"].tolist() == [TARGET, 1.0]


targets = st.lists(st.one_of(st.floats(1, 1500), st.just(np.inf)), min_size=1, max_size=20)


@given(targets, st.floats(0, 600), st.sampled_from(["stop", "hydrofracture", "go_on"]), st.sampled_from([0.0, 20.0]))
@settings(deadline=None)
def test_every_draw_ends_in_one_way_and_within_its_limits(target, rock, policy, rod):
    second = 800.0 if policy == "go_on" else None
    result = drilled(target, rock_ft=rock, at_limit=policy, second_limit_ft=second, rod_ft=rod)
    last = second or LIMIT
    depth = result["drilled_ft"]
    assert result["outcome"].isin(OUTCOMES).all()
    assert (depth <= np.maximum(last, rock + 30.0)).all()
    assert (depth >= np.minimum(target, last)).all()
    met = result["outcome"] == "target_met"
    assert (result["yield_gpm"][met] >= TARGET).all()
    assert (result["yield_gpm"][result["outcome"] == "dry"] < USABLE).all()
    assert (np.array(target)[met] <= depth[met]).all()


@given(targets, st.floats(1, 200))
@settings(deadline=None)
def test_a_deeper_target_is_never_a_shallower_hole(target, deeper):
    assert (drilled(np.array(target) + deeper)["drilled_ft"] >= drilled(target)["drilled_ft"]).all()


def test_a_missing_yield_is_no_dry_hole():
    with pytest.raises(WellRecordsError, match="1 of them missing"):
        drill(
            [100.0, 200.0],
            [20.0, 20.0],
            lambda depth: np.array([5.0, np.nan]),
            ConstructionSettings(),
            target_yield_gpm=TARGET,
            limit_ft=LIMIT,
            least_usable_gpm=USABLE,
        )


def test_settings_that_cannot_be_built_are_refused():
    with pytest.raises(ValidationError, match="second_limit_ft"):
        ConstructionSettings(at_limit="go_on")
    with pytest.raises(ValidationError, match="does not fit"):
        ConstructionSettings(casing_hole_diameter_in=6.0)
    with pytest.raises(ValidationError, match="pass the casing"):
        ConstructionSettings(hole_diameter_in=6.5)


@pytest.mark.parametrize(("name", "value"), [("rod_ft", np.inf), ("fracturing_log_sd", 9.0), ("stick_up_ft", np.nan)])
def test_settings_that_no_work_has_are_refused(name, value):
    with pytest.raises(ValidationError, match=name):
        ConstructionSettings(**{name: value})
