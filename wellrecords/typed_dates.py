"""Dates as people and spreadsheets write them: ISO, or month first with slashes; never a guess.

A log that is opened and saved in a spreadsheet of this country has its dates
as 11/28/2026 afterwards, or as 11/28/26.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

DATE_RULE = (
    "a date is written 2026-05-31, or month first with slashes as 5/31/2026; what may be two days (5-6-2026, "
    "5.6.2026) is not guessed"
)
LONG_AGO_YEARS = 80
_ISO = re.compile(r"(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})")
_SLASHES = re.compile(r"(?P<month>\d{1,2})/(?P<day>\d{1,2})/(?P<year>\d{4}|\d{2})")


def typed_date(text: str, today: date | None = None) -> date:
    """Return the date that a text writes.

    Parameters
    ----------
    text : str
    today : datetime.date, optional
        A year of two digits is the latest one whose day is not after this, unless that lies `LONG_AGO_YEARS` back:
        then a day to come may be meant. By default today.

    Raises
    ------
    ValueError
        With the rule, where it is no date or may be another.

    Examples
    --------
    >>> typed_date("11/28/2026"), typed_date("2026-11-28")
    (datetime.date(2026, 11, 28), datetime.date(2026, 11, 28))
    >>> typed_date("28/11/2026")
    Traceback (most recent call last):
    ValueError: with slashes the month stands first, and there is no month 28; write it as 2026-05-31
    """
    bare = text.strip()
    found = _ISO.fullmatch(bare) or _SLASHES.fullmatch(bare)
    if found is None:
        raise ValueError(DATE_RULE)
    year, month, day = (int(found[part]) for part in ("year", "month", "day"))
    if month > 12 and "/" in bare:
        msg = f"with slashes the month stands first, and there is no month {month}; write it as 2026-05-31"
        raise ValueError(msg)
    try:
        if len(found["year"]) == 4:
            return date(year, month, day)
        today = today or datetime.now(UTC).astimezone().date()
        this_century = today.year - today.year % 100
        ours = date(this_century + year, month, day)
        if ours <= today:
            return ours
        theirs = date(this_century - 100 + year, month, day)
    except ValueError as error:
        msg = "there is no such day in the calendar; write it as 2026-05-31"
        raise ValueError(msg) from error
    if theirs.year < today.year - LONG_AGO_YEARS:
        msg = f"{ours} is still to come, and {theirs} long ago; write the year with four digits, as 2026-05-31"
        raise ValueError(msg)
    return theirs
