"""What a conversion did to many rows at once, in plain sentences: the ledger has it row by row, and few read that.

A column of dates in a way of writing that the layout does not name would
become unknown without a word; a hundred places turned round would be a
number among the changes. Both are said where the refresh is seen.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from wellrecords.cleaning.findings import Findings
from wellrecords.errors import counted
from wellrecords.schema import among
from wellrecords.sources.draft_contents import date_formats

UNREADABLE = ("unreadable_date", "unreadable_as_unknown")
"""Rules by which a text becomes unknown though nobody said that it means nothing."""
MOST = 0.5
SHOWN_PAIRS = 3
MENDED_PLACES = {
    "swapped_coordinates": ("had latitude and longitude swapped", "turned round"),
    "unsigned_longitude": ("had lost the minus sign of the longitude", "put west of Greenwich"),
    "swapped_and_unsigned": ("had latitude and longitude swapped and no minus sign", "turned round and put west"),
}


def mended_places(changes: pd.DataFrame) -> dict[str, str]:
    """Say how many places were mended, by kind.

    Parameters
    ----------
    changes : pandas.DataFrame
        The ledger of the rows that are kept.

    Returns
    -------
    dict of str to str
        Rule -> sentence.
    """
    counts = changes.loc[changes["column"] == "position", "rule"].value_counts()
    told = {}
    for rule, (had, done) in MENDED_PLACES.items():
        if number := int(counts.get(rule, 0)):
            told[rule] = f"{counted(number, 'place')} {had} and {'was' if number == 1 else 'were'} {done}"
    return told


def mostly_unknown(findings: Findings, changes: pd.DataFrame) -> dict[str, str]:
    """Say of which columns most texts became unknown, as no rule of the layout reads them.

    Parameters
    ----------
    findings : Findings
    changes : pandas.DataFrame
        The ledger of the rows that are kept.

    Returns
    -------
    dict of str to str
        Canonical column -> sentence with the next step.
    """
    lost = changes.loc[changes["rule"].isin(UNREADABLE), "column"].value_counts()
    told = {}
    for column, number in lost.items():
        name = str(column)
        texts = _texts(findings, name)
        filled = int((texts != "").sum())
        if number > MOST * filled:
            texts_of = f"{number:,} of {counted(filled, 'text')}"
            told[name] = f"{name}: {texts_of} cannot be read and became unknown. Next: {next_step(findings, name)}"
    return told


def next_step(findings: Findings, column: str) -> str:
    """Return what to write into the layout, so that a column can be read."""
    layout = findings.layout
    if column not in layout.dates:
        return f"say under readings.{column} in the layout {layout.name!r} what such texts mean (unit, words, missing)"
    texts = _texts(findings, column)
    formats, _ = date_formats(texts[texts != ""])
    written = ", ".join(f'"{form}"' for form in formats)
    line = f"formats = [{written}]" if formats else 'formats, such as formats = ["%m/%d/%Y"]'
    return f"add {line} under dates.{column} in the layout {layout.name!r}"


def equal_rows(findings: Findings) -> list[str]:
    """Say which rows are the same as another, text by text.

    Two equal wells on one day are hardly two wells: a row was copied. Without
    a number of their own they are told apart by count alone, and where a
    source is `distinct` both stay.
    """
    table = findings.raw.table
    rules = findings.layout.text.get("source_record_id")
    own = findings.texts(rules.from_) if rules else pd.Series("", index=table.index, dtype="str")
    asked = np.flatnonzero((own.duplicated(keep=False) | (own == "")).to_numpy())
    if not len(asked):
        return []
    part = table.iloc[asked]
    again = part.duplicated(keep="first").to_numpy()
    if not again.any():
        return []
    groups = part.groupby(list(part.columns), sort=False, dropna=False).ngroup()
    first = pd.Series(asked).groupby(groups.to_numpy()).transform("first").to_numpy()
    rows = findings.raw.file_row
    pairs = [
        f"row {rows[row]} is the same as row {rows[to]}" for row, to in zip(asked[again], first[again], strict=True)
    ]
    shown = ", ".join(pairs[:SHOWN_PAIRS])
    more = f", and {len(pairs) - SHOWN_PAIRS:,} more" if len(pairs) > SHOWN_PAIRS else ""
    return [f"{counted(len(pairs), 'row')} copied letter by letter: {shown}{more}"]


def copies_that_stay(wells: pd.DataFrame, sources: Collection[str]) -> list[str]:
    """Say which sources keep copied rows as wells of their own, though they are not said to be `distinct`.

    Without a permit, an owner or an address nothing shows that two equal rows
    are one well, so that the match leaves them; each then counts twice.

    Parameters
    ----------
    wells : pandas.DataFrame
        The dataset's: `record_id`, `source`.
    sources : collection of str
        Those that are asked.
    """
    ids = wells.loc[wells["source"].isin(sources), ["source", "record_id"]]
    stem = ids["record_id"].str.replace(r"~\d+$", "", regex=True)
    copies = ids[(stem != ids["record_id"]) & among(stem, ids["record_id"])]
    return [
        f"{source}: {counted(int(number), 'copied row')} {'stays' if number == 1 else 'stay'} beside the first, each "
        "a well of its own: nothing but the equal text says that they are one. Next: take the copies out of the file"
        for source, number in copies["source"].value_counts(sort=False).items()
    ]


def _texts(findings: Findings, column: str) -> pd.Series:
    """Return the texts of a column in the rows that are kept."""
    layout = findings.layout
    if column in layout.dates:
        rules = layout.dates[column]
        names = rules.from_ or rules.year
    elif column in layout.readings:
        names = layout.readings[column].from_
    else:
        parts = {"layers": layout.layers, "water_zones": layout.water_zones}.get(column)
        names = parts.text_from if parts is not None else ()
    return findings.texts(names)[~findings.held]
