"""The contract of `estimate_lots` and what hangs together in a `LotEstimate`."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from wellrecords.errors import ProblemsError
from wellrecords.lots import EstimateSettings, draw_lot_estimates, estimate_lots, summarise, wells_box
from wellrecords.lots.tiles import MOST_CUTS, tile_at
from wellrecords.simulation import simulate_region
from wellrecords.simulation.canonical import as_canonical


@pytest.fixture(scope="module")
def region():
    return simulate_region(random_state=3)


@pytest.fixture(scope="module")
def wells(region):
    rng = np.random.default_rng(5)
    places = np.array([415_000.0, 5_015_000.0]) + 0.3 * (region.random_places(500, 1) - [415_000.0, 5_015_000.0])
    holes = region.drill(places, rng.choice([3.0, 5.0, 8.0], 500), rng.choice([300.0, 400.0, 500.0], 500), 2)
    return as_canonical(holes, region.settings.crs)[0]


@pytest.fixture(scope="module")
def lots(region):
    centre = gpd.points_from_xy([415_000.0, 415_800.0], [5_015_000.0, 5_015_900.0]).buffer(60.0)
    away = gpd.points_from_xy([480_000.0], [5_015_000.0])
    return gpd.GeoDataFrame({"lot_id": ["a", "b", "far"]}, geometry=[*centre, *away], crs=region.settings.crs)


@pytest.fixture(scope="module")
def estimates(wells, lots):
    return draw_lot_estimates(wells, lots, EstimateSettings(n_draws=400))


def test_columns_follow_the_quantiles_asked(wells, lots):
    """Each quantity has a column a quantile, two digits, and the rest is as agreed."""
    table = estimate_lots(wells, lots.to_crs("EPSG:3857"), 4.0, 500.0, quantiles=(0.05, 0.5), random_state=1)
    names = ["depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm"]
    figures = [f"{name}_p{level}" for name in names for level in ("05", "50")]
    others = ["chance_of_target", "chance_of_dry_hole", "wells_within_1km", "wells_within_5km", "nearest_well_m"]
    assert list(table.columns) == [*figures, *others, "support", "notes"]
    assert list(table.index) == ["a", "b", "far"]
    assert table.index.name == "lot_id"
    assert (table.loc[["a", "b"], "depth_to_target_ft_p05"] < table.loc[["a", "b"], "depth_to_target_ft_p50"]).all()


def test_where_the_records_cannot_say_there_is_no_number(estimates):
    """A lot 50 km from the nearest well gets a reason and what would help, and no figure."""
    far = estimates[2]
    row = summarise(estimates).loc["far"]
    assert far.support == "none"
    assert far.draws is None
    assert np.isnan([far.chance_of_target, far.chance_of_dry_hole]).all()
    assert row.filter(regex="_p[0-9]").isna().all()
    assert "cannot say" in row["notes"]
    assert "test hole" in row["notes"]
    with pytest.raises(ValueError, match="cannot say"):
        far.yield_at_depth(100.0)


def test_the_table_and_the_draws_say_the_same(estimates, wells, lots):
    """`estimate_lots` is the summary of the draws."""
    direct = estimate_lots(wells, lots, settings=EstimateSettings(n_draws=400))
    pd.testing.assert_frame_equal(direct, summarise(estimates))


def test_a_draw_makes_the_target_at_its_depth_and_not_above(estimates):
    """Yield at depth is joint with the draws."""
    one = estimates[0]
    depth = one.draws["depth_to_target_ft"].to_numpy()
    reached = np.isfinite(depth)
    assert (one.yield_at_depth(depth)[reached] >= one.target_yield_gpm).all()
    assert (one.yield_at_depth(depth - 0.01)[reached] < one.target_yield_gpm).all()
    assert (one.yield_at_depth(1e9)[~reached] < np.inf).all()
    assert (one.yield_at_depth(400.0) <= one.yield_at_depth(600.0)).all()


def test_curve_and_chance_agree(estimates):
    """The curve rises, and ends at the chance by the deepest hole."""
    for one in estimates[:2]:
        curve = one.target_curve["chance_of_target"]
        assert curve.is_monotonic_increasing
        assert curve.iloc[-1] == pytest.approx(one.chance_of_target)
        assert one.target_curve["depth_ft"].iloc[-1] == one.max_depth_ft


def test_neighbours_are_named_with_their_weights(estimates, wells):
    """Weights fall in order, no more than 1 in all, and the wells are those of the table."""
    near = estimates[0].neighbours
    assert near["weight"].is_monotonic_decreasing
    assert 0 < near["weight"].sum() <= 1 + 1e-9
    assert set(near["record_id"]) <= set(wells["record_id"])


def test_few_columns_are_enough(wells, lots):
    """Positions, depth and yield suffice; what is then unknown is NaN with a note."""
    few = pd.DataFrame(wells)[["longitude", "latitude", "total_depth_ft", "yield_gpm_low", "yield_gpm_high"]]
    row = estimate_lots(few, lots).loc["a"]
    assert row.filter(like="depth_to_bedrock").isna().all()
    assert row.filter(like="depth_to_target").notna().all()
    assert "cannot say depth to bedrock" in row["notes"]


def test_no_wells_at_all(wells, lots):
    """An empty table is a silent one."""
    table = estimate_lots(wells.iloc[:0], lots)
    assert (table["support"] == "none").all()
    assert np.isinf(table["nearest_well_m"]).all()


def test_lots_without_a_coordinate_system_are_refused(wells, lots):
    """The error says what to do."""
    with pytest.raises(ProblemsError, match=r"geopandas.read_file"):
        estimate_lots(wells, lots.set_crs(None, allow_override=True))


def test_a_lot_may_have_wishes_of_its_own(wells, lots, estimates):
    """Targets and limits of the lots win over the settings; an empty one is the settings'."""
    own = lots.assign(target_yield_gpm=[2.0, np.nan, np.nan], max_depth_ft=[np.nan, 300.0, np.nan])
    asked = draw_lot_estimates(wells, own, EstimateSettings(n_draws=400))
    assert [one.target_yield_gpm for one in asked] == [2.0, 5.0, 5.0]
    assert [one.max_depth_ft for one in asked] == [600.0, 300.0, 600.0]
    assert asked[0].chance_of_target > estimates[0].chance_of_target
    assert asked[1].chance_of_target < estimates[1].chance_of_target
    with pytest.raises(ProblemsError, match="target_yield_gpm"):
        draw_lot_estimates(wells, lots.assign(target_yield_gpm=[-1.0, 2.0, 2.0]))


