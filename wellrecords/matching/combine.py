"""One row a well, made of the records that are that well.

Which record gave which value is written down (`provenance`), and the records
that were absorbed are kept as they were (`history`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from wellrecords.schema import LAYER_COLUMNS, TEXT, WATER_ZONE_COLUMNS, WELL_COLUMNS, conform

PROVENANCE_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "column": TEXT,
    "from_record_id": TEXT,
    "source": TEXT,
    "source_record_id": TEXT,
}
"""One row a value of a merged well that another record than the kept one gave."""

TOGETHER: tuple[tuple[str, ...], ...] = (
    ("well_use",),
    ("drilled_on",),
    ("land_elevation_ft",),
    ("total_depth_ft",),
    ("casing_depth_ft",),
    ("casing_diameter_in",),
    ("screen_top_ft", "screen_bottom_ft"),
    ("drilling_method",),
    ("hydrofractured",),
    ("depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"),
    ("depth_to_water_ft_low", "depth_to_water_ft_high"),
    ("yield_gpm_low", "yield_gpm_high", "yield_method"),
    ("main_rock",),
)
"""Columns that are taken from one record together."""
PLACE = ("longitude", "latitude", "position_method", "position_error_m")
OF_THE_STATE = ("depth_to_water_ft_low", "yield_gpm_low", "screen_top_ft", "total_depth_ft")
"""What a deepening changes: the reading of an earlier state is not carried over."""
NOT_SAID = "unknown"
SAME_DEPTH_FT = 5.0


def combine(
    wells: pd.DataFrame, layers: pd.DataFrame, water_zones: pd.DataFrame, cluster: np.ndarray
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame, np.ndarray]:
    """Make one row of each group of records.

    Parameters
    ----------
    wells, layers, water_zones : pandas.DataFrame
        The canonical tables; the index of `wells` counts from 0.
    cluster : ndarray of int, shape (n,)
        Group of each well record.

    Returns
    -------
    wells, layers, water_zones : pandas.DataFrame
    provenance : pandas.DataFrame
        `PROVENANCE_COLUMNS`.
    absorbed : ndarray of int, shape (m, 2)
        Row of each absorbed record in `wells`, and row of the record that it went into.
    """
    sizes = np.bincount(cluster)
    grouped = sizes[cluster] > 1
    alone = wells.loc[~grouped]
    if not grouped.any():
        none = pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in PROVENANCE_COLUMNS.items()})
        return wells, layers, water_zones, none, np.empty((0, 2), dtype=np.int64)
    members = wells.loc[grouped].assign(cluster=cluster[grouped])
    members = _in_order(members)
    first = ~members["cluster"].duplicated().to_numpy()
    group = np.cumsum(first) - 1
    leader = np.flatnonzero(first)[group]
    kept = members.loc[first].copy()
    ids = members["record_id"].to_numpy(dtype=object)
    givers: list[tuple[str, np.ndarray, np.ndarray]] = []
    kind = members["record_kind"].to_numpy(dtype=object)
    depth = members["total_depth_ft"].to_numpy(dtype=float)
    # After a deepening only records of the deepened hole speak of its water, its yield and its depth.
    earlier = (
        (kind[leader] == "deepened") & ~(depth >= depth[leader] - SAME_DEPTH_FT) & (np.arange(len(kind)) != leader)
    )
    for columns in TOGETHER:
        said = _said(members, columns[0])
        if columns[0] in OF_THE_STATE:
            said = said & ~earlier
        givers.append((columns[0].removesuffix("_low"), *_take(members, kept, columns, said, group)))
    # The best-known place: members are ordered by other merits, so choose by error, then by that order.
    error = members["position_error_m"].to_numpy(dtype=float)
    least = pd.Series(error).groupby(group).transform("min").to_numpy()
    givers.append(("position", *_take(members, kept, PLACE, error <= least, group)))
    kept["private"] = members["private"].astype(bool).groupby(group).any().to_numpy()
    sealed = pd.Series(kind == "abandoned").groupby(group).any().to_numpy()
    repaired = pd.Series(kind == "repaired").groupby(group).any().to_numpy() & (kept["record_kind"] == "new").to_numpy()
    kept.loc[repaired, "record_kind"] = "repaired"
    kept.loc[sealed, "record_kind"] = "abandoned"
    kept.loc[sealed, "well_use"] = "unused"
    into = pd.Series(ids[leader], index=ids, dtype=TEXT)
    rank = pd.Series(np.arange(len(members)), index=ids)
    rows = members.index.to_numpy()
    absorbed = np.column_stack([rows, rows[leader]])[leader != np.arange(len(rows))]
    merged_wells = pd.concat([alone, kept.drop(columns="cluster")], ignore_index=True)
    merged_wells = merged_wells.sort_values("record_id", kind="stable").reset_index(drop=True)
    return (
        merged_wells,
        _children(layers, into, rank, LAYER_COLUMNS),
        _children(water_zones, into, rank, WATER_ZONE_COLUMNS),
        _provenance(members, ids, np.flatnonzero(first), givers),
        absorbed,
    )


def _in_order(members: pd.DataFrame) -> pd.DataFrame:
    """Order the records of each group so that the first has the say.

    The deepest state first; a record of the hole before one of a repair or a
    sealing, which repeats it; the firm's own record; the fuller one.
    """
    state = members["record_kind"].map({"deepened": 0, "replaced": 1, "new": 1, "repaired": 2, "abandoned": 3})
    depth = members["total_depth_ft"].where(members["record_kind"] == "deepened").fillna(0.0)
    counted = [column for column in WELL_COLUMNS if column not in PLACE]
    full = members[counted].notna().sum(axis=1)
    keys = pd.DataFrame(
        {
            "cluster": members["cluster"],
            "state": state,
            "depth": -depth,
            "public": ~members["private"].astype(bool),
            "full": -full,
            "error": members["position_error_m"],
            "record_id": members["record_id"],
        }
    )
    return members.loc[keys.sort_values(list(keys.columns), kind="stable").index]


def _said(members: pd.DataFrame, column: str) -> np.ndarray:
    said = members[column].notna().to_numpy(dtype=bool)
    if column in ("well_use", "drilling_method"):
        said = said & (members[column] != NOT_SAID).to_numpy(dtype=bool)
    return said


def _take(
    members: pd.DataFrame, kept: pd.DataFrame, columns: tuple[str, ...], said: np.ndarray, group: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Give each kept row the value of the first member that says something; return who gave and who took."""
    places = np.flatnonzero(said)
    _, first = np.unique(group[places], return_index=True)
    giver = places[first]
    taker = group[giver]
    for column in columns:
        values = kept[column].array.copy()
        values[taker] = members[column].array[giver]
        kept[column] = values
    return giver, taker


