"""The true wells, what was done to them, and what their drillers read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from shapely import LineString, Point, Polygon, STRtree, contains_xy, union_all

from sample_maker.country import ROADS, SIDE, SOUTH, TOWNS, WEST, in_county, town_place
from wellrecords.simulation import Region, yield_at_depth_gpm

OLD_WELLS, NEW_WELLS = 2_300, 3_500
"""Wells drilled from 1955 to 1984, and from 1985 to 2024."""
NEIGHBOUR_WELLS, MONITORING_SITES, REPLACEMENTS = 130, 18, 30
DRY_GPM, NOTICED_GPM = 0.1, 0.2
"""Least yield that is not dry, and least fracture that is written down."""
HEAPS = np.array(
    [0.1, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 35, 40, 50, 60, 75, 100, 150, 200]
)
"""The rates that drillers write down."""


@dataclass(frozen=True)
class Event:
    """Something done to a well, with what the driller read on the day.

    `work` is new, deepened, repaired, replaced or sealed. Readings are None
    where none was made; `water_ft` <= 0 flows; `yield_gpm` 0 is dry.
    """

    well_id: str
    work: str
    on: date
    place: np.ndarray
    county: str
    town: str
    road: str
    use: str
    method: str
    permit: str
    elevation_ft: float
    depth_ft: float
    casing_ft: float
    casing_in: float
    screen_ft: tuple[float, float] | None
    rock_ft: float | None
    rock_reached: bool
    rock_name: str
    water_ft: float | None
    yield_gpm: float | None
    rate_by: str
    fractured: bool
    zones: tuple[tuple[float, float], ...]
    layers: tuple[tuple[float, float, str], ...]


def heap_gpm(gpm: float) -> float:
    """Round a rate as drillers do; 0 below what can be measured."""
    return 0.0 if gpm < DRY_GPM else float(HEAPS[np.argmin(np.abs(np.log(HEAPS / gpm)))])


def _scatter(roads: dict[str, LineString], ponds: list[Polygon], n: int, rng: np.random.Generator) -> np.ndarray:
    """Return places where people build: along roads, around towns, and here and there."""
    lines, towns = list(roads.values()), [town_place(name) for name in TOWNS]
    weights = np.array([line.length for line in lines])
    water = union_all(ponds)
    found = np.empty((0, 2))
    while len(found) < n:
        kind = rng.uniform(size=n)
        road = rng.choice(len(lines), n, p=weights / weights.sum())
        along = rng.uniform(size=n)
        points = (lines[i].interpolate(f, normalized=True) for i, f in zip(road, along, strict=True))
        on_road = np.array([point.coords[0] for point in points])
        near_road = on_road + rng.normal(0.0, 220.0, (n, 2))
        around = np.array(towns)[rng.integers(len(towns), size=n)] + rng.normal(0.0, 1_300.0, (n, 2))
        anywhere = rng.uniform((WEST, SOUTH), (WEST + SIDE, SOUTH + SIDE), (n, 2))
        places = np.where(kind[:, None] < 0.5, near_road, np.where(kind[:, None] < 0.8, around, anywhere))
        found = np.vstack([found, places[in_county(places, 60.0) & ~contains_xy(water, places)]])
    return np.round(found[:n], 1)


def _over_the_line(n: int, rng: np.random.Generator) -> np.ndarray:
    """Return places in the neighbouring counties, west and south of this one."""
    along, out = rng.uniform(0.0, 24_000.0, n), rng.uniform(150.0, 3_500.0, n)
    west = rng.uniform(size=n) < 0.5
    return np.round(np.where(west[:, None], np.c_[WEST - out, SOUTH + along], np.c_[WEST + along, SOUTH - out]), 1)


def _plan_jobs(n_old: int, n_new: int, n_far: int, rng: np.random.Generator) -> pd.DataFrame:
    """Draw year, use, target and depth limit of each job."""
    years = np.concatenate(
        [
            1955 + np.floor(30 * np.sqrt(rng.uniform(size=n_old))),
            1985 + np.floor(40 * rng.uniform(size=n_new)),
            1960 + np.floor(65 * rng.uniform(size=n_far)),
        ]
    ).astype(int)
    n = len(years)
    use = rng.choice(
        ["domestic", "livestock", "irrigation", "public", "commercial", "test"],
        n,
        p=[0.88, 0.03, 0.02, 0.02, 0.03, 0.02],
    )
    target = rng.choice([2.0, 3.0, 5.0, 8.0, 10.0], n, p=[0.1, 0.3, 0.35, 0.15, 0.1])
    target = np.where(np.isin(use, ["public", "irrigation"]), rng.choice([15.0, 25.0, 40.0], n), target)
    early = rng.choice([160.0, 200.0, 300.0, 400.0], n, p=[0.15, 0.3, 0.35, 0.2])
    late = rng.choice([300.0, 400.0, 500.0, 600.0, 700.0], n, p=[0.15, 0.25, 0.3, 0.2, 0.1])
    limit = np.where(years < 1980, early, late)
    limit = np.where(use == "test", np.round(rng.uniform(15.0, 60.0, n)), limit)
    day = [date(int(y), 1, 1) + timedelta(days=int(d)) for y, d in zip(years, rng.integers(0, 365, n), strict=True)]
    return pd.DataFrame({"on": day, "use": use, "target_gpm": target, "limit_ft": limit})


def drill_county(region: Region, roads: dict[str, LineString], ponds: list[Polygon]) -> pd.DataFrame:
    """Return the true wells, one row each, indexed by `well_id`.

    The columns of `Region.drill`, and `on`, `use`, `county`, `town`, `road`,
    `permit`, `replaces` (the well that a replacement stands for) and
    `site` (monitoring wells).
    """
    rng = np.random.default_rng(1955)
    homes = _scatter(roads, ponds, OLD_WELLS + NEW_WELLS, rng)
    far = _over_the_line(NEIGHBOUR_WELLS, rng)
    jobs = _plan_jobs(OLD_WELLS, NEW_WELLS, NEIGHBOUR_WELLS, rng)
    places = np.vstack([homes, far])
    jobs["county"] = np.where(
        np.arange(len(places)) < len(homes), "Wendlemere", np.where(places[:, 0] < WEST, "Oxmantle", "Tarrow")
    )
    holes = region.drill(
        places,
        jobs["target_gpm"].to_numpy(),
        jobs["limit_ft"].to_numpy(),
        rng,
        check_every_ft=20.0,
        least_depth_ft=100.0,
    )
    wells = pd.concat([holes, jobs.drop(columns=["target_gpm", "limit_ft"])], axis=1)

    # A few poor wells are given up and a new hole is drilled close by.
    poor = wells.index[(wells["yield_gpm"] < 1.0) & (wells["use"] == "domestic") & (wells["county"] == "Wendlemere")]
    old = wells.loc[rng.choice(poor, REPLACEMENTS, replace=False)]
    beside = old[["easting_m", "northing_m"]].to_numpy() + rng.normal(0.0, 22.0, (REPLACEMENTS, 2)).round(1)
    again = region.drill(beside, old["target_gpm"].to_numpy(), 600.0, rng, check_every_ft=20.0, least_depth_ft=100.0)
    later = [_later(day, rng) for day in old["on"]]
    again = again.assign(on=later, use="domestic", county="Wendlemere", replaces=old.index)

    # Monitoring wells stand in clusters around old fuel depots and the like.
    middles = np.array([town_place(name) for name in rng.choice(list(TOWNS), MONITORING_SITES)])
    middles = middles + rng.normal(0.0, 500.0, middles.shape)
    spread = np.repeat(middles, 6, axis=0) + rng.normal(0.0, 35.0, (6 * MONITORING_SITES, 2))
    spread = spread[in_county(spread)].round(1)
    depth = np.round(rng.uniform(12.0, 40.0, len(spread)))
    watch = region.drill(spread, 1e9, depth, rng)
    opened = [date(1986, 1, 1) + timedelta(days=int(d)) for d in rng.integers(0, 9_000, len(spread))]
    watch = watch.assign(on=opened, use="monitoring", county="Wendlemere")

    wells = pd.concat([wells, again, watch], ignore_index=True)
    wells["replaces"] = [None if pd.isna(i) else f"P{int(i) + 1:05d}" for i in wells["replaces"]]
    wells.index = pd.Index([f"P{i + 1:05d}" for i in range(len(wells))], name="well_id")
    return _name_places(wells, roads, rng)


def _name_places(wells: pd.DataFrame, roads: dict[str, LineString], rng: np.random.Generator) -> pd.DataFrame:
    places = wells[["easting_m", "northing_m"]].to_numpy()
    tree = STRtree(list(roads.values()))
    nearest = tree.nearest([Point(p) for p in places])
    names = list(TOWNS)
    middles = np.array([town_place(name) for name in names])
    town = np.argmin(np.linalg.norm(places[:, None, :] - middles, axis=2), axis=1)
    number = rng.integers(3, 2400, len(wells))
    serial = rng.permutation(90_000)[: len(wells)] + 1_000
    return wells.assign(
        town=[names[i] for i in town],
        road=[f"{k} {list(ROADS)[i]}" for k, i in zip(number, nearest, strict=True)],
        permit=[f"W{day.year % 100:02d}-{k:05d}" for day, k in zip(wells["on"], serial, strict=True)],
    )


SOILS_HIGH = (
    "brn clay & bldrs",
    "hardpan",
    "till, stony",
    "brn till & boulders",
    "sand & gravel w/ clay",
    "hard pan and stones",
)
SOILS_LOW = (
    "sand",
    "fine sand",
    "blue clay",
    "gry clay",
    "silt, soft",
    "sand & gravel",
    "med sand",
    "clay w/ sand lenses",
)
RATE_BY = {"cable_tool": "bailer", "mud_rotary": "pumping_test", "driven": "pumping_test"}
GRAVELS = ("water bearing gravel", "coarse gravel, water", "clean gravel & sand")
ROCK_WORDS = {
    "granite, broken": ("gry granite", "granite", "pink granite, broken", "gray granite", "ledge, granite"),
    "gneiss": ("gneiss", "banded gneiss", "gry gneiss", "schist & gneiss", "hard gneiss"),
    "slate": ("slate", "blk slate", "gry slate w/ quartz", "blue slate", "slaty ledge"),
}


def _layers(
    well: dict, rock_ft: float | None, depth_ft: float, rng: np.random.Generator
) -> tuple[tuple[float, float, str], ...]:
    """Tell the hole's layers in a driller's words, whole feet."""
    cover = depth_ft if rock_ft is None else min(rock_ft, depth_ft)
    layers: list[tuple[float, float, str]] = []
    top = 0.0
    if cover >= 3.0:
        layers.append((0.0, 1.0, str(rng.choice(["topsoil", "loam", "top soil", "fill"]))))
        top = 1.0
    rotten = float(rng.integers(2, 9)) if rock_ft is not None and cover > 12.0 and rng.uniform() < 0.35 else 0.0
    soils = SOILS_LOW if well["depth_to_bedrock_ft"] > 35.0 else SOILS_HIGH
    cuts = np.unique(np.round(rng.uniform(top, cover - rotten, rng.integers(0, 3))))
    for bottom in [*cuts[(cuts > top) & (cuts < cover - rotten)].tolist(), cover - rotten]:
        if bottom > top:
            layers.append((top, bottom, str(rng.choice(soils))))
            top = bottom
    if rotten:
        layers.append((top, cover, str(rng.choice(["rotten ledge", "weathered rock", "rotten rock, soft"]))))
    if well["gravel_well"] and layers:
        start, bottom, _ = layers[-1]
        layers[-1] = (start, bottom, str(rng.choice(GRAVELS)))
    elif rock_ft is not None and depth_ft > cover:
        layers.append((cover, depth_ft, str(rng.choice(ROCK_WORDS[well["rock_unit"]]))))
    return tuple(layers)


def _method(well: dict, rng: np.random.Generator) -> str:
    if well["use"] in ("monitoring", "test"):
        return "auger"
    if well["gravel_well"]:
        return str(rng.choice(["mud_rotary", "cable_tool", "driven"], p=[0.5, 0.4, 0.1]))
    year = well["on"].year
    return "cable_tool" if year < 1970 else str(rng.choice(["air_rotary", "hammer", "cable_tool"], p=[0.5, 0.45, 0.05]))


def _zones(well: dict, depth_ft: float) -> tuple[tuple[float, float], ...]:
    """Return the fractures that a driller would have noticed on the way down."""
    depths, yields = well["fracture_depths_ft"], well["fracture_yields_gpm"]
    noticed = (depths <= depth_ft) & (yields >= NOTICED_GPM)
    return tuple(zip(depths[noticed].tolist(), yields[noticed].tolist(), strict=True))


def _first_event(well_id: str, well: dict, rng: np.random.Generator) -> Event:
    """Read a new well as its driller would."""
    depth = max(round(float(well["total_depth_ft"])), 8.0)
    reached = bool(well["reached_bedrock"])
    rock = float(round(well["depth_to_bedrock_ft"]))
    rock = 5.0 * round(rock / 5.0) if rng.uniform() < 0.3 else rock
    rock = min(rock, depth)
    natural = float(well["yield_gpm"])
    fractured = bool(
        reached
        and well["on"].year >= 1992
        and natural < 0.6 * well["target_gpm"]
        and well["use"] == "domestic"
        and rng.uniform() < 0.35
    )
    made = natural * np.exp(rng.normal(0.9, 0.5)) + rng.uniform(0.1, 1.5) if fractured else natural
    made *= np.exp(rng.normal(0.0, 0.1))
    method = _method(well, rng)
    if well["use"] in ("monitoring", "test"):
        gpm, rate_by = None, ""
    else:
        gpm = heap_gpm(made)
        rate_by = RATE_BY.get(method, "air_lift")
        if gpm >= 4.0 and (well["use"] in ("public", "irrigation", "commercial") or rng.uniform() < 0.05):
            rate_by = "pumping_test"
        elif rng.uniform() < 0.12:
            rate_by = "estimated"
        if rate_by == "pumping_test" and gpm > 0.0:
            # A test is run at what the pump gives: the well may make more.
            gpm = float(HEAPS[max(made * rng.uniform(0.6, 1.0), DRY_GPM) >= HEAPS][-1])
    level = float(well["depth_to_water_ft"]) + rng.normal(0.0, 3.0)
    can_measure = level < depth - 1.0 and (gpm is None or gpm > 0.0) and (well["use"] != "test" or rng.uniform() < 0.3)
    casing = depth if not reached else min(depth, rock + float(rng.choice([10.0, 20.0, 20.0, 40.0])))
    zones = _zones(well, depth) if reached else (((depth, float(well["gravel_gpm"])),) if well["gravel_well"] else ())
    screened = well["gravel_well"] or well["use"] == "monitoring"
    screen_top = max(depth - float(rng.choice([4.0, 5.0, 10.0])), 2.0)
    return Event(
        well_id=well_id,
        work="replaced" if pd.notna(well["replaces"]) else "new",
        on=well["on"],
        place=np.array([well["easting_m"], well["northing_m"]]),
        county=well["county"],
        town=well["town"],
        road=well["road"],
        use=well["use"],
        method=method,
        permit=well["permit"],
        elevation_ft=float(well["elevation_ft"]),
        depth_ft=depth,
        casing_ft=casing,
        casing_in=2.0 if well["use"] == "monitoring" else float(rng.choice([6.0, 6.0, 6.0, 6.25, 8.0, 5.0])),
        screen_ft=(screen_top, depth) if screened else None,
        rock_ft=rock if reached else None,
        rock_reached=reached,
        rock_name=well["rock_unit"].split(",")[0] if reached else "",
        water_ft=level if can_measure else None,
        yield_gpm=gpm,
        rate_by=rate_by if gpm is not None else "",
        fractured=fractured,
        zones=zones,
        layers=_layers(well, rock if reached else None, depth, rng),
    )


def tell_histories(wells: pd.DataFrame) -> list[Event]:
    """Return everything that was done to the wells: first the new wells in order, then later works."""
    rng = np.random.default_rng(1984)
    first = {well_id: _first_event(well_id, well, rng) for well_id, well in wells.to_dict("index").items()}
    later: list[Event] = []
    homes = wells[(wells["county"] == "Wendlemere") & (wells["use"] == "domestic") & wells["replaces"].isna()]

    short = [
        w
        for w in homes.index[homes["reached_bedrock"] & ~homes["met_target"] & (homes["limit_ft"] <= 400.0)]
        if not first[w].fractured and first[w].on.year < 2010
    ]
    deepened = rng.choice(short, 90, replace=False).tolist()
    further = np.array([first[w].depth_ft for w in deepened]) + 20.0 * rng.integers(5, 13, len(deepened))
    gained = yield_at_depth_gpm(wells.loc[deepened], further)
    for well_id, depth, made in zip(deepened, further.tolist(), gained.tolist(), strict=True):
        old, well = first[well_id], wells.loc[well_id].to_dict()
        on = _later(old.on, rng)
        later.append(
            replace(
                old,
                work="deepened",
                on=on,
                depth_ft=depth,
                yield_gpm=heap_gpm(made),
                rate_by="air_lift",
                method="hammer",
                zones=_zones(well, depth),
                layers=(),
                water_ft=old.water_ft if old.water_ft is None else old.water_ft + rng.normal(0.0, 4.0),
            )
        )
    rest = rng.permutation(homes.index.difference(deepened))
    for well_id in rest[:70]:
        later.append(replace(first[well_id], work="repaired", on=_later(first[well_id].on, rng), layers=(), zones=()))
    for well_id in [*rest[70:120], *wells["replaces"].dropna()]:
        sealed = replace(first[well_id], work="sealed", on=_later(first[well_id].on, rng), layers=(), zones=())
        later.append(replace(sealed, yield_gpm=None, rate_by="", use="unused"))
    return [*first.values(), *later]


def _later(on: date, rng: np.random.Generator) -> date:
    return min(on + timedelta(days=int(rng.integers(500, 9_000))), date(2024, 12, 20))
