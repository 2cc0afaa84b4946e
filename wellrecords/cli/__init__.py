"""The command line: a handful of verbs in plain words.

Expected errors end with status 2 and a message without a traceback.
Results go to standard output, progress and errors to standard error;
progress is shown on a terminal only.
"""

from __future__ import annotations

import sys
from typing import Any

import typer
from typer.core import TyperGroup

from wellrecords.cli import dataset, drilled, lots, need
from wellrecords.errors import WellRecordsError

STOPPED = 130
"""The exit status of a command that the user stopped: 128 and the number of the signal."""


STANDS = {
    "report": "reports already written stay",
    "refresh": "the dataset stands whole, as it was or refreshed",
}
"""What stands when a verb is stopped; of the others, nothing was written."""


class Verbs(TyperGroup):
    """The verbs; a user who stops one is told what stands."""

    def invoke(self, ctx: Any) -> Any:
        """Run the verb; every file is written whole or not at all, so that a stop leaves no half of one."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            typer.echo(f"Stopped; {STANDS.get(ctx.invoked_subcommand or '', 'nothing was written')}.", err=True)
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
app.command("estimate")(lots.estimate)
app.command("site")(lots.site)
app.command("need")(need.need)
app.command("report")(lots.report)
app.command("file-well")(drilled.file_well)
app.command("outcomes")(drilled.outcomes)
app.command("held-back")(dataset.held_back)


def main() -> None:
    """Run the command line; expected errors end with status 2."""
    try:
        app()
    except WellRecordsError as error:
        typer.echo(str(error), err=True)
        sys.exit(2)
    except BrokenPipeError:
        # The reader of our output (head, less) has gone: no fault of the run.
        sys.stderr.close()
        sys.exit(0)