def _provenance(
    members: pd.DataFrame, ids: np.ndarray, leaders: np.ndarray, givers: list[tuple[str, np.ndarray, np.ndarray]]
) -> pd.DataFrame:
    """Write down each value that another record than the kept one gave."""
    names = np.concatenate([np.full(len(giver), number) for number, (_, giver, _) in enumerate(givers)])
    giver = np.concatenate([giver for _, giver, _ in givers])
    taker = leaders[np.concatenate([taker for _, _, taker in givers])]
    other = giver != taker
    names, giver, taker = names[other], giver[other], taker[other]
    told = pd.DataFrame(
        {
            "record_id": ids[taker],
            "column": np.array([name for name, _, _ in givers], dtype=object)[names],
            "from_record_id": ids[giver],
            "source": members["source"].array[giver],
            "source_record_id": members["source_record_id"].array[giver],
        }
    ).astype(PROVENANCE_COLUMNS)
    return told.sort_values(["record_id", "column"], ignore_index=True)


def _children(table: pd.DataFrame, into: pd.Series, rank: pd.Series, columns: dict[str, str]) -> pd.DataFrame:
    """Hang the layers or zones of a group on the kept record: those of one member, the first that has any."""
    if table.empty:
        return table
    owner = table["record_id"].map(into)
    single = table.loc[owner.isna()]
    shared = table.loc[owner.notna()]
    if shared.empty:
        return table
    place = shared["record_id"].map(rank).to_numpy()
    to = owner[owner.notna()]
    chosen = place == pd.Series(place).groupby(to.to_numpy()).transform("min").to_numpy()
    moved = shared.loc[chosen].assign(record_id=to[chosen].array)
    return conform(pd.concat([single, moved], ignore_index=True), columns)
