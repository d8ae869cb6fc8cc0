"""The level over a room's floor at sleeping height, seen from above (matplotlib).

Colours span what this room has under this plan, so that its contours show; the numbers beside them
and the level outdoors tie the maps of two plans together.
"""

from __future__ import annotations

import io
import math
import textwrap
import warnings
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from envelope.building.job import Job, Plan, Receiver, Source
from envelope.errors import MissingExtraError
from envelope.exposure.level_map import FloorLevels
from envelope.exposure.under_plan import job_under
from envelope.files import write_atomically
from envelope.geometry.plane import Floats
from envelope.text import decibels as in_decibels
from envelope.text import length, level
from envelope.text.lengths import format_feet_inches
from envelope.text.names import moved_label, plan_title, shown, source_label
from envelope.text.trade import receiver_title, source_title, space_title
from viewer.pictures.labels import Box, Wanted, grown, overlap, place
from viewer.pictures.level_scale import (
    contour_levels,
    decibels,
    fine_levels,
    heat_scale,
    level_at,
    round_level,
    spanned,
)
from viewer.pictures.level_scale_bar import draw_scale
from viewer.scene.build import build_scene
from viewer.scene.colours import THEMES, Theme, ThemeName, cividis
from viewer.scene.floorplan import RoomPlan, WallOpening, piece_outline, room_plan
from viewer.scene.meshes import pieces_of
from viewer.scene.records import Scale, Scene
from viewer.scene.shapes import Shape

_NAMED_M = 0.8  # of a contour's stretch at least, to have a label
_ROUND_M = 0.06  # corners of beds and pillows
_AROUND_M = 0.4  # from the walls to the arrows of sources
_WRAPPED = 18  # characters of a line of a source's name
_LITTLE_DB = 2.0  # what a room spans that is said to differ hardly at all
_SIZE_IN = (10.4, 8.6)
_DPI = 200


def draw_heat_map(
    levels: FloorLevels,
    *,
    job: Job,
    plan: Plan,
    receiver: Receiver,
    path: str | Path,
    theme: ThemeName = "light",
    scale: Scale | None = None,
) -> None:
    """Write the level over a room's floor as a PNG.

    Parameters
    ----------
    levels : FloorLevels
        Of this plan and receiver.
    theme : "light" or "dark"
    scale : Scale, optional
        Ends of the colours, decibels over 1 µW/m²; those of `heat_scale` unless stated.

    Raises
    ------
    MissingExtraError
        Without matplotlib.
    EnvelopeError
        Where the file cannot be written.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    as_they_stand, job = job, job_under(job, plan, power=False)
    receiver = next(each for each in job.receivers if each.id == receiver.id)
    scene = build_scene(job=job)
    figure = Figure(figsize=_SIZE_IN, dpi=_DPI, facecolor=THEMES[theme].paper)
    FigureCanvasAgg(figure)
    sheet = _Sheet(
        figure=figure,
        axes=figure.add_axes((0.02, 0.075, 0.79, 0.795)),
        theme=THEMES[theme],
        scene=scene,
        room=room_plan(scene, space=levels.space),
        levels=levels,
        scale=heat_scale(levels) if scale is None else scale,
    )
    sheet.axes.set_aspect("equal")
    sheet.axes.set_axis_off()
    low_x, low_y, high_x, high_y = _extent(sheet)
    aside = _AROUND_M + 0.14 * max(high_x - low_x, high_y - low_y)
    sheet.axes.set_xlim(low_x - 1.3 * aside, high_x + 1.3 * aside)  # words are wide
    sheet.axes.set_ylim(low_y - aside, high_y + aside)
    _draw_heat(sheet)
    names = _draw_walls(sheet)
    _draw_bed(sheet, receiver)
    moved = {
        there.id
        for each, there in zip(as_they_stand.sources, job.sources, strict=True)
        if each is not there
    }
    _draw_sources(sheet, job, names, moved)
    _draw_rose(sheet)
    draw_scale(figure, THEMES[theme], sheet.scale, levels)
    _draw_words(sheet, job, plan, receiver)
    picture = io.BytesIO()
    with warnings.catch_warnings():
        # a name in letters that the typeface lacks is drawn as boxes
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(picture, format="png", facecolor=figure.get_facecolor())
    write_atomically(Path(path), picture.getvalue())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sheet:
    """What a picture is drawn on and from."""

    figure: Any
    axes: Any
    theme: Theme
    scene: Scene
    room: RoomPlan
    levels: FloorLevels
    scale: Scale

    def name(self, panel: str) -> str:
        """What an opening is called beside the plan."""
        found = self.scene.panels[self.scene.panel_index[panel]]
        return shown(found.title or panel.rpartition("/")[2], limit=24)

    def halo(self, colour: str, width: float = 2.6) -> list[Any]:
        """A rim around words and lines that sets them off."""
        from matplotlib.patheffects import withStroke

        return [withStroke(linewidth=width, foreground=colour)]

    def text(self, at: tuple[float, float], words: str, **style: Any) -> Any:
        """Words at a place of the plan; a `$` in a name is a `$`."""
        style = {"color": self.theme.ink, "ha": "center", "va": "center", **style}
        return self.axes.text(*at, words, parse_math=False, **style)

    def patch(self, shape: Shape, **style: Any) -> Any:
        """A flat shape with its holes."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as Outline

        rings = [
            np.asarray(ring.coords)[:, :2]
            for piece in pieces_of(shape)
            for ring in (piece.exterior, *piece.interiors)
        ]
        outlines = [Outline(ring, closed=True) for ring in rings]
        if not outlines:
            return None
        return self.axes.add_patch(PathPatch(Outline.make_compound_path(*outlines), **style))

    def line(self, points: Floats, **style: Any) -> None:
        """A line through points (n, 2)."""
        self.axes.plot(points[:, 0], points[:, 1], solid_capstyle="butt", **style)


