"""A window of its own for a scene: turn it, click a face, change plan by key (PyVista).

    key     does
    1 … 9   another plan, in the pane that was clicked last
    B       beams on and off
    U       the receiver's room, then one storey after the other
    C       colours: what gets in, loss, treatment
    Esc, Q  close

What is cut away follows the eye: while the room is turned, walls that come to stand before it are
cut down and those that are left behind are put up again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats
from viewer.pictures.actors import add_body, add_lights, add_lines
from viewer.pictures.captions import Shot
from viewer.pictures.cutaway import shot_of
from viewer.pictures.gl import require_offscreen, require_window
from viewer.pictures.picking import panel_under, words_of
from viewer.pictures.staging import Quantity, stage
from viewer.scene.colours import THEMES, ThemeName, cividis
from viewer.scene.names import leak_label
from viewer.scene.records import Scene, ScenePanel
from viewer.scene.rooms import arrows, faces, mark_of, named_panels, ring_for
from viewer.scene.shapes import Line
from viewer.scene.transmitters import is_near, label_of, mark_size
from viewer.scene.view import Camera, Margins, View, unit_of
from viewer.scene.wording import headline, shown

_MOST_PANES = 3
_MOST_PLANS = 9
_SIZE = (1500, 950)
_QUANTITIES: tuple[Quantity, ...] = ("let-in", "loss", "treatment")
_QUANTITY_WORDS = {
    "let-in": "let in, dB of the field outside",
    "loss": "loss, dB",
    "treatment": "treatments",
}
_LABELS_AT_MOST = 4
_BAR = " "  # the scale's own title, which stands above it as words of ours
_LETTER = 1.1  # width of a letter over the type's size, about
_STILL_PX = 4.0  # a click moves the mouse less than this
_REDRAW_AT = 1.25  # lines are redrawn at their width when zoomed by this much
_HELP = "drag: turn   ·   wheel: zoom   ·   click: face   ·   1-9 plan   ·   B beams   ·   "
_HELP += "U storeys   ·   C colours   ·   Esc close"


def open_window(
    scene: Scene,
    *,
    plans: Sequence[str],
    receiver: str | None = None,
    theme: ThemeName = "light",
    off_screen: bool = False,
) -> Window:
    """Show a scene in a window, one pane a plan; comes back when the window is closed.

    Parameters
    ----------
    scene : Scene
    plans : sequence of str
        Ids of one to three of the scene's plans, side by side with one camera.
    receiver : str, optional
        Whose room and whose numbers; the first receiver unless stated.
    off_screen : bool
        Draw it without a display and come back at once, for `Window.picture`.

    Raises
    ------
    EnvelopeError
        Where no window can be opened, or what is asked for is not in the scene.
    """
    if off_screen:
        require_offscreen()
    else:
        require_window()
    window = Window(scene, plans=plans, receiver=receiver, theme=theme, off_screen=off_screen)
    if not off_screen:
        window.run()
    return window


@dataclass(slots=True, kw_only=True, eq=False)
class _Pane:
    """One plan of the window, and what is drawn for it."""

    plan: str
    actors: list[Any] = field(default_factory=list)


class Window:
    """The window's state; each thing that a key or a click does is a method."""

    def __init__(
        self,
        scene: Scene,
        *,
        plans: Sequence[str],
        receiver: str | None = None,
        theme: ThemeName = "light",
        off_screen: bool = False,
        size: tuple[int, int] | None = None,
    ) -> None:
        if not 1 <= len(plans) <= _MOST_PANES:
            raise EnvelopeError(
                f"{len(plans)} plans: a window shows 1 to {_MOST_PANES} plans side by side"
            )
        self.scene = scene
        self.theme = THEMES[theme]
        self.storey: str | None = None
        self.quantity: Quantity = "let-in"
        self.beams = True
        self.picked: ScenePanel | None = None
        self.words: tuple[str, ...] = ()  # of what was picked
        self.active = 0  # pane in which plans change
        self._panes = [_Pane(plan=plan) for plan in plans]
        self._size = size or _SIZE
        self._pressed = (0.0, 0.0)
        for plan in plans:
            shot = self._shot(plan, receiver)  # says what is wrong before anything opens
        self.receiver = shot.receiver
        self._cast = shot.cast
        self._plotter = self._open(off_screen)
        self._drawn_for: tuple[tuple[bool, ...], float] | None = None
        self._aim(shot.camera)
        self.redraw()

    # -- what keys and clicks do ---------------------------------------------------------------

    @property
    def plans(self) -> tuple[str, ...]:
        """The plan of each pane."""
        return tuple(pane.plan for pane in self._panes)

    def choose_plan(self, number: int) -> None:
        """Show the scene's plan of this number, from 1, in the pane that is active."""
        if 1 <= number <= len(self.scene.plans):
            self._panes[self.active].plan = self.scene.plans[number - 1].id
            self.redraw()

    def toggle_beams(self) -> None:
        """Beams on or off."""
        self.beams = not self.beams
        self.redraw()

    def next_storey(self) -> None:
        """From the receiver's room to the first storey, and on to the last, and back."""
        order = [None, *(storey.id for storey in self.scene.storeys)]
        self.storey = order[(order.index(self.storey) + 1) % len(order)]
        shot = self._shot(self._panes[0].plan, self.receiver, view=self.camera.view)
        self._cast = shot.cast
        self._aim(shot.camera)
        self.redraw()

    def next_quantity(self) -> None:
        """Let colours mean the next thing."""
        at = _QUANTITIES.index(self.quantity)
        self.quantity = _QUANTITIES[(at + 1) % len(_QUANTITIES)]
        self.redraw()

    def pick(self, x: float, y: float) -> ScenePanel | None:
        """The panel under a pixel of the window, x to the right and y down; its words are shown."""
        width = self._size[0] / len(self._panes)
        self.active = min(int(x / width), len(self._panes) - 1)
        self.picked = panel_under(
            self.scene,
            camera=self.camera,
            pixel=(x - self.active * width, y),
            spaces=self._cast.full,
        )
        self.redraw()
        return self.picked

    def turn(self, view: View) -> None:
        """Look from somewhere else."""
        at = self.camera
        self._aim(
            Camera(
                view=view, target_m=at.target_m, metres_per_pixel=at.metres_per_pixel, size=at.size
            )
        )
        self.follow_eye()

    def follow_eye(self) -> None:
        """Draw anew where other walls stand before the eye, or lines became too thick or thin."""
        if self._drawn_for is None:
            return
        camera = self.camera
        facing, scale = self._drawn_for
        zoomed = camera.metres_per_pixel / scale
        if self._facing(camera.view) != facing or not 1 / _REDRAW_AT < zoomed < _REDRAW_AT:
            self.redraw()

    def run(self) -> None:
        """Show the window until it is closed."""
        self._plotter.show(title=f"gapcast: {shown(self.scene.name, limit=60)}")

    def picture(self, path: str | Path | None = None) -> np.ndarray:
        """What the window shows, (height, width, 3), and perhaps as a PNG."""
        return np.asarray(
            self._plotter.screenshot(None if path is None else str(path), return_img=True)
        )

    def close(self) -> None:
        """Close it."""
        self._plotter.close()

    # -- the camera ----------------------------------------------------------------------------

    @property
    def camera(self) -> Camera:
        """Where the eye is now; the same in every pane."""
        camera = self._plotter.renderers[0].camera
        target = np.array(camera.focal_point)
        away = np.array(camera.position) - target
        away = away / np.linalg.norm(away)
        width, height = self._pane_size()
        return Camera(
            view=View(
                azimuth_rad=float(np.arctan2(away[0], away[1])),
                elevation_rad=float(np.arcsin(np.clip(away[2], -1.0, 1.0))),
            ),
            target_m=target,
            metres_per_pixel=2.0 * float(camera.parallel_scale) / height,
            size=(width, height),
        )

    def _aim(self, camera: Camera) -> None:
        reach = 4.0 * float(np.linalg.norm(self.scene.high_m - self.scene.low_m)) + 10.0
        own = self._plotter.renderers[0].camera  # the panes share it
        own.position = camera.target_m + reach * camera.view.towards_eye
        own.focal_point = camera.target_m
        own.up = (0.0, 0.0, 1.0)
        own.parallel_scale = 0.5 * camera.size[1] * camera.metres_per_pixel

    def _pane_size(self) -> tuple[int, int]:
        return self._size[0] // len(self._panes), self._size[1]

    def _facing(self, view: View) -> tuple[bool, ...]:
        return tuple(
            faces(panel, view) for panel in self.scene.panels if panel.space in self._cast.full
        )

    def _shot(self, plan: str, receiver: str | None, *, view: View | None = None) -> Shot:
        size = self._pane_size()
        unit = unit_of(size)
        return shot_of(
            self.scene,
            plan=plan,
            receiver=receiver,
            storey=self.storey,
            size=size,
            margins=Margins(left=30 * unit, right=150 * unit, top=110 * unit, bottom=60 * unit),
            view=view,
        )

    # -- drawing -------------------------------------------------------------------------------

    def _open(self, off_screen: bool) -> Any:
        import pyvista
        from vtkmodules.vtkCommonCore import vtkLogger

        # without a display the renderer says so on every start, and then goes on without one
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
        plotter = pyvista.Plotter(
            shape=(1, len(self._panes)),
            off_screen=off_screen,
            window_size=list(self._size),
            lighting="none",
            border=len(self._panes) > 1,
            border_color=self.theme.ring,
        )
        plotter.disable_anti_aliasing()  # with it translucent bodies vanish on some drivers
        plotter.set_background(self.theme.paper, top=self.theme.paper_top, all_renderers=True)
        for index in range(len(self._panes)):
            plotter.subplot(0, index)
            plotter.enable_parallel_projection()
        if len(self._panes) > 1:
            plotter.link_views()
        if not off_screen:
            self._listen(plotter)
        return plotter

    def _listen(self, plotter: Any) -> None:
        """Bind keys and the mouse."""
        plotter.enable_terrain_style(mouse_wheel_zooms=True)
        interactor = plotter.iren
        interactor.clear_key_event_callbacks()
        # the style's own keys: wireframe, stereo, fly to a point, latitude and longitude
        interactor.interactor.GetInteractorStyle().AddObserver("CharEvent", lambda *_: None)
        for number in range(1, _MOST_PLANS + 1):
            for key in (str(number), f"KP_{number}"):
                interactor.add_key_event(key, lambda number=number: self.choose_plan(number))
        for keys, act in (
            ("bB", self.toggle_beams),
            ("uU", self.next_storey),
            ("cC", self.next_quantity),
            ("qQ", self._leave),
        ):
            for key in keys:
                interactor.add_key_event(key, act)
        interactor.add_key_event("Escape", self._leave)
        interactor.add_observer("LeftButtonPressEvent", self._press)
        interactor.add_observer("LeftButtonReleaseEvent", self._release)
        for event in ("InteractionEvent", "EndInteractionEvent"):
            interactor.style.add_observer(event, lambda *_: self.follow_eye())
        for event in ("MouseWheelForwardEvent", "MouseWheelBackwardEvent"):
            interactor.add_observer(event, lambda *_: self.follow_eye())
        interactor.add_observer("ConfigureEvent", lambda *_: self._resized())

    def _leave(self) -> None:
        """End the loop of `run`, which closes: to close amid an event takes the process down."""
        self._plotter.iren.terminate_app()

    def _mouse(self) -> tuple[float, float]:
        x, y = self._plotter.iren.get_event_position()
        return float(x), self._size[1] - 1.0 - float(y)  # the renderer counts upward

    def _press(self, *_: object) -> None:
        self._pressed = self._mouse()

    def _release(self, *_: object) -> None:
        at = self._mouse()
        if np.hypot(at[0] - self._pressed[0], at[1] - self._pressed[1]) < _STILL_PX:
            self.pick(*at)

    def _resized(self) -> None:
        width, height = self._plotter.window_size
        if (width, height) != self._size and min(width, height) > 0:
            self._size = (int(width), int(height))
            self.follow_eye()

    def redraw(self) -> None:
        """Draw every pane anew, for what is asked for and for where the eye is."""
        camera = self.camera
        for renderer in self._plotter.renderers:
            renderer.remove_all_lights()
        add_lights(self._plotter, camera)  # in every pane
        for index, pane in enumerate(self._panes):
            self._plotter.subplot(0, index)
            self._plotter.remove_actor(pane.actors, render=False, reset_camera=False)
            pane.actors = [*self._bodies(pane, camera), *self._words(index, pane, camera)]
        for renderer in self._plotter.renderers:
            renderer.reset_camera_clipping_range()
        self._drawn_for = (self._facing(camera.view), camera.metres_per_pixel)
        self._plotter.render()

    def _bodies(self, pane: _Pane, camera: Camera) -> list[Any]:
        staged = stage(
            scene=self.scene,
            plan=pane.plan,
            receiver=self.receiver,
            cast=self._cast,
            camera=camera,
            theme=self.theme,
            quantity=self.quantity,
            with_beams=self.beams,
        )
        actors = [add_body(self._plotter, body) for body in staged.bodies]
        lines = list(staged.lines)
        if self.picked is not None and self.picked.space in self._cast.full:
            pixel = camera.metres_per_pixel
            lines += [
                Line(
                    # behind a gap's amber line, as its dark rim
                    points=outline - 1.0 * pixel * camera.view.towards_eye,
                    radius_m=5.0 * pixel,
                    colour=self.theme.ink,
                    of=self.picked.id,
                )
                for outline in self.picked.outlines
            ]
        return [actor for actor in actors if actor is not None] + add_lines(self._plotter, lines)

    def _words(self, index: int, pane: _Pane, camera: Camera) -> list[Any]:
        result = self.scene.plans[self.scene.plan_index[pane.plan]].receiver(self.receiver)
        first = "   ·   ".join(headline(plan=pane.plan, result=result))
        if len(self._panes) > 1 and index == self.active:
            first = f"> {first}"  # keys change the plan here
        width, height = self._pane_size()
        actors = [self._text(first, at=(18, height - 40), size=13, within=width - 36)]
        plans = [
            f"{number}  {shown(plan.id, limit=28)}"
            for number, plan in enumerate(self.scene.plans[:_MOST_PLANS], start=1)
        ]
        below = height - 64 - 19 * len(plans)
        actors.append(self._text("\n".join(plans), at=(18, below), size=9, muted=True))
        if index == 0:
            actors.append(self._text(_HELP, at=(18, 12), size=9, muted=True, within=width - 36))
        if self.picked is not None:
            self.words = words_of(
                self.scene, self.picked, plan=self._panes[self.active].plan, receiver=self.receiver
            )
            found = words_of(self.scene, self.picked, plan=pane.plan, receiver=self.receiver)
            actors.append(self._text("\n".join(found), at=(18, 44), size=11))
        else:
            self.words = ()
        actors += self._labels(pane, camera)
        if index == len(self._panes) - 1:
            actors += self._legend(width)
        return actors

    def _text(
        self,
        words: str,
        *,
        at: tuple[float, float],
        size: int,
        muted: bool = False,
        within: float | None = None,
    ) -> Any:
        """Words at a pixel, y up; smaller where they would be too wide."""
        if within is not None:
            size = max(6, min(size, int(within / (_LETTER * len(words)))))
        return self._plotter.add_text(
            words.replace("$", r"\$"),  # else two of them would begin a formula
            position=at,
            font_size=size,
            color=self.theme.muted if muted else self.theme.ink,
            font_file=_typeface(),
            render=False,
        )

    def _labels(self, pane: _Pane, camera: Camera) -> list[Any]:
        """Names of the gaps and of what lets in most, and their shares."""
        scene = self.scene
        home = scene.receivers[scene.receiver_index[self.receiver]].space
        named = named_panels(
            scene=scene, plan=pane.plan, receiver=self.receiver, cast=self._cast, view=camera.view
        )[:_LABELS_AT_MOST]
        points = [mark_of(panel, camera.view) for panel, _ in named]
        words = []
        for panel, leak in named:
            stands = panel.states[scene.plan_index[pane.plan]].stands
            words.append(leak_label(panel, leak, home=home, stands=stands).replace("$", r"\$"))
        return [
            *self._floating(points, words, self.theme.ink),
            *self._floating(*self._source_labels(camera), self.theme.source),
        ]

    def _source_labels(self, camera: Camera) -> tuple[list[Floats], list[str]]:
        """Where the names of sources stand, and what they say."""
        scene = self.scene
        ring = ring_for(scene=scene, cast=self._cast)
        who = scene.receivers[scene.receiver_index[self.receiver]]
        found = arrows(
            scene=scene, cast=self._cast, ring=ring, view=camera.view, receiver=self.receiver
        )
        ends = dict(found)
        places, words = [], []
        for source in scene.sources:
            if source.position_m is not None and is_near(source, ring):
                place = source.position_m + 2.0 * mark_size(ring) * camera.view.right
            elif source.id not in ends:
                continue  # from everywhere
            else:  # an end of its arrow each, as a mast and a meter may come from one side
                place = ends[source.id][0 if source.position_m is None else 1]
            places.append(place)
            label = label_of(source, who, ring=ring, feet=scene.feet)
            words.append(label.replace("$", r"\$"))
        return places, words

    def _floating(self, points: list[Floats], words: list[str], colour: str) -> list[Any]:
        """Words at places in space, before everything."""
        if not points:
            return []
        actor = self._plotter.add_point_labels(
            np.array(points),
            words,
            font_size=14,
            font_file=_typeface(),
            text_color=colour,
            shape_color=self.theme.label,
            shape_opacity=0.85,
            margin=5,
            show_points=False,
            always_visible=True,
            render=False,
            reset_camera=False,
        )
        return [actor]

    def _legend(self, width: int) -> list[Any]:
        """What colours mean, at the right edge."""
        if _BAR in self._plotter.scalar_bars:
            self._plotter.remove_scalar_bar(_BAR, render=False)
        height = self._size[1]
        title = self._text(
            _QUANTITY_WORDS[self.quantity], at=(width - 18, height - 66), size=9, muted=True
        )
        title.prop.justification_horizontal = "right"
        actors = [title]
        ring = ring_for(scene=self.scene, cast=self._cast)
        if any(is_near(source, ring) for source in self.scene.sources):
            key = "◆ transmitter and line of sight, dashed where something is between"
            actors.append(self._text(key, at=(width - 18, 44), size=9))
            actors[-1].prop.justification_horizontal = "right"
            actors[-1].prop.color = self.theme.source
        if self.quantity == "treatment":
            for row, style in enumerate(self.scene.treatments[:12]):
                y = height - 100 - 24 * row
                mark = self._text("■", at=(width - 250, y), size=10)
                mark.prop.color = style.colour
                words = f"{style.letter}  {shown(style.treatment, limit=20)}"
                actors += [mark, self._text(words, at=(width - 228, y), size=10)]
            return actors
        import pyvista

        scale = self.scene.loss if self.quantity == "loss" else self.scene.let_in
        places = np.linspace(0.0, 1.0, 128)
        span = scale.high_db - scale.low_db
        if self.quantity == "loss":
            places = 1.0 - places  # bright lets most in, whatever is counted
        table = pyvista.LookupTable(
            values=np.column_stack((cividis(places), np.ones(128))) * 255,
            scalar_range=(scale.low_db, scale.high_db),
        )
        mapper = pyvista.DataSetMapper()
        mapper.lookup_table = table
        self._plotter.add_scalar_bar(
            title=_BAR,
            mapper=mapper,
            vertical=True,
            position_x=1.0 - 92.0 / width,
            position_y=0.3,
            width=72.0 / width,
            height=0.5,
            n_labels=1 + round(span / (5.0 if span <= 30.0 else 10.0)),
            fmt="%.0f",
            color=self.theme.ink,
            label_font_size=15,
            render=False,
        )
        return actors


def _typeface() -> str:
    """Path of the typeface that matplotlib brings, so that it is there everywhere."""
    import matplotlib

    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")
