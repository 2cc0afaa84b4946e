"""The command line: a handful of verbs in plain words.

Expected errors end with status 2 and a message without a traceback.
Results go to standard output, progress and errors to standard error;
progress is shown on a terminal only.
"""

from __future__ import annotations

import atexit
import gc
import os
import sys

OBJECTS_A_COLLECTION = 1_000_000


def main() -> None:
    """Run the command line; expected errors end with status 2, a stop with 130."""
    # Libraries make objects by the hundred thousand and hardly one is garbage; half a second went by in looking for it.
    gc.set_threshold(OBJECTS_A_COLLECTION)
    atexit.register(gc.freeze)
    # The work is shared out among threads of our own; those of the linear algebra would wait in their way, spinning.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        # Loading takes half a second, in which a user may well stop it.
        from wellrecords.cli.common import STOPPED
        from wellrecords.cli.verbs import app
        from wellrecords.errors import WellRecordsError
    except KeyboardInterrupt:
        sys.stderr.write("Stopped; nothing was written.\n")
        sys.exit(130)
    try:
        app()
    except WellRecordsError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit(STOPPED)
    except BrokenPipeError:
        # The reader of our output (head, less) has gone: no fault of the run.
        sys.stderr.close()
        sys.exit(0)
