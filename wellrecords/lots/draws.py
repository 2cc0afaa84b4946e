"""The draws of lots: four quantities together, and the yield of each draw's hole at any depth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from wellrecords.lots.evidence import Evidence
from wellrecords.lots.gravel import GravelMap
from wellrecords.lots.joint import copula_levels
from wellrecords.lots.laws import FEET, LocalLaws
from wellrecords.lots.paths import Paths, draw_paths
from wellrecords.lots.places import LotPlaces
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.support import NONE

QUANTITIES = ("depth_to_bedrock_ft", "depth_to_water_ft", "depth_to_target_ft", "yield_gpm")
TARGETS, HOLES, FINISHED, DEEPER = 1, 2, 3, 4
"""Streams of random numbers, the same for every lot: two lots then differ by their ground alone, not by luck."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """Draws of lots that share their evidence, each array (m, n_draws), and what the curves are made from.

    `columns` holds what was drawn of every quantity, also of one that the
    records near a lot do not speak of: `table` leaves that out.
    `level` (n_draws,) are the levels of the depth to the target, `finished`
    (m, n_draws) the depths at which wells there are finished, water or not; 0
    for those that stop at the first water that is enough.
    """

    evidence: Evidence
    asked: list[EstimateSettings]
    laws: LocalLaws | None
    start: np.ndarray
    level: np.ndarray
    finished: np.ndarray
    columns: dict[str, np.ndarray]
    in_gravel: np.ndarray
    chance_of_dry_hole: np.ndarray

    def said(self, lot: int) -> bool:
        """Say whether the records can speak of a lot."""
        return bool(self.evidence.nearness["depth_to_target_ft"].support[lot] != NONE)

    def table(self, lot: int) -> pd.DataFrame | None:
        """Return a lot's draws, one row each; None where the records cannot speak."""
        if not self.said(lot):
            return None
        unsaid = {name for name in QUANTITIES if self.evidence.nearness[name].support[lot] == NONE}
        return pd.DataFrame({name: np.nan if name in unsaid else self.columns[name][lot] for name in QUANTITIES})


def draw_together(evidence: Evidence, settings: EstimateSettings) -> Drawn:
    """Draw lots of one evidence, through the same levels: two lots then differ by their ground alone."""
    places = evidence.places
    m, n = len(places), settings.n_draws
    levels = copula_levels(evidence.correlation, n, settings.random_state).T
    columns = {name: np.full((m, n), np.nan) for name in QUANTITIES}
    for number, name in enumerate(QUANTITIES):
        if name != "depth_to_target_ft":
            columns[name] = evidence.quantiles(name, levels[number])
    start = evidence.start(columns)
    asked = _asked(places, settings)
    laws = evidence.laws.at(evidence.lot_coordinates) if evidence.laws is not None and m else None
    finished = np.zeros((m, n))
    if evidence.finished is not None:
        rng = np.random.default_rng((settings.random_state, FINISHED))
        finished = evidence.finished.draw(evidence.lot_coordinates, levels[2], rng)
    in_gravel, dry = np.zeros((m, n), dtype=bool), np.full(m, np.nan)
    drawn = Drawn(evidence, asked, laws, start, levels[2], finished, columns, in_gravel, dry)
    for lot in range(m):
        if drawn.said(lot):
            _draw_target(drawn, lot)
    return drawn


def _draw_target(drawn: Drawn, lot: int) -> None:
    """Draw the depth to a lot's target, in gravel or in rock, and reckon its chance of a dry hole."""
    evidence, settings = drawn.evidence, drawn.asked[lot]
    assert drawn.laws is not None
    law = drawn.laws.take(np.array([lot]))
    drawn.columns["depth_to_target_ft"][lot], drawn.in_gravel[lot] = target_depths(drawn, lot, law, settings)
    # A hole is dry whatever was asked for, by the same luck: it never makes the least yield that is water.
    wet = settings.model_copy(update={"target_yield_gpm": evidence.dry_below_gpm})
    drawn.chance_of_dry_hole[lot] = np.mean(target_depths(drawn, lot, law, wet)[0] > settings.max_depth_ft)


def target_depths(drawn: Drawn, lot: int, law: LocalLaws, settings: EstimateSettings) -> tuple[np.ndarray, np.ndarray]:
    """Draw the depth to a target under a law of the rock, and say which draws meet it in gravel."""
    level, gpm = drawn.level, settings.target_yield_gpm
    target = drawn.start[lot] + law.feet_to(gpm, level)[0]
    if drawn.finished[lot].any():
        target = np.where(drawn.finished[lot] > 0.0, _finished_targets(drawn, lot, law, settings, target), target)
    in_gravel, gravel_ft = _gravels_met(drawn, lot, settings, gpm)
    target = np.where(in_gravel, gravel_ft, target)
    return np.where(target > settings.deepest_ft, np.inf, target), in_gravel


def _gravels_met(drawn: Drawn, lot: int, settings: EstimateSettings, gpm: float) -> tuple[np.ndarray, np.ndarray]:
    """Say which draws meet a gravel that makes a yield, and how deep; all that meet more meet a weaker one too."""
    evidence, n = drawn.evidence, len(drawn.level)
    if evidence.gravels is None:
        return np.zeros(n, dtype=bool), np.full(n, np.inf)
    rng = np.random.default_rng((settings.random_state, TARGETS))
    met = evidence.gravels.chance(evidence.lot_coordinates[[lot]], gpm)[0]
    ground = drawn.columns["depth_to_bedrock_ft"][lot], drawn.columns["depth_to_water_ft"][lot]
    in_gravel = (rng.uniform(size=n) < met) & evidence.gravels.can_be(*ground)
    share = rng.choice(evidence.gravels.depth_share, n)
    return in_gravel, evidence.gravels.depth_ft(share, *ground)


