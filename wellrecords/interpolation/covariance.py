"""Covariance models of a stationary random field.

Everything here is isotropic: an anisotropic field is handled by stretching
the coordinates first (`stretch`), and a position error by lifting a point off
the map (see `correlation`), so that the kriging kernel knows one distance.

References
----------
Chilès, J.-P. and Delfiner, P. (2012). Geostatistics: Modeling Spatial
Uncertainty, 2nd ed., Wiley. Section 2.5 (models), 2.5.2 (anisotropy).
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine
Learning, MIT Press. Section 4.2 (Matérn class, eq. 4.14 and 4.17).
"""

from __future__ import annotations

import numbers
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
CovarianceKind = Literal["exponential", "matern", "spherical"]
KINDS: tuple[str, ...] = get_args(CovarianceKind)
ZERO_RANGE = ("range_m", 0)


@dataclass(frozen=True)
class Covariance:
    """Sill, range and nugget of a random field.

    Parameters
    ----------
    kind : {"exponential", "matern", "spherical"}
        The shape; "matern" has smoothness 3/2.
    sill : float
        Variance of the smooth part, in squared units of the (transformed)
        reading.
    range_m : float
        Length scale in metres: exp(-h / range) for the exponential,
        (1 + sqrt(3) h / range) exp(-sqrt(3) h / range) for the Matérn, and
        the distance at which the spherical correlation becomes zero.
    nugget : float
        Variance of what differs from one well to the next beside it, which
        is part of the predicted reading.
    """

    kind: CovarianceKind
    sill: float
    range_m: float
    nugget: float

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            msg = f"Covariance kind {self.kind!r} is not known; use one of {', '.join(KINDS)}."
            raise ValueError(msg)
        faults = [
            f"{name} must be finite and {'above 0' if name == 'range_m' else '0 or more'}; got {value!r}"
            for name, value in (("sill", self.sill), ("range_m", self.range_m), ("nugget", self.nugget))
            if not (
                isinstance(value, numbers.Real) and np.isfinite(value) and value >= 0 and (name, value) != ZERO_RANGE
            )
        ]
        if not faults and self.sill == 0 and self.nugget == 0:
            faults = ["sill and nugget are both 0, which is no variance at all; one of them must be above 0"]
        if faults:
            raise ValueError("Covariance: " + "; ".join(faults) + ".")

    def scaled(self, factor: float) -> Covariance:
        """Return the same model with all variances multiplied by `factor`."""
        return replace(self, sill=self.sill * factor, nugget=self.nugget * factor)

    def __call__(self, squared_distance_m2: FloatArray) -> FloatArray:
        """Covariance of the smooth part at squared distances."""
        return self.sill * correlation(self.kind, squared_distance_m2, self.range_m)


def correlation(kind: str, squared_distance_m2: FloatArray, range_m: float) -> FloatArray:
    """Correlation at squared distances.

    A point whose position is known only to a root mean square error e lies,
    for all that its record can say, off its nominal place. Two such points
    are on the average at the squared distance h² + e₁² + e₂², as if each had
    been lifted off the map in a dimension of its own. The exponential and
    Matérn models are positive definite in any number of dimensions (they are
    mixtures of Gaussians: Rasmussen and Williams 2006, section 4.2.1), so
    that the lifted points keep a valid covariance. The spherical model is
    valid up to three dimensions only; with position errors its matrix is
    kept definite by the nugget.

    Parameters
    ----------
    kind : {"exponential", "matern", "spherical"}
    squared_distance_m2 : ndarray
        Any shape.
    range_m : float

    Returns
    -------
    ndarray of the shape of `squared_distance_m2`, 1 at distance 0.
    """
    scaled = np.sqrt(squared_distance_m2) / range_m
    if kind == "exponential":
        return np.exp(-scaled)
    if kind == "matern":
        scaled *= np.sqrt(3.0)
        return (1.0 + scaled) * np.exp(-scaled)
    np.minimum(scaled, 1.0, out=scaled)
    return 1.0 - 1.5 * scaled + 0.5 * scaled**3


def stretch(coordinates: FloatArray, ratio: float, angle_deg: float) -> FloatArray:
    """Turn and stretch coordinates so that an elliptic range becomes a circle.

    Parameters
    ----------
    coordinates : ndarray of shape (n, 2), easting and northing in metres
    ratio : float
        Range along the long axis divided by the range across it; 1 leaves
        the coordinates as they are.
    angle_deg : float
        Direction of the long axis, degrees clockwise from north.

    Returns
    -------
    ndarray of shape (n, 2)
        Distances along the long axis are kept, those across it multiplied by
        `ratio` (Chilès and Delfiner 2012, section 2.5.2).
    """
    if ratio == 1.0:
        return coordinates
    angle = np.deg2rad(angle_deg)
    along = coordinates @ np.array([np.sin(angle), np.cos(angle)])
    across = coordinates @ np.array([np.cos(angle), -np.sin(angle)])
    return np.column_stack([along, ratio * across])
