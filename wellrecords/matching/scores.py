"""How much more likely a pair of records is one well than two.

The score of a pair is the log of the odds that both describe one well, built
as Fellegi and Sunter (1969) do: for each thing that both records state, the
log of how often one well's two records agree so, over how often two wells
picked by chance agree so. The second is counted in the data, so that agreeing
on 100 ft, which every tenth well is, says little, and agreeing on 437 ft says
much. The place counts likewise: with J the joint position error and L the
density of wells around, one of ``pi J^2 L`` wells stands there, which is a
hundred where a state lays its wells on section centres and far less than one
where both positions are surveyed. So wells on one point are never one well
for standing there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process, utils

from wellrecords.matching.candidates import LATER_KINDS
from wellrecords.matching.settings import MatchingSettings
from wellrecords.schema import INTERVAL_QUANTITIES

OWN_ERROR_M = 15.0
"""Added to every position error: two people standing at one well do not read the same place."""
DENSITY_CELL_M = 2_000.0
PLACE_SAYS_AT_MOST = 3.0
"""Wells cluster (one farm, one test field), so that being near says less than even spreading would have it."""
WRONG_PLACE_SAYS = -15.0
"""One position in a hundred is plainly wrong, so that no distance rules a pair out (one of some 50,000 wells)."""
ONE_THING_SAYS_AT_MOST = 5.0
DATE_SAYS_AT_MOST = 7.0
SAME_DAY, SAME_SEASON = 0.62, 0.36
SAME_YEAR, NEXT_YEAR = 0.93, 0.06
OTHER_YEAR_SAYS = -4.6
"""Shares of one well's dates in two sources that agree so (common practice; dates are seldom years apart)."""
DAYS_A_YEAR = 366
EXACT = 0.05
"""In one source, values that differ by less are equal: feet through metres and back."""
EXACT_ELSEWHERE = 0.2
"""In two sources: one may have written tenths of a metre (0.16 ft either way)."""
NUMBER_SAYS = 9.0
ALIKE = 90
"""Per cent of letters in which two names agree, in whichever order their words stand."""
OTHER_OWNER_SAYS = -1.0
SAME_HOUSE_SAYS, OTHER_HOUSE_SAYS, OTHER_ROAD_SAYS = 5.0, -3.0, -1.5
"""A lot is sold, so that an owner's name may change; a house number seldom does."""
OTHER_PERMIT_SAYS = -2.5
"""Two permits of one system differ: one well in twelve or so has a permit misread, or a second one."""
ONE_SYSTEM = 0.02
"""Two sources of which this share of permits is in both write permits of one system."""
ENDS_WITH_THE_HOLE = ("casing_depth_ft", "screen_bottom_ft", "depth_to_bedrock_ft")
AT_THE_BOTTOM_FT = 3.0
CASING_BESIDE_ROCK_SAYS = 1.0
NOT_REACHED = -1_000.0
"""Stands for "no rock in this hole": equal in two such records, unlike any depth."""
BATCH_USES = ("monitoring", "test", "geothermal", "other")
"""Wells of these uses are drilled several at a time, alike in depth, date and owner."""


@dataclass(frozen=True)
class Agreement:
    """How often the records of one well agree on a quantity (common practice, checked on planted truth).

    Parameters
    ----------
    exact, close : float
        Shares of true pairs, from two sources, that agree exactly, or nearly.
    relative, absolute : float
        "Nearly": within that share of the value, or that many units.
    """

    exact: float
    close: float
    relative: float
    absolute: float


