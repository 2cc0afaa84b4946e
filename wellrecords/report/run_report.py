"""The report of a refresh, for the analyst: what became of the rows, and where the sources are worst."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from wellrecords import wording
from wellrecords.errors import counted
from wellrecords.report.charts import before_and_after
from wellrecords.report.page import render_page, write_page
from wellrecords.report.quality import in_words
from wellrecords.report.region_report import RunCounts
from wellrecords.report.settings import ReportSettings

CHARTED = {
    "total_depth_ft": ("Well depth", "ft"),
    "casing_depth_ft": ("Casing depth", "ft"),
    "depth_to_bedrock_ft": ("Depth to rock", "ft"),
    "depth_to_water_ft": ("Depth to water", "ft"),
    "yield_gpm": ("Yield", "gpm"),
}
MOST_WORDS = 60
"""Unknown words listed; the rest are counted."""
PRIVATE = "not shown: private rows only"


def write_run_report(
    path: str | os.PathLike[str],
    *,
    summary: Mapping[str, pd.DataFrame],
    region: str,
    prepared_on: date | None = None,
    prepared_by: str | None = None,
    settings: ReportSettings | None = None,
) -> Path:
    """Write the report of the last refresh as one self-contained HTML file.

    Parameters
    ----------
    path : path-like
    summary : mapping of str to DataFrame
        From `run_tables.run_summary`.
    region : str
        Its name.
    prepared_on, prepared_by : optional
        Printed in the heading.
    settings : ReportSettings, optional

    Returns
    -------
    pathlib.Path

    Raises
    ------
    WellRecordsError
        Where the rows do not add up.
    """
    settings = settings or ReportSettings()
    sources = summary["sources"]
    names = ("rows_read", "kept", "merged", "held_back")
    counts = RunCounts(**{name: int(sources[name].sum()) for name in names})
    words = summary["unknown_words"].sort_values("layers", ascending=False, kind="stable")
    html = render_page(
        "run.html",
        title=f"{region}: the last refresh",
        language=settings.language,
        region=region,
        prepared_on=f"{prepared_on:%B} {prepared_on.day}, {prepared_on.year}" if prepared_on else None,
        prepared_by=prepared_by,
        has_private=bool(sources["private"].any()),
        lead=_lead(sources, counts),
        counts=counts,
        sources=_source_rows(sources),
        total=_total(sources),
        held_back=[
            (in_words(row["source"]), in_words(row["reason"]), _why(row["why"]), wording.whole(row["rows"]))
            for row in _worst_first(summary["held_back_by_reason"], sources).to_dict("records")
        ],
        changes=_by_rule(summary["changes_by_rule"], "changes"),
        flags=_by_rule(summary["flags_by_rule"], "flags"),
        charts=_charts(summary["histograms"], _flowing(summary["intervals"])),
        intervals=[
            (CHARTED[row["quantity"]][0], *(wording.whole(row[kind]) for kind in row if kind != "quantity"))
            for row in summary["intervals"].to_dict("records")
        ],
        merged=[
            (str(row["why"]), wording.whole(row["rows"]), f"{row['lowest_score']:.2f}")
            for row in summary["merged_by_kind"].to_dict("records")
        ],
        undecided=counted(len(summary["undecided"]), "pair"),
        words=[
            (str(row["word"]), in_words(row["source"]), wording.whole(row["layers"]))
            for row in words.head(MOST_WORDS).to_dict("records")
        ],
        more_words=len(words) - MOST_WORDS,
    )
    return write_page(path, html)


def _lead(sources: pd.DataFrame, counts: RunCounts) -> str:
    said = f"{counted(counts.rows_read, 'row')} from {counted(len(sources), 'source')}."
    if counts.held_back and len(sources) > 1:
        worst = sources.iloc[0]
        said += f" Worst is {in_words(worst['source'])}: {_share(worst)} of its rows are held back."
    return said


def _source_rows(sources: pd.DataFrame) -> list[tuple[str, ...]]:
    return [
        (
            in_words(row["source"]),
            *(wording.whole(row[name]) for name in ("rows_read", "kept", "merged", "held_back")),
            _share(row),
            *(wording.whole(row[name]) for name in ("mended", "changes", "flags")),
        )
        for row in sources.to_dict("records")
    ]


def _total(sources: pd.DataFrame) -> tuple[str, ...]:
    names = ("rows_read", "kept", "merged", "held_back", "mended", "changes", "flags")
    total: dict[str, Any] = {name: int(sources[name].sum()) for name in names}
    total["share_held_back"] = total["held_back"] / max(total["rows_read"], 1)
    return ("All", *_source_rows(pd.DataFrame([{"source": "", **total}]))[0][1:])


def _share(row: Mapping[str, Any] | pd.Series) -> str:
    """Return the counted share of rows held back: a count, so 0% may be said."""
    return f"{row['share_held_back']:.1%}"


def _worst_first(held_back: pd.DataFrame, sources: pd.DataFrame) -> pd.DataFrame:
    """Order by source as `sources` is, then by rows."""
    place = held_back["source"].map({name: number for number, name in enumerate(sources["source"])})
    ordered = held_back.assign(place=place).sort_values(["place", "rows"], ascending=[True, False], kind="stable")
    return ordered.drop(columns="place")


def _by_rule(table: pd.DataFrame, count: str) -> list[tuple[str, ...]]:
    return [
        (
            in_words(row["rule"]),
            _column(row["column"]),
            _why(row["why"]),
            wording.whole(row["sources"]),
            wording.whole(row[count]),
        )
        for row in table.to_dict("records")
    ]


def _column(name: str) -> str:
    """Return a column in words; the foot of the page says the units."""
    return in_words(name.removesuffix("_ft").removesuffix("_gpm").removesuffix("_in"))


def _why(text: object) -> str:
    return PRIVATE if wording.is_missing(text) else str(text)


def _flowing(intervals: pd.DataFrame) -> int:
    """Return how many wells flow, or stand at most at some depth: no bar has their level."""
    return int(intervals.loc[intervals["quantity"] == "depth_to_water_ft", "at_most"].sum())


def _charts(histograms: pd.DataFrame, flowing: int) -> list[dict[str, Any]]:
    if histograms.empty:
        return []
    return [
        {
            "title": CHARTED[column][0],
            "note": f"In no bar: {counted(flowing, 'well')} that flow, or whose level is known at most."
            if column == "depth_to_water_ft" and flowing
            else None,
            "svg": before_and_after(
                bins, name=f"chart-{column.replace('_', '-')}", label=CHARTED[column][0], unit=CHARTED[column][1]
            ),
        }
        for column, bins in histograms.groupby("column", sort=False)
    ]
