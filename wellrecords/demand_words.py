"""The need for water, and what a yield does for it, in plain words.

A storage tank is named by the size to buy (`water_system.storage_tanks`) and
by the gallons that are needed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from wellrecords.demand import DemandSettings, Need, household_need
from wellrecords.demand_storage import required_yield_gpm, target_from_need, yield_storage_table
from wellrecords.units import MIN_PER_DAY
from wellrecords.water_system import WaterSystemSettings, storage_tanks

NOT_ENOUGH = "too little"
NO_TANK = "none"
"""What stands in a table of tanks where no tank is enough, and where none is needed."""

MOST_HOUSE_WELL_GPM = 20.0
"""More than this round the clock is the work of an irrigation well or a town's, not of a house well."""
GOOD_HOUSE_WELL_GPM = 10.0
"""What such a well waters is said in its place."""

HEADS = {
    "beef": ("head of beef", "head of beef"),
    "dry_dairy": ("dry dairy cow", "dry dairy cows"),
    "milking_dairy": ("milking cow", "milking cows"),
    "sheep": ("sheep", "sheep"),
}
"""Kinds of livestock that are not told by their name and an s: one head, several."""


def describe_yield(
    yield_gpm: float, need: Need, settings: WaterSystemSettings, in_well_gal: float = 0.0
) -> tuple[str, ...]:
    """Say in plain sentences what a well of this yield will and will not do.

    Parameters
    ----------
    yield_gpm : float
    need : Need
    settings : WaterSystemSettings
        The tanks on sale, and their margin.
    in_well_gal : float, default=0
        Usable gallons standing in the well.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> need = household_need(DemandSettings(persons=4, lawn_area_ft2=5000))
    >>> for sentence in describe_yield(0.5, need, WaterSystemSettings()): print(sentence)
    A well of 0.5 gpm makes some 720 gallons a day.
    It serves the house (300 gallons a day) with a 300 gallon storage tank (240 needed, and 25% over).
    It will not water the 5,000 ft² of lawn and garden: with the house that takes 890 gallons a day at 1 inch a week.
    It cannot refill a tank between waterings by sprinklers (1,790 gallons every 3 days): storage will not help.
    What the house leaves, 420 gallons a day, waters some 3,500 ft² at most, with storage for it.
    """
    if yield_gpm <= 0:
        return (f"A well of 0 gpm is a dry hole: it makes no water, and serves {_house(need)} with no storage.",)
    row = yield_storage_table(need, [yield_gpm], in_well_gal).iloc[0]
    sentences = [f"A well of {yield_gpm:g} gpm makes some {gallons(row.gal_per_day)} gallons a day."]
    served = _house(need)
    if not row.serves_house:
        sentences.append(
            f"It does not serve {served}, with any storage: that takes {needed_gallons(need.house_gal_day)} gallons a "
            "day."
        )
        return tuple(sentences)
    with_tank = _with_tank(row.house_tank_gal, in_well_gal, settings)
    sentences.append(f"It serves {served} ({needed_gallons(need.house_gal_day)} gallons a day){with_tank}.")
    if need.irrigated_ft2 and row.serves_summer:
        sentences.append(
            f"It also waters the {need.irrigated_ft2:,.0f} ft² of lawn and garden "
            f"({needed_gallons(need.summer_gal_day)} gallons a day in all)"
            f"{_with_tank(row.summer_tank_gal, in_well_gal, settings)}."
        )
        if need.watering_gal:
            makes = gallons(yield_gpm * 60.0 * need.watering_hours)
            without_tank = row.summer_tank_gal <= 0 and need.sprinklers_gpm > need.peak_gpm
            pump = f"; the pump must deliver {enough(need.sprinklers_gpm):g} gpm" if without_tank else ""
            sentences.append(
                f"That is for waterings of {tank_gallons(need.watering_gal)} gallons, {watering_times(need)}, "
                f"in which the well makes {makes}{pump}."
            )
        return (*sentences, *_why_less_than_a_tank(in_well_gal, row.house_tank_gal, row.summer_tank_gal))
    if need.irrigated_ft2:
        sentences.append(
            f"It will not water the {need.irrigated_ft2:,.0f} ft² of lawn and garden: with the house that takes "
            f"{needed_gallons(need.summer_gal_day)} gallons a day at {need.irrigation_in_per_week:g} inch a week."
        )
        sentences.append(
            f"It cannot refill a tank between waterings by sprinklers ({tank_gallons(need.watering_gal)} gallons "
            f"{_every(need.watering_every_days)}): storage will not help."
        )
    spare = row.gal_per_day - need.house_gal_day
    area = two_figures(spare / need.irrigation_gal_per_ft2_day)
    leave = "leave" if need.livestock_gal_day else "leaves"
    sentences.append(
        f"What {served} {leave}, {gallons(spare)} gallons a day, waters some {area:,.0f} ft² at most, "
        "with storage for it."
    )
    return (*sentences, *_why_less_than_a_tank(in_well_gal, row.house_tank_gal))


