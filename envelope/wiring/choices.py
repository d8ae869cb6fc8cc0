"""What is not known of wiring that was entered, and the voltages that each answer gives."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.wiring import CABLE_KINDS, PLUGS, Conducts, Route, Wiring
from envelope.physics.electrostatics import Complexes
from envelope.wiring.routing import Run, routes_of
from envelope.wiring.words import WALL_WORDS

MAX_STATES = 256  # of cables, phases and plugs for each of routes and walls
_SEED = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One answer to everything but walls and routes."""

    cable: Mapping[str, int]  # circuit → which of its cable's weights
    phase: Mapping[str, int]  # circuit → which of its voltages
    plug: Mapping[str, int]  # device → which way round


def choices(wiring: Wiring) -> tuple[list[Choice], bool]:
    """Answers to what is unknown, and whether they are a sample of all."""
    axes: list[tuple[str, str, int]] = []
    for circuit in wiring.circuits:
        if circuit.cable == "unknown":
            axes.append(("cable", circuit.id, 2))
        axes.append(("phase", circuit.id, len(circuit.voltages_v)))
    axes += [
        ("plug", device.id, len(PLUGS)) for device in wiring.devices if device.wiring == "unknown"
    ]
    axes = [axis for axis in axes if axis[2] > 1]
    count = int(np.prod([size for *_, size in axes])) if axes else 1
    answers: Sequence[tuple[int, ...]]
    if count <= MAX_STATES:
        answers = list(itertools.product(*(range(size) for *_, size in axes)))
    else:
        # all alike first, then each answer once, then by chance with a fixed seed
        draws = np.random.default_rng(_SEED)
        some = {tuple(min(level, size - 1) for *_, size in axes) for level in range(3)}
        for number, (*_, size) in enumerate(axes):
            for level in range(size):
                some.add(tuple(level if k == number else 0 for k in range(len(axes))))
        while len(some) < MAX_STATES:
            some.add(tuple(int(draws.integers(size)) for *_, size in axes))
        answers = sorted(some)
    found = []
    for answer in answers:
        said: dict[str, dict[str, int]] = {"cable": {}, "phase": {}, "plug": {}}
        for (kind, name, _), level in zip(axes, answer, strict=True):
            said[kind][name] = level
        found.append(Choice(cable=said["cable"], phase=said["phase"], plug=said["plug"]))
    return found, count > MAX_STATES


def unknowns(wiring: Wiring, *, walls: bool, routes: Collection[str]) -> list[str]:
    """What is not known, one phrase each.

    Parameters
    ----------
    wiring : Wiring
    walls : bool
        Whether it is not known of some wall whether it conducts.
    routes : collection of str
        Circuits whose runs may lie in different places.
    """
    found = ["whether walls conduct"] if walls else []
    for circuit in wiring.circuits:
        if circuit.id in routes:
            found.append(f"the route of {circuit.id}")
        if circuit.cable == "unknown":
            found.append(f"the cable of {circuit.id}")
        if len(circuit.voltages_v) > 1:
            found.append(f"the phase of {circuit.id}")
    found += [
        f"which way round {device.id} is plugged in"
        for device in wiring.devices
        if device.wiring == "unknown"
    ]
    return found


def values_of_unknowns(
    wiring: Wiring,
    walls: Sequence[Conducts],
    combinations: Sequence[Mapping[str, Route]],
    answers: Sequence[Choice],
) -> dict[str, list[list[str]]]:
    """What each thing that is not known is in each state, in words.

    Parameters
    ----------
    wiring : Wiring
    walls, combinations : (cases,) sequences
        State of unknown walls, and rules that circuits follow, in each case.
    answers : (n,) sequence of Choice

    Returns
    -------
    values : dict of str to (cases, n) str
    """
    count = len(answers)
    found: dict[str, list[list[str]]] = {}
    if len(set(walls)) > 1:
        found["walls"] = [[WALL_WORDS[each]] * count for each in walls]
    for circuit in wiring.circuits:
        if len(routes_of(circuit)) > 1:
            found[f"route of {circuit.id}"] = [[each[circuit.id]] * count for each in combinations]
        if circuit.cable == "unknown":
            cables = [str(CABLE_KINDS[answer.cable[circuit.id]]) for answer in answers]
            found[f"cable of {circuit.id}"] = [cables] * len(walls)
        if len(circuit.voltages_v) > 1:
            phases = [f"phase {answer.phase[circuit.id] + 1}" for answer in answers]
            found[f"phase of {circuit.id}"] = [phases] * len(walls)
    for device in wiring.devices:
        if device.wiring == "unknown":
            plugs = [str(PLUGS[answer.plug[device.id]]) for answer in answers]
            found[f"wiring of {device.id}"] = [plugs] * len(walls)
    return found


def run_voltages(
    wiring: Wiring, runs: Sequence[Run], answers: Sequence[Choice], off: Sequence[str]
) -> Complexes:
    """Effective voltages of runs under each answer.

    Parameters
    ----------
    wiring : Wiring
    runs : sequence of Run
    answers : sequence of Choice
    off : sequence of str
        Circuits, devices and runs that are off, or whose plug is pulled.

    Returns
    -------
    voltages : (runs, answers) complex
        [V]
    """
    volts = np.zeros((len(runs), len(answers)), dtype=np.complex128)
    devices = {device.id: device for device in wiring.devices}
    for row, run in enumerate(runs):
        if {run.id, run.circuit, run.device} & set(off):
            continue
        circuit = wiring.circuit(run.circuit)
        for column, answer in enumerate(answers):
            hot = circuit.voltages_v[answer.phase.get(circuit.id, 0)]
            weight = run.weights[answer.cable.get(circuit.id, 0) if len(run.weights) > 1 else 0]
            if run.device is not None:
                device = devices[run.device]
                plugged = device.wiring
                if plugged == "unknown":
                    plugged = PLUGS[answer.plug.get(device.id, 0)]
                if plugged == "earthed":
                    weight = 0.0
                elif run.id == device.id and not device.on:
                    # beyond its switch both cores are on the side that is not switched
                    weight = 1.0 if plugged == "reversed" else 0.0
            volts[row, column] = hot * weight
    return volts
