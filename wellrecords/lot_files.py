"""Lots in: from a map file of lots, or one place; their faults told together."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.schema import WGS84

ESTIMATE_WISHES = ("target_yield_gpm", "max_depth_ft")
DEMAND_WISHES = ("persons", "bedrooms", "garden_area_ft2", "lawn_area_ft2", "fixtures", "peak_gpm")
"""What a lot may wish for itself, over the region's settings."""
LOT_COLUMNS = ("lot_id", "name", "main_rock", *ESTIMATE_WISHES, *DEMAND_WISHES)
"""The columns of a file of lots that are read."""
MEANT = {
    "target_yield_gpm": ("gpm", "target", "target_gpm", "yield", "yield_gpm", "wanted_gpm"),
    "max_depth_ft": ("depth", "depth_ft", "max_depth", "depth_limit", "depth_limit_ft", "limit", "limit_ft"),
    "persons": ("people", "occupants", "residents", "household", "heads", "family"),
    "bedrooms": ("beds", "bdrms", "br"),
    "garden_area_ft2": ("garden", "garden_ft2", "garden_sqft", "garden_sq_ft", "garden_area"),
    "lawn_area_ft2": ("lawn", "lawn_ft2", "lawn_sqft", "lawn_sq_ft", "lawn_area", "irrigated_ft2"),
    "peak_gpm": ("peak", "peak_flow", "peak_flow_gpm"),
    "main_rock": ("rock", "rock_type", "bedrock", "geology"),
}
"""Other headings for what a lot may say: options of the commands, and words of people."""
CSV_NAMES = {"lot_id": ("lot_id", "lot"), "latitude": ("latitude", "lat"), "longitude": ("longitude", "long", "lon")}
"""What a CSV of lots must have, and the headings by which it is known."""
ALIKE = 0.7
"""A column so like a wish (`target_gpm`, `bedroms`) may be one misspelt, which would be passed over in silence."""


def read_lots(path: str | Path, lot_ids: Iterable[str] = ()) -> gpd.GeoDataFrame:
    """Read a file of lots.

    Parameters
    ----------
    path : path
        GeoJSON, GeoPackage or another format that pyogrio reads, with a
        column `lot_id` and points or polygons in a known coordinate system;
        or CSV with `lot_id` (or `lot`), `latitude` and `longitude` in degrees
        (WGS84), and the lots' wishes.
    lot_ids : iterable of str
        Only these lots, in any case unless two differ by it alone; all where none is named.

    Returns
    -------
    geopandas.GeoDataFrame
        WGS84, one row a lot, `lot_id` as text.

    Raises
    ------
    WellRecordsError
        If the file cannot be read.
    ProblemsError
        One problem a faulty lot.
    """
    path = Path(path)
    if not path.exists():
        msg = f"There is no lots file {path}. Next: name a GeoJSON, a GeoPackage or a CSV of lots."
        raise WellRecordsError(msg)
    try:
        lots = _read_csv(path) if path.suffix.lower() == ".csv" else _counted(gpd.read_file(path))
    except ProblemsError:
        raise
    except Exception as error:
        # What the reader says names its own drivers, which help nobody.
        what = "table" if path.suffix.lower() == ".csv" else "map"
        msg = (
            f"The lots file {path} cannot be read as a {what} of lots. Next: name a GeoJSON or GeoPackage of lots, or "
            "a CSV with lot_id, latitude and longitude."
        )
        raise WellRecordsError(msg) from error
    _check_lots(lots, path)
    lots = lots.to_crs(WGS84).assign(lot_id=lots["lot_id"].astype(str))
    wanted = as_written(lot_ids, list(lots["lot_id"]))
    if unknown := sorted(set(wanted) - set(lots["lot_id"])):
        known = ", ".join(lots["lot_id"])
        msg = f"There is no lot {', '.join(unknown)} in {path}. Lots: {known}. Next: name one of these."
        raise WellRecordsError(msg)
    return (lots[lots["lot_id"].isin(wanted)] if wanted else lots).reset_index(drop=True)


