"""What a user may choose about the reports."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, Field


class ReportSettings(BaseModel, frozen=True, extra="forbid"):
    """Choices of the reports, with defaults that need no change.

    Parameters
    ----------
    language : str, default="en"
        Of the page's ``lang`` attribute.
    private_minimum : int, default=5
        The owner's version shows no figure that fewer wells stand behind.
        It may be raised, not lowered.
    max_wells_on_map : int, default=20000
        A larger region draws this many, picked at random but the same on
        every run, and says so.
    map_radius_m : float, default=6000.0
        A lot's map shows the wells within this distance.
    colour_classes : int, default=6
        Steps of the map's colour ramps.
    neighbours_listed : int, default=40
        Rows of the table of wells that an estimate leaned on.
    surface_cells : int, default=120
        Cells along the longer side of the region's surfaces.
    prepared_by : str, optional
        The firm's name, printed in the headings.
    context : dict of str to path
        Layers of lines or areas to draw beneath the wells, such as "roads".
    """

    language: str = "en"
    private_minimum: int = Field(default=5, ge=5)
    max_wells_on_map: int = Field(default=20_000, ge=1)
    map_radius_m: float = Field(default=6000.0, gt=0.0)
    colour_classes: int = Field(default=6, ge=3, le=9)
    neighbours_listed: int = Field(default=40, ge=1)
    surface_cells: int = Field(default=120, ge=10, le=1000)
    prepared_by: str | None = None
    context: dict[str, Path] = {}
