"""Settings of a lot's estimate: what is asked, and when the records can say."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, field_validator

DEEPEST_HOLE_FT = 20_000.0
"""No depth is told from below it: there the laws of the fractures are no longer tabulated (`laws.FEET`)."""


class SupportSettings(BaseModel):
    """When the records can say, in numbers.

    A well counts for less than one where its position is uncertain: as
    ``1 / (1 + (position_error_m / good_within_m)^2)``.

    - `none` for a quantity: no reading of it within `none_beyond_m`, or fewer
      than `thin_wells` within twice that;
    - `good`: at least `good_wells` (so counted) within `good_within_m` say
      how water was met;
    - `thin`: what lies between; and what would be good, where the lot's rock
      is known, at least `thin_wells` wells within 5 km name theirs, and none
      of them is in it.

    Parameters
    ----------
    good_within_m : float, default=2000
        The distance over which yields of neighbouring bedrock wells have been
        found alike: some 6,000 ft in the Pinardville quadrangle, New Hampshire
        (939 wells; variography of Drew and others).
    good_wells : float, default=6
    thin_wells : int, default=3
    none_beyond_m : float, default=5000
    old_level_years : float, default=20
        Levels older than this (their median age) are noted.
    poor_position_m : float, default=300
        Position errors above this (their median) are noted: a section
        centroid is off by some 600 m, a quarter-quarter centroid by 150 m.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    good_within_m: float = Field(default=2000.0, gt=0)
    good_wells: float = Field(default=6.0, gt=0)
    thin_wells: int = Field(default=3, ge=1)
    none_beyond_m: float = Field(default=5000.0, gt=0)
    old_level_years: float = Field(default=20.0, gt=0)
    poor_position_m: float = Field(default=300.0, gt=0)


class EstimateSettings(BaseModel):
    """What is asked of the records.

    Parameters
    ----------
    target_yield_gpm : float, default=5
        The yield that is wanted.
    max_depth_ft : float, default=600
        The deepest hole that would be drilled.
    quantiles : tuple of float, default=(0.1, 0.5, 0.9)
        Of the columns ``<name>_pNN``.
    n_draws : int, default=1000
        Joint draws a lot.
    random_state : int, default=0
    dry_below_gpm : float or None, default=None
        A hole that makes less is dry. None: the smallest yield that wells
        around report (their first percentile), and at most 0.5 gpm, which
        with storage serves a house (common practice).
    deepest_ft : float, default=3000
        Draws deeper than this are "never" (infinite); quantile columns show
        this figure in their place.
    wells_per_fit : int, default=10000
        Up to so many wells, every lot is estimated from all of them. Where
        there are more, it is from those of its tile of the ground, cut in
        four where they are more again (`tiles`).
    by_tile : bool or None, default=None
        None: where more than `wells_per_fit` wells are given. True is for
        wells read from a box (`wells_box`) of a store that holds more.
    n_neighbours : int, default=150
        Wells that the law of fractures at a lot may lean on.
    n_jobs : int, default=2
        Threads, or processes where the lots lie in several districts; the figures
        do not depend on it.
    support : SupportSettings
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    target_yield_gpm: float = Field(default=5.0, gt=0)
    max_depth_ft: float = Field(default=600.0, gt=0, le=DEEPEST_HOLE_FT)
    quantiles: tuple[float, ...] = (0.1, 0.5, 0.9)
    n_draws: int = Field(default=1000, ge=50)
    random_state: int = Field(default=0, ge=0)
    dry_below_gpm: float | None = Field(default=None, gt=0)
    deepest_ft: float = Field(default=3000.0, gt=0, le=DEEPEST_HOLE_FT)
    wells_per_fit: int = Field(default=10_000, ge=50)
    by_tile: bool | None = None
    n_neighbours: int = Field(default=150, ge=5)
    n_jobs: int = Field(default=2, ge=1)
    support: SupportSettings = SupportSettings()

    @field_validator("quantiles")
    @classmethod
    def _inside(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        if not value or any(not 0 < level < 1 for level in value):
            msg = f"quantiles are levels inside (0, 1), not {value}"
            raise ValueError(msg)
        return value
