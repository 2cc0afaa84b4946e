"""Files that people write by hand (settings, layouts, price books), their faults told in sentences.

A validator says "Input should be a valid number, unable to parse string as a
number". A person wants to know where, what stands there, what may stand
there, and what to do. All hand-written files are told so, from here.
"""

from __future__ import annotations

import difflib
import tomllib
import types
import typing
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from wellrecords.errors import Problem, ProblemsError, WellRecordsError

Model = TypeVar("Model", bound=BaseModel)

TELLTALES = {
    "sources": "a region's settings",
    "lines": "a price book",
    "kinds": "a file of setbacks",
    "positions": "a layout of a source",
}
"""The part by which each kind of hand-written file is known."""
_BOUNDS = (("gt", "above"), ("ge", "at least"), ("lt", "below"), ("le", "at most"))
_UNION_TAGS = ("float", "int", "str", "bool", "dict[", "constrained", "tuple[", "list[", "function-", "literal[")
"""What a validator appends to the place of a fault where a value may be of several kinds."""


def read_toml(path: str | Path, what: str, next_step: str) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : path
    what : str
        What the file is: "price book".
    next_step : str
        What to do where there is none, such as "name one, such as prices.toml".

    Raises
    ------
    WellRecordsError
        If it is absent, no UTF-8 text, or no TOML (the message gives the line).
    """
    try:
        return tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except (FileNotFoundError, IsADirectoryError) as error:
        msg = f"There is no {what} {path}. Next: {next_step}."
        raise WellRecordsError(msg) from error
    except OSError as error:
        msg = f"The {what} {path} cannot be read ({error.strerror}). Next: check the rights of file and folder."
        raise WellRecordsError(msg) from error
    except UnicodeDecodeError as error:
        msg = f"The {what} {path} is not UTF-8 text. Next: save it as UTF-8."
        raise WellRecordsError(msg) from error
    except tomllib.TOMLDecodeError as error:
        msg = f"The {what} {path} is not valid TOML: {error}. Next: mend that line."
        raise WellRecordsError(msg) from error


def checked(
    model: type[Model],
    raw: Any,
    file: str | Path,
    prefix: Sequence[str] = (),
    *,
    heading: str = "The settings cannot be used",
    code: str = "settings",
) -> Model:
    """Return a model of what was read.

    Parameters
    ----------
    model : type of pydantic.BaseModel
    raw : mapping
        As read.
    file : path or str
        Where it was read, for the message.
    prefix : sequence of str
        The tables in which it stands.
    heading, code : str
        Of the error, and of each problem.

    Raises
    ------
    ProblemsError
        One problem a fault: file, key, value, rule, next step. Items of
        lists are counted from 1.
    WellRecordsError
        The file is of another kind.
    """
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        if (other := _of_another_kind(model, raw)) and not prefix:
            wanted = next((said for part, said in TELLTALES.items() if part in model.model_fields), "another file")
            msg = f"{file} seems to be {other}; what is wanted here is {wanted}. Next: name the right file."
            raise WellRecordsError(msg) from error
        faults = _merged(without_follow_ons(error.errors(include_url=False)))
        problems = [_problem(fault, model, str(file), prefix, code) for fault in faults]
        raise ProblemsError(problems, heading) from error


def _of_another_kind(model: type[BaseModel], raw: Any) -> str:
    """Say which other kind of file this is by its telltale part, "" where it may be of the kind that is wanted."""
    if not isinstance(raw, Mapping) or any(part in raw and part in model.model_fields for part in TELLTALES):
        return ""
    return next((said for part, said in TELLTALES.items() if part in raw), "")


def without_follow_ons(faults: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the faults of a validation without those that only follow from others.

    A list whose items are all wrong is also "too short"; that tells nobody
    anything.

    Parameters
    ----------
    faults : sequence of mapping
        As pydantic tells them, with `type` and `loc`.
    """
    places = [tuple(fault["loc"]) for fault in faults]

    def follows(fault: Mapping[str, Any]) -> bool:
        own = tuple(fault["loc"])
        return fault["type"] == "too_short" and any(len(loc) > len(own) and loc[: len(own)] == own for loc in places)

    return [fault for fault in faults if not follows(fault)]


