"""What a lot may wish for itself: its columns, what may stand in their cells, and what else may be meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.demand import MOST_OF
from wellrecords.errors import Problem, counted
from wellrecords.typed_numbers import FEET, typed_number

GPM = ("gpm", "gal/min")
FT2 = ("ft2", "ft²", "sq ft", "sqft", "sf", "square feet")


@dataclass(frozen=True)
class Wish:
    """What a wish may be.

    Parameters
    ----------
    seldom_below, usual : float
        Less or more is seldom wished: it is taken, and asked about.
    most : float
        More is a slip, and refused.
    units : tuple of str
        How the wish's own unit is written, which may stand behind the number.
    may_be_0 : bool, default=False
        Elsewhere a 0 is what a spreadsheet writes for an empty cell.
    whole : bool, default=False
        Whether it is counted.
    """

    seldom_below: float
    usual: float
    most: float
    units: tuple[str, ...] = ()
    may_be_0: bool = False
    whole: bool = False


DEEPEST_LIMIT_FT = 5_000.0
"""No drilling firm's rig for house wells goes deeper."""

ESTIMATE_WISHES = {
    "target_yield_gpm": Wish(0.1, 100.0, 5_000.0, GPM),
    "max_depth_ft": Wish(50.0, 2_000.0, DEEPEST_LIMIT_FT, FEET),
}
DEMAND_WISHES = {
    "persons": Wish(1.0, 20.0, MOST_OF["persons"]),
    "bedrooms": Wish(1.0, 12.0, MOST_OF["bedrooms"]),
    "garden_area_ft2": Wish(0.0, 90_000.0, MOST_OF["garden_area_ft2"], FT2, may_be_0=True),
    "lawn_area_ft2": Wish(0.0, 90_000.0, MOST_OF["lawn_area_ft2"], FT2, may_be_0=True),
    "fixtures": Wish(1.0, 30.0, MOST_OF["fixtures"], whole=True),
    "peak_gpm": Wish(1.0, 30.0, MOST_OF["peak_gpm"], GPM),
}
"""What a lot may wish for itself, over the region's settings. What is usual, and what is a slip, is our own judgement:
the one is only asked about, and the other ten times what any house's well is asked for."""
WISHES = ESTIMATE_WISHES | DEMAND_WISHES
LOT_COLUMNS = ("lot_id", "name", "main_rock", *WISHES)
"""The columns of a file of lots that are read."""
MEANT = {
    "lot_id": ("lot", "lotid", "lot_no", "lot_nr", "lot_number", "lot_name", "id", "parcel", "parcel_id"),
    "latitude": ("lat", "lat_dd"),
    "longitude": ("lon", "long", "lng", "lon_dd", "long_dd"),
    "target_yield_gpm": ("gpm", "target", "target_gpm", "yield", "yield_gpm", "wanted_gpm"),
    "max_depth_ft": ("depth", "depth_ft", "max_depth", "depth_limit", "depth_limit_ft", "limit", "limit_ft"),
    "persons": ("people", "occupants", "residents", "household", "heads", "family"),
    "bedrooms": ("beds", "bdrms", "br"),
    "garden_area_ft2": ("garden", "garden_ft2", "garden_sqft", "garden_sq_ft", "garden_area"),
    "lawn_area_ft2": ("lawn", "lawn_ft2", "lawn_sqft", "lawn_sq_ft", "lawn_area", "irrigated_ft2"),
    "peak_gpm": ("peak", "peak_flow", "peak_flow_gpm"),
    "main_rock": ("rock", "rock_type", "bedrock", "geology"),
}
"""Other headings for what a lot must and may say: options of the commands, and words of people."""
PLACE_ROLES = ("lot_id", "latitude", "longitude")
"""What a lot must say; all else in `MEANT` it may."""
ASKED_AT_MOST = 12
"""Of unusual wishes: more lines of one file are no slips."""
ALIKE = 0.7
"""A column so like a wish (`target_gpm`, `bedroms`) may be one misspelt, which would be passed over in silence."""


def given(value: Any) -> bool:
    """Tell whether a cell of a lot holds something.

    >>> [given(value) for value in (0, "x", None, float("nan"), " ")]
    [True, True, False, False, False]
    """
    if isinstance(value, str):
        return bool(value.strip())
    return value is not None and not (isinstance(value, float) and np.isnan(value)) and value is not pd.NA


def wishes_of(lot: Mapping[str, Any], where: Mapping[str, Any]) -> tuple[dict[str, float], list[Problem]]:
    """Return the wishes of a lot as numbers, and the faults of those that cannot be.

    Parameters
    ----------
    lot : mapping
        Its cells by column; a wish may be a number or a text.
    where : mapping
        `file` and `row`, for the messages.
    """
    wishes, problems = {}, []
    for name in WISHES:
        value = lot.get(name)
        if not given(value):
            continue
        number, fault = _number(name, value)
        if fault is None:
            wishes[name] = number
            continue
        problems.append(
            Problem(
                what=f"{name} {fault[0]}",
                rule=fault[1],
                next_step=f"mend the cell of lot {lot.get('lot_id')}, or empty it",
                column=name,
                value=str(value),
                code="lots",
                **where,
            )
        )
    if {"persons", "bedrooms"} <= set(wishes):
        problems.append(
            Problem(
                what="persons and bedrooms are both given",
                rule="each alone says how large the house is",
                next_step=f"empty one of the cells of lot {lot.get('lot_id')}",
                column="persons, bedrooms",
                value=f"{wishes['persons']:g}, {wishes['bedrooms']:g}",
                code="lots",
                **where,
            )
        )
    return wishes, problems


