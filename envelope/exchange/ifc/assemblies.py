"""The elements behind a panel as an assembly: their layers one after the other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from envelope.building.job import Assembly, Layer, LossCurve
from envelope.exchange.ifc.behind import INSIDE_M, Passage, Shell
from envelope.exchange.ifc.bodies import Body
from envelope.exchange.ifc.material_words import AIR
from envelope.exchange.ifc.materials import MaterialMap
from envelope.exchange.ifc.type_names import thicknesses_in
from envelope.exchange.naming import counted, kind_by_name, slug
from envelope.exchange.records import NOTHING_FOUND, Note
from envelope.geometry.plane import Floats

AIR_GAP_M = 0.005  # free gaps between elements thinner than this come from drawing
THICKNESS_OFF = 0.2
SQUARE_ON = 0.7
# Words in the name of a facade's plate that is no pane. Common usage, from memory, no source.
OPAQUE = frozenset({"solid", "opaque", "spandrel", "metal", "massiv", "opak", "paneel"})
GLAZING = "double-unknown"  # of the library
DOOR_LEAF_M = 0.04  # a frame's depth is not the leaf's thickness; common practice, no source


@dataclass(slots=True)
class Stacks:
    """Assemblies by what they are made of, each with an id of its own."""

    shell: Shell
    materials: MaterialMap
    made: dict[tuple[Layer, ...], str] = field(default_factory=dict)
    assemblies: dict[str, Assembly] = field(default_factory=dict)
    odd: Counter[str] = field(default_factory=Counter)
    by_name: Counter[str] = field(default_factory=Counter)  # parts whose type's name states it
    spread: Counter[str] = field(default_factory=Counter)  # parts whose thickness is not stated
    metal: Counter[str] = field(default_factory=Counter)  # doors that are metal alone
    glazing: set[str] = field(default_factory=set)  # windows whose panes the file does not tell

    def of(self, passed: Sequence[Passage], outward: Floats) -> str | None:
        """Id of the assembly of what a line passes, from the room outward; None for nothing."""
        layers: list[Layer] = []
        names: list[str] = []
        last: float | None = None
        for item in passed:
            body = self.shell.bodies[item.element]
            if last is not None and item.start_m - last > AIR_GAP_M:
                gap = round(item.start_m - last, 3)
                layers.append(Layer(material=AIR, thickness_m=gap, cavity=True))
            last = max(item.end_m, last if last is not None else item.end_m)
            whole = item.start_m > -INSIDE_M + 1e-6  # the line did not begin inside it
            layers.extend(self._layers(body, item.end_m - item.start_m, outward, whole=whole))
            names.append(slug(body.name.rsplit(":", 1)[0] if ":" in body.name else body.name))
        if not layers:
            return None
        bodies = [self.shell.bodies[item.element] for item in passed]
        if all(self.is_glazed(body) for body in bodies):
            return self.filling(bodies[0])
        return self._id(tuple(layers), "_".join(dict.fromkeys(names)))

    def is_glazed(self, body: Body) -> bool:
        """Whether an element lets in as a window does: a pane of a facade, a partition of glass.

        A facade's plate or mesh that says nothing of itself is taken as glass, which stops least.
        """
        names = [layer.material for layer in body.layers if layer.thickness_m > 0.0]
        known = {self.materials.reads(name) for name in (*names, *body.materials) if name}
        words = set(slug(body.name, otherwise="").split("-"))
        solid = known - {"glass", "metal", AIR, None}
        if "glass" in known:
            return not solid
        if solid or body.type not in ("IfcPlate", "IfcCurtainWall", "IfcWall"):
            return False
        named = kind_by_name([body.name])
        if named is not None and not known - {None}:
            return named[0] in ("window", "skylight")
        return body.facade and not known - {None} and not words & OPAQUE

    def _layers(
        self, body: Body, length_m: float, outward: Floats, *, whole: bool = True
    ) -> list[Layer]:
        """Layers of one element along a line that passes through this much of it."""
        listed = [layer for layer in body.layers if layer.thickness_m > 0.0]
        if not listed and len(body.materials) > 1:
            # Parts without a thickness: none of them is the whole.
            type_ = body.name.rsplit(":", 1)[0] or body.id
            stated = thicknesses_in(type_, body.materials, total_m=length_m)
            if stated is not None:
                self.by_name[type_] += 1
                return [self.materials.layer(name, thick_m) for name, thick_m in stated]
            self.spread[type_] += 1
            share = round(length_m / len(body.materials), 4)
            return [self.materials.layer(name, share) for name in body.materials]
        if not listed:
            name = body.materials[0] if body.materials else None
            return [self.materials.layer(name, round(length_m, 3))]
        total = sum(layer.thickness_m for layer in listed)
        if body.along is not None and abs(float(body.along @ outward)) < SQUARE_ON:
            # Passed along its faces, as where one wall ends at another: its thickest layer counts.
            thickest = max(listed, key=lambda layer: layer.thickness_m)
            return [self.materials.layer(thickest.material, round(length_m, 3))]
        if whole and abs(total - length_m) > THICKNESS_OFF * total:
            self.odd[body.name.rsplit(":", 1)[0] or body.id] += 1
        if body.along is not None and float(body.along @ outward) < 0.0:
            listed = listed[::-1]
        return [
            self.materials.layer(layer.material, round(layer.thickness_m, 4)) for layer in listed
        ]

    def _id(self, layers: tuple[Layer, ...], name: str) -> str:
        if layers not in self.made:
            stem = name[:60].strip("-_") or "assembly"
            id, number = stem, 1
            while id in self.assemblies:
                number += 1
                id = f"{stem}-{number}"
            self.made[layers] = id
            self.assemblies[id] = Assembly(id=id, layers=layers, note="from the IFC file's layers")
        return self.made[layers]

    def filling(self, body: Body | None) -> str:
        """Id of the assembly of a window or door: what fills its area, else a usual one, assumed.

        A list of materials names the frame, the handle and the glass in any order: the first of it
        says nothing of what fills the area.
        """
        door = body is not None and body.type.startswith("IfcDoor")
        if body is not None and body.layers:
            width = float(np.ptp(body.triangles.reshape(-1, 3), axis=0).min())
            return self._id(
                tuple(self._layers(body, width, np.zeros(3), whole=False)), slug(body.name)
            )
        names = () if body is None else body.materials
        glazed = body is not None and "glass" in body.name.lower()
        glazed |= any(self.materials.reads(name) == "glass" for name in names)
        if door and not glazed:
            leaf = self._leaf(names)
            if leaf is not None and body is not None:
                return self._id(
                    (self.materials.layer(leaf, DOOR_LEAF_M, leaf=True),), slug(body.name)
                )
            return self._assumed("door-assumed", [Layer(material="wood", thickness_m=DOOR_LEAF_M)])
        for name in names:
            self.materials.layer(name, 0.0)  # met, so that the list of materials has it
        if door:
            glass = Layer(material="glass", thickness_m=0.006)
            return self._assumed("glass-door-assumed", [glass])
        return self._glazing_unknown(body)

    def _leaf(self, names: Sequence[str]) -> str | None:
        """Which of a door's materials its leaf is: the first that is known and no metal.

        A door of metal alone is one of metal, and is told, since nothing passes it.
        """
        known = [name for name in names if self.materials.reads(name) not in (None, AIR)]
        other = [name for name in known if self.materials.reads(name) != "metal"]
        if other:
            return other[0]
        if known:
            self.metal[known[0]] += 1
            return known[0]
        return None

    def _assumed(self, id: str, layers: Sequence[Layer]) -> str:
        self.assemblies.setdefault(
            id,
            Assembly(
                id=id,
                layers=tuple(layers),
                note="assumed (common practice, no source): say what it is",
            ),
        )
        return id

    def _glazing_unknown(self, body: Body | None) -> str:
        """The starter assembly that is drawn between plain and coated panes."""
        self.glazing.add("" if body is None else body.id)
        return GLAZING

    def nothing(self) -> str:
        """Id of the assembly that stands where the file has no element: it stops nothing."""
        self.assemblies.setdefault(
            NOTHING_FOUND,
            Assembly(
                id=NOTHING_FOUND,
                loss=LossCurve(frequencies_hz=(), losses_db=(0.0,)),
                note="the file has no element here, so nothing is taken to stop a ray",
            ),
        )
        return NOTHING_FOUND

    def notes(self) -> list[Note]:
        """What the user should correct."""
        found = [
            Note(
                kind="unmapped",
                subject=use.name,
                message="is no material that is known; its layers count as air",
            )
            for use in self.materials.uses()
            if use.known is None
        ]
        found.extend(
            Note(kind="guessed", subject=use.name, message=f"{use.doubt}; say which")
            for use in self.materials.uses()
            if use.doubt
        )
        found.extend(
            Note(
                kind="guessed",
                subject=id,
                message="the file names no material for these windows or doors; assumed",
            )
            for id in self.assemblies
            if id.endswith("-assumed")
        )
        if self.glazing:
            message = (
                f"{counted(len(self.glazing), 'window')} whose panes the file does not tell: taken "
                "as double glazing without a coat, the range has both; say which: one reading with "
                "the window open and one with it shut settle it"
            )
            found.append(Note(kind="guessed", subject=GLAZING, message=message))
        found.extend(
            Note(
                kind="guessed",
                subject=name,
                message="its layers have no thickness in the file; taken from the type's name, "
                f"{count} times",
            )
            for name, count in sorted(self.by_name.items())
        )
        found.extend(
            Note(
                kind="guessed",
                subject=name,
                message="its layers have no thickness in the file; spread evenly, "
                f"{count} times: say how thick each is",
            )
            for name, count in sorted(self.spread.items())
        )
        found.extend(
            Note(
                kind="guessed",
                subject=name,
                message=f"{counted(count, 'door')} of nothing but metal: nothing passes; check the "
                "leaf",
            )
            for name, count in sorted(self.metal.items())
        )
        found.extend(
            Note(
                kind="remark",
                subject=name,
                message=f"{count} times thicker or thinner in the drawing than its layers are",
            )
            for name, count in sorted(self.odd.items())
        )
        return found
