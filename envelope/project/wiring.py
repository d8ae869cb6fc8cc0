"""The wiring of a job from its tables: places on faces, voltages, what each plan does to it."""

from __future__ import annotations

import cmath
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
import shapely

from envelope import units
from envelope.building import wiring as records
from envelope.building.conduction import conductive_treatments
from envelope.building.job import AS_BUILT, Job
from envelope.building.model import Building, Panel, Space
from envelope.building.selectors import SelectionError, nearest_names, select
from envelope.building.standing import absolute, trouble_in
from envelope.errors import UnitError, length_text
from envelope.geometry.plane import Floats
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path
from envelope.wiring.faces import is_flat, lies_on, on_flat, on_wall
from envelope.wiring.islands import (
    bonded_islands,
    coated_regions,
    islands,
    pieces_behind,
    with_areas,
)
from envelope.wiring.routing import Run, entered_runs, routed_runs, routes_of

_HEIGHTS_M = {"socket": 0.3, "switch": 1.1, "light": 2.0}  # common practice, no source
_THREE_PHASE_V = 180.0  # a supply below it is split in two halves, one above it in three phases
_NO_WALL = frozenset(("window", "door", "hatch", "vent", "skylight", "open"))
_EDGE_M = 0.01  # of an opening, within which a thing may stand on its edge
T = TypeVar("T")


def with_wiring(job: Job, tables: Tables, faults: Faults) -> Job:
    """The job with its wiring."""
    wiring = _Reader(job, tables, faults).wiring()
    if faults:
        return job
    sure = entered_runs(job, wiring)
    for circuit in wiring.circuits:
        if len(routes_of(circuit)) == 1:
            sure += routed_runs(job, wiring, circuit, routes_of(circuit)[0])
    _check_plans(job, wiring, sure, tables, faults)
    return replace(job, wiring=with_areas(job, wiring, sure))


