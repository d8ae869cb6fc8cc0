"""Everything that a job says of its building, and what its records must agree on.

Records check themselves, and so does the job: what cannot be, or does not go together, raises
`RecordError` with every fault, wherever it is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from envelope.building.composition import (
    LOSS_TOLERANCE_DB,
    Assembly,
    Layer,
    LossCurve,
    Material,
    Treatment,
)
from envelope.building.fitted import Fitted
from envelope.building.model import Building
from envelope.building.plan_measures import measure_taken
from envelope.building.questions import Question
from envelope.building.readings import (
    CoverTest,
    Meter,
    Reading,
    ResistanceReading,
    Scan,
    Visit,
)
from envelope.building.selectors import SelectionError, select, unknown
from envelope.building.source_measures import SourceMeasure
from envelope.building.sources import (
    AS_BUILT,
    BED_M,
    LEVEL_TOLERANCE_DB,
    Bed,
    Plan,
    Polarization,
    Range,
    Receiver,
    Solved,
    Source,
)
from envelope.building.standing import trouble_in, trouble_of_box, trouble_outdoors
from envelope.building.unknowns import Unknown
from envelope.building.wiring import Wiring
from envelope.errors import EnvelopeError, Fault, Location, RecordError, UnknownNameError
from envelope.geometry.plane import Floats
from envelope.physics.materials import entry_loss_names, is_material, material_names
from envelope.pricing.defaults import Defaults
from envelope.pricing.products import Costs, Product

__all__ = [
    "AS_BUILT",
    "BED_M",
    "LEFT_AS_IT_IS",
    "LEVEL_TOLERANCE_DB",
    "LOSS_TOLERANCE_DB",
    "NOW_OR_NEVER",
    "Assembly",
    "Bed",
    "CoverTest",
    "Job",
    "Layer",
    "LossCurve",
    "Material",
    "Meter",
    "Plan",
    "Polarization",
    "Range",
    "Reading",
    "Receiver",
    "ResistanceReading",
    "Scan",
    "Solved",
    "Source",
    "SourceMeasure",
    "Treatment",
    "Visit",
    "job_faults",
    "no_level",
    "resolved",
]


LEFT_AS_IT_IS = frozenset(("bare", "finished"))  # what `work` says where nothing more is done
NOW_OR_NEVER = "now-or-never"  # what it says of a panel that is out of reach later


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """Everything that one project file says, resolved against its building.

    `plans` always begins with "as-built", which has no treatment. Every name is one of the job's
    own: an alias of a panel is resolved, an unknown name refused with the nearest ones.
    """

    name: str
    building: Building
    assemblies: Mapping[str, Assembly]
    treatments: Mapping[str, Treatment]
    sources: tuple[Source, ...]
    receivers: tuple[Receiver, ...]
    plans: tuple[Plan, ...]
    materials: Mapping[str, Material] = field(default_factory=dict)
    occupants: Mapping[str, int] = field(default_factory=dict)  # people by space
    furnishing_m2: Mapping[str, float] = field(default_factory=dict)  # absorption cross-section
    assumed_source: bool = False  # no source in the file: an even exterior field at 2.45 GHz
    notes: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    visits: tuple[Visit, ...] = ()
    meters: tuple[Meter, ...] = ()
    scans: tuple[Scan, ...] = ()
    cover_tests: tuple[CoverTest, ...] = ()
    resistances: tuple[ResistanceReading, ...] = ()
    fitted: Fitted | None = None  # what its readings leave open; None before they are solved
    wiring: Wiring | None = None  # None where the file says nothing of it
    unknowns: tuple[Unknown, ...] = ()  # what the file does not state and its figures rest on
    questions: tuple[Question, ...] = ()  # what its model leaves open
    products: tuple[Product, ...] = ()  # what is bought for treatments
    costs: Costs = field(default_factory=Costs)
    defaults: Defaults = field(default_factory=Defaults)  # of the trade
    work: Mapping[str, str] = field(default_factory=dict)  # by panel: bare, finished, now-or-never
    only_on: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # treatment → its panels
    feet: bool = False  # lengths are written in feet and inches, and are shown so
    # where the project file says each thing, by (table, id, key): for messages about it
    places: Mapping[tuple[str, str, str], Location] = field(default_factory=dict)

    def __repr__(self) -> str:
        plans = ", ".join(plan.id for plan in self.plans[:8])
        return (
            f"<Job {self.name[:80]!r}: {len(self.building.spaces)} spaces, "
            f"{len(self.sources)} sources, {len(self.receivers)} receivers, "
            f"{len(self.plans)} plans ({plans}{', …' if len(self.plans) > 8 else ''})>"
        )

    def __post_init__(self) -> None:
        faults = list(job_faults(self))
        plans = []
        for plan in self.plans:
            try:
                plans.append(resolved(self, plan))
            except RecordError as error:
                faults += error.faults
        if faults:
            raise RecordError(faults)
        first = [plan for plan in plans if plan.id == AS_BUILT]
        others = [plan for plan in plans if plan.id != AS_BUILT]
        plans = [*(first or [Plan(id=AS_BUILT, treatments={})]), *others]
        object.__setattr__(self, "plans", tuple(plans))

    @property
    def kept(self) -> frozenset[str]:
        """Panels to which nothing more is done."""
        return frozenset(panel for panel, word in self.work.items() if word in LEFT_AS_IT_IS)

    def may_go(self, treatment: str, panel: str) -> bool:
        """Whether a treatment may go on a panel, as far as the job says."""
        return panel in self.only_on.get(treatment, (panel,))

    @property
    def solved(self) -> tuple[Solved, ...]:
        """Levels that come from readings; a source mirrored by the ground has none of its own."""
        return tuple(
            source.solved
            for source in self.sources
            if source.solved is not None and source.solved.source == source.id
        )

    @property
    def unsolved(self) -> tuple[str, ...]:
        """Sources that still need a level from their readings."""
        return tuple(source.id for source in self.sources if not source.has_level)

    def require_levels(self) -> None:
        """Refuse a job whose levels have not been solved yet.

        Raises
        ------
        EnvelopeError
            Where a source has neither level nor EIRP.
        """
        if self.unsolved:
            which = ", ".join(f'"{name}"' for name in self.unsolved)
            raise EnvelopeError(
                f"no level is known of source {which}: call solve_levels(job) to find it from "
                "the readings, or state it"
            )

    def plan(self, name: str) -> Plan:
        """Plan by id; UnknownNameError, with the nearest names, where there is none."""
        plans = {plan.id: plan for plan in self.plans}
        if name not in plans:
            raise UnknownNameError(unknown("plan", name, plans))
        return plans[name]

    def factor_at(self, receiver: str, plan: str, source: str) -> float:
        """By what readings show a source's level at a receiver to differ from the model's."""
        return 1.0 if self.fitted is None else self.fitted.factor_of(receiver, plan, source)

    def factors_at(self, receiver: str, plan: str) -> dict[str, float]:
        """The same of all sources."""
        return {each.id: self.factor_at(receiver, plan, each.id) for each in self.sources}

    def resolved(self, plan: Plan) -> Plan:
        """A plan made for this job, its panels named by their ids.

        Raises
        ------
        RecordError
            With the nearest names, where a panel or a treatment is unknown.
        """
        return resolved(self, plan)


def job_faults(job: Job) -> Iterator[Fault]:
    """Everything that is wrong between the records of a job, its plans left out."""
    for table, records in (
        ("source", job.sources),
        ("receiver", job.receivers),
        ("reading", job.readings),
        ("plan", job.plans),
    ):
        yield from _twice(table, [record.id for record in records])
    for table, named in (
        ("material", job.materials),
        ("assembly", job.assemblies),
        ("treatment", job.treatments),
    ):
        for key, record in named.items():
            if key != record.id:
                message = f'{table} "{record.id}" is listed as "{key}": a key is the id'
                yield Fault(message=message, subject=(table, record.id, "id"))
    yield from _made_of(job)
    for source in job.sources:
        yield from _placed_source(job, source)
    for receiver in job.receivers:
        yield from _placed_receiver(job, receiver)
    known = [source.id for source in job.sources]
    for reading in job.readings:
        for name in reading.sources:
            yield from _unknown("reading", reading.id, "source", "source", name, known)


def no_level(storey: str) -> str:
    """Say that a source has no level for a storey that needs one."""
    return f'there is no level for storey "{storey}", where a receiver is'


def resolved(job: Job, plan: Plan) -> Plan:
    """A plan whose panels and treatments are the job's own ids.

    Panels may be named by id, by alias or by any other selector; a later one wins, as in a
    project file. Without a change the same plan is answered.

    Raises
    ------
    RecordError
        With the nearest names, where a panel or a treatment is unknown.
    """
    index = job.building.panel_index
    faults: list[Fault] = []

    def fault(message: str, key: str = "treat") -> None:
        faults.append(Fault(message=f'plan "{plan.id}": {message}', subject=("plan", plan.id, key)))

    if plan.id == AS_BUILT and plan.treatments:
        fault(f'"{AS_BUILT}" always exists and has no treatment: give this plan another id')
    treatments: dict[str, tuple[str, ...]] = {}
    for selector, names in plan.treatments.items():
        own = job.building.panels[index[selector]].id if selector in index else None
        try:
            panels = (own,) if own == selector else select(job.building, selector)
        except SelectionError as error:
            fault(error.marked)
            continue
        for name in names:
            if name not in job.treatments:
                fault(unknown("treatment", name, job.treatments))
        for panel in panels:
            treatments.pop(panel, None)
            treatments[panel] = names
    for panel, assembly in plan.assemblies.items():
        if panel not in index:
            fault(unknown("panel", panel, index))
        if assembly is not None and assembly not in job.assemblies:
            fault(unknown("assembly", assembly, job.assemblies))
    measures = {}
    for name, measure in plan.measures.items():
        taken = _taken(job, name, measure)
        if isinstance(taken, SourceMeasure):
            measures[name] = taken
        else:
            fault(taken[1], "measures")
    beds = {receiver.id: receiver for receiver in job.receivers}
    for name, bed in plan.beds.items():
        if name not in beds:
            fault(unknown("receiver", name, beds), "beds")
            continue
        if bed.space != beds[name].space:
            fault(f'a bed stays in its room, "{beds[name].space}"', "beds")
        for wrong in _placed_receiver(job, bed):
            fault(wrong.message, "beds")
    if faults:
        raise RecordError(dict.fromkeys(faults))
    if treatments == plan.treatments and measures == plan.measures:
        return plan
    return replace(plan, treatments=treatments, measures=measures)


def _taken(job: Job, name: str, measure: SourceMeasure) -> SourceMeasure | tuple[str, str]:
    return measure_taken(
        name,
        measure,
        sources=job.sources,
        building=job.building,
        standing=lambda space, at: _standing(job, space, at),
    )


def _twice(table: str, names: Sequence[str]) -> Iterator[Fault]:
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            message = f'two {table}s have the id "{name}": give each its own'
            yield Fault(message=message, subject=(table, name, "id"))


def _unknown(
    table: str, own: str, key: str, what: str, name: str | None, known: Iterable[str]
) -> Iterator[Fault]:
    names = known if isinstance(known, Mapping) else tuple(known)
    if name is not None and name not in names:
        message = f'{table} "{own}": {unknown(what, name, names)}'
        yield Fault(message=message, subject=(table, own, key))


def _made_of(job: Job) -> Iterator[Fault]:
    materials = {*job.materials, *material_names()}

    def layers(table: str, own: str, of: Iterable[Layer]) -> Iterator[Fault]:
        for number, layer in enumerate(of):
            for key, name in (
                ("material", layer.material),
                ("perhaps-material", layer.perhaps_material),
            ):
                if name is not None and not is_material(name):
                    at = f"layers.{number}.{key}"
                    yield from _unknown(table, own, at, "material", name, materials)

    for assembly in job.assemblies.values():
        own = assembly.id
        yield from layers("assembly", own, assembly.layers)
        entry = assembly.entry_loss
        yield from _unknown(
            "assembly", own, "entry-loss", "material class", entry, entry_loss_names()
        )
        for number, part in enumerate(assembly.parts):
            at = f"parts.{number}"
            yield from _unknown("assembly", own, at, "assembly", part, job.assemblies)
            if part in job.assemblies and job.assemblies[part].parts:
                message = f'assembly "{own}": "{part}" has parts itself: write all of them here'
                yield Fault(message=message, subject=("assembly", own, at))
    for treatment in job.treatments.values():
        yield from layers("treatment", treatment.id, treatment.layers)
    for name in sorted({element.assembly or "" for element in job.building.elements} - {""}):
        if name not in job.assemblies:
            message = f"the building names what is not defined: {_no_assembly(name, job)}"
            yield Fault(message=message, subject=("assembly", name, "id"))


def _no_assembly(name: str, job: Job) -> str:
    return unknown("assembly", name, job.assemblies)


def _placed_source(job: Job, source: Source) -> Iterator[Fault]:
    levels = source.level_w_m2
    spaces = job.building.space_index
    for receiver in job.receivers if levels and "" not in levels else ():
        if receiver.space in spaces:
            storey = job.building.space(receiver.space).storey
            if storey not in levels:
                message = f'source "{source.id}": {no_level(storey)}'
                yield Fault(message=message, subject=("source", source.id, "level"))
    yield from _unknown(
        "source", source.id, "space", "space", source.space, job.building.space_index
    )
    if source.position_m is None:
        return
    if source.space is None:
        trouble = _standing(job, None, source.position_m)
    elif source.space in job.building.space_index:
        trouble = _standing(job, source.space, source.position_m)
    else:
        return
    if trouble is not None:
        message = f'source "{source.id}": {trouble}'
        yield Fault(message=message, subject=("source", source.id, "at"))


def _placed_receiver(job: Job, receiver: Receiver) -> Iterator[Fault]:
    own = receiver.id
    spaces = job.building.space_index
    yield from _unknown("receiver", own, "space", "space", receiver.space, spaces)
    if receiver.space not in spaces:
        return
    trouble = _standing(job, receiver.space, receiver.position_m)
    if trouble is not None:
        yield Fault(message=f'receiver "{own}": {trouble}', subject=("receiver", own, "at"))
    elif receiver.size_m is not None:
        space = job.building.space(receiver.space)
        trouble = trouble_of_box(receiver.position_m, receiver.size_m, space)
        if trouble is not None:
            yield Fault(message=f'receiver "{own}": {trouble}', subject=("receiver", own, "size"))


def _standing(job: Job, space: str | None, position_m: Floats) -> str | None:
    """Trouble with where a point stands, kept by the building: records are copied often."""
    known = job.building.standings
    key = (space, tuple(position_m.tolist()))
    if key not in known:
        if space is None:
            known[key] = trouble_outdoors(position_m, job.building)
        else:
            known[key] = trouble_in(position_m, job.building.space(space), job.building)
    return known[key]
