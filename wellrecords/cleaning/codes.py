"""Codes and dates of a source to canonical ones."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from wellrecords.cleaning.findings import Findings
from wellrecords.errors import counted
from wellrecords.sources.column_rules import CodeRules, DateRules, tidy_code

BLANK_CODES: dict[str, str | None] = {"record_kind": "new", "hydrofractured": None}
"""Code of an empty cell where the layout says nothing; "unknown" for any other column."""

SPREADSHEET_EPOCH = np.datetime64("1899-12-30", "us")
"""Day 0 of the day counts that spreadsheets write for dates."""


def blank_code(column: str, rules: CodeRules | None = None) -> str | None:
    """Return the code of an empty cell."""
    return rules.blank if rules is not None and rules.blank is not None else BLANK_CODES.get(column, "unknown")


def convert_codes(column: str, rules: CodeRules, findings: Findings, rows: np.ndarray | None = None) -> np.ndarray:
    """Return the canonical code of each row; problems for spellings that nobody has classified.

    Parameters
    ----------
    column : str
        Canonical name, for the ledger and the errors.
    rules : CodeRules
    findings : Findings
    rows : ndarray of bool, optional
        Rows that are asked; the ledger and the problems leave the others out.

    Returns
    -------
    ndarray of object, shape (n,)
    """
    texts = findings.texts(rules.from_)
    codes, uniques = pd.factorize(texts)
    empty = blank_code(column, rules)
    meaning = np.full(len(uniques), empty, dtype=object)
    fate = np.full(len(uniques), "", dtype=object)
    exact = {spelling for spelling, _ in rules.classified()}
    listed = {tidy_code(spelling) for spelling in exact}
    for number, text in enumerate(uniques):
        if not tidy_code(text):
            continue
        place, code = rules.place_of(text)
        meaning[number] = code or empty
        fate[number] = place or "unknown"
        if place == "canonical" and tidy_code(text) in listed and text not in exact:
            fate[number] = "letter_case"
    asked = np.ones(len(texts), dtype=bool) if rows is None else rows
    row_fate = fate[codes]
    row_meaning = meaning[codes]
    for name, rule, why in (
        ("mend", "mended_code", "the layout lists the spelling as a misspelling of this code"),
        (
            "letter_case",
            "letter_case",
            "the spelling differs from the source's code in its letter case or its blanks only",
        ),
        ("ignore", "ignored_code", "the layout lists the spelling as one that says nothing"),
    ):
        at = np.flatnonzero((row_fate == name) & asked)
        findings.change(at, column, before=texts.iloc[at], after=row_meaning[at], rule=rule, why=why)
    at = np.flatnonzero((row_fate == "hold_back") & asked)
    whys = np.array([f"{column}: the layout holds back rows of code {text!r}" for text in texts.iloc[at]], dtype=object)
    findings.hold(at, "not_a_well", whys)
    _unknown_codes(column, findings, codes[(row_fate == "unknown") & asked], uniques, codes, rules)
    return row_meaning


def _unknown_codes(
    column: str, findings: Findings, asked: np.ndarray, uniques: pd.Index, codes: np.ndarray, rules: CodeRules
) -> None:
    numbers, counts = np.unique(asked, return_counts=True)
    for number, count in sorted(zip(numbers, counts, strict=True), key=lambda pair: (-pair[1], str(uniques[pair[0]]))):
        spelling, row = str(uniques[number]), int(np.argmax(codes == number))
        quoted = spelling.startswith('"') != spelling.endswith('"')
        hint = f"; the file may hold a stray quote at row {findings.raw.file_row[row]}" if quoted else ""
        findings.problem(
            what=f"unknown code in {counted(count, 'row')}",
            rule=f"every spelling of {column} is classified in the layout as canonical, mend, ignore or hold_back",
            next_step=f"classify it in the layout {findings.layout.name!r}, under codes.{column}{hint}",
            code="unknown_code",
            names=rules.from_,
            value=spelling,
            row=row,
        )


def convert_dates(column: str, rules: DateRules, findings: Findings, today: dt.date) -> np.ndarray:
    """Return the date of each row as datetime64[us], null where there is none that can be read.

    A date that is known to the month or the year only becomes the first day
    of it, and is recorded. A year of two digits is the latest one that is
    not in the future.

    Parameters
    ----------
    column : str
    rules : DateRules
    findings : Findings
    today : datetime.date

    Returns
    -------
    ndarray of datetime64[us], shape (n,)
    """
    if rules.from_:
        texts = findings.texts(rules.from_)
        formats = rules.formats
    else:
        texts, formats = _joined(rules, findings), ("%Y-%m-%d", "%Y-%m", "%Y")
    codes, uniques = pd.factorize(texts)
    words = pd.Series(uniques, dtype="str")
    dates = np.full(len(words), np.datetime64("NaT"), dtype="datetime64[us]")
    fate = np.full(len(words), "unreadable_date", dtype=object)
    fate[(words == "").to_numpy()] = ""
    missing = words.str.casefold().isin([text.casefold() for text in rules.missing]).to_numpy()
    fate[missing] = "unknown_date"
    for number, form in enumerate((*formats, *rules.mend_formats)):
        waiting = np.flatnonzero(fate == "unreadable_date")
        if not len(waiting):
            break
        read = _read(words.iloc[waiting], form, today)
        done = ~np.isnat(read)
        dates[waiting[done]] = read[done]
        vague = form != "spreadsheet_days" and not ("%d" in form or "%j" in form)
        fate[waiting[done]] = "mended_date" if number >= len(formats) else "date_not_to_the_day" if vague else ""
    dates_of_rows, fate_of_rows = dates[codes], fate[codes]
    for rule, why in (
        ("mended_date", "the layout lists this way of writing as a mistake that can be read"),
        ("date_not_to_the_day", "the day is not given: the first day of the month or the year stands for it"),
        ("unknown_date", "the layout lists the text as standing for an unknown date"),
        ("unreadable_date", "no format of the layout can read the text as a date"),
    ):
        at = np.flatnonzero(fate_of_rows == rule)
        if rule == "unreadable_date" and rules.unreadable == "hold_back":
            whys = np.array(
                [f"{column}: {text!r} is no date in a format of the layout" for text in texts.iloc[at]], object
            )
            findings.hold(at, rule, whys)
            continue
        days = dates_of_rows[at]
        after = np.datetime_as_string(days, unit="D").astype(object)
        after[np.isnat(days)] = None
        findings.change(at, column, before=texts.iloc[at], after=after, rule=rule, why=why)
    return dates_of_rows


def _joined(rules: DateRules, findings: Findings) -> pd.Series:
    """Write year, month and day as one text; a missing month or day leaves the date vague."""
    year, month, day = (findings.texts(names) for names in (rules.year, rules.month, rules.day))
    year, month, day = (part.str.replace(r"\.0$", "", regex=True) for part in (year, month, day))
    year = year.where(~year.str.fullmatch(r"\d{1,3}"), year.str.zfill(4))
    text = year + ("-" + month.str.zfill(2)).where(month != "", "")
    return text + ("-" + day.str.zfill(2)).where((day != "") & (month != ""), "")


def _read(words: pd.Series, form: str, today: dt.date) -> np.ndarray:
    if form == "spreadsheet_days":
        days = pd.to_numeric(words.where(words.str.fullmatch(r"\d{4,5}(?:\.0)?")), errors="coerce").to_numpy(
            dtype=float
        )
        dates = np.full(len(words), np.datetime64("NaT"), dtype="datetime64[us]")
        good = np.isfinite(days)
        dates[good] = SPREADSHEET_EPOCH + days[good].astype(np.int64).astype("timedelta64[D]")
        return dates
    # `exact` would still let an ISO format match its own beginning: "1955" is no date to the day
    read = pd.to_datetime(words, format=form, errors="coerce", exact=True).to_numpy(dtype="datetime64[us]", copy=True)
    if form == "%Y-%m-%d":
        read[~words.str.fullmatch(r"\d{4}-\d{1,2}-\d{1,2}").to_numpy(dtype=bool)] = np.datetime64("NaT")
    elif form == "%Y-%m":
        read[~words.str.fullmatch(r"\d{4}-\d{1,2}").to_numpy(dtype=bool)] = np.datetime64("NaT")
    if "%y" in form:
        future = read > np.datetime64(today, "us")
        shifted = pd.to_datetime(pd.Series(read[future])) - pd.DateOffset(years=100)
        read[future] = shifted.to_numpy(dtype="datetime64[us]", copy=True)
    return read
