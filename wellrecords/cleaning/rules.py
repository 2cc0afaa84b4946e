"""Plausibility: what a well record may say, as a table of rules.

The rules stand in ``rules.csv`` beside this module (or in a file of the
user's): one row a rule, with its limits, where they come from, and what is
done with a value that breaks it:

- ``null``: the value is taken out, the row stays, the ledger keeps the value;
- ``hold_back``: the row is set aside with its text, to be mended by hand;
- ``flag``: nothing is changed, somebody should look.

A rule never judges what a reading does not say. "No rock to 90 ft" in a
90 ft hole is the interval [90, inf): its lower end is no rock surface, and
breaks no rule. Rules run in the order of the file, and running them again on
their own result changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import BaseModel, ConfigDict, Field

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.ledger import CHANGE_COLUMNS, change_rows, interval_text, stack
from wellrecords.schema import INTERVAL_QUANTITIES, NUMBER, TEXT, WELL_COLUMNS, empty_table

ACTIONS = ("null", "hold_back", "flag")
RULE_COLUMNS = ("rule", "check", "columns", "other", "low", "high", "action", "why", "source")

FLAG_COLUMNS: dict[str, str] = {
    "record_id": TEXT,
    "source": TEXT,
    "column": TEXT,
    "value": TEXT,
    "rule": TEXT,
    "why": TEXT,
}
"""One row a value that somebody should look at; nothing was changed."""

SET_ASIDE_COLUMNS: dict[str, str] = {"record_id": TEXT, "reason": TEXT, "why": TEXT}


class CleaningSettings(BaseModel):
    """The table ``[cleaning]`` of a region.

    Parameters
    ----------
    rules : path, optional
        A table of plausibility rules to use instead of the one shipped.
    vocabulary : path, optional
        A lithology vocabulary to use instead of the one shipped.
    min_rock_ft : float, default=5.0
        A thinner layer of rock with loose ground below it is a boulder.
    neighbours : int, default=15
        How many wells around a well it is compared with.
    outlier_sigmas : float, default=4.0
        A value so many robust standard deviations from its neighbours is
        flagged.
    terrain_differs_ft : float, default=100.0
        A land elevation that far from the terrain's is flagged.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    rules: Path | None = None
    vocabulary: Path | None = None
    min_rock_ft: float = Field(default=5.0, ge=0.0)
    neighbours: int = Field(default=15, ge=5)
    outlier_sigmas: float = Field(default=4.0, gt=0.0)
    terrain_differs_ft: float = Field(default=100.0, gt=0.0)


@dataclass(frozen=True)
class Rule:
    """One row of the table of rules."""

    rule: str
    check: str
    columns: tuple[str, ...]
    other: tuple[str, ...]
    low: str
    high: str
    action: str
    why: str
    source: str


@dataclass(frozen=True)
class Ruled:
    """What the rules made of some wells.

    Attributes
    ----------
    wells : pandas.DataFrame
        The wells that stay, with the values that stay.
    changes : pandas.DataFrame
        `ledger.CHANGE_COLUMNS`.
    set_aside : pandas.DataFrame
        `SET_ASIDE_COLUMNS`: records to hold back.
    flags : pandas.DataFrame
        `FLAG_COLUMNS`.
    """

    wells: pd.DataFrame
    changes: pd.DataFrame
    set_aside: pd.DataFrame
    flags: pd.DataFrame


def load_rules(path: str | Path | None = None) -> tuple[Rule, ...]:
    """Read a table of rules and check every row of it.

    Parameters
    ----------
    path : path, optional
        A CSV with the columns of `RULE_COLUMNS`; the shipped table by default.

    Returns
    -------
    tuple of Rule

    Raises
    ------
    ProblemsError
        One problem a row that cannot be used.
    """
    name = str(path) if path else "rules.csv"
    try:
        if path is None:
            with resources.files("wellrecords.cleaning").joinpath("rules.csv").open(encoding="utf-8") as file:
                table = pd.read_csv(file, dtype=str, keep_default_na=False)
        else:
            table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, pd.errors.ParserError, UnicodeDecodeError) as error:
        msg = f"The table of rules {name} cannot be read: {error}. Next: give a UTF-8 CSV file."
        raise WellRecordsError(msg) from error
    missing = [column for column in RULE_COLUMNS if column not in table]
    if missing:
        msg = f"The table of rules {name} lacks the columns {', '.join(missing)}."
        raise WellRecordsError(msg)
    rules = [
        Rule(
            rule=row["rule"].strip(),
            check=row["check"].strip(),
            columns=_names(row["columns"]),
            other=_names(row["other"]),
            low=row["low"].strip(),
            high=row["high"].strip(),
            action=row["action"].strip(),
            why=row["why"].strip(),
            source=row["source"].strip(),
        )
        for row in table.to_dict("records")
    ]
    problems = [problem for number, rule in enumerate(rules, 2) for problem in _faults(rule, number, name)]
    twice = {rule.rule for rule in rules if sum(other.rule == rule.rule for other in rules) > 1}
    problems += [
        Problem("rule named twice", "each rule has its own name", "rename one", file=name, value=rule, code="rules")
        for rule in sorted(twice)
    ]
    if problems:
        raise ProblemsError(problems, "The table of rules cannot be used")
    return tuple(rules)


