"""Invented records of wells with planted duplicates, for measuring the matching.

Wells stand in open country (surveyed, or read off a map) or on the centres of
their sections. Two states' files and one firm's log tell of them, each
leaving out, rounding and misreading in its own way. What makes the task hard
is there: depths, yields and dates heap on round values; a developer's wells
stand 50 m apart, alike in depth, drilled in one month for one owner; wells of
a test field are alike in everything; records lack what would decide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from pyproj import Transformer

from wellrecords.schema import WELL_COLUMNS, WGS84, conform

CRS = "EPSG:26919"
SECTION_M = 1_609.344
FIRST, LAST = np.datetime64("1960-01-01"), np.datetime64("2024-12-31")
NAMES = 3_000


@dataclass(frozen=True)
class Planted:
    """Records, and which true well each tells of.

    Attributes
    ----------
    wells : pandas.DataFrame
        Canonical columns, `permit`, `owner`, `address`.
    truth : pandas.Series
        Number of the true well, by `record_id`.
    """

    wells: pd.DataFrame
    truth: pd.Series

    def true_pairs(self) -> set[tuple[str, str]]:
        """Return all pairs of records that tell of one well."""
        return pairs_of(self.truth)


def pairs_of(group: pd.Series) -> set[tuple[str, str]]:
    """Return all pairs of labels that share a value."""
    members = pd.Series(group.index.to_numpy(), index=group.to_numpy()).groupby(level=0).agg(list)
    return {
        (min(a, b), max(a, b))
        for ids in members[members.map(len) > 1]
        for place, a in enumerate(ids)
        for b in ids[place + 1 :]
    }


def plant(count: int, *, place: str, per_km2: float = 8.0, seed: int = 0) -> Planted:
    """Return records of `count` wells.

    Parameters
    ----------
    count : int
        True wells.
    place : {"open", "sections", "mixed"}
        Where the files put them: surveyed or mapped; both states on section
        centres; one state surveyed and the other on section centres.
    per_km2 : float
    seed : int
    """
    rng = np.random.default_rng(seed)
    side = np.sqrt(count / per_km2) * 1_000.0
    truth = _true_wells(count, side, rng)
    files = [
        _file("reports", truth, rng, place, share=0.75),
        _file("inventory", truth, rng, place, share=0.35),
        _file("firm", truth, rng, place, share=0.12),
    ]
    records = pd.concat(files, ignore_index=True)
    records = pd.concat([records, _filed_twice(records, rng), _later(records, rng)], ignore_index=True)
    records["record_id"] = [f"{source}:{number:07d}" for number, source in enumerate(records["source"])]
    longitude, latitude = Transformer.from_crs(CRS, WGS84, always_xy=True).transform(records["east"], records["north"])
    records = records.assign(longitude=longitude, latitude=latitude)
    wells = conform(records, WELL_COLUMNS)
    for name in ("permit", "owner", "address"):
        wells[name] = records[name].astype("string")
    return Planted(wells, pd.Series(records["well"].to_numpy(), index=records["record_id"].to_numpy()))


def _true_wells(count: int, side: float, rng: np.random.Generator) -> pd.DataFrame:
    # One in seven stands in a development: some eight wells, 50 m apart, one owner, one season, like depths.
    development = rng.random(count) < 0.14
    site = np.where(development, rng.integers(0, max(count // 56, 1), count), -1)
    # One in twenty stands in a test field: some five alike in everything, 15 m apart.
    field = ~development & (rng.random(count) < 0.05)
    site = np.where(field, rng.integers(0, max(count // 100, 1), count) + count, site)
    own = np.where(site >= 0, site, np.arange(count) + 3 * count)
    _, group = np.unique(own, return_inverse=True)
    groups = group.max() + 1
    centre = rng.uniform(0.0, side, (groups, 2))
    spread = np.where(development, 110.0, np.where(field, 20.0, 0.0))
    depth = np.exp(rng.normal(5.1, 0.55, groups))[group] * np.exp(rng.normal(0.0, 0.25, count))
    depth = np.where(field, np.exp(rng.normal(3.2, 0.4, groups))[group], depth)
    # A driller heaps: on 5 ft mostly, on 20 or 100 often.
    step = rng.choice([1.0, 5.0, 20.0, 100.0], count, p=[0.35, 0.4, 0.2, 0.05])
    depth = np.clip(np.round(depth / step) * step, 15.0, 1_400.0)
    span = int((LAST - FIRST).astype(int))
    day = rng.integers(0, span, groups)[group] + np.where(development, rng.integers(0, 60, count), 0)
    flow = np.exp(rng.normal(1.7, 1.0, count))
    flow = np.where(flow > 10, np.round(flow / 5) * 5, np.where(flow > 2, np.round(flow), np.round(flow * 2) / 2))
    rock = np.clip(np.round(np.exp(rng.normal(3.0, 0.8, count))), 1.0, depth)
    water = np.clip(np.round(np.exp(rng.normal(3.0, 0.6, count))), 1.0, depth)
    casing = np.minimum(np.maximum(np.round((rock + rng.exponential(12.0, count)) / 10) * 10, 20.0), depth)
    return pd.DataFrame(
        {
            "well": np.arange(count),
            "east": 400_000.0 + centre[group, 0] + rng.normal(0.0, 1.0, count) * spread,
            "north": 5_000_000.0 + centre[group, 1] + rng.normal(0.0, 1.0, count) * spread,
            "total_depth_ft": depth,
            "drilled_on": FIRST + day.astype("timedelta64[D]"),
            "yield": np.where(field, np.nan, np.maximum(flow, 0.5)),
            "rock": np.where(field, np.nan, rock),
            "water": water,
            "casing_depth_ft": np.where(field, np.nan, casing),
            "casing_diameter_in": np.where(field, 2.0, rng.choice([4.0, 6.0, 8.0], count, p=[0.05, 0.9, 0.05])),
            "well_use": np.where(field, "monitoring", rng.choice(["domestic", "irrigation"], count, p=[0.93, 0.07])),
            "owner": _owners(rng, groups)[group],
            "number": rng.permutation(count) + 10_000,
        }
    )


def _owners(rng: np.random.Generator, count: int) -> np.ndarray:
    syllables = np.array(["ba", "den", "fol", "gar", "hol", "kin", "lam", "mer", "nor", "pel", "ros", "tam", "wen"])
    surname = np.char.add(np.char.add(rng.choice(syllables, NAMES), rng.choice(syllables, NAMES)), "ter")
    first = rng.choice(list("ABCDEFGHJKLMNPRSTW"), count)
    return np.char.add(np.char.add(rng.choice(surname, count), " "), first).astype(object)


def _file(source: str, truth: pd.DataFrame, rng: np.random.Generator, place: str, share: float) -> pd.DataFrame:
    # Firms and surveys of water wells know little of test fields.
    chance = np.where((truth["well_use"] == "monitoring") & (source != "reports"), share / 5.0, share)
    rows = truth[rng.random(len(truth)) < chance].copy()
    count = len(rows)
    on_sections = place == "sections" or (place == "mixed" and source == "inventory")
    if source == "firm":
        method = rng.choice(["gps", "map"], count, p=[0.6, 0.4])
    elif on_sections:
        method = rng.choice(["section", "quarter_quarter", "gps"], count, p=[0.93, 0.05, 0.02])
    else:
        method = rng.choice(["gps", "map", "address"], count, p=[0.5, 0.3, 0.2])
    error = pd.Series(method).map(
        {"gps": 10.0, "map": 75.0, "address": 120.0, "section": 600.0, "quarter_quarter": 150.0}
    )
    error = error.to_numpy()
    # The given error is the root of the mean squared distance; one place in a hundred is simply wrong.
    scale = np.where(rng.random(count) < 0.01, 20.0, 1.0) * error / np.sqrt(2.0)
    east = rows["east"].to_numpy() + rng.normal(0.0, 1.0, count) * scale
    north = rows["north"].to_numpy() + rng.normal(0.0, 1.0, count) * scale
    centre = method == "section"
    rows["east"] = np.where(centre, (np.floor(rows["east"] / SECTION_M) + 0.5) * SECTION_M, east)
    rows["north"] = np.where(centre, (np.floor(rows["north"] / SECTION_M) + 0.5) * SECTION_M, north)
    rows["position_method"], rows["position_error_m"] = method, error
    if source == "inventory":
        # Metres to a tenth, dates often by the year alone.
        for name in ("total_depth_ft", "casing_depth_ft", "rock", "water"):
            rows[name] = np.round(rows[name] * 0.3048, 1) / 0.3048
        year_only = rng.random(count) < 0.25
        rows["drilled_on"] = np.where(
            year_only, rows["drilled_on"].to_numpy().astype("datetime64[Y]").astype("datetime64[D]"), rows["drilled_on"]
        )
    filed = rng.random(count) < (0.35 if source == "reports" else 0.1)
    late = np.where(filed, rng.integers(1, 45, count), 0)
    rows["drilled_on"] = rows["drilled_on"].to_numpy().astype("datetime64[D]") + late.astype("timedelta64[D]")
    slip = rng.random(count) < 0.03
    slipped = rows["total_depth_ft"] + rng.choice([-10, 10, 100], count)
    rows["total_depth_ft"] = np.where(slip, slipped, rows["total_depth_ft"]).clip(10.0)
    blank = {
        "total_depth_ft": 0.03,
        "drilled_on": 0.06,
        "yield": 0.25,
        "rock": 0.4 if source == "inventory" else 0.15,
        "water": 0.45,
        "casing_depth_ft": 0.3,
        "casing_diameter_in": 0.3,
    }
    for name, chance in blank.items():
        rows[name] = rows[name].where(rng.random(count) >= chance)
    rows["yield"] = np.where(rng.random(count) < 0.05, rows["yield"] * 1.5, rows["yield"])
    rows["source"] = source
    rows["source_record_id"] = {
        "reports": "R" + pd.Series(rng.permutation(count) + 100_000, index=rows.index).astype(str),
        "inventory": pd.Series(rng.permutation(count) + 1, index=rows.index).astype(str),
        "firm": pd.Series(np.arange(count), index=rows.index).astype(str) + "-J",
    }[source]
    knows_permit = rng.random(count) < {"reports": 0.5, "inventory": 0.2, "firm": 0.4}[source]
    rows["permit"] = ("W" + rows["number"].astype(str)).where(knows_permit)
    rows["owner"] = rows["owner"].where(rng.random(count) < {"reports": 0.4, "inventory": 0.0, "firm": 0.9}[source])
    rows["address"] = None
    rows["record_kind"] = "new"
    return _canonical(rows, private=source == "firm")


def _canonical(rows: pd.DataFrame, private: bool) -> pd.DataFrame:
    for name, column in (("yield", "yield_gpm"), ("rock", "depth_to_bedrock_ft"), ("water", "depth_to_water_ft")):
        rows[f"{column}_low"] = rows[f"{column}_high"] = rows[name]
    return rows.assign(private=private, drilling_method="unknown", yield_method="unknown")


def _filed_twice(records: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return copies of some rows, half with another number, as when a form is keyed twice."""
    rows = records[(rng.random(len(records)) < 0.012) & (records["well_use"] != "monitoring")].copy()
    renumbered = rng.random(len(rows)) < 0.5
    rows["source_record_id"] = np.where(renumbered, rows["source_record_id"] + "7", rows["source_record_id"])
    return rows


def _later(records: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the records of deepenings, repairs and sealings of some wells, years on."""
    chosen = (rng.random(len(records)) < 0.02) & (records["source"] != "firm") & (records["well_use"] == "domestic")
    rows = records[chosen & records["total_depth_ft"].notna()].copy()
    kind = rng.choice(["deepened", "repaired", "abandoned"], len(rows), p=[0.5, 0.2, 0.3])
    rows["record_kind"] = kind
    deeper = np.round(rows["total_depth_ft"] + rng.uniform(40.0, 300.0, len(rows)))
    rows["total_depth_ft"] = np.where(kind == "deepened", deeper, rows["total_depth_ft"])
    days = rng.integers(400, 9_000, len(rows))
    rows["drilled_on"] = rows["drilled_on"] + pd.to_timedelta(days, unit="D")
    new_yield = np.round(rows["yield_gpm_low"] * rng.uniform(1.0, 3.0, len(rows)))
    rows["yield_gpm_low"] = rows["yield_gpm_high"] = new_yield.where(kind == "deepened")
    rows["source_record_id"] = rows["source_record_id"] + "9"
    rows["permit"] = rows["permit"].where(rng.random(len(rows)) < 0.5)
    return rows
