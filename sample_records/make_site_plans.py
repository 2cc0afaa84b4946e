"""Draw a site plan for each lot of the sample region: ``site_plans.geojson``.

Run ``python sample_records/make_site_plans.py`` after
``make_sample_records.py``: it reads ``lots.geojson`` and ``streams.geojson``
beside itself and writes the same file each time. The plans are invented: a
house, its tank and drain field, a driveway, a lane, a power line, what a
neighbour has, and the county's streams where one runs by.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from shapely import LineString, Point, box
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

HERE = Path(__file__).resolve().parent
M_PER_FT = 0.3048
CRS = "EPSG:26919"
STREAM_REACH_FT = 600.0

Feature = tuple[str, str, str, BaseGeometry]
"""Kind, name, status, and shape in feet: x along the lot's first side (the lane's), y into the lot."""


def _lane(length_ft: float) -> Feature:
    return ("road", "lane", "existing", LineString([(-150, -25), (length_ft + 150, -25)]))


# By lot: see lots.geojson for their sizes (the first side is the longer one).
PLANS: dict[str, list[Feature]] = {
    # 345 x 265 ft: room enough; a power line along the lane, a neighbour's well and field over the back line.
    "L-101": [
        _lane(345),
        ("driveway", "driveway", "proposed", LineString([(250, -25), (250, 60), (215, 85)])),
        ("house", "house", "proposed", box(165, 80, 215, 112)),
        ("septic_tank", "septic tank", "proposed", box(150, 100, 158, 105)),
        ("drain_field", "drain field", "proposed", box(60, 130, 110, 175)),
        ("overhead_line", "power line", "existing", LineString([(-150, -8), (345 + 150, -8)])),
        ("overhead_line", "service drop", "proposed", LineString([(230, -8), (215, 90)])),
        ("drain_field", "neighbour's drain field", "existing", box(20, 330, 60, 360)),
        ("well", "neighbour's well", "existing", Point(320, 310)),
    ],
    # 531 x 295 ft: a small house near the lane, a barnyard over the side line.
    "L-102": [
        _lane(531),
        ("driveway", "driveway", "existing", LineString([(380, -25), (380, 70)])),
        ("house", "house", "existing", box(360, 70, 396, 98)),
        ("building", "shed", "existing", box(420, 80, 436, 92)),
        ("septic_tank", "septic tank", "existing", box(345, 105, 353, 110)),
        ("drain_field", "drain field", "existing", box(270, 120, 330, 150)),
        ("livestock", "neighbour's barnyard", "existing", box(-90, 100, -30, 190)),
        ("overhead_line", "power line", "existing", LineString([(-150, -8), (531 + 150, -8)])),
    ],
    # 417 ft square: a camp on a forest road, with a pit and no power.
    "L-103": [
        _lane(417),
        ("house", "camp", "proposed", box(190, 150, 222, 174)),
        ("driveway", "track", "proposed", LineString([(210, -25), (210, 150)])),
        ("seepage_pit", "pit of the privy", "proposed", Point(300, 260)),
    ],
    # 379 x 172 ft, narrow: fuel tank and field leave the far end; the power's voltage is known.
    "L-104": [
        _lane(379),
        ("driveway", "driveway", "proposed", LineString([(330, -25), (330, 60)])),
        ("house", "house", "proposed", box(285, 60, 335, 96)),
        ("fuel_tank", "buried oil tank", "proposed", box(340, 90, 350, 96)),
        ("septic_tank", "septic tank", "proposed", box(268, 80, 276, 85)),
        ("drain_field", "drain field", "proposed", box(190, 70, 250, 105)),
        ("overhead_line", "power line", "existing", LineString([(-150, 160), (379 + 150, 160)])),
    ],
    # 268 x 179 ft: two fields and an oil tank leave next to nothing.
    "L-105": [
        _lane(268),
        ("driveway", "driveway", "existing", LineString([(140, -25), (140, 50)])),
        ("house", "house", "existing", box(115, 50, 163, 82)),
        ("septic_tank", "septic tank", "existing", box(170, 70, 178, 75)),
        ("drain_field", "drain field", "existing", box(195, 95, 240, 140)),
        ("drain_field", "neighbour's drain field", "existing", box(-55, 20, -15, 60)),
        ("manure_pile", "neighbour's manure pile", "existing", box(-95, 240, -70, 262)),
        ("overhead_line", "power line", "existing", LineString([(-150, -8), (268 + 150, -8)])),
    ],
}
VOLTAGE_KV = {("L-104", "power line"): 12.5}


def plan_features(lots: gpd.GeoDataFrame, streams: gpd.GeoDataFrame) -> list[dict]:
    """Return the site plans as GeoJSON features.

    Parameters
    ----------
    lots : GeoDataFrame
        `lot_id` and the lots' polygons.
    streams : GeoDataFrame
        `name` and lines; a stream within `STREAM_REACH_FT` of a lot enters its plan.
    """
    features = []
    lots, streams = lots.to_crs(CRS), streams.to_crs(CRS)
    for lot_id, outline in zip(lots["lot_id"], lots.geometry, strict=True):
        drawn = [(*feature[:3], _on_the_ground(feature[3], outline)) for feature in PLANS[lot_id]]
        near = shapely.intersection(streams.geometry.to_numpy(), outline.buffer(STREAM_REACH_FT * M_PER_FT))
        drawn += [
            ("stream", name or "stream", "existing", shape)
            for name, shape in zip(streams["name"], near, strict=True)
            if not shape.is_empty
        ]
        features += [_feature(lot_id, *each) for each in drawn]
    return features


def _on_the_ground(shape: BaseGeometry, outline: shapely.Polygon) -> BaseGeometry:
    """Turn a shape in feet from the lot's first corner into metres on the county's grid."""
    origin, along, _, inward = np.array(outline.exterior.coords)[:4]
    x_axis = (along - origin) / np.hypot(*(along - origin)) * M_PER_FT
    y_axis = (inward - origin) / np.hypot(*(inward - origin)) * M_PER_FT
    return affine_transform(shape, [x_axis[0], y_axis[0], x_axis[1], y_axis[1], origin[0], origin[1]])


def _feature(lot_id: str, kind: str, name: str, status: str, shape: BaseGeometry) -> dict:
    degrees = gpd.GeoSeries([shape], crs=CRS).to_crs("EPSG:4326").iloc[0]
    # Seven decimals are a hundredth of a metre.
    rounded = shapely.transform(degrees, lambda points: np.round(points, 7))
    properties = {"lot_id": lot_id, "kind": kind, "name": name, "status": status}
    if kind == "overhead_line":
        properties["voltage_kv"] = VOLTAGE_KV.get((lot_id, name))
    return {"type": "Feature", "properties": properties, "geometry": shapely.geometry.mapping(rounded)}


def make_site_plans(folder: Path) -> Path:
    """Write ``site_plans.geojson`` beside ``lots.geojson``."""
    features = plan_features(gpd.read_file(folder / "lots.geojson"), gpd.read_file(folder / "streams.geojson"))
    # One feature a line, so that a change shows as a change of its line.
    lines = ",\n".join(json.dumps(each, ensure_ascii=False, separators=(",", ":")) for each in features)
    path = folder / "site_plans.geojson"
    path.write_text(f'{{"type":"FeatureCollection","features":[\n{lines}\n]}}\n', encoding="utf-8", newline="\n")
    return path


if __name__ == "__main__":
    make_site_plans(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
