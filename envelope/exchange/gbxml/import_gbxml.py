"""gbXML: rooms, what they adjoin and their openings come ready made; only solids are put together.

A surface has no thickness and is drawn once: each space that it adjoins gets its own side of it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import shapely

from envelope.building.checks import check_spaces, welded
from envelope.building.job import Assembly, Layer
from envelope.building.model import Panel, PanelKind, Space, Storey
from envelope.exchange.gbxml.file import (
    GbxmlModel,
    MaterialLayer,
    Opening,
    Surface,
    fault,
    open_gbxml,
)
from envelope.exchange.ifc.assemblies import DOOR_LEAF_M, GLAZING
from envelope.exchange.ifc.facets import rings
from envelope.exchange.ifc.materials import MaterialMap
from envelope.exchange.naming import (
    compass_aliases,
    counted,
    kind_by_normal,
    numbered,
    slug,
    unique,
)
from envelope.exchange.records import Imported, ListedSpace, Listing, Note, PanelOrigin
from envelope.exchange.select import EVERYTHING, Wanted, chosen_ids, chosen_storey
from envelope.geometry.plane import Floats, area_vector, frame_of

FORMAT = "gbXML"
# What the schema's surfaceTypeEnum says of what lies behind a surface with one space.
EARTH = frozenset({"UndergroundWall", "UndergroundSlab", "UndergroundCeiling", "SlabOnGrade"})
CLEAR = frozenset({"ExposedFloor", "RaisedFloor"})
LEFT_OUT = frozenset({"Shade", "FreestandingColumn", "EmbeddedColumn"})
# openingTypeEnum → kind in a wall, kind in a ceiling.
OPENINGS: Mapping[str, tuple[PanelKind, PanelKind]] = {
    "FixedWindow": ("window", "skylight"),
    "OperableWindow": ("window", "skylight"),
    "FixedSkylight": ("window", "skylight"),
    "OperableSkylight": ("window", "skylight"),
    "SlidingDoor": ("door", "hatch"),
    "NonSlidingDoor": ("door", "hatch"),
    "Air": ("open", "open"),
}
IN_M = 1e-3  # from a face, at which it is asked on which side of it the space lies
FLAT_M = 2e-3


@dataclass(slots=True, kw_only=True)
class _Maker:
    """Makes panels of surfaces, and assemblies of constructions."""

    model: GbxmlModel
    ids: Mapping[str, str]  # of ours, by the file's
    chosen: frozenset[str]  # the file's ids of the spaces that are imported
    materials: MaterialMap
    assemblies: dict[str, Assembly] = field(default_factory=dict)
    named: dict[str, str | None] = field(default_factory=dict)  # assembly by construction
    glazing: int = 0
    bare: Counter[str] = field(default_factory=Counter)  # constructions without layers

    def assembly(self, construction: str | None, *, leaf: bool = False) -> str | None:
        """Id of a construction's assembly; None where the file has no layers of it."""
        if construction is None:
            return None
        if construction not in self.named:
            name, layers = self.model.constructions.get(construction, (construction, ()))
            self.named[construction] = self._made(name, layers, leaf=leaf)
            if self.named[construction] is None:
                self.bare[name] += 1
        return self.named[construction]

    def _made(self, name: str, layers: Sequence[MaterialLayer], *, leaf: bool) -> str | None:
        made = [
            self.materials.layer(layer.name, round(layer.thickness_m, 4), leaf=leaf)
            for layer in reversed(layers)  # the file lists them from outside to inside
            if layer.thickness_m
        ]
        if not made:
            return None
        stem = slug(name)[:60]
        id, number = stem, 1
        while id in self.assemblies:
            number += 1
            id = f"{stem}-{number}"
        self.assemblies[id] = Assembly(
            id=id, layers=tuple(made), note="from the gbXML file's construction"
        )
        return id

    def filling(self, opening: Opening, kind: PanelKind) -> str | None:
        """Id of an opening's assembly: panes are unknown, a door is a leaf of wood unless said."""
        if kind == "open":
            return None
        if kind in ("window", "skylight") or opening.type == "SlidingDoor":
            self.glazing += 1
            return GLAZING
        made = self.assembly(opening.construction, leaf=True)
        if made is None:
            made = "door-assumed"
            self.assemblies.setdefault(
                made,
                Assembly(
                    id=made,
                    layers=(Layer(material="wood", thickness_m=DOOR_LEAF_M),),
                    note="assumed (common practice, no source): say what it is",
                ),
            )
        return made

    def space(self, key: str) -> tuple[list[Panel], dict[str, PanelOrigin], bool]:
        """Panels of a space, where each comes from, and whether its floor stands clear."""
        id = self.ids[key]
        own = [item for item in self.model.surfaces if key in item.spaces]
        own = [item for item in own if item.type not in LEFT_OUT]
        shell = _triangles([item.ring for item in own])
        drafts: list[tuple[Panel, str | None, Surface, Opening | None]] = []
        for item in own:
            ring = _inward(item.ring, shell)
            frame = frame_of(ring)
            normal = frame.normal
            kind = kind_by_normal(normal)
            fitted = [(opening, _like(opening.ring, ring)) for opening in item.openings]
            holes = [(opening, hole) for opening, hole in fitted if hole is not None]
            rest = shapely.Polygon(frame.flatten(ring))
            for _, hole in holes:
                rest = shapely.difference(rest, shapely.Polygon(frame.flatten(hole)))
            others = [name for name in item.spaces if name != key]
            left_out = any(name not in self.chosen for name in others)
            first = item.spaces[0] == key or item.spaces[0] not in self.chosen
            upper = normal[2] > 0.5 if others and abs(normal[2]) > 0.5 else first
            names_it = upper or left_out or not others
            assembly = self.assembly(item.construction) if names_it else None
            earth = item.type in EARTH and not others
            corners = np.concatenate([ring, *(hole for _, hole in holes)])
            for outline, rest_holes in rings(rest, frame, corners):
                panel = Panel(
                    id=kind,
                    space=id,
                    kind="open" if item.type == "Air" else kind,
                    outline=outline,
                    holes=rest_holes,
                    assembly=None if item.type == "Air" else assembly,
                    earth=earth,
                    unmodelled=left_out,
                    tags=tuple(dict.fromkeys((item.name, item.type))),
                )
                drafts.append((panel, None, item, None))
            for opening, hole in holes:
                wall, level = OPENINGS.get(opening.type, ("window", "skylight"))
                sort = wall if kind == "wall" else level
                panel = Panel(
                    id=sort,
                    space=id,
                    kind=sort,
                    outline=hole,
                    assembly=self.filling(opening, sort) if names_it else None,
                    earth=earth,
                    unmodelled=left_out,
                    tags=tuple(dict.fromkeys((opening.name, opening.type))),
                )
                drafts.append((panel, item.id, item, opening))
        clear = any(item.type in CLEAR and panel.kind == "floor" for panel, _, item, _ in drafts)
        return *self._named(id, drafts), clear

    def _named(
        self, id: str, drafts: Sequence[tuple[Panel, str | None, Surface, Opening | None]]
    ) -> tuple[list[Panel], dict[str, PanelOrigin]]:
        corners = np.concatenate([panel.outline for panel, *_ in drafts])
        about = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
        names = numbered(
            [panel.id for panel, *_ in drafts],
            [panel.outline.mean(axis=0) for panel, *_ in drafts],
            about,
        )
        hosts = {
            item.id: f"{id}/{name}"
            for (_, host, item, _), name in zip(drafts, names, strict=True)
            if host is None
        }
        panels, origins = [], {}
        for (panel, host, item, opening), name in zip(drafts, names, strict=True):
            key = f"{id}/{name}"
            panels.append(replace(panel, id=key, host=None if host is None else hosts[host]))
            others = [self.ids[other] for other in item.spaces if self.ids.get(other) != id
                      and other in self.ids]  # fmt: skip
            origins[key] = PanelOrigin(
                panel=key,
                names=(item.name if opening is None else opening.name,),
                elements=(item.id if opening is None else opening.id,),
                type=item.type if opening is None else opening.type,
                beyond=f"space {others[0]}" if others else "outdoors or ground",
                reason="its type in the file",
            )
        aliases = compass_aliases(id, panels)
        return [
            replace(panel, aliases=(aliases[panel.id],)) if panel.id in aliases else panel
            for panel in panels
        ], origins


