"""What was said at bid time, kept so that the drilled well can be held against it.

One small JSON file an estimate, never rewritten: quantiles of every figure,
the chances, the bid, and a hash of what went in. Files made by any released
version must stay readable; `format` says which form a file has.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError, model_validator

from wellrecords import __version__
from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.lot_files import as_written

PROBABILITIES = (0.005, *(round(percent / 100, 2) for percent in range(1, 100)), 0.995)
"""Where the quantiles of a new record are taken."""
_LONG_AGO = datetime.min.replace(tzinfo=UTC)


class EstimateRecord(BaseModel):
    """One estimate as it was given.

    Parameters
    ----------
    lot_id : str
    longitude, latitude : float, optional
        Where on the lot was estimated; records of older versions do not say.
    given_on : date
    kept_at : datetime with a zone, optional
        When the record was made: tells an estimate from before a well was
        filed from one of the same day after it. Older records do not say.
    support : str
        "good", "thin" or "none"; at "none" nothing was estimated.
    target_yield_gpm, max_depth_ft : float
    probabilities : tuple of float
        Rising, between 0 and 1.
    quantiles : dict of str to tuple of float
        By quantity (`depth_to_bedrock_ft`, `depth_to_water_ft`,
        `depth_to_target_ft`, `yield_gpm`, `drilled_ft`, `cost_usd`): the
        quantiles at `probabilities`; infinity where the target may never be met.
    chance_of_target, chance_of_dry_hole : float, optional
    dry_below_gpm : float, optional
        What the chance of a dry hole speaks of.
    bid_usd, chance_of_loss, expected_profit_usd, expected_loss_usd : float, optional
        The fixed price that was bid and its risk.
    inputs_hash : str
        SHA-256 of what the estimate was made from (`hash_inputs`).
    code_version : str
    """

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="strings")

    format: Literal[1] = 1
    lot_id: str = Field(min_length=1)
    longitude: float | None = None
    latitude: float | None = None
    given_on: date
    kept_at: AwareDatetime | None = None
    support: Literal["good", "thin", "none"] = "good"
    target_yield_gpm: float = Field(gt=0)
    max_depth_ft: float = Field(gt=0)
    probabilities: tuple[float, ...] = ()
    quantiles: dict[str, tuple[float, ...]] = {}
    chance_of_target: float | None = Field(default=None, ge=0, le=1)
    chance_of_dry_hole: float | None = Field(default=None, ge=0, le=1)
    dry_below_gpm: float | None = Field(default=None, ge=0)
    bid_usd: float | None = None
    chance_of_loss: float | None = Field(default=None, ge=0, le=1)
    expected_profit_usd: float | None = None
    expected_loss_usd: float | None = None
    inputs_hash: str = ""
    code_version: str = __version__

    @model_validator(mode="after")
    def _tables_fit(self) -> EstimateRecord:
        places = np.asarray(self.probabilities)
        if places.size and not (places.min() > 0 and places.max() < 1 and (np.diff(places) > 0).all()):
            msg = "probabilities must rise and lie between 0 and 1"
            raise ValueError(msg)
        for name, table in self.quantiles.items():
            if len(table) != len(places):
                msg = f"{name} has {len(table)} quantiles for {len(places)} probabilities"
                raise ValueError(msg)
            if any(after < before for before, after in pairwise(table)) or np.isnan(table).any():
                msg = f"the quantiles of {name} must rise"
                raise ValueError(msg)
        return self

    def quantile(self, quantity: str, probability: float) -> float:
        """Return a quantile of a quantity, interpolated between those that are kept."""
        table = np.asarray(self.quantiles[quantity])
        place = int(np.searchsorted(self.probabilities, probability))
        if place < len(table) and np.isclose(self.probabilities[place], probability):
            return float(table[place])
        return float(np.interp(probability, self.probabilities, table))

    def chance_below(self, quantity: str, value: float) -> tuple[float, float]:
        """Return the chance of less than a value, and of at most it.

        Parameters
        ----------
        quantity : str
        value : float

        Returns
        -------
        (float, float)
            Equal for a continuous quantity; apart where the estimate puts
            weight on the value itself (a hole that stops at its limit), and
            where the value lies beyond the kept quantiles.
        """
        values, lower, upper = _curve(self.quantiles[quantity], self.probabilities)
        place = int(np.searchsorted(values, value))
        if place < len(values) and values[place] == value:
            return float(lower[place]), float(1.0 if np.isposinf(value) else upper[place])
        below = 0.0 if place == 0 else float(upper[place - 1])
        above = 1.0 if place == len(values) else float(lower[place])
        if place in (0, len(values)) or np.isinf(values[place]) or np.isinf(values[place - 1]):
            return below, above
        chance = float(np.interp(value, values[place - 1 : place + 1], [below, above]))
        return chance, chance


@lru_cache(maxsize=4096)
def _curve(quantiles: tuple[float, ...], probabilities: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the distinct kept values, the chance of less than each, and of at most each."""
    values, first, ties = np.unique(quantiles, return_index=True, return_counts=True)
    around = np.concatenate([[0.0], probabilities, [1.0]])  # around[i + 1] belongs to quantile i
    last = first + ties - 1
    # A value that stands once is a point of the curve; one that stands several times has a weight, whose edges lie
    # somewhere between two kept probabilities: half way is the fair guess.
    lower = np.where(ties == 1, around[first + 1], (around[first] + around[first + 1]) / 2)
    upper = np.where(ties == 1, around[first + 1], (around[last + 1] + around[last + 2]) / 2)
    return values, lower, upper


