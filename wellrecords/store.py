"""The dataset on disk: a folder of GeoParquet in versions.

A store looks so::

    .store/sample_region/
        CURRENT                  one line: the name of the version in use
        versions/
            000007-3f2a9c41/     whole and never changed once it stands here
                manifest.json    schema, inputs by hash, counts, code version
                wells.parquet    GeoParquet 1.1, Hilbert-sorted, covering boxes, zstd
                layers.parquet, water_zones.parquet, changes.parquet, ...

A refresh writes a new version beside the old one and then replaces the small
file ``CURRENT`` by one atomic rename, so that a reader sees the old dataset or
the new one, whole. The version before the current one is kept, older ones are
removed.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyarrow import array, large_string
from pyarrow.compute import Expression, field

from wellrecords.errors import WellRecordsError
from wellrecords.output import note_written
from wellrecords.schema import SCHEMA_VERSION, WELL_COLUMNS, WGS84, as_wells, conform

POINTER = "CURRENT"
VERSIONS = "versions"
MANIFEST = "manifest.json"
WELLS = "wells"
ROW_GROUP_ROWS = 10_000
"""Rows a row group: small enough that a box of a few kilometres reads one or two, large enough to compress well."""
STALE_AFTER_S = 86_400.0
"""A half-written version older than a day was left by a run that died; it is removed."""

BoundingBox = tuple[float, float, float, float]


def write_dataset(
    store_dir: str | Path,
    dataset: Mapping[str, pd.DataFrame],
    manifest: Mapping[str, Any],
    extra_files: Mapping[str, bytes] | None = None,
) -> Path:
    """Write a new version of the dataset and make it the current one.

    Parameters
    ----------
    store_dir : path
        The folder of the store; made if absent.
    dataset : mapping of str to DataFrame
        Has `wells` (the canonical table); every further table is written
        under its own name.
    manifest : mapping
        What the run wants to remember (inputs, counts, fingerprint). Schema
        version, time of writing and the rows of each table are added here.
    extra_files : mapping of str to bytes, optional
        Further files of the version, by their path inside it.

    Returns
    -------
    pathlib.Path
        The folder of the new version.

    Raises
    ------
    WellRecordsError
        If the folder cannot be written.
    """
    store_dir = Path(store_dir)
    versions = store_dir / VERSIONS
    try:
        versions.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=".draft-", dir=versions))
    except OSError as error:
        raise _cannot_write(store_dir, error) from error
    try:
        rows: dict[str, int] = {}
        for name, table in dataset.items():
            path = draft / f"{name}.parquet"
            if name == WELLS:
                _write_wells(table, path)
            else:
                table = table.reset_index(drop=True)
                table.to_parquet(path, compression="zstd", index=False, row_group_size=ROW_GROUP_ROWS)
            rows[name] = len(table)
        for inner, content in (extra_files or {}).items():
            target = draft / inner
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        full = {
            **manifest,
            "schema_version": SCHEMA_VERSION,
            "written_at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
            "rows": rows,
        }
        text = json.dumps(full, indent=2, ensure_ascii=False, default=str)
        (draft / MANIFEST).write_text(text + "\n", encoding="utf-8")
        name = f"{_next_number(versions):06d}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"
        version = versions / name
        draft.chmod(0o755)
        draft.rename(version)
    except BaseException as error:
        shutil.rmtree(draft, ignore_errors=True)
        if isinstance(error, OSError):  # a disk that is full
            raise _cannot_write(store_dir, error) from error
        raise
    previous = current_version(store_dir)
    _point_to(store_dir, name)
    note_written(version)
    _prune(versions, keep={name, previous.name if previous else name})
    return version


def current_version(store_dir: str | Path) -> Path | None:
    """Return the folder of the version in use, or None where there is no dataset yet."""
    pointer = Path(store_dir) / POINTER
    try:
        name = pointer.read_text(encoding="utf-8").strip()
    except (FileNotFoundError, NotADirectoryError):
        return None
    version = pointer.parent / VERSIONS / name
    return version if name and (version / MANIFEST).is_file() else None


def learnt_folder(store_dir: str | Path) -> Path:
    """Return where the current version keeps what was learnt from its wells; it goes when the version goes.

    Raises
    ------
    WellRecordsError
        If the store is empty.
    """
    return _version(store_dir) / "learnt"


def read_manifest(store_dir: str | Path) -> dict[str, Any]:
    """Return the manifest of the current version.

    Raises
    ------
    WellRecordsError
        If the store is empty, or was written by another schema version.
    """
    manifest: dict[str, Any] = json.loads((_version(store_dir) / MANIFEST).read_text(encoding="utf-8"))
    found = manifest.get("schema_version")
    if found != SCHEMA_VERSION:
        msg = (
            f"The store {store_dir} was written with schema version {found}; this version of wellrecords reads "
            f"{SCHEMA_VERSION}. Next: run the refresh again, which writes it anew from the sources."
        )
        raise WellRecordsError(msg)
    return manifest


def read_wells(
    store_dir: str | Path,
    bbox: BoundingBox | None = None,
    columns: Sequence[str] | None = None,
) -> gpd.GeoDataFrame:
    """Return the wells of the current version, all of them or those in a box.

    Parameters
    ----------
    store_dir : path
    bbox : (west, south, east, north), optional
        Degrees WGS84. Only the row groups that touch the box are read.
    columns : sequence of str, optional
        Canonical columns wanted; all by default. `geometry` always comes.

    Returns
    -------
    geopandas.GeoDataFrame
        EPSG:4326, in the order of the store (along a Hilbert curve).

    Raises
    ------
    WellRecordsError
        If the store is empty, of another schema version, or lacks a column.
    """
    read_manifest(store_dir)
    unknown = [name for name in columns or () if name not in WELL_COLUMNS and name != "geometry"]
    if unknown:
        msg = f"The wells have no column {', '.join(unknown)}. Columns: {', '.join(WELL_COLUMNS)}."
        raise WellRecordsError(msg)
    wanted = [name for name in WELL_COLUMNS if columns is None or name in columns]
    place = ["longitude", "latitude"]
    # Points are made from their two columns, several times faster than from the geometry as it is stored.
    wells = pd.read_parquet(
        _version(store_dir) / f"{WELLS}.parquet",
        columns=list(dict.fromkeys([*wanted, *place])),
        filters=None if bbox is None else _inside(*bbox),
    )
    points = gpd.points_from_xy(wells["longitude"], wells["latitude"], crs=WGS84)
    types = {name: WELL_COLUMNS[name] for name in wanted}
    return gpd.GeoDataFrame(conform(wells, types), geometry=points)


def _inside(west: float, south: float, east: float, north: float) -> Expression:
    longitude, latitude = field("longitude"), field("latitude")
    return (longitude >= west) & (longitude <= east) & (latitude >= south) & (latitude <= north)


def read_table(store_dir: str | Path, name: str, record_ids: Iterable[str] | None = None) -> pd.DataFrame:
    """Return another table of the current version (`layers`, `changes`, `held_back`, ...).

    Parameters
    ----------
    store_dir : path
    name : str
    record_ids : iterable of str, optional
        Only the rows of these records.

    Raises
    ------
    WellRecordsError
        If the store is empty or has no such table; the message lists those it has.
    """
    if name == WELLS:
        return read_wells(store_dir)
    manifest = read_manifest(store_dir)
    if name not in manifest["rows"]:
        msg = f"The store {store_dir} has no table {name!r}. It has: {', '.join(sorted(manifest['rows']))}."
        raise WellRecordsError(msg)
    chosen = None if record_ids is None else field("record_id").isin(array(list(record_ids), type=large_string()))
    return pd.read_parquet(_version(store_dir) / f"{name}.parquet", filters=chosen)


def hilbert_sorted(wells: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the wells along a Hilbert curve, those on one point by `record_id`.

    Neighbours on the ground become neighbours in the file, so that a box of
    the map is a few row groups.
    """
    if wells.empty:
        return wells
    order = pd.DataFrame({"along": wells.geometry.hilbert_distance().to_numpy(), "id": wells["record_id"].to_numpy()})
    return wells.iloc[order.sort_values(["along", "id"], kind="stable").index.to_numpy()].reset_index(drop=True)