# -- the room ------------------------------------------------------------------------------------


def _covered(levels: FloorLevels, floor: Shape) -> Shape:
    """The part of the floor over which levels are known, to half a step beyond the points."""
    half_x, half_y = (
        0.5 * float(m[1] - m[0]) if len(m) > 1 else math.inf for m in (levels.x_m, levels.y_m)
    )
    if math.isinf(half_x) or math.isinf(half_y):
        return floor
    cells = shapely.box(
        levels.points[:, 0] - 1.001 * half_x,
        levels.points[:, 1] - 1.001 * half_y,
        levels.points[:, 0] + 1.001 * half_x,
        levels.points[:, 1] + 1.001 * half_y,
    )
    known = shapely.union_all(cells).buffer(max(half_x, half_y), join_style="mitre")
    # a missing cell in the middle is a column or a source; under a slope the edge is missing
    return floor.intersection(known)


def _draw_heat(sheet: _Sheet) -> None:
    x, y, values = fine_levels(sheet.levels)
    colours = cividis(np.array([sheet.scale.position(value) for value in values.ravel()])).reshape(
        *values.shape, 3
    )
    half_x, half_y = 0.5 * (x[1] - x[0]), 0.5 * (y[1] - y[0])
    sheet.patch(sheet.room.floor, facecolor=sheet.theme.neutral, edgecolor="none", zorder=1)
    known = _covered(sheet.levels, sheet.room.floor)
    clip = sheet.patch(known, facecolor="none", edgecolor="none")
    image = sheet.axes.imshow(
        colours,
        extent=(x[0] - half_x, x[-1] + half_x, y[0] - half_y, y[-1] + half_y),
        origin="lower",
        interpolation="bilinear",
        zorder=2,
    )
    image.set_clip_path(clip)
    wanted = contour_levels(sheet.levels)
    if not wanted:
        return
    at = decibels(np.array(wanted))
    lines = sheet.axes.contour(
        x, y, values, levels=at, colors="#ffffff", linewidths=1.1, linestyles="solid", zorder=3
    )
    lines.set_clip_path(clip)
    lines.set_path_effects(sheet.halo("#1f2730", 2.0))
    _label_contours(sheet, lines, known, wanted)


