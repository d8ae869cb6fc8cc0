"""The house wiring as bodies of a cutaway: tubes that nothing hides, marks, strips of coating."""

from __future__ import annotations

from collections.abc import Sequence

from envelope.geometry.plane import Floats
from viewer.scene.colours import Theme
from viewer.scene.records import Mesh, Scene
from viewer.scene.rooms import faces
from viewer.scene.shapes import Body
from viewer.scene.view import View
from viewer.scene.wiring import SPOT_COLOURS, shown_cables

_LIFT_M = 0.012  # of a strip before its face, towards the eye


def wiring_bodies(
    scene: Scene, *, plan: str, receiver: str, rooms: Sequence[str], view: View, theme: Theme
) -> list[Body]:
    """Cables in colours of what remains with each off, outlets, bonds, and a plan's strips.

    Parameters
    ----------
    scene : Scene
    plan, receiver : str
        Whose figures count.
    rooms : sequence of str
        That are shown in full.
    view : View
        Faces that are turned away show no strips.
    theme : Theme
        Its muted colour stands where nothing is solved.
    """
    wiring = scene.wiring
    if wiring is None:
        return []
    at, who = scene.plan_index[plan], scene.receiver_index[receiver]
    style = {each.treatment: each.colour for each in scene.treatments}
    bodies = []
    for strip in wiring.strips:
        panel = scene.panels[scene.panel_index[strip.panel]]
        if plan in strip.plans and panel.space in rooms and faces(panel, view):
            lifted: Floats = strip.mesh.vertices + view.towards_eye * _LIFT_M
            bodies.append(
                Body(
                    mesh=Mesh(vertices=lifted, triangles=strip.mesh.triangles),
                    colour=style[strip.treatment],
                    lit=False,
                    of=strip.panel,
                )
            )
    for cable in shown_cables(wiring, rooms):
        share = cable.shares[at][who] if at < len(cable.shares) else None
        bodies.append(
            Body(
                mesh=cable.tube,
                colour=theme.muted if share is None else share.colour,
                over=True,
                of=cable.id,
            )
        )
    bodies += [
        Body(mesh=spot.mesh, colour=SPOT_COLOURS[spot.kind], over=True, of=spot.id)
        for spot in wiring.spots
        if spot.space in rooms and (spot.plans is None or plan in spot.plans)
    ]
    return bodies
