"""Dates as people write them, and those that may be two days."""

from datetime import date

import pytest

from wellrecords.typed_dates import DATE_RULE, typed_date

TODAY = date(2026, 11, 28)


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("2026-05-31", date(2026, 5, 31)),
        (" 2026-5-3 ", date(2026, 5, 3)),
        ("5/31/2026", date(2026, 5, 31)),
        ("05/06/2026", date(2026, 5, 6)),
        ("11/28/26", TODAY),
        ("1/2/46", date(1946, 1, 2)),
        ("1/2/99", date(1999, 1, 2)),
        ("2/29/00", date(2000, 2, 29)),
    ],
)
def test_iso_and_month_first_are_read(text, read):
    assert typed_date(text, TODAY) == read


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("28/11/2026", "the month stands first, and there is no month 28"),
        ("2026-13-01", "no such day"),
        ("2/30/2026", "no such day"),
        ("2/29/1900", "no such day"),
        ("11/29/26", "2026-11-29 is still to come, and 1926-11-29 long ago; write the year with four digits"),
        ("1/2/45", "2045-01-02 is still to come"),
        ("5-6-2026", DATE_RULE),
        ("5.6.2026", DATE_RULE),
        ("5/6/126", DATE_RULE),
        ("5/2026", DATE_RULE),
        ("May", DATE_RULE),
        ("", DATE_RULE),
    ],
)
def test_what_is_no_date_or_may_be_two_is_refused(text, rule):
    with pytest.raises(ValueError, match=rule.split("(")[0]):
        typed_date(text, TODAY)
