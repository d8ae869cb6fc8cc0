"""Pictures of a scene for print: a cutaway, and two plans side by side.

The bodies are rendered with PyVista, off screen; words and scales are drawn on top.
"""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from envelope.errors import EnvelopeError
from envelope.files import write_atomically
from envelope.text.names import plan_title
from envelope.text.sentences import headline
from envelope.wiring_text import field_headline
from viewer.pictures.actors import add_body, add_lights, add_lines, bars, poly_data
from viewer.pictures.captions import Shot, annotate, footer, legend, rose
from viewer.pictures.gl import require_offscreen
from viewer.pictures.staging import Quantity, Stage, stage
from viewer.scene.colours import THEMES, ThemeName, rgb
from viewer.scene.meshes import quad
from viewer.scene.records import Scene
from viewer.scene.scopes import extent, scope_of
from viewer.scene.view import Camera, Margins, View, fit, unit_of

if TYPE_CHECKING:
    from PIL.Image import Image

    from viewer.pictures.overlay import Sheet


_DOTS_PER_INCH = 300
_SHADE_KERNEL = 48  # samples around each pixel for the shading of corners


def cutaway(
    scene: Scene,
    *,
    plan: str,
    path: str | Path,
    size: tuple[int, int] = (1600, 1100),
    theme: ThemeName = "light",
    receiver: str | None = None,
    storey: str | None = None,
    whole: bool = False,
    peeled: int = 0,
    scale: int = 2,
    view: View | None = None,
    quantity: Quantity = "let-in",
) -> None:
    """Write a cutaway of one plan as a PNG.

    Parameters
    ----------
    scene : Scene
    plan : str
        Id of one of the scene's plans.
    path : str or Path
        Of the file; replaced whole.
    size : (2,) int
        Width and height. [pixels]
    theme : "light" or "dark"
    receiver : str, optional
        Whose room is shown and whose numbers; the first receiver unless stated.
    storey : str, optional
        Show every room of this storey in full instead of the receiver's alone.
    whole : bool
        Show every room of the house instead.
    peeled : int
        So many storeys are taken off the top of the whole house; the lowest always stays.
    scale : int
        So many samples across and down each pixel: smooth edges.
    view : View, optional
        Where the eye stands; by itself the corner from which most of the gaps are seen.
    quantity : "let-in", "loss", "treatment" or "wiring"
        What colours mean.
    """
    require_offscreen()
    from viewer.pictures import overlay

    unit = unit_of(size)
    shot = shot_of(
        scene,
        plan=plan,
        size=size,
        margins=Margins(left=40 * unit, right=215 * unit, top=122 * unit, bottom=75 * unit),
        theme=theme,
        receiver=receiver,
        storey=storey,
        whole=whole,
        peeled=peeled,
        scale=scale,
        view=view,
        quantity=quantity,
    )
    staged = staged_of(shot)
    picture = _rendered(shot, staged)
    sheet = overlay.Sheet(size=size, scale=scale, theme=shot.theme, unit=unit)
    width, height = size
    frame = (12 * unit, 84 * unit, width - 190 * unit, height - 60 * unit)
    annotate(sheet, shot, staged, frame=frame)
    _headline(sheet, shot, width=width - 68 * unit)
    legend(sheet, shot, left=width - 165 * unit, top=0.27 * height, bottom=0.575 * height)
    rose(sheet, shot, at=(width - 105 * unit, height - 105 * unit))
    footer(sheet, shot)
    write_atomically(Path(path), _png(sheet.onto(picture)))


