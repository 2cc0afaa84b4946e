"""From records to wells: the four steps of the matching in a row."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from pyproj import Transformer

from wellrecords.ledger import MERGED_COLUMNS
from wellrecords.matching.candidates import candidate_pairs
from wellrecords.matching.clusters import grow_clusters
from wellrecords.matching.combine import PROVENANCE_COLUMNS, combine
from wellrecords.matching.evidence import gather_evidence
from wellrecords.matching.rivals import weigh_rivals
from wellrecords.matching.scores import Scored, Scorer
from wellrecords.matching.settings import MatchingSettings
from wellrecords.schema import TEXT, WELL_COLUMNS, WGS84, conform, empty_table

HISTORY_COLUMNS: dict[str, str] = {**WELL_COLUMNS, "kept_record_id": TEXT, "relation": TEXT}
UNDECIDED_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "fits_record_id": TEXT,
    "source": TEXT,
    "score": "float64",
    "why": TEXT,
}


@dataclass(frozen=True)
class Merged:
    """One row a well, and how it came about.

    Attributes
    ----------
    wells, layers, water_zones : pandas.DataFrame
        The canonical tables, sorted by `record_id`.
    merged : pandas.DataFrame
        `ledger.MERGED_COLUMNS`: one row an absorbed record.
    provenance : pandas.DataFrame
        `combine.PROVENANCE_COLUMNS`: the values that the kept record has from another.
    history : pandas.DataFrame
        The absorbed records as they were, with `kept_record_id` and `relation`.
    undecided : pandas.DataFrame
        Pairs that were not merged because a record fits two wells about as well.
    """

    wells: pd.DataFrame
    layers: pd.DataFrame
    water_zones: pd.DataFrame
    merged: pd.DataFrame
    provenance: pd.DataFrame
    history: pd.DataFrame
    undecided: pd.DataFrame


def merge_duplicates(
    wells: pd.DataFrame,
    layers: pd.DataFrame,
    water_zones: pd.DataFrame,
    settings: MatchingSettings,
    crs: str,
    *,
    distinct_sources: Collection[str] = (),
) -> Merged:
    """Find the records that are one well and make one row of them.

    Parameters
    ----------
    wells : pandas.DataFrame
        Canonical columns with distinct `record_id`; also `permit`, `owner` and
        `address` where the source has them, which are used here and not kept.
    layers, water_zones : pandas.DataFrame
    settings : MatchingSettings
    crs : str
        Projected system in metres.
    distinct_sources : collection of str
        Sources that hold each well once, as the result of an earlier matching
        does: their rows are compared with those of other sources only.

    Returns
    -------
    Merged
        ``len(wells) == len(result.wells) + len(result.merged)``. The order of
        the rows makes no difference.
    """
    wells = wells.sort_values("record_id", kind="stable").reset_index(drop=True)
    canonical = conform(wells, WELL_COLUMNS)
    if len(wells) < 2:
        return _nothing_merged(canonical, layers, water_zones)
    easting_m, northing_m = Transformer.from_crs(WGS84, crs, always_xy=True).transform(
        wells["longitude"].to_numpy(dtype=float), wells["latitude"].to_numpy(dtype=float)
    )
    evidence = gather_evidence(easting_m, northing_m, wells, settings.days_apart)
    numbers = ((evidence.own_number, evidence.permit), (evidence.address,))
    pairs = candidate_pairs(easting_m, northing_m, wells, numbers, settings)
    distinct = wells["source"].isin(distinct_sources).to_numpy()
    pairs = pairs[~(distinct[pairs[:, 0]] & (evidence.source[pairs[:, 0]] == evidence.source[pairs[:, 1]]))]
    if not len(pairs):
        return _nothing_merged(canonical, layers, water_zones)
    scorer = Scorer(evidence, settings)
    scored = scorer.learn(pairs)
    decided = _decide(scored, evidence.source, settings.threshold)
    # What records tell of one well together decides what each alone could not.
    grouped = np.bincount(decided.cluster)[decided.cluster] > 1
    a, b = scored.pairs[:, 0], scored.pairs[:, 1]
    fuller = np.flatnonzero((grouped[a] | grouped[b]) & (decided.cluster[a] != decided.cluster[b]))
    scored.score[fuller] = scorer.score(scored.pairs[fuller], evidence.shared(decided.cluster))
    decided = _decide(scored, evidence.source, settings.threshold)
    cluster, sure = decided.cluster, decided.sure
    undecided = _undecided(canonical, scored.pairs, scored.score, decided.outdone, decided.rival)
    pairs, score = scored.pairs[sure], decided.score[sure]
    kept_wells, kept_layers, kept_zones, provenance, absorbed = combine(canonical, layers, water_zones, cluster)
    merged, history = _account(canonical, absorbed, pairs, score, cluster)
    return Merged(kept_wells, kept_layers, kept_zones, merged, provenance, history, undecided)


@dataclass(frozen=True)
class _Decided:
    """The pairs against their rivals, and the groups that follow."""

    score: np.ndarray
    sure: np.ndarray
    outdone: np.ndarray
    rival: np.ndarray
    cluster: np.ndarray


def _decide(scored: Scored, source: np.ndarray, threshold: float) -> _Decided:
    score, rival = weigh_rivals(scored.pairs, scored.score, scored.later, source, threshold)
    sure = score >= threshold
    # Where the rival is the one, nothing is undecided.
    outdone = ~sure & (scored.score >= threshold) & ~sure[rival]
    cluster = grow_clusters(scored.pairs, np.where(sure, score, scored.score), sure, source, len(source))
    return _Decided(score, sure, outdone, rival, cluster)


def _account(
    wells: pd.DataFrame, absorbed: np.ndarray, pairs: np.ndarray, score: np.ndarray, cluster: np.ndarray
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Write down each absorbed record: where it went, how sure that is, and why."""
    rows, kept = wells.iloc[absorbed[:, 0]], wells.iloc[absorbed[:, 1]]
    inside = cluster[pairs[:, 0]] == cluster[pairs[:, 1]]
    best = np.full(len(wells), -np.inf)
    np.maximum.at(best, pairs[inside].ravel(), np.repeat(score[inside], 2))
    same_source = (rows["source"].array == kept["source"].array).astype(bool)
    kind, kept_kind = rows["record_kind"].to_numpy(dtype=object), kept["record_kind"].to_numpy(dtype=object)
    relation = np.select(
        [
            (kind == "abandoned") & (kept_kind != "abandoned"),
            (kind == "repaired") & (kept_kind != "repaired"),
            (kept_kind == "deepened") & (kind != "deepened"),
            same_source,
        ],
        ["its sealing", "its repair", "its state before it was deepened", "the same record, filed twice"],
        "the same well in another source",
    )
    merged = pd.DataFrame(
        {
            "record_id": rows["record_id"].array,
            "kept_record_id": kept["record_id"].array,
            "source": rows["source"].array,
            "source_record_id": rows["source_record_id"].array,
            "score": best[absorbed[:, 0]],
            "why": relation,
        }
    ).astype(MERGED_COLUMNS)
    history = rows.assign(kept_record_id=kept["record_id"].array, relation=relation)
    by = ["kept_record_id", "record_id"]
    return (
        merged.sort_values(by, ignore_index=True),
        conform(history.reset_index(drop=True), HISTORY_COLUMNS).sort_values(by, ignore_index=True),
    )


