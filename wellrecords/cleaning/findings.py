"""What comes to light while one file is converted: changes, rows to hold back, problems, notes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from wellrecords.errors import Problem
from wellrecords.ledger import CHANGE_COLUMNS, HELD_BACK_COLUMNS, change_rows, held_back_rows, stack
from wellrecords.sources.column_rules import tidy_name
from wellrecords.sources.layout import Layout
from wellrecords.sources.raw import RawTable


class Findings:
    """Collects, row by row of one file, what the steps of the conversion find.

    Parameters
    ----------
    raw : RawTable
    layout : Layout
    private : bool
        Whether the file is a firm's own: its texts are kept out of logs.
    """

    def __init__(self, raw: RawTable, layout: Layout, private: bool) -> None:
        self.raw = raw
        self.layout = layout
        self.private = private
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.records = pd.DataFrame({"record_id": "", "source": layout.name, "file_row": raw.file_row})
        if "sheet" in raw.table:
            self.records["sheet"] = raw.table["sheet"].to_numpy()
        self._changes: list[tuple[np.ndarray, pd.DataFrame]] = []
        self._reason = np.full(len(raw.table), None, dtype=object)
        self._why = np.full(len(raw.table), "", dtype=object)
        self._columns: dict[str, list[str]] = {}
        for column in raw.table.columns:
            self._columns.setdefault(tidy_name(str(column)), []).append(str(column))

    @property
    def count(self) -> int:
        """Rows of the file."""
        return len(self.raw.table)

    @property
    def held(self) -> np.ndarray:
        """Which rows are held back so far."""
        return self._reason != None  # noqa: E711

    def columns_of(self, names: Sequence[str]) -> list[str]:
        """Return the file's columns that go by one of the names, in the order of the names."""
        return [column for name in names for column in self._columns.get(tidy_name(name), [])]

    def texts(self, names: Sequence[str]) -> pd.Series:
        """Return the first text that is not blank among the columns of these names, row by row."""
        columns = self.columns_of(names)
        if not columns:
            return pd.Series("", index=self.raw.table.index, dtype="str")
        texts = self.raw.table[columns[0]].str.strip()
        for column in columns[1:]:
            texts = texts.where(texts != "", self.raw.table[column].str.strip())
        return texts

    def change(
        self,
        rows: np.ndarray,
        column: str,
        *,
        before: Sequence[object] | pd.Series | np.ndarray,
        after: Sequence[object] | pd.Series | np.ndarray | str | None,
        rule: str | Sequence[str] | np.ndarray,
        why: str | Sequence[str] | np.ndarray,
    ) -> None:
        """Record changed values at these row positions; the arrays are as long as `rows`."""
        if len(rows):
            changes = change_rows(self.records.iloc[rows], column, before=before, after=after, rule=rule, why=why)
            self._changes.append((rows, changes))

    def hold(self, rows: np.ndarray, reason: str | np.ndarray, why: str | np.ndarray) -> None:
        """Hold back the rows at these positions; the first reason counts, every why is kept."""
        if not len(rows):
            return
        reasons = np.full(len(rows), reason, dtype=object) if isinstance(reason, str) else reason
        whys = np.full(len(rows), why, dtype=object) if isinstance(why, str) else why
        first = self._reason[rows] == None  # noqa: E711
        self._reason[rows[first]] = reasons[first]
        self._why[rows[first]] = whys[first]
        again = rows[~first]
        self._why[again] = self._why[again] + "; " + whys[~first]

    def problem(
        self,
        *,
        what: str,
        rule: str,
        next_step: str,
        code: str,
        names: Sequence[str] = (),
        value: str | None = None,
        row: int | None = None,
    ) -> None:
        """Record a problem of this file, raised with all the others before anything is written.

        Parameters
        ----------
        what, rule, next_step, code : str
            As for `Problem`.
        names : sequence of str
            Names of the column, as the layout has them.
        value : str, optional
        row : int, optional
            Position of the first row that has it.
        """
        sheet = "" if row is None or "sheet" not in self.raw.table else str(self.raw.table["sheet"].iloc[row])
        self.problems.append(
            Problem(
                what=what,
                rule=rule,
                next_step=next_step,
                code=code,
                file=f"{self.raw.file}, sheet {sheet}" if sheet else self.raw.file,
                column=", ".join(self.columns_of(names)) or None,
                value=value,
                row=None if row is None else int(self.raw.file_row[row]),
                private=self.private,
            )
        )

    def changes(self) -> pd.DataFrame:
        """Return the ledger of the rows that are kept."""
        held = self.held
        return stack([changes[~held[rows]] for rows, changes in self._changes], CHANGE_COLUMNS)

    def held_back(self) -> pd.DataFrame:
        """Return the rows that are held back, those that never fitted the columns included."""
        rows = np.flatnonzero(self.held)
        mine = held_back_rows(
            self.raw.table.iloc[rows],
            source=self.layout.name,
            file=self.raw.file,
            file_row=self.raw.file_row[rows],
            reason=self._reason[rows],
            why=self._why[rows],
        )
        return stack([self.raw.rejected, mine], HELD_BACK_COLUMNS)
