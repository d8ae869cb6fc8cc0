"""Drawings of an imported building as SVG: each storey in plan and cut open, and a section.

Every face is tinted by what lies behind it, which is what goes wrong in imports.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import shapely

from envelope.building.model import Building, Panel, Patch, Space
from envelope.geometry.plane import Floats
from envelope.text import area, length

TINTS = {
    "space": "#dcd7ca",
    "outdoors": "#7f9dbd",
    "earth": "#a88a66",
    "unmodelled": "#c48bb0",
    "hole": "#e0a030",
    "window": "#bfe0ea",
    "door": "#8d7f6a",
}
KEY = (
    ("space", "another room"),
    ("outdoors", "the outdoors"),
    ("earth", "earth"),
    ("unmodelled", "a part that is not imported"),
    ("hole", "a hole: nothing stands there"),
    ("window", "glass"),
    ("door", "a door"),
)
_WIDE = 760.0
_HIGH = 620.0
_TURN_RAD, _TILT_RAD = np.radians(28.0), np.radians(38.0)
_UPRIGHT = 0.3
_ROOMY_M2 = 6.0  # from which a room has its area written under its name
MOST_LINES = 6000
_THICK_M = 0.14  # that walls are drawn with in plan


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """From metres on the drawing to its units."""

    low: Floats  # (2,) [m]
    scale: float
    size: tuple[float, float]

    def at(self, points: Floats) -> str:
        """Points (n, 2) as SVG writes them, y downward."""
        flat = (points - self.low) * self.scale
        return " ".join(f"{x:.1f},{self.size[1] - y:.1f}" for x, y in flat.tolist())


def _sheet(points: Floats, margin_m: float) -> _Sheet:
    low, high = points.min(axis=0) - margin_m, points.max(axis=0) + margin_m
    scale = float(min(_WIDE / (high[0] - low[0]), _HIGH / (high[1] - low[1])))
    size = (float((high[0] - low[0]) * scale), float((high[1] - low[1]) * scale))
    return _Sheet(low=low, scale=scale, size=size)


def _svg(sheet: _Sheet, parts: Sequence[str], title: str) -> str:
    width, height = sheet.size
    return (
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{escape(title)}">'
        f"{''.join(parts)}</svg>"
    )


def tint_of(panel: Panel, patch: Patch) -> str:
    """Which of the tints a part of a panel has."""
    if panel.kind == "open":
        return "hole"
    if panel.kind in ("window", "skylight"):
        return "window"
    if panel.kind in ("door", "hatch"):
        return "door"
    return patch.behind


def _parts(building: Building, space: Space) -> Iterator[tuple[Panel, str, Floats]]:
    """Each part of each panel with its tint and its outline (n, 3)."""
    for panel in space.panels:
        for patch in building.patches_of[panel.id]:
            for outer, _ in patch.regions:
                yield panel, tint_of(panel, patch), panel.frame.lift(outer)


def plan(building: Building, storey: str, *, feet: bool, lines_m: Floats | None = None) -> str:
    """A storey from above: floors, walls by what lies behind, openings, names.

    Parameters
    ----------
    building : Building
    storey : str
    feet : bool
        Whether areas are said in square feet.
    lines_m : (n, 2, 2) float, optional
        Cuts of the mesh that rooms were fitted to, drawn over them. [m]
    """
    rooms = [space for space in building.spaces if space.storey == storey]
    corners = np.vstack([panel.outline for space in rooms for panel in space.panels])[:, :2]
    sheet = _sheet(corners, 0.6)
    floors: list[str] = []
    lines: list[str] = []
    openings: list[str] = []
    names: list[str] = []
    for space in rooms:
        level = [panel for panel in space.panels if panel.normal[2] > 0.5]
        shape = shapely.union_all([shapely.Polygon(p.outline[:, :2]).buffer(0) for p in level])
        for piece in shapely.get_parts(shape):
            outline = np.array(piece.exterior.coords)[:, :2]
            floors.append(f'<polygon class="floor" points="{sheet.at(outline)}"/>')
        for panel, tint, outline in _parts(building, space):
            if abs(panel.normal[2]) > _UPRIGHT or not _is_cut(outline, tint, space):
                continue
            strip = sheet.at(_strip(panel, outline))
            tag = f"<title>{escape(panel.id)}</title>"
            mark = f'<polygon points="{strip}" fill="{TINTS[tint]}">{tag}</polygon>'
            (openings if tint in ("window", "door", "hole") else lines).append(mark)
        if not shape.is_empty:
            point = shapely.get_point(shapely.maximum_inscribed_circle(shape, 0.1), 0)
            x, y = sheet.at(np.array([[point.x, point.y]])).split(",")
            label = escape(space.title or space.id)
            said = escape(area(float(shape.area), feet=feet))
            more = f'<tspan x="{x}" dy="1.25em">{said}</tspan>' if shape.area > _ROOMY_M2 else ""
            names.append(f'<text x="{x}" y="{y}"><tspan>{label}</tspan>{more}</text>')
    scan = [] if lines_m is None else [_path(sheet, lines_m)]
    return _svg(sheet, [*floors, *lines, *openings, *scan, *names], f"plan of {storey}")


def _path(sheet: _Sheet, lines_m: Floats) -> str:
    """Lines (n, 2, 2) as one mark, the longest where there are more than an eye can tell apart."""
    lengths = np.linalg.norm(lines_m[:, 1] - lines_m[:, 0], axis=1)
    kept = lines_m[np.sort(np.argsort(-lengths, kind="stable")[:MOST_LINES])]
    steps = (sheet.at(line).split(" ") for line in kept)
    return f'<path class="scan" d="{"".join(f"M{one}L{two}" for one, two in steps)}"/>'


def _is_cut(outline: Floats, tint: str, space: Space) -> bool:
    """Whether a part of a wall stands where a plan is cut; openings a little higher too."""
    top_m = max(float(panel.outline[:, 2].max()) for panel in space.panels) - space.floor_m
    cut_m = min(1.0, 0.4 * top_m)
    above_m = 1.0 if tint in ("window", "door") else 0.1
    low, high = float(outline[:, 2].min()), float(outline[:, 2].max())
    return low < space.floor_m + cut_m + above_m and high > space.floor_m + cut_m


def _strip(panel: Panel, outline: Floats) -> Floats:
    """The strip (4, 2) that stands for a wall in plan: along it, outward from its face."""
    along = np.cross((0.0, 0.0, 1.0), panel.normal)[:2]
    along /= np.linalg.norm(along)
    places = (outline[:, :2] - panel.frame.origin[:2]) @ along
    ends = panel.frame.origin[:2] + np.array([[places.min()], [places.max()]]) * along
    out = -panel.normal[:2] / np.linalg.norm(panel.normal[:2]) * _THICK_M
    return np.array([ends[0], ends[1], ends[1] + out, ends[0] + out])


def cutaway(building: Building, storey: str) -> str:
    """A storey seen from above at a slant, its ceilings and near walls left away."""
    turn = np.array([[np.cos(_TURN_RAD), np.sin(_TURN_RAD)],
                     [-np.sin(_TURN_RAD), np.cos(_TURN_RAD)]])  # fmt: skip
    towards = np.array([*(np.array([0.0, -1.0]) @ turn * np.cos(_TILT_RAD)), np.sin(_TILT_RAD)])

    def seen(points: Floats) -> Floats:
        flat = points[:, :2] @ turn.T
        up = flat[:, 1] * np.sin(_TILT_RAD) + points[:, 2] * np.cos(_TILT_RAD)
        return np.column_stack((flat[:, 0], up))

    drawn = []
    for space in building.spaces:
        if space.storey != storey:
            continue
        for panel, tint, outline in _parts(building, space):
            facing = float(panel.normal @ towards)
            if facing > 0.05 and panel.normal[2] > -_UPRIGHT:
                depth = float((outline @ towards).mean())
                last = tint in ("window", "door", "hole")
                drawn.append((panel.normal[2] < 0.5, depth, last, panel, tint, outline))
    drawn.sort(key=lambda item: (item[0], item[1], item[2]))
    points = np.vstack([seen(outline) for *_, outline in drawn])
    sheet = _sheet(points, 0.4)
    parts = [
        f'<polygon points="{sheet.at(seen(outline))}" fill="{TINTS[tint]}">'
        f"<title>{escape(panel.id)}</title></polygon>"
        for _, _, _, panel, tint, outline in drawn
    ]
    return _svg(sheet, parts, f"{storey} cut open")


def section(building: Building, *, across: int, feet: bool) -> str:
    """The whole building from one side, with the ground.

    Parameters
    ----------
    building : Building
    across : int
        The axis that runs along the drawing: 0 for x, 1 for y.
    feet : bool
        Whether lengths are said in feet and inches.
    """
    outlines = []
    for space in building.spaces:
        corners = np.vstack([panel.outline for panel in space.panels])[:, [across, 2]]
        hull = shapely.convex_hull(shapely.MultiPoint(corners))
        outlines.append((space, np.array(hull.exterior.coords)[:, :2]))
    grade_m = building.site.grade_m
    everything = np.vstack([outline for _, outline in outlines])
    low, high = everything[:, 0].min(), everything[:, 0].max()
    ground = np.array([[low - 0.8, grade_m], [high + 0.8, grade_m]])
    room = high + 0.22 * (high - low)  # for the storeys' names
    sheet = _sheet(np.vstack([everything, ground, [[room, grade_m]]]), 0.5)
    parts = [
        f'<polygon class="silhouette" points="{sheet.at(outline)}">'
        f"<title>{escape(space.id)}</title></polygon>"
        for space, outline in outlines
    ]
    parts.append(f'<polyline class="ground" points="{sheet.at(ground)}"/>')
    x, y = sheet.at(ground[:1]).split(",")
    said = length(grade_m, feet=feet)
    parts.append(f'<text class="side" x="{x}" y="{float(y) - 5:.1f}">ground at {said}</text>')
    for storey in building.storeys:
        spot = np.array([[high + 0.1, storey.floor_m]])
        x, y = sheet.at(spot).split(",")
        parts.append(f'<text class="side" x="{x}" y="{y}">{escape(storey.id)}</text>')
    return _svg(sheet, parts, "the building from one side, with the ground")