QUANTITIES: dict[str, Agreement] = {
    "total_depth_ft": Agreement(0.80, 0.14, 0.03, 3.0),
    "casing_depth_ft": Agreement(0.75, 0.15, 0.05, 2.0),
    "casing_diameter_in": Agreement(0.92, 0.04, 0.03, 0.3),
    "screen_bottom_ft": Agreement(0.75, 0.15, 0.03, 3.0),
    "depth_to_bedrock_ft": Agreement(0.75, 0.15, 0.10, 3.0),
    "depth_to_water_ft": Agreement(0.70, 0.15, 0.10, 3.0),
    "yield_gpm": Agreement(0.75, 0.12, 0.10, 0.6),
}
CHANGED_BY_DEEPENING = ("total_depth_ft", "depth_to_water_ft", "yield_gpm", "screen_bottom_ft")
CHANGED_BY_TIME = ("depth_to_water_ft", "yield_gpm")
SAME_FILE_EXACT = 0.97
"""A record filed twice in one source is a copy: its values agree exactly or it is another well."""

SHARED_BY_SIBLINGS = {
    "total_depth_ft": 0.2,
    "casing_depth_ft": 0.4,
    "casing_diameter_in": 0.95,
    "screen_bottom_ft": 0.3,
    "depth_to_bedrock_ft": 0.15,
    "depth_to_water_ft": 0.15,
    "yield_gpm": 0.15,
}
"""How often two wells of one driller's campaign agree exactly (seen in an open state extract; common practice)."""
DAY_SHARED_BY_SIBLINGS = 0.3
PERMIT_SHARED_BY_SIBLINGS = 0.2
PLACE_SHARED_BY_SIBLINGS = 0.05
CENTRE_OF_SOMETHING_M = 130.0
SAME_PLACE_M = 0.5


