"""Where lots and wells are: in WGS84, and on a local plane in metres."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS, Transformer

from wellrecords.errors import Problem, ProblemsError
from wellrecords.schema import WELL_COLUMNS, WGS84, conform

DEEPEST_FT, STRONGEST_GPM = 20_000.0, 50_000.0
"""Beyond any water well; a refresh keeps to tighter bounds, but a table may come from elsewhere."""
SLIPS = (
    (("total_depth_ft",), DEEPEST_FT),
    (("casing_depth_ft",), DEEPEST_FT),
    (("depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"), DEEPEST_FT),
    (("depth_to_water_ft_low", "depth_to_water_ft_high"), DEEPEST_FT),
    (("yield_gpm_low", "yield_gpm_high"), STRONGEST_GPM),
)


@dataclass(frozen=True)
class LotPlaces:
    """Where the m lots are, and what is asked of each.

    `target_yield_gpm` and `max_depth_ft` are NaN where a lot has no wish of
    its own.
    """

    lot_id: np.ndarray
    longitude: np.ndarray
    latitude: np.ndarray
    main_rock: np.ndarray
    target_yield_gpm: np.ndarray
    max_depth_ft: np.ndarray

    def __len__(self) -> int:
        return len(self.lot_id)

    def take(self, rows: np.ndarray) -> LotPlaces:
        """Return some of the lots."""
        return LotPlaces(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


def lot_places(lots: gpd.GeoDataFrame) -> LotPlaces:
    """Place lots in WGS84.

    Parameters
    ----------
    lots : GeoDataFrame
        `lot_id`, a geometry, a coordinate system; if known `main_rock`, and a
        lot's own `target_yield_gpm` and `max_depth_ft`.

    Raises
    ------
    ProblemsError
    """
    problems = []
    if not isinstance(lots, gpd.GeoDataFrame) or lots.crs is None:
        problems.append(
            Problem(
                what="the lots have no coordinate system",
                rule="lots are a GeoDataFrame with a point or polygon a row and a known coordinate system",
                next_step='build it by geopandas.GeoDataFrame(..., crs="EPSG:4326") or read it by geopandas.read_file',
                code="lots_crs",
            )
        )
    if "lot_id" not in lots:
        problems.append(
            Problem(
                what="the lots have no names",
                column="lot_id",
                rule="each lot has a lot_id",
                next_step="add a column lot_id",
                code="lot_id",
            )
        )
    if not problems:
        empty = lots.geometry.is_empty | lots.geometry.isna()
        problems += [
            Problem(
                what="a lot has no place",
                value=str(lot_id),
                rule="each lot has a point or polygon",
                next_step="draw the lot",
                code="lot_geometry",
            )
            for lot_id in lots["lot_id"][empty.to_numpy()]
        ]
    wishes = {}
    for name in ("target_yield_gpm", "max_depth_ft"):
        given = lots[name] if name in lots else pd.Series(np.nan, index=lots.index)
        wishes[name] = pd.to_numeric(given, errors="coerce").to_numpy(dtype=float)
        names = lots["lot_id"] if "lot_id" in lots else pd.Series(lots.index, index=lots.index)
        # A lot that is asked about at several places is told of once.
        wrong = {
            (str(lot_id), str(value)): None
            for lot_id, value, wish in zip(names, given, wishes[name], strict=True)
            if pd.notna(value) and not wish > 0
        }
        problems += [
            Problem(
                what=f"{name} of lot {lot_id} is not a positive number",
                column=name,
                value=value,
                rule=f"{name} of a lot is a number above 0, or left empty",
                next_step="mend or empty it",
                code="lot_wish",
            )
            for lot_id, value in wrong
        ]
    if problems:
        raise ProblemsError(problems, "The lots cannot be used")
    points = lots.geometry.to_crs(WGS84).representative_point()
    longitude, latitude = points.x.to_numpy(), points.y.to_numpy()
    rock = lots["main_rock"] if "main_rock" in lots else pd.Series(pd.NA, index=lots.index)
    return LotPlaces(
        lot_id=lots["lot_id"].to_numpy(),
        longitude=longitude,
        latitude=latitude,
        main_rock=np.array([None if pd.isna(name) else str(name) for name in rock], dtype=object),
        **wishes,
    )


def project(middle: tuple[float, float], longitude: np.ndarray, latitude: np.ndarray) -> np.ndarray:
    """Place points on a plane in metres, shape (n, 2).

    The plane is a transverse Mercator, true to 0.1 % within 280 km of its
    middle (longitude, latitude).
    """
    crs = CRS.from_proj4(
        f"+proj=tmerc +lon_0={middle[0]:.6f} +lat_0={middle[1]:.6f} +x_0=500000 +y_0=5000000 +datum=WGS84 +units=m"
    )
    transformer = Transformer.from_crs(WGS84, crs, always_xy=True)
    return np.column_stack(transformer.transform(longitude, latitude)).reshape(-1, 2)


def canonical_wells(wells: pd.DataFrame) -> pd.DataFrame:
    """Return the canonical columns of the wells whose position is known, those absent being null.

    In the order of their positions, so that the order of the records does not
    matter.
    """
    table = pd.DataFrame(wells).reset_index(drop=True)
    if isinstance(wells, gpd.GeoDataFrame) and wells.crs is not None:
        points = wells.geometry.to_crs(WGS84)
        table = table.assign(longitude=points.x.to_numpy(), latitude=points.y.to_numpy())
    if "record_id" not in table:
        table = table.assign(record_id=[str(number) for number in range(len(table))])
    missing = [name for name in ("longitude", "latitude") if name not in table]
    if missing:
        raise ProblemsError(
            [
                Problem(
                    what="the wells have no positions",
                    column=", ".join(missing),
                    rule="wells have longitude and latitude (WGS84), or a geometry with a coordinate system",
                    next_step="add the columns, or make the table a GeoDataFrame",
                    code="well_position",
                )
            ],
            "The wells cannot be used",
        )
    table = _without_slips(conform(table, WELL_COLUMNS))
    table = table[np.isfinite(table["longitude"].to_numpy()) & np.isfinite(table["latitude"].to_numpy())]
    return table.sort_values(["longitude", "latitude", "record_id"], kind="stable", ignore_index=True)


def _without_slips(table: pd.DataFrame) -> pd.DataFrame:
    """Empty readings that no water well has; such a one would stretch every scale that the others are weighed on."""
    emptied: dict[str, pd.Series] = {}
    for names, most in SLIPS:
        low, high = (table[name].to_numpy(dtype=float) for name in (names[0], names[-1]))
        slip = (low > most) | ((high > most) & np.isfinite(high)) | (low == np.inf)
        if names == ("total_depth_ft",):
            slip |= low <= 0.0
        if slip.any():
            emptied |= {name: table[name].mask(slip) for name in names}
    return table.assign(**emptied)
