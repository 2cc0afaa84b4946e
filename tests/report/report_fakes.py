"""What the report tests share: a place, a hostile name, and an estimate of the shape the report reads."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd

LONGITUDE, LATITUDE = -71.5, 44.2
HOSTILE = (
    "{{ 7*7 }}{{ cycler.__init__.__globals__.os.getcwd() }} {% x %} {# ${document.title='hit'} ` \\ "
    "</script><script>document.title='hit'</script><img src=x onerror=\"document.title='hit'\"> "
    "\u2028\u202e & \"q\" 'q'"
)
"""What a hostile owner name may hold: every road into a page at once."""


@dataclass(frozen=True)
class FakeEstimate:
    """The fields of a lot's estimate that the report reads."""

    lot_id: str = "14-B"
    longitude: float = LONGITUDE
    latitude: float = LATITUDE
    support: str = "good"
    notes: tuple[str, ...] = ("Two of the wells lie on one point; they count as little more than one.",)
    wells_within_1km: int = 11
    wells_within_5km: int = 160
    nearest_well_m: float = 180.0
    target_yield_gpm: float = 5.0
    max_depth_ft: float = 600.0
    draws: pd.DataFrame | None = None
    chance_of_target: float = 0.88
    chance_of_dry_hole: float = 0.04
    target_curve: pd.DataFrame = field(default_factory=pd.DataFrame)
    by_yield: pd.DataFrame = field(default_factory=pd.DataFrame)
    changes: pd.DataFrame = field(default_factory=pd.DataFrame)
    neighbours: pd.DataFrame = field(default_factory=pd.DataFrame)
    dry_below_gpm: float = 0.5
    technical_words: str = "The estimate leans on 24 wells, the nearest 180 m away."

    def yield_at_depth(self, depth_ft):
        """6 gpm where the target is met; above it in proportion to the depth."""
        assert self.draws is not None
        target = self.draws["depth_to_target_ft"].to_numpy()
        return np.where(depth_ft >= target, 6.0, 4.0 * depth_ft / np.minimum(target, 4000.0))

    def but(self, **changes: object) -> FakeEstimate:
        """Return a copy with some fields changed."""
        return replace(self, **changes)


class Outline(HTMLParser):
    """Ids, element counts and links of a page, and text outside scripts and styles."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.tags: list[str] = []
        self.loads: list[str] = []
        self.words: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        for name, value in attributes:
            if name == "id":
                self.ids.append(value)
            if name in ("src", "href", "xlink:href", "action") and value and not value.startswith(("#", "data:")):
                self.loads.append(value)

    def handle_data(self, data):
        if self.tags and self.tags[-1] not in ("script", "style"):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())