def _triangles(rings: Sequence[Floats]) -> Floats:
    found = []
    for ring in rings:
        frame = frame_of(ring)
        for flat in shapely.get_parts(
            shapely.constrained_delaunay_triangles(shapely.Polygon(frame.flatten(ring)))
        ):
            found.append(frame.lift(np.array(flat.exterior.coords)[:3, :2]))
    return np.array(found).reshape(-1, 3, 3)


def _inward(ring: Floats, shell: Floats) -> Floats:
    """A ring wound so that its normal points into the space that the shell encloses."""
    frame = frame_of(ring)
    spot = shapely.Polygon(frame.flatten(ring)).representative_point()
    point = frame.lift(np.array([[spot.x, spot.y]]))[0] + IN_M * frame.normal
    way = np.array([0.5773, 0.5432, 0.6096])  # askew to anything that is drawn
    a = shell[:, 0]
    e1, e2 = shell[:, 1] - a, shell[:, 2] - a
    p = np.cross(way, e2)
    det = np.einsum("ij,ij->i", e1, p)
    safe = np.where(np.abs(det) > 1e-12, det, np.inf)
    u = np.einsum("ij,ij->i", point - a, p) / safe
    q = np.cross(point - a, e1)
    v, t = (q @ way) / safe, np.einsum("ij,ij->i", e2, q) / safe
    hits = np.count_nonzero((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0))
    return ring if hits % 2 else np.asarray(ring[::-1])


