"""The plan of a lot to scale: where a well may stand, what it keeps away from, the chosen places.

A static SVG, so that it prints as it looks. No text of the site plan stands
in it: features carry a letter, and the table beside it says what each is.
Hatching and dashes carry the meaning, colour only helps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from markupsafe import Markup
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from wellrecords import wording
from wellrecords.report.charts import BLUE, INK, MUTED, RUST
from wellrecords.siting import Siting

WIDTH = 600.0
MOST_HEIGHT = 720.0
FOOT = 106.0
"""Height of the strip under the plan, for the scale and the key."""
MARGIN_FT = 30.0
LETTERS_APART = 20.0
_ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_LINES = {"road": (6.0, "#b9bdb9"), "driveway": (4.0, "#b9bdb9"), "stream": (2.5, "#4d8fb8")}
"""Width and colour of the lines of some kinds; any other kind is drawn plain."""
_AREA = "#8d9499"
_GROUND = "#cfe4f2"

Place = tuple[float, float]


@dataclass(frozen=True)
class _Sheet:
    """From feet on the lot's plane to the drawing."""

    west_ft: float
    north_ft: float
    scale: float
    width: float
    height: float

    def at(self, x_ft: float, y_ft: float) -> Place:
        return (x_ft - self.west_ft) * self.scale, (self.north_ft - y_ft) * self.scale

    def laid(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape in the drawing's units."""
        matrix = (self.scale, 0.0, 0.0, -self.scale, -self.west_ft * self.scale, self.north_ft * self.scale)
        return shapely.affinity.affine_transform(shape, matrix)


def letters(count: int) -> list[str]:
    """Return names for features: A to Z without I and O, which read as figures, then A2, B2 ...

    >>> letters(9)[-2:], letters(26)[-3:]
    (['H', 'J'], ['Z', 'A2', 'B2'])
    """
    several = len(_ALPHABET)
    rounds = ["", *(str(number) for number in range(2, count // several + 2))]
    return [letter + again for again in rounds for letter in _ALPHABET][:count]


def draw_site_plan(siting: Siting) -> Markup:
    """Draw the plan of a lot.

    Parameters
    ----------
    siting : Siting
        The features after the first (the lot's boundary) are lettered in
        their order, as `letters` names them; the places by their rank.

    Returns
    -------
    Markup
        An ``<svg>`` element with title and description.
    """
    plane = _plane(siting)
    boundary, *shapes = siting.features.geometry.to_crs(plane)
    lot = shapely.union_all(shapely.get_parts(shapely.polygonize([boundary])))
    taken = siting.features["taken_ft2"].to_numpy()[1:] > 0
    sheet = _sheet(lot, [shape for shape, takes in zip(shapes, taken, strict=True) if takes])
    frame = shapely.box(0, 0, sheet.width, sheet.height)
    drawn = [sheet.laid(shape).intersection(frame) for shape in shapes]
    places = [sheet.at(x, y) for x, y in _coordinates(siting.candidates.geometry.to_crs(plane))]
    features = siting.features.iloc[1:]
    parts = [_patterns(), f'<rect width="{sheet.width:.0f}" height="{sheet.height:.0f}" fill="#fafaf8"/>']
    parts.append(_path(sheet.laid(lot), 'fill="#ffffff"'))
    parts += _zones(siting, plane, sheet)
    if not siting.ground.geometry.iloc[0].is_empty:
        ground = sheet.laid(siting.ground.geometry.to_crs(plane).iloc[0])
        parts.append(_path(ground, f'fill="{_GROUND}" stroke="{BLUE}" stroke-width="1.4"'))
    for shape, kind, planned, mast in zip(
        drawn, features["kind"], features["proposed"], features["mast_clearance_ft"], strict=True
    ):
        parts.append(_feature(shape, kind, bool(planned), mast > 0))
    parts.append(_path(sheet.laid(lot), f'fill="none" stroke="{INK}" stroke-width="2.2"'))
    parts += _ways(siting, plane, sheet)
    parts += _letters(drawn, frame, places)
    parts += [_numbered(place, rank) for rank, place in reversed(list(enumerate(places, 1)))]
    parts += _north(sheet) + _scale(sheet) + _key(siting, sheet)
    height = sheet.height + FOOT
    return Markup(
        f'<svg class="chart site-plan" viewBox="0 0 {sheet.width:.0f} {height:.0f}" role="img" '
        f'aria-labelledby="site-title site-desc"><title id="site-title">Plan of the lot, to scale</title>'
        f'<desc id="site-desc">{_words(siting)}</desc>'
        f'<clipPath id="site-frame"><rect width="{sheet.width:.0f}" height="{sheet.height:.0f}"/></clipPath>'
        f"{''.join(parts)}</svg>"
    )


def _plane(siting: Siting) -> CRS:
    """Return a plane in feet, centred on the lot, north up."""
    west, south, east, north = siting.features.geometry.iloc[[0]].total_bounds
    return CRS.from_proj4(
        f"+proj=tmerc +lat_0={(south + north) / 2:.6f} +lon_0={(west + east) / 2:.6f} +units=ft +datum=WGS84 +no_defs"
    )


def _sheet(lot: BaseGeometry, taking: Iterable[BaseGeometry]) -> _Sheet:
    """Return the frame: the lot, and the nearest of whatever outside takes ground from it."""
    nearest = [shapely.get_point(shapely.shortest_line(shape, lot), 0).buffer(12.0) for shape in taking]
    west, south, east, north = shapely.union_all([lot, *nearest]).buffer(MARGIN_FT).bounds
    scale = min(WIDTH / (east - west), MOST_HEIGHT / (north - south))
    # The sheet keeps its width, so that a narrow lot's key still fits beside it.
    spare = WIDTH / scale - (east - west)
    return _Sheet(west - spare / 2, north, scale, WIDTH, (north - south) * scale)


def _zones(siting: Siting, plane: CRS, sheet: _Sheet) -> list[str]:
    """Hatch what setbacks take, and, the other way, what the mast's clearance takes."""
    masts = set(siting.features.loc[siting.features["mast_clearance_ft"] > 0, "kind"])
    zones = siting.zones.to_crs(plane)
    shapes = []
    for pattern, overhead in (("site-setback", False), ("site-mast", True)):
        group = zones.geometry[zones["kind"].isin(masts) == overhead]
        whole = sheet.laid(shapely.union_all(group.to_list()))
        shapes.append(_path(whole, f'fill="url(#{pattern})"'))
        shapes += [
            _path(sheet.laid(zone), f'fill="none" stroke="{RUST if overhead else MUTED}" stroke-width="0.7"')
            for zone in group
        ]
    return shapes


def _feature(shape: BaseGeometry, kind: str, planned: bool, overhead: bool) -> str:
    dash = ' stroke-dasharray="5 3"' if planned else ""
    parts = []
    for part in shapely.get_parts(shape):
        if part.is_empty:
            continue
        if part.geom_type == "Polygon":
            parts.append(_path(part, f'fill="{_AREA}" fill-opacity="0.55" stroke="{INK}" stroke-width="1.3"{dash}'))
        elif part.geom_type == "Point":
            parts.append(
                f'<circle cx="{part.x:.1f}" cy="{part.y:.1f}" r="4.5" fill="#ffffff" stroke="{INK}" '
                f'stroke-width="1.6"{dash}/>'
            )
        elif overhead:
            parts.append(_path(part, f'fill="none" stroke="{RUST}" stroke-width="2.2" stroke-dasharray="9 3 2 3"'))
        else:
            width, colour = _LINES.get(kind, (2.2, INK))
            parts.append(_path(part, f'fill="none" stroke="{colour}" stroke-width="{width}"{dash}'))
    return "".join(parts)


def _ways(siting: Siting, plane: CRS, sheet: _Sheet) -> list[str]:
    """Draw the ways of the first place only: all of them would hide the plan."""
    first = siting.ways[siting.ways["rank"] == 1].to_crs(plane) if len(siting.ways) else siting.ways
    style = {
        "access": f'stroke="{INK}" stroke-width="2" stroke-dasharray="2 4" stroke-linecap="round"',
        "trench": f'stroke="{BLUE}" stroke-width="2.6"',
    }
    return [
        _path(sheet.laid(way), f'fill="none" {style[kind]}')
        for kind, way in zip(first["way"], first.geometry, strict=True)
    ]


def _letters(drawn: Sequence[BaseGeometry], frame: BaseGeometry, places: Sequence[Place]) -> list[str]:
    """Letter each feature where it keeps the most room from the numbers and the other letters."""
    inner = frame.buffer(-11.0)
    taken = list(places)
    shapes = []
    for letter, shape in zip(letters(len(drawn)), drawn, strict=True):
        if shape.is_empty:
            continue
        spots = [spot for spot in _spots(shape) if shapely.contains_xy(inner, *spot)] or _spots(shape)[:1]
        room = [min((np.hypot(*np.subtract(spot, other)) for other in taken), default=np.inf) for spot in spots]
        # The first spot with room enough is the one a reader expects; else the roomiest.
        x, y = (
            next((spot for spot, free in zip(spots, room, strict=True) if free > LETTERS_APART), None)
            or spots[int(np.argmax(room))]
        )
        taken.append((x, y))
        shapes.append(
            f'<text class="letter" x="{x:.1f}" y="{y + 5:.1f}" text-anchor="middle" stroke="#ffffff" '
            f'stroke-width="4" paint-order="stroke">{letter}</text>'
        )
    return shapes


def _spots(shape: BaseGeometry) -> list[Place]:
    """Return where a feature's letter may stand, the best first."""
    part = max(shapely.get_parts(shape), key=lambda one: (one.area, one.length))
    if part.geom_type == "LineString":
        return [(spot.x, spot.y) for spot in shapely.line_interpolate_point(part, _SHARES, normalized=True)]
    middle = part.representative_point()
    reach = np.sqrt(part.area) / 2 + 12.0
    return [(middle.x, middle.y)] * (part.area > 400.0) + [
        (middle.x + reach * across, middle.y + reach * up)
        for across, up in ((1, -0.6), (-1, -0.6), (1, 0.6), (-1, 0.6))
    ]


_SHARES = np.array([0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9])


def _numbered(place: Place, rank: int) -> str:
    fill, ink = (BLUE, "#ffffff") if rank == 1 else ("#ffffff", INK)
    x, y = place
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{11 if rank == 1 else 9.5}" fill="{fill}" stroke="{INK}" '
        f'stroke-width="1.6"/><text class="number" x="{x:.1f}" y="{y + 5:.1f}" text-anchor="middle" '
        f'style="fill:{ink}">{rank}</text>'
    )


def _north(sheet: _Sheet) -> list[str]:
    x, y = sheet.width - 26.0, 50.0
    return [
        f'<path d="M{x} {y} V{y - 34} M{x - 7} {y - 22} L{x} {y - 36} L{x + 7} {y - 22}" fill="none" stroke="#ffffff" '
        'stroke-width="6"/>',
        f'<path d="M{x} {y} V{y - 34} M{x - 7} {y - 22} L{x} {y - 36} L{x + 7} {y - 22}" fill="none" stroke="{INK}" '
        'stroke-width="2"/>',
        f'<text class="letter" x="{x}" y="{y + 16}" text-anchor="middle" stroke="#ffffff" stroke-width="4" '
        'paint-order="stroke">N</text>',
    ]


def _scale(sheet: _Sheet) -> list[str]:
    """Draw a bar of a round number of feet, between a seventh and a third of the width."""
    room_ft = sheet.width / sheet.scale
    length_ft = next(step for step in _round_numbers() if step >= room_ft / 7)
    length, y = length_ft * sheet.scale, sheet.height + 20.0
    return [
        f'<path d="M1 {y - 6} V{y} H{1 + length:.1f} V{y - 6} M{1 + length / 2:.1f} {y - 4} V{y}" fill="none" '
        f'stroke="{INK}" stroke-width="1.6"/>',
        f'<text x="{length + 9:.1f}" y="{y + 3}">{wording.whole(length_ft)} ft</text>',
    ]


def _round_numbers() -> Iterable[float]:
    return (factor * 10.0**power for power in range(0, 7) for factor in (1, 2, 5))


def _key(siting: Siting, sheet: _Sheet) -> list[str]:
    """Draw what the signs mean, only those that stand on the plan."""
    box = 'width="22" height="13"'
    line: Callable[[str], str] = lambda style: f'<path d="M0 7 H22" fill="none" {style}/>'  # noqa: E731
    ways = set(siting.ways["way"]) if len(siting.ways) else set()
    overhead = bool((siting.features["mast_clearance_ft"] > 0).any())
    entries = [
        (
            siting.ground_area_ft2 > 0,
            f'<rect {box} fill="{_GROUND}" stroke="{BLUE}" stroke-width="1.4"/>',
            "a well may stand here",
        ),
        (True, f'<rect {box} fill="url(#site-setback)" stroke="{MUTED}"/>', "taken by setbacks"),
        (overhead, f'<rect {box} fill="url(#site-mast)" stroke="{RUST}"/>', "too near overhead lines"),
        (
            bool(siting.features["proposed"].any()),
            f'<rect {box} fill="{_AREA}" fill-opacity="0.55" stroke="{INK}" stroke-dasharray="5 3"/>',
            "planned, dashed edge",
        ),
        ("trench" in ways, line(f'stroke="{BLUE}" stroke-width="2.6"'), "water line from place 1"),
        (
            "access" in ways,
            line(f'stroke="{INK}" stroke-width="2" stroke-dasharray="2 4" stroke-linecap="round"'),
            "the rig’s way to place 1",
        ),
    ]
    shown = [(sign, words) for shows, sign, words in entries if shows]
    return [
        f'<g transform="translate({(number % 2) * 300 + 1:.0f} {sheet.height + 38 + 22 * (number // 2):.0f})">{sign}'
        f'<text x="29" y="12">{words}</text></g>'
        for number, (sign, words) in enumerate(shown)
    ]


def _patterns() -> str:
    return (
        '<defs><pattern id="site-setback" width="8" height="8" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="8" height="8" fill="#f4f4f1"/>'
        '<path d="M0 0 V8" stroke="#a9aeb0" stroke-width="1.6"/></pattern>'
        '<pattern id="site-mast" width="8" height="8" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(-45)"><path d="M0 0 V8" stroke="{RUST}" stroke-width="1.3"/></pattern></defs>'
    )


def _words(siting: Siting) -> str:
    share = wording.percent(siting.ground_area_ft2 / siting.lot_area_ft2) if siting.ground_area_ft2 else "none"
    return (
        f"North is up. {share[0].upper()}{share[1:]} of the lot is left where a well may stand; "
        f"{wording.counted(len(siting.candidates), 'place')} chosen, numbered from the best; "
        f"{wording.counted(len(siting.features) - 1, 'feature')} lettered. The tables hold the distances."
    )


def _coordinates(points: gpd.GeoSeries) -> list[Place]:
    return list(zip(points.x, points.y, strict=True))


def _path(shape: BaseGeometry, style: str) -> str:
    """Return a path of lines and polygons, holes left open; nothing for an empty shape."""
    rings = []
    for part in shapely.get_parts(shape):
        lines = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
        for line in lines:
            if line.geom_type in ("LineString", "LinearRing") and not line.is_empty:
                steps = " L".join(f"{x:.1f} {y:.1f}" for x, y in line.simplify(0.15).coords)
                rings.append(f"M{steps}{' Z' if part.geom_type == 'Polygon' else ''}")
    if not rings:
        return ""
    return f'<path d="{" ".join(rings)}" {style} fill-rule="evenodd" clip-path="url(#site-frame)"/>'
