"""Which panel lies under a pixel: our own ray, since the renderer's does not know what is cut away.

Only panels that show are met: turned to the eye, and so the wall that carries them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.geometry.plane import Floats
from envelope.text import area
from viewer.scene.names import face_title
from viewer.scene.records import Scene, ScenePanel
from viewer.scene.rooms import leak_of, seen
from viewer.scene.view import Camera
from viewer.scene.wording import decibels, percent, shown


def ray_through(camera: Camera, pixel: tuple[float, float]) -> Floats:
    """A point (3,) on the ray through a pixel, x to the right, y down; the ray runs as the view."""
    x = (pixel[0] - camera.size[0] / 2) * camera.metres_per_pixel
    y = (pixel[1] - camera.size[1] / 2) * camera.metres_per_pixel
    point: Floats = camera.target_m + x * camera.view.right - y * camera.view.up
    return point


def panel_under(
    scene: Scene, *, camera: Camera, pixel: tuple[float, float], spaces: Sequence[str]
) -> ScenePanel | None:
    """The panel of these rooms that shows at a pixel, or None."""
    view = camera.view
    origin = ray_through(camera, pixel)
    best: tuple[float, ScenePanel] | None = None
    for panel in scene.panels:
        if panel.space not in spaces or not seen(panel, scene, view):
            continue
        along = float(panel.normal @ view.towards_eye)
        reach = float((panel.centre_m - origin) @ panel.normal) / along
        if best is not None and reach <= best[0]:
            continue
        if _holds(panel, origin + reach * view.towards_eye):
            best = (reach, panel)
    return None if best is None else best[1]


def _holds(panel: ScenePanel, point: Floats) -> bool:
    """Whether a point of a panel's plane lies on the panel."""
    corners = panel.mesh.vertices[panel.mesh.triangles]
    sides = np.roll(corners, -1, axis=1) - corners
    turned = np.cross(sides, point - corners) @ panel.normal
    return bool((turned >= 0.0).all(axis=1).any())


def words_of(scene: Scene, panel: ScenePanel, *, plan: str, receiver: str) -> tuple[str, ...]:
    """What a panel is, wears and lets in under a plan, in lines."""
    state = panel.states[scene.plan_index[plan]] if panel.states else None
    home = scene.receivers[scene.receiver_index[receiver]].space
    worn = " + ".join(shown(name, limit=24) for name in state.treatments) if state else ""
    made = ", ".join(shown(name, limit=24) for name in panel.assemblies) or "nothing in it"
    lines = [
        f"{face_title(panel, home=home)}, {area(panel.area_m2, feet=scene.feet)}",
        f"{made}; {worn or 'untreated'}",
    ]
    leak = leak_of(scene=scene, panel=panel, plan=plan, receiver=receiver)
    if leak is None:
        lines.append("nothing comes from there")
    else:
        lines.append(f"loss {decibels(leak.loss_db)}{', a gap' if leak.is_gap else ''}")
        lines.append(f"{percent(leak.share)} of what reaches {shown(receiver, limit=24)} directly")
    return tuple(lines)
