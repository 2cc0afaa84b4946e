"""Layouts: what the columns of one source mean, as data.

A layout is a TOML file. It says under which names a source keeps each
canonical column, in which unit, what its codes mean, and what zero and blank
stand for. No source needs code of its own. `load_layout` reads one, checks
it whole, and names every fault at once.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.readings import WORD_MEANINGS, Kind
from wellrecords.schema import (
    DRILLING_METHODS,
    POSITION_METHODS,
    RECORD_KINDS,
    WELL_USES,
    YIELD_METHODS,
)
from wellrecords.units import FEET_PER, GPM_PER, known_unit

SHIPPED = Path(__file__).parent / "layouts"

READING_KINDS: dict[str, Kind] = {
    "total_depth_ft": "depth",
    "casing_depth_ft": "depth",
    "casing_diameter_in": "diameter",
    "screen_top_ft": "depth",
    "screen_bottom_ft": "depth",
    "land_elevation_ft": "elevation",
    "depth_to_bedrock_ft": "bedrock",
    "depth_to_water_ft": "water",
    "yield_gpm": "yield",
}
"""Columns that are readings, and what each measures."""

CODE_SETS: dict[str, tuple[str, ...]] = {
    "record_kind": RECORD_KINDS,
    "well_use": WELL_USES,
    "drilling_method": DRILLING_METHODS,
    "yield_method": YIELD_METHODS,
    "hydrofractured": ("yes", "no"),
}
"""Columns that are codes, and the canonical codes of each."""

TEXT_COLUMNS = ("source_record_id", "main_rock", "permit", "owner", "address")
"""Columns that are taken as written; the last three serve matching only and are never stored."""


class Rules(BaseModel):
    """What every part of a layout keeps to: fixed once read, and no unknown names."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


def tidy_name(name: str) -> str:
    """Return a column's name as it is compared: letters and digits, lower case.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> tidy_name("Total Depth (ft.)") == tidy_name("total_depth_FT")
    True
    """
    return " ".join(re.findall(r"[^\W_]+", name.casefold()))


def tidy_code(text: str) -> str:
    """Return a code as it is compared: lower case, single blanks, none around it."""
    return " ".join(text.casefold().split())


def _names(value: object) -> object:
    return (value,) if isinstance(value, str) else value


class Columns(Rules):
    """Where a canonical column stands in the file.

    Parameters
    ----------
    from : tuple of str
        Names that the file may give it. Where several are there, the first
        one that is not blank counts, row by row.
    optional : bool
        Whether the file may lack all of them.
    """

    from_: tuple[str, ...] = Field(alias="from", min_length=1)
    optional: bool = False

    @model_validator(mode="before")
    @classmethod
    def _one_name_is_enough(cls, data: object) -> object:
        if isinstance(data, dict):
            return {key: _names(value) if key in ("from", "from_") else value for key, value in data.items()}
        return data


class ReadingRules(Columns):
    """A column of readings.

    Parameters
    ----------
    unit : str
        The unit of the whole column, or where the unit's own column is blank.
    unit_from : tuple of str
        Columns that name the unit row by row.
    units : dict of str to str
        What that column's spellings mean, beside those known anyway.
    zero : {"value", "unknown", "dry", "flowing", "hold_back"}, optional
        What 0 means. A file that holds zeros where the layout does not say
        what they mean is refused.
    blank : {"unknown", "not_reached", "dry"}
        What an empty cell means.
    missing : tuple of str
        Texts that stand for "unknown" (-99999, 999).
    words : dict of str to str
        What words of this file mean: "dry", "trace", "flowing",
        "not_reached" or "unknown".
    mark_from, marks
        A column of marks beside the figure, and what each mark means: "<",
        ">", "~", a word as above, or "" for nothing.
    at_least_methods : tuple of str
        For a yield: the yield methods of which the source says that the well
        may make more than the figure (a test pumped at one rate).
    unreadable : {"hold_back", "unknown"}
        What becomes of a row whose text cannot be read.
    """

    unit: str | None = None
    unit_from: tuple[str, ...] = ()
    units: dict[str, str] = {}
    zero: Literal["value", "unknown", "dry", "flowing", "hold_back"] | None = None
    blank: Literal["unknown", "not_reached", "dry"] = "unknown"
    missing: tuple[str, ...] = ()
    words: dict[str, str] = {}
    mark_from: tuple[str, ...] = ()
    marks: dict[str, str] = {}
    at_least_methods: tuple[str, ...] = ()
    unreadable: Literal["hold_back", "unknown"] = "hold_back"

    @model_validator(mode="after")
    def _known_words(self) -> ReadingRules:
        for word, meaning in self.words.items():
            if meaning not in WORD_MEANINGS:
                msg = f"word {word!r} means {meaning!r}; it can mean {', '.join(WORD_MEANINGS)}"
                raise ValueError(msg)
        for mark, meaning in self.marks.items():
            if meaning not in ("<", ">", "~", "", *WORD_MEANINGS):
                msg = f"mark {mark!r} means {meaning!r}; it can mean <, >, ~, nothing, or {', '.join(WORD_MEANINGS)}"
                raise ValueError(msg)
        for spelling, unit in (*self.units.items(), *(("unit", u) for u in [self.unit] if u is not None)):
            if known_unit(unit) is None:
                msg = f"{spelling!r}: {unit!r} is no known unit; known: {', '.join([*FEET_PER, *GPM_PER])}"
                raise ValueError(msg)
        return self


