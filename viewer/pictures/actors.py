"""Bodies and lines of a stage as PyVista actors, for pictures and for the figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from viewer.scene.colours import rgb
from viewer.scene.records import Mesh
from viewer.scene.shapes import Body, Line
from viewer.scene.view import Camera

_FORWARD = -2.0e7  # least steps of depth: more than there are, so that all is behind


def add_lights(plotter: Any, camera: Camera) -> None:
    """Key, fill and eye light, placed from the eye so that every view looks alike."""
    import pyvista

    view = camera.view
    level = np.array([view.towards_eye[0], view.towards_eye[1], 0.0])
    for right, near, high, strength in ((0.55, 0.35, 1.2, 0.75), (-0.9, 0.6, 0.5, 0.28)):
        at = camera.target_m + 20 * (right * view.right + near * level + high * np.array([0, 0, 1]))
        plotter.add_light(
            pyvista.Light(position=at, focal_point=camera.target_m, intensity=strength)
        )
    plotter.add_light(pyvista.Light(light_type="headlight", intensity=0.22))


def poly_data(mesh: Mesh) -> Any:
    """A mesh as PyVista has it."""
    import pyvista

    counts = np.full((len(mesh.triangles), 1), 3, dtype=np.int64)
    cells = np.concatenate((counts, mesh.triangles), axis=1).reshape(-1)
    return pyvista.PolyData(np.asarray(mesh.vertices), cells)


def add_body(plotter: Any, body: Body) -> Any:
    """Add a body; returns its actor, None where it is empty."""
    if not len(body.mesh.triangles):
        return None
    mesh = poly_data(body.mesh)
    if body.fade is not None:
        red, green, blue = rgb(str(body.colour))
        colours = np.empty((len(body.fade), 4), dtype=np.uint8)
        colours[:, :3] = np.rint(np.array([red, green, blue]) * 255)
        colours[:, 3] = np.rint(body.fade * 255)
        mesh.cell_data["colour"] = colours
        return plotter.add_mesh(mesh, scalars="colour", rgba=True, lighting=False, render=False)
    actor = plotter.add_mesh(
        mesh,
        color=body.colour,
        # what is not quite opaque is drawn last, and casts no corner shading
        opacity=min(body.opacity, 0.99) if body.over else body.opacity,
        smooth_shading=body.smooth,
        lighting=body.opacity == 1.0,
        # a quantity keeps its colour: all ambient; without lighting corners would shade in tiles
        ambient=0.62 if body.lit else 1.0,
        diffuse=0.42 if body.lit else 0.0,
        specular=0.0,
        render=False,
    )
    if body.over:
        _bring_forward(actor)
    return actor


def _bring_forward(actor: Any) -> None:
    """Let nothing hide an actor."""
    actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
    actor.mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(0.0, _FORWARD)


def add_lines(plotter: Any, lines: Sequence[Line]) -> list[Any]:
    """Add lines, those of one colour as one actor; returns the actors."""
    actors = []
    for (colour, opacity, over), alike in by_style(lines).items():
        actors.append(
            plotter.add_mesh(
                bars(alike), color=colour, opacity=opacity, lighting=False, render=False
            )
        )
        if over:
            _bring_forward(actors[-1])
    return actors


def by_style(lines: Sequence[Line]) -> dict[tuple[str, float, bool], list[Line]]:
    """Lines that can be drawn together."""
    found: dict[tuple[str, float, bool], list[Line]] = {}
    for line in lines:
        found.setdefault((line.colour, line.opacity, line.over), []).append(line)
    return found


def bars(lines: Sequence[Line]) -> Any:
    """Round bars along lines, as one mesh."""
    import pyvista

    widths: dict[float, list[Line]] = {}
    for line in lines:
        widths.setdefault(line.radius_m, []).append(line)
    found = []
    for radius_m, alike in widths.items():
        points, cells, start = [], [], 0
        for line in alike:
            ends = np.concatenate((line.points, line.points[:1])) if line.closed else line.points
            points.append(ends)
            cells.append(np.array([len(ends), *range(start, start + len(ends))]))
            start += len(ends)
        whole = pyvista.PolyData(np.concatenate(points), lines=np.concatenate(cells))
        found.append(whole.tube(radius=radius_m, n_sides=10, capping=True))
    return found[0].append_polydata(*found[1:]) if len(found) > 1 else found[0]
