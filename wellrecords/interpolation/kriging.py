"""The estimator: local kriging of interval readings, as distributions."""

from __future__ import annotations

from typing import Any, Literal, Self

import numpy as np
import numpy.typing as npt
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from wellrecords.interpolation import calibration, censoring
from wellrecords.interpolation.blend import Voice, blend, hear_forests
from wellrecords.interpolation.checks import (
    check_coordinates,
    check_groups,
    check_readings,
    refuse_degrees_far_from,
)
from wellrecords.interpolation.covariance import Covariance, CovarianceKind, FloatArray
from wellrecords.interpolation.covariates import CovariateColumns, learn_covariates, match_covariates
from wellrecords.interpolation.distribution import SCORES, PredictiveDistribution, ScoreTable, Transform
from wellrecords.interpolation.field import Field
from wellrecords.interpolation.forest import ForestScale, Surroundings, features
from wellrecords.interpolation.kernel import Solution, solve, solve_groups
from wellrecords.interpolation.left_out import LeaveOneOut
from wellrecords.interpolation.neighbours import IntArray, nearest
from wellrecords.interpolation.settings import check_settings, threads
from wellrecords.interpolation.tiling import run_tiles
from wellrecords.interpolation.trend import estimators

FEWEST_PLACES_FOR_SHAPE = 60
FEWEST_PLACES_FOR_FOREST = 60
BYTES_A_PLACE = 10_000  # working memory of one prediction, kriged and heard by the forest
HAIR = 1e-3  # no prediction is sharper, and no reading finer, than this share of the readings' spread
LEAST_SD = 1e-9  # keeps the table of heaped readings rising: of the readings' spread, or of 1 on the log scale


