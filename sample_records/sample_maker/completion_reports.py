"""The Licensing Board's extract: feet, gallons a minute, latitude and longitude."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np

from sample_maker.country import TO_WGS84, town_place
from sample_maker.rows import Row, feet_and_inches, number, plant, with_letters
from sample_maker.wells import Event

FILE, LAYER_FILE = "completion_reports.csv", "completion_layers.csv"
FIRST_YEAR = 1985
NEW_REPORTS = 3_150
COLUMNS = (
    "REPORT_NO", "PERMIT_NO", "COUNTY", "TOWN", "ROAD", "WORK_CODE", "USE_CODE", "DATE_COMPLETED", "LAT_DD", "LON_DD",
    "DATUM", "LOC_METHOD", "LAND_ELEV_FT", "TOTAL_DEPTH_FT", "CASING_LENGTH_FT", "CASING_DIAM_IN", "SCREEN_FROM_FT",
    "SCREEN_TO_FT", "DRILL_METHOD", "HYDROFRACTURED", "BEDROCK_DEPTH_FT", "STATIC_LEVEL_FT", "YIELD_GPM",
    "YIELD_METHOD", "BEDROCK_TYPE", "REMARKS",
)  # fmt: skip
WORK = {"new": "NEW", "deepened": "DEEP", "repaired": "REPR", "replaced": "REPL", "sealed": "SEAL"}
USE = {
    "domestic": "DOM", "irrigation": "IRR", "public": "PWS", "livestock": "STK", "commercial": "COM",
    "monitoring": "MON", "test": "TST", "unused": "UNU",
}  # fmt: skip
METHOD = {
    "air_rotary": "AR", "hammer": "AH", "cable_tool": "CT", "mud_rotary": "MR", "auger": "AU", "driven": "DP",
}  # fmt: skip
RATE_BY = {"air_lift": "AIR", "bailer": "BAIL", "pumping_test": "PUMP", "estimated": "EST", "": ""}
PLACED_M = {"1": 8.0, "2": 45.0, "3": 90.0, "4": 35.0, "9": 140.0}
"""Spread of each way of placing a well, in each direction."""

MISSPELT = {
    "WORK_CODE": {"NEW": ("NWE", "new", "N"), "DEEP": ("DEPE",), "SEAL": ("SAEL", "seal")},
    "USE_CODE": {"DOM": ("DMO", "dom", "DOMESTIC"), "MON": ("MONT",), "IRR": ("IRRIG",)},
    "DRILL_METHOD": {"AR": ("A R", "ar"), "AH": ("HA",)},
    "YIELD_METHOD": {"AIR": ("ARI", "air")},
}
MARKUP = ("see plan <2> & {{office file}}", "{% call owner %}", "<img src=x> `sketch` ${on back}")
WORKS = {"sealed": "destruction", "deepened": "deepening", "repaired": "repair", "replaced": "replacement"}


def _place(event: Event, rng: np.random.Generator) -> tuple[str, np.ndarray]:
    """Place a well as the report's year would."""
    if event.on.year >= 2003:
        how = rng.choice(["1", "2", "3", "4", "9"], p=[0.6, 0.08, 0.17, 0.12, 0.03])
    else:
        how = rng.choice(["1", "2", "3", "4", "5", "9"], p=[0.05, 0.4, 0.25, 0.1, 0.08, 0.12])
    if how == "5" and event.county == "Wendlemere":
        return "5", town_place(event.town)
    how = "9" if how == "5" else str(how)
    return how, event.place + rng.normal(0.0, PLACED_M[how], 2)


