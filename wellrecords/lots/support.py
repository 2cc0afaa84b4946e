"""Whether the records can say, and what would help if not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from wellrecords.lots.settings import SupportSettings
from wellrecords.units import FT_PER_M, M_PER_MILE

GOOD, THIN, NONE = "good", "thin", "none"
SAID_IN_FEET_M = 0.25 * M_PER_MILE

HELP = {
    "depth_to_target_ft": "records of {wells} wells within {within} with their depth and yield, or a test hole",
    "depth_to_bedrock_ft": "logs of {wells} wells within {within} with the top of rock, or a sounding of the cover",
    "depth_to_water_ft": "static levels of {wells} wells within {within}, or a sounding in a neighbour's well",
    "yield_gpm": "records of {wells} wells within {within} with their yield, or a pumping test of a neighbour's well",
}
"""What would let the records speak of each quantity: so many wells, one of them within so far."""

SUBJECT = {
    "depth_to_target_ft": "how deep a hole must go",
    "depth_to_bedrock_ft": "depth to bedrock",
    "depth_to_water_ft": "depth to water",
    "yield_gpm": "the yield of a well",
}


@dataclass(frozen=True)
class Nearness:
    """Readings of one quantity around each of m lots.

    Attributes
    ----------
    support : ndarray of shape (m,), str
        "good", "thin" or "none".
    nearest_m : ndarray of shape (m,)
        Infinite where there is no reading at all.
    counted : ndarray of shape (m,)
        Wells within `good_within_m`, each counting for less where its
        position is uncertain.
    """

    support: np.ndarray
    nearest_m: np.ndarray
    counted: np.ndarray


def rate_support(
    lots: np.ndarray, readings: np.ndarray, position_error_m: np.ndarray, settings: SupportSettings
) -> Nearness:
    """Rate how well readings surround each lot.

    Parameters
    ----------
    lots : ndarray of shape (m, 2), metres
    readings : ndarray of shape (n, 2), metres
    position_error_m : ndarray of shape (n,)
    settings : SupportSettings

    Returns
    -------
    Nearness
    """
    m = len(lots)
    if not len(readings):
        return Nearness(np.full(m, NONE), np.full(m, np.inf), np.zeros(m))
    tree = cKDTree(readings)
    nearest, _ = tree.query(lots)
    worth = 1.0 / (1.0 + (position_error_m / settings.good_within_m) ** 2)
    near = tree.query_ball_point(lots, settings.good_within_m)
    counted = np.array([worth[wells].sum() if wells else 0.0 for wells in near])
    around = tree.query_ball_point(lots, 2.0 * settings.none_beyond_m, return_length=True)
    none = (nearest > settings.none_beyond_m) | (around < settings.thin_wells)
    support = np.where(none, NONE, np.where(counted >= settings.good_wells, GOOD, THIN))
    return Nearness(support, nearest, counted)


def distance(value_m: float) -> str:
    """Write a distance on the ground as a driller says it.

    >>> distance(2000.0), distance(300.0)
    ('1.2 miles', '980 ft')
    """
    if value_m < SAID_IN_FEET_M:
        return f"{round(value_m * FT_PER_M, -1):,.0f} ft"
    return f"{value_m / M_PER_MILE:.1f} miles"


def cannot_say(quantity: str, nearest_m: float, settings: SupportSettings) -> str:
    """Say in a sentence why the records are silent on a quantity, and what would help."""
    subject, around = SUBJECT[quantity], distance(2 * settings.none_beyond_m)
    if np.isinf(nearest_m):
        why = "no record around speaks of it"
    elif nearest_m > settings.none_beyond_m:
        why = f"the nearest well that speaks of it is {distance(nearest_m)} away"
    else:
        why = f"fewer than {settings.thin_wells} wells within {around} speak of it"
    would_help = HELP[quantity].format(wells=settings.thin_wells, within=distance(settings.none_beyond_m))
    return f"The records cannot say {subject}: {why}. What would help: {would_help}."


def rock_unseen(rock: str | None, rock_around: np.ndarray, settings: SupportSettings) -> bool:
    """Tell whether enough wells around name their rock, and none of them a lot's.

    Parameters
    ----------
    rock : str or None
        Of the lot, where it is known.
    rock_around : ndarray of str
        Of the wells around; blank where it is not on record.
    settings : SupportSettings
    """
    if rock is None:
        return False
    named = np.array([name.strip().casefold() for name in rock_around if name.strip()])
    return len(named) >= settings.thin_wells and not np.any(named == rock.strip().casefold())


def describe_support(nearness: Nearness, lot: int, settings: SupportSettings) -> list[str]:
    """Say why a lot's support is thin."""
    if nearness.support[lot] != THIN:
        return []
    near, within = f"the nearest stands {distance(nearness.nearest_m[lot])} away", distance(settings.good_within_m)
    if nearness.counted[lot] == 0:
        return [f"Thin records: no well within {within}; {near}."]
    counted, wanted = f"{nearness.counted[lot]:.1f}", f"{settings.good_wells:g}"
    worth = f"just under {wanted}" if counted == f"{settings.good_wells:.1f}" else counted
    return [
        f"Thin records: the wells within {within} are worth {worth} well-placed ones, and {wanted} are wanted; {near}."
    ]


def describe_positions(position_error_m: np.ndarray, settings: SupportSettings) -> list[str]:
    """Say when most of the wells around a lot are placed only roughly."""
    known = position_error_m[np.isfinite(position_error_m)]
    if not len(known) or np.median(known) <= settings.poor_position_m:
        return []
    return [f"Most wells around are placed only to within about {distance(float(np.median(known)))}."]


def describe_levels(years: np.ndarray, residual: np.ndarray, settings: SupportSettings) -> list[str]:
    """Say how old the water levels around are, and whether newer ones lie deeper.

    Parameters
    ----------
    years : ndarray of shape (n,)
        Age of the wells around the lot, before the newest on record.
    residual : ndarray of shape (n,)
        Level (feet below ground) less what the other wells say of it.
    settings : SupportSettings
    """
    dated = np.isfinite(years) & np.isfinite(residual)
    if not dated.any():
        return []
    notes = []
    if np.median(years[dated]) > settings.old_level_years:
        notes.append(f"Water levels around are {np.median(years[dated]):.0f} years old (median); levels change.")
    if dated.sum() >= 30 and np.ptp(years[dated]) >= 10.0:
        x = -years[dated] / 10.0
        x = x - x.mean()
        y = residual[dated] - residual[dated].mean()
        slope = float(x @ y / (x @ x))
        error = float(np.sqrt(((y - slope * x) ** 2).sum() / (len(x) - 2) / (x @ x)))
        if abs(slope) > 3.0 * error and abs(slope) > 1.0:
            way = "deeper" if slope > 0 else "shallower"
            notes.append(
                f"Levels of newer wells around lie {abs(slope):.0f} ft a decade {way}; "
                "that may be deeper wells and not falling water."
            )
    return notes
