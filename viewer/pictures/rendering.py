"""A drawing as pixels, with VTK off screen: colours, shading of corners, glow of gaps."""

from __future__ import annotations

import pickle
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  the renderer behind the classes below
from numpy.typing import NDArray
from PIL import Image, ImageFilter
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkLogger, vtkUnsignedCharArray
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
from vtkmodules.vtkRenderingOpenGL2 import vtkCameraPass, vtkRenderStepsPass, vtkSSAOPass

from viewer.pictures.actors import (
    bar_actors,
    coloured,
    flat_actor,
    lights,
    poly_data,
    solid_actor,
    tubes,
)
from viewer.pictures.drawing import Drawing, Eye, Floats, Rgb

Pixels = NDArray[np.uint8]

_SHADE_KERNEL = 48  # samples around each pixel for the shading of corners
_WHITE: Rgb = (1.0, 1.0, 1.0)
_BLACK: Rgb = (0.0, 0.0, 0.0)


class Renderer:
    """One window off screen, in which picture after picture is drawn: its shaders stay compiled."""

    def __init__(self) -> None:
        # without a display the renderer says so on every start, and then goes on without one
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        self._window = vtkRenderWindow()
        self._window.SetMultiSamples(0)  # with them translucent bodies vanish on some drivers
        self._window.SetOffScreenRendering(1)
        self._shade_of: tuple[object, ...] = ()
        self._shade: Pixels = np.empty((0, 0), dtype=np.uint8)

    def works(self) -> bool:
        """Whether anything can be drawn. Where it cannot, the process may end here."""
        self._window.SetSize(8, 8)
        renderer = vtkRenderer()
        self._window.AddRenderer(renderer)
        self._window.Render()
        self._window.RemoveRenderer(renderer)
        return bool(self._window.SupportsOpenGL())

    def draw(self, drawing: Drawing) -> Pixels:
        """The picture (height, width, 3) without words, at its finished size."""
        sums, shade = self._coloured(drawing), self._corner_shade(drawing)
        whole = np.float32(1.0 / (255.0 * drawing.scale**2))
        shaded: Pixels = np.empty(sums.shape, dtype=np.uint8)
        for row, (summed, each) in enumerate(zip(sums, shade, strict=True)):
            shaded[row] = np.rint(summed * (each[:, np.newaxis] * whole))
        del sums, shade
        image = Image.fromarray(shaded)
        if any(bar.glows for bar in drawing.bars):
            image = _glow(
                image, self._gap_mask(drawing), colour=drawing.glow, reach=7.0 * drawing.unit
            )
        return np.asarray(image)

    def _coloured(self, drawing: Drawing) -> NDArray[np.uint16]:
        """Colours (height, width, 3), 0 to 255, added up over `scale`² renderings.

        Each is shifted by a part of a pixel. One rendering `scale` times as large has edges as
        smooth and takes `scale`² times the memory.
        """
        eye = drawing.eye
        paper = _paper(drawing)
        below, above = drawing.paper, drawing.paper_top
        corners = np.rint(np.array([below, below, above, above]) * 255).astype(np.uint8)
        coloured(paper, paper.GetMapper().GetInput().GetPointData(), corners)
        solids = [solid_actor(solid) for solid in drawing.solids]
        renderer = _renderer(
            drawing,
            [paper, *(each for each in solids if each is not None), *bar_actors(drawing.bars)],
        )
        for light in lights(eye):
            renderer.AddLight(light)
        camera = renderer.GetActiveCamera()
        position, target = np.array(camera.GetPosition()), np.array(camera.GetFocalPoint())
        steps = (np.arange(drawing.scale) + 0.5) / drawing.scale - 0.5
        total = np.zeros((eye.size[1], eye.size[0], 3), dtype=np.uint16)
        with _Shown(self._window, renderer, eye.size) as shown:
            for x in steps:
                for y in steps:
                    shift = eye.metres_per_pixel * (x * eye.right + y * eye.up)
                    camera.SetPosition(*(position + shift).tolist())
                    camera.SetFocalPoint(*(target + shift).tolist())
                    total += shown.pixels()
        return total

    def _corner_shade(self, drawing: Drawing) -> Pixels:
        """Ambient occlusion (height, width) of what is not translucent, dark to 255.

        Plans of one scene differ in colours, gaps and treatments, seldom in what casts shade: the
        last drawing's shade is kept, and nothing that casts none has a part in it.
        """
        casting = tuple(
            solid
            for solid in drawing.solids
            if solid.opacity == 1.0
            and solid.fade is None
            and not solid.over
            and len(solid.triangles)
        )
        lit = np.concatenate([solid.vertices_m for solid in drawing.solids if solid.lit])
        radius_m = min(max(0.05 * float(np.ptp(lit, axis=0).max()), 0.25), 0.6)
        of = (
            radius_m,
            drawing.unit,
            pickle.dumps(drawing.eye),
            *((each.vertices_m.tobytes(), each.triangles.tobytes()) for each in casting),
        )
        if of != self._shade_of:
            self._shade_of = of
            self._shade = self._shaded(replace(drawing, solids=casting, bars=()), radius_m=radius_m)
        return self._shade

    def _shaded(self, drawing: Drawing, *, radius_m: float) -> Pixels:
        """Ambient occlusion (height, width) of all that is drawn, over so many metres.

        Apart from the colours, so that neither their smooth edges nor translucent bodies cost the
        memory and the time of its buffers. It is drawn at half the size: it is softened by more.
        """
        full = drawing.eye.size
        half = (-(-full[0] // 2), -(-full[1] // 2))
        eye = replace(drawing.eye, size=half, metres_per_pixel=2.0 * drawing.eye.metres_per_pixel)
        smaller = replace(drawing, eye=eye)
        actors = [
            # lit, though all is ambient: without lighting corners would shade in tiles
            flat_actor(poly_data(solid.vertices_m, solid.triangles), _WHITE)
            for solid in drawing.solids
        ]
        renderer = _renderer(smaller, [_paper(smaller), *actors], background=_WHITE)
        for light in lights(eye):  # without any the renderer works out no normals
            renderer.AddLight(light)
        shading, steps = vtkSSAOPass(), vtkCameraPass()
        shading.SetRadius(radius_m)
        shading.SetBias(0.04)
        shading.SetKernelSize(_SHADE_KERNEL)
        shading.BlurOn()
        steps.SetDelegatePass(vtkRenderStepsPass())
        shading.SetDelegatePass(steps)
        renderer.SetPass(shading)
        with _Shown(self._window, renderer, half) as shown:
            image = Image.fromarray(np.ascontiguousarray(shown.pixels()[:, :, 0]))
            renderer.SetPass(None)
            shading.ReleaseGraphicsResources(self._window)
        soft = image.filter(ImageFilter.GaussianBlur(0.75 * drawing.unit))
        # doubled from its corner, so that odd sizes keep their places
        soft = soft.resize((2 * half[0], 2 * half[1]), Image.Resampling.BILINEAR)
        return np.asarray(soft.crop((0, 0, *full)))

    def _gap_mask(self, drawing: Drawing) -> Image.Image:
        """White where a gap's outline is seen, black elsewhere."""
        actors = [
            flat_actor(poly_data(solid.vertices_m, solid.triangles), _BLACK, lighting=False)
            for solid in drawing.solids
            if solid.opacity == 1.0 and solid.fade is None and len(solid.triangles)
        ]
        glowing = tubes([bar for bar in drawing.bars if bar.glows])
        actors.append(flat_actor(glowing, _WHITE, lighting=False))
        renderer = _renderer(drawing, actors, background=_BLACK)
        with _Shown(self._window, renderer, drawing.eye.size) as shown:
            return Image.fromarray(np.ascontiguousarray(shown.pixels()[:, :, 0]))


class _Shown:
    """A renderer in the window, for as long as it is drawn."""

    def __init__(self, window: Any, renderer: Any, size: tuple[int, int]) -> None:
        self._window, self._renderer, self._size = window, renderer, size

    def __enter__(self) -> _Shown:
        self._window.SetSize(*self._size)
        self._window.AddRenderer(self._renderer)
        return self

    def __exit__(self, *_: object) -> None:
        self._window.RemoveRenderer(self._renderer)

    def pixels(self) -> Pixels:
        """What is drawn now (height, width, 3)."""
        width, height = self._size
        self._window.Render()
        found = vtkUnsignedCharArray()
        self._window.GetRGBACharPixelData(0, 0, width - 1, height - 1, 0, found)
        upright = vtk_to_numpy(found).reshape(height, width, 4)[::-1, :, :3]
        return np.asarray(upright)


def _renderer(drawing: Drawing, actors: Iterable[Any], *, background: Rgb = _WHITE) -> Any:
    renderer = vtkRenderer()
    renderer.AutomaticLightCreationOff()
    renderer.SetBackground(*background)
    for actor in actors:
        renderer.AddActor(actor)
    eye = drawing.eye
    nearest, farthest = _depths(drawing)
    distance = nearest + 1.0  # the shading of corners keeps distances with three figures only
    camera = renderer.GetActiveCamera()
    camera.SetPosition(*(eye.target_m + eye.towards_eye * distance).tolist())
    camera.SetFocalPoint(*eye.target_m.tolist())
    camera.SetViewUp(0.0, 0.0, 1.0)
    camera.ParallelProjectionOn()
    camera.SetParallelScale(0.5 * eye.size[1] * eye.metres_per_pixel)
    camera.SetClippingRange(0.5, distance - farthest + 2.0)
    return renderer


def _depths(drawing: Drawing) -> tuple[float, float]:
    """How far towards the eye the nearest and the farthest thing lie, from the target. [m]"""
    shown = [solid.vertices_m for solid in drawing.solids]
    shown += [bar.points_m for bar in drawing.bars]
    depths = (np.concatenate(shown) - drawing.eye.target_m) @ drawing.eye.towards_eye
    return float(depths.max()), float(depths.min())


def _paper(drawing: Drawing) -> Any:
    """The ground of the picture, as a sheet behind everything.

    Where nothing at all is drawn the shading of corners reads what happens to be in memory.
    """
    eye: Eye = drawing.eye
    _, farthest = _depths(drawing)
    across, up = (0.51 * pixels * eye.metres_per_pixel for pixels in eye.size)
    middle = eye.target_m + eye.towards_eye * (farthest - 1.0)
    corners: Floats = np.array(
        [
            middle + x * across * eye.right + y * up * eye.up
            for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
    )
    return flat_actor(poly_data(corners, np.array([[0, 1, 2], [0, 2, 3]])), _WHITE)


def _glow(picture: Image.Image, mask: Image.Image, *, colour: Rgb, reach: float) -> Image.Image:
    """A picture with light around what a mask shows white. `reach` in pixels."""
    near = np.asarray(mask.filter(ImageFilter.GaussianBlur(reach * 0.35)), dtype=np.float32)
    amount = near + np.asarray(mask.filter(ImageFilter.GaussianBlur(reach)))
    amount *= np.float32(0.8 / 255.0)
    np.clip(amount, 0.0, 0.7, out=amount)
    red, green, blue = (round(255 * part) for part in colour)
    light = Image.new("RGB", picture.size, (red, green, blue))
    amount *= np.float32(255.0)
    weight = Image.fromarray(np.rint(amount, out=amount).astype(np.uint8))
    return Image.composite(light, picture, weight)
