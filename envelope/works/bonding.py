"""Where each island is bonded, and the resistances to expect from its faces to the bond.

One island needs one bond. The bond lies where the job says, else at the socket of the wiring, else
at the electrical box, that stands on the island and is nearest to its middle: a proposal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.ops
from scipy.spatial import cKDTree

from envelope.building.islands import (
    Coated,
    Island,
    bonds_of,
    direct_current_sheet_resistance_ohm_sq,
    islands_of,
)
from envelope.building.job import Job, Plan
from envelope.building.model import Panel
from envelope.building.wiring import Bond, Outlet
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import spot_inside
from envelope.physics.sheet_conduction import Sheet, resistances_to
from envelope.works.surface_mesh import Disc, FlatPiece, mesh_surface

CLEAR_M = 0.05  # from a plate to the coating's edge
FAR_CORNER_M = 0.1  # a probe at a corner stands this far inside it
BESIDE_M = 0.1  # of a strip, from which on a socket does not stand on it
MESH_M = 0.25
EDGE_M = 0.05  # between points along an edge from which bridges are measured


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BondPoint:
    """Where an island meets the protective earth."""

    id: str  # of the job's bond, of the outlet or of the box
    panel: str
    position_m: Floats  # (3,) on the coating
    stated: bool  # the job says so; else it is a proposal
    beside: str  # what it stands beside, for people


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A resistance that a meter should show from a place to the bond."""

    panel: str
    place: str  # "middle" or "far corner"
    resistance_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """From an island without a bond to the nearest one that has or could have one."""

    panel: str  # of the island itself
    to_panel: str
    gap_m: float  # between the two coatings, along a straight line


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BondedIsland:
    """One island with its bond, what a meter should show, and what is wrong."""

    island: Island
    bond: BondPoint | None  # None where nothing suitable stands on it
    expected: tuple[Expected, ...]  # the largest first; empty where a resistance is unknown
    unknown: tuple[str, ...]  # treatments whose resistance to direct current is not known
    faults: tuple[str, ...]
    bridge: Bridge | None = None  # where there is no bond and another island has one


def bonding_of(job: Job, plan: Plan, *, size_m: float = MESH_M) -> tuple[BondedIsland, ...]:
    """Islands of a plan with their bonds and the resistances to expect.

    Parameters
    ----------
    job : Job
        With outlets, bonds or boxes, if it has any.
    plan : Plan
        Any.
    size_m : float
        Of the triangles that current is solved on. [m]
    """
    islands = islands_of(job, plan)
    found = [
        _bonded(job, island, bonds, size_m)
        for island, bonds in zip(islands, bonds_of(job, plan, islands), strict=True)
    ]
    bonded = [each.island for each in found if each.bond is not None]
    return tuple(
        replace(each, bridge=_bridge(each.island, bonded)) if each.bond is None else each
        for each in found
    )


def _bridge(island: Island, bonded: Sequence[Island]) -> Bridge | None:
    """The shortest way from an island to one with a bond, from edge to edge."""
    ways = []
    for one in island.coated:
        for other in (each for target in bonded for each in target.coated):
            start, stop = _edge_points(one), _edge_points(other)
            away, _ = cKDTree(stop).query(start)
            gap_m = float(away.min())
            ways.append((round(gap_m, 3), one.panel.id, other.panel.id))
    if not ways:
        return None
    gap_m, panel, to_panel = min(ways)
    return Bridge(panel=panel, to_panel=to_panel, gap_m=gap_m)


def _edge_points(coated: Coated) -> Floats:
    """Points (n, 3) along the edges of a coated face, not farther apart than `EDGE_M`."""
    lines = shapely.segmentize(coated.area.boundary, EDGE_M)
    return coated.panel.frame.lift(shapely.get_coordinates(lines))


def _bonded(job: Job, island: Island, bonds: Sequence[Bond], size_m: float) -> BondedIsland:
    stated = [
        BondPoint(
            id=bond.id, panel=bond.panel, position_m=bond.position_m, stated=True, beside=bond.id
        )
        for bond in bonds
    ]
    faults = []
    if len(stated) > 1:
        names = ", ".join(point.id for point in stated)
        faults.append(f"{len(stated)} bonds on one conductor ({names}): one is allowed")
    bond = stated[0] if stated else _proposed(job, island)
    if bond is None:
        faults.append(
            "no bond, and no socket or box stands on it: bridge it to a bonded coating beside it, "
            "or place a bond"
        )
    unknown = tuple(
        name
        for name in island.treatments
        if direct_current_sheet_resistance_ohm_sq(job.treatments[name]) is None
    )
    expected: tuple[Expected, ...] = ()
    if bond is not None and not unknown:
        expected = _expected(job, island, bond, size_m)
    return BondedIsland(
        island=island,
        bond=bond,
        expected=expected,
        unknown=unknown,
        faults=tuple(faults),
    )


def _proposed(job: Job, island: Island) -> BondPoint | None:
    """The socket or box on the island that is nearest to its middle."""
    middle = _middle(island)
    found: list[tuple[int, float, str, str, Floats]] = []
    if job.wiring is not None:
        for outlet in job.wiring.outlets:
            if outlet.kind == "socket" and _stands_on(job, island, outlet):
                away = float(np.linalg.norm(outlet.position_m - middle))
                found.append((0, away, outlet.id, outlet.panel, outlet.position_m))
    for panel in job.building.panels:
        if panel.kind == "box" and panel.host in island.panels:
            spot = panel.outline.mean(axis=0)
            away = float(np.linalg.norm(spot - middle))
            found.append((1, away, panel.id, str(panel.host), spot))
    if not found:
        return None
    _, _, name, on, spot = min(found, key=lambda each: each[:3])
    return BondPoint(
        id=name,
        panel=job.building.panel(on).id,
        position_m=spot,
        stated=False,
        beside=name,
    )