def watering_times(need: Need) -> str:
    """Say when lawn and garden are taken to be watered.

    >>> watering_times(household_need(DemandSettings(lawn_area_ft2=5000)))
    "every 3 days within 4 hours right before or after the house's peak"

    Parameters
    ----------
    need : Need
    """
    when = f"{_every(need.watering_every_days)} within {need.watering_hours:g} hours"
    if need.watering_hours + need.peak_hours >= 24.0:
        return f"{when} outside the house's peak"
    return f"{when} right before or after the house's peak"


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
    facts = [(house, f"{needed_gallons(need.indoor_gal_day)} gal a day")]
    if need.livestock_gal_day:
        heads = ", ".join(_heads(count, kind) for kind, count in settings.livestock.items())
        facts.append((f"Animals: {heads}", f"{needed_gallons(need.livestock_gal_day)} gal a day"))
    if need.irrigation_gal_day:
        dry = need.months.set_index("month")["irrigation_gal_day"]
        months = [month for month, gal in dry.items() if gal > 0]
        facts += [
            (
                f"Lawn and garden, {need.irrigated_ft2:,.0f} ft² at {need.irrigation_in_per_week:g} inch a week in the "
                f"driest month, at {settings.irrigation_efficiency:.0%} efficiency (watered {months[0]} to "
                f"{months[-1]})",
                f"{needed_gallons(need.irrigation_gal_day)} gal a day",
            ),
            ("All, in the driest month", f"{needed_gallons(need.summer_gal_day)} gal a day"),
            (
                f"A watering by sprinklers, {_every(need.watering_every_days)} within {need.watering_hours:g} hours",
                f"{tank_gallons(need.watering_gal)} gal, {enough(need.sprinklers_gpm):g} gpm",
            ),
        ]
    return [
        *facts,
        ("Most at one moment, in the house", f"{need.peak_gpm:g} gpm"),
        (f"The house's most within {need.peak_hours:g} hours", f"{needed_gallons(need.peak_gal)} gal"),
    ]


def yields_needed(need: Need) -> tuple[str, ...]:
    """Say which yields meet the need: without a tank, and at the very least.

    Parameters
    ----------
    need : Need
    """
    bare, least = (float(required_yield_gpm(need, storage)) for storage in (0.0, np.inf))
    told = [
        f"Without a storage tank {_house(need)} need{'' if need.livestock_gal_day else 's'} {enough(bare):g} gpm, to "
        f"carry {needed_gallons(need.peak_gal)} gallons within {need.peak_hours:g} hours; with tanks large enough, "
        f"{enough_in_two_figures(least):g} gpm round the clock."
    ]
    if need.irrigation_gal_day:
        bare, least = (float(required_yield_gpm(need, storage, irrigating=True)) for storage in (0.0, np.inf))
        told.append(
            f"With lawn and garden in the driest month, watered {watering_times(need)}, it is {enough(bare):g} gpm "
            f"without a tank, {enough_in_two_figures(least):g} gpm with tanks."
        )
    return tuple(told)


