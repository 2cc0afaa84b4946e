"""The index: one page that links the reports of a folder."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from urllib.parse import quote

from wellrecords.report.page import render_page, write_page
from wellrecords.report.settings import ReportSettings


@dataclass(frozen=True)
class ReportLink:
    """A report to be linked.

    Parameters
    ----------
    path : path-like
        Of the report; linked relative to the index.
    title : str
        Such as "Lot 14-B".
    summary : str, default=""
        One sentence.
    group : str, default="Lots"
        Links of one group stand together, groups in order of first sight.
    version : str, default=""
        Such as "for the owner".
    """

    path: str | os.PathLike[str]
    title: str
    summary: str = ""
    group: str = "Lots"
    version: str = ""


def write_index(
    path: str | os.PathLike[str],
    *,
    region: str,
    links: Sequence[ReportLink],
    prepared_on: date | None = None,
    prepared_by: str | None = None,
    settings: ReportSettings | None = None,
) -> Path:
    """Write the page that links the reports.

    Parameters
    ----------
    path : path-like
        Of the index.
    region : str
    links : sequence of ReportLink
    prepared_on, prepared_by : optional
    settings : ReportSettings, optional

    Returns
    -------
    pathlib.Path
    """
    settings = settings or ReportSettings()
    folder = Path(path).resolve().parent
    groups: dict[str, list[dict[str, str]]] = {}
    for link in links:
        relative = os.path.relpath(Path(link.path).resolve(), folder)
        # "./" keeps a name such as "javascript:x.html" from being read as a scheme.
        href = "./" + quote(Path(relative).as_posix())
        groups.setdefault(link.group, []).append(
            {"href": href, "title": link.title, "summary": link.summary, "version": link.version}
        )
    html = render_page(
        "index.html",
        title=f"{region}: reports",
        language=settings.language,
        region=region,
        prepared_on=f"{prepared_on:%B} {prepared_on.day}, {prepared_on.year}" if prepared_on else None,
        prepared_by=prepared_by,
        groups=groups,
    )
    return write_page(path, html)
