"""Where an opening sits in the flat frame of its wall, floor or ceiling."""

from __future__ import annotations

import numpy as np

from envelope.building.model import OPENING_KINDS, Panel
from envelope.building.rooms.opening_panels import THINNEST_M
from envelope.building.rooms.specs import OpeningSpec
from envelope.errors import Fault, length_text
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M

WITH_RING = ("box", "light")
WITH_SEAMS = ("door", "hatch")
GLAZED = ("window", "skylight")
OPENS = ("window", "skylight", "door", "hatch", "vent")
SIDES_OF_ROUND = 12
LEVEL = 1.0 - 1e-9  # vertical part of a normal above which a panel is level


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
        "seams": (spec.seams_m,),
        "film-edge": (spec.film_edge_m,),
        "frame": (spec.frame_m,),
        "tilt": (spec.tilt_m,),
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
            f"has an undercut of {length_text(spec.undercut_m)}, which is not below its height of "
            f"{length_text(spec.height_m)}",
        )
        bad = True
    for key, value in (
        ("undercut", spec.undercut_m),
        ("ring", spec.ring_m),
        ("seams", spec.seams_m),
        ("film-edge", spec.film_edge_m),
        ("frame", spec.frame_m),
    ):
        if 0.0 < value <= THINNEST_M:
            refusals.refuse(
                spec, key, f"has {key} {1000.0 * value:.2g} mm; leave it out, or give more "
                f"than {1000.0 * THINNEST_M:g} mm",
            )  # fmt: skip
            bad = True
    if spec.ring_m > 0.0 and spec.kind not in WITH_RING:
        refusals.refuse(spec, "ring", f"is a {spec.kind}; only a box or a light has a ring")
        bad = True
    for key, value, kinds in (
        ("seams", spec.seams_m, WITH_SEAMS),
        ("film-edge", spec.film_edge_m, GLAZED),
        ("frame", spec.frame_m, GLAZED),
        ("tilt", spec.tilt_m, GLAZED),
    ):
        if value > 0.0 and spec.kind not in kinds:
            refusals.refuse(spec, key, f"is a {spec.kind}; {key} is of a {' or a '.join(kinds)}")
            bad = True
    if spec.state != "shut" and spec.kind not in OPENS:
        refusals.refuse(spec, "state", f"is a {spec.kind}, which is always shut")
        bad = True
    if spec.state == "tilted" and spec.tilt_m < WELD_M:
        refusals.refuse(spec, "state", "is tilted; say how far: tilt must be above 0")
        bad = True
    if spec.round and max(spec.undercut_m, spec.seams_m, spec.tilt_m) > 0.0:
        refusals.refuse(spec, "size", "is round, and has no undercut, seams or tilt")
        bad = True
    if spec.frame_m > 0.0 and spec.frame_assembly is None:
        refusals.refuse(spec, "frame", "has a frame; say what it is made of: frame-assembly")
        bad = True
    if not bad and max(spec.film_edge_m, spec.frame_m, spec.seams_m, spec.tilt_m) > 0.0:
        around = 2.0 * (spec.film_edge_m + spec.frame_m + spec.seams_m)
        tall = spec.height_m - around - spec.undercut_m - spec.tilt_m
        wide = spec.width_m - around
        if tall > WELD_M:
            wide -= spec.tilt_m * spec.height_m / (spec.height_m - spec.tilt_m)
        if min(tall, wide) < WELD_M:
            refusals.refuse(
                spec,
                "size",
                f"is {length_text(spec.width_m)} x {length_text(spec.height_m)}: its seams, film "
                "edge, frame or tilt leave no leaf",
            )
            bad = True
    if bad:
        raise RefusedError


def _outline(centre: Floats, half: Floats, grown: float, *, round_: bool) -> Floats:
    """A rectangle, or twelve sides of the area of the circle within it, grown all round."""
    if not round_:
        corners: Floats = centre + (half + grown) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        return corners
    turn = (np.arange(SIDES_OF_ROUND) + 0.5) * (2.0 * np.pi / SIDES_OF_ROUND)
    # n/2·R²·sin(2π/n) is the area of n sides on a circle of radius R: 3·R² of twelve.
    radius = (half[0] + grown) * np.sqrt(np.pi / 3.0)
    return np.asarray(centre + radius * np.column_stack((np.cos(turn), np.sin(turn))))