def make_estimate_record(
    estimate: Any,
    bid: Any | None = None,
    *,
    given_on: date,
    kept_at: datetime | None = None,
    inputs_hash: str = "",
) -> EstimateRecord:
    """Return the record of an estimate, and of its bid where one was made.

    Parameters
    ----------
    estimate : LotEstimate
        `lot_id`, `longitude`, `latitude`, `support`, `target_yield_gpm`, `max_depth_ft`, `draws`,
        `chance_of_target`, `chance_of_dry_hole`, `dry_below_gpm`.
    bid : Bid, optional
        `quantities` with `drilled_ft`, `total_usd`, `fixed_price_usd`,
        `chance_of_loss`, `expected_profit_usd`, `expected_loss_usd`.
    given_on : date
    kept_at : datetime with a zone, optional
    inputs_hash : str
        From `hash_inputs`.
    """
    draws: dict[str, np.ndarray] = {}
    if estimate.draws is not None:
        # A column of which the records cannot speak is null, and stays out.
        known = estimate.draws.dropna(axis="columns")
        draws = {str(name): known[name].to_numpy(dtype=float) for name in known}
    money: dict[str, Any] = {}
    if bid is not None:
        if "drilled_ft" in bid.quantities:
            draws["drilled_ft"] = bid.quantities["drilled_ft"].to_numpy(dtype=float)
        draws["cost_usd"] = np.asarray(bid.total_usd, dtype=float)
        money = {
            "bid_usd": bid.fixed_price_usd,
            "chance_of_loss": bid.chance_of_loss,
            "expected_profit_usd": bid.expected_profit_usd,
            "expected_loss_usd": bid.expected_loss_usd,
        }
    # An order statistic and no mean of two: draws that never meet the target are infinite.
    quantiles = {
        name: tuple(float(value) for value in np.quantile(values, PROBABILITIES, method="inverted_cdf"))
        for name, values in draws.items()
    }
    return EstimateRecord(
        lot_id=estimate.lot_id,
        longitude=estimate.longitude,
        latitude=estimate.latitude,
        given_on=given_on,
        kept_at=kept_at,
        support=estimate.support,
        target_yield_gpm=estimate.target_yield_gpm,
        max_depth_ft=estimate.max_depth_ft,
        probabilities=PROBABILITIES if quantiles else (),
        quantiles=quantiles,
        chance_of_target=_known(estimate.chance_of_target),
        chance_of_dry_hole=_known(estimate.chance_of_dry_hole),
        dry_below_gpm=_known(estimate.dry_below_gpm),
        inputs_hash=inputs_hash,
        **money,
    )


