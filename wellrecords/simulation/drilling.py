"""The drill: fractures met at random, and a driller who stops."""

from __future__ import annotations

import numpy as np
import pandas as pd

from wellrecords.simulation.settings import RegionSettings


def effective_thickness(below_ft: np.ndarray, decay_ft: float | None) -> np.ndarray:
    """Return the feet of undiminished rate that a hole `below_ft` past the first water is worth."""
    return below_ft if decay_ft is None else -decay_ft * np.expm1(-below_ft / decay_ft)


def _pieces(values: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Cut a flat array into one array a hole, as an object array."""
    out = np.empty(len(counts), dtype=object)
    out[:] = np.split(values, np.cumsum(counts)[:-1]) if len(counts) else []
    return out


def _flat(wells: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the owner, depth and running yield of every fracture, hole by hole."""
    counts = wells["fracture_depths_ft"].map(len).to_numpy(dtype=int)
    owner = np.repeat(np.arange(len(wells)), counts)
    if not len(owner):
        return owner, np.empty(0), np.empty(0)
    depths = np.concatenate(list(wells["fracture_depths_ft"]))
    yields = np.concatenate(list(wells["fracture_yields_gpm"]))
    return owner, depths, _running_sum(yields, counts)


def _running_sum(values: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Sum cumulatively within each hole."""
    total = np.cumsum(values)
    starts = np.cumsum(counts) - counts
    before = np.concatenate([[0.0], total])[starts]
    return total - np.repeat(before, counts)


def _first_reach(owner: np.ndarray, depths: np.ndarray, running: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Return the first depth of each hole whose running yield makes its target; inf if none."""
    first = np.full(len(target), np.inf)
    enough = running >= target[owner]
    np.minimum.at(first, owner[enough], depths[enough])
    return np.where(target <= 0.0, 0.0, first)


def _meet_gravel(ground: pd.DataFrame, settings: RegionSettings, rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Draw the gravels met above rock: depth and yield, NaN where none."""
    n = len(ground)
    rock = ground["depth_to_bedrock_ft"].to_numpy()
    # A gravel gives water only below the water table, and a screen needs room.
    top = np.maximum(ground["depth_to_water_ft"].to_numpy(), 0.0) + 10.0
    chance, place, size = rng.uniform(size=n), rng.uniform(size=n), rng.standard_normal(n)
    met = (rock >= settings.gravel_min_cover_ft) & (top < rock) & (chance < settings.gravel_chance)
    depth = np.where(met, top + place * (rock - top), np.nan)
    gpm = np.where(met, settings.gravel_median_gpm * np.exp(settings.gravel_log_sd * size), np.nan)
    return depth, gpm


def _meet_fractures(
    ground: pd.DataFrame, settings: RegionSettings, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draw the fractures of every hole: their number, and flat their depths (sorted) and yields."""
    first = ground["first_water_ft"].to_numpy()
    rate = ground["fractures_per_ft"].to_numpy()
    below = np.maximum(settings.drilled_to_ft - first, 0.0)
    decay = settings.rate_decay_ft
    thickness = effective_thickness(below, decay)
    counts = rng.poisson(rate * thickness)
    owner = np.repeat(np.arange(len(ground)), counts)
    # Given their number, the points of a Poisson process are independent and, on
    # the scale of its integrated rate, uniform (Kingman 1993, Poisson Processes, 2.4).
    share = rng.uniform(size=len(owner)) * thickness[owner]
    share = share[np.lexsort((share, owner))]
    depths = first[owner] + (share if decay is None else -decay * np.log1p(-share / decay))
    medians = ground["median_fracture_gpm"].to_numpy()
    yields = medians[owner] * np.exp(settings.fracture_log_sd * rng.standard_normal(len(owner)))
    return counts, depths, yields


def drill_wells(
    ground: pd.DataFrame,
    settings: RegionSettings,
    rng: np.random.Generator,
    *,
    check_every_ft: float = 0.0,
    least_depth_ft: float | np.ndarray = 0.0,
) -> pd.DataFrame:
    """Drill the holes of a table of ground (see `Region.drill`).

    Returns
    -------
    pandas.DataFrame
        The columns of `ground` (easting_m, northing_m, elevation_ft,
        rock_unit, depth_to_bedrock_ft, depth_to_water_ft, first_water_ft,
        fractures_per_ft, median_fracture_gpm, target_gpm, limit_ft) and

        - `fracture_depths_ft`, `fracture_yields_gpm`: an array a hole, every
          fracture from the first water down to ``settings.drilled_to_ft``, also
          below where the driller stopped;
        - `gravel_depth_ft`, `gravel_gpm`: a gravel met above rock, NaN if none;
        - `total_depth_ft`, `yield_gpm`, `met_target`: what came of it;
        - `gravel_well`: True where the driller stopped at a gravel, above rock;
        - `reached_bedrock`: False for a gravel well and for a hole whose limit
          is above rock.
    """
    n = len(ground)
    target = ground["target_gpm"].to_numpy(dtype=float)
    limit = ground["limit_ft"].to_numpy(dtype=float)
    rock = ground["depth_to_bedrock_ft"].to_numpy()
    gravel_depth, gravel_gpm = _meet_gravel(ground, settings, rng)
    counts, depths, yields = _meet_fractures(ground, settings, rng)
    owner = np.repeat(np.arange(n), counts)
    running = _running_sum(yields, counts)

    wanted = np.maximum(_first_reach(owner, depths, running, target), least_depth_ft)
    if check_every_ft > 0.0:
        wanted = np.ceil(wanted / check_every_ft) * check_every_ft
    total = np.minimum(wanted, limit)
    rock_yield = np.bincount(owner, weights=yields * (depths <= total[owner]), minlength=n)

    # NaN compares False: a hole that met no gravel is never a gravel well.
    in_gravel = (gravel_gpm >= target) & (gravel_depth <= limit)
    total = np.where(in_gravel, gravel_depth, total)
    made = np.where(in_gravel, gravel_gpm, rock_yield)
    return ground.assign(
        fracture_depths_ft=_pieces(depths, counts),
        fracture_yields_gpm=_pieces(yields, counts),
        gravel_depth_ft=gravel_depth,
        gravel_gpm=gravel_gpm,
        total_depth_ft=total,
        yield_gpm=made,
        met_target=made >= target,
        gravel_well=in_gravel,
        reached_bedrock=~in_gravel & (total >= rock),
    )


def depth_to_target_ft(wells: pd.DataFrame, target_gpm: float | np.ndarray) -> np.ndarray:
    """Return the depth at which each hole first makes a target, had it been drilled on.

    Parameters
    ----------
    wells : pandas.DataFrame
        From `Region.drill`, or any selection of its rows.
    target_gpm : float or array-like of shape (n,)
        Any target, not only the one that the driller had.

    Returns
    -------
    ndarray of shape (n,)
        Feet; infinite where the known depth does not make it. A gravel that
        makes the target counts, since a driller with that target stops there;
        one that does not is cased off and lost.
    """
    target = np.broadcast_to(np.asarray(target_gpm, dtype=float), len(wells))
    in_rock = _first_reach(*_flat(wells), target)
    gravel = np.where(wells["gravel_gpm"].to_numpy() >= target, wells["gravel_depth_ft"].to_numpy(), np.inf)
    return np.minimum(in_rock, gravel)


def yield_at_depth_gpm(wells: pd.DataFrame, depth_ft: float | np.ndarray) -> np.ndarray:
    """Return the yield of the rock of each hole, had it stopped at a depth.

    Parameters
    ----------
    wells : pandas.DataFrame
        From `Region.drill`.
    depth_ft : float or array-like of shape (n,)

    Returns
    -------
    ndarray of shape (n,)
        Gallons a minute from fractures at or above the depth; gravels are
        cased off.
    """
    depth = np.broadcast_to(np.asarray(depth_ft, dtype=float), len(wells))
    owner, depths, running = _flat(wells)
    reached = depths <= depth[owner]
    made = np.zeros(len(wells))
    np.maximum.at(made, owner[reached], running[reached])
    return made
