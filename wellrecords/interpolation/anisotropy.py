"""Whether the field runs farther in one direction than across it, found by left-out score."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wellrecords.interpolation.covariance import Covariance, FloatArray, stretch
from wellrecords.interpolation.fitting import FIT_NEIGHBOURS, SUBSET, clearly_better, left_out_scores
from wellrecords.interpolation.neighbours import IntArray, Places, nearest_elsewhere

RATIOS = (2.0, 4.0)
ANGLES = np.arange(0.0, 180.0, 22.5)
FINER = (0.7, 1.0, 1.4)  # times the best ratio, 11 degrees to either side of the best angle


def find_anisotropy(
    covariance: Covariance,
    places: Places,
    readings: FloatArray,
    block_of_place: IntArray,
    random_state: np.random.Generator,
) -> tuple[float, float] | None:
    """Find the stretch of the plane that predicts left-out places best, if clearly better than none.

    A few directions and ratios are scored on some places, the range along
    and across kept at the same geometric mean, then some around the best.

    Parameters
    ----------
    covariance : Covariance
        Fitted without anisotropy.
    places : Places
        On the plane as it is.
    readings : ndarray of shape (n,)
        Complete: exact, or drawn inside their intervals.
    block_of_place : ndarray of shape (p,)

    Returns
    -------
    (ratio, angle_deg) or None
    """
    some = np.arange(places.count)
    if places.count > SUBSET:
        some = np.sort(random_state.choice(places.count, SUBSET, replace=False))

    def scores(ratio: float, angle_deg: float) -> tuple[FloatArray, IntArray]:
        plane = replace(places, coordinates=stretch(places.coordinates, ratio, angle_deg))
        near = nearest_elsewhere(plane, FIT_NEIGHBOURS, block_of_place, of=some)
        heard = np.unique(np.append(some, near))
        few, wells, number = plane.only(heard)
        rows = np.zeros((few.count, near.shape[1]), dtype=np.intp)
        rows[number[some]] = number[near]
        along = replace(covariance, range_m=covariance.range_m * np.sqrt(ratio))
        found, which = left_out_scores(along, few, readings[wells], rows, number[some])
        return found, wells[which]

    def best(tried: list[tuple[float, float]]) -> tuple[float, float]:
        means = [scores(ratio, angle)[0].mean() for ratio, angle in tried]
        return tried[int(np.argmin(means))]

    ratio, angle = best([(ratio, float(angle)) for ratio in RATIOS for angle in ANGLES])
    ratio, angle = best([(max(1.0, ratio * by), angle + turn) for by in FINER for turn in (-11.0, 0.0, 11.0)])
    base, wells = scores(1.0, 0.0)
    if not clearly_better(scores(ratio, angle)[0], base, block_of_place[places.place_of_well[wells]]):
        return None
    return ratio, angle % 180.0
