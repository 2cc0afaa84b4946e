"""Draft a layout for an unseen file: guesses with their reasons, for a person to check.

A draft is deliberately not whole: what only the source can know (what a zero
means, what an odd code means) is left open, and the run stops on it by name.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pandas as pd

from wellrecords.errors import ProblemsError, counted
from wellrecords.places import parse_angles
from wellrecords.readings import WORD_MEANINGS, parse_readings
from wellrecords.sources.column_rules import CODE_SETS, READING_KINDS, TEXT_COLUMNS, tidy_code, tidy_name, usual_units
from wellrecords.sources.draft_contents import (
    DATE_FORMATS,
    Found,
    date_formats,
    dates_read,
    find_dates,
    find_degrees,
    find_remarks,
    west_by_name,
)
from wellrecords.sources.layout import DATUMS
from wellrecords.sources.map_files import POINT_X, POINT_Y
from wellrecords.sources.raw import RawTable
from wellrecords.sources.read import read_table
from wellrecords.units import FEET_PER, GPM_PER, known_unit

SAMPLED_ROWS = 5000
"""Rows by which a column is judged."""
_ONLY_SAID = ("position_error", "position_method")
"""Roles of which the draft speaks only: the columns stay among those not used until a person says what they mean."""
_WANTED = {
    "total_depth_ft": ("total depth", "ft", "unknown"),
    "yield_gpm": ("yield", "gpm", "dry"),
    "depth_to_bedrock_ft": ("depth to rock", "ft", "value"),
}
"""Readings that a source is asked for: how they are called, and a form of their rules."""
_ZERO_MEANS = '  # what 0 means: "value", "unknown", "dry", "flowing" or "hold_back"'
_PLACE_FORM = (
    "# SAY where the wells stand: no column looks like a position, and without one the layout cannot be used.",
    "# Put in the names of the columns and take off the #:",
    "# [[positions]]",
    '# kind = "degrees"  # x longitude, y latitude; or "utm", x easting, y northing, with fixed_zone = "19"',
    '# x = ["..."]',
    '# y = ["..."]',
    f'# datum = "{DATUMS[0]}"  # or {", ".join(DATUMS[1:])}',
    "# One column of both, latitude first: pair instead of x and y. By section or parcel layer:",
    '# kind = "land_grid" with township, range, section; kind = "parcel" with parcel.',
)
MOST_CODES = 60
"""A column of more distinct texts than this holds no codes."""


@dataclass(frozen=True)
class Guess:
    """What a column of the file may be.

    Parameters
    ----------
    columns : tuple of str
        The file's name for it; several where each fills rows that the others
        leave blank, as sheets with other names do.
    role : str
        A canonical column, or a part of a position.
    score : float
        Between 0 and 2: how well the name and the values fit.
    reason : str
        Why, in words.
    """

    columns: tuple[str, ...]
    role: str
    score: float
    reason: str


@lru_cache(maxsize=1)
def _hints() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "hints.toml").read_text("utf-8"))


def draft_layout(path: str | Path, name: str | None = None) -> str:
    """Return the text of a layout for a file that no layout knows yet.

    Parameters
    ----------
    path : str or Path
        Any file that `read_source` can read.
    name : str, optional
        The layout's name; by default from the file's.

    Returns
    -------
    str
        TOML: each guess with its reason as a comment, the columns that fit
        nothing under `not_used`, and what a person must still say as comments
        that begin with "SAY".
    """
    path = Path(path)
    raw = read_table(path, None)
    two_rows = _names_in_two_rows(path, raw)
    raw = two_rows or raw
    name = name or re.sub(r"[^a-z0-9]+", "_", path.name.split(".")[0].lower()).strip("_") or "source"
    name = name if name[0].isalpha() else f"source_{name}"
    guesses = guess_columns(raw)
    guesses |= _guessed_by_contents(raw, guesses)
    lines = [
        f'name = "{name}"',
        f"description = {_quote(f'Drafted from {path.name}: check every line against what the publisher says.')}",
        *_private(guesses),
    ]
    used = {column for guess in guesses.values() for column in guess.columns} | {POINT_X, POINT_Y, "sheet"}
    used -= {column for role in _ONLY_SAID for column in (guesses[role].columns if role in guesses else ())}
    rest = [str(column) for column in raw.table.columns if str(column) not in used]
    lines += [
        "# These columns fit nothing that is known here:",
        f"not_used = {_list(rest)}",
        *_remarks(raw, rest, guesses),
        "",
    ]
    if two_rows is not None or decimal_comma(raw):
        lines.append("[file]")
        if two_rows is not None:
            lines.append("header_rows = 2  # a name stands in two rows, the group's above its own")
        if decimal_comma(raw):
            lines.append('decimal = ","  # most figures with a comma have fewer or more than three digits behind it')
        lines.append("")
    for role in ("source_record_id", "permit", "owner", "address", "main_rock"):
        lines += _section(guesses, role, f"text.{role}", [])
    lines += _dates(raw, guesses)
    for role in CODE_SETS:
        lines += _codes(raw, guesses, role)
    for role in READING_KINDS:
        lines += _readings(raw, guesses, role)
    lines += _positions(raw, guesses)
    for role in ("layers", "water_zones"):
        if role in guesses:
            lines += [f"# {guesses[role].reason}", f"[{role}]", f"text_from = {_list(guesses[role].columns)}", ""]
    lines += _not_found(guesses)
    return "\n".join(lines) + "\n"


def guess_columns(raw: RawTable) -> dict[str, Guess]:
    """Return the best guess for each role, each column in one role at most.

    Parameters
    ----------
    raw : RawTable

    Returns
    -------
    dict of str to Guess
    """
    sample = _sample(raw)
    guesses = []
    for column in sample.columns:
        texts = sample[column].str.strip()
        for role, patterns in _hints()["columns"].items():
            fits = [number for number, pattern in enumerate(patterns) if re.search(pattern, tidy_name(str(column)))]
            if not fits:
                continue
            values, said = _values_fit(role, texts)
            if values > 0.0:
                score = 1.0 / (1.0 + fits[0]) + values
                guesses.append(Guess((str(column),), role, score, f"the name {str(column)!r} looks like it; {said}"))
    # Two columns may say one thing (the depth drilled, the depth finished): the second one is told, not used.
    best: dict[str, Guess] = {}
    taken: dict[str, pd.Series] = {}
    for guess in sorted(guesses, key=lambda g: (-g.score, g.columns, g.role)):
        column = guess.columns[0]
        if column in taken:
            continue
        filled = raw.table[column].str.strip() != ""
        first = best.get(guess.role)
        if first is None:
            best[guess.role] = guess
        elif not any((filled & taken[other]).any() for other in first.columns):
            columns = tuple(c for c in map(str, raw.table.columns) if c in (*first.columns, column))
            best[guess.role] = Guess(
                columns, guess.role, first.score, f"{first.reason}; {column!r} fills the other rows"
            )
        else:
            reason = f"{first.reason}; {column!r} looks like it too, and could stand behind it in `from`"
            best[guess.role] = Guess(first.columns, guess.role, first.score, reason)
            continue
        taken[column] = filled
    return best


def _guessed_by_contents(raw: RawTable, guesses: dict[str, Guess]) -> dict[str, Guess]:
    """Return guesses for the place and the day where no name told them and what stands in the columns does."""
    sample = _sample(raw)
    taken = {column for guess in guesses.values() for column in guess.columns} | {"sheet"}
    found: list[Found] = []
    placed = POINT_X in raw.table or {"easting", "northing"} <= guesses.keys()
    if not placed and not {"longitude", "latitude"} <= guesses.keys():
        found += find_degrees(sample, taken, guesses.keys())
    if not {"drilled_on", "year"} & guesses.keys():
        found += find_dates(sample, taken)
    return {one.role: Guess((one.column,), one.role, 1.0, one.reason) for one in found}


def _private(guesses: dict[str, Guess]) -> list[str]:
    """Return whether the records are the firm's own: a file that names owners is taken for one."""
    if "owner" not in guesses:
        return ["private = false"]
    named = _comment(", ".join(map(repr, guesses["owner"].columns)))
    return [
        f"# SAY whether these records are private: owners are named in it ({named}), so they are taken to be.",
        "# An open file of a state is not: private = false.",
        "private = true",
    ]


