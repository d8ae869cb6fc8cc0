"""How functions are compiled: once, kept on disk where a folder can be written, never in threads.

numba keeps compiled functions beside their module, or else in the user's cache folder, or where
`NUMBA_CACHE_DIR` says. It refuses where it can write none of these; then they are compiled anew in
each process, as they are where the disk is full.

Compiled functions make no arrays: they are given what they work in.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
from numba.core.options import DefaultOptions

Function = TypeVar("Function", bound=Callable[..., Any])
Stamp = tuple[tuple[str, int, int], ...]

_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
if hasattr(DefaultOptions, "_nrt"):
    # who holds an array need not be counted where none is made; counting at every step from
    # function to function took three quarters of a walk's time
    _OPTIONS["_nrt"] = False
if hasattr(DefaultOptions, "no_cfunc_wrapper"):
    _OPTIONS["no_cfunc_wrapper"] = True  # nothing in C calls them; it takes long to compile
_CALLED_BY_COMPILED: dict[str, Any] = (
    {"no_cpython_wrapper": True} if hasattr(DefaultOptions, "no_cpython_wrapper") else {}
)


def _put_off_blas() -> None:
    """Let numba look for SciPy's linear algebra where it is used, not when numba starts.

    It looks whether it is there by importing it, which takes as long as half of a small cast.
    """
    if "numba.np.arraymath" in sys.modules:
        return
    from numba.np import linalg

    look = getattr(linalg, "ensure_blas", None)
    if look is None:
        return
    linalg.ensure_blas = lambda: None
    try:
        from numba.np import arraymath

        arraymath.ensure_blas = look
    finally:
        linalg.ensure_blas = look


_put_off_blas()


def compiled(function: Function) -> Function:
    """Compile a function of numbers and arrays with numba, releasing the GIL."""
    try:
        dispatcher = numba.njit(cache=True, **_OPTIONS)(function)
    except RuntimeError as refusal:
        if "cache" not in str(refusal):
            raise
        dispatcher = numba.njit(**_OPTIONS)(function)
    else:
        _stamp(dispatcher)
        _let_saving_fail(dispatcher)
    return cast(Function, dispatcher)


def called(function: Function) -> Function:
    """Compile a function that only compiled ones call: Python cannot.

    It is kept on disk within those that call it, and what would let Python call it is left out.
    """
    return cast(Function, numba.njit(**_OPTIONS, **_CALLED_BY_COMPILED)(function))


def inlined(function: Function) -> Function:
    """Compile a function into each of its callers.

    A call hands over every array, which costs more than what a small function does. LLVM puts it
    into its callers: where numba does so itself, types are inferred anew in each of them, which
    takes three times as long. Python cannot call it.
    """
    return cast(Function, numba.njit(forceinline=True, **_OPTIONS, **_CALLED_BY_COMPILED)(function))


def stamp_of(folder: str) -> Stamp:
    """Name, time of change and size of each module of a folder."""
    with os.scandir(folder) as entries:
        found = [(entry.name, entry.stat()) for entry in entries if entry.name.endswith(".py")]
    return tuple(sorted((name, state.st_mtime_ns, state.st_size) for name, state in found))


_SOURCES = stamp_of(os.path.dirname(os.path.abspath(__file__)))


def _stamp(dispatcher: Any) -> None:
    """Tie what is kept on disk to all modules of this folder.

    By itself it is tied to the function's own module alone, so that after a change in another one,
    whose functions are compiled into this one, the old code would go on being used.
    """
    kept: Any = getattr(getattr(dispatcher, "_cache", None), "_cache_file", None)
    if hasattr(kept, "_source_stamp"):
        kept._source_stamp = _SOURCES


def _let_saving_fail(dispatcher: Any) -> None:
    """Go on where a compiled function cannot be kept, as on a full disk: it runs all the same."""
    kept: Any = getattr(dispatcher, "_cache", None)
    save = getattr(kept, "save_overload", None)
    if save is None:
        return

    def save_if_possible(*arguments: Any) -> None:
        with contextlib.suppress(OSError):
            save(*arguments)

    kept.save_overload = save_if_possible