def what_to_ask_for(
    need: Need, yields_gpm: Sequence[float], settings: WaterSystemSettings, in_well_gal: float = 0.0
) -> str:
    """Answer "what yield?" in one sentence: the least of some yields with its tank, or what needs none.

    With lawn and garden, what the house needs without a tank stands between
    them, or the least yield that does with the same tank.

    Parameters
    ----------
    need : Need
    yields_gpm : sequence of float
        Yields that may be asked for.
    settings : WaterSystemSettings
        The tanks on sale, and their margin.
    in_well_gal : float, default=0
        Usable gallons standing in the well.

    Examples
    --------
    >>> what_to_ask_for(household_need(DemandSettings(persons=4)), (0.1, 0.25, 0.5, 1.0), WaterSystemSettings())
    'Ask for 0.25 gpm with a 500 gallon tank (270 needed, and 25% over), or 2.5 gpm without one.'
    """
    watered = bool(need.irrigation_gal_day)
    if float(required_yield_gpm(need, np.inf, irrigating=watered)) > MOST_HOUSE_WELL_GPM:
        return _beyond_house_wells(need)
    served = f" for {_house(need)}, lawn and garden" if watered else ""
    bare, target = enough(float(required_yield_gpm(need, irrigating=watered))), target_from_need(need)
    table = yield_storage_table(
        need, sorted({*(gpm for gpm in [*yields_gpm, target] if gpm < bare), bare}), in_well_gal
    )
    table = table[np.isfinite(table["summer_tank_gal"])]
    least_gpm, least_tank_gal = float(table["yield_gpm"].iloc[0]), float(table["summer_tank_gal"].iloc[0])
    if least_gpm >= bare:
        return f"Ask for {bare:g} gpm{served}: less than that does not do, with any tank."
    if least_tank_gal <= 0:
        return f"Ask for {least_gpm:g} gpm{served}: it needs no tank beside the water in the well."
    told = f"Ask for {least_gpm:g} gpm with {_a_tank(least_tank_gal, settings)}{served}"
    between = _least_with_tank_of(target, table, settings) if least_gpm < target < bare else None
    if between is None or between[0] <= least_gpm:
        return f"{told}, or {bare:g} gpm without one."
    flow_gpm, tank_gal = between
    if tank_gal <= 0:
        return f"{told}, or {flow_gpm:g} gpm without one."
    return f"{told}, {flow_gpm:g} gpm with {_a_tank(tank_gal, settings)}, or {bare:g} gpm without one."


def _least_with_tank_of(flow_gpm: float, table: pd.DataFrame, settings: WaterSystemSettings) -> tuple[float, float]:
    """Return the least yield of a table with the tank to buy of another yield, and the gallons that it needs.

    Nobody is to drill for more than a smaller well does with the same tank.
    """
    size, count = storage_tanks(table["summer_tank_gal"].to_numpy(), settings)
    place = int(np.flatnonzero(table["yield_gpm"].to_numpy() == flow_gpm)[0])
    same = np.flatnonzero((size == size[place]) & (count == count[place]))[0]
    return float(table["yield_gpm"].iloc[same]), float(table["summer_tank_gal"].iloc[same])


def _beyond_house_wells(need: Need) -> str:
    """Say that no house well does it, and what a good one waters beside the house."""
    least_gpm = need.summer_gal_day / MIN_PER_DAY
    all_of_it = f"{_house(need)}{', lawn and garden' if need.irrigation_gal_day else ''}"
    told = (
        f"No house well serves that: {all_of_it} take {needed_gallons(need.summer_gal_day)} gallons a day, "
        f"{enough_in_two_figures(least_gpm):g} gpm round the clock with the largest tanks."
    )
    spare_gal_day = GOOD_HOUSE_WELL_GPM * MIN_PER_DAY - need.house_gal_day
    if not need.irrigation_gal_day or spare_gal_day <= 0:
        return told
    area = two_figures(spare_gal_day / need.irrigation_gal_per_ft2_day)
    return (
        f"{told} A good one of {GOOD_HOUSE_WELL_GPM:g} gpm waters some {area:,.0f} ft² beside {_house(need)} at most, "
        "with storage for it."
    )


