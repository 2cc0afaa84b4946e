"""Long work cut into tiles: bounded in memory, shared among threads."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

Result = TypeVar("Result")

TILE_BYTES = 32_000_000  # working memory of one tile, for each thread
TILES_A_THREAD = 4  # so that no thread waits long for the last one
SMALLEST_TILE = 1_000  # pieces; below that a thread costs more than it saves


@cache
def thread_pool(n_jobs: int) -> ThreadPoolExecutor:
    """Return the pool of so many threads, started once."""
    return ThreadPoolExecutor(max_workers=n_jobs)


os.register_at_fork(after_in_child=thread_pool.cache_clear)


def run_tiles(task: Callable[[slice], Result], count: int, *, n_jobs: int, bytes_each: int = 1) -> list[Result]:
    """Run `task` on slices of `count` pieces of work, in at most `n_jobs` threads.

    Parameters
    ----------
    task : callable
        Takes the slice; should let other threads run (compiled code, numpy).
    count : int
    n_jobs : int
    bytes_each : int
        Working memory of one piece; a tile stays under `TILE_BYTES`.

    Returns
    -------
    list
        What `task` returned for each slice, in order.
    """
    even = max(SMALLEST_TILE, -(-count // (TILES_A_THREAD * n_jobs)))
    size = min(even, max(1, TILE_BYTES // bytes_each))
    slices = [slice(start, min(count, start + size)) for start in range(0, count, size)]
    if n_jobs == 1 or len(slices) == 1:
        return [task(tile) for tile in slices]
    return list(thread_pool(n_jobs).map(task, slices))
