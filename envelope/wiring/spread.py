"""Every plan in every state of what is not known, and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.job import AS_BUILT, Job, Receiver
from envelope.building.wiring import Conducts, Route, Wiring
from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats
from envelope.physics.electrostatics import Complexes, Indices
from envelope.wiring.body import METER_OHM
from envelope.wiring.choices import (
    Choice,
    choices,
    run_voltages,
    unknowns,
    values_of_unknowns,
)
from envelope.wiring.network import Terminals, magnitude, voltages
from envelope.wiring.reach import reaches
from envelope.wiring.readings import (
    agreement,
    beside,
    left_open,
    plan_tests,
    switch_tests,
)
from envelope.wiring.results import (
    FieldAt,
    IslandVolts,
    PlanField,
    Remaining,
    Span,
    WiringResults,
)
from envelope.wiring.routing import Run
from envelope.wiring.system import State, System, build_system

Progress = Callable[[float], None]

_METHOD = 0.02  # error of the method: closer than this, two plans are alike
_RAISES = 1.1  # a plan that has more than this against as-built raises the field


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something that can be switched off or unplugged."""

    what: str
    kind: str
    circuit: str


@dataclass(slots=True, kw_only=True, eq=False)
class _Case:
    """One plan in one state of walls and routes; an answer to the rest is a column."""

    walls: Conducts
    combination: Mapping[str, Route]
    state: State
    at: list[Floats]  # per receiver (answers,)
    mean: list[Floats]
    greatest: list[Floats]
    off: dict[str, list[Floats]]
    body: list[Floats]
    meter: list[Floats]
    islands: list[tuple[tuple[str, ...], Floats, Floats]]  # panels, volts, current
    loudest: list[str]  # per receiver, the run whose absence helps most
    readings: dict[str, Floats]  # at their spots, with what was off then


def has_runs(wiring: Wiring) -> bool:
    """Whether any circuit has a run: a cable, or two outlets to lead between."""
    outlets = [outlet.circuit for outlet in wiring.outlets]
    return bool(wiring.cables) or any(outlets.count(circuit.id) > 1 for circuit in wiring.circuits)


def things(wiring: Wiring, runs: Sequence[Run]) -> list[Thing]:
    """Circuits, runs and devices, each once."""
    found = [
        Thing(what=circuit.id, kind="circuit", circuit=circuit.id) for circuit in wiring.circuits
    ]
    for run in runs:
        if run.joint:
            continue
        if run.device is None:
            found.append(Thing(what=run.id, kind="run", circuit=run.circuit))
        elif run.id == run.device:
            found.append(Thing(what=run.id, kind="device", circuit=run.circuit))
    return found


