"""Layers and water zones: out of a column of words, or out of a companion file."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from wellrecords.cleaning.findings import Findings
from wellrecords.errors import counted
from wellrecords.ledger import HELD_BACK_COLUMNS, held_back_rows, stack
from wellrecords.readings import parse_readings
from wellrecords.schema import LAYER_COLUMNS, WATER_ZONE_COLUMNS, conform, empty_table
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.layout import PartRules
from wellrecords.sources.raw import RawTable

_DEPTH = r"\d+(?:\.\d+)?\s*(?:'|(?:ft\.?|feet|m)(?![a-z]))?"
_LAYER = re.compile(
    rf"^(?:from\s+)?(?P<top>{_DEPTH})\s*(?:-|to|–)\s*(?P<bottom>{_DEPTH})\s*[:=,]?\s*(?P<material>\D.*)$", re.IGNORECASE
)
_ZONE = re.compile(
    rf"^(?:at|@)?\s*(?P<depth>{_DEPTH}(?:\s*-\s*{_DEPTH})?)\s*(?:[:=@(-]|\s|w/|with)*\s*(?P<amount>[<>~]?\s*\d.*?|trace|dry|seep)?\)?$",
    re.IGNORECASE,
)
_BETWEEN_ENTRIES = re.compile(r"[;\n|]+|,\s*(?=\d+(?:\.\d+)?\s*(?:'|ft|-|to\b))")


PART_WHY = {
    "no_such_well": "no row of the source has this number",
    "well_held_back": "its well is held back",
    "unreadable_layer": "a layer needs a top, a deeper bottom, and a material",
    "unreadable_zone": "a zone needs a depth, and an amount that can be read",
}
"""Reason for which a row of a companion file is held back -> why."""


def parse_layers(text: str) -> list[tuple[str, str, str]] | None:
    """Cut a formation log in words into (top, bottom, material), None where an entry does not fit.

    Examples
    --------
    >>> parse_layers("0-12 brn clay & bldrs; 12-305 gry granite")
    [('0', '12', 'brn clay & bldrs'), ('12', '305', 'gry granite')]
    """
    entries = [entry.strip() for entry in _BETWEEN_ENTRIES.split(text) if entry.strip()]
    found = [_LAYER.match(entry) for entry in entries]
    if not found or any(match is None for match in found):
        return None
    return [(match["top"].strip(), match["bottom"].strip(), match["material"].strip()) for match in found if match]


def parse_zones(text: str) -> list[tuple[str, str]] | None:
    """Cut a list of water zones into (depth, amount), none where it says that there is none.

    An entry that does not fit makes the whole text unreadable: None.

    Examples
    --------
    >>> parse_zones("120' 2gpm, 210' 4 gpm")
    [("120'", '2gpm'), ("210'", '4 gpm')]
    """
    if text.strip().casefold() in ("none", "dry", "no water", "nil"):
        return []
    entries = [entry.strip() for entry in re.split(r"[;,\n&|]+|\band\b", text) if entry.strip()]
    found = [_ZONE.match(entry) for entry in entries]
    if not found or any(match is None for match in found):
        return None
    return [(match["depth"].strip(), (match["amount"] or "").strip()) for match in found if match]


def convert_layers(findings: Findings) -> tuple[pd.DataFrame, pd.DataFrame, int]:
    """Return the layers, the companion file's rows that are held back, and how many rows it had."""
    rules = findings.layout.layers
    if rules is None:
        return empty_table(LAYER_COLUMNS), empty_table(HELD_BACK_COLUMNS), 0
    if rules.text_from:
        parts = _from_text(findings, rules, parse_layers, "layers")
        parts.columns = ["record_id", "top", "bottom", "material"]
        held, count, rows = empty_table(HELD_BACK_COLUMNS), 0, None
    else:
        raw = findings.raw.parts.get("layers")
        if raw is None:
            return empty_table(LAYER_COLUMNS), empty_table(HELD_BACK_COLUMNS), 0
        parts, rows = _from_file(raw, rules, findings, ("top", "bottom", "material"))
        count = raw.rows_read
    top, bottom = (_depths(parts[name], rules.unit, findings) for name in ("top", "bottom"))
    table = pd.DataFrame(
        {
            "record_id": parts["record_id"],
            "from_ft": top,
            "to_ft": bottom,
            "material": parts["material"],
            "material_class": None,
        }
    )
    sound = (table["from_ft"] >= 0.0) & (table["to_ft"] > table["from_ft"]) & (table["material"] != "")
    if rows is not None:
        held = _held_parts(findings.raw.parts["layers"], findings, parts["record_id"], sound, rows, "unreadable_layer")
    elif (~sound).any():
        findings.notes.append(
            f"layers: {counted(int((~sound).sum()), 'layer')} without thickness left out; the source has the text"
        )
    keep = sound & table["record_id"].notna()
    return _kept(table, keep, rows, LAYER_COLUMNS), held, count


