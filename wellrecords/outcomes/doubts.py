"""What is hardly true of a well that is to be filed: its figures against the rules by which records are cleaned.

A figure that `DrilledWell` can hold may still be a slip of the keyboard, and
a filed slip enters the calibration. So it is asked about before it is filed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from wellrecords.cleaning.rules import CHECKS, Rule
from wellrecords.errors import Problem
from wellrecords.outcomes.drilled_well import READING_KINDS, DrilledWell, fields_of
from wellrecords.readings import parse_reading

SURE = "file it all the same with --sure"
_PLAIN = ("total_depth_ft", "casing_depth_ft", "casing_diameter_in")


def doubtful_figures(well: DrilledWell, rules: Sequence[Rule]) -> list[Problem]:
    """Return the figures of a well that lie outside the ranges of the rules, one problem each.

    Parameters
    ----------
    well : DrilledWell
    rules : sequence of Rule
        From `cleaning.rules.load_rules`; those of a range of one figure are read, whatever is done with rows of a
        source that break them.
    """
    figures: dict[str, float] = {}
    for name in _PLAIN:
        value = getattr(well, name)
        figures[name] = np.nan if value is None else value
    for name, kind in READING_KINDS.items():
        reading = parse_reading(getattr(well, name), kind=kind)
        figures |= {f"{name}_low": reading.low, f"{name}_high": reading.high}
    row = pd.DataFrame([figures], dtype=float)
    doubts: dict[str, Problem] = {}
    for rule in rules:
        (column,) = rule.columns if len(rule.columns) == 1 else ("",)
        if rule.check != "outside_range" or column not in (*_PLAIN, *READING_KINDS) or column in doubts:
            continue
        if CHECKS[rule.check](row, rule, date.today())[0]:
            doubts[column] = Problem(
                what="a figure is hardly true",
                column=column,
                value=fields_of(well)[column],
                rule=f"{float(rule.low):,g} to {float(rule.high):,g} is believed: {rule.why}",
                next_step=f"mend it, or {SURE}",
                code="outcome_doubtful",
                private=True,
            )
    return list(doubts.values())
