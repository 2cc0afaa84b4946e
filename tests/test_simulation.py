"""The simulator against the theory that it claims to follow."""

import numpy as np
import pandas as pd
import pytest
from scipy import special, stats

from wellrecords.schema import check_wells
from wellrecords.simulation import (
    PRESETS,
    RandomField,
    RegionSettings,
    RockUnit,
    as_canonical,
    depth_to_target_ft,
    simulate_region,
    yield_at_depth_gpm,
)

UNIFORM = RegionSettings(
    units=(RockUnit(name="granite", share=1.0, fractures_per_100ft=1.5, median_fracture_gpm=1.2),),
    rate_log_sd=0.0,
    fracture_log_sd_in_space=0.0,
    gravel_chance=0.0,
)
"""The same law of fractures everywhere, so that holes can be pooled."""


def drilled(settings=UNIFORM, n=4000, target=5.0, limit=500.0, seed=1, **options):
    region = simulate_region(settings, seed)
    return region.drill(region.random_places(n, seed + 1), target, limit, seed + 2, **options)


def matern(distance_m, length_m, smoothness):
    """Rasmussen and Williams (2006), eq. 4.14."""
    scaled = np.sqrt(2.0 * smoothness) * distance_m / length_m
    return 2.0 ** (1.0 - smoothness) / special.gamma(smoothness) * scaled**smoothness * special.kv(smoothness, scaled)


@pytest.mark.parametrize("smoothness", [0.5, 1.5, 2.5])
def test_field_has_the_matern_covariance(smoothness):
    """Over realisations the covariance is the closed form of the family."""
    distances = np.array([100.0, 500.0, 1000.0, 2000.0])
    places = np.vstack([[0.0, 0.0], np.column_stack([0.6 * distances, 0.8 * distances])])
    rng = np.random.default_rng(0)
    draws = np.array(
        [RandomField.draw(800.0, rng, smoothness=smoothness, n_features=32)(places) for _ in range(20_000)]
    )
    found = (draws[:, :1] * draws[:, 1:]).mean(axis=0)
    assert found == pytest.approx(matern(distances, 800.0, smoothness), abs=0.03)
    assert draws.std(axis=0) == pytest.approx(1.0, abs=0.03)
    assert draws.mean(axis=0) == pytest.approx(0.0, abs=0.03)


def test_fracture_counts_are_poisson():
    """Counts of fractures in 300 ft below the first water follow Poisson(rate x 300)."""
    holes = drilled()
    below = holes["first_water_ft"] + 300.0
    counts = np.array([(d <= b).sum() for d, b in zip(holes["fracture_depths_ft"], below, strict=True)])
    law = stats.poisson(0.015 * 300.0)
    expected = len(counts) * np.append(law.pmf(np.arange(12)), law.sf(11))
    observed = np.bincount(np.minimum(counts, 12), minlength=13)
    assert stats.chisquare(observed, expected).pvalue > 0.001


@pytest.mark.parametrize("decay_ft", [None, 300.0])
def test_first_fracture_follows_the_integrated_rate(decay_ft):
    """Depth to the first fracture is exponential on the scale of the integrated rate."""
    holes = drilled(UNIFORM.model_copy(update={"rate_decay_ft": decay_ft, "drilled_to_ft": 20_000.0}))
    first = np.array([depths[0] if len(depths) else np.inf for depths in holes["fracture_depths_ft"]])
    below = first - holes["first_water_ft"].to_numpy()
    if decay_ft is None:
        assert stats.kstest(below, stats.expon(scale=1.0 / 0.015).cdf).pvalue > 0.001
    else:  # The rate dies out: some holes never meet one, exp(-rate x decay) of them.
        assert np.isinf(below).mean() == pytest.approx(np.exp(-0.015 * decay_ft), abs=0.006)
        hazard = 0.015 * -decay_ft * np.expm1(-below[np.isfinite(below)] / decay_ft)
        assert stats.kstest(hazard, stats.truncexpon(0.015 * decay_ft).cdf).pvalue > 0.001


