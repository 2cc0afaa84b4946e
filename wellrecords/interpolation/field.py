"""The field behind the readings: where they stand, how they covary, what each tells its neighbours.

Covariance and sites of the censored readings are found in turn. Then, if
asked, an anisotropy and a trend are tried against what has been found, and
kept where they predict left-out places clearly better (`fitting.clearly_better`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from sklearn.base import RegressorMixin

from wellrecords.interpolation import censoring
from wellrecords.interpolation.anisotropy import find_anisotropy
from wellrecords.interpolation.calibration import MANY_PLACES
from wellrecords.interpolation.checks import Readings
from wellrecords.interpolation.covariance import Covariance, CovarianceKind, FloatArray, stretch
from wellrecords.interpolation.fitting import FIT_NEIGHBOURS, fit_covariance, left_out_scores, start_covariance
from wellrecords.interpolation.neighbours import IntArray, Places, blocks, group_places, nearest_elsewhere
from wellrecords.interpolation.trend import FOLDS, Trend, choose_trend, one_openmp_thread

FIT_ROUNDS = 3  # fits, each on readings completed anew, where any are censored
SWEEPS = 6
FEWEST_PLACES_TO_CHOOSE = 60  # below that, neither anisotropy nor trend is tried
SCORED_FOR_TREND = 2_000  # places whose prediction decides whether a trend helps


class Field:
    """Readings as a Gaussian field, perhaps about a trend.

    Parameters
    ----------
    readings : Readings
    n_neighbours, block_m, known_mean, n_jobs
        As in `IntervalKriging`.
    random_state : Generator

    Attributes
    ----------
    readings : Readings
        Less the trend, once one is found.
    places, block, elsewhere, far_elsewhere
        Where the wells stand; the block of ground of each place; its nearest
        places in other blocks, and how far they are (p, k).
    covariance : Covariance
    sites : censoring.Sites
    anisotropy : tuple of (ratio, angle_deg), or None
    trend : Trend or None
    """

    covariance: Covariance
    places: Places
    elsewhere: IntArray
    far_elsewhere: FloatArray

    def __init__(
        self,
        readings: Readings,
        *,
        n_neighbours: int,
        block_m: float,
        known_mean: float | None,
        random_state: np.random.Generator,
        n_jobs: int,
    ) -> None:
        self.readings = readings
        self.n_neighbours = n_neighbours
        self.block_m = block_m
        self.known_mean = known_mean
        self.n_jobs = n_jobs
        self.trend: Trend | None = None
        self._rng = random_state
        self._start_sites()

    def _start_sites(self) -> None:
        mean, self.variance = self.readings.rough_mean_and_variance()
        self.sites = censoring.start_sites(self.readings.low, self.readings.high, mean, self.variance)

    def lay_out(self, anisotropy: tuple[float, float] | None) -> None:
        """Group the wells into places on the stretched plane, and find the neighbours of each."""
        self.anisotropy = anisotropy
        points = self.readings.coordinates
        self.places = group_places(self.flatten(points), self.readings.position_error_m)
        first_well = np.unique(self.places.place_of_well, return_index=True)[1]
        self.block = blocks(points[first_well], self.block_m)
        self.elsewhere = nearest_elsewhere(self.places, self.n_neighbours, self.block, self.n_jobs)
        offset = self.places.coordinates[self.elsewhere] - self.places.coordinates[:, None]
        self.far_elsewhere = np.hypot(offset[..., 0], offset[..., 1])
        self._others = self.elsewhere
        if self.block_m > 0:  # the cavity of a site leaves out that one well only
            alone = np.arange(self.places.count)
            self._others = nearest_elsewhere(self.places, self.n_neighbours, alone, self.n_jobs)

    def flatten(self, coordinates: FloatArray) -> FloatArray:
        """Return points on the plane on which the field is isotropic."""
        return coordinates if self.anisotropy is None else stretch(coordinates, *self.anisotropy)

    def fit(self, covariance: str | CovarianceKind | Covariance, anisotropy: str | tuple[float, float] | None) -> None:
        """Find covariance and sites, and the anisotropy if that is "auto"; a `Covariance` is used as it is."""
        self.lay_out(None if isinstance(anisotropy, str) else anisotropy)
        self._given = isinstance(covariance, Covariance)
        if isinstance(covariance, Covariance):
            self.covariance = covariance
        else:
            kinds: tuple[CovarianceKind, ...] = ("exponential", "matern")
            if covariance != "auto":
                kinds = (covariance,)  # type: ignore[assignment]
            self.covariance = start_covariance(kinds[0], self.places, self.variance)
            self._fit_covariance(kinds)
            if anisotropy == "auto":
                self._try_anisotropy()
            self._reckon_with_few()
        self._refresh_sites(self._others)

    def stand_alone(self) -> bool:
        """Take a covariance for wells that all stand on one place; return whether they have measured their spread."""
        self.lay_out(None)
        n, variance = len(self.readings.low), self.variance
        measured = n > 2 and variance > self.readings.constant_variance
        if measured:  # Student's on the place itself; elsewhere, of which one place says nothing, as much again
            nugget = variance * n / (n - 1.0)
            sill = 0.5 * nugget
        else:
            sill = nugget = 0.5 * max(self.readings.lonely_sd**2 / n, 2.0 * variance * (n == 2))
        self.covariance = Covariance("exponential", sill, 1_000.0, nugget)
        return measured

    def _reckon_with_few(self) -> None:
        """Add to the nugget what so few places cannot have measured: two equal readings are no constant field."""
        few = max(0.0, 1.0 - self.places.count / MANY_PLACES)
        if few > 0.0:
            unmeasured = few * self.readings.weak_sd**2 / self.places.count
            self.covariance = replace(self.covariance, nugget=self.covariance.nugget + unmeasured)

    def _fit_covariance(self, kinds: tuple[CovarianceKind, ...], rounds: int = FIT_ROUNDS) -> None:
        """Fit each kind to the same complete set of readings, keep the best; anew for each round where any is open."""
        for _ in range(rounds if self.readings.any_censored else 1):
            self._refresh_sites(self._others[:, :FIT_NEIGHBOURS])
            completed, seed = self.completed(), self._rng.integers(2**31)
            found = [
                fit_covariance(
                    replace(self.covariance, kind=kind),
                    self.places,
                    completed,
                    self._others,
                    np.random.default_rng(seed),  # every kind is scored on the same places
                    self.n_jobs,
                )
                for kind in kinds
            ]
            self.covariance = self._held(min(found, key=lambda pair: pair[1])[0])
            kinds = (self.covariance.kind,)

    def _held(self, covariance: Covariance) -> Covariance:
        """Return the covariance with its whole variance held within what the intervals allow."""
        total = covariance.sill + covariance.nugget
        least, most = self.readings.variance_bounds()
        return covariance if least <= total <= most else covariance.scaled(min(max(total, least), most) / total)

    def completed(self) -> FloatArray:
        """Return the readings, the censored ones drawn inside their intervals to fit each other."""
        if not self.readings.any_censored:
            return self.sites.value
        low, high, near = self.readings.low, self.readings.high, self._others[:, :FIT_NEIGHBOURS]
        return censoring.complete(
            self.covariance, self.places, self.sites, low, high, near, self._rng, self.n_jobs, self.readings.rank
        )

    def _refresh_sites(self, neighbours: IntArray) -> None:
        """Refresh the sites of the censored wells, a few times over."""
        if not self.readings.any_censored:
            return
        low, high = self.readings.low, self.readings.high
        total = self.covariance.sill + self.covariance.nugget
        for _ in range(SWEEPS):
            cavities = censoring.censored_cavities(
                self.covariance,
                self.places,
                self.sites,
                low != high,
                neighbours,
                known_mean=self.known_mean,
                n_jobs=self.n_jobs,
            )
            self.sites = censoring.update_sites(low, high, cavities, self.sites, total)

    def _try_anisotropy(self) -> None:
        """Stretch the plane if left-out places are then predicted clearly better."""
        if self.places.count < FEWEST_PLACES_TO_CHOOSE:
            return
        found = find_anisotropy(self.covariance, self.places, self.completed(), self.block, self._rng)
        if found is None:
            return
        self.lay_out(found)
        self.covariance = replace(self.covariance, range_m=self.covariance.range_m * np.sqrt(found[0]))
        self._fit_covariance((self.covariance.kind,), rounds=1)

    def try_trends(self, estimators: Sequence[RegressorMixin], known: FloatArray) -> None:
        """Take a trend of the covariates off the readings if left-out places are then predicted clearly better.

        Parameters
        ----------
        estimators : sequence of scikit-learn regressors
        known : ndarray of shape (n, c)
            Covariates of the wells.
        """
        if not estimators or self.places.count < FEWEST_PLACES_TO_CHOOSE:
            return
        if len(np.unique(self.block)) < FOLDS:  # each fold leaves whole blocks of ground out
            return
        some = np.arange(self.places.count)
        if self.places.count > SCORED_FOR_TREND:
            some = np.sort(self._rng.choice(self.places.count, SCORED_FOR_TREND, replace=False))
        seed = self._rng.integers(2**31)

        def trial(reading: FloatArray) -> tuple[FloatArray, IntArray, Covariance]:
            """Scores of left-out wells about a trend, each trend with the covariance that suits it."""
            half = 0.5 * self.readings.measured(float(np.var(reading)))
            covariance = self.covariance
            if not self._given:
                start = replace(covariance, sill=half, nugget=half)
                rng = np.random.default_rng(seed)
                covariance, _ = fit_covariance(start, self.places, reading, self._others, rng, self.n_jobs)
            near = self.elsewhere[:, :FIT_NEIGHBOURS]
            return *left_out_scores(covariance, self.places, reading, near, some, n_jobs=self.n_jobs), covariance

        block = self.block[self.places.place_of_well]
        with one_openmp_thread():
            found = choose_trend(estimators, known, self.completed(), block, trial)
        if found is None:
            return
        self.trend, self.covariance = found
        self.readings = self.readings.less(self.trend.left_out)
        self._start_sites()
        self._refresh_sites(self._others)
        if self.readings.any_censored and not self._given:
            self._fit_covariance((self.covariance.kind,))
            self._refresh_sites(self._others)
