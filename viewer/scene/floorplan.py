"""A room seen from above: its floor, its walls, and what is in them, as flat shapes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from envelope.building.model import OPENING_KINDS
from envelope.geometry.plane import Floats
from viewer.scene.meshes import DEFAULT_WALL_M
from viewer.scene.records import Furniture, Scene, ScenePanel
from viewer.scene.shapes import Shape

_BOX_M = 0.06  # depth that an electrical box is drawn with; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallOpening:
    """An opening in a wall, seen from above: the piece of the wall that it takes out."""

    panel: str
    kind: str
    inner: Floats  # (2, 2) its ends on the wall's inside face [m]
    outward: Floats  # (2,) from there to the wall's outside face [m]

    @property
    def corners(self) -> Floats:
        """The piece of the wall (4, 2); a box does not go through. [m]"""
        deep = float(np.linalg.norm(self.outward))
        share = min(1.0, _BOX_M / max(deep, _BOX_M)) if self.kind == "box" else 1.0
        return np.concatenate((self.inner, self.inner[::-1] + share * self.outward))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomPlan:
    """A room seen from above."""

    floor: Shape
    walls: Shape
    openings: tuple[WallOpening, ...]
    overhead: tuple[tuple[str, Floats], ...]  # in ceilings: panel and its outline (n, 2)


def room_plan(scene: Scene, *, space: str) -> RoomPlan:
    """Flat shapes of a room of the scene."""
    room = scene.spaces[scene.space_index[space]]
    floor = shapely.union_all([Polygon(ring) for ring in room.footprint[:1]])
    for ring in room.footprint[1:]:
        floor = floor.symmetric_difference(Polygon(ring))  # islands and the rooms round them
    outer = shapely.union_all([Polygon(ring).buffer(0) for ring in room.outer])
    thickness = {wall.panel: wall.thickness_m for wall in scene.walls}
    openings, overhead = [], []
    for panel in scene.panels:
        if panel.space != space or panel.kind not in OPENING_KINDS:
            continue
        host = scene.panels[scene.panel_index[panel.host]] if panel.host else panel
        if abs(float(host.normal[2])) > 0.5:
            if host.normal[2] < 0.0:
                overhead.append((panel.id, panel.outlines[0][:, :2]))
            continue
        openings.append(_in_wall(panel, host, thickness.get(host.id, DEFAULT_WALL_M)))
    return RoomPlan(
        floor=floor,
        walls=outer.difference(floor),
        openings=tuple(openings),
        overhead=tuple(overhead),
    )


def _in_wall(panel: ScenePanel, host: ScenePanel, thickness_m: float) -> WallOpening:
    """The opening's ends brought into the plane of its wall's inside face."""
    into = host.normal[:2] / np.linalg.norm(host.normal[:2])
    along = np.array([-into[1], into[0]])
    corners = panel.mesh.vertices[:, :2]
    places = corners @ along
    depth = float(host.centre_m[:2] @ into)
    inner = np.array([place * along + depth * into for place in (places.min(), places.max())])
    return WallOpening(panel=panel.id, kind=panel.kind, inner=inner, outward=-thickness_m * into)


def piece_outline(piece: Furniture) -> Floats:
    """Outline (4, 2) of a piece of furniture from above. [m]"""
    half = 0.5 * piece.size_m[:2]
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    cosine, sine = np.cos(piece.heading_rad), np.sin(piece.heading_rad)
    turned: Floats = corners @ np.array([[cosine, sine], [-sine, cosine]]) + piece.centre_m[:2]
    return turned