def apply_rules(wells: pd.DataFrame, rules: tuple[Rule, ...], today: date | None = None) -> Ruled:
    """Judge every record by every rule.

    Parameters
    ----------
    wells : pandas.DataFrame
        Canonical columns and `file_row`.
    rules : tuple of Rule
        From `load_rules`.
    today : date, optional
        No well was drilled after it; the day of the run by default.

    Returns
    -------
    Ruled
        `wells` keeps order and columns of the input.
    """
    today = today or date.today()
    wells = wells.copy()
    changes, flags, aside = [], [], []
    held = np.zeros(len(wells), dtype=bool)
    for rule in rules:
        broken = CHECKS[rule.check](wells, rule, today) & ~held
        if not broken.any():
            continue
        records = wells.loc[broken]
        if rule.action == "hold_back":
            held |= broken
            aside.append(records[["record_id"]].assign(reason=rule.rule, why=rule.why))
            continue
        for column in rule.columns:
            before = values_as_text(records, column)
            said = pd.notna(before)
            if not said.any():
                continue
            told, before = records.loc[said], before[said]
            if rule.action == "null":
                changes.append(change_rows(told, column, before=before, after=None, rule=rule.rule, why=rule.why))
            else:
                flags.append(flag_rows(told, column, value=before, rule=rule.rule, why=rule.why))
        if rule.action == "null":
            _blank(wells, broken, rule.columns)
    return Ruled(
        wells=wells.loc[~held],
        changes=stack(changes, CHANGE_COLUMNS),
        set_aside=stack(aside, SET_ASIDE_COLUMNS),
        flags=stack(flags, FLAG_COLUMNS),
    )


def flag_rows(
    records: pd.DataFrame, column: str, *, value: np.ndarray, rule: str, why: str | np.ndarray
) -> pd.DataFrame:
    """Return rows of the table of flags for one column of some records."""
    table = records[["record_id", "source"]].reset_index(drop=True)
    table["column"] = column
    table["value"] = pd.Series(value, dtype=TEXT)
    table["rule"] = rule
    table["why"] = why if isinstance(why, str) else np.asarray(why, dtype=object)
    return table[list(FLAG_COLUMNS)].astype(FLAG_COLUMNS)


def values_as_text(wells: pd.DataFrame, column: str) -> np.ndarray:
    """Return a quantity as a person writes it, null where nothing is said.

    Parameters
    ----------
    wells : pandas.DataFrame
    column : str
        A canonical column, or an interval quantity without its ending.

    Returns
    -------
    ndarray of object, shape (n_wells,)
    """
    if column in INTERVAL_QUANTITIES:
        return interval_text(*ends(wells, column))
    if WELL_COLUMNS[column] == NUMBER:
        values = wells[column].to_numpy(dtype=float)
        return interval_text(values, values)
    text = wells[column].dt.strftime("%Y-%m-%d") if column == "drilled_on" else wells[column].astype("string")
    return text.astype(object).where(wells[column].notna(), None).to_numpy()


def ends(wells: pd.DataFrame, column: str) -> tuple[np.ndarray, np.ndarray]:
    """Return a quantity as (low, high); a plain column stands for both."""
    if column in INTERVAL_QUANTITIES:
        return wells[f"{column}_low"].to_numpy(dtype=float), wells[f"{column}_high"].to_numpy(dtype=float)
    values = wells[column].to_numpy(dtype=float)
    return values, values


def _blank(wells: pd.DataFrame, where: np.ndarray, columns: tuple[str, ...]) -> None:
    for column in columns:
        names = [f"{column}_low", f"{column}_high"] if column in INTERVAL_QUANTITIES else [column]
        for name in names:
            wells[name] = wells[name].mask(where)


# --- the checks: True where a record breaks the rule. A null breaks none. ---------------------------------------


