"""Invented records as forms are filled in and keyed: a second truth, of other errors.

It shares nothing with `planted` but the shape of its result, and errs in other
ways. Wells lie along roads; a board files the drillers' forms under running
numbers, a survey measures in metres or rounds to 5 ft, a firm keeps its log.
Permits run with the date, and are typed with digits turned or dropped;
addresses are abbreviated, owners change or are left out; dates are off by a
year, have day and month swapped, or are those of the month; positions are a
receiver's, or the centre of a section or a quarter, at times the wrong one.
Subdivisions hold look-alike wells, campaigns wells that differ in nothing but
their running number, and some lots an old and a new well.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from planted import CRS, Planted
from pyproj import Transformer

from wellrecords.schema import WELL_COLUMNS, WGS84, conform

SECTION_M = 1_609.344
START, DAYS = np.datetime64("1965-01-01"), 21_500
SHARE_OF_KIND = {"single": 0.64, "subdivision": 0.17, "campaign": 0.09, "second": 0.10}
WELLS_OF_KIND = {"single": 1, "subdivision": 14, "campaign": 5, "second": 2}
ROAD_ENDS = {
    "Road": ["Road", "Rd", "Rd."], "Street": ["Street", "St", "St."], "Lane": ["Lane", "Ln"],
    "Drive": ["Drive", "Dr", "Dr."], "Highway": ["Highway", "Hwy", "Hwy."], "Avenue": ["Avenue", "Ave", "Av."],
}  # fmt: skip
ERROR_M = {"gps": 8.0, "map": 60.0, "address": 120.0, "quarter_quarter": 154.0, "quarter": 308.0, "section": 616.0}
SIDE_M = {"quarter_quarter": SECTION_M / 4.0, "quarter": SECTION_M / 2.0, "section": SECTION_M}
TEXTS = ("permit", "owner", "address")


def fill_in(count: int, *, place: str, per_km2: float = 8.0, dirt: float = 1.0, seed: int = 0) -> Planted:
    """Return records of some `count` wells.

    Parameters
    ----------
    count : int
        True wells.
    place : {"open", "sections", "mixed"}
        Both public files surveyed, read off a map or found by address; both on
        centres of sections and quarters; the board's on those, the survey's not.
    per_km2 : float
    dirt : float
        1 is common, 2 bad: all chances of a slip are multiplied by it.
    seed : int
    """
    rng = np.random.default_rng(seed)
    truth = _wells(count, np.sqrt(count / per_km2) * 1_000.0, rng)
    public = {"open": ("open", "open"), "sections": ("centres", "centres"), "mixed": ("centres", "open")}[place]
    board = _board(truth, public[0], dirt, rng)
    files = [
        board,
        _refiled(board, rng),
        _later(truth, board, public[0], dirt, rng),
        _survey(truth, public[1], dirt, rng),
        _office(truth, dirt, rng),
    ]
    records = pd.concat(files, ignore_index=True)
    records["record_id"] = [f"{source}:{number}" for number, source in enumerate(records["source"])]
    records["longitude"], records["latitude"] = Transformer.from_crs(CRS, WGS84, always_xy=True).transform(
        records["east"], records["north"]
    )
    for name, column in (("yield", "yield_gpm"), ("rock", "depth_to_bedrock_ft"), ("water", "depth_to_water_ft")):
        records[f"{column}_low"] = records[f"{column}_high"] = records[name]
    records["private"] = records["source"] == "office"
    wells = conform(records.assign(drilling_method="unknown", yield_method="unknown"), WELL_COLUMNS)
    for name in TEXTS:
        wells[name] = records[name].astype("string")
    return Planted(wells, pd.Series(records["well"].to_numpy(), index=records["record_id"].to_numpy()))


# --- the wells ------------------------------------------------------------------------------------------------


def _wells(count: int, side: float, rng: np.random.Generator) -> pd.DataFrame:
    """Return the true wells: what stands where, whose it is, and how it was drilled."""
    kinds, group = [], []
    for kind, share in SHARE_OF_KIND.items():
        groups = max(int(count * share / WELLS_OF_KIND[kind]), 1)
        sizes = 1 + rng.poisson(WELLS_OF_KIND[kind] - 1, groups) if WELLS_OF_KIND[kind] > 2 else WELLS_OF_KIND[kind]
        member = np.repeat(np.arange(groups), sizes) + (max(group) + 1 if group else 0)
        kinds += [kind] * len(member)
        group += member.tolist()
    kind, group = np.array(kinds), np.array(group)
    count, groups = len(kind), group.max() + 1
    rank = np.arange(count) - np.searchsorted(group, group)
    # Along roads, which run north or east every 700 m or so.
    roads = max(int(side / 700.0), 2)
    road, eastward = rng.integers(0, roads, groups), rng.random(groups) < 0.5
    along, off = rng.uniform(0.0, side, groups), rng.normal(0.0, 60.0, groups)
    step = np.select([kind == "subdivision", kind == "campaign", kind == "second"], [45.0, 30.0, 35.0], 0.0)
    along = along[group] + rank * step + rng.normal(0.0, 6.0, count)
    across = (road * 700.0 + off)[group] + rng.normal(0.0, 15.0, count)
    deep = (rng.random(groups) < 0.6)[group]
    middle = np.where(deep, 230.0 + 80.0 * np.sin(along / 9_000.0), 70.0)
    alike = np.isin(kind, ["subdivision", "campaign"])
    spread = np.where(alike, 0.08, np.where(deep, 0.45, 0.35))
    depth = middle * np.exp(rng.normal(0.0, 0.35, groups)[group] * alike + rng.normal(0.0, 1.0, count) * spread)
    heap = np.where(alike, rng.choice([5.0, 10.0, 20.0], groups)[group], rng.choice([1.0, 5.0, 10.0, 20.0], count))
    depth = np.round(depth / heap) * heap
    same = (kind == "campaign") & (rng.random(groups) < 0.5)[group]
    depth = np.clip(np.where(same, depth[np.searchsorted(group, group)], depth), 18.0, 1_500.0)
    day = rng.integers(0, DAYS, groups)[group]
    day = day + np.select(
        [kind == "subdivision", kind == "campaign", (kind == "second") & (rank > 0)],
        [rng.integers(0, 500, count), rng.integers(0, 2, count), rng.integers(300, 9_000, count)],
        0,
    )
    day = np.minimum(day, DAYS)
    rock = np.where(deep, np.round(rng.gamma(2.0, 12.0, count)) + 2.0, np.nan)
    usual = rng.choice([20.0, 30.0, 40.0, 60.0], groups)[group]
    casing = np.where(deep & (rng.random(count) < 0.6), usual, np.where(deep, np.round(rock + 12.0), depth))
    flow = np.exp(rng.normal(np.where(deep, 1.6, 2.6), 0.9))
    flow = np.select([flow >= 20, flow >= 3], [np.round(flow / 5) * 5, np.round(flow)], np.round(flow * 4) / 4)
    monitored = (kind == "campaign") & (rng.random(groups) < 0.6)[group]
    year = (START + day.astype("timedelta64[D]")).astype("datetime64[Y]").astype(int) + 1970
    order = np.argsort(day + rng.random(count), kind="stable")
    running = np.empty(count, dtype=np.int64)
    running[order] = np.arange(count)
    names = _road_names(rng, 2 * roads)
    street = np.where(kind == "subdivision", roads + road[group], road[group] * 2 % roads + eastward[group])
    own = np.where(alike, rng.random(groups)[group] < 0.6, kind == "second")
    return pd.DataFrame(
        {
            "well": np.arange(count),
            "east": 405_000.0 + np.where(eastward[group], along, across),
            "north": 5_010_000.0 + np.where(eastward[group], across, along),
            "total_depth_ft": depth,
            "day": day,
            "yield": np.where(monitored, np.nan, np.maximum(flow, 0.25)),
            "rock": np.minimum(rock, depth),
            "water": np.clip(np.round(rng.gamma(2.5, 10.0, count)), 2.0, depth),
            "casing_depth_ft": np.minimum(casing, depth),
            "casing_diameter_in": np.where(
                monitored, 2.0, rng.choice([4.0, 5.0, 6.0], groups, p=[0.1, 0.1, 0.8])[group]
            ),
            "well_use": np.where(monitored, "monitoring", rng.choice(["domestic", "livestock"], count, p=[0.92, 0.08])),
            "person": np.where(own, group, groups + np.arange(count)),
            "house": (along / 8.0).astype(int) + 1,
            "street": np.array(names, dtype=object)[street % len(names)],
            "permit_number": (year % 100) * 100_000 + running % 100_000,
            "running": running,
        }
    )


def _road_names(rng: np.random.Generator, count: int) -> list[str]:
    first = ["Alder", "Birch", "Cobble", "Dun", "Ebb", "Fern", "Gorse", "Heron", "Iris", "Juniper", "Kestrel", "Larch"]
    last = ["brook", "field", "gate", "hollow", "mere", "ridge", "side", "ton", "vale", "wick"]
    ends = list(ROAD_ENDS)
    return [f"{rng.choice(first)}{rng.choice(last)} {rng.choice(ends)}" for _ in range(count)]


def _people(person: np.ndarray, style: np.ndarray) -> np.ndarray:
    """Write owners' names: each file and clerk in a style of its own."""
    heads = ["Bar", "Cor", "Del", "Fen", "Gil", "Har", "Jor", "Lin", "Mor", "Nev", "Pry", "Ros", "Sel", "Tov", "Wex"]
    middles = ["", "a", "e", "in", "o", "u"]
    tails = ["bert", "court", "den", "ford", "ley", "low", "man", "nett", "ridge", "son", "well"]
    firsts = ["Ada", "Ben", "Cal", "Dora", "Eli", "Fay", "Gus", "Hal", "Ida", "Jon", "Kay", "Lou", "May", "Ned", "Pia"]
    names = []
    for number, how in zip(person.tolist(), style.tolist(), strict=True):
        mixed = (number * 2_654_435_761) % 4_294_967_291
        last = heads[mixed % 15] + middles[mixed // 15 % 6] + tails[mixed // 90 % 11]
        first = firsts[mixed // 990 % 15]
        names.append(
            (f"{first} {last}", f"{last}, {first}", f"{last.upper()} {first[0]}", last, f"{first[0]}. {last}")[how]
        )
    return np.array(names, dtype=object)


# --- the files ------------------------------------------------------------------------------------------------


def _board(truth: pd.DataFrame, where: str, dirt: float, rng: np.random.Generator) -> pd.DataFrame:
    rows = truth[rng.random(len(truth)) < 0.8].copy()
    count = len(rows)
    _place(rows, where, dirt, rng)
    _date(rows, dirt, rng, late=np.where(rng.random(count) < 0.25, rng.integers(1, 60, count), 0))
    _depths(rows, dirt, rng)
    _texts(rows, dirt, rng, told={"permit": 0.65, "owner": 0.55, "address": 0.6})
    _blanks(
        rows, {"yield": 0.3, "water": 0.35, "rock": 0.25, "casing_depth_ft": 0.2, "casing_diameter_in": 0.15}, dirt, rng
    )
    numbers = "E" + (rows["running"] + 500_001).astype(str)
    return rows.assign(source="board", source_record_id=numbers, record_kind="new")


def _survey(truth: pd.DataFrame, where: str, dirt: float, rng: np.random.Generator) -> pd.DataFrame:
    rows = truth[rng.random(len(truth)) < np.where(truth["well_use"] == "monitoring", 0.1, 0.4)].copy()
    count = len(rows)
    _place(rows, where, dirt, rng)
    _date(rows, dirt, rng, late=np.zeros(count, dtype=int))
    day = rows["drilled_on"].to_numpy().astype("datetime64[D]")
    how = rng.choice(3, count, p=[0.55, 0.3, 0.15])
    rows["drilled_on"] = np.choose(
        how,
        [day, day.astype("datetime64[M]").astype("datetime64[D]"), day.astype("datetime64[Y]").astype("datetime64[D]")],
    )
    _depths(rows, dirt, rng)
    metres = rng.random(count) < 0.5
    for name in ("total_depth_ft", "casing_depth_ft", "rock", "water"):
        fine = 0.3048 if name == "total_depth_ft" else 1.0
        rows[name] = np.where(metres, np.round(rows[name] * 0.3048, 1) / 0.3048, np.round(rows[name] / fine) * fine)
    rounded = ~metres & (rng.random(count) < 0.3)
    rows["total_depth_ft"] = np.where(rounded, np.round(rows["total_depth_ft"] / 5.0) * 5.0, rows["total_depth_ft"])
    rows["yield"] = np.where(metres, np.round(rows["yield"] * 3.785412, 0) / 3.785412, rows["yield"])
    _texts(rows, dirt, rng, told={"permit": 0.2, "owner": 0.35, "address": 0.15})
    _blanks(
        rows,
        {"yield": 0.35, "water": 0.25, "rock": 0.45, "casing_depth_ft": 0.35, "casing_diameter_in": 0.3},
        dirt,
        rng,
    )
    numbers = "GS-" + pd.Series(rng.permutation(count) + 1_001, index=rows.index).astype(str)
    return rows.assign(source="survey", source_record_id=numbers, record_kind="new")


def _office(truth: pd.DataFrame, dirt: float, rng: np.random.Generator) -> pd.DataFrame:
    rows = truth[rng.random(len(truth)) < np.where(truth["well_use"] == "monitoring", 0.03, 0.14)].copy()
    count = len(rows)
    _place(rows, "receiver", dirt, rng)
    _date(rows, dirt, rng, late=-np.where(rng.random(count) < 0.2, rng.integers(1, 5, count), 0))
    _depths(rows, dirt, rng)
    _texts(rows, dirt, rng, told={"permit": 0.5, "owner": 0.9, "address": 0.7})
    _blanks(
        rows, {"yield": 0.1, "water": 0.3, "rock": 0.1, "casing_depth_ft": 0.1, "casing_diameter_in": 0.1}, dirt, rng
    )
    rows = rows.sort_values("running")
    year = (START + rows["day"].to_numpy().astype("timedelta64[D]")).astype("datetime64[Y]").astype(str)
    jobs = [f"{one}-{number:04d}" for number, one in enumerate(year)]
    return rows.assign(source="office", source_record_id=jobs, record_kind="new")


def _refiled(board: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return forms filed again years or days on under another number, with up to two things put right or left out."""
    rows = board[(rng.random(len(board)) < 0.012) & (board["well_use"] != "monitoring")].copy()
    for _ in range(2):
        changed = rng.choice(["", "", "yield", "water", "drilled_on", "permit", "owner", "casing_depth_ft"], len(rows))
        for name in set(changed) - {""}:
            rows[name] = rows[name].where(changed != name)
    taken = rng.permutation(len(rows)) + 900_001
    return rows.assign(source_record_id=[f"E{number}" for number in taken])


def _later(truth: pd.DataFrame, board: pd.DataFrame, where: str, dirt: float, rng: np.random.Generator) -> pd.DataFrame:
    """Return forms of deepenings, repairs and sealings: filled in anew, years on, by another crew."""
    chosen = board.loc[(rng.random(len(board)) < 0.03) & (board["well_use"] == "domestic"), "well"]
    rows = truth.loc[chosen].copy()
    count = len(rows)
    kind = rng.choice(["deepened", "repaired", "abandoned"], count, p=[0.4, 0.25, 0.35])
    deepened = kind == "deepened"
    rows["day"] = np.minimum(rows["day"] + rng.integers(500, 9_000, count), DAYS + 2_000)
    deeper = np.round((rows["total_depth_ft"] + rng.uniform(30.0, 250.0, count)) / 5.0) * 5.0
    sounded = rows["total_depth_ft"] + np.where(rng.random(count) < 0.3, rng.integers(-8, 4, count), 0)
    rows["total_depth_ft"] = np.where(deepened, deeper, np.maximum(sounded, 10.0))
    rows["yield"] = np.where(deepened, np.round(rows["yield"] * rng.uniform(1.5, 4.0, count)), np.nan)
    rows["water"] = np.where(
        rng.random(count) < 0.5, np.round(rows["water"] + rng.normal(0.0, 12.0, count)).clip(1.0), np.nan
    )
    rows["permit_number"] = np.where(rng.random(count) < 0.35, rows["permit_number"], rng.integers(0, 9_999_999, count))
    rows["person"] = np.where(rng.random(count) < 0.35, rng.integers(0, 10**7, count), rows["person"])
    _place(rows, where, dirt, rng)
    _date(rows, dirt, rng, late=np.zeros(count, dtype=int))
    _texts(rows, dirt, rng, told={"permit": 0.65, "owner": 0.6, "address": 0.6})
    blanks = {"total_depth_ft": 0.1, "rock": 0.6, "casing_depth_ft": 0.4, "casing_diameter_in": 0.3}
    _blanks(rows, blanks, dirt, rng)
    numbers = [f"E{number}" for number in rng.permutation(count) + 1_100_001]
    return rows.assign(source="board", source_record_id=numbers, record_kind=kind)


# --- how each thing is written -----------------------------------------------------------------------------------


def _place(rows: pd.DataFrame, where: str, dirt: float, rng: np.random.Generator) -> None:
    count = len(rows)
    methods, chances = {
        "open": (["gps", "map", "address"], [0.4, 0.35, 0.25]),
        "centres": (["section", "quarter", "quarter_quarter", "gps"], [0.72, 0.14, 0.1, 0.04]),
        "receiver": (["gps", "address"], [0.75, 0.25]),
    }[where]
    method = rng.choice(methods, count, p=chances)
    error = np.array([ERROR_M[name] for name in method])
    for axis in ("east", "north"):
        true = rows[axis].to_numpy()
        side = np.array([SIDE_M.get(name, np.nan) for name in method])
        # A clerk is at times one section or one lot off.
        aside = np.where(rng.random(count) < 0.008 * dirt, rng.choice([-1.0, 1.0], count), 0.0)
        centre = (np.floor(true / side) + 0.5 + aside) * side
        read = true + rng.standard_t(4.0, count) * error / 2.0
        rows[axis] = np.where(np.isnan(side), read, centre)
    # A digit of a coordinate misread.
    astray = np.isin(method, ["gps", "map"]) & (rng.random(count) < 0.005 * dirt)
    rows["north"] = rows["north"] + np.where(astray, rng.choice([-11_100.0, 1_110.0, 3_330.0], count), 0.0)
    rows["position_method"], rows["position_error_m"] = method, error


def _date(rows: pd.DataFrame, dirt: float, rng: np.random.Generator, late: np.ndarray) -> None:
    count = len(rows)
    day = START + (rows["day"].to_numpy() + late).astype("timedelta64[D]")
    year = day.astype("datetime64[Y]")
    month = (day.astype("datetime64[M]") - year.astype("datetime64[M]")).astype(int)
    of_month = (day - day.astype("datetime64[M]").astype("datetime64[D]")).astype(int)
    swapped = (of_month < 12) & (rng.random(count) < 0.03 * dirt)
    other = (year.astype("datetime64[M]") + of_month.astype("timedelta64[M]")).astype("datetime64[D]") + month.astype(
        "timedelta64[D]"
    )
    day = np.where(swapped, other, day)
    day = day + np.where(rng.random(count) < 0.02 * dirt, rng.choice([-1, 1], count), 0).astype("timedelta64[D]")
    off = np.where(rng.random(count) < 0.012 * dirt, rng.choice([-1, 1], count), 0)
    rows["drilled_on"] = np.where(off != 0, day + (off * 365).astype("timedelta64[D]"), day).astype("datetime64[us]")
    rows["drilled_on"] = rows["drilled_on"].where(rng.random(count) >= 0.04 * dirt)


def _depths(rows: pd.DataFrame, dirt: float, rng: np.random.Generator) -> None:
    count = len(rows)
    depth = rows["total_depth_ft"].to_numpy()
    slip = rng.random(count)
    text = [f"{value:.0f}" for value in depth]
    dropped = np.array([float(one[:-1] or one) if len(one) > 2 else float(one) for one in text])
    turned = np.array([float(one[:-2] + one[-1] + one[-2]) if len(one) > 1 else float(one) for one in text])
    short = np.maximum(depth - rng.integers(1, 12, count), 10.0)
    rows["total_depth_ft"] = np.maximum(
        np.select([slip < 0.006 * dirt, slip < 0.012 * dirt, slip < 0.05 * dirt], [dropped, turned, short], depth), 5.0
    )
    rows["total_depth_ft"] = rows["total_depth_ft"].where(rng.random(count) >= 0.02 * dirt)
    for name, chance in (("rock", 0.08), ("water", 0.15), ("casing_depth_ft", 0.06)):
        other = np.round(rows[name] * np.exp(rng.normal(0.0, 0.2, count)))
        rows[name] = np.where(rng.random(count) < chance * dirt, np.maximum(other, 1.0), rows[name])
    again = np.round(rows["yield"] * np.exp(rng.normal(0.0, 0.5, count)) * 2.0) / 2.0
    rows["yield"] = np.where(rng.random(count) < 0.08 * dirt, again, rows["yield"])
    uses = rng.random(count)
    use = np.where(uses < 0.08, "unknown", np.where(uses < 0.08 + 0.03 * dirt, "irrigation", rows["well_use"]))
    rows["well_use"] = np.where(rows["well_use"] == "monitoring", rows["well_use"], use)


def _texts(rows: pd.DataFrame, dirt: float, rng: np.random.Generator, told: dict[str, float]) -> None:
    count = len(rows)
    head = rng.choice(["W", "", "P-"])
    permits = []
    for number, slip in zip(rows["permit_number"].tolist(), (rng.random(count) < 0.06 * dirt).tolist(), strict=True):
        digits = f"{number:07d}"
        permits.append(f"{head}{_mistyped(digits, rng) if slip else f'{digits[:2]}-{digits[2:]}'}")
    rows["permit"] = permits
    sold = rng.random(count) < 0.04 * dirt
    person = np.where(sold, rng.integers(0, 10**7, count), rows["person"])
    rows["owner"] = _people(person, rng.choice(5, count, p=[0.3, 0.25, 0.2, 0.1, 0.15]))
    addresses = []
    for street, house, slip in zip(
        rows["street"], rows["house"].tolist(), rng.random((count, 3)).tolist(), strict=True
    ):
        name, end = street.rsplit(" ", 1)
        number = _mistyped(str(house), rng) if slip[0] < 0.03 * dirt else str(house)
        spelt = name[:3] + name[4:] if slip[1] < 0.04 * dirt else name
        end = str(rng.choice(ROAD_ENDS[end]))
        addresses.append(f"{spelt} {end}" if slip[2] < 0.12 else f"{number} {spelt} {end}")
    rows["address"] = addresses
    for name, chance in told.items():
        rows[name] = rows[name].where(rng.random(count) < chance)


def _mistyped(digits: str, rng: np.random.Generator) -> str:
    """Turn two neighbouring digits, leave one out, or take another for one."""
    if len(digits) < 2:
        return digits
    place = int(rng.integers(0, len(digits) - 1))
    how = int(rng.integers(0, 3))
    if how == 0:
        return digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
    if how == 1:
        return digits[:place] + digits[place + 1 :]
    return digits[:place] + str(rng.integers(0, 10)) + digits[place + 1 :]


def _blanks(rows: pd.DataFrame, chances: dict[str, float], dirt: float, rng: np.random.Generator) -> None:
    for name, chance in chances.items():
        rows[name] = rows[name].where(rng.random(len(rows)) >= min(chance * (0.5 + 0.5 * dirt), 0.9))
