"""What the records of two wells can be compared by, made once for all pairs."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
import pandas as pd
from rapidfuzz import utils

from wellrecords.matching.candidates import LATER_KINDS
from wellrecords.matching.nearness import Places
from wellrecords.schema import INTERVAL_QUANTITIES, WELL_USES

EXACT = 0.05
"""In one source, values that differ by less are equal: feet through metres and back."""
EXACT_ELSEWHERE = 0.2
"""In two sources: one may have written tenths of a metre (0.16 ft either way)."""
ONE_SYSTEM = 0.02
"""Two sources of which this share of permits is in both write permits of one system."""
ENDS_WITH_THE_HOLE = ("casing_depth_ft", "screen_bottom_ft", "depth_to_bedrock_ft")
AT_THE_BOTTOM_FT = 3.0
NOT_REACHED = -1_000.0
"""Stands for "no rock in this hole": equal in two such records, unlike any depth."""
NEARLY: dict[str, tuple[float, float]] = {
    "total_depth_ft": (0.03, 3.0),
    "casing_depth_ft": (0.05, 2.0),
    "casing_diameter_in": (0.03, 0.3),
    "screen_bottom_ft": (0.03, 3.0),
    "depth_to_bedrock_ft": (0.10, 3.0),
    "depth_to_water_ft": (0.10, 3.0),
    "yield_gpm": (0.10, 0.6),
}
"""What is compared, and what is nearly equal: within that share of the value, or that many units."""


@dataclass(frozen=True)
class Quantity:
    """A quantity of each record, null where it says nothing, and how common its value is.

    Attributes
    ----------
    value : ndarray, shape (n,)
    share_exact, share_close : ndarray, shape (n,)
        Share of all records that agree with this one exactly, or nearly.
    """

    value: np.ndarray
    share_exact: np.ndarray
    share_close: np.ndarray


@dataclass(frozen=True)
class Dates:
    """The dates in days since 1970, null where there is none.

    Attributes
    ----------
    day, month, year : ndarray, shape (n,)
        The day itself, the first of its month, the first of its year.
    swapped : ndarray, shape (n,)
        The day with day of the month and month exchanged, where that is a date.
    year_only, month_only : ndarray of bool, shape (n,)
        A first of January stands for a year, a first of another month for that
        month, far more often than for the day.
    share_of_day, share_of_season, share_of_month, share_of_year : ndarray, shape (n,)
        Share of all records dated so.
    """

    day: np.ndarray
    month: np.ndarray
    year: np.ndarray
    swapped: np.ndarray
    year_only: np.ndarray
    month_only: np.ndarray
    share_of_day: np.ndarray
    share_of_season: np.ndarray
    share_of_month: np.ndarray
    share_of_year: np.ndarray

    @classmethod
    def of(cls, drilled_on: pd.Series, days_apart: int) -> Dates:
        """Take the dates apart; `days_apart` is the season in which two dates may be one."""
        day = drilled_on.to_numpy().astype("datetime64[D]")
        none = np.isnat(day)
        month, year = day.astype("datetime64[M]"), day.astype("datetime64[Y]")
        month_number = (month - year.astype("datetime64[M]")).astype("int64")
        of_month = (day - month.astype("datetime64[D]")).astype("int64")
        swaps = ~none & (of_month < 12) & (of_month != month_number)
        turned = year[swaps].astype("datetime64[M]") + of_month[swaps].astype("timedelta64[M]")
        swapped = np.full(len(day), np.nan)
        swapped[swaps] = _days(turned) + month_number[swaps]
        days, months, years = (_days(one) for one in (day, month, year))
        return cls(
            day=days,
            month=months,
            year=years,
            swapped=swapped,
            year_only=days == years,
            month_only=days == months,
            share_of_day=_share_within(days, np.zeros(len(days))),
            share_of_season=_share_within(days, np.full(len(days), float(days_apart))),
            share_of_month=_share_within(months, np.zeros(len(days))),
            share_of_year=_share_within(years, np.zeros(len(days))),
        )


@dataclass(frozen=True)
class Evidence:
    """What is compared, record by record, made once for all pairs.

    Attributes
    ----------
    places : Places
    source : ndarray of int, shape (n,)
    shared_permits : ndarray of bool, shape (sources, sources)
        Whether two sources write permits of one system.
    later, deepened : ndarray of bool, shape (n,)
        Records of a later state of a well, and of a deepening.
    use : ndarray of int, shape (n,)
        Place in `WELL_USES`.
    dates : Dates
    quantities : dict of str to Quantity
        By the names of `NEARLY`.
    own_number, permit, address : ndarray of int, shape (n,)
        Codes of normalised numbers (one coding for both) and of addresses with a house number, -1 where there is none.
    running : ndarray, shape (n,)
        The source's own number as a number, null where it is none.
    permit_text, owner, road : ndarray of str, shape (n,)
        In plain letters, empty where there is none.
    house : ndarray of int, shape (n,)
        0 where there is none.
    """

    places: Places
    source: np.ndarray
    shared_permits: np.ndarray
    later: np.ndarray
    deepened: np.ndarray
    use: np.ndarray
    dates: Dates
    quantities: dict[str, Quantity]
    own_number: np.ndarray
    permit: np.ndarray
    address: np.ndarray
    running: np.ndarray
    permit_text: np.ndarray
    owner: np.ndarray
    road: np.ndarray
    house: np.ndarray

    def shared(self, cluster: np.ndarray) -> Evidence:
        """Return the evidence with what the records of one well tell of it told by each of them.

        The best place goes to all; what a record leaves out, it has from the
        first of the same state that tells it.

        Parameters
        ----------
        cluster : ndarray of int, shape (n,)
            Group of each record.
        """
        state = cluster * 2 + self.later
        permit = _first_known(self.permit >= 0, state)
        use = _first_known(~np.isin(self.use, [WELL_USES.index("unknown"), WELL_USES.index("unused")]), state)
        owner, road = _first_known(self.owner != "", state), _first_known(self.road != "", state)
        dates = _first_known(~np.isnan(self.dates.day), state)
        return replace(
            self,
            places=self.places.of_best(cluster),
            use=self.use[use],
            dates=_taken(self.dates, dates),
            quantities={
                name: _taken(one, _first_known(~np.isnan(one.value), state)) for name, one in self.quantities.items()
            },
            permit=self.permit[permit],
            permit_text=self.permit_text[permit],
            owner=self.owner[owner],
            road=self.road[road],
            house=self.house[road],
        )


def _first_known(known: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Return, for each record, itself where it tells something, else the first of its group that does, else itself."""
    places = np.flatnonzero(known)
    groups, first = np.unique(group[places], return_index=True)
    giver = np.full(int(group.max()) + 1, -1)
    giver[groups] = places[first]
    return np.where(known | (giver[group] < 0), np.arange(len(group)), giver[group])


