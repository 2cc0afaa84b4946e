"""How often two records agree so: of one well, of two wells of one campaign.

Common practice to begin with; for the figures of two sources `learn` takes
the place of it, as far as their own pairs show how they round, date and err.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wellrecords.matching.agreement import DEGREES, Agreement
from wellrecords.matching.evidence import NEARLY


@dataclass(frozen=True)
class Relations:
    """The relations in which two records can stand, numbered.

    A later state and an earlier one, of two sources in that order; or two
    records of one state, of two sources or (filed twice) of one.

    Parameters
    ----------
    sources : int
    """

    sources: int

    @property
    def count(self) -> int:
        """How many there are."""
        return 2 * self.sources**2

    def of(self, source_a: np.ndarray, source_b: np.ndarray, later: np.ndarray) -> np.ndarray:
        """Return the relation of each pair; `later` is 1 where b is the later state, -1 where a is, else 0."""
        first = np.where(later > 0, source_b, np.where(later < 0, source_a, np.minimum(source_a, source_b)))
        second = np.where(later > 0, source_a, np.where(later < 0, source_b, np.maximum(source_a, source_b)))
        return (later == 0) * self.sources**2 + first * self.sources + second

    @property
    def later(self) -> np.ndarray:
        """The relations of a later state and an earlier one."""
        return np.arange(self.sources**2)

    @property
    def filed_twice(self) -> np.ndarray:
        """The relations of two records of one source and state."""
        return self.sources**2 + np.arange(self.sources) * (self.sources + 1)

    @property
    def across(self) -> np.ndarray:
        """The relations of two sources' records of one state."""
        return np.setdiff1d(np.arange(self.sources**2, self.count), self.filed_twice)


_MEASURED = {"exact": 0.72, "close": 0.13, "differs": 0.15}
ONE_WELL: dict[str, dict[str, float]] = {
    "total_depth_ft": {"exact": 0.74, "close": 0.13, "near": 0.05, "misread": 0.012, "differs": 0.068},
    "casing_depth_ft": _MEASURED,
    "casing_diameter_in": {"exact": 0.92, "close": 0.03, "differs": 0.05},
    "screen_bottom_ft": _MEASURED,
    "depth_to_bedrock_ft": _MEASURED,
    "depth_to_water_ft": {"exact": 0.66, "close": 0.16, "differs": 0.18},
    "yield_gpm": {"exact": 0.7, "close": 0.13, "differs": 0.17},
    "drilled_on": {"day": 0.6, "days": 0.08, "season": 0.24, "misread": 0.03, "years": 0.03, "differs": 0.02},
    "drilled_about": {"month": 0.85, "year": 0.9, "season": 0.1, "years": 0.08, "differs": 0.02},
    "well_use": {"same": 0.96, "differs": 0.04},
    "permit": {"same": 0.88, "misread": 0.03, "next": 0.02, "differs": 0.07},
    "owner": {"same": 0.84, "alike": 0.06, "differs": 0.1},
    "address": {"same": 0.86, "road": 0.92, "next_house": 0.06, "differs": 0.08},
}  # fmt: skip
_COPIED = {"exact": 0.97, "close": 0.012, "differs": 0.018}
ONE_WELL_FILED_TWICE: dict[str, dict[str, float]] = {
    **dict.fromkeys(NEARLY, _COPIED),
    "total_depth_ft": {"exact": 0.97, "close": 0.01, "near": 0.005, "misread": 0.005, "differs": 0.01},
    "drilled_on": {"day": 0.955, "days": 0.01, "season": 0.01, "misread": 0.01, "years": 0.005, "differs": 0.01},
    "drilled_about": {"month": 0.3, "year": 0.3, "season": 0.05, "years": 0.01, "differs": 0.01},
    "well_use": {"same": 0.98, "differs": 0.02},
    "permit": {"same": 0.93, "misread": 0.03, "next": 0.01, "differs": 0.03},
    "owner": {"same": 0.93, "alike": 0.02, "differs": 0.05},
    "address": {"same": 0.94, "road": 0.96, "next_house": 0.02, "differs": 0.04},
    "number": {"same": 0.45, "next": 0.06, "apart": 0.49},
    "point": {"same": 0.95, "apart": 0.05},
}
ONE_WELL_LATER: dict[str, dict[str, float]] = {
    **ONE_WELL,
    "permit": {"same": 0.45, "misread": 0.02, "next": 0.02, "differs": 0.51},
    "owner": {"same": 0.6, "alike": 0.05, "differs": 0.35},
    "deepening": {"deeper": 0.97, "shallower": 0.03},
    "order": {"in_order": 0.97, "out_of_order": 0.03},
}
SIBLINGS: dict[str, dict[str, float]] = {
    "total_depth_ft": {"exact": 0.2, "close": 0.18, "near": 0.2, "misread": 0.02, "differs": 0.4},
    "casing_depth_ft": {"exact": 0.4, "close": 0.12, "differs": 0.48},
    "casing_diameter_in": {"exact": 0.95, "close": 0.01, "differs": 0.04},
    "screen_bottom_ft": {"exact": 0.3, "close": 0.15, "differs": 0.55},
    "depth_to_bedrock_ft": {"exact": 0.15, "close": 0.2, "differs": 0.65},
    "depth_to_water_ft": {"exact": 0.15, "close": 0.25, "differs": 0.6},
    "yield_gpm": {"exact": 0.15, "close": 0.1, "differs": 0.75},
    "drilled_on": {"day": 0.3, "days": 0.15, "season": 0.2, "misread": 0.02, "years": 0.15, "differs": 0.18},
    "drilled_about": {"month": 0.4, "year": 0.6, "season": 0.3, "years": 0.2, "differs": 0.2},
    "well_use": {"same": 0.97, "differs": 0.03},
    "permit": {"same": 0.08, "misread": 0.04, "next": 0.2, "differs": 0.68},
    "owner": {"same": 0.55, "alike": 0.05, "differs": 0.4},
    "address": {"same": 0.2, "road": 0.75, "next_house": 0.5, "differs": 0.25},
    "deepening": {"deeper": 0.5, "shallower": 0.5},
    "order": {"in_order": 0.5, "out_of_order": 0.5},
    "number": {"same": 0.01, "next": 0.5, "apart": 0.49},
    "point": {"same": 0.05, "apart": 0.95},
}  # fmt: skip
"""Two wells that one driller made for one owner, or on one lot (seen in an open state extract; common practice)."""

