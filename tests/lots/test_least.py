"""Depths to which drillers go though they have enough."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from wellrecords.lots.learning import fit_laws
from wellrecords.lots.least import gone_on
from wellrecords.lots.stopping import read_stops


def drilled(least_ft, share, n=1000, seed=0, step_ft=0.0, limits_ft=(300.0, 400.0, 500.0)):
    """Holes for 3 or 8 gpm in rock with a fracture in some 40 ft, part of them no less deep than `least_ft`."""
    rng = np.random.default_rng(seed)
    feet = np.cumsum(rng.exponential(40.0, (n, 200)), axis=1)
    total = np.cumsum(2.0 * np.exp(rng.standard_normal((n, 200))), axis=1)
    enough = feet[np.arange(n), np.argmax(total >= rng.choice([3.0, 8.0], n)[:, None], axis=1)]
    depth = np.minimum(np.maximum(enough, least_ft * (rng.random(n) < share)), rng.choice(limits_ft, n))
    if step_ft:
        depth = np.ceil(depth / step_ft) * step_ft
    gpm = np.where(feet <= depth[:, None], total, 0.0).max(axis=1)
    return depth, gpm, feet[np.arange(n), np.argmax(total >= 1.0, axis=1)]


def test_a_heap_of_good_wells_is_found_with_the_share_of_drillers_who_go_on_to_it():
    depth, gpm, _ = drilled(150.0, 0.6)
    heaped = gone_on(depth, depth, gpm, gpm > 0)
    assert set(np.round(depth[heaped > 0])) == {150.0}
    assert heaped.max() / 150.0 == pytest.approx(0.6, abs=0.12)


@pytest.mark.parametrize("step_ft", [0.0, 5.0, 20.0])
def test_rounding_and_limits_are_no_least_depth(step_ft):
    depth, gpm, _ = drilled(0.0, 0.0, step_ft=step_ft)
    assert not gone_on(depth, depth, gpm, gpm > 0).any()


def test_without_a_yield_nothing_is_said():
    assert not gone_on(np.full(30, 150.0), np.full(30, 150.0), np.ones(30), np.zeros(30, dtype=bool)).any()


def test_holes_drilled_to_a_least_depth_do_not_put_small_targets_where_their_fractures_are_not():
    depth, gpm, to_one_gpm = drilled(150.0, 0.6, seed=1)
    wells = pd.DataFrame(
        {
            "record_id": np.arange(len(depth)).astype(str),
            "total_depth_ft": depth,
            "yield_gpm_low": np.where(gpm > 0, gpm, 0.0),
            "yield_gpm_high": np.where(gpm > 0, gpm, 0.1),
            "yield_method": "unknown",
            "hydrofractured": False,
            "record_kind": "new",
            "position_error_m": 0.0,
        }
    )
    rng = np.random.default_rng(2)
    stops = read_stops(wells, rng.uniform(0, 10_000, (len(depth), 2)), np.zeros(len(depth)))
    places = rng.uniform(2_000, 8_000, (30, 2))
    off, unread = (
        abs(np.log(np.median(fit_laws([one]).at(places).feet_to(1.0, np.array([0.5]))) / np.median(to_one_gpm)))
        for one in (stops, replace(stops, gone_on=np.zeros(len(stops))))
    )
    print(off, unread)
    assert off < 0.15
    assert unread > 2.0 * off
