"""Rows as somebody typed them, with a note of every fault that was planted."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np


@dataclass
class Row:
    """One row of a file: what is written, of which well, and what is wrong with it."""

    cells: dict[str, object]
    well_id: str
    work: str
    role: str = "first"
    faults: list[tuple[str, str, str, str]] = field(default_factory=list)

    def write(self, column: str, text: object, kind: str = "", meant: object = "") -> None:
        """Write a cell; with a `kind`, note it as planted."""
        if kind:
            self.faults.append((column, kind, str(meant), str(text)))
        self.cells[column] = text

    def spoil(self, column: str, kind: str, text: object) -> None:
        """Overwrite a cell, noting what stood there."""
        self.write(column, text, kind, self.cells[column])

    def clean(self, *columns: str) -> bool:
        """Return True where the columns are filled and nothing is planted in them."""
        return all(self.cells[c] not in ("", None) for c in columns) and not any(f[0] in columns for f in self.faults)

    def copy(self, role: str) -> Row:
        """Return the row once more, faults and all."""
        twin = copy.deepcopy(self)
        twin.role = role
        return twin


def plant(
    rows: list[Row], rng: np.random.Generator, n: int, fits: Callable[[Row], bool], spoil: Callable[[Row], None]
) -> None:
    """Spoil `n` rows that fit, chosen at random."""
    fitting = [row for row in rows if row.role == "first" and fits(row)]
    if len(fitting) < n:
        msg = f"Only {len(fitting)} rows fit a fault that is to be planted {n} times."
        raise ValueError(msg)
    for i in rng.choice(len(fitting), n, replace=False):
        spoil(fitting[i])


def number(value: float, places: int = 0) -> str:
    """Write a number with at most so many decimals and no trailing zeros."""
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def feet_and_inches(value: float, rng: np.random.Generator) -> str:
    """Write a depth as 12'6" (the inches are made up below the foot)."""
    return f"{int(value)}'{int(rng.integers(1, 12))}\""


def with_letters(text: str) -> str:
    """Type a letter for a figure: O for 0, else l for 1, else S for 5."""
    for figure, letter in (("0", "O"), ("1", "l"), ("5", "S")):
        if figure in text:
            return text.replace(figure, letter, 1)
    return text + "`"


def degrees_minutes_seconds(degrees: float, style: str) -> str:
    """Write an angle as 45-12-33.2, 45°12'33.2" or 45 12 33.2, without sign."""
    tenths = round(abs(degrees) * 36_000)
    whole, rest = divmod(tenths, 36_000)
    minutes, seconds = divmod(rest, 600)
    return style.format(d=whole, m=minutes, s=seconds / 10.0)


def truth_rows(file: str, sheet: str, rows: Iterable[tuple[int, Row, str]]) -> tuple[list[list[str]], list[list[str]]]:
    """Return the truth about a file's rows: which well each tells of, and the faults."""
    records, faults = [], []
    for file_row, row, source_record_id in rows:
        records.append([file, sheet, str(file_row), source_record_id, row.well_id, row.work, row.role])
        faults += [[file, sheet, str(file_row), *fault] for fault in row.faults]
    return records, faults