class IntervalKriging(BaseEstimator):
    """Local ordinary kriging of exact, censored and interval readings, calibrated.

    Parameters
    ----------
    transform : {"log", "identity"}, default="log"
        Scale on which the field is kriged. On the log scale an exact 0 is
        read as "below the smallest positive reading".
    covariance : {"auto", "exponential", "matern", "spherical"} or Covariance, default="auto"
        The shape whose parameters are fitted; "auto" takes the exponential
        or the Matérn, whichever predicts better. A `Covariance` is used as
        it is.
    n_neighbours : int, default=48
        Places that each prediction leans on. Wells on one point are one
        place.
    n_trees : int, default=60
        Size of the quantile forest whose quantiles are averaged with those
        of kriging as far as it helps on left-out ground; a second one, which
        knows the ground alone, has half as many trees. 0 for kriging alone.
    block_m : float, default=300.0
        Wells in one square of this size are left out together when
        predictions are scored: what the next well knows of its neighbour in
        the same yard is not what anyone knows of a new lot. 0 leaves out one
        place at a time.
    anisotropy : "auto", tuple of (ratio, angle_deg), or None, default=None
        Range along the long axis over the range across it, and the axis'
        direction clockwise from north. "auto" tries some, and keeps the best
        where it predicts left-out places clearly better than none does;
        together with a `Covariance` it means none.
    trend : "auto", scikit-learn regressor, or None, default="auto"
        Of the covariates, if any are given; what is kriged are the readings
        less what the trend says of each well, the well's ground left out.
        "auto" tries a ridge regression, gradient boosting and, on the
        identity scale, the land's elevation itself, where a covariate column
        is named `land_elevation...` and stands in the unit of the readings:
        depth to water is then interpolated as an elevation. A trend is kept
        only where it predicts left-out places clearly better than none does.
    known_mean : float, optional
        Simple instead of ordinary kriging, with this mean on the transformed
        scale.
    random_state : int, Generator or None, default=0
    n_jobs : int or None, default=2
        Threads; -1 for all cores, None for one.

    Attributes
    ----------
    covariance_ : Covariance
        The fitted model, on the transformed scale.
    residuals_ : ResidualDistribution
        Of the scores of left-out readings.
    forests_ : tuple of Voice
        The forests that are heard, each with its share in the quantiles.
    sites_ : Sites
        The Gaussian stand-in of each reading.
    anisotropy_ : tuple of (ratio, angle_deg), or None
    trend_ : Trend or None
        The trend that was kept.
    n_features_in_ : int
        Always 2.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(0)
    >>> coordinates = rng.uniform(0, 10_000, size=(300, 2))
    >>> depth_ft = np.exp(4 + coordinates[:, 0] / 10_000 + rng.normal(0, 0.2, 300))
    >>> model = IntervalKriging(n_trees=20).fit(coordinates, depth_ft, depth_ft)
    >>> model.predict([[5_000.0, 5_000.0]]).quantile([0.1, 0.5, 0.9]).shape
    (1, 3)
    """

    def __init__(
        self,
        transform: Transform = "log",
        *,
        covariance: Literal["auto"] | CovarianceKind | Covariance = "auto",
        n_neighbours: int = 48,
        n_trees: int = 60,
        block_m: float = 300.0,
        anisotropy: Literal["auto"] | tuple[float, float] | None = None,
        trend: Any = "auto",
        known_mean: float | None = None,
        random_state: int | np.random.Generator | None = 0,
        n_jobs: int | None = 2,
    ) -> None:
        self.transform = transform
        self.covariance = covariance
        self.n_neighbours = n_neighbours
        self.n_trees = n_trees
        self.block_m = block_m
        self.anisotropy = anisotropy
        self.trend = trend
        self.known_mean = known_mean
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
            Easting and northing in metres; degrees are refused
            (`checks.refuse_degrees` says what is taken for them).
        low, high : array-like of shape (n,)
            The interval of each reading: equal where exact, infinite where
            open (below, 0 says the same on the log scale). `high` defaults
            to `low`.
        position_error_m : float or array-like of shape (n,), optional
            Root mean square error of each position.
        covariates : array-like of shape (n, c), optional
            Numbers known at every place (elevation, slope), or a DataFrame,
            whose text and category columns become one column a class; none
            may be missing. They enter through the trend and the forest, as
            far as each helps. A trend is tried only with `FOLDS` blocks of
            ground or more, of which it can be scored on those left out.

        Returns
        -------
        IntervalKriging

        Raises
        ------
        ValueError
            Degrees, NaN, low above high, no reading at all, or none that
            bounds the quantity on one side; parameters or covariates that
            are none.
        """
        check_settings(self)
        readings = check_readings(coordinates, low, high, position_error_m, self.transform)
        # What is set afterwards holds from the next fit on.
        self._transform, self._known_mean, self._n_neighbours = self.transform, self.known_mean, self.n_neighbours
        self.n_features_in_ = 2
        self._rng = np.random.default_rng(self.random_state)
        self._covariates: FloatArray | None = None
        self._columns: CovariateColumns | None = None
        if covariates is not None:
            self._covariates, self._columns = learn_covariates(covariates, len(np.asarray(coordinates)))
        self._centre = readings.coordinates.mean(axis=0)
        self._shape: calibration.LocalShape | None = None
        self._scale = ForestScale()
        self._field = Field(
            readings,
            n_neighbours=self._n_neighbours,
            block_m=self.block_m,
            known_mean=self._known_mean,
            random_state=self._rng,
            n_jobs=threads(self.n_jobs),
        )
        if len(np.unique(readings.coordinates, axis=0)) == 1:
            self._stand_alone()
        else:
            self._fit_field()
        return self

    def _fit_field(self) -> None:
        """Find the field, then calibrate it on left-out ground."""
        field = self._field
        field.fit(self.covariance, self.anisotropy)
        if self._covariates is not None and self._columns is not None:
            tried = estimators(self.trend, self._columns.matrix_names, identity=self._transform == "identity")
            field.try_trends(tried, self._covariates[field.readings.row])
        self._hair = HAIR * np.sqrt(field.variance)
        self._least_sd = LEAST_SD
        if self._transform == "identity":
            least = float(np.sqrt(field.readings.least_variance))  # above what rounding leaves of the readings
            self._least_sd = max(LEAST_SD * float(np.sqrt(field.variance)), HAIR * least)
        self._show_field()
        mean, sd = self._left_out_kriging()
        table = self._bend_left_out(self._left_out_table(mean, sd))
        self.residuals_ = calibration.residual_distribution(*self._scores(table))
        if not isinstance(self.covariance, Covariance):
            prior = 1.0 if self._transform == "log" else 0.0  # the identity scale has none that units would not change
            self.residuals_ = calibration.widen_for_few(self.residuals_, self.places_.count, prior)
        self._left_out = table

    def _show_field(self) -> None:
        """Set the fitted attributes that describe the field."""
        field = self._field
        self.covariance_, self.sites_, self.places_ = field.covariance, field.sites, field.places
        self.anisotropy_, self.trend_, self.readings_ = field.anisotropy, field.trend, field.readings
        self._count = field.places.per_place(np.ones(len(field.readings.low)))

    def _left_out_kriging(self) -> tuple[FloatArray, FloatArray]:
        """Mean and locally scaled standard deviation of each well from the wells elsewhere."""
        cavities, _ = censoring.leave_out(
            self.covariance_,
            self.places_,
            self.sites_,
            self._field.elsewhere,
            with_crowd=False,
            known_mean=self._known_mean,
            n_jobs=threads(self.n_jobs),
        )
        squares = calibration.expected_squares(self.readings_.low, self.readings_.high, cavities)
        self._squares = self.places_.per_place(squares)
        around = self._local_scale(self._field.elsewhere)
        return cavities.mean, np.sqrt(cavities.variance) * around[self.places_.place_of_well]

    def _left_out_table(self, mean: FloatArray, sd: FloatArray) -> ScoreTable:
        """Distribution of each well from the wells elsewhere, forests blended in where they help."""
        self.forests_: tuple[Voice, ...] = ()
        kriging = ScoreTable.normal(mean, sd)
        if self.n_trees == 0 or self.places_.count < FEWEST_PLACES_FOR_FOREST:
            return kriging
        readings = self.readings_
        covariates = None if self._covariates is None else self._covariates[readings.row]
        if self._transform == "identity":
            self._scale = ForestScale.of(float(np.mean(mean)), float(np.sqrt(self._field.variance)))
        scale = self._scale
        expected = censoring.expected(readings.low, readings.high, mean, sd)
        self._surroundings = Surroundings.learn(self.places_, scale.into(expected))
        around = self._surroundings.at(self._field.elsewhere, self._field.far_elsewhere)[self.places_.place_of_well]
        inputs = features(readings.coordinates, self._centre, scale.into(mean), sd / scale.unit, around, covariates)

        def draw(rng: np.random.Generator) -> FloatArray:
            return censoring.draw_inside(readings.low, readings.high, mean, sd, rng, readings.rank)

        table, self.forests_ = hear_forests(
            kriging,
            inputs,
            draw,
            self._field.block[self.places_.place_of_well],
            readings.rank,
            self._rng,
            n_trees=self.n_trees,
            into=scale.into,
            back=scale.back,
            least_sd=self._least_sd,
            n_jobs=threads(self.n_jobs),
        )
        return table

    def _bend_left_out(self, table: ScoreTable) -> ScoreTable:
        """Learn the local shape of the scores, and bend the left-out predictions to it."""
        if self.places_.count >= FEWEST_PLACES_FOR_SHAPE:
            self._shape = calibration.LocalShape.learn(*self._scores(table), self.places_)
        well, elsewhere, far = self.places_.place_of_well, self._field.elsewhere, self._field.far_elsewhere

        def one_tile(tile: slice) -> ScoreTable:
            piece = ScoreTable(table.scores, table.values[tile])
            return self._bend(piece, elsewhere[well[tile]], far[well[tile]])

        return ScoreTable.joined(run_tiles(one_tile, len(table), n_jobs=threads(self.n_jobs), bytes_each=BYTES_A_PLACE))

    def _bend(self, table: ScoreTable, index: IntArray, distance: FloatArray) -> ScoreTable:
        """Bend predictions to the shape of the scores around them, one place or group a row of `index`."""
        if self._shape is not None:
            around = self._shape.scores(index, distance)
            members = len(table) // len(around)
            table = ScoreTable(SCORES, table.value(np.repeat(around, members, axis=0).T).T)
        return table.rising(self._hair)

    def _scores(self, table: ScoreTable) -> tuple[FloatArray, FloatArray]:
        """Scores of both ends of each reading, a hair apart where it is exact, so that ties share their scores.

        An open reading whose end is the value of exact ones lies beyond them
        (the convention of Kaplan and Meier 1958, J. Am. Stat. Assoc. 53,
        457-481): dry wells beside a heap of fives must not be counted among
        the fives.
        """
        low, high = self.readings_.low, self.readings_.high
        exact = np.unique(low[low == high])
        below, above = np.isneginf(low) & np.isin(high, exact), np.isposinf(high) & np.isin(low, exact)
        first = table.score(np.where(above, low + self._hair, low - self._hair))
        last = table.score(np.where(below, high - self._hair, high + self._hair))
        return first + calibration.GRID_STEP * above, last - calibration.GRID_STEP * below

    def _stand_alone(self) -> None:
        """One place only: its own readings, and a spread that hardly anything has measured."""
        measured = self._field.stand_alone()
        self._show_field()
        self._squares = self._count
        n, sd = len(self.readings_.low), float(np.sqrt(self.covariance_.sill + self.covariance_.nugget))
        self._hair = HAIR * sd
        self.forests_ = ()
        self._left_out = ScoreTable.normal(np.full(n, np.mean(self.sites_.value)), np.full(n, sd))
        self.residuals_ = calibration.residual_distribution(np.empty(0), np.empty(0))
        if measured:
            self.residuals_ = self.residuals_.widened(n - 1.0, 1.0)

    def predict(self, coordinates: npt.ArrayLike, covariates: npt.ArrayLike | None = None) -> PredictiveDistribution:
        """Predict the reading of a well at each place.

        Parameters
        ----------
        coordinates : array-like of shape (m, 2), metres
            Places that look like degrees are refused where the wells lie
            more than 10 km away.
        covariates : array-like of shape (m, c)
            The columns of `fit`: a DataFrame's are found by name, in any
            order, and further ones are left aside; an array's by position.
            A class that `fit` has not seen counts as none of its classes.

        Returns
        -------
        PredictiveDistribution of m places
        """
        return self._predict(self._points(coordinates)[:, None], covariates)

    def predict_groups(
        self, coordinates: npt.ArrayLike, covariates: npt.ArrayLike | None = None
    ) -> PredictiveDistribution:
        """Predict groups of near places, such as the cells of a grid, that share their neighbours.

        Much faster than `predict`. The neighbours are those nearest to the
        middle of each group, so a group should be small beside the
        distance that they span.

        Parameters
        ----------
        coordinates : array-like of shape (g, s, 2), metres
        covariates : array-like of shape (g * s, c), optional

        Returns
        -------
        PredictiveDistribution of g * s places, group after group
        """
        check_is_fitted(self, "residuals_")
        groups = check_groups(coordinates)
        refuse_degrees_far_from(groups.reshape(-1, 2), self.readings_.coordinates, all_of_them=True)
        return self._predict(groups, covariates)

    def _points(self, coordinates: npt.ArrayLike, *, all_of_them: bool = False) -> FloatArray:
        """Check the places that a fitted model is asked about, shape (m, 2)."""
        check_is_fitted(self, "residuals_")
        points = check_coordinates(coordinates)
        refuse_degrees_far_from(points, self.readings_.coordinates, all_of_them=all_of_them)
        return points

    def _predict(self, groups: FloatArray, covariates: npt.ArrayLike | None) -> PredictiveDistribution:
        """Predict groups of places, shape (g, s, 2), tile by tile."""
        count, members = groups.shape[:2]
        if count * members == 0:
            return PredictiveDistribution(self._transform, ScoreTable.joined([]), self.residuals_)
        extra = match_covariates(covariates, count * members, self._columns)
        value, noise, _ = censoring.pool(self.covariance_, self.places_, self.sites_)

        def one_tile(tile: slice) -> ScoreTable:
            points = groups[tile].reshape(-1, 2)
            targets = self._field.flatten(points).reshape(groups[tile].shape)
            distance, index = nearest(self.places_, targets.mean(axis=1), self._n_neighbours)
            answer = solve_groups(
                self.covariance_,
                self.places_,
                value,
                noise,
                targets,
                np.zeros(targets.shape[:2]),
                index,
                known_mean=self._known_mean,
            )
            mean = answer.mean.ravel()
            sd = (np.sqrt(answer.variance + self.covariance_.nugget) * self._local_scale(index)[:, None]).ravel()
            table = ScoreTable.normal(mean, sd)
            known = None if extra is None else extra[tile.start * members : tile.stop * members]
            if self.forests_:
                around = np.repeat(self._surroundings.at(index, distance), members, axis=0)
                scale = self._scale
                inputs = features(points, self._centre, scale.into(mean), sd / scale.unit, around, known)
                heard = [(scale.back(voice.table(inputs)), voice.share) for voice in self.forests_]
                table = blend(table, heard, self._least_sd)
            table = self._bend(table, index, distance)
            return table if self.trend_ is None or known is None else table.plus(self.trend_.at(known))

        tables = run_tiles(one_tile, count, n_jobs=threads(self.n_jobs), bytes_each=BYTES_A_PLACE * members)
        return PredictiveDistribution(self._transform, ScoreTable.joined(tables), self.residuals_)

    def kriging(self, coordinates: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return the bare kriging mean and variance (nugget included), on the transformed scale, uncalibrated.

        Where there is a trend, they are those of the residual about it.
        """
        answer, *_ = self._krige(coordinates)
        return answer.mean, answer.variance + self.covariance_.nugget

    def leave_one_out(self) -> LeaveOneOut:
        """Return each well's distribution from the wells elsewhere, and where its reading fell in it."""
        check_is_fitted(self, "residuals_")
        table = self._left_out if self.trend_ is None else self._left_out.plus(self.trend_.left_out)
        distribution = PredictiveDistribution(self._transform, table, self.residuals_)
        ends = [self.residuals_.cdf(self._left_out.score(end)) for end in (self.readings_.low, self.readings_.high)]
        return LeaveOneOut(distribution, ends[0], ends[1], self.readings_.row)

    def reach(self, coordinates: npt.ArrayLike) -> FloatArray:
        """Return the distance in metres to the farthest place that a prediction leans on, shape (m,)."""
        flat = self._field.flatten(self._points(coordinates, all_of_them=True))
        return nearest(self.places_, flat, self._n_neighbours, threads(self.n_jobs))[0][:, -1]

    def wells_within(self, coordinates: npt.ArrayLike, reach_m: float, at_most: int) -> IntArray:
        """Count the wells within a distance, up to `at_most`, shape (m,)."""
        points = self._field.flatten(self._points(coordinates, all_of_them=True))
        if not (reach_m >= 0 and at_most >= 1):
            msg = f"reach_m must be 0 or more and at_most 1 or more; got {reach_m!r} and {at_most!r}."
            raise ValueError(msg)
        places = min(at_most, self.places_.count)
        distance, index = nearest(self.places_, points, places, threads(self.n_jobs))
        wells = np.where(distance <= reach_m, self._count[index], 0.0).sum(axis=1)
        return np.minimum(wells, at_most).astype(np.intp)

    def weights(self, coordinates: npt.ArrayLike) -> tuple[IntArray, FloatArray]:
        """Return the wells that kriging leans on.

        Returns
        -------
        indices : ndarray of shape (m, w)
            Rows of `fit`'s input, the weightiest first; -1 where there are
            fewer than w.
        weights : ndarray of shape (m, w)
            Kriging weights, the weight of a place shared by its wells as
            their precision. They sum to 1 under ordinary kriging; with a
            `known_mean`, what they lack of 1 is the weight of that mean.
        """
        answer, _, index, _ = self._krige(coordinates, want_weights=True)
        _, noise, noise_of_well = censoring.pool(self.covariance_, self.places_, self.sites_)
        wells, weights = censoring.share_among_wells(self.places_, index, answer.weights, noise, noise_of_well)
        return np.where(wells < 0, -1, self.readings_.row[wells]), weights

    def _krige(
        self, coordinates: npt.ArrayLike, *, want_weights: bool = False
    ) -> tuple[Solution, FloatArray, IntArray, FloatArray]:
        """Local kriging at points, the neighbours used with their distances, and the points checked."""
        points = self._points(coordinates)
        flat = self._field.flatten(points)
        value, noise, _ = censoring.pool(self.covariance_, self.places_, self.sites_)
        distance, index = nearest(self.places_, flat, self._n_neighbours, threads(self.n_jobs))
        answer = solve(
            self.covariance_,
            self.places_,
            value,
            noise,
            flat,
            np.zeros(len(flat)),
            index,
            want_weights=want_weights,
            known_mean=self._known_mean,
            n_jobs=threads(self.n_jobs),
        )
        return answer, distance, index, points

    def _local_scale(self, index: IntArray) -> FloatArray:
        return calibration.local_scale(self._squares[index].sum(axis=1), self._count[index].sum(axis=1))
