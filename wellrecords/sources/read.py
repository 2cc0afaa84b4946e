"""Read a source's file, whatever its kind, as rows of text."""

from __future__ import annotations

import gzip
import zipfile
import zlib
from dataclasses import replace
from pathlib import Path
from typing import Literal

from wellrecords.errors import WellRecordsError
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.layout import Layout, PartRules
from wellrecords.sources.map_files import read_map_file
from wellrecords.sources.raw import RawTable
from wellrecords.sources.text_files import Opener, read_delimited
from wellrecords.sources.workbooks import read_workbook

TEXT_ENDINGS = (".csv", ".tsv", ".txt", ".tab", ".psv")
WORKBOOK_ENDINGS = (".xlsx", ".xls", ".ods", ".xlsm", ".xlsb")
MAP_ENDINGS = (".geojson", ".json", ".gpkg", ".shp", ".parquet", ".geoparquet", ".pq")


def read_source(path: str | Path, layout: Layout) -> RawTable:
    """Read a source's file as text, nothing interpreted.

    Parameters
    ----------
    path : str or Path
        Delimited text (also gzipped or zipped), a workbook, GeoJSON,
        GeoPackage, Shapefile (also zipped), GeoParquet.
    layout : Layout

    Returns
    -------
    RawTable

    Raises
    ------
    WellRecordsError
        Where the file is missing, is of no known kind, or is broken.
    ProblemsError
        Where it has none of the layout's columns.
    """
    path = Path(path)
    raw = read_table(path, layout)
    parts = {}
    for name, rules in (("layers", layout.layers), ("water_zones", layout.water_zones)):
        companion = rules.companion_of(path) if rules is not None else None
        if companion is not None and rules is not None and (companion.exists() or not rules.optional):
            parts[name] = read_table(companion, layout, part=rules)
    return replace(raw, parts=parts) if parts else raw


def read_table(
    path: Path,
    layout: Layout | None,
    part: PartRules | None = None,
    header_rows: Literal[1, 2] = 1,
    known: set[str] | None = None,
) -> RawTable:
    """Read one file; `part` where it is the companion file of a layout, no layout to find its names out.

    `known` are tidied names, one of which at least stands in the header, where neither says them.
    """
    if not path.is_file():
        msg = f"There is no file {path}. Check the name; paths in a settings file count from that file's folder."
        raise WellRecordsError(msg)
    known = known or _known(layout, part)
    source = layout.name if layout else "?"
    rules = layout.file if layout else None
    name, ending = path.name, path.suffix.lower()
    if ending == ".zip" and (inside := _shapefile_in(path)):
        return read_map_file(f"/vsizip/{path.resolve().as_posix()}/{inside}", layer=None, file=name)
    if ending in MAP_ENDINGS:
        return read_map_file(path, layer=rules.layer if rules and part is None else None, file=name)
    opened, ending = _opener(path, ending)
    from wellrecords.sources.layout import FileRules

    rules = rules or FileRules(header_rows=header_rows)
    if part is not None:
        rules = rules.model_copy(update={"sheets": (), "header_rows": 1})
    try:
        if ending in WORKBOOK_ENDINGS:
            with opened() as stream:
                data = stream.read()
            return read_workbook(data, rules, known=known, file=name, source=source)
        if ending in TEXT_ENDINGS:
            return read_delimited(opened, rules, known=known, file=name, source=source)
    except (OSError, EOFError, zlib.error, zipfile.BadZipFile) as error:
        msg = f"{name} cannot be read to its end ({error}). Get it again."
        raise WellRecordsError(msg) from error
    kinds = ", ".join((*TEXT_ENDINGS, *WORKBOOK_ENDINGS, *MAP_ENDINGS))
    msg = (
        f"{name} is of no kind that can be read. Known endings: {kinds}; text also as .gz, text and Shapefile as .zip."
    )
    raise WellRecordsError(msg)


def _known(layout: Layout | None, part: PartRules | None) -> set[str] | None:
    if part is not None:
        groups = (part.key, part.top, part.bottom, part.material, part.depth, part.amount)
        return {tidy_name(name) for group in groups for name in group}
    return None if layout is None else layout.known_names()


def _shapefile_in(path: Path) -> str | None:
    """Return the Shapefile in a zip file, None where it holds none."""
    try:
        with zipfile.ZipFile(path) as archive:
            names = _own_names(archive, (".shp",))
    except zipfile.BadZipFile as error:
        msg = f"{path.name} is no whole zip file. Get it again."
        raise WellRecordsError(msg) from error
    return _only(names, path.name, "Shapefiles") if names else None


def _own_names(archive: zipfile.ZipFile, endings: tuple[str, ...]) -> list[str]:
    """Return the members with one of the endings, without what a packer adds for itself (._name, __MACOSX)."""
    names = [name for name in archive.namelist() if Path(name).suffix.lower() in endings]
    return [name for name in names if not Path(name).name.startswith(".") and "__MACOSX" not in name]


def _only(names: list[str], file: str, what: str) -> str:
    if len(names) != 1:
        msg = f"{file} holds {len(names)} {what}; it must hold one. Unpack it and give the one you mean."
        raise WellRecordsError(msg)
    return names[0]


def _opener(path: Path, ending: str) -> tuple[Opener, str]:
    """Return what opens the file's bytes, unpacked, and the ending of what was packed."""
    if ending == ".gz":
        return lambda: gzip.open(path), Path(path.stem).suffix.lower()  # type: ignore[return-value]
    if ending == ".zip":
        with zipfile.ZipFile(path) as archive:
            name = _only(_own_names(archive, TEXT_ENDINGS + WORKBOOK_ENDINGS), path.name, "tables")
        return lambda: zipfile.ZipFile(path).open(name), Path(name).suffix.lower()
    return lambda: path.open("rb"), ending
