"""Faces of a room as they are drawn for the people who work on them: outline, openings, seams.

A face is seen from inside. Its coordinates run from its left end to the right and, for a wall, up
from the floor of its room; a floor or a ceiling has the axes of the building.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.job import Job, Plan
from envelope.building.model import OPENING_KINDS, Panel
from envelope.building.wiring import Bond
from envelope.geometry.plane import Floats
from envelope.works.bonding import BondedIsland
from envelope.works.takeoff import TakeOff

FLAT = 0.99  # the cosine from which a face counts as lying flat


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cutout:
    """An opening in a face, its undercut included; the ring around a box stands apart."""

    panel: str
    kind: str
    outline: Floats  # (n, 2) [m]

    @property
    def low(self) -> Floats:
        """Its lower left corner (2,). [m]"""
        return np.asarray(self.outline.min(axis=0))

    @property
    def high(self) -> Floats:
        """Its upper right corner (2,). [m]"""
        return np.asarray(self.outline.max(axis=0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A line on a face: a seam between strips, or a run behind it."""

    start: Floats  # (2,) [m]
    stop: Floats  # (2,) [m]
    what: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mark:
    """A place on a face that people look for: an outlet, a box, a bond."""

    id: str
    kind: str  # "socket", "switch", "light", "box", "bond"
    at: Floats  # (2,) [m]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Behind:
    """What the wiring has behind one face, in the frame of its panel.

    Known runs were entered; likely ones follow a rule. Strips are coated along a circuit.
    """

    runs: tuple[tuple[str, Floats], ...] = ()  # id and ends (2, 2) [m]
    likely_runs: tuple[tuple[str, Floats], ...] = ()
    strips: tuple[Floats, ...] = ()  # each (n, 2) [m]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Elevation:
    """One face with everything that is drawn on it."""

    panel: str
    kind: str
    treatments: tuple[str, ...]
    outline: Floats  # (n, 2) [m]
    openings: tuple[Cutout, ...] = ()
    rings: tuple[Floats, ...] = ()  # each (n, 2): outer edge of what stays clear around a box [m]
    seams: tuple[Line, ...] = ()  # where one strip begins over the one before
    strips: tuple[Floats, ...] = ()  # each (n, 2): coated along the runs of a circuit [m]
    runs: tuple[Line, ...] = ()  # known
    likely_runs: tuple[Line, ...] = ()  # placed by a rule
    marks: tuple[Mark, ...] = ()  # numbered from 1 in this order

    @property
    def width_m(self) -> float:
        """From its left end to its right end."""
        return float(self.outline[:, 0].max())

    @property
    def height_m(self) -> float:
        """From the floor to its highest point."""
        return float(self.outline[:, 1].max())


def elevations_of(
    job: Job,
    plan: Plan,
    *,
    panels: Iterable[str],
    found: TakeOff | None = None,
    bonding: Sequence[BondedIsland] = (),
    behind: Mapping[str, Behind] | None = None,
    bonds: Sequence[Bond] = (),
) -> tuple[Elevation, ...]:
    """Faces with openings, boxes, rings, seams, runs and the bond.

    Parameters
    ----------
    job : Job
    plan : Plan
        Whose treatments are shown.
    panels : iterable of str
        Walls, floors and ceilings to draw, in this order.
    found : TakeOff, optional
        Of the plan; its strips are drawn.
    bonding : sequence of BondedIsland
        Of the plan; its bond points are marked.
    behind : mapping of str to Behind, optional
        What the wiring has behind each face, by panel.
    bonds : sequence of Bond
        Of the job, that are marked too.
    """
    points = [
        *((each.bond.id, each.bond.panel, each.bond.position_m) for each in bonding if each.bond),
        *((bond.id, job.building.panel(bond.panel).id, bond.position_m) for bond in bonds),
    ]
    return tuple(
        _elevation(
            job, plan, job.building.panel(name), found, points, (behind or {}).get(name, Behind())
        )
        for name in panels
    )


def drawn_walls(job: Job, plan: Plan) -> tuple[str, ...]:
    """Walls of every room of which the plan treats anything, in the building's order."""
    rooms = {job.building.panel(name).space for name, worn in plan.treatments.items() if worn}
    return tuple(
        panel.id for panel in job.building.panels if panel.kind == "wall" and panel.space in rooms
    )


