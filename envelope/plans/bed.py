"""Where the bed may stand, and how low the level at the pillow is there.

A bed stands square to the room, its head against a wall, with room to get in along one side and
none of it in front of a door. The level is that of one point: the middle of its width, a third of a
metre from the head, at the receiver's height.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan, Receiver
from envelope.building.sources import BED_M, PILLOW_M, Bed, Head
from envelope.errors import RangeError, length_text
from envelope.exposure.casts import Casts
from envelope.exposure.level_map import FloorLevels, floor_levels
from envelope.exposure.transmission import Bench
from envelope.geometry.plane import Floats

SIDE_M = 0.6  # free along one long side; common practice, no source
STEP_M = 0.1  # between the places that are tried
HEADS: tuple[Head, ...] = ("north", "east", "south", "west")
_TOWARDS = {"north": (0.0, 1.0), "east": (1.0, 0.0), "south": (0.0, -1.0), "west": (-1.0, 0.0)}

Mask = NDArray[np.bool_]
_Cell = TypeVar("_Cell", bound=np.generic)


@dataclass(frozen=True, slots=True, kw_only=True)
class BedPlace:
    """One way in which the bed may stand."""

    head: Head  # "north": the head lies towards +y
    pillow_m: tuple[float, float, float]  # in the building's coordinates
    level_w_m2: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BedPlan:
    """The places under one plan."""

    plan: str
    now_w_m2: float  # at the receiver, from the map
    places: tuple[BedPlace, ...]  # the best first, each at least half a metre from the others
    lowest_w_m2: float  # over all places where the pillow may lie
    highest_w_m2: float
    floor: FloorLevels

    @property
    def best(self) -> BedPlace:
        """The place with the lowest level."""
        return self.places[0]

    def level_at(self, place: BedPlace) -> float:
        """Level at a place that was found under another plan, from the map. [W/m²]"""
        return _at(self.floor, np.array(place.pillow_m))

    @property
    def below_db(self) -> float:
        """By how much the best place lies below where the receiver is."""
        return 10.0 * float(np.log10(self.now_w_m2 / self.best.level_w_m2))

    @property
    def span_db(self) -> float:
        """How far the best and the worst place are apart."""
        return 10.0 * float(np.log10(self.highest_w_m2 / self.lowest_w_m2))


def bed_of(receiver: Receiver) -> Bed:
    """The bed that a receiver is in: as stated, by its box, or one adult's."""
    if receiver.bed is not None:
        return receiver.bed
    if receiver.size_m is None:
        return Bed()
    wide, long = sorted(receiver.size_m[:2].tolist())
    return Bed(size_m=(wide, long) if wide >= 0.3 and long <= 3.0 else BED_M)


def moved_to(receiver: Receiver, place: BedPlace) -> Receiver:
    """The receiver with its bed at a place: a point is the pillow there, a box the whole bed."""
    bed = replace(bed_of(receiver), head=place.head)
    position, size = np.array(place.pillow_m), receiver.size_m
    if size is not None:
        wide, long = bed.size_m
        towards = np.array(_TOWARDS[place.head])
        position[:2] -= towards * (long / 2.0 - PILLOW_M)
        along_y = place.head in ("north", "south")
        size = np.array([wide, long, size[2]] if along_y else [long, wide, size[2]])
    return replace(receiver, position_m=position, size_m=size, bed=bed)


def bed_places(
    job: Job,
    *,
    casts: Casts,
    bench: Bench,
    receiver: Receiver,
    plans: Sequence[Plan],
    size_m: tuple[float, float] | None = None,
    side_m: float = SIDE_M,
    most: int = 3,
    progress: Callable[[float], None] | None = None,
) -> tuple[BedPlan, ...]:
    """Find the places where the bed may stand, and the best of them under each plan.

    Parameters
    ----------
    job : Job
    casts : Casts
        Of the job.
    bench : Bench
        Of the job; it keeps the rays of the map, so that another plan costs little.
    receiver : Receiver
        The pillow as it is.
    plans : sequence of Plan
    size_m : (2,) float, optional
        Width and length of the bed; the receiver's unless given. [m]
    side_m : float
        What must be free along one long side. [m]
    most : int
        Places told for a plan.
    progress : callable, optional
        Told the share of the map that is done, 0 to 1.

    Raises
    ------
    RangeError
        Where the bed fits nowhere.
    """
    size_m = bed_of(receiver).size_m if size_m is None else size_m
    point = Receiver(id=receiver.id, space=receiver.space, position_m=receiver.position_m)
    found = []
    for plan in plans:
        floor = floor_levels(
            job=job,
            casts=casts,
            plan=plan,
            receiver=point,
            bench=bench,
            step_m=STEP_M,
            progress=progress,
        )
        places = places_on(floor, job=job, size_m=size_m, side_m=side_m)
        if not places:
            raise RangeError(
                f"a bed of {length_text(size_m[0])} by {length_text(size_m[1])} with "
                f"{length_text(side_m)} beside it fits nowhere in {receiver.space}: its head "
                "stands at a wall, and nothing of it in front of a door"
            )
        levels = [place.level_w_m2 for place in places]
        found.append(
            BedPlan(
                plan=plan.id,
                now_w_m2=_at(floor, receiver.position_m),
                places=_apart(places, most),
                lowest_w_m2=min(levels),
                highest_w_m2=max(levels),
                floor=floor,
            )
        )
    return tuple(found)


