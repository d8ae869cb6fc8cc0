"""Rays from receivers and sources through the building: geometry only, cast once.

What casts is loaded when it is first used, since compiled code takes longer to load than most of
what is done with a cast.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from envelope.rays.merging import merge_chain, merge_lit
from envelope.rays.records import (
    SCRAMBLES,
    Beam,
    Chain,
    Crossings,
    FinerAngles,
    Lit,
    merge,
    standard_error,
)
from envelope.rays.sampling import BINS, DEFAULT, FINE, Sampling, sampling_for

if TYPE_CHECKING:
    from envelope.rays.all_directions import cast_directions
    from envelope.rays.casts import (
        cast_chain,
        cast_cone,
        cast_lit,
        cast_point,
    )
    from envelope.rays.isotropic_field import cast_even
    from envelope.rays.many_starts import cast_cones, cast_lines
    from envelope.rays.sky_occlusion import cast_outdoors

__all__ = [
    "BINS",
    "DEFAULT",
    "FINE",
    "SCRAMBLES",
    "Beam",
    "Chain",
    "Crossings",
    "FinerAngles",
    "Lit",
    "Sampling",
    "cast_chain",
    "cast_cone",
    "cast_cones",
    "cast_directions",
    "cast_even",
    "cast_lines",
    "cast_lit",
    "cast_outdoors",
    "cast_point",
    "merge",
    "merge_chain",
    "merge_lit",
    "sampling_for",
    "standard_error",
]

_HOMES: Final = {
    "all_directions": ("cast_directions",),
    "casts": ("cast_chain", "cast_cone", "cast_lit", "cast_point"),
    "isotropic_field": ("cast_even",),
    "many_starts": ("cast_cones", "cast_lines"),
    "sky_occlusion": ("cast_outdoors",),
}


def _when_called(home: str, name: str) -> Callable[..., Any]:
    """A function of a module that is loaded when the function is first called, not when named."""

    def call(*arguments: Any, **named: Any) -> Any:
        return getattr(importlib.import_module(f"{__name__}.{home}"), name)(*arguments, **named)

    call.__name__ = call.__qualname__ = name
    call.__doc__ = f"See `{__name__}.{home}.{name}`."
    return call


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            value = _when_called(home, name)
            globals()[name] = value
            return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
