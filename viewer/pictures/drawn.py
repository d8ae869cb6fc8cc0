"""What a stage holds, as what is drawn: colours in three figures, the eye in plain vectors."""

from __future__ import annotations

import numpy as np

from viewer.pictures.drawing import Bar, Eye, Rgb, Solid
from viewer.scene.colours import rgb
from viewer.scene.shapes import Body, Colour, Line
from viewer.scene.view import Camera


def _rgb(colour: Colour) -> Rgb:
    if isinstance(colour, str):
        return rgb(colour)
    red, green, blue = (float(part) for part in colour)
    return red, green, blue


def solid_of(body: Body) -> Solid:
    """A body as it is drawn."""
    return Solid(
        vertices_m=np.asarray(body.mesh.vertices),
        triangles=np.asarray(body.mesh.triangles),
        colour=_rgb(body.colour),
        opacity=body.opacity,
        lit=body.lit,
        smooth=body.smooth,
        fade=body.fade,
        over=body.over,
    )


def bar_of(line: Line) -> Bar:
    """A line as it is drawn."""
    return Bar(
        points_m=line.points,
        radius_m=line.radius_m,
        colour=_rgb(line.colour),
        opacity=line.opacity,
        closed=line.closed,
        glows=line.glows,
        over=line.over,
    )


def eye_of(camera: Camera) -> Eye:
    """A camera as plain vectors."""
    return Eye(
        target_m=camera.target_m,
        towards_eye=camera.view.towards_eye,
        right=camera.view.right,
        up=camera.view.up,
        metres_per_pixel=camera.metres_per_pixel,
        size=camera.size,
    )
