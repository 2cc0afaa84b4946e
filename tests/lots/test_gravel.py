"""Gravel wells: below the water, above rock, and as many as the wells around show."""

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords import wording
from wellrecords.lots import EstimateSettings, draw_lot_estimates
from wellrecords.lots.gravel import SCREEN_FT, fit_gravels
from wellrecords.lots.stopping import USUAL_TARGETS_GPM, Habits
from wellrecords.simulation import RegionSettings, as_canonical, simulate_region

WANTED_GPM = float(USUAL_TARGETS_GPM[5])
HABITS = Habits((USUAL_TARGETS_GPM == WANTED_GPM).astype(float), np.array([0.0, 1000.0]), np.zeros(2))
DEEP_COVER = RegionSettings(cover_median_ft=60.0, cover_valley_factor=2.5, gravel_chance=0.6)


def gravels_of(rock_ft, water_ft, depth_ft, in_gravel):
    """Learn from wells on a line, 100 m apart."""
    n = len(rock_ft)
    coordinates = np.column_stack([100.0 * np.arange(n), np.zeros(n)])
    return fit_gravels(coordinates, depth_ft, np.full(n, 8.0), rock_ft, water_ft, in_gravel, HABITS)


@pytest.fixture(scope="module")
def half_of_the_wet_ones():
    """Learn from 40 wells in 100 ft of cover: of the 20 whose water stands at 40 ft, each second ends at 70 ft."""
    number = np.arange(40)
    wet = number % 2 == 0
    in_gravel = number % 4 == 0
    water = np.where(wet, 40.0, 150.0)
    return gravels_of(np.full(40, 100.0), water, np.where(in_gravel, 70.0, 300.0), in_gravel)


def test_only_wells_whose_cover_is_wet_are_asked_how_often(half_of_the_wet_ones):
    assert len(half_of_the_wet_ones.in_gravel) == 20
    assert float(half_of_the_wet_ones.chance(np.array([[2000.0, 0.0]]), WANTED_GPM)[0]) == pytest.approx(0.5, abs=0.02)


def test_the_depth_is_a_share_of_the_wet_cover(half_of_the_wet_ones):
    """From 45 ft to 100, 70 ft is 25 parts of 55; where the water stands at 90 ft the same share is nearly at rock."""
    assert half_of_the_wet_ones.depth_share == pytest.approx(25.0 / 55.0)
    share = half_of_the_wet_ones.depth_share[:1]
    assert half_of_the_wet_ones.depth_ft(share, np.array([100.0]), np.array([40.0])) == pytest.approx(70.0)
    assert half_of_the_wet_ones.depth_ft(share, np.array([100.0]), np.array([90.0])) == pytest.approx(97.27, abs=0.01)


@given(
    st.lists(st.tuples(st.floats(1.0, 400.0), st.floats(-60.0, 400.0) | st.just(np.nan)), min_size=1, max_size=30),
    st.floats(0.0, 1.0),
)
def test_a_gravel_well_ends_below_water_and_not_below_rock(half_of_the_wet_ones, ground, share):
    rock, water = np.array(ground).T
    can_be = half_of_the_wet_ones.can_be(rock, water)
    depth = half_of_the_wet_ones.depth_ft(np.full(len(rock), share), rock, water)[can_be]
    assert (depth >= np.fmax(water[can_be], 0.0) + SCREEN_FT - 1e-9).all()
    assert (depth <= rock[can_be]).all()
    assert not can_be[water > rock - SCREEN_FT].any()


@given(st.lists(st.tuples(st.floats(6.0, 300.0), st.floats(-40.0, 400.0), st.floats(0.0, 1.0)), min_size=5))
@settings(deadline=None, max_examples=30)
def test_whatever_estimated_levels_say_the_shares_are_shares(wells):
    """A level that is only estimated may lie below a gravel well's own bottom."""
    cover, water, part = np.array(wells).T
    learnt = gravels_of(cover, water, 1.0 + part * (cover - 1.0), np.ones(len(cover), dtype=bool))
    assert ((learnt.depth_share >= 0.0) & (learnt.depth_share <= 1.0)).all()


