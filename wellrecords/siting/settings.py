"""The settings that say where a well may stand: setbacks, the rig, and what a place costs.

Everything here is the user's. The file ``sample_records/setbacks.toml`` shows
the form with sample values, each with its source; **local code governs**.
"""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from wellrecords.checked import checked, read_toml
from wellrecords.errors import Problem, ProblemsError

PROPERTY_LINE = "property_line"
"""The kind of the lot's own boundary; it must always have a setback, 0 where the code has none."""

Feet = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Usd = Annotated[float, Field(ge=0, allow_inf_nan=False)]


def kind_name(text: object) -> str:
    """Return a kind as the settings spell it: lower case, words joined by ``_``.

    Examples
    --------
    >>> kind_name("Septic Tank"), kind_name(" drain-field ")
    ('septic_tank', 'drain_field')
    """
    return re.sub(r"[^a-z0-9]+", "_", str(text).strip().lower()).strip("_")


class KindSettings(BaseModel):
    """What one kind of site feature asks of a well.

    Parameters
    ----------
    label : str
        The kind in plain words, for maps and sentences.
    setback_ft : float
        Least horizontal distance from the well to the feature. A feature that
        is a polygon keeps its own ground in any case, at a setback of 0 too.
    source : str
        Where the value comes from: the paragraph of the local code.
    rig_may_cross, trench_may_cross : bool, default=False
        Whether the rig may drive over it, and the water line be trenched
        through it.
    access : bool, default=False
        The rig comes along it (a road, a driveway).
    house : bool, default=False
        The water line ends at it.
    overhead : bool, default=False
        An overhead line: the mast must stay clear of it as well.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    label: str = Field(min_length=1)
    setback_ft: Feet
    source: str = Field(min_length=1)
    rig_may_cross: bool = False
    trench_may_cross: bool = False
    access: bool = False
    house: bool = False
    overhead: bool = False


class LineClearance(BaseModel):
    """Clearance from an overhead line of at most `up_to_kv` kilovolts."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    up_to_kv: float = Field(gt=0)
    clearance_ft: Feet


class RigSettings(BaseModel):
    """The rig on its way to the hole, and over it.

    Parameters
    ----------
    width_ft : float
        Width of the lane that it needs.
    max_slope_percent : float
        Steepest ground that it climbs or sets up on; judged where terrain is given.
    road_reach_ft : float
        How far a road's line may run outside the lot and still front it.
    mast_reach_ft : float
        How far the raised mast, its lines and hoisted pipe reach sideways
        from the hole; it is added to the clearance from overhead lines.
    line_clearance_unknown_ft : float
        Clearance where the voltage is not known.
    line_clearance : tuple of LineClearance
        By voltage, rising.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    width_ft: float = Field(gt=0)
    max_slope_percent: float = Field(gt=0)
    road_reach_ft: Feet
    mast_reach_ft: Feet
    line_clearance_unknown_ft: Feet
    line_clearance: tuple[LineClearance, ...] = ()

    @field_validator("line_clearance")
    @classmethod
    def _rising(cls, value: tuple[LineClearance, ...]) -> tuple[LineClearance, ...]:
        steps = [(step.up_to_kv, step.clearance_ft) for step in value]
        if any(after[0] <= before[0] or after[1] < before[1] for before, after in pairwise(steps)):
            msg = "line_clearance must rise: each step a higher voltage and no less clearance than the one before"
            raise ValueError(msg)
        return value

    def mast_clearance_ft(self, voltage_kv: float | None) -> float:
        """Return the least distance from hole to overhead line, the mast's reach included.

        Parameters
        ----------
        voltage_kv : float or None
            None where it is not known.

        Raises
        ------
        ProblemsError
            Where the voltage lies above the last step: no distance that is
            set would suffice.
        """
        if voltage_kv is None:
            return self.line_clearance_unknown_ft + self.mast_reach_ft
        for step in self.line_clearance:
            if voltage_kv <= step.up_to_kv:
                return step.clearance_ft + self.mast_reach_ft
        problem = Problem(
            what="no clearance is set for the voltage of an overhead line",
            column="voltage_kv",
            value=f"{voltage_kv:g}",
            rule="the mast keeps clear of every line by its voltage",
            next_step="ask the line's owner for the clearance and add a step to [[rig.line_clearance]]",
            code="line_clearance",
        )
        raise ProblemsError([problem], "The site plan cannot be used")


class PlaceCosts(BaseModel):
    """What makes one place on the lot dearer than another.

    The first three are prices: where the region has a price book, they are
    its own (`priced`), so that a place and the bid say the same money. Where
    neither file has any, places are ranked by feet of trench and way.

    Parameters
    ----------
    trench_usd_per_ft : float, optional
        Water line from well to house.
    access_usd_per_ft : float, optional
        Making and mending the rig's way from the road.
    slope_usd_per_percent : float, optional
        Levelling a pad, by the percent of slope.
    slack_wanted_ft, slack_short_usd_per_ft : float
        Room to spare that is wanted beyond every setback, and what a missing
        foot of it is reckoned at when places are ranked.
    yield_worth_usd_per_gpm : float
        What a gallon a minute more is worth when places are ranked.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    trench_usd_per_ft: Usd | None = None
    access_usd_per_ft: Usd | None = None
    slope_usd_per_percent: Usd | None = None
    slack_wanted_ft: Feet = 0.0
    slack_short_usd_per_ft: Usd = 0.0
    yield_worth_usd_per_gpm: Usd = 0.0

    @property
    def has_prices(self) -> bool:
        """Whether the way and the water line are priced at all."""
        return self.trench_usd_per_ft is not None or self.access_usd_per_ft is not None


