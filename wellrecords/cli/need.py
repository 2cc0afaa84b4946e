"""The verb on the need: how much water a household takes, and what a yield does for it."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

import typer

from wellrecords.cli.common import SettingsFile, load, number
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.terminal import plain, show_table
from wellrecords.typed_numbers import typed_number

Number = float | None
OPTIONS = {
    "persons": "--persons",
    "bedrooms": "--bedrooms",
    "lawn_area_ft2": "--lawn-ft2",
    "garden_area_ft2": "--garden-ft2",
    "watering_every_days": "--watering-every-days",
    "watering_hours": "--watering-hours",
}
SHOWN_YIELDS_GPM = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)


def need(
    settings_file: SettingsFile,
    persons: Annotated[
        Number,
        typer.Option("--persons", parser=number, metavar="NUMBER", help="People in the house, over the settings."),
    ] = None,
    bedrooms: Annotated[
        Number,
        typer.Option("--bedrooms", parser=number, metavar="NUMBER", help="Or bedrooms, where the permit counts them."),
    ] = None,
    lawn_ft2: Annotated[
        Number, typer.Option("--lawn-ft2", parser=number, metavar="FT2", help="Lawn that the well waters.")
    ] = None,
    garden_ft2: Annotated[
        Number, typer.Option("--garden-ft2", parser=number, metavar="FT2", help="Garden that the well waters.")
    ] = None,
    watering_every_days: Annotated[
        Number,
        typer.Option(
            "--watering-every-days", parser=number, metavar="DAYS", help="From one watering by sprinklers to the next."
        ),
    ] = None,
    watering_hours: Annotated[
        Number, typer.Option("--watering-hours", parser=number, metavar="HOURS", help="Within which one is given.")
    ] = None,
    livestock: Annotated[
        list[str] | None, typer.Option("--livestock", metavar="KIND=HEADS", help="As horse=2 (repeatable).")
    ] = None,
    yield_gpm: Annotated[
        Number, typer.Option("--yield-gpm", parser=number, metavar="GPM", help="Say what a well of this yield will do.")
    ] = None,
    in_well_gal: Annotated[
        float,
        typer.Option(
            "--in-well-gal",
            parser=number,
            metavar="GALLONS",
            help="Usable gallons standing in the well; some 1.5 a foot in 6 inches.",
        ),
    ] = 0.0,
) -> None:
    """Say the water needed, and what tank a yield wants.

    The settings' [demand] is the household, unless the options say another.
    No record of a well is read.
    """
    from wellrecords.checked import checked
    from wellrecords.demand import DemandSettings, household_need
    from wellrecords.demand_storage import yield_storage_table
    from wellrecords.demand_words import (
        describe_yield,
        gallons,
        need_facts,
        tank_cell,
        tank_rule,
        what_this_well_needs,
        what_to_ask_for,
        yields_needed,
    )
    from wellrecords.water_system import WaterSystemSettings

    settings = load(settings_file)
    given = {
        "persons": persons,
        "bedrooms": bedrooms,
        "lawn_area_ft2": lawn_ft2,
        "garden_area_ft2": garden_ft2,
        "watering_every_days": watering_every_days,
        "watering_hours": watering_hours,
    }
    wishes: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    if livestock:
        wishes["livestock"] = dict(_heads(text) for text in livestock)
    if persons is not None and bedrooms is not None:
        msg = "--persons and --bedrooms were both given. Rule: each alone says how large the house is. Next: give one."
        raise WellRecordsError(msg)
    base = settings.part("demand", DemandSettings).model_dump()
    if {"persons", "bedrooms"} & set(wishes):
        base |= {"persons": None, "bedrooms": None}
    for option, value in (("--yield-gpm", yield_gpm), ("--in-well-gal", in_well_gal)):
        if value is not None and not 0 <= value < 1e6:
            msg = f"{option} must be 0 or more, not {value:g}. Next: give another number, or leave the option out."
            raise WellRecordsError(msg)
    try:
        household = checked(DemandSettings, base | wishes, settings_file)
    except ProblemsError as error:
        raise _by_options(error) from error
    try:
        asked = household_need(household)
    except ProblemsError as error:
        raise _by_options(error) from error
    water_system = settings.part("water_system", WaterSystemSettings)
    for label, text in need_facts(household):
        typer.echo(f"{plain(label)}: {text}")
    for sentence in yields_needed(asked):
        typer.echo(sentence)
    typer.echo()

    served = "house, animals" if asked.livestock_gal_day else "house"
    yields = sorted({*SHOWN_YIELDS_GPM, *([yield_gpm] if yield_gpm else [])})
    table = yield_storage_table(asked, yields, in_well_gal)
    rows = [
        {
            "yield": f"{row.yield_gpm:g} gpm",
            "makes a day": f"{gallons(row.gal_per_day)} gal",
            f"tank, {served}": tank_cell(row.house_tank_gal, water_system),
        }
        | (
            {f"tank, {served}, garden": tank_cell(row.summer_tank_gal, water_system)}
            if asked.irrigation_gal_day
            else {}
        )
        for row in table.itertuples()
    ]
    show_table(rows, right=list(rows[0]))
    typer.echo(tank_rule(water_system))
    if yield_gpm is not None:
        for sentence in describe_yield(yield_gpm, asked, water_system, in_well_gal):
            typer.echo(sentence)
        answer = what_this_well_needs(yield_gpm, asked, SHOWN_YIELDS_GPM, water_system, in_well_gal)
    else:
        answer = what_to_ask_for(asked, SHOWN_YIELDS_GPM, water_system, in_well_gal)
    typer.echo(answer)


def _by_options(error: ProblemsError) -> ProblemsError:
    """Return the faults of a household with the options by which it is given."""
    named = [
        replace(problem, file=None, column=OPTIONS[problem.column], next_step="give another value, or leave it out")
        if problem.column in OPTIONS
        else problem
        for problem in error.problems
    ]
    return ProblemsError(named, "The need cannot be said")


def _heads(text: str) -> tuple[str, float]:
    kind, equals, heads = text.partition("=")
    try:
        if kind and equals:
            return kind, typed_number(heads)
    except ValueError:
        pass
    msg = f"--livestock {text!r} is not KIND=HEADS. Next: write it as --livestock horse=2."
    raise WellRecordsError(msg)