def wish_fault(name: str, number: float) -> tuple[str, str] | None:
    """Return what is wrong with a wish, and the rule; None where nothing is.

    Parameters
    ----------
    name : str
        Of `WISHES`.
    number : float

    Examples
    --------
    >>> wish_fault("max_depth_ft", 50_000.0)
    ('is far too much: a digit too many?', 'it is at most 5,000')
    >>> wish_fault("lawn_area_ft2", 0.0) is None
    True
    """
    wish = WISHES[name]
    if number == 0 and not wish.may_be_0:
        return "is 0", "it must be above 0; an empty cell takes what the settings say"
    if number < 0:
        return "is below 0", f"it must be {'0 or more' if wish.may_be_0 else 'above 0'}"
    if number > wish.most:
        return "is far too much: a digit too many?", f"it is at most {wish.most:,.0f}"
    if wish.whole and number != round(number):
        return "is no whole number", "it is counted, as 8"
    return None


def unusual(name: str, number: float) -> str | None:
    """Say that a wish is more or less than is usual, as a digit too many or too few makes it; None where it is not.

    >>> unusual("persons", 44.0)
    'persons is 44, and more than 20 is seldom wished: a digit too many?'
    >>> unusual("max_depth_ft", 5.0)
    'max_depth_ft is 5, and less than 50 is seldom wished: a digit too few?'

    Parameters
    ----------
    name : str
        Of `WISHES`.
    number : float
    """
    wish = WISHES[name]
    if number > wish.usual:
        return f"{name} is {number:,.10g}, and more than {wish.usual:,g} is seldom wished: a digit too many?"
    if number < wish.seldom_below:
        return f"{name} is {number:,.10g}, and less than {wish.seldom_below:,g} is seldom wished: a digit too few?"
    return None


def unusual_wishes(lots: gpd.GeoDataFrame) -> list[str]:
    """Return what is to be asked of wishes that are read, each with its lot; of many the first.

    Parameters
    ----------
    lots : GeoDataFrame
        From `lot_files.read_lots`.
    """
    told = [f"lot {lot['lot_id']}: {said}" for lot in lots.to_dict("records") for said in _asked_of(lot)]
    more = len(told) - ASKED_AT_MOST
    return told if more <= 0 else [*told[:ASKED_AT_MOST], f"and {counted(more, 'more number')} as seldom."]


def _asked_of(lot: Mapping[str, Any]) -> list[str]:
    """Return what is to be asked of a lot's wishes."""
    wishes = {name: float(lot[name]) for name in WISHES if given(lot.get(name))}
    asked = [said for name, number in wishes.items() if (said := unusual(name, number))]
    if {"fixtures", "peak_gpm"} <= set(wishes):
        asked.append("fixtures and peak_gpm are both given: the peak is that of the fixtures, 1 gpm each.")
    return asked


def misspelt_wishes(lots: gpd.GeoDataFrame) -> dict[str, str]:
    """Return the columns that look like a wish and are none, each with the wish that may be meant."""
    meant = {}
    for column in lots.columns.difference([*LOT_COLUMNS, "geometry"]):
        wish = _wish_like(str(column))
        # A lot that says it under its right name too loses nothing.
        if wish and (_filled(lots[column]) & ~(_filled(lots[wish]) if wish in lots else False)).any():
            meant[str(column)] = wish
    return meant


def heading_like(role: str, columns: Iterable[Any]) -> str | None:
    """Return the column that may be meant for one that is missing.

    Parameters
    ----------
    role : str
        Such as "lot_id".
    columns : iterable
        Of the file.

    Examples
    --------
    >>> heading_like("lot_id", ["owner", "LotID"]), heading_like("latitude", ["Latitude (deg)", "lon"])
    ('LotID', 'Latitude (deg)')
    >>> heading_like("lot_id", ["owner", "acres"]) is None
    True
    """
    by_plain = {_plain(str(column)): str(column) for column in columns}
    known = next((by_plain[name] for name in (role, *MEANT[role]) if name in by_plain), None)
    close = get_close_matches(role, by_plain, 1, ALIKE)
    return known or (by_plain[close[0]] if close else None)


def _number(name: str, value: Any) -> tuple[float, tuple[str, str] | None]:
    """Return a wish's number and its fault."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value), wish_fault(name, float(value))
    try:
        number = typed_number(str(value), WISHES[name].units)
    except ValueError as error:
        return np.nan, ("is no number", str(error))
    return number, wish_fault(name, number)


def _wish_like(column: str) -> str | None:
    """Return the column that a heading may be meant for.

    >>> _wish_like("Lawn ft2"), _wish_like("people"), _wish_like("bedroms"), _wish_like("deed_book")
    ('lawn_area_ft2', 'persons', 'bedrooms', None)
    """
    plain = _plain(column)
    known = next((wish for wish, names in MEANT.items() if plain in names and wish not in PLACE_ROLES), None)
    return known or next(iter(get_close_matches(plain, WISHES, 1, ALIKE)), None)


def _plain(column: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", column.lower()).strip("_")


def _filled(values: pd.Series) -> pd.Series:
    return values.notna() & (values.astype(str).str.strip() != "")
