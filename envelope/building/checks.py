"""What makes panels a building: each space closed and wound inward, none over another."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import MultiLineString, Point

from envelope.building.model import Panel, Space
from envelope.building.point_location import bounds, fans, winding
from envelope.errors import Fault
from envelope.geometry.plane import Floats, Frame, area_vector, frozen
from envelope.geometry.polygons import (
    SLIVER_M2,
    WELD_M,
    Area,
    first_within,
    polygon_of,
    spot_inside,
)
from envelope.geometry.touching_boxes import touching

FLAT_M = 1e-3  # how far a corner may stand off its panel's plane
STEP_M = 5e-4  # how far inside or outside a panel a test looks
OVERLAP_M2 = 1e-6

Edge = tuple[int, int]


def _fault(space: Space, message: str, key: str = "footprint") -> Fault:
    return Fault(message=message, subject=("space", space.id, key))


def welded(space: Space) -> Space:
    """The space with corners closer than the weld distance made one; others are not touched."""
    rings = [ring for panel in space.panels for ring in (panel.outline, *panel.holes)]
    corners = np.concatenate(rings)
    joined = corners[first_within(corners, WELD_M)]
    if np.array_equal(joined, corners):
        return space
    panels: list[Panel] = []
    place = 0
    for panel in space.panels:
        moved: list[Floats] = []
        for ring in (panel.outline, *panel.holes):
            part = joined[place : place + len(ring)]
            place += len(ring)
            moved.append(part[np.any(part != np.roll(part, 1, axis=0), axis=1)])
        if all(len(ring) >= 3 for ring in moved):
            panel = replace(panel, outline=moved[0], holes=tuple(moved[1:]))
        panels.append(panel)
    return replace(space, panels=tuple(panels))


def _panel_faults(space: Space) -> list[Fault]:
    """Panels that are no flat, simple polygons, and ids that are used twice."""
    found: list[Fault] = []
    times = Counter(panel.id for panel in space.panels)
    found.extend(
        _fault(space, f"panel id {name} is used {count} times", "id")
        for name, count in times.items()
        if count > 1
    )
    for panel in space.panels:
        if not all(np.all(np.isfinite(ring)) for ring in (panel.outline, *panel.holes)):
            found.append(_fault(space, f"a corner of panel {panel.id} is not finite"))
            continue
        if not panel.area_m2 > SLIVER_M2:
            found.append(_fault(space, f"panel {panel.id} has no area"))
            continue
        rings = np.concatenate((panel.outline, *panel.holes))
        off = float(np.abs((rings - panel.frame.origin) @ panel.normal).max())
        if off > FLAT_M:
            found.append(
                _fault(
                    space,
                    f"panel {panel.id} is not flat: a corner stands {1000 * off:.3g} mm "
                    "off its plane",
                )
            )
        elif not polygon_of(panel).is_valid:
            found.append(_fault(space, f"the outline of panel {panel.id} crosses itself"))
    return found


def _directed_edges(panels: Iterable[Panel]) -> tuple[list[tuple[str, Edge]], Floats]:
    """Edges of every panel by corner number, outlines forward and holes backward."""
    numbers: dict[tuple[float, ...], int] = {}
    edges: list[tuple[str, Edge]] = []
    for panel in panels:
        for sign, ring in ((1.0, panel.outline), *((-1.0, hole) for hole in panel.holes)):
            forward = sign * float(area_vector(ring) @ panel.normal) > 0.0
            turned = ring if forward else ring[::-1]
            marks = [numbers.setdefault(tuple(corner), len(numbers)) for corner in turned.tolist()]
            edges.extend(
                (panel.id, edge) for edge in zip(marks, [*marks[1:], marks[0]], strict=True)
            )
    return edges, np.array(list(numbers))


def _unmatched(edges: Iterable[tuple[str, Edge]]) -> list[tuple[str, Edge]]:
    """Edges that no edge of the opposite direction cancels."""
    waiting: dict[Edge, list[str]] = defaultdict(list)
    for name, (start, end) in edges:
        if waiting[end, start]:
            waiting[end, start].pop()
        else:
            waiting[start, end].append(name)
    return [(name, edge) for edge, names in waiting.items() for name in names]


def _split_at_corners(edges: Sequence[tuple[str, Edge]], corners: Floats) -> list[tuple[str, Edge]]:
    """Edges cut wherever another of their corners stands on them (T-junctions)."""
    used = np.unique([mark for _, edge in edges for mark in edge])
    spots = corners[used]
    found: list[tuple[str, Edge]] = []
    for name, (start, end) in edges:
        step = corners[end] - corners[start]
        length = float(np.linalg.norm(step))
        along = (spots - corners[start]) @ step / length
        offset = spots - corners[start] - along[:, np.newaxis] * step / length
        on_it = (np.einsum("ij,ij->i", offset, offset) < WELD_M**2) & (along > 0) & (along < length)
        on_it &= (used != start) & (used != end)
        stops = [start, *used[on_it][np.argsort(along[on_it])].tolist(), end]
        found.extend((name, piece) for piece in pairwise(stops))
    return found


def _place(corner: Floats) -> str:
    return "(" + ", ".join(f"{value:.3f}" for value in corner) + ")"


def _closure_faults(space: Space) -> list[Fault]:
    """Edges of a space that do not meet, and panels wound the wrong way."""
    edges, corners = _directed_edges(space.panels)
    open_edges = _unmatched(edges)
    if open_edges:
        open_edges = _unmatched(_split_at_corners(open_edges, corners))
    if not open_edges:
        if space.volume_m3 <= 0.0:
            return [_fault(space, f"space {space.id} is inside out: its panels' normals point out")]
        return []
    # Panels turned over leave every edge met twice in the same direction.
    sides = Counter(frozenset(edge) for _, edge in open_edges)
    if all(count % 2 == 0 for count in sides.values()):
        total = Counter(name for name, _ in edges)
        loose = Counter(name for name, _ in open_edges)
        turned = [name for name in loose if loose[name] >= total[name]]
        names = ", ".join(turned or loose)
        return [_fault(space, f"space {space.id} has panels wound the wrong way: {names}")]
    length = sum(float(np.linalg.norm(corners[a] - corners[b])) for _, (a, b) in open_edges)
    names = ", ".join(dict.fromkeys(name for name, _ in open_edges))
    start, end = (corners[mark] for mark in open_edges[0][1])
    return [
        _fault(
            space,
            f"space {space.id} is not closed: {length:.3g} m of edges of {names} meet nothing, "
            f"first from {_place(start)} to {_place(end)} m",
        )
    ]


def _fold_faults(space: Space) -> list[Fault]:
    """Panels that come through the space itself, such as a reveal deeper than its wall."""
    owners: list[Panel] = []
    spots: list[Floats] = []
    steps: list[float] = []
    hosts = {panel.id: panel for panel in space.panels}
    flush = {
        panel.id
        for panel in space.panels
        if panel.kind == "open" and panel.host in hosts and _in_plane(panel, hosts[panel.host])
    }
    for panel in space.panels:
        area = polygon_of(panel)
        middle = spot_inside(area)
        flat = [middle]
        # Beside a panel of a millimetre, half a millimetre off it may be in the next one.
        step = (
            STEP_M if panel.host is None or panel.id in flush else 0.3 * STEP_M
        )  # niches are shallow
        steps.append(min(step, 0.3 * float(area.boundary.distance(Point(middle)))))
        if panel.host is not None and panel.id not in flush:
            # Niches are the parts that reach out of the room: look at their corners as well.
            corners = panel.frame.flatten(panel.outline)
            flat.extend(corners + 0.02 * (corners.mean(axis=0) - corners))
            steps.extend([step] * len(corners))
        spots.append(panel.frame.lift(np.array(flat)))
        owners.extend([panel] * len(flat))
    triangles = fans(space.panels)
    points = np.concatenate(spots)
    offsets = np.array(steps)[:, np.newaxis] * np.array([panel.normal for panel in owners])
    astray = np.abs(winding(points + offsets, triangles) - 1.0) > 0.01
    astray |= np.abs(winding(points - offsets, triangles)) > 0.01
    found: list[Fault] = []
    for index in np.flatnonzero(astray):
        panel = owners[index]
        subject = ("space", space.id, "footprint")
        if panel.host is not None:
            subject = ("opening", (panel.opening or panel.id).partition("/")[2], "reveal")
        if all(fault.subject != subject for fault in found):
            message = f"panel {panel.id} runs through or against space {space.id} itself"
            found.append(Fault(message=message, subject=subject))
    return found


def _in_plane(panel: Panel, host: Panel) -> bool:
    """Whether a hole lies in the plane of its host: it reaches nowhere then."""
    off = (panel.outline - host.frame.origin) @ host.normal
    return bool(np.abs(off).max() <= WELD_M)


def _coplanar_faults(space: Space) -> list[Fault]:
    """Panels that lie over one another in one plane."""
    panels = space.panels
    normals = np.array([panel.normal for panel in panels])
    lows = np.array([panel.outline.min(axis=0) for panel in panels])
    highs = np.array([panel.outline.max(axis=0) for panel in panels])
    found: list[Fault] = []
    for index, panel in enumerate(panels):
        near = np.all(lows <= highs[index] + WELD_M, axis=1)
        near &= np.all(highs >= lows[index] - WELD_M, axis=1)
        near &= normals @ panel.normal > 1.0 - 1e-6
        for other in np.flatnonzero(near[index + 1 :]) + index + 1:
            heights = (panels[other].outline - panel.frame.origin) @ panel.normal
            if np.abs(heights).max() > WELD_M:
                continue
            shared = polygon_of(panel).intersection(polygon_of(panels[other], panel.frame))
            if shared.area > OVERLAP_M2:
                found.append(
                    _fault(space, f"panels {panel.id} and {panels[other].id} lie over each other")
                )
    return found


def _section(panels: Sequence[Panel], frame: Frame) -> list[Floats]:
    """Segments (2, 2), in a plane's frame, where panels pass through the plane."""
    segments: list[Floats] = []
    for panel in panels:
        heights = (panel.outline - frame.origin) @ frame.normal
        if heights.min() >= 0.0 or heights.max() < 0.0:
            continue
        crossings: list[Floats] = []
        for ring in (panel.outline, *panel.holes):
            level = (ring - frame.origin) @ frame.normal
            following, next_level = np.roll(ring, -1, axis=0), np.roll(level, -1)
            through = (level >= 0.0) != (next_level >= 0.0)
            share = level[through] / (level[through] - next_level[through])
            crossings.append(
                ring[through] + share[:, np.newaxis] * (following[through] - ring[through])
            )
        spots = frame.flatten(np.concatenate(crossings))
        line = np.cross(panel.normal, frame.normal)
        order = np.argsort(spots @ np.array([line @ frame.u, line @ frame.v]))
        segments.extend(spots[order].reshape(-1, 2, 2))
    return segments