def convert_zones(findings: Findings) -> tuple[pd.DataFrame, pd.DataFrame, int]:
    """Return the water zones, the companion file's rows that are held back, and how many rows it had."""
    rules = findings.layout.water_zones
    if rules is None:
        return empty_table(WATER_ZONE_COLUMNS), empty_table(HELD_BACK_COLUMNS), 0
    if rules.text_from:
        parts = _from_text(findings, rules, parse_zones, "water_zones")
        parts.columns = ["record_id", "depth", "amount"]
        held, count, rows = empty_table(HELD_BACK_COLUMNS), 0, None
    else:
        raw = findings.raw.parts.get("water_zones")
        if raw is None:
            return empty_table(WATER_ZONE_COLUMNS), empty_table(HELD_BACK_COLUMNS), 0
        parts, rows = _from_file(raw, rules, findings, ("depth", "amount"))
        count = raw.rows_read
    depth = _depths(parts["depth"], rules.unit, findings)
    amount = parse_readings(parts["amount"], kind="yield", unit=rules.flow_unit, decimal=findings.layout.file.decimal)
    low, high = amount["low"].to_numpy(copy=True), amount["high"].to_numpy(copy=True)
    open_end = np.isnan(low) | np.isnan(high)  # "trace": a zone was met, how much is not known
    low[open_end], high[open_end] = np.nan, np.nan
    table = pd.DataFrame(
        {"record_id": parts["record_id"], "depth_ft": depth, "yield_gpm_low": low, "yield_gpm_high": high}
    )
    sound = (table["depth_ft"] > 0.0) & ~amount["unreadable"]
    if rows is not None:
        held = _held_parts(
            findings.raw.parts["water_zones"], findings, parts["record_id"], sound, rows, "unreadable_zone"
        )
    elif (~sound).any():
        findings.notes.append(
            f"water_zones: {counted(int((~sound).sum()), 'zone')} without depth left out; the source has the text"
        )
    keep = sound & table["record_id"].notna()
    return _kept(table, keep, rows, WATER_ZONE_COLUMNS), held, count


def _kept(table: pd.DataFrame, keep: pd.Series, rows: np.ndarray | None, columns: dict[str, str]) -> pd.DataFrame:
    """Return what is kept; `part_row` is its row of the companion file, from 0, for the account of these rows."""
    kept = conform(table[keep].reset_index(drop=True), columns)
    return kept if rows is None else kept.assign(part_row=rows[keep.to_numpy(dtype=bool)])


