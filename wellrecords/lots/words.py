"""The estimate in words: notes, a sentence for the owner, one for the contractor."""

from __future__ import annotations

import numpy as np
import pandas as pd

from wellrecords.lots.evidence import Evidence
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.support import (
    GOOD,
    NONE,
    cannot_say,
    describe_levels,
    describe_positions,
    describe_support,
)

AROUND_M = 5000.0
GRAVEL_NOTED = 0.05


def lot_notes(evidence: Evidence, lot: int, draws: pd.DataFrame | None, settings: EstimateSettings) -> list[str]:
    """Plain sentences on what limits a lot's estimate and what would help.

    Parameters
    ----------
    evidence : Evidence
    lot : int
    draws : DataFrame or None
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
    place = evidence.places.coordinates[lot]
    around = np.array([] if evidence.tree is None else evidence.tree.query_ball_point(place, AROUND_M), dtype=int)
    noted = {name: values[around] for name, values in evidence.noted.items()}
    notes += describe_positions(noted["position_error_m"], support)
    rock = evidence.places.main_rock[lot]
    if rock is not None and np.any(noted["main_rock"] != "") and not np.any(noted["main_rock"] == rock):
        notes.append(
            f"No well within {AROUND_M / 1000:.0f} km is recorded in {rock}; the estimate is that of other rock."
        )
    notes += describe_levels(noted["age_years"], evidence.level_residual_ft[around], support)
    if not evidence.water_starts_at.startswith("bedrock"):
        notes.append(
            f"Top of rock is hardly on record here, so this may not be hard rock: water is taken to be met "
            f"anywhere below {evidence.water_starts_at}, but a well not to be finished shallower than the shallowest "
            f"sixth of those around ({evidence.shallow_ft[lot, 0]:.0f} to {evidence.shallow_ft[lot, -1]:.0f} ft)."
        )
    if evidence.gravels is not None:
        chance = float(evidence.gravels.chance(place[None, :], settings.target_yield_gpm)[0])
        if chance >= GRAVEL_NOTED:
            notes.append(f"About {chance:.0%} of holes in thick cover here find the target in gravel above rock.")
    if draws is not None:
        deepest = float(np.nanmax(noted["total_depth_ft"], initial=0.0)) or np.nan
        needed = float(np.quantile(draws["depth_to_target_ft"], max(settings.quantiles), method="higher"))
        if np.isfinite(deepest) and needed > deepest:
            notes.append(
                f"No well within {AROUND_M / 1000:.0f} km is deeper than {deepest:.0f} ft: figures beyond carry on "
                "what is seen above it."
            )
        if np.quantile(draws["depth_to_target_ft"], max(settings.quantiles), method="higher") > settings.deepest_ft:
            notes.append(f"A depth of {settings.deepest_ft:.0f} ft stands for that depth or more, or never.")
    return notes


def _range(values: pd.Series) -> str:
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9], method="nearest")
    if not np.isfinite(middle):
        return "none within reach"
    top = "out of reach" if not np.isfinite(high) else f"{high:.0f}"
    return f"{middle:.0f} ft ({low:.0f} to {top})"


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
    reached = np.quantile(draws["depth_to_target_ft"], [0.1, 0.9], method="nearest")
    chance, dry = chances
    words = (
        f"Of wells like this, {in_tenths(chance)} would make {settings.target_yield_gpm:g} gallons a minute by "
        f"{settings.max_depth_ft:.0f} ft"
    )
    if reached[1] <= settings.max_depth_ft:
        words += f", most of them between {reached[0]:.0f} and {reached[1]:.0f} ft"
    words += f"; {in_tenths(dry)} would be dry (less than {dry_below_gpm:.2g} gallons a minute)."
    if support != GOOD:
        words += " Few wells stand near, so this is a rough guess."
    return words


def technical_words(
    draws: pd.DataFrame | None,
    support: str,
    chances: tuple[float, float],
    settings: EstimateSettings,
    evidence: Evidence,
) -> str:
    """Say the estimate to the contractor in a sentence or two."""
    if draws is None or evidence.laws is None:
        return "Support none: no usable stop (depth with yield) near enough; no law of fractures can be given."
    laws = evidence.laws
    fading = "does not fade with depth" if np.isinf(laws.decay_ft) else f"fades by e in {laws.decay_ft:.0f} ft"
    rock = draws["depth_to_bedrock_ft"]
    parts = [
        f"Depth to {settings.target_yield_gpm:g} gpm {_range(draws['depth_to_target_ft'])}, P50 (P10 to P90)",
        f"chance by {settings.max_depth_ft:.0f} ft {chances[0]:.0%}",
        f"below {evidence.dry_below_gpm:.2g} gpm there {chances[1]:.0%}",
    ]
    if rock.notna().all():
        parts.insert(0, f"Rock at {_range(rock)}")
    law = (
        f"fracture law from wells weighed over {laws.reach.metres:.0f} m, {laws.tables.jumps.kind} yields "
        f"(shape {laws.tables.jumps.shape:g}), rate {fading}, water from the {evidence.water_starts_at} down"
    )
    return f"{'; '.join(parts)}; support {support}; {law}."