class SitingSettings(BaseModel):
    """Where a well may stand.

    Parameters
    ----------
    tolerance_ft : float
        How far the site plan and the well stake may be off together; it is
        added to every setback.
    least_ground_ft2 : float
        Ground smaller than this is no ground: it cannot be staked out.
    grid_ft : float
        Spacing of the places that are weighed (wider on lots of many acres).
    candidates : int
        How many places to give.
    candidate_spacing_ft : float
        Least distance between two of them.
    trench_clear_ft : float
        Least distance of the water line's trench from what it may not cross.
    far_ft : float
        A feature farther than this from the lot is an error: its coordinates
        or coordinate system are likely wrong.
    kinds : dict of str to KindSettings
    rig : RigSettings
    costs : PlaceCosts
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    tolerance_ft: Feet
    least_ground_ft2: float = Field(gt=0)
    grid_ft: float = Field(default=5.0, gt=0)
    candidates: int = Field(default=5, ge=1)
    candidate_spacing_ft: Feet = 30.0
    trench_clear_ft: Feet
    far_ft: float = Field(default=5280.0, gt=0)
    kinds: dict[str, KindSettings]
    rig: RigSettings
    costs: PlaceCosts

    @model_validator(mode="after")
    def _kinds(self) -> SitingSettings:
        wrong = sorted(kind for kind in self.kinds if kind != kind_name(kind))
        if wrong:
            msg = f"kinds are written in lower case with _ between words; {wrong[0]!r} would be {kind_name(wrong[0])!r}"
            raise ValueError(msg)
        if PROPERTY_LINE not in self.kinds:
            msg = (
                f"kinds must hold {PROPERTY_LINE!r}, the lot's own boundary; set setback_ft = 0 where the code has none"
            )
            raise ValueError(msg)
        return self


class SitingFiles(BaseModel):
    """The table ``[siting]`` of a region's settings.

    Parameters
    ----------
    setbacks : path, optional
        The setbacks file; without one no place is chosen.
    site_plans : path, optional
        Features with `lot_id` and `kind`.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    setbacks: Path | None = None
    site_plans: Path | None = None


def load_siting_settings(path: str | Path) -> SitingSettings:
    """Read and check a setbacks file.

    Parameters
    ----------
    path : path
        A TOML file such as ``sample_records/setbacks.toml``.

    Raises
    ------
    WellRecordsError
        If the file is absent or not TOML.
    ProblemsError
        One problem a wrong key.
    """
    raw = read_toml(path, "setbacks file", "copy sample_records/setbacks.toml and set the local values")
    return checked(SitingSettings, raw, path, heading="The setbacks cannot be used")
