"""Files written whole, or not at all, in folders that a person may write to.

Every page, table and layout that a command writes goes through here, so that
a folder which cannot be written is told in one way: before the work begins
where it can be, and never as a traceback after it.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from wellrecords.errors import WellRecordsError

_written: list[Path] = []


def written_so_far() -> tuple[Path, ...]:
    """Return what this process has written, the latest last: it stands where the process is stopped."""
    return tuple(_written)


def note_written(path: Path) -> None:
    """Remember something that was written whole by other means than `write_whole`."""
    _written.append(path)


def write_whole(path: str | os.PathLike[str], content: bytes) -> Path:
    """Write a file beside its place and move it there: readers see the old file or the new one, never a part.

    Parameters
    ----------
    path : path-like
        Its folder is made where absent.
    content : bytes

    Returns
    -------
    pathlib.Path

    Raises
    ------
    WellRecordsError
        If it cannot be written; nothing is left behind.
    """
    target = Path(path)
    with _told(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            # A temporary file is for its owner only; the file that it becomes is as open as any other.
            umask = os.umask(0)
            os.umask(umask)
            Path(beside).chmod(0o666 & ~umask)
            Path(beside).replace(target)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    note_written(target)
    return target


def check_folder(folder: str | os.PathLike[str]) -> None:
    """Try, before the work begins, whether files can be written to a folder; nothing is left behind.

    Parameters
    ----------
    folder : path-like
        May be absent: then it must be possible to make it.

    Raises
    ------
    WellRecordsError
        If it cannot be made or written to.
    """
    folder = Path(folder)
    with _told(folder):
        absent = [path for path in (folder, *folder.parents) if not os.path.lexists(path)]
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
        finally:
            for path in absent:
                if path.is_dir():
                    path.rmdir()


def check_file(path: str | os.PathLike[str]) -> None:
    """Try, before the work begins, whether a file can be written; nothing is left behind.

    Raises
    ------
    WellRecordsError
        If its folder cannot be written to, or a folder stands in its place.
    """
    path = Path(path)
    if path.is_dir():
        msg = f"{path} is a folder. Next: name a file in it."
        raise WellRecordsError(msg)
    check_folder(path.parent)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        msg = f"{path} cannot be written ({error.strerror or error}). Next: name a folder you may write to."
        raise WellRecordsError(msg) from error