def hash_inputs(inputs: Mapping[str, Any]) -> str:
    """Return one SHA-256 for what an estimate was made from.

    Parameters
    ----------
    inputs : mapping
        Anything that JSON holds: the store's manifest, settings, the price
        book's text. The order of keys does not matter.
    """
    text = json.dumps(inputs, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def write_estimate(folder: str | Path, record: EstimateRecord) -> Path:
    """Keep an estimate as a file of its own.

    Parameters
    ----------
    folder : path
        Made where it is absent.
    record : EstimateRecord

    Returns
    -------
    pathlib.Path
        Named by lot, date and what was said; the same estimate twice on one
        day is one file, with the time at which it was first kept.
    """
    said = record.model_dump_json(indent=1, exclude={"kept_at"}).encode()
    name = re.sub(r"[^A-Za-z0-9-]+", "-", record.lot_id).strip("-") or "lot"
    path = Path(folder) / f"{name}_{record.given_on.isoformat()}_{hashlib.sha256(said).hexdigest()[:10]}.json"
    if path.exists():
        return path
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{path.name}.{os.getpid()}.part")
        beside.write_bytes(record.model_dump_json(indent=1).encode())
        beside.replace(path)
    except OSError as error:
        msg = f"The estimate cannot be kept in {folder} ({error.strerror or error}). Next: check the folder's rights."
        raise WellRecordsError(msg) from error
    return path


def read_estimates(folder: str | Path) -> list[EstimateRecord]:
    """Read every estimate of a folder, the oldest first.

    Parameters
    ----------
    folder : path
        An absent folder holds none.

    Raises
    ------
    ProblemsError
        One problem a file that is no estimate.
    """
    records, problems = [], []
    for path in sorted(Path(folder).glob("*.json")):
        try:
            records.append(EstimateRecord.model_validate_json(path.read_bytes()))
        except (ValidationError, OSError) as error:
            problems.append(
                Problem(
                    what="a file of the estimates cannot be read",
                    file=str(path),
                    rule=str(error).splitlines()[0],
                    next_step="restore it from a backup, or move it out of the folder",
                    code="estimate_file",
                )
            )
    if problems:
        raise ProblemsError(problems, "The estimates cannot be used")
    return sorted(records, key=lambda record: (record.given_on, record.lot_id))


def latest_before(
    records: Sequence[EstimateRecord],
    lot_id: str,
    drilled_on: date | pd.Timestamp,
    filed_at: datetime | None = None,
) -> EstimateRecord | None:
    """Return the last estimate of a lot from before its well was drilled and filed, None where there is none.

    Parameters
    ----------
    records : sequence of EstimateRecord
    lot_id : str
        In any case, unless two lots differ by it alone.
    drilled_on : date or Timestamp
    filed_at : datetime with a zone, optional
        When the well came into the log. An estimate of the day of drilling
        counts only where it was surely kept before that: of a line or a
        record without a time nobody can tell which came first.
    """
    day = pd.Timestamp(drilled_on).date()
    known = None if filed_at is None or pd.isna(filed_at) else filed_at

    def came_before(record: EstimateRecord) -> bool:
        if record.kept_at is None or known is None:
            return record.given_on < day
        return record.given_on <= day and record.kept_at < known

    fits = [record for record in of_lot(records, lot_id) if came_before(record)]
    return max(fits, key=lambda record: (record.given_on, record.kept_at or _LONG_AGO), default=None)


def of_lot(records: Sequence[EstimateRecord], lot_id: str) -> list[EstimateRecord]:
    """Return the estimates of a lot, its name in any case unless two lots differ by it alone."""
    names = {record.lot_id for record in records}
    meant = lot_id if lot_id in names else as_written([lot_id], sorted(names))[0]
    return [record for record in records if record.lot_id == meant]


def _known(value: float | None) -> float | None:
    return None if value is None or np.isnan(value) else float(value)
