"""What is read of an IFC file: elements, openings and spaces as triangles with their names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from envelope.building.model import Storey
from envelope.exchange.ifc.terrain import Grade
from envelope.exchange.records import Note
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area

UNCLASSED = "element of no class"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerOf:
    """One layer of an element as the file states it."""

    material: str | None
    thickness_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """One building element."""

    id: str
    type: str  # IFC class
    name: str
    triangles: Floats  # (n, 3, 3) [m]
    layers: tuple[LayerOf, ...] = ()
    along: Floats | None = None  # direction in which the layers follow each other
    materials: tuple[str, ...] = ()  # of an element that has no layers: parts in no known order
    facade: bool = False  # a curtain wall or a part of one

    @property
    def low(self) -> Floats:
        """Lowest coordinates (3,). [m]"""
        return np.asarray(self.triangles.reshape(-1, 3).min(axis=0))

    @property
    def high(self) -> Floats:
        """Highest coordinates (3,). [m]"""
        return np.asarray(self.triangles.reshape(-1, 3).max(axis=0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Void:
    """An opening: the hole, what it is cut from, what fills it."""

    id: str
    triangles: Floats  # (n, 3, 3) [m]
    host: str | None
    filling: Body | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpaceBody:
    """One IfcSpace."""

    key: str  # GlobalId
    id: str
    names: tuple[str, ...]
    storey: str
    triangles: Floats | None  # (n, 3, 3) [m]; None where it has no geometry
    listed: tuple[tuple[str, str, str], ...]  # (element, its class, flag) that the file lists
    trouble: str = ""  # why it has no geometry
    plan: Area | None = None  # of one that was closed from walls, in x and y [m]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IfcModel:
    """Everything that is needed of a file."""

    source: str
    schema: str
    storeys: tuple[Storey, ...]
    spaces: tuple[SpaceBody, ...]
    shell: tuple[Body, ...]
    voids: tuple[Void, ...]
    north_rad: float
    grade: Grade | None
    size_m: Floats
    notes: tuple[Note, ...]
    not_modelled: Mapping[str, int] = field(default_factory=dict)  # elements left out, by word

    @property
    def proxies(self) -> int:
        """Elements of no class, which count as no walls."""
        return self.not_modelled.get(UNCLASSED, 0)
