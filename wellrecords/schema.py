"""The canonical tables: one row a well, and what hangs on it.

Every room to the right of the records speaks of wells in these columns, and
only in these. Units stand in the names, positions are WGS84, missing is null
(never 0, never -999), and each uncertain reading is an interval
``[low, high]``: equal where it was read exactly, infinite where it is open.

>>> "yield_gpm_low" in WELL_COLUMNS
True
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from wellrecords.errors import Problem, ProblemsError, counted

if TYPE_CHECKING:
    import pandera.pandas as pa

SCHEMA_VERSION = 1

RECORD_KINDS = ("new", "deepened", "replaced", "repaired", "abandoned")
WELL_USES = (
    "domestic",
    "irrigation",
    "public",
    "livestock",
    "commercial",
    "industrial",
    "monitoring",
    "test",
    "geothermal",
    "unused",
    "other",
    "unknown",
)
POSITION_METHODS = (
    "survey",
    "gps",
    "map",
    "address",
    "parcel",
    "quarter_quarter",
    "quarter",
    "section",
    "town",
    "unknown",
)
YIELD_METHODS = ("pumping_test", "bailer", "air_lift", "flowing", "estimated", "unknown")
DRILLING_METHODS = (
    "air_rotary",
    "mud_rotary",
    "rotary",
    "hammer",
    "cable_tool",
    "auger",
    "dug",
    "driven",
    "jetted",
    "other",
    "unknown",
)
MATERIAL_CLASSES = (
    "soil",
    "clay",
    "silt",
    "sand",
    "gravel",
    "till",
    "weathered_rock",
    "rock",
    "void",
    "unknown",
)

TEXT = "string"
NUMBER = "float64"
DATE = "datetime64[us]"
FLAG = "boolean"

WELL_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "source": TEXT,
    "source_record_id": TEXT,
    "record_kind": TEXT,
    "well_use": TEXT,
    "drilled_on": DATE,
    "longitude": NUMBER,
    "latitude": NUMBER,
    "position_method": TEXT,
    "position_error_m": NUMBER,
    "land_elevation_ft": NUMBER,
    "total_depth_ft": NUMBER,
    "casing_depth_ft": NUMBER,
    "casing_diameter_in": NUMBER,
    "screen_top_ft": NUMBER,
    "screen_bottom_ft": NUMBER,
    "drilling_method": TEXT,
    "hydrofractured": FLAG,
    "depth_to_bedrock_ft_low": NUMBER,
    "depth_to_bedrock_ft_high": NUMBER,
    "depth_to_water_ft_low": NUMBER,
    "depth_to_water_ft_high": NUMBER,
    "yield_gpm_low": NUMBER,
    "yield_gpm_high": NUMBER,
    "yield_method": TEXT,
    "main_rock": TEXT,
    "private": FLAG,
}
"""Column name -> pandas dtype of the canonical table (geometry aside)."""

LAYER_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "from_ft": NUMBER,
    "to_ft": NUMBER,
    "material": TEXT,
    "material_class": TEXT,
}
WATER_ZONE_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "depth_ft": NUMBER,
    "yield_gpm_low": NUMBER,
    "yield_gpm_high": NUMBER,
}

INTERVAL_QUANTITIES = ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
"""Quantities that stand in the table as ``<name>_low`` and ``<name>_high``."""

WGS84 = "EPSG:4326"


def _ordered_intervals(wells: pd.DataFrame, quantity: str) -> pd.Series:
    low, high = wells[f"{quantity}_low"], wells[f"{quantity}_high"]
    both_or_neither = low.isna() == high.isna()
    return both_or_neither & (low.isna() | (low <= high))


@cache
def _wells_schema() -> pa.DataFrameSchema:
    """Return the canonical table's contract; made when a table is first checked, for pandera takes long to import."""
    import pandera.pandas as pa

    return pa.DataFrameSchema(
        {
            "record_id": pa.Column(TEXT, unique=True, nullable=False),
            "source": pa.Column(TEXT, nullable=False),
            "source_record_id": pa.Column(TEXT, nullable=True),
            "record_kind": pa.Column(TEXT, pa.Check.isin(RECORD_KINDS), nullable=False),
            "well_use": pa.Column(TEXT, pa.Check.isin(WELL_USES), nullable=False),
            "drilled_on": pa.Column(DATE, nullable=True),
            "longitude": pa.Column(NUMBER, pa.Check.in_range(-180.0, 180.0), nullable=False),
            "latitude": pa.Column(NUMBER, pa.Check.in_range(-90.0, 90.0), nullable=False),
            "position_method": pa.Column(TEXT, pa.Check.isin(POSITION_METHODS), nullable=False),
            "position_error_m": pa.Column(NUMBER, pa.Check.ge(0.0), nullable=False),
            "land_elevation_ft": pa.Column(NUMBER, nullable=True),
            "total_depth_ft": pa.Column(NUMBER, pa.Check.gt(0.0), nullable=True),
            "casing_depth_ft": pa.Column(NUMBER, pa.Check.ge(0.0), nullable=True),
            "casing_diameter_in": pa.Column(NUMBER, pa.Check.gt(0.0), nullable=True),
            "screen_top_ft": pa.Column(NUMBER, pa.Check.ge(0.0), nullable=True),
            "screen_bottom_ft": pa.Column(NUMBER, pa.Check.ge(0.0), nullable=True),
            "drilling_method": pa.Column(TEXT, pa.Check.isin(DRILLING_METHODS), nullable=False),
            "hydrofractured": pa.Column(FLAG, nullable=True),
            "depth_to_bedrock_ft_low": pa.Column(NUMBER, pa.Check.ge(0.0), nullable=True),
            "depth_to_bedrock_ft_high": pa.Column(NUMBER, nullable=True),
            "depth_to_water_ft_low": pa.Column(NUMBER, nullable=True),
            "depth_to_water_ft_high": pa.Column(NUMBER, nullable=True),
            "yield_gpm_low": pa.Column(NUMBER, pa.Check.ge(0.0), nullable=True),
            "yield_gpm_high": pa.Column(NUMBER, nullable=True),
            "yield_method": pa.Column(TEXT, pa.Check.isin(YIELD_METHODS), nullable=False),
            "main_rock": pa.Column(TEXT, nullable=True),
            "private": pa.Column(FLAG, nullable=False),
        },
        checks=[
            pa.Check(
                lambda wells, quantity=quantity: _ordered_intervals(wells, quantity),
                name=f"{quantity}: low and high both null, or low <= high",
            )
            for quantity in INTERVAL_QUANTITIES
        ],
        strict=False,
    )


