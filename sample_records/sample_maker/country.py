"""The land: region, towns, roads, streams, ponds and the section grid."""

from __future__ import annotations

import heapq
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pyproj import Transformer
from shapely import LineString, Point, Polygon
from shapely.geometry import shape

from wellrecords.simulation import Region, RegionSettings, simulate_region

CRS = "EPSG:26919"
SETTINGS = RegionSettings(crs=CRS)
REGION_SEED = 9
WEST, SOUTH, SIDE = SETTINGS.west_m, SETTINGS.south_m, SETTINGS.width_m
GORE_FROM = 15_000.0
"""Easterly Gore, the quarter without wells, begins here (metres from west and from south)."""
MARGIN = 4_000.0
CELL = 100.0
MILE = 1_609.344
GRID_WEST, GRID_SOUTH, TOWNSHIPS = WEST - MARGIN, SOUTH - MARGIN, 4

TOWNS = {
    "Ashquill": (7.0, 8.0),
    "Nortlebury": (22.0, 6.0),
    "Pellandine": (5.0, 22.5),
    "Brackmere": (12.0, 18.0),
    "Corrowby": (13.5, 3.5),
    "Fallowick": (26.5, 11.0),
    "Grenlow": (2.5, 14.5),
    "Dunvarrow": (17.0, 11.5),
}
"""Kilometres from the south-west corner."""

ROADS = {
    "Corrow Road": ("Ashquill", "Corrowby"),
    "Tollgate Road": ("Corrowby", "Nortlebury"),
    "Fallow Hill Road": ("Nortlebury", "Fallowick"),
    "Sawpit Road": ("Ashquill", "Dunvarrow"),
    "Varrow Ridge Road": ("Dunvarrow", "Fallowick"),
    "Grenlow Road": ("Ashquill", "Grenlow"),
    "Tannery Road": ("Grenlow", "Pellandine"),
    "Old Stage Road": ("Pellandine", "Brackmere"),
    "Millrace Road": ("Brackmere", "Ashquill"),
    "Sedge Meadow Road": ("Brackmere", "Dunvarrow"),
    "Limekiln Road": ("Corrowby", "Dunvarrow"),
    "Quarry Lane": ("Dunvarrow", "Nortlebury"),
}
STREAM_NAMES = (
    "Quillwater",
    "Varrow Stream",
    "Nortle Brook",
    "Sedge Brook",
    "Gore Stream",
    "Tanner Brook",
    "Kiln Brook",
)
POND_NAMES = ("Brackmere Pond", "Long Sedge Pond", "Heron Pond", "Upper Gore Pond", "Millrace Pond")

TO_WGS84 = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
TO_NAD27 = Transformer.from_pipeline(
    # NAD83 to NAD27 by the mean shift for the contiguous states (EPSG 1173, good
    # to some 10 m): written out, so that it needs no grid file and is the same anywhere.
    "+proj=pipeline +step +inv +proj=utm +zone=19 +ellps=GRS80 +step +proj=cart +ellps=GRS80"
    " +step +inv +proj=helmert +x=-8 +y=160 +z=176 +step +inv +proj=cart +ellps=clrk66"
    " +step +proj=utm +zone=19 +ellps=clrk66"
)


def sample_region() -> Region:
    """Return the invented region that the sample records tell of."""
    return simulate_region(SETTINGS, REGION_SEED)


def in_county(places: np.ndarray, margin_m: float = 0.0) -> np.ndarray:
    """Return which places lie in the county and not in Easterly Gore."""
    east, north = places[:, 0] - WEST, places[:, 1] - SOUTH
    inside = (east > margin_m) & (north > margin_m) & (east < SIDE - margin_m) & (north < SIDE - margin_m)
    return inside & ~((east > GORE_FROM) & (north > GORE_FROM))


def town_place(name: str) -> np.ndarray:
    """Return the middle of a town, metres."""
    return np.array([WEST, SOUTH]) + 1000.0 * np.array(TOWNS[name])