def solve_wiring(
    job: Job,
    wiring: Wiring,
    *,
    receivers: Sequence[Receiver] | None = None,
    plans: Sequence[str] | None = None,
    progress: Progress | None = None,
    before: System | None = None,
) -> tuple[System, WiringResults]:
    """The wiring's field at each receiver under each plan.

    Parameters
    ----------
    job : Job
    wiring : Wiring
    receivers : sequence of Receiver, optional
        All if not given.
    plans : sequence of str, optional
        All if not given; as-built is always among them.
    progress : callable, optional
        Told the share that is done.
    before : System, optional
        Of the job as it was, for `build_system`.

    Returns
    -------
    system, results : System, WiringResults
        The elements, for maps and pictures; and the figures.
    """
    say = progress or (lambda _: None)
    chosen = tuple(job.receivers if receivers is None else receivers)
    read = {reading.plan for reading in wiring.readings}
    asked = {AS_BUILT, *read, *(plans or ())}
    ids = [plan.id for plan in job.plans if plans is None or plan.id in asked]
    system = build_system(job, wiring, chosen, before=before)
    answers, sampled = choices(wiring)
    cases: dict[str, list[_Case]] = {}
    for number, plan_id in enumerate(ids):
        say((number + 1) / (len(ids) + 1))
        try:
            cases[plan_id] = [
                _case(system, system.state(plan_id, walls), combination, answers)
                for walls in system.wall_states
                for combination in system.combinations
            ]
        except np.linalg.LinAlgError:
            raise EnvelopeError(
                f"the field under plan {plan_id!r} cannot be solved: two faces or a cable and a "
                "face lie in one place; move one of them by some millimetres"
            ) from None
    system.factored.clear()
    fields = tuple(_plan_field(system, plan_id, cases) for plan_id in ids)
    agree = agreement(system.wiring, cases)
    every = len(system.wall_states) * len(system.combinations) * len(answers)
    return system, WiringResults(
        frequency_hz=wiring.frequency_hz,
        plans=fields,
        unknowns=tuple(
            unknowns(wiring, walls=len(system.wall_states) > 1, routes=system.unknown_routes)
        ),
        states=every,
        sampled=sampled,
        winner=_winner(fields, cases),
        readings=beside(system.wiring, cases),
        tests=switch_tests(system.wiring, cases),
        changes=plan_tests(system.wiring, cases),
        states_left=every if agree is None else int(agree.sum()),
        left_open=()
        if agree is None
        else left_open(
            values_of_unknowns(
                system.wiring,
                [case.walls for case in cases[AS_BUILT]],
                [case.combination for case in cases[AS_BUILT]],
                answers,
            ),
            agree,
        ),
        winner_left=None
        if agree is None or not agree.any()
        else _winner(fields, cases, agree=agree),
        reaches_m=reaches(system, answers),
        elements=len(system.elements),
        coarser=system.coarser,
        notes=_notes(system, sampled),
    )


def known_voltages(
    system: System, state: State, runs: Sequence[Run], answers: Sequence[Choice], off: Sequence[str]
) -> Complexes:
    """Voltages (islands + runs, answers) with 0 for the islands."""
    live = run_voltages(system.wiring, runs, answers, off)
    return np.concatenate((np.zeros((len(state.islands), live.shape[1])), live))


def all_voltages(system: System, state: State, solved: Terminals, known: Complexes) -> Complexes:
    """Voltages of every terminal (t, answers), islands solved; a body, last, floats."""
    count = len(state.islands)
    resistance = np.array([island.resistance_ohm for island in state.islands])
    return _columns(
        solved.capacitance, known, np.arange(count), resistance, system.wiring.frequency_hz
    )


def _columns(
    capacitance: Floats, known: Complexes, free: Indices, resistance: Floats, frequency_hz: float
) -> Complexes:
    """Solve each column: voltages are linear in what is known, so unit columns do."""
    rest = np.setdiff1d(np.arange(len(known)), free)
    answer = np.zeros((len(known), len(rest)), dtype=np.complex128)
    for column, terminal in enumerate(rest):
        unit = np.zeros(len(known), dtype=np.complex128)
        unit[terminal] = 1.0
        answer[:, column] = voltages(
            capacitance,
            known=unit,
            free=free,
            resistance_ohm=resistance,
            frequency_hz=frequency_hz,
        )
    result: Complexes = answer @ known[rest]
    return result


