"""What the columns of an unseen file may be by what stands in them, where their names tell nothing.

Only what can hardly be anything else is guessed so: a pair of columns of
degrees, a column of dates. Each such guess asks to be confirmed.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from wellrecords.sources.column_rules import tidy_name

DATE_FORMATS = (
    "%Y-%m-%d",
    "%m/%d/%Y",
    "%d.%m.%Y",
    "%m/%d/%y",
    "%Y/%m/%d",
    "%d-%b-%Y",
    "%b %d %Y",
    "%B %d, %Y",
    "%B %Y",
    "%b %Y",
    "%m/%Y",
    "%Y%m%d",
    "%Y",
)
_ALSO_NUMBERS = ("%Y%m%d", "%Y")
"""Ways of writing a date that a job number or a depth may fit too: alone they make no column of dates."""
FEWEST_TEXTS = 3
NEARLY_ALL = 0.9
_DEGREES = r"[+-]?\d{1,3}[.,]\d+"
_FINE = r".*[.,]\d{3,}"
"""A place is written to three decimals or more (some 360 ft), a reading hardly ever."""
NARROWEST, WIDEST_DEG = 0.2, 10.0
"""Degrees of a region lie this near to each other, as a share of their middle and at most; readings do not."""
_LATITUDE = re.compile(r"\b(?:lat\w*|north\w*|n|y)\b")
_LONGITUDE = re.compile(r"\b(?:lon\w*|lng|west\w*|east\w*|w|e|x)\b")
_ANOTHER_DAY = re.compile(
    r"permit|receiv|filed|issue|enter|updat|load|sampl|measur|inspect|bill|invoice|paid|due|birth"
)
"""Days in a well's file on which it was not drilled."""


_REMARKS = {
    ("hydrofractured", "yes"): re.compile(r"hydro.?frac|\bfrac(?:'?d|ked|k?ing|)\b|\bfracked\b", re.IGNORECASE),
    ("record_kind", "deepened"): re.compile(r"\bdeepen", re.IGNORECASE),
    ("record_kind", "replaced"): re.compile(r"\breplace", re.IGNORECASE),
    ("record_kind", "repaired"): re.compile(r"\brepair|\brecondition", re.IGNORECASE),
    ("record_kind", "abandoned"): re.compile(r"\babandon|\bplugged\b|\bdecommission", re.IGNORECASE),
}
"""What a column of remarks may say of a well that an estimate reads. "Fractured" alone is said of rock."""
MOST_SPELLINGS = 12
"""Remarks that differ from row to row are no codes: of so many, a list of them would be the file over again."""


@dataclass(frozen=True)
class Found:
    """A column, the role that its contents fit, and what is to be confirmed, in words."""

    column: str
    role: str
    reason: str


def dates_read(texts: pd.Series, form: str) -> pd.Series:
    """Tell which texts are dates in one way of writing."""
    read = pd.to_datetime(texts, format=form, errors="coerce").notna()
    return read & texts.str.fullmatch(r"\d{4}") if form == "%Y" else read


def date_formats(texts: pd.Series) -> tuple[list[str], pd.Series]:
    """Return the ways of writing a date that read some of these texts, and the texts that none reads."""
    formats, left = [], texts
    for form in DATE_FORMATS:
        read = dates_read(left, form)
        if read.any():
            formats.append(form)
            left = left[~read]
    return formats, left


def find_degrees(sample: pd.DataFrame, taken: Collection[str], known: Collection[str]) -> list[Found]:
    """Return the columns of longitudes and latitudes, where it is clear which they are.

    Parameters
    ----------
    sample : pandas.DataFrame
        Rows of the file, as text.
    taken : collection of str
        Columns that are something else by their names.
    known : collection of str
        Which of "longitude" and "latitude" were found by their names.

    Returns
    -------
    list of Found
        Of each role that is not known one column, or nothing.
    """
    axes: dict[str, list[str]] = {"longitude": [], "latitude": [], "": []}
    middles = {}
    for column in map(str, sample.columns):
        if column not in taken and (middle := _middle_degree(sample[column])) is not None:
            axes[_axis(column, middle)].append(column)
            middles[column] = middle
    # A column that may be either is the latitude beside a column that is surely the longitude.
    axes["latitude"] = axes["latitude"] or axes[""]
    wanted = [role for role in ("longitude", "latitude") if role not in known]
    if any(len(axes[role]) != 1 for role in wanted):
        return []
    columns = {role: axes[role][0] for role in wanted}
    shown = ", ".join(f"{column!r} (around {middles[column]:g}) the {role}" for role, column in columns.items())
    reason = f"SAY whether this is so: {shown}, since the figures lie close together and have three decimals or more"
    return [Found(column, role, reason) for role, column in columns.items()]