LEARNT = (*NEARLY, "drilled_on")
"""What two sources show of themselves: how often their records of one well agree, and how nearly."""
WORTH_PAIRS = 60.0
"""Common practice counts as so many pairs seen."""
MOST_DEGREES = max(len(degrees) for degrees in DEGREES.values())


class Chances:
    """The shares of agreement as logs, by relation, thing compared and degree.

    Parameters
    ----------
    relations : Relations
    """

    def __init__(self, relations: Relations) -> None:
        self._across = relations.across
        self.one_well = np.repeat(_logs(ONE_WELL_LATER)[None], relations.count, axis=0)
        self.one_well[relations.filed_twice] = _logs(ONE_WELL_FILED_TWICE)
        self.one_well[self._across] = _logs(ONE_WELL)
        self.siblings = _logs(SIBLINGS)

    def of_one_well(self, degree: np.ndarray, relation: np.ndarray) -> np.ndarray:
        """Return the log of how often one well's records agree as each pair does."""
        total = np.zeros(len(relation))
        for place in range(len(DEGREES)):
            total += self.one_well[relation, place, degree[:, place]]
        return total

    def of_siblings(self, agreement: Agreement) -> np.ndarray:
        """Return the log of how often siblings agree as each pair does, and at least as often as strangers."""
        total = np.zeros(len(agreement.degree["permit"]))
        for place, name in enumerate(DEGREES):
            shared = self.siblings[place, agreement.degree[name]]
            total += np.maximum(shared, np.log(agreement.strangers[name])) if name in NEARLY else shared
        return total

    def learn(self, degree: np.ndarray, relation: np.ndarray, chance: np.ndarray) -> None:
        """Take from pairs, each one well by its `chance`, how the records of each two sources agree."""
        relations = len(self.one_well)
        usual, table = np.exp(_logs(ONE_WELL)), self.one_well[self._across]
        for place, name in enumerate(DEGREES):
            if name not in LEARNT:
                continue
            key = relation * MOST_DEGREES + degree[:, place]
            seen = np.bincount(key, weights=chance, minlength=relations * MOST_DEGREES).reshape(relations, -1)
            told = slice(1, len(DEGREES[name]))
            counted = seen[self._across, told] + WORTH_PAIRS * usual[place, told]
            table[:, place, told] = np.log(counted / counted.sum(axis=1, keepdims=True))
        self.one_well[self._across] = table


def _logs(shares: dict[str, dict[str, float]]) -> np.ndarray:
    """Return the table of logs; 0 where there is nothing to say."""
    table = np.zeros((len(DEGREES), MOST_DEGREES))
    for place, (name, degrees) in enumerate(DEGREES.items()):
        for degree, share in shares.get(name, {}).items():
            table[place, degrees.index(degree)] = np.log(share)
    return table
