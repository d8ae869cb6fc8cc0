"""The wiring's field as a picture: cables by what remains when each is off, maps at bed height."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from envelope.building.job import AS_BUILT
from envelope.building.model import Building
from envelope.errors import MissingExtraError
from envelope.files import write_atomically
from envelope.geometry.plane import Floats
from envelope.text import length
from envelope.text.names import plan_title
from envelope.text.trade import receiver_title
from envelope.wiring.field_map import field_map
from envelope.wiring.results import FieldMap, Span, WiringResults
from envelope.wiring.routing import Run
from envelope.wiring.system import System
from envelope.wiring_text import share_words, span_words
from viewer.scene.build import build_scene
from viewer.scene.floorplan import piece_outline, room_plan
from viewer.scene.meshes import pieces_of
from viewer.scene.records import Scene

_LOW_V_M, _HIGH_V_M = 0.3, 300.0  # one scale for every picture
_LOW_SHARE, _HIGH_SHARE = 0.5, 1.5  # of today, for cables: what is beyond is drawn like the end
_PAPER, _INK, _FAINT, _WALL = "#f6f4ef", "#22252b", "#a9a59a", "#8b8475"
_MATTERS = 0.98  # of today: a cable that leaves more is not named
_UPRIGHT = 0.5  # of a normal upward, below which a wall is drawn from above
_CONTOURS = (1.0, 3.0, 10.0, 30.0, 100.0)
_ACROSS = np.array([np.cos(np.radians(-28.0)), np.sin(np.radians(-28.0))])
_TILT = np.radians(24.0)


def save_wiring_map(
    system: System, results: WiringResults, plans: Sequence[str], path: Path
) -> None:
    """Write the PNG of `wiring_map`, whole or not at all."""
    write_atomically(path, wiring_map(system, results, plans))


def wiring_map(system: System, results: WiringResults, plans: Sequence[str]) -> bytes:
    """Draw the room with its cables, and maps of as-built and up to two plans, as a PNG.

    Parameters
    ----------
    system : System
    results : WiringResults
    plans : sequence of str
        Of which the last two beside as-built get a map.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.cm import ScalarMappable
        from matplotlib.colors import LogNorm, Normalize
        from matplotlib.figure import Figure
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    others = [plan for plan in plans if plan != AS_BUILT][-2:]
    maps = [field_map(system, plan) for plan in (AS_BUILT, *others)]
    size = (4.8 + 3.5 * len(maps), 5.2)
    figure = Figure(figsize=size, dpi=96, facecolor=_PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(1, len(maps) + 1, width_ratios=[1.35, *([1.0] * len(maps))])
    _draw_room(axes[0], system, results)
    norm = LogNorm(_LOW_V_M, _HIGH_V_M)
    scene = build_scene(job=system.job)
    for ax, drawn in zip(axes[1:], maps, strict=True):
        mesh = _draw_map(ax, system, results, drawn, norm)
        _draw_plan(ax, scene, system.receivers[0].space, drawn.plan)
    room = ScalarMappable(Normalize(100.0 * _LOW_SHARE, 100.0 * _HIGH_SHARE), "cividis")
    for mapped, own, words, ticks in (
        (room, [axes[0]], "what remains, % of today", (50, 75, 100, 125, 150)),
        (
            mesh,
            list(axes[1:]),
            f"electric field, {results.frequency_hz:g} Hz, V/m",
            (0.3, 1, 3, 10, 30, 100, 300),
        ),
    ):
        bar = figure.colorbar(mapped, ax=own, orientation="horizontal", shrink=0.7, aspect=34)
        bar.set_label(words, color=_INK, fontsize=8.5)
        bar.ax.set_xticks(ticks, [f"{tick:g}" for tick in ticks], fontsize=8)
    unknown = f"Not known: {', '.join(results.unknowns)}. " if results.unknowns else ""
    state = f"Drawn for one state: {maps[0].state}. " if maps[0].state else ""
    figure.supxlabel(
        textwrap.fill(
            f"{unknown}{state}An estimate of the wiring that was entered: a potential-free meter, "
            "circuit by circuit, decides.",
            width=round(15 * size[0]),
        ),
        fontsize=8,
        color=_INK,
        x=0.01,
        ha="left",
        parse_math=False,
    )
    picture = io.BytesIO()
    figure.savefig(picture, format="png", facecolor=_PAPER, bbox_inches="tight", pad_inches=0.15)
    return picture.getvalue()


def _tube(ax: Any, points: Floats, colour: Any, width: float) -> None:
    """A line with a dark edge and a light upper side, as a tube looks."""
    style = {"solid_capstyle": "round", "solid_joinstyle": "round"}
    ax.plot(*points.T, color=_INK, linewidth=width + 1.6, zorder=4, **style)
    ax.plot(*points.T, color=colour, linewidth=width, zorder=5, **style)


def _seen(points: Floats) -> Floats:
    """Points (n, 3) seen from the front, a little from above, in parallel projection."""
    across = points[:, :2] @ _ACROSS
    deep = points[:, :2] @ np.array([-_ACROSS[1], _ACROSS[0]])
    return np.stack((across, deep * np.sin(_TILT) + points[:, 2] * np.cos(_TILT)), axis=1)


def _remaining(results: WiringResults) -> dict[str, Span]:
    """Share of today's field that remains with each thing off."""
    return {each.what: each.share for each in results.plans[0].receivers[0].remaining}


def _share(run: Run, left: dict[str, Span]) -> float:
    return _middle(left.get(run.id if run.device is None else run.device, Span(low=1.0, high=1.0)))


def _middle(share: Span) -> float:
    return (share.low + share.high) / 2.0


def _draw_room(ax: Any, system: System, results: WiringResults) -> None:
    import matplotlib

    colours = matplotlib.colormaps["cividis"]
    receiver = system.receivers[0]
    who = receiver_title(system.job, receiver.id)
    left = _remaining(results)
    _draw_edges(ax, system.job.building, receiver.space)
    for run in system.runs(system.combinations[0]):
        share = _share(run, left)
        width = 3.0 if run.device is not None else 5.0
        _tube(
            ax, _seen(run.path_m), colours((share - _LOW_SHARE) / (_HIGH_SHARE - _LOW_SHARE)), width
        )
    spot = _seen(receiver.position_m[np.newaxis])[0]
    ax.plot(*spot, marker="o", markersize=9, color="white", markeredgecolor=_INK, zorder=6)
    ax.annotate(
        who,
        spot,
        xytext=(9, -3),
        textcoords="offset points",
        fontsize=8,
        zorder=7,
    )
    _name_runs(ax, system, left)
    ax.set_aspect("equal")
    ax.axis("off")
    ax.set_title(
        f"Cables and cords, by what remains\nat {who} when each is off: dark ones matter",
        fontsize=9.5,
        loc="left",
        color=_INK,
        parse_math=False,
    )


def _name_runs(ax: Any, system: System, left: dict[str, Span]) -> None:
    """Names and figures of the three runs or devices whose absence helps most."""
    runs = system.runs(system.combinations[0])
    named = [
        run
        for run in runs
        if run.id in left and run.device in (None, run.id) and _middle(left[run.id]) < _MATTERS
    ]
    for run in sorted(named, key=lambda run: _middle(left[run.id]))[:3]:
        middle = run.path_m[[len(run.path_m) // 2 - 1, len(run.path_m) // 2]].mean(axis=0)
        at = _seen(middle[np.newaxis])[0]
        ax.annotate(
            f"{run.id}: {share_words(left[run.id])}",
            at,
            xytext=(0, 12),
            textcoords="offset points",
            fontsize=7.5,
            ha="center",
            color=_INK,
            zorder=8,
            parse_math=False,
            bbox={"boxstyle": "round,pad=0.2", "facecolor": "#ffffffd8", "edgecolor": _FAINT},
        )


def _draw_edges(ax: Any, building: Building, space: str) -> None:
    for panel in building.space(space).panels:
        if panel.kind in ("reveal", "seam"):
            continue
        ring = _seen(np.concatenate((panel.outline, panel.outline[:1])))
        opening = panel.kind not in ("wall", "floor", "ceiling")
        ax.fill(
            *ring.T,
            facecolor="#e9e5da" if panel.kind == "floor" else "none",
            edgecolor=_FAINT,
            linewidth=0.9,
            linestyle=(0, (3, 2)) if opening else "-",
            zorder=1,
        )


def _draw_map(ax: Any, system: System, results: WiringResults, drawn: FieldMap, norm: Any) -> Any:
    from matplotlib.ticker import MultipleLocator

    values = np.clip(drawn.field_v_m, _LOW_V_M, _HIGH_V_M)
    mesh = ax.pcolormesh(
        drawn.xs_m, drawn.ys_m, values, norm=norm, cmap="cividis", shading="nearest"
    )
    lines = ax.contour(
        drawn.xs_m, drawn.ys_m, values, levels=_CONTOURS, colors="white", linewidths=0.7
    )
    ax.clabel(lines, fmt="%g", fontsize=6.5)
    for run in system.runs(system.combinations[0]):
        style = {"color": "white", "linewidth": 1.0, "linestyle": (0, (1, 1.5)), "zorder": 3}
        ax.plot(*run.path_m[:, :2].T, **style)
    receiver = system.receivers[0]
    who = receiver_title(system.job, receiver.id)
    ax.plot(*receiver.position_m[:2], marker="o", markersize=7, color="white", markeredgecolor=_INK)
    plan = next(each for each in results.plans if each.plan == drawn.plan)
    at = plan.receivers[0].field_v_m
    feet = system.job.feet
    space = system.job.building.space(receiver.space)
    above = length(drawn.height_m - space.floor_m, feet=feet)
    floats = ", a coating has no bond" if plan.unbonded else ""
    ax.set_title(
        f"{plan_title(drawn.plan, system.job.plan(drawn.plan).title)}: "
        f"{span_words(at)} at {who}\n{above} above the floor{floats}",
        fontsize=9.5,
        loc="left",
        color=_INK,
        parse_math=False,
    )
    scale = 0.3048 if feet else 1.0
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MultipleLocator(scale * (3.0 if feet else 1.0)))
        axis.set_major_formatter(lambda value, _: f"{value / scale:.0f}")
    ax.set_xlabel("feet" if feet else "metres", fontsize=7.5)
    ax.tick_params(labelsize=7, colors=_INK)
    ax.set_aspect("equal")
    return mesh


def _draw_plan(ax: Any, scene: Scene, space: str, plan: str) -> None:
    """Walls, windows, doors and the bed from above; lines in the colour of what walls carry."""
    room = room_plan(scene, space=space)
    ax.set_facecolor(_PAPER)
    _patch(ax, room.walls, facecolor=_WALL, edgecolor="none", zorder=3)
    for opening in room.openings:
        _patch(ax, shapely.Polygon(opening.corners), facecolor=_PAPER, edgecolor=_INK, zorder=4)
        if opening.kind in ("window", "door"):
            leaf = opening.inner + 0.5 * opening.outward
            width = 1.0 if opening.kind == "window" else 2.5
            ax.plot(*leaf.T, color=_INK, linewidth=width, zorder=5)
    style = {each.treatment: each.colour for each in scene.treatments}
    at = scene.plan_index[plan]
    for panel in scene.panels:
        worn = panel.states[at].treatments if panel.space == space and panel.kind == "wall" else ()
        if worn and abs(float(panel.normal[2])) < _UPRIGHT:
            along = np.array([-panel.normal[1], panel.normal[0]])
            places = panel.mesh.vertices[:, :2] @ along
            ends = panel.mesh.vertices[[int(places.argmin()), int(places.argmax())], :2]
            ax.plot(*ends.T, color=style[worn[-1]], linewidth=3.0, zorder=6)
    if scene.wiring is not None:
        floors = {panel.id for panel in scene.panels if panel.kind == "floor"}
        for strip in scene.wiring.strips:
            if plan in strip.plans and strip.panel in floors:
                corners = strip.mesh.vertices[strip.mesh.triangles][:, :, :2]
                whole = shapely.union_all([shapely.Polygon(each) for each in corners])
                edge = style[strip.treatment]
                _patch(ax, whole, facecolor="none", edgecolor=edge, zorder=4, width=1.4)
    for receiver in scene.receivers:
        for piece in receiver.furniture if receiver.space == space else ():
            if piece.kind != "foot":
                ring = piece_outline(piece)
                ring = np.concatenate((ring, ring[:1]))
                ax.plot(*ring.T, color="white", linewidth=1.0, zorder=6)
    low_x, low_y, high_x, high_y = room.walls.union(room.floor).bounds
    ax.set_xlim(low_x - 0.05, high_x + 0.05)
    ax.set_ylim(low_y - 0.05, high_y + 0.05)


def _patch(ax: Any, shape: Any, *, width: float = 0.6, **style: Any) -> None:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Outline

    for part in map(orient, pieces_of(shape)):
        rings = [np.asarray(ring.coords) for ring in (part.exterior, *part.interiors)]
        codes = [
            np.array([Outline.MOVETO, *[Outline.LINETO] * (len(ring) - 2), Outline.CLOSEPOLY])
            for ring in rings
        ]
        path = Outline(np.concatenate(rings), np.concatenate(codes))
        ax.add_patch(PathPatch(path, linewidth=width, **style))
