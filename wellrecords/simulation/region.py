"""The invented region: its surfaces and its law of fractures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from wellrecords.simulation.drilling import depth_to_target_ft, drill_wells, effective_thickness
from wellrecords.simulation.fields import RandomField
from wellrecords.simulation.settings import RegionSettings

VALLEYS = ("valley", "side_valley")
"""Fields whose zero lines the valleys follow."""


class Ground:
    """The ground at some places: each surface is worked out once, when asked.

    Every property is an ndarray of shape (n,). Depths are feet below the land
    surface.

    Parameters
    ----------
    settings : RegionSettings
    fields : dict of str to RandomField
    coordinates : array-like of shape (n, 2)
        Easting and northing, metres of ``settings.crs``.
    """

    def __init__(self, settings: RegionSettings, fields: dict[str, RandomField], coordinates: np.ndarray) -> None:
        self.settings = settings
        self.coordinates = np.atleast_2d(np.asarray(coordinates, dtype=float))
        self._fields = fields

    def _field(self, name: str) -> np.ndarray:
        return self._fields[name](self.coordinates)

    @cached_property
    def valley_index(self) -> np.ndarray:
        """1 on a valley's middle line, falling to 0 away from it."""
        # Two sets of valleys cross, so that nearly all of them find a way out.
        away = [1.0 - np.exp(-0.5 * (self._field(name) / self.settings.valley_width) ** 2) for name in VALLEYS]
        return 1.0 - away[0] * away[1]

    @cached_property
    def _relief_ft(self) -> np.ndarray:
        """Height of the land above the valley floor: an even floor, uneven hills."""
        s = self.settings
        return (1.0 - self.valley_index) * (s.valley_ft + s.hill_ft * self._field("hill"))

    @cached_property
    def elevation_ft(self) -> np.ndarray:
        """The land surface, feet above the datum."""
        s = self.settings
        east = (self.coordinates[:, 0] - s.west_m) / s.width_m
        north = (self.coordinates[:, 1] - s.south_m) / s.height_m
        return s.base_elevation_ft + 0.5 * s.tilt_ft * (north - east) + self._relief_ft

    @cached_property
    def depth_to_bedrock_ft(self) -> np.ndarray:
        """The rock surface."""
        s = self.settings
        return np.exp(
            np.log(s.cover_median_ft)
            + np.log(s.cover_valley_factor) * self.valley_index
            + s.cover_log_sd * self._field("cover")
            + s.cover_rough_log_sd * self._field("cover_rough")
        )

    @cached_property
    def depth_to_water_ft(self) -> np.ndarray:
        """The static level; negative where wells flow."""
        s = self.settings
        return s.water_valley_ft + (1.0 - s.water_subdued) * self._relief_ft + s.water_sd_ft * self._field("water")

    @cached_property
    def first_water_ft(self) -> np.ndarray:
        """The depth below which fractures can give water."""
        rock = self.depth_to_bedrock_ft
        return np.maximum(rock, self.depth_to_water_ft) if self.settings.drained_above_water else rock

    @cached_property
    def rock_unit(self) -> np.ndarray:
        """The index of the rock unit in ``settings.units``."""
        units = enumerate(self.settings.units)
        return np.argmax([np.log(unit.share) + self._field(f"unit_{number}") for number, unit in units], axis=0)

    @cached_property
    def fractures_per_ft(self) -> np.ndarray:
        """The rate of the fracture process at the first water, per foot of hole."""
        rates = np.array([unit.fractures_per_100ft / 100.0 for unit in self.settings.units])
        return rates[self.rock_unit] * np.exp(self.settings.rate_log_sd * self._field("rate"))

    @cached_property
    def median_fracture_gpm(self) -> np.ndarray:
        """The median yield of a single fracture."""
        medians = np.array([unit.median_fracture_gpm for unit in self.settings.units])
        return medians[self.rock_unit] * np.exp(self.settings.fracture_log_sd_in_space * self._field("fracture"))

    def expected_fractures(self, depth_ft: float | np.ndarray) -> np.ndarray:
        """Return the mean number of fractures met by a depth.

        The integral of the rate ``r exp(-(z - z0) / decay)`` from the first
        water z0 to the depth: ``r decay (1 - exp(-(depth - z0) / decay))``.
        """
        below = np.maximum(np.asarray(depth_ft, dtype=float) - self.first_water_ft, 0.0)
        return self.fractures_per_ft * effective_thickness(below, self.settings.rate_decay_ft)

    def expected_rock_yield_gpm(self, depth_ft: float | np.ndarray) -> np.ndarray:
        """Return the mean yield of the rock down to a depth.

        By Wald's identity the mean count times the mean yield of one, a
        lognormal's ``median exp(sd^2 / 2)``.
        """
        mean_gpm = self.median_fracture_gpm * np.exp(0.5 * self.settings.fracture_log_sd**2)
        return self.expected_fractures(depth_ft) * mean_gpm


