"""The settings of a region: one TOML file, checked when it is loaded.

Paths in the file are relative to the file itself, so that a run does not
depend on the folder in which it is started. Tables that belong to rooms
further to the right (``[estimate]``, ``[bid]``, ...) are kept as they stand
and checked by the room's own model: ``settings.part("bid", BidSettings)``.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError

from wellrecords.checked import Model, checked, read_toml
from wellrecords.cleaning.rules import CleaningSettings
from wellrecords.errors import WellRecordsError
from wellrecords.matching import MatchingSettings

_PATH_KEYS = {
    "file",
    "terrain",
    "outline",
    "sections",
    "parcels",
    "store",
    "reports",
    "mended",
    "rules",
    "vocabulary",
    "price_book",
    "setbacks",
    "site_plans",
    "estimates",
}
"""Keys whose text values are paths, in whichever table they stand."""
_PATH_TABLES = {"context"}
"""Tables whose every text value is a path."""


class RegionSettings(BaseModel):
    """The table ``[region]``.

    Parameters
    ----------
    name : str
        For titles and messages.
    crs : str
        A projected system in metres, such as "EPSG:26919"; distances are
        taken in it.
    bounds : (west, south, east, north)
        Degrees WGS84; a record outside is held back.
    outline : path, optional
        A layer of polygons, the region's land; a record off it (in the sea,
        over the border) is held back.
    terrain : path, optional
        A GeoTIFF of land elevation, used where a record has none.
    sections, parcels : path, optional
        Layers by which a section, township and range, or a parcel number,
        becomes a place.
    store, reports : path
        Folders that the runs write.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    bounds: tuple[float, float, float, float]
    crs: str
    outline: Path | None = None
    terrain: Path | None = None
    sections: Path | None = None
    parcels: Path | None = None
    store: Path
    reports: Path = Path("reports")

    @field_validator("crs")
    @classmethod
    def _projected_metres(cls, value: str, info: ValidationInfo) -> str:
        try:
            crs = CRS.from_user_input(value)
        except CRSError:
            wrong = "a coordinate system that PROJ knows"
        else:
            if crs.is_projected and all(axis.unit_name == "metre" for axis in crs.axis_info[:2]):
                return value
            wrong = "a projected system in metres"
        fits = _utm_of(info.data.get("bounds"))
        suggestion = f"; the UTM zone of the bounds is {fits!r}" if fits else ""
        msg = f"{value!r} is not {wrong}{suggestion}"
        raise ValueError(msg)

    @field_validator("bounds")
    @classmethod
    def _ordered(cls, value: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        west, south, east, north = value
        if not (-180 <= west < east <= 180 and -90 <= south < north <= 90):
            msg = f"bounds are west, south, east, north in degrees with west < east and south < north, not {value}"
            raise ValueError(msg)
        return value


def _utm_of(bounds: tuple[float, float, float, float] | None) -> str | None:
    """Return the code of the UTM zone in which the middle of some bounds lies, on NAD83 where that has one.

    >>> _utm_of((-78.26, 38.58, -78.09, 38.74)), _utm_of((10.0, 46.0, 11.0, 47.0))
    ('EPSG:26917', 'EPSG:32632')
    """
    if bounds is None:
        return None
    west, south, east, north = bounds
    middle = AreaOfInterest((west + east) / 2.0, (south + north) / 2.0, (west + east) / 2.0, (south + north) / 2.0)
    for datum in ("NAD83", "WGS 84"):
        found = query_utm_crs_info(datum_name=datum, area_of_interest=middle)
        if found:
            return f"{found[0].auth_name}:{found[0].code}"
    return None


class SourceSettings(BaseModel):
    """One table ``[[sources]]``.

    Parameters
    ----------
    file : path
        The file of records.
    layout : str
        A shipped layout's name, or the path of a layout file.
    name : str, optional
        Names the source in the dataset; the layout's name by default.
    private : bool, optional
        True for the firm's own records; by default what the layout says.
    distinct : bool, default=False
        True where the source is known to hold each well once, such as a
        dataset that was matched before: its rows are never merged with each
        other. What told them apart then (permits, owners) may be gone by now.
    mended : path, optional
        The held-back rows of this source, mended by hand.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    file: Path
    layout: str
    name: str | None = None
    private: bool | None = None
    distinct: bool = False
    mended: Path | None = None


class Settings(BaseModel):
    """Everything that one region's runs need to know.

    The tables `lots`, `estimate`, `demand`, `siting`, `construction`,
    `water_system`, `bid`, `outcomes` and `report` stay mappings here; `part`
    turns one into its room's model.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    settings_file: Path
    region: RegionSettings
    sources: tuple[SourceSettings, ...] = Field(min_length=1)
    cleaning: CleaningSettings = CleaningSettings()
    matching: MatchingSettings = MatchingSettings()
    lots: dict[str, Any] = {}
    estimate: dict[str, Any] = {}
    demand: dict[str, Any] = {}
    siting: dict[str, Any] = {}
    construction: dict[str, Any] = {}
    water_system: dict[str, Any] = {}
    bid: dict[str, Any] = {}
    outcomes: dict[str, Any] = {}
    report: dict[str, Any] = {}

    @model_validator(mode="after")
    def _sources_differ(self) -> Settings:
        files = [source.file for source in self.sources]
        twice = sorted({str(file) for file in files if files.count(file) > 1})
        if twice:
            msg = f"the file {', '.join(twice)} is listed twice; each source needs its own file"
            raise ValueError(msg)
        return self

    def part(self, table: str, model: type[Model]) -> Model:
        """Return one of the mapping tables as a checked settings object.

        Parameters
        ----------
        table : str
            Such as "lots" or "bid": any of the mappings.
        model : type of pydantic.BaseModel
            The model of the room that uses it.

        Raises
        ------
        ProblemsError
            One problem a wrong key, with file and key.
        """
        return checked(model, getattr(self, table), self.settings_file, (table,))

    def with_source_files(self, files: Mapping[str, str | Path]) -> Settings:
        """Return the settings with other files for some sources.

        Parameters
        ----------
        files : mapping of str to path
            Source (its `name`, the name that its layout gives it, its
            `layout` or the file's present name) -> the file to read instead,
            relative to the working directory.

        Raises
        ------
        WellRecordsError
            If a name fits no source or more than one.
        """
        sources = list(self.sources)
        shown = [_shown_name(source) for source in self.sources]
        for name, file in files.items():
            fits = [
                place
                for place, source in enumerate(self.sources)
                if name in (shown[place], source.layout, Path(source.layout).stem, source.file.name)
            ]
            if len(fits) != 1:
                known = ", ".join(shown)
                found = f"{len(fits)} sources" if fits else "no source"
                msg = f"{name!r} names {found} of {self.settings_file}. Sources: {known}. Next: name one of these."
                raise WellRecordsError(msg)
            sources[fits[0]] = sources[fits[0]].model_copy(update={"file": Path(file).resolve()})
        return self.model_copy(update={"sources": tuple(sources)})


def _shown_name(source: SourceSettings) -> str:
    """Return the name by which a source is shown: its own, else the one in its layout where that can be read."""
    from wellrecords.sources import load_layout

    if source.name:
        return source.name
    try:
        return load_layout(source.layout).name
    except WellRecordsError:
        return source.layout


def load_settings(path: str | Path) -> Settings:
    """Read and check a region's settings.

    Parameters
    ----------
    path : path
        A TOML file such as ``pipelines/sample_region.toml``.

    Returns
    -------
    Settings
        Frozen; every path in it is absolute.

    Raises
    ------
    WellRecordsError
        If the file is absent or is not TOML (the message gives the line).
    ProblemsError
        One problem a wrong key, with file and key.
    """
    path = Path(path)
    raw = read_toml(path, "settings file", "name one, such as pipelines/sample_region.toml")
    if "settings_file" in raw:
        msg = f"The settings file {path} has the key 'settings_file', which is not a setting. Next: remove it."
        raise WellRecordsError(msg)
    resolved = _with_absolute_paths(raw, path.resolve().parent)
    return checked(Settings, {**resolved, "settings_file": path.resolve()}, path)


def _with_absolute_paths(value: Any, folder: Path, key: str = "", table: str = "") -> Any:
    """Return the raw settings with their paths taken from the settings file's folder."""
    if isinstance(value, dict):
        return {name: _with_absolute_paths(inner, folder, name, key) for name, inner in value.items()}
    if isinstance(value, list):
        return [_with_absolute_paths(inner, folder, key, table) for inner in value]
    if isinstance(value, str) and value:
        # A layout is a path only where it says so: a bare word names a shipped one.
        is_layout_path = key == "layout" and (value.endswith(".toml") or "/" in value)
        if key in _PATH_KEYS or is_layout_path or table in _PATH_TABLES:
            return str((folder / Path(value).expanduser()).resolve())
    return value
