"""The refresh: from the sources of a region to a new version of its dataset.

The flow, source by source: read, put mended rows in place, convert, judge by
the rules of plausibility, read the layers. Then for all together: elevation
from the terrain where a record has none, compare with the neighbours, merge
what is one well, check, write. Nothing is written before everything has been
read and added up, and nothing is read again where no input has changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import wellrecords
from wellrecords.cleaning.clean_source import CleanedSource, clean_source, timed
from wellrecords.cleaning.lithology import load_vocabulary
from wellrecords.cleaning.neighbourhood import flag_outliers, flag_terrain
from wellrecords.cleaning.nothing_kept import nothing_kept
from wellrecords.cleaning.rules import FLAG_COLUMNS, load_rules
from wellrecords.cleaning.suspect_units import suspect_units
from wellrecords.cleaning.told import copies_that_stay
from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.held_back import held_back_csv
from wellrecords.inputs import fingerprint_of, list_inputs
from wellrecords.land_grid import LandLayers, read_outline, read_parcels, read_sections
from wellrecords.ledger import CHANGE_COLUMNS, HELD_BACK_COLUMNS, change_rows, check_rows, stack
from wellrecords.matching import merge_duplicates
from wellrecords.output import check_folder
from wellrecords.schema import LAYER_COLUMNS, WATER_ZONE_COLUMNS, check_wells, conform
from wellrecords.settings import RegionSettings, Settings, SourceSettings
from wellrecords.sources import Layout, load_layout
from wellrecords.store import current_version, read_manifest, write_dataset

FILE_ROW_COLUMNS = {"record_id": "string", "source": "string", "sheet": "string", "file_row": "Int64"}
UNKNOWN_WORD_COLUMNS = {"source": "string", "word": "string", "layers": "int64", "example": "string"}

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""


@dataclass(frozen=True)
class RefreshResult:
    """What a refresh did.

    Attributes
    ----------
    store : pathlib.Path
    version : pathlib.Path
        The folder of the version that is now current.
    unchanged : bool
        True where no input had changed and nothing was read again.
    counts : dict of str to int
        `rows_read`, `kept`, `merged`, `held_back`, `mended`, `changes`, `flags`;
        rows_read = kept + merged + held_back.
    sources : pandas.DataFrame
        The same, one row a source.
    seconds : dict of str to float
        How long each stage took.
    notes : tuple of str
        What the sources' readers noticed.
    """

    store: Path
    version: Path
    unchanged: bool
    counts: dict[str, int]
    sources: pd.DataFrame
    seconds: dict[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def refresh(
    settings: Settings, progress: Progress | None = None, *, today: date | None = None, force: bool = False
) -> RefreshResult:
    """Bring the dataset of a region up to date.

    Parameters
    ----------
    settings : Settings
        From `settings.load_settings`.
    progress : callable, optional
        Told what is being done.
    today : date, optional
        No well was drilled after it; the day of the run by default.
    force : bool, default=False
        Read everything again though nothing has changed.

    Returns
    -------
    RefreshResult

    Raises
    ------
    ProblemsError
        Every fault of every source, together; nothing is written.
    WellRecordsError
        If the store cannot be written, or the rows do not add up (which is a
        fault of the program and is never passed over).
    """
    tell = progress or (lambda *_: None)
    store = settings.region.store
    problems: list[Problem] = []
    layouts = _load_layouts(settings.sources, problems)
    inputs = list_inputs(settings, layouts, problems)
    fingerprint = "" if problems else fingerprint_of(inputs, settings)
    if not force and not problems and (same := _unchanged(store, fingerprint)) is not None:
        return same
    check_folder(store)
    seconds: dict[str, float] = {}
    cleaned = _clean_sources(settings, layouts, tell, today, seconds, problems)
    if problems:
        raise ProblemsError(problems, _heading(store))
    wells = pd.concat([one.wells for one in cleaned], ignore_index=True)
    layers = pd.concat([one.layers for one in cleaned], ignore_index=True)
    zones = pd.concat([one.water_zones for one in cleaned], ignore_index=True)
    changes = [one.changes for one in cleaned]
    flags = [one.flags for one in cleaned]
    with timed("terrain", seconds):
        tell("elevation from the terrain", 0, 1)
        wells, changed, flagged = _add_elevation(wells, settings)
        changes.append(changed)
        flags.append(flagged)
    with timed("neighbours", seconds):
        tell("comparing with the neighbours", 0, 1)
        flags.append(flag_outliers(wells, settings.region.crs, settings.cleaning))
        suspicions = suspect_units(wells, settings.region.crs)
    with timed("matching", seconds):
        tell("finding wells recorded twice", 0, 1)
        distinct = [one.name for one, source in zip(cleaned, settings.sources, strict=True) if source.distinct]
        result = merge_duplicates(
            wells, layers, zones, settings.matching, settings.region.crs, distinct_sources=distinct
        )
    held_back = stack([one.held_back for one in cleaned], HELD_BACK_COLUMNS)
    rows_read = sum(one.rows_read for one in cleaned)
    check_rows(rows_read, kept=len(result.wells), merged=len(result.merged), held_back=len(held_back))
    check_wells(result.wells)
    dataset = {
        "wells": result.wells,
        "layers": conform(result.layers, LAYER_COLUMNS),
        "water_zones": conform(result.water_zones, WATER_ZONE_COLUMNS),
        "changes": stack(changes, CHANGE_COLUMNS),
        "held_back": held_back,
        "parts_held_back": stack([one.parts_held_back for one in cleaned], HELD_BACK_COLUMNS),
        "merged": result.merged,
        "provenance": result.provenance,
        "history": result.history,
        "undecided": result.undecided,
        "flags": stack(flags, FLAG_COLUMNS),
        "unknown_words": stack([one.unknown_words for one in cleaned], UNKNOWN_WORD_COLUMNS),
        "file_rows": _file_rows(wells),
    }
    by_source = _count_by_source(cleaned, dataset)
    counts = {name: int(by_source[name].sum()) for name in by_source.columns if name != "source"}
    stay = copies_that_stay(result.wells, [one.name for one in cleaned if one.name not in distinct])
    notes = (*(note for one in cleaned for note in one.notes), *stay, *suspicions)
    manifest = {
        "region": settings.region.name,
        "code_version": wellrecords.__version__,
        "fingerprint": fingerprint,
        "inputs": inputs,
        "counts": counts,
        "sources": by_source.to_dict("records"),
        # The held-back rows keep no blank cells; a file of them to be mended has all columns all the same.
        "columns": {one.name: one.columns for one in cleaned},
        "notes": list(notes),
    }
    sheets = {
        f"held_back/{one.name}.csv": held_back_csv(one.held_back, one.columns) for one in cleaned if len(one.held_back)
    }
    with timed("store", seconds):
        tell("writing the dataset", 0, 1)
        version = write_dataset(store, dataset, manifest, sheets)
        tell("writing the dataset", 1, 1)
    return RefreshResult(store, version, False, counts, by_source, seconds, notes)


def run_summary(store_dir: str | Path) -> dict[str, pd.DataFrame]:
    """Return the tables of a report on the last refresh. See `wellrecords.run_tables`."""
    from wellrecords.run_tables import run_summary as tables

    return tables(store_dir)


def _heading(store: Path) -> str:
    """Say what came of a run that stopped: there may be a dataset, and it is as good as before."""
    stands = "nothing was written" if current_version(store) is None else "the dataset stays as it was"
    return f"The sources cannot be used; {stands}"


def _load_layouts(sources: tuple[SourceSettings, ...], problems: list[Problem]) -> list[Layout | None]:
    """Return each source's layout, None where it cannot be used."""
    layouts: list[Layout | None] = []
    for source in sources:
        layout = None
        with _collected(problems, source.layout):
            layout = load_layout(source.layout)
            layout = layout.model_copy(update={"name": source.name}) if source.name else layout
        layouts.append(layout)
    names = [layout.name for layout in layouts if layout is not None]
    problems += [
        Problem(
            what=f"two sources are called {name}",
            rule="each source has its own name",
            next_step="give each [[sources]] its own `name` in the settings",
            code="name_twice",
        )
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    return layouts


def _file_rows(wells: pd.DataFrame) -> pd.DataFrame:
    """Return where in its file each record without a number of its own stands: a person finds it by nothing else."""
    unnumbered = wells.loc[wells["source_record_id"].isna().to_numpy(bool)]
    return unnumbered.reindex(columns=list(FILE_ROW_COLUMNS)).astype(FILE_ROW_COLUMNS).reset_index(drop=True)


def _clean_sources(
    settings: Settings,
    layouts: list[Layout | None],
    tell: Progress,
    today: date | None,
    seconds: dict[str, float],
    problems: list[Problem],
) -> list[CleanedSource]:
    """Return every source read and judged; one that cannot be used adds to the problems, and the next is read."""
    cleaned: list[CleanedSource] = []
    region, rules, vocabulary, land, outline = settings.region, load_rules(), load_vocabulary(), None, None
    # A file that is missing is told already; what is asked of the sources without it is only to find their own faults.
    if (own := settings.cleaning.rules) is not None and own.is_file():
        with _collected(problems, own.name):
            rules = load_rules(own)
    if (own := settings.cleaning.vocabulary) is not None and own.is_file():
        with _collected(problems, own.name):
            vocabulary = load_vocabulary(own)
    if all(path is None or path.is_file() for path in (region.sections, region.parcels)):
        with _collected(problems, "sections or parcels"):
            land = land_layers(region)
    if region.outline is not None and region.outline.is_file():
        with _collected(problems, region.outline.name):
            outline = read_outline(region.outline)
    for number, (source, layout) in enumerate(zip(settings.sources, layouts, strict=True)):
        tell(f"reading {source.file.name}", number, len(layouts))
        if layout is None or not source.file.is_file():
            continue
        with _collected(problems, source.file.name):
            one = clean_source(source, layout, settings, rules, vocabulary, land, outline, today, seconds)
            cleaned.append(one)
            nothing = nothing_kept(
                one.name, source.file.name, rows_read=one.rows_read, kept=len(one.wells), held_back=one.held_back
            )
            problems += [nothing] if nothing else []
    tell("reading", len(layouts), len(layouts))
    return cleaned


def land_layers(region: RegionSettings) -> LandLayers | None:
    """Read the region's section and parcel layers, None where it names neither."""
    if region.sections is None and region.parcels is None:
        return None
    return LandLayers(
        sections=read_sections(region.sections) if region.sections else None,
        parcels=read_parcels(region.parcels) if region.parcels else None,
    )


def _add_elevation(wells: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    terrain = settings.region.terrain
    if terrain is None or wells.empty:
        return wells, stack([], CHANGE_COLUMNS), stack([], FLAG_COLUMNS)
    from wellrecords.terrain import sample_elevation_ft

    sampled = sample_elevation_ft(terrain, wells["longitude"].to_numpy(), wells["latitude"].to_numpy())
    flags = flag_terrain(wells, sampled, settings.cleaning.terrain_differs_ft)
    fill = wells["land_elevation_ft"].isna().to_numpy() & ~pd.isna(sampled)
    after = sampled[fill].round(1)
    changes = change_rows(
        wells.loc[fill],
        "land_elevation_ft",
        before=np.full(len(after), None),
        after=after,
        rule="elevation_from_terrain",
        why="the record has none; taken from the terrain at its place",
    )
    wells = wells.copy()
    wells.loc[fill, "land_elevation_ft"] = after
    return wells, changes, flags


def _count_by_source(cleaned: list[CleanedSource], dataset: dict[str, pd.DataFrame]) -> pd.DataFrame:
    def count(table: str) -> pd.Series:
        return dataset[table]["source"].value_counts()

    per_table = {name: count(name) for name in ("wells", "merged", "held_back", "changes", "flags")}
    return pd.DataFrame(
        [
            {
                "source": one.name,
                "rows_read": one.rows_read,
                "kept": int(per_table["wells"].get(one.name, 0)),
                "merged": int(per_table["merged"].get(one.name, 0)),
                "held_back": int(per_table["held_back"].get(one.name, 0)),
                "mended": one.mended,
                "changes": int(per_table["changes"].get(one.name, 0)),
                "flags": int(per_table["flags"].get(one.name, 0)),
            }
            for one in cleaned
        ]
    )


def _unchanged(store: Path, fingerprint: str) -> RefreshResult | None:
    version = current_version(store)
    if version is None:
        return None
    try:
        manifest: dict[str, Any] = read_manifest(store)
    except WellRecordsError:
        return None
    if manifest.get("fingerprint") != fingerprint:
        return None
    return RefreshResult(
        store, version, True, manifest["counts"], pd.DataFrame(manifest["sources"]), {}, tuple(manifest["notes"])
    )


@contextmanager
def _collected(problems: list[Problem], file: str) -> Iterator[None]:
    """Add what is wrong to the problems, so that the run can look at the other files first."""
    try:
        yield
    except ProblemsError as error:
        problems += error.problems
    except WellRecordsError as error:
        what, _, next_step = str(error).rstrip(".").rpartition(". ")
        next_step = next_step.removeprefix("Next: ")
        problems.append(Problem(what, "the file can be read", next_step, file=file, code="unusable"))