def rule_of(fault: Mapping[str, Any]) -> str:
    """Return in plain words what a value must be.

    Parameters
    ----------
    fault : mapping
        As pydantic tells it: `type`, `msg`, `ctx`.
    """
    kind, bounds = str(fault["type"]), fault.get("ctx", {})
    for name, words in _BOUNDS:
        if name in bounds:
            bound = bounds[name]
            return f"it must be {words} {bound:g}" if isinstance(bound, int | float) else f"it must be {words} {bound}"
    fixed = {
        "missing": "it must be given",
        "int_from_float": "it is a whole number",
        "int_type": "it is a whole number",
        "int_parsing": "it is a whole number",
        "finite_number": "it is a number, and not endless",
        "bool_type": "it is true or false",
        "bool_parsing": "it is true or false",
        "string_type": "it is a text in quotes",
        "path_type": "it is a path in quotes",
        "string_too_short": "it must not be blank",
        "string_pattern_mismatch": "it is a short name: small letters, digits and _, a letter first",
        "dict_type": "it is a table of its own",
        "model_type": "it is a table of its own",
        "model_attributes_type": "it is a table of its own",
    }
    if kind in fixed:
        return fixed[kind]
    if kind in ("tuple_type", "list_type"):
        return "it is a list in square brackets"
    if kind.startswith("float_"):
        return "it is a number, such as 5 or 0.5"
    if kind.startswith("date_"):
        return "a date is written 2026-05-31"
    if kind == "too_short":
        return f"it needs {bounds['min_length']} or more"
    if kind in ("too_long", "unexpected_positional_argument"):
        return f"it takes at most {bounds.get('max_length', 0)}"
    if kind in ("literal_error", "enum"):
        return f"it is {bounds['expected']}"
    return str(fault["msg"]).removeprefix("Value error, ")


def _merged(faults: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return one fault a place: a value that is none of the kinds that it may be was told once for each."""
    merged: dict[tuple[Any, ...], dict[str, Any]] = {}
    for fault in faults:
        place = tuple(fault["loc"])
        union = bool(place) and isinstance(place[-1], str) and place[-1].startswith(_UNION_TAGS) and len(place) > 1
        place = place[:-1] if union else place
        rule = rule_of(fault)
        if place not in merged:
            merged[place] = {**fault, "loc": place, "rules": [rule]}
        elif rule not in merged[place]["rules"]:
            merged[place]["rules"].append(rule)
    return list(merged.values())


def _problem(fault: Mapping[str, Any], model: type[BaseModel], file: str, prefix: Sequence[str], code: str) -> Problem:
    place = tuple(fault["loc"])
    key = ".".join(str(part + 1 if isinstance(part, int) else part) for part in (*prefix, *place))
    value = fault.get("input")
    shown = None if isinstance(value, dict | list | tuple | BaseModel) else str(value)
    if fault["type"] == "extra_forbidden":
        known = sorted(_fields_at(model, place[:-1]))
        close = difflib.get_close_matches(str(place[-1]), known, n=1)
        return Problem(
            what="unknown setting",
            file=file,
            column=key,
            value=shown,
            rule=f"the settings here are {', '.join(known)}"
            if known
            else "only settings that are described stand here",
            next_step=f"did you mean {close[0]}? Correct its spelling or remove it" if close else "remove it",
            code=code,
        )
    missing = fault["type"] == "missing"
    # A setting that a person can hardly write by its name alone has its form in its description.
    form = _form_of(model, place) if missing or fault["type"] == "too_short" else None
    return Problem(
        what="missing setting" if missing else "wrong setting",
        file=file,
        column=key or None,
        value=None if missing else shown,
        rule=" or ".join(fault["rules"]).replace(" or it is ", " or "),
        next_step=f"write in the file {form}" if form else "set it in the file" if missing else "mend it in the file",
        code=code,
    )


def _form_of(model: type[BaseModel], place: Sequence[Any]) -> str | None:
    """Return how a setting of the file itself is written, None where its name says enough."""
    field = model.model_fields.get(str(place[0])) if len(place) == 1 else None
    return field.description if field else None


def _fields_at(model: type[BaseModel], place: Sequence[Any]) -> set[str]:
    """Return the keys that a table of a model may have, none where that cannot be told."""
    kind: Any = model
    for part in place:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            field = next((one for name, one in kind.model_fields.items() if part in (name, one.alias)), None)
            kind = field.annotation if field else None
            held = typing.get_origin(kind)
            # A model that may be absent is no list of models: the next part is a key of its own.
            kind = _model_in(kind) if held in (typing.Union, types.UnionType) else kind
        else:
            kind = _model_in(kind)
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return set()
    return {field.alias or name for name, field in kind.model_fields.items()}


def _model_in(annotation: Any) -> Any:
    """Return the model that an annotation holds, alone or in a list, a table or a choice."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if typing.get_origin(annotation) is None and not isinstance(annotation, types.UnionType):
        return None
    return next((found for part in typing.get_args(annotation) if (found := _model_in(part)) is not None), None)
