"""Records of a scene: what there is to show, as arrays, with nothing that draws.

Scene ─┬─ storeys, spaces (floor body, walls' cut bodies)
       ├─ panels ── state per plan ── leak per receiver
       ├─ beams  ── shares per plan; landings
       ├─ sources, receivers (furniture)
       └─ plans, treatments, scales
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from envelope.exposure.results import PanelLeak, PlanResult, ReceiverResult
from envelope.geometry.plane import Floats
from viewer.scene.colours import TreatmentStyle

Indices = NDArray[np.int32]
MOST_CABLES = 3  # that are named in a picture


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh:
    """Triangles, counter-clockwise seen from the side that shows."""

    vertices: Floats  # (n, 3) [m]
    triangles: Indices  # (m, 3)

    @property
    def area_vector_m2(self) -> Floats:
        """Sum of area times normal (3,): zero where the mesh is closed. [m²]"""
        a, b, c = (self.vertices[self.triangles[:, k]] for k in range(3))
        total: Floats = 0.5 * np.cross(b - a, c - a).sum(axis=0)
        return total

    @property
    def area_m2(self) -> float:
        """Surface. [m²]"""
        a, b, c = (self.vertices[self.triangles[:, k]] for k in range(3))
        return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())

    @property
    def volume_m3(self) -> float:
        """Enclosed volume, where the mesh is closed and wound outward. [m³]"""
        if not len(self.triangles):
            return 0.0
        local = self.vertices - self.vertices.mean(axis=0)
        a, b, c = (local[self.triangles[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def join(*meshes: Mesh) -> Mesh:
    """One mesh of several."""
    vertices: list[Floats] = [np.empty((0, 3))]
    triangles: list[Indices] = [np.empty((0, 3), dtype=np.int32)]
    count = 0
    for mesh in meshes:
        vertices.append(mesh.vertices)
        triangles.append(mesh.triangles + np.int32(count))
        count += len(mesh.vertices)
    return Mesh(vertices=np.concatenate(vertices), triangles=np.concatenate(triangles))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PanelState:
    """One panel under one plan."""

    treatments: tuple[str, ...]
    leaks: tuple[PanelLeak | None, ...]  # one a receiver; None where it says nothing of the panel
    stands: str = ""  # of an opening that is not simply shut, such as "tilted"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScenePanel:
    """One panel, filled with triangles and outlined."""

    id: str
    index: int
    kind: str
    storey: str
    space: str
    area_m2: float
    centre_m: Floats  # (3,), of its net area
    mark_m: Floats  # (3,), a point well inside, clear of its holes
    normal: Floats  # (3,), into its space
    mesh: Mesh  # its vertices are those of `rings`, one after the other
    rings: tuple[int, ...]  # corners in each outline: outer ones and holes
    host: str | None
    opening: str | None
    aliases: tuple[str, ...]
    assemblies: tuple[str, ...]  # of its patches, without repeats
    behind: tuple[str, ...]  # "outdoors", "earth", or ids of the spaces behind
    states: tuple[PanelState, ...]  # one a plan
    title: str = ""  # what the client calls its opening
    room: str = ""  # what the client calls its space

    @property
    def outlines(self) -> tuple[Floats, ...]:
        """Closed outlines, each (n, 3), the last corner not repeating the first. [m]"""
        ends = np.cumsum(self.rings)
        return tuple(
            self.mesh.vertices[end - count : end]
            for count, end in zip(self.rings, ends, strict=True)
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallBody:
    """What shows of a wall's thickness, standing (its cut top and ends) or cut down to a stub."""

    panel: str
    space: str
    storey: str
    normal: Floats  # (3,), into the space: the wall stands where this faces the eye
    thickness_m: float
    standing: Mesh
    stub: Mesh


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneSpace:
    """A room: its extent and what it stands on."""

    id: str
    storey: str
    floor_m: float
    top_m: float
    footprint: tuple[Floats, ...]  # inside faces, rings (n, 2) [m]
    outer: tuple[Floats, ...]  # footprint and walls, rings (n, 2) [m]
    base: Mesh  # body of the floor below the room, walls included
    block: Mesh  # the closed outside of the room, for showing it as a solid
    low_m: Floats  # (3,) bounding box
    high_m: Floats
    title: str = ""  # what the client calls it

    @property
    def name(self) -> str:
        """What people read."""
        return self.title or self.id


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneBlock:
    """Something outdoors that blocks, such as a neighbour's house."""

    id: str
    corners_m: Floats  # (n, 2) of its footprint
    low_m: float
    high_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneStorey:
    """A level."""

    id: str
    floor_m: float
    spaces: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """Sources and beds of a plan that moves some of them, all of the scene's in their order."""

    sources: tuple[SceneSource, ...]
    receivers: tuple[SceneReceiver, ...]
    sights: tuple[Sight, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScenePlan:
    """A plan: totals and what is found for each receiver."""

    id: str
    title: str
    treated_area_m2: Mapping[str, float]  # treatment → area of the panels that carry it
    result: PlanResult | None
    moved: Moved | None = None  # None where sources and beds stay

    def receiver(self, name: str) -> ReceiverResult | None:
        """What is found for a receiver, if anything."""
        if self.result is None:
            return None
        return next((found for found in self.result.receivers if found.id == name), None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneSource:
    """A direction or a point."""

    id: str
    label: str
    frequency_hz: tuple[float, float]
    direction: Floats | None  # (3,) towards it, in project axes
    azimuth_rad: float | None  # true
    elevation_rad: float
    spread_rad: float
    position_m: Floats | None  # (3,) of a point
    space: str | None
    title: str = ""  # what the client calls it

    @property
    def name(self) -> str:
        """What people read."""
        return self.title or self.id


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """The straight line from a receiver to a transmitter, in pieces between what it passes."""

    source: str
    receiver: str
    pieces: tuple[Floats, ...]  # each (2, 3), from the receiver on [m]


FurnitureKind = Literal["foot", "slab", "pillow"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Furniture:
    """A box that stands for a piece of the bed; `heading` turns it about z."""

    kind: FurnitureKind
    centre_m: Floats  # (3,)
    size_m: Floats  # (3,) along its own axes
    heading_rad: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneReceiver:
    """A point or a box, and the bed that it stands for."""

    id: str
    space: str
    position_m: Floats
    size_m: Floats | None
    furniture: tuple[Furniture, ...]
    title: str = ""  # what the client calls it

    @property
    def name(self) -> str:
        """What people read."""
        return self.title or self.id


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamShare:
    """A beam under one plan."""

    level_w_m2: float  # at the receiver; 0 where it misses it
    share: float
    loss_db: float
    lit_area_m2: float
    is_gap: bool

    @property
    def let_in_m2(self) -> float:
        """Bare hole, square to the source, that would let in as much. [m²]"""
        return self.lit_area_m2 * math.pow(10.0, -self.loss_db / 10.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LandingPatch:
    """Where a beam lands on a panel or on a receiver."""

    on: str
    area_m2: float
    mesh: Mesh
    rings: tuple[int, ...]  # corners in each outline; the mesh's vertices in order


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneBeam:
    """Source × panel × where it lands, as a closed volume, and its fading part outside."""

    source: str
    receiver: str
    panel: str
    inside: Mesh
    outside: tuple[tuple[Floats, Floats], ...]  # rings (n, 3): at the panel, and where it is faded
    landings: tuple[LandingPatch, ...]
    shares: tuple[BeamShare | None, ...]  # one a plan
    moved_to: tuple[float, ...] = ()  # where the plans that have it move the source; () nowhere


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Ends of a colour scale. [dB]"""

    low_db: float
    high_db: float

    def position(self, value_db: float) -> float:
        """Place on the scale, 0 to 1."""
        if math.isinf(value_db):
            return 0.0 if value_db < 0 else 1.0
        place = (value_db - self.low_db) / (self.high_db - self.low_db)
        return min(max(place, 0.0), 1.0)


# Every plan, receiver and job is coloured by the same two scales, so that pictures compare.
LET_IN = Scale(low_db=-40.0, high_db=0.0)  # what one panel lets in, of the field outside
LOSS = Scale(low_db=0.0, high_db=40.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CableShare:
    """What remains with a cable off, under one plan at one receiver."""

    colour: str
    label: str
    rank: int  # 0 leaves least
    matters: bool  # less remains without it


Shares = tuple[tuple[CableShare | None, ...], ...]  # by plan, by receiver


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneCable:
    """A run, the cord of a device, or the device."""

    id: str
    circuit: str
    kind: str  # "run", "cord" or "device"
    what: str  # that is off in its figures: itself, or the device whose cord it is
    spaces: tuple[str, ...]
    tube: Mesh
    mark_m: Floats  # (3,) in the middle of its longest piece
    shares: Shares = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneSpot:
    """An outlet, or a bond."""

    id: str
    kind: str
    space: str
    at_m: Floats
    mesh: Mesh
    plans: tuple[str, ...] | None = None  # that make a bond; None: under all


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneStrip:
    """A strip of coating on a face, under some plans."""

    panel: str
    treatment: str
    plans: tuple[str, ...]
    mesh: Mesh


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SceneWiring:
    """All of it."""

    cables: tuple[SceneCable, ...]
    spots: tuple[SceneSpot, ...]
    strips: tuple[SceneStrip, ...]
    fields: tuple[tuple[str, ...], ...] = ()  # by plan, by receiver, in words; "" where not solved

    def named(self, plan: int, receiver: int) -> list[tuple[SceneCable, CableShare]]:
        """Cables whose absence helps most under a plan, that of the least remainder first."""
        found = [
            (cable, share)
            for cable in self.cables
            if cable.id == cable.what
            and plan < len(cable.shares)
            and (share := cable.shares[plan][receiver]) is not None
            and share.matters
        ]
        return sorted(found, key=lambda pair: pair[1].rank)[:MOST_CABLES]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """The compass on the ground around the building."""

    centre_m: Floats  # (3,)
    radius_m: float
    north: Floats  # (3,) unit vector to true north, in project axes


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """Everything there is to show of a job."""

    name: str
    threshold_db: float
    north_rad: float
    grade_m: float
    panels: tuple[ScenePanel, ...]
    storeys: tuple[SceneStorey, ...]
    spaces: tuple[SceneSpace, ...]
    walls: tuple[WallBody, ...]
    plans: tuple[ScenePlan, ...]
    treatments: tuple[TreatmentStyle, ...]
    sources: tuple[SceneSource, ...]
    receivers: tuple[SceneReceiver, ...]
    sights: tuple[Sight, ...]
    beams: tuple[SceneBeam, ...]
    north: Floats  # (3,) unit vector to true north, in project axes
    low_m: Floats  # (3,) bounding box of all panels
    high_m: Floats
    let_in: Scale = LET_IN  # 10 lg(open-equivalent / exposed solid angle) of a panel
    loss: Scale = LOSS
    blocks: tuple[SceneBlock, ...] = ()
    wiring: SceneWiring | None = None
    feet: bool = False  # whether lengths are shown in feet and inches
    notes: tuple[str, ...] = field(default=())

    def under(self, plan: str) -> Scene:
        """The scene with sources and beds where a plan has them."""
        moved = self.plans[self.plan_index[plan]].moved
        if moved is None:
            return self
        return replace(self, sources=moved.sources, receivers=moved.receivers, sights=moved.sights)

    @cached_property
    def panel_index(self) -> dict[str, int]:
        """Index of each panel by id."""
        return {panel.id: panel.index for panel in self.panels}

    @cached_property
    def plan_index(self) -> dict[str, int]:
        """Index of each plan by id."""
        return {plan.id: index for index, plan in enumerate(self.plans)}

    @cached_property
    def receiver_index(self) -> dict[str, int]:
        """Index of each receiver by id."""
        return {receiver.id: index for index, receiver in enumerate(self.receivers)}

    @cached_property
    def space_index(self) -> dict[str, int]:
        """Index of each space by id."""
        return {space.id: index for index, space in enumerate(self.spaces)}

    def leaks(self, *, plan: str, receiver: str) -> tuple[tuple[ScenePanel, PanelLeak], ...]:
        """Panels of a receiver's room, the one first whose treatment helps most."""
        p, r = self.plan_index[plan], self.receiver_index[receiver]
        found = [
            (panel, leak)
            for panel in self.panels
            if p < len(panel.states) and (leak := panel.states[p].leaks[r]) is not None
        ]
        result = self.plans[p].receiver(receiver) if p < len(self.plans) else None
        order = [] if result is None else [leak.panel for leak in result.panels]
        place = {panel: at for at, panel in enumerate(order)}
        return tuple(
            sorted(
                found,
                key=lambda pair: (place.get(pair[1].panel, len(order)), -pair[1].share),
            )
        )
