"""What was learnt of a district, kept beside the dataset for the next lot in it.

Learning takes half the time of a lot's estimate, and hangs on the wells, two
settings and the code alone. A file is named by a hash of these, so that it is
read only where learning anew would give the same; it is JSON, in which
figures keep their last digit. A folder that cannot be written keeps nothing.
"""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from wellrecords.errors import WellRecordsError
from wellrecords.interpolation.covariance import Covariance
from wellrecords.lots.fractures import Jumps, LawGrid, fracture_tables
from wellrecords.lots.laws import LawMap, Reach
from wellrecords.lots.rounding import RANGES
from wellrecords.lots.settings import EstimateSettings
from wellrecords.lots.shared import Meanwhile, Result, Shared, learn
from wellrecords.lots.stopping import Habits, Stops
from wellrecords.output import write_whole
from wellrecords.schema import among

ROOMS = ("interpolation", "lots")
"""Rooms whose code what is learnt hangs on."""


def learn_or_read(
    folder: Path | None,
    wells: pd.DataFrame,
    coordinates: np.ndarray,
    settings: EstimateSettings,
    water_zones: pd.DataFrame | None,
    meanwhile: Meanwhile[Result],
) -> tuple[Shared, Result]:
    """Return what wells share, as `shared.learn`; from the folder where it was learnt before.

    Parameters
    ----------
    folder : Path or None
        None keeps nothing.
    wells, coordinates, settings, water_zones, meanwhile
        As for `learn`.

    Returns
    -------
    Shared
    Result
        What `meanwhile` returned.
    """
    if folder is None:
        return learn(wells, coordinates, settings, water_zones, meanwhile)
    path = folder / f"{_key(wells, coordinates, settings, water_zones)}.json"
    try:
        shared = from_json(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, KeyError, TypeError):  # none yet, or not whole
        shared, found = learn(wells, coordinates, settings, water_zones, meanwhile)
    else:
        return shared, meanwhile(shared.covariances, settings.n_jobs)
    with suppress(WellRecordsError):  # a store that may only be read
        write_whole(path, to_json(shared).encode("utf-8"))
    return shared, found


def _key(
    wells: pd.DataFrame, coordinates: np.ndarray, settings: EstimateSettings, water_zones: pd.DataFrame | None
) -> str:
    digest = hashlib.sha256(_code())
    digest.update(f"{settings.random_state} {settings.n_neighbours}".encode())
    digest.update(np.ascontiguousarray(coordinates).tobytes())
    tables = [wells.drop(columns="geometry", errors="ignore")]
    if water_zones is not None:
        tables.append(water_zones[among(water_zones["record_id"], wells["record_id"])])
    for table in tables:
        digest.update(",".join(table.columns).encode())
        digest.update(pd.util.hash_pandas_object(table, index=False).to_numpy().tobytes())
    return digest.hexdigest()[:32]


@lru_cache(maxsize=1)
def _code() -> bytes:
    """Return a hash of the code that learns."""
    digest = hashlib.sha256()
    for room in ROOMS:
        for path in sorted((Path(__file__).parents[1] / room).glob("*.py")):
            digest.update(path.read_bytes())
    return digest.digest()


def to_json(shared: Shared) -> str:
    """Write what is shared, but for the wells that it was learnt from."""
    laws = shared.laws
    told: dict[str, Any] = {
        "covariances": {name: asdict(one) for name, one in shared.covariances.items()},
        "water_starts_at": shared.water_starts_at,
        "correlation": shared.correlation.tolist(),
        "finished": None if shared.finished is None else asdict(shared.finished),
        "laws": None,
    }
    if laws is not None:
        told["laws"] = {
            "run_on_ft": laws.stops.run_on_ft,
            "log_rate": laws.grid.log_rate.tolist(),
            "log_size": laws.grid.log_size.tolist(),
            "jumps": asdict(laws.tables.jumps),
            "decay_ft": laws.decay_ft,
            "habits": {name: part.tolist() for name, part in vars(laws.habits).items()},
            "prior": laws.prior.tolist(),
            "reach": asdict(laws.reach),
            "n_neighbours": laws.n_neighbours,
            "candidate": laws.candidate,
        }
    return json.dumps(told)


def from_json(text: str) -> Shared:
    """Read what `to_json` wrote.

    Raises
    ------
    ValueError, KeyError, TypeError
        It is not whole.
    """
    told = json.loads(text)
    return Shared(
        covariances={name: Covariance(**one) for name, one in told["covariances"].items()},
        laws=None if told["laws"] is None else _laws(told["laws"]),
        water_starts_at=told["water_starts_at"],
        correlation=np.array(told["correlation"]),
        finished=None if told["finished"] is None else Covariance(**told["finished"]),
    )


def _laws(told: dict[str, Any]) -> LawMap:
    none = np.empty(0)
    stops = Stops(
        row=none.astype(int),
        coordinates=np.empty((0, 2)),
        position_error_m=none,
        depth_ft=none,
        feet=none,
        run_on_ft=told["run_on_ft"],
        gpm=none,
        as_written=none,
        rounded=np.empty((0, RANGES, 3)),
        kind=none.astype(int),
        gone_on=none,
        zones=np.empty((0, 5)),
    )
    return LawMap(
        stops=stops,
        grid=LawGrid(np.array(told["log_rate"]), np.array(told["log_size"])),
        tables=fracture_tables(Jumps(**told["jumps"])),
        decay_ft=told["decay_ft"],
        habits=Habits(**{name: np.array(part) for name, part in told["habits"].items()}),
        prior=np.array(told["prior"]),
        reach=Reach(**told["reach"]),
        n_neighbours=told["n_neighbours"],
        scored=none.astype(int),
        scores=none,
        candidate=told["candidate"],
    )