def _stands_on(job: Job, island: Island, outlet: Outlet) -> bool:
    panel = job.building.panel(outlet.panel)
    spot = shapely.Point(panel.frame.flatten(outlet.position_m[np.newaxis])[0])
    return any(
        each.panel.id == panel.id and each.area.distance(spot) <= BESIDE_M for each in island.coated
    )


def _middle(island: Island) -> Floats:
    """Area-weighted middle (3,) of an island. [m]"""
    return np.asarray(
        np.average(
            [
                each.panel.frame.lift(np.array(each.area.centroid.coords))[0]
                if each.strip
                else each.panel.outline.mean(axis=0)
                for each in island.coated
            ],
            axis=0,
            weights=[each.area.area for each in island.coated],
        )
    )


def _spot_on(area: shapely.Geometry, wanted: Floats, clear_m: float) -> Floats:
    """The place (2,) on a coating nearest to a wanted one that keeps clear of its edges."""
    inner = area.buffer(-clear_m)
    if inner.is_empty:
        return spot_inside(area)
    near, _ = shapely.ops.nearest_points(inner, shapely.Point(wanted))
    return np.array([near.x, near.y])


def _expected(job: Job, island: Island, bond: BondPoint, size_m: float) -> tuple[Expected, ...]:
    panels = [each.panel for each in island.coated]
    pieces = flat_pieces(job, island)
    here = job.building.panel(bond.panel)
    wanted = here.frame.flatten(bond.position_m[np.newaxis])[0]
    index = min(
        (number for number, panel in enumerate(panels) if panel.id == here.id),
        key=lambda number: float(pieces[number].area.distance(shapely.Point(wanted))),
    )
    plate_m, probe_m = job.defaults.value("bond-plate"), job.defaults.value("probe")
    plate = _spot_on(pieces[index].area, wanted, max(CLEAR_M, 1.5 * plate_m))
    discs = [Disc(piece=index, centre=plate, radius_m=plate_m)]
    places = []
    origin = panels[index].frame.lift(plate[np.newaxis])[0]
    for number, (panel, piece) in enumerate(zip(panels, pieces, strict=True)):
        for place, spot in _probes(panel, piece, origin, probe_m):
            disc = Disc(piece=number, centre=spot, radius_m=probe_m)
            if all(_apart(disc, other, panels) for other in discs):
                discs.append(disc)
                places.append((panel.id, place))
    sheet = sheet_of(pieces, discs, size_m)
    found = resistances_to(sheet, contact=0, probes=range(1, len(discs)))
    expected = [
        Expected(panel=panel, place=place, resistance_ohm=float(each))
        for (panel, place), each in zip(places, found, strict=True)
    ]
    return tuple(sorted(expected, key=lambda each: (-each.resistance_ohm, each.panel, each.place)))


def flat_pieces(job: Job, island: Island) -> list[FlatPiece]:
    """The coated faces of an island as pieces of one surface, in its order."""
    return [
        FlatPiece(
            frame=each.panel.frame,
            area=each.area,
            sheet_resistance_ohm_sq=_parallel(job, each),
        )
        for each in island.coated
    ]


def sheet_of(pieces: Sequence[FlatPiece], discs: Sequence[Disc], size_m: float) -> Sheet:
    """One conductive surface with its contacts, in triangles.

    Parameters
    ----------
    pieces : sequence of FlatPiece
    discs : sequence of Disc
        Contacts, each on one of the pieces.
    size_m : float
        Length of a triangle's side away from contacts. [m]
    """
    mesh = mesh_surface(pieces_flat=pieces, discs=discs, size_m=size_m)
    ohm = np.array([piece.sheet_resistance_ohm_sq for piece in pieces])[mesh.piece_of]
    return Sheet(
        nodes=mesh.nodes,
        triangles=mesh.triangles,
        sheet_resistance_ohm_sq=ohm,
        contacts=mesh.contacts,
    )


def _parallel(job: Job, coated: Coated) -> float:
    """Sheet resistance of everything conductive on a face, in parallel. [Ω/sq]"""
    values = [
        direct_current_sheet_resistance_ohm_sq(job.treatments[name]) for name in coated.treatments
    ]
    return 1.0 / sum(1.0 / value for value in values if value is not None)


def _probes(
    panel: Panel, piece: FlatPiece, origin: Floats, probe_m: float
) -> list[tuple[str, Floats]]:
    """The corner of a panel farthest from the bond, and its middle, both on the coating."""
    if piece.area.buffer(-2.0 * probe_m).is_empty:
        return []
    away = np.linalg.norm(panel.outline - origin, axis=1)
    corner = panel.frame.flatten(panel.outline[int(away.argmax())][np.newaxis])[0]
    clear = min(FAR_CORNER_M, 0.4 * float(np.sqrt(piece.area.area)))
    found = [("far corner", _spot_on(piece.area, corner, max(2.0 * probe_m, clear / 2.0)))]
    if piece.area.area > 1.0:
        found.append(("middle", _spot_on(piece.area, spot_inside(piece.area), 2.0 * probe_m)))
    return found


def _apart(disc: Disc, other: Disc, panels: list[Panel]) -> bool:
    one, two = (panels[each.piece].frame.lift(each.centre[np.newaxis])[0] for each in (disc, other))
    return float(np.linalg.norm(one - two)) > 2.0 * (disc.radius_m + other.radius_m)