def _inside_area(space: Space, frame: Frame, area: Area) -> float:
    """How much of an area in a plane lies inside a space. [m²]"""
    segments = _section(space.panels, frame)
    if not segments:
        return 0.0
    faces = shapely.get_parts(shapely.polygonize([shapely.node(MultiLineString(segments))]))
    total = 0.0
    for face in faces:
        shared = float(face.intersection(area).area)
        if shared > OVERLAP_M2:
            spot = spot_inside(face)[np.newaxis]
            if winding(frame.lift(spot), fans(space.panels))[0] > 0.5:
                total += shared
    return total


def _pierced_by(space: Space, other: Space) -> str | None:
    """A panel of one space whose inward side lies within another space, or None."""
    low, high = bounds(other.panels)
    for panel in space.panels:
        if np.any(panel.outline.min(axis=0) > high) or np.any(panel.outline.max(axis=0) < low):
            continue
        # Drawn in at the edges too: beside a sharp edge the shifted panel would leave its space.
        area = polygon_of(panel).buffer(-2.0 * STEP_M, join_style="mitre")
        if area.is_empty:
            continue
        frame = replace(panel.frame, origin=frozen(panel.frame.origin + STEP_M * panel.normal))
        if _inside_area(other, frame, area) > OVERLAP_M2:
            return panel.id
    return None


