"""A lot's estimate: four quantities drawn together, how sure, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from wellrecords.lots.change import CHANGE_COLUMNS, AtALot, chance_by_yield, what_would_change, yields_asked
from wellrecords.lots.draws import (
    QUANTITIES,
    Drawn,
    YieldsAtDepth,
    draw_together,
    target_depths,
    yields_at_depth,
)
from wellrecords.lots.evidence import SHOWN_COLUMNS, Evidence, gather_evidence
from wellrecords.lots.places import LotPlaces, canonical_wells, lot_places
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.tiles import District, districts
from wellrecords.lots.words import (
    beyond_note,
    deepest_around_ft,
    lot_notes,
    lot_support,
    plain_words,
    technical_words,
)
from wellrecords.schema import among

CURVE_STEP_FT = 10.0
SHOWN_QUANTILES = (0.1, 0.5, 0.9)
"""The quantiles that people are shown."""
SHOWN_NEIGHBOURS = 40
NEIGHBOUR_COLUMNS = [*SHOWN_COLUMNS[:3], "distance_m", "weight", *SHOWN_COLUMNS[3:]]


@dataclass(frozen=True, eq=False)
class LotEstimate:
    """What the records say of a lot.

    Attributes
    ----------
    lot_id : str
    longitude, latitude : float
        WGS84; of a polygon, a point inside it.
    support : str
        "good", "thin" or "none" (see `SupportSettings`); at "none" there are
        no figures.
    notes : tuple of str
        Plain sentences: what limits the estimate, what would help.
    wells_within_1km, wells_within_5km : int
    nearest_well_m : float
        Infinite where there is no well.
    deepest_well_ft : float
        Of those within 5 km; NaN where no depth is on record.
    target_yield_gpm, max_depth_ft : float
    draws : DataFrame or None
        One row a joint draw: `depth_to_bedrock_ft`, `depth_to_water_ft`
        (negative: above ground), `depth_to_target_ft` (infinite: never),
        `yield_gpm` (what a finished well would report). A column of which
        the records cannot speak is NaN. None where support is "none".
    chance_of_target : float
        By `max_depth_ft`; NaN where support is "none".
    chance_of_dry_hole : float
        That a hole to `max_depth_ft` makes less than `dry_below_gpm`.
    dry_below_gpm : float
    deepest_ft : float
        Draws deeper than this are infinite.
    target_curve : DataFrame
        `depth_ft`, `chance_of_target`.
    by_yield : DataFrame
        The same question asked for other yields, see `chance_by_yield`.
    changes : DataFrame
        What would change the answer, see `what_would_change`.
    neighbours : DataFrame
        The wells that the depth to the target leans on, weightiest first,
        with their weights (of all wells leaned on, summing to 1) and readings.
    plain_words, technical_words : str
        The estimate in a sentence or two, for the owner and the contractor.
    """

    lot_id: str
    longitude: float
    latitude: float
    support: str
    notes: tuple[str, ...]
    wells_within_1km: int
    wells_within_5km: int
    nearest_well_m: float
    deepest_well_ft: float
    target_yield_gpm: float
    max_depth_ft: float
    draws: pd.DataFrame | None
    chance_of_target: float
    chance_of_dry_hole: float
    dry_below_gpm: float
    deepest_ft: float
    target_curve: pd.DataFrame
    by_yield: pd.DataFrame
    changes: pd.DataFrame
    neighbours: pd.DataFrame
    plain_words: str
    technical_words: str
    _yields: YieldsAtDepth | None = field(default=None, repr=False)
    _others: Mapping[float, YieldsAtDepth] = field(default_factory=dict, repr=False)

    def yield_at_depth(self, depth_ft: float | np.ndarray) -> np.ndarray:
        """Return the yield of each draw's hole, had it stopped at a depth.

        Joint with `draws`: at `depth_to_target_ft` and below, a draw makes at
        least the target; above it, less.

        Parameters
        ----------
        depth_ft : float or ndarray of shape (n_draws,)

        Returns
        -------
        ndarray of shape (n_draws,), gpm

        Raises
        ------
        ValueError
            Support is "none": there are no draws.
        """
        if self._yields is None or self.draws is None:
            msg = f"Lot {self.lot_id} has no draws: the records cannot say. See its notes."
            raise ValueError(msg)
        return self._yields(np.broadcast_to(np.asarray(depth_ft, dtype=float), (len(self.draws),)))

    def asked_for(self, yield_gpm: float) -> LotEstimate:
        """Return the estimate for another yield of `by_yield`, drawn with the same luck.

        Parameters
        ----------
        yield_gpm : float

        Returns
        -------
        LotEstimate
            What was said of the yield that was asked for (`changes`, words,
            notes) is left out.

        Raises
        ------
        ValueError
            It is not one of `by_yield`, or there are no draws.
        """
        if self.draws is None or yield_gpm not in self._others:
            known = ", ".join(f"{gpm:g}" for gpm in self._others) or "none"
            msg = f"Lot {self.lot_id} was not asked about {yield_gpm:g} gpm. Yields that were: {known}."
            raise ValueError(msg)
        yields = self._others[yield_gpm]
        chance = _chances_by(self.target_curve["depth_ft"].to_numpy(), yields.target)
        return replace(
            self,
            notes=(),
            target_yield_gpm=yield_gpm,
            draws=self.draws.assign(depth_to_target_ft=yields.target),
            chance_of_target=float(chance[-1]),
            target_curve=self.target_curve.assign(chance_of_target=chance),
            changes=pd.DataFrame(columns=CHANGE_COLUMNS),
            plain_words="",
            technical_words="",
            _yields=yields,
        )


def estimate_lots(
    wells: pd.DataFrame,
    lots: gpd.GeoDataFrame,
    target_yield_gpm: float | None = None,
    max_depth_ft: float | None = None,
    quantiles: tuple[float, ...] | None = None,
    random_state: int | None = None,
    *,
    water_zones: pd.DataFrame | None = None,
    settings: EstimateSettings | None = None,
) -> pd.DataFrame:
    """Estimate how deep, how much and how sure, for each lot.

    Parameters
    ----------
    wells : DataFrame or GeoDataFrame
        The canonical table, or those of its columns that are known.
    lots : GeoDataFrame
        `lot_id` and a point or polygon, in any coordinate system; `main_rock`
        if known; a lot's own `target_yield_gpm` and `max_depth_ft`, which win
        over the settings.
    target_yield_gpm : float, default=5
    max_depth_ft : float, default=600
    quantiles : tuple of float, default=(0.1, 0.5, 0.9)
    random_state : int, default=0
    water_zones : DataFrame, optional
        The child table of logged zones.
    settings : EstimateSettings, optional
        Everything else; the four arguments above, where given, win over it.

    Returns
    -------
    DataFrame, by `lot_id`
        For each of depth_to_bedrock_ft, depth_to_water_ft, depth_to_target_ft,
        yield_gpm a column ``<name>_pNN`` a quantile (0.05 is ``_p05``);
        chance_of_target (by max_depth_ft), chance_of_dry_hole;
        wells_within_1km, wells_within_5km, nearest_well_m; support; notes.
        NaN where the records cannot say; `notes` says why. A depth to the
        target shown as `deepest_ft` (3,000) means that depth or more.

    Raises
    ------
    ProblemsError
        A column or coordinate system that cannot be done without is missing.
    """
    asked = {
        "target_yield_gpm": target_yield_gpm,
        "max_depth_ft": max_depth_ft,
        "quantiles": quantiles,
        "random_state": random_state,
    }
    settings = _with(settings, {name: value for name, value in asked.items() if value is not None})
    return summarise(_estimates(wells, lots, settings, water_zones, with_reasons=False), settings.quantiles)


def summarise(estimates: Sequence[LotEstimate], quantiles: tuple[float, ...] = SHOWN_QUANTILES) -> pd.DataFrame:
    """Make the table of `estimate_lots` from estimates.

    Parameters
    ----------
    estimates : sequence of LotEstimate
    quantiles : tuple of float, default=(0.1, 0.5, 0.9)

    Returns
    -------
    DataFrame, by `lot_id`
    """
    figures = np.full((len(estimates), len(QUANTITIES), len(quantiles)), np.nan)
    for figure, one in zip(figures, estimates, strict=True):
        if one.draws is not None:
            draws = one.draws[list(QUANTITIES)].to_numpy()
            draws = np.where(np.isposinf(draws), one.deepest_ft, draws)
            figure[:] = np.quantile(draws, quantiles, axis=0).T
    table: dict[str, object] = {
        f"{name}_p{round(100 * level):02d}": figures[:, row, column]
        for row, name in enumerate(QUANTITIES)
        for column, level in enumerate(quantiles)
    }
    for name in (
        "chance_of_target",
        "chance_of_dry_hole",
        "wells_within_1km",
        "wells_within_5km",
        "nearest_well_m",
        "support",
    ):
        table[name] = [getattr(one, name) for one in estimates]
    deepest_shown = figures[:, QUANTITIES.index("depth_to_target_ft")].max(axis=1, initial=-np.inf)
    table["notes"] = [
        " ".join((*one.notes, *_table_notes(one, shown))) for one, shown in zip(estimates, deepest_shown, strict=True)
    ]
    return pd.DataFrame(table, index=pd.Index([one.lot_id for one in estimates], name="lot_id"))


def three_quantiles(estimate: LotEstimate, quantity: str) -> tuple[float, float, float]:
    """Return p10, p50, p90 of a quantity's draws; a quantile is infinite where it is never reached.

    All three are NaN where the records cannot speak of the quantity.
    """
    if estimate.draws is None:
        msg = f"Lot {estimate.lot_id!r} has no draws: its support is {estimate.support!r}, so it has no quantiles."
        raise ValueError(msg)
    values = estimate.draws[quantity].to_numpy(float)
    if np.isnan(values).any():
        return np.nan, np.nan, np.nan
    # An order statistic, not an interpolation: between a depth and infinity there is no number.
    low, middle, high = np.quantile(values, SHOWN_QUANTILES, method="inverted_cdf")
    return float(low), float(middle), float(high)


def _table_notes(estimate: LotEstimate, shown_ft: float) -> list[str]:
    """Return what must be said of a table's depths, which go beyond the lot's limit."""
    notes = []
    beyond = beyond_note(estimate.deepest_well_ft, estimate.max_depth_ft)
    if shown_ft > estimate.deepest_well_ft and beyond not in estimate.notes:
        notes.append(beyond)
    if shown_ft >= estimate.deepest_ft:
        notes.append(f"A depth of {estimate.deepest_ft:.0f} ft stands for that depth or more, or never.")
    return notes


def _with(settings: EstimateSettings | None, changes: dict[str, object]) -> EstimateSettings:
    base = settings or EstimateSettings()
    return EstimateSettings.model_validate(base.model_dump() | changes)


def draw_lot_estimates(
    wells: pd.DataFrame,
    lots: gpd.GeoDataFrame,
    settings: EstimateSettings | None = None,
    *,
    water_zones: pd.DataFrame | None = None,
    learnt: Path | None = None,
) -> list[LotEstimate]:
    """Estimate lots with their joint draws, curves and neighbours.

    Parameters
    ----------
    wells, lots, water_zones
        As for `estimate_lots`. A lot's estimate does not depend on the other
        lots. Of more than ``settings.wells_per_fit`` wells it uses those in
        its `wells_box`, which may be all that is read from a store.
    settings : EstimateSettings, optional
    learnt : Path, optional
        A folder in which what is learnt of a district is kept for its next
        lot (`lots.learnt`); the figures do not depend on it.

    Returns
    -------
    list of LotEstimate, in the order of the lots
    """
    settings = settings or EstimateSettings()
    return _estimates(wells, lots, settings, water_zones, with_reasons=True, learnt=learnt)


def _estimates(
    wells: pd.DataFrame,
    lots: gpd.GeoDataFrame,
    settings: EstimateSettings,
    zones: pd.DataFrame | None,
    *,
    with_reasons: bool,
    learnt: Path | None = None,
) -> list[LotEstimate]:
    """Estimate the lots: of several districts, some at a time, each in a process of its own."""
    places, table = lot_places(lots), canonical_wells(wells)
    by_tile = len(wells) > settings.wells_per_fit if settings.by_tile is None else settings.by_tile
    longitude, latitude = (table[name].to_numpy() for name in ("longitude", "latitude"))
    several = districts(places, longitude, latitude, settings, by_tile=by_tile)
    each = settings if len(several) == 1 else settings.model_copy(update={"n_jobs": 1})

    def task(district: District) -> tuple[Any, ...]:
        theirs = table.iloc[district.wells].reset_index(drop=True)
        some = None if zones is None else zones[among(zones["record_id"], theirs["record_id"])]
        return theirs, places, district, each, some, with_reasons, learnt

    if len(several) == 1:
        found = [_of_district(*task(several[0]))]
    else:
        found = Parallel(n_jobs=settings.n_jobs)(delayed(_of_district)(*task(district)) for district in several)
    in_order = {row: one for part in found for row, one in part.items()}
    return [in_order[row] for row in sorted(in_order)]


def _of_district(
    wells: pd.DataFrame,
    places: LotPlaces,
    district: District,
    settings: EstimateSettings,
    zones: pd.DataFrame | None,
    with_reasons: bool,
    learnt: Path | None,
) -> dict[int, LotEstimate]:
    """Estimate the lots of a district, by their rows."""
    found = {}
    for company, evidence in gather_evidence(wells, places, district, settings, zones, learnt):
        drawn = draw_together(evidence, settings)
        for lot, row in enumerate(company.lots):
            found[int(row)] = _lot_estimate(drawn, lot, with_reasons=with_reasons)
    return found


def _lot_estimate(drawn: Drawn, lot: int, *, with_reasons: bool = True) -> LotEstimate:
    """Put together what is known of a lot; without the reasons (neighbours, words) where only figures are wanted."""
    evidence, settings = drawn.evidence, drawn.asked[lot]
    places = evidence.places
    draws = drawn.table(lot)
    support = lot_support(evidence, lot, settings)
    depth = np.arange(0.0, settings.max_depth_ft + CURVE_STEP_FT / 2, CURVE_STEP_FT)
    if depth[-1] < settings.max_depth_ft:
        depth = np.append(depth, settings.max_depth_ft)
    if draws is None:
        chance = np.full(len(depth), np.nan)
        yields = None
    else:
        chance = _chances_by(depth, draws["depth_to_target_ft"].to_numpy())
        yields = yields_at_depth(drawn, lot)
    chances = (float(chance[-1]), float(drawn.chance_of_dry_hole[lot])) if draws is not None else (np.nan, np.nan)
    in_gravel = drawn.in_gravel[lot] & (drawn.columns["depth_to_target_ft"][lot] <= settings.max_depth_ft)
    notes = lot_notes(evidence, lot, draws, (chances[0], float(in_gravel.mean())), settings)
    neighbours, words = pd.DataFrame(columns=NEIGHBOUR_COLUMNS), ("", "")
    by_yield = changes = pd.DataFrame(columns=CHANGE_COLUMNS)
    others = {}
    if with_reasons and draws is not None:
        assert evidence.laws is not None
        assert drawn.laws is not None
        rock = AtALot(
            lambda law, asked: target_depths(drawn, lot, law, asked)[0],
            evidence.laws,
            drawn.laws.take(np.array([lot])),
            evidence.lot_coordinates[lot],
            float(np.median(drawn.start[lot])),
        )
        others = {gpm: yields_at_depth(drawn, lot, gpm) for gpm in yields_asked(settings)}
        by_yield = chance_by_yield({gpm: one.target for gpm, one in others.items()}, settings)
        changes = what_would_change(rock, settings, evidence.dry_below_gpm)
    if with_reasons:
        neighbours = _neighbours(evidence, evidence.lot_coordinates[lot], draws is not None)
        words = (
            plain_words(draws, support, chances, settings, evidence.dry_below_gpm),
            technical_words(evidence, lot, draws, chances, settings, drawn.laws),
        )
    return LotEstimate(
        lot_id=places.lot_id[lot],
        longitude=float(places.longitude[lot]),
        latitude=float(places.latitude[lot]),
        support=support,
        notes=tuple(notes),
        wells_within_1km=int(evidence.within_1km[lot]),
        wells_within_5km=int(evidence.within_5km[lot]),
        nearest_well_m=float(evidence.nearest_m[lot]),
        deepest_well_ft=deepest_around_ft(evidence, lot),
        target_yield_gpm=settings.target_yield_gpm,
        max_depth_ft=settings.max_depth_ft,
        draws=draws,
        chance_of_target=chances[0],
        chance_of_dry_hole=chances[1],
        dry_below_gpm=evidence.dry_below_gpm,
        deepest_ft=settings.deepest_ft,
        target_curve=pd.DataFrame({"depth_ft": depth, "chance_of_target": chance}),
        by_yield=by_yield,
        changes=changes,
        neighbours=neighbours,
        plain_words=words[0],
        technical_words=words[1],
        _yields=yields,
        _others=others,
    )


def _chances_by(depth_ft: np.ndarray, target_ft: np.ndarray) -> np.ndarray:
    """Return the share of draws that have met their target by each depth."""
    return np.searchsorted(np.sort(target_ft), depth_ft, side="right") / len(target_ft)


def _neighbours(evidence: Evidence, place: np.ndarray, said: bool) -> pd.DataFrame:
    """Return the wells leaned on, weightiest first; the nearest, without weight, where nothing is said."""
    if not len(evidence.wells):
        return evidence.neighbour_table.assign(distance_m=0.0, weight=0.0)[NEIGHBOUR_COLUMNS]
    if said and evidence.laws is not None:
        index, distance, weight = (part[0] for part in evidence.laws.neighbours(place[None, :]))
        row = evidence.laws.stops.row[index]
        total = weight.sum()
        weight = weight / total if total > 0 else weight
    else:
        distance = np.hypot(*(evidence.coordinates - place).T)
        row = np.argsort(distance, kind="stable")[:SHOWN_NEIGHBOURS]
        distance, weight = distance[row], np.zeros(len(row))
    order = np.lexsort((distance, -weight))[:SHOWN_NEIGHBOURS]
    table = evidence.neighbour_table.iloc[row[order]]
    table = table.assign(distance_m=distance[order], weight=weight[order])
    return table[NEIGHBOUR_COLUMNS].reset_index(drop=True)