def _report(event: Event, rng: np.random.Generator) -> Row:
    how, place = _place(event, rng)
    longitude, latitude = TO_WGS84.transform(*place)
    row = Row(dict.fromkeys(COLUMNS, ""), event.well_id, event.work)
    row.cells |= {
        "PERMIT_NO": event.permit if event.work != "repaired" and rng.uniform() < 0.7 else "",
        "COUNTY": event.county,
        "TOWN": event.town if event.county == "Wendlemere" else "",
        "ROAD": event.road if rng.uniform() < 0.8 else "",
        "WORK_CODE": WORK[event.work],
        "USE_CODE": USE[event.use] if rng.uniform() < 0.97 else "",
        "DATE_COMPLETED": f"{event.on:%m/%d/%Y}",
        "LAT_DD": f"{latitude:.6f}",
        "LON_DD": f"{longitude:.6f}",
        "DATUM": str(rng.choice(["NAD83", "WGS84", ""], p=[0.6, 0.2, 0.2])),
        "LOC_METHOD": how,
        "LAND_ELEV_FT": number(10 * round(event.elevation_ft / 10 + rng.normal(0, 0.7)))
        if rng.uniform() < 0.25
        else "",
        "TOTAL_DEPTH_FT": number(event.depth_ft),
        "DRILL_METHOD": METHOD[event.method] if rng.uniform() < 0.93 else "",
        "BEDROCK_TYPE": event.rock_name if rng.uniform() < 0.6 else "",
        "HYDROFRACTURED": "",
    }
    if event.work == "sealed":
        return row
    row.cells |= {
        "CASING_LENGTH_FT": number(event.casing_ft),
        "CASING_DIAM_IN": number(event.casing_in, 2) if rng.uniform() < 0.85 else "",
        "HYDROFRACTURED": "Y" if event.fractured else str(rng.choice(["N", ""], p=[0.6, 0.4])),
    }
    if event.fractured:
        row.faults.append(("HYDROFRACTURED", "hydrofractured", "", "Y"))
    if event.screen_ft and rng.uniform() < 0.8:
        row.cells |= {"SCREEN_FROM_FT": number(event.screen_ft[0]), "SCREEN_TO_FT": number(event.screen_ft[1])}
    _write_rock(row, event, rng)
    _write_level(row, event, rng)
    _write_yield(row, event, rng)
    return row


def _write_rock(row: Row, event: Event, rng: np.random.Generator) -> None:
    if rng.uniform() < 0.08:
        return
    if event.rock_ft is None:
        row.write("BEDROCK_DEPTH_FT", "NE", "not_encountered", f">{number(event.depth_ft)}")
    else:
        row.write("BEDROCK_DEPTH_FT", number(event.rock_ft))


def _write_level(row: Row, event: Event, rng: np.random.Generator) -> None:
    if event.water_ft is None or rng.uniform() < 0.25:
        if event.on.year < 2003 and rng.uniform() < 0.3:
            row.write("STATIC_LEVEL_FT", "0", "zero_level_unknown", "")
        return
    level = round(event.water_ft)
    if event.water_ft > 0.0:
        row.write("STATIC_LEVEL_FT", number(max(5 * round(level / 5), 1) if rng.uniform() < 0.4 else max(level, 1)))
    elif level < 0 and rng.uniform() < 0.3:
        row.write("STATIC_LEVEL_FT", number(level), "level_above_ground", number(level))
    else:
        row.write("STATIC_LEVEL_FT", str(rng.choice(["F", "flowing", "F"])), "flowing", "<=0")


def _write_yield(row: Row, event: Event, rng: np.random.Generator) -> None:
    gpm = event.yield_gpm
    if gpm is None or rng.uniform() < 0.04:
        return
    row.write("YIELD_METHOD", RATE_BY[event.rate_by] if rng.uniform() < 0.85 or event.rate_by == "pumping_test" else "")
    if event.rate_by == "pumping_test":
        row.write("YIELD_GPM", number(gpm, 2), "pumping_test", f">={number(gpm, 2)}")
    elif gpm == 0.0:
        text = str(rng.choice(["0", "dry", "DRY HOLE"], p=[0.6, 0.3, 0.1]))
        row.write("YIELD_GPM", text, "zero_yield_dry" if text == "0" else "dry_word", "dry")
    elif gpm < 0.5 and rng.uniform() < 0.4:
        row.write("YIELD_GPM", "<0.5", "less_than", number(gpm, 2))
    elif gpm >= 100.0 or (gpm >= 25.0 and rng.uniform() < 0.3):
        least = max(x for x in (100, 75, 50, 40, 30, 25) if x <= gpm)
        row.write("YIELD_GPM", f"{least}+", "more_than", number(gpm, 2))
    else:
        row.write("YIELD_GPM", number(gpm, 2))


def _plain(column: str, least: float = 0.0) -> Callable[[Row], bool]:
    """Return a test for rows whose column holds a plain number."""

    def fits(row: Row) -> bool:
        text = str(row.cells[column])
        return row.clean(column) and text.replace(".", "").isdigit() and float(text) >= least

    return fits


