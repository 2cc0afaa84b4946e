"""Readings of a source to canonical intervals and figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.cleaning.findings import Findings
from wellrecords.errors import counted
from wellrecords.ledger import interval_text
from wellrecords.reading_words import DRY_BELOW_GPM
from wellrecords.readings import DEFAULT_UNITS, parse_readings, why_of
from wellrecords.sources.column_rules import READING_KINDS, ReadingRules, tidy_code
from wellrecords.units import FEET_PER, GPM_PER, known_unit

_MARK_TEXTS = {
    "dry": "dry",
    "trace": "trace",
    "flowing": "flowing",
    "not_reached": "not encountered",
    "unknown": "unknown",
}
NEVER_ZERO = ("total_depth_ft", "casing_diameter_in")
"""Columns in which 0 cannot be a value."""


@dataclass
class Figures:
    """One column as it was read; a null end is settled later from the rest of the record."""

    column: str
    original: pd.Series
    low: np.ndarray
    high: np.ndarray
    flag: np.ndarray
    flow_low: np.ndarray | None = None
    flow_high: np.ndarray | None = None

    def flagged(self, *words: str) -> np.ndarray:
        """Return which rows carry one of the flags."""
        codes, uniques = pd.factorize(self.flag)
        hit = np.array([bool(set(words) & set(str(flag).split())) for flag in uniques], dtype=bool)
        return hit[codes] if len(uniques) else np.zeros(len(self.flag), dtype=bool)

    @property
    def blank(self) -> np.ndarray:
        """Rows in which nothing stands."""
        return self.flag == "blank"


def read_figures(column: str, rules: ReadingRules, findings: Findings) -> Figures:
    """Read one column by its layout: units, marks, words, zeros and blanks.

    Parameters
    ----------
    column : str
        Canonical name, without `_low` and `_high`.
    rules : ReadingRules
    findings : Findings

    Returns
    -------
    Figures
        Rows that cannot be read are held back or set to unknown here, as the
        layout says.
    """
    kind = READING_KINDS[column]
    texts = findings.texts(rules.from_)
    original = texts
    if rules.mark_from:
        texts, original = _with_marks(column, texts, rules, findings)
    words = {tidy_code(word): meaning for word, meaning in rules.words.items()}
    words |= {tidy_code(text): "unknown" for text in rules.missing}
    decimal = findings.layout.file.decimal
    parsed = []
    for unit, rows in _units(column, rules, findings, texts):
        parsed.append(parse_readings(texts[rows], kind=kind, unit=unit, decimal=decimal, words=words))
    table = parsed[0] if len(parsed) == 1 else pd.concat(parsed).reindex(texts.index)
    figures = Figures(
        column,
        original,
        *(table[name].to_numpy(copy=True) for name in table.columns if name != "unreadable"),
    )
    _zeros(figures, rules, findings)
    blank = figures.blank
    if rules.blank == "not_reached":
        figures.high[blank] = np.inf
        figures.flag[blank] = "not_reached"
    elif rules.blank == "dry":
        figures.low[blank] = 0.0
        figures.flag[blank] = "dry"
    _unreadable(figures, rules, findings)
    return figures


def _with_marks(column: str, texts: pd.Series, rules: ReadingRules, findings: Findings) -> tuple[pd.Series, pd.Series]:
    """Lay the mark's meaning before the figure, as a person would write both in one cell."""
    marks = findings.texts(rules.mark_from)
    meanings = {tidy_code(mark): meaning for mark, meaning in rules.marks.items()} | {"": ""}
    codes, uniques = pd.factorize(marks)
    prefixes = np.full(len(uniques), "", dtype=object)
    for number, mark in enumerate(uniques):
        meaning = meanings.get(tidy_code(mark))
        if meaning is None:
            findings.problem(
                what=f"unknown mark in {counted(int((codes == number).sum()), 'row')}",
                rule=f"every mark beside {column} has a meaning in the layout",
                next_step=f"say what it means in the layout {findings.layout.name!r}, under readings.{column}.marks",
                code="unknown_code",
                names=rules.mark_from,
                value=str(mark),
                row=int(np.argmax(codes == number)),
            )
            continue
        prefixes[number] = _MARK_TEXTS.get(meaning, meaning)
    prefix = pd.Series(prefixes[codes], index=texts.index, dtype="str")
    needs_figure = prefix.isin(["<", ">", "~"])
    marked = (prefix + " " + texts).str.strip()
    marked = marked.where(~(needs_figure & (texts == "")), "").where(prefix != "unknown", "unknown")
    return marked, (marks + " " + texts).str.strip()