def before_after(
    scene: Scene,
    *,
    before: str,
    after: str,
    path: str | Path,
    size: tuple[int, int] = (2400, 1100),
    theme: ThemeName = "light",
    receiver: str | None = None,
    storey: str | None = None,
    whole: bool = False,
    peeled: int = 0,
    scale: int = 2,
    view: View | None = None,
    quantity: Quantity = "let-in",
) -> None:
    """Write two plans side by side as a PNG: one view, one scale. Parameters as `cutaway`."""
    require_offscreen()
    from viewer.pictures import overlay

    unit = unit_of((size[0] * 2 // 3, size[1]))
    column = round(200 * unit)
    half = (size[0] - column) // 2
    margins = Margins(left=40 * unit, right=44 * unit, top=122 * unit, bottom=75 * unit)
    colours = THEMES[theme]
    both = overlay.ground(size=size, theme=colours)
    last: Shot | None = None
    for index, plan in enumerate((before, after)):
        shot = shot_of(
            scene,
            plan=plan,
            size=(half, size[1]),
            margins=margins,
            theme=theme,
            receiver=receiver,
            storey=storey,
            whole=whole,
            peeled=peeled,
            scale=scale,
            view=view,
            quantity=quantity,
        )
        sheet = overlay.Sheet(size=(half, size[1]), scale=scale, theme=colours, unit=unit)
        frame = (10 * unit, 84 * unit, half - 10 * unit, size[1] - 60 * unit)
        staged = staged_of(shot)
        annotate(sheet, shot, staged, frame=frame)
        _headline(sheet, shot, width=half - 60 * unit)
        both.paste(sheet.onto(_rendered(shot, staged)), (index * half, 0))
        last = shot
    assert last is not None
    sheet = overlay.Sheet(size=size, scale=scale, theme=colours, unit=unit)
    sheet.line([(half, 40 * unit), (half, size[1] - 70 * unit)], width=1.2, colour=colours.ring)
    legend(sheet, last, left=size[0] - 170 * unit, top=0.27 * size[1], bottom=0.575 * size[1])
    rose(sheet, last, at=(size[0] - 105 * unit, size[1] - 105 * unit))
    footer(sheet, last)
    write_atomically(Path(path), _png(sheet.onto(both)))


# -- what is asked for ---------------------------------------------------------------------------


def _check_size(size: tuple[int, int], scale: int) -> None:
    if min(size) < 200 or max(size) > 8000:
        raise EnvelopeError(
            f"a picture of {size[0]} by {size[1]} pixels: allowed are 200 to 8000 each way"
        )
    if not 1 <= scale <= 4:
        raise EnvelopeError(f"a picture's scale of {scale}: allowed are 1 to 4")


def _check_plan(scene: Scene, plan: str) -> None:
    if plan not in scene.plan_index:
        known = ", ".join(scene.plan_index)
        raise EnvelopeError(f'there is no plan "{plan}"; there are: {known}')


def _check_storey(scene: Scene, storey: str | None) -> None:
    known = [each.id for each in scene.storeys]
    if storey is not None and storey not in known:
        raise EnvelopeError(f'there is no storey "{storey}"; there are: {", ".join(known)}')


def _receiver(scene: Scene, receiver: str | None) -> str:
    if not scene.receivers:
        raise EnvelopeError("a cutaway shows a receiver's room, and this job has no receiver")
    if receiver is None:
        return scene.receivers[0].id
    if receiver not in scene.receiver_index:
        known = ", ".join(scene.receiver_index)
        raise EnvelopeError(f'there is no receiver "{receiver}"; there are: {known}')
    return receiver


def shot_of(
    scene: Scene,
    *,
    plan: str,
    size: tuple[int, int],
    margins: Margins,
    theme: ThemeName = "light",
    receiver: str | None = None,
    storey: str | None = None,
    whole: bool = False,
    peeled: int = 0,
    scale: int = 2,
    view: View | None = None,
    quantity: Quantity = "let-in",
) -> Shot:
    """What a picture shows, after everything that is asked for was checked. Nothing is drawn."""
    _check_size(size, scale)
    receiver = _receiver(scene, receiver)
    _check_plan(scene, plan)
    _check_storey(scene, storey)
    scope = scope_of(scene, receiver=receiver, storey=storey, whole=whole, peeled=peeled, view=view)
    camera = fit(
        points=extent(scene, scope),
        view=scope.view,
        size=size,
        margins=margins,
    )
    return Shot(
        scene=scene,
        plan=plan,
        receiver=receiver,
        scope=scope,
        camera=camera,
        theme=THEMES[theme],
        quantity=quantity,
        scale=scale,
    )


def _headline(sheet: Sheet, shot: Shot, *, width: float) -> None:
    scene = shot.scene
    plan, receiver = scene.plan_index[shot.plan], scene.receiver_index[shot.receiver]
    at = (34 * sheet.unit, 30 * sheet.unit)
    if shot.quantity == "wiring":
        fields = () if scene.wiring is None else scene.wiring.fields
        parts = field_headline(
            plan_title(shot.plan, scene.plans[plan].title),
            fields[plan][receiver] if fields else "",
            scene.receivers[receiver].name,
        )
    else:
        parts = headline(
            plan=shot.plan,
            title=scene.plans[plan].title,
            result=scene.plans[plan].receiver(shot.receiver),
        )
    sheet.headline(parts, at=at, width=width)


def staged_of(shot: Shot) -> Stage:
    """Bodies and lines of what a picture shows."""
    return stage(
        scene=shot.scene,
        plan=shot.plan,
        receiver=shot.receiver,
        scope=shot.scope,
        camera=shot.camera,
        theme=shot.theme,
        quantity=shot.quantity,
    )


# -- rendering -----------------------------------------------------------------------------------


def _rendered(shot: Shot, staged: Stage) -> Image:
    """The picture without words, at its finished size."""
    import PIL.Image

    from viewer.pictures import overlay

    colours = _coloured(shot, staged)
    colours *= _corner_shade(shot, staged)
    image = PIL.Image.fromarray(np.rint(colours).astype(np.uint8))
    if any(line.glows for line in staged.lines):
        image = overlay.glow(image, _gap_mask(shot, staged), reach=7.0 * unit_of(shot.camera.size))
    return image


def _coloured(shot: Shot, staged: Stage) -> NDArray[np.float32]:
    """Colours (height, width, 3), 0 to 255: the mean of `scale`² renderings.

    Each is shifted by a part of a pixel. One rendering `scale` times as large has edges as smooth
    and takes `scale`² times the memory.
    """
    plotter = _plotter(shot, staged)
    _add_paper(plotter, shot, staged)
    add_lights(plotter, shot.camera)
    for body in staged.bodies:
        add_body(plotter, body)
    add_lines(plotter, staged.lines)
    camera, view = plotter.camera, shot.camera.view
    position, target = np.array(camera.position), np.array(camera.focal_point)
    steps = (np.arange(shot.scale) + 0.5) / shot.scale - 0.5
    total = np.zeros((shot.camera.size[1], shot.camera.size[0], 3), dtype=np.float32)
    for x in steps:
        for y in steps:
            shift = shot.camera.metres_per_pixel * (x * view.right + y * view.up)
            camera.position, camera.focal_point = position + shift, target + shift
            plotter.render()
            total += plotter.screenshot(return_img=True)[:, :, :3]
    plotter.close()
    total /= shot.scale**2
    return total


def _corner_shade(shot: Shot, staged: Stage) -> NDArray[np.float32]:
    """Ambient occlusion (height, width, 1) of what is not translucent, 0 to 1.

    Apart from the colours, so that neither their smooth edges nor translucent bodies cost the
    memory and the time of its buffers. It is drawn at half the size: it is softened by more.
    """
    import PIL.Image
    import PIL.ImageFilter

    full = shot.camera.size
    camera = replace(
        shot.camera,
        size=(-(-full[0] // 2), -(-full[1] // 2)),
        metres_per_pixel=2.0 * shot.camera.metres_per_pixel,
    )
    shot = replace(shot, camera=camera)
    plotter = _plotter(shot, staged)
    plotter.set_background("white")
    _add_paper(plotter, shot, staged, white=True)
    add_lights(plotter, shot.camera)  # without any the renderer works out no normals
    solid = [body for body in staged.bodies if body.opacity == 1.0 and body.fade is None]
    for body in solid:
        if len(body.mesh.triangles) and not body.over:
            # all ambient, but lit: without lighting corners would shade in tiles
            plotter.add_mesh(
                poly_data(body.mesh), color="white", ambient=1.0, diffuse=0.0, render=False
            )
    room = float(
        np.ptp(np.concatenate([b.mesh.vertices for b in staged.bodies if b.lit]), axis=0).max()
    )
    plotter.enable_ssao(
        radius=min(max(0.05 * room, 0.25), 0.6), bias=0.04, kernel_size=_SHADE_KERNEL, blur=True
    )
    image = PIL.Image.fromarray(plotter.screenshot(return_img=True)[:, :, 0])
    plotter.close()
    soft = image.filter(PIL.ImageFilter.GaussianBlur(0.75 * unit_of(full)))
    # doubled from its corner, so that odd sizes keep their places
    soft = soft.resize((2 * camera.size[0], 2 * camera.size[1]), PIL.Image.Resampling.BILINEAR)
    soft = soft.crop((0, 0, *full))
    shade: NDArray[np.float32] = np.asarray(soft, dtype=np.float32)[:, :, np.newaxis] / 255.0
    return shade


def _gap_mask(shot: Shot, staged: Stage) -> Image:
    """White where a gap's outline is seen, black elsewhere."""
    import PIL.Image

    plotter = _plotter(shot, staged)
    plotter.set_background("black")
    for body in staged.bodies:
        if body.opacity == 1.0 and body.fade is None and len(body.mesh.triangles):
            plotter.add_mesh(poly_data(body.mesh), color="black", lighting=False, render=False)
    glowing = [line for line in staged.lines if line.glows]
    plotter.add_mesh(bars(glowing), color="white", lighting=False, render=False)
    image = PIL.Image.fromarray(plotter.screenshot(return_img=True))
    plotter.close()
    return image


def _plotter(shot: Shot, staged: Stage) -> Any:
    import pyvista
    from vtkmodules.vtkCommonCore import vtkLogger

    # without a display the renderer says so on every start, and then goes on without one
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    camera = shot.camera
    nearest, farthest = _depths(camera, staged)
    distance = nearest + 1.0  # the shading of corners keeps distances with three figures only
    plotter = pyvista.Plotter(off_screen=True, window_size=camera.size, lighting="none")
    plotter.disable_anti_aliasing()  # with it translucent bodies vanish on some drivers
    plotter.camera_position = [
        camera.target_m + camera.view.towards_eye * distance,
        camera.target_m,
        (0.0, 0.0, 1.0),
    ]
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = 0.5 * camera.size[1] * camera.metres_per_pixel
    plotter.camera.clipping_range = (0.5, distance - farthest + 2.0)
    return plotter


def _depths(camera: Camera, staged: Stage) -> tuple[float, float]:
    """How far towards the eye the nearest and the farthest thing lie, from the target. [m]"""
    shown = [body.mesh.vertices for body in staged.bodies] + [line.points for line in staged.lines]
    depths = (np.concatenate(shown) - camera.target_m) @ camera.view.towards_eye
    return float(depths.max()), float(depths.min())


def _add_paper(plotter: Any, shot: Shot, staged: Stage, *, white: bool = False) -> None:
    """The ground of the picture, as a sheet behind everything.

    Where nothing at all is drawn the shading of corners reads what happens to be in memory.
    """
    camera = shot.camera
    _, farthest = _depths(camera, staged)
    across, up = (0.51 * pixels * camera.metres_per_pixel for pixels in camera.size)
    middle = camera.target_m + camera.view.towards_eye * (farthest - 1.0)
    corners = [
        middle + x * across * camera.view.right + y * up * camera.view.up
        for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    sheet = poly_data(quad(*corners))
    if white:
        plotter.add_mesh(sheet, color="white", ambient=1.0, diffuse=0.0, render=False)
        return
    below, above = rgb(shot.theme.paper), rgb(shot.theme.paper_top)
    sheet.point_data["paper"] = np.rint(np.array([below, below, above, above]) * 255).astype(
        np.uint8
    )
    plotter.add_mesh(sheet, scalars="paper", rgb=True, ambient=1.0, diffuse=0.0, specular=0.0)


# -- words ---------------------------------------------------------------------------------------


def _png(picture: Image) -> bytes:
    buffer = io.BytesIO()
    picture.save(buffer, format="PNG", dpi=(_DOTS_PER_INCH, _DOTS_PER_INCH))
    return buffer.getvalue()
