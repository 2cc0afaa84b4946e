"""Text from records is never markup, never a template, never a script.

A well's owner may be written down as ``{{7*7}}`` or ``<img onerror=…>``. Three
roads lead into a page, and each has its guard here or in `page`:

- into our own HTML: jinja2 with autoescape on (`page.render_page`);
- into the map's data: `json_for_page`, read by our script and drawn with
  ``textContent``;
- into folium, which compiles names as templates and hands them to
  ``innerHTML``: `folium_text`. Only names of map layers go this way.
"""

from __future__ import annotations

import html
import json
from typing import Any

_JSON_ESCAPES = str.maketrans({"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"})
_TEMPLATE_ENTITIES = str.maketrans({character: f"&#{ord(character)};" for character in "{}`$\\"})


def json_for_page(value: Any) -> str:
    r"""Return `value` as JSON that may stand inside a ``<script>`` element.

    All but ASCII is escaped (so U+2028 and U+2029 too), and ``<``, ``>`` and
    ``&`` are, so that no text can close the element or open another.

    Parameters
    ----------
    value : object
        Of dict, list, str, int, float, bool and None.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        On NaN or infinity, which JSON cannot hold: use None for missing.

    Examples
    --------
    >>> json_for_page({"owner": "</script>"})
    '{"owner":"\\u003c/script\\u003e"}'
    """
    return json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":")).translate(_JSON_ESCAPES)


def folium_text(text: str) -> str:
    """Return `text` so that folium shows it as it is written.

    Beside the HTML characters, those that Jinja and JavaScript's template
    strings act on become numeric entities; folium compiles the text it has
    already rendered a second time, so plain HTML escaping is not enough.

    Examples
    --------
    >>> folium_text("{{7*7}} <b>")
    '&#123;&#123;7*7&#125;&#125; &lt;b&gt;'
    """
    return html.escape(text, quote=True).translate(_TEMPLATE_ENTITIES)
