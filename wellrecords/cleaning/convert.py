"""Raw rows to canonical rows: every row is kept or held back, every change is written down."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.cleaning.codes import blank_code, convert_codes, convert_dates
from wellrecords.cleaning.figures import (
    Figures,
    dry_below,
    open_pumped,
    read_figures,
    record_changes,
    settle,
    share_flows,
    to_points,
)
from wellrecords.cleaning.findings import Findings
from wellrecords.cleaning.parts import convert_layers, convert_zones
from wellrecords.cleaning.positions import convert_positions
from wellrecords.cleaning.told import equal_rows, mended_places, mostly_unknown
from wellrecords.errors import ProblemsError, counted
from wellrecords.land_grid import LandLayers
from wellrecords.ledger import HELD_BACK_COLUMNS, check_rows, stack
from wellrecords.places import Bounds
from wellrecords.reading_words import DRY_BELOW_GPM, TOTAL_WORDS
from wellrecords.schema import INTERVAL_QUANTITIES, TEXT, WELL_COLUMNS
from wellrecords.sources.column_rules import CODE_SETS, TEXT_COLUMNS, tidy_name
from wellrecords.sources.layout import Layout
from wellrecords.sources.raw import RawTable

MATCHING_COLUMNS = ("permit", "owner", "address")
"""Texts that serve matching only: they are dropped before anything is stored."""


@dataclass(frozen=True)
class Converted:
    """One source's rows in canonical columns, and the account of them.

    Parameters
    ----------
    wells : pandas.DataFrame
        The columns of `WELL_COLUMNS`, the texts of `MATCHING_COLUMNS`,
        `file_row` (int64) and, of a workbook with several, `sheet`; the index holds the labels of ``raw.table``.
    layers, water_zones : pandas.DataFrame
        The child tables of these wells.
    changes, held_back : pandas.DataFrame
        The ledger's tables.
    rows_read : int
        ``len(wells) + len(held_back)``, always.
    notes : tuple of str
        What was done to whole columns, and what was seen.
    parts_held_back : pandas.DataFrame
        Rows of companion files that are held back.
    parts_rows_read : dict of str to int
        Rows of each companion file.
    mended, unread : dict of str to str
        Places that were mended, a sentence a rule; columns of which most
        could not be read, a sentence each. Both stand in the notes too, as does
    copied : tuple of str
        What is said of rows that are the same as another.
    """

    wells: pd.DataFrame
    layers: pd.DataFrame
    water_zones: pd.DataFrame
    changes: pd.DataFrame
    held_back: pd.DataFrame
    rows_read: int
    notes: tuple[str, ...]
    parts_held_back: pd.DataFrame
    parts_rows_read: dict[str, int]
    mended: dict[str, str]
    unread: dict[str, str]
    copied: tuple[str, ...]


def convert_source(
    raw: RawTable,
    layout: Layout,
    *,
    private: bool | None = None,
    bounds: Bounds | None = None,
    outline: object | None = None,
    land: LandLayers | None = None,
    smallest_yield_gpm: float | None = None,
    today: dt.date | None = None,
) -> Converted:
    """Convert a source's rows by its layout.

    Parameters
    ----------
    raw : RawTable
        From `read_source`.
    layout : Layout
    private : bool, optional
        Whether the records are the firm's own; by default what the layout says.
    bounds : sequence of float, optional
        West, south, east, north of the region in degrees; rows outside are held back.
    outline : geopandas.GeoDataFrame, optional
        The region's land; rows off it are held back.
    land : LandLayers, optional
        Section and parcel layers, for records that say no more.
    smallest_yield_gpm : float, optional
        What a dry hole's yield is less than; by default the smallest yield
        that this source reports, `DRY_BELOW_GPM` at most.
    today : datetime.date, optional
        By which two-digit years are read; by default the day of the run.

    Returns
    -------
    Converted

    Raises
    ------
    ProblemsError
        With every unknown code, missing column, unknown unit and undefined
        zero of the file at once; nothing is returned then.
    """
    private = layout.private if private is None else private
    findings = Findings(raw, layout, private)
    findings.notes.extend(raw.notes)
    _check_columns(findings)
    findings.records["record_id"] = record_ids(findings)
    table: dict[str, object] = {"record_id": findings.records["record_id"], "source": layout.name}
    for column in TEXT_COLUMNS:
        texts = findings.texts(layout.text[column].from_) if column in layout.text else pd.Series("", raw.table.index)
        table[column] = texts.where(texts != "", None)
    for column in CODE_SETS:
        if column in layout.codes:
            table[column] = convert_codes(column, layout.codes[column], findings)
        else:
            table[column] = np.full(findings.count, layout.fixed.get(column, blank_code(column)), dtype=object)
    for column, rules in layout.dates.items():
        table[column] = convert_dates(column, rules, findings, today or dt.date.today())
    _hold_totals(findings)
    positions = convert_positions(findings, bounds=bounds, outline=outline, land=land)
    table["longitude"], table["latitude"] = positions.longitude, positions.latitude
    table["position_method"], table["position_error_m"] = positions.method, positions.error_m
    _lay_figures(table, findings, smallest_yield_gpm)
    table["hydrofractured"] = pd.Series(table["hydrofractured"], dtype=object).map({"yes": True, "no": False})
    table["private"] = private
    layers, held_layers, layers_read = convert_layers(findings)
    zones, held_zones, zones_read = convert_zones(findings)
    if findings.problems:
        raise ProblemsError(findings.problems, f"{raw.file} cannot be converted by the layout {layout.name!r}")
    wells = _wells(table, findings)
    held_back = findings.held_back()
    check_rows(raw.rows_read, kept=len(wells), held_back=len(held_back))
    changes = findings.changes()
    unread, mended, copied = mostly_unknown(findings, changes), mended_places(changes), equal_rows(findings)
    return Converted(
        wells=wells,
        layers=_of_wells(layers, wells),
        water_zones=_of_wells(zones, wells),
        changes=changes,
        held_back=held_back,
        rows_read=raw.rows_read,
        notes=(*findings.notes, *unread.values(), *mended.values(), *copied),
        mended=mended,
        unread=unread,
        copied=tuple(copied),
        parts_held_back=stack([held_layers, held_zones], HELD_BACK_COLUMNS),
        parts_rows_read={
            name: count for name, count in (("layers", layers_read), ("water_zones", zones_read)) if name in raw.parts
        },
    )


def _hold_totals(findings: Findings) -> None:
    """Hold back a spreadsheet's rows of totals: one of their words stands in front, and no place anywhere."""
    named = (names for rules in findings.layout.positions for _, names in rules.column_lists())
    placed = {"point x"} | {tidy_name(name) for names in named for name in names}
    table = findings.raw.table
    columns = [column for column in table.columns if tidy_name(str(column)) in placed]
    total = np.zeros(findings.count, dtype=bool)
    for column in table.columns[:2]:
        total |= table[column].str.strip().str.rstrip(" :.").str.casefold().isin(TOTAL_WORDS).to_numpy()
    at = np.flatnonzero(total)
    if len(at):
        at = at[(table.iloc[at][columns] == "").all(axis=1).to_numpy()]
    findings.hold(at, "total_row", "a row of totals, no well")


