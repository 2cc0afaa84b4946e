"""The running calibration of the firm's estimates, each figure with its own uncertainty.

A firm drills tens of wells a year, not thousands: "9 of 12 inside the 80 %
interval" proves little, and these tables say how little. Two cautions hold
for all of it. Only jobs that were won are drilled, and a bid that is too low
is won more easily, so outcomes of drilled wells lean to the dear side of all
bids that were made. And neighbours share their ground: ten wells on one hill
are fewer than ten.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

from wellrecords.outcomes.compare import QUANTITIES

Method = Literal["exact", "wilson"]

FEWEST = 5
"""Fewer wells than this are counted, but nothing is said of whether they fit."""

CAUTION = (
    "Only jobs that were won are counted, and low bids are won more easily; wells on shared ground count for fewer "
    "than they are."
)


def share_interval(hits: int, count: int, *, confidence: float = 0.95, method: Method = "exact") -> tuple[float, float]:
    """Return a confidence interval for a share.

    Parameters
    ----------
    hits, count : int
    confidence : float, default=0.95
    method : {"exact", "wilson"}, default="exact"
        "exact": Clopper and Pearson 1934, covers at least `confidence`.
        "wilson": Wilson 1927, covers about `confidence`, is narrower.

    Returns
    -------
    (float, float)
        (0, 1) where nothing was counted.
    """
    if not 0 <= hits <= count:
        msg = f"hits must lie between 0 and count; got {hits} of {count}"
        raise ValueError(msg)
    if count == 0:
        return 0.0, 1.0
    tail = (1.0 - confidence) / 2.0
    if method == "wilson":
        z = stats.norm.ppf(1.0 - tail)
        share = hits / count
        centre = (share + z**2 / (2 * count)) / (1 + z**2 / count)
        half = z / (1 + z**2 / count) * np.sqrt(share * (1 - share) / count + z**2 / (4 * count**2))
        return float(max(centre - half, 0.0)), float(min(centre + half, 1.0))
    low = 0.0 if hits == 0 else stats.beta.ppf(tail, hits, count - hits + 1)
    high = 1.0 if hits == count else stats.beta.ppf(1.0 - tail, hits + 1, count - hits)
    return float(low), float(high)


def calibration(
    comparison: pd.DataFrame,
    *,
    level: float = 0.8,
    confidence: float = 0.95,
    method: Method = "exact",
) -> pd.DataFrame:
    """Return how the firm's estimates have held, one row a quantity.

    Parameters
    ----------
    comparison : DataFrame
        From `compare_outcomes`.
    level : float, default=0.8
        Of the central interval whose coverage is counted.
    confidence : float, default=0.95
    method : {"exact", "wilson"}
        Of the interval of the coverage; see `share_interval`.

    Returns
    -------
    pandas.DataFrame
        `quantity`, `wells`, `exact` (readings that are no intervals),
        `inside` (by `pit`, so censored readings count by their drawn place),
        `surely_inside` and `untold` (readings of which it cannot be told),
        `coverage`, `coverage_low`, `coverage_high`, `coverage_p` (two-sided
        exact binomial test against `level`), `mean_pit` with `mean_pit_low`,
        `mean_pit_high` (normal approximation, standard error 1/sqrt(12 n)),
        `even_p` (Kolmogorov-Smirnov test that the PITs are spread evenly) and
        `ratio` (median of exact reading over the estimate's median, where
        both are above 0).
    """
    tail = (1.0 - level) / 2.0
    rows = []
    for quantity in QUANTITIES:
        group = comparison[comparison["quantity"] == quantity]
        if group.empty:
            continue
        pit, count = group["pit"].to_numpy(dtype=float), len(group)
        exact = group["reading_low"] == group["reading_high"]
        inside = int(((pit >= tail) & (pit <= 1.0 - tail)).sum())
        low, high = share_interval(inside, count, confidence=confidence, method=method)
        half = stats.norm.ppf((1.0 + confidence) / 2.0) / np.sqrt(12.0 * count)
        usable = group[exact & (group["reading_low"] > 0) & (group["median"] > 0) & np.isfinite(group["median"])]
        rows.append(
            {
                "quantity": quantity,
                "wells": count,
                "exact": int(exact.sum()),
                "inside": inside,
                "surely_inside": int((group["where"] == "inside").sum()),
                "untold": int((group["where"] == "cannot tell").sum()),
                "coverage": inside / count,
                "coverage_low": low,
                "coverage_high": high,
                "coverage_p": float(stats.binomtest(inside, count, level).pvalue),
                "mean_pit": float(pit.mean()),
                "mean_pit_low": float(max(pit.mean() - half, 0.0)),
                "mean_pit_high": float(min(pit.mean() + half, 1.0)),
                "even_p": float(stats.kstest(pit, "uniform").pvalue),
                "ratio": float((usable["reading_low"] / usable["median"]).median()) if len(usable) else np.nan,
            }
        )
    columns = (
        *("quantity", "wells", "exact", "inside", "surely_inside", "untold"),
        *("coverage", "coverage_low", "coverage_high", "coverage_p"),
        *("mean_pit", "mean_pit_low", "mean_pit_high", "even_p", "ratio"),
    )
    return pd.DataFrame(rows, columns=list(columns))


def poisson_binomial(chances: ArrayLike) -> np.ndarray:
    """Return the distribution of how many of several events come, each with its own chance.

    Parameters
    ----------
    chances : array-like of shape (n,)

    Returns
    -------
    ndarray of shape (n + 1,)
        Chance of 0, 1, ... n events, by exact convolution.
    """
    distribution = np.ones(1)
    for chance in np.asarray(chances, dtype=float):
        distribution = np.convolve(distribution, [1.0 - chance, chance])
    return distribution


def event_calibration(events: pd.DataFrame) -> pd.DataFrame:
    """Hold what came against the chances that were stated beforehand.

    Parameters
    ----------
    events : DataFrame
        From `event_table`.

    Returns
    -------
    pandas.DataFrame
        One row an event ("target_met", "dry", "lost") that can be judged:
        `event`, `wells`, `came`, `expected` (sum of the stated chances), `p`
        (two-sided exact test: the chance of a count no likelier than the one
        seen) and `brier` (mean squared error of the chance).
    """
    rows = []
    for event, chance in (("target_met", "target_chance"), ("dry", "dry_chance"), ("lost", "loss_chance")):
        judged = events[events[event].notna() & events[chance].notna()]
        if judged.empty:
            continue
        stated, came = judged[chance].to_numpy(dtype=float), judged[event].to_numpy(dtype=bool)
        distribution = poisson_binomial(stated)
        seen = distribution[came.sum()]
        rows.append(
            {
                "event": event,
                "wells": len(judged),
                "came": int(came.sum()),
                "expected": float(stated.sum()),
                "p": float(min(distribution[distribution <= seen * (1 + 1e-7)].sum(), 1.0)),
                "brier": float(np.mean((came - stated) ** 2)),
            }
        )
    return pd.DataFrame(rows, columns=["event", "wells", "came", "expected", "p", "brier"])


def calibration_sentences(table: pd.DataFrame, events: pd.DataFrame | None = None, *, level: float = 0.8) -> list[str]:
    """Return the running calibration in plain sentences.

    Parameters
    ----------
    table : DataFrame
        From `calibration`.
    events : DataFrame, optional
        From `event_calibration`.
    level : float, default=0.8
        As given to `calibration`.
    """
    told, few = [], []
    for row in table.to_dict("records"):
        name, _, high_word, low_word = QUANTITIES[row["quantity"]]
        if row["wells"] - row["untold"] < FEWEST:
            # A drawn place is fair on the average of many wells, and says nothing of the one that it was drawn for.
            untold = f", {row['untold']} cannot be told" if row["untold"] else ""
            few.append(f"{name} {row['surely_inside']} of {row['wells']}{untold}")
            continue
        sentence = (
            f"{name.capitalize()}: {row['inside']} of {row['wells']} wells came out inside the {level:.0%} interval"
        )
        fits = row["coverage_low"] <= level <= row["coverage_high"]
        sentence += (
            f" ({row['coverage']:.0%}; the records allow {row['coverage_low']:.0%} to {row['coverage_high']:.0%}), "
            f"{'in' if fits else 'not in'} keeping with {level:.0%}."
        )
        if row["exact"] < row["wells"]:
            bounds = row["wells"] - row["exact"]
            read = "was read only as a bound; its" if bounds == 1 else "were read only as bounds; their"
            sentence += f" {bounds} of them {read} place within the bounds was drawn."
        if row["mean_pit_low"] > 0.5 or row["mean_pit_high"] < 0.5:
            word = high_word if row["mean_pit"] > 0.5 else low_word
            sentence += f" On the whole wells came out {word} than estimated."
        told.append(sentence)
    if few:
        told.append(
            f"Too few wells to judge (it takes {FEWEST}). Inside the {level:.0%} interval came out: {'; '.join(few)}."
        )
    told += _event_sentences(events)
    return [*told, CAUTION] if told else ["No drilled well has an estimate from before it was drilled."]


def _event_sentences(events: pd.DataFrame | None) -> list[str]:
    """Return what came against the chances stated, the events of too few wells together in one sentence."""
    names: dict[str, Sequence[str]] = {
        "target_met": ("made the wanted yield", "were expected to"),
        "dry": ("were dry", "were expected to be"),
        "lost": ("cost more than the bid", "were expected to"),
    }
    told, few = [], []
    for row in [] if events is None else events.to_dict("records"):
        came, expected = names[row["event"]]
        stated = "fewer than 0.1" if row["expected"] < 0.05 else f"{row['expected']:.1f}"
        if row["wells"] < FEWEST:
            few.append(f"{row['came']} of {row['wells']} wells {came} ({stated} {expected})")
            continue
        likely = "which luck explains" if row["p"] >= 0.05 else "which luck hardly explains"
        chance = "under 0.01" if row["p"] < 0.01 else f"= {row['p']:.2f}"
        told.append(
            f"{row['came']} of {row['wells']} wells {came}; {stated} {expected} by the chances stated, {likely} "
            f"(p {chance})."
        )
    if few:
        told.append(f"By the chances stated, of too few wells to judge: {'; '.join(few)}.")
    return told