def _label_contours(sheet: _Sheet, lines: Any, known: Shape, wanted: Sequence[float]) -> None:
    """One label a contour, where it stands clear of the walls, the bed and other labels."""
    beds = [
        shapely.Polygon(piece_outline(piece)).boundary
        for receiver in sheet.scene.receivers
        if receiver.space == sheet.levels.space
        for piece in receiver.furniture
    ]
    dots = [
        shapely.Point(source.position_m[:2])
        for source in sheet.scene.sources
        if source.position_m is not None
    ]
    middles = [
        shapely.Point(receiver.position_m[:2]).buffer(0.25)
        for receiver in sheet.scene.receivers
        if receiver.space == sheet.levels.space
    ]
    crowded = [known.boundary, *beds, *dots, *middles]
    contours = [shapely.multipoints(outline.vertices[::3]) for outline in lines.get_paths()]
    for which, wanted_w_m2 in enumerate(wanted):
        others = [other for k, other in enumerate(contours) if k != which]
        points = shapely.points(_worth_naming(lines.get_paths()[which]))
        points = points[shapely.contains(known.buffer(-0.12), points)]
        if not len(points):
            continue
        clear = np.min([shapely.distance(points, other) for other in (*crowded, *others)], axis=0)
        best = points[int(clear.argmax())]
        if clear.max() < 0.04:
            continue
        crowded.append(shapely.LineString([(best.x - 0.3, best.y), (best.x + 0.3, best.y)]))
        sheet.text(
            (best.x, best.y),
            round_level(wanted_w_m2),
            color="#ffffff",
            fontsize=9.5,
            path_effects=sheet.halo("#1f2730", 3.0),
            zorder=8,
        )


def _worth_naming(contour: Any) -> Floats:
    """Points (n, 2) of a contour's longer stretches: a label would hide a short one."""
    found: list[Floats] = [np.empty((0, 2))]
    if not len(contour.vertices):
        return found[0]
    begins = np.flatnonzero(contour.codes == contour.MOVETO)[1:]
    for stretch in np.split(contour.vertices, begins):
        if np.linalg.norm(np.diff(stretch, axis=0), axis=1).sum() > _NAMED_M:
            found.append(np.asarray(stretch[::3], dtype=np.float64))
    return np.concatenate(found)


def _draw_walls(sheet: _Sheet) -> list[Any]:
    """Walls with their openings; the names of these, as they stand on the sheet."""
    theme = sheet.theme
    sheet.patch(sheet.room.walls, facecolor=theme.muted, edgecolor="none", zorder=4)
    for opening in sheet.room.openings:
        _draw_opening(sheet, opening)
    names = _name_openings(sheet)
    sheet.patch(sheet.room.floor, facecolor="none", edgecolor=theme.ink, linewidth=1.2, zorder=6)
    for panel, outline in sheet.room.overhead:
        closed = np.concatenate((outline, outline[:1]))
        sheet.line(closed, color="#ffffff", linewidth=1.4, linestyle=(0, (3, 2)), zorder=5)
        x, y = outline.mean(axis=0).tolist()
        sheet.text(
            (x, y),
            sheet.name(panel),
            color="#ffffff",
            fontsize=8.5,
            path_effects=sheet.halo("#1f2730"),
            zorder=8,
        )
    return names


def _draw_opening(sheet: _Sheet, opening: WallOpening) -> None:
    """A window as two lines across the wall, a door as its leaf, anything else as a gap."""
    theme = sheet.theme
    corners = opening.corners
    sheet.patch(
        shapely.Polygon(corners).buffer(0.004, join_style="mitre"),
        facecolor=theme.paper,
        edgecolor="none",
        zorder=5,
    )
    for end in ((0, 3), (1, 2)):
        sheet.line(corners[list(end)], color=theme.ink, linewidth=1.0, zorder=6)
    depths = {"window": (0.35, 0.65), "door": (0.5,)}.get(opening.kind, ())
    for depth in depths:
        width = 1.3 if opening.kind == "window" else 4.0
        leaf = opening.inner + depth * opening.outward
        sheet.line(leaf, color=theme.ink, linewidth=width, zorder=6)


