"""Layouts: what the columns of one source mean, as data.

A layout is a TOML file. It says under which names a source keeps each
canonical column, in which unit, what its codes mean, and what zero and blank
stand for. No source needs code of its own. `load_layout` reads one, checks
it whole, and names every fault at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from wellrecords.checked import checked
from wellrecords.errors import WellRecordsError
from wellrecords.places import utm_crs
from wellrecords.schema import POSITION_METHODS, YIELD_METHODS
from wellrecords.sources.column_rules import (
    CODE_SETS,
    READING_KINDS,
    TEXT_COLUMNS,
    CodeRules,
    Columns,
    DateRules,
    ReadingRules,
    Rules,
    tidy_name,
)
from wellrecords.units import FEET_PER, GPM_PER, known_unit

SHIPPED = Path(__file__).parent / "layouts"


Datum = Literal["WGS84", "NAD83", "NAD27"]
DATUMS = get_args(Datum)


def _said_datum(datum: object) -> object:
    if datum == "SAY":
        msg = f"the draft left the datum open, and nothing in the file tells it; say it: {', '.join(DATUMS)}"
        raise ValueError(msg)
    return datum


PLACE_FORM = (
    "where the wells stand, as a table [[positions]] with the lines "
    'kind = "degrees", x = ["the column of longitudes"], y = ["the column of latitudes"], datum = "WGS84"'
)
"""How places are said, for a layout that says none."""


class PositionRules(Rules):
    """One way in which a source says where a well stands.

    A layout may list several; the first that gives a place counts, row by row.

    Parameters
    ----------
    kind : {"degrees", "projected", "utm", "geometry", "land_grid", "parcel"}
        `degrees`: `x` longitude, `y` latitude, in any notation; `projected`:
        easting and northing in `crs`; `utm`: with `zone`; `geometry`: the
        file's own points, in `crs` where it does not say its own; `land_grid`: section, township and range by the
        user's section layer; `parcel`: by the user's parcel layer.
    x, y : tuple of str
        Columns of longitude and latitude, or of easting and northing.
    pair : tuple of str
        A column that holds latitude and longitude in one text, in that order.
    datum : {"WGS84", "NAD83", "NAD27"}
        Where the column `datum_from` is blank or not given.
    datums : dict of str to str
        What spellings of that column mean, beside the three names.
    unsigned_longitude : {"repair", "west"}
        "west": every longitude is west though written without a sign (a rule
        of the source). "repair": mend single ones that fall outside the region.
    township, range, section, quarter, meridian, parcel : tuple of str
        Columns of the land description. A quarter call names the smallest part first.
    township_side, range_side : tuple of str
        Columns of north or south, east or west, where the numbers stand without them.
    meridians : dict of str to str
        Spelling of a meridian in the file -> its name in the section layer.
    method : str
        Position method where no column says it.
    method_codes : CodeRules, optional
        The column of the method and its codes.
    error_m : float, optional
        Typical error where no column says it; by default that of the method.
    error_codes : dict of str to float
        Spelling of the accuracy column (`error_from`) -> metres.
    """

    kind: Literal["degrees", "projected", "utm", "geometry", "land_grid", "parcel"]
    x: tuple[str, ...] = ()
    y: tuple[str, ...] = ()
    pair: tuple[str, ...] = ()
    zone: tuple[str, ...] = ()
    fixed_zone: str | None = None
    crs: str | None = None
    datum: Annotated[Datum, BeforeValidator(_said_datum)] = "WGS84"
    datum_from: tuple[str, ...] = ()
    datums: dict[str, Datum] = Field(default_factory=dict)
    unsigned_longitude: Literal["repair", "west"] = "repair"
    township: tuple[str, ...] = ()
    range: tuple[str, ...] = ()
    township_side: tuple[str, ...] = ()
    range_side: tuple[str, ...] = ()
    section: tuple[str, ...] = ()
    quarter: tuple[str, ...] = ()
    meridian: tuple[str, ...] = ()
    meridians: dict[str, str] = Field(default_factory=dict)
    parcel: tuple[str, ...] = ()
    method: str = "unknown"
    method_codes: CodeRules | None = None
    error_m: float | None = Field(default=None, ge=0.0)
    error_from: tuple[str, ...] = ()
    error_codes: dict[str, float] = Field(default_factory=dict)
    optional: bool = False

    @model_validator(mode="after")
    def _complete(self) -> PositionRules:
        needs = {
            "degrees": bool(self.pair) or bool(self.x and self.y),
            "projected": bool(self.x and self.y and self.crs),
            "utm": bool(self.x and self.y and (self.zone or self.fixed_zone)),
            "geometry": True,
            "land_grid": bool(self.township and self.range and self.section),
            "parcel": bool(self.parcel),
        }
        if not needs[self.kind]:
            msg = f"a position of kind {self.kind!r} lacks columns (see the description of positions)"
            raise ValueError(msg)
        if self.fixed_zone is not None and utm_crs(self.fixed_zone, self.datum) is None:
            msg = f"fixed_zone {self.fixed_zone!r} is no UTM zone; say it, such as 19 or 19N"
            raise ValueError(msg)
        methods = {self.method, *(self.method_codes.targets() if self.method_codes else ())}
        if not methods <= set(POSITION_METHODS):
            msg = (
                f"{sorted(methods - set(POSITION_METHODS))} is no position method; known: {', '.join(POSITION_METHODS)}"
            )
            raise ValueError(msg)
        return self

    def column_lists(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield each role and the names of its column."""
        for role in (
            *("x", "y", "pair", "zone", "datum_from", "township", "range", "township_side", "range_side"),
            *("section", "quarter", "meridian", "parcel"),
        ):
            if names := getattr(self, role):
                yield role, names
        if self.method_codes:
            yield "method", self.method_codes.from_
        if self.error_from:
            yield "error_from", self.error_from