def _wells(table: dict[str, object], findings: Findings) -> pd.DataFrame:
    """Return the rows that are kept; the columns leave `table` one by one, so that none is held twice."""
    kept = np.flatnonzero(~findings.held)
    index = findings.raw.table.index[kept]
    wells = {}
    for name, dtype in {**WELL_COLUMNS, **dict.fromkeys(MATCHING_COLUMNS, TEXT)}.items():
        column = table.pop(name, None)
        if isinstance(column, (pd.Series, np.ndarray)):
            column = column.iloc[kept] if isinstance(column, pd.Series) else pd.Series(column[kept], index=index)
            wells[name] = column.astype(dtype).set_axis(index)
        else:
            wells[name] = pd.Series(column, index=index, dtype=dtype)
    wells["file_row"] = pd.Series(findings.raw.file_row[kept], index=index)
    if "sheet" in findings.records:
        wells["sheet"] = findings.records["sheet"].iloc[kept].astype(TEXT).set_axis(index)
    return pd.DataFrame(wells, index=index)


def _of_wells(parts: pd.DataFrame, wells: pd.DataFrame) -> pd.DataFrame:
    """Return the layers or zones whose well is kept."""
    if parts.empty:
        return parts
    ids = pd.Index(wells["record_id"].to_numpy(dtype=object))
    return parts[ids.get_indexer(parts["record_id"].to_numpy(dtype=object)) >= 0].reset_index(drop=True)


def _check_columns(findings: Findings) -> None:
    """Record a problem for each column that the layout needs and the file lacks; note those that nobody knows."""
    layout, raw = findings.layout, findings.raw
    for purpose, names, optional in layout.column_lists():
        if not optional and not findings.columns_of(names):
            findings.problem(
                what=f"no column for {purpose}",
                rule=f"the layout {layout.name!r} looks for one of: {', '.join(names)}",
                next_step="add this file's name for it to the layout, or mark it optional there",
                code="missing_column",
            )
    known = layout.known_names()
    strange = [str(column) for column in raw.table.columns if tidy_name(str(column)) not in known]
    strange = [column for column in strange if column not in ("sheet", "point x", "point y")]
    if strange:
        findings.notes.append(f"columns that the layout does not name were left out: {', '.join(strange)}")