def empty_table(columns: dict[str, str]) -> pd.DataFrame:
    """Return a table of no rows with the given columns and dtypes.

    Parameters
    ----------
    columns : dict of str to str
        Column name -> dtype, such as `WELL_COLUMNS`.

    Returns
    -------
    pandas.DataFrame
    """
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in columns.items()})


def conform(table: pd.DataFrame, columns: dict[str, str]) -> pd.DataFrame:
    """Return `table` with exactly `columns`, in order, cast to their dtypes.

    Columns that are absent are added as null; others than those named are
    dropped.

    Parameters
    ----------
    table : pandas.DataFrame
    columns : dict of str to str
        Column name -> dtype.

    Returns
    -------
    pandas.DataFrame
        A new table; the index is kept.
    """
    return pd.DataFrame(
        {
            name: table[name].astype(dtype) if name in table else pd.Series(index=table.index, dtype=dtype)
            for name, dtype in columns.items()
        },
        index=table.index,
    )


def among(record_ids: pd.Series, others: pd.Series) -> pd.Series:
    """Say which record ids are among others.

    Parameters
    ----------
    record_ids, others : pandas.Series

    Returns
    -------
    pandas.Series of bool
        By the index of `record_ids`.
    """
    # As objects: of Arrow's strings pandas 3 takes each of the others by itself, and forty times as long.
    return record_ids.astype(object).isin(others.astype(object))


def as_wells(table: pd.DataFrame) -> gpd.GeoDataFrame:
    """Return the canonical table as a GeoDataFrame of WGS84 points.

    Parameters
    ----------
    table : pandas.DataFrame
        Has at least `longitude` and `latitude`.

    Returns
    -------
    geopandas.GeoDataFrame
        Exactly the canonical columns, in order, and `geometry`.
    """
    wells = conform(table, WELL_COLUMNS)
    points = gpd.points_from_xy(wells["longitude"], wells["latitude"], crs=WGS84)
    return gpd.GeoDataFrame(wells, geometry=points)


def check_wells(wells: pd.DataFrame) -> None:
    """Check the canonical table at the border between two rooms.

    Parameters
    ----------
    wells : pandas.DataFrame
        The canonical table.

    Raises
    ------
    ProblemsError
        With one problem a failed check and column, and an example value.
    """
    import pandera.errors

    try:
        _wells_schema().validate(wells, lazy=True)
    except pandera.errors.SchemaErrors as error:
        cases = error.failure_cases
        problems = [
            Problem(
                what=f"{counted(len(group), 'value')} against the canonical table's check",
                column=str(column),
                value=str(group["failure_case"].iloc[0]),
                rule=str(check),
                next_step="mend the layout or the cleaning rule that let the value through",
                code="schema",
            )
            for (column, check), group in cases.groupby(["column", "check"], dropna=False, sort=False)
        ]
        raise ProblemsError(problems, "The well table breaks its contract") from error
