"""Tables of what a dataset holds and how good its readings are."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from wellrecords import wording
from wellrecords.report.map_data import WELL_QUANTITIES, best_known, interval

Row = tuple[str, ...]


def middle_eight(wells: pd.DataFrame, quantity: str) -> tuple[float, float, float]:
    """Return p10, p50 and p90 of the readings, bounds taken as they stand; NaN where there are none."""
    values = best_known(wells, quantity)
    values = values[np.isfinite(values)]
    if not values.size:
        return float("nan"), float("nan"), float("nan")
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float(low), float(middle), float(high)


def readings_table(wells: pd.DataFrame, *, least: int = 1) -> list[Row]:
    """Return for each quantity: label, wells with it, share, exact, only a bound or range, p10, p50, p90.

    Quantities that fewer than `least` wells record are left out, here and in
    the tables below.
    """
    rows: list[Row] = []
    for key, label, unit in WELL_QUANTITIES:
        low, high = interval(wells, key)
        known = ~(np.isnan(low) | np.isnan(high)) & ~(np.isinf(low) & np.isinf(high))
        exact = known & (low == high)
        if 0 < known.sum() < least:
            continue
        say = wording.flow if unit == "gpm" else wording.water_level if key == "depth_to_water_ft" else wording.depth
        rows.append(
            (
                label,
                wording.whole(int(known.sum())),
                _share(known.sum(), len(wells)),
                _share(exact.sum(), known.sum()),
                _share((known & ~exact).sum(), known.sum()),
                *(say(value) for value in middle_eight(wells, key)),
            )
        )
    return rows


def positions_table(wells: pd.DataFrame, *, least: int = 1) -> list[Row]:
    """Return for each way of knowing the place: name, wells, share, middle error."""
    rows: list[Row] = []
    grouped = wells.groupby("position_method", observed=True)["position_error_m"]
    for method, errors in sorted(grouped, key=lambda item: (-len(item[1]), str(item[0]))):
        if len(errors) < least:
            continue
        error_ft = float(errors.median()) / 0.3048
        rows.append(
            (
                f"{in_words(method)} (error assumed)" if str(method) == "unknown" else in_words(method),
                wording.whole(len(errors)),
                _share(len(errors), len(wells)),
                f"{wording.two_figures(error_ft)} ft",
            )
        )
    return rows


def shares_table(wells: pd.DataFrame, column: str, *, least: int = 1) -> list[Row]:
    """Return for each value of a column: value in words, wells, share."""
    counts = wells[column].astype("string").fillna("not recorded").value_counts()
    ordered = sorted(counts.items(), key=lambda item: (-item[1], str(item[0])))
    return [
        (in_words(value), wording.whole(count), _share(count, len(wells))) for value, count in ordered if count >= least
    ]


def decades_table(wells: pd.DataFrame, *, least: int = 1) -> list[Row]:
    """Return wells by decade of drilling: decade, wells, share."""
    decade = wells["drilled_on"].dt.year // 10 * 10
    counts = decade.dropna().astype(int).value_counts().sort_index()
    counts = counts[counts >= least]
    rows: list[Row] = [
        (f"{value}s", wording.whole(count), _share(count, len(wells))) for value, count in counts.items()
    ]
    missing = int(decade.isna().sum())
    if missing >= least:
        rows.append(("not recorded", wording.whole(missing), _share(missing, len(wells))))
    return rows


def rows_by_source(wells: pd.DataFrame, merged: pd.DataFrame | None, held_back: pd.DataFrame | None) -> dict[str, Any]:
    """Return what became of each source's rows.

    Parameters
    ----------
    wells : DataFrame
        Those kept; a merged well counts for the source of its kept record.
    merged, held_back : DataFrame or None
        The ledger's tables.

    Returns
    -------
    dict
        `rows` (source, kept, merged, held back, all) and `total`.
    """
    counts = pd.DataFrame(
        {
            name: table["source"].astype("string").value_counts() if table is not None else pd.Series(dtype="int64")
            for name, table in (("kept", wells), ("merged", merged), ("held_back", held_back))
        }
    )
    counts = counts.fillna(0).astype(int).sort_index()
    counts["all"] = counts.sum(axis=1)
    total = counts.sum()
    return {
        "rows": [(in_words(source), *(wording.whole(value) for value in row)) for source, row in counts.iterrows()],
        "total": ("All", *(wording.whole(value) for value in total)),
    }


def held_back_by_reason(held_back: pd.DataFrame) -> list[Row]:
    """Return held-back rows by reason: reason in words, why (an example), rows."""
    return _by(held_back, ["reason"])


def changes_by_rule(changes: pd.DataFrame) -> list[Row]:
    """Return changed values by rule and column: rule, column, why (an example), values."""
    return _by(changes, ["rule", "column"])


def _by(table: pd.DataFrame, keys: list[str]) -> list[Row]:
    if not len(table):
        return []
    texts = table[[*keys, "why"]].astype("string").fillna("")
    grouped = texts.groupby(keys, sort=True, observed=True)["why"].agg(["first", "size"]).reset_index()
    grouped = grouped.sort_values("size", ascending=False, kind="stable")
    return [
        (*(in_words(row[key]) for key in keys), str(row["first"]), wording.whole(int(row["size"])))
        for row in grouped.to_dict("records")
    ]


def in_words(value: object) -> str:
    """Return a code as words."""
    return str(value).replace("_", " ")


def _share(part: float, whole: float) -> str:
    if not whole:
        return wording.MISSING
    if part in (0, whole):
        return "0%" if part == 0 else "100%"
    return wording.percent(float(part) / float(whole))
