"""Tasks that do not wait for one another, in threads: most of what they do is compiled and holds no lock."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")
Other = TypeVar("Other")


def side_by_side(task: Callable[[Item], Result], items: Iterable[Item], n_jobs: int) -> list[Result]:
    """Run `task` on each item, in at most `n_jobs` threads; what it returns, in the order of the items."""
    if n_jobs == 1:
        return [task(item) for item in items]
    with ThreadPoolExecutor(n_jobs) as pool:
        return list(pool.map(task, items))


def both(first: Callable[[], Result], second: Callable[[], Other], n_jobs: int) -> tuple[Result, Other]:
    """Run two tasks, the second in a thread of its own unless `n_jobs` is 1; what they return."""
    if n_jobs == 1:
        return first(), second()
    with ThreadPoolExecutor(1) as pool:
        later = pool.submit(second)
        return first(), later.result()