def record_ids(findings: Findings) -> np.ndarray:
    """Return an id for each row that stays the same over refreshes, whatever the order of the rows.

    An id is the source's own number. Where that is missing, or stands in
    several rows that differ, a hash of the row's text is part of it, so that
    no row takes over the id of another. Rows that are equal in every text
    get a number behind it; which of them gets which does not matter.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    ndarray of object, shape (n,)
    """
    layout = findings.layout
    rules = layout.text.get("source_record_id")
    own = findings.texts(rules.from_) if rules else pd.Series("", index=findings.raw.table.index, dtype="str")
    ids = (layout.name + ":" + own).to_numpy(dtype=object)
    repeated = own.duplicated(keep=False).to_numpy() | (own == "").to_numpy()
    at = np.flatnonzero(repeated)
    if not len(at):
        return ids
    shared = int((own.duplicated(keep=False) & (own != "")).sum())
    for count, said in ((shared, "with the number of another row"), (int((own == "").sum()), "without a number")):
        if count:
            findings.notes.append(f"record_id: {counted(count, 'row')} {said}, told apart by content")
    hashes = _content_hashes(findings, at)
    pairs = pd.DataFrame({"own": own.iloc[at].to_numpy(dtype=object), "hash": hashes})
    alone = (pairs.groupby("own")["hash"].transform("nunique") == 1) & (pairs["own"] != "")
    base = np.where(alone, ids[at], layout.name + ":" + pairs["own"] + "#" + pairs["hash"])
    again = pd.Series(base).groupby(base).cumcount().to_numpy()
    ids[at] = np.where(again == 0, base, [f"{name}~{number + 1}" for name, number in zip(base, again, strict=True)])
    return ids


def _content_hashes(findings: Findings, rows: np.ndarray) -> list[str]:
    """Return a short hash of the texts that the layout reads, blind to the order of columns."""
    used = {}
    for purpose, names, _ in findings.layout.column_lists():
        used[purpose] = findings.texts(names).iloc[rows]
    if "point x" in findings.raw.table:
        used["point"] = findings.texts(("point x",)).iloc[rows] + " " + findings.texts(("point y",)).iloc[rows]
    texts = pd.DataFrame(dict(sorted(used.items()))).to_numpy(dtype=object)
    return [hashlib.blake2b("\x1f".join(row).encode("utf-8"), digest_size=5).hexdigest() for row in texts]


def _lay_figures(table: dict[str, object], findings: Findings, smallest_yield_gpm: float | None) -> None:
    """Read the readings, settle them, and lay them in their canonical columns."""
    intervals: dict[str, Figures] = {}
    for column, rules in findings.layout.readings.items():
        figures = read_figures(column, rules, findings)
        if column in INTERVAL_QUANTITIES:
            intervals[column] = figures
        else:
            table[column] = to_points(figures)
            record_changes(figures, findings)
    bedrock, water, rate = (intervals.get(name) for name in INTERVAL_QUANTITIES)
    flowing = share_flows(water, rate)
    total_depth = table.get("total_depth_ft", np.full(findings.count, np.nan))
    if smallest_yield_gpm is None:
        smallest_yield_gpm = dry_below(rate, ~findings.held)
    if rate is not None and rate.flagged("dry", "trace").any():
        amount = (
            f"{smallest_yield_gpm:g} gpm" if np.isfinite(smallest_yield_gpm) else "not known: nobody reports a yield"
        )
        known = "half a gallon a minute" if smallest_yield_gpm == DRY_BELOW_GPM else "the smallest reported yield"
        findings.notes.append(f"yield_gpm: a dry hole yields between 0 and {known}, {amount}")
    if rate is not None:
        methods = findings.layout.readings["yield_gpm"].at_least_methods
        open_pumped(rate, np.asarray(table["yield_method"], dtype=object), methods)
    settle(bedrock, water, rate, np.asarray(total_depth, dtype=float), smallest_yield_gpm)
    for column, each in intervals.items():
        table[f"{column}_low"], table[f"{column}_high"] = each.low, each.high
        record_changes(each, findings)
    method = np.asarray(table["yield_method"], dtype=object)
    natural = np.flatnonzero(flowing & (method == "unknown")) if len(flowing) else np.zeros(0, dtype=int)
    if len(natural) and rate is not None:
        method[natural] = "flowing"
        findings.change(
            natural,
            "yield_method",
            before=rate.original.iloc[natural],
            after="flowing",
            rule="flowing",
            why="the text says that the well flows",
        )
        table["yield_method"] = method