def test_single_fractures_are_lognormal():
    holes = drilled(n=1000)
    yields = np.concatenate(list(holes["fracture_yields_gpm"]))
    assert stats.kstest(yields[:20_000], stats.lognorm(s=1.1, scale=1.2).cdf).pvalue > 0.001


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_mean_yield_of_the_rock_is_rate_times_depth_times_mean(name):
    """The compound process has the mean that Wald's identity gives, in every preset."""
    settings = PRESETS[name]
    region = simulate_region(settings, 7)
    places = region.random_places(6000, 8)
    holes = region.drill(places, 5.0, 400.0, 9)
    found = yield_at_depth_gpm(holes, 400.0)
    theory = region.at(places).expected_rock_yield_gpm(400.0)
    error = (found - theory).std() / np.sqrt(len(places))
    assert abs((found - theory).mean()) < 4.0 * error


def test_waiting_depth_for_equal_fractures_is_gamma():
    """With fractures of one size, the depth to k of them is a gamma waiting time."""
    settings = UNIFORM.model_copy(update={"fracture_log_sd": 0.0, "drilled_to_ft": 5_000.0})
    holes = drilled(settings)
    below = depth_to_target_ft(holes, 3.0) - holes["first_water_ft"].to_numpy()  # 3 fractures of 1.2 gpm
    assert stats.kstest(below, stats.gamma(3, scale=1.0 / 0.015).cdf).pvalue > 0.001


def test_no_fracture_above_rock_or_water():
    holes = drilled(PRESETS["mixed"])
    top = np.array([depths[0] if len(depths) else np.inf for depths in holes["fracture_depths_ft"]])
    assert (top >= np.maximum(holes["depth_to_bedrock_ft"], holes["depth_to_water_ft"])).all()
    for depths in holes["fracture_depths_ft"].head(200):
        assert (np.diff(depths) >= 0.0).all()


def test_the_driller_stops_at_the_fracture_that_is_enough():
    holes = drilled(PRESETS["mixed"], target=np.resize([3.0, 5.0, 8.0], 4000), limit=np.resize([300.0, 500.0], 4000))
    wanted = depth_to_target_ft(holes, holes["target_gpm"].to_numpy())
    assert np.array_equal(holes["met_target"], wanted <= holes["limit_ft"])
    assert holes["total_depth_ft"].to_numpy() == pytest.approx(np.minimum(wanted, holes["limit_ft"]))
    rock = ~holes["gravel_well"]
    made = yield_at_depth_gpm(holes, holes["total_depth_ft"].to_numpy())
    assert holes["yield_gpm"][rock].to_numpy() == pytest.approx(made[rock])
    just_above = yield_at_depth_gpm(holes, holes["total_depth_ft"].to_numpy() - 1e-6)
    met = rock & holes["met_target"]
    assert (just_above[met] < holes["target_gpm"][met]).all()


def test_checks_come_at_lengths_of_rod():
    at_once = drilled(UNIFORM)
    rods = drilled(UNIFORM, check_every_ft=20.0, least_depth_ft=100.0)
    assert (rods["total_depth_ft"] % 20.0 == 0.0).all()
    assert (rods["total_depth_ft"] >= 100.0).all()
    assert (rods["total_depth_ft"] >= at_once["total_depth_ft"]).all()
    deeper = np.maximum(at_once["total_depth_ft"], 100.0)
    assert (rods["total_depth_ft"] - deeper < 20.0).all()


def test_wells_above_rock_are_gravel_wells_or_stopped_by_the_limit():
    holes = drilled(PRESETS["deep_cover"], limit=np.resize([40.0, 500.0], 4000))
    above = ~holes["reached_bedrock"]
    assert holes["gravel_well"].sum() > 200
    assert (above & ~holes["gravel_well"]).sum() > 200
    assert (holes["total_depth_ft"][above] <= holes["depth_to_bedrock_ft"][above]).all()
    assert (holes["yield_gpm"][above & ~holes["gravel_well"]] == 0.0).all()
    in_rock = holes[holes["reached_bedrock"]]
    assert (in_rock["total_depth_ft"] >= in_rock["depth_to_bedrock_ft"]).all()


