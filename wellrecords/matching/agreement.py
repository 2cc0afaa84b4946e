"""How the records of a pair agree, thing by thing.

For each thing that both records state, a pair has a degree of agreement, and
there is a chance that strangers agree so, counted in the data: agreeing on
100 ft, which every tenth well is, says little, and on 437 ft says much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from wellrecords.matching.evidence import EXACT, EXACT_ELSEWHERE, NEARLY, Evidence, Quantity
from wellrecords.schema import WELL_USES

SILENT = 0
DEGREES: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(NEARLY, ("silent", "exact", "close", "differs")),
    "total_depth_ft": ("silent", "exact", "close", "near", "misread", "differs"),
    "drilled_on": ("silent", "day", "days", "season", "misread", "years", "differs"),
    "drilled_about": ("silent", "month", "year", "season", "years", "differs"),
    "deepening": ("silent", "deeper", "shallower"),
    "order": ("silent", "in_order", "out_of_order"),
    "well_use": ("silent", "same", "differs"),
    "permit": ("silent", "same", "misread", "next", "differs"),
    "owner": ("silent", "same", "alike", "differs"),
    "address": ("silent", "same", "road", "next_house", "differs"),
    "number": ("silent", "same", "next", "apart"),
    "point": ("silent", "same", "apart"),
}  # fmt: skip
"""What is compared, and the degrees in which two records can agree on it."""
NEAR_FT, NEAR_SHARE = 12.0, 0.06
DAYS = 5
DAYS_A_YEAR = 366
FEW_YEARS = 800
CHANGED_BY_DEEPENING = ("depth_to_water_ft", "yield_gpm", "screen_bottom_ft")
CHANGED_BY_TIME = ("depth_to_water_ft", "yield_gpm")
WAYS_TO_MISREAD = 6.0
SAME_PERMIT, MISREAD_PERMIT, NEXT_PERMIT = 1e-4, 5e-4, 5e-3
ALIKE_OWNERS, SAME_OWNER = 0.015, 0.003
SAME_HOUSE, SAME_ROAD = 5e-4, 0.02
SAME_NUMBER, NEXT_NUMBER = 2e-4, 1e-3
SAME_POINT = 0.05
NEXT_NUMBERS = 3
"""Shares of strangers that agree so (a town has some fifty roads; a family name is one in some hundreds)."""
CENTRE_OF_SOMETHING_M = 130.0
SAME_POINT_M = 0.5
SAYS_AT_MOST = {"drilled_on": 7.0, "permit": 9.0, "number": 9.0, "owner": 5.0, "address": 6.5, "total_depth_ft": 5.5}
ONE_THING_SAYS_AT_MOST = 4.5


@dataclass(frozen=True)
class Agreement:
    """How each of m pairs agrees.

    Attributes
    ----------
    degree : dict of str to ndarray of int8, each of shape (m,)
        Place in `DEGREES`.
    strangers : dict of str to ndarray, each of shape (m,)
        Share of strangers that agree in that degree (1 where silent).
    """

    degree: dict[str, np.ndarray]
    strangers: dict[str, np.ndarray]

    def degrees(self) -> np.ndarray:
        """Return the degrees as one table, shape (m, things compared)."""
        return np.column_stack([self.degree[name] for name in DEGREES])


def compare(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, later: np.ndarray, days_apart: int, *, words: bool = True
) -> Agreement:
    """Compare the records of pairs.

    Parameters
    ----------
    a, b : ndarray of int, shape (m,)
        The two records of each pair.
    evidence : Evidence
    later : ndarray of int, shape (m,)
        0 where both describe one state, 1 where `b` is the later, -1 where `a` is.
    days_apart : int
    words : bool, default=True
        False: owners and addresses, which take longest, count as silent.
    """
    copy = (evidence.source[a] == evidence.source[b]) & (later == 0)
    found = {name: _quantity(a, b, evidence, name, copy, later) for name in NEARLY}
    # Casing is set some feet into the rock: where rock is told by both, it adds little.
    told = found["depth_to_bedrock_ft"][0] != SILENT
    degree, share = found["casing_depth_ft"]
    found["casing_depth_ft"] = degree, np.where(told & (degree != SILENT), np.maximum(share, 0.25), share)
    found["drilled_on"], found["drilled_about"] = _dates(a, b, evidence, later, days_apart)
    found |= _states(a, b, evidence, later)
    found["well_use"] = _uses(evidence.use[a], evidence.use[b])
    found["permit"] = _permits(a, b, evidence)
    silent = np.zeros(len(a), dtype=np.int8), np.ones(len(a))
    found["owner"] = _owners(evidence.owner[a], evidence.owner[b]) if words else silent
    found["address"] = _addresses(a, b, evidence) if words else (silent[0], np.ones(len(a)))
    found["number"] = _own_numbers(a, b, evidence, copy)
    places = evidence.places
    # A copy has the same coordinates to the last digit; so have all wells on the centre of something.
    centre = np.fmax(places.error_m[a], places.error_m[b]) > CENTRE_OF_SOMETHING_M
    one_point = places.apart_m(a, b) < SAME_POINT_M
    found["point"] = _degrees("point", ~copy | centre, [("same", one_point, SAME_POINT)], "apart", 1.0 - SAME_POINT)
    for name, (_, strangers) in found.items():
        np.maximum(strangers, np.exp(-SAYS_AT_MOST.get(name, ONE_THING_SAYS_AT_MOST)), out=strangers)
    return Agreement({name: one for name, (one, _) in found.items()}, {name: one for name, (_, one) in found.items()})


def _degrees(
    name: str,
    silent: np.ndarray,
    cases: list[tuple[str, np.ndarray, np.ndarray | float]],
    otherwise: str,
    share: np.ndarray | float,
) -> tuple[np.ndarray, np.ndarray]:
    """Return degree and share of strangers by the first case that holds."""
    degrees = DEGREES[name]
    conditions = [silent, *(condition for _, condition, _ in cases)]
    degree = np.select(
        conditions, [np.int8(SILENT), *(np.int8(degrees.index(one)) for one, _, _ in cases)],
        np.int8(degrees.index(otherwise)),
    ).astype(np.int8)  # fmt: skip
    shares = np.select(conditions, [1.0, *(one for _, _, one in cases)], share)
    return degree, np.asarray(shares, dtype=float)


def _quantity(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, name: str, copy: np.ndarray, later: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    value = evidence.quantities[name].value
    told = np.flatnonzero(~np.isnan(value[a] + value[b]))
    degree, share = np.zeros(len(a), dtype=np.int8), np.ones(len(a))
    degree[told], share[told] = _told_quantity(a[told], b[told], evidence, name, copy[told], later[told])
    return degree, share


def _told_quantity(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, name: str, copy: np.ndarray, later: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    quantity: Quantity = evidence.quantities[name]
    first, second = quantity.value[a], quantity.value[b]
    apart, larger = np.abs(first - second), np.fmax(np.abs(first), np.abs(second))
    silent = np.zeros(len(a), dtype=bool)
    deepened = _deepened(a, b, evidence, later)
    is_exact = apart <= np.where(copy, EXACT, EXACT_ELSEWHERE)
    relative, absolute = NEARLY[name]
    share_exact = np.fmax(quantity.share_exact[a], quantity.share_exact[b])
    share_close = np.maximum(np.fmax(quantity.share_close[a], quantity.share_close[b]), share_exact)
    cases: list[tuple[str, np.ndarray, np.ndarray | float]] = [
        ("exact", is_exact, share_exact),
        ("close", apart <= np.fmax(relative * larger, absolute), share_close),
    ]
    otherwise = np.maximum(1.0 - share_close, 0.05)
    if name == "total_depth_ft":
        silent = silent | deepened
        cases += [
            ("near", apart <= np.fmax(NEAR_SHARE * larger, NEAR_FT), np.minimum(2.0 * share_close, 1.0)),
            ("misread", _one_digit_lost(first, second), np.minimum(WAYS_TO_MISREAD * share_exact, 1.0)),
        ]
    else:
        # What a deepening or time changes speaks for one well where it agrees, and not against where it does not.
        changed = deepened if name in CHANGED_BY_DEEPENING else np.zeros(len(a), dtype=bool)
        changed = changed | ((later != 0) & (name in CHANGED_BY_TIME))
        silent = silent | (changed & ~is_exact)
    return _degrees(name, silent, cases, "differs", otherwise)


def _deepened(a: np.ndarray, b: np.ndarray, evidence: Evidence, later: np.ndarray) -> np.ndarray:
    return (evidence.deepened[b] & (later > 0)) | (evidence.deepened[a] & (later < 0))


def _states(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, later: np.ndarray
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Compare a later state with an earlier one: a deeper hole, a later date."""
    after = np.where(later > 0, b, a)
    before = np.where(later > 0, a, b)
    day, depth = evidence.dates.day, evidence.quantities["total_depth_ft"].value
    in_order = (day[after] >= day[before]) | (evidence.dates.year[after] == evidence.dates.year[before])
    silent = ~_deepened(a, b, evidence, later) | np.isnan(depth[a] + depth[b])
    # Most wells of a file stood when a well was sealed, and are shallower than a deepened one: that much is chance.
    older, shallower = _share_below(day, after, later != 0), _share_below(depth, after, ~silent)
    return {
        "deepening": _degrees(
            "deepening", silent, [("deeper", depth[after] >= depth[before], shallower)], "shallower", 1.0 - shallower
        ),
        "order": _degrees(
            "order",
            (later == 0) | np.isnan(day[a] + day[b]),
            [("in_order", in_order, older)],
            "out_of_order",
            1.0 - older,
        ),
    }