def _spoil_places(rows: list[Row], rng: np.random.Generator) -> None:
    def here(row: Row) -> bool:
        return row.clean("LAT_DD", "LON_DD") and row.cells["LOC_METHOD"] != "5"

    def both(kind: str, make: Callable[[str, str], tuple[str, str]]) -> Callable[[Row], None]:
        def spoil(row: Row) -> None:
            latitude, longitude = make(str(row.cells["LAT_DD"]), str(row.cells["LON_DD"]))
            row.spoil("LAT_DD", kind, latitude)
            row.spoil("LON_DD", kind, longitude)

        return spoil

    plant(rows, rng, 9, here, both("position_zero", lambda lat, lon: ("0", "0")))
    plant(rows, rng, 10, here, both("position_swapped", lambda lat, lon: (lon, lat)))
    plant(rows, rng, 5, here, both("position_dummy", lambda lat, lon: ("45", "-70")))
    plant(rows, rng, 12, here, both("position_truncated", lambda lat, lon: (lat[:-4], lon[:-4])))
    plant(rows, rng, 14, here, both("position_missing", lambda lat, lon: ("", "")))
    plant(
        rows, rng, 25, here, lambda row: row.spoil("LON_DD", "longitude_unsigned", str(row.cells["LON_DD"]).lstrip("-"))
    )


def _spoil(rows: list[Row], rng: np.random.Generator) -> None:
    """Plant what does not come by itself."""
    _spoil_places(rows, rng)

    def some(n: int, fits: Callable[[Row], bool], column: str, kind: str, make: Callable[[str], str]) -> None:
        plant(rows, rng, n, fits, lambda row: row.spoil(column, kind, make(str(row.cells[column]))))

    day, depth, rock, level = "DATE_COMPLETED", "TOTAL_DEPTH_FT", "BEDROCK_DEPTH_FT", "STATIC_LEVEL_FT"
    casing, rate = "CASING_LENGTH_FT", "YIELD_GPM"
    dated = lambda row: row.clean(day)  # noqa: E731
    some(22, dated, day, "year_9999", lambda text: "01/01/9999")
    some(2, dated, day, "year_typo", lambda text: text[:6] + "908")
    some(2, dated, day, "year_typo", lambda text: text[:6] + "1085")
    some(2, dated, day, "year_future", lambda text: text[:6] + "2091")
    some(1, dated, day, "date_unreadable", lambda text: "30051969")
    some(12, _plain(depth, 100.0), depth, "depth_with_letter", with_letters)
    some(14, _plain(depth, 100.0), depth, "unit_in_text", lambda text: f"{text} ft")
    some(6, _plain(depth, 100.0), depth, "depth_missing", lambda text: "9999")
    for n, column, kind in (
        (14, level, "water_below_bottom"),
        (8, rock, "rock_below_bottom"),
        (8, casing, "casing_below_bottom"),
    ):
        plant(
            rows, rng, n,
            lambda row, c=column: _plain(c, 1.0)(row) and _plain(depth)(row),
            lambda row, c=column, k=kind: row.spoil(c, k, number(float(row.cells[depth]) + rng.integers(15, 90))),
        )  # fmt: skip
    some(10, _plain(level, 3.0), level, "feet_and_inches", lambda text: feet_and_inches(float(text), rng))
    some(8, _plain(rock, 3.0), rock, "fraction", lambda text: f"{text} 1/2")
    some(6, _plain(rock, 3.0), rock, "doubtful_mark", lambda text: f"{text}?")
    some(4, _plain(level, 3.0), level, "missing_word", lambda text: "n/a")

    def around(text: str) -> str:
        low, high = max(float(text) - 1.0, 0.5), float(text) + rng.integers(1, 4)
        return f"{number(low, 1)} {rng.choice(['to', '-'])} {number(high, 1)}"

    some(16, _plain(rate, 1.0), rate, "range", around)
    some(14, _plain(rate, 1.0), rate, "unit_in_text", lambda text: f"{text} gpm")
    some(6, lambda row: row.cells[rate] == "<0.5", rate, "trace_word", lambda text: "trace")
    some(2, _plain(rate, 1.0), rate, "yield_missing", lambda text: "9999")
    for column, spellings in MISSPELT.items():
        for code, wrong in spellings.items():
            for text in wrong:
                fits = lambda row, c=column, k=code: row.clean(c) and row.cells[c] == k  # noqa: E731
                some(2, fits, column, "code_misspelt", lambda _, t=text: t)
    for text in MARKUP:
        some(1, lambda row: not row.cells["REMARKS"], "REMARKS", "markup_in_text", lambda _, t=text: t)
    for row in rows:
        if row.cells["USE_CODE"] in ("MON", "MONT"):
            row.faults.append(("USE_CODE", "monitoring_well", "", str(row.cells["USE_CODE"])))
        if row.cells["COUNTY"] != "Wendlemere":
            row.faults.append(("COUNTY", "neighbour_county", "", str(row.cells["COUNTY"])))
        if row.work in WORKS:
            row.faults.append(("WORK_CODE", WORKS[row.work], "", str(row.cells["WORK_CODE"])))