@dataclass(frozen=True, eq=False)
class Region:
    """An invented region, which can be read and drilled at any place.

    Parameters
    ----------
    settings : RegionSettings
    fields : dict of str to RandomField
        The independent fields that the surfaces are built from.
    """

    settings: RegionSettings
    fields: dict[str, RandomField]

    def at(self, coordinates: np.ndarray) -> Ground:
        """Return the ground at places: ``region.at(coordinates).depth_to_bedrock_ft``."""
        return Ground(self.settings, self.fields, coordinates)

    def random_places(self, n: int, random_state: int | np.random.Generator) -> np.ndarray:
        """Return `n` places spread evenly over the region, shape (n, 2)."""
        rng = np.random.default_rng(random_state)
        s = self.settings
        return rng.uniform((s.west_m, s.south_m), (s.west_m + s.width_m, s.south_m + s.height_m), (n, 2))

    def _ground_table(self, coordinates: np.ndarray) -> pd.DataFrame:
        here = self.at(coordinates)
        names = np.array([unit.name for unit in self.settings.units], dtype=object)
        return pd.DataFrame(
            {
                "easting_m": here.coordinates[:, 0],
                "northing_m": here.coordinates[:, 1],
                "elevation_ft": here.elevation_ft,
                "rock_unit": names[here.rock_unit],
                "depth_to_bedrock_ft": here.depth_to_bedrock_ft,
                "depth_to_water_ft": here.depth_to_water_ft,
                "first_water_ft": here.first_water_ft,
                "fractures_per_ft": here.fractures_per_ft,
                "median_fracture_gpm": here.median_fracture_gpm,
            }
        )

    def drill(
        self,
        coordinates: np.ndarray,
        target_gpm: float | np.ndarray,
        limit_ft: float | np.ndarray,
        random_state: int | np.random.Generator,
        *,
        check_every_ft: float = 0.0,
        least_depth_ft: float | np.ndarray = 0.0,
    ) -> pd.DataFrame:
        """Drill one hole a place, each until it makes its target or reaches its limit.

        Parameters
        ----------
        coordinates : array-like of shape (n, 2)
            Easting and northing, metres.
        target_gpm, limit_ft : float or array-like of shape (n,)
            The yield at which the driller stops, and the depth at which he
            stops anyway.
        random_state : int or numpy.random.Generator
        check_every_ft : float, default=0
            The yield is looked at only at multiples of this depth (a length
            of rod); 0: at once, at each fracture.
        least_depth_ft : float or array-like of shape (n,), default=0
            A hole in rock goes at least so deep (within its limit).

        Returns
        -------
        pandas.DataFrame
            One row a hole, in the order given, with the columns that
            `wellrecords.simulation.drilling.drill_wells` lists.
        """
        ground = self._ground_table(coordinates).assign(target_gpm=target_gpm, limit_ft=limit_ft)
        return drill_wells(
            ground,
            self.settings,
            np.random.default_rng(random_state),
            check_every_ft=check_every_ft,
            least_depth_ft=least_depth_ft,
        )

    def draw_depth_to_target_ft(
        self,
        coordinates: np.ndarray,
        target_gpm: float,
        draws: int,
        random_state: int | np.random.Generator,
    ) -> np.ndarray:
        """Draw from the region's own law of the depth that first makes a target.

        No estimate can score better on average than this law: it is the floor.

        Returns
        -------
        ndarray of shape (draws, n)
            Feet; infinite where ``settings.drilled_to_ft`` does not make it.
        """
        ground = self._ground_table(coordinates).assign(target_gpm=target_gpm, limit_ft=self.settings.drilled_to_ft)
        repeated = ground.loc[ground.index.repeat(draws)].reset_index(drop=True)
        holes = drill_wells(repeated, self.settings, np.random.default_rng(random_state))
        return depth_to_target_ft(holes, target_gpm).reshape(len(ground), draws).T


def simulate_region(settings: RegionSettings | None = None, random_state: int | np.random.Generator = 0) -> Region:
    """Invent a region.

    Parameters
    ----------
    settings : RegionSettings, optional
        Such as one of `wellrecords.simulation.PRESETS`; the defaults if None.
    random_state : int or numpy.random.Generator, default=0

    Returns
    -------
    Region

    Examples
    --------
    >>> region = simulate_region(random_state=3)
    >>> places = region.random_places(500, random_state=4)
    >>> holes = region.drill(places, target_gpm=5.0, limit_ft=500.0, random_state=5)
    >>> bool((holes["yield_gpm"][holes["met_target"]] >= 5.0).all())
    True
    """
    s = settings or RegionSettings()
    rng = np.random.default_rng(random_state)
    lengths = {
        "hill": (s.hill_length_m, 2.5),
        **dict.fromkeys(VALLEYS, (s.valley_length_m, 2.5)),
        "cover": (s.cover_length_m, 1.5),
        "cover_rough": (s.cover_rough_length_m, 1.5),
        "water": (s.water_length_m, 1.5),
        "rate": (s.fracture_length_m, 1.5),
        "fracture": (s.fracture_length_m, 1.5),
        **{f"unit_{number}": (s.unit_length_m, 2.5) for number in range(len(s.units))},
    }
    # One stream a field, so that a new field leaves the others as they are.
    streams = rng.spawn(len(lengths))
    fields = {
        name: RandomField.draw(length_m, stream, smoothness=smoothness, origin_m=(s.west_m, s.south_m))
        for (name, (length_m, smoothness)), stream in zip(lengths.items(), streams, strict=True)
    }
    return Region(settings=s, fields=fields)