def _case(
    system: System, state: State, combination: Mapping[str, Route], answers: Sequence[Choice]
) -> _Case:
    runs = system.runs(combination)
    always_off = system.wiring.plan(state.plan).off
    solved = system.solved(state, runs)
    islands = len(state.islands)
    resistance = np.array([island.resistance_ohm for island in state.islands])
    # terminals' own voltages per volt on each run: switching things off is a product then
    unit = np.concatenate((np.zeros((islands, len(runs))), np.eye(len(runs)))).astype(complex)
    per_run = all_voltages(system, state, solved, unit)
    field = (solved.field @ per_run).reshape(-1, 3, len(runs))
    live = run_voltages(system.wiring, runs, answers, always_off)
    strength = magnitude(np.moveaxis(np.tensordot(field, live, axes=(2, 0)), 1, -1))
    case = _Case(
        walls=state.walls,
        combination=combination,
        state=state,
        at=[strength[low] for low, _ in system.spans],
        mean=[strength[low:high].mean(axis=0) for low, high in system.spans],
        greatest=[strength[low:high].max(axis=0) for low, high in system.spans],
        off={},
        body=[],
        meter=[],
        islands=[],
        loudest=[],
        readings={},
    )
    first = len(system.points) - len(system.wiring.readings)
    for number, reading in enumerate(system.wiring.readings):
        if reading.plan == state.plan:
            off = (*always_off, *reading.off)
            there = field[first + number] @ run_voltages(system.wiring, runs, answers, off)
            case.readings[reading.id] = magnitude(there.T)
    spots = field[[low for low, _ in system.spans]]
    for thing in things(system.wiring, runs):
        kept = [not {run.id, run.circuit, run.device} & {thing.what} for run in runs]
        left = live * np.array(kept)[:, np.newaxis]
        remains = magnitude(np.moveaxis(np.tensordot(spots, left, axes=(2, 0)), 1, -1))
        case.off[thing.what] = list(remains)
    volts = per_run[:islands] @ live
    charge = solved.capacitance[:islands] @ (per_run @ live)
    omega = 2.0 * np.pi * system.wiring.frequency_hz
    for number, island in enumerate(state.islands):
        if island.coated:
            flows = np.abs(omega * charge[number]) * np.isfinite(resistance[number])
            case.islands.append((island.panels, np.abs(volts[number]), flows))
    for number in range(len(system.receivers)):
        with_body = system.solved(state, runs, body=number)
        case.body.append(_body_volts(system, state, with_body, live, np.inf))
        case.meter.append(_body_volts(system, state, with_body, live, METER_OHM))
    case.loudest = [
        min(
            (thing.what for thing in things(system.wiring, runs) if thing.kind != "circuit"),
            key=lambda name: float(case.off[name][k].max()),
            default="",
        )
        for k in range(len(system.receivers))
    ]
    return case


def _body_volts(
    system: System, state: State, solved: Terminals, live: Complexes, meter_ohm: float
) -> Floats:
    """Voltage of somebody who lies at a receiver, to earth."""
    count = len(state.islands)
    known = np.zeros((count + len(live) + 1, live.shape[1]), dtype=np.complex128)
    known[count:-1] = live
    resistance = np.array([*(island.resistance_ohm for island in state.islands), meter_ohm])
    free = np.array([*range(count), len(known) - 1])
    result = _columns(solved.capacitance, known, free, resistance, system.wiring.frequency_hz)
    volts: Floats = np.abs(result[-1])
    return volts


def _safe(field_v_m: Floats) -> Floats:
    """A field to divide by."""
    return np.maximum(field_v_m, 1e-12)


def span(values: Sequence[Floats]) -> Span:
    """Least and greatest of some arrays."""
    every = np.concatenate([np.ravel(value) for value in values])
    return Span(low=float(every.min()), high=float(every.max()))


def _plan_field(system: System, plan_id: str, cases: Mapping[str, Sequence[_Case]]) -> PlanField:
    own, before = cases[plan_id], cases[AS_BUILT]
    receivers = []
    for number, receiver in enumerate(system.receivers):
        ratio = [
            case.at[number] / _safe(base.at[number]) for case, base in zip(own, before, strict=True)
        ]
        raised = [
            case.loudest[number]
            for case, shares in zip(own, ratio, strict=True)
            if plan_id != AS_BUILT and float(np.max(shares)) > _RAISES
        ]
        receivers.append(
            FieldAt(
                receiver=receiver.id,
                field_v_m=span([case.at[number] for case in own]),
                mean_v_m=span([case.mean[number] for case in own]),
                greatest_v_m=span([case.greatest[number] for case in own]),
                by_walls={
                    walls: span([case.at[number] for case in own if case.walls == walls])
                    for walls in system.wall_states
                },
                against_as_built=span(ratio),
                body_volts=span([case.body[number] for case in own]),
                body_meter_volts=span([case.meter[number] for case in own]),
                remaining=_remaining(system, own, number),
                raised_by=raised[0] if raised else None,
            )
        )
    return PlanField(
        plan=plan_id,
        off=system.wiring.plan(plan_id).off,
        receivers=tuple(receivers),
        islands=_islands(own),
    )


