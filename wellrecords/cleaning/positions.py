"""Positions of a source's rows: the layout's ways, tried in turn, to WGS84 with method and error."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.cleaning.codes import convert_codes
from wellrecords.cleaning.findings import Findings
from wellrecords.errors import counted
from wellrecords.land_grid import LandLayers, parcel_key, section_keys, section_places
from wellrecords.places import (
    DATUM_CRS,
    MEAN_DISTANCE_IN_SQUARE,
    METHOD_ERRORS_M,
    REASONS,
    Bounds,
    degree_places,
    judge_places,
    parse_angles,
    to_wgs84,
    utm_crs,
)
from wellrecords.readings import parse_readings
from wellrecords.sources.column_rules import tidy_code
from wellrecords.sources.layout import PositionRules
from wellrecords.sources.map_files import POINT_X, POINT_Y

CROWD = 10
"""Wells on one point that are too many for a receiver or a map (common practice: a well field has fewer)."""

MEND_WHY = {
    "unsigned_longitude": "as written the place is outside the region; west of Greenwich it is inside",
    "swapped_coordinates": "as written the place is outside the region; with the two coordinates swapped it is inside",
    "unreadable_quarter": "no rule can read the quarter call; the centre of the whole section stands for it",
    "swapped_and_unsigned": "only with the two coordinates swapped, and west of Greenwich, is it inside the region",
}


@dataclass(frozen=True)
class Positions:
    """Where the rows stand; null and "unknown" for rows that are held back."""

    longitude: np.ndarray
    latitude: np.ndarray
    method: np.ndarray
    error_m: np.ndarray


def convert_positions(
    findings: Findings, *, bounds: Bounds | None = None, outline: object | None = None, land: LandLayers | None = None
) -> Positions:
    """Find each row's place by the first way of the layout that gives one.

    A row whose place cannot stand (none, zero, whole degrees, outside) is
    held back with that reason.

    Parameters
    ----------
    findings : Findings
    bounds : sequence of float, optional
        West, south, east, north of the region, in degrees.
    outline : geopandas.GeoDataFrame, optional
        The region's land.
    land : LandLayers, optional
        The user's section and parcel layers.

    Returns
    -------
    Positions
    """
    count = findings.count
    longitude, latitude, error_m = (np.full(count, np.nan) for _ in range(3))
    method = np.full(count, "unknown", dtype=object)
    reason = np.full(count, "no_position", dtype=object)
    original = np.full(count, "", dtype=object)
    for rules in findings.layout.positions:
        open_rows = reason != None  # noqa: E711
        way = _way(rules, findings, open_rows, bounds, land)
        at = np.flatnonzero(way.asked & open_rows)
        verdict = judge_places(way.longitude[at], way.latitude[at], bounds, outline)
        stands = verdict == None  # noqa: E711
        good, bad = at[stands], at[~stands]
        longitude[good], latitude[good] = way.longitude[good], way.latitude[good]
        method[good], error_m[good] = way.method[good], way.error_m[good]
        otherwise = good[reason[good] != "no_position"]
        findings.change(
            otherwise,
            "position",
            before=original[otherwise],
            after=_written(longitude[otherwise], latitude[otherwise]),
            rule=reason[otherwise],
            why=np.array(
                [f"{REASONS[why]}; the record says otherwise where it is" for why in reason[otherwise]], object
            ),
        )
        reason[good] = None
        first = reason[bad] == "no_position"
        reason[bad[first]] = verdict[~stands][first]
        original[bad[first]] = way.original.iloc[bad[first]].to_numpy(dtype=object)
        mended = good[way.mend[good] != ""]
        if len(mended):
            after = _written(longitude[mended], latitude[mended])
            whys = np.array([MEND_WHY[mend] for mend in way.mend[mended]], dtype=object)
            findings.change(
                mended, "position", before=way.original.iloc[mended], after=after, rule=way.mend[mended], why=whys
            )
    held = np.flatnonzero(reason != None)  # noqa: E711
    whys = np.array(
        [
            REASONS[why] + (f" (as written, the northward figure first: {text})" if text.strip(", ") else "")
            for why, text in zip(reason[held], original[held], strict=True)
        ],
        dtype=object,
    )
    findings.hold(held, reason[held], whys)
    _note_crowds(findings, longitude, latitude, method)
    return Positions(longitude, latitude, method, error_m)


def _written(longitude: np.ndarray, latitude: np.ndarray) -> list[str]:
    return [f"{y:.6f}, {x:.6f}" for x, y in zip(longitude, latitude, strict=True)]


def _note_crowds(findings: Findings, longitude: np.ndarray, latitude: np.ndarray, method: np.ndarray) -> None:
    """Note points on which many wells stand though their method finds each well for itself."""
    for name in ("survey", "gps", "map"):
        points = pd.DataFrame({"x": longitude, "y": latitude})[(method == name) & np.isfinite(longitude)].round(6)
        crowd = points.value_counts()
        crowd = crowd[crowd >= CROWD]
        if len(crowd):
            findings.notes.append(
                f"position: {int(crowd.sum()):,} places of method {name} stand on {counted(len(crowd), 'point')} of "
                f"{CROWD} wells or more: look whether these are centres of something, and say so in the layout"
            )


@dataclass
class _Way:
    """What one way gives: `asked` are the rows in which something stands for it."""

    asked: np.ndarray
    longitude: np.ndarray
    latitude: np.ndarray
    method: np.ndarray
    error_m: np.ndarray
    mend: np.ndarray
    original: pd.Series


def _way(
    rules: PositionRules, findings: Findings, open_rows: np.ndarray, bounds: Bounds | None, land: LandLayers | None
) -> _Way:
    if rules.kind == "land_grid":
        return _land_grid(rules, findings, land)
    if rules.kind == "parcel":
        return _parcels(rules, findings, land)
    x_texts, y_texts = _pair(rules, findings)
    # Half a place is none; one text that could not be cut in two is a place that cannot be read.
    asked = (y_texts != "" if rules.pair else (x_texts != "") & (y_texts != "")).to_numpy()
    original = y_texts + ", " + x_texts
    count = findings.count
    mend = np.full(count, "", dtype=object)
    digits_m = np.zeros(count)
    if rules.kind == "degrees":
        places = degree_places(x_texts, y_texts, bounds=bounds, west=rules.unsigned_longitude == "west")
        x, y = places["longitude"].to_numpy(copy=True), places["latitude"].to_numpy(copy=True)
        if rules.unsigned_longitude == "west" and asked.any():
            findings.notes.append("position: every longitude without a sign is west, as the layout says")
        digits_m, mend = places["error_m"].to_numpy(), places["mend"].to_numpy(dtype=object)
    elif rules.kind == "geometry":
        x, y = (parse_angles(texts)["degrees"].to_numpy(copy=True) for texts in (x_texts, y_texts))
        if findings.raw.crs or rules.crs:
            x, y = (pd.to_numeric(text, errors="coerce").to_numpy(dtype=float) for text in (x_texts, y_texts))
    else:
        decimal = findings.layout.file.decimal
        x, y = (_metres(texts, decimal) for texts in (x_texts, y_texts))
        swapped = (x > 1_000_000.0) & (y < 1_000_000.0) if rules.kind == "utm" else np.zeros(count, dtype=bool)
        x[swapped], y[swapped] = y[swapped], x[swapped]
        mend[swapped] = "swapped_coordinates"
        digits_m = MEAN_DISTANCE_IN_SQUARE * _step_m(x, y)
    longitude, latitude, datum_m = np.full(count, np.nan), np.full(count, np.nan), np.zeros(count)
    for crs, rows in _systems(rules, findings, asked & open_rows):
        finite = rows & np.isfinite(x) & np.isfinite(y)
        if finite.any():
            longitude[finite], latitude[finite], accuracy = to_wgs84(x[finite], y[finite], crs, bounds)
            datum_m[finite] = accuracy
            if accuracy > 0.0:
                findings.notes.append(
                    f"position: {counted(int(finite.sum()), 'place')} brought from {crs} to WGS84, "
                    f"good to {accuracy:g} m, which is part of their position error"
                )
    # A round figure that stands for no place is round as it was written, whatever the datum makes of it.
    no_place = (x == 0.0) | (y == 0.0)
    if rules.kind == "degrees":
        no_place = no_place | ((x % 1.0 == 0.0) & (y % 1.0 == 0.0))
    degrees = rules.kind == "degrees"
    longitude[no_place], latitude[no_place] = (x[no_place], y[no_place]) if degrees else (0.0, 0.0)
    method, error_m = _method_and_error(rules, findings, asked & open_rows)
    error_m = np.sqrt(error_m**2 + digits_m**2 + datum_m**2)
    return _Way(asked, longitude, latitude, method, error_m, mend, original)


def _pair(rules: PositionRules, findings: Findings) -> tuple[pd.Series, pd.Series]:
    if rules.kind == "geometry":
        return findings.texts((POINT_X,)), findings.texts((POINT_Y,))
    if not rules.pair:
        return findings.texts(rules.x), findings.texts(rules.y)
    written = findings.texts(rules.pair)
    # POINT (x y): the one way of writing that puts the eastward figure first.
    both = written.str.replace(r"(?i)^point ?z? ?\(\s*(\S+)\s+([^\s)]+).*\)$", r"\2;\1", regex=True).str.strip("()[] ")
    both = both.str.replace(r"(?i)(?<=[\d\"'°]) ?([ns])(?:orth|outh)? +(?=\d)", r"\1;", regex=True)
    x, y = pd.Series("", index=both.index, dtype="str"), both.copy()
    whole = both != ""
    for separator in (";", "/", ",", " "):
        cut = whole & (both.str.count(re.escape(separator)) == 1)
        parts = both[cut].str.partition(separator)
        y[cut], x[cut] = parts[0].str.strip(), parts[2].str.strip()
        whole &= ~cut
    return x, y


def _metres(texts: pd.Series, decimal: str) -> np.ndarray:
    """Read eastings and northings: plain numbers, in the file's notation."""
    read = parse_readings(texts, kind="elevation", unit="ft", decimal=decimal)
    return read["low"].where(read["low"] == read["high"]).to_numpy(dtype=float, copy=True)


