"""The elements behind a panel as an assembly: their layers one after the other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from envelope.building.job import Assembly, Layer, LossCurve
from envelope.exchange.ifc.behind import INSIDE_M, Passage, Shell
from envelope.exchange.ifc.file import Body
from envelope.exchange.ifc.materials import AIR, MaterialMap
from envelope.exchange.naming import slug
from envelope.exchange.records import Note
from envelope.geometry.plane import Floats

AIR_GAP_M = 0.005  # free gaps between elements thinner than this come from drawing
THICKNESS_OFF = 0.2
SQUARE_ON = 0.7
NOTHING = "nothing-found"


@dataclass(slots=True)
class Stacks:
    """Assemblies by what they are made of, each with an id of its own."""

    shell: Shell
    materials: MaterialMap
    made: dict[tuple[Layer, ...], str] = field(default_factory=dict)
    assemblies: dict[str, Assembly] = field(default_factory=dict)
    odd: Counter[str] = field(default_factory=Counter)

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
        return self._id(tuple(layers), "_".join(dict.fromkeys(names)))

    def _layers(
        self, body: Body, length_m: float, outward: Floats, *, whole: bool = True
    ) -> list[Layer]:
        """Layers of one element along a line that passes through this much of it."""
        listed = [layer for layer in body.layers if layer.thickness_m > 0.0]
        if not listed:
            return [self.materials.layer(body.material, round(length_m, 3))]
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
        """Id of the assembly of a window or door: its own material, else a usual one, assumed."""
        door = body is not None and body.type.startswith("IfcDoor")
        if body is not None and (body.layers or body.material):
            width = float(np.ptp(body.triangles.reshape(-1, 3), axis=0).min())
            if body.layers:
                return self._id(
                    tuple(self._layers(body, width, np.zeros(3), whole=False)), slug(body.name)
                )
            # A frame's depth is not the leaf's thickness.
            leaf = 0.04 if door else 0.006
            return self._id((self.materials.layer(body.material, leaf),), slug(body.name))
        glazed = body is not None and "glass" in body.name.lower()
        if door and not glazed:
            id, layers = "door-assumed", [Layer(material="wood", thickness_m=0.04)]
        elif door:
            id, layers = "glass-door-assumed", [Layer(material="glass", thickness_m=0.006)]
        else:
            id = "double-pane-assumed"
            pane = Layer(material="glass", thickness_m=0.004)
            layers = [pane, Layer(material=AIR, thickness_m=0.016), pane]
        if id not in self.assemblies:
            self.assemblies[id] = Assembly(
                id=id,
                layers=tuple(layers),
                note="assumed (common practice, no source): say what it is",
            )
        return id

    def nothing(self) -> str:
        """Id of the assembly that stands where the file has no element: it stops nothing."""
        self.assemblies.setdefault(
            NOTHING,
            Assembly(
                id=NOTHING,
                loss=LossCurve(frequencies_hz=(), losses_db=(0.0,)),
                note="the file has no element here, so nothing is taken to stop a ray",
            ),
        )
        return NOTHING

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
            Note(
                kind="guessed",
                subject=id,
                message="the file names no material for these windows or doors; assumed",
            )
            for id in self.assemblies
            if id.endswith("-assumed")
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
