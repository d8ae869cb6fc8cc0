"""Names of materials in IFC files, read as materials whose properties are known.

Whatever fits no word counts as air and is listed for the user to map.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from envelope.building.job import Layer
from envelope.exchange.ifc.material_words import AIR, MaterialReading, read_material
from envelope.exchange.records import MaterialUse


@dataclass(slots=True)
class MaterialMap:
    """Reads names, remembering which were met and which nothing fits."""

    corrections: Mapping[str, str] = field(default_factory=dict)
    met: Counter[tuple[str, MaterialReading | None]] = field(default_factory=Counter)

    def reads(self, name: str) -> str | None:
        """Known material that a name is read as, for a thin part; None where nothing fits."""
        found = self._read(name, 0.01)
        return None if found is None else found.known

    def layer(self, name: str | None, thickness_m: float, *, leaf: bool = False) -> Layer:
        """One layer of a known material.

        Parameters
        ----------
        name : str or None
            As the file gives it.
        thickness_m : float
            Of the layer. [m]
        leaf : bool
            Whether it is a leaf of a door: solid, or of two sheets, but never framing.
        """
        found = None if name is None else self._read(name, 0.01 if leaf else thickness_m)
        self.met[name or "(no material)", found] += 1
        if found is None:
            return Layer(material=AIR, thickness_m=thickness_m)
        return Layer(
            material=found.known,
            thickness_m=thickness_m,
            cavity=found.varies,
            perhaps_material=found.perhaps,
        )

    def _read(self, name: str, thickness_m: float) -> MaterialReading | None:
        if name in self.corrections:
            return MaterialReading(known=self.corrections[name], why="as the job says")
        return read_material(name, thickness_m=thickness_m)

    def uses(self) -> tuple[MaterialUse, ...]:
        """Every name met, by each of its readings."""
        return tuple(
            MaterialUse(
                name=name,
                known=None if reading is None else reading.known,
                why="no word of it is known" if reading is None else reading.why,
                doubt="" if reading is None else reading.doubt,
                panels=count,
            )
            for (name, reading), count in sorted(
                self.met.items(), key=lambda item: (item[0][0], str(item[0][1]))
            )
        )
