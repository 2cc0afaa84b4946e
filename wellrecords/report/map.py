"""The map: folium's, with everything it needs inside the page.

folium builds the Leaflet map, its layers and its layer switch. The wells are
not handed to folium (it would compile their text as templates): they travel
as JSON and are drawn by ``assets/map.js``. Names of layers do pass through
folium, each by way of `folium_text`. Ids come from the content, so that the
same input gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import folium
from branca.element import Figure
from folium.raster_layers import ImageOverlay
from folium.template import Template
from markupsafe import Markup

from wellrecords.report.assets import asset_text, leaflet_script, leaflet_style
from wellrecords.report.escape import folium_text
from wellrecords.report.ramp import Ramp
from wellrecords.report.surfaces import SurfacePicture

Bounds = tuple[float, float, float, float]
"""West, south, east, north in degrees, WGS84."""


class OfflineMap(folium.Map):
    """A folium map that asks the network for nothing and fits into a page.

    folium lists its scripts and styles as links, and adds style sheets that
    take over the whole page and a viewport that forbids zooming: here the
    lists are empty and the page brings its own.
    """

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - as folium declares it
    default_css: list[tuple[str, str]] = []  # noqa: RUF012
    _template = Template(
        """
        {% macro html(this, kwargs) %}
            <div class="map" id={{ this.get_name()|tojson }} role="region" tabindex="0"
                aria-label="Map. Arrow keys move it, plus and minus change its scale."></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
            var {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {
                center: {{ this.location|tojson }}, zoomSnap: 0.25, attributionControl: false,
                ...{{ this.options|tojavascript }}
            });
            L.control.scale({ maxWidth: 140, metric: false }).addTo({{ this.get_name() }});
        {% endmacro %}
        """
    )


@dataclass(frozen=True)
class SurfaceLayer:
    """A surface ready for the map: its title, its ramp and its picture."""

    title: str
    ramp: Ramp
    picture: SurfacePicture


@dataclass(frozen=True)
class MapParts:
    """What a page needs to show a map.

    Parameters
    ----------
    html : Markup
        The element that the map is drawn in.
    scripts, styles : list of str
        In order.
    data : dict
        For `json_for_page`, under the id ``map-data``.
    """

    html: Markup
    scripts: list[str]
    styles: list[str]
    data: dict[str, Any] = field(repr=False)


def build_map(
    *,
    bounds: Bounds,
    groups: Sequence[tuple[str, dict[str, Any]]],
    ramps: Sequence[Ramp] = (),
    surfaces: Sequence[SurfaceLayer] = (),
    canvas: bool = False,
) -> MapParts:
    """Build the map and the data that fill it.

    Parameters
    ----------
    bounds : tuple of float
        What the map shows at first: west, south, east, north, WGS84.
    groups : sequence of (name, content)
        One switchable layer each, from the lowest to the topmost. The content
        is drawn by ``map.js``: see `wellrecords.report.map_data`.
    ramps : sequence of Ramp
        What the wells can be coloured by, the first at first.
    surfaces : sequence of SurfaceLayer
        The one of the chosen quantity is shown.
    canvas : bool, default=False
        Draw on a canvas: for thousands of wells. Otherwise as SVG, which
        prints sharp and can be reached by keyboard.

    Returns
    -------
    MapParts
    """
    west, south, east, north = bounds
    page_map = OfflineMap(
        location=[round((south + north) / 2, 5), round((west + east) / 2, 5)],
        zoom_start=11,
        tiles=None,
        prefer_canvas=canvas,
        max_zoom=18,
    )
    page_map._id = "report"
    surface_data = _add_surfaces(page_map, surfaces)
    contents = []
    for number, (name, content) in enumerate(groups, 1):
        group = folium.FeatureGroup(name=folium_text(name), show=content.get("show", True))
        group._id = f"layer_{number}"
        group.add_to(page_map)
        contents.append({**content, "group": group.get_name()})
    control = folium.LayerControl(collapsed=False)
    control._id = "report"
    control.add_to(page_map)
    figure = page_map.get_root()
    if not isinstance(figure, Figure):
        msg = f"folium was expected to put its map into a Figure, not into {type(figure).__name__}."
        raise TypeError(msg)
    figure.render()
    return MapParts(
        html=Markup(figure.html.render()),
        scripts=[leaflet_script(), _tidy(figure.script.render()), asset_text("map.js")],
        styles=[leaflet_style()],
        data={
            "map": page_map.get_name(),
            "bounds": [[round(south, 5), round(west, 5)], [round(north, 5), round(east, 5)]],
            "groups": contents,
            "ramps": [ramp.as_data() for ramp in ramps],
            "surfaces": surface_data,
        },
    )


def _add_surfaces(page_map: OfflineMap, surfaces: Sequence[SurfaceLayer]) -> dict[str, Any]:
    """Add the surfaces, none shown: the page's choice of a quantity shows the wells and the surface of it."""
    data: dict[str, Any] = {}
    if not surfaces:
        return data
    for number, surface in enumerate(surfaces, 1):
        overlay = ImageOverlay(
            surface.picture.uri,
            surface.picture.bounds,
            name=folium_text(surface.title),
            overlay=True,
            control=False,
            show=False,
            opacity=0.75,
            alt=folium_text(surface.title),
            pixelated=False,
        )
        overlay._id = f"surface_{number}"
        overlay.add_to(page_map)
        data[overlay.get_name()] = {"title": surface.title, **surface.ramp.as_data()}
    return data


def _tidy(script: str) -> str:
    """Take the blank lines and the margin out of folium's script."""
    return "\n".join(line.strip() for line in script.splitlines() if line.strip())