class _Sheet:
    """Where places of the building lie on the drawing of a face."""

    def __init__(self, job: Job, panel: Panel) -> None:
        self.frame = panel.frame
        flat = panel.frame.flatten(panel.outline)
        self.shift = -flat.min(axis=0)
        if panel.kind == "wall" and abs(panel.normal[2]) < FLAT:
            # heights count from the floor, also where the wall begins above it
            floor = job.building.space(panel.space).floor_m
            rise = float(panel.frame.v[2])
            self.shift[1] = (float(panel.frame.origin[2]) - floor) / rise

    def draw(self, points: Floats) -> Floats:
        return np.asarray(self.frame.flatten(points) + self.shift)


def _elevation(
    job: Job,
    plan: Plan,
    panel: Panel,
    found: TakeOff | None,
    points: Sequence[tuple[str, str, Floats]],
    behind: Behind,
) -> Elevation:
    sheet = _Sheet(job, panel)
    outline = sheet.draw(panel.outline)
    own = [each for each in job.building.panels if each.host == panel.id]
    boxes = [each for each in own if each.kind == "box"]
    return Elevation(
        panel=panel.id,
        kind=panel.kind,
        treatments=plan.treatments.get(panel.id, ()),
        outline=outline,
        openings=tuple(
            Cutout(panel=each.id, kind=each.kind, outline=_whole(sheet, each, own))
            for each in own
            if each.kind in OPENING_KINDS
        ),
        rings=tuple(
            sheet.draw(each.outline)
            for each in own
            if each.kind == "seam" and each.opening in {box.id for box in boxes}
        ),
        seams=tuple(_seams(panel, sheet, found)),
        strips=tuple(ring + sheet.shift for ring in behind.strips),
        runs=tuple(_line(sheet, outline, *run) for run in behind.runs),
        likely_runs=tuple(_line(sheet, outline, *run) for run in behind.likely_runs),
        marks=tuple(_marks(job, panel, sheet, boxes, points)),
    )


def _whole(sheet: _Sheet, opening: Panel, own: Sequence[Panel]) -> Floats:
    """Outline (n, 2) of an opening; a rectangle with its undercut where it has one."""
    seams = [
        each
        for each in own
        if each.kind == "seam" and each.opening == opening.id and opening.kind != "box"
    ]
    outline = sheet.draw(opening.outline)
    if not seams:
        return outline
    corners = np.vstack([outline, *(sheet.draw(each.outline) for each in seams)])
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _seams(panel: Panel, sheet: _Sheet, found: TakeOff | None) -> Iterable[Line]:
    for cut in () if found is None else found.cuts:
        if cut.panel != panel.id or cut.strips is None:
            continue
        seams = set(cut.strips.seams_m)
        for strip in cut.strips.strips:
            if strip.start_m not in seams:
                continue
            ends = np.array([(strip.start_m, strip.low_m), (strip.start_m, strip.high_m)])
            if cut.strips.direction == "across":
                ends = ends[:, ::-1]
            start, stop = ends + sheet.shift
            yield Line(start=start, stop=stop, what=cut.product)


def _line(sheet: _Sheet, outline: Floats, name: str, ends: Floats) -> Line:
    """A run where its face is drawn; what lies a little beyond its edge comes onto it."""
    start, stop = np.clip(ends + sheet.shift, outline.min(axis=0), outline.max(axis=0))
    return Line(start=start, stop=stop, what=name)


def _marks(
    job: Job,
    panel: Panel,
    sheet: _Sheet,
    boxes: Sequence[Panel],
    points: Sequence[tuple[str, str, Floats]],
) -> list[Mark]:
    """Outlets, boxes and bonds of a face from left to right."""
    found = [Mark(id=box.id, kind="box", at=sheet.draw(box.outline).mean(axis=0)) for box in boxes]
    for outlet in () if job.wiring is None else job.wiring.outlets:
        if job.building.panel(outlet.panel).id == panel.id:
            at = sheet.draw(outlet.position_m[np.newaxis])[0]
            found.append(Mark(id=outlet.id, kind=outlet.kind, at=at))
    for name, on, position_m in points:
        if on == panel.id:
            at = sheet.draw(position_m[np.newaxis])[0]
            found.append(Mark(id=name, kind="bond", at=at))
    return sorted(found, key=lambda mark: (round(float(mark.at[0]), 6), mark.kind, mark.id))
