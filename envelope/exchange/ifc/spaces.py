"""Panels of IFC spaces: facets split by what stands behind them, with the assemblies named.

An element between two spaces is one, so one side alone names its assembly: the upper space for
floors, else the space that comes first in the file.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from shapely.geometry import MultiPolygon

from envelope.building.adjacency import Facing, find_facings
from envelope.building.model import Panel, PanelKind
from envelope.building.patches import strips
from envelope.exchange.ifc.assemblies import Stacks
from envelope.exchange.ifc.behind import (
    Passage,
    Shell,
    past_the_gap,
    spots_in,
)
from envelope.exchange.ifc.facets import Facet, Facets, rings, united
from envelope.exchange.ifc.surroundings import Surroundings
from envelope.exchange.naming import compass_aliases, numbered
from envelope.exchange.panel_groups import facades, round_walls
from envelope.exchange.records import NOTHING_FOUND, PanelOrigin
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, carried, pieces, polygon_of, swept

SMALL_M2 = 0.05
NARROW_M = 0.05  # half the width of a strip that is no panel of its own
UNNAMED = "a void without a space"
MOST_BEHIND = "a wall thicker than 0.6 m"  # what `building.facing` does not look through


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cell:
    """A part of a facet with one thing behind it."""

    area: Area
    kind: PanelKind
    assembly: str | None
    passed: tuple[Passage, ...]
    beyond: str
    named_here: bool  # whether an assembly may be named on this side
    left_out: bool = False  # behind it the file has a space, or a void, that is not imported
    strip: bool = False


_BESIDE_GLASS = ({"wall", "window"}, {"ceiling", "skylight"})  # a bar beside a pane joins it
_Alike = tuple[PanelKind, "str | None", bool]


def _alike(cell: _Cell) -> _Alike:
    """What cells of one panel share."""
    return cell.kind, cell.assembly, cell.left_out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpacePanels:
    """Panels of one space and where they come from."""

    panels: tuple[Panel, ...]
    origins: dict[str, PanelOrigin]


@dataclass(slots=True)
class _Piece:
    """A provisional panel: the rest of a facet, or an opening in it."""

    facet: int
    cut: int | None  # number of the opening, None for the rest
    panel: Panel


def _strip(area: Area, kind: PanelKind) -> _Cell:
    """The part of a panel behind which only the end of an interior wall or floor stands."""
    return _Cell(
        area=area, kind=kind, assembly=None, passed=(), beyond="", named_here=False, strip=True
    )


def _is_sliver(area: Area) -> bool:
    """Whether a part of a panel is too small or narrow to be a panel of its own."""
    return bool(area.area < SMALL_M2 or area.buffer(-NARROW_M).is_empty)


@dataclass(slots=True)
class Laying:
    """All facets of a file and what faces what."""

    ids: Sequence[str]  # of the spaces, by index
    facets: Sequence[Facet]
    shell: Shell
    stacks: Stacks
    chosen: frozenset[int]  # spaces that are imported
    solids: Mapping[int, Facets]
    triangles: Mapping[int, Floats]  # (n, 3, 3) of each space's solid
    around: Surroundings = field(init=False)
    uses: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    # Area [m²] of a space's ceiling over which a void counts as sky, by what stands past the void
    # and how far up. [m]
    voids: dict[str, dict[tuple[str, float], float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.around = Surroundings(
            ids=self.ids, shell=self.shell, solids=self.solids, triangles=self.triangles
        )

    def lay(self) -> dict[int, SpacePanels]:
        """Panels of every chosen space."""
        made = self._pieces()
        panels = [piece.panel for piece in made]
        facings = find_facings(panels)
        opened: dict[tuple[int, int], Area] = {}
        cells: dict[int, list[_Cell]] = defaultdict(list)
        split: dict[int, list[_Cell]] = {}
        for index, piece in enumerate(made):
            facet = self.facets[piece.facet]
            if piece.cut is not None or facet.space not in self.chosen:
                continue
            left = polygon_of(panels[index])
            found: list[_Cell] = []
            faced = united(facing.area for facing in facings[index])
            for facing in facings[index]:
                left = swept(left.difference(facing.area))
                found.extend(
                    self._facing_cells(
                        index, facing.far, facing.area, facing.distance_m, panels, opened
                    )
                )
            # The ends of the walls and floors between the spaces behind: part of what is beside.
            ends = strips(left, faced) if found else MultiPolygon()
            for piece in pieces(swept(left.intersection(ends))):
                found.append(_strip(piece, panels[index].kind))
            left = swept(left.difference(ends))
            if not left.is_empty:
                found.extend(self._free_cells(panels[index], left))
            split[index] = found
        self._open_holes(split)
        for index, found in split.items():
            frame, whole = panels[index].frame, self.facets[made[index].facet].frame
            cells[made[index].facet].extend(
                replace(cell, area=united([carried(cell.area, frame, whole)])) for cell in found
            )
        beyond: dict[tuple[int, int | None], str] = {
            (piece.facet, piece.cut): self._beyond(panels, facings[index])
            for index, piece in enumerate(made)
            if piece.cut is not None
        }
        return {
            space: self._space_panels(space, self.solids[space], cells, beyond)
            for space in sorted(self.chosen)
        }

    def _open_holes(self, split: dict[int, list[_Cell]]) -> None:
        """Where nothing stands behind a part of a panel, the part is a hole and no wall.

        Not under a floor, where the ground is, and not where the file draws no walls (or no
        floors and roofs) at all: its rooms keep panels, so that the job can say what they are.
        """
        for upright in (True, False):
            cells = [
                (found, place, cell)
                for found in split.values()
                for place, cell in enumerate(found)
                if not cell.strip and (cell.kind in ("wall", "window")) == upright
            ]
            if not any(cell.passed for _, _, cell in cells):
                continue
            for found, place, cell in cells:
                on_ground = cell.kind == "floor" and not cell.beyond.startswith("space ")
                if not cell.passed and not on_ground and not _is_sliver(cell.area):
                    found[place] = replace(cell, kind="open", assembly=None, named_here=False)
            sorts = ("exterior-wall", "interior-wall") if upright else ("floor", "roof")
            for sort in sorts:
                self.uses[sort].pop(NOTHING_FOUND, None)

    def _pieces(self) -> list[_Piece]:
        made: list[_Piece] = []
        for number, facet in enumerate(self.facets):
            areas: list[tuple[int | None, Area, PanelKind]] = [(None, facet.rest, facet.kind)]
            areas += [(index, cut.area, cut.kind) for index, cut in enumerate(facet.cuts)]
            for cut, area, kind in areas:
                for outline, holes in rings(area, facet.frame):
                    panel = Panel(
                        id=f"{number}:{len(made)}",
                        space=self.ids[facet.space],
                        kind=kind,
                        outline=outline,
                        holes=holes,
                    )
                    made.append(_Piece(facet=number, cut=cut, panel=panel))
        return made

    def _declares(self, near: Panel, far: Panel) -> bool:
        """Whether the near side of an element names its assembly."""
        order = {id: index for index, id in enumerate(self.ids)}
        if order[far.space] not in self.chosen:
            return True
        if abs(near.normal[2]) > 0.5:
            return bool(near.normal[2] > 0.0)
        mine, theirs = order[near.space], order[far.space]
        if mine != theirs:
            return mine < theirs
        return tuple(near.outline[0]) < tuple(far.outline[0])

    def _is_left_out(self, beyond: str | None) -> bool:
        """Whether what a panel leads to is a space that is not imported."""
        name = (beyond or "").removeprefix("space ")
        return name in self.ids and self.ids.index(name) not in self.chosen

    def _beyond(self, panels: Sequence[Panel], facings: Sequence[Facing]) -> str:
        best = max(facings, key=lambda item: float(item.area.area), default=None)
        return "outdoors" if best is None else f"space {panels[best.far].space}"

    def _facing_cells(
        self,
        index: int,
        far: int,
        area: Area,
        distance_m: float,
        panels: Sequence[Panel],
        opened: dict[tuple[int, int], Area],
    ) -> list[_Cell]:
        """Parts of a panel that face another space's panel."""
        near, other = panels[index], panels[far]
        beyond = f"space {other.space}"
        left_out = self.ids.index(other.space) not in self.chosen
        here = self._declares(near, other)
        if (far, index) in opened:
            holes = united([carried(opened[far, index], other.frame, near.frame)])
            holes = swept(holes.intersection(area))
            parts = [(holes, True), (swept(area.difference(holes)), False)]
        else:
            parts = self.around.open_parts(near, area, distance_m)
            opened[index, far] = united(part for part, hole in parts if hole)
        found: list[_Cell] = []
        for part, hole in parts:
            if part.is_empty:
                continue
            if hole:
                found.append(
                    _Cell(
                        area=part,
                        kind="open",
                        assembly=None,
                        passed=(),
                        beyond=beyond,
                        named_here=False,
                        left_out=left_out,
                    )
                )
                continue
            for sub, passed in self.around.by_element(near, part, distance_m, far=other.space):
                assembly = self.stacks.of(passed, -near.normal) if here else None
                glazed = self._glazed_kind(near.kind, passed)
                if here:
                    kind = "floor" if near.kind != "wall" else "interior-wall"
                    kind = kind if glazed is None else glazed
                    if assembly is None:
                        assembly = self.stacks.nothing()
                    self.uses[kind][assembly] += int(1000 * sub.area)
                found.append(
                    _Cell(
                        area=sub,
                        kind=glazed or near.kind,
                        assembly=assembly,
                        passed=passed,
                        beyond=beyond,
                        named_here=here,
                        left_out=left_out,
                    )
                )
        return found

    def _free_cells(self, panel: Panel, area: Area) -> list[_Cell]:
        """Parts of a panel behind which no space stands within reach."""
        found = []
        for part, passed in self.around.by_element(panel, area, None):
            beyond = "outdoors or ground"
            other = self.around.farther(panel, part, passed)
            left_out = other is not None and other not in self.chosen
            unusable = None if other is not None else self.around.unusable(panel, part, passed)
            if other is not None:
                beyond = f"space {self.ids[other]} beyond {MOST_BEHIND}"
            elif unusable is not None:
                beyond, left_out = f"space {self.ids[unusable]}", True
            elif panel.kind == "floor" and self.around.hollow(panel, part, passed):
                beyond, left_out = UNNAMED, True
            elif panel.kind == "ceiling":
                self._note_void(panel, part, passed)
            mine = passed
            if other is not None and other in self.chosen and len(passed) > 1:
                # A thick wall between two spaces is two elements to the rays, met one after the
                # other: each counts what lies nearer to it, and nothing counts twice.
                own = self.ids.index(panel.space)
                first = panel.normal[2] > 0.0 if abs(panel.normal[2]) > 0.5 else own < other
                mine = passed[:-1] if first else passed[:1]
            assembly = self.stacks.of(mine, -panel.normal) or self.stacks.nothing()
            glazed = self._glazed_kind(panel.kind, passed)
            kind = glazed or {"floor": "slab", "ceiling": "roof"}.get(panel.kind, "exterior-wall")
            self.uses[kind][assembly] += int(1000 * part.area)
            found.append(
                _Cell(
                    area=part,
                    kind=glazed or panel.kind,
                    assembly=assembly,
                    passed=passed,
                    beyond=beyond,
                    named_here=True,
                    left_out=left_out,
                )
            )
        return found

    def _glazed_kind(self, kind: PanelKind, passed: Sequence[Passage]) -> PanelKind | None:
        """Window or skylight where nothing but glass stands behind a panel; else None."""
        if kind == "floor" or not passed:
            return None
        if not all(self.stacks.is_glazed(self.shell.bodies[item.element]) for item in passed):
            return None
        return "window" if kind == "wall" else "skylight"

    def _note_void(self, panel: Panel, area: Area, passed: Sequence[Passage]) -> None:
        """Keep what stands past a void over a ceiling, which counts as sky from there on."""
        spot = spots_in(area, count=1)
        if not len(spot):
            return
        past = past_the_gap(self.shell, panel.frame, spot[0], passed)
        if past is None:
            return
        body = self.shell.bodies[past.element]
        key = (body.name or body.id, round(past.start_m, 1))
        found = self.voids.setdefault(panel.space, {})
        found[key] = found.get(key, 0.0) + float(area.area)

    def _joined(self, facet: Facet, cells: Sequence[_Cell]) -> list[tuple[Area, list[_Cell]]]:
        """Cells of one facet that share kind and assembly, made one; slivers to a neighbour."""
        groups: dict[_Alike, list[_Cell]] = defaultdict(list)
        slivers: list[_Cell] = []
        for cell in cells:
            if cell.strip or (_is_sliver(cell.area) and cell.named_here):
                slivers.append(cell)
            else:
                groups[_alike(cell)].append(cell)
        for cell in sorted(slivers, key=lambda item: -item.area.area):
            edge = cell.area.buffer(1e-3)
            near = [
                (float(other.area.intersection(edge).area), number, key)
                for number, (key, members) in enumerate(groups.items())
                for other in members
                if (cell.strip or other.named_here)
                and (key[0] == cell.kind or {key[0], cell.kind} in _BESIDE_GLASS)
            ]
            best = max(near, default=(0.0, 0, _alike(cell)))
            groups[best[2] if best[0] > 0.0 else _alike(cell)].append(cell)
        found: list[tuple[Area, list[_Cell]]] = []
        left = facet.rest
        ordered = sorted(groups.values(), key=lambda members: sum(c.area.area for c in members))
        for members in ordered[:-1]:
            area = swept(left.intersection(united(cell.area for cell in members)))
            found.append((area, members))
            left = swept(left.difference(area))
        if ordered:
            found.append((left, ordered[-1]))
        return found

    def _space_panels(
        self,
        space: int,
        solid: Facets,
        cells: dict[int, list[_Cell]],
        beyond: dict[tuple[int, int | None], str],
    ) -> SpacePanels:
        id = self.ids[space]
        drafts: list[tuple[Panel, PanelOrigin, int]] = []
        for number, facet in enumerate(self.facets):
            if facet.space != space:
                continue
            for area, members in self._joined(facet, cells.get(number, [])):
                lead = max(members, key=lambda cell: cell.area.area)
                for outline, holes in rings(area, facet.frame, solid.corners):
                    panel = Panel(
                        id=lead.kind,
                        space=id,
                        kind=lead.kind,
                        outline=outline,
                        holes=holes,
                        assembly=lead.assembly,
                        unmodelled=lead.left_out,
                    )
                    shape = polygon_of(panel, facet.frame)
                    here = [cell for cell in members if cell.area.intersection(shape).area > 1e-6]
                    drafts.append((panel, self._origin(here or members), number))
            for index, cut in enumerate(facet.cuts):
                open_ = cut.kind == "open"
                assembly = None if open_ else self.stacks.filling(cut.void.filling)
                if assembly is not None:
                    self.uses[cut.kind][assembly] += int(1000 * cut.area.area)
                filling = cut.void.filling
                origin = PanelOrigin(
                    panel="",
                    names=() if filling is None else (filling.name,),
                    materials=() if filling is None else filling.materials,
                    elements=(cut.void.id if filling is None else filling.id,),
                    type="IfcOpeningElement" if filling is None else filling.type,
                    beyond=beyond.get((number, index)),
                    reason="an opening that nothing fills" if open_ else "fills an opening",
                )
                for outline, holes in rings(cut.area, facet.frame, solid.corners):
                    panel = Panel(
                        id=cut.kind,
                        space=id,
                        kind=cut.kind,
                        outline=outline,
                        holes=holes,
                        assembly=assembly,
                        unmodelled=self._is_left_out(origin.beyond),
                    )
                    drafts.append((panel, origin, number))
        about = 0.5 * (solid.corners.min(axis=0) + solid.corners.max(axis=0))
        names = numbered(
            [panel.id for panel, _, _ in drafts],
            [panel.outline.mean(axis=0) for panel, _, _ in drafts],
            about,
        )
        hosts: dict[int, tuple[float, str]] = {}
        for (panel, _, facet_number), name in zip(drafts, names, strict=True):
            if panel.kind in ("wall", "floor", "ceiling"):
                hosts[facet_number] = max(
                    hosts.get(facet_number, (0.0, "")), (panel.area_m2, f"{id}/{name}")
                )
        panels = []
        origins: dict[str, PanelOrigin] = {}
        for (panel, origin, facet_number), name in zip(drafts, names, strict=True):
            key = f"{id}/{name}"
            is_host = panel.kind in ("wall", "floor", "ceiling")
            tags = dict.fromkeys((*origin.names, *origin.materials))
            panels.append(
                replace(
                    panel,
                    id=key,
                    host=None if is_host else hosts.get(facet_number, (0.0, None))[1],
                    tags=tuple(tag for tag in tags if tag),
                )
            )
            origins[key] = replace(origin, panel=key)
        glazed = {body.id for body in self.shell.bodies if body.facade}
        panes = {key for key, origin in origins.items() if glazed & set(origin.elements[:1])}
        shared = (
            compass_aliases(id, panels),
            round_walls(id, panels),
            facades(id, panels, panes),
        )
        named = tuple(
            replace(panel, aliases=tuple(each[panel.id] for each in shared if panel.id in each))
            for panel in panels
        )
        return SpacePanels(panels=named, origins=origins)

    def _origin(self, members: Sequence[_Cell]) -> PanelOrigin:
        """Elements behind a panel, the one behind most of it first."""
        weight: dict[int, float] = defaultdict(float)
        for cell in members:
            for rank, item in enumerate(cell.passed):
                weight[item.element] += cell.area.area / (1 + rank)
        order = sorted(weight, key=lambda element: -weight[element])
        bodies = [self.shell.bodies[element] for element in order]
        leads = Counter[str]()
        for cell in members:
            if cell.strip:
                continue
            leads[cell.beyond] += 1 + int(1000 * cell.area.area)
        materials = [
            layer.material for body in bodies for layer in body.layers if layer.material
        ] + [name for body in bodies for name in body.materials]
        lead = max(members, key=lambda cell: cell.area.area)
        return PanelOrigin(
            panel="",
            names=tuple(dict.fromkeys(body.name for body in bodies if body.name)),
            materials=tuple(dict.fromkeys(materials)),
            elements=tuple(body.id for body in bodies),
            type=bodies[0].type if bodies else None,
            beyond=leads.most_common(1)[0][0] if leads else None,
            others=tuple(name for name, _ in leads.most_common()[1:]),
            reason="no element stands here" if lead.kind == "open" else "from the way it faces",
            unexplained=lead.kind == "open",
        )
