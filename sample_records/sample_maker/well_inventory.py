"""The Groundwater Survey's inventory: metres, litres a minute, NAD27 or section centres."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sample_maker.country import TO_NAD27, section_of
from sample_maker.rows import Row, plant, with_letters
from sample_maker.wells import Event

FILE = "well_inventory.csv"
OLD_SITES, SHARED_SITES = 1_950, 1_100
"""New wells taken up from before the Board's reports began, and from after."""
LAST_YEAR = 2010
M_PER_FT, LPM_PER_GPM = 0.3048, 3.785411784
COLUMNS = (
    "SITE", "COUNTY", "EAST", "NORTH", "POS", "TWP", "RNG", "SEC", "QTR", "ALT_M", "KIND", "PURPOSE", "DRILLED",
    "DEPTH_M", "CASING_M", "DIAM_MM", "ROCK_M", "LEVEL_M", "RATE_LPM", "RATE_HOW", "METHOD", "ROCK", "PERMIT", "NOTE",
)  # fmt: skip
COUNTY = {"Wendlemere": "WEN", "Oxmantle": "OXM", "Tarrow": "TAR"}
KIND = {"new": "1", "replaced": "1", "deepened": "2", "repaired": "3", "sealed": "4"}
PURPOSE = {
    "domestic": "H", "livestock": "A", "irrigation": "G", "public": "P", "commercial": "C", "monitoring": "O",
    "test": "T", "unused": "U",
}  # fmt: skip
RATE_HOW = {"pumping_test": "P", "air_lift": "A", "bailer": "B", "estimated": "E", "": ""}
METHOD = {"air_rotary": "R", "mud_rotary": "R", "hammer": "H", "cable_tool": "C", "driven": "V", "auger": ""}


def comma(value: float, places: int = 1) -> str:
    """Write a number with a decimal comma."""
    return f"{value:.{places}f}".replace(".", ",")


def _place(event: Event, rng: np.random.Generator) -> dict[str, str]:
    """Place a well by receiver, map, or the centre of its section or quarter section."""
    odds = [0.5, 0.2, 0.08, 0.2, 0.02] if event.on.year >= 1996 else [0.02, 0.3, 0.13, 0.53, 0.02]
    how = str(rng.choice(["G", "M", "Q", "S", "X"], p=odds))
    place = event.place + rng.normal(0.0, {"G": 8.0, "M": 55.0}.get(how, 0.0), 2)
    twp, rnge, sec, qtr, centre, quarter_centre = section_of(event.place)
    place = {"S": centre, "Q": quarter_centre}.get(how, place)
    east, north = TO_NAD27.transform(*place)
    grid = how in "QSX" or rng.uniform() < 0.5
    return {
        "EAST": "" if how == "X" else f"{east:.0f}",
        "NORTH": "" if how == "X" else f"{north:.0f}",
        "POS": how,
        "TWP": twp if grid else "",
        "RNG": rnge if grid else "",
        "SEC": str(sec) if grid else "",
        "QTR": qtr if how == "Q" or (grid and rng.uniform() < 0.4) else "",
    }


def _site(event: Event, rng: np.random.Generator) -> Row:
    row = Row(dict.fromkeys(COLUMNS, ""), event.well_id, event.work)
    row.cells |= _place(event, rng)
    exact_date = event.on.year >= 1975 and rng.uniform() < 0.6
    row.cells |= {
        "COUNTY": COUNTY[event.county],
        "ALT_M": comma(event.elevation_ft * M_PER_FT + rng.normal(0.0, 1.5)) if rng.uniform() < 0.5 else "",
        "KIND": KIND[event.work] if event.work != "new" or rng.uniform() < 0.9 else "0",
        "PURPOSE": PURPOSE[event.use] if rng.uniform() < 0.94 else "",
        "DRILLED": f"{event.on:%d.%m.%Y}" if exact_date else str(event.on.year),
        "DEPTH_M": comma(event.depth_ft * M_PER_FT),
        "METHOD": METHOD[event.method] if rng.uniform() < 0.85 else "",
        "ROCK": event.rock_name if rng.uniform() < 0.4 else "",
        "PERMIT": event.permit.lstrip("W") if event.on.year >= 1985 and rng.uniform() < 0.4 else "",
    }
    if event.work == "sealed":
        return row
    row.cells |= {
        "CASING_M": comma(event.casing_ft * M_PER_FT) if rng.uniform() < 0.6 else "",
        "DIAM_MM": f"{event.casing_in * 25.4:.0f}" if rng.uniform() < 0.6 else "",
    }
    _write_rock(row, event, rng)
    _write_level(row, event, rng)
    _write_rate(row, event, rng)
    return row


