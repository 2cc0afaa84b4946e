"""Threads change when work is done, and none of its figures."""

import time

import pandas as pd
import pytest

from wellrecords.lots import EstimateSettings, draw_lot_estimates, fractures
from wellrecords.lots.fractures import Jumps, fracture_tables
from wellrecords.lots.side_by_side import both, side_by_side
from wellrecords.simulation import RegionSettings, as_canonical, simulate_region


@pytest.mark.parametrize("n_jobs", [1, 2, 5])
def test_results_come_in_the_order_of_the_items(n_jobs):
    def slow_first(number):
        time.sleep(0.02 / (number + 1))
        return number

    assert side_by_side(slow_first, range(5), n_jobs) == list(range(5))
    assert both(lambda: slow_first(0), lambda: slow_first(1), n_jobs) == (0, 1)


@pytest.mark.parametrize("n_jobs", [1, 2])
@pytest.mark.parametrize("failing", [0, 1])
def test_what_either_task_raises_is_raised(n_jobs, failing):
    def task(number):
        if number == failing:
            raise KeyError(number)

    with pytest.raises(KeyError, match=str(failing)):
        both(lambda: task(0), lambda: task(1), n_jobs)


def test_tables_that_two_threads_ask_for_are_made_once(monkeypatch):
    made, compound_masses = [], fractures._compound_masses

    def counted(jumps, *rest):
        made.append(jumps)
        return compound_masses(jumps, *rest)

    monkeypatch.setattr(fractures, "_compound_masses", counted)
    jumps = Jumps("lognormal", 0.93)  # asked for nowhere else
    first, second = side_by_side(lambda _: fracture_tables(jumps), range(2), 2)
    assert first is second
    assert made == [jumps, jumps]  # once on each of the two lattices


def test_an_estimate_does_not_depend_on_the_number_of_threads():
    region = simulate_region(RegionSettings(width_m=6_000.0, height_m=6_000.0), random_state=8)
    holes = region.drill(region.random_places(120, random_state=1), 5.0, 500.0, random_state=2)
    wells, zones = as_canonical(holes, region.settings.crs)
    lots = wells.iloc[:2][["geometry"]].assign(lot_id=["a", "b"])
    one, two = (
        draw_lot_estimates(wells, lots, EstimateSettings(n_draws=200, n_jobs=n_jobs), water_zones=zones)
        for n_jobs in (1, 2)
    )
    for alone, together in zip(one, two, strict=True):
        pd.testing.assert_frame_equal(alone.draws, together.draws, check_exact=True)
        assert alone.technical_words == together.technical_words
