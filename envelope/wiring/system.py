"""The whole of a job's wiring and sheets as one set of elements, solved state by state.

plan × wall state → which cells are sheets, and what each island is connected to
routes            → which wires are there
cables, phases, plugs, switches → voltages of those wires
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from envelope.building.conduction import conductive_treatments
from envelope.building.job import Job, Receiver
from envelope.building.point_location import contains
from envelope.building.wiring import Bond, Conducts, FieldReading, Route, Wiring
from envelope.geometry.plane import Floats, frozen
from envelope.geometry.polygons import polygon_of
from envelope.physics.electrostatics import Indices
from envelope.wiring.body import lying_body
from envelope.wiring.elements import Elements, elements_of
from envelope.wiring.grid import wire_pieces
from envelope.wiring.islands import (
    Region,
    bonded_islands,
    coated_regions,
    is_leaf,
    islands,
    strips_of,
)
from envelope.wiring.matrix import field_matrix, potential_matrix
from envelope.wiring.mesh import Atom, atoms_of, covered
from envelope.wiring.network import Sheets, Terminals, factor, terminals
from envelope.wiring.routing import (
    Run,
    device_runs,
    distinct_routes,
    entered_runs,
    routed_runs,
    routes_of,
)
from envelope.wiring.walls import conduction_of

_STEP_M = 0.15  # of the pieces of a wire
_BELOW_FLOOR_M = 0.2  # of the earth under a floor that lies on it
_BELOW_RUN_M = 0.05  # of the earth under the deepest run
_AROUND_M = 0.1  # of a point receiver, where its neighbourhood is looked at
_BOX_STEP_M = 0.35  # between the points of a box


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Island:
    """Sheets that are one conductor in one state."""

    panels: tuple[str, ...]
    elements: Indices
    leaf: bool  # on the leaf of a window or door, which touches nothing
    coated: bool  # with something that a plan puts on; else bare walls alone
    earthed: bool  # through a wall that conducts to earth
    bonds: tuple[Bond, ...]

    @property
    def resistance_ohm(self) -> float:
        """To earth: 0 bonded, infinite floating."""
        if self.earthed:
            return 0.0
        return min((bond.resistance_ohm for bond in self.bonds), default=np.inf)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """One plan with walls in one state."""

    plan: str
    walls: Conducts
    islands: tuple[Island, ...]
    sheets: Sheets


@dataclass(frozen=True, kw_only=True, eq=False)
class System:
    """Elements, their matrix, and what they bring at points; build it with `build_system`."""

    job: Job
    wiring: Wiring
    receivers: tuple[Receiver, ...]
    fixed: tuple[Run, ...]
    routed: Mapping[tuple[str, Route], tuple[Run, ...]]  # by circuit and rule
    combinations: tuple[Mapping[str, Route], ...]  # of the rules that circuits may follow
    wall_states: tuple[Conducts, ...]  # that unknown walls may be in
    conducts: Mapping[str, Conducts]  # of each panel that may be a conductor
    earth_m: float
    points: Floats  # (m, 3), receiver by receiver, its own spot first; then a spot a reading
    spans: tuple[tuple[int, int], ...]  # of each receiver's points
    elements: Elements
    atoms: tuple[Atom, ...]
    atom_elements: tuple[Indices, ...]
    run_elements: Mapping[int, Indices]  # by the identity of a run
    bodies: tuple[Indices, ...]  # one a receiver
    matrix: Floats
    felt: Floats  # field at the points a coulomb
    coarser: float
    factored: dict[tuple[int, ...], Sheets] = field(default_factory=dict, repr=False)

    def runs(self, combination: Mapping[str, Route]) -> list[Run]:
        """Runs that are there where circuits follow some rules."""
        return [
            *self.fixed,
            *itertools.chain.from_iterable(self.routed[item] for item in combination.items()),
        ]

    def state(self, plan_id: str, walls: Conducts) -> State:
        """The sheets of a plan with the unknown walls in a state."""
        coated = coated_regions(self.job, self.wiring, plan_id, self.fixed_or_ruled)
        earthed, bare = [], []
        covered_whole = {region.panel for region in coated if region.whole}
        for name, said in self.conducts.items():
            does = walls if said == "unknown" else said
            if does == "earthed":
                earthed.append(name)
            elif does == "isolated" and name not in covered_whole:
                bare.append(name)
        regions = [region for region in coated if region.panel not in earthed]
        regions = [region for region in regions if region.panel not in bare]
        count = len(regions)
        regions += [
            Region(panel=name, area=polygon_of(self.job.building.panel(name)), whole=True)
            for name in (*bare, *earthed)
        ]
        groups = islands(self.job, regions)
        # A strip on a wall that conducts is one with the wall, and so is its bond.
        bonds = bonded_islands(self.job, regions, groups, self._bonds(plan_id, coated))
        found = []
        for members, bonded in zip(groups, bonds, strict=True):
            atoms = sorted(
                {atom for member in members for atom in covered(self.atoms, regions[member])}
            )
            names = tuple(
                sorted(
                    {regions[member].panel for member in members},
                    key=self.job.building.panel_index.__getitem__,
                )
            )
            found.append(
                Island(
                    panels=names,
                    elements=np.sort(np.concatenate([self.atom_elements[atom] for atom in atoms])),
                    leaf=all(is_leaf(self.job, name) for name in names),
                    coated=any(member < count for member in members)
                    or any(region.panel in names for region in coated),
                    earthed=any(name in earthed for name in names),
                    bonds=tuple(bonded),
                )
            )
        return State(plan=plan_id, walls=walls, islands=tuple(found), sheets=self._factored(found))

    @property
    def unknown_routes(self) -> set[str]:
        """Circuits whose runs may lie in different places."""
        first = self.combinations[0]
        return {name for each in self.combinations for name in each if each[name] != first[name]}

    @property
    def fixed_or_ruled(self) -> list[Run]:
        """Runs whose place does not depend on an unknown rule: strips may follow them."""
        sure = [
            run
            for circuit in self.wiring.circuits
            if len(routes_of(circuit)) == 1
            for run in self.routed[circuit.id, routes_of(circuit)[0]]
        ]
        return [*self.fixed, *sure]

    def _bonds(self, plan_id: str, coated: Sequence[Region]) -> list[Bond]:
        names = {region.panel for region in coated}
        building = self.job.building
        return [
            bond for bond in self.wiring.bonds_of(plan_id) if building.panel(bond.panel).id in names
        ]

    def _factored(self, found: Sequence[Island]) -> Sheets:
        cells = (
            np.sort(np.concatenate([island.elements for island in found]))
            if found
            else np.zeros(0, dtype=np.intp)
        )
        key = tuple(cells.tolist())
        if key not in self.factored:
            others = np.concatenate((np.arange(self.elements.wires), *self.bodies), dtype=np.intp)
            self.factored[key] = factor(
                matrix=self.matrix, field=self.felt, cells=cells, others=others
            )
        return self.factored[key]

    def solved(
        self, state: State, runs: Sequence[Run], *, body: int | None = None, charges: bool = False
    ) -> Terminals:
        """What a volt on each island, each run and, last, a body brings.

        Parameters
        ----------
        state : State
        runs : sequence of Run
            That are there.
        body : int, optional
            Number of the receiver at which somebody lies.
        charges : bool
            Whether the charge of each element is wanted, for maps.
        """
        wires = [self.run_elements[id(run)] for run in runs]
        if body is not None:
            wires.append(self.bodies[body])
        return terminals(
            state.sheets,
            islands=[island.elements for island in state.islands],
            runs=wires,
            charges=charges,
        )


def build_system(
    job: Job, wiring: Wiring, receivers: Sequence[Receiver], *, before: System | None = None
) -> System:
    """Lay out wires and cells of a job, and compute their matrix.

    The cells serve every plan of the job, whichever are solved: no figure depends on what else
    is asked for.

    Parameters
    ----------
    job : Job
    wiring : Wiring
    receivers : sequence of Receiver
        Where the field is asked for; their rooms' faces may conduct.
    before : System, optional
        Of the same job as it was: where wires, cells and earth lie as they did, its matrix holds.
        So bonds, voltages, phases, plugs and switches change in a fraction of the time.
    """
    building = job.building
    fixed = (*entered_runs(job, wiring), *device_runs(job, wiring))
    routed = {
        (circuit.id, route): tuple(routed_runs(job, wiring, circuit, route))
        for circuit in wiring.circuits
        for route in routes_of(circuit)
    }
    ruled = [circuit for circuit in wiring.circuits if routes_of(circuit)]
    combinations = tuple(
        dict(zip((circuit.id for circuit in ruled), each, strict=True))
        for each in itertools.product(*(distinct_routes(job, wiring, each) for each in ruled))
    )
    every = [*fixed, *itertools.chain.from_iterable(routed.values())]
    sure = [
        *fixed,
        *(run for c in ruled if len(routes_of(c)) == 1 for run in routed[c.id, routes_of(c)[0]]),
    ]
    rooms = dict.fromkeys(receiver.space for receiver in receivers)
    panels = [panel for name in rooms for panel in building.space(name).panels]
    conducts = {
        name: does for name, does in conduction_of(job, panels, wiring).items() if does != "no"
    }
    whole = list(conducts)
    strips: dict[str, list[object]] = {}
    conductive = conductive_treatments(job)
    for plan_id in (plan.id for plan in job.plans):
        for region in coated_regions(job, wiring, plan_id, sure):
            if region.whole and region.panel not in whole:
                whole.append(region.panel)
        for name, area in strips_of(job, wiring.plan(plan_id), sure, conductive).items():
            strips.setdefault(name, []).append(area)
    atoms, coarser = atoms_of(building, whole=whole, strips=strips, runs=every)
    points, spans = _points(job, receivers, wiring.readings)
    bodies = [lying_body(receiver, building.space(receiver.space)) for receiver in receivers]
    wires: list[tuple[Floats, float]] = []
    run_elements: dict[int, Indices] = {}
    strands: list[int] = []
    for run in every:
        first = len(wires)
        for corners in itertools.pairwise(run.path_m):
            # a straight piece may double back over another one, so each is a strand of its own
            pieces = wire_pieces(np.array(corners), step_m=_STEP_M * coarser)
            wires += [(piece, run.radius_m) for piece in pieces]
            strands += [max(strands, default=-1) + 1] * len(pieces)
        run_elements[id(run)] = np.arange(first, len(wires))
    groups = [atom.cells for atom in atoms] + [tuple(body) for body in bodies]
    elements = elements_of(
        wires=wires, cells=[cell for group in groups for cell in group], strands=strands
    )
    starts = len(wires) + np.cumsum([0, *(len(group) for group in groups)])
    spread = tuple(np.arange(low, high) for low, high in itertools.pairwise(starts.tolist()))
    earth_m = _earth(job, every)
    kept = before is not None and before.earth_m == earth_m and before.elements.same_as(elements)
    matrix = before.matrix if kept and before else potential_matrix(elements, earth_m=earth_m)
    felt = (
        before.felt
        if kept and before and np.array_equal(before.points, points)
        else field_matrix(elements, points, earth_m=earth_m)
    )
    return System(
        job=job,
        wiring=wiring,
        receivers=tuple(receivers),
        fixed=fixed,
        routed=routed,
        combinations=combinations,
        wall_states=("no", "earthed", "isolated") if "unknown" in conducts.values() else ("no",),
        conducts=conducts,
        earth_m=earth_m,
        points=points,
        spans=spans,
        elements=elements,
        atoms=tuple(atoms),
        atom_elements=spread[: len(atoms)],
        run_elements=run_elements,
        bodies=spread[len(atoms) :],
        matrix=matrix,
        felt=felt,
        coarser=coarser,
    )


def _earth(job: Job, runs: Sequence[Run]) -> float:
    """Height of the earth plane: the grade, or as far below floors and runs as it must lie."""
    lowest = min(panel.outline[:, 2].min() for panel in job.building.panels)
    deepest = min((run.path_m[:, 2].min() for run in runs), default=lowest)
    return float(min(job.building.site.grade_m, lowest - _BELOW_FLOOR_M, deepest - _BELOW_RUN_M))


def _points(
    job: Job, receivers: Sequence[Receiver], readings: Sequence[FieldReading]
) -> tuple[Floats, tuple[tuple[int, int], ...]]:
    """Points of each receiver, its own spot first: around a point, or through a box."""
    points: list[Floats] = []
    spans = []
    for receiver in receivers:
        space = job.building.space(receiver.space)
        if receiver.size_m is None:
            offsets = _AROUND_M * np.concatenate((np.eye(3), -np.eye(3)))
        else:
            counts = np.maximum(1, np.ceil(receiver.size_m / _BOX_STEP_M)).astype(int)
            shares = [(np.arange(count) + 0.5) / count - 0.5 for count in counts]
            offsets = np.array(list(itertools.product(*shares))) * receiver.size_m
        around = receiver.position_m + offsets
        own = [receiver.position_m, *(point for point in around if contains(space, point))]
        spans.append((len(points), len(points) + len(own)))
        points += own
    points += [reading.position_m for reading in readings]
    return frozen(points), tuple(spans)