class PartRules(Rules):
    """Layers or water zones: in a free-text column, or in a companion file.

    Parameters
    ----------
    text_from : tuple of str
        A column such as "0-12 brn clay; 12-305 gry granite", or for zones
        "120' 2gpm, 210' 4 gpm".
    file : str
        A companion file's name, beside the source's file; ``{stem}`` stands for
        the name of that file without its ending.
    key : tuple of str
        In the companion file: the column that holds the `source_record_id`.
    top, bottom, material : tuple of str
        In the companion file, for layers.
    depth, amount : tuple of str
        In the companion file, for water zones.
    unit, flow_unit : str
        Units of depths, and of a zone's yield.
    """

    text_from: tuple[str, ...] = ()
    file: str | None = None
    key: tuple[str, ...] = ()
    top: tuple[str, ...] = ()
    bottom: tuple[str, ...] = ()
    material: tuple[str, ...] = ()
    depth: tuple[str, ...] = ()
    amount: tuple[str, ...] = ()
    unit: str = "ft"
    flow_unit: str = "gpm"
    optional: bool = False

    def companion_of(self, path: Path) -> Path | None:
        """Return the companion file of a source's file, None where the parts stand in a text column."""
        return None if self.file is None else path.with_name(self.file.format(stem=path.name.split(".")[0]))

    @model_validator(mode="after")
    def _one_place(self) -> PartRules:
        if bool(self.text_from) == bool(self.file):
            msg = "layers and water zones stand either in a text column (text_from) or in a companion file (file)"
            raise ValueError(msg)
        return self


class FileRules(Rules):
    """How the file is laid out, where that cannot be seen from the file itself.

    Parameters
    ----------
    encoding, delimiter : str
        "auto" finds them out.
    decimal : {".", ","}
    sheets : tuple of str
        Sheets of a workbook to be read; none: every sheet with the columns.
    header_rows : {1, 2}
        How many rows the column names fill.
    layer : str, optional
        Layer of a GeoPackage.
    """

    encoding: str = "auto"
    delimiter: str = "auto"
    decimal: Literal[".", ","] = "."
    sheets: tuple[str, ...] = ()
    header_rows: Literal[1, 2] = 1
    layer: str | None = None


def _known_columns(allowed: Mapping[str, object] | tuple[str, ...]) -> AfterValidator:
    def check(value: dict[str, object]) -> dict[str, object]:
        unknown = sorted(set(value) - set(allowed))
        if unknown:
            msg = f"{', '.join(unknown)} cannot stand here; known: {', '.join(allowed)}"
            raise ValueError(msg)
        return value

    return AfterValidator(check)


def _with_what_is_measured(value: object) -> object:
    """Tell each reading's rules what they measure: only so can its own check name the units that fit."""
    if not isinstance(value, dict):
        return value
    return {
        column: {**rules, "measures": READING_KINDS[column]}
        if isinstance(rules, dict) and column in READING_KINDS
        else rules
        for column, rules in value.items()
    }


