"""Charts as SVG, made to stand inside the page.

matplotlib draws; then every id is given the chart's own prefix (several
charts share a page) and a title and description for those who cannot see it.
The same numbers give the same bytes.
"""

from __future__ import annotations

import io
import math
import re
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from wellrecords import wording
from wellrecords.errors import counted

INK = "#1d2830"
MUTED = "#57636b"
BLUE = "#1f5f8b"
BAND = "#cfe0ec"
RUST = "#c2410c"
_FONTS = ["DejaVu Sans"]
_ID = re.compile(r'\b(id|xlink:href|href)="(#?)([^"]+)"|url\(#([^)]+)\)')


def chance_by_depth(
    curve: pd.DataFrame, *, target_yield_gpm: float, max_depth_ft: float, depths_ft: tuple[float, float, float]
) -> Markup:
    """Draw the chance of having made the target by each depth.

    Parameters
    ----------
    curve : DataFrame
        `depth_ft`, `chance_of_target`.
    target_yield_gpm, max_depth_ft : float
    depths_ft : tuple of float
        The p10, p50 and p90 of the depth to the target; those past the
        limit are not marked.

    Returns
    -------
    Markup
        An ``<svg>`` element.
    """
    figure, axes = _figure()
    depth, chance = curve["depth_ft"].to_numpy(float), curve["chance_of_target"].to_numpy(float)
    axes.fill_between(depth, 0, chance, color=BAND, linewidth=0)
    axes.plot(depth, chance, color=BLUE, linewidth=2)
    top = max(float(depth.max()), max_depth_ft) if depth.size else max_depth_ft
    for value in depths_ft:
        if value <= max_depth_ft:
            height = float(np.interp(value, depth, chance))
            axes.plot([value, value], [0, height], color=INK, linewidth=0.8, linestyle=(0, (3, 2)))
            axes.plot([value], [height], "o", color=INK, markersize=4)
            # The first label stands before its line, the others after, so that close lines do not cross them.
            left = value > 0.8 * top or (value == depths_ft[0] and value > 0.14 * top)
            axes.annotate(
                wording.depth(value),
                (value, height),
                xytext=(-6 if left else 6, 4 if left else -11),
                textcoords="offset points",
                ha="right" if left else "left",
                fontsize=9,
                color=INK,
            )
    axes.axvline(max_depth_ft, color=RUST, linewidth=1.2)
    axes.annotate(
        f"limit {wording.depth(max_depth_ft)}",
        (max_depth_ft, 1.04),
        xytext=(0, 3),
        textcoords="offset points",
        ha="right" if max_depth_ft > 0.8 * top else "center",
        va="bottom",
        fontsize=9,
        color=RUST,
    )
    axes.set_xlim(0, top * 1.02)
    axes.set_ylim(0, 1.04)
    axes.set_yticks([0, 0.25, 0.5, 0.75, 1.0], ["0%", "25%", "50%", "75%", "100%"])
    axes.set_xlabel("depth of the hole, ft")
    axes.set_ylabel(f"chance of {wording.flow(target_yield_gpm)}")
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    reached = float(np.interp(max_depth_ft, depth, chance)) if depth.size else math.nan
    words = [
        f"{wording.percent(float(np.interp(value, depth, chance)))} by {wording.depth(value)}"
        for value in _round_depths(max_depth_ft)
        if depth.size
    ]
    return _svg(
        figure,
        "chart-chance",
        f"Chance of making {wording.flow(target_yield_gpm)} by depth",
        f"The chance rises with depth: {', '.join([*words, f'{wording.percent(reached)} at the limit'])} of "
        f"{wording.depth(max_depth_ft)}.",
    )


