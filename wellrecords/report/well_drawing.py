"""A cross-section of the planned well, drawn to scale in depth, not in width."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from wellrecords import wording

WIDTH, HEIGHT = 510, 640
GROUND, BOTTOM = 120.0, 612.0
HOLE, HALF_BORE, HALF_CASING = 214.0, 17.0, 11.0
LABELS_AT = 300.0
LABEL_STEP = 34.0


@dataclass(frozen=True)
class WellLayout:
    """The depths that the drawing shows, feet below ground; NaN where not known.

    Parameters
    ----------
    depth_low_ft, depth_mid_ft, depth_high_ft : float
        Depth of the hole, p10, p50 and p90.
    depth_name : str
        Which depth of the hole that is.
    limit_ft : float
        Depths of the hole past it are drawn at it, and said to be over it.
    bedrock_ft, bedrock_low_ft, bedrock_high_ft : float
        Depth to rock, p50, p10 and p90.
    casing_ft : float
        Middle depth of the casing's foot.
    screen_ft : float
        Length of screen below the casing, where a screen is likelier than not.
    water_ft : float
        Middle static level; negative stands above ground.
    pump_ft : float
        Middle pump setting.
    casing_text, pump_text : str
        What to add to their labels ("6 in steel"); may be empty.
    surface_parts : tuple of str
        What stands at the house, in words ("pressure tank, 44 gal").
    """

    depth_low_ft: float
    depth_mid_ft: float
    depth_high_ft: float
    depth_name: str = "Hole as drilled"
    limit_ft: float = math.inf
    bedrock_ft: float = math.nan
    bedrock_low_ft: float = math.nan
    bedrock_high_ft: float = math.nan
    casing_ft: float = math.nan
    screen_ft: float = math.nan
    water_ft: float = math.nan
    pump_ft: float = math.nan
    casing_text: str = ""
    pump_text: str = ""
    surface_parts: tuple[str, ...] = ()


def draw_well(layout: WellLayout) -> Markup:
    """Draw ground, rock, casing, water, pump and the range of depth.

    Parameters
    ----------
    layout : WellLayout

    Returns
    -------
    Markup
        An ``<svg>`` element with title and description.
    """
    deepest = max(min(max(layout.depth_high_ft, layout.depth_mid_ft), layout.limit_ft), 20.0)

    def y(depth_ft: float) -> float:
        return GROUND + (BOTTOM - GROUND - 16.0) * min(max(depth_ft, 0.0), deepest) / deepest

    parts = [_patterns(), *_ground(layout, y), *_hole(layout, y, deepest), _house(layout)]
    parts += _scale(y, deepest)
    parts += _labels(layout, y)
    return Markup(
        f'<svg class="chart well-drawing" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        'aria-labelledby="well-title well-desc"><title id="well-title">The planned well in cross-section</title>'
        f'<desc id="well-desc">{escape(_words(layout))}</desc>{"".join(parts)}</svg>'
    )


def _patterns() -> str:
    return (
        '<defs><pattern id="well-soil" width="12" height="12" patternUnits="userSpaceOnUse">'
        '<rect width="12" height="12" fill="#e9dfcc"/><circle cx="3" cy="3" r="1.1" fill="#a8946f"/>'
        '<circle cx="9" cy="8" r="0.8" fill="#a8946f"/></pattern>'
        '<pattern id="well-rock" width="22" height="18" patternUnits="userSpaceOnUse">'
        '<rect width="22" height="18" fill="#e4e5e7"/>'
        '<path d="M3 6 l7 -3 M13 13 l6 -3" stroke="#a9adb2" stroke-width="1" fill="none"/></pattern>'
        '<pattern id="well-between" width="12" height="12" patternUnits="userSpaceOnUse">'
        '<rect width="12" height="12" fill="#e7e2d8"/>'
        '<path d="M0 12 L12 0" stroke="#b8b0a0" stroke-width="1"/></pattern></defs>'
    )


def _ground(layout: WellLayout, y: Callable[[float], float]) -> list[str]:
    left, width = 58.0, 240.0
    rock = layout.bedrock_ft
    if math.isnan(rock):
        return [_rect(left, GROUND, width, BOTTOM - GROUND, "#eeeae2")]
    low = layout.bedrock_low_ft if math.isfinite(layout.bedrock_low_ft) else rock
    high = layout.bedrock_high_ft if math.isfinite(layout.bedrock_high_ft) else rock
    shapes = [_rect(left, GROUND, width, y(low) - GROUND, "url(#well-soil)")]
    if y(high) > y(low):
        shapes.append(_rect(left, y(low), width, y(high) - y(low), "url(#well-between)"))
    shapes.append(_rect(left, y(high), width, max(BOTTOM - y(high), 0.0), "url(#well-rock)"))
    shapes.append(_line(left, y(rock), left + width, y(rock), "#6b6254", 1.2, "5 3"))
    return shapes


def _hole(layout: WellLayout, y: Callable[[float], float], deepest: float) -> list[str]:
    middle, low = min(layout.depth_mid_ft, deepest), layout.depth_low_ft
    shapes = [_rect(HOLE - HALF_CASING, y(middle), 2 * HALF_CASING, y(deepest) - y(middle), "none", "#1d2830", "3 3")]
    shapes.append(_rect(HOLE - HALF_CASING, GROUND, 2 * HALF_CASING, y(middle) - GROUND, "#ffffff", "#1d2830"))
    if math.isfinite(layout.water_ft) and layout.water_ft < middle:
        top = y(layout.water_ft)
        shapes.append(_rect(HOLE - HALF_CASING + 0.5, top, 2 * HALF_CASING - 1, y(middle) - top, "#bcd9ea"))
    if math.isfinite(layout.casing_ft):
        foot = y(min(layout.casing_ft, middle))
        for side in (HOLE - HALF_BORE, HOLE + HALF_CASING):
            shapes.append(_rect(side, GROUND, HALF_BORE - HALF_CASING, foot - GROUND, "#b5a98f"))
        for side in (HOLE - HALF_CASING, HOLE + HALF_CASING):
            shapes.append(_line(side, GROUND - 16, side, foot, "#1d2830", 3))
        shapes.append(_rect(HOLE - HALF_CASING - 3, GROUND - 20, 2 * HALF_CASING + 6, 5, "#1d2830"))
        if math.isfinite(layout.screen_ft):
            end = y(min(layout.casing_ft + layout.screen_ft, middle))
            for side in (HOLE - HALF_CASING, HOLE + HALF_CASING):
                shapes.append(_line(side, foot, side, end, "#1d2830", 3, "2 3"))
    if math.isfinite(layout.pump_ft):
        set_at = min(y(layout.pump_ft), y(middle) - 4)
        shapes.append(_line(HOLE, GROUND + 14, HOLE, set_at - 16, "#1f5f8b", 2))
        shapes.append(
            f'<rect x="{HOLE - 5}" y="{set_at - 18:.1f}" width="10" height="18" rx="3" fill="#1f5f8b" stroke="#fff"/>'
        )
        shapes.append(
            f'<path d="M{HOLE} {GROUND + 14} H112 V{GROUND - 26}" fill="none" stroke="#1f5f8b" stroke-width="2"/>'
        )
    if math.isfinite(layout.water_ft):
        top = y(layout.water_ft)
        shapes.append(
            f'<path d="M{HOLE + 52} {top - 9:.1f} h14 l-7 9 z" fill="#1f5f8b"/>'
            + _line(HOLE + HALF_CASING, top, LABELS_AT - 14, top, "#1f5f8b", 1.4)
        )
    if y(deepest) - y(low) > 3:
        x = HOLE + HALF_BORE + 8
        shapes.append(_line(x, y(low), x, y(deepest), "#c2410c", 4))
        shapes.append(f'<circle cx="{x}" cy="{y(middle):.1f}" r="5" fill="#c2410c" stroke="#fff" stroke-width="1.5"/>')
    shapes.append(_line(58, GROUND, 298, GROUND, "#4d5a38", 2.5))
    return shapes


def _house(layout: WellLayout) -> str:
    base = GROUND - 1.5
    house = (
        f'<path d="M72 {base} V{base - 38} L111 {base - 66} L150 {base - 38} V{base} Z" '
        'fill="#f7f7f5" stroke="#57636b" stroke-width="1.5"/>'
        f'<rect x="102" y="{base - 27}" width="20" height="25" rx="8" fill="#cfe0ec" stroke="#1f5f8b"/>'
    )
    lines = "".join(
        f'<text x="{LABELS_AT}" y="{34 + 18 * row}" class="small">{escape(text)}</text>'
        for row, text in enumerate(layout.surface_parts[:4])
    )
    return house + (f'<text x="{LABELS_AT}" y="16" class="strong">At the house</text>{lines}' if lines else "")


def _scale(y: Callable[[float], float], deepest: float) -> list[str]:
    step = next(step for step in (10, 20, 50, 100, 200, 500) if deepest / step <= 10) if deepest <= 5000 else 1000
    shapes = [_line(58, GROUND, 58, y(deepest), "#57636b", 1)]
    for depth in range(0, int(deepest) + 1, step):
        label = "0 ft" if depth == 0 else f"{depth:,}"
        shapes.append(_line(53, y(depth), 58, y(depth), "#57636b", 1))
        shapes.append(f'<text x="48" y="{y(depth) + 4:.1f}" text-anchor="end" class="small">{label}</text>')
    return shapes


def _labels(layout: WellLayout, y: Callable[[float], float]) -> list[str]:
    """Labels at the right, each by its depth, moved apart where they would touch."""
    rows: list[tuple[float, str, str, float]] = []

    def add(depth_ft: float, head: str, detail: str, start_x: float) -> None:
        if math.isfinite(depth_ft):
            rows.append((y(depth_ft), head, detail, start_x))

    side = HOLE + HALF_BORE
    add(layout.water_ft, "Water stands at", wording.water_level(layout.water_ft), HOLE + HALF_CASING)
    add(
        layout.bedrock_ft,
        "Rock at",
        wording.span(layout.bedrock_low_ft, layout.bedrock_high_ft, wording.depth)
        if math.isfinite(layout.bedrock_low_ft) and math.isfinite(layout.bedrock_high_ft)
        else wording.depth(layout.bedrock_ft),
        298.0,
    )
    add(layout.casing_ft, "Casing and grout to", _with(wording.depth(layout.casing_ft), layout.casing_text), side)
    add(layout.pump_ft, "Pump set at", _with(wording.depth(layout.pump_ft), layout.pump_text), HOLE + 6)
    for depth_ft, which in (
        (layout.depth_low_ft, "p10"),
        (layout.depth_mid_ft, "middle"),
        (layout.depth_high_ft, "p90"),
    ):
        drawn_ft = min(depth_ft, layout.limit_ft)
        add(drawn_ft, f"{layout.depth_name}, {which}", wording.target_depth(depth_ft, layout.limit_ft), side + 8)
    rows.sort(key=lambda row: row[0])
    places = spread_apart([row[0] for row in rows], LABEL_STEP, GROUND + 4, HEIGHT - 26.0)
    shapes = []
    for (depth_y, head, detail, start), place in zip(rows, places, strict=True):
        shapes.append(
            f'<path d="M{start:.0f} {depth_y:.1f} H{LABELS_AT - 14} L{LABELS_AT + 8} {place:.1f} h6" fill="none" '
            'stroke="#7d8489" stroke-width="0.8"/>'
            f'<text x="{LABELS_AT + 20}" y="{place - 1:.1f}" class="small">{escape(head)}</text>'
            f'<text x="{LABELS_AT + 20}" y="{place + 14:.1f}" class="strong">{escape(detail)}</text>'
        )
    return shapes


def spread_apart(wanted: list[float], step: float, first: float, last: float) -> list[float]:
    """Return places near the wanted ones, in order, at least `step` apart, between two ends.

    Parameters
    ----------
    wanted : list of float
        Rising.
    step, first, last : float
        If they do not fit, the step shrinks.

    Returns
    -------
    list of float

    Examples
    --------
    >>> spread_apart([10.0, 12.0, 50.0], 10.0, 0.0, 55.0)
    [10.0, 20.0, 50.0]
    >>> spread_apart([50.0, 52.0], 10.0, 0.0, 55.0)
    [45.0, 55.0]
    """
    if len(wanted) > 1:
        step = min(step, (last - first) / (len(wanted) - 1))
    places: list[float] = []
    for value in wanted:
        places.append(max(value, first, places[-1] + step if places else first))
    for index in range(len(places) - 1, -1, -1):
        places[index] = min(places[index], last - step * (len(places) - 1 - index))
    return places


def _words(layout: WellLayout) -> str:
    def say_hole(depth_ft: float) -> str:
        return wording.target_depth(depth_ft, layout.limit_ft)

    words = [
        f"{layout.depth_name} {wording.span(layout.depth_low_ft, layout.depth_high_ft, say_hole)}, "
        f"middle {say_hole(layout.depth_mid_ft)}"
    ]
    for name, value, say in (
        ("rock at", layout.bedrock_ft, wording.depth),
        ("water stands at", layout.water_ft, wording.water_level),
        ("casing to", layout.casing_ft, wording.depth),
        ("pump at", layout.pump_ft, wording.depth),
    ):
        if math.isfinite(value):
            words.append(f"{name} {say(value)}")
    return f"{'; '.join(words)}."


def _with(text: str, more: str) -> str:
    return f"{text}, {more}" if more else text


def _rect(x: float, y: float, width: float, height: float, fill: str, stroke: str = "none", dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{max(height, 0.0):.1f}" '
        f'fill="{fill}" stroke="{stroke}"{dashed}/>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{stroke}" stroke-width="{width}"{dashed}/>'
    )
