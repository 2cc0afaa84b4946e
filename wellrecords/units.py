"""Units of length and flow, as well records spell them.

Every canonical column is in feet, inches or US gallons a minute; this module
holds the exact factors and the spellings. Constants are exact by definition
unless their comment says otherwise.

>>> round(to_feet(100.0, "m"), 3)
328.084
>>> round(to_gpm(1.0, "L/s"), 3)
15.85
"""

from __future__ import annotations

import re
from typing import TypeVar

import numpy as np

Value = TypeVar("Value", float, np.ndarray)

M_PER_FT = 0.3048
"""Metres in an international foot, exact (NIST; 84 FR 55562 of 17 October 2019)."""
FT_PER_M = 1.0 / M_PER_FT
M_PER_MILE = 5280.0 * M_PER_FT
"""Metres in an international mile, exact by definition (NIST Handbook 44, Appendix C)."""
M_PER_US_SURVEY_FT = 1200.0 / 3937.0
"""Metres in a US survey foot, exact (NIST); in old coordinates, and not for depths."""
L_PER_GAL = 3.785411784
"""Litres in a US gallon of 231 cubic inches, exact (NIST Handbook 44, appendix C; from memory)."""
L_PER_IMPERIAL_GAL = 4.54609
"""Litres in an imperial gallon, exact (UK Units of Measurement Regulations 1995; from memory)."""
GAL_PER_FT3 = 1728.0 / 231.0
"""US gallons in a cubic foot, exact: 1,728 cubic inches over 231."""
IN_PER_FT = 12.0
MM_PER_IN = 25.4
MIN_PER_DAY = 1440.0

FEET_PER: dict[str, float] = {
    "ft": 1.0,
    "in": 1.0 / IN_PER_FT,
    "yd": 3.0,
    "m": FT_PER_M,
    "cm": FT_PER_M / 100.0,
    "mm": FT_PER_M / 1000.0,
    "us_survey_ft": M_PER_US_SURVEY_FT / M_PER_FT,
}
"""Feet in one of each unit of length."""

GPM_PER: dict[str, float] = {
    "gpm": 1.0,
    "qt/min": 0.25,
    "gph": 1.0 / 60.0,
    "gpd": 1.0 / MIN_PER_DAY,
    "igpm": L_PER_IMPERIAL_GAL / L_PER_GAL,
    "igph": L_PER_IMPERIAL_GAL / L_PER_GAL / 60.0,
    "igpd": L_PER_IMPERIAL_GAL / L_PER_GAL / MIN_PER_DAY,
    "L/s": 60.0 / L_PER_GAL,
    "L/min": 1.0 / L_PER_GAL,
    "L/h": 1.0 / 60.0 / L_PER_GAL,
    "m3/h": 1000.0 / 60.0 / L_PER_GAL,
    "m3/d": 1000.0 / MIN_PER_DAY / L_PER_GAL,
    "m3/s": 60000.0 / L_PER_GAL,
    "ft3/s": 60.0 * GAL_PER_FT3,
    "ft3/min": GAL_PER_FT3,
}
"""US gallons a minute in one of each unit of flow."""

