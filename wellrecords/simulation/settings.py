"""What an invented region is made of."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class RockUnit(_Frozen):
    """One kind of rock, by the water that its fractures give.

    Parameters
    ----------
    name : str
        What a driller would write.
    share : float
        Weight of the unit when the ground is dealt out; shares of area come
        near these weights.
    fractures_per_100ft : float
        Mean number of water-bearing fractures in 100 ft of hole.
    median_fracture_gpm : float
        Median yield of a single fracture.
    """

    name: str
    share: float = Field(gt=0.0)
    fractures_per_100ft: float = Field(gt=0.0)
    median_fracture_gpm: float = Field(gt=0.0)


GOOD = RockUnit(name="granite, broken", share=0.4, fractures_per_100ft=1.6, median_fracture_gpm=1.5)
MIDDLING = RockUnit(name="gneiss", share=0.35, fractures_per_100ft=1.2, median_fracture_gpm=0.8)
POOR = RockUnit(name="slate", share=0.25, fractures_per_100ft=0.7, median_fracture_gpm=0.4)


class RegionSettings(_Frozen):
    """Settings of an invented region; lengths in metres, depths in feet.

    The defaults give ground like the glaciated hard-rock country of the
    north-east of America (thin cover, wells of 100 to 500 ft, a few gallons a
    minute): invented values in the range that is common practice there.

    Parameters
    ----------
    crs : str
        Projected system of the coordinates, in metres.
    west_m, south_m, width_m, height_m : float
        The ground that `Region.random_places` draws from. The fields have no
        edge: any place can be asked.
    base_elevation_ft, tilt_ft, hill_ft, hill_length_m : float
        Level of the valley floors at the middle, rise of the land from the
        south-east corner to the north-west one, standard deviation of the
        hills, and their length scale.
    valley_ft, valley_length_m, valley_width : float
        Depth of the valleys, the spacing of the field whose zero lines they
        follow, and their width in units of that field.
    cover_median_ft, cover_valley_factor, cover_log_sd, cover_length_m : float
        Depth to bedrock away from valleys, how many times thicker it is in
        the middle of one, and its log standard deviation and length scale.
    cover_rough_log_sd, cover_rough_length_m : float
        The same for the roughness of the buried rock surface between neighbours.
    water_subdued : float
        Share of the relief that the water table follows (1: all of it).
    water_valley_ft, water_sd_ft, water_length_m : float
        Depth to water on a valley floor of mean level, and the standard deviation and length
        scale of what else moves the level (storage, season, depth of the zone).
    units : tuple of RockUnit
    unit_length_m : float
        Size of the bodies of rock.
    rate_log_sd, fracture_log_sd_in_space, fracture_length_m : float
        Within a unit: log standard deviation over space of the fracture rate,
        of the median yield of a fracture, and their length scale.
    fracture_log_sd : float
        Log standard deviation of the yields of single fractures at one place.
    rate_decay_ft : float or None
        Depth below the first water in which the fracture rate falls by a factor e;
        None where it does not fall.
    drained_above_water : bool
        True: a fracture above the water table gives nothing.
    gravel_chance, gravel_min_cover_ft : float
        Chance of meeting a water-bearing gravel where the cover is at least so
        thick. A driller whom it satisfies stops there, above rock; else it is
        cased off.
    gravel_median_gpm, gravel_log_sd : float
        Yield of such a gravel.
    drilled_to_ft : float
        How deep fractures are known, far below where the driller stops.
    """

    crs: str = "EPSG:26919"
    west_m: float = 400_000.0
    south_m: float = 5_000_000.0
    width_m: float = Field(default=30_000.0, gt=0.0)
    height_m: float = Field(default=30_000.0, gt=0.0)

    base_elevation_ft: float = 420.0
    tilt_ft: float = 300.0
    hill_ft: float = 60.0
    hill_length_m: float = Field(default=2_500.0, gt=0.0)
    valley_ft: float = Field(default=160.0, ge=0.0)
    valley_length_m: float = Field(default=5_000.0, gt=0.0)
    valley_width: float = Field(default=0.25, gt=0.0)

    cover_median_ft: float = Field(default=14.0, gt=0.0)
    cover_valley_factor: float = Field(default=4.0, gt=0.0)
    cover_log_sd: float = Field(default=0.5, ge=0.0)
    cover_length_m: float = Field(default=2_000.0, gt=0.0)
    cover_rough_log_sd: float = Field(default=0.3, ge=0.0)
    cover_rough_length_m: float = Field(default=120.0, gt=0.0)

    water_subdued: float = Field(default=0.75, ge=0.0, le=1.0)
    water_valley_ft: float = 4.0
    water_sd_ft: float = Field(default=6.0, ge=0.0)
    water_length_m: float = Field(default=800.0, gt=0.0)

    units: tuple[RockUnit, ...] = (GOOD, MIDDLING, POOR)
    unit_length_m: float = Field(default=6_000.0, gt=0.0)
    rate_log_sd: float = Field(default=0.3, ge=0.0)
    fracture_log_sd_in_space: float = Field(default=0.4, ge=0.0)
    fracture_length_m: float = Field(default=2_500.0, gt=0.0)
    fracture_log_sd: float = Field(default=1.1, ge=0.0)
    rate_decay_ft: float | None = Field(default=None, gt=0.0)
    drained_above_water: bool = True

    gravel_chance: float = Field(default=0.4, ge=0.0, le=1.0)
    gravel_min_cover_ft: float = Field(default=40.0, ge=0.0)
    gravel_median_gpm: float = Field(default=10.0, gt=0.0)
    gravel_log_sd: float = Field(default=0.8, ge=0.0)

    drilled_to_ft: float = Field(default=1_500.0, gt=0.0)


PRESETS: dict[str, RegionSettings] = {
    "mixed": RegionSettings(),
    "good_rock": RegionSettings(units=(GOOD,)),
    "poor_rock": RegionSettings(units=(POOR,)),
    "patchy": RegionSettings(unit_length_m=1_500.0, rate_log_sd=0.5, fracture_log_sd_in_space=0.7),
    "fading": RegionSettings(rate_decay_ft=350.0),
    "deep_cover": RegionSettings(cover_median_ft=60.0, cover_valley_factor=2.5, gravel_chance=0.6),
}
"""Regions for tests and studies, by name."""
