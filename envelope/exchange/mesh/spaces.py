"""Panels of one closed volume: their kinds, names, hosts, and what the model called them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, get_args

import numpy as np
import shapely

from envelope import text as figures
from envelope.building.adjacency import find_facings
from envelope.building.model import OPENING_KINDS, Panel, PanelKind, Space, Storey
from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh.coplanar import Polygon, merged
from envelope.exchange.mesh.soup import Label, Soup
from envelope.exchange.mesh.volumes import Volume
from envelope.exchange.naming import (
    compass,
    compass_aliases,
    kind_by_name,
    kind_by_normal,
    numbered,
    slug,
)
from envelope.exchange.panel_groups import round_walls
from envelope.exchange.records import OURS, Note, PanelOrigin
from envelope.geometry.plane import Floats, area_vector
from envelope.geometry.polygons import Area, polygon_of

MOST_PANELS = 20_000
SAME_STOREY_M = 1.2
COPLANAR_M = 1e-3
LEAST_M2 = 1e-6  # what is smaller has no direction that can be told


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MadeSpace:
    """A space, what is known of its panels, and the storey that the file names for it."""

    space: Space
    origins: Mapping[str, PanelOrigin]
    notes: tuple[Note, ...]
    storey: Storey | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Draft:
    polygon: Polygon
    label: Label
    kind: PanelKind
    stem: str
    reason: str


def _ours(label: Label) -> Mapping[str, Any]:
    """What an earlier export of ours wrote beside a face, or nothing."""
    found = label.extras.get(OURS)
    return found if isinstance(found, Mapping) and isinstance(found.get("panel"), str) else {}


def _normal(polygon: Polygon) -> Floats:
    vector = area_vector(polygon.outline)
    return np.asarray(vector / np.linalg.norm(vector))


def _open_stem(normal: Floats) -> str:
    upright = {"floor": "bottom", "ceiling": "top"}.get(kind_by_normal(normal))
    return f"open-{upright or compass(normal)}"


def _dropped(polygon: Polygon) -> Area:
    """A polygon seen from above."""
    return shapely.Polygon(polygon.outline[:, :2], [hole[:, :2] for hole in polygon.holes])


def _plan(polygons: Sequence[Polygon]) -> Area:
    """The floor seen from above: the largest polygon that faces up, and all beside it of size."""
    floors = [item for item in polygons if kind_by_normal(_normal(item)) == "floor"]
    shapes = [_dropped(item) for item in floors]
    largest = max((shape.area for shape in shapes), default=0.0)
    wide = min(1.0, 0.5 * largest)
    return shapely.union_all([shape for shape in shapes if shape.area >= wide and shape.is_valid])


def _beside(polygon: Polygon, plan: Area) -> bool:
    """Whether a level polygon lies outside the plan of the floor."""
    shape = _dropped(polygon)
    if plan.is_empty or not shape.is_valid:
        return False
    return bool(shape.difference(plan.buffer(1e-3)).area > 0.5 * shape.area)


def _drafts(polygons: Sequence[Polygon], labels: Sequence[Label], space_name: str) -> list[_Draft]:
    """Kind and stem of each polygon."""
    kinds_of: dict[int, set[PanelKind]] = defaultdict(set)
    for polygon in polygons:
        kinds_of[polygon.label].add(kind_by_normal(_normal(polygon)))
    objects = {labels[polygon.label].object for polygon in polygons}
    materials = {labels[polygon.label].material for polygon in polygons}
    plan = _plan(polygons)
    found = []
    for polygon in polygons:
        label = labels[polygon.label]
        normal = _normal(polygon)
        ours = _ours(label)
        if ours.get("kind") in get_args(PanelKind):
            stem = str(ours["panel"]).partition("/")[2] or str(ours["panel"])
            found.append(
                _Draft(
                    polygon=polygon,
                    label=label,
                    kind=ours["kind"],
                    stem=stem,
                    reason="its own extras say so",
                )
            )
            continue
        if label.extras.get("open"):
            found.append(
                _Draft(
                    polygon=polygon,
                    label=label,
                    kind="open",
                    stem=_open_stem(normal),
                    reason="a hole in the mesh: no face stands here",
                )
            )
            continue
        own = [label.group, label.material]
        if len(objects) > 1 or label.object != space_name:
            own.insert(1, label.object)
        by_name = kind_by_name(name for name in own if name)
        kind, reason = kind_by_normal(normal), "from the way it faces"
        if kind != "wall" and _beside(polygon, plan):
            # The sill or head of a niche is part of its wall.
            kind, reason = "wall", "lies outside the plan of the floor: part of a niche"
        if by_name is not None:
            kind, reason = by_name[0], f"from the name {by_name[1]!r}"
        names = [label.group]
        if len(objects) > 1:
            names.append(label.object)
        if len(materials) > 1:
            names.append(label.material)
        stem = next((slug(name, otherwise="") for name in names if name and name != space_name), "")
        if label.object and label.group.startswith(f"{label.object}/"):
            stem = label.group[len(label.object) + 1 :].strip("/")
        if not stem or len(kinds_of[polygon.label]) > 1:
            stem = kind
        found.append(_Draft(polygon=polygon, label=label, kind=kind, stem=stem, reason=reason))
    return found


def _host(panel: Panel, others: Sequence[Panel]) -> str | None:
    """The wall, floor or ceiling in whose plane an opening lies and which it touches."""
    best: tuple[float, str] | None = None
    shape = None
    for other in others:
        if other.kind not in ("wall", "floor", "ceiling"):
            continue
        if float(panel.normal @ other.normal) < 0.9998:
            continue
        if np.abs((panel.outline - other.frame.origin) @ other.normal).max() > COPLANAR_M:
            continue
        shape = polygon_of(panel, other.frame)
        shared = float(
            shapely.length(shape.boundary.intersection(polygon_of(other).boundary.buffer(1e-4)))
        )
        if shared > 1e-3 and (best is None or shared > best[0]):
            best = (shared, other.id)
    return None if best is None else best[1]


def make_space(
    soup: Soup,
    volume: Volume,
    *,
    id: str,
    source: str,
    left_out: Sequence[Note],
    feet: bool = False,
) -> MadeSpace:
    """One closed volume as a space.

    Parameters
    ----------
    soup, volume
        From `find_volumes`.
    id : str
        Of the space.
    source : str
        Name of the file, for errors.
    left_out : sequence of Note
        What else is in the file: named where it stands in a hole.
    feet : bool, optional
        Areas are told in square feet.
    """
    # Labels that say the same count as one, so that two meshes of one wall join.
    table: dict[Label, int] = {}
    same = np.array(
        [
            index if label.extras else table.setdefault(label, index)
            for index, label in enumerate(soup.labels)
        ]
    )
    polygons = [
        polygon
        for polygon in merged(soup, volume, same[soup.label[volume.faces]])
        if np.linalg.norm(area_vector(polygon.outline))
        > LEAST_M2  # of mended corners, shuts nothing
    ]
    if len(polygons) > MOST_PANELS:
        message = (
            f"space {id} has {len(polygons)} flat panels; at most {MOST_PANELS} can be worked "
            "with: simplify the mesh of its walls"
        )
        raise ModelFileError([Fault(message=message, location=Location(path=source))])
    objects = Counter(soup.labels[polygon.label].object for polygon in polygons)
    drafts = _drafts(polygons, soup.labels, objects.most_common(1)[0][0])
    about = 0.5 * (volume.low + volume.high)
    centres = [draft.polygon.outline.mean(axis=0) for draft in drafts]
    names = numbered([draft.stem for draft in drafts], centres, about)
    panels: list[Panel] = []
    for draft, name in zip(drafts, names, strict=True):
        ours = _ours(draft.label)
        tags = dict.fromkeys((draft.label.object, draft.label.group, draft.label.material))
        panels.append(
            Panel(
                id=f"{id}/{name}",
                space=id,
                kind=draft.kind,
                outline=draft.polygon.outline,
                holes=draft.polygon.holes,
                tags=tuple(str(tag) for tag in ours.get("tags", tags) if tag),
                **_restored(ours),
            )
        )
    known = {panel.id for panel in panels}
    aliases = compass_aliases(id, panels)
    strips = round_walls(id, panels)
    placed: list[Panel] = []
    for panel, draft in zip(panels, drafts, strict=True):
        host = panel.host
        if host is None and panel.kind in OPENING_KINDS:
            host = _host(panel, panels)
        shared = tuple(each[panel.id] for each in (aliases, strips) if panel.id in each)
        extra = panel.aliases or shared
        if _ours(draft.label):
            extra = panel.aliases
        placed.append(
            replace(
                panel,
                host=host if host in known else None,
                opening=panel.opening if panel.opening in known else None,
                aliases=extra,
            )
        )
    origins = {
        panel.id: PanelOrigin(
            panel=panel.id,
            names=tuple(
                name
                for name in dict.fromkeys((draft.label.object, draft.label.group))
                if name and not draft.label.extras.get("open")
            ),
            materials=(draft.label.material,) if draft.label.material else (),
            reason=draft.reason,
        )
        for panel, draft in zip(placed, drafts, strict=True)
    }
    first = next((ours for draft in drafts if (ours := _ours(draft.label))), {})
    floors = [panel for panel in placed if panel.kind == "floor"]
    lowest = min((float(panel.outline[:, 2].min()) for panel in floors), default=volume.low[2])
    floor_m = first.get("floor_m")
    origin = first.get("origin_m")
    space = Space(
        id=id,
        storey="",
        panels=tuple(placed),
        floor_m=float(floor_m) if isinstance(floor_m, int | float) else float(lowest),
        origin=np.array(origin if _is_pair(origin) else (0.0, 0.0), dtype=np.float64),
        raised=first.get("raised") is True,
    )
    storey = first.get("storey")
    named = (
        Storey(id=str(storey["id"]), floor_m=float(storey["floor_m"]))
        if isinstance(storey, Mapping)
        and isinstance(storey.get("id"), str)
        and isinstance(storey.get("floor_m"), int | float)
        else None
    )
    return MadeSpace(
        space=space,
        origins=origins,
        notes=tuple(_gap_notes(placed, left_out, feet)),
        storey=named,
    )


def beside_left_out(
    spaces: Sequence[Space], left: Sequence[Space]
) -> tuple[list[Space], dict[str, str]]:
    """The spaces, with the panels marked that face one of those left out, and which one."""
    if not left:
        return list(spaces), {}
    panels = [panel for space in (*spaces, *left) for panel in space.panels]
    gone = {space.id for space in left}
    facing = {
        panel.id: panels[each.far].space
        for panel, found in zip(panels, find_facings(panels), strict=True)
        for each in found
        if panels[each.far].space in gone
    }
    marked = [
        replace(
            space,
            panels=tuple(
                replace(panel, unmodelled=panel.unmodelled or panel.id in facing)
                for panel in space.panels
            ),
        )
        for space in spaces
    ]
    return marked, facing


def _is_pair(value: Any) -> bool:
    return (
        isinstance(value, Sequence)
        and len(value) == 2
        and all(isinstance(item, int | float) for item in value)
    )


def _restored(ours: Mapping[str, Any]) -> dict[str, Any]:
    """Fields of a panel that an export of ours kept."""
    found: dict[str, Any] = {}
    for key in ("host", "opening", "assembly"):
        if isinstance(ours.get(key), str):
            found[key] = ours[key]
    for key in ("earth", "stands_open", "unmodelled"):
        if isinstance(ours.get(key), bool):
            found[key] = ours[key]
    if isinstance(ours.get("aliases"), list):
        found["aliases"] = tuple(str(alias) for alias in ours["aliases"])
    return found


def _gap_notes(panels: Sequence[Panel], left_out: Sequence[Note], feet: bool) -> list[Note]:
    """One note for each hole, naming what the model lets stand in it."""
    notes = []
    for panel in panels:
        if panel.kind != "open":
            continue
        low, high = panel.outline.min(axis=0) - 0.3, panel.outline.max(axis=0) + 0.3
        inside = [
            note.subject
            for note in left_out
            if note.kind == "left-out"
            and note.position_m is not None
            and np.all(np.array(note.position_m) >= low)
            and np.all(np.array(note.position_m) <= high)
        ]
        beside = f"; beside it stands {', '.join(inside[:3])}" if inside else ""
        centre = panel.outline.mean(axis=0)
        area = figures.area(panel.area_m2, feet=True) if feet else f"{panel.area_m2:.3g} m²"
        notes.append(
            Note(
                kind="gap",
                subject=panel.id,
                message=f"a hole of {area} with no face in it, kept open{beside}",
                position_m=(float(centre[0]), float(centre[1]), float(centre[2])),
            )
        )
    return notes


def storeys_of(made: Sequence[MadeSpace]) -> tuple[list[Storey], list[Space]]:
    """Storeys as the file names them, else one for each level on which spaces stand."""
    named = {item.storey.id: item.storey for item in made if item.storey is not None}
    levels: list[list[MadeSpace]] = []
    for item in sorted(made, key=lambda item: item.space.floor_m):
        if item.storey is not None:
            continue
        if levels and item.space.floor_m - levels[-1][0].space.floor_m < SAME_STOREY_M:
            levels[-1].append(item)
        else:
            levels.append([item])
    storeys = list(named.values())
    own: dict[str, str] = {
        item.space.id: item.storey.id for item in made if item.storey is not None
    }
    for level in levels:
        number = len(storeys) + 1
        while f"storey-{number}" in named:
            number += 1
        storey = Storey(id=f"storey-{number}", floor_m=level[0].space.floor_m)
        storeys.append(storey)
        own.update({item.space.id: storey.id for item in level})
    storeys.sort(key=lambda storey: storey.floor_m)
    return storeys, [replace(item.space, storey=own[item.space.id]) for item in made]
