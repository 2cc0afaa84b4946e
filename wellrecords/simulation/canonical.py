"""Simulated holes as a perfect record keeper would write them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import Transformer

from wellrecords.schema import WATER_ZONE_COLUMNS, WGS84, as_wells, conform

SMALLEST_GPM = 0.1
"""A hole that makes less is written down as dry: [0, SMALLEST_GPM)."""


def as_canonical(
    holes: pd.DataFrame, crs: str, *, source: str = "simulated", private: bool = False
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Return drilled holes as the canonical tables, without error or gap.

    Every reading is exact where it was made, and an interval where it could
    not be: rock below the bottom of the hole is [bottom, inf), a level above
    ground (-inf, 0], a dry hole [0, 0.1]. A dry hole has no water level.

    Parameters
    ----------
    holes : pandas.DataFrame
        From `Region.drill`. A column `drilled_on` is taken over if there.
    crs : str
        Of the coordinates: ``region.settings.crs``.
    source : str, default="simulated"
    private : bool, default=False

    Returns
    -------
    wells : geopandas.GeoDataFrame
        The canonical wells; `record_id` is "<source>:<row label of holes>".
    water_zones : pandas.DataFrame
        Every zone that the finished well draws on.
    """
    to_wgs84 = Transformer.from_crs(crs, WGS84, always_xy=True)
    longitude, latitude = to_wgs84.transform(holes["easting_m"].to_numpy(), holes["northing_m"].to_numpy())
    total = holes["total_depth_ft"].to_numpy()
    rock = holes["depth_to_bedrock_ft"].to_numpy()
    water = holes["depth_to_water_ft"].to_numpy()
    made = holes["yield_gpm"].to_numpy()
    reached = holes["reached_bedrock"].to_numpy(dtype=bool)
    dry, flowing = made < SMALLEST_GPM, water <= 0.0
    record_id = pd.Series([f"{source}:{label}" for label in holes.index], index=holes.index, dtype="string")
    table = pd.DataFrame(
        {
            "record_id": record_id,
            "source": source,
            "source_record_id": holes.index.astype("string"),
            "record_kind": "new",
            "well_use": "domestic",
            "drilled_on": holes.get("drilled_on", pd.NaT),
            "longitude": longitude,
            "latitude": latitude,
            "position_method": "survey",
            "position_error_m": 0.0,
            "land_elevation_ft": holes["elevation_ft"],
            "total_depth_ft": total,
            "drilling_method": "air_rotary",
            "hydrofractured": False,
            "depth_to_bedrock_ft_low": np.where(reached, rock, total),
            "depth_to_bedrock_ft_high": np.where(reached, rock, np.inf),
            "depth_to_water_ft_low": np.where(dry, np.nan, np.where(flowing, -np.inf, water)),
            "depth_to_water_ft_high": np.where(dry, np.nan, np.where(flowing, 0.0, water)),
            "yield_gpm_low": np.where(dry, 0.0, made),
            "yield_gpm_high": np.where(dry, SMALLEST_GPM, made),
            "yield_method": np.where(dry, "estimated", "air_lift"),
            "main_rock": holes["rock_unit"].where(reached),
            "private": private,
        },
        index=holes.index,
    ).reset_index(drop=True)
    return as_wells(table), _water_zones(holes, record_id)


def _water_zones(holes: pd.DataFrame, record_id: pd.Series) -> pd.DataFrame:
    """List the zones that each finished well draws on."""
    total = holes["total_depth_ft"].to_numpy()
    in_gravel = holes["gravel_well"].to_numpy(dtype=bool)
    counts = holes["fracture_depths_ft"].map(len).to_numpy(dtype=int)
    owner = np.repeat(np.arange(len(holes)), counts)
    depths = np.concatenate([*holes["fracture_depths_ft"], np.empty(0)])
    yields = np.concatenate([*holes["fracture_yields_gpm"], np.empty(0)])
    drawn_on = (depths <= total[owner]) & ~in_gravel[owner]
    gravel = np.flatnonzero(in_gravel)
    owner = np.concatenate([owner[drawn_on], gravel])
    gpm = np.concatenate([yields[drawn_on], holes["gravel_gpm"].to_numpy()[gravel]])
    zones = pd.DataFrame(
        {
            "record_id": record_id.to_numpy()[owner],
            "depth_ft": np.concatenate([depths[drawn_on], holes["gravel_depth_ft"].to_numpy()[gravel]]),
            "yield_gpm_low": gpm,
            "yield_gpm_high": gpm,
        }
    )
    order = np.lexsort((zones["depth_ft"].to_numpy(), owner))
    return conform(zones.iloc[order].reset_index(drop=True), WATER_ZONE_COLUMNS)
