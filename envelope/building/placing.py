"""Where an opening sits in the flat frame of its wall, floor or ceiling."""

from __future__ import annotations

import numpy as np

from envelope.building.flat import WELD_M
from envelope.building.planar import Floats
from envelope.building.records import OPENING_KINDS, Panel
from envelope.building.specs import OpeningSpec
from envelope.errors import Fault

WITH_RING = ("box", "light")


class RefusedError(Exception):
    """An opening that cannot be cut; its faults are already noted."""


class Refusals:
    """Notes faults of one opening after another."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults

    def refuse(self, spec: OpeningSpec, key: str, message: str) -> RefusedError:
        self.faults.append(
            Fault(message=f"opening {spec.id} {message}", subject=("opening", spec.id, key))
        )
        return RefusedError()


def check_numbers(spec: OpeningSpec, host: Panel, refusals: Refusals) -> None:
    bad = False
    lengths = {
        "size": (spec.width_m, spec.height_m),
        "reveal": (spec.reveal_m,),
        "undercut": (spec.undercut_m,),
        "ring": (spec.ring_m,),
        "sill": (spec.sill_m,),
        "at": (spec.along_m,) if spec.along_m is not None else spec.centre or (),
    }
    for key, values in lengths.items():
        least = WELD_M if key == "size" else 0.0
        signed = key == "at" and host.kind != "wall"
        for value in values:
            if not np.isfinite(value) or (value < least and not signed):
                wanted = "must be above 0" if key == "size" else "cannot be below 0"
                refusals.refuse(spec, key, f"has {key} {value:g} m; it {wanted}")
                bad = True
    if spec.kind not in OPENING_KINDS:
        allowed = ", ".join(OPENING_KINDS)
        refusals.refuse(spec, "kind", f'is of unknown kind "{spec.kind}"; kinds are {allowed}')
        bad = True
    if spec.undercut_m > 0.0 and not (spec.kind == "door" and host.kind == "wall"):
        refusals.refuse(
            spec, "undercut", f"is a {spec.kind}; only a door in a wall has an undercut"
        )
        bad = True
    if spec.undercut_m >= spec.height_m > 0.0:
        refusals.refuse(
            spec,
            "undercut",
            f"has an undercut of {spec.undercut_m:g} m, which is not below its height of "
            f"{spec.height_m:g} m",
        )
        bad = True
    if spec.ring_m > 0.0 and spec.kind not in WITH_RING:
        refusals.refuse(spec, "ring", f"is a {spec.kind}; only a box or a light has a ring")
        bad = True
    if bad:
        raise RefusedError


def _clamped(low: float, high: float, most: float) -> tuple[float, float]:
    """Ends within the weld distance of an edge are on it."""
    if abs(low) < WELD_M:
        low = 0.0
    if abs(high - most) < WELD_M:
        high = most
    return low, high


def wall_rectangle(spec: OpeningSpec, host: Panel, refusals: Refusals) -> tuple[Floats, Floats]:
    """Hole and mouth (4, 2) of an opening in a wall, in the wall's frame.

    The frame starts at the foot of the wall's first corner, its right-hand end, so that positions
    along the wall are counted down the frame's first axis.
    """
    length = float(np.linalg.norm(host.outline[-1] - host.outline[0]))
    top = float(host.frame.flatten(host.outline)[:, 1].max())
    if spec.along_m is None:
        raise refusals.refuse(spec, "at", f'sits in wall {host.id}: say where along it, at = "1 m"')
    start = spec.along_m
    if spec.from_left:
        start = length - spec.along_m - spec.width_m
    start, end = _clamped(start - spec.ring_m, start + spec.width_m + spec.ring_m, length)
    low, high = _clamped(spec.sill_m - spec.ring_m, spec.sill_m + spec.height_m + spec.ring_m, top)
    bad = False
    if start < 0.0 or end > length:
        corner = "left-hand corner" if spec.from_left else "first corner"
        reach = spec.along_m + spec.width_m + spec.ring_m
        if reach > length:
            text = (
                f"ends {reach:.4g} m from the {corner} of {host.id}, which is {length:.4g} m long"
            )
        else:
            text = f"with its ring begins before the {corner} of {host.id}"
        refusals.refuse(spec, "at", text)
        bad = True
    if low < 0.0:
        refusals.refuse(spec, "sill", f"with its ring begins below the foot of {host.id}")
        bad = True
    if high > top:
        refusals.refuse(
            spec, "sill", f"reaches {high:.4g} m up {host.id}, which is {top:.4g} m high"
        )
        bad = True
    if bad:
        raise RefusedError
    hole = np.array([[-end, low], [-start, low], [-start, high], [-end, high]])
    ring = spec.ring_m
    return hole, hole + ring * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])


def flat_rectangle(
    spec: OpeningSpec, host: Panel, origin: Floats, refusals: Refusals
) -> tuple[Floats, Floats]:
    """Hole and mouth (4, 2) of an opening in a floor or ceiling, in the panel's frame."""
    if spec.centre is None:
        raise refusals.refuse(
            spec, "at", f'sits in {host.id}: give the x and y of its centre, at = "1.0, 2.0 m"'
        )
    centre = np.array(spec.centre) + origin
    rings = []
    for grown in (spec.ring_m, 0.0):
        half = 0.5 * np.array([spec.width_m, spec.height_m]) + grown
        plan = centre + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        # Straight up or down onto the panel's plane.
        rise = (host.frame.origin[:2] - plan) @ host.normal[:2] / host.normal[2]
        corners = np.column_stack((plan, host.frame.origin[2] + rise))
        flat = host.frame.flatten(corners)
        rings.append(from_lower_left(flat))
    return rings[0], rings[1]


def from_lower_left(flat: Floats) -> Floats:
    """A ring (n, 2) turned counter-clockwise and begun at its lower left corner."""
    following = np.roll(flat, -1, axis=0)
    if (flat[:, 0] * following[:, 1] - flat[:, 1] * following[:, 0]).sum() < 0.0:
        flat = flat[::-1]
    return np.roll(flat, -int(np.argmin(flat.sum(axis=1))), axis=0)