def what_this_well_needs(
    yield_gpm: float,
    need: Need,
    yields_gpm: Sequence[float],
    settings: WaterSystemSettings,
    in_well_gal: float = 0.0,
) -> str:
    """Answer "which tank?" for a well that makes a known yield, and what to ask for where it does not do.

    Parameters
    ----------
    yield_gpm : float
        What the well makes.
    need, yields_gpm, settings, in_well_gal
        As in `what_to_ask_for`.

    Examples
    --------
    >>> need = household_need(DemandSettings(persons=4))
    >>> what_this_well_needs(3.0, need, (0.5, 1.0), WaterSystemSettings())
    'This well of 3 gpm needs no storage tank for the house.'
    """
    row = yield_storage_table(need, [yield_gpm], in_well_gal).iloc[0]
    more = what_to_ask_for(need, yields_gpm, settings, in_well_gal)
    if yield_gpm <= 0:
        return more
    well, house = f"This well of {yield_gpm:g} gpm", _house(need)
    if not row.serves_house:
        return f"{well} does not serve {house}. {more}"

    def tank(needed_gal: float) -> str:
        return _a_tank(needed_gal, settings, "storage tank") if needed_gal > 0 else "no storage tank"

    served = f"{well} needs {tank(row.house_tank_gal)} for {house}"
    if not need.irrigation_gal_day:
        return f"{served}."
    if not row.serves_summer:
        return f"{served}. To water lawn and garden too: {more[0].lower()}{more[1:]}"
    if row.house_tank_gal <= 0 and row.summer_tank_gal <= 0:
        return f"{served}, lawn and garden."
    return f"{served}, {tank(row.summer_tank_gal)} with lawn and garden."


def gallons(value_gal: float) -> str:
    """Return a volume as a person says it: whole below 100, then to 10 gallons, from 1,000 on to two figures.

    >>> gallons(893.6), gallons(11232.0), gallons(24.0)
    ('890', '11,000', '24')
    """
    if value_gal >= 1000:
        return f"{two_figures(value_gal):,.0f}"
    return f"{10 * round(value_gal / 10):g}" if value_gal >= 100 else f"{value_gal:.0f}"


def needed_gallons(value_gal: float) -> str:
    """Return a use of water: to 10 gallons, so that parts and their sum agree; from 10,000 on to three figures.

    >>> needed_gallons(893.6), needed_gallons(1250.3), needed_gallons(119133.0), needed_gallons(24.0)
    ('890', '1,250', '119,000', '24')
    """
    if value_gal >= 10_000:
        return f"{float(f'{value_gal:.3g}'):,.0f}"
    return f"{10 * round(value_gal / 10):,g}" if value_gal >= 100 else f"{value_gal:.0f}"


def tank_gallons(value_gal: float) -> str:
    """Return a tank's volume, rounded up to 10 gallons.

    >>> tank_gallons(101.2)
    '110'
    """
    return f"{up_to_ten(value_gal):,.0f}"


def enough(flow_gpm: float) -> float:
    """Round a flow up to a tenth of a gallon a minute: 3.1 does not do where 3.125 are needed.

    >>> enough(3.125), enough(2.5)
    (3.2, 2.5)
    """
    return float(np.ceil(10.0 * flow_gpm - 1e-9) / 10.0)


def enough_in_two_figures(value: float) -> float:
    """Round up to two significant figures: 0.62 gpm do not do where 0.621 are needed.

    >>> enough_in_two_figures(0.621), enough_in_two_figures(7.5)
    (0.63, 7.5)
    """
    if value <= 0:
        return 0.0
    unit = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return two_figures(float(np.ceil(value / unit - 1e-9) * unit))