def _undecided(
    wells: pd.DataFrame, pairs: np.ndarray, score: np.ndarray, outdone: np.ndarray, rival: np.ndarray
) -> pd.DataFrame:
    unsure = np.flatnonzero(outdone)
    ids = wells["record_id"].to_numpy(dtype=object)
    one, other = pairs[unsure, 0], pairs[unsure, 1]
    # A record and its two suitors: the one that both pairs share comes first.
    shared = (one == pairs[rival[unsure], 0]) | (one == pairs[rival[unsure], 1])
    record, fits = np.where(shared, one, other), np.where(shared, other, one)
    return (
        pd.DataFrame(
            {
                "record_id": ids[record],
                "fits_record_id": ids[fits],
                "source": wells["source"].to_numpy(dtype=object)[fits],
                "score": score[unsure],
                "why": "the record fits another well of that source about as well",
            }
        )
        .astype(UNDECIDED_COLUMNS)
        .sort_values(["record_id", "fits_record_id"], ignore_index=True)
    )


def _nothing_merged(wells: pd.DataFrame, layers: pd.DataFrame, water_zones: pd.DataFrame) -> Merged:
    tables = (MERGED_COLUMNS, PROVENANCE_COLUMNS, HISTORY_COLUMNS, UNDECIDED_COLUMNS)
    return Merged(wells, layers, water_zones, *(empty_table(columns) for columns in tables))
