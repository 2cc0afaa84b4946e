"""Which wells a lot is estimated from: the same, whichever other lots are asked with it.

A few thousand wells are taken all together, by every lot. Where there are
more, a lot takes those of its tile and of a margin around it. Tiles lie on a
grid of the whole earth that never moves; a tile around which the wells are
many is cut in four. The lots of one tile share one reading of the records.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from wellrecords.lots.places import LotPlaces, lot_places
from wellrecords.lots.settings import EstimateSettings

SIDE_DEG = 0.4
"""Side of an uncut tile, degrees of latitude: 44 km."""
MARGIN = 0.25
"""Of a tile's side, to each side: 11 km around an uncut tile, so that all who decide on its support are in it."""
MOST_CUTS = 3
PLANE_ROUNDED_DEG = 1


@dataclass(frozen=True, order=True)
class Tile:
    """A square of the ground; `cuts` times cut in four, at `row` from the south pole and `column` from 180 west."""

    cuts: int
    row: int
    column: int

    @property
    def sides(self) -> tuple[float, float]:
        """Width and height in degrees; all tiles of a row are as wide, about as many metres as they are high."""
        middle = np.radians((0.5 + (self.row >> self.cuts)) * SIDE_DEG - 90.0)
        around = max(1, round(360.0 * float(np.cos(middle)) / SIDE_DEG))
        return 360.0 / around / 2**self.cuts, SIDE_DEG / 2**self.cuts

    @property
    def middle(self) -> tuple[float, float]:
        """Longitude and latitude of the middle."""
        width, height = self.sides
        return (self.column + 0.5) * width - 180.0, (self.row + 0.5) * height - 90.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the tile with its margin."""
        (width, height), (longitude, latitude) = self.sides, self.middle
        east, north = (0.5 + MARGIN) * width, (0.5 + MARGIN) * height
        return longitude - east, latitude - north, longitude + east, latitude + north

    def holds(self, longitude: np.ndarray, latitude: np.ndarray) -> np.ndarray:
        """Say which places lie in the tile or its margin."""
        west, south, east, north = self.box
        return (longitude >= west) & (longitude <= east) & (latitude >= south) & (latitude <= north)


def tile_at(longitude: float, latitude: float, cuts: int = 0) -> Tile:
    """Return the tile in which a place lies."""
    row = int((latitude + 90.0) // (SIDE_DEG / 2**cuts))
    width, _ = Tile(cuts, row, 0).sides
    return Tile(cuts, row, int((longitude + 180.0) // width))


@dataclass(frozen=True, eq=False)
class Company:
    """Lots that share one reading of the records.

    Attributes
    ----------
    lots : ndarray of int
        Their rows.
    wells : ndarray of int
        Rows, among those of the district, of the wells that they are estimated from.
    """

    lots: np.ndarray
    wells: np.ndarray


@dataclass(frozen=True, eq=False)
class District:
    """An uncut tile: its wells are counted around its lots, and from some of them is learnt what all share.

    Attributes
    ----------
    wells : ndarray of int
        Rows of the wells.
    companies : tuple of Company
    middle : (longitude, latitude)
        Of the plane on which wells and lots are placed.
    """

    wells: np.ndarray
    companies: tuple[Company, ...]
    middle: tuple[float, float]


def districts(
    places: LotPlaces, longitude: np.ndarray, latitude: np.ndarray, settings: EstimateSettings, *, by_tile: bool
) -> list[District]:
    """Share out wells and lots.

    Parameters
    ----------
    places : LotPlaces
    longitude, latitude : ndarray of shape (n,)
        Of the wells, finite; longitudes rise.
    settings : EstimateSettings
        `wells_per_fit` decides when a tile is cut.
    by_tile : bool

    Returns
    -------
    list of District
        Each lot stands in one company of one of them.
    """
    if not by_tile:
        every, middle = np.arange(len(longitude)), (0.0, 0.0)
        if len(longitude):
            east, north = float(np.median(longitude)), float(np.median(latitude))
            middle = round(east, PLANE_ROUNDED_DEG), round(north, PLANE_ROUNDED_DEG)
        return [District(every, (Company(np.arange(len(places)), every),), middle)]
    lots_of: dict[Tile, dict[Tile, list[int]]] = {}
    wells_of: dict[Tile, np.ndarray] = {}

    def wells_in(tile: Tile, some: np.ndarray) -> np.ndarray:
        if tile not in wells_of:
            wells_of[tile] = some[tile.holds(longitude[some], latitude[some])]
        return wells_of[tile]

    for lot, place in enumerate(zip(places.longitude, places.latitude, strict=True)):
        tile = uncut = tile_at(*place)
        west, _, east, _ = tile.box
        wells = wells_in(tile, np.arange(*np.searchsorted(longitude, (west, np.nextafter(east, np.inf)))))
        while len(wells) > settings.wells_per_fit and tile.cuts < MOST_CUTS:
            tile = tile_at(*place, tile.cuts + 1)
            wells = wells_in(tile, wells)
        lots_of.setdefault(uncut, {}).setdefault(tile, []).append(lot)
    return [
        District(
            wells_of[uncut],
            tuple(
                Company(np.array(lots), np.searchsorted(wells_of[uncut], wells_of[tile]))
                for tile, lots in sorted(cut.items())
            ),
            uncut.middle,
        )
        for uncut, cut in sorted(lots_of.items())
    ]


def wells_box(lots: gpd.GeoDataFrame) -> tuple[float, float, float, float]:
    """Return the box (west, south, east, north; degrees WGS84) whose wells lots are estimated from, tile by tile.

    Parameters
    ----------
    lots : GeoDataFrame
    """
    places = lot_places(lots)
    tiles = {tile_at(*place) for place in zip(places.longitude, places.latitude, strict=True)}
    west, south, east, north = zip(*(tile.box for tile in tiles), strict=True)
    return min(west), min(south), max(east), max(north)