def test_wells_shallower_than_a_screen_are_no_gravel_wells():
    shallow = np.full(6, 3.0)
    assert gravels_of(shallow, np.full(6, 1.0), shallow, np.ones(6, dtype=bool)) is None


@pytest.fixture(scope="module")
def drawn():
    """Draw 40 lots of deep cover, and the share of wells there that end in gravel."""
    region = simulate_region(DEEP_COVER, random_state=4)
    middle = np.array([415_000.0, 5_015_000.0])
    places = middle + 0.3 * (region.random_places(540, 1) - middle)
    wells = as_canonical(region.drill(places[:500], 5.0, 500.0, 2), region.settings.crs)[0]
    found = region.drill(places, 5.0, 3000.0, 7)["gravel_well"].to_numpy()
    at = gpd.points_from_xy(*places[500:].T)
    lots = gpd.GeoDataFrame({"lot_id": [f"{n}" for n in range(40)]}, geometry=at, crs=region.settings.crs)
    return draw_lot_estimates(wells, lots, EstimateSettings(n_draws=300)), float(found.mean())


def test_no_draw_s_gravel_target_stands_above_its_water(drawn):
    met = 0
    for one in drawn[0]:
        rock, water, target = (one.draws[f"depth_to_{name}_ft"] for name in ("bedrock", "water", "target"))
        in_gravel = target <= rock
        assert (target[in_gravel] >= np.maximum(water[in_gravel], 0.0) + SCREEN_FT - 1e-9).all()
        met += in_gravel.sum()
    assert met > 1000


def test_gravel_is_noted_where_the_lot_itself_may_have_it(drawn):
    """The chance is that of the lot's own holes by the limit, thick cover or thin."""
    shares = []
    for one in drawn[0]:
        target = one.draws["depth_to_target_ft"]
        shares.append(((target <= one.draws["depth_to_bedrock_ft"]) & (target <= one.max_depth_ft)).mean())
        noted = [note for note in one.notes if "in gravel above rock" in note]
        assert noted == (
            [f"About {wording.percent(shares[-1])} of holes here find the target in gravel above rock."] * bool(noted)
        )
        assert bool(noted) == (shares[-1] >= 0.05)
    assert min(shares) < 0.05 < max(shares)


def test_as_many_holes_meet_gravel_as_do(drawn):
    """Each draw that has no wet cover meets none; the others make up for it, as the wells around do."""
    estimates, truth = drawn
    share = np.mean([(one.draws["depth_to_target_ft"] <= one.draws["depth_to_bedrock_ft"]).mean() for one in estimates])
    assert share == pytest.approx(truth, abs=0.06)


def test_a_hole_is_dry_or_not_whatever_was_asked_for():
    """A gravel that makes too little for 20 gpm is water all the same."""
    region = simulate_region(DEEP_COVER, random_state=6)
    holes = region.drill(region.random_places(200, random_state=3), WANTED_GPM, 500.0, random_state=4)
    wells, _ = as_canonical(holes, region.settings.crs)
    lots = wells.iloc[:4][["geometry"]].assign(lot_id=list("abcd"))
    asked = {
        gpm: draw_lot_estimates(
            wells, lots, EstimateSettings(n_draws=300, target_yield_gpm=gpm, max_depth_ft=300.0, dry_below_gpm=0.5)
        )
        for gpm in (0.5, 5.0, 20.0)
    }
    dry = {gpm: [one.chance_of_dry_hole for one in estimates] for gpm, estimates in asked.items()}
    assert dry[0.5] == dry[5.0] == dry[20.0]
    for one in asked[0.5]:
        # The same question from the other side.
        assert one.chance_of_dry_hole == pytest.approx(1.0 - one.chance_of_target, abs=1e-12)