_SPELLINGS: dict[str, str] = {
    "ft": "ft foot feet ' ′ ’ fbgs fbgl fbg ftbgs ftbgl bgs",
    "in": "in inch inches \" ″ ” ''",
    "yd": "yd yard yards",
    "m": "m metre metres meter meters mtr mtrs mbgs mbgl",
    "cm": "cm centimetre centimetres centimeter centimeters",
    "mm": "mm millimetre millimetres millimeter millimeters",
    "us_survey_ft": "us_survey_ft ftus us-ft usft",
    "gpm": "gpm gal/min gals/min gallons/min gallonsperminute gallonpermin galpermin galsperminute "
    "gallons/minute gal/m g/m usgpm gpmus usgal/min usgalpermin usgallons/min usgallonsperminute galpm "
    "gal gals gallon gallons",
    "qt/min": "qt/min qts/min quart/min quarts/min quartsperminute quartperminute quarts/minute qtpermin qtspermin qpm",
    "gph": "gph gal/h gal/hr gal/hour gallonsperhour gallons/hour gals/hr gals/h",
    "gpd": "gpd gal/d gal/day gallonsperday gallons/day gals/day gals/d",
    "igpm": "igpm impgpm gpmimp gpmimperial imperialgpm impgal/min impgals/min imperialgal/min "
    "imperialgallonsperminute imperialgallons/min impgallons/min impgalpermin ig/min ig/m igal/min ukgpm ukgal/min",
    "igph": "igph impgph impgal/h impgal/hr imperialgallonsperhour",
    "igpd": "igpd impgpd impgal/d impgal/day imperialgallonsperday",
    "L/s": "l/s l/sec lps ltr/s litres/s liters/s litres/sec liters/sec litrespersecond literspersecond ls-1 l/second",
    "L/min": "l/min l/m lpm ltr/min lpermin litres/min liters/min litresperminute litersperminute l/minute lmin-1",
    "L/h": "l/h l/hr lph litres/h liters/h litresperhour litersperhour",
    "m3/h": "m3/h m³/h m3/hr m³/hr m^3/h cmh cum/h cum/hr m3/hour m3perhour cubicmetresperhour cubicmetersperhour",
    "m3/d": "m3/d m³/d m3/day m³/day m^3/d m^3/day cmd cum/d cum/day m3perday cubicmetresperday cubicmetersperday",
    "m3/s": "m3/s m³/s m^3/s m3/sec cumec cumecs",
    "ft3/s": "ft3/s cfs ft³/s cuft/s cuft/sec cubicfeetpersecond cusec",
    "ft3/min": "ft3/min cfm ft³/min cuft/min cubicfeetperminute",
}


def _bare(text: str) -> str:
    """Return a spelling without its blanks, points and brackets, in lower case."""
    return re.sub(r"[\s.()]+", "", text).lower()


UNIT_OF_SPELLING: dict[str, str] = {_bare(word): unit for unit, words in _SPELLINGS.items() for word in words.split()}
"""Spelling, bare -> unit."""


def known_unit(text: str) -> str | None:
    """Return the unit that a spelling stands for, None where it is unknown.

    Parameters
    ----------
    text : str
        As a record spells it; case and blanks do not matter.

    Returns
    -------
    str or None
        A key of `FEET_PER` or `GPM_PER`.

    Examples
    --------
    >>> known_unit("Gal / Min"), known_unit("Litres/sec"), known_unit("furlong")
    ('gpm', 'L/s', None)
    """
    return UNIT_OF_SPELLING.get(_bare(text))


def to_feet(value: Value, unit: str) -> Value:
    """Return a length in international feet.

    Parameters
    ----------
    value : float or ndarray
        In `unit`; null and infinity pass through.
    unit : str
        A spelling of a unit of length.

    Raises
    ------
    ValueError
        Where the unit is not a known unit of length.
    """
    return value * _factor(unit, FEET_PER, "length")


def to_inches(value: Value, unit: str) -> Value:
    """Return a length in inches; see `to_feet`."""
    return value * (_factor(unit, FEET_PER, "length") * IN_PER_FT)


def to_gpm(value: Value, unit: str) -> Value:
    """Return a flow in US gallons a minute.

    Parameters
    ----------
    value : float or ndarray
        In `unit`; null and infinity pass through.
    unit : str
        A spelling of a unit of flow.

    Raises
    ------
    ValueError
        Where the unit is not a known unit of flow.
    """
    return value * _factor(unit, GPM_PER, "flow")


def _factor(unit: str, factors: dict[str, float], kind: str) -> float:
    known = unit if unit in factors else known_unit(unit)
    if known is None or known not in factors:
        msg = f"{unit!r} is not a known unit of {kind}. Known: {', '.join(factors)}."
        raise ValueError(msg)
    return factors[known]
