"""Where cables and cords run: entered ones, and rules between the outlets of a circuit.

    low, high   along the walls at 0.3 m above the floor, or 0.3 m below the ceiling
    floor       down from each outlet, straight across under the floor, up to the next
    ceiling     the same above the ceiling; to and from a light on a ceiling under every rule

The rules are what electricians usually do (common practice, no source).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import substring

from envelope.building.job import Job
from envelope.building.model import Panel, Space
from envelope.building.wiring import Cable, Circuit, Device, Outlet, Route, Wiring
from envelope.geometry.plane import Floats, frozen
from envelope.physics.tables.cables import CABLES, CORD, LAMP_RADIUS_M
from envelope.wiring.faces import is_flat
from envelope.wiring.walls import is_masonry

# Depths behind a face and heights, common practice without a source.
STUD_DEPTH_M = 0.057  # a 12.5 mm board and half a 90 mm stud
CHASE_DEPTH_M = 0.02  # in plaster or a chase
JOIST_DEPTH_M = 0.1  # under floorboards, above a ceiling
LOW_M, HIGH_M = 0.3, 0.3  # above the floor, below the ceiling
JOIN_M = 0.3  # cables of one circuit whose ends are nearer than this are joined
_SOCKET_M = 0.6  # an outlet lower than this has the low route at its own height
_CORD_CLEAR_M = 0.03  # of a cord from wall and floor


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """A wire in the room's model: a cable, a cord or a device."""

    id: str
    circuit: str
    path_m: Floats  # (k, 3)
    radius_m: float
    weights: tuple[float, ...]  # share of the hot core's voltage; several where not known
    device: str | None = None  # the device that it belongs to
    entered: bool = True  # False where a rule has put it there
    joint: bool = False  # a short piece between two cables that nearly meet

    def __post_init__(self) -> None:
        object.__setattr__(self, "path_m", frozen(self.path_m))


def depth_behind(job: Job, wiring: Wiring, panel: Panel) -> float:
    """How far behind a face cables usually run. [m]"""
    if is_masonry(job, panel, wiring):
        return CHASE_DEPTH_M
    return JOIST_DEPTH_M if is_flat(panel) else STUD_DEPTH_M


def entered_runs(job: Job, wiring: Wiring) -> list[Run]:
    """Cables as they were entered, and joints between those of a circuit that nearly meet."""
    runs: list[Run] = []
    for circuit in wiring.circuits:
        own = [cable for cable in wiring.cables if cable.circuit == circuit.id]
        paths = [_behind(job, wiring, cable) for cable in own]
        runs += [_cable(cable.id, circuit, path) for cable, path in zip(own, paths, strict=True)]
        for (one, first), (other, second) in itertools.combinations(
            zip(own, paths, strict=True), 2
        ):
            joint = _joint(first, second)
            if joint is not None:
                runs.append(_cable(f"{one.id} to {other.id}", circuit, joint, joint=True))
    return runs


def routed_runs(job: Job, wiring: Wiring, circuit: Circuit, route: Route) -> list[Run]:
    """Runs from outlet to outlet of a circuit, in the order of the file, by a rule."""
    outlets = [each for each in wiring.outlets if each.circuit == circuit.id]
    runs = []
    for one, other in itertools.pairwise(outlets):
        path = _leg(job, wiring, one, other, route)
        if path is not None:
            runs.append(_cable(f"{one.id} to {other.id}", circuit, path, entered=False))
    return runs


def device_runs(job: Job, wiring: Wiring) -> list[Run]:
    """Cord and body of each device; their weights are those of a two-core cord that is on."""
    outlets = {outlet.id: outlet for outlet in wiring.outlets}
    runs = []
    for device in wiring.devices:
        outlet = outlets[device.outlet]
        cord = _cord(job, outlet, device)
        top = device.position_m + np.array([0.0, 0.0, device.height_m])
        for name, path, radius in (
            (f"{device.id} cord", cord, CORD.radius_m),
            (device.id, np.stack((device.position_m, top)), LAMP_RADIUS_M),
        ):
            runs.append(
                Run(
                    id=name,
                    circuit=outlet.circuit,
                    path_m=path,
                    radius_m=radius,
                    weights=(CORD.weight,),
                    device=device.id,
                )
            )
    return runs