def find_dates(sample: pd.DataFrame, taken: Collection[str]) -> list[Found]:
    """Return the column of dates, nothing where none or several could be the day of drilling."""
    columns = [
        column
        for column in map(str, sample.columns)
        if column not in taken and not _ANOTHER_DAY.search(tidy_name(column)) and _holds_dates(sample[column])
    ]
    if len(columns) != 1:
        return []
    return [Found(columns[0], "drilled_on", f"SAY whether {columns[0]!r} is the day of drilling: it holds dates")]


def _filled(texts: pd.Series) -> pd.Series | None:
    """Return the texts that are not blank, None where they are too few to tell by."""
    texts = texts.str.strip()
    filled = texts[texts != ""]
    return filled if len(filled) >= max(FEWEST_TEXTS, len(texts) / 2) else None


def _middle_degree(texts: pd.Series) -> float | None:
    """Return the middle of a column of degrees, None where it is something else."""
    filled = _filled(texts)
    if filled is None:
        return None
    fits = filled.str.fullmatch(_DEGREES)
    if fits.mean() < NEARLY_ALL or filled.str.fullmatch(_FINE).mean() < 0.5:
        return None
    values = filled[fits].str.replace(",", ".").astype(float)
    low, middle, high = values.quantile([0.05, 0.5, 0.95])
    narrow = high - low <= min(WIDEST_DEG, NARROWEST * abs(middle))
    return float(middle) if narrow and abs(values).max() <= 180.0 else None


def _axis(column: str, middle: float) -> str:
    """Return which degrees these are by the name, else by the figures, "" where neither tells."""
    name = tidy_name(column)
    latitude, longitude = _LATITUDE.search(name), _LONGITUDE.search(name)
    if abs(middle) > 90.0 or (longitude and not latitude):
        return "longitude"
    if latitude and not longitude:
        return "latitude"
    return "longitude" if middle < 0.0 else ""


def _holds_dates(texts: pd.Series) -> bool:
    filled = _filled(texts)
    if filled is None:
        return False
    formats, left = date_formats(filled)
    numbers = filled.str.fullmatch(r"\d+").mean()
    return bool(set(formats) - set(_ALSO_NUMBERS)) and len(left) <= (1.0 - NEARLY_ALL) * len(filled) and numbers < 0.5


def west_by_name(columns: Collection[str], table: pd.DataFrame) -> bool:
    """Tell whether longitudes are west by their column's name alone: 72.5 under "West"."""
    return all(
        re.search(r"\b(?:west\w*|w)\b", tidy_name(column)) and not table[column].str.contains("-|W", regex=True).any()
        for column in columns
    )


def find_remarks(texts: pd.Series) -> dict[str, dict[str, dict[str, int]]]:
    """Return what a column that fits nothing says here and there of how wells were made.

    Parameters
    ----------
    texts : pandas.Series
        All texts of the column.

    Returns
    -------
    dict
        By role (`hydrofractured`, `record_kind`), canonical code and text:
        how many rows say so. A text that speaks of two codes of a role is
        left out; so is a role of which more than `MOST_SPELLINGS` texts speak.
    """
    counts = texts.str.strip().value_counts()
    found: dict[str, dict[str, dict[str, int]]] = {}
    for text, count in counts.items():
        for role in {role for role, _ in _REMARKS}:
            codes = [code for (of, code), words in _REMARKS.items() if of == role and words.search(str(text))]
            if len(codes) == 1:
                found.setdefault(role, {}).setdefault(codes[0], {})[str(text)] = int(count)
    return {role: said for role, said in sorted(found.items()) if sum(map(len, said.values())) <= MOST_SPELLINGS}
