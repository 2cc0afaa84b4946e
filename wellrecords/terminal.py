"""What the commands show on the terminal: tables, sums, progress.

Text from records is printed as it stands: nothing in it is obeyed as markup,
and control characters are shown as their codes.
"""

from __future__ import annotations

import math
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from wellrecords.errors import counted

if TYPE_CHECKING:
    import pandas as pd

    from wellrecords.errors import Problem
    from wellrecords.jobs import LotJob
    from wellrecords.outcomes import Account
    from wellrecords.refresh import RefreshResult
    from wellrecords.siting import Siting

PIPED_WIDTH = 200
WIDE = 120
"""Columns below which the table of estimates would be crushed."""
EXAMPLES = 20
TOLD_FROM_S = 0.5
"""A stage that is over sooner leaves no line."""

PLACE_HEADINGS = (
    "lot",
    "place",
    "longitude",
    "latitude",
    "trench, ft",
    "rig, ft",
    "slope",
    "nearest limit",
    "to spare, ft",
    "cost of the place",
)

YIELD_AROUND = (
    "Yield around: of finished wells. Each was stopped where its owner was content, some short of the target; a hole "
    "for the target goes on."
)

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


@contextmanager
def progress() -> Iterator[Callable[[str, int, int], None]]:
    """Give a teller of progress: lines on a terminal, silence where standard error is piped.

    What is being done stands in a line that moves; each stage that is over
    leaves a line with the seconds that it took.

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

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    stage, since = "", time.monotonic()
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)

        def begin(what: str) -> None:
            nonlocal stage, since
            took_s = time.monotonic() - since
            if stage and took_s >= TOLD_FROM_S:
                bar.console.print(f"{stage}: {took_s:.0f} s", markup=False, highlight=False)
            stage, since = what, time.monotonic()

        def tell(what: str, done: int, total: int) -> None:
            if (told := plain(what)) != stage:
                begin(told)
            bar.update(task, description=told, completed=done, total=total)

        yield tell
        begin("")


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

    console = Console(width=_width())
    drawn = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in rows[0]:
        drawn.add_column(heading, justify="right" if heading in right else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*(Text(plain(cell)) for cell in row.values()))
    with console.capture() as captured:
        console.print(drawn)
    # Every cell is filled up with blanks to its column's width, the last of a line too.
    typer.echo("\n".join(line.rstrip() for line in captured.get().splitlines()) + "\n")


def plain(text: str) -> str:
    r"""Return text with its control characters as codes, so that a record cannot steer the terminal.

    >>> plain("dug\x1b[2J well")
    'dug\\x1b[2J well'
    """
    return _CONTROL.sub(lambda found: f"\\x{ord(found.group()):02x}", text)


def show_layout_check(stops: Sequence[Problem], told: Sequence[Problem]) -> None:
    """Print what would stop a run, then what a run would hold back or drop, then the verdict."""
    for heading, problems in (("These stop a run:", stops), ("A run would go on, but:", told)):
        if problems:
            typer.echo(heading)
        for problem in problems:
            typer.echo(f"  - {plain(str(problem))}")
    if stops:
        typer.echo(f"The layout does not fit the file yet: {counted(len(stops), 'problem')} to mend.")
    elif told:
        typer.echo("The layout fits the file: nothing stops a run. Look through the points above.")
    else:
        typer.echo("The layout fits the file: nothing stops a run, no row would be held back.")


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
    """Print the answers, a row a lot, and under them what must be said about each.

    On a narrow terminal the lots stand one below the other.
    """
    from wellrecords.bid import NoBid

    rows = [_estimate_row(job) for job in jobs]
    if _width() < WIDE:
        for row in rows:
            label_width = max(map(len, row)) + 1
            for label, value in row.items():
                typer.echo(f"{label + ':':{label_width}} {plain(value)}")
            typer.echo()
    else:
        # Units stand below their headings, so that the long ones do not widen the table.
        show_table([{heading.replace(", ", ",\n"): cell for heading, cell in row.items()} for row in rows])
    if any(job.estimate.draws is not None for job in jobs):
        # Else it looks at odds with the chance of a target above it.
        typer.echo(YIELD_AROUND + "\n")
    for job in jobs:
        # Why there is no bid tells what the records cannot say too.
        reason = [job.bid.reason] if isinstance(job.bid, NoBid) else []
        notes = [*reason, *(note for note in job.estimate.notes if not any(note in told for told in reason))]
        for note in notes:
            typer.echo(f"{plain(job.lot_id)}: {plain(note)}")
    for told, lots in _without_place(jobs).items():
        typer.echo(f"{plain(', '.join(lots))}: {told} Another length: run_to_house_ft under [water_system].")


def _without_place(jobs: Sequence[LotJob]) -> dict[str, list[str]]:
    """Return what a trench and a way are reckoned at where no place is chosen, with the lots that it holds for."""
    from wellrecords.bid import Bid
    from wellrecords.bid.pricing import NO_PLACE

    told: dict[str, list[str]] = {}
    for job in jobs:
        for note in job.bid.notes if isinstance(job.bid, Bid) else ():
            if note.startswith(NO_PLACE):
                told.setdefault(note, []).append(job.lot_id)
    return told


def show_changes(table: pd.DataFrame) -> None:
    """Print what was changed and flagged: how many, of which column, by which rule. What was written is not shown."""
    if table.empty:
        typer.echo("Nothing was changed or flagged.")
        return
    by = ["source", "done", "column", "rule"]
    counted = table.groupby(by, sort=True).size().rename("rows").reset_index()
    counted = counted.sort_values(["source", "done", "rows"], ascending=[True, True, False], kind="stable")
    show_table([{**one, "rows": f"{one['rows']:,}"} for one in counted.to_dict("records")], right=("rows",))


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
    # Of a workbook with several sheets, the row says on which it stands.
    first = (
        rows.assign(sheet=rows["sheet"].astype(object).fillna(""))
        .sort_values(["file", "sheet", "file_row"], kind="stable")
        .head(EXAMPLES)
    )
    columns = ("file", "sheet", "file_row", "reason", "why")
    show_table(
        [
            {name.removeprefix("file_"): str(row[name]) for name in columns if name != "sheet" or any(first["sheet"])}
            for row in first.to_dict("records")
        ],
        right=("row",),
    )
    more = f"; the first {EXAMPLES} are shown, --save writes them all" if len(rows) > EXAMPLES else ""
    typer.echo(f"{len(rows):,} {'row' if len(rows) == 1 else 'rows'} held back{more}.")


def show_sitings(sitings: Iterable[Siting], no_place: Sequence[str] = ()) -> None:
    """Print where on each lot a well may stand, a table of the ranked places, and what holds for all lots."""
    from wellrecords.siting import describe

    sited = list(sitings)
    shared = [note for note in (sited[0].notes if sited else ()) if all(note in one.notes for one in sited)]
    for one in sited:
        for sentence in describe(one):
            if sentence not in shared:
                typer.echo(plain(sentence))
        typer.echo()
    rows = [
        row
        for one in sited
        for row in (
            [_place_row(one.lot_id, place) for place in one.candidates.to_dict("records")]
            if one.has_ground
            else [_no_place_row(one)]
        )
    ]
    show_table(
        rows, right=[heading for heading in (rows[0] if rows else ()) if heading not in ("lot", "nearest limit")]
    )
    for note in shared:
        typer.echo(plain(note))
    for sentence in no_place:
        typer.echo(plain(sentence))


def show_account(account: Account) -> None:
    """Print how the firm's estimates have held: a table, then the sentences, warnings among them."""
    from wellrecords.outcomes.calibration import FEWEST
    from wellrecords.outcomes.compare import QUANTITIES as COMPARED
    from wellrecords.wording import MISSING

    def row_of(row: dict[str, Any]) -> dict[str, str]:
        # A share of three wells is no share: below so many the counts stand alone.
        judged = row["wells"] - row["untold"] >= FEWEST
        return {
            "quantity": COMPARED[row["quantity"]][0],
            "wells": f"{row['wells']:,}",
            "inside": f"{row['surely_inside']:,}",
            "outside": f"{row['wells'] - row['surely_inside'] - row['untold']:,}",
            "cannot be told": f"{row['untold']:,}",
            "covers": f"{row['coverage']:.0%}" if judged else MISSING,
            "allowed by so few": f"{row['coverage_low']:.0%} to {row['coverage_high']:.0%}" if judged else MISSING,
        }

    rows = [row_of(row) for row in account.calibration.to_dict("records")]
    silent = {heading for heading in (rows[0] if rows else ()) if all(row[heading] == MISSING for row in rows)}
    rows = [{heading: cell for heading, cell in row.items() if heading not in silent} for row in rows]
    show_table(rows, right=[heading for heading in (rows[0] if rows else ()) if heading != "quantity"])
    for sentence in account.sentences:
        typer.echo(plain(sentence))