class DateRules(Rules):
    """The date of drilling, from one column or from year, month and day.

    Parameters
    ----------
    from, year, month, day : tuple of str
        Column names: `from`, or `year` with or without the others.
    formats : tuple of str
        How dates are written, as for `datetime.strptime`. They are tried in order.
    mend_formats : tuple of str
        Ways of writing that are mistakes here and are recorded ("%d%m%Y" in
        a year's column); "spreadsheet_days" reads the day count of a spreadsheet.
    missing : tuple of str
        Dummy dates ("01/01/1900").
    unreadable : {"unknown", "hold_back"}
        What becomes of a date that no format reads.
    """

    from_: tuple[str, ...] = Field(default=(), alias="from")
    year: tuple[str, ...] = ()
    month: tuple[str, ...] = ()
    day: tuple[str, ...] = ()
    formats: tuple[str, ...] = ("%Y-%m-%d",)
    mend_formats: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    optional: bool = False
    unreadable: Literal["hold_back", "unknown"] = "unknown"

    @model_validator(mode="after")
    def _one_way(self) -> DateRules:
        if bool(self.from_) == bool(self.year):
            msg = "a date stands either in one column (from) or in year, month and day"
            raise ValueError(msg)
        return self


class CodeRules(Columns):
    """A column of codes.

    The three sets must not overlap, and every code of a file must be in one
    of them: a spelling that nobody has classified stops the run.

    Parameters
    ----------
    canonical : dict of str to tuple of str
        Canonical code -> the spellings that the source itself defines.
    mend : dict of str to str
        Misspelling -> canonical code; each use is recorded.
    ignore : tuple of str
        Spellings that say nothing; each use is recorded.
    hold_back : tuple of str
        Spellings whose rows are no wells for this dataset.

        A spelling that ends in ``*`` stands for all that begin so.
    blank : str, optional
        The code of an empty cell; by default "unknown", "new" for a record's
        kind, and null for `hydrofractured`.
    """

    canonical: dict[str, tuple[str, ...]] = {}
    mend: dict[str, str] = {}
    ignore: tuple[str, ...] = ()
    hold_back: tuple[str, ...] = ()
    blank: str | None = None

    @model_validator(mode="after")
    def _disjoint(self) -> CodeRules:
        seen: dict[str, str] = {}
        for spelling, place in self.classified():
            code = tidy_code(spelling)
            if code in seen:
                msg = f"{spelling!r} is classified twice: in {seen[code]} and in {place}"
                raise ValueError(msg)
            seen[code] = place
        stems = [code.removesuffix("*") for code in seen if code.endswith("*") and code != "*"]
        for stem in stems:
            if any(other != stem and other.startswith(stem) for other in stems):
                msg = f"two spellings with * overlap: {stem + '*'!r} covers the other"
                raise ValueError(msg)
        return self

    def place_of(self, text: str) -> tuple[str, str]:
        """Return the set in which a text is classified ("" where in none), and the canonical code it leads to ("").

        A spelling that ends in ``*`` stands for every text that begins so and
        is not listed itself; ``*`` alone for whatever is left.
        """
        code = tidy_code(text)
        places = {tidy_code(spelling): place for spelling, place in self.classified()}
        if code not in places:
            stems = [s for s in places if s.endswith("*") and code.startswith(s.removesuffix("*"))]
            code = max(stems, key=len, default="")
        place = places.get(code, "")
        if place == "mend":
            return place, next(target for spelling, target in self.mend.items() if tidy_code(spelling) == code)
        return place.partition(".")[0], place.partition(".")[2]

    def classified(self) -> Iterator[tuple[str, str]]:
        """Yield each spelling and the set that it stands in."""
        for code, spellings in self.canonical.items():
            for spelling in spellings:
                yield spelling, f"canonical.{code}"
        for spelling in self.mend:
            yield spelling, "mend"
        for spelling in self.ignore:
            yield spelling, "ignore"
        for spelling in self.hold_back:
            yield spelling, "hold_back"

    def targets(self) -> set[str]:
        """Return every canonical code that the rules lead to."""
        return {*self.canonical, *self.mend.values(), *([self.blank] if self.blank else [])}


