"""The house wiring in the picture: cables as tubes, outlets and bonds as marks, strips on faces.

A tube's colour says what remains of the field at a receiver, under a plan, when it is off: dark is
what matters. Before anything is solved, tubes have no colour.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from envelope.building.islands import bonds_of, islands_of
from envelope.building.job import Job
from envelope.building.wiring import Wiring
from envelope.geometry.plane import Floats, frozen
from envelope.wiring.results import Remaining, WiringResults
from envelope.wiring.routing import Run, device_runs, entered_runs, routed_runs, routes_of
from envelope.wiring_text import share_words, span_words
from viewer.scene.colours import cividis
from viewer.scene.meshes import fill
from viewer.scene.records import (
    CableShare,
    Mesh,
    SceneCable,
    SceneSpot,
    SceneStrip,
    SceneWiring,
)

LOW_SHARE, HIGH_SHARE = 0.5, 1.5  # of the field with it on: what is beyond is drawn like the end
KEY_TITLE = "field that remains with a cable off, of that with it on: dark ones matter"
KEY_SHARES = (0.5, 0.75, 1.0, 1.25, 1.5)
_RADIUS_M = {"run": 0.022, "cord": 0.012, "device": 0.03}
_MATTERS = 0.98  # of the field with it on: a cable that leaves more is not named
_SIDES = 10
_SPOT_M = 0.045
_REACH_M = 0.4  # from a room, within which a cable counts as its own
SPOT_COLOURS = {"socket": "#f2efe6", "switch": "#c9d6de", "light": "#f5dc8a", "bond": "#3d8f5f"}


def scene_wiring(job: Job) -> SceneWiring | None:
    """What there is to show of a job's wiring, nothing solved; None without any.

    Where a route is not known its first rule is drawn.
    """
    wiring = job.wiring
    if wiring is None:
        return None
    cables = tuple(_cable(job, run) for run in _runs(job, wiring) if len(run.path_m) > 1)
    spots = [_spot(job, each.id, each.kind, each.panel, each.position_m) for each in wiring.outlets]
    made = _bonds_made(job)
    spots += [
        replace(
            _spot(job, each.id, "bond", each.panel, each.position_m),
            plans=tuple(made.get(each.id, ())),
        )
        for each in wiring.bonds
    ]
    if not (cables or spots):
        return None
    return SceneWiring(cables=cables, spots=tuple(spots), strips=_strips(job, wiring))


def with_fields(
    wiring: SceneWiring,
    results: WiringResults | None,
    *,
    plans: Sequence[str],
    receivers: Sequence[str],
) -> SceneWiring:
    """The same with colours and figures.

    Parameters
    ----------
    wiring : SceneWiring
    results : WiringResults or None
        None where nothing is solved: then it has no figures.
    plans, receivers : sequence of str
        Of the scene, in its order.
    """
    if results is None:
        return replace(
            wiring,
            cables=tuple(replace(cable, shares=()) for cable in wiring.cables),
            fields=(),
        )
    found = {(plan.plan, at.receiver): at for plan in results.plans for at in plan.receivers}
    shares = {
        key: {each.what: _share(each, rank) for rank, each in enumerate(at.remaining)}
        for key, at in found.items()
    }
    return replace(
        wiring,
        cables=tuple(
            replace(
                cable,
                shares=tuple(
                    tuple(shares.get((plan, who), {}).get(cable.what) for who in receivers)
                    for plan in plans
                ),
            )
            for cable in wiring.cables
        ),
        fields=tuple(
            tuple(
                span_words(found[plan, who].field_v_m) if (plan, who) in found else ""
                for who in receivers
            )
            for plan in plans
        ),
    )


def share_colour(share: float) -> str:
    """Colour of what remains, as a share of the field with it on."""
    place = np.clip((share - LOW_SHARE) / (HIGH_SHARE - LOW_SHARE), 0.0, 1.0)
    red, green, blue = np.rint(cividis(np.array([place]))[0] * 255).astype(int).tolist()
    return f"#{red:02x}{green:02x}{blue:02x}"


def share_key() -> list[tuple[str, str]]:
    """Colours and their words, for a legend."""
    words = [f"{100 * share:.0f} %" for share in KEY_SHARES]
    words[0], words[-1] = f"{words[0]} or less", f"{words[-1]} or more"
    return [(share_colour(share), each) for share, each in zip(KEY_SHARES, words, strict=True)]


def tube(points_m: Floats, radius_m: float) -> Mesh:
    """A closed tube along a line of points (k, 3), straight pieces that overlap at its corners."""
    vertices: list[Floats] = []
    triangles: list[Floats] = []
    turns = np.linspace(0.0, 2.0 * np.pi, _SIDES, endpoint=False)
    ring = np.arange(_SIDES)
    after = np.roll(ring, -1)
    sides = np.concatenate(
        (
            np.stack((ring, after, after + _SIDES), axis=1),
            np.stack((ring, after + _SIDES, ring + _SIDES), axis=1),
            np.stack((np.full(_SIDES, 2 * _SIDES), after, ring), axis=1),
            np.stack((np.full(_SIDES, 2 * _SIDES + 1), ring + _SIDES, after + _SIDES), axis=1),
        )
    )
    for number, (start, stop) in enumerate(itertools.pairwise(points_m)):
        along = (stop - start) / np.linalg.norm(stop - start)
        across = np.cross(along, (0.0, 0.0, 1.0) if abs(along[2]) < 0.9 else (1.0, 0.0, 0.0))
        across = across / np.linalg.norm(across)
        other = np.cross(along, across)
        circle = np.cos(turns)[:, np.newaxis] * across + np.sin(turns)[:, np.newaxis] * other
        ends = start - along * radius_m, stop + along * radius_m
        vertices.append(
            np.concatenate(
                (
                    ends[0] + circle * radius_m,
                    ends[1] + circle * radius_m,
                    ends[0][np.newaxis],
                    ends[1][np.newaxis],
                )
            )
        )
        triangles.append(sides + number * (2 * _SIDES + 2))
    return Mesh(
        vertices=np.concatenate(vertices), triangles=np.concatenate(triangles).astype(np.int32)
    )


def _bonds_made(job: Job) -> dict[str, list[str]]:
    """Plans that make each bond on something that they coat."""
    found: dict[str, list[str]] = {}
    for plan in job.plans:
        for bonds in bonds_of(job, plan, islands_of(job, plan)):
            for bond in bonds:
                found.setdefault(bond.id, []).append(plan.id)
    return found


def _runs(job: Job, wiring: Wiring) -> list[Run]:
    runs = [*entered_runs(job, wiring), *device_runs(job, wiring)]
    for circuit in wiring.circuits:
        rules = routes_of(circuit)
        if rules:
            runs += routed_runs(job, wiring, circuit, rules[0])
    return runs


def _cable(job: Job, run: Run) -> SceneCable:
    kind = "run" if run.device is None else "device" if run.id == run.device else "cord"
    lengths = np.linalg.norm(np.diff(run.path_m, axis=0), axis=1)
    longest = int(np.argmax(lengths))
    return SceneCable(
        id=run.id,
        circuit=run.circuit,
        kind=kind,
        what=run.id if run.device is None else run.device,
        spaces=_spaces(job, run.path_m),
        tube=tube(run.path_m, _RADIUS_M[kind]),
        mark_m=frozen(run.path_m[longest : longest + 2].mean(axis=0)),
    )


def _spaces(job: Job, points_m: Floats) -> tuple[str, ...]:
    """Rooms that a line runs in or close to."""
    found = []
    middles = np.concatenate((points_m, (points_m[1:] + points_m[:-1]) / 2.0))
    for space in job.building.spaces:
        corners = np.concatenate([panel.outline for panel in space.panels])
        low, high = corners.min(axis=0) - _REACH_M, corners.max(axis=0) + _REACH_M
        if ((middles >= low) & (middles <= high)).all(axis=1).any():
            found.append(space.id)
    return tuple(found)


def _share(each: Remaining, rank: int) -> CableShare:
    middle = (each.share.low + each.share.high) / 2.0
    return CableShare(
        colour=share_colour(middle),
        label=f"{each.what} off: {share_words(each.share)}",
        rank=rank,
        matters=middle < _MATTERS,
    )


def _spot(job: Job, name: str, kind: str, panel_id: str, at_m: Floats) -> SceneSpot:
    """A small plate on its face."""
    panel = job.building.panel(panel_id)
    frame = panel.frame
    half = _SPOT_M
    corners = np.array([(-half, -half), (half, -half), (half, half), (-half, half)])
    if kind == "bond":  # stands on its tip
        corners = 1.4 * half * np.array([(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)])
    middle = frame.flatten(at_m[np.newaxis])[0]
    base = frame.lift(corners + middle) + frame.normal * 0.004
    front = base + frame.normal * 0.02
    vertices = np.concatenate((base, front))
    sides = [(k, (k + 1) % 4, 4 + (k + 1) % 4, k, 4 + (k + 1) % 4, 4 + k) for k in range(4)]
    triangles = np.array([*np.reshape(sides, (-1, 3)), (4, 5, 6), (4, 6, 7)], dtype=np.int32)
    return SceneSpot(
        id=name,
        kind=kind,
        space=panel.space,
        at_m=frozen(at_m),
        mesh=Mesh(vertices=vertices, triangles=triangles),
    )


def _strips(job: Job, wiring: Wiring) -> tuple[SceneStrip, ...]:
    """Strips, those that several plans share once."""
    found: dict[tuple[str, str, bytes], list[str]] = {}
    meshes: dict[tuple[str, str, bytes], Mesh] = {}
    for plan in job.plans:
        for strip in wiring.plan(plan.id).strips:
            for panel_id, area in strip.areas.items():
                if area.is_empty or area.area <= 0.0:
                    continue
                key = (panel_id, strip.treatments[-1], shapely.to_wkb(area))
                found.setdefault(key, []).append(plan.id)
                frame = job.building.panel(panel_id).frame
                flat, _, triangles = fill(area)
                vertices = frame.lift(flat) + frame.normal * 0.006
                meshes[key] = Mesh(vertices=vertices, triangles=triangles)
    return tuple(
        SceneStrip(panel=key[0], treatment=key[1], plans=tuple(plans), mesh=meshes[key])
        for key, plans in found.items()
    )


def shown_cables(wiring: SceneWiring, rooms: Sequence[str]) -> list[SceneCable]:
    """Cables that run in or close to some rooms."""
    return [cable for cable in wiring.cables if set(cable.spaces) & set(rooms)]
