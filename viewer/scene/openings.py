"""How windows, skylights, doors and hatches stand under a plan: tilted, open, shutter down."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from envelope.building.job import Job
from envelope.building.rooms.specs import GAPS
from envelope.geometry.plane import frame_of
from viewer.scene.records import Mesh, Scene, ScenePanel

_KINDS = ("window", "skylight", "door", "hatch")


def standing(job: Job, *, plan: str) -> dict[str, str]:
    """What a label says of the openings that are not simply shut: panel id → words.

    An opening without anything in it stands open; strips without anything beside its leaf are
    where the sash has tilted in.
    """
    building = job.building
    changed = job.plan(plan).assemblies

    def filling(panel: str) -> str | None:
        patches = building.patches_of[panel]
        return changed.get(panel, building.elements[patches[0].element].assembly)

    found = {}
    for panel in building.panels:
        if panel.kind not in _KINDS or not building.patches_of[panel.id]:
            continue
        leaf = filling(panel.id)
        strips = [f"{panel.id}/{gap}" for gap in GAPS]
        if leaf is None:
            found[panel.id] = "open"
        elif any(name in building.panel_index and filling(name) is None for name in strips):
            found[panel.id] = "tilted"
        elif " + " in leaf:  # its own assembly and the shutter's
            found[panel.id] = "shutter down"
    return found


def tilted(panel: ScenePanel, scene: Scene) -> ScenePanel:
    """A leaf turned in about its foot, as far as the strip at its head is high.

    The building keeps the leaf in its plane, with strips beside it that let in as much.
    """
    strip = scene.panels[scene.panel_index[f"{panel.id}/{GAPS[0]}"]]
    frame = frame_of(panel.outlines[0])
    up = panel.mesh.vertices @ frame.v
    rise = up - up.min()
    share = min(float(np.ptp(strip.mesh.vertices @ frame.v)) / float(rise.max()), 0.9)
    fall = (np.sqrt(1.0 - share**2) - 1.0) * rise
    vertices = (
        panel.mesh.vertices
        + fall[:, np.newaxis] * frame.v
        + share * rise[:, np.newaxis] * panel.normal
    )
    return replace(panel, mesh=Mesh(vertices=vertices, triangles=panel.mesh.triangles))