def _from_text(findings: Findings, rules: PartRules, parse: object, column: str) -> pd.DataFrame:
    """Return one row an entry: record_id and the entry's parts; an unreadable text is a change to nothing."""
    texts = findings.texts(rules.text_from)
    codes, uniques = pd.factorize(texts)
    parsed = [parse(text) if text else [] for text in uniques]  # type: ignore[operator]
    bad = np.array([entries is None for entries in parsed], dtype=bool)
    at = np.flatnonzero(bad[codes])
    findings.change(
        at,
        column,
        before=texts.iloc[at],
        after=None,
        rule="unreadable_as_unknown",
        why="no rule can cut the text into entries; it stays in the source",
    )
    kept = np.flatnonzero(~findings.held & ~bad[codes] & (texts != "").to_numpy())
    counts = np.array([len(entries or []) for entries in parsed], dtype=int)[codes[kept]]
    record_ids = np.repeat(findings.records["record_id"].to_numpy()[kept], counts)
    width = 3 if column == "layers" else 2
    entries = [entry for code in codes[kept] for entry in parsed[code] or []]
    table = pd.DataFrame(entries, columns=[f"part_{number}" for number in range(width)]).astype("str")
    table.insert(0, "record_id", record_ids)
    return table


def _from_file(
    raw: RawTable, rules: PartRules, findings: Findings, parts: tuple[str, ...]
) -> tuple[pd.DataFrame, np.ndarray]:
    """Return the companion file's rows with the record of each: null where the source has no such well."""
    by_name = {tidy_name(str(column)): str(column) for column in raw.table.columns}
    columns = {}
    for part in ("key", *parts):
        names = getattr(rules, part)
        column = next((by_name[tidy_name(name)] for name in names if tidy_name(name) in by_name), None)
        if column is None:
            findings.problem(
                what=f"the companion file {raw.file} has no column for {part}",
                rule=f"it is called one of: {', '.join(names) or '(the layout names none)'}",
                next_step="mend the layout, or the file",
                code="missing_column",
            )
            continue
        columns[part] = raw.table[column].str.strip()
    if len(columns) <= len(parts):
        empty = {"record_id": pd.Series(dtype="str"), **{part: pd.Series(dtype="str") for part in parts}}
        return pd.DataFrame(empty), np.zeros(0, dtype=int)
    names = findings.layout.text["source_record_id"].from_ if "source_record_id" in findings.layout.text else ()
    wells = pd.DataFrame({"key": findings.texts(names), "record_id": findings.records["record_id"]})
    wells = wells[wells["key"] != ""]
    # A report that was keyed twice has its layers once: they go with each of its records, for the merge to choose.
    table = pd.DataFrame({"key": columns["key"], "row": np.arange(len(raw.table)), **{p: columns[p] for p in parts}})
    table = table.merge(wells, on="key", how="left")
    return table, table["row"].to_numpy()


def _held_parts(
    raw: RawTable, findings: Findings, record_ids: pd.Series, sound: pd.Series, rows: np.ndarray, reason: str
) -> pd.DataFrame:
    unknown = record_ids.isna().to_numpy()
    held_ids = set(findings.records["record_id"].to_numpy()[findings.held])
    with_held = record_ids.isin(held_ids).to_numpy()
    reasons = np.where(
        unknown, "no_such_well", np.where(~sound.to_numpy(), reason, np.where(with_held, "well_held_back", ""))
    )
    table = pd.DataFrame({"row": rows, "reason": reasons})
    table["rank"] = (table["reason"] != "").astype(int)
    best = table.sort_values(["row", "rank"], kind="stable").drop_duplicates("row")
    best = best[best["reason"] != ""]
    whys = best["reason"].map(PART_WHY)
    mine = held_back_rows(
        raw.table.iloc[best["row"]],
        source=findings.layout.name,
        file=raw.file,
        file_row=raw.file_row[best["row"]],
        reason=best["reason"].to_numpy(dtype=object),
        why=whys.to_numpy(dtype=object),
    )
    return stack([raw.rejected, mine], HELD_BACK_COLUMNS)


def _depths(texts: pd.Series, unit: str, findings: Findings) -> np.ndarray:
    read = parse_readings(texts, kind="depth", unit=unit, decimal=findings.layout.file.decimal)
    low, high = read["low"].to_numpy(), read["high"].to_numpy()
    middle = (low + high) / 2.0
    return np.where(np.isfinite(middle), middle, np.nan)