class _Reader:
    """Reads the tables one after another; every fault is noted."""

    def __init__(self, job: Job, tables: Tables, faults: Faults) -> None:
        self.job, self.tables, self.faults = job, tables, faults
        self.building: Building = job.building

    def wiring(self) -> records.Wiring:
        circuits = self._circuits()
        supplies = [table for _, table in self.tables.of(schema.Supply)]
        return records.Wiring(
            frequency_hz=supplies[0].frequency if supplies else 50.0,
            circuits=tuple(circuits),
            outlets=tuple(self._each(schema.Outlet, self._outlet)),
            cables=tuple(self._each(schema.Cable, self._cable)),
            devices=tuple(self._each(schema.Device, self._device)),
            bonds=tuple(self._each(schema.Bond, self._bond)),
            readings=tuple(self._each(schema.FieldReading, self._reading)),
            plans=self._plans(),
            conducts={
                table.id: table.conducts
                for _, table in self.tables.of(schema.Assembly)
                if table.conducts is not None
            },
        )

    def _each(
        self, kind: type[schema.Table], make: Callable[[int, schema.Table], T | None]
    ) -> list[T]:
        made = [make(index, table) for index, table in self.tables.of(kind)]
        return [each for each in made if each is not None]

    # Supplies and circuits

    def _circuits(self) -> list[records.Circuit]:
        supplies = {table.id: (index, table) for index, table in self.tables.of(schema.Supply)}
        listed = self.tables.of(schema.Circuit)
        if listed and not supplies:
            self.faults.add(
                ("circuit", listed[0][0]),
                "there is no supply: write its voltage to earth, such as "
                'supply = { voltage = "230 V", frequency = "50 Hz" }',
            )
            return []
        frequencies = {table.frequency for _, table in supplies.values()}
        for index, table in supplies.values():
            if len(supplies) > 1 and "phase" not in table.given():
                self.faults.add(
                    ("supply", index, "voltage"),
                    f"there are {len(supplies)} supplies, and this voltage has no phase: add it, "
                    'such as phase = "180 deg"',
                )
            if len(frequencies) > 1:
                self.faults.add(("supply", index, "frequency"), "all supplies have one frequency")
        entered = {table.circuit for _, table in self.tables.of(schema.Cable)}
        outlets = [table.circuit for _, table in self.tables.of(schema.Outlet)]
        return [
            records.Circuit(
                id=table.id,
                voltages_v=self._voltages(index, table, supplies),
                cable=table.cable,
                route=None
                if outlets.count(table.id) < 2
                or (table.id in entered and "route" not in table.given())
                else table.route,
            )
            for index, table in listed
        ]

    def _voltages(
        self,
        index: int,
        table: schema.Circuit,
        supplies: Mapping[str, tuple[int, schema.Supply]],
    ) -> tuple[complex, ...]:
        """Voltages that a circuit's hot core may have."""
        if table.supply is not None and table.supply not in supplies:
            if table.supply != "unknown":
                self._unknown(("circuit", index, "supply"), "supply", table.supply, supplies)
            fed = list(supplies.values())
        else:
            fed = [supplies[table.supply]] if table.supply is not None else list(supplies.values())
        if "phase" in table.given():
            volts = fed[0][1].voltage if fed else 0.0
            if table.phase is not None:
                return (cmath.rect(volts, table.phase),)
            if len(supplies) < 2:
                parts = 3 if volts >= _THREE_PHASE_V else 2
                return tuple(
                    cmath.rect(volts, 2.0 * cmath.pi * part / parts) for part in range(parts)
                )
        return tuple(cmath.rect(each.voltage, each.phase or 0.0) for _, each in fed)

    # Places on faces

    def _panel(self, path: Path, name: str) -> Panel | None:
        found = self.building.panel_index.get(name)
        if found is None:
            try:
                several = select(self.building, name)
            except SelectionError as error:
                self.faults.add(path, error.marked)
                return None
            self.faults.add(path, f"{shown(name)} names {len(several)} panels: name one face")
            return None
        return self.building.panels[found]

    def _spot(
        self,
        panel: Panel,
        where: str,
        height_m: float,
        from_left: bool,
        path: Path,
    ) -> Floats | None:
        """A point on a face; the fault is noted where it cannot be read or lies beside it."""
        space = self.building.space(panel.space)
        try:
            if is_flat(panel):
                x, y = units.parse_point(where, count=2)
                spot = on_flat(panel, space, x, y)
            else:
                along = units.parse_length(where)
                spot = on_wall(panel, space, self._along(panel, along, from_left), height_m)
        except UnitError as error:
            self.faults.add((*path, "at"), str(error))
            return None
        opening = self._opening_at(panel, spot)
        if opening is not None:
            self.faults.add(
                (*path, "at"),
                f"{shown(where)} lies in {opening.kind} {shown(opening.id)}: move it beside it",
            )
            return None
        if not lies_on(panel, spot[np.newaxis]):
            self.faults.add(
                (*path, "at"),
                f"{shown(where)} lies outside face {shown(panel.id)}: {self._extent(panel)}",
            )
            return None
        return spot

    def _opening_at(self, panel: Panel, spot: Floats) -> Panel | None:
        """The window, door or the like of a face in which a point lies."""
        point = shapely.Point(panel.frame.flatten(spot[np.newaxis])[0])
        for each in self.building.panels:
            if each.host == panel.id and each.kind in _NO_WALL:
                outline = shapely.Polygon(panel.frame.flatten(each.outline))
                if outline.buffer(-_EDGE_M).contains(point):
                    return each
        return None

    def _along(self, panel: Panel, along_m: float, from_left: bool) -> float:
        if not from_left:
            return along_m
        flat = panel.frame.flatten(panel.outline)
        return float(np.ptp(flat[:, 0])) - along_m

    def _extent(self, panel: Panel) -> str:
        space = self.building.space(panel.space)
        if is_flat(panel):
            low = panel.outline[:, :2].min(axis=0) - space.origin
            high = panel.outline[:, :2].max(axis=0) - space.origin
            ends = [f"{length_text(a)} to {length_text(b)}" for a, b in zip(low, high, strict=True)]
            return f"x runs from {ends[0]} and y from {ends[1]}"
        flat = panel.frame.flatten(panel.outline)
        low_z, high_z = panel.outline[:, 2].min(), panel.outline[:, 2].max()
        return (
            f"it is {length_text(float(np.ptp(flat[:, 0])))} long, and reaches from "
            f"{length_text(float(low_z - space.floor_m))} to "
            f"{length_text(float(high_z - space.floor_m))} above the floor"
        )

    def _outlet(self, index: int, table: schema.Table) -> records.Outlet | None:
        assert isinstance(table, schema.Outlet)
        path: Path = ("outlet", index)
        if not self._known((*path, "circuit"), "circuit", table.circuit):
            return None
        panel = self._panel((*path, "on"), table.on)
        if panel is None:
            return None
        allowed = ("wall", "ceiling") if table.kind == "light" else ("wall",)
        if panel.kind not in allowed:
            self.faults.add(
                (*path, "on"),
                f"{shown(table.on)} is a {panel.kind}: a {table.kind} is on a "
                f"{' or '.join(allowed)}",
            )
            return None
        height = _HEIGHTS_M[table.kind] if table.height is None else table.height
        spot = self._spot(panel, table.at, height, table.from_ == "left", path)
        if spot is None:
            return None
        return records.Outlet(
            id=table.id, circuit=table.circuit, panel=panel.id, position_m=spot, kind=table.kind
        )

    def _cable(self, index: int, table: schema.Table) -> records.Cable | None:
        assert isinstance(table, schema.Cable)
        path: Path = ("cable", index)
        if not self._known((*path, "circuit"), "circuit", table.circuit):
            return None
        panel = self._panel((*path, "on"), table.on)
        if panel is None:
            return None
        space = self.building.space(panel.space)
        left = table.from_ == "left"
        corners = np.array(
            [
                on_flat(panel, space, x, y)
                if is_flat(panel)
                else on_wall(panel, space, self._along(panel, x, left), y)
                for x, y in table.path
            ]
        )
        outside = [k for k, corner in enumerate(corners) if not lies_on(panel, corner[np.newaxis])]
        if outside:
            x, y = table.path[outside[0]]
            self.faults.add(
                (*path, "path"),
                f"corner {outside[0] + 1}, {length_text(x)} and {length_text(y)}, lies outside "
                f"face {shown(table.on)}: {self._extent(panel)}",
            )
            return None
        return records.Cable(
            id=table.id or f"{table.circuit} on {panel.id}",
            circuit=table.circuit,
            panel=panel.id,
            path_m=corners,
            depth_m=table.depth,
        )

    def _device(self, index: int, table: schema.Table) -> records.Device | None:
        assert isinstance(table, schema.Device)
        path: Path = ("device", index)
        outlets = {outlet.id: outlet for _, outlet in self.tables.of(schema.Outlet)}
        if not self._known((*path, "outlet"), "outlet", table.outlet):
            return None
        outlet = outlets.get(table.outlet)
        panel = None if outlet is None else self.building.panel_index.get(outlet.on)
        if panel is None:
            return None  # told at the outlet
        space = self.building.space(self.building.panels[panel].space)
        corners = [absolute(corner, space) for corner in table.cord]
        foot = absolute(table.at, space)
        sound = self._stands(foot, space, (*path, "at"))
        for number, corner in enumerate(corners):
            sound = self._stands(corner, space, (*path, "cord", number)) and sound
        if not sound:
            return None
        return records.Device(
            id=table.id,
            outlet=table.outlet,
            position_m=foot,
            cord_m=np.array(corners) if corners else None,
            height_m=table.height,
            wiring=table.wiring,
            on=table.on,
        )

    def _bond(self, index: int, table: schema.Table) -> records.Bond | None:
        assert isinstance(table, schema.Bond)
        path: Path = ("bond", index)
        panel = self._panel((*path, "on"), table.on)
        if panel is None:
            return None
        spot = self._spot(panel, table.at, table.height, table.from_ == "left", path)
        if spot is None:
            return None
        return records.Bond(
            id=table.id, panel=panel.id, position_m=spot, resistance_ohm=table.resistance
        )

    def _reading(self, index: int, table: schema.Table) -> records.FieldReading | None:
        assert isinstance(table, schema.FieldReading)
        path: Path = ("field-reading", index)
        if table.space not in self.building.space_index:
            self._unknown((*path, "space"), "space", table.space, self.building.space_index)
            return None
        plans = [AS_BUILT, *self.tables.known("plan")]
        if table.plan not in plans:
            self._unknown((*path, "plan"), "plan", table.plan, plans)
        known = [*self.tables.known("circuit"), *self.tables.known("device")]
        for name in table.off:
            if name not in known:
                self._unknown((*path, "off"), "circuit or device", name, known)
        space = self.building.space(table.space)
        spot = absolute(table.at, space)
        if not self._stands(spot, space, (*path, "at")):
            return None
        return records.FieldReading(
            id=table.id,
            space=table.space,
            position_m=spot,
            field_v_m=table.field,
            plan=table.plan,
            off=table.off,
            potential_free=table.against == "nothing",
            tolerance=table.tolerance,
        )

    def _stands(self, spot: Floats, space: Space, path: Path) -> bool:
        """Whether a point stands in a space; the fault is noted where not."""
        trouble = trouble_in(spot, space, self.building)
        if trouble is not None:
            self.faults.add(path, trouble)
        return trouble is None

    # Plans

    def _plans(self) -> dict[str, records.WiringPlan]:
        stated = {plan.id: (index, plan) for index, plan in self.tables.of(schema.Plan)}
        found: dict[str, records.WiringPlan] = {}
        for name in stated:
            chain = [name]
            while (parent := stated[chain[-1]][1].extends) in stated and parent not in chain:
                chain.append(str(parent))
            plan = records.WiringPlan()
            for step in reversed(chain):
                index, table = stated[step]
                own = found.get(step) if step != name else None
                plan = own or self._plan(index, table, plan)
            found[name] = plan
        return found

    def _plan(self, index: int, table: schema.Plan, base: records.WiringPlan) -> records.WiringPlan:
        path: Path = ("plan", index)
        for name in table.off:
            self._known((*path, "off"), "circuit", name)
        for name in table.bond or ():
            self._known((*path, "bond"), "bond", name)
        strips = list(base.strips)
        for number, strip in enumerate(table.strips):
            here = (*path, "strips", number)
            sound = self._known((*here, "along"), "circuit", strip.along)
            for name in strip.with_:
                sound = self._known((*here, "with"), "treatment", name) and sound
            try:
                panels = select(self.building, strip.on)
            except SelectionError as error:
                self.faults.add((*here, "on"), error.marked)
                continue
            if sound:
                strips.append(
                    records.Strip(
                        panels=panels,
                        treatments=strip.with_,
                        circuit=strip.along,
                        width_m=strip.width,
                    )
                )
        return records.WiringPlan(
            strips=tuple(strips),
            bonds=base.bonds if table.bond is None else table.bond,
            off=table.off if "off" in table.given() else base.off,
        )

    def _known(self, path: Path, what: str, name: str) -> bool:
        known = self.tables.known(what)
        if name not in known:
            self._unknown(path, what, name, known)
            return False
        return True

    def _unknown(
        self, path: Path, what: str, name: str, known: Sequence[str] | Mapping[str, object]
    ) -> None:
        self.faults.add(path, f"there is no {what} {shown(name)}: {nearest_names(name, known)}")


