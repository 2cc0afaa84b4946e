"""Lots in: from a map file of lots, or one place; their faults told together."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from wellrecords.errors import Problem, ProblemsError, WellRecordsError, counted
from wellrecords.lot_wishes import WISHES, given, heading_like, wishes_of
from wellrecords.schema import WGS84

CSV_NAMES = {"lot_id": ("lot_id", "lot"), "latitude": ("latitude", "lat"), "longitude": ("longitude", "long", "lon")}
"""What a CSV of lots must have, and the headings by which it is known."""
FAR_FROM_DEGREES = 1_000.0
"""No slip of degrees: a coordinate beyond it counts metres or feet."""
TABLES = (".csv", ".tsv", ".txt")
WORKBOOKS = (".xlsx", ".xls", ".ods", ".xlsm", ".xlsb")
WHAT_LOTS_ARE = "a GeoJSON or GeoPackage of lots, or a CSV with lot_id, latitude and longitude"


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
    if path.suffix.lower() in WORKBOOKS:
        msg = (
            f"The lots file {path} is a workbook, which is not read. Next: save its sheet as CSV, with the columns "
            "lot_id, latitude and longitude (degrees), and name that."
        )
        raise WellRecordsError(msg)
    try:
        lots = _read_csv(path) if path.suffix.lower() in TABLES else _counted(gpd.read_file(path))
    except WellRecordsError:
        raise
    except Exception as error:
        # What the reader says names its own drivers, which help nobody.
        what = "table" if path.suffix.lower() in TABLES else "map"
        msg = f"The lots file {path} cannot be read as a {what} of lots. Next: name {WHAT_LOTS_ARE}."
        raise WellRecordsError(msg) from error
    _check_table(lots, path)
    lots = _checked_lots(lots, path)
    lots = lots.to_crs(WGS84).assign(lot_id=lots["lot_id"].astype(str))
    return choose_lots(lots, lot_ids, path)


def choose_lots(lots: gpd.GeoDataFrame, lot_ids: Iterable[str], path: str | Path) -> gpd.GeoDataFrame:
    """Return some lots of a file.

    Parameters
    ----------
    lots : GeoDataFrame
        All of the file, from `read_lots`.
    lot_ids : iterable of str
        As in `read_lots`.
    path : path
        Of the file.

    Raises
    ------
    WellRecordsError
        A lot is not in it.
    """
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
    rule = f"a CSV of lots has {', '.join(CSV_NAMES)}, the places in degrees (WGS84)"
    problems = [
        _missing(role, list(table.columns), path, rule, f"add {role}, or give the lots as a GeoJSON")
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
                next_step="give degrees: it looks like metres or feet of a map's grid"
                if degrees[role].abs()[row] > FAR_FROM_DEGREES
                else "mend the cell",
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
    if table.empty:
        raise WellRecordsError(_no_lot(path, "give each lot a row below the header"))
    rest = table.drop(columns=[column for column in found.values() if column is not None])
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


def _check_table(lots: gpd.GeoDataFrame, path: Path) -> None:
    """Refuse a map file that cannot be one of lots: no lot, no names, no system, or no degrees where it says none."""
    if not len(lots):
        raise WellRecordsError(_no_lot(path, "draw the lots in it, each with its lot_id"))
    problems: list[Problem] = []

    def note(what: str, rule: str, next_step: str, **where: Any) -> None:
        problems.append(Problem(what=what, rule=rule, next_step=next_step, file=str(path), code="lots", **where))

    if "lot_id" not in lots:
        problems.append(_missing("lot_id", list(lots.columns), path, "each lot has a name of its own", "add lot_id"))
    if not isinstance(lots, gpd.GeoDataFrame):
        note("the file has no places", "each lot is a point or a polygon", f"give {WHAT_LOTS_ARE}")
    elif lots.crs is None:
        note("the lots have no coordinate system", "places must be known", "save the file with its system")
    else:
        problems += _off_the_earth(lots, path)
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")


def _off_the_earth(lots: gpd.GeoDataFrame, path: Path) -> list[Problem]:
    """Return one problem where places are no degrees: such a file has its system missing or wrong, for all its lots."""
    drawn = lots[~(lots.geometry.isna() | lots.geometry.is_empty)]
    bounds = drawn.to_crs(WGS84).bounds
    # Just over 180 degrees is the other side of the date line.
    within = (bounds[["minx", "maxx"]].abs() <= 360.0).all(axis=1) & (bounds[["miny", "maxy"]].abs() <= 90.0).all(
        axis=1
    )
    off = drawn[~within]
    if off.empty or lots.crs is None:
        return []
    first, places = off.geometry.iloc[0].representative_point(), f"the places of {counted(len(off), 'lot')}"
    if lots.crs.is_geographic:
        what = f"{places} are no degrees; they look like metres or feet of a map's grid"
        rule = "places of a file that names no other coordinate system are degrees, longitude first (-70.05, 45.21)"
        next_step = (
            "name the system in the file (`crs` of a GeoJSON), or save the lots as a GeoPackage with their system, or "
            "in degrees (WGS84)"
        )
    else:
        what = f"{places} lie where the file's coordinate system has no ground"
        rule = f"places are given in the system that the file names ({lots.crs.name})"
        next_step = "save the file with the system that the places are in"
    where: dict[str, Any] = {"file": str(path), "row": int(off.index[0]), "column": "geometry"}
    return [Problem(what, rule, next_step, **where, value=f"{first.x:.10g}, {first.y:.10g}", code="lots")]


def _no_lot(path: Path, next_step: str) -> str:
    return f"The lots file {path} holds no lot. Next: {next_step}."


def _missing(role: str, columns: Sequence[Any], path: Path, rule: str, next_step: str) -> Problem:
    """Return the problem of a column that is missing, with the one that may be meant."""
    meant = heading_like(role, [column for column in columns if column != "geometry"])
    return Problem(
        what=f"the column {role} is missing",
        rule=rule,
        next_step=f"rename the column {meant!r} to {role}, if that is meant" if meant else next_step,
        file=str(path),
        column=role,
        code="lots",
    )


def _checked_lots(lots: gpd.GeoDataFrame, path: Path) -> gpd.GeoDataFrame:
    """Return lots with their wishes as numbers, blank cells empty.

    Raises
    ------
    ProblemsError
        Every fault of every lot.
    """
    problems: list[Problem] = []

    def note(what: str, rule: str, next_step: str, **where: Any) -> None:
        problems.append(Problem(what=what, rule=rule, next_step=next_step, file=str(path), code="lots", **where))

    twice = lots["lot_id"].astype(str).duplicated()
    wishes = []
    for place, (row, lot) in enumerate(zip(lots.index, lots.to_dict("records"), strict=True)):
        where = {"row": int(row), "column": "lot_id", "value": str(lot["lot_id"])}
        if not given(lot["lot_id"]):
            note("the lot has no name", "each lot has a lot_id", "give it one", row=int(row), column="lot_id")
        elif twice.iloc[place]:
            note("two lots have one name", "each lot_id stands once", "rename one of them", **where)
        if lot["geometry"] is None or lot["geometry"].is_empty:
            note("the lot has no place", "each lot is a point or a polygon", "draw it", **where)
        numbers, faults = wishes_of(lot, {"file": str(path), "row": int(row)})
        wishes.append(numbers)
        problems += faults
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
    numbers_of = pd.DataFrame(wishes, index=lots.index, columns=[name for name in WISHES if name in lots], dtype=float)
    texts = {
        name: lots[name].astype(object).where(lots[name].map(given), None)
        for name in ("name", "main_rock")
        if name in lots
    }
    return lots.assign(**dict(numbers_of.items()), **texts)