def _finished_targets(
    drawn: Drawn, lot: int, law: LocalLaws, settings: EstimateSettings, by_law: np.ndarray
) -> np.ndarray:
    """Draw the depth to a target where wells are finished at a usual depth.

    It is that depth if the draw's yield, which is that of a finished well, is
    enough. If not, it lies as far below as the law has it for a hole that has
    not made the target there.
    """
    gpm, finished, start = settings.target_yield_gpm, drawn.finished[lot], drawn.start[lot]
    makes = drawn.columns["yield_gpm"][lot]
    made_above = 1.0 - np.interp(finished - start, FEET, law.chance_below(FEET, gpm)[0], left=1.0)
    further = np.random.default_rng((settings.random_state, DEEPER)).uniform(size=len(finished))
    deeper = start + law.feet_to(gpm, made_above + (1.0 - made_above) * further)[0]
    # Where no yield is on record, a finished well makes what the law says, or goes on to where it does.
    deeper = np.where(np.isnan(makes), by_law, deeper)
    return np.where(makes >= gpm, finished, np.maximum(finished, deeper))


def _asked(places: LotPlaces, settings: EstimateSettings) -> list[EstimateSettings]:
    """Return the settings of each lot: its own wishes where it has them."""
    asked = []
    for gpm, depth in zip(places.target_yield_gpm, places.max_depth_ft, strict=True):
        wishes = {"target_yield_gpm": gpm, "max_depth_ft": depth}
        asked.append(settings.model_copy(update={name: float(v) for name, v in wishes.items() if np.isfinite(v)}))
    return asked


@dataclass(frozen=True, eq=False)
class YieldsAtDepth:
    """Yield at depth, joint with a lot's draws; the holes are drawn when first asked for.

    `law` is that of the lot alone; `start`, `target` and `in_gravel` are the
    draws' (n_draws,). The evidence, which is large, is not held.
    """

    law: LocalLaws
    start: np.ndarray
    target: np.ndarray
    in_gravel: np.ndarray
    gravels: GravelMap | None
    settings: EstimateSettings
    seed: tuple[int, ...]

    @cached_property
    def _holes(self) -> tuple[Paths, np.ndarray]:
        """Whole holes, matched to the draws by the feet to the target, and the yield of those in gravel."""
        gpm, deepest = self.settings.target_yield_gpm, self.settings.deepest_ft
        rng = np.random.default_rng(self.seed)
        wanted = np.where(self.in_gravel, np.inf, self.target - self.start)
        paths = draw_paths(self.law, 0, len(wanted), deepest, rng)
        theirs = paths.feet_to(gpm)
        order = np.empty(len(wanted), dtype=int)
        order[np.argsort(wanted, kind="stable")] = np.argsort(theirs, kind="stable")
        theirs = theirs[order]
        # The holes' own feet to the target agree with the draws' but for sampling: stretch them to agree exactly.
        stretch = np.ones(len(wanted))
        both = np.isfinite(theirs) & np.isfinite(wanted)
        stretch[both] = wanted[both] / theirs[both]
        never = np.isinf(wanted) & np.isfinite(theirs)
        stretch[never] = 1.001 * np.maximum(1.0, deepest / theirs[never])
        short = np.isinf(theirs) & np.isfinite(wanted)
        matched = paths.take(order, stretch).reach(gpm, np.where(short, wanted, np.inf))
        level = rng.uniform(size=len(wanted))
        in_gravel = np.zeros(len(wanted)) if self.gravels is None else self.gravels.yields(gpm, level)
        return matched, in_gravel

    def __call__(self, depth_ft: np.ndarray) -> np.ndarray:
        """Return the yield (gpm) of each draw's hole at its depth."""
        holes, gravel_gpm = self._holes
        # rounding must not take the last fracture from a hole that stops on it
        in_rock = holes.gpm_at((depth_ft - self.start) * (1.0 + 1e-9) + 1e-9)
        reached = np.where(depth_ft >= self.target, gravel_gpm, 0.0)
        return np.where(self.in_gravel, reached, in_rock)


def yields_at_depth(drawn: Drawn, lot: int, target_yield_gpm: float | None = None) -> YieldsAtDepth:
    """Return the yield at depth of a lot's draws; of the draws for another target, where one is named."""
    assert drawn.laws is not None
    settings, law = drawn.asked[lot], drawn.laws.take(np.array([lot]))
    target, in_gravel = drawn.columns["depth_to_target_ft"][lot], drawn.in_gravel[lot]
    if target_yield_gpm not in (None, settings.target_yield_gpm):
        settings = settings.model_copy(update={"target_yield_gpm": target_yield_gpm})
        target, in_gravel = target_depths(drawn, lot, law, settings)
    return YieldsAtDepth(
        law=law,
        start=drawn.start[lot],
        target=target,
        in_gravel=in_gravel,
        gravels=drawn.evidence.gravels,
        settings=settings,
        seed=(settings.random_state, HOLES),
    )
