"""How functions are compiled: once, kept on disk where a folder can be written, never in threads.

numba keeps compiled functions beside their module, or else in the user's cache folder, or where
`NUMBA_CACHE_DIR` says. It refuses where it can write none of these; then they are compiled anew in
each process.

Its cache notices a change in a function's own module only: a compiled function calls compiled
functions of its own module and no others, and whoever renumbers the columns of `tables` touches
`walk` as well.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., Any])

_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy"}


def compiled(function: Function) -> Function:
    """Compile a function of numbers and arrays with numba, releasing the GIL."""
    try:
        return cast(Function, numba.njit(cache=True, **_OPTIONS)(function))
    except RuntimeError as refusal:
        if "cache" not in str(refusal):
            raise
        return cast(Function, numba.njit(**_OPTIONS)(function))


def inlined(function: Function) -> Function:
    """Compile a small function into each of its callers.

    A call hands over every array of the tables, which costs more than what the function does.
    """
    return cast(Function, numba.njit(inline="always", **_OPTIONS)(function))
