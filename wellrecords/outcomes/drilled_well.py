"""One drilled well, as the office files it: its fields, what each may hold, and their faults in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic_core import PydanticCustomError

from wellrecords.checked import rule_of
from wellrecords.errors import Problem, ProblemsError
from wellrecords.readings import Kind, Reading, parse_reading
from wellrecords.schema import DRILLING_METHODS, POSITION_METHODS, RECORD_KINDS, WELL_USES, YIELD_METHODS
from wellrecords.typed_dates import typed_date
from wellrecords.typed_numbers import DOLLARS, FEET, INCHES, typed_number

READING_KINDS: dict[str, Kind] = {
    "depth_to_bedrock_ft": "bedrock",
    "depth_to_water_ft": "water",
    "yield_gpm": "yield",
}
READING_WORDS: dict[str, dict[str, str]] = {"depth_to_bedrock_ft": {"none": "not_reached"}}
"""What a word means that the rules for all records leave open: in the firm's own log no rock is rock not reached."""
NUMBER_UNITS: dict[str, tuple[str, ...]] = {
    "longitude": (),
    "latitude": (),
    "total_depth_ft": FEET,
    "casing_depth_ft": FEET,
    "casing_diameter_in": INCHES,
    "cost_usd": DOLLARS,
    "billed_usd": DOLLARS,
}
"""The numbers of a well, and how their own units are written, which may stand behind them."""
_EARLIEST = date(1850, 1, 1)


def _fault_of(rule: str, column: str, value: str) -> PydanticCustomError:
    """Return a fault of two fields together that names the one to mend."""
    return PydanticCustomError("fields_differ", "{rule}", {"rule": rule, "column": column, "value": value})


class DrilledWell(BaseModel):
    """One drilled well, as the office files it.

    Readings are texts, written as in a log: ``42``, ``>305``, ``not reached``,
    ``flowing``, ``<0.5``, ``dry``; blank where it was not measured.

    Parameters
    ----------
    well_id : str
        The firm's own number; unique in the log.
    lot_id : str
        Ties the well to its estimate; blank where none was made.
    drilled_on : date
    longitude, latitude : float
        WGS84 degrees, west and south negative.
    position_method, well_use, record_kind, yield_method, drilling_method : str
        Codes of the canonical table.
    total_depth_ft, casing_depth_ft, casing_diameter_in : float
    depth_to_bedrock_ft, depth_to_water_ft, yield_gpm : str
    hydrofractured : "yes", "no" or blank
    main_rock : str
    water_zones : str
        Depth and rate of each zone, "120' 2 gpm, 210' 4 gpm".
    layers : str
        "0-12 brown clay; 12-305 gray granite".
    cost_usd : float
        What the job cost the firm, over the lines that were bid.
    billed_usd : float
        What the customer paid for them.
    notes : str
    """

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    well_id: str = Field(min_length=1)
    lot_id: str = ""
    drilled_on: date
    longitude: float = Field(ge=-180, le=180)
    latitude: float = Field(ge=-90, le=90)
    position_method: str = "gps"
    record_kind: str = "new"
    well_use: str = "domestic"
    drilling_method: str = "unknown"
    total_depth_ft: float = Field(gt=0, allow_inf_nan=False)
    casing_depth_ft: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    casing_diameter_in: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    depth_to_bedrock_ft: str = ""
    depth_to_water_ft: str = ""
    yield_gpm: str = ""
    yield_method: str = "unknown"
    hydrofractured: Literal["yes", "no", ""] = ""
    main_rock: str = ""
    water_zones: str = ""
    layers: str = ""
    cost_usd: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    billed_usd: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    notes: str = ""

    @field_validator("*")
    @classmethod
    def _one_line(cls, value: object) -> object:
        if isinstance(value, str) and any(ord(letter) < 32 or letter in "\x7f\u2028\u2029" for letter in value):
            msg = "a text of the log stands on one line, without control characters"
            raise ValueError(msg)
        return value

    @field_validator("drilled_on", mode="before")
    @classmethod
    def _as_dated(cls, value: object) -> object:
        return typed_date(value) if isinstance(value, str) else value

    @field_validator("total_depth_ft", "casing_depth_ft", "casing_diameter_in", "cost_usd", "billed_usd", mode="before")
    @classmethod
    def _as_typed(cls, value: object, info) -> object:  # type: ignore[no-untyped-def]
        if not isinstance(value, str):
            return value
        # As a text, so that a later fault shows what was typed.
        return _plain(typed_number(value, NUMBER_UNITS[info.field_name]))

    @field_validator("position_method", "record_kind", "well_use", "drilling_method", "yield_method")
    @classmethod
    def _known_code(cls, value: str, info) -> str:  # type: ignore[no-untyped-def]
        known = {
            "position_method": POSITION_METHODS,
            "record_kind": RECORD_KINDS,
            "well_use": WELL_USES,
            "drilling_method": DRILLING_METHODS,
            "yield_method": YIELD_METHODS,
        }[info.field_name]
        if value not in known:
            msg = f"{value!r} is no known code; known: {', '.join(known)}"
            raise ValueError(msg)
        return value

    @field_validator(*READING_KINDS)
    @classmethod
    def _readable(cls, value: str, info) -> str:  # type: ignore[no-untyped-def]
        words = READING_WORDS.get(info.field_name, {})
        if words.get(value.casefold()) == "not_reached":
            return "not reached"  # as any reader of the log knows it
        reading = parse_reading(value, kind=READING_KINDS[info.field_name])
        if "unreadable" in reading.flags:
            msg = f"{value!r} cannot be read as a figure; write 42, <0.5, >305, dry, flowing or not reached"
            raise ValueError(msg)
        return value

    @field_validator("drilled_on")
    @classmethod
    def _in_the_past(cls, value: date) -> date:
        today = datetime.now(UTC).astimezone().date()
        if not _EARLIEST <= value <= today:
            msg = f"{value} is no date on which a well can have been drilled (from {_EARLIEST} to today, {today})"
            raise ValueError(msg)
        return value

    @model_validator(mode="after")
    def _depths_agree(self) -> DrilledWell:
        if self.casing_depth_ft is not None and self.casing_depth_ft > self.total_depth_ft:
            rule = f"it is no longer than the hole ({self.total_depth_ft:g} ft)"
            raise _fault_of(rule, "casing_depth_ft", f"{self.casing_depth_ft:g}")
        for name in ("depth_to_bedrock_ft", "depth_to_water_ft"):
            reading = _reading(getattr(self, name), name)
            if np.isfinite(reading.high) and reading.low > self.total_depth_ft:
                unmet = "; 'not reached' where the hole met none" if name == "depth_to_bedrock_ft" else ""
                rule = f"it lies within the hole ({self.total_depth_ft:g} ft){unmet}"
                raise _fault_of(rule, name, getattr(self, name))
        return self


