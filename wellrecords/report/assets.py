"""The files that a report carries inside itself: Leaflet, our script, our style.

Leaflet is vendored, unchanged, beside its licence; its sha256 is held by a
test. Its picture files become data URIs, since a report is one file.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from importlib.resources import files

LEAFLET_VERSION = "1.9.4"
_SOURCE_MAP = re.compile(r"^//# sourceMappingURL=.*$", re.MULTILINE)
_CSS_URL = re.compile(r"url\(([^)#]+)\)")


@cache
def asset_text(name: str) -> str:
    """Return a file of ``assets/`` as text."""
    return (files("wellrecords.report") / "assets" / name).read_text("utf-8")


def data_uri(content: bytes, media_type: str = "image/png") -> str:
    """Return `content` as a data URI."""
    return f"data:{media_type};base64,{base64.b64encode(content).decode('ascii')}"


@cache
def leaflet_script() -> str:
    """Return Leaflet's licence and its script, without the source map line."""
    return f"/*\n{asset_text('leaflet/LICENSE.txt')}*/\n{_SOURCE_MAP.sub('', asset_text('leaflet/leaflet.js'))}"


@cache
def leaflet_style() -> str:
    """Return Leaflet's style sheet, its pictures laid inline.

    The picture of the default marker is left out: our maps draw circles.
    """

    def inline(match: re.Match[str]) -> str:
        name = match.group(1).rsplit("/", 1)[-1]
        path = files("wellrecords.report") / "assets" / "leaflet" / name
        return f"url({data_uri(path.read_bytes())})" if path.is_file() else "none"

    return _CSS_URL.sub(inline, asset_text("leaflet/leaflet.css"))
