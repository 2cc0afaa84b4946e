"""A source that gives no well: an empty file, or one whose every row is held back.

A refresh replaces the dataset. A download that broke off after its header, or
a layout that fits no row, would replace good wells by none, and every row
would still add up; so such a source stops the run.
"""

from __future__ import annotations

import pandas as pd

from wellrecords.errors import Problem, counted

SHOWN_REASONS = 3


def nothing_kept(source: str, file: str, *, rows_read: int, kept: int, held_back: pd.DataFrame) -> Problem | None:
    """Return what is wrong with a source of which no row is kept, None where one is.

    Parameters
    ----------
    source : str
        Its name.
    file : str
    rows_read, kept : int
    held_back : pandas.DataFrame
        Its held-back rows: `reason`, `why` and `file_row` are told.

    Returns
    -------
    Problem or None
    """
    if kept:
        return None
    rule = "each source gives at least one well, so that no dataset is replaced by an empty one"
    if not rows_read:
        return Problem(
            what=f"the file has no rows: source {source} gives no well",
            rule=rule,
            next_step="get the file again, or take the source out of the settings",
            file=file,
            code="no_rows",
        )
    reasons = held_back["reason"].value_counts()
    told = []
    for reason, count in reasons.head(SHOWN_REASONS).items():
        first = held_back[held_back["reason"] == reason].iloc[0]
        told.append(f"{reason} {count:,} (first row {first['file_row']}: {first['why']})")
    more = f"; and {counted(len(reasons) - SHOWN_REASONS, 'more reason')}" if len(reasons) > SHOWN_REASONS else ""
    held = "its 1 row would be" if rows_read == 1 else f"all {rows_read:,} rows would be"
    return Problem(
        what=f"source {source} keeps no row: {held} held back: {'; '.join(told)}{more}",
        rule=rule,
        next_step="mend the layout, the bounds under [region] or the rows, or take the source out of the settings",
        file=file,
        code="keeps_none",
        private=True,
    )
