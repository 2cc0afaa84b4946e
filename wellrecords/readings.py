"""Readings as people write them, to intervals.

Every reading of a record becomes an interval ``[low, high]``: equal where it
is exact, infinite where it is open. Nothing censored is turned into a bare
number, and nothing is guessed: a text that no rule here can read is marked
unreadable and is for a person to mend.

A null end of an interval says that the rest of the record must settle it: the
upper end of a "dry" yield is the smallest yield that anyone nearby reports,
the lower end of "bedrock not reached" is the depth of the hole.

>>> parse_reading("100+", kind="yield").low, parse_reading("100+", kind="yield").high
(100.0, inf)
>>> parse_reading("12 ft 6 in", kind="depth").low
12.5
>>> parse_reading("flowing", kind="water")
Reading(low=-inf, high=0.0, flags=('flowing',), flow_gpm=None)
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from wellrecords.reading_words import (
    ABOVE_AFTER,
    ABOVE_BEFORE,
    ABOVE_GROUND,
    AT_GROUND,
    BELOW_AFTER,
    BELOW_BEFORE,
    BELOW_GROUND,
    BUCKET,
    DATE,
    DRY,
    DRY_DEPTH,
    DUMMY,
    FEET_INCHES,
    FIGURE,
    FLOW_FILLER,
    FLOW_WORD,
    FRACTION,
    LEVEL_WORD,
    NOT_REACHED,
    NOT_REACHED_SHORT,
    OUTCROP,
    PLUS_BEFORE_UNIT,
    RANGE,
    REMARK_AFTER,
    ROCK_AT,
    SAME,
    SEA_LEVEL,
    TOTAL_DEPTH,
    TRACE,
    UNCERTAIN_AFTER,
    UNCERTAIN_BEFORE,
    UNKNOWN_WORDS,
    VULGAR,
)
from wellrecords.units import FEET_PER, GPM_PER, IN_PER_FT, known_unit

Kind = Literal["depth", "bedrock", "water", "yield", "diameter", "elevation"]
"""What a column measures; the result is in feet, for a yield in gpm, for a diameter in inches."""

DEFAULT_UNITS: dict[str, str] = {
    "depth": "ft",
    "bedrock": "ft",
    "water": "ft",
    "yield": "gpm",
    "diameter": "in",
    "elevation": "ft",
}

WHY: dict[str, str] = {
    "notation": "the number is written in another notation (fraction, feet and inches, comma)",
    "unit": "the text names its own unit, which goes before the column's",
    "own_unit": "the text names the unit, which is the column's",
    "uncertain": "the writer marked the figure as uncertain; the figure stands",
    "remark": "words behind the figure were left out",
    "below": "the text gives an upper bound only",
    "at_least": "the text gives a lower bound only",
    "pumped": "the source says that the well may make more than the rate of the test",
    "range": "the text gives a range",
    "reversed": "the ends of the range stood in reversed order",
    "above_ground": "the level stands above the ground, so its depth is negative",
    "dry": "no water was met, so the yield lies between zero and the smallest yield that anyone reports",
    "trace": "only a trace of water, so the yield lies between zero and the smallest yield that anyone reports",
    "flowing": "the well flows, so its water stands at the ground or above it",
    "not_reached": "it was not met, so it lies deeper than the hole",
    "unknown": "the text says that the figure is unknown",
    "unreadable": "no rule can read the text as a figure",
    "date": "the cell holds a date: a spreadsheet may have turned a range such as 1-5 into one",
    "negative": "the figure is negative where it cannot be",
}
"""Flag -> why, as the ledger says it."""

WORD_MEANINGS = ("dry", "trace", "flowing", "not_reached", "unknown")
"""What a layout may say that a word of its file means."""


@dataclass(frozen=True)
class Reading:
    """One reading.

    Parameters
    ----------
    low, high : float
        Ends of the interval in feet, gpm or inches; see the module for null.
    flags : tuple of str
        How it was read: keys of `WHY`, or "blank". Empty: a plain number.
    flow_gpm : tuple of float, optional
        A flow that stands in a water level's text ("flows 3 gpm").
    """

    low: float
    high: float
    flags: tuple[str, ...] = ()
    flow_gpm: tuple[float, float] | None = None

    @property
    def unreadable(self) -> bool:
        """Whether no rule could read the text."""
        return "unreadable" in self.flags


DENOMINATORS = (2, 3, 4, 8, 16, 32, 64)
"""Denominators with which people write fractions of a foot, an inch or a gallon; 1/5 is a range or a day."""
LARGEST = 1e7
"""A larger figure is no reading of a well but digits run together."""
_NAN = float("nan")
_INF = float("inf")
BLANK = Reading(_NAN, _NAN, ("blank",))
UNKNOWN = Reading(_NAN, _NAN, ("unknown",))
UNREADABLE = Reading(_NAN, _NAN, ("unreadable",))


def parse_reading(
    text: str | None,
    *,
    kind: Kind,
    unit: str | None = None,
    decimal: str = ".",
    words: Mapping[str, str] | None = None,
) -> Reading:
    """Read one text.

    Parameters
    ----------
    text : str or None
        As written.
    kind : {"depth", "bedrock", "water", "yield", "diameter", "elevation"}
        What the column measures.
    unit : str, optional
        The column's unit; by default feet, gpm, or inches for a diameter.
    decimal : {".", ","}, default="."
        The file's decimal mark. A comma before any but three digits is
        read as a decimal mark all the same, and flagged.
    words : mapping of str to str, optional
        What words of this file mean: lower-case text -> one of
        `WORD_MEANINGS`; goes before the rules here.

    Returns
    -------
    Reading
        In feet, gpm or inches.

    Examples
    --------
    >>> parse_reading("1 to 5 L/min", kind="yield").flags
    ('range', 'unit')
    """
    if text is None:
        return BLANK
    tidy = _tidy(text)
    if not tidy:
        return BLANK
    column = _Column(kind, known_unit(unit or DEFAULT_UNITS[kind]) or "", decimal)
    if words and tidy in words:
        return _meaning(words[tidy], kind)
    if tidy in UNKNOWN_WORDS or re.fullmatch(DUMMY, tidy):
        return UNKNOWN
    if DATE.fullmatch(tidy):
        return replace(UNREADABLE, flags=("unreadable", "date"))
    return _in_words(tidy, column) or _in_figures(tidy, column) or UNREADABLE


@dataclass(frozen=True)
class _Column:
    kind: str
    unit: str
    decimal: str

    @property
    def factors(self) -> dict[str, float]:
        return GPM_PER if self.kind == "yield" else FEET_PER

    def canonical(self, value: float, unit: str) -> float:
        """Return a value of `unit` in feet, gpm or inches."""
        return value * (self.factors[unit] * (IN_PER_FT if self.kind == "diameter" else 1.0))


def _tidy(text: str) -> str:
    tidy = text.translate(SAME)
    for sign, words in VULGAR.items():
        tidy = tidy.replace(sign, f" {words}")
    return " ".join(tidy.lower().replace("''", '"').split())


def _meaning(meaning: str, kind: str) -> Reading:
    """Return what a bare word says in a column of this kind."""
    if meaning == "unknown":
        return UNKNOWN
    if meaning == "flowing" and kind == "water":
        return Reading(-_INF, 0.0, ("flowing",))
    if meaning == "flowing" and kind == "yield":
        return Reading(_NAN, _NAN, ("flowing",))
    if meaning in ("dry", "trace", "not_reached") and kind == "yield":
        return Reading(0.0, _NAN, ("trace" if meaning == "trace" else "dry",))
    if meaning in ("dry", "not_reached") and kind == "water":
        return Reading(_NAN, _INF, (meaning,))
    if meaning == "not_reached" and kind == "bedrock":
        return Reading(_NAN, _INF, ("not_reached",))
    return UNREADABLE


def _in_words(tidy: str, column: _Column) -> Reading | None:
    if DRY.fullmatch(tidy):
        return _meaning("dry", column.kind)
    if TRACE.fullmatch(tidy):
        return _meaning("trace", column.kind)
    if column.kind in ("water", "bedrock") and AT_GROUND.fullmatch(tidy):
        return Reading(0.0, 0.0, ("notation",))
    if column.kind == "bedrock" and OUTCROP.fullmatch(tidy):
        return Reading(0.0, 0.0, ("notation",))
    if column.kind == "bedrock" and NOT_REACHED_SHORT.fullmatch(tidy):
        return _meaning("not_reached", column.kind)
    if FLOW_WORD.search(tidy):
        return _flowing(tidy, column)
    for pattern, flag in ((DRY_DEPTH, "dry"), (NOT_REACHED, "not_reached")):
        missed = pattern.fullmatch(tidy)
        if missed is None:
            continue
        bare = _meaning(flag, column.kind)
        if missed["depth"] is None or bare.unreadable or column.kind == "yield":
            return bare
        depth = _in_figures(missed["depth"], column)
        return UNREADABLE if depth is None else Reading(depth.low, _INF, (*bare.flags, *depth.flags))
    return None


def _flowing(tidy: str, column: _Column) -> Reading:
    rest = " ".join(FLOW_FILLER.sub(" ", FLOW_WORD.sub(" ", tidy)).split())
    bare = _meaning("flowing", column.kind)
    if not rest or bare.unreadable:
        return bare
    if column.kind == "yield":
        flow = _in_figures(rest, column)
        return UNREADABLE if flow is None else replace(flow, flags=("flowing", *flow.flags))
    # Beside a water level only a figure with its unit can be told: feet are a head, gallons a flow.
    # A plus before it says as much as a unit.
    height = ABOVE_GROUND.sub("", rest)
    head = _in_figures(height.lstrip("+- "), _Column("depth", column.unit if rest[0] == "+" else "", column.decimal))
    if head is not None:
        return Reading(-head.high, -head.low, ("flowing", "above_ground"))
    flow = _in_figures(rest, _Column("yield", "", column.decimal))
    if flow is None:
        return replace(bare, flags=("flowing", "remark"))
    return replace(bare, flow_gpm=(flow.low, flow.high))


def _in_figures(tidy: str, column: _Column) -> Reading | None:
    """Read figures with their bounds, marks and units; None where they are not."""
    rest, flags = _without_marks(tidy, column)
    above = "above_ground" in flags
    if rest.startswith("+") and column.kind == "water" and not above:
        rest, above = rest[1:].lstrip(), True
        flags.append("above_ground")
    if rest.startswith("-") and not above:
        if column.kind not in ("water", "elevation"):
            return replace(UNREADABLE, flags=("unreadable", "negative"))
        reading = _bounded(rest[1:].lstrip(), column)
        if reading is not None and "range" in reading.flags:  # the sign is that of the first figure only
            first, second = (reading.high, reading.low) if "reversed" in reading.flags else (reading.low, reading.high)
            return Reading(-first, second, ("range", *flags))
        above = reading is not None
    else:
        reading = _bounded(rest, column)
    if reading is None:
        remark = REMARK_AFTER.match(rest)
        if remark is None:
            return None
        inner = _in_figures(remark["figure"], column)
        return None if inner is None else replace(inner, flags=(*inner.flags, *flags, "remark"))
    low, high = (-reading.high, -reading.low) if above else (reading.low, reading.high)
    return Reading(low, high, (*reading.flags, *flags))


def _without_marks(tidy: str, column: _Column) -> tuple[str, list[str]]:
    """Strip what says how sure the figure is, and from where it was measured."""
    rest, flags = tidy, []
    for pattern in (UNCERTAIN_BEFORE, UNCERTAIN_AFTER):
        rest, found = pattern.subn("", rest)
        if found and "uncertain" not in flags:
            flags.append("uncertain")
    if column.kind == "elevation":
        rest, found = SEA_LEVEL.subn("", rest)
        flags += ["remark"] * bool(found)
    if column.kind in ("water", "depth", "bedrock"):
        if column.kind == "depth":
            rest, found = TOTAL_DEPTH.subn("", rest)
            flags += ["remark"] * bool(found)
        if column.kind == "bedrock":
            rest, found = ROCK_AT.subn("", rest)
            flags += ["remark"] * bool(found)
        if column.kind == "water":
            rest, found = LEVEL_WORD.subn("", rest)
            flags += ["remark"] * bool(found)
            rest = rest.strip()
            rest, found = ABOVE_GROUND.subn("", rest)
            if found:
                flags.append("above_ground")
        rest, found = BELOW_GROUND.subn("", rest)
        if found and "remark" not in flags:
            flags.append("remark")
    return rest, flags


def _bounded(rest: str, column: _Column) -> Reading | None:
    rest = PLUS_BEFORE_UNIT.sub(r" \g<unit>+", rest)
    for before, after, flag in ((BELOW_BEFORE, BELOW_AFTER, "below"), (ABOVE_BEFORE, ABOVE_AFTER, "at_least")):
        bare, found = before.subn("", rest)
        if not found:
            bare, found = after.subn("", rest)
        if found:
            figure = _figure(bare, column)
            if figure is None:
                return None
            value, flags = figure
            floor = 0.0 if value > 0.0 else -_INF
            low, high = (floor, value) if flag == "below" else (value, _INF)
            return Reading(low, high, (flag, *flags))
    figure = _figure(rest, column)
    if figure is not None:
        return Reading(figure[0], figure[0], figure[1])
    return _range(rest, column)


def _range(rest: str, column: _Column) -> Reading | None:
    ends = RANGE.match(rest)
    if ends is None:
        return None
    second = FIGURE.match(ends["high"].strip())
    low_text = ends["low"].strip()
    if second and second["unit"] and re.fullmatch(r"[\d.,/ ]+", low_text):
        low_text = f"{low_text} {second['unit']}"  # "1 to 5 L/min": the unit stands once, for both
    low, high = _figure(low_text, column), _figure(ends["high"].strip(), column)
    if low is None or high is None:
        return None
    flags = dict.fromkeys(("range", *low[1], *high[1]))
    if low[0] > high[0]:
        if column.kind != "yield" and re.fullmatch(r"\d+-\d{1,2}", rest) and float(ends["high"]) < IN_PER_FT:
            return None  # 12-6 may be 12 ft 6 in, and 305-10 the range 305 to 310
        return Reading(high[0], low[0], (*flags, "reversed"))
    return Reading(low[0], high[0], tuple(flags))


def _figure(text: str, column: _Column) -> tuple[float, tuple[str, ...]] | None:
    """Return one figure in the canonical unit, and how it was written."""
    text = text.strip().rstrip(",;").strip()
    if column.kind != "yield":
        pair = FEET_INCHES.match(text)
        if pair:
            inches = _number(pair["inches"], column.decimal)
            if inches is None or inches[0] >= 12.0:
                return None
            feet = float(pair["feet"]) + inches[0] / IN_PER_FT
            return feet * (IN_PER_FT if column.kind == "diameter" else 1.0), ("notation",)
    bucket = BUCKET.match(text) if column.kind == "yield" else None
    if bucket:
        amount, minutes = _number(bucket["amount"].strip(), column.decimal), _number(bucket["time"], column.decimal)
        if amount is None or minutes is None or not minutes[0]:
            return None
        rate = amount[0] / minutes[0] * (60.0 if bucket["clock"] == "s" else 1.0)
        return column.canonical(rate, "gpm" if bucket["unit"].startswith("g") else "L/min"), ("notation",)
    match = FIGURE.match(text)
    if match is None:
        return None
    number = _number(match["number"], column.decimal)
    if number is None or number[0] > LARGEST:
        return None
    value, flags = number
    if match["unit"] is None:
        return (column.canonical(value, column.unit), flags) if column.unit else None
    unit = known_unit(match["unit"])
    if unit is None or unit not in column.factors:
        return None
    return column.canonical(value, unit), (*flags, "own_unit" if unit == column.unit else "unit")


def _number(text: str, decimal: str) -> tuple[float, tuple[str, ...]] | None:
    fraction = FRACTION.match(text)
    if fraction:
        top, bottom = int(fraction["top"]), int(fraction["bottom"])
        if not 0 < top < bottom or bottom not in DENOMINATORS:  # 8/6 is two diameters, 10/20 two rates or a date
            return None
        return int(fraction["whole"] or 0) + top / bottom, ("notation",)
    if re.fullmatch(r"\d{1,3}(?: \d{3})+", text):
        return float(text.replace(" ", "")), ("notation",)
    if re.fullmatch(rf"\d+(?:{re.escape(decimal)}\d+)?e[-+]?\d{{1,2}}", text):
        return float(text.replace(decimal, ".")), ("notation",)
    other = "," if decimal == "." else "."
    if re.fullmatch(rf"\d{{1,3}}(?:{re.escape(other)}\d{{3}})+(?:{re.escape(decimal)}\d+)?", text):
        return float(text.replace(other, "").replace(decimal, ".")), ("notation",)
    if re.fullmatch(rf"\d*{re.escape(decimal)}?\d+|\d+{re.escape(decimal)}", text):
        return float(text.replace(decimal, ".")), ()
    if re.fullmatch(rf"\d*{re.escape(other)}\d+", text):
        return float(text.replace(other, ".")), ("notation",)
    return None


def parse_readings(
    texts: pd.Series,
    *,
    kind: Kind,
    unit: str | None = None,
    decimal: str = ".",
    words: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Read a column: each distinct text once.

    Parameters
    ----------
    texts : pandas.Series
        Text as written, null where there is none.
    kind, unit, decimal, words
        As for `parse_reading`.

    Returns
    -------
    pandas.DataFrame
        `low`, `high` (feet, gpm or inches), `flag` (the flags, joined by a
        blank; empty for a plain number), `unreadable`, and of water levels
        `flow_low`, `flow_high` (gpm: a flow that stands in the text); the index
        of `texts`.

    Examples
    --------
    >>> parse_readings(pd.Series(["<0.5", "dry", "3.5 L/s"]), kind="yield")[["low", "flag"]].values.tolist()
    [[0.0, 'below'], [0.0, 'dry'], [55.47613099521117, 'unit']]
    """
    codes, uniques = pd.factorize(texts)
    count = len(uniques)
    low, high = np.full(count + 1, np.nan), np.full(count + 1, np.nan)
    flow_low, flow_high = np.full(count + 1, np.nan), np.full(count + 1, np.nan)
    flag = np.full(count + 1, "blank", dtype=object)
    column = _Column(kind, known_unit(unit or DEFAULT_UNITS[kind]) or "", decimal)
    series = pd.Series(uniques, dtype="str")
    mark = re.escape(decimal)
    # A layout's own words go before the figures ("999" may mean unknown).
    dummies = series.str.strip().str.casefold().isin(list(words or ())) | series.str.fullmatch(DUMMY)
    plain = (series.str.fullmatch(rf"(?:[0-9]{{1,7}}(?:{mark}[0-9]*)?|{mark}[0-9]+)") & ~dummies).to_numpy(dtype=bool)
    if plain.any():
        numbers = series[plain].str.replace(decimal, ".", regex=False)
        low[:-1][plain] = pd.to_numeric(numbers).to_numpy(dtype=float) * column.canonical(1.0, column.unit)
        high[:-1][plain] = low[:-1][plain]
        flag[:-1][plain] = ""
    for place in np.flatnonzero(~plain):
        reading = parse_reading(series.iloc[place], kind=kind, unit=unit, decimal=decimal, words=words)
        low[place], high[place] = reading.low, reading.high
        flag[place] = " ".join(reading.flags)
        if reading.flow_gpm is not None:
            flow_low[place], flow_high[place] = reading.flow_gpm
    unreadable = np.array(["unreadable" in str(word) for word in flag])
    flows = {"flow_low": flow_low[codes], "flow_high": flow_high[codes]} if kind == "water" else {}
    read = {"low": low[codes], "high": high[codes], "flag": flag[codes], "unreadable": unreadable[codes], **flows}
    return pd.DataFrame(read, index=texts.index, copy=False)


def why_of(flag: str) -> str:
    """Return in words what the flags of a reading mean.

    Parameters
    ----------
    flag : str
        Flags joined by a blank.

    Returns
    -------
    str
    """
    words = [word for word in flag.split() if word in WHY]
    # that no rule can read it is no news where it is said why
    return "; ".join(WHY[word] for word in words if word != "unreadable" or len(words) == 1)
