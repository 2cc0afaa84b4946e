"""Five lots, chosen for what is around them."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree
from shapely import Polygon
from shapely.affinity import rotate

from sample_maker.country import GORE_FROM, SIDE, SOUTH, WEST, feature, in_county
from wellrecords.simulation import Region

M2_PER_ACRE = 4046.8564224


def _around(places: np.ndarray, wells: np.ndarray, radius_m: float) -> np.ndarray:
    """Count the wells within a radius of each place."""
    return cKDTree(wells).query_ball_point(places, radius_m, return_length=True)


def choose_places(region: Region, wells: pd.DataFrame) -> dict[str, np.ndarray]:
    """Return a place for each kind of lot.

    Parameters
    ----------
    region : Region
    wells : pandas.DataFrame
        The true wells.
    """
    rng = np.random.default_rng(5)
    homes = wells[~wells["use"].isin(["monitoring", "test"])]
    drilled = homes[["easting_m", "northing_m"]].to_numpy()
    places = rng.uniform((WEST, SOUTH), (WEST + SIDE, SOUTH + SIDE), (4_000, 2))
    places = places[in_county(places, 3_000.0)]
    ground = region.at(places)
    near = _around(places, drilled, 1_000.0)

    middling = (ground.rock_unit == 0) & (ground.depth_to_water_ft > 15.0) & (ground.depth_to_bedrock_ft < 30.0)
    covered = np.argmax(np.where(middling, near, -1))
    is_poor = (homes["rock_unit"] == region.settings.units[-1].name).to_numpy()
    poor_near = _around(places, drilled[is_poor], 1_500.0)
    all_poor = (ground.rock_unit == len(region.settings.units) - 1) & (poor_near == _around(places, drilled, 1_500.0))
    poor = np.argmax(np.where(all_poor & (ground.depth_to_water_ft > 10.0), near, -1))
    flows = ((homes["depth_to_water_ft"] < -2.0) & (homes["yield_gpm"] > 0.5)).to_numpy()
    flowing = np.argmax(np.where(ground.depth_to_water_ft < -4.0, _around(places, drilled[flows], 700.0), -1))
    return {
        "covered": places[covered],
        "edge": np.array([WEST + GORE_FROM + 1_900.0, SOUTH + GORE_FROM + 2_400.0]),
        "none_near": np.array([WEST + SIDE - 4_500.0, SOUTH + SIDE - 5_000.0]),
        "poor_rock": places[poor],
        "flowing": places[flowing],
    }


@dataclass(frozen=True)
class Lot:
    """A lot as its owner describes it; `turn` in degrees, `ratio` of length to width."""

    lot_id: str
    name: str
    acres: float
    ratio: float
    turn: float
    target_yield_gpm: float
    max_depth_ft: float
    garden_area_ft2: float
    wishes: str
    persons: int | None = None
    bedrooms: int | None = None


LOTS = {
    "covered": Lot("L-101", "Fallow Hill lot", 2.1, 1.3, 24.0, 5.0, 500.0, 1_200.0, "house with a garden", persons=4),
    "edge": Lot("L-102", "Last lot before the Gore", 3.6, 1.8, -12.0, 3.0, 500.0, 400.0, "small house", persons=2),
    "none_near": Lot("L-103", "Easterly Gore camp", 4.0, 1.0, 8.0, 3.0, 600.0, 0.0, "hunting camp", persons=6),
    "poor_rock": Lot("L-104", "Slate hill lot", 1.5, 2.2, 40.0, 5.0, 700.0, 2_500.0, "a large garden", bedrooms=3),
    "flowing": Lot("L-105", "Meadow lot", 1.1, 1.5, -33.0, 5.0, 400.0, 800.0, "neighbours' wells flow", bedrooms=4),
}


def lot_polygon(place: np.ndarray, acres: float, ratio: float, turn: float) -> Polygon:
    """Return a lot: a turned rectangle of so many acres about a place."""
    width = np.sqrt(acres * M2_PER_ACRE / ratio)
    half = 0.5 * np.array([width * ratio, width])
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    return rotate(Polygon(corners + place), turn)


def lot_features(region: Region, wells: pd.DataFrame) -> list[dict]:
    """Return the lots as GeoJSON features."""
    places = choose_places(region, wells)
    features = []
    for kind, lot in LOTS.items():
        wanted = {key: value for key, value in asdict(lot).items() if key not in ("ratio", "turn")}
        features.append(feature(lot_polygon(places[kind], lot.acres, lot.ratio, lot.turn), wanted))
    return features
