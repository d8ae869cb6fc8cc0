"""Ceilings over a plan: the lowest of some planes at each spot, and where each of them is it.

    gable, seen along its ridge      ridge
                                      ╱╲
                  eaves (height) ────╱  ╲──── the planes go on beyond the outline `over`,
                                 │          │ and `flat` cuts them off
                            wall │          │

A plane is (a, b, c): its height above the floor is ``a·x + b·y + c`` in the space's coordinates.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.rooms.specs import CeilingSpec
from envelope.errors import RangeError, length_text
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import HAIR_M, WELD_M, Area

SAME = 1e-12  # slopes and heights closer than this are the same plane
MOST_HIPS = 40
LEVEL_M = 1e-9  # heights closer than this are one
PAST_M = 0.3 * HAIR_M  # how far a crease is drawn past its ends: rounding leaves no gap there
STEEPEST_RAD = float(np.radians(85.0))
COMPASS: tuple[tuple[str, tuple[float, float]], ...] = (
    ("north", (0.0, 1.0)),
    ("east", (1.0, 0.0)),
    ("south", (0.0, -1.0)),
    ("west", (-1.0, 0.0)),
)


class CeilingError(RangeError):
    """A ceiling that cannot be; `key` is what in its description is at fault."""

    def __init__(self, key: str, message: str) -> None:
        super().__init__(message)
        self.key = key


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """Where one plane is the ceiling."""

    plane: Floats  # (3,)
    area: Area


def height_at(planes: Floats, spots: Floats) -> Floats:
    """Height (n,) of the lowest of planes (k, 3) over spots (n, 2). [m]"""
    heights: Floats = (spots @ planes[:, :2].T + planes[:, 2]).min(axis=1)
    return heights


def _unit(angle_rad: float) -> Floats:
    """Direction of an angle; exact where it is a multiple of a right angle."""
    quarters = angle_rad / (0.5 * np.pi)
    if abs(quarters - round(quarters)) < 1e-12:
        return np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][round(quarters) % 4])
    return np.array([np.cos(angle_rad), np.sin(angle_rad)])


def _slopes(spec: CeilingSpec, *, eaves_m: float, runs: Sequence[float]) -> list[float]:
    """Rise over run of planes that rise over these runs from the eaves."""
    if (spec.ridge_m is None) == (spec.pitch_rad is None):
        found = "neither" if spec.ridge_m is None else "both"
        raise CeilingError(
            "ceiling", f"a {spec.shape} ceiling takes a ridge or a pitch, and this has {found}"
        )
    if spec.pitch_rad is not None:
        if not 0.0 < spec.pitch_rad <= STEEPEST_RAD:
            raise CeilingError(
                "ceiling",
                f"the ceiling has a pitch of {np.degrees(spec.pitch_rad):.4g}°; "
                "it must be above 0° and at most 85°",
            )
        return [float(np.tan(spec.pitch_rad))] * len(runs)
    assert spec.ridge_m is not None
    rise = spec.ridge_m - eaves_m
    if not rise > WELD_M:
        raise CeilingError(
            "ceiling",
            f"the ridge at {length_text(spec.ridge_m)} is not above the eaves at "
            f"{length_text(eaves_m)}, which are the height",
        )
    slopes = [rise / run for run in runs]
    if max(slopes) > np.tan(STEEPEST_RAD):
        raise CeilingError(
            "ceiling",
            f"the ceiling rises by {length_text(rise)} over {length_text(min(runs))}, which is "
            "steeper than 85°",
        )
    return slopes


def _shed(spec: CeilingSpec, outline: Floats, eaves_m: float) -> list[tuple[float, ...]]:
    up = _unit(spec.direction_rad)
    along = outline @ up
    (slope,) = _slopes(spec, eaves_m=eaves_m, runs=[float(np.ptp(along))])
    return [(*(slope * up), eaves_m - slope * along.min())]


def _gable(spec: CeilingSpec, outline: Floats, eaves_m: float) -> list[tuple[float, ...]]:
    ridge = _unit(spec.direction_rad)
    left = np.array([-ridge[1], ridge[0]])
    across = outline @ left
    low, high = float(across.min()), float(across.max())
    middle = 0.5 * (low + high)
    if spec.through is not None:
        middle = float(np.array(spec.through) @ left)
        if not low + WELD_M < middle < high - WELD_M:
            raise CeilingError(
                "ceiling",
                f"the ridge goes through {length_text(spec.through[0])}, "
                f"{length_text(spec.through[1])}, which is not between the eaves",
            )
    runs = [middle - low, high - middle]
    slopes = _slopes(spec, eaves_m=eaves_m, runs=runs)
    top = eaves_m + max(slope * run for slope, run in zip(slopes, runs, strict=True))
    return [
        (*(slopes[0] * left), top - slopes[0] * middle),
        (*(-slopes[1] * left), top + slopes[1] * middle),
    ]


def _hipped(spec: CeilingSpec, outline: Floats, eaves_m: float) -> list[tuple[float, ...]]:
    sides = np.roll(outline, -1, axis=0) - outline
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if turns.min() < -SAME:
        raise CeilingError(
            "ceiling",
            "a hipped ceiling needs an outline without inward corners: say which part it spans "
            "with over, and write each wing as a [[dormer]]",
        )
    if len(outline) > MOST_HIPS:
        raise CeilingError(
            "ceiling", f"a hipped ceiling has at most {MOST_HIPS} sides, and this {len(outline)}"
        )
    inward = np.column_stack((-sides[:, 1], sides[:, 0])) / np.hypot(*sides.T)[:, np.newaxis]
    offsets = np.einsum("ij,ij->i", inward, outline)
    (slope,) = _slopes(spec, eaves_m=eaves_m, runs=[_inradius(inward, offsets)])
    return [
        (*(slope * normal), eaves_m - slope * offset)
        for normal, offset in zip(inward, offsets, strict=True)
    ]


def _inradius(inward: Floats, offsets: Floats) -> float:
    """Greatest distance from every side of a convex polygon that a point in it can have.

    It is reached at a point as far from three sides as from none of the others: every three are
    tried, which unlike a linear programme's tolerance leaves no digit out.
    """
    three = np.array(list(itertools.combinations(range(len(inward)), 3)))
    rows = np.concatenate((inward[three], np.full((*three.shape, 1), -1.0)), axis=2)
    apart = np.abs(np.linalg.det(rows)) > 1e-6
    found = np.linalg.solve(rows[apart], offsets[three[apart]][..., np.newaxis])[..., 0]
    clear = found[:, :2] @ inward.T - offsets >= found[:, 2:] - 1e-9 * np.ptp(offsets)
    return float(found[clear.all(axis=1), 2].max())


def planes_of(spec: CeilingSpec, *, outline: Floats, eaves_m: float) -> Floats:
    """Planes (k, 3) of a ceiling, the level one last.

    Parameters
    ----------
    spec : CeilingSpec
    outline : (n, 2) float
        Footprint, counter-clockwise. [m]
    eaves_m : float
        Height of the eaves above the floor; of a flat ceiling, its height.

    Raises
    ------
    CeilingError
        Where there is no such ceiling.
    """
    base = outline if spec.over is None else np.asarray(spec.over, dtype=np.float64)
    if spec.shape == "flat":
        return np.array([(0.0, 0.0, eaves_m)])
    make = {"shed": _shed, "gable": _gable, "hipped": _hipped}[spec.shape]
    planes = make(spec, base, eaves_m)
    if spec.flat_m is not None:
        if not spec.flat_m > eaves_m + WELD_M:
            raise CeilingError(
                "ceiling",
                f"the level part at {length_text(spec.flat_m)} is not above the eaves at "
                f"{length_text(eaves_m)}",
            )
        planes.append((0.0, 0.0, spec.flat_m))
    distinct: list[tuple[float, ...]] = []
    for plane in planes:  # walls in one line have one plane
        if all(np.abs(np.subtract(plane, other)).max() > SAME for other in distinct):
            distinct.append(plane)
    return np.array(distinct)


def creases(planes: Floats, others: Floats | None, *, outline: Floats) -> Floats:
    """Where ceilings bend: segments (m, 2, 2), drawn a little past their ends.

    Parameters
    ----------
    planes : (k, 3) float
    others : (l, 3) float, optional
        Planes of a second ceiling, to find where the two cut each other; without it, where the
        one over `planes` bends.
    outline : (n, 2) float
        What they matter over. [m]
    """
    two = planes if others is None else others
    first, second = np.indices((len(planes), len(two))).reshape(2, -1)
    if others is None:
        first, second = first[first < second], second[first < second]
    low, high = outline.min(axis=0), outline.max(axis=0)
    # A circle well past the outline: ends near a corner of it would be neither in nor out.
    centre, reach = 0.5 * (low + high), float(np.hypot(*(high - low)))
    against = planes[first] - two[second]
    slope = np.hypot(against[:, 0], against[:, 1])
    keep = slope > SAME
    first, second, against, slope = first[keep], second[keep], against[keep], slope[keep]
    normal = against[:, :2] / slope[:, np.newaxis]
    height = (against[:, :2] @ centre + against[:, 2]) / slope
    half = np.sqrt(np.maximum(reach**2 - height**2, 0.0))
    foot = centre - height[:, np.newaxis] * normal
    along = np.column_stack((-normal[:, 1], normal[:, 0]))
    start, end = -half, half
    for index, own, sheet in ((first, planes, planes), (second, two, two)):
        # Along the line the plane must be the lowest of its own ceiling: a + b·t <= 0.
        over = own[index, np.newaxis] - sheet
        a = np.einsum("ijk,ik->ij", over[..., :2], foot) + over[..., 2]
        b = np.einsum("ijk,ik->ij", over[..., :2], along)
        level = np.abs(b) < SAME
        # Planes that meet in this very line, such as a level part at a ridge, do not end it.
        binds = ~level & (a + np.abs(b) * reach > LEVEL_M)
        bound = -a / np.where(level, 1.0, b)
        end = np.minimum(end, np.where(binds & (b > 0.0), bound, np.inf).min(axis=1))
        start = np.maximum(start, np.where(binds & (b < 0.0), bound, -np.inf).max(axis=1))
        end = np.where((level & (a > LEVEL_M)).any(axis=1), -np.inf, end)
    lasting = end > start + LEVEL_M
    foot, along, start, end = foot[lasting], along[lasting], start[lasting], end[lasting]
    ends = np.column_stack((start - PAST_M, end + PAST_M))[..., np.newaxis]
    found: Floats = foot[:, np.newaxis] + ends * along[:, np.newaxis]
    return found


def volume_under(parts: Iterable[Piece]) -> float:
    """Volume between the floor and ceiling pieces. [m³]"""
    total = 0.0
    for part in parts:
        centre = part.area.centroid
        height = part.plane @ np.array([centre.x, centre.y, 1.0])
        total += float(part.area.area) * float(height)
    return total


def falls_to(plane: Floats) -> str | None:
    """The compass word of the side to which a plane falls, within 45°, or None."""
    slope = float(np.hypot(*plane[:2]))
    if slope < SAME:
        return None
    for word, direction in COMPASS:
        if float(-plane[:2] @ np.array(direction)) / slope > np.sqrt(0.5) + 1e-9:
            return word
    return None
