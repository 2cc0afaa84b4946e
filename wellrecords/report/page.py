"""One self-contained page: template, styles, scripts and data in one file.

The page carries a content security policy that lets only the scripts run
which this module put there, each known by its hash, and forbids every
request. Escaping keeps hostile text from becoming markup; the policy is the
second wall.
"""

from __future__ import annotations

import base64
import hashlib
import os
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from wellrecords import wording
from wellrecords.output import write_whole
from wellrecords.report.assets import asset_text
from wellrecords.report.escape import json_for_page


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("wellrecords.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        depth=wording.depth,
        exact_depth=wording.exact_depth,
        water_level=wording.water_level,
        flow=wording.flow,
        money=wording.money,
        unit_price=wording.unit_price,
        percent=wording.percent,
        distance=wording.distance,
        whole=wording.whole,
        two_figures=wording.two_figures,
    )
    return environment


def content_policy(scripts: Sequence[str]) -> str:
    """Return the content security policy that lets exactly `scripts` run.

    Parameters
    ----------
    scripts : sequence of str
        The text between ``<script>`` and ``</script>``, byte for byte.

    Returns
    -------
    str
    """
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(script.encode('utf-8')).digest()).decode('ascii')}'"
        for script in scripts
    )
    allowed = hashes or "'none'"
    return (
        f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src {allowed}; "
        "base-uri 'none'; form-action 'none'"
    )


def render_page(
    template: str,
    *,
    title: str,
    language: str = "en",
    styles: Sequence[str] = (),
    scripts: Sequence[str] = (),
    data: Mapping[str, Any] | None = None,
    **context: Any,
) -> str:
    """Return a whole HTML page.

    Parameters
    ----------
    template : str
        Name of a file of ``templates/``.
    title : str
        Shown as text.
    language : str
        Of the page.
    styles, scripts : sequence of str
        Text of style sheets and scripts, ours or vendored: never text from
        records.
    data : mapping of str to object, optional
        Element id -> value, each laid down as escaped JSON for the scripts.
    **context
        For the template, escaped by it.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        Where a script or style could close its own element.
    """
    for text in scripts:
        if "</script" in text.lower() or "<!--" in text:
            msg = "A script may not hold '</script' or '<!--': it would end early in the page."
            raise ValueError(msg)
    sheets = [*styles, asset_text("page.css")]
    for text in sheets:
        if "</style" in text.lower():
            msg = "A style sheet may not hold '</style': it would end early in the page."
            raise ValueError(msg)
    return (
        _environment()
        .get_template(template)
        .render(
            title=title,
            language=language,
            policy=content_policy(scripts),
            styles=[Markup(text) for text in sheets],
            scripts=[Markup(text) for text in scripts],
            data={name: Markup(json_for_page(value)) for name, value in (data or {}).items()},
            **context,
        )
    )


def write_page(path: str | os.PathLike[str], html: str) -> Path:
    """Write a page whole: to a file beside it, then renamed.

    Parameters
    ----------
    path : path-like
        Its folder is made where absent.
    html : str

    Returns
    -------
    pathlib.Path

    Raises
    ------
    WellRecordsError
        If it cannot be written.
    """
    # A lone surrogate, as a bad decode leaves it, cannot be UTF-8: it becomes "?".
    return write_whole(path, html.encode("utf-8", errors="replace"))
