"""Whether the records can say, and what would help if not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from wellrecords.lots.settings import SupportSettings

GOOD, THIN, NONE = "good", "thin", "none"

HELP = {
    "depth_to_target_ft": "records of wells around with their depth and yield, or a test hole",
    "depth_to_bedrock_ft": "logs of wells around that note the top of rock, or a sounding of the cover",
    "depth_to_water_ft": "static levels of wells around, or a sounding in a neighbour's well",
    "yield_gpm": "records of wells around with their yield, or a pumping test of a neighbour's well",
}
"""What would let the records speak of each quantity."""

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


def kilometres(distance_m: float) -> str:
    """Write a distance in kilometres and miles."""
    return f"{distance_m / 1000:.1f} km ({distance_m / 1609.344:.1f} miles)"


def cannot_say(quantity: str, nearest_m: float, settings: SupportSettings) -> str:
    """Say in a sentence why the records are silent on a quantity, and what would help."""
    subject = SUBJECT[quantity]
    if np.isinf(nearest_m):
        why = "no record around speaks of it"
    elif nearest_m > settings.none_beyond_m:
        why = f"the nearest well that speaks of it is {kilometres(nearest_m)} away"
    else:
        why = f"fewer than {settings.thin_wells} wells within {kilometres(2 * settings.none_beyond_m)} speak of it"
    return f"The records cannot say {subject}: {why}. What would help: {HELP[quantity]}."


def describe_support(nearness: Nearness, lot: int, settings: SupportSettings) -> list[str]:
    """Say why a lot's support is thin."""
    if nearness.support[lot] != THIN:
        return []
    near, within = f"the nearest stands {kilometres(nearness.nearest_m[lot])} away", kilometres(settings.good_within_m)
    if nearness.counted[lot] == 0:
        return [f"Thin records: no well within {within}; {near}."]
    return [
        f"Thin records: the wells within {within} are worth {nearness.counted[lot]:.1f} well-placed ones, and "
        f"{settings.good_wells:g} are wanted; {near}."
    ]


def describe_positions(position_error_m: np.ndarray, settings: SupportSettings) -> list[str]:
    """Say when most of the wells around a lot are placed only roughly."""
    known = position_error_m[np.isfinite(position_error_m)]
    if not len(known) or np.median(known) <= settings.poor_position_m:
        return []
    return [f"Most wells around are placed only to within about {np.median(known):.0f} m."]


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
