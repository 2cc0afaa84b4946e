"""What is asked about a drilled well before it is filed: its figures, its lot and its place.

What is known there is gathered here, from the dataset, the firm's log and the
kept estimates; what is doubted of it is judged in `outcomes.doubts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches
from math import cos, radians
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from pyproj import Geod

from wellrecords.cleaning.rules import CleaningSettings, load_rules
from wellrecords.errors import Problem, WellRecordsError
from wellrecords.lot_files import as_written, read_lots
from wellrecords.outcomes import DrilledWell, EstimateRecord
from wellrecords.outcomes.doubts import AROUND_MI, SURE, Known, doubtful_figures, far_beyond, far_from_bid, same_place
from wellrecords.outcomes.estimates import of_lot
from wellrecords.store import read_wells
from wellrecords.units import M_PER_MILE

if TYPE_CHECKING:
    from wellrecords.settings import RegionSettings, Settings

FAR_FROM_LOT_MI = 0.5
"""A well that stands farther from where its lot was estimated is most often filed under the wrong lot or place."""
SHOWN_LOTS = 12
_MILES_PER_DEGREE = 68.7
"""Of latitude, at the least: a box made with it holds all that lies within the miles."""
_GEOD = Geod(ellps="WGS84")


def doubts_of(
    settings: Settings, well: DrilledWell, filed: pd.DataFrame, estimates: Sequence[EstimateRecord]
) -> list[Problem]:
    """Return what is hardly true of a well that is to be filed, one problem each.

    Parameters
    ----------
    settings : Settings
    well : DrilledWell
    filed : DataFrame
        From `read_outcomes`.
    estimates : sequence of EstimateRecord
        All that are kept, the oldest first.
    """
    kept = next(reversed(of_lot(estimates, well.lot_id)), None)
    known = Known(wells_around(settings.region.store, well.longitude, well.latitude), filed, kept)
    found = [
        *doubtful_figures(well, load_rules(settings.part("cleaning", CleaningSettings).rules)),
        *far_beyond(well, known),
        *far_from_bid(well, kept),
        *same_place(well, filed),
        *_lot_unknown(settings, well, estimates),
        *_drilled_before(well, estimates),
        *_far_from_lot(settings, well, estimates),
    ]
    # A figure is asked about once: the first doubt of it is the plainest.
    return list({problem.column: problem for problem in reversed(found)}.values())[::-1]


def known_lot(settings: Settings, lot_id: str, estimates: Sequence[EstimateRecord]) -> str:
    """Return a lot's name as its estimate was kept, else as the settings' file of lots writes it.

    Parameters
    ----------
    settings : Settings
    lot_id : str
        As typed: case does not matter, unless two lots differ by it alone.
    estimates : sequence of EstimateRecord
    """
    for known in (_kept_lots(estimates), _lots_of_file(settings)):
        if (name := as_written([lot_id], known)[0]) in known:
            return name
    return lot_id


def kept_lots_said(estimates: Sequence[EstimateRecord]) -> str:
    """Return the names of lots of which an estimate is kept, the first of them where they are many."""
    known = _kept_lots(estimates)
    more = f" and {len(known) - SHOWN_LOTS} more" if len(known) > SHOWN_LOTS else ""
    return f"{', '.join(known[:SHOWN_LOTS])}{more}"


def wells_around(store: Path, longitude: float, latitude: float) -> pd.DataFrame:
    """Return depth and yield of the dataset's wells near a place; none where there is no dataset to read."""
    columns = ["total_depth_ft", "yield_gpm_low"]
    high = AROUND_MI / _MILES_PER_DEGREE
    wide = high / max(cos(radians(latitude)), 0.01)
    box = (longitude - wide, latitude - high, longitude + wide, latitude + high)
    try:
        wells = read_wells(store, box, [*columns, "longitude", "latitude"])
    except WellRecordsError:
        # No dataset yet, or one of an older version: a well may be filed all the same.
        return pd.DataFrame(columns=columns, dtype=float)
    count = len(wells)
    metres = _GEOD.inv(wells["longitude"], wells["latitude"], [longitude] * count, [latitude] * count)[2]
    return pd.DataFrame(wells.loc[np.asarray(metres) <= AROUND_MI * M_PER_MILE, columns])