def two_figures(value: float) -> float:
    """Round to two significant figures."""
    return float(f"{value:.2g}")


def up_to_ten(value_gal: float) -> float:
    """Round a volume up to 10 gallons; a millionth, to which tanks are reckoned, asks for no more.

    Parameters
    ----------
    value_gal : float
    """
    return 10.0 * float(np.ceil(value_gal / 10.0 - 1e-6))


def tank_cell(needed_gal: float, settings: WaterSystemSettings) -> str:
    """Return what stands in a table of tanks: the tank to buy, for the gallons that are needed.

    >>> [tank_cell(gal, WaterSystemSettings()) for gal in (0.0, 101.2, 3455.0, np.inf)]
    ['none', '150 gal for 110', '2 x 2,500 gal for 3,460', 'too little']

    Parameters
    ----------
    needed_gal : float
        From `yield_storage_table`.
    settings : WaterSystemSettings
    """
    if np.isinf(needed_gal):
        return NOT_ENOUGH
    if needed_gal <= 0:
        return NO_TANK
    size, count = storage_tanks(needed_gal, settings)
    return f"{f'{count:.0f} x ' if count > 1 else ''}{size:,g} gal for {tank_gallons(needed_gal)}"


def tank_rule(settings: WaterSystemSettings) -> str:
    """Say how a tank follows from the gallons that are needed.

    >>> tank_rule(WaterSystemSettings())
    'A tank is the least size sold that holds the gallons needed and 25% over.'
    """
    over = f" and {settings.storage_margin:.0%} over" if settings.storage_margin else ""
    return f"A tank is the least size sold that holds the gallons needed{over}."


def _with_tank(needed_gal: float, in_well_gal: float, settings: WaterSystemSettings) -> str:
    if needed_gal <= 0:
        return " without a storage tank"
    beside = f", beside {gallons(in_well_gal)} in the well" if in_well_gal else ""
    return f" with {_a_tank(needed_gal, settings, 'storage tank')}{beside}"


def _why_less_than_a_tank(in_well_gal: float, *tanks_gal: float) -> tuple[str, ...]:
    """Say of water in a well that a tank stands beside why it does not save as much of the tank."""
    if in_well_gal <= 0 or not any(0 < gal < np.inf for gal in tanks_gal):
        return ()
    return (
        f"The {gallons(in_well_gal)} gallons in the well count for less than a tank's: a well gives its whole yield "
        "only when drawn down, and refills slower the fuller it stands.",
    )


def _a_tank(needed_gal: float, settings: WaterSystemSettings, name: str = "tank") -> str:
    """Return the tank to buy with its article, and what is needed of it."""
    size, count = storage_tanks(needed_gal, settings)
    over = f", and {settings.storage_margin:.0%} over" if settings.storage_margin else ""
    needed = f"({tank_gallons(needed_gal)} needed{over})"
    if count > 1:
        return f"{count:.0f} {name}s of {size:,g} gallons {needed}"
    told = f"{size:,g}"
    return f"{'an' if told.startswith(('8', '11,', '18,')) else 'a'} {told} gallon {name} {needed}"


def _house(need: Need) -> str:
    return "the house and the animals" if need.livestock_gal_day else "the house"


def _heads(count: float, kind: str) -> str:
    """Return heads of a kind as a person says them.

    >>> _heads(2, "horse"), _heads(1, "milking_dairy"), _heads(3, "sheep")
    ('2 horses', '1 milking cow', '3 sheep')
    """
    name = kind.replace("_", " ")
    one, several = HEADS.get(kind, (name, name if name.endswith("s") else f"{name}s"))
    return f"{count:g} {one if count == 1 else several}"


def _every(days: int) -> str:
    return "every day" if days == 1 else f"every {_days(days)}"


def _days(days: int) -> str:
    return "a day" if days == 1 else f"{days} days"
