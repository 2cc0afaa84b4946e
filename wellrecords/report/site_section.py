"""What a lot's report says about where on the lot the well may stand.

Names on a site plan may be people's ("the Larkins' drain field"): the owner's
version calls each feature by its kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.report.lot_words import planned
from wellrecords.report.site_plan import draw_site_plan, letters
from wellrecords.siting.siting import BEFORE_DIGGING, LOCAL_CODE

if TYPE_CHECKING:
    from wellrecords.bid import Bid
    from wellrecords.siting import Siting

CAUTIONS = (LOCAL_CODE, BEFORE_DIGGING)
ONLY_WHAT_IS_DRAWN = (
    "Only what is drawn on the site plan is kept away from. Walk the lot and its neighbours before the well is staked: "
    "old wells, buried tanks, privies, drains and lines are often on no plan."
)
MAST = "Never raise a mast within 20 ft of an overhead line whose voltage is not known."
PRICED = "Place 1 is the one that is estimated and priced: its trench, the rig’s way and the pad are lines of the bid."
MONEY_HEADS = ("Of the place", "Whole job, expected", "Yield, expected")
RANKED = (
    "“Of the place” is what trench, rig’s way and pad come to, at the price book’s unit costs; “whole job” is what a "
    "well at that place is expected to cost the firm in all, and “yield” what it is expected to make. Expected is the "
    "mean of all cases, which is not the middle figure{middles}: the few that lie far off pull it their way. The order "
    "also counts room that is missing to spare, and a better yield, as the setbacks file reckons them."
)
ALIKE_GPM = 0.5
ALIKE = "Over a lot of this size the records hardly tell one place from another: the ground decides."


def site_section(siting: Siting, bid: Bid | None, *, owner: bool, costs: bool) -> dict[str, Any]:
    """Return what the template shows of a siting.

    Parameters
    ----------
    siting : Siting
    bid : Bid or None
        Of place 1.
    owner : bool
        Calls features by their kind.
    costs : bool
        Shows what each place costs.

    Returns
    -------
    dict
        `lead`, `plan` (SVG), `facts`, `zones`, `places` and `features` (head
        and rows of text, every cell for autoescape), `conflicts`, `sentences`.
    """
    names = _names(siting, owner)
    return {
        "lead": _lead(siting),
        "plan": draw_site_plan(siting),
        "facts": _facts(siting),
        "zones": _zones(siting),
        "places": _places(siting, names, costs),
        "features": _features(siting, names),
        "conflicts": [
            replace(one, features=_named(one.features, names), proposed=_named(one.proposed, names)).sentence
            for one in siting.conflicts
        ],
        "sentences": _sentences(siting, bid, names, costs),
    }


def _names(siting: Siting, owner: bool) -> dict[str, str]:
    """Return what to call each feature: its name, or for the owner its kind and letter."""
    boundary, *others = siting.features["feature"]
    if not owner:
        return {name: name for name in (boundary, *others)}
    kinds = siting.features["label"].to_list()
    lettered = [f"{kind} ({letter})" for kind, letter in zip(kinds[1:], letters(len(others)), strict=True)]
    return dict(zip((boundary, *others), (kinds[0], *lettered), strict=True))


def _named(features: tuple[str, ...], names: dict[str, str]) -> tuple[str, ...]:
    return tuple(names[feature] for feature in features)


def _lead(siting: Siting) -> str:
    if not siting.has_ground:
        return "By the setbacks that are set, no ground is left on this lot where a well may stand."
    share = wording.percent(siting.ground_area_ft2 / siting.lot_area_ft2)
    return (
        f"By the setbacks that are set, a well may stand on {_area(siting.ground_area_ft2)} of the lot ({share}). "
        f"{_numbered(len(siting.candidates))}"
    )


def _numbered(places: int) -> str:
    return "The plan marks the best place." if places == 1 else f"The plan numbers the best {places} places from 1."


def _facts(siting: Siting) -> list[tuple[str, str]]:
    return [
        ("The lot", f"{_area(siting.lot_area_ft2)} ({siting.lot_area_ft2 / 43_560:.1f} acres)"),
        ("A well may stand on", _area(siting.ground_area_ft2) if siting.ground_area_ft2 else "none"),
    ]


def _zones(siting: Siting) -> list[tuple[str, str]]:
    """Return what each kind of feature takes from the lot, the most first; zones overlap."""
    taking = siting.zones[siting.zones["area_ft2"] > 0].sort_values("area_ft2", ascending=False, kind="stable")
    return [(_upper(row["label"]), _area(row["area_ft2"])) for row in taking.to_dict("records")]


def _places(siting: Siting, names: dict[str, str], costs: bool) -> dict[str, Any] | None:
    if not len(siting.candidates):
        return None
    tightest = siting.distances.groupby("rank").head(1).set_index("rank")
    head = ["Place", "Water line", "Rig’s way", "Slope", "Nearest limit", "Away", "Asked", "Latitude, longitude"]
    rows = []
    for place in siting.candidates.to_dict("records"):
        limit = tightest.loc[place["rank"]]
        blocked = not pd.isna(place["rig_access"]) and not place["rig_access"]
        row = [
            str(place["rank"]),
            _feet(place["trench_ft"]),
            "none found" if blocked else _feet(place["access_ft"]),
            f"{place['slope_percent']:.0f}%" if np.isfinite(place["slope_percent"]) else wording.MISSING,
            names[limit["feature"]],
            _tenths(limit["distance_ft"]),
            _tenths(limit["required_ft"]),
            f"{place['latitude']:.6f}, {place['longitude']:.6f}",
        ]
        rows.append([*row, *_money(place)] if costs else row)
    return {"head": [*head, *MONEY_HEADS] if costs else head, "rows": rows, "words": 4}


def _money(place: Mapping[str, Any]) -> tuple[str, str, str]:
    whole, flow = (place.get(name, np.nan) for name in ("expected_cost_usd", "expected_yield_gpm"))
    cost = wording.place_cost(place["cost_usd"], place["trench_ft"])
    return cost, wording.money(whole), wording.flow(flow)


def _features(siting: Siting, names: dict[str, str]) -> list[list[str]]:
    """Return a row a feature: letter, name, setback, what is asked in all, what it takes from the lot."""
    rows = []
    for letter, row in zip(["", *letters(len(siting.features) - 1)], siting.features.to_dict("records"), strict=True):
        name = names[row["feature"]].removesuffix(f" ({letter})")
        kind = "" if name.lower().startswith(row["label"].lower()) else f" ({row['label']})"
        planned = ", planned" if row["proposed"] else ""
        rows.append(
            [
                letter or "edge",
                f"{_upper(name)}{kind}{planned}",
                _feet(row["setback_ft"]),
                _feet(row["mast_clearance_ft"]) if row["mast_clearance_ft"] > 0 else wording.MISSING,
                _feet(row["required_ft"]),
                _area(row["taken_ft2"]) if row["taken_ft2"] > 0 else "nothing",
            ]
        )
    return rows


def _sentences(siting: Siting, bid: Bid | None, names: dict[str, str], costs: bool) -> list[str]:
    told = []
    if bid is not None and len(siting.candidates):
        told.append(PRICED)
        if costs:
            told.append(RANKED.format(middles=_middles(bid)))
            spread = np.ptp(siting.candidates["expected_yield_gpm"]) if "expected_yield_gpm" in siting.candidates else 0
            if len(siting.candidates) > 1 and spread < ALIKE_GPM:
                told.append(ALIKE)
    # A note may name a feature: the owner's version holds none of those names.
    hidden = [name for name, shown in names.items() if shown != name]
    told += [note for note in siting.notes if note in CAUTIONS or not any(name in note for name in hidden)]
    return [*told, MAST, ONLY_WHAT_IS_DRAWN]


def _middles(bid: Bid) -> str:
    """Return the middle figures of place 1, as the page's first lines have them, in brackets."""
    told = [f"{wording.money(bid.total_quantiles['p50'])} to build"]
    if (hole := planned(bid, "yield_gpm")) is not None:
        told.append(wording.flow(hole[1]))
    return f" ({wording.listing(told)} at place 1)"


def _area(value_ft2: float) -> str:
    """Return an area to 100 square feet, a small one to 10."""
    return f"{wording.round_half_up(value_ft2, 100.0 if value_ft2 >= 2000.0 else 10.0):,.0f} ft²"


def _feet(value_ft: float) -> str:
    return f"{value_ft:,.0f} ft" if np.isfinite(value_ft) else wording.MISSING


def _tenths(value_ft: float) -> str:
    return f"{value_ft:,.1f} ft"


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