def _names_in_two_rows(path: Path, raw: RawTable) -> RawTable | None:
    """Return the file with names of two rows, where more of these look like something; None where they do not."""
    try:
        other = read_table(path, None, header_rows=2)
    except ProblemsError:
        return None
    totals = [sum(guess.score for guess in guess_columns(each).values()) for each in (raw, other)]
    return other if totals[1] > totals[0] else None


def _sample(raw: RawTable) -> pd.DataFrame:
    """Return rows from all over the file."""
    return raw.table.iloc[:: max(1, len(raw.table) // SAMPLED_ROWS)]


def _values_fit(role: str, texts: pd.Series) -> tuple[float, str]:
    """Return how well a column's values fit a role (0: not at all), and what was seen."""
    filled = texts[texts != ""]
    if filled.empty:
        return 0.1, "it is blank"
    if role in READING_KINDS:
        read = parse_readings(filled, kind=READING_KINDS[role])
        share = 1.0 - float(read["unreadable"].mean())
        return (share if share >= 0.5 else 0.0), f"{share:.0%} of its texts can be read as figures"
    if role in ("longitude", "latitude"):
        share = float(parse_angles(filled)["degrees"].notna().mean())
        return (share if share >= 0.5 else 0.0), f"{share:.0%} of its texts can be read as angles"
    if role in ("easting", "northing"):
        share = float(filled.str.fullmatch(r"\d{5,8}(?:[.,]\d*)?").mean())
        return (share if share >= 0.5 else 0.0), f"{share:.0%} of its texts are metres of five digits or more"
    if role == "source_record_id":
        share = filled.nunique() / len(filled)
        return (share * len(filled) / len(texts) if share >= 0.9 else 0.0), f"{share:.0%} of its texts are different"
    if role in CODE_SETS:
        count = filled.nunique()
        return (0.8 if count <= MOST_CODES else 0.0), f"{count} different texts"
    if role == "drilled_on":
        share = max(float(dates_read(filled, form).mean()) for form in DATE_FORMATS)
        return (share if share >= 0.3 else 0.0), f"{share:.0%} of its texts are dates in one way of writing"
    if role in ("layers", "water_zones"):
        share = float(filled.str.contains(r"\d").mean())
        return (share if share >= 0.3 else 0.0), f"{share:.0%} of its texts hold figures"
    return 0.5, f"for example {filled.iloc[0]!r}"


def decimal_comma(raw: RawTable) -> bool:
    """Return whether the file writes figures with a decimal comma."""
    sample = _sample(raw)
    comma = point = 0
    for column in sample.columns:
        texts = sample[column].str.strip()
        comma += int(texts.str.fullmatch(r"[<>]?-?\d+,(?:\d{1,2}|\d{4,})").sum())
        point += int(texts.str.fullmatch(r"[<>]?-?\d+\.\d+").sum())
    return comma > point


def _list(names: Sequence[str]) -> str:
    return "[" + ", ".join(_quote(name) for name in names) + "]"


def _quote(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(letter if letter.isprintable() else f"\\u{ord(letter):04x}" for letter in escaped) + '"'


def _section(guesses: dict[str, Guess], role: str, table: str, more: list[str]) -> list[str]:
    if role not in guesses:
        return []
    guess = guesses[role]
    return [f"# {_comment(guess.reason)}", f"[{table}]", f"from = {_list(guess.columns)}", *more, ""]


def _comment(text: str) -> str:
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def _texts(raw: RawTable, guess: Guess) -> pd.Series:
    texts = raw.table[guess.columns[0]].str.strip()
    for column in guess.columns[1:]:
        texts = texts.where(texts != "", raw.table[column].str.strip())
    return texts


def _dates(raw: RawTable, guesses: dict[str, Guess]) -> list[str]:
    if "drilled_on" in guesses:
        texts = _texts(raw, guesses["drilled_on"])
        texts = texts[texts != ""]
        formats, left = date_formats(texts)
        more = [f"formats = {_list(formats)}"] if formats else ["# SAY how dates are written: formats"]
        if len(left):
            more.append(f"# SAY what {counted(len(left), 'text')} can mean: {_comment(', '.join(left.unique()[:5]))}")
        return _section(guesses, "drilled_on", "dates.drilled_on", more)
    if "year" in guesses:
        parts = [f"{part} = {_list(guesses[part].columns)}" for part in ("year", "month", "day") if part in guesses]
        return ["# year, month and day stand apart", "[dates.drilled_on]", *parts, ""]
    return []


def _codes(raw: RawTable, guesses: dict[str, Guess], role: str) -> list[str]:
    if role not in guesses:
        return []
    counts = _texts(raw, guesses[role]).value_counts()
    counts = counts[counts.index != ""]
    code_of = {word: code for code, words in _hints()["codes"][role].items() for word in words}
    known: dict[str, list[str]] = {}
    unknown, by_word = [], []
    seen: set[str] = set()
    for text, count in counts.items():
        if tidy_code(str(text)) in seen:
            continue
        seen.add(tidy_code(str(text)))
        code = code_of.get(tidy_code(str(text)))
        if code is None and (code := _code_by_word(str(text), code_of)) is not None:
            by_word.append(f"{text!r} ({code})")
        if code is None:
            unknown.append(f"{text!r} ({count:,})")
        else:
            known.setdefault(code, []).append(str(text))
    more = []
    if unknown:
        more.append(f"# SAY what these mean (canonical: {', '.join(CODE_SETS[role])}): {_comment(', '.join(unknown))}")
    if by_word:
        more.append(f"# guessed by one word in it, so look twice: {_comment(', '.join(by_word))}")
    more.append(f"[codes.{role}.canonical]")
    more += [f"{code} = {_list(texts)}" for code, texts in known.items()]
    return _section(guesses, role, f"codes.{role}", more)


def _remarks(raw: RawTable, unused: Sequence[str], guesses: dict[str, Guess]) -> list[str]:
    """Return comments on what columns that fit nothing say of how wells were made, and the tables that read it."""
    lines: list[str] = []
    for column in unused:
        for role, said in find_remarks(raw.table[column]).items():
            if role in guesses:
                continue
            shown = ", ".join(f"{text!r} ({count:,})" for texts in said.values() for text, count in texts.items())
            lines += [
                f"# {_comment(repr(column))} says of some wells what an estimate reads ({role}): {_comment(shown)}.",
                "# To read it, take the column out of not_used, and off these lines the #:",
                f"# [codes.{role}]",
                f"# from = {_list([column])}",
                '# ignore = ["*"]  # whatever else stands there says nothing of it',
                f"# [codes.{role}.canonical]",
                *(f"# {code} = {_list(list(texts))}" for code, texts in said.items()),
            ]
    return lines


def _not_found(guesses: dict[str, Guess]) -> list[str]:
    """Return comments on what no column looks like: it may stand under a name of the firm's own."""
    dated = "drilled_on" in guesses or "year" in guesses
    lines = []
    for role, (what, unit, zero) in _WANTED.items():
        if role not in guesses:
            lines += [f"# No column looks like a {what}. If one is, add its name:"]
            lines += [
                f"# [readings.{role}]",
                '# from = ["..."]',
                f'# unit = "{unit}"',
                f'# zero = "{zero}"{_ZERO_MEANS}',
            ]
    if not dated:
        lines += ["# No column looks like a date of drilling. If one is, add its name and how dates are written:"]
        lines += ["# [dates.drilled_on]", '# from = ["..."]', '# formats = ["%m/%d/%Y"]']
    if not lines:
        return []
    absent = [
        *(f"text.{name}" for name in TEXT_COLUMNS if name not in guesses),
        *([] if dated else ["dates.drilled_on"]),
        *(f"codes.{name}" for name in CODE_SETS if name not in guesses),
        *(f"readings.{name}" for name in READING_KINDS if name not in guesses),
    ]
    return [*lines, f"# What can be added: {', '.join(absent)}", ""]


def _unit_in(name: str, factors: Collection[str]) -> str | None:
    """Return the unit, one of `factors`, that a column's name tells: Depth (m), RATE_LPM, yield_l_s, Yield L/min."""
    words = re.split(r"[\s_()\[\],:]+", name.strip("()[] "))
    pairs = [f"{first}/{second}" for first, second in pairwise(words)]
    units = (known_unit(word) for word in (*reversed(pairs), *reversed(words)))
    return next((unit for unit in units if unit in factors), None)


def _code_by_word(text: str, code_of: dict[str, str]) -> str | None:
    """Return the code of which words stand in a text, None where words of none or of several do."""
    padded = f" {tidy_name(text)} "
    telling = {word: code for word, code in code_of.items() if len(word) > 2 and code not in ("other", "unknown")}
    codes = {code for word, code in telling.items() if f" {tidy_name(word)} " in padded}
    return codes.pop() if len(codes) == 1 else None


def _readings(raw: RawTable, guesses: dict[str, Guess], role: str) -> list[str]:
    if role not in guesses:
        return []
    kind = READING_KINDS[role]
    texts = _texts(raw, guesses[role])
    factors = GPM_PER if kind == "yield" else FEET_PER
    unit = next((unit for name in guesses[role].columns if (unit := _unit_in(name, factors))), None)
    row_by_row = kind == "yield" and "unit_of_yield" in guesses
    choices = ", ".join(usual_units(kind))
    open_unit = [] if row_by_row else [f'unit = "SAY"  # SAY which unit, the name tells none: {choices}']
    more = [f'unit = "{unit}"'] if unit else open_unit
    if row_by_row:
        more.append(f"unit_from = {_list(guesses['unit_of_yield'].columns)}")
    zeros = int(texts.str.fullmatch(r"0+(?:[.,]0*)?").sum())
    if zeros:
        more.append(
            f'# SAY what 0 means ({counted(zeros, "row")}): zero = "value", "unknown", "dry", "flowing" or "hold_back"'
        )
    read = parse_readings(texts, kind=kind, unit=unit, decimal="," if decimal_comma(raw) else ".")
    odd = texts[read["unreadable"].to_numpy()].value_counts()
    if len(odd):
        shown = ", ".join(f"{text!r} ({count:,})" for text, count in odd.head(8).items())
        more.append(f"# SAY what these mean, under words or missing, or let them be held back: {_comment(shown)}")
        word = _quote(str(odd.index[0]))
        more.append(f'# words = {{ {word} = "unknown" }}  # or one of: {", ".join(WORD_MEANINGS)}')
    return _section(guesses, role, f"readings.{role}", more)


def _positions(raw: RawTable, guesses: dict[str, Guess]) -> list[str]:
    def column(role: str) -> str:
        return _list(guesses[role].columns)

    lines: list[str] = []
    if POINT_X in raw.table:
        lines += [f"# the file's own points, in {raw.crs or 'a system that it does not name'}", "[[positions]]"]
        lines += ['kind = "geometry"', 'method = "unknown"  # SAY how the places were found', ""]
    if "longitude" in guesses and "latitude" in guesses:
        lines += [f"# {_comment(guesses['longitude'].reason)}", "[[positions]]", 'kind = "degrees"']
        lines += [f"x = {column('longitude')}", f"y = {column('latitude')}"]
        if west_by_name(guesses["longitude"].columns, raw.table):
            lines.append('unsigned_longitude = "west"  # the name says west, and no figure has a sign')
    elif "easting" in guesses and "northing" in guesses:
        lines += [f"# {_comment(guesses['easting'].reason)}", "[[positions]]", 'kind = "utm"']
        lines += [f"x = {column('easting')}", f"y = {column('northing')}"]
        said = re.search(r"(?:utm|zone)\s*(\d{1,2})[a-z]?\b", tidy_name(guesses["easting"].columns[0]))
        if "zone" in guesses:
            lines.append(f"zone = {column('zone')}")
        else:
            lines.append(f'fixed_zone = "{said[1]}"' if said else 'fixed_zone = "SAY"  # SAY which UTM zone')
    if lines and lines[-1]:
        open_datum = f'datum = "SAY"  # SAY which: {", ".join(DATUMS)}'
        lines.append(f"datum_from = {column('datum')}" if "datum" in guesses else open_datum)
        if "position_error" in guesses:
            lines.append(
                f"# SAY in metres what {_list(guesses['position_error'].columns)} means: error_from, error_codes"
            )
        if "position_method" in guesses:
            lines.append(f"# SAY what {_list(guesses['position_method'].columns)} means: positions.method_codes")
        if "position_method" not in guesses and "position_error" not in guesses:
            lines.append(
                "# Nothing tells how the places were found, so their error is assumed. If you know, take off the #:"
            )
            lines += [
                '# method = "gps"  # or survey, map, address ...',
                "# error_m = 10  # in metres, where it is known better than by the method",
            ]
        lines.append("")
    if all(part in guesses for part in ("township", "range", "section")):
        lines += ["# by the section layer, where there are no coordinates", "[[positions]]", 'kind = "land_grid"']
        parts = ("township", "range", "township_side", "range_side", "section", "quarter", "meridian")
        lines += [f"{part} = {column(part)}" for part in parts if part in guesses]
        lines.append("")
    if "parcel" in guesses:
        lines += ["# by the parcel layer", "[[positions]]", 'kind = "parcel"', f"parcel = {column('parcel')}", ""]
    return lines or [*_PLACE_FORM, ""]