def _write_wells(wells: pd.DataFrame, path: Path) -> None:
    hilbert_sorted(as_wells(wells)).to_parquet(
        path,
        index=False,
        compression="zstd",
        schema_version="1.1.0",
        write_covering_bbox=True,
        row_group_size=ROW_GROUP_ROWS,
    )


def _version(store_dir: str | Path) -> Path:
    version = current_version(store_dir)
    if version is None:
        msg = f"There is no dataset in {store_dir}. Next: run `wellrecords refresh` with the region's settings."
        raise WellRecordsError(msg)
    return version


def _cannot_write(store_dir: Path, error: OSError) -> WellRecordsError:
    return WellRecordsError(
        f"The store {store_dir} cannot be written ({error.strerror or error}). "
        "Next: free the folder, or name another one as `store` in the settings."
    )


def _next_number(versions: Path) -> int:
    numbers = [int(path.name[:6]) for path in versions.iterdir() if path.name[:6].isdigit()]
    return max(numbers, default=0) + 1


def _point_to(store_dir: Path, name: str) -> None:
    """Replace the pointer in one step: readers see the old name or the new one, never a part of it."""
    handle, temporary = tempfile.mkstemp(prefix=f".{POINTER}-", dir=store_dir)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(name + "\n")
        file.flush()
        os.fsync(file.fileno())
    Path(temporary).chmod(0o644)
    Path(temporary).replace(store_dir / POINTER)


def _prune(versions: Path, keep: set[str]) -> None:
    for path in versions.iterdir():
        draft = path.name.startswith(".draft-")
        if path.name in keep or (draft and time.time() - path.stat().st_mtime < STALE_AFTER_S):
            continue
        shutil.rmtree(path, ignore_errors=True)