def _write_rock(row: Row, event: Event, rng: np.random.Generator) -> None:
    if rng.uniform() < 0.2:
        if rng.uniform() < 0.5:
            row.write("ROCK_M", "0", "zero_rock_unknown", "")
    elif event.rock_ft is None:
        row.write("ROCK_M", f">{comma(event.depth_ft * M_PER_FT)}", "not_encountered", f">{event.depth_ft:.0f} ft")
    else:
        row.write("ROCK_M", comma(event.rock_ft * M_PER_FT))


def _write_level(row: Row, event: Event, rng: np.random.Generator) -> None:
    if event.water_ft is None or rng.uniform() < 0.5:
        return
    level = event.water_ft + rng.normal(0.0, 2.0)  # visited on another day
    if level <= 0.0:
        text = str(rng.choice(["0", "overflow", comma(min(level * M_PER_FT, -0.1))], p=[0.5, 0.3, 0.2]))
        kind = {"0": "zero_level_flowing", "overflow": "flowing"}.get(text, "level_above_ground")
        row.write("LEVEL_M", text, kind, "<=0")
    elif level < event.depth_ft - 1.0:
        row.write("LEVEL_M", comma(max(level * M_PER_FT, 0.1)))


def _write_rate(row: Row, event: Event, rng: np.random.Generator) -> None:
    gpm = event.yield_gpm
    if gpm is None or rng.uniform() < 0.15:
        if rng.uniform() < 0.5:
            row.write("RATE_LPM", "0", "zero_yield_unknown", "")
        return
    rate = gpm * LPM_PER_GPM
    row.write("RATE_HOW", RATE_HOW[event.rate_by] if rng.uniform() < 0.7 or event.rate_by == "pumping_test" else "")
    if event.rate_by == "pumping_test":
        row.write("RATE_LPM", f"{rate:.0f}", "pumping_test", f">={rate:.0f}")
    elif gpm == 0.0:
        row.write("RATE_LPM", "dry", "dry_word", "dry")
    elif gpm < 0.5 and rng.uniform() < 0.5:
        row.write("RATE_LPM", "<2", "less_than", comma(rate))
    elif rate >= 150.0 and rng.uniform() < 0.4:
        row.write("RATE_LPM", f"{50 * int(rate // 50)}+", "more_than", f"{rate:.0f}")
    else:
        heaped = rate > 20.0 and rng.uniform() < 0.5
        row.write("RATE_LPM", f"{5 * round(rate / 5):.0f}" if heaped else comma(rate, int(rate < 10.0)))


def _plain(column: str, least: float = 0.1) -> Callable[[Row], bool]:
    """Return a test for rows whose column holds a plain number."""

    def fits(row: Row) -> bool:
        text = str(row.cells[column])
        return row.clean(column) and text.replace(",", "").isdigit() and _read(text) >= least

    return fits


def _read(text: object) -> float:
    return float(str(text).replace(",", "."))


def _spoil(rows: list[Row], rng: np.random.Generator) -> None:
    """Plant what does not come by itself."""

    def some(n: int, fits: Callable[[Row], bool], column: str, kind: str, make: Callable[[Row], str]) -> None:
        plant(rows, rng, n, fits, lambda row: row.spoil(column, kind, make(row)))

    def with_depth(column: str) -> Callable[[Row], bool]:
        return lambda row: _plain(column)(row) and _plain("DEPTH_M")(row)

    def placed(row: Row) -> bool:
        return row.clean("EAST", "NORTH") and row.cells["POS"] in ("G", "M")

    def at_zero(row: Row) -> None:
        row.spoil("EAST", "position_zero", "0")
        row.spoil("NORTH", "position_zero", "0")

    def swap(row: Row) -> None:
        east, north = row.cells["EAST"], row.cells["NORTH"]
        row.spoil("EAST", "position_swapped", north)
        row.spoil("NORTH", "position_swapped", east)

    def spread(row: Row) -> str:
        rate = _read(row.cells["RATE_LPM"])
        return f"{int(rate * 0.8)}-{int(rate * 1.3) + 1}"

    plant(rows, rng, 8, placed, at_zero)
    plant(rows, rng, 6, placed, swap)
    dated, deep, rated = (lambda row: row.clean("DRILLED")), _plain("DEPTH_M", 30.0), _plain("RATE_LPM", 8.0)
    some(30, dated, "DRILLED", "year_9999", lambda row: "9999")
    some(4, dated, "DRILLED", "year_typo", lambda row: "19" + str(row.cells["DRILLED"])[-1])
    some(8, deep, "DEPTH_M", "depth_with_letter", lambda row: with_letters(str(row.cells["DEPTH_M"])))
    some(10, deep, "DEPTH_M", "unit_in_text", lambda row: f"{row.cells['DEPTH_M']} m")
    some(10, deep, "DEPTH_M", "feet_in_metric_file", lambda row: f"{_read(row.cells['DEPTH_M']) / M_PER_FT:.0f} ft")
    some(10, _plain("LEVEL_M"), "LEVEL_M", "doubtful_mark", lambda row: f"{row.cells['LEVEL_M']}*")
    for n, column, kind, metres in (
        (10, "LEVEL_M", "water_below_bottom", 9.0),
        (6, "ROCK_M", "rock_below_bottom", 6.0),
    ):
        some(n, with_depth(column), column, kind, lambda row, m=metres: comma(_read(row.cells["DEPTH_M"]) + m))
    some(10, rated, "RATE_LPM", "range", spread)
    some(8, rated, "RATE_LPM", "unit_in_text", lambda row: f"{row.cells['RATE_LPM']} l/min")
    for column, spellings in (
        ("PURPOSE", {"H": ("h", "HH"), "A": ("Anim.",)}),
        ("KIND", {"1": ("l", "I"), "4": ("sealed",)}),
        ("METHOD", {"C": ("c", "CT"), "R": ("Rot",)}),
        ("COUNTY", {"WEN": ("WENN", "wen")}),
    ):  # fmt: skip
        for code, wrong in spellings.items():
            for text in wrong:
                fits = lambda row, c=column, k=code: row.clean(c) and row.cells[c] == k  # noqa: E731
                some(2, fits, column, "code_misspelt", lambda row, t=text: t)
    for row in rows:
        if rng.uniform() < 0.05:
            row.cells["NOTE"] = str(rng.choice(NOTES))
        _note_kind(row)


