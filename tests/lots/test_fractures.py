"""The fracture process and its likelihood, against closed forms."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import entr

from wellrecords.lots import fractures
from wellrecords.lots.fractures import (
    BELOW,
    DENSITY,
    LEAP,
    LOG_M,
    LOG_U,
    PASSAGE,
    STEP,
    STOP,
    STOP_SHARES,
    Jumps,
    LawGrid,
    fracture_tables,
    window,
)
from wellrecords.lots.laws import FEET, LocalLaws
from wellrecords.lots.learning import first_grid, fit_laws
from wellrecords.lots.likelihood import log_likelihood, share_weights
from wellrecords.lots.paths import draw_paths
from wellrecords.lots.stopping import (
    AT_LEAST,
    EXACT,
    FRACTURED,
    LOGGED,
    MISSING,
    UNDER,
    USUAL_TARGETS_GPM,
    Habits,
    read_stops,
)

LOGNORMAL = Jumps("lognormal", 1.0)
EXPONENTIAL = Jumps("gamma", 1.0)


def read(table, m, u):
    """Value of one table at intensity m and yield u."""
    grid = LawGrid(np.array([0.0]), np.array([0.0]))
    return float(window(table[0], np.array([table[1]]), np.log([m]), np.log([u]), grid)[0, 0, 0])


def certain(rate, size, jumps=LOGNORMAL, decay_ft=np.inf):
    """One place whose law is known."""
    grid = LawGrid(np.log([rate, 2 * rate]), np.log([size, 2 * size]))
    return LocalLaws(np.array([[1.0, 0.0, 0.0, 0.0]]), grid, fracture_tables(jumps), decay_ft)


def wells(depth, low, high=None, **more):
    """A table of wells with rock at the ground."""
    depth, low = np.atleast_1d(depth).astype(float), np.atleast_1d(low).astype(float)
    table = pd.DataFrame(
        {
            "record_id": [str(number) for number in range(len(depth))],
            "total_depth_ft": depth,
            "yield_gpm_low": low,
            "yield_gpm_high": low if high is None else np.atleast_1d(high).astype(float),
            "record_kind": "new",
            "hydrofractured": False,
            "yield_method": "air_lift",
            "position_error_m": 0.0,
        }
    )
    return table.assign(**more)


def stops(table, zones=None):
    return read_stops(table, np.zeros((len(table), 2)), np.zeros(len(table)), zones)


def habits(target=5.0, hazard=1e-9):
    """Drillers who all want the same and hardly ever meet a limit."""
    share = np.where(target == USUAL_TARGETS_GPM, 1.0, 0.0)
    return Habits(share, np.array([0.0, 1000.0]), np.full(2, hazard))


def test_one_fracture_above_target_each_is_an_exponential():
    """When every fracture makes the target, the feet to it are exponential with the rate."""
    laws = certain(1 / 50, 1000.0, Jumps("lognormal", 0.6))
    levels = np.array([0.1, 0.5, 0.9])
    assert laws.feet_to(1.0, levels)[0] == pytest.approx(stats.expon(scale=50).ppf(levels), rel=0.03)


def test_likelihood_of_a_stop_equals_the_exponential_density():
    """Stops at the first fracture: the likelihood over rates is that of scipy.stats.expon."""
    grid = LawGrid(np.log([1 / 200, 1 / 100, 1 / 50, 1 / 25]), np.log([1000.0, 2000.0]))
    table = wells([30.0, 80.0, 150.0], [1000.0, 1000.0, 1000.0])
    found = log_likelihood(stops(table), habits(), fracture_tables(LOGNORMAL), grid).reshape(3, 4, 2)[:, :, 0]
    expected = stats.expon.logpdf(table["total_depth_ft"].to_numpy()[:, None], scale=np.exp(-grid.log_rate))
    difference = found - expected
    assert difference - difference[:, :1] == pytest.approx(np.zeros((3, 4)), abs=0.05)


def test_sums_of_exponential_yields_follow_the_gamma_series():
    """P(Z(m) < u) is a Poisson mixture of gamma distributions."""
    table = fracture_tables(EXPONENTIAL)
    scale = 1 / np.log(2)  # of median one
    # at nodes of the tables, so that no reading is rounded
    for m in np.exp([LOG_M[np.abs(LOG_M - np.log(m)).argmin()] for m in (0.3, 2.0, 10.0)]):
        for u in np.exp([LOG_U[np.abs(LOG_U - np.log(u)).argmin()] for u in (0.2, 1.0, 5.0, 30.0)]):
            n = np.arange(1, 80)
            below = np.exp(-m) + stats.poisson.pmf(n, m) @ stats.gamma.cdf(u, n, scale=scale)
            density = u * (stats.poisson.pmf(n, m) @ stats.gamma.pdf(u, n, scale=scale))
            assert read((table, BELOW), m, u) == pytest.approx(below, rel=0.01, abs=1e-3)
            assert read((table, DENSITY), m, u) == pytest.approx(density, rel=0.02, abs=1e-3)


@pytest.mark.parametrize("jumps", [LOGNORMAL, EXPONENTIAL, Jumps("lognormal", 1.5)])
def test_passage_is_the_slope_of_the_chance(jumps):
    """m times the rate of passage is minus the derivative of P(Z(m) < u) by log m."""
    table = fracture_tables(jumps)
    for m, u in ((0.5, 1.0), (3.0, 4.0), (10.0, 20.0)):
        step = 0.125
        slope = (read((table, BELOW), m * np.exp(-step), u) - read((table, BELOW), m * np.exp(step), u)) / (2 * step)
        assert read((table, PASSAGE), m, u) == pytest.approx(slope, rel=0.05, abs=2e-3)


@pytest.mark.parametrize("jumps", [LOGNORMAL, EXPONENTIAL, Jumps("lognormal", 0.6), Jumps("lognormal", 1.5)])
@pytest.mark.parametrize("target", [0.3, 1.0, 3.0, 10.0, 30.0])
def test_every_hole_stops_once(jumps, target):
    """The density of a stop sums to one over feet and yields, of many small fractures as of a few large ones.

    If it did not, the law for which it sums to more would be taken for the likelier one.
    """
    tables = fracture_tables(jumps).values[STOP:LEAP]  # noqa: PD011
    log_u = LOG_U[0] + STEP * np.arange(tables.shape[2])
    first = int(np.rint((np.log(target) - LOG_U[0]) / STEP))
    ratio = np.exp(log_u[first] - 0.5 * STEP) / np.exp(log_u[first:])
    density = np.einsum("smu,us->mu", tables[:, :, first:].astype(float), share_weights(ratio))
    assert density.sum() * STEP**2 == pytest.approx(1.0, abs=0.035)


@settings(deadline=None, max_examples=40)
@given(
    rate=st.floats(1 / 500, 1 / 10),
    size=st.floats(0.2, 20.0),
    feet=st.floats(5.0, 500.0),
    gpm=st.floats(0.5, 30.0),
    decay=st.sampled_from([np.inf, 250.0]),
)
def test_chance_falls_with_the_target_and_grows_with_depth(rate, size, feet, gpm, decay):
    """More depth never hurts; more wanted never helps."""
    laws = certain(rate, size, decay_ft=decay)
    made = 1 - laws.chance_below(np.array([feet, 1.5 * feet]), gpm)[0]
    more = 1 - laws.chance_below(np.array([feet]), 1.5 * gpm)[0]
    assert made[1] >= made[0] - 1e-3
    assert more[0] <= made[0] + 1e-3
    assert ((made >= -1e-6) & (made <= 1 + 1e-6)).all()


@pytest.mark.parametrize("decay_ft", [np.inf, 250.0])
def test_paths_follow_the_tables(decay_ft):
    """Holes drawn one by one make the target as often as the tables say, and their yields never fall."""
    laws = certain(1 / 60, 2.0, decay_ft=decay_ft)
    paths = draw_paths(laws, 0, 4000, 1000.0, np.random.default_rng(0))
    depth = np.array([60.0, 150.0, 400.0])
    seen = [(paths.gpm_at(np.full(4000, feet)) >= 5.0).mean() for feet in depth]
    assert seen == pytest.approx(1 - laws.chance_below(depth, 5.0)[0], abs=0.03)
    reached = paths.feet_to(5.0)
    some = np.isfinite(reached)
    assert (paths.gpm_at(reached)[some] >= 5.0).all()
    assert (paths.gpm_at(np.nextafter(reached, 0))[some] < 5.0).all()


def test_each_reading_is_read_as_what_it_is():
    """Exact, dry, missing, bounded below, tested, fractured, and logged; repairs are left out."""
    table = pd.concat(
        [
            wells(100, 5.0),
            wells(100, 0.0, 0.5),
            wells(100, np.nan),
            wells(100, 100.0, np.inf),
            wells(100, 5.0, yield_method="pumping_test"),
            wells(100, 5.0, hydrofractured=True),
            wells(100, 5.0),
            wells(100, 5.0, record_kind="repaired"),
        ]
    )
    table["record_id"] = [str(number) for number in range(8)]
    zones = pd.DataFrame({"record_id": ["6", "6"], "depth_ft": [60.0, 95.0], "yield_gpm_low": [2.0, 3.0]})
    zones["yield_gpm_high"] = zones["yield_gpm_low"]
    found = stops(table, zones)
    assert found.kind.tolist() == [EXACT, UNDER, MISSING, AT_LEAST, EXACT, FRACTURED, LOGGED]
    assert found.as_written[4] < 1.0  # a test: what the pump drew, or more
    assert (found.rounded[4, :, 1] == 5.0).all()
    assert (found.rounded[4, :, 2] > 5.0).all()
    assert found.row.tolist() == list(range(7))


def test_logged_zones_are_a_poisson_likelihood():
    """With the whole path on record the rate's likelihood is n log(rate) - rate * feet."""
    zones = pd.DataFrame({"record_id": ["0"] * 3, "depth_ft": [20.0, 60.0, 95.0], "yield_gpm_low": [1.0, 2.0, 2.0]})
    found = stops(wells(100, 5.0), zones.assign(yield_gpm_high=zones["yield_gpm_low"]))
    grid = LawGrid(np.log([1 / 100, 1 / 33, 1 / 10]), np.log([1.0, 2.0]))
    by_rate = log_likelihood(found, habits(), fracture_tables(LOGNORMAL), grid).reshape(3, 2)[:, 0]
    rate = np.exp(grid.log_rate)
    expected = 3 * np.log(rate) - rate * 100.0
    assert by_rate - by_rate[0] == pytest.approx(expected - expected[0], abs=1e-3)


