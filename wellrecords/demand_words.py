"""The need for water, and what a yield does for it, in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from wellrecords.demand import DemandSettings, Need, household_need
from wellrecords.demand_storage import required_yield_gpm, storage_needed_gal, target_from_need, yield_storage_table

HEADS = {
    "beef": ("head of beef", "head of beef"),
    "dry_dairy": ("dry dairy cow", "dry dairy cows"),
    "milking_dairy": ("milking cow", "milking cows"),
    "sheep": ("sheep", "sheep"),
}
"""Kinds of livestock that are not told by their name and an s: one head, several."""


def describe_yield(
    yield_gpm: float, need: Need, in_well_gal: float = 0.0, *, smallest_tank_gal: float = 0.0
) -> tuple[str, ...]:
    """Say in plain sentences what a well of this yield will and will not do.

    Parameters
    ----------
    yield_gpm : float
    need : Need
    in_well_gal : float, default=0
        Usable gallons standing in the well.
    smallest_tank_gal : float, default=0
        Smallest storage tank on sale: nobody installs one of 20 gallons.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    >>> for sentence in describe_yield(0.5, need, in_well_gal=150): print(sentence)
    A well of 0.5 gpm makes some 720 gallons a day.
    It serves the house (300 gallons a day) with a storage tank of 110 gallons or more, beside 150 in the well.
    It will not water the 5,000 ft² of lawn and garden: with the house that takes 890 gallons a day at 1 inch a week.
    It cannot refill a tank between waterings by sprinklers (1,790 gallons every 3 days): storage will not help.
    What the house leaves, 420 gallons a day, waters some 3,500 ft² at most.
    """
    row = yield_storage_table(need, [yield_gpm], in_well_gal).iloc[0]
    sentences = [f"A well of {yield_gpm:g} gpm makes some {gallons(row.gal_per_day)} gallons a day."]
    served = "the house and the animals" if need.livestock_gal_day else "the house"
    if not row.serves_house:
        sentences.append(
            f"It does not serve {served}, with any storage: that takes {gallons(need.house_gal_day)} gallons a day."
        )
        return tuple(sentences)
    with_tank = _with_tank(row.house_tank_gal, in_well_gal, smallest_tank_gal)
    sentences.append(f"It serves {served} ({gallons(need.house_gal_day)} gallons a day){with_tank}.")
    if need.irrigated_ft2 and row.serves_summer:
        sentences.append(
            f"It also waters the {need.irrigated_ft2:,.0f} ft² of lawn and garden "
            f"({gallons(need.summer_gal_day)} gallons a day in all), spread over the day,"
            f"{_with_tank(row.summer_tank_gal, in_well_gal, smallest_tank_gal)}."
        )
        if need.watering_gal:
            sentences.append(_by_sprinklers(row, need))
        return tuple(sentences)
    if need.irrigated_ft2:
        sentences.append(
            f"It will not water the {need.irrigated_ft2:,.0f} ft² of lawn and garden: with the house that takes "
            f"{gallons(need.summer_gal_day)} gallons a day at {need.irrigation_in_per_week:g} inch a week."
        )
        sentences.append(
            f"It cannot refill a tank between waterings by sprinklers ({tank_gallons(need.watering_gal)} gallons "
            f"{_every(need.watering_every_days)}): storage will not help."
        )
    spare = row.gal_per_day - need.house_gal_day
    area = two_figures(spare / need.irrigation_gal_per_ft2_day)
    sentences.append(f"What the house leaves, {gallons(spare)} gallons a day, waters some {area:,.0f} ft² at most.")
    return tuple(sentences)


def need_facts(settings: DemandSettings) -> list[tuple[str, str]]:
    """Return the need, part by part, as label and text.

    Parameters
    ----------
    settings : DemandSettings
    """
    need = household_need(settings)
    if settings.bedrooms is not None:
        house = f"House of {settings.bedrooms:g} bedrooms, at {settings.gal_per_bedroom_day:g} gal each"
    else:
        persons = 4.0 if settings.persons is None else settings.persons
        people = "person" if persons == 1 else "people"
        house = f"House of {persons:g} {people}, at {settings.gal_per_person_day:g} gal each"
    facts = [(house, f"{gallons(need.indoor_gal_day)} gal a day")]
    if need.livestock_gal_day:
        heads = ", ".join(_heads(count, kind) for kind, count in settings.livestock.items())
        facts.append((f"Animals: {heads}", f"{gallons(need.livestock_gal_day)} gal a day"))
    if need.irrigation_gal_day:
        dry = need.months.set_index("month")["irrigation_gal_day"]
        months = [month for month, gal in dry.items() if gal > 0]
        facts += [
            (
                f"Lawn and garden, {need.irrigated_ft2:,.0f} ft² at {need.irrigation_in_per_week:g} inch a week in the "
                f"driest month, at {settings.irrigation_efficiency:.0%} efficiency (watered {months[0]} to "
                f"{months[-1]})",
                f"{gallons(need.irrigation_gal_day)} gal a day",
            ),
            ("All, in the driest month", f"{gallons(need.summer_gal_day)} gal a day"),
            (
                f"A watering by sprinklers, {_every(need.watering_every_days)} within {need.watering_hours:g} hours",
                f"{tank_gallons(need.watering_gal)} gal, {two_figures(_sprinklers_gpm(need)):g} gpm",
            ),
        ]
    return [
        *facts,
        ("Most at one moment", f"{need.peak_gpm:g} gpm"),
        (f"Most within {need.peak_hours:g} hours", f"{gallons(need.peak_gal)} gal"),
    ]


def yields_needed(need: Need) -> tuple[str, ...]:
    """Say which yields meet the need: without a tank, and at the very least.

    Parameters
    ----------
    need : Need
    """
    bare, least = (float(required_yield_gpm(need, storage)) for storage in (0.0, np.inf))
    told = [
        f"Without a storage tank the house needs {enough(bare):g} gpm, to carry {gallons(need.peak_gal)} gallons "
        f"within {need.peak_hours:g} hours; with tanks large enough, {two_figures(least):g} gpm round the clock."
    ]
    if need.irrigation_gal_day:
        bare, least = (float(required_yield_gpm(need, storage, irrigating=True)) for storage in (0.0, np.inf))
        told.append(
            f"With lawn and garden in the driest month, watered evenly over the day, it is {enough(bare):g} gpm "
            f"without a tank, {two_figures(least):g} gpm with tanks. Sprinklers, which draw the water of "
            f"{_days(need.watering_every_days)} within {need.watering_hours:g} hours, may take more storage."
        )
    return tuple(told)


def what_to_ask_for(
    need: Need, yields_gpm: Sequence[float], in_well_gal: float = 0.0, *, smallest_tank_gal: float = 0.0
) -> str:
    """Answer "what yield?" in one sentence: the least of some yields with its tank, or what needs none.

    Parameters
    ----------
    need : Need
    yields_gpm : sequence of float
        Yields that may be asked for.
    in_well_gal : float, default=0
        Usable gallons standing in the well.
    smallest_tank_gal : float, default=0
        Smallest storage tank on sale.

    Examples
    --------
    >>> what_to_ask_for(household_need(DemandSettings(persons=4)), (0.1, 0.25, 0.5, 1.0))
    'Ask for 0.25 gpm with a 270 gallon tank, or 2.5 gpm without one.'
    """
    told, asked_gpm = _what_to_ask_for(need, yields_gpm, in_well_gal, smallest_tank_gal)
    if not need.watering_gal:
        return told
    whole = sprinklers_tank_gal(yield_storage_table(need, asked_gpm, in_well_gal), need)
    if not any(whole):
        return f"{told} Sprinklers need no tank either."
    each = [
        f"{_a_tank(gal, smallest_tank_gal)} at {gpm:g} gpm" if gal > 0 else f"none at {gpm:g} gpm"
        for gpm, gal in zip(asked_gpm, whole, strict=True)
    ]
    return f"{told} With sprinklers it is {', '.join(each)}."


def what_this_well_needs(
    yield_gpm: float,
    need: Need,
    yields_gpm: Sequence[float],
    in_well_gal: float = 0.0,
    *,
    smallest_tank_gal: float = 0.0,
) -> str:
    """Answer "which tank?" for a well that makes a known yield, and what to ask for where it does not do.

    Parameters
    ----------
    yield_gpm : float
        What the well makes.
    need, yields_gpm, in_well_gal, smallest_tank_gal
        As in `what_to_ask_for`.

    Examples
    --------
    >>> need = household_need(DemandSettings(persons=4))
    >>> what_this_well_needs(3.0, need, (0.5, 1.0))
    'This well of 3 gpm needs no storage tank for the house.'
    """
    row = yield_storage_table(need, [yield_gpm], in_well_gal)
    more = what_to_ask_for(need, yields_gpm, in_well_gal, smallest_tank_gal=smallest_tank_gal)
    well, house = (
        f"This well of {yield_gpm:g} gpm",
        "the house and the animals" if need.livestock_gal_day else "the house",
    )
    if not row["serves_house"].iloc[0]:
        return f"{well} does not serve {house}. {more}"

    def tank(gal: float) -> str:
        return _a_tank(gal, smallest_tank_gal, "storage tank") if gal > 0 else "no storage tank"

    served = f"{well} needs {tank(row['house_tank_gal'].iloc[0])} for {house}"
    if not need.irrigation_gal_day:
        return f"{served}."
    if not row["serves_summer"].iloc[0]:
        return f"{served}. To water lawn and garden too: {more[0].lower()}{more[1:]}"
    watered, by_sprinklers = tank(row["summer_tank_gal"].iloc[0]), tank(sprinklers_tank_gal(row, need)[0])
    if served.endswith(f"needs {watered} for {house}"):
        return f"{served}, lawn and garden, {by_sprinklers} with sprinklers."
    return f"{served}, {watered} with lawn and garden, {by_sprinklers} with sprinklers."


def sprinklers_tank_gal(table: pd.DataFrame, need: Need) -> list[float]:
    """Return the tank for house and sprinklers, as the sum of the two rounded volumes that the sentences name.

    Parameters
    ----------
    table : DataFrame
        From `yield_storage_table`.
    need : Need

    Returns
    -------
    list of float
        Gallons; infinite where the well cannot refill a tank between waterings.
    """
    return [
        _up_to_ten(row.house_tank_gal) + sum(_on_top(row, need)[1:]) if row.serves_summer else np.inf
        for row in table.itertuples()
    ]


def _what_to_ask_for(
    need: Need, yields_gpm: Sequence[float], in_well_gal: float, smallest_tank_gal: float
) -> tuple[str, list[float]]:
    """Return the answer, and the yields that it names."""
    bare = target_from_need(need)
    watered = bool(need.irrigation_gal_day)
    table = yield_storage_table(need, [*(value for value in sorted(yields_gpm) if value < bare), bare], in_well_gal)
    tanks = table["summer_tank_gal" if watered else "house_tank_gal"]
    least = table.loc[np.isfinite(tanks)].iloc[0]
    tank_gal = float(tanks[least.name])
    served = " for house and garden" if watered else ""
    if least["yield_gpm"] >= bare:
        return f"Ask for {bare:g} gpm{served}: less than that does not do, with any tank.", [bare]
    least_gpm = float(least["yield_gpm"])
    if tank_gal <= 0:
        return f"Ask for {least_gpm:g} gpm{served}: it needs no tank beside the water in the well.", [least_gpm]
    with_tank = _a_tank(tank_gal, smallest_tank_gal)
    return f"Ask for {least_gpm:g} gpm with {with_tank}{served}, or {bare:g} gpm without one.", [least_gpm, bare]


def gallons(value_gal: float) -> str:
    """Return a volume as a person says it: whole below 100, then to 10 gallons, from 1,000 on to two figures.

    >>> gallons(893.6), gallons(11232.0), gallons(24.0)
    ('890', '11,000', '24')
    """
    if value_gal >= 1000:
        return f"{two_figures(value_gal):,.0f}"
    return f"{10 * round(value_gal / 10):g}" if value_gal >= 100 else f"{value_gal:.0f}"


def tank_gallons(value_gal: float) -> str:
    """Return a tank's volume, rounded up to 10 gallons.

    >>> tank_gallons(101.2)
    '110'
    """
    return f"{_up_to_ten(value_gal):,.0f}"


def enough(flow_gpm: float) -> float:
    """Round a flow up to a tenth of a gallon a minute: 3.1 does not do where 3.125 are needed.

    >>> enough(3.125), enough(2.5)
    (3.2, 2.5)
    """
    return float(np.ceil(10.0 * flow_gpm - 1e-9) / 10.0)


def two_figures(value: float) -> float:
    """Round to two significant figures."""
    return float(f"{value:.2g}")


def _up_to_ten(value_gal: float) -> float:
    """Round a volume up to 10 gallons; a millionth, to which tanks are reckoned, asks for no more."""
    return 10.0 * float(np.ceil(value_gal / 10.0 - 1e-6))


def _down_to_ten(value_gal: float) -> float:
    return 10.0 * float(np.floor(value_gal / 10.0 + 1e-6))


def _with_tank(tank_gal: float, in_well_gal: float, smallest_tank_gal: float) -> str:
    if tank_gal > 0:
        beside = f", beside {gallons(in_well_gal)} in the well" if in_well_gal else ""
        sold = f" (the smallest sold holds {smallest_tank_gal:,g})" if tank_gal < smallest_tank_gal else ""
        return f" with a storage tank of {tank_gallons(tank_gal)} gallons or more{sold}{beside}"
    return " without a storage tank"


def _a_tank(tank_gal: float, smallest_tank_gal: float, name: str = "tank") -> str:
    if tank_gal < smallest_tank_gal:
        return f"the smallest {name} sold ({smallest_tank_gal:,g} gallons, where {tank_gallons(tank_gal)} would do)"
    told = tank_gallons(tank_gal)
    return f"{'an' if told.startswith(('8', '11,', '18,')) else 'a'} {told} gallon {name}"


def _heads(count: float, kind: str) -> str:
    """Return heads of a kind as a person says them.

    >>> _heads(2, "horse"), _heads(1, "milking_dairy"), _heads(3, "sheep")
    ('2 horses', '1 milking cow', '3 sheep')
    """
    name = kind.replace("_", " ")
    one, several = HEADS.get(kind, (name, name if name.endswith("s") else f"{name}s"))
    return f"{count:g} {one if count == 1 else several}"


def _sprinklers_gpm(need: Need) -> float:
    return need.watering_gal / (60.0 * need.watering_hours)


def _every(days: int) -> str:
    return "every day" if days == 1 else f"every {_days(days)}"


def _days(days: int) -> str:
    return "a day" if days == 1 else f"{days} days"


def _on_top(row: Any, need: Need) -> tuple[float, float, float]:
    """Return what the well gives to a watering, the storage for the rest of it, and that in place of the well's water.

    The well's share is rounded down and the others up to 10 gallons, so that what is taken, given and stored adds up
    as it is printed.
    """
    of_the_well_gal = float(storage_needed_gal(row.yield_gpm, need)) - row.house_tank_gal
    short_gal = row.watering_storage_gal - of_the_well_gal
    if short_gal <= 1e-5:
        return row.yield_gpm * 60.0 * need.watering_hours, 0.0, _up_to_ten(of_the_well_gal)
    given_gal = _down_to_ten(need.watering_gal - short_gal)
    return given_gal, _up_to_ten(need.watering_gal) - given_gal, _up_to_ten(of_the_well_gal)


def _by_sprinklers(row: Any, need: Need) -> str:
    """Say what a watering by sprinklers takes, what the well makes meanwhile, and the storage for the rest."""
    given_gal, short_gal, of_the_well_gal = _on_top(row, need)
    makes_gal = _down_to_ten(row.yield_gpm * 60.0 * need.watering_hours)
    beside_house = " beyond what the house draws" if short_gal and given_gal < makes_gal else ""
    takes = (
        f"A watering by sprinklers takes {tank_gallons(need.watering_gal)} gallons, "
        f"{_every(need.watering_every_days)} within {need.watering_hours:g} hours; in that time the well makes "
        f"{f'{given_gal:,.0f}' if short_gal else gallons(given_gal)}{beside_house}"
    )
    in_place = "in place of the water in the well, which is drawn down by then"
    if short_gal:
        more = f", and {of_the_well_gal:,.0f} {in_place}" if of_the_well_gal else ""
        return f"{takes}: {short_gal:,.0f} gallons of storage on top of the house's{more}."
    if of_the_well_gal:
        return f"{takes}: {of_the_well_gal:,.0f} gallons of storage on top of the house's, {in_place}."
    return f"{takes}: no storage on top of the house's."
