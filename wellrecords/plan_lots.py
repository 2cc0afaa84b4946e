"""Of which lot each feature of a site plan is, and what is told where that lot is none that is known.

A drain field that is left out because its `lot_id` is misspelt gives a lot
ground that it does not have. A feature that lies by a lot and is of no known
lot is therefore refused; one that lies elsewhere is only told of, since a plan
may hold more lots than a file of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from rapidfuzz.distance import OSA

from wellrecords import wording
from wellrecords.errors import Problem, counted
from wellrecords.lot_files import as_written
from wellrecords.siting.ground import lot_plane
from wellrecords.siting.settings import SitingSettings, kind_name

NEAR_FT = 200.0
"""A feature so near to a lot may take ground from it, or be its own; a longer setback reaches farther."""
MOST_ASKED = 2
"""Lots that are asked after as meant: where more are alike (L-101, L-102, ...) the question says nothing."""
MOST_LISTED = 10


@dataclass(frozen=True)
class Strays:
    """Features of a site plan whose `lot_id` is that of no known lot: faults where they lie by a lot, else notes."""

    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()


def plain_id(value: object) -> str:
    """Return a `lot_id` as text without the blanks around it; a number that a reader took for a decimal is whole.

    >>> plain_id(" DRY-1 "), plain_id(7.0), plain_id("  "), plain_id(None)
    ('DRY-1', '7', '', '')
    """
    text = "" if value is None or pd.isna(value) else str(value).strip()
    return re.sub(r"^(\d+)\.0$", r"\1", text)


def with_lots_as_known(features: gpd.GeoDataFrame, known: Iterable[object]) -> gpd.GeoDataFrame:
    """Return features with each `lot_id` as the lots have it: blanks around it and case do not count.

    Parameters
    ----------
    features : GeoDataFrame
        With or without `lot_id`.
    known : iterable
        The lots' own; where two differ by case alone, a feature must name one of them as it is.

    Returns
    -------
    GeoDataFrame
        A blank `lot_id` is null.
    """
    if "lot_id" not in features:
        return features
    written = {plain_id(lot_id): str(lot_id) for lot_id in known}
    plain = [plain_id(lot_id) for lot_id in features["lot_id"]]
    meant = as_written(plain, list(written))
    return features.assign(lot_id=pd.array([written.get(name, name) or None for name in meant], dtype="string"))


def find_strays(
    features: gpd.GeoDataFrame, known: Sequence[str], lots: gpd.GeoDataFrame, setbacks: SitingSettings, file: Path
) -> Strays:
    """Return what is told of features whose `lot_id` is that of no known lot.

    Parameters
    ----------
    features : GeoDataFrame
        From `with_lots_as_known`.
    known : sequence of str
        Every `lot_id` of the lots file, those that are not asked about too.
    lots : GeoDataFrame
        The lots asked about; by those that are points no feature is told.
    setbacks : SitingSettings
    file : path
        Of the plan.
    """
    outlined = lots[lots.geometry.geom_type.isin(["Polygon", "MultiPolygon"])]
    if "lot_id" not in features or features.crs is None or outlined.empty:
        return Strays()
    strays = features[features["lot_id"].notna() & ~features["lot_id"].isin(list(known))]
    if strays.empty:
        return Strays()
    nearest, away_ft = _nearest(strays, outlined)
    told = pd.DataFrame(
        {
            "row": np.flatnonzero(features.index.isin(strays.index)) + 1,
            "named": strays["lot_id"].astype(str).to_numpy(),
            "kind": [kind_name(kind) or "feature" for kind in strays["kind"].fillna("")],
            "lot": nearest,
            "away_ft": away_ft,
        }
    )
    reach_ft = [max(NEAR_FT, _asked_ft(kind, setbacks)) for kind in told["kind"]]
    told["by_a_lot"] = told["away_ft"] <= reach_ft
    asked = set(outlined["lot_id"].astype(str))
    told["slip_for"] = [next((lot for lot in _slips(named, known) if lot in asked), "") for named in told["named"]]
    refused = told["by_a_lot"] | (told["slip_for"] != "")
    told.loc[~told["by_a_lot"], "lot"] = told["slip_for"]
    problems = [
        _problem(str(named), str(lot), rows, known, file)
        for (named, lot), rows in told[refused].groupby(["named", "lot"], sort=False)
    ]
    return Strays(tuple(problems), _notes(told[~refused], known, file))


def _nearest(strays: gpd.GeoDataFrame, lots: gpd.GeoDataFrame) -> tuple[list[str], np.ndarray]:
    """Return the lot that each feature lies nearest to, and how far; endless where nothing is drawn."""
    plane = lot_plane(lots.geometry)
    outlines, names = lots.geometry.to_crs(plane).to_numpy(), lots["lot_id"].astype(str).to_list()
    outlines = shapely.make_valid(outlines)
    shapes = strays.geometry.to_crs(plane).to_numpy()
    tree = shapely.STRtree(outlines)
    nearest, away_ft = [""] * len(shapes), np.full(len(shapes), np.inf)
    for number, shape in enumerate(shapes):
        if shape is None or shape.is_empty or not np.isfinite(shapely.get_coordinates(shape)).all():
            continue
        lot = int(tree.nearest(shape))
        nearest[number], away_ft[number] = names[lot], shapely.distance(shape, outlines[lot])
    return nearest, away_ft


def _asked_ft(kind: str, setbacks: SitingSettings) -> float:
    known = setbacks.kinds.get(kind)
    return 0.0 if known is None else known.setback_ft + setbacks.tolerance_ft


def _letters_and_digits(lot_id: str) -> str:
    return re.sub(r"[\W_]+", "", lot_id.casefold())


def _slips(named: str, known: Iterable[str]) -> list[str]:
    """Return the known lots that differ from a name by case and punctuation alone.

    >>> _slips("DRY1", ["DRY-1", "DRY-2"])
    ['DRY-1']
    """
    bare = _letters_and_digits(named)
    return [lot for lot in known if bare and _letters_and_digits(lot) == bare]


def _alike(named: str, known: Sequence[str]) -> list[str]:
    """Return the known lots that a name may be meant for: those a slip of punctuation, else of one letter, away.

    >>> _alike("L-10l", ["L-101", "M-7"])
    ['L-101']
    """
    alike = _slips(named, known) or [
        lot for lot in known if OSA.distance(named.casefold(), lot.casefold(), score_cutoff=1) <= 1
    ]
    return alike if len(alike) <= MOST_ASKED else []


def _problem(named: str, lot: str, rows: pd.DataFrame, known: Sequence[str], file: Path) -> Problem:
    nearest_ft, one = float(rows["away_ft"].min()), len(rows) == 1
    where = f"on lot {lot}" if nearest_ft <= 0 else f"{nearest_ft:,.0f} ft from lot {lot}"
    has = f"a lot_id of no lot in the lots file, and {'lies' if one else 'they lie'} {where}"
    if not rows["by_a_lot"].any():
        has = f"the lot_id of lot {lot} but for its spelling"
    features = f"{counted(len(rows), 'feature')} of the site plan ({wording.listing(dict.fromkeys(rows['kind']))})"
    what = f"{features} {'has' if one else 'have'} {has}"
    meant = _alike(named, known) or [lot]
    return Problem(
        what=what,
        file=str(file),
        row=int(rows["row"].iloc[0]),
        column="lot_id",
        value=named,
        rule="a well keeps away from what has its lot's lot_id, or a blank one and lies near; case and blanks around "
        "it do not count. What is of no known lot would be left out",
        next_step=f"write {' or '.join(meant)} if that lot is meant; leave lot_id blank if every lot near is to keep "
        "away; or add its own lot to the lots file",
        code="feature_of_no_lot",
    )


def _notes(told: pd.DataFrame, known: Sequence[str], file: Path) -> tuple[str, ...]:
    """Say in one sentence which lots a plan names that the lots file has not."""
    if told.empty:
        return ()
    counts = told["named"].value_counts(sort=False)
    listed = []
    for named in counts.index[:MOST_LISTED]:
        alike = _alike(str(named), known)
        listed.append(f"{named} (is {' or '.join(alike)} meant?)" if alike else str(named))
    more = f" and {len(counts) - MOST_LISTED} more" if len(counts) > MOST_LISTED else ""
    are = "is" if len(told) == 1 else "are"
    return (
        f"{file.name}: {counted(len(told), 'feature')} of the site plan {are} of no lot in the lots file and left out: "
        f"{', '.join(listed)}{more}. None lies within {NEAR_FT:,.0f} ft of a lot asked about.",
    )
