"""What a forest is told of wells whose ground is held out, learnt from the other wells alone.

A forest that hears kriging is grown on the left-out predictions of its wells.
These tell on the wells that were left out: of a village whose wells share
their neighbours, the left-out mean is the mean of all less the well's own
part, so that the lowest means belong to the highest readings, and a tree that
has found the village by its coordinates reads them off. Leaving blocks of
ground out of the trees does not help, since the blocks beside them teach the
same. On wells that have nothing in common, out-of-bag trees then score 5 %
better than they predict, and are believed.

Here the wells held out take no part: neither the features of the wells that
are left nor their own have heard their readings. Only the Gaussian stand-ins
of censored neighbours once have, which made no difference where it was tried.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wellrecords.interpolation import calibration, censoring
from wellrecords.interpolation.covariance import FloatArray
from wellrecords.interpolation.field import Field
from wellrecords.interpolation.forest import Float32Array, ForestScale, Surroundings
from wellrecords.interpolation.kernel import solve
from wellrecords.interpolation.neighbours import IntArray, nearest, nearest_elsewhere

Describe = Callable[[IntArray, FloatArray, FloatArray, FloatArray], Float32Array]


def features_without(
    field: Field, asked: IntArray, scale: ForestScale, describe: Describe
) -> tuple[Float32Array, Float32Array]:
    """Return the features of the wells that are left, and of those held out, as the wells left tell them.

    Parameters
    ----------
    field : Field
        Fitted to all wells.
    asked : ndarray
        The wells held out, rising; whole blocks of ground, so that no place is split.
    scale : ForestScale
    describe : callable
        Gives the features of wells from their numbers, kriging mean and
        standard deviation, and surroundings.

    Returns
    -------
    of_known, of_asked : ndarrays
        Of the wells left, each from the others outside its own block; of
        those held out, from all that are left.
    """
    readings, places, covariance, n_jobs = field.readings, field.places, field.covariance, field.n_jobs
    is_left = np.ones(places.count, dtype=bool)
    is_left[places.place_of_well[asked]] = False
    left = np.flatnonzero(is_left)
    rest, known, _ = places.only(left)
    low, high = readings.low[known], readings.high[known]
    sites = censoring.Sites(field.sites.value[known], field.sites.variance[known])

    elsewhere = nearest_elsewhere(rest, field.n_neighbours, field.block[left], n_jobs)
    offset = rest.coordinates[elsewhere] - rest.coordinates[:, None]
    cavities, _ = censoring.leave_out(
        covariance, rest, sites, elsewhere, with_crowd=False, known_mean=field.known_mean, n_jobs=n_jobs
    )
    squares = rest.per_place(calibration.expected_squares(low, high, cavities))
    count = rest.per_place(np.ones(len(known)))

    def spread_at(index: IntArray) -> FloatArray:
        return calibration.local_scale(squares[index].sum(axis=1), count[index].sum(axis=1))

    sd = np.sqrt(cavities.variance) * spread_at(elsewhere)[rest.place_of_well]
    surroundings = Surroundings.learn(rest, scale.into(censoring.expected(low, high, cavities.mean, sd)))
    around = surroundings.at(elsewhere, np.hypot(offset[..., 0], offset[..., 1]))[rest.place_of_well]
    of_known = describe(known, cavities.mean, sd, around)

    place = places.place_of_well[asked]
    value, noise, _ = censoring.pool(covariance, rest, sites)
    distance, index = nearest(rest, places.coordinates[place], field.n_neighbours, n_jobs)
    answer = solve(
        covariance,
        rest,
        value,
        noise,
        places.coordinates[place],
        places.error2_m2[place],
        index,
        known_mean=field.known_mean,
        n_jobs=n_jobs,
    )
    sd = np.sqrt(answer.variance + covariance.nugget) * spread_at(index)
    return of_known, describe(asked, answer.mean, sd, surroundings.at(index, distance))
