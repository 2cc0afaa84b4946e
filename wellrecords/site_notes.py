"""What a lot's outline and site plan ask to be said among the notes of its estimate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import shapely
from shapely.geometry.base import BaseGeometry

from wellrecords.bid import Bid
from wellrecords.schema import WGS84
from wellrecords.siting.ground import LARGE_LOT_FT2, large_lot, lot_plane

if TYPE_CHECKING:
    from wellrecords.siting import Siting

CROSSED = "The lot's outline crosses itself: its corners are out of order. Check it against the deed."


def no_ground_notes(siting: Siting | None) -> list[str]:
    """Say, before all else, that the setbacks leave no place on a lot; its figures look like a plan otherwise.

    Parameters
    ----------
    siting : Siting or None

    Returns
    -------
    list of str
        Empty where a well may stand somewhere, or no place was looked for.
    """
    if siting is None or siting.has_ground:
        return []
    return [
        f"No place on this lot keeps the setbacks that are set (in the way: {siting.in_the_way}). The figures are for "
        "the ground there, and no permit to drill: settle a place first. The site command says what would free ground."
    ]


def left_out_notes(siting: Siting | None) -> list[str]:
    """Say which features of other lots' plans a lot's own plan leaves out.

    Parameters
    ----------
    siting : Siting or None
    """
    return [siting.left_out] if siting is not None and siting.left_out else []


def no_trench_notes(siting: Siting | None, bid: object, run_to_house_ft: float) -> list[str]:
    """Say which trench a price holds where none was found from the place that is priced.

    Parameters
    ----------
    siting : Siting or None
    bid : Bid, NoBid or None
        Of the first place.
    run_to_house_ft : float
        What the settings reckon with.
    """
    if siting is None or not isinstance(bid, Bid) or not len(siting.candidates):
        return []
    if siting.candidates["trench_ft"].notna().iloc[0]:
        return []
    why = siting.no_trench or "none leads there from the best place"
    return [
        f"No trench to the house was found: {why}. The price holds {run_to_house_ft:,.0f} ft of trench in its place "
        "(run_to_house_ft under [water_system])."
    ]


def outline_notes(lot: BaseGeometry) -> list[str]:
    """Ask after an outline that crosses itself or is very large.

    Parameters
    ----------
    lot : shapely geometry
        WGS84; of a point nothing is asked.
    """
    if lot.geom_type not in ("Polygon", "MultiPolygon"):
        return []
    outline = gpd.GeoSeries([shapely.make_valid(lot)], crs=WGS84)
    area_ft2 = float(outline.to_crs(lot_plane(outline)).area.iloc[0])
    notes = [] if lot.is_valid else [CROSSED]
    if area_ft2 > LARGE_LOT_FT2:
        notes.append(f"{large_lot(area_ft2)} The figures are for one place on it; --at asks about another.")
    return notes