def cost_distribution(
    total_usd: np.ndarray,
    *,
    quantiles: tuple[float, float, float],
    fixed_price_usd: float | None,
    axis_label: str = "cost to build, $",
    what: str = "cost",
) -> Markup:
    """Draw how the cost, or a price, spreads over the draws.

    Parameters
    ----------
    total_usd : ndarray of shape (n,)
    quantiles : tuple of float
        Low, middle and high cost: the band and the line.
    fixed_price_usd : float or None
        Marked where given.
    axis_label : str
    what : str
        What spreads, in the title and description.

    Returns
    -------
    Markup
    """
    figure, axes = _figure()
    costs = np.asarray(total_usd, dtype=float)
    low, middle, high = quantiles
    first, last = np.quantile(costs, [0.002, 0.998])
    step = _bin_width(float(last - first))
    edges = np.arange(math.floor(first / step) * step, last + step, step)
    if edges.size < 2:
        edges = np.array([first - step, first + step])
    counts, _ = np.histogram(np.clip(costs, edges[0], edges[-1]), edges)
    shares = counts / max(1, costs.size)
    centres, width = (edges[:-1] + edges[1:]) / 2, edges[1] - edges[0]
    inside = (centres >= low) & (centres <= high)
    axes.bar(centres[inside], shares[inside], width * 0.94, color=BLUE, linewidth=0)
    axes.bar(centres[~inside], shares[~inside], width * 0.94, color="#a9bccb", linewidth=0)
    top = float(shares.max()) * 1.25 if shares.size else 1.0
    axes.set_ylim(0, top)
    axes.axvline(middle, ymax=0.86, color=INK, linewidth=1.2)
    fixed = fixed_price_usd if fixed_price_usd is not None and math.isfinite(fixed_price_usd) else None
    # The labels keep apart: each on the far side of its line from the other line, where there is room.
    room = edges[-1] - edges[0]
    middle_right = middle < edges[0] + (0.35 if fixed is None or fixed >= middle else 0.65) * room
    marks = [(middle, f"middle {wording.money(middle)}", INK, middle_right)]
    if fixed is not None:
        axes.axvline(fixed, ymax=0.94, color=RUST, linewidth=1.4)
        marks.append((fixed, f"fixed price {wording.money(fixed)}", RUST, fixed < edges[0] + 0.65 * room))
    for row, (value, label, colour, rightwards) in enumerate(marks):
        axes.annotate(
            label,
            (value, top * (0.86 + 0.08 * row)),
            xytext=(5 if rightwards else -5, 0),
            textcoords="offset points",
            ha="left" if rightwards else "right",
            va="top",
            fontsize=9,
            color=colour,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
            zorder=5,
        )
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(axis_label)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    axes.xaxis.get_major_locator().set_params(nbins=5)
    return _svg(
        figure,
        "chart-cost",
        f"How the {what} spreads",
        f"In 8 of 10 cases the {what} lies between {wording.money(low)} and {wording.money(high)}; half lie below "
        f"{wording.money(middle)}." + (f" The fixed price is {wording.money(fixed)}." if fixed is not None else ""),
    )


def histogram(values: np.ndarray, *, name: str, label: str, unit: str, log: bool = False, least: int = 1) -> Markup:
    """Draw how many wells have which value.

    Parameters
    ----------
    values : ndarray of shape (n,)
        Finite. On a logarithmic axis those below 0.1 count into the first bar.
    name, label, unit : str
    log : bool, default=False
    least : int, default=1
        Bars of fewer wells are left out: for those who may not see one well.

    Returns
    -------
    Markup
    """
    figure, axes = _figure()
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    last = float(np.quantile(values, 0.995))
    if log:
        edges = np.geomspace(0.1, max(last, 1.0), 25)
        axes.set_xscale("log")
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.tick_params(which="minor", length=0)
    else:
        step = _bin_width(last)
        edges = np.arange(0.0, last + step, step)
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    counts, _ = np.histogram(np.clip(values, edges[0], edges[-1]), edges)
    counts = np.where(counts >= least, counts, 0)
    widths = np.diff(edges)
    axes.bar(edges[:-1], counts, widths * 0.94, align="edge", color=BLUE, linewidth=0)
    _count_wells(axes)
    beyond = int((values > edges[-1]).sum())
    last_bar = f" (last bar: all from {edges[-2]:,.{1 if edges[-2] < 10 else 0}f} on)" if beyond else ""
    axes.set_xlabel(f"{label.lower()}, {unit}{last_bar}")
    return _svg(
        figure,
        name,
        f"{label}: how many wells",
        f"Of {len(values):,} wells eight in ten lie between {wording.two_figures(low)} and "
        f"{wording.two_figures(high)} {unit}; half lie below {wording.two_figures(middle)} {unit}.",
    )


def before_and_after(bins: pd.DataFrame, *, name: str, label: str, unit: str) -> Markup:
    """Draw a quantity's histogram as it was read and as it is kept.

    Parameters
    ----------
    bins : DataFrame
        `from`, `to`, `before`, `after`, bins in order and side by side; the
        last also counts what lies beyond. Bins that widen are drawn on a
        logarithmic axis.
    name, label, unit : str

    Returns
    -------
    Markup
    """
    figure, axes = _figure()
    edges = np.append(bins["from"].to_numpy(float), float(bins["to"].iloc[-1]))
    before, after = bins["before"].to_numpy(float), bins["after"].to_numpy(float)
    axes.bar(edges[:-1], after, np.diff(edges), align="edge", color=BAND, linewidth=0, label="as kept")
    axes.stairs(before, edges, color=RUST, linewidth=1.2, label="as read")
    axes.legend(frameon=False, fontsize=9, labelcolor=INK, loc="upper right")
    axes.set_ylim(0, max(before.max(), after.max(), 1.0) * 1.08)
    if edges[-1] - edges[-2] > 1.01 * (edges[1] - edges[0]):
        axes.set_xscale("log")
        axes.tick_params(which="minor", length=0)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:,g}")
    _count_wells(axes)
    axes.set_xlabel(f"{label.lower()}, {unit}")
    moved = int(np.abs(before - after).sum())
    return _svg(
        figure,
        name,
        f"{label}: as read and as kept",
        f"{before.sum():,.0f} figures as read, {after.sum():,.0f} as kept; over all bars the two differ by "
        f"{counted(moved, 'figure')}.",
    )


