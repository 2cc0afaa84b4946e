"""Compile functions by numba, kept on disk between runs wherever that can be written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from numba import njit


def fast(*, contract: bool) -> Callable[[Callable[..., Any]], Any]:
    """Return a decorator that compiles a function; other threads may run beside it.

    Parameters
    ----------
    contract : bool
        Whether a product and a sum may become one operation, rounded once:
        faster, but not to the last bit what numpy reckons.
    """
    options: dict[str, Any] = {"nogil": True, "fastmath": {"contract"} if contract else False}

    def decorate(function: Callable[..., Any]) -> Any:
        try:
            return njit(cache=True, **options)(function)
        except RuntimeError:  # neither the package's folder nor the user's cache can be written
            return njit(**options)(function)

    return decorate