@pytest.fixture(scope="module")
def scattered(region):
    """Eight lots among the wells and far off, on both sides of the edges of tiles, with wishes of their own."""
    east = np.linspace(410_000.0, 422_000.0, 7)
    points = gpd.points_from_xy([*east, 480_000.0], [*(east + 4_600_000.0), 5_015_000.0])
    wish = [np.nan, 2.0, np.nan, 8.0, np.nan, 3.0, np.nan, np.nan]
    table = {"lot_id": [f"lot {number}" for number in range(8)], "target_yield_gpm": wish}
    return gpd.GeoDataFrame(table, geometry=points, crs=region.settings.crs)


@pytest.mark.parametrize("asked", [{}, {"wells_per_fit": 200}], ids=["all wells", "by tile"])
def test_company_and_order_do_not_matter(wells, scattered, asked):
    """A lot has the same figures and draws alone, among others, among others in another order, and asked twice."""
    chosen = EstimateSettings(n_draws=200, **asked)
    together = draw_lot_estimates(wells, scattered, chosen)
    assert len({one.support for one in together}) > 1
    table = summarise(together)
    rows = [5, 1, 3, 2, 2]
    some = scattered.iloc[rows].assign(lot_id=["5", "1", "3", "2", "again"])
    shuffled = draw_lot_estimates(wells.sample(frac=1.0, random_state=1), some, chosen)
    for one, other in zip(shuffled, [together[row] for row in rows], strict=True):
        assert (one.draws is None) == (other.draws is None)
        if one.draws is not None and other.draws is not None:
            pd.testing.assert_frame_equal(one.draws, other.draws, check_exact=True)
            np.testing.assert_array_equal(one.yield_at_depth(300.0), other.yield_at_depth(300.0))
            assert one.technical_words == other.technical_words
        pd.testing.assert_frame_equal(one.neighbours, other.neighbours, check_exact=True)
    alone = estimate_lots(wells, scattered.iloc[[4]], settings=chosen)
    pd.testing.assert_frame_equal(alone, table.iloc[[4]], check_exact=True)


def test_the_wells_of_a_box_are_enough(wells, scattered):
    """By tile, what is read from a box of a large store gives what the whole store gives."""
    chosen = EstimateSettings(n_draws=200, wells_per_fit=200)
    one = scattered.iloc[[1]]
    west, south, east, north = wells_box(one)
    inside = wells["longitude"].between(west, east) & wells["latitude"].between(south, north)
    far = wells.iloc[:50].assign(longitude=wells["longitude"].iloc[:50] + 2.0)
    far = pd.DataFrame(far.assign(record_id="far " + far["record_id"]))
    whole = estimate_lots(pd.concat([pd.DataFrame(wells), far]), one, settings=chosen)
    box = estimate_lots(wells[inside], one, settings=chosen.model_copy(update={"by_tile": True}))
    pd.testing.assert_frame_equal(whole, box, check_exact=True)


