"""What lies behind each face of a room: another room, the outdoors, earth, by area.

A room typed a few inches off its neighbour has an outer wall where a shared one stands, and its
level changes many times over: this is for people to look over before they believe a number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from envelope.building.adjacency import FACING_M
from envelope.building.model import Building, Panel
from envelope.building.sides import side_of

_HOSTS = ("wall", "floor", "ceiling")
MAX_GAP_M = 1.5  # between two rooms that were perhaps meant to share a wall
VOID = "void in the construction"
UNDER = "a crawl space or open air"  # below the floor of a raised room
LEFT_OUT = "a part of the house that is not modelled"
_INSIDE = ("interior-wall", "floor")
_SLIVER = 1e-3  # of a face's area, below which a part goes unsaid


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of a face with one and the same thing behind it."""

    behind: str  # "outdoors", "earth", `VOID`, `UNDER`, `LEFT_OUT`, or a space's id
    is_space: bool
    area_m2: float
    assembly: str | None  # None where nothing stands there


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A wall, floor or ceiling of a room, with its openings, and what lies behind it."""

    panel: str
    name: str  # as people say it: "west wall", "north wall (3)", "floor"
    area_m2: float  # openings included
    parts: tuple[Part, ...]  # the largest first


def face_name(panel: Panel, building: Building) -> str:
    """A wall by its side, with its number only where the side has several; else what it is."""
    own = panel.id.removeprefix(f"{panel.space}/")
    side = side_of(panel) if panel.kind == "wall" else None
    if side is None:
        return own.replace("-", " ") if panel.kind in _HOSTS else f"{panel.kind} {own}"
    same = [
        other
        for other in building.space(panel.space).panels
        if other.kind == "wall" and side_of(other) == side
    ]
    return f"{side} wall" if len(same) == 1 else f"{side} wall ({own})"


def faces_of(building: Building, space: str) -> tuple[Face, ...]:
    """What lies behind each wall, floor and ceiling of a room, openings counted with their host.

    Parameters
    ----------
    building : Building
    space : str
        Id of the room.
    """
    faces = []
    panels = building.space(space).panels
    for panel in panels:
        if panel.kind not in _HOSTS:
            continue
        own = [panel, *(other for other in panels if other.host == panel.id)]
        own = [other for other in own if other.kind != "reveal"]
        leads_in = any(patch.far for each in own for patch in building.patches_of[each.id])
        areas: dict[tuple[str, bool, str | None], float] = {}
        for each in own:
            for patch in building.patches_of[each.id]:
                far = None if patch.far is None else building.panel(patch.far).space
                element = building.elements[patch.element]
                assembly = element.assembly if each is panel else None
                what = far or (LEFT_OUT if patch.behind == "unmodelled" else patch.behind)
                if what == "outdoors" and panel.kind == "floor" and not leads_in:
                    what = UNDER
                elif what == "outdoors" and element.kind in _INSIDE:
                    what = VOID  # a strip beside what the wall leads to, no wider than a wall
                key = (what, far is not None, assembly)
                areas[key] = areas.get(key, 0.0) + patch.area_m2
        faces.append(
            Face(
                panel=panel.id,
                name=face_name(panel, building),
                area_m2=sum(areas.values()),
                parts=tuple(_parts(areas)),
            )
        )
    return tuple(faces)


def _parts(areas: dict[tuple[str, bool, str | None], float]) -> Iterator[Part]:
    """Parts by what lies behind; openings are of no assembly and count where their wall does."""
    whole = sum(areas.values())
    behind: dict[tuple[str, bool], float] = {}
    made_of: dict[tuple[str, bool], str | None] = {}
    for (name, is_space, assembly), area in areas.items():
        behind[name, is_space] = behind.get((name, is_space), 0.0) + area
        made_of[name, is_space] = made_of.get((name, is_space)) or assembly
    for (name, is_space), area in sorted(behind.items(), key=lambda item: (-item[1], item[0])):
        if area > _SLIVER * whole:
            yield Part(
                behind=name, is_space=is_space, area_m2=area, assembly=made_of[name, is_space]
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class NearMiss:
    """A face that counts as outdoors, although a room's face stands across a gap too wide."""

    face: str  # panel id
    name: str
    space: str  # the room across
    gap_m: float


def near_misses(building: Building, space: str) -> tuple[NearMiss, ...]:
    """Faces of a room that look outdoors at another room's face, farther off than a wall is thick.

    Parameters
    ----------
    building : Building
    space : str
        Id of the room.
    """
    found = []
    for panel in building.space(space).panels:
        patches = building.patches_of[panel.id]
        if panel.kind not in _HOSTS or not any(
            patch.behind == "outdoors" and building.elements[patch.element].kind not in _INSIDE
            for patch in patches
        ):
            continue
        best: NearMiss | None = None
        for other in building.panels:
            gap_m = _gap(panel, other)
            if gap_m is not None and (best is None or gap_m < best.gap_m):
                best = NearMiss(
                    face=panel.id,
                    name=face_name(panel, building),
                    space=other.space,
                    gap_m=gap_m,
                )
        if best is not None:
            found.append(best)
    return tuple(found)


def _gap(panel: Panel, other: Panel) -> float | None:
    """Distance from a face to one that looks back at it over part of it; None where none does."""
    if other.space == panel.space or other.kind not in _HOSTS:
        return None
    if float(panel.normal @ other.normal) > -0.999:
        return None
    gap_m = float((panel.outline[0] - other.outline[0]) @ panel.normal)
    if not FACING_M < gap_m <= MAX_GAP_M:
        return None
    flat = panel.frame.flatten(panel.outline)
    across = panel.frame.flatten(other.outline)
    overlap = [
        min(flat[:, k].max(), across[:, k].max()) - max(flat[:, k].min(), across[:, k].min())
        for k in range(2)
    ]
    return gap_m if min(overlap) > 0.3 else None