def _like(hole: Floats, ring: Floats) -> Floats | None:
    """An opening's ring wound as its surface's is and put into its plane; None where it is off."""
    frame = frame_of(ring)
    off = (hole - frame.origin) @ frame.normal
    if np.abs(off).max() > 0.05:
        return None
    flat = hole - off[:, np.newaxis] * frame.normal
    if (
        not shapely.Polygon(frame.flatten(ring))
        .buffer(FLAT_M)
        .covers(shapely.Polygon(frame.flatten(flat)))
    ):
        return None
    return np.asarray(flat if float(area_vector(flat) @ frame.normal) > 0.0 else flat[::-1])


def _ids(model: GbxmlModel) -> dict[str, str]:
    made = unique(slug(space.name, keep_case=True) for space in model.spaces)
    return dict(zip([space.id for space in model.spaces], made, strict=True))


def _storeys(model: GbxmlModel, floors: Mapping[str, float]) -> tuple[list[Storey], dict[str, str]]:
    """Storeys by height, and the storey of each space; by its floor where the file names none."""
    names = unique(slug(level.name, keep_case=True) for level in model.levels)
    levels = {level.id: (name, level) for name, level in zip(names, model.levels, strict=True)}
    storeys: dict[str, Storey] = {}
    of: dict[str, str] = {}
    for space in model.spaces:
        if space.id not in floors:
            continue
        if space.storey in levels:
            name, level = levels[space.storey]
            storeys[name] = Storey(id=name, floor_m=level.height_m)
        else:
            name = f"storey-at-{floors[space.id]:.1f}-m"
            storeys.setdefault(name, Storey(id=name, floor_m=floors[space.id]))
        of[space.id] = name
    return sorted(storeys.values(), key=lambda storey: storey.floor_m), of


def _read(
    path: Path, chosen: frozenset[str] | None, materials: Mapping[str, str]
) -> tuple[GbxmlModel, _Maker, dict[str, Space], dict[str, PanelOrigin], dict[str, str]]:
    """Spaces by the file's id; why others have none."""
    model = open_gbxml(path)
    ids = _ids(model)
    maker = _Maker(
        model=model,
        ids=ids,
        chosen=frozenset(ids) if chosen is None else chosen,
        materials=MaterialMap(corrections=dict(materials)),
    )
    spaces: dict[str, Space] = {}
    origins: dict[str, PanelOrigin] = {}
    why: dict[str, str] = {}
    for key, id in ids.items():
        if key not in maker.chosen:
            continue
        if sum(key in item.spaces for item in model.surfaces) < 4:
            why[key] = "fewer than four surfaces adjoin it"
            continue
        try:
            panels, found, clear = maker.space(key)
        except shapely.errors.GEOSException:
            why[key] = "one of its surfaces is no sound polygon"
            continue
        floors = [float(p.outline[:, 2].min()) for p in panels if p.normal[2] > 0.5]
        lowest = min(floors or [float(min(p.outline[:, 2].min() for p in panels))])
        space = Space(
            id=id,
            storey="",
            panels=tuple(panels),
            floor_m=lowest,
            origin=np.concatenate([p.outline for p in panels]).min(axis=0)[:2],
            raised=clear,
        )
        faults = check_spaces([welded(space)])
        if faults:
            why[key] = faults[0].message
            continue
        spaces[key] = space
        origins |= found
    return model, maker, spaces, origins, why


