"""What a plan coats, and which of it is one conductor: an island needs one bond."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from envelope.building.conduction import conductive_treatments
from envelope.building.islands import Coated, bonds_on, groups_that_touch
from envelope.building.job import Job
from envelope.building.model import Panel
from envelope.building.wiring import Bond, Wiring, WiringPlan
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, polygon_of
from envelope.wiring.faces import along_face, strip_area
from envelope.wiring.routing import Run

# A leaf in its frame does not conduct into the wall around it.
_HOLES = frozenset(("open", "seam", "box"))
_APART = frozenset(("window", "door", "hatch", "vent", "skylight", "light"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """The part of a panel that is covered with something that conducts."""

    panel: str
    area: Area  # in the panel's frame
    whole: bool  # the whole panel, not a strip of it

    def coated(self, job: Job) -> Coated:
        """As what is one conductor is found from it."""
        panel = job.building.panel(self.panel)
        return Coated(panel=panel, area=self.area, treatments=(), strip=not self.whole)


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
    return groups_that_touch([region.coated(job) for region in regions])


def bonded_islands(
    job: Job, regions: Sequence[Region], groups: Sequence[Sequence[int]], bonds: Sequence[Bond]
) -> list[list[Bond]]:
    """The bonds on each island; one that lies beside what is coated is on none."""
    coated = [region.coated(job) for region in regions]
    return bonds_on(job, [[coated[number] for number in group] for group in groups], bonds)


def is_leaf(job: Job, panel: str) -> bool:
    """Whether a panel is the leaf of a window or door."""
    return job.building.panel(panel).kind in _APART
