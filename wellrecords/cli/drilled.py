"""The verbs on drilled wells: file one, and see how the estimates have held."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from wellrecords.cli.common import SettingsFile, load, place_of
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.terminal import plain, short, show_account

if TYPE_CHECKING:
    from wellrecords.settings import Settings

Text = str | None
OPTIONS = {
    "well_id": "--well-id",
    "lot_id": "--lot",
    "drilled_on": "--drilled-on",
    "longitude": "--at",
    "latitude": "--at",
    "longitude, latitude": "--at",
    "total_depth_ft": "--depth-ft",
    "depth_to_bedrock_ft": "--rock-ft",
    "depth_to_water_ft": "--water-ft",
    "yield_gpm": "--yield-gpm",
    "cost_usd": "--cost-usd",
    "billed_usd": "--billed-usd",
}
"""Field of the log -> the option that gives it."""


def file_well(
    settings_file: SettingsFile,
    from_file: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE", help="The well as a CSV of one row or a TOML file; see --form."),
    ] = None,
    well_id: Annotated[
        Text, typer.Option("--well-id", metavar="NUMBER", help="The firm's own number of the well.")
    ] = None,
    lot: Annotated[
        Text, typer.Option("--lot", metavar="LOT_ID", help="Its lot, which ties it to its estimate.")
    ] = None,
    drilled_on: Annotated[
        Text, typer.Option("--drilled-on", metavar="DATE", help="As 2026-05-31 or 5/31/2026.")
    ] = None,
    at: Annotated[Text, typer.Option("--at", metavar="LON,LAT", help="In degrees, as --at=-70.05,45.21.")] = None,
    depth_ft: Annotated[
        Text, typer.Option("--depth-ft", metavar="FEET", help="Depth of the finished hole: 305 or 305'.")
    ] = None,
    rock_ft: Annotated[
        Text, typer.Option("--rock-ft", metavar="FEET", help="Depth to rock: 42, or none: not reached.")
    ] = None,
    water_ft: Annotated[
        Text, typer.Option("--water-ft", metavar="FEET", help="Depth to water at rest: 18, or flowing.")
    ] = None,
    yield_gpm: Annotated[Text, typer.Option("--yield-gpm", metavar="GPM", help="6, '<0.5', '100+', or 0: dry.")] = None,
    cost_usd: Annotated[Text, typer.Option("--cost-usd", metavar="DOLLARS", help="What the job cost the firm.")] = None,
    billed_usd: Annotated[Text, typer.Option("--billed-usd", metavar="DOLLARS", help="What the customer paid.")] = None,
    field: Annotated[
        list[str] | None,
        typer.Option("--field", metavar="NAME=VALUE", help="Another column of the log (repeatable)."),
    ] = None,
    form: Annotated[
        Path | None,
        typer.Option("--form", metavar="FILE", help="Write an empty form for --from, a CSV, and file nothing."),
    ] = None,
    take_back: Annotated[
        Text,
        typer.Option("--take-back", metavar="NUMBER", help="Take a filed well out of the log again; nothing is lost."),
    ] = None,
    sure: Annotated[
        bool, typer.Option("--sure", help="File it although a figure, its place or its lot is doubted.")
    ] = False,
) -> None:
    """File a drilled well and hold it against its estimate.

    The well is added to the firm's log; no line that stands in it is
    changed. Where an estimate of the lot was kept (--keep) before it was
    drilled, the two are compared. An option wins over the file (--from).

    Fields of a file and of --field: well_id, lot_id, drilled_on, longitude,
    latitude, position_method, record_kind, well_use, drilling_method,
    total_depth_ft, casing_depth_ft, casing_diameter_in, depth_to_bedrock_ft,
    depth_to_water_ft, yield_gpm, yield_method, hydrofractured, main_rock,
    water_zones, layers, cost_usd, billed_usd, notes.

    A well filed wrongly is taken back with --take-back and its number: its
    line is moved out of the log to a file beside it, drilled_taken_back.csv
    where the log is drilled.csv.
    """
    from wellrecords.follow_up import file_and_compare, read_well, write_form

    if form is not None:
        typer.echo(f"Form: {short(write_form(form))}; fill in a row below its first line and file it with --from.")
        return
    settings = load(settings_file)
    if take_back is not None:
        given_too = (from_file, well_id, lot, drilled_on, at, depth_ft, rock_ft, water_ft, yield_gpm, cost_usd)
        _take_back(settings, take_back, alone=not any((*given_too, billed_usd, field)))
        return
    fields = read_well(from_file) if from_file is not None else {}
    longitude, latitude = map(str, place_of(at, settings.region)) if at is not None else (None, None)
    given = {
        "well_id": well_id,
        "lot_id": lot,
        "drilled_on": drilled_on,
        "longitude": longitude,
        "latitude": latitude,
        "total_depth_ft": depth_ft,
        "depth_to_bedrock_ft": rock_ft,
        "depth_to_water_ft": water_ft,
        "yield_gpm": yield_gpm,
        "cost_usd": cost_usd,
        "billed_usd": billed_usd,
    }
    fields |= {name: value for name, value in given.items() if value is not None} | _pairs(field)
    try:
        log, sentences = file_and_compare(settings, fields, sure=sure)
    except ProblemsError as error:
        raise _by_options(error) from error
    number = plain(fields["well_id"].strip())
    typer.echo(f"Filed: {number} in {short(log)} (to take it back: --take-back {quote(number)})")
    for sentence in sentences:
        typer.echo(plain(sentence))


def outcomes(settings_file: SettingsFile) -> None:
    """Show how the estimates have held, and warn of drift.

    Every filed well is held against the last estimate that was kept before
    it was drilled: how often the 80 % intervals and the chances came true,
    what the jobs earned, and whether the estimates have begun to drift.
    """
    from wellrecords.follow_up import take_account

    show_account(take_account(load(settings_file)))


def _take_back(settings: Settings, well_id: str, *, alone: bool) -> None:
    """Take a well out of the log and say where it went."""
    from wellrecords.follow_up import take_well_back

    if not alone:
        msg = "--take-back stands alone: nothing was filed or taken back. Next: take the well back, then file it anew."
        raise WellRecordsError(msg)
    log, beside, sentences = take_well_back(settings, well_id)
    typer.echo(f"Taken back: {plain(well_id)}; its line was moved from {short(log)} to {short(beside)}.")
    for sentence in sentences:
        typer.echo(sentence)


def _by_options(error: ProblemsError) -> ProblemsError:
    """Return the faults of a well with the options by which its fields are given; a missing place is one fault."""
    named = [
        replace(problem, column=f"{OPTIONS[problem.column]} ({problem.column})")
        if problem.column in OPTIONS
        else problem
        for problem in error.problems
    ]
    missing = [problem.column for problem in error.problems if problem.code == "outcome_field" and not problem.value]
    if {"longitude", "latitude"} <= set(missing):
        named = [
            replace(problem, column="--at (longitude, latitude)") if problem.column == "--at (longitude)" else problem
            for problem in named
            if problem.column != "--at (latitude)"
        ]
    return ProblemsError(named, error.heading)


def _pairs(fields: list[str] | None) -> dict[str, str]:
    pairs = {}
    for text in fields or ():
        name, equals, value = text.partition("=")
        if not (name and equals):
            msg = f"--field {text!r} is not NAME=VALUE. Next: write it as --field casing_depth_ft=42."
            raise WellRecordsError(msg)
        pairs[name] = value
    return pairs
