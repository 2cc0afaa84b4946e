"""What follows a bid: the estimate is kept, the drilled well filed, and the two held against each other.

The table ``[outcomes]`` of the settings says where. Both hold private
records: nothing of them is written anywhere else.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from wellrecords.bid import Bid
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.filing_doubts import doubts_of, kept_lots_said, known_lot, miles_off, outside_bounds
from wellrecords.outcomes import (
    FILED_AT,
    OUTCOME_COLUMNS,
    Account,
    EstimateRecord,
    OutcomesSettings,
    account,
    compare_outcomes,
    event_table,
    file_well,
    hash_inputs,
    make_estimate_record,
    no_outcomes,
    read_estimates,
    read_outcomes,
    sentences_for_well,
    take_back,
    write_estimate,
)
from wellrecords.outcomes.drilled_well import checked_well
from wellrecords.outcomes.estimates import latest_before, of_lot
from wellrecords.output import write_whole
from wellrecords.store import read_manifest

if TYPE_CHECKING:
    from wellrecords.jobs import LotJob
    from wellrecords.settings import Settings

_MADE_FROM = ("estimate", "demand", "construction", "water_system")
"""The tables of the settings that an estimate and its bid are made from, the bid's own aside."""


def estimates_folder(settings: Settings) -> Path:
    """Return the folder of kept estimates.

    Raises
    ------
    WellRecordsError
        Where the settings name none.
    """
    return _named(settings, "estimates", "the folder of kept estimates")


def keep_estimates(settings: Settings, jobs: Sequence[LotJob], *, given_on: date) -> list[Path]:
    """Keep what was said about each lot, to be held against the well that is drilled there.

    Parameters
    ----------
    settings : Settings
        ``[outcomes] estimates`` names the folder.
    jobs : sequence of LotJob
    given_on : datetime.date

    Returns
    -------
    list of pathlib.Path
        A file a lot; the same estimate twice on one day is one file.

    Raises
    ------
    WellRecordsError
        Where the settings name no folder, or it cannot be written.
    """
    folder = estimates_folder(settings)
    common = _inputs(settings)
    kept = []
    for job in jobs:
        record = make_estimate_record(
            job.estimate,
            job.bid if isinstance(job.bid, Bid) else None,
            given_on=given_on,
            kept_at=datetime.now(UTC),
            inputs_hash=hash_inputs(common | {"lot": job.lot_id, "household": job.demand.model_dump(mode="json")}),
        )
        kept.append(write_estimate(folder, record))
    return kept