def _apart(places: Sequence[BedPlace], most: int) -> tuple[BedPlace, ...]:
    """The best places, none within half a metre of a better one."""
    chosen: list[BedPlace] = []
    for place in sorted(places, key=lambda each: (each.level_w_m2, each.pillow_m, each.head)):
        if all(np.hypot(*np.subtract(place.pillow_m, each.pillow_m)[:2]) > 0.5 for each in chosen):
            chosen.append(place)
        if len(chosen) == most:
            break
    return tuple(chosen)


def _at(floor: FloorLevels, position_m: Floats) -> float:
    """Level at the point of the map that is nearest. [W/m²]"""
    apart = np.linalg.norm(floor.points[:, :2] - position_m[:2], axis=1)
    return float(floor.level_w_m2[floor.inside][int(apart.argmin())])


def places_on(
    floor: FloorLevels, *, job: Job, size_m: tuple[float, float], side_m: float
) -> list[BedPlace]:
    """Every place on a map where the bed may stand.

    Parameters
    ----------
    floor : FloorLevels
        Of a room.
    job : Job
        With the doors of that room.
    size_m : (2,) float
        Width and length of the bed. [m]
    side_m : float
        What must be free along one long side. [m]
    """
    x, y = np.meshgrid(floor.x_m, floor.y_m)
    steps = [
        float(np.diff(axis)[0]) if len(axis) > 1 else STEP_M for axis in (floor.x_m, floor.y_m)
    ]
    free = floor.inside & ~_before_doors(job, floor)
    found = []
    for head in HEADS:
        across, along = steps if head in ("north", "south") else steps[::-1]
        wide, long = max(1, round(size_m[0] / across)), max(1, round(size_m[1] / along))
        corners = _corners(
            _turned(free, head),
            _turned(floor.inside, head),
            wide=wide,
            long=long,
            side=round(side_m / across),
        )
        back = min(long - 1, int(PILLOW_M / along))
        level, east, north = (_turned(each, head) for each in (floor.level_w_m2, x, y))
        for top, left in corners:
            at = (top - back, left + wide // 2)
            found.append(
                BedPlace(
                    head=head,
                    pillow_m=(float(east[at]), float(north[at]), floor.height_m),
                    level_w_m2=float(level[at]),
                )
            )
    return found


def _corners(
    free: Mask, inside: Mask, *, wide: int, long: int, side: int
) -> Iterator[tuple[int, int]]:
    """Last row and first column of every rectangle in which a bed may stand, its head upward."""
    rows, columns = free.shape
    total = np.zeros((rows + 1, columns + 1), dtype=np.int64)
    total[1:, 1:] = free.cumsum(axis=0).cumsum(axis=1)

    def is_free(low: int, left: int, high: int, right: int) -> bool:
        if left < 0 or right > columns:
            return False
        count = total[high, right] - total[low, right] - total[high, left] + total[low, left]
        return bool(count == (high - low) * (right - left))

    for high in range(long, rows + 1):
        low = high - long
        for left in range(columns - wide + 1):
            right = left + wide
            at_a_wall = high == rows or not inside[high, left:right].any()
            if at_a_wall and is_free(low, left, high, right):
                beside = ((left - side, left), (right, right + side))
                if any(is_free(low, start, high, end) for start, end in beside):
                    yield high - 1, left


def _turned(grid: NDArray[_Cell], head: str) -> NDArray[_Cell]:
    """A grid whose rows go north, turned so that they go towards the head."""
    if head in ("east", "west"):
        grid = grid.T
    return grid[::-1] if head in ("south", "west") else grid


def _before_doors(job: Job, floor: FloorLevels) -> Mask:
    """Cells in front of a door, as deep as it is wide: where it turns, and where one walks in."""
    taken = np.zeros(floor.inside.shape, dtype=np.bool_)
    x, y = np.meshgrid(floor.x_m, floor.y_m)
    for panel in job.building.space(floor.space).panels:
        if panel.kind not in ("door", "open") or abs(panel.normal[2]) > 0.5:
            continue
        along = np.array([-panel.normal[1], panel.normal[0]])
        ends = panel.outline[:, :2] @ along
        away = np.stack((x, y), axis=-1) - panel.outline[0, :2]
        depth = away @ panel.normal[:2]
        place = np.stack((x, y), axis=-1) @ along
        wide = float(ends.max() - ends.min())
        taken |= (depth < wide) & (depth > -0.5) & (place > ends.min()) & (place < ends.max())
    return taken
