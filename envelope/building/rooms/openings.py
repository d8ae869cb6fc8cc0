"""Openings cut in panels: the leaf that fills the hole, reveals, undercuts and rings.

wall, from above            │▒▒▒▒▒▒▒│
                 jamb ──────┘       └────── jamb of the far side
space that declares it      ═════════  leaf, once for each side
                 jamb ──────┐       ┌──────
                            │▒▒▒▒▒▒▒│
"""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import Point, Polygon
from shapely.geometry.polygon import orient

from envelope.building.adjacency import find_facings
from envelope.building.model import Panel, Space
from envelope.building.rooms.opening_panels import THINNEST_M, Cut, filling, niche_m3
from envelope.building.rooms.opening_placement import (
    Refusals,
    RefusedError,
    check_numbers,
    flat_hole,
    wall_hole,
)
from envelope.building.rooms.shells import slope_under
from envelope.building.rooms.specs import OpeningSpec
from envelope.building.selectors import GROUPS, nearest_names, plain_name
from envelope.building.sides import several_walls
from envelope.errors import Fault, length_text
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import SLIVER_M2, WELD_M, Area, pieces, polygon_of, ring_of

# Set into the surface that they are mounted on: they never come through to the other side.
ONE_SIDED = ("box", "light")
# Names that already mean other panels of a space.
RESERVED = frozenset((*GROUPS, "north", "east", "south", "west"))
LISTED = 8  # panels named in one message
PAST_EDGE_M = 1e-2  # how far a cut is drawn past an edge that it touches


def _drawn_past_edges(hole: Floats, whole: Area) -> Area:
    """The hole to cut: sides that lie on the panel's edge are moved out past it.

    Cutting exactly along an edge would leave hairs of the panel's material wherever rounding
    puts the two a hair apart.
    """
    edge = whole.exterior
    sides = np.roll(hole, -1, axis=0) - hole
    outward = np.column_stack((sides[:, 1], -sides[:, 0]))
    outward /= np.hypot(*outward.T)[:, np.newaxis]
    moved = hole.copy()
    for index in range(len(hole)):
        following = (index + 1) % len(hole)
        spots = np.linspace(hole[index], hole[following], 5)
        if all(edge.distance(Point(spot)) < WELD_M for spot in spots):
            moved[index] += PAST_EDGE_M * outward[index]
            moved[following] += PAST_EDGE_M * outward[index]
    return Polygon(moved)


def _remains(cut: Cut, left: Area, refusals: Refusals) -> Area:
    """What one more opening leaves of its host; a hole at the edge becomes a notch."""
    host = cut.host
    hole = _drawn_past_edges(host.frame.flatten(cut.hole), polygon_of(host))
    parts = pieces(left.difference(hole))
    if len(parts) != 1:
        trouble = (
            f"covers the whole of {host.id}"
            if not parts
            else f"splits {host.id} into {len(parts)} pieces"
        )
        raise refusals.refuse(
            cut.spec, "size", f"{trouble}: leave at least 1 mm beside, above or below it"
        )
    return parts[0]


def _with_holes(host: Panel, left: Area) -> Panel:
    """The host as its openings leave it."""
    turned = orient(left, 1.0)
    return replace(
        host,
        outline=host.frame.lift(ring_of(turned.exterior)),
        holes=tuple(host.frame.lift(ring_of(hole)) for hole in turned.interiors),
    )


def _has(space: Space) -> str:
    """The panels of a space as they are written, the words for one panel together."""
    names = [
        " or ".join(f'"{name}"' for name in (panel.id, *panel.aliases)) for panel in space.panels
    ]
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return f"{space.id} has {', '.join(names[:LISTED])}{more}"