def _check_plans(
    job: Job, wiring: records.Wiring, sure: Sequence[Run], tables: Tables, faults: Faults
) -> None:
    """Strips that follow no run, and islands with two bonds."""
    conductive = conductive_treatments(job)
    told: set[frozenset[str]] = set()
    for index, table in tables.of(schema.Plan):
        for number, strip in enumerate(table.strips):
            path: Path = ("plan", index, "strips", number, "along")
            own = [run for run in sure if run.circuit == strip.along]
            panels = select(job.building, strip.on)
            if not any(pieces_behind(job.building.panel(name), own) for name in panels):
                unsure = len(routes_of(wiring.circuit(strip.along))) > 1
                why = (
                    f"the route of {shown(strip.along)} is unknown: find it first, and enter it "
                    "with route or [[cable]]"
                    if unsure
                    else f"circuit {shown(strip.along)} has no run behind {shown(strip.on)}"
                )
                faults.add(path, why)
            if not conductive & set(strip.with_):
                faults.add(
                    ("plan", index, "strips", number, "with"),
                    f"{shown(strip.with_[0] if strip.with_ else '')} does not conduct at 50 or "
                    "60 Hz: a strip needs a treatment that does",
                )
        regions = coated_regions(job, wiring, table.id, sure)
        groups = islands(job, regions)
        for group, bonds in zip(
            groups,
            bonded_islands(job, regions, groups, wiring.bonds_of(table.id)),
            strict=True,
        ):
            pair = frozenset(bond.id for bond in bonds)
            if len(pair) > 1 and (table.bond is not None or pair not in told):
                told.add(pair)
                names = " and ".join(shown(bond.id) for bond in bonds)
                panels_in = ", ".join(
                    shown(name) for name in dict.fromkeys(regions[k].panel for k in group)
                )
                place: Path = (
                    ("plan", index, "bond")
                    if table.bond is not None
                    else ("bond", _index(tables, bonds[1].id), "on")
                )
                faults.add(
                    place,
                    f"bonds {names} are both on one island under plan {shown(table.id)} "
                    f"({panels_in}): an island is bonded at one point",
                )


def _index(tables: Tables, bond: str) -> int:
    return next(index for index, table in tables.of(schema.Bond) if table.id == bond)