@dataclass(frozen=True)
class Density:
    """How many records of each source stand in each square of the ground."""

    cell: np.ndarray
    source: np.ndarray
    sources: int
    keys: np.ndarray
    counts: np.ndarray

    @classmethod
    def of(cls, easting_m: np.ndarray, northing_m: np.ndarray, source: np.ndarray) -> Density:
        """Count the records, square by square."""
        east = np.floor(easting_m / DENSITY_CELL_M).astype(np.int64)
        north = np.floor(northing_m / DENSITY_CELL_M).astype(np.int64)
        _, cell = np.unique(east * 4_000_003 + north, return_inverse=True)
        sources = int(source.max()) + 1 if len(source) else 1
        keys, counts = np.unique(cell * sources + source, return_counts=True)
        return cls(cell, source, sources, keys, counts)

    def of_partners(self, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        """Return records a square metre among which the partner of either is to be found.

        Of two sources with n and m records around, at most the smaller number
        can be pairs, so that one of n m possible pairs is right by the chance
        1 / max(n, m): the denser source counts.
        """
        around = [self._count(self.cell[here], self.source[of]) for here, of in ((a, b), (b, a), (a, a), (b, b))]
        return np.maximum.reduce(around) / DENSITY_CELL_M**2

    def _count(self, cell: np.ndarray, source: np.ndarray) -> np.ndarray:
        key = cell * self.sources + source
        place = np.minimum(np.searchsorted(self.keys, key), len(self.keys) - 1)
        return np.where(self.keys[place] == key, self.counts[place], 0)


@dataclass(frozen=True)
class Evidence:
    """What is compared, record by record, made once for all pairs."""

    easting_m: np.ndarray
    northing_m: np.ndarray
    error_m: np.ndarray
    density: Density
    source: np.ndarray
    shared_permits: np.ndarray
    kind: np.ndarray
    use: np.ndarray
    day: np.ndarray
    share_of_day: np.ndarray
    share_of_season: np.ndarray
    year: np.ndarray
    year_only: np.ndarray
    share_of_year: np.ndarray
    readings: dict[str, np.ndarray]
    share_exact: dict[str, np.ndarray]
    share_close: dict[str, np.ndarray]
    own_number: np.ndarray
    permit: np.ndarray
    owner: np.ndarray
    road: np.ndarray
    house: np.ndarray


def gather_evidence(easting_m: np.ndarray, northing_m: np.ndarray, wells: pd.DataFrame, days_apart: int) -> Evidence:
    """Take from the wells what the scores need.

    Parameters
    ----------
    easting_m, northing_m : ndarray, shape (n,)
    wells : pandas.DataFrame
        Canonical columns; `permit`, `owner`, `address` where there are any.
    days_apart : int
        Window of dates that may be one.
    """
    values, exact, close = {}, {}, {}
    for name, agreement in QUANTITIES.items():
        known = _comparable(wells, name)
        values[name] = known
        exact[name] = _share_within(values[name], np.full(len(known), EXACT_ELSEWHERE))
        close[name] = _share_within(values[name], np.fmax(agreement.relative * np.abs(known), agreement.absolute))
    day = wells["drilled_on"].to_numpy().astype("datetime64[D]")
    days = np.where(np.isnat(day), np.nan, day.astype("int64").astype(float))
    start_of_year = day.astype("datetime64[Y]").astype("datetime64[D]")
    year = np.where(np.isnat(day), np.nan, start_of_year.astype("int64").astype(float))
    own = _number_codes(wells["source_record_id"])
    both = pd.concat([own, _number_codes(_text(wells, "permit"))], ignore_index=True)
    codes = pd.factorize(both, use_na_sentinel=True)[0]
    source = pd.factorize(wells["source"], sort=True)[0]
    permit = codes[len(wells) :]
    road, house = _roads(_text(wells, "address"))
    return Evidence(
        easting_m=easting_m,
        northing_m=northing_m,
        error_m=np.hypot(wells["position_error_m"].to_numpy(dtype=float), OWN_ERROR_M),
        density=Density.of(easting_m, northing_m, source),
        source=source,
        shared_permits=_shared_permits(permit, source),
        kind=wells["record_kind"].to_numpy(dtype=object),
        use=wells["well_use"].to_numpy(dtype=object),
        day=days,
        share_of_day=_share_within(days, np.zeros(len(days))),
        share_of_season=_share_within(days, np.full(len(days), float(days_apart))),
        year=year,
        # The first of January stands for a year alone far more often than for the day.
        year_only=day == start_of_year,
        share_of_year=_share_within(year, np.zeros(len(year))),
        readings=values,
        share_exact=exact,
        share_close=close,
        own_number=codes[: len(wells)],
        permit=permit,
        owner=_plain_words(_text(wells, "owner")),
        road=road,
        house=house,
    )


def score_pairs(pairs: np.ndarray, evidence: Evidence, settings: MatchingSettings) -> tuple[np.ndarray, np.ndarray]:
    """Return the score of each pair, and whether it is a later state of a well rather than the same record.

    Parameters
    ----------
    pairs : ndarray of int, shape (m, 2)
    evidence : Evidence
    settings : MatchingSettings

    Returns
    -------
    score : ndarray, shape (m,)
        Log odds.
    later : ndarray of int, shape (m,)
        0 where both records describe one state, 1 where the second of the
        pair is the later state, -1 where the first is.
    """
    a, b = pairs[:, 0], pairs[:, 1]
    later = _later_state(a, b, evidence)
    same_source = evidence.source[a] == evidence.source[b]
    copy = same_source & (later == 0)
    chance = np.where(
        later != 0,
        settings.chance_earlier_state,
        np.where(same_source, settings.chance_same_source, settings.chance_other_source),
    )
    score = np.log(chance) + _place(a, b, evidence)
    for name in QUANTITIES:
        says = _quantity(a, b, evidence, name, copy, later)
        if name == "casing_depth_ft":
            # Casing is set some feet into the rock: where rock agrees, or is told by both, it adds little.
            rock = evidence.readings["depth_to_bedrock_ft"]
            says = np.where(np.isnan(rock[a] + rock[b]), says, np.minimum(says, CASING_BESIDE_ROCK_SAYS))
        score += says
    score += _date(a, b, evidence, copy, later, settings.days_apart)
    score += _use(a, b, evidence)
    numbers, same_record = _numbers(a, b, evidence)
    score += numbers
    score += _words(a, b, evidence.owner, OTHER_OWNER_SAYS) + _addresses(a, b, evidence)
    inside = np.flatnonzero(copy)
    if len(inside):
        siblings = _against_sibling(a[inside], b[inside], evidence) + np.log(settings.chance_same_source)
        siblings += np.where(same_record[inside], NUMBER_SAYS, 0.0)
        score[inside] = np.minimum(score[inside], siblings)
    # Wells of one test field are alike in everything; only one number makes two such records one well.
    batch = np.isin(evidence.use[a], BATCH_USES) & np.isin(evidence.use[b], BATCH_USES)
    score = np.where(copy & batch & ~same_record, -np.inf, score)
    across = np.flatnonzero(batch & ~same_source & (later == 0))
    if len(across):
        siblings = _against_sibling(a[across], b[across], evidence) + numbers[across]
        score[across] = np.minimum(score[across], siblings + np.log(settings.chance_other_source))
    return score, later


def _against_sibling(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> np.ndarray:
    """Weigh two records as one well against two wells that one driller made in one campaign.

    Such wells stand side by side and share date, depth and casing as often as
    not, so that these say little; what was measured in each hole says more.
    """
    says = np.zeros(len(a))
    copy = evidence.source[a] == evidence.source[b]
    for name, shared in SHARED_BY_SIBLINGS.items():
        readings = evidence.readings[name]
        apart = np.abs(readings[a] - readings[b])
        exact = np.where(copy, SAME_FILE_EXACT, QUANTITIES[name].exact)
        says += np.where(
            np.isnan(apart), 0.0, _equal_or_not(apart <= np.where(copy, EXACT, EXACT_ELSEWHERE), exact, shared)
        )
    dated = ~np.isnan(evidence.day[a] + evidence.day[b])
    one_day = evidence.day[a] == evidence.day[b]
    same_day = np.where(copy, SAME_FILE_EXACT, SAME_DAY)
    says += np.where(dated, _equal_or_not(one_day, same_day, DAY_SHARED_BY_SIBLINGS), 0.0)
    permits = copy & (evidence.permit[a] >= 0) & (evidence.permit[b] >= 0)
    one_permit = evidence.permit[a] == evidence.permit[b]
    says += np.where(permits, _equal_or_not(one_permit, SAME_FILE_EXACT, PERMIT_SHARED_BY_SIBLINGS), 0.0)
    # A copy has the same coordinates to the last digit. Siblings share them where they are the centre of something.
    apart_m = np.hypot(evidence.easting_m[a] - evidence.easting_m[b], evidence.northing_m[a] - evidence.northing_m[b])
    centre = np.fmax(evidence.error_m[a], evidence.error_m[b]) > CENTRE_OF_SOMETHING_M
    shared_place = np.where(centre, SAME_FILE_EXACT, PLACE_SHARED_BY_SIBLINGS)
    one_place = apart_m < SAME_PLACE_M
    place = np.where(
        one_place,
        np.log(SAME_FILE_EXACT / shared_place),
        np.log((1.0 - SAME_FILE_EXACT) / (1.0 - PLACE_SHARED_BY_SIBLINGS)),
    )
    return says + np.where(copy, place, 0.0)


def _equal_or_not(equal: np.ndarray, by_one_well: np.ndarray | float, by_siblings: float) -> np.ndarray:
    """Weigh equality that one well's records show so often, and those of siblings so often."""
    return np.where(equal, np.log(by_one_well / by_siblings), np.log((1.0 - by_one_well) / (1.0 - by_siblings)))


def _later_state(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> np.ndarray:
    later_a = np.isin(evidence.kind[a], LATER_KINDS)
    later_b = np.isin(evidence.kind[b], LATER_KINDS)
    return later_b.astype(int) - later_a.astype(int)


def _place(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> np.ndarray:
    squared = (evidence.easting_m[a] - evidence.easting_m[b]) ** 2 + (
        evidence.northing_m[a] - evidence.northing_m[b]
    ) ** 2
    joint = evidence.error_m[a] ** 2 + evidence.error_m[b] ** 2
    density = evidence.density.of_partners(a, b)
    says = -squared / joint - np.log(np.pi * joint * density)
    return np.clip(says, WRONG_PLACE_SAYS, PLACE_SAYS_AT_MOST)


def _quantity(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, name: str, copy: np.ndarray, later: np.ndarray
) -> np.ndarray:
    agreement = QUANTITIES[name]
    values = evidence.readings[name]
    first, second = values[a], values[b]
    apart = np.abs(first - second)
    is_exact = apart <= np.where(copy, EXACT, EXACT_ELSEWHERE)
    is_close = apart <= np.fmax(agreement.relative * np.fmax(np.abs(first), np.abs(second)), agreement.absolute)
    share_exact = np.fmax(evidence.share_exact[name][a], evidence.share_exact[name][b])
    share_close = np.fmax(evidence.share_close[name][a], evidence.share_close[name][b])
    exact = np.where(copy, SAME_FILE_EXACT, agreement.exact)
    close = np.where(copy, 0.02, agreement.close)
    differs = 1.0 - exact - close
    with np.errstate(divide="ignore", invalid="ignore"):
        says = np.where(
            is_exact,
            np.log(exact / share_exact),
            np.where(is_close, np.log(close / share_close), np.log(differs / np.maximum(1.0 - share_close, 0.05))),
        )
    says = np.clip(np.where(np.isnan(apart), 0.0, says), -ONE_THING_SAYS_AT_MOST, ONE_THING_SAYS_AT_MOST)
    if name not in CHANGED_BY_DEEPENING:
        return says
    later_kind = np.where(later > 0, evidence.kind[b], np.where(later < 0, evidence.kind[a], "new"))
    deepened = later_kind == "deepened"
    if name == "total_depth_ft":
        deeper = np.where(later > 0, second - first, first - second)
        says = np.where(deepened & ~np.isnan(apart), np.where(deeper >= 0.0, np.log(0.95 / 0.5), -4.0), says)
        return says
    changed = deepened | ((later != 0) & (name in CHANGED_BY_TIME))
    return np.where(changed, np.maximum(says, 0.0), says)


def _date(
    a: np.ndarray, b: np.ndarray, evidence: Evidence, copy: np.ndarray, later: np.ndarray, days_apart: int
) -> np.ndarray:
    first, second = evidence.day[a], evidence.day[b]
    apart = np.abs(first - second)
    share_day = np.fmax(evidence.share_of_day[a], evidence.share_of_day[b])
    share_season = np.fmax(evidence.share_of_season[a], evidence.share_of_season[b])
    same_day = np.where(copy, SAME_FILE_EXACT, SAME_DAY)
    near = np.where(copy, 0.02, SAME_SEASON)
    with np.errstate(divide="ignore", invalid="ignore"):
        says = np.where(
            apart == 0,
            np.log(same_day / share_day),
            np.where(apart <= days_apart, np.log(near / share_season), OTHER_YEAR_SAYS),
        )
        # Where one of the two gives the year alone, the years are compared.
        by_year = (evidence.year_only[a] | evidence.year_only[b]) & ~copy & (apart != 0)
        one_year = evidence.year[a] == evidence.year[b]
        share_year = np.fmax(evidence.share_of_year[a], evidence.share_of_year[b])
        next_year = np.abs(evidence.year[a] - evidence.year[b]) <= DAYS_A_YEAR
        says = np.where(
            by_year,
            np.where(
                one_year,
                np.log(SAME_YEAR / share_year),
                np.where(next_year, np.log(NEXT_YEAR / (2.0 * share_year)), OTHER_YEAR_SAYS),
            ),
            says,
        )
    year_a, year_b = evidence.year[a], evidence.year[b]
    in_order = np.where(later > 0, (second >= first) | (year_b == year_a), (first >= second) | (year_b == year_a))
    says = np.where(later != 0, np.where(in_order, np.log(0.97 / 0.5), -4.0), says)
    return np.where(np.isnan(apart), 0.0, np.clip(says, -ONE_THING_SAYS_AT_MOST, DATE_SAYS_AT_MOST))


def _use(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> np.ndarray:
    first, second = evidence.use[a], evidence.use[b]
    told = (first != "unknown") & (second != "unknown") & (first != "unused") & (second != "unused")
    return np.where(told & (first != second), -1.5, 0.0)


def _numbers(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> tuple[np.ndarray, np.ndarray]:
    """One number in both: the source's own, or a permit; a permit in one may be the other's own number."""
    own_a, own_b, permit_a, permit_b = (
        evidence.own_number[a],
        evidence.own_number[b],
        evidence.permit[a],
        evidence.permit[b],
    )
    same_source = evidence.source[a] == evidence.source[b]
    same_record = same_source & (own_a == own_b) & (own_a >= 0)
    crosses = ~same_source & (((own_a == permit_b) & (own_a >= 0)) | ((own_b == permit_a) & (own_b >= 0)))
    same_permit = (permit_a == permit_b) & (permit_a >= 0)
    one_system = evidence.shared_permits[evidence.source[a], evidence.source[b]]
    other_permit = (permit_a >= 0) & (permit_b >= 0) & ~same_permit & one_system
    agree = same_record | crosses | same_permit
    return np.where(agree, NUMBER_SAYS, np.where(other_permit, OTHER_PERMIT_SAYS, 0.0)), same_record


def _addresses(a: np.ndarray, b: np.ndarray, evidence: Evidence) -> np.ndarray:
    """Compare addresses: one road and one house number, one road and another number, another road."""
    says = np.zeros(len(a))
    told = np.flatnonzero((evidence.road[a] != "") & (evidence.road[b] != ""))
    if not len(told):
        return says
    alike = _alike(evidence.road[a[told]], evidence.road[b[told]]) >= ALIKE
    house_a, house_b = evidence.house[a[told]], evidence.house[b[told]]
    numbered = (house_a > 0) & (house_b > 0)
    same_house = np.where(numbered, np.where(house_a == house_b, SAME_HOUSE_SAYS, OTHER_HOUSE_SAYS), 0.0)
    says[told] = np.where(alike, same_house, OTHER_ROAD_SAYS)
    return says


def _words(a: np.ndarray, b: np.ndarray, words: np.ndarray, differs: float) -> np.ndarray:
    """Compare free text (owner, address): the same words in any order, a letter wrong here and there."""
    says = np.zeros(len(a))
    if not (words != "").any():
        return says
    told = np.flatnonzero((words[a] != "") & (words[b] != ""))
    if not len(told):
        return says
    alike = _alike(words[a[told]], words[b[told]])
    says[told] = np.where(alike >= ALIKE, 4.0, np.where(alike >= 80, 2.0, np.where(alike < 55, differs, 0.0)))
    return says


def _alike(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    return process.cpdist(first, second, scorer=fuzz.token_sort_ratio, dtype=np.float32)


def _share_within(values: np.ndarray, tolerance: np.ndarray) -> np.ndarray:
    """Return, for each value, the share of all values that lie within its tolerance of it (itself among them)."""
    known = ~np.isnan(values)
    ordered = np.sort(values[known])
    out = np.full(len(values), np.nan)
    if not len(ordered):
        return out
    tolerance = np.broadcast_to(tolerance, values.shape)
    distinct, place = np.unique(values[known], return_inverse=True)
    widest = np.zeros(len(distinct))
    np.maximum.at(widest, place, tolerance[known])
    upper = np.searchsorted(ordered, distinct + widest, side="right")
    lower = np.searchsorted(ordered, distinct - widest, side="left")
    out[known] = ((upper - lower) / len(ordered))[place]
    return out


def _comparable(wells: pd.DataFrame, name: str) -> np.ndarray:
    """Return a quantity as one number a record, null where it says nothing that the others do not say."""
    if name not in INTERVAL_QUANTITIES:
        known = wells[name].to_numpy(dtype=float)
    else:
        low, high = wells[f"{name}_low"].to_numpy(dtype=float), wells[f"{name}_high"].to_numpy(dtype=float)
        # The rate pumped, the level of a flowing well, the rate of a dry one: compared by the end that is known.
        known = np.where(np.isfinite(low), low, high)
        if name == "depth_to_water_ft":
            known = np.maximum(known, 0.0)
        if name == "depth_to_bedrock_ft":
            known = np.where(np.isposinf(high), NOT_REACHED, known)
    if name in ENDS_WITH_THE_HOLE:
        # A casing, a screen or a rock surface at the very bottom only says again how deep the hole is.
        depth = wells["total_depth_ft"].to_numpy(dtype=float)
        known = np.where(np.abs(known - depth) <= AT_THE_BOTTOM_FT, np.nan, known)
    return known


def _shared_permits(permit: np.ndarray, source: np.ndarray) -> np.ndarray:
    """Tell for each two sources whether they write permits of one system, so that other permits are other wells."""
    count = int(source.max()) + 1 if len(source) else 0
    own = [np.unique(permit[(source == number) & (permit >= 0)]) for number in range(count)]
    shared = np.zeros((count, count), dtype=bool)
    for one in range(count):
        for other in range(count):
            fewer = min(len(own[one]), len(own[other]))
            common = len(np.intersect1d(own[one], own[other], assume_unique=True))
            shared[one, other] = fewer > 0 and common >= ONE_SYSTEM * fewer
    return shared


def _text(wells: pd.DataFrame, name: str) -> pd.Series:
    return wells[name] if name in wells else pd.Series(pd.NA, index=wells.index, dtype="string")


def _number_codes(numbers: pd.Series) -> pd.Series:
    """Return numbers as they are compared: capitals and digits, without what leads to the first digit that counts.

    A permit is written with its letter in one file ("W88-48810") and without
    it in the next. Numbers of less than three signs say nothing.
    """
    plain = numbers.astype("string").str.upper().str.replace(r"[^A-Z0-9]", "", regex=True)
    plain = plain.str.replace(r"^[A-Z0]+(?=[1-9])", "", regex=True)
    return plain.where(plain.str.len() >= 3).reset_index(drop=True)


def _plain_words(text: pd.Series) -> np.ndarray:
    codes, texts = pd.factorize(text)
    plain = np.array([*(utils.default_process(str(one)) for one in texts), ""], dtype=object)
    return plain[codes]


_HOUSE = re.compile(r"\b(\d{1,6})\b")
_ROAD_WORDS = {
    "rd": "road", "st": "street", "ave": "avenue", "av": "avenue", "ln": "lane", "dr": "drive", "hwy": "highway",
    "rte": "route", "rt": "route", "ct": "court", "cir": "circle", "blvd": "boulevard", "pl": "place", "ter": "terrace",
    "n": "north", "s": "south", "e": "east", "w": "west", "mt": "mount",
}  # fmt: skip


def _roads(addresses: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Return the road of each address in plain words, and its first number (0 where there is none)."""
    codes, texts = pd.factorize(addresses)
    roads, houses = [], []
    for text in texts:
        plain = utils.default_process(str(text))
        number = _HOUSE.search(plain)
        words = _HOUSE.sub(" ", plain).split()
        roads.append(" ".join(_ROAD_WORDS.get(word, word) for word in words))
        houses.append(int(number[1]) if number else 0)
    return np.array([*roads, ""], dtype=object)[codes], np.array([*houses, 0], dtype=np.int64)[codes]
