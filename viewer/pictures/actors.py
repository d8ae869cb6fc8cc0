"""Solids, bars and lights as VTK has them, for pictures and for the figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from viewer.pictures.drawing import Bar, Eye, Floats, Rgb, Solid

_FORWARD = -2.0e7  # least steps of depth: more than there are, so that all is behind
_SIDES = 10  # of a bar


def lights(eye: Eye) -> list[Any]:
    """Key, fill and eye light, placed from the eye so that every view looks alike."""
    from vtkmodules.vtkRenderingCore import vtkLight

    level = np.array([eye.towards_eye[0], eye.towards_eye[1], 0.0])
    found = []
    for right, near, high, strength in ((0.55, 0.35, 1.2, 0.75), (-0.9, 0.6, 0.5, 0.28)):
        at = eye.target_m + 20 * (right * eye.right + near * level + high * np.array([0, 0, 1]))
        light = vtkLight()
        light.SetLightTypeToSceneLight()
        light.SetPosition(*at.tolist())
        light.SetFocalPoint(*eye.target_m.tolist())
        light.SetIntensity(strength)
        found.append(light)
    headlight = vtkLight()
    headlight.SetLightTypeToHeadlight()
    headlight.SetIntensity(0.22)
    return [*found, headlight]


def poly_data(vertices_m: Floats, triangles: Any) -> Any:
    """Triangles (t, 3) over vertices (n, 3)."""
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkPolyData

    data, points = vtkPolyData(), vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(vertices_m, dtype=np.float64), deep=True))
    data.SetPoints(points)
    counts = np.arange(0, 3 * len(triangles) + 1, 3)
    data.SetPolys(_cells(counts, np.asarray(triangles).reshape(-1)))
    return data


def _cells(offsets: Any, corners: Any) -> Any:
    """Cells of VTK: where each begins among the corners."""
    from vtkmodules.util.numpy_support import numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonDataModel import vtkCellArray

    cells = vtkCellArray()
    cells.SetData(
        *(
            numpy_to_vtkIdTypeArray(np.ascontiguousarray(each, dtype=np.int64), deep=True)
            for each in (offsets, corners)
        )
    )
    return cells


def flat_actor(data: Any, colour: Rgb, *, opacity: float = 1.0, lighting: bool = True) -> Any:
    """An actor in one colour, which is its own under any light."""
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper, actor = vtkPolyDataMapper(), vtkActor()
    mapper.SetInputData(data)
    mapper.ScalarVisibilityOff()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetColor(*colour)
    look.SetOpacity(opacity)
    look.SetInterpolationToFlat()
    look.SetLighting(lighting)
    look.SetAmbient(1.0)
    look.SetDiffuse(0.0)
    look.SetSpecular(0.0)
    return actor


def solid_actor(solid: Solid) -> Any:
    """A solid's actor; None where it is empty."""
    if not len(solid.triangles):
        return None
    data = poly_data(solid.vertices_m, solid.triangles)
    if solid.fade is not None:
        colours = np.empty((len(solid.fade), 4), dtype=np.uint8)
        colours[:, :3] = np.rint(np.array(solid.colour) * 255)
        colours[:, 3] = np.rint(solid.fade * 255)
        actor = flat_actor(data, solid.colour, lighting=False)
        coloured(actor, data.GetCellData(), colours)
        return actor
    # what is not quite opaque is drawn last, and casts no corner shading
    opacity = min(solid.opacity, 0.99) if solid.over else solid.opacity
    actor = flat_actor(data, solid.colour, opacity=opacity, lighting=solid.opacity == 1.0)
    if solid.lit:  # a quantity keeps its colour: all ambient, since unlit corners shade in tiles
        actor.GetProperty().SetAmbient(0.62)
        actor.GetProperty().SetDiffuse(0.42)
    if solid.smooth:
        from vtkmodules.vtkFiltersCore import vtkPolyDataNormals

        normals = vtkPolyDataNormals()
        normals.SetInputData(data)
        normals.SplittingOff()
        normals.Update()
        actor.GetMapper().SetInputData(normals.GetOutput())
        actor.GetProperty().SetInterpolationToPhong()
    if solid.over:
        _bring_forward(actor)
    return actor


def coloured(actor: Any, attributes: Any, colours: Any) -> None:
    """Give an actor's points or cells a colour (n, 3 or 4) each, 0 to 255."""
    from vtkmodules.util.numpy_support import numpy_to_vtk

    attributes.SetScalars(numpy_to_vtk(np.ascontiguousarray(colours), deep=True))
    actor.GetMapper().ScalarVisibilityOn()


def _bring_forward(actor: Any) -> None:
    """Let nothing hide an actor."""
    mapper = actor.GetMapper()
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(0.0, _FORWARD)


def bar_actors(bars: Sequence[Bar]) -> list[Any]:
    """Actors of bars, one for all of one look."""
    looks: dict[tuple[Rgb, float, bool], list[Bar]] = {}
    for bar in bars:
        looks.setdefault((bar.colour, bar.opacity, bar.over), []).append(bar)
    found = []
    for (colour, opacity, over), alike in looks.items():
        found.append(flat_actor(tubes(alike), colour, opacity=opacity, lighting=False))
        if over:
            _bring_forward(found[-1])
    return found


def tubes(bars: Sequence[Bar]) -> Any:
    """Bars as one mesh."""
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkPolyData
    from vtkmodules.vtkFiltersCore import vtkAppendPolyData, vtkTubeFilter

    widths: dict[float, list[Bar]] = {}
    for bar in bars:
        widths.setdefault(bar.radius_m, []).append(bar)
    whole = vtkAppendPolyData()
    for radius_m, alike in widths.items():
        ways = [
            np.concatenate((bar.points_m, bar.points_m[:1])) if bar.closed else bar.points_m
            for bar in alike
        ]
        data, points = vtkPolyData(), vtkPoints()
        points.SetData(numpy_to_vtk(np.concatenate(ways).astype(np.float64), deep=True))
        data.SetPoints(points)
        offsets = np.concatenate(([0], np.cumsum([len(way) for way in ways])))
        data.SetLines(_cells(offsets, np.arange(offsets[-1])))
        tube = vtkTubeFilter()
        tube.SetInputData(data)
        tube.SetRadius(radius_m)
        tube.SetNumberOfSides(_SIDES)
        tube.CappingOn()
        tube.Update()
        whole.AddInputData(tube.GetOutput())
    whole.Update()
    return whole.GetOutput()
