"""Numbers as people type them: with thousands commas and a dollar sign, and refused with any unit but their own behind.

A unit that is dropped in silence may be the wrong one: "93 m" is no 93 ft.
"""

from __future__ import annotations

import re
from collections.abc import Collection

_GROUPED = re.compile(r"[+-]?\$?\s*\d{1,3}(?:,\d{3})+(?:\.\d*)?")
_PLAIN = re.compile(r"[+-]?\$?\s*(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_WITH_UNIT = re.compile(r"([+-]?\$?\s*(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d+)?)\s*([A-Za-z'\"%′″°²³/][\w'\"%′″°²³/ ]*\.?)")


FEET = ("ft", "feet", "foot", "'", "′")
INCHES = ("in", "inch", "inches", '"', "″")
DOLLARS = ("usd", "dollars")


def typed_number(text: str, units: Collection[str] = ()) -> float:
    """Return the number that a text writes.

    Parameters
    ----------
    text : str
    units : collection of str
        How the number's own unit is written, in small letters: it may stand behind. By default none may.

    Raises
    ------
    ValueError
        With the rule and what to write, where it is no number alone.

    Examples
    --------
    >>> typed_number("1,305"), typed_number("$9,800.50"), typed_number(" 42 ")
    (1305.0, 9800.5, 42.0)
    >>> typed_number("340'", FEET), typed_number("1,340 Ft.", FEET)
    (340.0, 1340.0)
    >>> typed_number("93 m")
    Traceback (most recent call last):
    ValueError: it is a number alone, without a unit ('m'); in the unit of its name, as 305 or 1,305
    """
    bare = text.strip()
    found = _WITH_UNIT.fullmatch(bare)
    if found and found[2].strip().rstrip(".").casefold() in units:
        bare = found[1].strip()
    if _GROUPED.fullmatch(bare) or _PLAIN.fullmatch(bare):
        return float(bare.replace(",", "").replace("$", "").replace(" ", ""))
    if found and any(letter.isdigit() for letter in found[1]):
        msg = f"it is a number alone, without a unit ({found[2].strip()!r}); in the unit of its name, as 305 or 1,305"
        raise ValueError(msg)
    msg = "it is a number, as 305, 1,305 or 0.5"
    raise ValueError(msg)