def read_well(path: str | Path) -> dict[str, str]:
    """Read the fields of one drilled well from a file.

    Parameters
    ----------
    path : path
        TOML with a key a field, or CSV with a header and one row; the fields
        are those of `outcomes.DrilledWell`, in any case, a blank for a `_`.

    Returns
    -------
    dict of str to str
        As written; what is blank is left out.

    Raises
    ------
    WellRecordsError
        If it is absent, unreadable, or holds more or less than one well.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
        fields = tomllib.loads(text) if path.suffix.lower() == ".toml" else _one_row(text, path)
    except FileNotFoundError as error:
        msg = f"There is no file {path}. Next: name a CSV of one row or a TOML file with the fields of the well."
        raise WellRecordsError(msg) from error
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, csv.Error) as error:
        msg = f"The file {path} cannot be read: {error}. Next: save it as CSV of one row, or as TOML, in UTF-8."
        raise WellRecordsError(msg) from error
    written = {_as_field(name): _as_written(value) for name, value in fields.items()}
    return {name: value for name, value in written.items() if value}


def write_form(path: Path) -> Path:
    """Write an empty form for `read_well`: a CSV with the fields of a well as its first line.

    Raises
    ------
    WellRecordsError
        Where such a file stands, or it cannot be written.
    """
    if path.exists():
        msg = f"The file {path} stands already and is not overwritten. Next: name another file for the form."
        raise WellRecordsError(msg)
    # The mark at the start makes spreadsheets read it as UTF-8.
    return write_whole(path, (",".join(OUTCOME_COLUMNS) + "\n").encode("utf-8-sig"))


def file_and_compare(settings: Settings, fields: Mapping[str, str], *, sure: bool = False) -> tuple[Path, list[str]]:
    """File a drilled well in the firm's log, and say how it came out against its estimate.

    Parameters
    ----------
    settings : Settings
        ``[outcomes] file`` names the log.
    fields : mapping of str to str
        Of `outcomes.DrilledWell`.
    sure : bool, default=False
        File it although something of it is doubted (`filing_doubts`): a
        figure that is hardly true, its place far from its lot, or a well that
        stands in the log already.

    Returns
    -------
    (pathlib.Path, list of str)
        The log, and the comparison in plain sentences.

    Raises
    ------
    ProblemsError
        Every fault of the well at once, or what is doubted of it; nothing is filed.
    WellRecordsError
        Where the settings name no log, or it cannot be written.
    """
    table = settings.part("outcomes", OutcomesSettings)
    log = _named(settings, "file", "the firm's log of drilled wells")
    well = checked_well(dict(fields))
    # Read before the filing: a log or an estimate that cannot be read is told while nothing is changed.
    filed = read_outcomes(log) if log.exists() else no_outcomes()
    estimates = [] if table.estimates is None else read_estimates(table.estimates)
    typed_lot, lot_id = well.lot_id, known_lot(settings, well.lot_id, estimates)
    well = well.model_copy(update={"lot_id": lot_id})
    if not sure and (doubts := doubts_of(settings, well, filed, estimates)):
        raise ProblemsError(doubts, "The well is not filed yet")
    file_well(log, well)
    spelled = [f"Lot {typed_lot} is filed as {lot_id}."] if lot_id != typed_lot else []
    learns = [*_held_back_at(settings, well.longitude, well.latitude), *_way_into_dataset(settings, log)]
    if table.estimates is None:
        nothing = "The settings name no folder of kept estimates ([outcomes] estimates): nothing to compare."
        return log, [*spelled, nothing, *learns]
    outcomes, well_id = read_outcomes(log), well.well_id
    comparison = compare_outcomes(outcomes, estimates, level=table.level)
    told = place_notes(outcomes, estimates, well_id)
    return log, [*spelled, *told, *sentences_for_well(comparison, event_table(outcomes, estimates), well_id), *learns]


def take_well_back(settings: Settings, well_id: str) -> tuple[Path, Path, list[str]]:
    """Move a filed well out of the firm's log.

    Parameters
    ----------
    settings : Settings
        ``[outcomes] file`` names the log.
    well_id : str

    Returns
    -------
    (pathlib.Path, pathlib.Path, list of str)
        The log, the file to which its line went, and what follows in plain sentences.

    Raises
    ------
    WellRecordsError
        Where the settings name no log, it does not hold the well, or it cannot be written.
    """
    log = _named(settings, "file", "the firm's log of drilled wells")
    beside = take_back(log, well_id)
    told = ["To undo this, move the line back into the log."]
    if _is_source(settings, log):
        told.append("The dataset knows it until the next refresh.")
        if sum(bool(line.strip()) for line in log.read_bytes().splitlines()) == 1:
            # A refresh refuses a source without a row, so that no dataset is replaced by an empty one.
            told.append("The log holds no well now: take its [[sources]] out of the settings until one is filed.")
    return log, beside, told


def _is_source(settings: Settings, log: Path) -> bool:
    return any(source.file.resolve() == log.resolve() for source in settings.sources)


def _held_back_at(settings: Settings, longitude: float, latitude: float) -> list[str]:
    outside = outside_bounds(settings.region, longitude, latitude)
    if outside is None:
        return []
    return [f"The well stands {outside}: widen `bounds` under [region], or the next refresh holds it back."]


def _way_into_dataset(settings: Settings, log: Path) -> list[str]:
    """Say how filed wells come into the dataset, where the log is no source of it yet."""
    if _is_source(settings, log):
        return []
    return [
        f"To let the next estimates learn from filed wells, add the log to the settings: [[sources]] with "
        f'file = "{log}" and layout = "firm_outcomes".'
    ]


def place_notes(outcomes: pd.DataFrame, estimates: Sequence[EstimateRecord], well_id: str) -> list[str]:
    """Return what is odd about the lot of a filed well: no estimate of it, one too late, or one of another place.

    Parameters
    ----------
    outcomes : DataFrame
        From `read_outcomes`.
    estimates : sequence of EstimateRecord
    well_id : str
    """
    well = outcomes[outcomes["well_id"] == well_id].iloc[-1]
    lot_id, drilled_on = str(well["lot_id"]), well["drilled_on"].date()
    kept = of_lot(estimates, lot_id)
    if not kept:
        named = f"; kept are {kept_lots_said(estimates)}" if estimates else "; none is kept of any lot"
        asked = f"a lot {lot_id}" if lot_id else "its lot, as the well names none,"
        return [f"No estimate of {asked} is kept{named}."]
    record = latest_before(estimates, lot_id, drilled_on, well[FILED_AT])
    if record is None:
        first = min(kept, key=lambda one: one.given_on).given_on
        if first <= drilled_on:
            return [
                f"The estimate of lot {lot_id} was kept on the day of drilling, {first}, and "
                + (
                    f"the log does not say when a well was filed: it is not counted. Next: add the column {FILED_AT} "
                    "to the log's first line, for the wells to come."
                    if pd.isna(well[FILED_AT])
                    else "does not say at what time, or was kept after the well was filed: it is not counted."
                )
            ]
        return [
            f"The estimate of lot {lot_id} was kept on {first}, after the well was drilled on {drilled_on}: an "
            "estimate counts only if it was given by the day of drilling, before the well is filed. Is the date of "
            "drilling right?"
        ]
    if record.longitude is None or record.latitude is None:
        return []
    miles = miles_off((record.longitude, record.latitude), well["longitude"], well["latitude"])
    return [] if miles is None else [f"The well stands {miles} miles from lot {lot_id}."]


def take_account(settings: Settings) -> Account:
    """Hold every filed well against its estimate.

    Raises
    ------
    WellRecordsError
        Where the settings name no log or no folder of estimates, or one of them cannot be read.
    """
    log = _named(settings, "file", "the firm's log of drilled wells")
    return account(log, estimates_folder(settings), settings.part("outcomes", OutcomesSettings))


def _named(settings: Settings, key: str, what: str) -> Path:
    path = getattr(settings.part("outcomes", OutcomesSettings), key)
    if path is None:
        msg = f"The settings {settings.settings_file} do not name {what}. Next: set it as `{key}` under [outcomes]."
        raise WellRecordsError(msg)
    return Path(path)


def _inputs(settings: Settings) -> dict[str, Any]:
    """Return what all estimates of a run are made from, without the places of files."""
    prices = dict(settings.bid)
    book = prices.pop("price_book", None)
    return {
        "dataset": read_manifest(settings.region.store)["fingerprint"],
        "settings": {name: getattr(settings, name) for name in _MADE_FROM} | {"bid": prices},
        "price_book": Path(book).read_text(encoding="utf-8-sig") if book else None,
    }


def _one_row(text: str, path: Path) -> dict[str, Any]:
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    rows = [row for row in csv.DictReader(text.splitlines(), delimiter=delimiter) if any(row.values())]
    if len(rows) != 1 or None in rows[0]:
        what = f"{len(rows)} wells" if len(rows) != 1 else "more cells than columns"
        msg = (
            f"The file {path} holds {what}. Next: give one well, a header and a row below it, as in the empty form "
            f"that --form writes; the columns are {', '.join(OUTCOME_COLUMNS)}."
        )
        raise WellRecordsError(msg)
    return rows[0]


def _as_field(name: str) -> str:
    """Return a heading as the log has it, where it differs by case or blanks alone."""
    plain = "_".join(str(name).lower().split())
    return plain if plain in OUTCOME_COLUMNS else str(name)


def _as_written(value: Any) -> str:
    """Return a cell, or a value of TOML, as the log writes it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value).strip()
