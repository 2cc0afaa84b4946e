"""Errors that a person can act on.

An expected error (a bad file, a wrong setting, too few records) is a
`WellRecordsError`; the command line prints it without a traceback and exits
with status 2. Faults found in data are `Problem` rows: they are collected
while the work goes on and raised together, once, as a `ProblemsError`, so
that the user mends a file in one sitting and not one error at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SHOWN_AT_MOST = 100


class WellRecordsError(Exception):
    """An expected error: the message is the whole story, for a person."""


@dataclass(frozen=True)
class Problem:
    """One fault in what the user gave us.

    Parameters
    ----------
    what : str
        What is wrong, in one clause ("unknown use code").
    rule : str
        The rule that the value breaks ("each code must be classified").
    next_step : str
        What the user can do about it.
    file, row, column, value : optional
        Where it was found. `row` counts lines of the file as an editor or a
        spreadsheet shows them, the first being 1.
    code : str
        A stable short name of the kind of fault, for tests and tables.
    private : bool, default=False
        True where `value` comes from a private record: it is shown on the
        terminal's error but must not be written to a log.
    """

    what: str
    rule: str
    next_step: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None
    code: str = "problem"
    private: bool = False

    def __str__(self) -> str:
        places = [
            f"{name} {place}"
            for name, place in (
                ("file", self.file),
                ("row", self.row),
                ("column", self.column),
                ("value", None if self.value is None else repr(self.value)),
            )
            if place is not None
        ]
        where = f" ({', '.join(places)})" if places else ""
        return f"{self.what}{where}. Rule: {self.rule}. Next: {self.next_step}."


class ProblemsError(WellRecordsError):
    """Several problems, shown together.

    Parameters
    ----------
    problems : sequence of Problem
        At least one. The message shows the first hundred and counts the rest.
    heading : str
        What was being done when they were found.
    """

    def __init__(self, problems: Sequence[Problem], heading: str = "The input cannot be used") -> None:
        if not problems:
            msg = "ProblemsError needs at least one problem."
            raise ValueError(msg)
        self.problems = tuple(problems)
        self.heading = heading
        count = len(self.problems)
        lines = [f"{heading}: {counted(count, 'problem')}."]
        lines += [f"  {number}. {problem}" for number, problem in enumerate(self.problems[:SHOWN_AT_MOST], 1)]
        if count > SHOWN_AT_MOST:
            lines.append(f"  … and {count - SHOWN_AT_MOST} more.")
        super().__init__("\n".join(lines))


def counted(number: int, noun: str) -> str:
    """Return a count and its noun, for messages.

    >>> counted(1, "well"), counted(1200, "well")
    ('1 well', '1,200 wells')
    """
    return f"{number:,} {noun}{'' if number == 1 else 's'}"