@settings(deadline=None)
@given(longitude=st.floats(-180.0, 179.99), latitude=st.floats(-89.0, 89.0), cuts=st.integers(0, MOST_CUTS))
def test_a_place_lies_in_its_tile_and_a_cut_tile_in_its_parent(longitude, latitude, cuts):
    """Tiles are about square, and a tile with its margin lies in the one that it was cut from."""
    tile = tile_at(longitude, latitude, cuts)
    assert tile.holds(np.array([longitude]), np.array([latitude])).all()
    (width, height), middle = tile.sides, tile.middle
    assert abs(longitude - middle[0]) <= width / 2 + 1e-9
    assert abs(latitude - middle[1]) <= height / 2 + 1e-9
    assert width * np.cos(np.radians(middle[1])) == pytest.approx(height, rel=0.5)
    if cuts:
        west, south, east, north = tile_at(longitude, latitude, cuts - 1).box
        assert west <= tile.box[0] + 1e-9
        assert south <= tile.box[1] + 1e-9
        assert east >= tile.box[2] - 1e-9
        assert north >= tile.box[3] - 1e-9


def test_words_never_claim_certainty_nor_depths_beyond_the_limit(estimates, wells, lots):
    """Neither 0% nor 100%; no depth below the limit; and the cap is noted only beside a figure that stands at it."""
    wishes = {"target_yield_gpm": [0.1, 5.0, 5.0, 40.0], "max_depth_ft": [600.0, 150.0, 600.0, 600.0]}
    asked = lots.iloc[[0, 0, 0, 0]].assign(lot_id=["sure", "shallow", "usual", "rich"], **wishes)
    found = draw_lot_estimates(wells, asked, EstimateSettings(n_draws=200, deepest_ft=800.0))
    assert "over 99%" in found[0].technical_words
    assert "over 150" in found[1].technical_words
    capped = []
    for one in found:
        assert "100%" not in one.technical_words
        assert " 0%" not in one.technical_words
        table = summarise([one])
        capped.append(bool((table.filter(regex="depth_to_target_ft_p").to_numpy() == one.deepest_ft).any()))
        assert capped[-1] == ("stands for that depth or more" in table["notes"].iloc[0])
        assert not any("stands for that depth or more" in note for note in one.notes)
    assert set(capped) == {True, False}


def test_a_target_hardly_met_and_a_limit_unlike_the_wells_around_are_noted(wells, lots):
    wishes = {"target_yield_gpm": [5.0, 5.0, 500.0, 5.0], "max_depth_ft": [150.0, 60_000.0, 600.0, 400.0]}
    asked = lots.iloc[[0, 0, 0, 0]].assign(lot_id=["shallow", "deep", "rich", "usual"], **wishes)
    shallow, deep, rich, usual = (
        " ".join(one.notes) for one in draw_lot_estimates(wells, asked, EstimateSettings(n_draws=200))
    )
    assert "Most wells within 3.1 miles are deeper than the limit of 150 ft." in shallow
    assert "and the limit is 60,000 ft: figures beyond" in deep
    assert "A well here will hardly make 500 gpm by 600 ft" in rich
    for words in ("Most wells within", "and the limit is", "will hardly make"):
        assert words not in usual


def test_what_bears_on_no_figure_asked_for_is_not_noted(wells, lots):
    """Depths that no well has reached count for a limit near them; a low limit counts where it takes chance away."""
    wishes = {"target_yield_gpm": [25.0, 25.0, 0.05], "max_depth_ft": [150.0, 600.0, 190.0]}
    asked = lots.iloc[[0, 0, 0]].assign(lot_id=["above", "about", "sure"], **wishes)
    above, about, sure = draw_lot_estimates(wells, asked, EstimateSettings(n_draws=200))
    assert 400.0 < above.deepest_well_ft <= 500.0
    assert (above.draws["depth_to_target_ft"] > 500.0).mean() > 0.1
    beyond = f"No well within 3.1 miles is deeper than {above.deepest_well_ft:.0f} ft: figures beyond"
    assert not any(beyond in note for note in above.notes)
    assert any(beyond in note for note in about.notes)
    # A chance that rests on depths nobody drilled says so, be the limit never so near.
    [lower] = draw_lot_estimates(
        wells, lots.iloc[[0]].assign(target_yield_gpm=10.0, max_depth_ft=900.0), EstimateSettings(n_draws=400)
    )
    part = lower.draws["depth_to_target_ft"].between(lower.deepest_well_ft, 900.0, inclusive="right").mean()
    assert part >= 0.02
    assert any("figures beyond" in note for note in lower.notes)
    # The table shows depths beyond the limit, and says so of them once.
    table = summarise([above, about])
    assert table["notes"].str.count("figures beyond").tolist() == [1, 1]
    low = "Most wells within 3.1 miles are deeper than the limit of 150 ft."
    assert low in above.notes
    assert sure.chance_of_target > 0.9
    assert low not in sure.notes


@pytest.mark.parametrize(("name", "value"), [("deepest_ft", np.inf), ("deepest_ft", 3e4), ("max_depth_ft", np.nan)])
def test_settings_that_no_hole_has_are_refused(name, value):
    with pytest.raises(ValidationError, match=name):
        EstimateSettings(**{name: value})