def test_own_law_agrees_with_new_holes():
    """Depths drawn from the law at a place have the ranks of a uniform among holes drilled there."""
    region = simulate_region(PRESETS["mixed"], 5)
    places = region.random_places(1500, 6)
    law = region.draw_depth_to_target_ft(places, 3.0, 99, 7)
    truth = depth_to_target_ft(region.drill(places, 8.0, 400.0, 8), 3.0)
    rank = (law < truth).sum(axis=0) + np.random.default_rng(9).integers(0, (law == truth).sum(axis=0) + 1)
    assert stats.kstest((rank + 0.5) / 100.0, "uniform").pvalue > 0.001


def test_water_table_is_subdued_terrain():
    region = simulate_region(RegionSettings(water_sd_ft=0.0, tilt_ft=0.0), 3)
    ground = region.at(region.random_places(500, 4))
    level = ground.elevation_ft - ground.depth_to_water_ft
    assert stats.linregress(ground.elevation_ft, level).slope == pytest.approx(0.75)


def test_some_valley_wells_flow():
    region = simulate_region(random_state=3)
    ground = region.at(region.random_places(4000, 4))
    flowing, valley = ground.depth_to_water_ft < 0.0, ground.valley_index > 0.8
    assert 0.1 < flowing[valley].mean() < 0.4  # level 4 ft, sd 6 ft: P(z < -4/6) = 0.25 on a valley's middle line
    assert flowing[ground.valley_index < 0.5].mean() < 0.01


def test_cover_is_thicker_in_valleys():
    region = simulate_region(random_state=3)
    ground = region.at(region.random_places(4000, 4))
    cover = ground.depth_to_bedrock_ft
    ratio = np.median(cover[ground.valley_index > 0.8]) / np.median(cover[ground.valley_index < 0.1])
    assert ratio == pytest.approx(4.0, rel=0.25)


def test_same_seed_same_region_and_new_seed_another():
    first, again, other = (drilled(PRESETS["mixed"], n=50, seed=seed) for seed in (1, 1, 2))
    pd.testing.assert_frame_equal(first, again)
    assert not np.allclose(first["yield_gpm"], other["yield_gpm"])


def test_any_target_any_rows():
    """Truth travels with the rows: a selection answers as the whole does."""
    holes = drilled(PRESETS["mixed"], n=300)
    some = holes["met_target"].to_numpy()
    for target in (0.0, 1.0, 3.0, 10.0):
        assert np.array_equal(depth_to_target_ft(holes, target)[some], depth_to_target_ft(holes[some], target))
    assert (depth_to_target_ft(holes, 0.0) == 0.0).all()
    assert (depth_to_target_ft(holes, 1.0) <= depth_to_target_ft(holes, 3.0)).all()
    assert np.isinf(depth_to_target_ft(holes, 1e9)).all()


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_canonical_records_hold_the_truth(name):
    """Each interval of a perfect record holds the true value."""
    holes = drilled(PRESETS[name], n=800)
    wells, zones = as_canonical(holes, PRESETS[name].crs)
    check_wells(wells)
    assert len(wells) == len(holes)
    for quantity in ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm"):
        low, high = wells[f"{quantity}_low"].to_numpy(), wells[f"{quantity}_high"].to_numpy()
        known = ~np.isnan(low)
        truth = holes[quantity].to_numpy()[known]
        assert ((low[known] <= truth) & (truth <= high[known])).all()
        assert known.mean() > 0.8
    back = wells.to_crs(PRESETS[name].crs).geometry
    assert back.x.to_numpy() == pytest.approx(holes["easting_m"].to_numpy(), abs=0.01)
    assert back.y.to_numpy() == pytest.approx(holes["northing_m"].to_numpy(), abs=0.01)
    summed = zones.groupby("record_id")["yield_gpm_low"].sum().reindex(wells["record_id"], fill_value=0.0)
    assert summed.to_numpy() == pytest.approx(holes["yield_gpm"].to_numpy())
    bottom = wells.set_index("record_id")["total_depth_ft"].reindex(zones["record_id"]).to_numpy()
    assert (zones["depth_ft"].to_numpy() <= bottom).all()