def _name_openings(sheet: _Sheet) -> list[Any]:
    """Names outside the walls; openings one over the other, which share a place, share a line."""
    found: list[tuple[Any, bool, list[str]]] = []  # place, beside an upright wall, names
    for opening in sheet.room.openings:
        outward = opening.outward / np.linalg.norm(opening.outward)
        place_m = opening.inner.mean(axis=0) + opening.outward + 0.17 * outward
        name = sheet.name(opening.panel)
        same = [names for at, _, names in found if np.linalg.norm(at - place_m) < 0.15]
        if same:
            same[0].append(name)
        else:
            found.append((place_m, abs(outward[0]) > 0.7, [name]))
    drawn = []
    for (x, y), turned, names in found:
        words = ", ".join(names)
        rotation = 90 if turned and len(words) > 4 else 0
        drawn.append(sheet.text((x, y), words, fontsize=9.5, rotation=rotation, zorder=8))
    return drawn


def _draw_bed(sheet: _Sheet, receiver: Receiver) -> None:
    halo = sheet.halo("#1f2730", 2.2)
    style = {"facecolor": "none", "edgecolor": "#ffffff", "zorder": 7, "path_effects": halo}
    for each in sheet.scene.receivers:
        if each.space != sheet.levels.space:
            continue
        for piece in each.furniture:
            if piece.kind == "foot":
                continue
            outline = shapely.Polygon(piece_outline(piece))
            sheet.patch(outline.buffer(-_ROUND_M).buffer(_ROUND_M), linewidth=1.1, **style)
    x, y = receiver.position_m[:2].tolist()
    # above it where the name of something overhead stands below
    overhead = [outline.mean(axis=0) - (x, y) for _, outline in sheet.room.overhead]
    below = not any(abs(across) < 0.5 and -0.35 < up < 0.05 for across, up in overhead)
    sheet.axes.plot(
        [x], [y], marker="+", markersize=13, markeredgewidth=2.0, color="#ffffff",
        path_effects=sheet.halo("#1f2730", 4.0), zorder=8,
    )  # fmt: skip
    sheet.text(
        (x, y - 0.17 if below else y + 0.17),
        shown(receiver.title or receiver.id, limit=24),
        color="#ffffff",
        fontsize=10,
        fontweight="bold",
        path_effects=sheet.halo("#1f2730", 3.0),
        zorder=9,
    )


# -- around the room -----------------------------------------------------------------------------


def _extent(sheet: _Sheet) -> Box:
    """West, south, east and north end of the room with its walls. [m]"""
    low_x, low_y, high_x, high_y = sheet.room.walls.union(sheet.room.floor).bounds
    return low_x, low_y, high_x, high_y