@pytest.mark.parametrize("target", [0.3, 1.0, 3.0])
def test_a_leap_past_a_target_is_as_long_as_a_fracture_of_exponential_yield(target):
    """The exponential law forgets: past its target a stop makes more by u - T as rarely as a fracture makes so much."""
    table, scale = fracture_tables(EXPONENTIAL), 1 / np.log(2)  # of median one
    for m in (1.0, 4.0):
        met = read((table, PASSAGE), m, target)
        for gpm in target * np.exp(STEP * np.array([2, 8, 24])):
            leap = share_weights(np.array([target / gpm])) @ [
                read((table, LEAP + number), m, gpm) for number in range(len(STOP_SHARES))
            ]
            assert leap[0] == pytest.approx(met * np.exp(-(gpm - target) / scale), rel=0.06, abs=0.03 * met)


def test_a_bound_is_passed_from_the_target_or_short_of_it():
    """Exponential yields, target 5 gpm, a limit: what holes of at least 2 and at least 6 gpm say, in closed form."""
    table = wells([200.0, 200.0], [2.0, 6.0], [np.inf, np.inf])
    grid, hazard = LawGrid(np.log([1 / 60, 1 / 30]), np.log([1.0, 2.0])), 0.01
    bounded, law = stops(table), fracture_tables(EXPONENTIAL)
    assert (bounded.kind == AT_LEAST).all()
    two, six = np.exp(log_likelihood(bounded, habits(5.0, hazard), law, grid))
    for rate, size, column in ((1 / 60, 1.0, 0), (1 / 30, 2.0, 3)):
        below = [read((law, BELOW), rate * 200.0, gpm / size) for gpm in (2.0, 5.0)]
        met = read((law, PASSAGE), rate * 200.0, 5.0 / size)
        assert two[column] == pytest.approx(met + hazard * 200.0 * (below[1] - below[0]), rel=0.05)
        assert six[column] == pytest.approx(met * np.exp(-np.log(2) / size), rel=0.05)