class Layout(Rules):
    """What the columns of one source mean.

    Parameters
    ----------
    name : str
        Lower-case letters, digits and underscores: stands in the column `source`.
    description : str
    private : bool
        True where the source is the firm's own; the region's settings may override it.
    file : FileRules
    text, readings, dates, codes : dict
        Canonical column -> rules.
    fixed : dict of str to str
        Canonical code columns that are the same for the whole file.
    positions : tuple of PositionRules
    layers, water_zones : PartRules, optional
    not_used : tuple of str
        Columns of the file that are known and left out.
    """

    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    description: str = ""
    private: bool = False
    file: FileRules = FileRules()
    text: Annotated[dict[str, Columns], _known_columns(TEXT_COLUMNS)] = Field(default_factory=dict)
    readings: Annotated[
        dict[str, ReadingRules], _known_columns(READING_KINDS), BeforeValidator(_with_what_is_measured)
    ] = Field(default_factory=dict)
    dates: Annotated[dict[str, DateRules], _known_columns(("drilled_on",))] = Field(default_factory=dict)
    codes: Annotated[dict[str, CodeRules], _known_columns(CODE_SETS)] = Field(default_factory=dict)
    fixed: Annotated[dict[str, str], _known_columns(CODE_SETS)] = Field(default_factory=dict)
    positions: tuple[PositionRules, ...] = Field(min_length=1, description=PLACE_FORM)
    layers: PartRules | None = None
    water_zones: PartRules | None = None
    not_used: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _codes_lead_to_canonical_ones(self) -> Layout:
        for column, rules in self.codes.items():
            unknown = rules.targets() - set(CODE_SETS[column])
            if unknown:
                known = ", ".join(CODE_SETS[column])
                msg = f"codes.{column}: {', '.join(sorted(unknown))} is not canonical; known: {known}"
                raise ValueError(msg)
        for column, code in self.fixed.items():
            if code not in CODE_SETS[column]:
                msg = f"fixed.{column}: {code!r} is not canonical; known: {', '.join(CODE_SETS[column])}"
                raise ValueError(msg)
        return self

    @model_validator(mode="after")
    def _units_measure_the_right_thing(self) -> Layout:
        for column, rules in self.readings.items():
            factors = GPM_PER if READING_KINDS[column] == "yield" else FEET_PER
            for unit in (*rules.units.values(), *([rules.unit] if rules.unit else [])):
                if known_unit(unit) not in factors:
                    msg = f"readings.{column}: {unit!r} does not measure it; known: {', '.join(factors)}"
                    raise ValueError(msg)
            if rules.at_least_methods and (column != "yield_gpm" or set(rules.at_least_methods) - set(YIELD_METHODS)):
                msg = f"readings.{column}.at_least_methods: for yield_gpm only, among {', '.join(YIELD_METHODS)}"
                raise ValueError(msg)
        return self

    def column_lists(self) -> Iterator[tuple[str, tuple[str, ...], bool]]:
        """Yield (what for, names that the file may use, whether the file may lack them)."""
        for column, rules in (*self.text.items(), *self.readings.items(), *self.codes.items()):
            yield column, rules.from_, rules.optional
        for column, reading in self.readings.items():
            if reading.unit_from:
                yield f"{column}, unit", reading.unit_from, reading.unit is not None
            if reading.mark_from:
                yield f"{column}, mark", reading.mark_from, reading.optional
        for column, dates in self.dates.items():
            for part, names in (
                ("", dates.from_),
                (", year", dates.year),
                (", month", dates.month),
                (", day", dates.day),
            ):
                if names:
                    yield column + part, names, dates.optional
        for position in self.positions:
            for role, names in position.column_lists():
                yield f"position, {role}", names, position.optional or position.kind == "geometry"
        for column, parts in (("layers", self.layers), ("water_zones", self.water_zones)):
            if parts and parts.text_from:
                yield column, parts.text_from, parts.optional

    def known_names(self) -> set[str]:
        """Return every column name that the layout knows, tidied."""
        names = {tidy_name(name) for _, group, _ in self.column_lists() for name in group}
        return names | {tidy_name(name) for name in self.not_used}


def shipped_layouts() -> tuple[str, ...]:
    """Return the names of the layouts that come with the package."""
    return tuple(sorted(path.stem for path in SHIPPED.glob("*.toml")))


def load_layout(path_or_name: str | Path) -> Layout:
    """Read a layout and check it whole.

    Parameters
    ----------
    path_or_name : str or Path
        A TOML file, or the name of a layout that comes with the package.

    Returns
    -------
    Layout

    Raises
    ------
    WellRecordsError
        Where there is no such layout, or it is no TOML.
    ProblemsError
        With one problem a fault in it.
    """
    path = Path(path_or_name)
    if not path.suffix and (SHIPPED / f"{path}.toml").exists():
        path = SHIPPED / f"{path}.toml"
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        msg = (
            f"The layout {str(path_or_name)!r} cannot be read ({error.__class__.__name__}). "
            f"Give a TOML file, or one that comes with the package: {', '.join(shipped_layouts())}."
        )
        raise WellRecordsError(msg) from error
    return parse_layout(text, path.name)


def parse_layout(text: str, name: str = "layout") -> Layout:
    """Return a layout from its TOML text; see `load_layout` for the errors."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        msg = f"{name} is no valid TOML: {error}."
        raise WellRecordsError(msg) from error
    return checked(Layout, data, name, heading="The layout cannot be used", code="layout")
