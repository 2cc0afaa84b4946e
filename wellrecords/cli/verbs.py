"""The verbs of the command line, a handful, in plain words."""

from __future__ import annotations

from typing import Any

import typer
from typer.core import TyperGroup

from wellrecords.cli import dataset, drilled, lots, need, validate
from wellrecords.cli.common import STOPPED
from wellrecords.output import written_so_far
from wellrecords.terminal import short

NAMED = 3
"""Files that are named where a verb is stopped; of more, the latest."""


def what_stands() -> str:
    """Say what a verb that is stopped has written: each file and each version of a dataset is whole."""
    written = written_so_far()
    if not written:
        return "nothing was written"
    more = f" and {len(written) - NAMED} more" if len(written) > NAMED else ""
    return f"written before, and whole: {', '.join(short(path) for path in written[-NAMED:])}{more}"


class Verbs(TyperGroup):
    """The verbs; a user who stops one is told what stands."""

    def invoke(self, ctx: Any) -> Any:
        """Run the verb; every file is written whole or not at all, so that a stop leaves no half of one."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            typer.echo(f"Stopped; {what_stands()}.", err=True)
            raise typer.Exit(STOPPED) from None


app = typer.Typer(
    cls=Verbs,
    name="wellrecords",
    help="From a pile of well records to a bid for a new lot: how deep, how much water, what it costs, how sure.",
    epilog="An estimate is no guarantee: the licensed contractor and local code govern.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)

app.command("draft-layout")(dataset.draft_layout)
app.command("check-layout")(dataset.check_layout)
app.command("refresh")(dataset.refresh)
app.command("validate")(validate.validate)
app.command("estimate")(lots.estimate)
app.command("site")(lots.site)
app.command("need")(need.need)
app.command("report")(lots.report)
app.command("file-well")(drilled.file_well)
app.command("outcomes")(drilled.outcomes)
app.command("held-back")(dataset.held_back)
app.command("changes")(dataset.changes)