def test_a_range_says_the_sum_of_its_yields():
    """Between 4 and 8 gpm: the mean of the likelihoods of yields between, on the scale of their logs."""
    grid, law = LawGrid(np.log([1 / 80, 1 / 40]), np.log([0.7, 2.8])), fracture_tables(LOGNORMAL)
    between = np.exp(np.arange(np.log(4.0) + STEP / 2, np.log(8.0), STEP))
    drillers = habits(3.0, 0.002)
    each = np.exp(log_likelihood(stops(wells(np.full(len(between), 150.0), between)), drillers, law, grid))
    whole = np.exp(log_likelihood(stops(wells(150.0, 4.0, 8.0)), drillers, law, grid))
    assert whole[0] == pytest.approx(each.mean(axis=0), rel=0.06)


def test_limits_passed_grow_with_the_feet():
    """One in 500 a foot over 200 ft below 100 ft of cover."""
    found = read_stops(wells([300.0], [5.0]), np.zeros((1, 2)), np.full(1, 100.0))
    assert habits(5.0, 0.002).run_out(found) == pytest.approx([0.4])


@pytest.fixture(scope="module")
def region():
    """Wells of one law (a fracture in 60 ft, median 2 gpm), stopped at 3 or 8 gpm or at 300 ft."""
    rng = np.random.default_rng(2)
    n = 700
    feet = np.cumsum(rng.exponential(60.0, (n, 200)), axis=1)
    total = np.cumsum(2.0 * np.exp(rng.standard_normal((n, 200))), axis=1)
    wanted = rng.choice([3.0, 8.0], n)
    first = np.argmax(total >= wanted[:, None], axis=1)
    depth = np.minimum(feet[np.arange(n), first], 300.0)
    made = np.where(feet <= depth[:, None], total, 0.0).max(axis=1)
    table = wells(depth, np.where(made < 0.1, 0.0, made), np.where(made < 0.1, 0.1, made))
    return read_stops(table, rng.uniform(0, 10_000, (n, 2)), np.zeros(n)), wanted