def _find_host(
    spec: OpeningSpec,
    spaces: Mapping[str, Space],
    hosts: Mapping[str, Sequence[Panel]],
    every_space: Sequence[str],
    refusals: Refusals,
) -> Panel:
    if spec.id in RESERVED or "/" in spec.id or not spec.id or spec.id.isdigit():
        raise refusals.refuse(spec, "id", "cannot be called so: that name means other panels")
    named = hosts.get(spec.on, ())
    if len(named) > 1:
        parts = " or ".join(f'"{panel.id}"' for panel in named)
        raise refusals.refuse(
            spec, "on", f'is on "{spec.on}", which the ceiling leaves in parts: write {parts}'
        )
    if named:
        return named[0]
    room, _, name = spec.on.partition("/")
    if room in spaces and spec.centre is not None:
        # One name for a ceiling of several planes: the one over the spot is meant.
        space = spaces[room]
        under = slope_under(space.panels, spec.on, np.array(spec.centre) + space.origin)
        if under is not None:
            return under
    if room in spaces:
        several = several_walls(spaces[room].panels, plain_name(spec.on))
        if several:
            raise refusals.refuse(spec, "on", f'is on "{spec.on}": {several}')
        known = [word for word in hosts if word.startswith(f"{room}/")]
        close = not name.isdigit() and difflib.get_close_matches(spec.on, known, n=1, cutoff=0.85)
        hint = f'did you mean "{close[0]}"?' if close else _has(spaces[room])
        raise refusals.refuse(spec, "on", f'is on "{spec.on}", which does not exist; {hint}')
    if room in every_space:
        raise RefusedError  # the space's own faults are noted already
    hint = nearest_names(room, every_space)
    raise refusals.refuse(spec, "on", f'is on "{spec.on}", but there is no space "{room}"; {hint}')


class _Sides:
    """What stands behind each host before anything is cut."""

    def __init__(self, hosts: Sequence[Panel]) -> None:
        self.hosts = hosts
        self.index = {panel.id: index for index, panel in enumerate(hosts)}
        self.facings = find_facings(hosts)

    def behind(self, host: Panel, hole: Area) -> list[tuple[Panel, float]]:
        """Panels behind a hole, each with the share of the hole that it covers."""
        found = []
        for facing in self.facings[self.index[host.id]]:
            covered = float(facing.area.intersection(hole).area)
            if covered > SLIVER_M2:
                found.append((self.hosts[facing.far], covered / float(hole.area)))
        return found


def _depths(cut: Cut, far: Panel, refusals: Refusals) -> Floats:
    """How far behind each corner (4,) of a hole the far panel stands, past the reveal. [m]"""
    spec, host = cut.spec, cut.host
    along = float(host.normal @ far.normal)
    depths: Floats = ((cut.hole - far.frame.origin) @ far.normal) / along
    if spec.reveal_m > depths.min() + WELD_M:
        raise refusals.refuse(
            spec,
            "reveal",
            f"has a reveal of {length_text(spec.reveal_m)} in {host.id}, but {far.id} is only "
            f"{length_text(depths.min())} behind it",
        )
    return depths


def _through(cut: Cut, far: Panel, refusals: Refusals) -> tuple[Cut, Cut]:
    """Both sides of an opening that joins two spaces, the declared side's leaf in common."""
    host = cut.host
    depths = _depths(cut, far, refusals)
    there = cut.hole - depths[:, np.newaxis] * host.normal
    mine = theirs = cut.leaf
    if np.abs(depths - np.linalg.norm(cut.leaf - cut.mouth, axis=1)).max() <= THINNEST_M:
        theirs = there  # no niche on that side, and none on this one where there was none
        mine = there if cut.is_deep else cut.leaf
    flat = far.frame.flatten(there)[::-1]
    order = np.roll(np.arange(len(flat))[::-1], -int(np.argmin(flat.sum(axis=1))))
    return (
        replace(cut, leaf=mine),
        replace(
            cut,
            host=far,
            hole=there[order],
            mouth=there[order],
            leaf=theirs[order],
            declared=False,
        ),
    )


def _sides_of(spec: OpeningSpec, cut: Cut, sides: _Sides, refusals: Refusals) -> list[Cut]:
    """The cuts that an opening makes: one, or one in each of the two spaces it joins."""
    host = cut.host
    hole = Polygon(host.frame.flatten(cut.hole))
    behind = sides.behind(host, hole)
    if spec.kind in ONE_SIDED:
        for far, _ in behind:
            _depths(cut, far, refusals)
        return [cut]
    if not behind:
        return [cut]
    far, share = max(behind, key=lambda item: item[1])
    if share < 1.0 - 1e-6:
        others = [f"{panel.id} ({part:.0%})" for panel, part in behind]
        rest = 1.0 - sum(part for _, part in behind)
        if rest > 1e-6:
            others.append(f"no space ({rest:.0%})")
        raise refusals.refuse(
            spec,
            "at",
            f"in {host.id} has behind it {' and '.join(others)}; "
            "an opening must lead to one space or outdoors",
        )
    if far.space == host.space:
        raise refusals.refuse(
            spec, "on", f"leads from {host.space} into itself through {far.id}; leave it out"
        )
    return list(_through(cut, far, refusals))