def _read_csv(path: Path) -> gpd.GeoDataFrame:
    """Read lots from a table, a name and a place in degrees; its index is the row, that of the header being 1."""
    text = _decoded(path.read_bytes())
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    table = pd.read_csv(io.StringIO(text), sep=delimiter, dtype=str, keep_default_na=False, skip_blank_lines=False)
    table.columns = [str(column).strip() for column in table.columns]
    table = table.apply(lambda column: column.str.strip())
    table = table[(table != "").any(axis=1)]
    table.index += 2
    by_name = {column.lower(): column for column in table.columns}
    found = {
        role: next((by_name[name] for name in names if name in by_name), None) for role, names in CSV_NAMES.items()
    }
    problems = [
        Problem(
            what=f"the column {role} is missing",
            rule=f"a CSV of lots has {', '.join(CSV_NAMES)}, the places in degrees (WGS84)",
            next_step=f"add {role}, or give the lots as a GeoJSON",
            file=str(path),
            column=role,
            code="lots",
        )
        for role, column in found.items()
        if column is None
    ]
    degrees = {}
    for role, most in (("latitude", 90.0), ("longitude", 180.0)):
        if (column := found[role]) is None:
            continue
        degrees[role] = pd.to_numeric(table[column], errors="coerce")
        wrong = ~(degrees[role].abs() <= most)
        problems += [
            Problem(
                what=f"{role} is no number of degrees",
                rule=f"{role} is between -{most:g} and {most:g}, as -70.05 or 45.21 (west and south are negative)",
                next_step="mend the cell",
                file=str(path),
                row=int(row),
                column=column,
                value=str(text),
                code="lots",
            )
            for row, text in table.loc[wrong, column].items()
        ]
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
    rest = table.drop(columns=[column for column in found.values() if column is not None])
    for name in (*ESTIMATE_WISHES, *DEMAND_WISHES):
        if name in rest:
            # A wish that is no number stays as it is written: the check of the lots names its cell.
            numbers = pd.to_numeric(rest[name].replace("", None), errors="coerce").astype(float)
            unread = numbers.isna() & (rest[name] != "")
            rest[name] = numbers.astype(object).where(~unread, rest[name]) if unread.any() else numbers
    names = table[found["lot_id"]].replace("", None)
    points = gpd.points_from_xy(degrees["longitude"], degrees["latitude"])
    return gpd.GeoDataFrame(rest.assign(lot_id=names), geometry=points, crs=WGS84)