def import_gbxml(path: Path, asked: Wanted = EVERYTHING) -> Imported:
    """Import what is asked for of a gbXML file."""
    model = open_gbxml(path)
    ids = _ids(model)
    wanted = frozenset(ids)
    if asked.spaces is not None:
        table = {ids[item.id]: (item.name, item.id) for item in model.spaces}
        named = chosen_ids(wanted=asked.spaces, known=table, source=str(path))
        wanted = frozenset(key for key, id in ids.items() if id in named)
    if asked.storey is not None:
        _, of = _storeys(model, dict.fromkeys(ids, 0.0))
        known = sorted(set(of.values()))
        storey = chosen_storey(wanted=asked.storey, known=known, source=str(path))
        wanted = frozenset(key for key in wanted if of[key] == storey)
    model, maker, made, origins, why = _read(path, wanted, asked.materials)
    if not made:
        reasons = "; ".join(f"{ids[key]}: {reason}" for key, reason in list(why.items())[:5])
        raise fault(path, f"none of its spaces can be imported: {reasons or 'none were asked for'}")
    storeys, of = _storeys(model, {key: space.floor_m for key, space in made.items()})
    notes = [
        Note(kind="refused", subject=ids[key], message=f"{reason}: draw it closed all round")
        for key, reason in why.items()
    ]
    notes += _notes(maker)
    uses: dict[str, Counter[str]] = defaultdict(Counter)
    for space in made.values():
        for panel in space.panels:
            if panel.assembly is not None:
                uses[_element_kind(panel, origins)][panel.assembly] += int(1000 * panel.area_m2)
    return Imported(
        source=model.source,
        format=FORMAT,
        storeys=tuple(storeys),
        spaces=tuple(replace(space, storey=of[key]) for key, space in made.items()),
        origins=origins,
        notes=tuple(notes),
        assemblies=dict(maker.assemblies),
        construction={kind: count.most_common(1)[0][0] for kind, count in uses.items()},
        materials=maker.materials.uses(),
        size_m=np.ptp(np.concatenate([item.ring for item in model.surfaces]), axis=0),
        north_rad=float(np.radians(model.azimuth_deg)) % (2.0 * np.pi),
    )


def _element_kind(panel: Panel, origins: Mapping[str, PanelOrigin]) -> str:
    inside = (origins[panel.id].beyond or "").startswith("space ")
    if panel.kind == "wall":
        return "interior-wall" if inside else "exterior-wall"
    if panel.kind == "floor":
        return "slab" if panel.earth else "floor"
    if panel.kind == "ceiling":
        return "floor" if inside else "roof"
    return panel.kind


def _notes(maker: _Maker) -> list[Note]:
    """What was assumed, skipped or left out."""
    notes = [Note(kind="refused", subject="", message=text) for text in maker.model.skipped]
    left = Counter(item.type for item in maker.model.surfaces if item.type in LEFT_OUT)
    loose = sum(not item.spaces and item.type not in LEFT_OUT for item in maker.model.surfaces)
    listed = [f"{count} × {type_}" for type_, count in left.items()]
    listed += [counted(loose, "surface") + " that adjoin no space"] if loose else []
    if listed:
        notes.append(Note(kind="left-out", subject="", message=", ".join(listed)))
    if maker.glazing:
        message = (
            f"{counted(maker.glazing, 'window')} whose panes may be coated: taken as double "
            "glazing without a coat, the range has both; say which"
        )
        notes.append(Note(kind="guessed", subject=GLAZING, message=message))
    if "door-assumed" in maker.assemblies:
        message = "the file has no layers of these doors; assumed"
        notes.append(Note(kind="guessed", subject="door-assumed", message=message))
    for name, count in maker.bare.items():
        message = f"a construction without layers; the job's own stands for it, {count} times"
        notes.append(Note(kind="guessed", subject=name, message=message))
    for use in maker.materials.uses():
        if use.known is None:
            message = "is no material that is known; its layers count as air"
            notes.append(Note(kind="unmapped", subject=use.name, message=message))
        elif use.doubt:
            notes.append(Note(kind="guessed", subject=use.name, message=f"{use.doubt}; say which"))
    notes.append(
        Note(
            kind="remark",
            subject="",
            message="walls have no thickness in such a file and are drawn along their middle or "
            "face: rooms can be larger than they are; layers are read from outside to inside",
        )
    )
    return notes


def list_gbxml(path: Path) -> Listing:
    """Storeys and spaces of a gbXML file."""
    model, maker, made, _, why = _read(path, None, {})
    storeys, of = _storeys(model, {key: space.floor_m for key, space in made.items()})
    listed = []
    for item in model.spaces:
        space = made.get(item.id)
        floor = 0.0
        if space is not None:
            floor = sum(p.area_m2 for p in space.panels if p.normal[2] > 0.5)
        listed.append(
            ListedSpace(
                id=maker.ids[item.id],
                name=item.name,
                storey=of.get(item.id, ""),
                area_m2=floor,
                volume_m3=0.0 if space is None else space.volume_m3,
                trouble=why.get(item.id, ""),
            )
        )
    return Listing(
        source=model.source,
        format=FORMAT,
        storeys=tuple(storeys),
        spaces=tuple(listed),
        notes=tuple(_notes(maker)),
    )