def _step_m(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the step of coordinates in metres that were rounded to tens, hundreds or thousands."""
    step = np.ones(len(x))
    for size in (10.0, 100.0, 1000.0):
        step[(x % size == 0.0) & (y % size == 0.0)] = size
    return step


def _systems(rules: PositionRules, findings: Findings, asked: np.ndarray) -> list[tuple[str, np.ndarray]]:
    """Return each coordinate system of the file, and the rows that are in it."""
    if rules.kind == "projected":
        return [(str(rules.crs), asked)]
    if rules.kind == "geometry":
        return [(findings.raw.crs or rules.crs or DATUM_CRS[rules.datum], asked)]
    datums = _datums(rules, findings, asked)
    if rules.kind == "degrees":
        return [(DATUM_CRS[datum], datums == datum) for datum in DATUM_CRS if (datums == datum).any()]
    zones = findings.texts(rules.zone)
    zones = zones.where(zones != "", rules.fixed_zone or "")
    systems = []
    pairs = (zones + "\x1f" + pd.Series(datums, index=zones.index, dtype="str")).to_numpy(dtype=object)
    for pair in sorted(set(pairs[asked])):
        zone, datum = pair.split("\x1f")
        crs = utm_crs(zone, datum) if datum else None
        if crs is not None:
            systems.append((crs, (pairs == pair) & asked))
    return systems


def _datums(rules: PositionRules, findings: Findings, asked: np.ndarray) -> np.ndarray:
    if not rules.datum_from:
        return np.where(asked, rules.datum, "").astype(object)
    texts = findings.texts(rules.datum_from)
    codes, uniques = pd.factorize(texts)
    names = {"": rules.datum} | {tidy_code(name).replace(" ", ""): name for name in DATUM_CRS}
    names |= {tidy_code(spelling).replace(" ", ""): datum for spelling, datum in rules.datums.items()}
    meanings = np.full(len(uniques), "", dtype=object)
    for number, text in enumerate(uniques):
        datum = names.get(tidy_code(text).replace(" ", "").replace("-", ""))
        rows = (codes == number) & asked
        if datum is None and rows.any():
            findings.problem(
                what=f"unknown datum in {counted(int(rows.sum()), 'row')}",
                rule=f"a datum is one of {', '.join(DATUM_CRS)}, or the layout says which one the spelling means",
                next_step=f"say what it means in the layout {findings.layout.name!r}, under positions.datums",
                code="unknown_code",
                names=rules.datum_from,
                value=str(text),
                row=int(np.argmax(rows)),
            )
        meanings[number] = datum or ""
    return np.where(asked, meanings[codes], "").astype(object)


def _method_and_error(rules: PositionRules, findings: Findings, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    count = findings.count
    method = np.full(count, rules.method, dtype=object)
    if rules.method_codes is not None:
        method = convert_codes("position_method", rules.method_codes, findings, asked)
    codes, methods = pd.factorize(method)
    error_m = np.array([METHOD_ERRORS_M[name] for name in methods], dtype=float)[codes]
    if rules.error_m is not None:
        error_m = np.full(count, rules.error_m)
    if rules.error_from:
        texts = findings.texts(rules.error_from)
        codes, uniques = pd.factorize(texts)
        given = {tidy_code(spelling): metres for spelling, metres in rules.error_codes.items()}
        metres = np.full(len(uniques), np.nan)
        for number, text in enumerate(uniques):
            if tidy_code(text) in given:
                metres[number] = given[tidy_code(text)]
            elif text and (rows := (codes == number) & asked).any():
                findings.problem(
                    what=f"unknown accuracy in {counted(int(rows.sum()), 'row')}",
                    rule="the layout gives every spelling of the accuracy in metres",
                    next_step=f"add it in the layout {findings.layout.name!r}, under positions.error_codes",
                    code="unknown_code",
                    names=rules.error_from,
                    value=str(text),
                    row=int(np.argmax(rows)),
                )
        error_m = np.where(np.isnan(metres[codes]), error_m, metres[codes])
    return method, error_m


def _land_grid(rules: PositionRules, findings: Findings, land: LandLayers | None) -> _Way:
    texts = {part: findings.texts(getattr(rules, part)) for part in ("township", "range", "section", "quarter")}
    for part, side in (("township", rules.township_side), ("range", rules.range_side)):
        if side:
            bare = texts[part].str[-1:].str.isdigit()
            texts[part] = texts[part].where(~bare, texts[part] + findings.texts(side))
    asked = ((texts["township"] != "") & (texts["range"] != "") & (texts["section"] != "")).to_numpy()
    original = "T " + texts["township"] + " R " + texts["range"] + " S " + texts["section"] + " " + texts["quarter"]
    original = original.str.strip()
    count = findings.count
    nothing = np.full(count, np.nan)
    if land is None or land.sections is None:
        if asked.any():
            findings.notes.append(
                "position: no section layer was given, so a township, range and section give no place"
            )
        asked = np.zeros(count, dtype=bool)
        return _Way(asked, nothing, nothing, np.full(count, "section", object), nothing, _no_mend(count), original)
    meridians = None
    if rules.meridian and land.sections.index.str.fullmatch(r"\S+ \S+ \S+ .+").any():
        meridians = findings.texts(rules.meridian)
        meridians = meridians.replace(rules.meridians)
    keys = section_keys(texts["township"], texts["range"], texts["section"], meridians)
    places = section_places(keys, texts["quarter"], land.sections)
    asked = asked & places["longitude"].notna().to_numpy()
    return _Way(
        asked,
        places["longitude"].to_numpy(),
        places["latitude"].to_numpy(),
        places["method"].to_numpy(dtype=object),
        places["error_m"].to_numpy(),
        np.where(places["quarter_read"], "", "unreadable_quarter").astype(object),
        original,
    )


def _parcels(rules: PositionRules, findings: Findings, land: LandLayers | None) -> _Way:
    texts = findings.texts(rules.parcel)
    count = findings.count
    nothing = np.full(count, np.nan)
    method = np.full(count, "parcel", dtype=object)
    if land is None or land.parcels is None:
        if (texts != "").any():
            findings.notes.append("position: no parcel layer was given, so a parcel's number gives no place")
        return _Way(np.zeros(count, bool), nothing, nothing, method, nothing, _no_mend(count), texts)
    codes, uniques = pd.factorize(texts)
    found = land.parcels.reindex([parcel_key(text) for text in uniques]).to_numpy()[codes]
    columns = {name: found[:, number] for number, name in enumerate(land.parcels.columns)}
    error_m = MEAN_DISTANCE_IN_SQUARE * np.sqrt(columns["area_m2"])
    asked = (texts != "").to_numpy() & np.isfinite(columns["longitude"])
    return _Way(asked, columns["longitude"], columns["latitude"], method, error_m, _no_mend(count), texts)


def _no_mend(count: int) -> np.ndarray:
    return np.full(count, "", dtype=object)