NOTES = ("located ± 100 m", "fractured zone 45–48 m", "6½ in. casing", "owner’s figure", "water 9 °C")
CENTRES = {"S": "section_centroid", "Q": "quarter_section_centroid", "X": "section_only"}
WORKS = {"sealed": "destruction", "deepened": "deepening", "repaired": "repair"}


def _note_kind(row: Row) -> None:
    """Note what a row is, where that alone sets it apart."""
    if row.cells["POS"] in CENTRES:
        row.faults.append(("POS", CENTRES[str(row.cells["POS"])], "", str(row.cells["POS"])))
    if row.cells["PURPOSE"] == "O":
        row.faults.append(("PURPOSE", "monitoring_well", "", "O"))
    if row.cells["COUNTY"] in ("OXM", "TAR"):
        row.faults.append(("COUNTY", "neighbour_county", "", str(row.cells["COUNTY"])))
    if row.work in WORKS:
        row.faults.append(("KIND", WORKS[row.work], "", str(row.cells["KIND"])))


def make_inventory(events: list[Event]) -> list[Row]:
    """Return the rows of the inventory, in the order of the file."""
    rng = np.random.default_rng(1927)
    seen = [event for event in events if event.on.year <= LAST_YEAR]
    homes = [i for i, e in enumerate(seen) if e.work == "new" and e.use != "monitoring" and e.county == "Wendlemere"]
    old = [i for i in homes if seen[i].on.year < 1985]
    shared = [i for i in homes if seen[i].on.year >= 1985]
    others = [i for i in range(len(seen)) if seen[i].work != "new" or seen[i].county != "Wendlemere"]
    watched = [i for i in range(len(seen)) if seen[i].use == "monitoring" and seen[i].work == "new"]
    kept = [
        *rng.choice(old, OLD_SITES, replace=False),
        *rng.choice(shared, SHARED_SITES, replace=False),
        *(i for i in others if rng.uniform() < 0.6),
        *(i for i in watched if rng.uniform() < 0.35),
    ]
    rows = []
    for serial, i in enumerate(rng.permutation(kept).tolist()):
        row = _site(seen[i], rng)
        row.cells["SITE"] = f"AGS-{5001 + serial:05d}"
        rows.append(row)
    _spoil(rows, rng)
    for i in sorted(rng.choice(len(rows), 15, replace=False).tolist(), reverse=True):
        twin = rows[i].copy("exact_duplicate")
        twin.faults.append(("SITE", "exact_duplicate", "", str(twin.cells["SITE"])))
        rows.insert(i + 1, twin)
    again = [
        i
        for i, row in enumerate(rows)
        if row.role == "first" and row.work == "new" and row.clean("EAST", "DRILLED", "DEPTH_M")
    ]
    for n, i in enumerate(rng.choice(again, 40, replace=False).tolist()):
        twin = rows[i].copy("filed_twice")
        twin.cells["SITE"] = f"AGS-{5001 + len(kept) + n:05d}"
        twin.faults.append(("SITE", "filed_twice", "", ""))
        rows.append(twin)
    return rows


def write_inventory(folder: Path, rows: list[Row]) -> list[tuple[int, Row, str]]:
    """Write the file; return each row with its line in the file and its number."""
    with (folder / FILE).open("w", encoding="cp1252", newline="") as stream:
        out = csv.writer(stream, delimiter=";", lineterminator="\r\n")
        out.writerow(COLUMNS)
        out.writerows([row.cells[column] for column in COLUMNS] for row in rows)
    return [(line, row, str(row.cells["SITE"])) for line, row in enumerate(rows, 2)]
