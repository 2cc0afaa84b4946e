"""Tables about the last refresh, for its report page."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from wellrecords.schema import among
from wellrecords.store import read_manifest, read_table, read_wells

HISTOGRAMMED = ("total_depth_ft", "casing_depth_ft", "depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm")
BINS = 30
LEAST_YIELD_GPM = 0.1
"""Where the bins of yields begin: less is hardly a flow."""
LEADING_FIGURE = r"^(-?\d+(?:\.\d+)?)(?: or more| to .*)?$"
"""A figure of the ledger, or the lower end of an interval."""


def run_summary(store_dir: str | Path) -> dict[str, pd.DataFrame]:
    """Return the tables of a report on the last refresh.

    Parameters
    ----------
    store_dir : path

    Returns
    -------
    dict of str to DataFrame
        - `sources`: rows read, kept, merged, held back, mended, changes, flags, share held back,
          whether private; the worst source first
        - `held_back_by_reason`: `source`, `reason`, `why` (an example), `rows`
        - `changes_by_rule`: `rule`, `column`, `changes`, `sources`, `why`
        - `flags_by_rule`: `rule`, `column`, `flags`, `sources`, `why`
        - `merged_by_kind`: `why`, `rows`, `lowest_score`
        - `histograms`: `column`, `from`, `to`, `before`, `after` (wells a bin, as read and as kept)
        - `intervals`: `quantity`, `exact`, `at_least`, `at_most`, `between`, `not_stated` (wells)
        - `unknown_words`: `source`, `word`, `layers`, `example`
        - `undecided`: pairs of records that fit about as well as others
        `why` is null where all rows are of private sources: it may quote a
        record. Of those only `unknown_words` holds any text, single layers' words.
    """
    manifest = read_manifest(store_dir)
    wells = pd.DataFrame(read_wells(store_dir).drop(columns="geometry"))
    changes, flags = read_table(store_dir, "changes"), read_table(store_dir, "flags")
    held_back, merged = read_table(store_dir, "held_back"), read_table(store_dir, "merged")
    public = set(wells.loc[~wells["private"], "source"])
    sources = pd.DataFrame(manifest["sources"])
    sources["private"] = ~sources["source"].isin(public)
    sources["share_held_back"] = sources["held_back"] / sources["rows_read"].clip(lower=1)
    return {
        "sources": sources.sort_values("share_held_back", ascending=False, ignore_index=True),
        "held_back_by_reason": _counted(held_back, ["source", "reason"], "rows", public),
        "changes_by_rule": _counted(changes, ["rule", "column"], "changes", public),
        "flags_by_rule": _counted(flags, ["rule", "column"], "flags", public),
        "merged_by_kind": merged.groupby("why", as_index=False)
        .agg(rows=("record_id", "size"), lowest_score=("score", "min"))
        .sort_values("rows", ascending=False, ignore_index=True),
        "histograms": before_and_after(wells, changes),
        "intervals": _interval_kinds(wells),
        "unknown_words": read_table(store_dir, "unknown_words"),
        "undecided": read_table(store_dir, "undecided"),
    }


def before_and_after(wells: pd.DataFrame, changes: pd.DataFrame) -> pd.DataFrame:
    """Return histograms of the main quantities as they were read and as they are kept.

    As read is as kept, but that what a rule took out stands where it stood,
    and what a rule put in does not. A text that was read as a figure or a
    bound counts alike in both: the ledger has it in the source's own unit.
    Bins are equal steps, of yields equal ratios, from the least to the 99.5th
    percentile of the values as kept, so that dummies (9999) among those as
    read cannot stretch them; what lies beyond falls in the last bin, and what
    lies below, or yields below `LEAST_YIELD_GPM`, in the first.

    Parameters
    ----------
    wells : pandas.DataFrame
    changes : pandas.DataFrame
        `ledger.CHANGE_COLUMNS`.
    """
    changes = changes[among(changes["record_id"], wells["record_id"])]
    tables = []
    for column in HISTOGRAMMED:
        name = column if column in wells else f"{column}_low"
        after = wells.set_index("record_id")[name].astype(float)
        after = after[np.isfinite(after)]
        of_column = changes[changes["column"] == column]
        put_in = of_column.loc[of_column["before"].isna() & of_column["after"].notna(), "record_id"]
        taken_out = of_column[of_column["before"].notna() & of_column["after"].isna()]
        taken_out = taken_out[~taken_out["record_id"].isin(put_in)].drop_duplicates("record_id")
        said = pd.to_numeric(taken_out["before"].str.extract(LEADING_FIGURE)[0]).dropna().astype(float)
        changed = [*put_in, *taken_out.loc[said.index, "record_id"]]
        before = pd.concat([after[~after.index.isin(changed)], said])
        if before.empty:
            continue
        shown = before if after.empty else after
        least = float(shown.min())
        if column == "yield_gpm":
            least = max(least, LEAST_YIELD_GPM)
        top = max(float(np.nanpercentile(shown, 99.5)), least + 1e-9)
        edges = (np.geomspace if column == "yield_gpm" else np.linspace)(least, top, BINS + 1)
        tables.append(
            pd.DataFrame(
                {
                    "column": column,
                    "from": edges[:-1],
                    "to": edges[1:],
                    "before": np.histogram(before.clip(edges[0], edges[-1]), edges)[0],
                    "after": np.histogram(after.clip(edges[0], edges[-1]), edges)[0],
                }
            )
        )
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()


def _counted(table: pd.DataFrame, by: list[str], name: str, public: set[str]) -> pd.DataFrame:
    """Count rows; `why` is the first public row's, since it may hold some of the record's text."""
    table = table.assign(why=table["why"].where(table["source"].isin(public)))
    grouped = table.groupby(by, as_index=False).agg(
        **{name: ("source", "size"), "sources": ("source", "nunique"), "why": ("why", "first")}
    )
    return grouped.sort_values(name, ascending=False, ignore_index=True)


def _interval_kinds(wells: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for quantity in ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm"):
        low, high = (wells[f"{quantity}_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
        stated = ~np.isnan(low)
        exact = stated & (low == high)
        at_least, at_most = stated & np.isposinf(high), stated & np.isneginf(low)
        rows.append(
            {
                "quantity": quantity,
                "exact": int(exact.sum()),
                "at_least": int(at_least.sum()),
                "at_most": int(at_most.sum()),
                "between": int((stated & ~exact & ~at_least & ~at_most).sum()),
                "not_stated": int((~stated).sum()),
            }
        )
    return pd.DataFrame(rows)