def _units(
    column: str, rules: ReadingRules, findings: Findings, texts: pd.Series
) -> list[tuple[str | None, np.ndarray]]:
    """Return each unit of the column and the rows that are in it."""
    kind = READING_KINDS[column]
    everything = np.ones(len(texts), dtype=bool)
    if not rules.unit_from or not findings.columns_of(rules.unit_from):
        unit = known_unit(rules.unit or DEFAULT_UNITS[kind])
        if unit != DEFAULT_UNITS[kind]:
            findings.notes.append(f"{column}: every figure converted from {unit}")
        return [(rules.unit, everything)]
    spelled = findings.texts(rules.unit_from)
    given = {tidy_code(spelling): unit for spelling, unit in rules.units.items()}
    factors = GPM_PER if kind == "yield" else FEET_PER
    codes, uniques = pd.factorize(spelled)
    units: dict[str, list[int]] = {}
    for number, spelling in enumerate(uniques):
        unit = known_unit(given.get(tidy_code(spelling), spelling)) if spelling else known_unit(rules.unit or "")
        filled = (codes == number) & (texts != "").to_numpy()
        if unit is None or unit not in factors:
            if filled.any():
                findings.problem(
                    what=f"unknown unit in {counted(int(filled.sum()), 'row')}",
                    rule=f"the unit of {column} is one of {', '.join(factors)}, or the layout says what it means",
                    next_step=f"say what it means in the layout {findings.layout.name!r}: readings.{column}.units",
                    code="unknown_unit",
                    names=rules.unit_from,
                    value=str(spelling),
                    row=int(np.argmax(filled)),
                )
            unit = DEFAULT_UNITS[kind]
        elif filled.any() and unit != DEFAULT_UNITS[kind]:
            findings.notes.append(
                f"{column}: {counted(int(filled.sum()), 'figure')} converted from {unit}, by the column of units"
            )
        units.setdefault(unit, []).append(number)
    return [(unit, np.isin(codes, numbers)) for unit, numbers in units.items()] or [(rules.unit, everything)]


def _zeros(figures: Figures, rules: ReadingRules, findings: Findings) -> None:
    zero = (
        (figures.low == 0.0)
        & (figures.high == 0.0)
        & np.isin(figures.flag, ["", "notation", "unit", "own_unit", "uncertain"])
    )
    # Rock that crops out lies at 0 ft whatever a figure of 0 means: the word says so.
    zero &= figures.original.astype(str).str.contains(r"\d").to_numpy()
    at = np.flatnonzero(zero)
    if not len(at):
        return
    meaning = rules.zero
    if figures.column in NEVER_ZERO and meaning == "value":
        meaning = None
    if meaning is None and READING_KINDS[figures.column] != "elevation":
        findings.problem(
            what=f"0 in {counted(len(at), 'row')}, and the layout does not say what that means",
            rule="a layout says what zero means in each column that holds one",
            next_step=f"set zero under readings.{figures.column} in the layout {findings.layout.name!r}",
            code="zero_without_meaning",
            names=rules.from_,
            value="0",
            row=int(at[0]),
        )
    elif meaning == "unknown":
        figures.low[at], figures.high[at], figures.flag[at] = np.nan, np.nan, "zero_unknown"
    elif meaning == "dry":
        figures.high[at], figures.flag[at] = np.nan, "dry"
        if READING_KINDS[figures.column] == "water":
            figures.low[at], figures.high[at] = np.nan, np.inf
    elif meaning == "flowing":
        figures.low[at], figures.high[at] = (
            (-np.inf, 0.0) if READING_KINDS[figures.column] == "water" else (np.nan, np.nan)
        )
        figures.flag[at] = "flowing"
    elif meaning == "hold_back":
        findings.hold(at, "zero_reading", f"{figures.column}: the layout holds back rows with a zero here")


def _unreadable(figures: Figures, rules: ReadingRules, findings: Findings) -> None:
    at = np.flatnonzero(figures.flagged("unreadable"))
    if not len(at):
        return
    texts, flags = figures.original.iloc[at], figures.flag[at]
    whys = np.array(
        [f"{figures.column}: {text!r}: {why_of(flag)}" for text, flag in zip(texts, flags, strict=True)], dtype=object
    )
    if rules.unreadable == "hold_back":
        findings.hold(at, "unreadable_reading", whys)
    else:
        findings.change(at, figures.column, before=texts, after=None, rule="unreadable_as_unknown", why=whys)
        figures.flag[at] = "blank"


def record_changes(figures: Figures, findings: Findings) -> None:
    """Write into the ledger every reading that is not a plain figure, once it is settled."""
    with_unit = int((figures.flag == "own_unit").sum())
    if with_unit:
        findings.notes.append(f"{figures.column}: {counted(with_unit, 'figure')} with the column's own unit behind")
    silent = np.isin(figures.flag, ["", "blank", "own_unit"])
    at = np.flatnonzero(~silent & ~figures.flagged("unreadable"))
    if not len(at):
        return
    codes, uniques = pd.factorize(figures.flag[at])
    rules = np.array([str(flag).replace(" ", "+") for flag in uniques], dtype=object)[codes]
    said = _SAID_OF_WATER if READING_KINDS[figures.column] == "water" else _SAID
    whys = np.array([said.get(str(flag)) or why_of(str(flag)) for flag in uniques], dtype=object)[codes]
    after = interval_text(figures.low[at], figures.high[at])
    findings.change(at, figures.column, before=figures.original.iloc[at], after=after, rule=rules, why=whys)