def outside_bounds(region: RegionSettings, longitude: float, latitude: float) -> str | None:
    """Say that a place lies outside the region's bounds, where its well would be held back; None where it lies inside.

    Parameters
    ----------
    region : RegionSettings
    longitude, latitude : float
        Degrees WGS84.
    """
    west, south, east, north = region.bounds
    if west <= longitude <= east and south <= latitude <= north:
        return None
    return f"outside the bounds of {region.name} (longitude {west:g} to {east:g}, latitude {south:g} to {north:g})"


def miles_off(place: tuple[float, float], longitude: float, latitude: float) -> str | None:
    """Return the miles from a lot's place, for people; None where they are few or not known."""
    if pd.isna(longitude) or pd.isna(latitude):
        return None
    miles = _GEOD.inv(*place, longitude, latitude)[2] / M_PER_MILE
    if miles <= FAR_FROM_LOT_MI:
        return None
    return f"{miles:.1f}" if miles < 10 else f"{miles:,.0f}"


def _kept_lots(estimates: Sequence[EstimateRecord]) -> list[str]:
    return sorted({record.lot_id for record in estimates})


def _lots_of_file(settings: Settings) -> list[str]:
    """Return the lots of the settings' file; none where it is not named or cannot be read."""
    from wellrecords.jobs import LotsSettings

    file = settings.part("lots", LotsSettings).file
    try:
        return [] if file is None else list(read_lots(file)["lot_id"])
    except WellRecordsError:
        return []


def _lot_unknown(settings: Settings, well: DrilledWell, estimates: Sequence[EstimateRecord]) -> list[Problem]:
    """Return the doubt of a lot that is neither kept nor in the file of lots; where none was ever kept, no lot is."""
    kept = _kept_lots(estimates)
    known = [*kept, *_lots_of_file(settings)]
    if not kept or not well.lot_id or well.lot_id in known:
        return []
    folded = {name.casefold(): name for name in reversed(known)}
    close = get_close_matches(well.lot_id.casefold(), list(folded), n=1)
    mend = f"did you mean {folded[close[0]]}? Mend it" if close else "mend it, leave it out"
    return [
        Problem(
            what=f"no estimate of a lot {well.lot_id} is kept: wrong name?",
            column="lot_id",
            value=well.lot_id,
            rule=f"a well is held against the estimate of its lot; kept are {kept_lots_said(estimates)}",
            next_step=f"{mend}, or {SURE}",
            code="outcome_lot",
            private=True,
        )
    ]


def _drilled_before(well: DrilledWell, estimates: Sequence[EstimateRecord]) -> list[Problem]:
    """Return the doubt of a date before every estimate of the lot."""
    first = min((record.given_on for record in of_lot(estimates, well.lot_id)), default=None)
    if first is None or first <= well.drilled_on:
        return []
    return [
        Problem(
            what=f"the estimate of lot {well.lot_id} was kept on {first}, after the day of drilling: wrong date?",
            column="drilled_on",
            value=well.drilled_on.isoformat(),
            rule="an estimate counts only if it was given by the day of drilling",
            next_step=f"mend the date, or {SURE}: nothing will be compared",
            code="outcome_early",
            private=True,
        )
    ]


def _far_from_lot(settings: Settings, well: DrilledWell, estimates: Sequence[EstimateRecord]) -> list[Problem]:
    place = _place_of_lot(settings, estimates, well.lot_id)
    miles = None if place is None else miles_off(place, well.longitude, well.latitude)
    if miles is None:
        return []
    return [
        Problem(
            what=f"the well stands {miles} miles from lot {well.lot_id}: wrong lot or wrong place?",
            column="longitude, latitude",
            value=f"{well.longitude:.10g},{well.latitude:.10g}",
            rule=f"a well stands within {FAR_FROM_LOT_MI:g} miles of its lot",
            next_step=f"mend the lot or the place, or {SURE}",
            code="outcome_far",
            private=True,
        )
    ]


def _place_of_lot(settings: Settings, estimates: Sequence[EstimateRecord], lot_id: str) -> tuple[float, float] | None:
    """Return where a lot lies: where it was last estimated, else as the settings' file of lots has it."""
    for record in reversed(estimates):
        if record.lot_id == lot_id and record.longitude is not None and record.latitude is not None:
            return record.longitude, record.latitude
    from wellrecords.jobs import LotsSettings

    file = settings.part("lots", LotsSettings).file
    if file is None or not lot_id:
        return None
    try:
        middle = read_lots(file, [lot_id]).geometry.representative_point().iloc[0]
    except WellRecordsError:
        # The lot is of another file, or the file cannot be read: the well may be filed all the same.
        return None
    return middle.x, middle.y
