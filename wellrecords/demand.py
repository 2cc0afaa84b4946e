"""How much water a place needs: a volume a day, and a volume within the peak.

A well is asked for both: the whole day's household use within 2 hours is the
extension services' planning rule. Lawn and garden are watered in sessions:
the water of some days within some hours. Which yield with which storage meets
the need is `demand_storage`.

>>> need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
>>> round(need.house_gal_day), round(need.summer_gal_day)
(300, 894)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from pydantic import BaseModel, ConfigDict, Field, model_validator

from wellrecords.errors import Problem, ProblemsError
from wellrecords.units import GAL_PER_FT3, IN_PER_FT

MOST_DAYS_BETWEEN = 31
"""Between waterings: nobody's lawn waits longer, and a tank's days are gone through one by one."""
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

LIVESTOCK_GAL_PER_HEAD_DAY = {
    "beef": 15.0,
    "dry_dairy": 15.0,
    "milking_dairy": 40.0,
    "sheep": 4.0,
    "goat": 4.0,
    "hog": 4.0,
    "horse": 12.0,
    "chicken": 0.12,
}
"""Upper end of the published ranges. University of Maine Extension, pasture management course, lesson 7, table 1;
chickens (12 gal a day for 100): J. Renewable Energy 2017, article 8504283."""


MOST_OF = {
    "persons": 500.0,
    "bedrooms": 200.0,
    "peak_gpm": 100.0,
    "fixtures": 100,
    "lawn_area_ft2": 1e7,
    "garden_area_ft2": 1e7,
}
"""More than any place of one well: it is a slip of the pen, or a town."""


class DemandSettings(BaseModel):
    """Who and what the well must serve. All values are the user's; the defaults name their source.

    Parameters
    ----------
    persons : float or None
        People in the house. Give persons or bedrooms; with neither, four people are taken.
    bedrooms : float or None
        Where the permit counts bedrooms and not people.
    gal_per_person_day : float, default=75
        Penn State Extension, "Estimating water needs": 50 to 100.
    gal_per_bedroom_day : float, default=110
        New York State Department of Health, individual wells fact sheet 2.
    peak_gpm : float, default=5
        Flow to deliver at one moment: two fixtures at 2.5 gpm (same sheet).
    fixtures : int or None
        Where given, the peak flow is 1 gpm a fixture (trade rule).
    peak_hours : float, default=2
        Time within which `peak_share` of the day's household use is drawn
        (Penn State Extension: the whole day's use within 2 hours).
    peak_share : float, default=1
    lawn_area_ft2, garden_area_ft2 : float, default=0
    irrigation_in_per_week : tuple of 12 floats
        Inches of water that lawn and garden want from the well, by month,
        beyond rain. 1 inch a week in summer is common practice.
    irrigation_efficiency : float, default=0.75
        Share of the water that reaches the roots (from memory, sprinklers).
    watering_every_days : int, default=3
        From one watering by sprinklers to the next, at the same hour. Two or
        three waterings a week are common practice.
    watering_hours : float, default=4
        Within which a watering is given, all zones one after the other, apart
        from the house's peak: the early morning, common practice. Drip lines
        that run all day are a watering every day within 22 hours.
    livestock : dict of str to float
        Heads by kind, such as {"horse": 2}.
    livestock_gal_per_head_day : dict of str to float
        Overrides and additions to `LIVESTOCK_GAL_PER_HEAD_DAY`.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    persons: float | None = Field(default=None, gt=0, le=MOST_OF["persons"])
    bedrooms: float | None = Field(default=None, gt=0, le=MOST_OF["bedrooms"])
    gal_per_person_day: float = Field(default=75.0, gt=0)
    gal_per_bedroom_day: float = Field(default=110.0, gt=0)
    peak_gpm: float = Field(default=5.0, gt=0, le=MOST_OF["peak_gpm"])
    fixtures: int | None = Field(default=None, gt=0, le=MOST_OF["fixtures"])
    peak_hours: float = Field(default=2.0, gt=0, lt=24)
    peak_share: float = Field(default=1.0, ge=0, le=1)
    lawn_area_ft2: float = Field(default=0.0, ge=0, le=MOST_OF["lawn_area_ft2"])
    garden_area_ft2: float = Field(default=0.0, ge=0, le=MOST_OF["garden_area_ft2"])
    irrigation_in_per_week: tuple[float, ...] = (0, 0, 0, 0, 0.5, 1, 1, 1, 0.5, 0, 0, 0)
    irrigation_efficiency: float = Field(default=0.75, gt=0, le=1)
    watering_every_days: int = Field(default=3, ge=1, le=MOST_DAYS_BETWEEN)
    watering_hours: float = Field(default=4.0, gt=0, lt=24)
    livestock: dict[str, float] = Field(default_factory=dict)
    livestock_gal_per_head_day: dict[str, float] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _check(self) -> DemandSettings:
        if self.persons is not None and self.bedrooms is not None:
            msg = "give persons or bedrooms, not both: each alone sets the household's use"
            raise ValueError(msg)
        if len(self.irrigation_in_per_week) != 12 or min(self.irrigation_in_per_week) < 0:
            msg = "irrigation_in_per_week needs 12 values, January first, none below 0"
            raise ValueError(msg)
        if self.peak_hours + self.watering_hours > 24:
            msg = "peak_hours and watering_hours are more than 24 together: sprinklers run outside the house's peak"
            raise ValueError(msg)
        return self


@dataclass(frozen=True, eq=False)
class Need:
    """The water that a place needs.

    Attributes
    ----------
    indoor_gal_day, livestock_gal_day : float
    irrigation_gal_day : float
        In the driest month.
    peak_gpm : float
        Flow to deliver at one moment.
    peak_gal, peak_hours : float
        Volume drawn within the peak, and its length.
    irrigated_ft2 : float
    irrigation_in_per_week : float
        In the driest month.
    irrigation_gal_per_ft2_day : float
        Water that a square foot takes from the well in the driest month (as
        if irrigated at 1 inch a week where no season is set).
    watering_every_days : int
    watering_hours : float
        Of a session of the sprinklers, which is outside the peak.
    months : DataFrame
        Twelve rows: `month`, `indoor_gal_day`, `livestock_gal_day`,
        `irrigation_gal_day`, `total_gal_day`.
    """

    indoor_gal_day: float
    livestock_gal_day: float
    irrigation_gal_day: float
    peak_gpm: float
    peak_gal: float
    peak_hours: float
    irrigated_ft2: float
    irrigation_in_per_week: float
    irrigation_gal_per_ft2_day: float
    watering_every_days: int
    watering_hours: float
    months: pd.DataFrame

    @property
    def house_gal_day(self) -> float:
        """House and animals, every day of the year."""
        return self.indoor_gal_day + self.livestock_gal_day

    @property
    def summer_gal_day(self) -> float:
        """House, animals, lawn and garden in the driest month."""
        return self.house_gal_day + self.irrigation_gal_day

    @property
    def watering_gal(self) -> float:
        """One watering of lawn and garden by sprinklers, in the driest month."""
        return self.irrigation_gal_day * self.watering_every_days

    @property
    def sprinklers_gpm(self) -> float:
        """Flow of the sprinklers while a watering is given."""
        return self.watering_gal / (60.0 * self.watering_hours)

    def rest_gal(self, *, irrigating: bool) -> float:
        """Volume used outside the peak on a day with or without irrigation."""
        return (self.summer_gal_day if irrigating else self.house_gal_day) - self.peak_gal


def irrigation_gal(area_ft2: ArrayLike, depth_in: ArrayLike) -> np.ndarray:
    """Return the gallons that cover an area to a depth.

    One inch on one square foot is 0.6234 gal (Purdue Landscape Report).

    Parameters
    ----------
    area_ft2, depth_in : array-like

    Returns
    -------
    ndarray

    Examples
    --------
    >>> float(irrigation_gal(200, 1).round(1))
    124.7
    """
    return np.asarray(area_ft2, dtype=float) * np.asarray(depth_in, dtype=float) / IN_PER_FT * GAL_PER_FT3


def well_storage_gal(diameter_in: ArrayLike, column_ft: ArrayLike) -> np.ndarray:
    """Return the water standing in a round well or tank.

    pi/4 d^2 h; 1.47 gal a foot in a 6 in well (MIL-HDBK-1164, table 1).

    Parameters
    ----------
    diameter_in : array-like
        Inside diameter.
    column_ft : array-like
        Height of the water column; below 0 counts as 0.

    Returns
    -------
    ndarray
    """
    area_ft2 = np.pi / 4.0 * (np.asarray(diameter_in, dtype=float) / IN_PER_FT) ** 2
    return area_ft2 * np.maximum(np.asarray(column_ft, dtype=float), 0.0) * GAL_PER_FT3


def household_need(settings: DemandSettings) -> Need:
    """Return what the place needs by day, month and peak.

    Parameters
    ----------
    settings : DemandSettings
        Without persons and bedrooms a household of four is taken.

    Returns
    -------
    Need

    Raises
    ------
    ProblemsError
        Where a kind of livestock has no daily use.
    """
    if settings.bedrooms is not None:
        indoor = settings.bedrooms * settings.gal_per_bedroom_day
    else:
        indoor = (4.0 if settings.persons is None else settings.persons) * settings.gal_per_person_day
    per_head = LIVESTOCK_GAL_PER_HEAD_DAY | settings.livestock_gal_per_head_day
    unknown = [kind for kind in settings.livestock if kind not in per_head]
    if unknown:
        raise ProblemsError(
            [
                Problem(
                    what="unknown kind of livestock",
                    value=kind,
                    column="livestock",
                    rule=f"known kinds are {', '.join(sorted(per_head))}",
                    next_step=_kind_meant(kind, per_head)
                    + "give its gallons a head and day under livestock_gal_per_head_day of the settings' [demand]",
                    code="unknown_livestock",
                )
                for kind in unknown
            ],
            heading="The demand cannot be computed",
        )
    livestock = sum(heads * per_head[kind] for kind, heads in settings.livestock.items())
    area = settings.lawn_area_ft2 + settings.garden_area_ft2
    inches = np.asarray(settings.irrigation_in_per_week, dtype=float)
    irrigation = irrigation_gal(area, inches) / 7.0 / settings.irrigation_efficiency
    driest_in = float(inches.max())
    months = pd.DataFrame(
        {"month": MONTHS, "indoor_gal_day": indoor, "livestock_gal_day": livestock, "irrigation_gal_day": irrigation}
    )
    months["total_gal_day"] = indoor + livestock + irrigation
    return Need(
        indoor_gal_day=float(indoor),
        livestock_gal_day=float(livestock),
        irrigation_gal_day=float(irrigation.max()),
        peak_gpm=settings.peak_gpm if settings.fixtures is None else float(settings.fixtures),
        peak_gal=float(settings.peak_share * indoor),
        peak_hours=settings.peak_hours,
        irrigated_ft2=area,
        irrigation_in_per_week=driest_in,
        irrigation_gal_per_ft2_day=float(irrigation_gal(1.0, driest_in or 1.0) / 7.0 / settings.irrigation_efficiency),
        watering_every_days=settings.watering_every_days,
        watering_hours=settings.watering_hours,
        months=months,
    )


def _kind_meant(kind: str, known: Iterable[str]) -> str:
    """Return a question where a kind of livestock is one that is known, misspelt or of several: horses."""
    names = {name.replace("_", " "): name for name in known}
    close = get_close_matches(kind.lower().replace("_", " "), names, 1)
    return f"did you mean {names[close[0]]}? Else " if close else ""