def _share_below(values: np.ndarray, rows: np.ndarray, needed: np.ndarray) -> np.ndarray:
    """Return, where needed, the share of all known values that are at most those of `rows`, neither none nor all."""
    share = np.full(len(rows), 0.5)
    if needed.any():
        ordered = np.sort(values[~np.isnan(values)])
        below = np.searchsorted(ordered, values[rows[needed]], side="right") / max(len(ordered), 1)
        share[needed] = np.clip(below, 0.03, 0.97)
    return share


def _one_digit_lost(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Tell whether one whole number is the other with a digit left out, or two neighbouring digits turned."""
    larger, smaller = np.round(np.fmax(first, second)), np.round(np.fmin(first, second))
    ones, tens, hundreds = larger % 10, larger // 10 % 10, larger // 100
    lost = (smaller == larger // 10) | (smaller == hundreds * 10 + ones) | ((hundreds < 10) & (smaller == larger % 100))
    turned = (smaller == hundreds * 100 + ones * 10 + tens) | (
        (hundreds < 10) & (smaller == tens * 100 + hundreds * 10 + ones)
    )
    return (smaller >= 10) & (lost | turned)


def _dates(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, later: np.ndarray, days_apart: int
) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Compare dates; where one of the two gives the year or the month alone, those."""
    dates = evidence.dates
    first, second = dates.day[a], dates.day[b]
    apart = np.abs(first - second)
    same_year = dates.year[a] == dates.year[b]
    years = np.abs(dates.year[a] - dates.year[b])
    by_year = dates.year_only[a] | dates.year_only[b]
    by_month = dates.month_only[a] | dates.month_only[b]
    share_day, share_season, share_month, share_year = (
        np.fmax(share[a], share[b])
        for share in (dates.share_of_day, dates.share_of_season, dates.share_of_month, dates.share_of_year)
    )
    misread = (np.fmin(np.abs(dates.swapped[a] - second), np.abs(dates.swapped[b] - first)) <= 1) | (
        np.abs(apart - DAYS_A_YEAR + 0.5) <= 1.5
    )
    share_years = np.minimum(2.0 * FEW_YEARS / DAYS_A_YEAR * share_year, 0.9)
    a_day = np.minimum(share_season / (2 * days_apart + 1), 1.0)
    partly = (by_year | by_month) & (apart > 0) & (later == 0)
    full = _degrees(
        "drilled_on",
        np.isnan(apart) | partly | (later != 0),
        [
            ("day", apart == 0, share_day),
            ("days", apart <= DAYS, (2 * DAYS + 1) * a_day),
            ("season", apart <= days_apart, share_season),
            ("misread", misread, WAYS_TO_MISREAD * a_day),
            ("years", apart <= FEW_YEARS, share_years),
        ],
        "differs",
        1.0,
    )
    about = _degrees(
        "drilled_about",
        ~partly,
        [
            ("month", ~by_year & (dates.month[a] == dates.month[b]), share_month),
            ("year", by_year & same_year, share_year),
            ("season", apart <= days_apart, share_season),
            ("years", years <= FEW_YEARS, share_years),
        ],
        "differs",
        1.0,
    )
    return full, about


def _own_numbers(a: np.ndarray, b: np.ndarray, evidence: Evidence, copy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Compare the numbers that one source gave: forms of one campaign have neighbouring ones."""
    own_a, own_b = evidence.own_number[a], evidence.own_number[b]
    apart = np.abs(evidence.running[a] - evidence.running[b])
    same = (own_a == own_b) & (own_a >= 0)
    return _degrees(
        "number",
        ~copy | ~(same | ~np.isnan(apart)),
        [("same", same, SAME_NUMBER), ("next", apart <= NEXT_NUMBERS, NEXT_NUMBER)],
        "apart",
        1.0,
    )


def _uses(first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    tells = ~np.isin(np.arange(len(WELL_USES)), [WELL_USES.index("unknown"), WELL_USES.index("unused")])
    told = tells[first] & tells[second]
    return _degrees("well_use", ~told, [("same", first == second, 0.85)], "differs", 0.15)


def _permits(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """Compare numbers: a permit with a permit, or with the other source's own number."""
    first, second = evidence.permit[a], evidence.permit[b]
    own_a, own_b = evidence.own_number[a], evidence.own_number[b]
    across = evidence.source[a] != evidence.source[b]
    crosses = across & (((own_a == second) & (own_a >= 0)) | ((own_b == first) & (own_b >= 0)))
    both = (first >= 0) & (second >= 0)
    same = crosses | (both & (first == second))
    one_system = both & evidence.shared_permits[evidence.source[a], evidence.source[b]]
    misread, following = np.zeros(len(a), dtype=bool), np.zeros(len(a), dtype=bool)
    here = np.flatnonzero(one_system & ~same)
    if len(here):
        one, other = evidence.permit_text[a[here]], evidence.permit_text[b[here]]
        off = process.cpdist(one, other, scorer=OSA.distance, score_cutoff=1, dtype=np.int32) <= 1
        # Permits run on: those of neighbouring wells differ in a digit, but not in their order or number of digits.
        digit = np.array([_one_digit_differs(*both) for both in zip(one[off], other[off], strict=True)], dtype=bool)
        misread[here[off]], following[here[off]] = ~digit, digit
    return _degrees(
        "permit",
        ~(same | one_system),
        [("same", same, SAME_PERMIT), ("misread", misread, MISREAD_PERMIT), ("next", following, NEXT_PERMIT)],
        "differs",
        1.0,
    )


def _one_digit_differs(one: str, other: str) -> bool:
    return len(one) == len(other) and sum(x != y for x, y in zip(one, other, strict=True)) == 1


def _owners(first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Compare names: the same words in any order, a letter wrong here and there, initials, a part left out."""
    alike = np.full(len(first), np.nan)
    told = np.flatnonzero((first != "") & (second != ""))
    if len(told):
        scorers = (fuzz.token_sort_ratio, fuzz.token_set_ratio)
        alike[told] = np.maximum(
            *(process.cpdist(first[told], second[told], scorer=one, dtype=np.float32) for one in scorers)
        )
    return _degrees(
        "owner",
        np.isnan(alike),
        [("same", alike >= 90, SAME_OWNER), ("alike", alike >= 78, ALIKE_OWNERS)],
        "differs",
        1.0,
    )


def _addresses(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """Compare addresses: one road and one house number, one road and another number, another road."""
    first, second = evidence.road[a], evidence.road[b]
    told = np.flatnonzero((first != "") & (second != ""))
    one_road = np.zeros(len(a), dtype=bool)
    if len(told):
        alike = process.cpdist(first[told], second[told], scorer=fuzz.token_sort_ratio, dtype=np.float32)
        one_road[told] = alike >= 88
    silent = np.ones(len(a), dtype=bool)
    silent[told] = False
    house_a, house_b = evidence.house[a], evidence.house[b]
    numbered = (house_a > 0) & (house_b > 0)
    return _degrees(
        "address",
        silent,
        [
            ("same", one_road & numbered & (house_a == house_b), SAME_HOUSE),
            ("next_house", one_road & numbered, SAME_ROAD),
            ("road", one_road, SAME_ROAD),
        ],
        "differs",
        1.0,
    )
