"""The command line: a handful of verbs in plain words.

Expected errors end with status 2 and a message without a traceback.
Results go to standard output, progress and errors to standard error;
progress is shown on a terminal only.
"""

from __future__ import annotations

import sys

import typer

from wellrecords.cli import dataset, drilled, lots
from wellrecords.errors import WellRecordsError

app = typer.Typer(
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