def share_bars(labels: list[str], shares: list[float], *, name: str, title: str) -> Markup:
    """Draw shares of a whole as bars with their figures.

    Parameters
    ----------
    labels : list of str
        Shown as text.
    shares : list of float
        Between 0 and 1.
    name, title : str
        Prefix of ids; title of the chart.

    Returns
    -------
    Markup
    """
    row, gap, width = 24, 10, 460
    left = min(300, max(60, 12 + 7.6 * max(map(len, labels), default=0)))
    height = len(labels) * (row + gap)
    largest = max([*shares, 0.01])
    items = []
    for index, (label, share) in enumerate(zip(labels, shares, strict=True)):
        top = index * (row + gap)
        length = (width - left - 70) * share / largest
        items.append(
            f'<text x="{left - 10:.1f}" y="{top + 17}" text-anchor="end">{escape(label)}</text>'
            f'<rect x="{left:.1f}" y="{top + 2}" width="{max(length, 1):.1f}" height="{row - 4}" fill="{BLUE}"/>'
            f'<text x="{left + max(length, 1) + 8:.1f}" y="{top + 17}">{wording.percent(share)}</text>'
        )
    words = ", ".join(f"{label} {wording.percent(share)}" for label, share in zip(labels, shares, strict=True))
    return Markup(
        f'<svg class="chart bars" viewBox="0 0 {width} {height}" role="img" '
        f'aria-labelledby="{name}-title {name}-desc"><title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(words)}.</desc>{"".join(items)}</svg>'
    )


def _figure() -> tuple[Any, Any]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(4.9, 3.1))
    axes = figure.add_axes((0.135, 0.165, 0.85, 0.755))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color("#98a2a9")
    axes.tick_params(colors=MUTED, labelsize=9, length=3)
    axes.xaxis.label.set(color=INK, fontsize=10)
    axes.yaxis.label.set(color=INK, fontsize=10)
    return figure, axes


def _count_wells(axes: Any) -> None:
    """Let an axis count wells: in whole ones, also where there are few."""
    from matplotlib.ticker import MaxNLocator

    axes.yaxis.set_major_locator(MaxNLocator(nbins="auto", steps=[1, 2, 2.5, 5, 10], integer=True, min_n_ticks=1))
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:,.0f}")
    axes.set_ylabel("wells")


def _svg(figure: Any, name: str, title: str, description: str) -> Markup:
    from matplotlib import rc_context

    buffer = io.StringIO()
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": name, "font.family": _FONTS, "svg.id": name}):
        figure.savefig(
            buffer,
            format="svg",
            transparent=True,
            metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
        )
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = _ID.sub(lambda match: _prefixed(match, name), text)
    text = text.replace("font: ", "font:").replace("'DejaVu Sans'", "var(--sans)")
    opening, rest = text.split(">", 1)
    view = re.search(r'viewBox="[^"]+"', opening)
    if view is None:
        msg = "matplotlib wrote an SVG without a viewBox."
        raise ValueError(msg)
    return Markup(
        f'<svg class="chart" {view.group(0)} role="img" aria-labelledby="{name}-title {name}-desc" '
        'xmlns:xlink="http://www.w3.org/1999/xlink">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>{rest}'
    )


def _prefixed(match: re.Match[str], name: str) -> str:
    attribute, hash_mark, identifier, url = match.groups()
    return f"url(#{name}-{url})" if url else f'{attribute}="{hash_mark}{name}-{identifier}"'


def _round_depths(top: float) -> list[float]:
    step = 100.0 if top <= 700 else 200.0
    return [float(value) for value in np.arange(step, top, step)[:6]]


def _bin_width(spread: float) -> float:
    raw = max(spread / 24.0, 1.0)
    power = 10.0 ** math.floor(math.log10(raw))
    return min((factor * power for factor in (1, 2, 2.5, 5, 10)), key=lambda width: abs(width - raw))