def _check_neighbours(cut: Cut, others: Sequence[Cut], refusals: Refusals) -> None:
    """Refuse a cut over another one in the same panel, or touching it where jambs would meet."""
    flatten = cut.host.frame.flatten
    hole = Polygon(flatten(cut.hole))
    for other in others:
        neighbour = Polygon(flatten(other.hole))
        if hole.intersection(neighbour).area > SLIVER_M2:
            through = "" if other.declared else f" (cut through from {other.spec.on})"
            raise refusals.refuse(
                cut.spec, "at", f"lies over opening {other.spec.id}{through} in {cut.host.id}"
            )
        deep = cut.is_deep or other.is_deep
        if deep and hole.distance(neighbour) < WELD_M:
            raise refusals.refuse(
                cut.spec,
                "at",
                f"touches opening {other.spec.id} in {cut.host.id}; between reveals there "
                "must be some wall: leave at least 1 mm, or write them as one",
            )


def cut_openings(
    *,
    spaces: Mapping[str, Space],
    openings: Sequence[OpeningSpec],
    every_space: Sequence[str],
    faults: list[Fault],
) -> tuple[dict[str, Space], dict[str, float]]:
    """Spaces with their openings cut; an opening that cannot be cut is left out and noted.

    Parameters
    ----------
    spaces : mapping
        Closed spaces without openings, by id.
    openings : sequence of OpeningSpec
    every_space : sequence of str
        Also the ids of spaces that are not among `spaces` because they have faults themselves.
    faults : list of Fault
        Faults found are added to it.

    Returns
    -------
    spaces : dict
        By id, in the order given.
    niches_m3 : dict
        Volume that reveals add to each space. [m³]
    """
    refusals = Refusals(faults)
    panels = [panel for space in spaces.values() for panel in space.panels]
    hosts: dict[str, list[Panel]] = defaultdict(list)
    for panel in panels:
        for name in (panel.id, *panel.aliases):
            hosts[name].append(panel)
    sides = _Sides(panels)
    made: dict[str, list[Cut]] = {panel.id: [] for panel in panels}
    left: dict[str, Area] = {}
    filled: dict[str, list[Panel]] = {name: [] for name in spaces}
    niches_m3 = dict.fromkeys(spaces, 0.0)
    names: set[str] = set()
    for spec in openings:
        if spec.id in names:
            continue  # noted as given twice
        names.add(spec.id)
        try:
            host = _find_host(spec, spaces, hosts, every_space, refusals)
            check_numbers(spec, host, refusals)
            space = spaces[host.space]
            if host.kind == "wall":
                hole, flat_mouth = wall_hole(spec, host, space.floor_m, refusals)
            else:
                hole, flat_mouth = flat_hole(spec, host, space.origin, refusals)
            if Polygon(hole).difference(polygon_of(host)).area > SLIVER_M2:
                raise refusals.refuse(spec, "at", f"reaches past the edge of {host.id}")
            mouth = host.frame.lift(flat_mouth)
            depth = spec.reveal_m if spec.reveal_m > THINNEST_M else 0.0
            cut = Cut(
                spec=spec,
                host=host,
                hole=host.frame.lift(hole),
                mouth=mouth,
                leaf=mouth - depth * host.normal,
                declared=True,
            )
            cuts = _sides_of(spec, cut, sides, refusals)
            for side in cuts:
                _check_neighbours(side, made[side.host.id], refusals)
            opened = {}
            for side in cuts:
                before = left.get(side.host.id)
                whole = polygon_of(side.host) if before is None else before
                opened[side.host.id] = _remains(side, whole, refusals)
        except RefusedError:
            continue
        left.update(opened)
        for side in cuts:
            made[side.host.id].append(side)
            filled[side.host.space].extend(filling(side))
            niches_m3[side.host.space] += niche_m3(side)
    cut_spaces = {}
    for name, space in spaces.items():
        bodies = [
            _with_holes(panel, left[panel.id]) if panel.id in left else panel
            for panel in space.panels
        ]
        cut_spaces[name] = replace(space, panels=(*bodies, *filled[name]))
    return cut_spaces, niches_m3