def _clamped(low: float, high: float, least: float, most: float) -> tuple[float, float]:
    """Ends within the weld distance of an edge are on it."""
    if abs(low - least) < WELD_M:
        low = least
    if abs(high - most) < WELD_M:
        high = most
    return low, high


def wall_hole(
    spec: OpeningSpec, host: Panel, floor_m: float, refusals: Refusals
) -> tuple[Floats, Floats]:
    """Hole and mouth (n, 2) of an opening in a wall, in the wall's frame.

    Positions along the wall are counted from its first corner, its right-hand end, down the
    frame's first axis; the sill from the floor of the space.
    """
    flat = host.frame.flatten(host.outline)
    right, length = float(flat[:, 0].max()), float(np.ptp(flat[:, 0]))
    base = floor_m - float(host.frame.origin[2])
    bottom, top = float(flat[:, 1].min()) - base, float(flat[:, 1].max()) - base
    if spec.along_m is None:
        raise refusals.refuse(spec, "at", f'sits in wall {host.id}: say where along it, at = "1 m"')
    start = spec.along_m
    if spec.from_left:
        start = length - spec.along_m - spec.width_m
    ring = spec.ring_m
    start, end = _clamped(start - ring, start + spec.width_m + ring, 0.0, length)
    low, high = _clamped(spec.sill_m - ring, spec.sill_m + spec.height_m + ring, bottom, top)
    bad = False
    if start < 0.0 or end > length:
        corner = "left-hand corner" if spec.from_left else "first corner"
        reach = spec.along_m + spec.width_m + ring
        if reach > length:
            text = (
                f"ends {length_text(reach)} from the {corner} of {spec.on}, which is "
                f"{length_text(length)} long"
            )
        else:
            text = f"with its ring begins before the {corner} of {spec.on}"
        refusals.refuse(spec, "at", text)
        bad = True
    if low < bottom:
        text = f"begins below the foot of {spec.on}"
        if low + ring >= bottom:
            text = f"with its ring {text}"
        refusals.refuse(spec, "sill", text)
        bad = True
    if high > top:
        refusals.refuse(
            spec,
            "sill",
            f"reaches {length_text(high)} up {spec.on}, which is {length_text(top)} high",
        )
        bad = True
    if bad:
        raise RefusedError
    hole = np.array([[-end, low], [-start, low], [-start, high], [-end, high]])
    mouth = hole + ring * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    if spec.round:
        centre, half = hole.mean(axis=0), 0.5 * np.array([spec.width_m, spec.height_m])
        hole, mouth = (
            from_lower_left(_outline(centre, half, grown, round_=True)) for grown in (ring, 0.0)
        )
    shift = np.array([right, base])
    return hole + shift, mouth + shift


def flat_hole(
    spec: OpeningSpec, host: Panel, origin: Floats, refusals: Refusals
) -> tuple[Floats, Floats]:
    """Hole and mouth (n, 2) of an opening in a floor or ceiling, in the panel's frame.

    The centre is given in plan. In a level panel the size runs along x and along y; in a sloped
    one across the slope and up the slope.
    """
    if spec.centre is None:
        raise refusals.refuse(
            spec, "at", f'sits in {host.id}: give the x and y of its centre, at = "1.0, 2.0 m"'
        )
    centre = np.array(spec.centre) + origin
    half = 0.5 * np.array([spec.width_m, spec.height_m])
    sloped = abs(host.normal[2]) < LEVEL
    rings = []
    for grown in (spec.ring_m, 0.0):
        plan = centre[np.newaxis]
        if not sloped:
            plan = _outline(centre, half, grown, round_=spec.round)
        # Straight up or down onto the panel's plane.
        rise = (host.frame.origin[:2] - plan) @ host.normal[:2] / host.normal[2]
        flat = host.frame.flatten(np.column_stack((plan, host.frame.origin[2] + rise)))
        if sloped:
            flat = _outline(flat[0], half, grown, round_=spec.round)
        rings.append(from_lower_left(flat))
    return rings[0], rings[1]


def from_lower_left(flat: Floats) -> Floats:
    """A ring (n, 2) turned counter-clockwise and begun at its lower left corner."""
    following = np.roll(flat, -1, axis=0)
    if (flat[:, 0] * following[:, 1] - flat[:, 1] * following[:, 0]).sum() < 0.0:
        flat = flat[::-1]
    return np.roll(flat, -int(np.argmin(flat.sum(axis=1))), axis=0)