def distinct_routes(job: Job, wiring: Wiring, circuit: Circuit) -> tuple[Route, ...]:
    """The rules of a circuit that put its runs in different places, the first of those alike."""
    found: dict[tuple[bytes, ...], Route] = {}
    for route in routes_of(circuit):
        paths = tuple(run.path_m.tobytes() for run in routed_runs(job, wiring, circuit, route))
        found.setdefault(paths, route)
    return tuple(found.values())


def routes_of(circuit: Circuit) -> tuple[Route, ...]:
    """The rules that a circuit's runs may follow; none where they are all entered."""
    if circuit.route is None:
        return ()
    return ("low", "high", "floor", "ceiling") if circuit.route == "unknown" else (circuit.route,)


def _cable(
    name: str, circuit: Circuit, path: Floats, *, entered: bool = True, joint: bool = False
) -> Run:
    kinds = ("round", "flat") if circuit.cable == "unknown" else (circuit.cable,)
    made = [CABLES[kind] for kind in kinds]
    return Run(
        id=name,
        circuit=circuit.id,
        path_m=path,
        radius_m=made[0].radius_m,
        weights=tuple(cable.weight for cable in made),
        entered=entered,
        joint=joint,
    )


def _behind(job: Job, wiring: Wiring, cable: Cable) -> Floats:
    panel = job.building.panel(cable.panel)
    depth = depth_behind(job, wiring, panel) if cable.depth_m is None else cable.depth_m
    path: Floats = cable.path_m - panel.frame.normal * depth
    return path


def _joint(first: Floats, second: Floats) -> Floats | None:
    """From the nearest point of either cable to an end of the other, where they are near."""
    best: tuple[float, Floats] | None = None
    for path, other in ((first, second), (second, first)):
        for end in (path[0], path[-1]):
            for start, stop in itertools.pairwise(other):
                along = stop - start
                share = float(np.clip((end - start) @ along / (along @ along), 0.0, 1.0))
                near = start + share * along
                distance = float(np.linalg.norm(end - near))
                if best is None or distance < best[0]:
                    best = distance, np.stack((end, near))
    assert best is not None
    return best[1] if 1e-3 < best[0] <= JOIN_M else None


def _leg(job: Job, wiring: Wiring, one: Outlet, other: Outlet, route: Route) -> Floats | None:
    """Corners of a run between two outlets; None where they are at one place."""
    faces = [job.building.panel(outlet.panel) for outlet in (one, other)]
    starts = [
        outlet.position_m - face.frame.normal * depth_behind(job, wiring, face)
        for outlet, face in zip((one, other), faces, strict=True)
    ]
    if np.linalg.norm(starts[0] - starts[1]) < 1e-3:
        return None
    spaces = [job.building.space(face.space) for face in faces]
    walls = not any(map(is_flat, faces))
    if route in ("low", "high") and walls and spaces[0].id == spaces[1].id:
        return _round(job, wiring, spaces[0], faces, starts, route)
    # to a light on a ceiling nothing rises through the room
    up = route in ("ceiling", "high") or any(face.kind == "ceiling" for face in faces)
    ends = [
        _level_of(job, wiring, space, start, up=up)
        for space, start in zip(spaces, starts, strict=True)
    ]
    return _tidy([starts[0], ends[0], ends[1], starts[1]])


