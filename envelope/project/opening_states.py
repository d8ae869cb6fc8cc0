"""Windows and doors that a plan has in another state than the building: no new geometry.

    state        leaf, film edge       gap strips (of a sash that can tilt)    frame
    shut         its assembly          its assembly                            its assembly
    tilted       its assembly          nothing                                 its assembly
    open         nothing               nothing                                 nothing
    shuttered    its assembly, air, the shutter: on both                       its assembly

What is put on a leaf goes with it when it stands open, and covers the gap strips when it is shut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from envelope.building.elements import STAND_INS
from envelope.building.job import Assembly
from envelope.building.model import Building, Panel
from envelope.building.rooms.specs import FILM_EDGE, FRAME, GAPS, OpeningState
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path


def named_in_construction(opening: schema.Opening, tables: Tables) -> str | None:
    """Assembly that the construction has for an opening's kind."""
    lines = tables.construction.by_kind()
    return lines.get(opening.kind) or lines.get(STAND_INS.get(opening.kind, ""))


def shuttered_name(opening: schema.Opening, assembly: str | None) -> str | None:
    """Id of an opening's assembly with its shutter outside."""
    return None if assembly is None else f"{assembly} + {opening.shutter}"


def shuttered_assemblies(tables: Tables, building: Building | None) -> dict[str, Assembly]:
    """Every opening's assembly with its shutter outside it, air of no certain width between."""
    parts = {table.id: tuple(table.parts or ()) for _, table in tables.of(schema.Assembly)}
    found = {}
    for _, opening in tables.of(schema.Opening):
        base = _assembly_when_shut(opening, tables, building)
        name = shuttered_name(opening, base)
        if opening.shutter is None or base is None or name is None:
            continue
        inside = parts.get(base) or (base,)
        outside = parts.get(opening.shutter) or (opening.shutter,)
        found[name] = Assembly(id=name, parts=(*inside, *outside))
    return found


def _assembly_when_shut(
    opening: schema.Opening, tables: Tables, building: Building | None
) -> str | None:
    if opening.assembly is not None:
        return opening.assembly
    if building is not None and opening.state in ("shut", "tilted"):
        leaf = building.panel_index.get(f"{opening.on.partition('/')[0]}/{opening.id}")
        if leaf is not None:
            patch = building.patches_of[building.panels[leaf].id][0]
            return building.elements[patch.element].assembly
    return named_in_construction(opening, tables)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Openings:
    """What plans do with the states of openings."""

    tables: Tables
    building: Building

    def assemblies(
        self, states: Mapping[str, OpeningState], path: Path, faults: Faults
    ) -> dict[str, str | None]:
        """Assembly behind each panel of the openings that a plan has in another state."""
        found: dict[str, str | None] = {}
        for _, opening in self.tables.of(schema.Opening):
            state = states.get(opening.id, opening.state)
            if state == opening.state or opening.cannot_be(state) is not None:
                continue
            shut = _assembly_when_shut(opening, self.tables, self.building)
            if shut is None and opening.kind != "vent" and state != "open":
                faults.add(
                    (*path, opening.id),
                    f"[construction] has no line for {opening.kind}, which {shown(opening.id)} "
                    f"needs when it is {state}",
                )
                continue
            there = shuttered_name(opening, shut) if state == "shuttered" else shut
            for panel in self._frames(opening):
                found[panel.id] = None if state == "open" else opening.frame_assembly
            for panel in self._panels(opening):
                is_gap = panel.id.rpartition("/")[2] in GAPS
                gone = state == "open" or (state == "tilted" and is_gap)
                found[panel.id] = None if gone else there
        return found

    def treatments(
        self, chosen: Mapping[str, tuple[str, ...]], states: Mapping[str, OpeningState]
    ) -> dict[str, tuple[str, ...]]:
        """Treatments of a plan as the states leave them."""
        found = dict(chosen)
        for _, opening in self.tables.of(schema.Opening):
            state = states.get(opening.id, opening.state)
            for panel in self._frames(opening) if state == "open" else ():
                found.pop(panel.id, None)
            for panel in self._panels(opening):
                if state == "open":
                    found.pop(panel.id, None)
                elif panel.id.rpartition("/")[2] in GAPS and state != "tilted":
                    found.setdefault(panel.id, found.get(panel.opening or "", ()))
        return found

    def _panels(self, opening: schema.Opening) -> list[Panel]:
        """Leaves of an opening on all its sides, and the strips that are of its material."""
        return self._named(opening, ("", *GAPS, FILM_EDGE))

    def _frames(self, opening: schema.Opening) -> list[Panel]:
        """Frames of an opening on all its sides."""
        return self._named(opening, (FRAME,))

    def _named(self, opening: schema.Opening, parts: tuple[str, ...]) -> list[Panel]:
        found = []
        for space in self.building.spaces:
            for part in parts:
                name = f"{space.id}/{opening.id}" + (f"/{part}" if part else "")
                index = self.building.panel_index.get(name)
                if index is not None:
                    found.append(self.building.panels[index])
        return found
