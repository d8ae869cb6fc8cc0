"""One figure of a scene to turn by hand: a notebook shows it, `gapcast view --window` opens it.

The near walls follow the eye: while the room turns, walls that come to stand before it are cut
down, and those behind are put up again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from envelope.text.sentences import headline
from viewer.pictures.actors import bar_actors, lights, solid_actor
from viewer.pictures.captions import Shot, shown_labels
from viewer.pictures.cutaway import shot_of, staged_of
from viewer.pictures.drawn import bar_of, eye_of, solid_of
from viewer.pictures.gl import require_library, require_offscreen
from viewer.pictures.staging import Quantity
from viewer.scene.colours import ThemeName, cividis
from viewer.scene.records import Scene
from viewer.scene.rooms import faces, mark_of
from viewer.scene.view import Camera, Margins, View, unit_of

_REDRAW_AT = 1.25  # lines are redrawn at their width when zoomed by this much
_SCALE_WORDS = {"let-in": "let in, dB of the field outside", "loss": "loss, dB"}


def figure(
    scene: Scene,
    *,
    plan: str | None = None,
    receiver: str | None = None,
    quantity: Quantity = "let-in",
    theme: ThemeName = "light",
    size: tuple[int, int] = (1500, 950),
    off_screen: bool = False,
) -> Any:
    """Draw one plan of a scene as a PyVista plotter.

    Parameters
    ----------
    scene : Scene
    plan : str, optional
        Id of one of the scene's plans; the last one unless stated.
    receiver : str, optional
        Whose room and whose numbers; the first receiver unless stated.
    quantity : "let-in", "loss", "treatment" or "wiring"
        What colours mean.
    theme : "light" or "dark"
    size : (2,) int
        Width and height. [pixels]
    off_screen : bool
        Draw without a display, for `screenshot`.

    Returns
    -------
    pyvista.Plotter
        `show()` opens it, in a window or in a notebook; `screenshot()` is a picture of it.

    Raises
    ------
    EnvelopeError
        Where nothing can be drawn here, or what is asked for is not in the scene.
    """
    require_library(name="PyVista", module="pyvista")
    require_offscreen()
    unit = unit_of(size)
    shot = shot_of(
        scene,
        plan=scene.plans[-1].id if plan is None else plan,
        receiver=receiver,
        size=size,
        margins=Margins(left=30 * unit, right=150 * unit, top=110 * unit, bottom=60 * unit),
        theme=theme,
        quantity=quantity,
    )
    import pyvista
    from vtkmodules.vtkCommonCore import vtkLogger

    # without a display the renderer says so on every start, and then goes on without one
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    plotter = pyvista.Plotter(off_screen=off_screen, window_size=list(size), lighting="none")
    plotter.disable_anti_aliasing()  # with it translucent bodies vanish on some drivers
    plotter.set_background(shot.theme.paper, top=shot.theme.paper_top)
    plotter.enable_parallel_projection()
    if not off_screen and plotter.iren is not None:
        plotter.enable_terrain_style(mouse_wheel_zooms=True)
    drawing = _Drawing(plotter, shot)
    drawing.aim(shot.camera)
    drawing.add_words()
    drawing.follow_eye()
    plotter.camera.AddObserver("ModifiedEvent", drawing.follow_eye)
    return plotter


class _Drawing:
    """What stands in a plotter, and for which side of the room it was drawn."""

    def __init__(self, plotter: Any, shot: Shot) -> None:
        self._plotter = plotter
        self._shot = shot  # as seen first
        rooms = shot.scope.rooms.full
        self._panels = [panel for panel in shot.scene.panels if panel.space in rooms]
        self._actors: list[Any] = []
        self._drawn_for: tuple[list[bool], float] | None = None

    @property
    def _camera(self) -> Camera:
        """Where the eye is now."""
        camera = self._plotter.camera
        target = np.array(camera.focal_point)
        away = np.array(camera.position) - target
        away = away / np.linalg.norm(away)
        width, height = self._plotter.window_size
        return Camera(
            view=View(
                azimuth_rad=float(np.arctan2(away[0], away[1])),
                elevation_rad=float(np.arcsin(np.clip(away[2], -1.0, 1.0))),
            ),
            target_m=target,
            metres_per_pixel=2.0 * float(camera.parallel_scale) / height,
            size=(width, height),
        )

    def aim(self, camera: Camera) -> None:
        """Look from where a picture is taken."""
        scene = self._shot.scene
        reach = 4.0 * float(np.linalg.norm(scene.high_m - scene.low_m)) + 10.0
        own = self._plotter.camera
        own.position = camera.target_m + reach * camera.view.towards_eye
        own.focal_point = camera.target_m
        own.up = (0.0, 0.0, 1.0)
        own.parallel_scale = 0.5 * camera.size[1] * camera.metres_per_pixel

    def follow_eye(self, *_: object) -> None:
        """Draw anew where other walls stand before the eye, or lines became too thick or thin."""
        camera = self._camera
        facing = [faces(panel, camera.view) for panel in self._panels]
        if self._drawn_for is not None:
            zoomed = camera.metres_per_pixel / self._drawn_for[1]
            if facing == self._drawn_for[0] and 1 / _REDRAW_AT < zoomed < _REDRAW_AT:
                return
        self._drawn_for = facing, camera.metres_per_pixel
        plotter = self._plotter
        plotter.renderer.remove_all_lights()
        for light in lights(eye_of(camera)):
            plotter.renderer.AddLight(light)
        plotter.remove_actor(self._actors, render=False, reset_camera=False)
        shot = replace(self._shot, camera=camera)
        staged = staged_of(shot)
        solids = (solid_actor(solid_of(body)) for body in staged.bodies)
        self._actors = [actor for actor in solids if actor is not None]
        self._actors += bar_actors([bar_of(line) for line in staged.lines])
        for actor in self._actors:
            plotter.add_actor(actor, render=False, reset_camera=False)
        self._actors += self._labels(shot)
        plotter.renderer.reset_camera_clipping_range()

    def _labels(self, shot: Shot) -> list[Any]:
        """Names of the faces that matter and of the sources."""
        scene, theme = shot.scene, shot.theme
        faces_named = [
            (mark_of(scene.panels[scene.panel_index[label.panel]], shot.camera.view), label.text)
            for label in shown_labels(shot)
        ]
        sources = [(mark.at_m, mark.label) for mark in shot.scope.marks]
        return [
            self._plotter.add_point_labels(
                np.array([at for at, _ in named]),
                [_plain(words) for _, words in named],
                font_size=14,
                font_file=_typeface(),
                text_color=colour,
                shape_color=theme.label,
                shape_opacity=0.85,
                margin=5,
                show_points=False,
                always_visible=True,
                render=False,
                reset_camera=False,
            )
            for named, colour in ((faces_named, theme.ink), (sources, theme.source))
            if named
        ]

    def add_words(self) -> None:
        """The headline and what colours mean."""
        import pyvista

        plotter, shot = self._plotter, self._shot
        scene = shot.scene
        plan = scene.plan_index[shot.plan]
        result = scene.plans[plan].receiver(shot.receiver)
        parts = headline(plan=shot.plan, title=scene.plans[plan].title, result=result)
        plotter.add_text(
            _plain("   ·   ".join(parts)),
            position=(18, plotter.window_size[1] - 40),
            font_size=13,
            color=self._shot.theme.ink,
            font_file=_typeface(),
            render=False,
        )
        if shot.quantity in ("treatment", "wiring"):
            return
        is_loss = shot.quantity == "loss"
        scale = scene.loss if is_loss else scene.let_in
        places = np.linspace(0.0, 1.0, 128)
        if is_loss:
            places = 1.0 - places  # bright lets most in, whatever is counted
        table = pyvista.LookupTable(
            values=np.column_stack((cividis(places), np.ones(128))) * 255,
            scalar_range=(scale.low_db, scale.high_db),
        )
        mapper = pyvista.DataSetMapper()
        mapper.lookup_table = table
        span = scale.high_db - scale.low_db
        plotter.add_scalar_bar(
            title=_SCALE_WORDS[shot.quantity],
            mapper=mapper,
            vertical=True,
            position_x=1.0 - 150.0 / plotter.window_size[0],
            position_y=0.3,
            width=110.0 / plotter.window_size[0],
            height=0.5,
            n_labels=1 + round(span / (5.0 if span <= 30.0 else 10.0)),
            fmt="%.0f",
            color=self._shot.theme.ink,
            label_font_size=15,
            title_font_size=13,
            render=False,
        )


def _plain(words: str) -> str:
    """Words that the renderer does not take for a formula."""
    return words.replace("$", r"\$")


def _typeface() -> str:
    from viewer.pictures.overlay import typeface

    return typeface("DejaVuSans")