def _level_of(job: Job, wiring: Wiring, space: Space, start: Floats, *, up: bool) -> Floats:
    """The point above or below an outlet at which its cable turns into ceiling or floor."""
    flats = [panel for panel in space.panels if panel.kind == ("ceiling" if up else "floor")]
    spot = shapely.Point(start[:2])

    def away(panel: Panel) -> float:
        return float(shapely.Polygon(panel.outline[:, :2]).distance(spot))

    if not flats:
        return start
    panel = min(flats, key=away)
    normal, origin = panel.frame.normal, panel.frame.origin
    rest = normal[:2] @ (start[:2] - origin[:2])
    z = origin[2] - rest / normal[2]
    depth = depth_behind(job, wiring, panel)
    return np.array([start[0], start[1], z + depth if up else z - depth])


def _round(
    job: Job,
    wiring: Wiring,
    space: Space,
    faces: Sequence[Panel],
    starts: Sequence[Floats],
    route: Route,
) -> Floats:
    """Along the walls between two outlets: the way with fewer doors, then the shorter one."""
    top = min(panel.outline[:, 2].max() for panel in faces)
    heights = [start[2] - space.floor_m for start in starts]
    if route == "high":
        z = top - HIGH_M
    else:
        z = space.floor_m + (min(heights) if min(heights) < _SOCKET_M else LOW_M)
    if faces[0].id == faces[1].id:
        way = np.stack([start[:2] for start in starts])
    else:
        floors = [panel for panel in space.panels if panel.kind == "floor"]
        plan = shapely.union_all([shapely.Polygon(panel.outline[:, :2]) for panel in floors])
        depth = float(np.mean([depth_behind(job, wiring, face) for face in faces]))
        way = _shorter(plan.buffer(depth, join_style="mitre").exterior, starts, space, z)
    middle = [np.array([x, y, z]) for x, y in way]
    return _tidy([starts[0], *middle, starts[1]])


def _shorter(ring: shapely.LinearRing, starts: Sequence[Floats], space: Space, z: float) -> Floats:
    """Corners (k, 2) of the better of the two ways round."""
    at = [ring.project(shapely.Point(start[:2])) for start in starts]
    low, high = sorted(at)
    inner = substring(ring, low, high)
    outer = shapely.line_merge(
        shapely.MultiLineString([substring(ring, high, ring.length), substring(ring, 0.0, low)])
    )
    doors = [
        shapely.LineString(panel.outline[:, :2]).buffer(0.3)
        for panel in space.panels
        if panel.kind in ("door", "open", "window", "hatch")
        and panel.outline[:, 2].min() < z < panel.outline[:, 2].max()
    ]

    def cost(line: shapely.LineString) -> tuple[int, float]:
        return sum(line.intersects(door) for door in doors), line.length

    ways = [line for line in (inner, outer) if line.geom_type == "LineString"]
    best = np.asarray(min(ways, key=cost).coords)
    start = starts[0][:2]
    forward = np.linalg.norm(best[0] - start) <= np.linalg.norm(best[-1] - start)
    return best if forward else best[::-1]


def _cord(job: Job, outlet: Outlet, device: Device) -> Floats:
    """A cord: as entered, or down the wall, along the floor, up to the device."""
    face = job.building.panel(outlet.panel)
    space = job.building.space(face.space)
    plug = outlet.position_m + face.frame.normal * 0.02
    if device.cord_m is not None:
        return _tidy([plug, *device.cord_m, device.position_m])
    z = space.floor_m + _CORD_CLEAR_M
    foot = outlet.position_m + face.frame.normal * _CORD_CLEAR_M
    low = min(z, plug[2], device.position_m[2])
    return _tidy(
        [
            plug,
            np.array([foot[0], foot[1], low]),
            np.array([device.position_m[0], device.position_m[1], low]),
            device.position_m,
        ]
    )


def _tidy(points: Sequence[Floats]) -> Floats:
    """Points without those that stand on the one before."""
    kept = [points[0]]
    kept += [
        after
        for before, after in itertools.pairwise(points)
        if np.linalg.norm(after - before) > 1e-3
    ]
    return np.array(kept)
