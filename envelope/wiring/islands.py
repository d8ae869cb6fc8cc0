"""What a plan coats, and which of it is one conductor: an island needs one bond."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from envelope.building.conduction import conductive_treatments
from envelope.building.islands import ON_IT_M
from envelope.building.job import Job
from envelope.building.model import Panel
from envelope.building.wiring import Bond, Wiring, WiringPlan
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, polygon_of
from envelope.wiring.faces import along_face, strip_area
from envelope.wiring.routing import Run

_TOUCH_M = 2e-3  # edges nearer than this are one seam
_OVERLAP_M = 5e-3  # shorter contacts do not count
# A leaf in its frame does not conduct into the wall around it.
_HOLES = frozenset(("open", "seam", "box"))
_APART = frozenset(("window", "door", "hatch", "vent", "skylight", "light"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """The part of a panel that is covered with something that conducts."""

    panel: str
    area: Area  # in the panel's frame
    whole: bool  # the whole panel, not a strip of it


def coated_regions(job: Job, wiring: Wiring, plan_id: str, runs: Sequence[Run]) -> list[Region]:
    """What of the panels a plan covers with something that conducts.

    Parameters
    ----------
    job : Job
    wiring : Wiring
    plan_id : str
    runs : sequence of Run
        Runs that strips may follow.
    """
    conductive = conductive_treatments(job)
    found = []
    for name, treatments in job.plan(plan_id).treatments.items():
        panel = job.building.panel(name)
        if conductive & set(treatments) and panel.kind not in _HOLES:
            found.append(Region(panel=name, area=polygon_of(panel), whole=True))
    whole = {region.panel for region in found}
    for name, area in strips_of(job, wiring.plan(plan_id), runs, conductive).items():
        if name not in whole:
            parts = [each for each in shapely.get_parts(area) if each.area > 0.0]
            found += [Region(panel=name, area=each, whole=False) for each in parts]
    return found


def strips_of(
    job: Job, plan: WiringPlan, runs: Sequence[Run], conductive: frozenset[str]
) -> dict[str, Area]:
    """Area of the strips of a plan on each panel."""
    found: dict[str, list[Area]] = {}
    for strip in plan.strips:
        if not conductive & set(strip.treatments):
            continue
        for name in strip.panels:
            panel = job.building.panel(name)
            pieces = pieces_behind(panel, (run for run in runs if run.circuit == strip.circuit))
            if pieces:
                area = strip_area(panel, [piece for piece, _ in pieces], strip.width_m)
                found.setdefault(name, []).append(area)
    return {name: shapely.union_all(areas) for name, areas in found.items()}


def with_areas(job: Job, wiring: Wiring, runs: Sequence[Run]) -> Wiring:
    """The same wiring with what each strip covers of panels that its plan does not coat anyway.

    Where two strips cross, the crossing counts as part of the first one.
    """
    plans = {}
    for plan_id, plan in wiring.plans.items():
        coated = {
            region.panel for region in coated_regions(job, wiring, plan_id, runs) if region.whole
        }
        strips = []
        taken: dict[str, Area] = {}
        for strip in plan.strips:
            own = [run for run in runs if run.circuit == strip.circuit]
            areas = {}
            for name in strip.panels:
                panel = job.building.panel(name)
                pieces = [piece for piece, _ in pieces_behind(panel, own)]
                if pieces and panel.id not in coated:
                    area = strip_area(panel, pieces, strip.width_m)
                    before = taken.get(panel.id, shapely.Polygon())
                    areas[panel.id] = area.difference(before)
                    taken[panel.id] = before.union(area)
            strips.append(replace(strip, areas=areas))
        plans[plan_id] = replace(plan, strips=tuple(strips))
    return replace(wiring, plans=plans)


def pieces_behind(panel: Panel, runs: Iterable[Run]) -> list[tuple[Floats, float]]:
    """Straight pieces of runs behind a panel, (2, 2) in its frame, each with its depth."""
    found = []
    for run in runs:
        if run.device is not None:
            continue
        for piece in zip(run.path_m, run.path_m[1:], strict=False):
            dropped = along_face(panel, np.array(piece))
            if dropped is not None:
                found.append(dropped)
    return found


def islands(job: Job, regions: Sequence[Region]) -> list[list[int]]:
    """Groups of regions that touch, each a list of their numbers."""
    edges = [_edges(job, region) for region in regions]
    group = list(range(len(regions)))

    def root(number: int) -> int:
        while group[number] != number:
            number = group[number]
        return number

    for first in range(len(regions)):
        for second in range(first):
            if root(first) != root(second) and _meet(job, regions, edges, first, second):
                group[root(first)] = root(second)
    found: dict[int, list[int]] = {}
    for number in range(len(regions)):
        found.setdefault(root(number), []).append(number)
    return list(found.values())


def bonded_islands(
    job: Job, regions: Sequence[Region], groups: Sequence[Sequence[int]], bonds: Sequence[Bond]
) -> list[list[Bond]]:
    """The bonds on each island; one that lies beside what is coated is on none."""
    found: list[list[Bond]] = [[] for _ in groups]
    for bond in bonds:
        panel = job.building.panel(bond.panel)
        spot = shapely.Point(panel.frame.flatten(bond.position_m[np.newaxis])[0])
        near = [
            (float(region.area.distance(spot)), number)
            for number, region in enumerate(regions)
            if region.panel == panel.id
        ]
        if near and min(near)[0] <= ON_IT_M:
            member = min(near)[1]
            found[next(k for k, group in enumerate(groups) if member in group)].append(bond)
    return found


def is_leaf(job: Job, panel: str) -> bool:
    """Whether a panel is the leaf of a window or door."""
    return job.building.panel(panel).kind in _APART


def plan_bonds(wiring: Wiring, plan_id: str) -> list[Bond]:
    """Bonds that a plan makes."""
    named = wiring.plan(plan_id).bonds
    return [bond for bond in wiring.bonds if named is None or bond.id in named]


def _edges(job: Job, region: Region) -> Floats:
    """Edges (e, 2, 3) of a region in space."""
    frame = job.building.panel(region.panel).frame
    found = []
    for polygon in shapely.get_parts(region.area):
        for ring in (polygon.exterior, *polygon.interiors):
            corners = frame.lift(np.asarray(ring.coords))
            found.append(np.stack((corners[:-1], corners[1:]), axis=1))
    return np.concatenate(found)


def _meet(
    job: Job, regions: Sequence[Region], edges: Sequence[Floats], first: int, second: int
) -> bool:
    """Whether two regions share a stretch of edge."""
    panels = [job.building.panel(regions[number].panel) for number in (first, second)]
    if panels[0].space != panels[1].space or any(panel.kind in _APART for panel in panels):
        return False
    start, stop = edges[first][:, 0], edges[first][:, 1]
    along = stop - start
    length = np.linalg.norm(along, axis=1)
    direction = along / np.maximum(length, 1e-12)[:, np.newaxis]
    for one, other in edges[second]:
        foot, end = (np.einsum("ea,ea->e", each - start, direction) for each in (one, other))
        off = [
            np.linalg.norm(each - start - at[:, np.newaxis] * direction, axis=1)
            for each, at in ((one, foot), (other, end))
        ]
        shared = np.minimum(np.maximum(foot, end), length) - np.maximum(np.minimum(foot, end), 0.0)
        close = (np.maximum(off[0], off[1]) < _TOUCH_M) & (shared > _OVERLAP_M)
        if close.any():
            return True
    return False
