"""Rules of a layout for one column each: text, readings, dates, codes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wellrecords.readings import WORD_MEANINGS, Kind
from wellrecords.schema import DRILLING_METHODS, RECORD_KINDS, WELL_USES, YIELD_METHODS
from wellrecords.units import FEET_PER, GPM_PER, known_unit

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
    measures : str, optional
        What the column measures; the layout fills it in, so that a wrong unit is refused with those that fit.
    """

    measures: Kind | None = None
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
        choices = unit_choices(self.measures)
        for spelling, unit in (*self.units.items(), *(("unit", u) for u in [self.unit] if u is not None)):
            if unit == "SAY":
                msg = f"the draft left the unit open; say it: {choices}"
                raise ValueError(msg)
            if known_unit(unit) is None:
                msg = f"{spelling!r}: {unit!r} is no known unit; known: {choices}"
                raise ValueError(msg)
            if self.measures and known_unit(unit) not in (GPM_PER if self.measures == "yield" else FEET_PER):
                msg = f"{unit!r} does not measure it; known: {choices}"
                raise ValueError(msg)
        return self


def usual_units(measures: Kind) -> tuple[str, ...]:
    """Return the units in which a kind of reading is written nearly always, the most usual one first."""
    return {"yield": ("gpm", "L/s", "L/min", "m3/h"), "diameter": ("in", "mm", "cm")}.get(measures, ("ft", "m", "in"))


def unit_choices(measures: Kind | None) -> str:
    """Return the units that fit a kind of reading, the usual ones first.

    >>> unit_choices("yield").split(", ")[:4], unit_choices("bedrock").split(", ")[:3]
    (['gpm', 'L/s', 'L/min', 'm3/h'], ['ft', 'm', 'in'])
    """
    if measures is None:
        return f"{unit_choices('depth')} for a length; {unit_choices('yield')} for a yield"
    factors = GPM_PER if measures == "yield" else FEET_PER
    usual = usual_units(measures)
    return ", ".join((*usual, *(unit for unit in factors if unit not in usual)))


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
