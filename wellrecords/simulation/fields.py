"""Smooth random fields that can be read at any place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CHUNK = 8192
"""Places worked at once, so that memory stays small whatever is asked."""


@dataclass(frozen=True, eq=False)
class RandomField:
    """One realisation of a Gaussian random field, by random Fourier features.

    ``f(x) = sqrt(2 / K) * sum_k cos(w_k . x + b_k)`` with frequencies drawn
    from the spectral density of the covariance and phases uniform. Over
    realisations the field has mean 0, variance 1 and exactly the Matern
    covariance; it tends to a Gaussian field as K grows.

    Parameters
    ----------
    frequencies : ndarray of shape (n_features, 2), radians a metre
    phases : ndarray of shape (n_features,), radians
    origin_m : ndarray of shape (2,)
        Place that the coordinates are counted from.

    References
    ----------
    Rahimi and Recht (2007), Random features for large-scale kernel machines,
    section 3. Rasmussen and Williams (2006), Gaussian Processes for Machine
    Learning, eq. 4.15: the spectral density of a Matern covariance is a
    multivariate Student t with 2 nu degrees of freedom.
    """

    frequencies: np.ndarray
    phases: np.ndarray
    origin_m: np.ndarray

    @classmethod
    def draw(
        cls,
        length_m: float,
        random_state: np.random.Generator,
        *,
        smoothness: float = 2.5,
        n_features: int = 256,
        origin_m: tuple[float, float] = (0.0, 0.0),
    ) -> RandomField:
        """Draw a field of Matern covariance.

        Parameters
        ----------
        length_m : float
            Length scale of the covariance, metres.
        random_state : numpy.random.Generator
        smoothness : float, default=2.5
            The nu of the Matern family: 0.5 is rough (exponential), 2.5 smooth.
        n_features : int, default=256
        origin_m : tuple of float

        Returns
        -------
        RandomField
        """
        freedom = 2.0 * smoothness
        normal = random_state.standard_normal((n_features, 2))
        spread = np.sqrt(random_state.chisquare(freedom, n_features) / freedom)
        return cls(
            frequencies=normal / spread[:, None] / length_m,
            phases=random_state.uniform(0.0, 2.0 * np.pi, n_features),
            origin_m=np.asarray(origin_m, dtype=float),
        )

    def __call__(self, coordinates: np.ndarray) -> np.ndarray:
        """Return the field at places.

        Parameters
        ----------
        coordinates : array-like of shape (n, 2)
            Easting and northing, metres.

        Returns
        -------
        ndarray of shape (n,)
        """
        places = np.atleast_2d(np.asarray(coordinates, dtype=float)) - self.origin_m
        values = np.empty(len(places))
        for start in range(0, len(places), CHUNK):
            angles = places[start : start + CHUNK] @ self.frequencies.T + self.phases
            values[start : start + CHUNK] = np.cos(angles).sum(axis=1)
        return values * np.sqrt(2.0 / len(self.phases))
