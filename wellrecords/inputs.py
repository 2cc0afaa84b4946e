"""What a refresh reads, by what it holds: nothing is read again where no input has changed."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources
from pathlib import Path

from wellrecords.errors import Problem
from wellrecords.settings import Settings
from wellrecords.sources import Layout


def list_inputs(settings: Settings, layouts: list[Layout | None], problems: list[Problem]) -> list[dict[str, str]]:
    """List every file that the run reads, with its hash; those that are missing are problems.

    Parameters
    ----------
    settings : Settings
    layouts : list of Layout or None
        One a source; None where it cannot be used.
    problems : list of Problem
        Added to.

    Returns
    -------
    list of dict
        `role`, `file` (its name) and `sha256`, for the manifest.
    """
    files: list[tuple[str, Path]] = []
    for source, layout in zip(settings.sources, layouts, strict=True):
        files.append(("source", source.file))
        children = (layout.layers, layout.water_zones) if layout is not None else ()
        parts = [part.companion_of(source.file) for part in children if part is not None]
        files += [("companion", path) for path in parts if path is not None and path.exists()]
        if source.mended is not None:
            files.append(("mended", source.mended))
    optional = {
        "outline": settings.region.outline,
        "terrain": settings.region.terrain,
        "sections": settings.region.sections,
        "parcels": settings.region.parcels,
        "rules": settings.cleaning.rules,
        "vocabulary": settings.cleaning.vocabulary,
    }
    files += [(role, path) for role, path in optional.items() if path is not None]
    problems += [
        Problem(
            what=f"there is no such file ({role})",
            rule="each file that the settings name must be there",
            next_step="put it there, or correct the settings",
            file=str(path),
            code="file_missing",
        )
        for role, path in files
        if not path.is_file()
    ]
    return [{"role": role, "file": path.name, "sha256": _sha256(path)} for role, path in files if path.is_file()]


def fingerprint_of(inputs: list[dict[str, str]], settings: Settings) -> str:
    """Return one hash of all that the result depends on: files, layouts, settings and our own code."""
    whole = hashlib.sha256()
    for one in inputs:
        whole.update(f"{one['role']} {one['sha256']}\n".encode())
    whole.update(settings.region.model_dump_json(include={"crs", "bounds"}).encode())
    for source in settings.sources:
        whole.update(source.model_dump_json(include={"name", "private", "layout"}).encode())
        layout = Path(source.layout)
        whole.update(layout.read_bytes() if layout.is_file() else b"")
    whole.update(settings.cleaning.model_dump_json(exclude={"rules", "vocabulary"}).encode())
    whole.update(settings.matching.model_dump_json().encode())
    whole.update(_code_hash().encode())
    return whole.hexdigest()


@cache
def _code_hash() -> str:
    """Return a hash of the package's own files that a refresh runs: another version may read otherwise.

    Taken once: what was loaded runs to the end, whatever becomes of the files.
    """
    whole = hashlib.sha256()
    root = Path(str(resources.files("wellrecords")))
    rooms = ("*.py", "sources/**/*", "cleaning/**/*", "matching/**/*")
    for path in sorted({path for room in rooms for path in root.glob(room) if path.suffix in (".py", ".toml", ".csv")}):
        whole.update(path.relative_to(root).as_posix().encode())
        whole.update(path.read_bytes())
    return whole.hexdigest()


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