def test_targets_limits_and_law_are_found(region):
    """Nobody wrote down what was wanted: the wells say it, and the law of the rock."""
    found = fit_laws([region[0]])
    share = dict(zip(USUAL_TARGETS_GPM, found.habits.share, strict=True))
    assert share[3.0] == pytest.approx(np.mean(region[1] == 3.0), abs=0.12)
    assert share[8.0] == pytest.approx(np.mean(region[1] == 8.0), abs=0.12)
    assert found.habits.hazard(np.array([300.0]))[0] > 10 * found.habits.hazard(np.array([150.0]))[0]
    laws = found.at(np.array([[5000.0, 5000.0]]))
    truth = certain(1 / 60, 2.0)
    for gpm in (1.0, 5.0, 10.0):
        said = laws.feet_to(gpm, np.array([0.5]))[0, 0]
        assert said == pytest.approx(truth.feet_to(gpm, np.array([0.5]))[0, 0], rel=0.15)


def test_more_wells_make_the_law_surer(region):
    """The law at a place is spread less with more wells around."""
    found = fit_laws([region[0]])
    few = fit_laws([region[0].take(np.arange(60))])
    entropy = [
        float(entr(p).sum() + 2 * np.log(laws.grid.step))
        for laws in (found.at(np.array([[5000.0, 5000.0]])), few.at(np.array([[5000.0, 5000.0]])))
        for p in [laws.probability[0]]
    ]
    assert entropy[0] < entropy[1]


def test_the_grid_covers_hard_rock():
    """From a fracture in 3,000 ft to one in 4, from hundredths of a gallon to 60 gpm."""
    grid = first_grid()
    assert np.exp(grid.log_rate[[0, -1]]) == pytest.approx([1 / 3000, 1 / 4], rel=0.6)
    assert np.exp(grid.log_size[[0, -1]]) == pytest.approx([0.03, 60.0], rel=0.6)
    assert FEET[0] <= 1.0


def test_sums_of_windows_are_the_same_compiled_and_by_numpy(monkeypatch):
    tables = fracture_tables(Jumps("lognormal", 1.0))
    grid = LawGrid(np.arange(-6.0, -2.0, 0.5), np.arange(-3.0, 3.0, 0.5))
    rng = np.random.default_rng(0)
    n, wells = 400, 60
    well = np.sort(rng.integers(0, wells, n))
    table = rng.integers(0, len(tables.values), n)
    log_feet, log_gpm = rng.uniform(-1.0, 7.0, n), rng.uniform(-3.0, 4.0, n)  # beyond the tables' ends too
    coefficient, weights = rng.uniform(0.0, 3.0, n), rng.dirichlet(np.ones(grid.size))

    def both() -> tuple[np.ndarray, np.ndarray]:
        summed = fractures.summed_windows(tables, well, table, log_feet, log_gpm, coefficient, grid, wells)
        return summed, fractures.weighed_windows(tables, BELOW, PASSAGE + 1, log_feet, log_gpm, weights, grid)

    windows = window(tables, table, log_feet, log_gpm, grid).reshape(n, -1).astype(float)
    expected = np.zeros((wells, grid.size))
    np.add.at(expected, well, coefficient[:, None] * windows)
    compiled = both()
    monkeypatch.setattr(fractures, "add_windows", None)
    monkeypatch.setattr(fractures, "weigh_windows", None)
    monkeypatch.setattr(fractures, "CHUNK", 50)
    for fast, plain in zip(compiled, both(), strict=True):
        np.testing.assert_allclose(fast, plain, rtol=1e-5)
    np.testing.assert_allclose(compiled[0], expected, rtol=1e-5)