def _counted(lots: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return lots with the features of a map file counted from 1: it has no header."""
    return lots.set_index(pd.RangeIndex(1, len(lots) + 1))


def _decoded(raw: bytes) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def misspelt_wishes(lots: gpd.GeoDataFrame) -> dict[str, str]:
    """Return the columns that look like a wish and are none, each with the wish that may be meant."""
    meant = {}
    for column in lots.columns.difference([*LOT_COLUMNS, "geometry"]):
        wish = _wish_like(str(column))
        # A lot that says it under its right name too loses nothing.
        if wish and (_filled(lots[column]) & ~(_filled(lots[wish]) if wish in lots else False)).any():
            meant[str(column)] = wish
    return meant


def _wish_like(column: str) -> str | None:
    """Return the column that a heading may be meant for.

    >>> _wish_like("Lawn ft2"), _wish_like("people"), _wish_like("bedroms"), _wish_like("deed_book")
    ('lawn_area_ft2', 'persons', 'bedrooms', None)
    """
    plain = re.sub(r"[^a-z0-9]+", "_", column.lower()).strip("_")
    known = next((wish for wish, names in MEANT.items() if plain in names), None)
    return known or next(iter(get_close_matches(plain, (*ESTIMATE_WISHES, *DEMAND_WISHES), 1, ALIKE)), None)


def _filled(values: pd.Series) -> pd.Series:
    return values.notna() & (values.astype(str).str.strip() != "")


def as_written(wanted: Iterable[str], known: list[str]) -> list[str]:
    """Return names of lots as they are known, where they differ from one that is known by case alone.

    Parameters
    ----------
    wanted : iterable of str
    known : list of str
        Where two of them differ by case alone, a name must be written as one of them is.

    Examples
    --------
    >>> as_written(["l-101", "L-9"], ["L-101", "L-102"])
    ['L-101', 'L-9']
    """
    by_folded: dict[str, list[str]] = {}
    for lot_id in known:
        by_folded.setdefault(lot_id.casefold(), []).append(lot_id)
    meant = []
    for name in wanted:
        alike = by_folded.get(name.casefold(), [])
        meant.append(alike[0] if name not in known and len(alike) == 1 else name)
    return meant


def lot_at(longitude: float, latitude: float, lot_id: str = "here") -> gpd.GeoDataFrame:
    """Return a point as a table of one lot.

    Parameters
    ----------
    longitude, latitude : float
        Degrees WGS84.
    lot_id : str, default="here"

    Raises
    ------
    WellRecordsError
        If the place is not on earth.
    """
    if not (-180 <= longitude <= 180 and -90 <= latitude <= 90):
        msg = (
            f"{longitude}, {latitude} is no place: longitude first (-180 to 180, west negative), "
            "then latitude (-90 to 90)."
        )
        raise WellRecordsError(msg)
    return gpd.GeoDataFrame({"lot_id": [lot_id]}, geometry=gpd.points_from_xy([longitude], [latitude]), crs=WGS84)


def lots_at(places: Sequence[tuple[float, float]]) -> gpd.GeoDataFrame:
    """Return points as a table of lots: one is "here", of several the first is A.

    Parameters
    ----------
    places : sequence of (longitude, latitude)
        Degrees WGS84; at least one.

    Examples
    --------
    >>> list(lots_at([(-70.0, 45.2), (-70.1, 45.3)])["lot_id"])
    ['A', 'B']
    """
    names = ["here"] if len(places) == 1 else [_letters(number) for number in range(len(places))]
    lots = [lot_at(*place, name) for place, name in zip(places, names, strict=True)]
    return gpd.GeoDataFrame(pd.concat(lots, ignore_index=True), crs=WGS84)


def _letters(number: int) -> str:
    """Return A for 0, Z for 25, AA for 26, as spreadsheets name their columns."""
    letters = ""
    while number >= 0:
        letters = chr(ord("A") + number % 26) + letters
        number = number // 26 - 1
    return letters


def given(value: Any) -> bool:
    """Tell whether a cell of a lot holds something."""
    return value is not None and not (isinstance(value, float) and np.isnan(value)) and value is not pd.NA


def _check_lots(lots: gpd.GeoDataFrame, path: Path) -> None:
    problems: list[Problem] = []

    def note(what: str, rule: str, next_step: str, **where: Any) -> None:
        problems.append(Problem(what=what, rule=rule, next_step=next_step, file=str(path), code="lots", **where))

    if "lot_id" not in lots:
        note("the column lot_id is missing", "each lot has a name of its own", "add lot_id", column="lot_id")
    if not isinstance(lots, gpd.GeoDataFrame) or lots.crs is None:
        note("the lots have no coordinate system", "places must be known", "save the file with its system")
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
    twice = lots["lot_id"].astype(str).duplicated()
    for place, (row, lot) in enumerate(zip(lots.index, lots.to_dict("records"), strict=True)):
        where = {"row": int(row), "column": "lot_id", "value": str(lot["lot_id"])}
        if not given(lot["lot_id"]):
            note("the lot has no name", "each lot has a lot_id", "give it one", row=int(row), column="lot_id")
        elif twice.iloc[place]:
            note("two lots have one name", "each lot_id stands once", "rename one of them", **where)
        if lot["geometry"] is None or lot["geometry"].is_empty:
            note("the lot has no place", "each lot is a point or a polygon", "draw it", **where)
        for name in (*ESTIMATE_WISHES, *DEMAND_WISHES):
            value = lot.get(name)
            if given(value) and not (isinstance(value, int | float) and value >= 0):
                cell = {"row": int(row), "column": name, "value": str(value)}
                note(f"{name} is no number", "it is a number, not below 0", f"mend it for lot {lot['lot_id']}", **cell)
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
