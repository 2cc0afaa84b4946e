"""One source, from its file to rows that have been judged one by one: read, mended by hand, converted, ruled on."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.cleaning.convert import Converted, convert_source
from wellrecords.cleaning.lithology import Vocabulary, read_lithology
from wellrecords.cleaning.parts import PART_WHY
from wellrecords.cleaning.rules import FLAG_COLUMNS, Rule, apply_rules, flag_rows
from wellrecords.errors import counted
from wellrecords.held_back import Mending, mend, mending_changes, read_mended
from wellrecords.land_grid import LandLayers
from wellrecords.ledger import CHANGE_COLUMNS, HELD_BACK_COLUMNS, check_rows, held_back_rows, stack
from wellrecords.settings import Settings, SourceSettings
from wellrecords.sources import Layout, RawTable, read_source

SHOWN_ROWS = 5


@dataclass(frozen=True)
class CleanedSource:
    """One source, read and judged; `columns` are those of its file, in their order."""

    name: str
    columns: tuple[str, ...]
    wells: pd.DataFrame
    layers: pd.DataFrame
    water_zones: pd.DataFrame
    changes: pd.DataFrame
    held_back: pd.DataFrame
    flags: pd.DataFrame
    parts_held_back: pd.DataFrame
    unknown_words: pd.DataFrame
    rows_read: int
    mended: int
    notes: tuple[str, ...]


def clean_source(
    source: SourceSettings,
    layout: Layout,
    settings: Settings,
    rules: tuple[Rule, ...],
    vocabulary: Vocabulary,
    land: LandLayers | None,
    outline: gpd.GeoDataFrame | None,
    today: date | None,
    seconds: dict[str, float],
) -> CleanedSource:
    """Read a source and judge its rows one by one.

    Parameters
    ----------
    source : SourceSettings
    layout : Layout
    settings : Settings
    rules : tuple of Rule
    vocabulary : Vocabulary
    land : LandLayers or None
    outline : GeoDataFrame or None
    today : date or None
    seconds : dict of str to float
        Each stage's time is added to it.

    Returns
    -------
    CleanedSource

    Raises
    ------
    ProblemsError
        All that makes the source unusable.
    """
    name = layout.name
    with timed("read", seconds):
        raw = read_source(source.file, layout)
    mending = None
    if source.mended is not None:
        mending = mend(raw, read_mended(source.mended), source.mended.name)
        raw = mending.raw
    with timed("convert", seconds):
        converted = convert_source(
            raw,
            layout,
            private=source.private,
            bounds=settings.region.bounds,
            outline=outline,
            land=land,
            today=today,
        )
    changes = [converted.changes]
    if mending is not None:
        changes.append(mending_changes(mending, converted.wells, name))
    with timed("rules", seconds):
        ruled = apply_rules(converted.wells, rules, today)
    changes.append(ruled.changes)
    held_back = [converted.held_back]
    if len(ruled.set_aside):
        labels = converted.wells.index.difference(ruled.wells.index)
        by_id = ruled.set_aside.set_index("record_id").loc[converted.wells.loc[labels, "record_id"]]
        held_back.append(
            held_back_rows(
                raw.table.loc[labels],
                source=name,
                file=raw.file,
                file_row=raw.file_row[labels.to_numpy(dtype=int)],
                reason=by_id["reason"].to_numpy(dtype=object),
                why=by_id["why"].to_numpy(dtype=object),
            )
        )
    with timed("lithology", seconds):
        layers = _without(converted.layers, ruled.set_aside)
        lithology = read_lithology(ruled.wells, layers, vocabulary, settings.cleaning.min_rock_ft)
    changes.append(lithology.changes)
    flags = [ruled.flags]
    if len(lithology.disagree):
        records = ruled.wells.set_index("record_id", drop=False).loc[lithology.disagree["record_id"]]
        why = "the layers put the rock at " + lithology.disagree["layers_say"].astype(str) + " ft"
        flags.append(
            flag_rows(
                records,
                "depth_to_bedrock_ft",
                value=lithology.disagree["value"].to_numpy(dtype=object),
                rule="rock_against_layers",
                why=why.to_numpy(dtype=object),
            )
        )
    held = stack(held_back, HELD_BACK_COLUMNS)
    notes = list(converted.notes)
    if source.distinct:
        stay = "; each stays a well of its own, as the settings say `distinct`"
        notes = [note + stay if note in converted.copied else note for note in notes]
    check_rows(converted.rows_read, kept=len(lithology.wells), held_back=len(held))
    zones = _without(converted.water_zones, ruled.set_aside)
    parts_held_back, account = _companion_rows(raw, converted, {"layers": layers, "water_zones": zones}, name)
    return CleanedSource(
        name=name,
        columns=tuple(map(str, raw.table.columns)),
        wells=lithology.wells,
        layers=lithology.layers,
        water_zones=zones,
        changes=stack(changes, CHANGE_COLUMNS),
        held_back=held,
        flags=stack(flags, FLAG_COLUMNS),
        parts_held_back=parts_held_back,
        unknown_words=lithology.unknown_words.assign(source=name),
        rows_read=converted.rows_read,
        mended=mending.rows if mending else 0,
        notes=tuple(f"{name}: {note}" for note in (*notes, *account, *_still_held_back(mending, held))),
    )


def _companion_rows(
    raw: RawTable, converted: Converted, kept: dict[str, pd.DataFrame], source: str
) -> tuple[pd.DataFrame, list[str]]:
    """Account for the rows of companion files: read = kept + held back, those of wells set aside among the latter."""
    held_back, account = [converted.parts_held_back], []
    for part, rows_read in converted.parts_rows_read.items():
        table = raw.parts[part]
        before = getattr(converted, part).get("part_row", pd.Series(dtype=int))
        after = kept[part].get("part_row", pd.Series(dtype=int)).unique()
        lost = np.setdiff1d(before, after)
        held_back.append(
            held_back_rows(
                table.table.iloc[lost],
                source=source,
                file=table.file,
                file_row=table.file_row[lost],
                reason="well_held_back",
                why=PART_WHY["well_held_back"],
            )
        )
        held = sum(int((rows["file"] == table.file).sum()) for rows in held_back)
        check_rows(rows_read, kept=len(after), held_back=held)
        account.append(
            f"{table.file}: rows read {rows_read:,} = kept with their wells {len(after):,} + held back {held:,}"
        )
    return stack(held_back, HELD_BACK_COLUMNS), account


def _without(parts: pd.DataFrame, set_aside: pd.DataFrame) -> pd.DataFrame:
    """Return the layers or zones but for those of records that were set aside."""
    if parts.empty or set_aside.empty:
        return parts
    return parts[~parts["record_id"].isin(set_aside["record_id"])]


def _still_held_back(mending: Mending | None, held: pd.DataFrame) -> list[str]:
    """Say which mended rows are held back still, and why."""
    if mending is None:
        return []
    labels = mending.cells["label"].unique().astype(int)
    again = held[(held["file"] == mending.raw.file) & held["file_row"].isin(mending.raw.file_row[labels])]
    if again.empty:
        return []
    told = [
        f"row {row} ({str(reason).replace('_', ' ')})"
        for row, reason in zip(again["file_row"], again["reason"], strict=True)
    ]
    if len(told) > SHOWN_ROWS:
        told[SHOWN_ROWS:] = [f"and {len(told) - SHOWN_ROWS:,} more"]
    return [f"of {counted(len(labels), 'mended row')}, {len(again):,} held back still: {', '.join(told)}"]


@contextmanager
def timed(stage: str, seconds: dict[str, float]) -> Iterator[None]:
    """Add to `seconds` how long a stage takes."""
    start = time.perf_counter()
    yield
    seconds[stage] = seconds.get(stage, 0.0) + time.perf_counter() - start