_SAID = {"zero_unknown": "the layout says that 0 means unknown here"}
_SAID_OF_WATER = {**_SAID, "dry": "no water was met: it stands below the bottom of the hole, if anywhere"}


def to_points(figures: Figures) -> np.ndarray:
    """Return one figure a row for a column that holds no interval; flags say where a bound or a middle stands for it.

    Parameters
    ----------
    figures : Figures
        Its intervals are closed in place.

    Returns
    -------
    ndarray of float, shape (n,)
    """
    low, high = figures.low, figures.high
    value = low.copy()
    open_low, open_high = ~np.isfinite(low), ~np.isfinite(high)
    between = ~open_low & ~open_high & (low != high)
    value[between] = (low[between] + high[between]) / 2.0
    below = figures.flagged("below")
    value[below] = high[below]
    value[open_low & ~open_high] = high[open_low & ~open_high]
    value[~np.isfinite(value)] = np.nan
    figures.low, figures.high = value, value.copy()
    return value


def settle(
    bedrock: Figures | None,
    water: Figures | None,
    rate: Figures | None,
    total_depth_ft: np.ndarray,
    smallest_yield_gpm: float,
) -> None:
    """Settle, in place, the ends that only the rest of the record can tell.

    Parameters
    ----------
    bedrock, water, rate : Figures, optional
    total_depth_ft : ndarray of float, shape (n,)
    smallest_yield_gpm : float
        What a dry hole's yield is less than (`dry_below`); null where nobody
        reports a yield, and then a dry hole's yield stays unknown.
    """
    for figures in (bedrock, water):
        if figures is not None:
            deeper = np.isnan(figures.low) & np.isposinf(figures.high)
            figures.low[deeper] = total_depth_ft[deeper]
            unknown = deeper & np.isnan(total_depth_ft)
            figures.high[unknown] = np.nan
    if rate is not None:
        dry = (rate.low == 0.0) & np.isnan(rate.high)
        rate.high[dry] = smallest_yield_gpm
        if np.isnan(smallest_yield_gpm):
            rate.low[dry] = np.nan


def open_pumped(rate: Figures, yield_method: np.ndarray, methods: tuple[str, ...]) -> None:
    """Open the upper end, in place, of figures that the source calls a least yield (a test pumped at one rate)."""
    if methods:
        exact = np.isfinite(rate.low) & (rate.low == rate.high) & (rate.low > 0.0) & np.isin(yield_method, methods)
        rate.high[exact] = np.inf
        rate.flag[exact] = np.char.lstrip(np.char.add(rate.flag[exact].astype(str), " pumped")).astype(object)


def dry_below(rate: Figures | None, kept: np.ndarray) -> float:
    """Return what a dry hole's yield is less than: the smallest yield in the kept rows, null where none is reported.

    Never more than `DRY_BELOW_GPM`: the weakest of four wells may make 3 gpm, and a hole of 2 would not be called dry.
    """
    if rate is None:
        return float("nan")
    figures = np.where(rate.low > 0.0, rate.low, rate.high)[kept]
    figures = figures[np.isfinite(figures) & (figures > 0.0)]
    return min(float(figures.min()), DRY_BELOW_GPM) if len(figures) else float("nan")


def share_flows(water: Figures | None, rate: Figures | None) -> np.ndarray:
    """Carry over, in place, what one column says about the other.

    "Flowing" among the yields says that the water stands at the ground or
    above; "flows 3 gpm" among the levels gives a yield. Only a blank is filled.

    Returns
    -------
    ndarray of bool, shape (n,)
        Rows whose yield is a natural flow.
    """
    if water is None or rate is None or water.flow_low is None or water.flow_high is None:
        either = water or rate
        return np.zeros(0 if either is None else len(either.flag), dtype=bool)
    from_yield = rate.flagged("flowing") & water.blank
    from_level = np.isfinite(water.flow_low) & rate.blank
    water.low[from_yield], water.high[from_yield], water.flag[from_yield] = -np.inf, 0.0, "flowing"
    water.original = water.original.mask(from_yield, rate.original)
    rate.low[from_level], rate.high[from_level] = water.flow_low[from_level], water.flow_high[from_level]
    rate.flag[from_level] = "flowing"
    rate.original = rate.original.mask(from_level, water.original)
    return rate.flagged("flowing") & np.isfinite(rate.low)
