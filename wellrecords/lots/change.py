"""What would change a lot's answer: another yield, another limit, one more well nearby.

Every figure is drawn with the same luck as the lot's own, so that two of them
differ by what was changed and by nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.lots.laws import LawMap, LocalLaws, blurred, posterior, spread_out, weigh
from wellrecords.lots.likelihood import log_likelihood
from wellrecords.lots.rounding import RANGES
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.stopping import EXACT, LEAST_FEET, UNDER, Stops

YIELDS_GPM = (0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Yields at which the question is asked again."""
DEEPER = 1.25
"""How much deeper the limit is put."""
NEXT_DOOR_M = 50.0
GOOD_LEVEL = 0.25
"""The good well next door meets the target at this quantile of the depths that are expected."""
AS_ASKED, DEEPER_LIMIT, GOOD_WELL, POOR_WELL = "as asked", "deeper limit", "good well next door", "poor well next door"
CHANGE_COLUMNS = ["change", "yield_gpm", "max_depth_ft", "well_depth_ft", "chance_of_target", "depth_p50_ft"]


@dataclass(frozen=True, eq=False)
class AtALot:
    """What the question is asked of again.

    Attributes
    ----------
    depths : callable
        Law of the rock and settings -> depths to the target, one a draw,
        infinite where it is never met.
    laws : LawMap
    law : LocalLaws
        At the lot alone.
    coordinates : ndarray of shape (2,), metres
    start_ft : float
        Where water may be met from, the middle of the draws.
    """

    depths: Callable[[LocalLaws, EstimateSettings], np.ndarray]
    laws: LawMap
    law: LocalLaws
    coordinates: np.ndarray
    start_ft: float


def yields_asked(settings: EstimateSettings) -> list[float]:
    """Return the yields that a lot is asked about, rising: the usual ones and its own."""
    return sorted({*YIELDS_GPM, settings.target_yield_gpm})


def chance_by_yield(depths: Mapping[float, np.ndarray], settings: EstimateSettings) -> pd.DataFrame:
    """Say how sure other yields are, and how deep.

    Parameters
    ----------
    depths : mapping of float to ndarray
        Yield, rising -> depths to it, one a draw, infinite where it is never met.
    settings : EstimateSettings
        What is asked of this lot.

    Returns
    -------
    DataFrame
        `yield_gpm` rising, `chance_of_target` by the limit, `depth_p50_ft`
        that half of holes need, infinite where fewer than half ever make it.
    """
    rows = [(gpm, *_answer(met, settings)) for gpm, met in depths.items()]
    return pd.DataFrame(rows, columns=["yield_gpm", "chance_of_target", "depth_p50_ft"])


def deeper_limit_ft(settings: EstimateSettings) -> float:
    """Return the deeper limit that is asked about beside the lot's own: no figure is told from below it."""
    return min(float(np.ceil(DEEPER * settings.max_depth_ft / 50.0) * 50.0), settings.deepest_ft)


def what_would_change(rock: AtALot, settings: EstimateSettings, dry_gpm: float) -> pd.DataFrame:
    """Say how far a deeper limit, and one more well next door, would move the answer.

    Parameters
    ----------
    rock : AtALot
    settings : EstimateSettings
    dry_gpm : float
        The poor well makes less, at the limit.

    Returns
    -------
    DataFrame
        `change` ("as asked", "deeper limit", "good well next door", "poor
        well next door"), `yield_gpm` and `max_depth_ft` that are asked for,
        `well_depth_ft` of the well next door, `chance_of_target`,
        `depth_p50_ft`.
    """
    depths = rock.depths(rock.law, settings)
    gpm, limit = settings.target_yield_gpm, settings.max_depth_ft
    deeper = settings.model_copy(update={"max_depth_ft": deeper_limit_ft(settings)})
    # Where few holes meet the target, a good well is one that just meets it by the limit.
    good_ft = min(float(np.quantile(depths, GOOD_LEVEL, method="lower")), limit)
    good = with_one_more(rock, good_ft, gpm, EXACT)
    poor = with_one_more(rock, limit, dry_gpm, UNDER)
    rows = [
        (AS_ASKED, limit, np.nan, *_answer(depths, settings)),
        (DEEPER_LIMIT, deeper.max_depth_ft, np.nan, *_answer(depths, deeper)),
        (GOOD_WELL, limit, good_ft, *_answer(rock.depths(good, settings), settings)),
        (POOR_WELL, limit, limit, *_answer(rock.depths(poor, settings), settings)),
    ]
    table = pd.DataFrame(rows, columns=[name for name in CHANGE_COLUMNS if name != "yield_gpm"])
    table.insert(1, "yield_gpm", gpm)
    return table


def with_one_more(rock: AtALot, depth_ft: float, gpm: float, kind: int) -> LocalLaws:
    """Return the law of the rock at a lot, had one more well been drilled next door.

    Parameters
    ----------
    rock : AtALot
    depth_ft, gpm : float
        Of that well.
    kind : int
        How its yield is known (`stopping`).
    """
    laws = rock.laws
    place = rock.coordinates[None, :]
    index, _, weights = (part[0] for part in laws.neighbours(place))
    new = Stops(
        row=np.array([-1]),
        coordinates=rock.coordinates[None, :],
        position_error_m=np.zeros(1),
        depth_ft=np.array([depth_ft]),
        feet=np.array([max(depth_ft - rock.start_ft, LEAST_FEET)]),
        run_on_ft=laws.stops.run_on_ft,
        gpm=np.array([gpm]),
        as_written=np.ones(1),
        rounded=np.full((1, RANGES, 3), [0.0, gpm, gpm]),
        kind=np.array([kind], dtype=np.int64),
        gone_on=np.zeros(1),
        zones=np.zeros((1, laws.stops.zones.shape[1])),
    )
    known = np.vstack(
        [
            log_likelihood(stops, laws.habits, laws.tables, laws.grid, laws.decay_ft)
            for stops in (laws.stops.take(index), new)
        ]
    )
    next_door = np.exp(-((NEXT_DOOR_M / laws.reach_m(place)[0]) ** laws.reach.shape))
    weights = np.append(weights, laws.reach.strength * next_door)
    total = weigh(spread_out(known, laws.grid, laws.reach.spread), np.arange(len(known))[None, :], weights[None, :])
    probability = blurred(posterior(laws.prior, total), laws.grid, laws.reach.blur)
    return LocalLaws(probability, laws.grid, laws.tables, laws.decay_ft)


def _answer(depths: np.ndarray, settings: EstimateSettings) -> tuple[float, float]:
    """Return the chance by the limit, and the depth that half of holes need, as `three_quantiles` takes it."""
    return float(np.mean(depths <= settings.max_depth_ft)), float(np.quantile(depths, 0.5, method="inverted_cdf"))
