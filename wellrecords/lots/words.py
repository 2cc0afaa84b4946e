"""The estimate in words: notes, a sentence for the owner, one for the contractor."""

from __future__ import annotations

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.lots.change import deeper_limit_ft
from wellrecords.lots.evidence import Evidence
from wellrecords.lots.ground import in_rock
from wellrecords.lots.laws import LocalLaws
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.support import (
    GOOD,
    NONE,
    THIN,
    cannot_say,
    describe_levels,
    describe_positions,
    describe_support,
    distance,
    rock_unseen,
)
from wellrecords.units import FT_PER_M

AROUND_M = 5000.0
GRAVEL_NOTED = 0.05
DEPTH_TOLD_FT = 300.0
HARDLY, NEARLY_SURE = 0.05, 0.9
"""Chance of the target under which a lot is said to hardly make it, and from which a low limit takes nothing away."""
FAR_BEYOND = 2.0
UNBORNE = 0.02
"""Part of the chance of the target, found below the deepest well around, from which on it is told."""
"""Times the deepest well around from which a depth limit is told to be far beyond it."""
STARTS = {
    "ground": "the ground",
    "water level": "the water level",
    "bedrock": "the top of rock",
    "bedrock and water level": "the top of rock (or the water level, where that is deeper)",
    "casing": "the end of the casing",
    "casing and water level": "the end of the casing (or the water level, where that is deeper)",
}
"""Where water may be met from, in words."""


def lot_support(evidence: Evidence, lot: int, settings: EstimateSettings) -> str:
    """Return the support of a lot: that of the depth to the target, and no more than thin in rock that no well shows.

    Parameters
    ----------
    evidence : Evidence
    lot : int
    settings : EstimateSettings
    """
    support = str(evidence.nearness["depth_to_target_ft"].support[lot])
    around = wells_around(evidence, lot)
    if support == GOOD and rock_unseen(
        evidence.places.main_rock[lot], evidence.noted["main_rock"][around], settings.support
    ):
        return THIN
    return support


def wells_around(evidence: Evidence, lot: int) -> np.ndarray:
    """Return the rows of the wells that the notes speak of."""
    if evidence.tree is None:
        return np.array([], dtype=int)
    return np.array(evidence.tree.query_ball_point(evidence.lot_coordinates[lot], AROUND_M), dtype=int)


def deepest_around_ft(evidence: Evidence, lot: int) -> float:
    """Return the depth of the deepest well that the notes speak of; NaN where none is on record."""
    depths = evidence.noted["total_depth_ft"][wells_around(evidence, lot)]
    return float(np.nanmax(depths)) if np.isfinite(depths).any() else np.nan


def beyond_note(deepest_ft: float, limit_ft: float) -> str:
    """Say below which depth no well bears a figure out.

    Parameters
    ----------
    deepest_ft : float
        Of the wells around.
    limit_ft : float
        Told too where it lies far beyond.
    """
    beside = f", and the limit is {limit_ft:,.0f} ft" if limit_ft > FAR_BEYOND * deepest_ft else ""
    return (
        f"No well within {distance(AROUND_M)} is deeper than {deepest_ft:.0f} ft{beside}: figures beyond carry on what "
        "is seen above it."
    )


def lot_notes(
    evidence: Evidence,
    lot: int,
    draws: pd.DataFrame | None,
    chances: tuple[float, float],
    settings: EstimateSettings,
) -> list[str]:
    """Plain sentences on what limits a lot's estimate and what would help.

    What bears on no figure that is asked for is not said: depths that no
    well has reached where the limit is far above them, gravel where the
    cover at the lot is thin or dry, the age of levels that are not used.

    Parameters
    ----------
    evidence : Evidence
    lot : int
    draws : DataFrame or None
    chances : (float, float)
        Of the target by the limit, and of finding it there in gravel.
    settings : EstimateSettings

    Returns
    -------
    list of str
    """
    support = settings.support
    target = evidence.nearness["depth_to_target_ft"]
    if target.support[lot] == NONE:
        return [cannot_say("depth_to_target_ft", float(target.nearest_m[lot]), support)]
    notes = describe_support(target, lot, support)
    for name, nearness in evidence.nearness.items():
        if nearness.support[lot] == NONE:
            notes.append(cannot_say(name, float(nearness.nearest_m[lot]), support))
    place = evidence.lot_coordinates[lot]
    around = wells_around(evidence, lot)
    noted = {name: values[around] for name, values in evidence.noted.items()}
    notes += describe_positions(noted["position_error_m"], support)
    rock = evidence.places.main_rock[lot]
    if rock_unseen(rock, noted["main_rock"], support):
        notes.append(f"No well within {distance(AROUND_M)} is recorded in {rock}; the estimate is that of other rock.")
    if evidence.nearness["depth_to_water_ft"].support[lot] != NONE:
        notes += describe_levels(noted["age_years"], evidence.level_residual_ft[around], support)
    if not in_rock(evidence.water_starts_at):
        notes.append(
            "Top of rock is hardly on record here, so this may not be hard rock: water is taken to be met anywhere "
            f"below {evidence.water_starts_at}."
        )
    if evidence.finished is not None:
        low, high = evidence.finished.model.predict(place[None, :]).quantile([0.1, 0.9])[0]
        share = evidence.finished.share
        which, chance = (
            ("Wells", "") if share == 1.0 else (f"About {wording.percent(share)} of the wells", " with that chance")
        )
        notes.append(
            f"{which} around are finished at {low:.0f} to {high:.0f} ft (eight in ten); a well here is taken{chance} "
            "to go as deep, even where less would do."
        )
    limit, (chance_of_target, chance_of_gravel) = settings.max_depth_ft, chances
    if chance_of_gravel >= GRAVEL_NOTED:
        notes.append(f"About {wording.percent(chance_of_gravel)} of holes here find the target in gravel above rock.")
    depths = noted["total_depth_ft"][np.isfinite(noted["total_depth_ft"])]
    if chance_of_target < NEARLY_SURE and np.sum(depths > limit) > len(depths) / 2:
        notes.append(f"Most wells within {distance(AROUND_M)} are deeper than the limit of {limit:,.0f} ft.")
    if draws is not None:
        deepest = deepest_around_ft(evidence, lot)
        needed = float(np.quantile(draws["depth_to_target_ft"], max(settings.quantiles), method="higher"))
        depths = draws["depth_to_target_ft"]
        unborne = float(((depths > deepest) & (depths <= limit)).mean())
        near = min(needed, deeper_limit_ft(settings)) > deepest
        if near or unborne >= UNBORNE or limit > FAR_BEYOND * deepest:
            notes.append(beyond_note(deepest, limit))
        if chance_of_target < HARDLY:
            notes.append(
                f"A well here will hardly make {settings.target_yield_gpm:g} gpm by {limit:,.0f} ft: a price for it "
                "is that of a hole that falls short."
            )
    return notes


