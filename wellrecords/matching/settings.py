"""The settings of the matching."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class MatchingSettings(BaseModel):
    """The table ``[matching]`` of a region.

    Parameters
    ----------
    threshold : float, default=0.25
        Two records are one well where the log of the odds for it is at least
        this: somewhat likelier than not. Held against planted truth by
        ``tests/benchmarks/bench_matching.py``; raise it to merge less.
    chance_other_source, chance_same_source, chance_earlier_state : float
        How likely a record has its partner in another source, in its own
        source (filed twice), or, being the record of a deepening, a repair or
        a sealing, among the wells as first drilled.
    furthest_m : float, default=3000.0
        No two places further apart are compared, however poor they are.
    days_apart : int, default=60
        Dates of one well in two files that may differ: the day of completion
        in one, of filing in the other.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    threshold: float = 0.25
    chance_other_source: float = Field(default=0.3, gt=0.0, lt=1.0)
    chance_same_source: float = Field(default=0.03, gt=0.0, lt=1.0)
    chance_earlier_state: float = Field(default=0.6, gt=0.0, lt=1.0)
    furthest_m: float = Field(default=3_000.0, gt=0.0)
    days_apart: int = Field(default=60, ge=0)
