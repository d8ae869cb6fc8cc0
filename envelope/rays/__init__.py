"""Rays from receivers and sources through the building: geometry only, cast once."""

from envelope.rays.aiming import DEFAULT, FINE, Sampling
from envelope.rays.casts import (
    cast_chain,
    cast_cone,
    cast_directions,
    cast_lit,
    cast_point,
)
from envelope.rays.isotropic_field import cast_even
from envelope.rays.many_starts import cast_cones, cast_lines
from envelope.rays.merging import merge_chain, merge_lit
from envelope.rays.records import (
    SCRAMBLES,
    Beam,
    Chain,
    Crossings,
    Lit,
    merge,
    standard_error,
)
from envelope.rays.sky_occlusion import cast_outdoors

__all__ = [
    "DEFAULT",
    "FINE",
    "SCRAMBLES",
    "Beam",
    "Chain",
    "Crossings",
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
    "standard_error",
]
