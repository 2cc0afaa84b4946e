"""How the firm drills and builds, and what the code asks of it.

Sample values only: minimums of casing, seal and stick-up are set by local
code, and the names of codes below say where such a value was seen.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wellrecords.construction.formulas import slurry_ft3


class GroutMix(BaseModel):
    """One batch of grout; the default is one sack of neat cement.

    Parameters
    ----------
    water_gal : float, default=5.2
        6 gal a sack is the usual legal maximum (TM 5-813-1; Minn. Rules 4725.3050).
    cement_lb : float, default=94
    bentonite_lb, sand_lb : float, default=0
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    water_gal: float = Field(default=5.2, gt=0)
    cement_lb: float = Field(default=94.0, ge=0)
    bentonite_lb: float = Field(default=0.0, ge=0)
    sand_lb: float = Field(default=0.0, ge=0)

    @property
    def batch_ft3(self) -> float:
        """Volume of one batch, cubic feet."""
        return slurry_ft3(
            self.water_gal, cement_lb=self.cement_lb, bentonite_lb=self.bentonite_lb, sand_lb=self.sand_lb
        )


class ConstructionSettings(BaseModel):
    """How the well is drilled and built.

    Parameters
    ----------
    at_limit : {"stop", "hydrofracture", "go_on"}, default="stop"
        What is done where the target is not made at the depth limit.
    second_limit_ft : float or None
        Where drilling ends under "go_on"; must lie below the lot's limit.
    accept_at_limit_gpm : float or None
        A hole that makes this much at the limit is taken as it is, without
        fracturing or going on. None: only the target is enough.
    least_usable_gpm : float or None
        A finished hole that makes less is dry: no pump goes in and the hole
        is sealed. None: the house's daily use, spread over 24 hours.
    fracturing_works : float, default=0.8
        Chance that hydrofracturing adds water; the firm's own experience.
    fracturing_adds_gpm, fracturing_log_sd : float, default=1 and 0.8
        Median and spread (standard deviation of the natural logarithm) of
        what it adds where it works. Invented samples.
    rod_ft : float, default=20
        Drilling in rock ends on a full rod, the limit excepted (common
        practice); 0 for to the foot.
    minimum_depth_ft : float, default=0
        Of a well in rock.
    minimum_open_hole_ft : float, default=20
        Least open hole below the casing of a rock well.
    hole_diameter_in : float, default=6
        The open hole in rock.
    casing_hole_diameter_in : float, default=10
        The oversize hole in which the casing is set. Oregon, New York and
        Wisconsin ask 2 to 4 in over the casing, by how the grout is placed.
    casing_od_in, casing_id_in : float, default=6.625 and 6.065
        Nominal 6 in steel pipe, schedule 40 (from memory).
    casing_into_rock_ft : float, default=10
        Seen in N.H. We 602.22; Oregon 5 ft; Maine sets none.
    minimum_casing_ft : float, default=20
        Below ground. Seen: 18 ft (Oregon), 19 ft (New York), 20 ft (N.H.).
    stick_up_ft : float, default=1.5
        Casing above ground. Seen: 8 in (N.H., Maine), 1 ft (New York).
    drive_shoe : bool, default=True
    grout : GroutMix
    grouted_ft : float or None
        Height of grout above the foot of the casing; None: to the ground.
    grout_loss : float, default=0.15
        Extra grout for washouts and waste, as a share (common practice).
    screen_open_area_ft2_per_ft : float, default=0.15
        Of a foot of screen; the maker's table gives it.
    entrance_velocity_ft_s : float, default=0.1
        TM 5-813-1 (1987).
    minimum_screen_ft, maximum_screen_ft : float, default=4 and 20
    pack_above_screen_ft : float, default=3
        Filter pack above the top of the screen.
    development_h, screened_development_h : float, default=1 and 4
        Hours of development in rock and with a screen.
    yield_test_h : float, default=1
    disinfection_mg_l : float, default=100
        50 to 100 mg/L (MIL-HDBK-1164; West Virginia Bureau for Public Health).
    bleach_percent : float, default=5
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    at_limit: Literal["stop", "hydrofracture", "go_on"] = "stop"
    second_limit_ft: float | None = Field(default=None, gt=0)
    accept_at_limit_gpm: float | None = Field(default=None, ge=0)
    least_usable_gpm: float | None = Field(default=None, ge=0)
    fracturing_works: float = Field(default=0.8, ge=0, le=1)
    fracturing_adds_gpm: float = Field(default=1.0, gt=0)
    fracturing_log_sd: float = Field(default=0.8, ge=0, le=3)
    rod_ft: float = Field(default=20.0, ge=0)
    minimum_depth_ft: float = Field(default=0.0, ge=0)
    minimum_open_hole_ft: float = Field(default=20.0, ge=0)
    hole_diameter_in: float = Field(default=6.0, gt=0)
    casing_hole_diameter_in: float = Field(default=10.0, gt=0)
    casing_od_in: float = Field(default=6.625, gt=0)
    casing_id_in: float = Field(default=6.065, gt=0)
    casing_into_rock_ft: float = Field(default=10.0, ge=0)
    minimum_casing_ft: float = Field(default=20.0, ge=0)
    stick_up_ft: float = Field(default=1.5, ge=0)
    drive_shoe: bool = True
    grout: GroutMix = GroutMix()
    grouted_ft: float | None = Field(default=None, ge=0)
    grout_loss: float = Field(default=0.15, ge=0)
    screen_open_area_ft2_per_ft: float = Field(default=0.15, gt=0)
    entrance_velocity_ft_s: float = Field(default=0.1, gt=0)
    minimum_screen_ft: float = Field(default=4.0, gt=0)
    maximum_screen_ft: float = Field(default=20.0, gt=0)
    pack_above_screen_ft: float = Field(default=3.0, ge=0)
    development_h: float = Field(default=1.0, ge=0)
    screened_development_h: float = Field(default=4.0, ge=0)
    yield_test_h: float = Field(default=1.0, ge=0)
    disinfection_mg_l: float = Field(default=100.0, gt=0)
    bleach_percent: float = Field(default=5.0, gt=0, le=100)

    @model_validator(mode="after")
    def _check(self) -> ConstructionSettings:
        if not self.casing_id_in < self.casing_od_in < self.casing_hole_diameter_in:
            msg = "casing_id_in < casing_od_in < casing_hole_diameter_in must hold, or the casing does not fit its hole"
            raise ValueError(msg)
        if self.hole_diameter_in > self.casing_id_in:
            msg = "hole_diameter_in must not exceed casing_id_in: the bit has to pass the casing"
            raise ValueError(msg)
        if self.at_limit == "go_on" and self.second_limit_ft is None:
            msg = 'at_limit = "go_on" needs second_limit_ft, the depth at which drilling ends'
            raise ValueError(msg)
        if self.minimum_screen_ft > self.maximum_screen_ft:
            msg = "minimum_screen_ft must not exceed maximum_screen_ft"
            raise ValueError(msg)
        return self