OUTCOME_COLUMNS = tuple(DrilledWell.model_fields)
"""The columns of the log, in the order in which a new file gets them."""


DEFAULTED = {
    name for name, field in DrilledWell.model_fields.items() if field.default in ("gps", "new", "domestic", "unknown")
}
"""Columns that a log may lack, because their usual value says nothing."""


def fields_of(well: DrilledWell) -> dict[str, str]:
    """Return the well's fields as the log writes them."""
    values = well.model_dump()
    return {
        name: "" if value is None else value.isoformat() if isinstance(value, date) else _plain(value)
        for name, value in values.items()
    }


def _plain(value: object) -> str:
    """Return a number without an exponent or idle zeros, a text as it is."""
    return np.format_float_positional(value, trim="-") if isinstance(value, float) else str(value)


_FAULTS = {"missing": "a field is missing", "extra_forbidden": "there is no such field"}


def _rule(detail: Mapping[str, Any]) -> str:
    """Return in plain words what a field must be."""
    if detail["type"] == "extra_forbidden":
        return f"the fields are {', '.join(OUTCOME_COLUMNS)}"
    return rule_of(detail)


def checked_well(fields: dict) -> DrilledWell:
    """Return a well of its fields.

    Raises
    ------
    ProblemsError
        Every fault of the well at once.
    """
    try:
        return DrilledWell.model_validate(fields)
    except ValidationError as error:
        details = error.errors(include_url=False)
        strange = [str(detail["loc"][0]) for detail in details if detail["type"] == "extra_forbidden"]
        # The list of all fields is long: told once, however many names are strange.
        problems = [_no_such_fields(strange)] if len(strange) > 1 else []
        problems += [
            Problem(
                what=_FAULTS.get(detail["type"], "a field is wrong"),
                column=".".join(str(part) for part in detail["loc"]) or detail.get("ctx", {}).get("column"),
                value=None
                if detail["type"] == "missing"
                else str(detail["input"])
                if detail["loc"]
                else detail.get("ctx", {}).get("value"),
                rule=_rule(detail),
                next_step="mend it and file the well again",
                code="outcome_field",
                private=True,
            )
            for detail in details
            if len(strange) < 2 or detail["type"] != "extra_forbidden"
        ]
        raise ProblemsError(problems, "The well cannot be filed") from error


def _no_such_fields(names: list[str]) -> Problem:
    return Problem(
        what=f"there are no such fields ({len(names)} of them)",
        column=", ".join(names),
        rule=f"the fields are {', '.join(OUTCOME_COLUMNS)}",
        next_step="name them so, or start from an empty form (--form FILE)",
        code="outcome_field",
        private=True,
    )


def _reading(text: str, column: str) -> Reading:
    return parse_reading(text, kind=READING_KINDS[column])
