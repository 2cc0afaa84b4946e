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

import numpy as np
from rapidfuzz import fuzz, process

from wellrecords.matching.evidence import EXACT, EXACT_ELSEWHERE, QUANTITIES, Evidence
from wellrecords.matching.settings import MatchingSettings
from wellrecords.schema import WELL_USES

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
NUMBER_SAYS = 9.0
ALIKE = 90
"""Per cent of letters in which two names agree, in whichever order their words stand."""
OTHER_OWNER_SAYS = -1.0
SAME_HOUSE_SAYS, OTHER_HOUSE_SAYS, OTHER_ROAD_SAYS = 5.0, -3.0, -1.5
"""A lot is sold, so that an owner's name may change; a house number seldom does."""
OTHER_PERMIT_SAYS = -2.5
"""Two permits of one system differ: one well in twelve or so has a permit misread, or a second one."""
CASING_BESIDE_ROCK_SAYS = 1.0
BATCH_USES = ("monitoring", "test", "geothermal", "other")
"""Wells of these uses are drilled several at a time, alike in depth, date and owner."""


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
    houses = _addresses(a, b, evidence)
    score += _words(a, b, evidence.owner, OTHER_OWNER_SAYS) + houses
    inside = np.flatnonzero(copy)
    if len(inside):
        siblings = _against_sibling(a[inside], b[inside], evidence) + np.log(settings.chance_same_source)
        siblings += np.where(same_record[inside], NUMBER_SAYS, 0.0)
        score[inside] = np.minimum(score[inside], siblings)
    # Wells of one test field are alike in everything; only one number makes two such records one well.
    in_batches = np.isin(np.arange(len(WELL_USES)), [WELL_USES.index(use) for use in BATCH_USES])
    batch = in_batches[evidence.use[a]] & in_batches[evidence.use[b]]
    score = np.where(copy & batch & ~same_record, -np.inf, score)
    # So may two holes on one lot be, where a place and a date agree and the depths do not.
    depth = evidence.readings["total_depth_ft"]
    close = QUANTITIES["total_depth_ft"]
    apart = np.abs(depth[a] - depth[b])
    other_hole = apart > np.fmax(close.relative * np.fmax(depth[a], depth[b]), close.absolute)
    across = np.flatnonzero((batch | other_hole) & ~same_source & (later == 0))
    if len(across):
        # One permit may be for both.
        permits = np.minimum(numbers[across], np.log(SAME_FILE_EXACT / PERMIT_SHARED_BY_SIBLINGS))
        siblings = _against_sibling(a[across], b[across], evidence) + permits + houses[across]
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
    return evidence.later[b].astype(np.int8) - evidence.later[a].astype(np.int8)


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
    deepened = (evidence.deepened[b] & (later > 0)) | (evidence.deepened[a] & (later < 0))
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
    tells = ~np.isin(np.arange(len(WELL_USES)), [WELL_USES.index("unknown"), WELL_USES.index("unused")])
    told = tells[first] & tells[second]
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
