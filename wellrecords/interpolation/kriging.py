"""The estimator: local kriging of interval readings, as distributions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from wellrecords.interpolation import calibration, censoring
from wellrecords.interpolation.checks import Readings, check_coordinates, check_readings, refuse_degrees
from wellrecords.interpolation.covariance import CovarianceKind, FloatArray
from wellrecords.interpolation.distribution import PredictiveDistribution, Transform
from wellrecords.interpolation.fitting import fit_covariance, start_covariance
from wellrecords.interpolation.kernel import solve
from wellrecords.interpolation.neighbours import IntArray, group_places, nearest, nearest_others

FIT_ROUNDS = 2
SWEEPS = 6
LONELY_SD = 1.0  # scale of the prediction from a single place, in transformed units, if nothing else is known


@dataclass(frozen=True)
class LeaveOneOut:
    """Each well against what the wells elsewhere say of it.

    Parameters
    ----------
    distribution : PredictiveDistribution of n wells
        From all places but the well's own.
    pit_low, pit_high : ndarrays of shape (n,)
        Its probability at the low and the high end of the reading (the
        probability integral transform); equal where the reading is exact.
    """

    distribution: PredictiveDistribution
    pit_low: FloatArray
    pit_high: FloatArray

    def pit(self, random_state: int | np.random.Generator | None = None) -> FloatArray:
        """One value a well, uniform on (0, 1) if the model is right; drawn inside the interval if censored."""
        rng = np.random.default_rng(random_state)
        return self.pit_low + (self.pit_high - self.pit_low) * rng.uniform(size=len(self.pit_low))


class IntervalKriging(BaseEstimator):
    """Ordinary kriging in a local neighbourhood, of exact, censored and interval readings.

    Parameters
    ----------
    transform : {"log", "identity"}, default="log"
        Scale on which the field is kriged. On the log scale an exact 0 is
        read as "below the smallest positive reading".
    covariance : {"exponential", "matern", "spherical"}, default="exponential"
    n_neighbours : int, default=48
        Places that each prediction leans on. Wells on one point are one
        place.
    random_state : int, Generator or None, default=0
        Chooses the places scored in the fit; nothing else is random.
    n_jobs : int, default=2
        Threads.

    Attributes
    ----------
    covariance_ : Covariance
        The fitted model, on the transformed scale.
    residuals_ : ResidualDistribution
        Of the standardised leave-one-place-out residuals.
    sites_ : Sites
        The Gaussian stand-in of each reading.
    n_features_in_ : int
        Always 2.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> coordinates = rng.uniform(0, 10_000, size=(300, 2))
    >>> depth_ft = np.exp(4 + coordinates[:, 0] / 10_000 + rng.normal(0, 0.2, 300))
    >>> model = IntervalKriging().fit(coordinates, depth_ft, depth_ft)
    >>> model.predict([[5_000.0, 5_000.0]]).quantile([0.1, 0.5, 0.9]).shape
    (1, 3)
    """

    def __init__(
        self,
        transform: Transform = "log",
        *,
        covariance: CovarianceKind = "exponential",
        n_neighbours: int = 48,
        random_state: int | np.random.Generator | None = 0,
        n_jobs: int = 2,
    ) -> None:
        self.transform = transform
        self.covariance = covariance
        self.n_neighbours = n_neighbours
        self.random_state = random_state
        self.n_jobs = n_jobs

    def fit(
        self,
        coordinates: npt.ArrayLike,
        low: npt.ArrayLike,
        high: npt.ArrayLike | None = None,
        position_error_m: float | npt.ArrayLike | None = None,
        covariates: npt.ArrayLike | None = None,
    ) -> Self:
        """Fit covariance, censored readings and calibration.

        Parameters
        ----------
        coordinates : array-like of shape (n, 2)
            Easting and northing in metres; degrees are refused.
        low, high : array-like of shape (n,)
            The interval of each reading: equal where exact, infinite where
            open. `high` defaults to `low`.
        position_error_m : float or array-like of shape (n,), optional
            Root mean square error of each position.
        covariates : array-like, optional
            Not used yet.

        Returns
        -------
        IntervalKriging

        Raises
        ------
        ValueError
            Degrees, NaN, low above high, no reading at all, or none that
            says where the field lies (all open on one side).
        """
        readings = check_readings(coordinates, low, high, position_error_m, self.transform)
        self.n_features_in_ = 2
        self._fit_readings(readings)
        return self

    def _fit_readings(self, readings: Readings) -> None:
        low, high = readings.low, readings.high
        self.readings_ = readings
        self.places_ = group_places(readings.coordinates, readings.position_error_m)
        self._neighbours = nearest_others(self.places_, self.n_neighbours, self.n_jobs)
        mean, variance = readings.rough_mean_and_variance()
        self.covariance_ = start_covariance(self.covariance, self.places_, variance)
        self.sites_ = censoring.start_sites(low, high, mean, variance)
        if self.places_.count == 1:
            self._calibrate_alone(variance)
            return
        rng = np.random.default_rng(self.random_state)
        self._sweep()
        for _ in range(FIT_ROUNDS if readings.any_censored else 1):
            self.covariance_ = fit_covariance(
                self.covariance_, self.places_, self.sites_, low, high, self._neighbours, rng, self.n_jobs
            )
            self._sweep()
        self._calibrate()

    def _sweep(self) -> None:
        """Refresh the sites of the censored wells, a few times over."""
        low, high = self.readings_.low, self.readings_.high
        if not self.readings_.any_censored:
            return
        total = self.covariance_.sill + self.covariance_.nugget
        for _ in range(SWEEPS):
            cavities, _ = censoring.leave_out(
                self.covariance_, self.places_, self.sites_, self._neighbours, with_crowd=True, n_jobs=self.n_jobs
            )
            self.sites_ = censoring.update_sites(low, high, cavities, self.sites_, total)

    def _calibrate(self) -> None:
        """Learn local scale and residual distribution from leave-one-place-out predictions."""
        low, high = self.readings_.low, self.readings_.high
        cavities, _ = censoring.leave_out(
            self.covariance_, self.places_, self.sites_, self._neighbours, with_crowd=False, n_jobs=self.n_jobs
        )
        count = self.places_.per_place(np.ones(len(low)))
        self._count = count
        self._squares = self.places_.per_place(calibration.expected_squares(low, high, cavities))
        around = calibration.local_scale(
            self._squares[self._neighbours].sum(axis=1), count[self._neighbours].sum(axis=1)
        )
        scale = np.sqrt(cavities.variance) * around[self.places_.place_of_well]
        self._left_out = cavities.mean, scale
        self.residuals_ = calibration.residual_distribution(
            (low - cavities.mean) / scale, (high - cavities.mean) / scale, np.ones(len(low))
        )

    def _calibrate_alone(self, variance: float) -> None:
        """One place only: its own readings, and a spread that nothing has measured."""
        total = variance if len(self.readings_.low) > 2 and variance > 0 else LONELY_SD**2
        self.covariance_ = self.covariance_.scaled(total / (self.covariance_.sill + self.covariance_.nugget))
        n = len(self.readings_.low)
        self._count, self._squares = np.array([float(n)]), np.array([float(n)])
        mean = np.full(n, float(np.mean(self.sites_.value)))
        self._left_out = mean, np.full(n, np.sqrt(total))
        self.residuals_ = calibration.residual_distribution(np.empty(0), np.empty(0), np.empty(0))

    def predict(self, coordinates: npt.ArrayLike, covariates: npt.ArrayLike | None = None) -> PredictiveDistribution:
        """Predict the reading of a well at each place.

        Parameters
        ----------
        coordinates : array-like of shape (m, 2), metres

        Returns
        -------
        PredictiveDistribution of m places
        """
        check_is_fitted(self, "residuals_")
        points = self._check_targets(coordinates)
        value, noise, _ = censoring.pool(self.covariance_, self.places_, self.sites_)
        _, index = nearest(self.places_, points, self.n_neighbours, self.n_jobs)
        answer = solve(
            self.covariance_, self.places_, value, noise, points, np.zeros(len(points)), index, n_jobs=self.n_jobs
        )
        around = calibration.local_scale(self._squares[index].sum(axis=1), self._count[index].sum(axis=1))
        scale = np.sqrt(answer.variance + self.covariance_.nugget) * around
        return PredictiveDistribution(self.transform, answer.mean, scale, self.residuals_)

    def _check_targets(self, coordinates: npt.ArrayLike) -> FloatArray:
        points = check_coordinates(coordinates)
        # A fit on a small local grid near the origin cannot tell; one on real eastings can.
        if np.abs(self.readings_.coordinates).max() > 1_000.0:
            refuse_degrees(points)
        return points

    def leave_one_out(self) -> LeaveOneOut:
        """Return each well's distribution from the wells at all other places, and where its reading fell in it."""
        check_is_fitted(self, "residuals_")
        mean, scale = self._left_out
        distribution = PredictiveDistribution(self.transform, mean, scale, self.residuals_)
        ends = [self.residuals_.cdf((end - mean) / scale) for end in (self.readings_.low, self.readings_.high)]
        return LeaveOneOut(distribution, *ends)

    def weights(self, coordinates: npt.ArrayLike) -> tuple[IntArray, FloatArray]:
        """Return the wells that a prediction leans on.

        Returns
        -------
        indices : ndarray of shape (m, w)
            Rows of `fit`'s input, the weightiest first; -1 where there are
            fewer than w.
        weights : ndarray of shape (m, w)
            Kriging weights, summing to 1; the weight of a place is shared
            by its wells as their precision.
        """
        check_is_fitted(self, "residuals_")
        points = self._check_targets(coordinates)
        value, noise, noise_of_well = censoring.pool(self.covariance_, self.places_, self.sites_)
        _, index = nearest(self.places_, points, self.n_neighbours, self.n_jobs)
        answer = solve(
            self.covariance_, self.places_, value, noise, points, np.zeros(len(points)), index, n_jobs=self.n_jobs
        )
        wells_of_place = np.split(
            np.argsort(self.places_.place_of_well, kind="stable"), np.cumsum(self._count).astype(int)[:-1]
        )
        rows = []
        for near, weight in zip(index, answer.weights, strict=True):
            wells = np.concatenate([wells_of_place[place] for place in near])
            place = self.places_.place_of_well[wells]
            of_place = np.zeros(self.places_.count)
            of_place[near] = weight
            share = of_place[place] * noise[place] / noise_of_well[wells]
            order = np.argsort(-np.abs(share), kind="stable")
            rows.append((self.readings_.row[wells[order]], share[order]))
        width = max((len(wells) for wells, _ in rows), default=0)
        indices, weights = np.full((len(points), width), -1, dtype=np.intp), np.zeros((len(points), width))
        for number, (wells, share) in enumerate(rows):
            indices[number, : len(wells)], weights[number, : len(wells)] = wells, share
        return indices, weights