_Arrays = TypeVar("_Arrays", Quantity, Dates)


def _taken(arrays: _Arrays, rows: np.ndarray) -> _Arrays:
    return type(arrays)(**{one.name: getattr(arrays, one.name)[rows] for one in fields(arrays)})


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
    quantities = {}
    for name, (relative, absolute) in NEARLY.items():
        value = _comparable(wells, name)
        quantities[name] = Quantity(
            value,
            _share_within(value, np.full(len(value), EXACT_ELSEWHERE)),
            _share_within(value, np.fmax(relative * np.abs(value), absolute)),
        )
    source = pd.factorize(wells["source"], sort=True)[0]
    own, permits = _number_texts(wells["source_record_id"]), _number_texts(_text(wells, "permit"))
    codes = pd.factorize(pd.concat([own, permits], ignore_index=True), use_na_sentinel=True)[0]
    permit = codes[len(wells) :]
    road, house = _roads(_text(wells, "address"))
    numbered = pd.Series(house.astype(str) + road).where((house > 0) & (road != ""))
    return Evidence(
        places=Places.of(easting_m, northing_m, wells, source),
        source=source,
        shared_permits=_shared_permits(permit, source),
        later=wells["record_kind"].isin(LATER_KINDS).to_numpy(dtype=bool),
        deepened=(wells["record_kind"] == "deepened").to_numpy(dtype=bool),
        use=pd.Categorical(wells["well_use"], categories=list(WELL_USES)).codes.astype(np.int64),
        dates=Dates.of(wells["drilled_on"], days_apart),
        quantities=quantities,
        own_number=codes[: len(wells)],
        permit=permit,
        address=pd.factorize(numbered, use_na_sentinel=True)[0],
        running=_running_numbers(wells["source_record_id"]),
        permit_text=permits.fillna("").to_numpy(dtype=object),
        owner=_plain_words(_text(wells, "owner")),
        road=road,
        house=house,
    )


def _days(moments: np.ndarray) -> np.ndarray:
    day = moments.astype("datetime64[D]")
    return np.where(np.isnat(day), np.nan, day.astype("int64").astype(float))


def _share_within(values: np.ndarray, tolerance: np.ndarray) -> np.ndarray:
    """Return, for each value, the share of all values that lie within its tolerance of it (itself among them)."""
    known = ~np.isnan(values)
    out = np.full(len(values), np.nan)
    if not known.any():
        return out
    distinct, place, count = np.unique(values[known], return_inverse=True, return_counts=True)
    widest = np.zeros(len(distinct))
    np.maximum.at(widest, place, tolerance[known])
    up_to = np.r_[0, np.cumsum(count)]
    upper = up_to[np.searchsorted(distinct, distinct + widest, side="right")]
    lower = up_to[np.searchsorted(distinct, distinct - widest, side="left")]
    out[known] = ((upper - lower) / up_to[-1])[place]
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


def _number_texts(numbers: pd.Series) -> pd.Series:
    """Return numbers as they are compared: capitals and digits, without what leads to the first digit that counts.

    A permit is written with its letter in one file ("W88-48810") and without
    it in the next. Numbers of less than three signs say nothing.
    """
    plain = numbers.astype("string").str.upper().str.replace(r"[^A-Z0-9]", "", regex=True)
    core = plain.str.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ0")
    plain = core.where(core != "", plain)
    return plain.where(plain.str.len() >= 3).reset_index(drop=True)


def _running_numbers(numbers: pd.Series) -> np.ndarray:
    """Return the digits of a source's own numbers as one number: forms of one campaign have neighbouring ones."""
    digits = numbers.astype("string").str.replace(r"\D", "", regex=True)
    return pd.to_numeric(digits.where(digits.str.len().between(1, 15)), errors="coerce").to_numpy(
        float, na_value=np.nan
    )


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
