"""Classes and colours of the map: few steps, round edges, safe for colour-blind eyes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from wellrecords import wording

_ROUND = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)
NOT_RECORDED_COLOUR = "#8a8f94"
BOUND_ONLY = 100
"""Added to the class of a reading of which only a bound is known ("over 90 ft")."""


@dataclass(frozen=True)
class Ramp:
    """Classes of one quantity and their colours.

    Parameters
    ----------
    key : str
        Column or quantity name.
    label : str
        In words, the unit included.
    edges : tuple of float
        Inner edges, rising; class ``k`` holds ``edges[k-1] <= value < edges[k]``.
    labels, colours : tuple of str
        One a class.
    """

    key: str
    label: str
    edges: tuple[float, ...]
    labels: tuple[str, ...]
    colours: tuple[str, ...]

    def codes(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Return the class of each interval reading.

        Parameters
        ----------
        low, high : ndarray of shape (n,)
            Infinite where open, NaN where not recorded.

        Returns
        -------
        ndarray of int, shape (n,)
            -1 where not recorded; `BOUND_ONLY` is added where the reading
            is open or spans a range.
        """
        known = ~(np.isnan(low) | np.isnan(high)) & ~(np.isinf(low) & np.isinf(high))
        with np.errstate(invalid="ignore"):
            middle = (low + high) / 2.0
        finite = np.where(np.isinf(high), low, np.where(np.isinf(low), high, middle))
        codes = np.searchsorted(np.asarray(self.edges), np.where(known, finite, 0.0), side="right")
        codes = codes + np.where(low < high, BOUND_ONLY, 0)
        return np.where(known, codes, -1).astype(int)

    def as_data(self) -> dict[str, object]:
        """Return what the page's script needs to draw the legend."""
        return {
            "key": self.key,
            "label": self.label,
            "classes": [
                {"label": label, "colour": colour} for label, colour in zip(self.labels, self.colours, strict=True)
            ],
        }


def count_ramp(label: str, counts: np.ndarray, classes: int) -> Ramp:
    """Return classes for counts, each named by the counts it holds.

    Parameters
    ----------
    label : str
    counts : ndarray of shape (n,)
        Whole numbers, at least one.
    classes : int
        At most this many.

    Examples
    --------
    >>> count_ramp("Wells", np.repeat([5, 6, 7, 9, 30], 10), 4).labels
    ('5', '6', '7 to 8', '9 and more')
    """
    cuts = np.quantile(counts, np.arange(1, classes) / classes, method="closest_observation")
    edges = sorted({float(cut) for cut in cuts if cut > counts.min()})
    lasts = [edge - 1 for edge in edges]
    firsts = [float(counts.min()), *edges[:-1]] if edges else []
    labels = [
        f"{low:,.0f}" if low == last else f"{low:,.0f} to {last:,.0f}" for low, last in zip(firsts, lasts, strict=True)
    ]
    labels.append(f"{edges[-1]:,.0f} and more" if edges else f"{counts.min():,.0f}")
    return Ramp("count", label, tuple(edges), tuple(labels), viridis_steps(len(labels)))


def ramp_of(key: str, label: str, unit: str, values: np.ndarray | pd.Series, classes: int) -> Ramp:
    """Return classes for `values`: about as many in each, edges round numbers.

    Parameters
    ----------
    key, label, unit : str
    values : array-like of shape (n,)
        NaN and infinite are left out.
    classes : int
        At most this many.

    Returns
    -------
    Ramp

    Examples
    --------
    >>> ramp_of("yield_gpm", "Yield", "gpm", np.arange(1.0, 21.0), 4).labels
    ('under 6 gpm', '6 to 10 gpm', '10 to 15 gpm', '15 gpm and more')
    """
    numbers = np.asarray(values, dtype=float)
    numbers = numbers[np.isfinite(numbers)]
    edges: list[float] = []
    if numbers.size:
        cuts = np.quantile(numbers, np.arange(1, classes) / classes)
        edges = sorted({_round_number(cut) for cut in cuts} - {0.0})
        edges = [edge for edge in edges if numbers.min() < edge <= numbers.max()]
    if not edges:
        middle = _plain(float(numbers[0])) if numbers.size else ""
        labels = [f"about {middle} {unit}" if middle else f"no {label.lower()} recorded"]
    else:
        labels = [f"under {_plain(edges[0])} {unit}"]
        labels += [f"{_plain(low)} to {_plain(high)} {unit}" for low, high in pairwise(edges)]
        labels += [f"{_plain(edges[-1])} {unit} and more"]
    return Ramp(key, f"{label}, {unit}", tuple(edges), tuple(labels), viridis_steps(len(labels)))


def viridis_steps(count: int) -> tuple[str, ...]:
    """Return `count` colours of viridis, light for little and dark for much.

    Viridis keeps its order of lightness for the common kinds of colour
    blindness and in black and white print (van der Walt and Smith, 2015).
    """
    from matplotlib import colormaps
    from matplotlib.colors import to_hex

    places = np.linspace(0.93, 0.08, count) if count > 1 else np.array([0.5])
    return tuple(to_hex(colormaps["viridis"](place)) for place in places)


def _round_number(value: float) -> float:
    if value == 0:
        return 0.0
    power = 10.0 ** math.floor(math.log10(abs(value)))
    nearest = min(_ROUND, key=lambda candidate: (abs(candidate * power - abs(value)), candidate))
    return math.copysign(nearest * power, value)


def _plain(value: float) -> str:
    return wording.MISSING if math.isnan(value) else f"{value:,.2f}".rstrip("0").rstrip(".")
