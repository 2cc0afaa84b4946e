"""The need for water, and what a yield does for it, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellrecords.demand import (
    DemandSettings,
    Need,
    household_need,
    required_yield_gpm,
    target_from_need,
    yield_storage_table,
)


def describe_yield(yield_gpm: float, need: Need, in_well_gal: float = 0.0) -> tuple[str, ...]:
    """Say in plain sentences what a well of this yield will and will not do.

    Parameters
    ----------
    yield_gpm : float
    need : Need
    in_well_gal : float, default=0
        Usable gallons standing in the well.

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
    with_tank = _with_tank(row.house_tank_gal, in_well_gal)
    sentences.append(f"It serves {served} ({gallons(need.house_gal_day)} gallons a day){with_tank}.")
    if need.irrigated_ft2 and row.serves_summer:
        sentences.append(
            f"It also waters the {need.irrigated_ft2:,.0f} ft² of lawn and garden "
            f"({gallons(need.summer_gal_day)} gallons a day in all){_with_tank(row.summer_tank_gal, in_well_gal)}."
        )
        return tuple(sentences)
    if need.irrigated_ft2:
        sentences.append(
            f"It will not water the {need.irrigated_ft2:,.0f} ft² of lawn and garden: with the house that takes "
            f"{gallons(need.summer_gal_day)} gallons a day at {need.irrigation_in_per_week:g} inch a week."
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
        heads = ", ".join(f"{count:g} {kind}" for kind, count in settings.livestock.items())
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
            f"With lawn and garden in the driest month it is {enough(bare):g} gpm without a tank, "
            f"{two_figures(least):g} gpm with tanks."
        )
    return tuple(told)


def what_to_ask_for(need: Need, yields_gpm: Sequence[float], in_well_gal: float = 0.0) -> str:
    """Answer "what yield?" in one sentence: the least of some yields with its tank, or what needs none.

    Parameters
    ----------
    need : Need
    yields_gpm : sequence of float
        Yields that may be asked for.
    in_well_gal : float, default=0
        Usable gallons standing in the well.

    Examples
    --------
    >>> what_to_ask_for(household_need(DemandSettings(persons=4)), (0.1, 0.25, 0.5, 1.0))
    'Ask for 0.25 gpm with a 270 gallon tank, or 2.5 gpm without one.'
    """
    bare = target_from_need(need)
    watered = bool(need.irrigation_gal_day)
    table = yield_storage_table(need, [*(value for value in sorted(yields_gpm) if value < bare), bare], in_well_gal)
    tanks = table["summer_tank_gal" if watered else "house_tank_gal"]
    least = table.loc[np.isfinite(tanks)].iloc[0]
    tank_gal = float(tanks[least.name])
    served = " for house and garden" if watered else ""
    if least["yield_gpm"] >= bare:
        return f"Ask for {bare:g} gpm{served}: less than that does not do, with any tank."
    if tank_gal <= 0:
        return f"Ask for {least['yield_gpm']:g} gpm{served}: it needs no tank beside the water in the well."
    return (
        f"Ask for {least['yield_gpm']:g} gpm with a {tank_gallons(tank_gal)} gallon tank{served}, or {bare:g} gpm "
        "without one."
    )


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
    return f"{10 * np.ceil(value_gal / 10 - 1e-9):,.0f}"


def enough(flow_gpm: float) -> float:
    """Round a flow up to a tenth of a gallon a minute: 3.1 does not do where 3.125 are needed.

    >>> enough(3.125), enough(2.5)
    (3.2, 2.5)
    """
    return float(np.ceil(10.0 * flow_gpm - 1e-9) / 10.0)


def two_figures(value: float) -> float:
    """Round to two significant figures."""
    return float(f"{value:.2g}")


def _with_tank(tank_gal: float, in_well_gal: float) -> str:
    if tank_gal > 0:
        beside = f", beside {gallons(in_well_gal)} in the well" if in_well_gal else ""
        return f" with a storage tank of {tank_gallons(tank_gal)} gallons or more{beside}"
    return " without a storage tank"