def _apart(space: Space, other: Space) -> bool:
    """Whether the plane of some panel keeps two spaces apart: the quick way out."""
    mine, theirs = (
        np.concatenate([panel.outline for panel in room.panels]) for room in (space, other)
    )
    for near, far, panels in ((mine, theirs, space.panels), (theirs, mine, other.panels)):
        for panel in panels:
            least = float((near @ panel.normal).min())
            if float((far @ panel.normal).max()) <= least + STEP_M:
                return True
    return False


def _overlap_faults(spaces: Sequence[Space]) -> list[Fault]:
    if not spaces:
        return []
    boxes = [bounds(space.panels) for space in spaces]
    lows, highs = (np.array(ends) for ends in zip(*boxes, strict=True))
    found: list[Fault] = []
    for seconds, firsts in touching(lows, highs):
        room = np.minimum(highs[firsts], highs[seconds]) - np.maximum(lows[firsts], lows[seconds])
        near = (firsts < seconds) & np.all(room > STEP_M, axis=1)
        for second, first in zip(seconds[near].tolist(), firsts[near].tolist(), strict=True):
            space, other = spaces[first], spaces[second]
            if _apart(space, other):
                continue
            at = _pierced_by(space, other) or _pierced_by(other, space)
            if at is not None:
                found.append(_fault(other, f"spaces {space.id} and {other.id} overlap, at {at}"))
    return found


def check_spaces(spaces: Sequence[Space]) -> list[Fault]:
    """Every fault of welded spaces.

    Parameters
    ----------
    spaces : sequence of Space
        As `welded` leaves them.

    Returns
    -------
    faults : list of Fault
        Panels that are not flat, spaces not closed or inside out, panels over one another, spaces
        over one another. Spaces that are not closed are left out of the last comparison.
    """
    found: list[Fault] = []
    solid: list[Space] = []
    for space in spaces:
        faults = _panel_faults(space)
        faults = faults or _coplanar_faults(space)
        faults = faults or _closure_faults(space)
        faults = faults or _fold_faults(space)
        if not faults or all(fault.subject and fault.subject[0] == "opening" for fault in faults):
            solid.append(space)
        found.extend(faults)
    return found + _overlap_faults(solid)
