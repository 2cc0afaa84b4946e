"""Map files: GeoJSON, GeoPackage, Shapefile, GeoParquet, and plain Parquet."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from wellrecords.errors import WellRecordsError, counted
from wellrecords.sources.raw import RawTable
from wellrecords.sources.workbooks import cell_text

POINT_X, POINT_Y = "point x", "point y"
"""Names under which a file's own points stand among its columns."""


def read_map_file(path: str | Path, *, layer: str | None, file: str) -> RawTable:
    """Read a file of points and their attributes, as text.

    Parameters
    ----------
    path : str or Path
        A file that GDAL reads, or a Parquet file.
    layer : str, optional
        Which layer; by default the first.
    file : str
        Name for the ledger.

    Returns
    -------
    RawTable
        With the columns "point x" and "point y"; a shape that is no point
        counts by a point inside it.
    """
    try:
        frame = _read(path, layer)
    except Exception as error:  # GDAL and Arrow raise many kinds: all mean the same to the user
        msg = f"{file} cannot be read as a map file ({error}). Check that it is whole, and that its ending is right."
        raise WellRecordsError(msg) from error
    crs, table = None, pd.DataFrame(frame)
    notes: tuple[str, ...] = ()
    if layer is None and len(others := _layers(path)) > 1:
        notes = (f"read was the first of its layers ({', '.join(others)}); another is named under [file] as layer",)
    if isinstance(frame, gpd.GeoDataFrame):
        crs = frame.crs.to_string() if frame.crs is not None else None
        table = table.drop(columns=frame.geometry.name)
        points = frame.geometry
        shapes = points.notna() & ~points.is_empty & (points.geom_type != "Point")
        if shapes.any():
            points = points.where(~shapes, points.representative_point())
            notes += (f"{counted(int(shapes.sum()), 'shape')} without a point of its own: a point inside was taken",)
        usable = points.notna() & ~points.is_empty
        for name, values in ((POINT_X, points[usable].x), (POINT_Y, points[usable].y)):
            table[name] = values.reindex(table.index)
    text = pd.DataFrame({str(name): column_text(table[name]) for name in table.columns}).reset_index(drop=True)
    return RawTable(table=text, file_row=np.arange(1, len(text) + 1), file=file, crs=crs, notes=notes)


def _read(path: str | Path, layer: str | None) -> pd.DataFrame:
    if str(path).lower().endswith((".parquet", ".geoparquet", ".pq")):
        import pyarrow.parquet as pq

        if b"geo" in (pq.read_schema(path).metadata or {}):
            return gpd.read_parquet(path)
        return pd.read_parquet(path)
    return gpd.read_file(path, layer=layer or next(iter(_layers(path)), None))


def _layers(path: str | Path) -> list[str]:
    """Return the names of the layers of a GeoPackage; other files hold one."""
    if not str(path).lower().endswith(".gpkg"):
        return []
    return [str(name) for name in gpd.list_layers(path)["name"]]


def column_text(column: pd.Series) -> pd.Series:
    """Return a column as text, each distinct value turned once; null is an empty text."""
    codes, uniques = pd.factorize(column)
    words = [cell_text(value.item() if hasattr(value, "item") else value) for value in uniques]
    return pd.Series(np.array([*words, ""], dtype=object)[codes], index=column.index, dtype="str")