def make_roads() -> dict[str, LineString]:
    """Return the roads: lines between towns, bent by halving and shifting."""
    rng = np.random.default_rng(41)
    roads = {}
    for name, (start, end) in ROADS.items():
        line = np.array([town_place(start), town_place(end)])
        for _ in range(5):
            middles = 0.5 * (line[:-1] + line[1:])
            spans = np.linalg.norm(np.diff(line, axis=0), axis=1)
            middles += rng.normal(0.0, 0.09, middles.shape) * spans[:, None]
            bent = np.empty((2 * len(line) - 1, 2))
            bent[::2], bent[1::2] = line, middles
            line = bent
        roads[name] = LineString(line)
    return roads


def terrain_grid(region: Region) -> tuple[np.ndarray, float, float]:
    """Return the land surface in feet on `CELL` cells, north row first, and its west and north edges."""
    n = int((SIDE + 2 * MARGIN) / CELL)
    west, north = WEST - MARGIN, SOUTH + SIDE + MARGIN
    east = west + CELL * (np.arange(n) + 0.5)
    down = north - CELL * (np.arange(n) + 0.5)
    places = np.column_stack([np.tile(east, n), np.repeat(down, n)])
    return region.at(places).elevation_ft.reshape(n, n), west, north


@dataclass(frozen=True)
class Drainage:
    """How the water runs off a terrain grid.

    `filled` is the surface without hollows; `down` the flat index of the cell
    that each drains to (-1 at the edge); `area` the cells that drain through it.
    """

    surface: np.ndarray
    filled: np.ndarray
    down: np.ndarray
    area: np.ndarray


def drain(surface: np.ndarray) -> Drainage:
    """Fill hollows and let every cell drain to the edge.

    Priority flood (Barnes, Lehman and Mulla 2014): cells are taken lowest
    first from the edge inwards, each draining to the cell that reached it.
    """
    rows, columns = surface.shape
    level = surface.astype(float)
    down = np.full(surface.size, -1)
    seen = np.zeros(surface.shape, dtype=bool)
    edge = np.zeros(surface.shape, dtype=bool)
    edge[[0, -1], :] = edge[:, [0, -1]] = True
    seen |= edge
    heap = [(level[r, c], r * columns + c) for r, c in np.argwhere(edge).tolist()]
    heapq.heapify(heap)
    order = []
    while heap:
        here, cell = heapq.heappop(heap)
        order.append(cell)
        row, column = divmod(cell, columns)
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            for c in range(max(column - 1, 0), min(column + 2, columns)):
                if not seen[r, c]:
                    seen[r, c] = True
                    level[r, c] = max(level[r, c], here)
                    down[r * columns + c] = cell
                    heapq.heappush(heap, (level[r, c], r * columns + c))
    area = np.ones(surface.size)
    for cell in reversed(order):
        if down[cell] >= 0:
            area[down[cell]] += area[cell]
    return Drainage(surface, level, down, area)


def make_streams(drainage: Drainage, west: float, north: float, least_cells: int = 250) -> list[tuple[str, LineString]]:
    """Return the streams, main stems first: where the ground of 2.5 square kilometres gathers."""
    down, area = drainage.down, drainage.area
    wet = area >= least_cells
    columns = drainage.filled.shape[1]
    best_above: dict[int, int] = {}
    for cell in np.flatnonzero(wet).tolist():
        below = int(down[cell])
        if below >= 0 and (below not in best_above or area[cell] > area[best_above[below]]):
            best_above[below] = cell
    stems = []
    for cell in np.flatnonzero(wet).tolist():
        below = int(down[cell])
        if below >= 0 and best_above[below] == cell:
            continue  # the middle of a stem that starts further down
        path = [cell] if below < 0 else [below, cell]
        while path[-1] in best_above:
            path.append(best_above[path[-1]])
        if len(path) > 8:
            rows, cols = np.divmod(np.array(path[::-1]), columns)
            line = LineString(np.column_stack([west + CELL * (cols + 0.5), north - CELL * (rows + 0.5)]))
            stems.append(line.simplify(CELL))
    stems.sort(key=lambda line: -line.length)
    return [(STREAM_NAMES[i] if i < len(STREAM_NAMES) else "", line) for i, line in enumerate(stems)]


