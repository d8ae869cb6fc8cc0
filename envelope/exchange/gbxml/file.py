"""A gbXML file opened: its spaces, surfaces with their openings, and constructions, in metres.

The terms are those of the schema (https://www.gbxml.org, namespace www.gbxml.org/schema).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from envelope.errors import Fault, Location, ModelFileError
from envelope.geometry.plane import Floats

MAX_BYTES = 100_000_000
FARTHEST_M = 1e7  # from the origin
MAX_SURFACES = 100_000
# Values of the schema's enumeration lengthUnitEnum.
UNITS_M = {
    "Kilometers": 1000.0,
    "Meters": 1.0,
    "Centimeters": 0.01,
    "Millimeters": 0.001,
    "Miles": 1609.344,
    "Yards": 0.9144,
    "Feet": 0.3048,
    "Inches": 0.0254,
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opening:
    """An opening in a surface."""

    id: str
    name: str
    type: str  # openingTypeEnum
    ring: Floats  # (n, 3) [m]
    construction: str | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A surface: what stands between two spaces, or between one and the rest."""

    id: str
    name: str
    type: str  # surfaceTypeEnum
    ring: Floats  # (n, 3) [m]
    spaces: tuple[str, ...]  # that it adjoins
    construction: str | None
    openings: tuple[Opening, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedSpace:
    """A space without its geometry, which its surfaces make."""

    id: str
    name: str
    storey: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A storey."""

    id: str
    name: str
    height_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialLayer:
    """A layer as the file states it."""

    name: str
    thickness_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GbxmlModel:
    """Everything that is needed of a file."""

    source: str
    levels: tuple[Level, ...]
    spaces: tuple[NamedSpace, ...]
    surfaces: tuple[Surface, ...]
    constructions: dict[str, tuple[str, tuple[MaterialLayer, ...]]]  # name and layers, by id
    azimuth_deg: float
    skipped: tuple[str, ...]  # what could not be read, a sentence each


def fault(path: Path, message: str) -> ModelFileError:
    """A refusal of the file."""
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


def open_gbxml(path: Path) -> GbxmlModel:
    """Read a file.

    Raises
    ------
    ModelFileError
        Where it is no gbXML, names no unit of length, or has no spaces.
    """
    data = path.read_bytes()
    if len(data) > MAX_BYTES:
        raise fault(path, f"has {len(data) / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB")
    plain = data.replace(b"\0", b"")
    if b"<!DOCTYPE" in plain or b"<!ENTITY" in plain:
        raise fault(path, "declares entities, which are not read; export it again without them")
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, ValueError, LookupError) as error:
        raise fault(path, f"is no sound XML: {error}; copy or export it again") from None
    if _plain(root.tag) != "gbXML":
        kind = _plain(root.tag)
        if "ifc" in kind.lower() or "iso_10303" in kind.lower():
            raise fault(path, "is ifcXML, which is not read: export it as IFC (STEP, .ifc)")
        raise fault(path, f"is XML whose root is {kind[:40]}, not gbXML")
    unit = root.get("lengthUnit")
    if unit not in UNITS_M:
        raise fault(
            path,
            f"has lengthUnit {unit!r}; {', '.join(UNITS_M)} are allowed: set one of them",
        )
    return _Reader(path, root, UNITS_M[unit]).model()


def _plain(tag: str) -> str:
    return str(tag).rpartition("}")[2]


class _Reader:
    """Reads the elements of one file; what is malformed is skipped and told."""

    def __init__(self, path: Path, root: ET.Element, scale: float) -> None:
        self.path, self.root, self.scale = path, root, scale
        self.skipped: list[str] = []

    def model(self) -> GbxmlModel:
        spaces = tuple(
            NamedSpace(
                id=space.get("id", ""),
                name=self._text(space, "Name") or space.get("id", ""),
                storey=space.get("buildingStoreyIdRef"),
            )
            for space in self._all("Space")
            if space.get("id")
        )
        if not spaces:
            raise fault(self.path, "has no Space; place rooms in the program it comes from")
        return GbxmlModel(
            source=self.path.name,
            levels=tuple(self._levels()),
            spaces=spaces,
            surfaces=tuple(self._surfaces()),
            constructions=self._constructions(),
            azimuth_deg=self._number(self._first("CADModelAzimuth")) or 0.0,
            skipped=tuple(self.skipped),
        )

    def _all(self, tag: str, within: ET.Element | None = None) -> Iterator[ET.Element]:
        node = self.root if within is None else within
        return (item for item in node.iter() if _plain(item.tag) == tag)

    def _children(self, node: ET.Element, tag: str) -> Iterator[ET.Element]:
        return (item for item in node if _plain(item.tag) == tag)

    def _first(self, tag: str, within: ET.Element | None = None) -> ET.Element | None:
        return next(self._all(tag, within), None)

    def _text(self, node: ET.Element, tag: str) -> str:
        found = next(self._children(node, tag), None)
        return "" if found is None else (found.text or "").strip()

    def _number(self, node: ET.Element | None) -> float | None:
        try:
            value = float((node.text or "").strip()) if node is not None else np.nan
        except ValueError:
            return None
        return value if np.isfinite(value) else None

    def _levels(self) -> Iterator[Level]:
        for storey in self._all("BuildingStorey"):
            height = self._number(next(self._children(storey, "Level"), None))
            if storey.get("id") and height is not None:
                id = str(storey.get("id"))
                name = self._text(storey, "Name") or id
                yield Level(id=id, name=name, height_m=height * self.scale)

    def _ring(self, node: ET.Element) -> Floats | None:
        """Corners (n, 3) of the first PolyLoop of the element's own PlanarGeometry."""
        plane = next(self._children(node, "PlanarGeometry"), None)
        loop = None if plane is None else self._first("PolyLoop", plane)
        if loop is None:
            return None
        corners = []
        for point in self._children(loop, "CartesianPoint"):
            values = [self._number(item) for item in self._children(point, "Coordinate")]
            if len(values) != 3 or None in values:
                return None
            corners.append(values)
        ring = np.array(corners, dtype=np.float64).reshape(-1, 3) * self.scale
        if np.abs(ring).max(initial=0.0) > FARTHEST_M:
            return None
        keep = np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1) > 1e-6
        ring = ring[keep]
        return ring if len(ring) >= 3 else None

    def _surfaces(self) -> Iterator[Surface]:
        for count, node in enumerate(self._all("Surface")):
            if count >= MAX_SURFACES:
                raise fault(self.path, f"has more than {MAX_SURFACES} surfaces")
            id = node.get("id") or f"surface {count + 1}"
            ring = self._ring(node)
            if ring is None:
                self.skipped.append(f"surface {id} has no readable PlanarGeometry")
                continue
            adjacent = [item.get("spaceIdRef") for item in self._children(node, "AdjacentSpaceId")]
            yield Surface(
                id=id,
                name=self._text(node, "Name") or id,
                type=node.get("surfaceType") or "",
                ring=ring,
                spaces=tuple(dict.fromkeys(name for name in adjacent if name)),
                construction=node.get("constructionIdRef"),
                openings=tuple(self._openings(node, id)),
            )

    def _openings(self, surface: ET.Element, of: str) -> Iterator[Opening]:
        for count, node in enumerate(self._children(surface, "Opening")):
            id = node.get("id") or f"{of} opening {count + 1}"
            ring = self._ring(node)
            if ring is None:
                self.skipped.append(f"opening {id} has no readable PlanarGeometry")
                continue
            yield Opening(
                id=id,
                name=self._text(node, "Name") or id,
                type=node.get("openingType") or "",
                ring=ring,
                construction=node.get("constructionIdRef"),
            )

    def _constructions(self) -> dict[str, tuple[str, tuple[MaterialLayer, ...]]]:
        materials = {}
        for node in self._all("Material"):
            thickness = next(self._children(node, "Thickness"), None)
            value = self._number(thickness)
            unit = "Meters" if thickness is None else thickness.get("unit", "Meters")
            materials[node.get("id")] = MaterialLayer(
                name=self._text(node, "Name") or str(node.get("id")),
                thickness_m=None if value is None else value * UNITS_M.get(unit, 1.0),
            )
        layers = {
            node.get("id"): [
                materials[item.get("materialIdRef")]
                for item in self._children(node, "MaterialId")
                if item.get("materialIdRef") in materials
            ]
            for node in self._all("Layer")
        }
        found = {}
        for node in self._all("Construction"):
            listed = [
                layer
                for item in self._children(node, "LayerId")
                for layer in layers.get(item.get("layerIdRef"), [])
            ]
            found[str(node.get("id"))] = (
                self._text(node, "Name") or str(node.get("id")),
                tuple(listed),
            )
        return found
