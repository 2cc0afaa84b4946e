"""What the verbs share: the options that several take, and the settings behind them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.schema import WGS84
from wellrecords.terminal import progress
from wellrecords.typed_numbers import typed_number

if TYPE_CHECKING:
    import geopandas as gpd

    from wellrecords.refresh import RefreshResult
    from wellrecords.settings import RegionSettings, Settings

STOPPED = 130
"""The exit status of a command that the user stopped: 128 and the number of the signal."""
NEAR_DEG = 0.25
"""How far outside the bounds a place may lie: a lot just over the line is still answered by the wells inside."""

SettingsFile = Annotated[
    Path, typer.Argument(metavar="SETTINGS", help="The region's settings, such as pipelines/sample_region.toml.")
]
SourceFiles = Annotated[
    list[str] | None,
    typer.Option("--source", metavar="NAME=FILE", help="Read another file for a source of the settings (repeatable)."),
]
LotNames = Annotated[list[str] | None, typer.Option("--lot", metavar="LOT_ID", help="Only this lot (repeatable).")]
LotsFile = Annotated[
    Path | None,
    typer.Option("--lots", metavar="FILE", help="A file of lots, in place of that of the settings if any."),
]
Places = Annotated[
    list[str] | None,
    typer.Option(
        "--at", metavar="LON,LAT", help="A place in degrees in place of a file, as --at=-70.05,45.21 (repeatable)."
    ),
]


def number(text: str) -> float:
    """Return an option's number, as people type it; a unit behind it is refused."""
    if not isinstance(text, str):
        return text  # a default, which is a number already
    try:
        return typed_number(text)
    except ValueError as error:
        msg = f"{text!r} cannot be read: {error}. Next: write the number alone."
        raise typer.BadParameter(msg) from error


Target = Annotated[
    float | None,
    typer.Option(
        "--target-gpm",
        parser=number,
        metavar="GPM",
        help="The wanted yield, over the settings and the lots' own wishes.",
    ),
]
MaxDepth = Annotated[
    float | None,
    typer.Option(
        "--max-depth-ft",
        parser=number,
        metavar="FEET",
        help="The deepest hole to drill, over the settings and the lots.",
    ),
]


def load(settings_file: Path, sources: list[str] | None = None) -> Settings:
    """Return the settings, some sources read from other files (``NAME=FILE``)."""
    from wellrecords.settings import load_settings
    from wellrecords.sources.read import MAP_ENDINGS, TEXT_ENDINGS, WORKBOOK_ENDINGS

    of_records = (*TEXT_ENDINGS, *WORKBOOK_ENDINGS, *MAP_ENDINGS, ".zip", ".gz")
    if settings_file.suffix.lower() in of_records and settings_file.is_file():
        msg = (
            f"{settings_file} is a file of records or places, and no settings file. Next: give the region's settings, "
            "such as region.toml; they name the files of records under [[sources]]."
        )
        raise WellRecordsError(msg)
    settings = load_settings(settings_file)
    files: dict[str, str] = {}
    for pair in sources or ():
        name, equals, file = pair.partition("=")
        if not (name and equals and file):
            msg = f"--source {pair!r} is not NAME=FILE. Next: name a source of the settings, as in state=wells.csv."
            raise WellRecordsError(msg)
        files[name] = file
    return settings.with_source_files(files) if files else settings


def refreshed(settings: Settings, *, force: bool = False) -> RefreshResult:
    """Refresh the dataset, progress shown on a terminal."""
    from wellrecords.refresh import refresh as run

    with progress() as tell:
        return run(settings, tell, force=force)


def place_of(text: str, region: RegionSettings) -> tuple[float, float]:
    """Return longitude and latitude of ``LON,LAT``, a place in the region or near it."""
    try:
        longitude, latitude = (float(part) for part in text.split(","))
    except ValueError:
        msg = f"--at {text!r} is not LON,LAT in degrees. Next: write it as --at=-70.05,45.21 (west is negative)."
        raise WellRecordsError(msg) from None
    if _near(longitude, latitude, region):
        return longitude, latitude
    if max(abs(longitude), abs(latitude)) > 180:
        msg = (
            f"--at {text} is no place in degrees: it looks like metres or feet of a map's grid. "
            "Next: write it as --at=LON,LAT in degrees, as --at=-70.05,45.21."
        )
        raise WellRecordsError(msg)
    meant = _meant(longitude, latitude, region)
    hint = f"did you mean --at={meant}?" if meant else "write it as --at=LON,LAT, or correct `bounds` under [region]."
    msg = f"--at {text} is {_outside(region)}; longitude comes first, west is negative. Next: {hint}"
    raise WellRecordsError(msg)


def check_lots_near(lots: gpd.GeoDataFrame, lots_file: Path, region: RegionSettings) -> None:
    """Refuse lots that lie far from the region, all at once."""
    problems = []
    centres = lots.to_crs(WGS84).geometry.representative_point()
    for lot_id, longitude, latitude in zip(lots["lot_id"], centres.x, centres.y, strict=True):
        if not _near(longitude, latitude, region):
            meant = _meant(longitude, latitude, region)
            problems.append(
                Problem(
                    what=f"lot {lot_id} is {_outside(region)}",
                    file=str(lots_file),
                    column="geometry",
                    value=f"{longitude:g}, {latitude:g}",
                    rule="a lot lies in the region; longitude comes first, west is negative",
                    next_step=f"mend the place: {meant} was meant?"
                    if meant
                    else "mend the place, or `bounds` under [region]",
                    code="lot_outside",
                )
            )
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")


def _outside(region: RegionSettings) -> str:
    west, south, east, north = region.bounds
    return f"outside the bounds of {region.name} (longitude {west:g} to {east:g}, latitude {south:g} to {north:g})"


def _meant(longitude: float, latitude: float, region: RegionSettings) -> str | None:
    """Return the place in the region that was meant, if the numbers were swapped or lost a sign."""
    for east_first, north_second in ((latitude, longitude), (-longitude, latitude), (-latitude, longitude)):
        if _near(east_first, north_second, region):
            return f"{east_first:g},{north_second:g}"
    return None


def _near(longitude: float, latitude: float, region: RegionSettings) -> bool:
    west, south, east, north = region.bounds
    return west - NEAR_DEG <= longitude <= east + NEAR_DEG and south - NEAR_DEG <= latitude <= north + NEAR_DEG