def short(path: Path) -> str:
    """Return a path as seen from the working folder where it lies below it."""
    try:
        return str(path.resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(path)


def _width() -> int:
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PIPED_WIDTH


def _level(value_ft: float) -> str:
    from wellrecords import wording

    said = wording.water_level(value_ft)
    return "flows" if said.endswith("above ground") else said


def _estimate_row(job: LotJob) -> dict[str, str]:
    from wellrecords import wording
    from wellrecords.bid import Bid
    from wellrecords.lots import three_quantiles

    def three(name: str, say: Callable[[float], str]) -> str:
        values = three_quantiles(estimate, name) if estimate.draws is not None else (math.nan,)
        if any(math.isnan(value) for value in values):
            return "cannot say"
        return " / ".join(say(value).removesuffix(" ft").removesuffix(" gpm") for value in values)

    estimate, bid = job.estimate, job.bid
    limit = estimate.max_depth_ft
    no_price = "no bid" if bid is not None else "no price book"
    return {
        "lot": job.lot_id,
        "records": estimate.support,
        "rock, ft": three("depth_to_bedrock_ft", wording.depth),
        "water, ft": three("depth_to_water_ft", _level),
        "depth to target, ft": three("depth_to_target_ft", lambda value: wording.target_depth(value, limit)),
        "yield around, gpm": three("yield_gpm", wording.flow),
        "target": f"{wording.flow(estimate.target_yield_gpm)} by {wording.depth(limit)}",
        "chance": wording.percent(estimate.chance_of_target),
        "cost": " / ".join(wording.money(bid.total_quantiles[name]) for name in ("p10", "p50", "p90"))
        if isinstance(bid, Bid)
        else no_price,
        "fixed price": wording.money(bid.fixed_price_usd) if isinstance(bid, Bid) else no_price,
    }


def _no_place_row(siting: Siting) -> dict[str, str]:
    """Return the row of a lot on which no well may stand: left out, it would look like one without a plan."""
    from wellrecords.wording import MISSING

    told = {"lot": siting.lot_id, "place": "none", "nearest limit": f"no ground: {siting.in_the_way}"}
    return {heading: told.get(heading, MISSING) for heading in PLACE_HEADINGS}


def _place_row(lot_id: str, place: dict[str, Any]) -> dict[str, str]:
    from wellrecords import wording

    def whole(value: float, unit: str = "") -> str:
        return f"{value:,.0f}{unit}" if math.isfinite(value) else wording.MISSING

    cells = (
        lot_id,
        str(place["rank"]),
        f"{place['longitude']:.6f}",
        f"{place['latitude']:.6f}",
        whole(place["trench_ft"]),
        whole(place["access_ft"]),
        whole(place["slope_percent"], "%"),
        place["binding"],
        f"{max(place['slack_ft'], 0.0):.1f}",
        wording.place_cost(place["cost_usd"], place["trench_ft"]),
    )
    return dict(zip(PLACE_HEADINGS, cells, strict=True))
