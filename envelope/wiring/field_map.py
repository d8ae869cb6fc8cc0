"""The field over a receiver's room at its height, in one state of what is not known."""

from __future__ import annotations

import numpy as np
import shapely

from envelope.building.point_location import bounds
from envelope.building.wiring import CABLE_KINDS
from envelope.wiring.choices import choices
from envelope.wiring.matrix import field_matrix
from envelope.wiring.network import magnitude
from envelope.wiring.results import FieldMap
from envelope.wiring.routing import routes_of
from envelope.wiring.spread import all_voltages, known_voltages
from envelope.wiring.system import System
from envelope.wiring.words import WALL_WORDS

_STEP_M = 0.1
_CLEAR_M = 0.05
_MAX_POINTS = 2500
_ROWS = 200


def field_map(system: System, plan_id: str, *, receiver: int = 0) -> FieldMap:
    """Field over the floor under a plan.

    What is not known stands as the first of its answers; `state` says which.

    Parameters
    ----------
    system : System
    plan_id : str
    receiver : int
        Number of the receiver whose room and height are drawn.
    """
    chosen = system.receivers[receiver]
    space = system.job.building.space(chosen.space)
    low, high = bounds(space.panels)
    step = _STEP_M
    while np.prod((high[:2] - low[:2]) / step) > _MAX_POINTS:
        step *= 1.2
    xs, ys = (
        np.linspace(low[axis] + _CLEAR_M, high[axis] - _CLEAR_M, round((high - low)[axis] / step))
        for axis in (0, 1)
    )
    height = float(chosen.position_m[2])
    grid_x, grid_y = np.meshgrid(xs, ys)
    points = np.stack((grid_x.ravel(), grid_y.ravel(), np.full(grid_x.size, height)), axis=1)
    walls = system.wall_states[0]
    combination = system.combinations[0]
    answer = choices(system.wiring)[0][:1]
    state = system.state(plan_id, walls)
    runs = system.runs(combination)
    solved = system.solved(state, runs, charges=True)
    off = system.wiring.plan(plan_id).off
    known = known_voltages(system, state, runs, answer, off)
    charge = solved.charges @ all_voltages(system, state, solved, known)[:, 0]
    part = system.elements.taken(solved.active)
    order = system.elements.order(solved.active)
    field = np.concatenate(
        [
            field_matrix(part, points[at : at + _ROWS], earth_m=system.earth_m) @ charge[order]
            for at in range(0, len(points), _ROWS)
        ]
    )
    floors = [panel for panel in space.panels if panel.kind == "floor"]
    plan = shapely.union_all([shapely.Polygon(panel.outline[:, :2]) for panel in floors])
    inside = shapely.contains_xy(plan, grid_x.ravel(), grid_y.ravel())
    strength = np.where(inside, magnitude(field), np.nan).reshape(grid_x.shape)
    return FieldMap(
        plan=plan_id,
        receiver=chosen.id,
        state=", ".join(_state_words(system)),
        xs_m=xs,
        ys_m=ys,
        height_m=height,
        field_v_m=strength,
    )


def _state_words(system: System) -> list[str]:
    """The first answer to each thing that is not known, one phrase each."""
    wiring = system.wiring
    words = [WALL_WORDS[system.wall_states[0]]] if len(system.wall_states) > 1 else []
    for circuit in wiring.circuits:
        routes = routes_of(circuit)
        if circuit.id in system.unknown_routes:
            words.append(f"route of {circuit.id} {routes[0]}")
        if circuit.cable == "unknown":
            words.append(f"cable of {circuit.id} {CABLE_KINDS[0]}")
        if len(circuit.voltages_v) > 1:
            words.append(f"{circuit.id} on the first phase")
    words += [
        f"the switch of {device.id} in the hot core"
        for device in wiring.devices
        if device.wiring == "unknown"
    ]
    return words
