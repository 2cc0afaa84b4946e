"""Published values as test cases: rows of tests/reference/*.csv.

A row names a quantity, its inputs as "name=value; name=value", the published
value, unit and tolerance, the source and its standing (read, read
(secondary), computed from read inputs, from memory, common practice). A test
module maps quantities to functions and runs every row.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "reference"
STANDINGS = {"read", "read (secondary)", "computed from read inputs", "from memory", "common practice"}


@dataclass(frozen=True)
class Published:
    id: str
    quantity: str
    inputs: dict[str, float | str]
    value: float
    unit: str
    tolerance: float
    source: str
    standing: str


def _number_or_text(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def published(file: str) -> list:
    """Rows of a reference file as pytest parameters, named by their id."""
    rows = []
    with (FOLDER / file).open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            pairs = (pair.split("=") for pair in row["inputs"].split(";"))
            case = Published(
                id=row["id"],
                quantity=row["quantity"],
                inputs={name.strip(): _number_or_text(value) for name, value in pairs},
                value=float(row["value"]),
                unit=row["unit"],
                tolerance=float(row["tolerance"]),
                source=row["source"],
                standing=row["standing"],
            )
            assert case.standing in STANDINGS, case
            assert case.source, case
            rows.append(pytest.param(case, id=case.id))
    assert rows
    return rows


def check(case: Published, computed: dict[str, Callable[..., float]]) -> None:
    """Compare our figure with the published one; the message names the source."""
    ours = float(computed[case.quantity](**case.inputs))
    message = f"{case.quantity}({case.inputs}) = {ours:g} {case.unit}; {case.source} ({case.standing}): {case.value:g}"
    assert ours == pytest.approx(case.value, abs=case.tolerance * (1 + 1e-9) + 1e-15), message
