"""Flagged readings that a lot's estimate leans on, told in its notes.

The refresh flags what stands out and changes nothing: a slip of the pen and
the one record that says what the ground does look alike. An estimate uses
both in full. Where one of them carries weight, the reader is told which it
is, so that somebody looks before a price hangs on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.cleaning.rules import ends, values_as_text
from wellrecords.lots.support import distance

QUANTITIES: dict[str, tuple[str, Callable[[float], str]]] = {
    "total_depth_ft": ("total depth", wording.exact_depth),
    "depth_to_bedrock_ft": ("depth to rock", wording.exact_depth),
    "depth_to_water_ft": ("depth to water", wording.exact_depth),
    "yield_gpm": ("yield", wording.flow),
}
"""What an estimate rests on: how it is called, and how a figure of it is said."""
TOLD_FROM = 0.02
"""Weight from which a well is told: each of fifty that weigh the same has so much, and one in fifty moves little."""
MOST_TOLD = 3

Flagged = Mapping[str, Sequence[tuple[str, str]]]
"""By record: the quantities flagged, and what was written."""


def flagged_by_record(flags: pd.DataFrame | None) -> Flagged:
    """Return the flags on what an estimate rests on, by record.

    Parameters
    ----------
    flags : DataFrame or None
        The dataset's table: `record_id`, `column`, `value` are read.
    """
    by_record: dict[str, list[tuple[str, str]]] = {}
    if flags is not None:
        used = flags.loc[flags["column"].isin(list(QUANTITIES)), ["record_id", "column", "value"]].drop_duplicates()
        for record_id, column, value in used.itertuples(index=False):
            by_record.setdefault(record_id, []).append((column, value))
    return by_record


def flagged_notes(neighbours: pd.DataFrame, flagged: Flagged) -> list[str]:
    """Return a note on the flagged readings that an estimate leans on, nothing where there is none.

    Parameters
    ----------
    neighbours : DataFrame
        `LotEstimate.neighbours`, weightiest first.
    flagged : mapping
        From `flagged_by_record`.

    Returns
    -------
    list of str
        One sentence of what is in use, one of what to do. A private record
        is told by its source and its distance, not by its name.
    """
    told = [
        _told(neighbours, row, column)
        for row, record_id in enumerate(neighbours["record_id"])
        if neighbours["weight"].iloc[row] >= TOLD_FROM
        for column, value in flagged.get(record_id, ())
        # What was flagged may have been replaced since, by another record of the same well.
        if values_as_text(neighbours.iloc[[row]], column)[0] == value
    ]
    if not told:
        return []
    shown = "; ".join(told[:MOST_TOLD])
    more = f"; and {len(told) - MOST_TOLD} more" if len(told) > MOST_TOLD else ""
    one = len(told) == 1
    return [
        f"{'A flagged reading is' if one else f'{len(told)} flagged readings are'} in use: {shown}{more}. "
        f"Check {'its record' if one else 'their records'}; where it is a slip, mend it in its source or take its row "
        "out, and refresh."
    ]


def _told(neighbours: pd.DataFrame, row: int, column: str) -> str:
    """Say a reading, its well, and what the wells leaned on say in the middle."""
    name, say = QUANTITIES[column]
    low, high = ends(neighbours, column)
    text = values_as_text(neighbours.iloc[[row]], column)[0]
    figure = say(low[row]) if low[row] == high[row] else f"{text} {column.rpartition('_')[2]}"
    well = neighbours.iloc[row]
    which = f"a private well of {well['source']}" if well["private"] else f"well {well['record_id']}"
    exact = np.isfinite(low) & (low == high)
    exact[row] = False
    middle = f" (the others leaned on: {say(float(np.median(low[exact])))} in the middle)" if exact.any() else ""
    return f"{name} {figure} of {which}, {distance(float(well['distance_m']))} away{middle}"