def _file_twice(row: Row, rng: np.random.Generator) -> Row:
    """File a report once more: same place, depth and date under a new number."""
    twin = row.copy("filed_twice")
    if rng.uniform() < 0.5:
        twin.cells["ROAD"] = str(twin.cells["ROAD"]).replace(" Road", " Rd").upper()
    if rng.uniform() < 0.3:
        twin.cells["PERMIT_NO"] = ""
    twin.faults.append(("REPORT_NO", "filed_twice", "", ""))
    return twin


def make_reports(events: list[Event]) -> tuple[list[Row], list[tuple[str, float, float, str]]]:
    """Return the rows of the reports in the order of the file, and the layers.

    Parameters
    ----------
    events : list of Event

    Returns
    -------
    rows : list of Row
    layers : list of (report number, from, to, material)
    """
    rng = np.random.default_rng(1985)
    filed = [event for event in events if event.on.year >= FIRST_YEAR]
    homes = [i for i, e in enumerate(filed) if e.work == "new" and e.use != "monitoring" and e.county == "Wendlemere"]
    kept = set(rng.choice(homes, NEW_REPORTS, replace=False).tolist()) | (set(range(len(filed))) - set(homes))
    chosen = [event for i, event in enumerate(filed) if i in kept]
    order = np.argsort([event.on.toordinal() + rng.normal(0.0, 60.0) for event in chosen], kind="stable")
    rows, told = [], []
    for serial, i in enumerate(order.tolist()):
        row = _report(chosen[i], rng)
        row.cells["REPORT_NO"] = str(240_017 + 3 * serial)
        rows.append(row)
        told.append(chosen[i].layers if rng.uniform() < 0.6 else ())
    _spoil(rows, rng)

    layers = [(str(row.cells["REPORT_NO"]), *layer) for row, each in zip(rows, told, strict=True) for layer in each]
    sound = ("LAT_DD", "DATE_COMPLETED", "TOTAL_DEPTH_FT")
    again = [i for i, row in enumerate(rows) if row.work == "new" and row.clean(*sound)]
    for n, i in enumerate(rng.choice(again, 60, replace=False).tolist()):
        twin = _file_twice(rows[i], rng)
        twin.cells["REPORT_NO"] = str(240_018 + 3 * len(rows) + 3 * n)
        rows.append(twin)
    for i in sorted(rng.choice(len(rows) - 60, 24, replace=False).tolist(), reverse=True):
        twin = rows[i].copy("exact_duplicate")
        twin.faults.append(("REPORT_NO", "exact_duplicate", "", str(twin.cells["REPORT_NO"])))
        rows.insert(i + 1 + int(rng.integers(0, 40)), twin)
    return rows, layers


def write_reports(
    folder: Path, rows: list[Row], layers: list[tuple[str, float, float, str]]
) -> list[tuple[int, Row, str]]:
    """Write both files; return each row with its line in the file and its number."""
    with (folder / FILE).open("w", encoding="utf-8-sig", newline="") as stream:
        out = csv.writer(stream, lineterminator="\r\n")
        out.writerow(COLUMNS)
        out.writerows([row.cells[column] for column in COLUMNS] for row in rows)
    with (folder / LAYER_FILE).open("w", encoding="utf-8-sig", newline="") as stream:
        out = csv.writer(stream, lineterminator="\r\n")
        out.writerow(["REPORT_NO", "FROM_FT", "TO_FT", "MATERIAL"])
        out.writerows([name, number(top), number(bottom), material] for name, top, bottom, material in layers)
    return [(line, row, str(row.cells["REPORT_NO"])) for line, row in enumerate(rows, 2)]