def _draw_rose(sheet: _Sheet) -> None:
    """A compass turned to true north."""
    theme = sheet.theme
    rose = sheet.figure.add_axes((0.825, 0.055, 0.15, 0.15 * _SIZE_IN[0] / _SIZE_IN[1]))
    rose.set_aspect("equal")
    rose.set_axis_off()
    rose.set_xlim(-1.5, 1.5)
    rose.set_ylim(-1.5, 1.5)
    north = sheet.scene.north[:2]
    east = np.array([north[1], -north[0]])
    turn = np.linspace(0.0, math.tau, 91)
    rose.plot(np.cos(turn), np.sin(turn), color=theme.ring, linewidth=1.4)
    for along, colour in ((0.86, theme.ink), (-0.86, theme.ring)):
        needle = np.array([along * north, 0.17 * east, -0.17 * east])
        rose.fill(needle[:, 0], needle[:, 1], color=colour, linewidth=0.0)
    for letter, towards in (("N", north), ("E", east), ("S", -north), ("W", -east)):
        first = letter == "N"
        rose.text(
            *(1.3 * towards),
            letter,
            color=theme.ink if first else theme.muted,
            fontsize=13 if first else 10,
            fontweight="bold" if first else "normal",
            ha="center",
            va="center",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Mark:
    """Words to a source, and what they must stand beside (low, high corner) (2, 2). [m]"""

    words: str
    beside: Floats


def _draw_sources(
    sheet: _Sheet, job: Job, names: Sequence[Any], moved: Collection[str] = ()
) -> None:
    """An arrow beside the room for each direction; a dot where a point source stands in view.

    Their words keep clear of the names of openings.
    """
    theme = sheet.theme
    low_x, low_y, high_x, high_y = _extent(sheet)
    middle = np.array([(low_x + high_x) / 2, (low_y + high_y) / 2])
    half = np.array([high_x - low_x, high_y - low_y]) / 2 + _AROUND_M
    long = 0.12 * float(half.max())
    marks = []
    for source in job.sources:
        words = source_label(
            name="",
            azimuth_rad=source.azimuth_rad,
            elevation_rad=source.elevation_rad,
        ).replace(", ", "\n")
        title = source_title(job, source.id)
        if source.id in moved:
            title = moved_label(title)
        words = "\n".join(textwrap.wrap(title, width=_WRAPPED)) + words
        if source.position_m is None:
            towards = next(s for s in sheet.scene.sources if s.id == source.id).direction
            assert towards is not None
            away = towards[:2]
        else:
            away = source.position_m[:2] - middle
            words = f"{words}\n{_where(job, source, sheet.levels)}"
            if (np.abs(away) < half).all():
                x, y = source.position_m[:2].tolist()
                sheet.axes.plot(
                    [x], [y], marker="D", markersize=8, color=theme.source,
                    markeredgecolor="#ffffff", markeredgewidth=1.5, zorder=9,
                )  # fmt: skip
                marks.append(_Mark(words=words, beside=np.array([(x, y), (x, y)])))
                continue
        size = float(np.linalg.norm(away))
        if size < 0.05:  # straight above or below: no side to come from
            top = middle + np.array([0.0, float(half[1])])
            marks.append(_Mark(words=words, beside=np.array([top, top])))
            continue
        with np.errstate(divide="ignore"):
            tip = middle + away * float((half / np.abs(away)).min())
        tail = tip + 2.0 * long * away / size
        sheet.axes.annotate(
            "",
            xy=tip,
            xytext=tail,
            arrowprops={
                "arrowstyle": "simple,head_width=1.1,head_length=1.1,tail_width=0.4",
                "color": theme.source,
                "shrinkA": 0,
                "shrinkB": 0,
            },
            zorder=7,
        )
        ends = np.array([tip, tail])
        marks.append(_Mark(words=words, beside=np.array([ends.min(axis=0), ends.max(axis=0)])))
    _label_sources(sheet, marks, names)


def _where(job: Job, source: Source, levels: FloorLevels) -> str:
    """Where a point source stands, against the points of the map."""
    assert source.position_m is not None
    space, name = source.space, source_title(job, source.id)
    rise = float(source.position_m[2]) - levels.height_m
    apart = format_feet_inches(rise, denominator=1) if job.feet else f"{abs(rise):.1f} m"
    height = f"{apart.removeprefix('-')} {'higher' if rise > 0 else 'lower'}"
    if space is None:
        return f"outdoors\n{height}"
    room = space_title(job, space)
    told = space == levels.space or room.casefold() in name.casefold()
    return height if told else f"in {room}\n{height}"


def _label_sources(sheet: _Sheet, marks: Sequence[_Mark], names: Sequence[Any]) -> None:
    """Words beside their arrows and dots, clear of one another."""
    to_pixels = sheet.axes.transData.transform
    drawn = []
    arrows = [grown((x0, -y1, x1, -y0), 4) for x0, y0, x1, y1 in (_box(sheet, n) for n in names)]
    room = _extent(sheet)
    (left, bottom), (right, top) = to_pixels(np.array(room).reshape(2, 2)).tolist()
    inside = (left, -top, right, -bottom)  # labels count y downward
    for mark in marks:
        words = sheet.text(
            tuple(mark.beside[0]),
            mark.words,
            color=sheet.theme.source,
            fontsize=10,
            fontweight="bold",
            linespacing=1.15,
            path_effects=sheet.halo(sheet.theme.paper, 3.0),
            zorder=9,
        )
        x0, y0, x1, y1 = _box(sheet, words)
        width, height = x1 - x0, y1 - y0
        (x0, y0), (x1, y1) = to_pixels(mark.beside).tolist()
        beside = grown((x0, -y1, x1, -y0), 14)
        x, y = (x0 + x1) / 2, -(y0 + y1) / 2
        if overlap(beside, inside) > 0.0:  # a dot in the room: just below it
            x = min(max(x, left + width / 2 + 10), right - width / 2 - 10)
            below = y + height / 2 + 20
            y = below if below + height / 2 < -bottom else y - height / 2 - 20
            words.set_position(sheet.axes.transData.inverted().transform((x, -y)))
            continue
        arrows.append(beside)
        want = Wanted(text=mark.words, size=(width, height), anchor=(x, y), around=beside)
        drawn.append((want, words))
    frame = sheet.axes.get_window_extent()
    wanted = [want for want, _ in drawn]
    whole = (12.0, -frame.y1 + 2, frame.x1 + 50, -frame.y0 - 2)
    placed = place(wanted=wanted, frame=whole, taken=[*arrows, grown(inside, 45)])
    boxes = {each.wanted: each.box for each in placed}
    left_over = [want for want in wanted if want not in boxes]  # rather on a wall than nowhere
    placed = place(wanted=left_over, frame=whole, taken=[*arrows, *boxes.values()])
    boxes |= {each.wanted: each.box for each in placed}
    for want, words in drawn:
        if want not in boxes:
            words.set_visible(False)
            continue
        x0, y0, x1, y1 = boxes[want]
        middle = ((x0 + x1) / 2, -(y0 + y1) / 2)
        words.set_position(sheet.axes.transData.inverted().transform(middle))


def _box(sheet: _Sheet, words: Any) -> Box:
    extent = words.get_window_extent(sheet.figure.canvas.get_renderer())
    return extent.x0, extent.y0, extent.x1, extent.y1


# -- words -------------------------------------------------------------------------------------


def _draw_words(sheet: _Sheet, job: Job, plan: Plan, receiver: Receiver) -> None:
    figure, theme, levels = sheet.figure, sheet.theme, sheet.levels
    height = levels.height_m - job.building.space(levels.space).floor_m
    title = f"{plan_title(plan.id, plan.title)}: level in {space_title(job, levels.space)}"
    figure.text(
        0.035, 0.955, title, parse_math=False, color=theme.ink, fontsize=17, fontweight="bold"
    )
    known = levels.level_w_m2[levels.inside]
    who = receiver_title(job, receiver.id)
    low_db, high_db = spanned(levels)
    apart = f"{in_decibels(high_db - low_db)} apart" if high_db - low_db < _LITTLE_DB else ""
    place_words = (f"{length(height, feet=job.feet)} above the floor, the height of {who}",)
    parts = (
        f"at {who} {level(level_at(levels, receiver.position_m))}",
        f"lowest {level(float(known.min()))}",
        f"highest {level(float(known.max()))}",
        *([f"hardly any difference: {apart}"] if apart else []),
    )
    for y, line in ((0.928, place_words), (0.904, parts)):
        said = "   ·   ".join(line)
        figure.text(0.035, y, said, parse_math=False, color=theme.muted, fontsize=11)
    sources = (
        "all sources together" if len(job.sources) > 1 else source_title(job, job.sources[0].id)
    )
    own = "colours span this room under this plan"
    foot = (shown(job.name, limit=60), sources, own, "a prediction: a meter decides")
    figure.text(
        0.035, 0.03, "   ·   ".join(foot), parse_math=False, color=theme.muted, fontsize=9.5
    )
    left, bottom = sheet.axes.transAxes.inverted().transform(
        figure.transFigure.transform((0.035, 0.075))
    )
    x, y = sheet.axes.transData.inverted().transform(sheet.axes.transAxes.transform((left, bottom)))
    long_m = 0.9144 if job.feet else 1.0
    sheet.line(np.array([(x, y), (x + long_m, y)]), color=theme.ink, linewidth=2.0, clip_on=False)
    for end in (x, x + long_m):
        rise = np.array([(end, y - 0.05), (end, y + 0.05)])
        sheet.line(rise, color=theme.ink, linewidth=2.0, clip_on=False)
    words = "3 ft" if job.feet else "1 m"
    sheet.text((x + long_m + 0.1, y), words, ha="left", fontsize=10, clip_on=False)