def _range(values: pd.Series, limit_ft: float) -> str:
    """Write a depth as its middle and the range of eight in ten, each as every page has it."""
    low, middle, high = (
        wording.target_depth(float(value), limit_ft).removesuffix(" ft")
        for value in np.quantile(values, [0.1, 0.5, 0.9], method="inverted_cdf")
    )
    if low == middle == high:
        return f"{middle} ft"
    return f"{middle} ft ({low} to {high})"


def in_tenths(chance: float) -> str:
    """Write a chance as so many out of ten, or in words at the ends."""
    if chance >= 0.975:
        return "nearly all"
    if chance <= 0.025:
        return "hardly any"
    if chance <= 0.075:
        return "about 1 in 20"
    return f"about {max(1, min(9, round(10 * chance)))} in 10"


def plain_words(
    draws: pd.DataFrame | None,
    support: str,
    chances: tuple[float, float],
    settings: EstimateSettings,
    dry_below_gpm: float,
) -> str:
    """Say the estimate to the owner in a sentence or two."""
    if draws is None:
        return "The records around cannot say how deep a well must go here, nor how much water it would make."
    reached = np.quantile(draws["depth_to_target_ft"], [0.1, 0.9], method="inverted_cdf")
    chance, dry = chances
    words = (
        f"Of wells like this, {in_tenths(chance)} would make {settings.target_yield_gpm:g} gallons a minute by "
        f"{settings.max_depth_ft:.0f} ft"
    )
    if reached[1] <= settings.max_depth_ft:
        first, last = (wording.depth(float(value)) for value in reached)
        words += f", most of them between {first.removesuffix(' ft')} and {last}"
    words += f"; {in_tenths(dry)} would be dry (less than {dry_below_gpm:.2g} gallons a minute)."
    if support != GOOD:
        words += " The records around are thin, so this is a rough guess."
    return words


def technical_words(
    evidence: Evidence,
    lot: int,
    draws: pd.DataFrame | None,
    chances: tuple[float, float],
    settings: EstimateSettings,
    laws: LocalLaws | None,
) -> str:
    """Say the estimate to the contractor in a few sentences, with the figures of the rock that it rests on.

    Parameters
    ----------
    evidence : Evidence
    lot : int
        Its row in the evidence.
    draws : DataFrame or None
    chances : (float, float)
        Of the target, and of a dry hole, by the limit.
    settings : EstimateSettings
        What is asked of this lot.
    laws : LocalLaws or None
        Of the lots of the evidence.
    """
    if draws is None or evidence.laws is None or laws is None:
        return "No well with its depth and yield on record stands near enough to reckon from."
    limit, gpm = settings.max_depth_ft, settings.target_yield_gpm
    rock = draws["depth_to_bedrock_ft"]
    said = [f"{gpm:g} gpm at {_range(draws['depth_to_target_ft'], limit)}"]
    if rock.notna().all():
        said.insert(0, f"rock at {_range(rock, limit)}")
    depths = f"{'; '.join(said)}: half of holes by the first figure, eight in ten inside the brackets."
    spacing, size = laws.typical(lot)
    jumps, reach = evidence.laws.tables.jumps, float(evidence.laws.reach_m(evidence.lot_coordinates[[lot]])[0])
    low, high = (size * jumps.ppf(level) for level in (1.0 / 6.0, 5.0 / 6.0))
    decay = evidence.laws.decay_ft
    fading = (
        "as many deep down as near the top"
        if np.isinf(decay)
        else f"fewer with depth ({np.exp(-DEPTH_TOLD_FT / decay):.0%} as many {DEPTH_TOLD_FT:.0f} ft down)"
    )
    return (
        f"{depths[0].upper()}{depths[1:]} Chance of {gpm:g} gpm by {limit:.0f} ft {wording.percent(chances[0])}; "
        f"of a dry hole (less than {evidence.dry_below_gpm:.2g} gpm) {wording.percent(chances[1])}. "
        f"The wells around show a water-bearing fracture about every {spacing:.0f} ft below "
        f"{STARTS[evidence.water_starts_at]}, {fading}; one gives about {size:.2g} gpm (two in three between "
        f"{low:.2g} and {high:.2g}). "
        f"Wells within about {max(round(reach * FT_PER_M, -2), 300.0):,.0f} ft count the most."
    )
