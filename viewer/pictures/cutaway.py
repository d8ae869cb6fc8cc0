"""Pictures of a scene for print: a cutaway, and two plans side by side.

What they show is rendered by a process of its own (`painter.py`); words and scales come on top.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict, Unpack

import numpy as np

from envelope.errors import EnvelopeError
from envelope.files import write_atomically
from envelope.text.names import plan_title
from envelope.text.sentences import headline
from envelope.wiring_text import field_headline
from viewer.pictures.captions import Shot, annotate, footer, legend, rose
from viewer.pictures.drawing import Drawing
from viewer.pictures.drawn import bar_of, eye_of, solid_of
from viewer.pictures.gl import require_offscreen
from viewer.pictures.painter import painter
from viewer.pictures.staging import Quantity, Stage, stage
from viewer.scene.colours import AMBER, THEMES, ThemeName, rgb
from viewer.scene.records import Scene
from viewer.scene.scopes import extent, scope_of
from viewer.scene.view import Margins, View, fit, unit_of

if TYPE_CHECKING:
    from concurrent.futures import Future

    from numpy.typing import NDArray
    from PIL.Image import Image

    from viewer.pictures.overlay import Sheet


_DOTS_PER_INCH = 300


class Look(TypedDict, total=False):
    """What may be asked of a picture.

    Attributes
    ----------
    size : (2,) int
        Width and height. [pixels]
    theme : "light" or "dark"
    receiver : str
        Whose room is shown and whose numbers; the first receiver unless stated.
    storey : str
        Show every room of this storey in full instead of the receiver's alone.
    whole : bool
        Show every room of the house instead.
    peeled : int
        So many storeys are taken off the top of the whole house; the lowest always stays.
    scale : int
        So many samples across and down each pixel: smooth edges; 2 unless stated.
    view : View
        Where the eye stands; by itself the corner from which most of the gaps are seen.
    quantity : "let-in", "loss", "treatment" or "wiring"
        What colours mean.
    """

    size: tuple[int, int]
    theme: ThemeName
    receiver: str | None
    storey: str | None
    whole: bool
    peeled: int
    scale: int
    view: View | None
    quantity: Quantity


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Underway:
    """A picture that is being drawn beside other work."""

    _finish: Callable[[], Image]

    def png(self, *, passed_on: bool = False) -> bytes:
        """The picture. Waits until it is drawn.

        What is `passed_on` to be stored in another format is not packed as tightly as a file.
        """
        buffer = io.BytesIO()
        self._finish().save(
            buffer,
            format="PNG",
            dpi=(_DOTS_PER_INCH, _DOTS_PER_INCH),
            compress_level=1 if passed_on else 6,
        )
        return buffer.getvalue()


def cutaway(
    scene: Scene, *, plan: str, path: str | Path, type_size: float = 1.0, **look: Unpack[Look]
) -> None:
    """Write a cutaway of one plan as a PNG, 1600 by 1100 pixels unless stated.

    Parameters
    ----------
    scene : Scene
    plan : str
        Id of one of the scene's plans.
    path : str or Path
        Of the file; replaced whole.
    type_size : float
        By how much words and margins are larger than usual, for a picture that is shown small.
    **look
        As in `Look`.
    """
    write_atomically(Path(path), begin_cutaway(scene, plan=plan, type_size=type_size, **look).png())


def begin_cutaway(
    scene: Scene, *, plan: str, type_size: float = 1.0, **look: Unpack[Look]
) -> Underway:
    """Begin to draw a cutaway, as `cutaway` writes it."""
    require_offscreen()
    from viewer.pictures import overlay

    size, scale = look.setdefault("size", (1600, 1100)), look.setdefault("scale", 2)
    unit = unit_of(size) * type_size
    raised = min(type_size - 1.0, 0.5)  # larger words below the scale stay clear of the rose
    shot = shot_of(
        scene,
        plan=plan,
        margins=Margins(left=40 * unit, right=215 * unit, top=122 * unit, bottom=75 * unit),
        **look,
    )
    staged = staged_of(shot)
    rendered = begin_rendering(shot, staged)

    def finish() -> Image:
        sheet = overlay.Sheet(size=size, scale=scale, theme=shot.theme, unit=unit)
        width, height = size
        frame = (12 * unit, 84 * unit, width - 190 * unit, height - 60 * unit)
        annotate(sheet, shot, staged, frame=frame)
        _headline(sheet, shot, width=width - 68 * unit)
        top, bottom = (0.27 - 0.16 * raised) * height, (0.575 - 0.4 * raised) * height
        legend(sheet, shot, left=width - 165 * unit, top=top, bottom=bottom)
        rose(sheet, shot, at=(width - 105 * unit, height - 105 * unit))
        footer(sheet, shot)
        return sheet.onto(overlay.picture_of(rendered.result()))

    return Underway(_finish=finish)


def before_after(
    scene: Scene, *, before: str, after: str, path: str | Path, **look: Unpack[Look]
) -> None:
    """Write two plans side by side as a PNG: one view, one scale; 2400 by 1100 unless stated.

    Parameters
    ----------
    scene : Scene
    before, after : str
        Ids of two of the scene's plans.
    path : str or Path
        Of the file; replaced whole.
    **look
        As in `Look`.
    """
    require_offscreen()
    from viewer.pictures import overlay

    size, scale = look.get("size", (2400, 1100)), look.setdefault("scale", 2)
    unit = unit_of((size[0] * 2 // 3, size[1]))
    column = round(200 * unit)
    half = (size[0] - column) // 2
    margins = Margins(left=40 * unit, right=44 * unit, top=122 * unit, bottom=75 * unit)
    look["size"] = (half, size[1])
    shots = [shot_of(scene, plan=plan, margins=margins, **look) for plan in (before, after)]
    stages = [staged_of(shot) for shot in shots]
    rendered = [begin_rendering(*each) for each in zip(shots, stages, strict=True)]
    colours = shots[-1].theme
    both = overlay.ground(size=size, theme=colours)
    for index, (shot, staged) in enumerate(zip(shots, stages, strict=True)):
        sheet = overlay.Sheet(size=(half, size[1]), scale=scale, theme=colours, unit=unit)
        frame = (10 * unit, 84 * unit, half - 10 * unit, size[1] - 60 * unit)
        annotate(sheet, shot, staged, frame=frame)
        _headline(sheet, shot, width=half - 60 * unit)
        drawn = overlay.picture_of(rendered[index].result())
        both.paste(sheet.onto(drawn), (index * half, 0))
    sheet = overlay.Sheet(size=size, scale=scale, theme=colours, unit=unit)
    sheet.line([(half, 40 * unit), (half, size[1] - 70 * unit)], width=1.2, colour=colours.ring)
    last = shots[-1]
    legend(sheet, last, left=size[0] - 170 * unit, top=0.27 * size[1], bottom=0.575 * size[1])
    rose(sheet, last, at=(size[0] - 105 * unit, size[1] - 105 * unit))
    footer(sheet, shots[0])
    write_atomically(Path(path), Underway(_finish=lambda: sheet.onto(both)).png())


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
    scene = scene.under(plan)
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


def begin_rendering(shot: Shot, staged: Stage) -> Future[NDArray[np.uint8]]:
    """The picture without words (height, width, 3), at its finished size, once it is drawn."""
    theme = shot.theme
    return painter().draw(
        Drawing(
            eye=eye_of(shot.camera),
            solids=tuple(solid_of(body) for body in staged.bodies),
            bars=tuple(bar_of(line) for line in staged.lines),
            paper=rgb(theme.paper),
            paper_top=rgb(theme.paper_top),
            glow=rgb(AMBER),
            unit=unit_of(shot.camera.size),
            scale=shot.scale,
        )
    )