def make_ponds(drainage: Drainage, west: float, north: float) -> list[tuple[str, Polygon]]:
    """Return the ponds: hollows of the terrain of 5 hectares or more, filled to their brim."""
    from rasterio.features import shapes
    from rasterio.transform import from_origin

    wet = drainage.filled - drainage.surface >= 3.0
    found = shapes(wet.astype("uint8"), mask=wet, transform=from_origin(west, north, CELL, CELL))
    ponds = [shape(outline).buffer(-0.3 * CELL).buffer(0.3 * CELL) for outline, _ in found]
    ponds = [p for p in ponds if isinstance(p, Polygon) and p.area >= 50_000.0]
    ponds.sort(key=lambda p: -p.area)
    return [(POND_NAMES[i] if i < len(POND_NAMES) else "", p.simplify(20.0)) for i, p in enumerate(ponds)]


def section_of(place: np.ndarray) -> tuple[str, str, int, str, np.ndarray, np.ndarray]:
    """Return township, range, section, quarter and the centres of section and quarter of a place."""
    steps = np.floor((place - [GRID_WEST, GRID_SOUTH]) / MILE).astype(int)
    corner = np.array([GRID_WEST, GRID_SOUTH]) + steps * MILE
    east, north = int(steps[0]), int(steps[1])
    half = (place - corner) >= 0.5 * MILE
    quarter = ("N" if half[1] else "S") + ("E" if half[0] else "W")
    row_from_north, column = 5 - north % 6, east % 6
    number = 6 * row_from_north + (6 - column if row_from_north % 2 == 0 else column + 1)
    centre = corner + 0.5 * MILE
    quarter_centre = corner + MILE * (0.25 + 0.5 * half)
    return f"T{north // 6 + 1}N", f"R{east // 6 + 1}E", number, quarter, centre, quarter_centre


def section_features() -> list[dict]:
    """Return the section grid as GeoJSON features."""
    features = []
    for north in range(6 * TOWNSHIPS):
        for east in range(6 * TOWNSHIPS):
            corner = np.array([GRID_WEST + east * MILE, GRID_SOUTH + north * MILE])
            twp, rng, sec, *_ = section_of(corner + 0.5 * MILE)
            square = Polygon(corner + MILE * np.array([[0, 0], [1, 0], [1, 1], [0, 1]]))
            names = {"section": f"{twp} {rng} S{sec:02d}", "twp": twp, "rng": rng, "sec": sec}
            features.append(feature(square, names))
    return features


def feature(geometry: LineString | Polygon | Point, properties: dict) -> dict:
    """Return a GeoJSON feature in longitude and latitude, to a tenth of a metre or so."""
    ring = geometry.exterior if isinstance(geometry, Polygon) else geometry
    east, north = np.array(ring.coords).T[:2]
    longitude, latitude = TO_WGS84.transform(east, north)
    points = [[round(x, 6), round(y, 6)] for x, y in zip(longitude.tolist(), latitude.tolist(), strict=True)]
    coordinates = [points] if isinstance(geometry, Polygon) else points
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": geometry.geom_type, "coordinates": coordinates},
    }


def write_geojson(path: Path, features: list[dict]) -> None:
    """Write features one a line, so that a change shows as a change of its line."""
    lines = ",\n".join(json.dumps(each, ensure_ascii=False, separators=(",", ":")) for each in features)
    path.write_text(f'{{"type":"FeatureCollection","features":[\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def write_terrain(path: Path, surface: np.ndarray, west: float, north: float) -> None:
    """Write the terrain as a small GeoTIFF, in feet."""
    import rasterio
    from rasterio.transform import from_origin

    profile = {
        "driver": "GTiff",
        "dtype": "int16",
        "count": 1,
        "height": surface.shape[0],
        "width": surface.shape[1],
        "crs": CRS,
        "transform": from_origin(west, north, CELL, CELL),
        "compress": "deflate",
        "predictor": 2,
    }
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(np.round(surface).astype("int16"), 1)
        raster.set_band_description(1, "land surface")
        raster.set_band_unit(1, "ft")
        raster.update_tags(AREA_OR_POINT="Area", note="Invented terrain, feet above the datum")
