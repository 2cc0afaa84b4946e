"""What the records of two wells can be compared by, made once for all pairs."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from rapidfuzz import utils

from wellrecords.matching.candidates import LATER_KINDS
from wellrecords.schema import INTERVAL_QUANTITIES, WELL_USES

OWN_ERROR_M = 15.0
"""Added to every position error: two people standing at one well do not read the same place."""
DENSITY_CELL_M = 2_000.0
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
    later: np.ndarray
    deepened: np.ndarray
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
        later=wells["record_kind"].isin(LATER_KINDS).to_numpy(dtype=bool),
        deepened=(wells["record_kind"] == "deepened").to_numpy(dtype=bool),
        use=_codes_of(wells["well_use"], WELL_USES),
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


def _codes_of(values: pd.Series, known: tuple[str, ...]) -> np.ndarray:
    return pd.Categorical(values, categories=list(known)).codes.astype(np.int64)


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
    core = plain.str.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ0")
    plain = core.where(core != "", plain)
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