class PositionRules(Rules):
    """One way in which a source says where a well stands.

    A layout may list several; the first that gives a place counts, row by row.

    Parameters
    ----------
    kind : {"degrees", "projected", "utm", "geometry", "land_grid", "parcel"}
        `degrees`: `x` longitude, `y` latitude, in any notation; `projected`:
        easting and northing in `crs`; `utm`: with `zone`; `geometry`: the
        file's own points; `land_grid`: section, township and range by the
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
    datum: Literal["WGS84", "NAD83", "NAD27"] = "WGS84"
    datum_from: tuple[str, ...] = ()
    datums: dict[str, Literal["WGS84", "NAD83", "NAD27"]] = {}
    unsigned_longitude: Literal["repair", "west"] = "repair"
    township: tuple[str, ...] = ()
    range: tuple[str, ...] = ()
    section: tuple[str, ...] = ()
    quarter: tuple[str, ...] = ()
    meridian: tuple[str, ...] = ()
    meridians: dict[str, str] = {}
    parcel: tuple[str, ...] = ()
    method: str = "unknown"
    method_codes: CodeRules | None = None
    error_m: float | None = Field(default=None, ge=0.0)
    error_from: tuple[str, ...] = ()
    error_codes: dict[str, float] = {}
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
        methods = {self.method, *(self.method_codes.targets() if self.method_codes else ())}
        if not methods <= set(POSITION_METHODS):
            msg = (
                f"{sorted(methods - set(POSITION_METHODS))} is no position method; known: {', '.join(POSITION_METHODS)}"
            )
            raise ValueError(msg)
        return self

    def column_lists(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield each role and the names of its column."""
        for role in ("x", "y", "pair", "zone", "datum_from", "township", "range", "section", "quarter", "meridian"):
            if names := getattr(self, role):
                yield role, names
        if self.parcel:
            yield "parcel", self.parcel
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
    text: Annotated[dict[str, Columns], _known_columns(TEXT_COLUMNS)] = {}
    readings: Annotated[dict[str, ReadingRules], _known_columns(READING_KINDS)] = {}
    dates: Annotated[dict[str, DateRules], _known_columns(("drilled_on",))] = {}
    codes: Annotated[dict[str, CodeRules], _known_columns(CODE_SETS)] = {}
    fixed: Annotated[dict[str, str], _known_columns(CODE_SETS)] = {}
    positions: tuple[PositionRules, ...] = Field(min_length=1)
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
    try:
        return Layout.model_validate(data)
    except ValidationError as error:
        problems = [
            Problem(
                what=str(fault["msg"]).removeprefix("Value error, "),
                rule="a layout has only the entries that its description names",
                next_step="mend the layout",
                file=name,
                column=".".join(str(part) for part in fault["loc"]) or None,
                value=None if isinstance(fault["input"], (dict, list)) else str(fault["input"]),
                code="layout",
            )
            for fault in error.errors()
        ]
        raise ProblemsError(problems, "The layout cannot be used") from error