def _remaining(system: System, own: Sequence[_Case], number: int) -> tuple[Remaining, ...]:
    """What is left with each thing off, from the least; runs of a rule where they are there."""
    found = []
    every = {
        thing.what: thing
        for combination in system.combinations
        for thing in things(system.wiring, system.runs(combination))
    }
    for name, thing in every.items():
        there = [case for case in own if name in case.off]
        found.append(
            Remaining(
                what=name,
                kind=thing.kind,
                circuit=thing.circuit,
                field_v_m=span([case.off[name][number] for case in there]),
                share=span([case.off[name][number] / _safe(case.at[number]) for case in there]),
            )
        )
    return tuple(sorted(found, key=lambda each: (each.field_v_m.high, each.what)))


def _islands(own: Sequence[_Case]) -> tuple[IslandVolts, ...]:
    """Islands of a plan, over the states; walls that conduct join some of them."""
    found: dict[tuple[str, ...], list[tuple[_Case, int]]] = {}
    for case in own:
        for number, (panels, _, _) in enumerate(case.islands):
            found.setdefault(panels, []).append((case, number))
    result = []
    for panels, places in found.items():
        case, _ = places[0]
        island = next(each for each in case.state.islands if each.panels == panels)
        result.append(
            IslandVolts(
                panels=panels,
                bonds=tuple(bond.id for bond in island.bonds),
                earthed_by_wall=island.earthed,
                leaf=island.leaf,
                volts=span([case.islands[number][1] for case, number in places]),
                current_a=span([case.islands[number][2] for case, number in places]),
            )
        )
    return tuple(result)


def _notes(system: System, sampled: bool) -> tuple[str, ...]:
    """What was assumed or left out."""
    notes = []
    if system.coarser > 1.0:
        notes.append(
            f"cells are {system.coarser:.1f} times as coarse as usual, since there are so many "
            "faces: figures may be off by 5 %"
        )
    if sampled:
        notes.append(
            "there are too many combinations of what is not known: a sample of them was computed, "
            "so a range may be somewhat wider still"
        )
    if any(run.circuit and not run.entered for runs in system.routed.values() for run in runs):
        notes.append("runs between outlets follow a rule: where cables really lie, find out")
    return tuple(notes)


def _winner(
    fields: Sequence[PlanField],
    cases: Mapping[str, Sequence[_Case]],
    *,
    agree: Floats | None = None,
) -> str | None:
    """The plan that is best in every state at every receiver, and better than as-built.

    Where readings rule states out, in every state (cases, answers) that is left.
    """
    fit = [field.plan for field in fields if not field.unbonded]

    def all_better(mine: Floats, theirs: Floats, number: int) -> bool:
        better = mine < theirs * (1.0 - _METHOD)
        return bool(np.all(better if agree is None else better | (agree[number] == 0.0)))

    for plan_id in fit:
        if plan_id == AS_BUILT:
            continue
        others = [other for other in fit if other != plan_id]
        if all(
            all_better(mine, theirs, number)
            for other in others
            for number, (case, beside) in enumerate(zip(cases[plan_id], cases[other], strict=True))
            for mine, theirs in zip((*case.at, *case.mean), (*beside.at, *beside.mean), strict=True)
        ):
            return plan_id
    return None
