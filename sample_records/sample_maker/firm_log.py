"""The firm's own log: a spreadsheet of two sheets, typed in the office."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from openpyxl import Workbook
from openpyxl.styles import Font

from sample_maker.country import TO_WGS84, town_place
from sample_maker.rows import Row, degrees_minutes_seconds, feet_and_inches, number, plant, with_letters
from sample_maker.wells import Event, heap_gpm

FILE = "firm_log.xlsx"
JOBS = 600
STAMP = datetime(2024, 12, 31, 12, 0, 0)
OLD = (
    "Job", "Date", "Town", "Road", "Lat", "Long", "Depth", "Csg", "Ledge", "Static", "GPM", "Water at", "Log", "Notes",
)  # fmt: skip
NEW = (
    "Job No.", "Date Drilled", "Town", "Road / Lot", "Permit No.", "Latitude", "Longitude", "Total Depth (ft)",
    "Casing (ft)", "Csg Dia (in)", "Depth to Ledge (ft)", "Static Level (ft)", "Yield (GPM)", "Rate by", "Water Zones",
    "Formation Log", "Frac'd", "Notes",
)  # fmt: skip
SAME = dict(
    zip(
        (
            "job",
            "date",
            "town",
            "road",
            "lat",
            "lon",
            "depth",
            "casing",
            "rock",
            "level",
            "rate",
            "zones",
            "log",
            "notes",
        ),
        OLD,
        strict=True,
    )
)
NAMES = {
    "1978-1999": SAME,
    "2000-2024": {
        "job": "Job No.", "date": "Date Drilled", "town": "Town", "road": "Road / Lot", "permit": "Permit No.",
        "lat": "Latitude", "lon": "Longitude", "depth": "Total Depth (ft)", "casing": "Casing (ft)",
        "diameter": "Csg Dia (in)", "rock": "Depth to Ledge (ft)", "level": "Static Level (ft)", "rate": "Yield (GPM)",
        "rate_by": "Rate by", "zones": "Water Zones", "log": "Formation Log", "fractured": "Frac'd", "notes": "Notes",
    },
}  # fmt: skip
TITLES = {
    "1978-1999": (
        ("SKERRYDALE DRILLING", "WELL LOG, OLD BOOK"),
        ("Typed over from the job cards. All depths in feet.",),
        ("Invented sample: no such firm, places or wells.",),
    ),
    "2000-2024": (("SKERRYDALE DRILLING - Well log from 2000",), ("Invented sample: no such firm, places or wells.",)),
}
COLUMNS = {"1978-1999": OLD, "2000-2024": NEW}
WORKS = {
    "deepened": ("deepening", "DEEPENED old well"),
    "repaired": ("repair", "repair, new liner"),
    "replaced": ("replacement", "new well, old one poor"),
}
NOTES = ("hard drilling", "lost circ. at ledge", "sulfur smell", "cloudy, blew 2 hrs", "steep drive", "iron")
ZONE_STYLES = ("{d}' {y}gpm", "{d}' {y} gpm", "{d} ft - {y} gpm", "{d}'-{y}gpm", "{d}'")
RATE_BY = {"air_lift": "air", "bailer": "bail", "pumping_test": "pump", "estimated": "est", "": ""}


def _figure(value: float) -> int | float:
    """Return a number as a spreadsheet would hold it."""
    return int(value) if float(value).is_integer() else round(float(value), 2)


def _zones_text(event: Event, rng: np.random.Generator) -> str:
    """Write the water zones as the driller noted them."""
    if event.yield_gpm == 0.0:
        return str(rng.choice(["none", "", "dry"]))
    style = str(rng.choice(ZONE_STYLES, p=[0.4, 0.3, 0.1, 0.15, 0.05]))
    parts = [style.format(d=round(depth), y=number(heap_gpm(gpm), 2)) for depth, gpm in event.zones]
    return str(rng.choice([", ", "; "], p=[0.8, 0.2])).join(parts)


def _log_text(event: Event) -> str:
    return "; ".join(f"{number(top)}-{number(bottom)} {material}" for top, bottom, material in event.layers)


def _job(event: Event, sheet: str, rng: np.random.Generator) -> Row:
    names = NAMES[sheet]
    old, permit = sheet == "1978-1999", event.permit
    row = Row(dict.fromkeys(COLUMNS[sheet], ""), event.well_id, event.work)
    place = event.place + rng.normal(0.0, 80.0 if old else 6.0, 2)
    longitude, latitude = TO_WGS84.transform(*place)
    row.cells |= {
        names["date"]: datetime(event.on.year, event.on.month, event.on.day),
        names["town"]: event.town,
        names["road"]: event.road.replace(" Road", " Rd") if rng.uniform() < 0.5 else event.road,
        names["depth"]: _figure(event.depth_ft),
        names["casing"]: _figure(event.casing_ft),
        names["log"]: _log_text(event),
        names["zones"]: _zones_text(event, rng) if rng.uniform() < (0.55 if old else 0.85) else "",
    }
    _write_place(row, names, latitude, longitude, old, rng)
    if not old:
        row.cells |= {
            "Permit No.": str(rng.choice([permit, permit[1:], permit.lower(), ""], p=[0.35, 0.15, 0.1, 0.4])),
            "Csg Dia (in)": _figure(event.casing_in),
            "Rate by": RATE_BY[event.rate_by],
        }
        if event.fractured:
            row.write("Frac'd", str(rng.choice(["Y", "yes", "x"])), "hydrofractured", "")
    if event.rock_ft is not None:
        row.cells[names["rock"]] = _figure(event.rock_ft)
    else:
        text = str(rng.choice(["none", f"no rock to {number(event.depth_ft)}", "not enc."]))
        row.write(names["rock"], text, "not_encountered", f">{number(event.depth_ft)}")
    _write_level(row, names["level"], event, rng)
    _write_rate(row, names["rate"], event, rng)
    return row


def _write_place(
    row: Row, names: dict[str, str], latitude: float, longitude: float, old: bool, rng: np.random.Generator
) -> None:
    """Write a position: the old book without sign, both at times in degrees, minutes and seconds."""
    if rng.uniform() < (0.4 if old else 0.2):
        style = "{d}-{m:02d}-{s:04.1f}" if old else "{d}°{m:02d}'{s:04.1f}\""
        for key, degrees, side in (("lat", latitude, "N"), ("lon", longitude, "W")):
            text = degrees_minutes_seconds(degrees, style) + ("" if old else side)
            row.write(names[key], text, "degrees_minutes_seconds", f"{degrees:.6f}")
    elif old:
        row.cells[names["lat"]] = round(latitude, 4)
        row.write(names["lon"], round(abs(longitude), 4), "longitude_unsigned", round(longitude, 4))
    else:
        row.cells |= {names["lat"]: round(latitude, 5), names["lon"]: round(longitude, 5)}


def _write_level(row: Row, column: str, event: Event, rng: np.random.Generator) -> None:
    if event.water_ft is None or rng.uniform() < 0.15:
        return
    if event.water_ft > 0.0:
        row.cells[column] = _figure(max(round(event.water_ft), 1))
    elif rng.uniform() < 0.5:
        row.write(column, str(rng.choice(["flowing", "FLOWS", "overflow", "artesian"])), "flowing", "<=0")
    else:
        row.write(column, 0, "zero_level_flowing", "<=0")


def _write_rate(row: Row, column: str, event: Event, rng: np.random.Generator) -> None:
    gpm = event.yield_gpm
    if gpm is None:
        return
    if gpm == 0.0:
        text = rng.choice(["dry", "dry hole", "0"])
        row.write(column, 0 if text == "0" else str(text), "zero_yield_dry" if text == "0" else "dry_word", "dry")
    elif event.rate_by == "pumping_test":
        row.write(column, _figure(gpm), "pumping_test", f">={number(gpm, 2)}")
    elif gpm == 0.5 and rng.uniform() < 0.5:
        row.write(column, "1/2", "fraction", "0.5")
    elif gpm < 0.5 and rng.uniform() < 0.5:
        row.write(column, str(rng.choice(["<0.5", "<1/2"], p=[0.7, 0.3])), "less_than", number(gpm, 2))
    elif gpm >= 25.0 and rng.uniform() < 0.4:
        least = max(x for x in (100, 75, 50, 30, 25) if x <= gpm)
        row.write(column, f"{least}+", "more_than", number(gpm, 2))
    elif gpm > 1.0 and rng.uniform() < 0.06:
        low = gpm - 0.5 if gpm < 3.0 else gpm - 1.0
        text = f"{number(low, 1)} {rng.choice(['to', '-'])} {number(gpm + 1.0, 1)}"
        row.write(column, text, "range", number(gpm, 2))
    elif rng.uniform() < 0.08:
        row.write(column, f"{number(gpm, 2)} gpm", "unit_in_text", number(gpm, 2))
    else:
        row.cells[column] = _figure(gpm)


def _spoil(rows: list[Row], sheet: str, rng: np.random.Generator) -> None:
    """Plant what does not come by itself."""
    names = NAMES[sheet]
    old = sheet == "1978-1999"

    def filled(key: str) -> Callable[[Row], bool]:
        return lambda row: row.clean(names[key]) and isinstance(row.cells[names[key]], int | float)

    def some(n: int, fits: Callable[[Row], bool], key: str, kind: str, make: Callable[[Any], object]) -> None:
        plant(rows, rng, n, fits, lambda row: row.spoil(names[key], kind, make(row.cells[names[key]])))

    dated = lambda row: row.clean(names["date"])  # noqa: E731
    some(20 if old else 8, dated, "date", "date_as_text", lambda day: f"{day.month}/{day.day}/{day:%y}")
    some(8 if old else 2, dated, "date", "date_month_only", lambda day: f"{day:%B %Y}")
    some(6, filled("rock"), "rock", "feet_and_inches", lambda feet: feet_and_inches(feet, rng))
    some(5, filled("level"), "level", "fraction", lambda feet: f"{feet} 1/2")
    some(4, filled("depth"), "depth", "unit_in_text", lambda feet: f"{feet}'")
    some(3, filled("depth"), "depth", "depth_with_letter", lambda feet: with_letters(str(feet)))
    some(4, filled("rock"), "rock", "doubtful_mark", lambda feet: f"{feet}?")
    plant(
        rows, rng, 3,
        lambda row: filled("level")(row) and filled("depth")(row),
        lambda row: row.spoil(names["level"], "water_below_bottom", row.cells[names["depth"]] + 40),
    )  # fmt: skip

    def blank(row: Row) -> None:
        row.spoil(names["lat"], "position_missing", "")
        row.spoil(names["lon"], "position_missing", "")

    def swap(row: Row) -> None:
        latitude, longitude = row.cells[names["lat"]], row.cells[names["lon"]]
        row.spoil(names["lat"], "position_swapped", longitude)
        row.spoil(names["lon"], "position_swapped", latitude)

    if old:
        plant(rows, rng, 14, lambda row: row.clean("Lat"), blank)
    else:
        plant(rows, rng, 4, lambda row: row.clean("Latitude", "Longitude"), swap)
        some(6, filled("lon"), "lon", "longitude_unsigned", abs)
    for row in rows:
        if row.work in WORKS:
            kind, note = WORKS[row.work]
            row.write(names["notes"], note, kind, "")
        elif rng.uniform() < 0.08:
            row.cells[names["notes"]] = str(rng.choice(NOTES))


def make_log(events: list[Event]) -> dict[str, list[Row]]:
    """Return the rows of each sheet, in order of job."""
    rng = np.random.default_rng(1978)
    ours = [
        event
        for event in events
        if event.on.year >= 1978
        and event.work != "sealed"
        and event.county == "Wendlemere"
        and event.use not in ("monitoring", "test")
    ]
    # Nearer to the firm's yard, more of the wells are its own.
    away = np.array([np.linalg.norm(e.place - town_place("Ashquill")) for e in ours])
    odds = np.exp(-away / 9_000.0)
    chosen = rng.choice(len(ours), JOBS, replace=False, p=odds / odds.sum())
    jobs = sorted((ours[i] for i in chosen), key=lambda e: (e.on, e.well_id))
    sheets: dict[str, list[Row]] = {"1978-1999": [], "2000-2024": []}
    number_in_year: dict[int, int] = {}
    for event in jobs:
        sheet = "1978-1999" if event.on.year < 2000 else "2000-2024"
        number_in_year[event.on.year] = serial = number_in_year.get(event.on.year, 0) + 1
        row = _job(event, sheet, rng)
        job = f"{event.on.year % 100:02d}-{serial:03d}" if event.on.year < 2000 else f"{event.on.year}-{serial:03d}"
        row.cells[NAMES[sheet]["job"]] = job
        sheets[sheet].append(row)
    for sheet, rows in sheets.items():
        _spoil(rows, sheet, rng)
    return sheets


def write_log(folder: Path, sheets: dict[str, list[Row]]) -> dict[str, list[tuple[int, Row, str]]]:
    """Write the workbook; return each row with its line on its sheet and its job number."""
    book = Workbook()
    book.remove(book.active)
    book.properties.creator = "sample records"
    book.properties.created = book.properties.modified = STAMP
    placed: dict[str, list[tuple[int, Row, str]]] = {}
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for title in TITLES[name]:
            page.append(list(title))
        page.append(list(COLUMNS[name]))
        for cell in page[page.max_row]:
            cell.font = Font(bold=True)
        line = page.max_row
        placed[name] = []
        year = None
        for row in rows:
            job = str(row.cells[NAMES[name]["job"]])
            line += 1
            if year is not None and job[:4] != year and name == "2000-2024":
                line += 1  # a blank line between years
            year = job[:4]
            for column, key in enumerate(COLUMNS[name], 1):
                value = row.cells[key]
                if value not in ("", None):
                    cell = page.cell(line, column, value)
                    if isinstance(value, datetime):
                        cell.number_format = "MM/DD/YYYY"
            placed[name].append((line, row, job))
        page.cell(line + 2, 1, "Wells on this sheet:")
        page.cell(line + 2, 2, len(rows))
    buffer = io.BytesIO()
    book.save(buffer)
    _write_without_clock(buffer, folder / FILE)
    return placed


def _write_without_clock(buffer: io.BytesIO, path: Path) -> None:
    """Copy a workbook with every time stamp in it set to `STAMP`."""
    stamp = STAMP.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(buffer) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            body = old.read(name)
            if name == "docProps/core.xml":
                body = re.sub(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", rb"\g<1>" + stamp, body)
            entry = zipfile.ZipInfo(name, date_time=STAMP.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16
            new.writestr(entry, body)
