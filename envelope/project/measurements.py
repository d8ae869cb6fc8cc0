"""Visits, meters and readings: their records, and the sources that they give a level to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

from envelope.building import job as records
from envelope.building.job import AS_BUILT, Meter, Plan, Reading, Receiver, Visit
from envelope.building.model import Building
from envelope.building.plan_measures import as_read
from envelope.building.readings import BACK_DB
from envelope.building.rooms.specs import OpeningState
from envelope.building.selectors import SelectionError, select, unknown
from envelope.building.standing import absolute, trouble_in, trouble_outdoors
from envelope.errors import RecordError
from envelope.geometry.plane import Floats, frozen
from envelope.project.faults import Faults
from envelope.project.opening_states import Openings
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path
from envelope.text import SPACE, level


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Everything that visits brought."""

    visits: tuple[Visit, ...]
    meters: tuple[Meter, ...]
    readings: tuple[Reading, ...]
    scans: tuple[records.Scan, ...]
    cover_tests: tuple[records.CoverTest, ...]
    resistances: tuple[records.ResistanceReading, ...]


def measured_of(
    tables: Tables,
    building: Building,
    *,
    plans: Sequence[Plan],
    receivers: Sequence[Receiver],
    faults: Faults,
) -> Measured:
    """Records of visits, meters and readings; what is wrong with them is noted.

    Parameters
    ----------
    tables : Tables
    building : Building
    plans : sequence of Plan
        Of the job: a reading may be taken after any of them.
    receivers : sequence of Receiver
        At which readings may be taken.
    faults : Faults
        Takes what is wrong.
    """
    visits = [(index, table.record()) for index, table in tables.of(schema.Visit)]
    dates: dict[object, str] = {}
    for index, visit in visits:
        if visit.date in dates:
            faults.add(
                ("visit", index, "date"),
                f"visit {shown(dates[visit.date])} is of {visit.date.isoformat()} too: one visit a "
                "day, so put these readings to that one",
            )
        dates.setdefault(visit.date, visit.id)
    meters = tuple(table.record() for _, table in tables.of(schema.Meter))
    resolver = _Resolver(
        tables=tables,
        building=building,
        plans={plan.id: plan for plan in plans},
        receivers={receiver.id: receiver for receiver in receivers},
        visits={visit.id: visit for _, visit in visits},
        meters={meter.id: meter for meter in meters},
        faults=faults,
    )
    return Measured(
        visits=tuple(sorted((visit for _, visit in visits), key=lambda each: each.date)),
        meters=meters,
        readings=tuple(resolver.readings()),
        scans=tuple(resolver.scans()),
        cover_tests=tuple(resolver.cover_tests()),
        resistances=tuple(resolver.resistances()),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Resolver:
    tables: Tables
    building: Building
    plans: Mapping[str, Plan]
    receivers: Mapping[str, Receiver]
    visits: Mapping[str, Visit]
    meters: Mapping[str, Meter]
    faults: Faults

    def readings(self) -> Iterator[Reading]:
        """Readings with their places, plans and what they hear."""
        openings = Openings(tables=self.tables, building=self.building)
        for index, table in self.tables.of(schema.Reading):
            plan = self._plan(table.plan, table.visit, ("reading", index, "plan"))
            place = self._place(table, ("reading", index, "at"), plan)
            if place is None or plan is None:
                continue
            plan = as_read(plan)
            states = cast("dict[str, OpeningState]", {**plan.states, **table.states})
            if table.states:
                path = ("reading", index, "states")
                assemblies = openings.assemblies(states, path, self.faults)
                treated = openings.treatments(plan.treatments, states)
                kept = {panel: names for panel, names in treated.items() if names}
                plan = replace(plan, treatments=kept, assemblies=assemblies, states=states)
            reading = self._record(table, index, *place, plan)
            if reading is not None:
                yield reading

    def _place(
        self, table: schema.Reading | schema.CoverTest, path: Path, plan: Plan | None
    ) -> tuple[Floats, str | None] | None:
        if table.receiver is not None:
            receiver = self.receivers.get(table.receiver)
            receiver = receiver if plan is None else plan.beds.get(table.receiver, receiver)
            return None if receiver is None else (receiver.position_m, receiver.space)
        assert table.at is not None
        if table.space is None:
            position = frozen(table.at)
            trouble = trouble_outdoors(position, self.building)
        elif table.space in self.building.space_index:
            space = self.building.space(table.space)
            position = absolute(table.at, space)
            trouble = trouble_in(position, space, self.building)
        else:
            return None
        if trouble is not None:
            self.faults.add(path, trouble)
            return None
        return position, table.space

    def _plan(self, own: str | None, visit: str | None, path: Path) -> Plan | None:
        """What had been done: as the reading says, or else its visit."""
        of_visit = self.visits.get(visit or "")
        if own is not None and of_visit is not None and own != of_visit.plan:
            self.faults.add(
                path,
                f"visit {shown(of_visit.id)} is of plan {shown(of_visit.plan)}, and this says "
                f"{shown(own)}: leave one of them out",
            )
            return None
        return self.plans.get(own or (AS_BUILT if of_visit is None else of_visit.plan))

    def _record(
        self,
        table: schema.Reading,
        index: int,
        position: Floats,
        space: str | None,
        plan: Plan,
    ) -> Reading | None:
        meter = self.meters.get(table.meter or "")
        path = ("reading", index)
        if table.facing is not None and (meter is None or meter.beamwidth_rad is None):
            self.faults.add(
                (*path, "facing"),
                "facing needs a [[meter]] with a beamwidth: one that hears from all sides faces "
                "nowhere",
            )
            return None
        if meter is not None and table.shows == "value":
            shows = _level(table.level)
            if table.level < meter.lowest_w_m2:
                lowest = _level(meter.lowest_w_m2)
                self.faults.add(
                    (*path, "level"),
                    f"{shows} lies below the least that meter {shown(meter.id)} shows, {lowest}: "
                    'write that as level, with shows = "below"',
                )
                return None
            if table.level > meter.highest_w_m2:
                self.faults.add(
                    (*path, "level"),
                    f"{shows} lies above the most that meter {shown(meter.id)} shows, "
                    f'{_level(meter.highest_w_m2)}: write that, with shows = "above"',
                )
                return None
        off = self._sources(table.off)
        heard = self._sources(table.source) if table.source is not None else self._all()
        heard = tuple(name for name in heard if name not in off)
        if not heard:
            self.faults.add((*path, "off"), "everything is off, so there is nothing to read")
            return None
        mute = [name for name, each in plan.measures.items() if each.factor == 0.0]
        if set(heard) <= set(self._sources(mute)):
            names = " and ".join(shown(name) for name in heard)
            self.faults.add(path, f"{names} sends nothing under plan {shown(plan.id)}")
            return None
        if table.detector == "peak" and not self._may_be_peak(heard, (*path, "detector")):
            return None
        stated = "tolerance" in table.given()
        try:
            return Reading(
                id=table.id,
                sources=heard,
                off=off,
                position_m=position,
                level_w_m2=table.level,
                plan=plan,
                space=space,
                receiver=table.receiver,
                spots=table.spots,
                tolerance_db=table.tolerance if stated or meter is None else meter.tolerance_db,
                visit=table.visit,
                meter=table.meter or "",
                detector=table.detector,
                shows=table.shows,
                facing_rad=table.facing,
                tilt_rad=table.tilt,
                beamwidth_rad=None if meter is None else meter.beamwidth_rad,
                back_db=BACK_DB if meter is None else meter.back_db,
            )
        except RecordError as error:
            for fault in error.faults:
                key = (fault.subject or ("", "", "id"))[2]
                self.faults.add((*path, key), fault.message)
            return None

    def _all(self) -> tuple[str, ...]:
        return tuple(source.id for _, source in self.tables.of(schema.Source))

    def _sources(self, names: Sequence[str]) -> tuple[str, ...]:
        """Sources by their ids, those of a device in all of its bands."""
        devices = self.tables.devices()
        found = [each for name in names for each in devices.get(name, (name,))]
        return tuple(dict.fromkeys(found))

    def _may_be_peak(self, heard: Sequence[str], path: Path) -> bool:
        for _, source in self.tables.of(schema.Source):
            if source.id in heard and source.duty is None and not source.is_point:
                self.faults.add(
                    path,
                    f"a peak needs the share of the time that {shown(source.id)} sends: give it "
                    'detector = "average" and duty, or read the average',
                )
                return False
        return True

    def scans(self) -> Iterator[records.Scan]:
        """Scans along joints, each on a face of the building."""
        for index, table in self.tables.of(schema.Scan):
            plan = self._plan(table.plan, table.visit, ("scan", index, "plan"))
            panel = self._panel(table.along, ("scan", index, "along"))
            if plan is not None and panel is not None:
                yield records.Scan(
                    id=table.id,
                    along=panel,
                    edge=table.edge,
                    level_w_m2=table.level,
                    beside_w_m2=table.beside,
                    plan=plan.id,
                    visit=table.visit,
                )

    def cover_tests(self) -> Iterator[records.CoverTest]:
        """Cover tests, each on a face of the building and at a place in one of its rooms."""
        for index, table in self.tables.of(schema.CoverTest):
            plan = self._plan(table.plan, table.visit, ("cover-test", index, "plan"))
            panels = self._panels(table.on, ("cover-test", index, "on"))
            place = self._place(table, ("cover-test", index, "at"), plan)
            if plan is None or not panels or place is None or place[1] is None:
                continue
            yield records.CoverTest(
                id=table.id,
                on=table.on,
                panels=panels,
                space=place[1],
                position_m=place[0],
                receiver=table.receiver,
                uncovered_w_m2=table.uncovered,
                level_w_m2=table.level,
                spots=table.spots,
                plan=plan.id,
                visit=table.visit,
            )

    def resistances(self) -> Iterator[records.ResistanceReading]:
        """Resistances between points of a coating, each on a face of the building."""
        for index, table in self.tables.of(schema.Resistance):
            panel = self._panel(table.on, ("resistance", index, "on"))
            if panel is not None:
                yield replace(table.record(), on=panel)

    def _panels(self, selector: str, path: Path) -> tuple[str, ...]:
        try:
            return select(self.building, selector)
        except SelectionError as error:
            self.faults.add(path, error.marked)
            return ()

    def _panel(self, name: str, path: Path) -> str | None:
        at = self.building.panel_index.get(name)
        if at is None:
            self.faults.add(path, unknown("panel", name, self.building.panel_index))
            return None
        return self.building.panels[at].id


def _level(value_w_m2: float) -> str:
    return level(value_w_m2).replace(SPACE, " ")  # in one line as it is


def without_readings(tables: Tables) -> Tables:
    """The tables of a house that was moved about since its readings were taken."""
    kinds = (schema.Reading, schema.Scan, schema.CoverTest, schema.Resistance)
    return replace(tables, entries={**tables.entries, **{kind: [] for kind in kinds}})


def check_readings(tables: Tables, faults: Faults) -> None:
    """Note sources without a level that no reading gives, and units that change within a meter."""
    devices = tables.devices()
    named: set[str] = set()
    for _, reading in tables.of(schema.Reading):
        for name in reading.source or tables.known("source"):
            named |= {name, *devices.get(name, ())} - set(reading.off)
    for index, source in tables.of(schema.Source):
        key = "eirp" if source.is_point else "level"
        if key in source.given():
            continue
        if source.id in named:
            if "level-tolerance" in source.given():
                faults.add(
                    ("source", index, "level-tolerance"),
                    f"level-tolerance does not go with a {key} solved from readings, which bring "
                    "their own",
                )
        elif "reading" not in faults.tables:
            what = "at a point" if source.is_point else "in a direction"
            guess = '"20 dBm"' if source.is_point else '"100 uW/m2"'
            faults.add(
                ("source", index, key),
                f"{key} is missing: a source {what} needs it, or a [[reading]] that names it; as "
                f"a guess until then, write such as {key} = {guess} with level-tolerance = "
                '"10 dB"',
            )
    first: dict[tuple[str, str | None], tuple[str, str]] = {}
    for index, reading in tables.of(schema.Reading):
        text = faults.text_at(("reading", index, "level"))
        if reading.meter is None or text is None:
            continue
        kind = _kind_of_unit(text)
        own, before = first.setdefault((reading.meter, reading.visit), (kind, reading.id))
        if own != kind:
            faults.add(
                ("reading", index, "level"),
                f"units are mixed: {shown(before)} with the same meter on the same visit is {own}, "
                f"and this is {kind}; write both as the meter shows them",
            )


def _kind_of_unit(text: str) -> str:
    if "V/m" in text:
        return "a field strength"
    return "in dBm/m2" if "dBm" in text else "a power density"
