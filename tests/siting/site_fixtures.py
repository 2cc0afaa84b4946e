"""Small lots on a plane in feet, and settings without frills."""

import geopandas as gpd
from shapely.geometry.base import BaseGeometry

from wellrecords.siting import KindSettings, LineClearance, PlaceCosts, RigSettings, SitingSettings

PLANE = "+proj=tmerc +lat_0=45.2 +lon_0=-69.9 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=ft +no_defs"
FLAGS = {
    "house": {"house": True},
    "road": {"access": True, "rig_may_cross": True, "trench_may_cross": True},
    "overhead_line": {"overhead": True, "rig_may_cross": True, "trench_may_cross": True},
}


def make_settings(*, tolerance_ft: float = 0.0, least_ground_ft2: float = 1.0, candidates: int = 3, **setbacks: float):
    """Return settings with the given setbacks in feet; property_line is 0 unless given."""
    kinds = {
        kind: KindSettings(label=kind.replace("_", " "), setback_ft=setback, source="test", **FLAGS.get(kind, {}))
        for kind, setback in ({"property_line": 0.0} | setbacks).items()
    }
    rig = RigSettings(
        width_ft=12,
        max_slope_percent=20,
        road_reach_ft=30,
        mast_reach_ft=5,
        line_clearance_unknown_ft=20,
        line_clearance=(LineClearance(up_to_kv=50, clearance_ft=10), LineClearance(up_to_kv=200, clearance_ft=15)),
    )
    costs = PlaceCosts(trench_usd_per_ft=30, access_usd_per_ft=5)
    return SitingSettings(
        tolerance_ft=tolerance_ft,
        least_ground_ft2=least_ground_ft2,
        grid_ft=10,
        candidates=candidates,
        candidate_spacing_ft=20,
        trench_clear_ft=10,
        kinds=kinds,
        rig=rig,
        costs=costs,
    )


def make_lot(polygon: BaseGeometry, crs: str = PLANE) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"lot_id": ["L1"]}, geometry=[polygon], crs=crs)


def make_plan(*features: tuple, crs: str = PLANE, **columns: list) -> gpd.GeoDataFrame:
    """Return a site plan from (kind, geometry) pairs."""
    kinds, shapes = zip(*features, strict=True)
    return gpd.GeoDataFrame({"kind": list(kinds), **columns}, geometry=list(shapes), crs=crs)