def _outside_range(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    """Nothing that the reading allows lies inside the limits."""
    broken = np.zeros(len(wells), dtype=bool)
    for column in rule.columns:
        low, high = ends(wells, column)
        broken |= (low > float(rule.high)) | (high < float(rule.low))
    return broken


def _outside_dates(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    first = np.datetime64(_day(rule.low, today))
    last = np.datetime64(_day(rule.high, today))
    when = wells[rule.columns[0]].to_numpy().astype("datetime64[D]")
    return (when < first) | (when > last)


def _one_of_dates(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    days = np.array([np.datetime64(_day(day, today)) for day in rule.other])
    return np.isin(wells[rule.columns[0]].to_numpy().astype("datetime64[D]"), days)


def _deeper_than(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    """Tell where the least that a reading says lies deeper than the other one and the slack."""
    _, limit = ends(wells, rule.other[0])
    broken = np.zeros(len(wells), dtype=bool)
    for column in rule.columns:
        broken |= ends(wells, column)[0] > limit + float(rule.low)
    return broken


def _shallower_than(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    """Tell where the most that a reading says lies shallower than the other one, which was met."""
    least, most = ends(wells, rule.other[0])
    met = np.isfinite(most)
    return met & (ends(wells, rule.columns[0])[1] < least - float(rule.low))


def _upside_down(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    top, bottom = (ends(wells, column)[0] for column in rule.columns)
    return top >= bottom - float(rule.low)


def _outvoted(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    """So many other readings lie more than the slack (`high`, in feet) deeper than the hole."""
    depth = ends(wells, rule.columns[0])[1]
    votes = np.zeros(len(wells), dtype=int)
    for column in rule.other:
        votes += ends(wells, column)[0] > depth + float(rule.high)
    return votes >= int(rule.low)


def _no_readings(wells: pd.DataFrame, rule: Rule, today: date) -> np.ndarray:
    """No reading at all, in a record that is not the sealing of a well (which needs none)."""
    said = np.zeros(len(wells), dtype=bool)
    for column in rule.columns:
        said |= ~np.isnan(ends(wells, column)[0])
    return ~said & (wells["record_kind"] != "abandoned").to_numpy(dtype=bool)


CHECKS: dict[str, Callable[[pd.DataFrame, Rule, date], np.ndarray]] = {
    "outside_range": _outside_range,
    "outside_dates": _outside_dates,
    "one_of_dates": _one_of_dates,
    "deeper_than": _deeper_than,
    "shallower_than": _shallower_than,
    "upside_down": _upside_down,
    "outvoted": _outvoted,
    "no_readings": _no_readings,
}
"""Name of a check, as the table of rules gives it -> the function."""

_NUMBERS_NEEDED = {
    "outside_range": ("low", "high"),
    "deeper_than": ("low",),
    "shallower_than": ("low",),
    "upside_down": ("low",),
    "outvoted": ("low", "high"),
}
_DATES_NEEDED = {"outside_dates": ("low", "high")}
_OTHERS_NEEDED = ("deeper_than", "shallower_than", "outvoted", "one_of_dates")
_COLUMN_COUNT = {"outside_dates": 1, "one_of_dates": 1, "upside_down": 2, "outvoted": 1, "shallower_than": 1}


def _names(cell: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in cell.split("|") if name.strip())


def _day(text: str, today: date) -> date:
    return today if text == "today" else date.fromisoformat(text)


def _faults(rule: Rule, row: int, file: str) -> list[Problem]:
    """Return what is wrong with one row of the table."""

    def problem(what: str, column: str, value: str, must: str) -> Problem:
        return Problem(what, must, "mend the row", file=file, row=row, column=column, value=value, code="rules")

    found = []
    if not rule.rule or not rule.why or not rule.source:
        found.append(problem("incomplete rule", "rule", rule.rule, "a rule has a name, a why and a source"))
    if rule.action not in ACTIONS:
        found.append(problem("unknown action", "action", rule.action, f"one of {', '.join(ACTIONS)}"))
    if rule.check not in CHECKS:
        return [*found, problem("unknown check", "check", rule.check, f"one of {', '.join(CHECKS)}")]
    known = {*WELL_COLUMNS, *INTERVAL_QUANTITIES}
    others = () if rule.check == "one_of_dates" else rule.other
    found += [
        problem("unknown column", "columns", name, "a canonical column, or an interval quantity without its ending")
        for name in (*rule.columns, *others)
        if name not in known
    ]
    count = _COLUMN_COUNT.get(rule.check)
    if not rule.columns or (count and len(rule.columns) != count):
        found.append(problem("wrong number of columns", "columns", "|".join(rule.columns), f"{count or 'at least 1'}"))
    if rule.check in _OTHERS_NEEDED and not rule.other:
        found.append(problem("nothing to compare with", "other", "", f"{rule.check} needs `other`"))
    for field in _NUMBERS_NEEDED.get(rule.check, ()):
        if not _is(float, getattr(rule, field)):
            found.append(problem("not a number", field, getattr(rule, field), f"{rule.check} needs a number here"))
    dates = [(field, getattr(rule, field)) for field in _DATES_NEEDED.get(rule.check, ())]
    dates += [("other", day) for day in rule.other] if rule.check == "one_of_dates" else []
    found += [
        problem("not a date", field, day, "a date as 1850-01-01, or today")
        for field, day in dates
        if day != "today" and not _is(date.fromisoformat, day)
    ]
    return found


def _is(kind: Callable[[str], object], text: str) -> bool:
    try:
        kind(text)
    except ValueError:
        return False
    return True


def empty_flags() -> pd.DataFrame:
    """Return a table of no flags."""
    return empty_table(FLAG_COLUMNS)
