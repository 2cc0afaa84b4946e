"""What the wells of a stretch of ground share, learnt once from some of them.

How far rock, water and yield are alike, the law of the fractures and how
drillers stop, and how the quantities go together are the same over some tens
of kilometres. They are learnt from whole neighbourhoods of wells, so that the
wells stand as close as they do; more wells would take longer and hardly say
more. What a lot is told beyond that is read from the wells around it
(`evidence`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from wellrecords.interpolation import IntervalKriging
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.finished import map_finished_depths, share_finished
from wellrecords.lots.ground import Ground, in_rock, rock_is_on_record
from wellrecords.lots.joint import normal_correlation
from wellrecords.lots.laws import LawMap
from wellrecords.lots.learning import fit_laws
from wellrecords.lots.mapped import MAPPED, fit_models
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.side_by_side import both
from wellrecords.lots.stopping import MISSING, Stops

Result = TypeVar("Result")
Meanwhile = Callable[[Mapping[str, Covariance], int], Result]

LEARNT_FROM = 2400
"""Wells that are learnt from where there are more."""
NEIGHBOURHOODS = 8
BELOW_WHICH_WATER = ("depth_to_bedrock_ft", "depth_to_water_ft")
"""What must be mapped before the feet in which each hole sought water are known."""
JOINT_ORDER = ("depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm")


@dataclass(frozen=True, eq=False)
class Shared:
    """What wells share.

    Attributes
    ----------
    covariances : mapping of str to Covariance
        Of the mapped quantities of which enough is known.
    laws : LawMap or None
        None where no well says anything of the depth to water.
    water_starts_at : str
        Below which depth water may be met, see `ground.start_ft`.
    correlation : ndarray of shape (4, 4)
        Of `JOINT_ORDER`.
    finished : Covariance or None
        Of the depths at which wells are finished; None where they stop at the first water that is enough.
    """

    covariances: Mapping[str, Covariance]
    laws: LawMap | None
    water_starts_at: str
    correlation: np.ndarray
    finished: Covariance | None


def learnt_from(coordinates: np.ndarray, random_state: int) -> np.ndarray:
    """Choose the wells that are learnt from: all of a few, whole neighbourhoods of many.

    Parameters
    ----------
    coordinates : ndarray of shape (n, 2), metres
        In an order that does not depend on that of the records.
    random_state : int

    Returns
    -------
    ndarray of int
        Rows, rising; at most `LEARNT_FROM`.
    """
    n = len(coordinates)
    if n <= LEARNT_FROM:
        return np.arange(n)
    centres = coordinates[np.random.default_rng(random_state).permutation(n)[:NEIGHBOURHOODS]]
    _, near = cKDTree(coordinates).query(centres, LEARNT_FROM // NEIGHBOURHOODS)
    return np.unique(near)


def learn(
    wells: pd.DataFrame,
    coordinates: np.ndarray,
    settings: EstimateSettings,
    water_zones: pd.DataFrame | None,
    meanwhile: Meanwhile[Result],
) -> tuple[Shared, Result]:
    """Learn from wells what they share.

    Parameters
    ----------
    wells : DataFrame of n wells
    coordinates : ndarray of shape (n, 2), metres
    settings : EstimateSettings
    water_zones : DataFrame, optional
    meanwhile : callable
        What needs the covariances alone, in so many threads: it is done
        beside the learning of the laws, which takes longest.

    Returns
    -------
    Shared
    Result
        What `meanwhile` returned.
    """
    models: dict[str, IntervalKriging] = {}
    used: dict[str, np.ndarray] = {}

    def fit(names: Sequence[str], n_jobs: int) -> None:
        found, rows = fit_models(
            wells,
            coordinates,
            covariances={},
            trees=dict.fromkeys(MAPPED, 0),
            random_state=settings.random_state,
            n_jobs=n_jobs,
            names=names,
        )
        models.update(found)
        used.update(rows)

    fit(BELOW_WHICH_WATER, settings.n_jobs)
    rules, candidates = _ideas(wells, coordinates, dict(models), water_zones)

    def the_laws() -> LawMap | None:
        if not np.any(candidates[0].kind != MISSING):
            return None
        return fit_laws(
            candidates,
            n_neighbours=settings.n_neighbours,
            random_state=settings.random_state,
            n_jobs=settings.n_jobs,
        )

    def the_rest() -> Result:
        # One thread: with more, the laws, for which all wait in the end, would wait for a core.
        fit([name for name in MAPPED if name not in BELOW_WHICH_WATER], 1)
        return meanwhile({name: model.covariance_ for name, model in models.items()}, 1)

    laws, found = both(the_laws, the_rest, settings.n_jobs)
    starts_at = rules[0 if laws is None else laws.candidate]
    finished = None
    if laws is not None and not in_rock(starts_at) and share_finished(laws.habits) > 0.0:
        finished = map_finished_depths(laws.stops, random_state=settings.random_state)
    shared = Shared(
        covariances={name: model.covariance_ for name, model in models.items()},
        laws=laws,
        water_starts_at=starts_at,
        correlation=_correlation(models, used, laws, len(wells), settings.random_state),
        finished=None if finished is None else finished.covariance_,
    )
    return shared, found


def _ideas(
    wells: pd.DataFrame,
    coordinates: np.ndarray,
    models: Mapping[str, IntervalKriging],
    water_zones: pd.DataFrame | None,
) -> tuple[list[str], list[Stops]]:
    """List ideas of where water may start, and the stops as each has them."""
    rules = ["ground"]
    if "depth_to_water_ft" in models:
        rules = ["water level"]
    if "depth_to_bedrock_ft" in models and rock_is_on_record(wells):
        rules = ["bedrock and water level", "bedrock"] if "depth_to_water_ft" in models else ["bedrock"]
    ground = Ground.of(wells, coordinates, models, rules[0])
    if ground.seal_ft > 0.0:
        rules.append(rules[0].replace("bedrock", "casing"))
    return rules, [ground.stops(rule, water_zones) for rule in rules]


def _correlation(
    models: Mapping[str, IntervalKriging],
    used: Mapping[str, np.ndarray],
    laws: LawMap | None,
    n: int,
    random_state: int,
) -> np.ndarray:
    """Correlation of the four quantities, from where the wells' readings fell."""
    low, high = np.zeros((n, len(JOINT_ORDER))), np.ones((n, len(JOINT_ORDER)))
    for name, model in models.items():
        left_out = model.leave_one_out()
        rows, column = used[name][model.readings_.row], JOINT_ORDER.index(name)
        low[rows, column], high[rows, column] = left_out.pit_low, left_out.pit_high
    if laws is not None:
        rows, column = laws.stops.row[laws.scored], JOINT_ORDER.index("depth_to_target_ft")
        low[rows, column], high[rows, column] = laws.left_out_levels()
    spoken = (high - low < 0.999).sum(axis=1) >= 2
    if laws is not None:
        spoken &= np.isin(np.arange(n), laws.stops.row[laws.scored])
    return normal_correlation(low[spoken], high[spoken], random_state=random_state)
