"""What the commands show on the terminal: tables, sums, progress.

Text from records is printed as it stands: nothing in it is obeyed as markup,
and control characters are shown as their codes.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    import pandas as pd

    from wellrecords.jobs import LotJob
    from wellrecords.refresh import RefreshResult

PIPED_WIDTH = 200
EXAMPLES = 20

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


@contextmanager
def progress() -> Iterator[Callable[[str, int, int], None]]:
    """Give a teller of progress: a line on a terminal, silence where standard error is piped.

    Yields
    ------
    callable
        Of what is being done, how much of it is done, and how much there is.
    """
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda what, done, total: bar.update(task, description=what, completed=done, total=total)


def show_table(rows: Sequence[dict[str, str]], right: Sequence[str] = ()) -> None:
    """Print rows of text as a table.

    Parameters
    ----------
    rows : sequence of dict
        Column heading -> cell, the same headings in each row.
    right : sequence of str
        Headings of the columns to set to the right.
    """
    if not rows:
        return
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console() if sys.stdout.isatty() else Console(width=PIPED_WIDTH)
    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in rows[0]:
        drawn.add_column(heading, justify="right" if heading in right else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*(Text(plain(cell)) for cell in row.values()))
    console.print(drawn)


def plain(text: str) -> str:
    r"""Return text with its control characters as codes, so that a record cannot steer the terminal.

    >>> plain("dug\x1b[2J well")
    'dug\\x1b[2J well'
    """
    return _CONTROL.sub(lambda found: f"\\x{ord(found.group()):02x}", text)


def show_refresh(result: RefreshResult, *, notes: bool = True) -> None:
    """Print what a refresh read, kept, merged and held back, and what its readers noticed."""
    counted = ("rows_read", "kept", "merged", "held_back", "mended", "changes", "flags")
    headings = [name.replace("_", " ") for name in counted]
    rows = [
        {"source": str(one["source"])} | {name.replace("_", " "): f"{one[name]:,}" for name in counted}
        for one in result.sources.to_dict("records")
    ]
    show_table(rows, right=headings)
    counts = result.counts
    typer.echo(
        f"Rows read {counts['rows_read']:,} = kept {counts['kept']:,} + merged {counts['merged']:,} "
        f"+ held back {counts['held_back']:,}"
    )
    for note in result.notes if notes else ():
        typer.echo(f"Note: {plain(note)}")
    unchanged = " (no input has changed, so nothing was read again)" if result.unchanged else ""
    typer.echo(f"Dataset: {short(result.version)}{unchanged}")


def show_estimates(jobs: Sequence[LotJob]) -> None:
    """Print the answers, a row a lot, and under them what must be said about each."""
    show_table([_estimate_row(job) for job in jobs])
    for job in jobs:
        for note in job.estimate.notes:
            typer.echo(f"{plain(job.lot_id)}: {plain(note)}")


def show_held_back(rows: pd.DataFrame) -> None:
    """Print the held-back rows: how many for which reason, and where the first of them stand."""
    if rows.empty:
        typer.echo("No row was held back.")
        return
    counted = (
        rows.groupby(["source", "reason"], sort=True)
        .size()
        .rename("rows")
        .sort_values(ascending=False, kind="stable")
        .reset_index()
    )
    show_table(
        [
            {"source": one["source"], "reason": one["reason"], "rows": f"{one['rows']:,}"}
            for one in counted.to_dict("records")
        ],
        right=("rows",),
    )
    first = rows.head(EXAMPLES)
    show_table(
        [
            {"file": row["file"], "row": f"{row['file_row']:,}", "reason": row["reason"], "why": row["why"]}
            for row in first.to_dict("records")
        ],
        right=("row",),
    )
    more = f"; the first {EXAMPLES} are shown, --save writes them all" if len(rows) > EXAMPLES else ""
    typer.echo(f"{len(rows):,} rows held back{more}.")


def short(path: Path) -> str:
    """Return a path as seen from the working folder where it lies below it."""
    try:
        return str(path.resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(path)


def _estimate_row(job: LotJob) -> dict[str, str]:
    from wellrecords.bid import Bid
    from wellrecords.report import wording

    def three(name: str, say: Callable[[float], str]) -> str:
        if estimate.draws is None:
            return "cannot say"
        low, middle, high = (say(float(estimate.draws[name].quantile(level, "lower"))) for level in (0.1, 0.5, 0.9))
        return f"{low} / {middle} / {high}"

    def figure(text: str) -> str:
        return text.removesuffix(" ft").removesuffix(" gpm")

    estimate, bid = job.estimate, job.bid
    return {
        "lot": job.lot_id,
        "records": estimate.support,
        "rock, ft": three("depth_to_bedrock_ft", lambda value: figure(wording.depth(value))),
        "water, ft": three("depth_to_water_ft", lambda value: figure(wording.depth(value) if value > 0 else "flows")),
        "depth to target, ft": three("depth_to_target_ft", lambda value: figure(wording.depth(value))),
        "yield, gpm": three("yield_gpm", lambda value: figure(wording.flow(value))),
        "target": f"{wording.flow(estimate.target_yield_gpm)} by {wording.depth(estimate.max_depth_ft)}",
        "chance": wording.percent(estimate.chance_of_target),
        "cost": " / ".join(wording.money(bid.total_quantiles[name]) for name in ("p10", "p50", "p90"))
        if isinstance(bid, Bid)
        else "no bid",
        "fixed price": wording.money(bid.fixed_price_usd) if isinstance(bid, Bid) else "no bid",
    }
