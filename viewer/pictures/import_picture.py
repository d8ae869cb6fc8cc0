"""Where a model was repaired, refused or left open: its edges, numbers and a list (matplotlib).

Parallel projection from the south and above, so that equal lengths along an axis stay equal.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from envelope.building.model import Panel
from envelope.errors import EnvelopeError, MissingExtraError
from envelope.exchange import Note
from envelope.files import write_atomically
from envelope.geometry.plane import Floats
from envelope.text.names import shown
from viewer.pictures.hidden_lines import facing, split_by_sight

# The words of each kind of note, in the order in which they matter.
WORDS = {
    "refused": "refused",
    "gap": "left open",
    "repaired": "repaired",
    "left-out": "left out",
    "guessed": "assumed",
    "unmapped": "of unknown material",
    "remark": "remarked",
}
_INKS = {"refused": "#b3261e", "gap": "#b45309", "repaired": "#1d5b8f"}
_INK, _FAINT, _PAPER, _AMBER = "#1f2730", "#8b9096", "#f6f4ef", "#ffb000"
_MOST = 20  # notes that are listed
_WIDE = 58  # characters of a line of the list
_FILL = 0.9  # of the room that the drawing has
_NEAR_PX = 26.0  # marks nearer than this share one label
_VIEW = {"elev": 28.0, "azim": -118.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One note of the list, with its number where it has a place."""

    number: int | None
    note: Note

    @property
    def text(self) -> str:
        """As the list gives it."""
        start = f"{self.number}  " if self.number is not None else "–  "
        return f"{start}{WORDS[self.note.kind]}: {shown(str(self.note), limit=300)}"


def marks_of(notes: Sequence[Note]) -> tuple[list[Mark], int]:
    """Notes in the order of the list, those with a place numbered; how many more there are."""
    order = {kind: index for index, kind in enumerate(WORDS)}
    ranked = sorted(notes, key=lambda note: (order[note.kind], note.position_m is None))
    marks, number = [], 0
    for note in ranked[:_MOST]:
        number += note.position_m is not None
        marks.append(Mark(number=number if note.position_m is not None else None, note=note))
    return marks, max(len(ranked) - _MOST, 0)


def draw_import(
    *,
    edges_m: Floats,
    panels: Sequence[Panel],
    notes: Sequence[Note],
    title: str,
    path: Path,
) -> None:
    """Draw a model with what was noted of its import.

    Parameters
    ----------
    edges_m : (n, 2, 3) float
        Of the model. [m]
    panels : sequence of Panel
        Of the spaces that were imported; open ones are filled.
    notes : sequence of Note
    title : str
    path : Path
        Of the PNG file.

    Raises
    ------
    MissingExtraError
        Without matplotlib.
    EnvelopeError
        Where the name is none of a PNG file, or it cannot be written.
    """
    if path.suffix.lower() != ".png":
        raise EnvelopeError(f"{path}: the name of a picture ends in .png")
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    figure = Figure(figsize=(13.0, 7.6), dpi=140, facecolor=_PAPER)
    FigureCanvasAgg(figure)
    marks, more = marks_of(notes)
    axes: Any = figure.add_axes((0.0, 0.02, 0.6, 0.9), projection="3d", facecolor=_PAPER)
    points = _draw_lines(axes, edges_m, panels)
    _frame(
        axes,
        np.vstack([points, *(np.array([mark.note.position_m]) for mark in marks if mark.number)]),
    )
    figure.text(0.03, 0.94, shown(title, limit=90), fontsize=15, color=_INK, parse_math=False)
    _draw_marks(axes, marks)
    _draw_list(figure, marks, more)
    picture = io.BytesIO()
    figure.savefig(picture, format="png")
    write_atomically(path, picture.getvalue())


def _draw_lines(axes: Any, edges_m: Floats, panels: Sequence[Panel]) -> Floats:
    """Draw edges and panels; answer all their corners."""
    art3d = import_module("mpl_toolkits.mplot3d.art3d")
    opens = [panel.outline for panel in panels if panel.kind == "open"]
    rings = [ring for panel in panels for ring in (panel.outline, *panel.holes)]
    if opens:
        axes.add_collection3d(
            art3d.Poly3DCollection(opens, facecolors=_AMBER, edgecolors=_INKS["gap"], alpha=0.45)
        )
    towards_eye = _towards_eye()
    standing = facing(panels, towards_eye)

    def draw(lines: Floats, colour: str, width: float, style: Any = "solid") -> None:
        if len(lines):
            axes.add_collection3d(
                art3d.Line3DCollection(lines, colors=colour, linewidths=width, linestyles=style)
            )

    # of the model's own edges only what is seen, and thin: they are many
    draw(split_by_sight(edges_m, standing, towards_eye=towards_eye)[0], _FAINT, 0.35)
    stands = {panel.id for panel in standing}
    cut = [panel for panel in panels if panel.id not in stands]
    # walls before the eye are looked through
    draw(split_by_sight(_sides(cut), standing, towards_eye=towards_eye)[0], _FAINT, 0.6)
    seen, hidden = split_by_sight(_sides(standing), standing, towards_eye=towards_eye)
    draw(hidden, _FAINT, 0.5, (0, (1.5, 3.0)))
    draw(seen, _INK, 1.0)
    return np.vstack([edges_m.reshape(-1, 3), *rings, np.zeros((0, 3))])


def _sides(panels: Sequence[Panel]) -> Floats:
    """Sides (n, 2, 3) of all outlines and holes."""
    rings = [ring for panel in panels for ring in (panel.outline, *panel.holes)]
    sides = [np.stack((ring, np.roll(ring, -1, axis=0)), axis=1) for ring in rings]
    return np.concatenate([np.empty((0, 2, 3)), *sides])


def _towards_eye() -> Floats:
    """Unit vector (3,) to where the picture is seen from."""
    elevation, azimuth = (np.radians(_VIEW[key]) for key in ("elev", "azim"))
    return np.array(
        [
            np.cos(elevation) * np.cos(azimuth),
            np.cos(elevation) * np.sin(azimuth),
            np.sin(elevation),
        ]
    )


def _frame(axes: Any, points: Floats) -> None:
    """The whole model in view, one scale for all axes."""
    low, high = (
        (points.min(axis=0), points.max(axis=0)) if len(points) else (np.zeros(3), np.ones(3))
    )
    size = np.maximum(high - low, 0.02 * max(float((high - low).max()), 1e-3))
    for axis, start, length in zip("xyz", low, size, strict=True):
        getattr(axes, f"set_{axis}lim")(start, start + length)
    axes.set_proj_type("ortho")
    axes.view_init(**_VIEW)
    axes.set_axis_off()
    shape = tuple(size.tolist())  # an array would be changed in place
    axes.set_box_aspect(shape)
    axes.apply_aspect()
    ends = np.stack((low, low + size), axis=1)
    corners = np.array([(x, y, z) for x in ends[0] for y in ends[1] for z in ends[2]])
    spread = np.ptp(_pixels(axes, corners), axis=0)
    room = np.array([axes.bbox.width, axes.bbox.height])
    # In a parallel projection, sizes on paper are in proportion to the zoom.
    axes.set_box_aspect(shape, zoom=_FILL * float((room / np.maximum(spread, 1.0)).min()))


def _pixels(axes: Any, points: Floats) -> Floats:
    """Places on paper (n, 2) of points."""
    x, y, _ = import_module("mpl_toolkits.mplot3d.proj3d").proj_transform(
        *points.T, axes.get_proj()
    )
    return np.asarray(axes.transData.transform(np.column_stack((x, y))))


def _draw_marks(axes: Any, marks: Sequence[Mark]) -> None:
    """Numbers at their places; those that would cover one another share a label."""
    placed = [mark for mark in marks if mark.number is not None]
    if not placed:
        return
    axes.apply_aspect()
    places = np.array([mark.note.position_m for mark in placed])
    pixels = _pixels(axes, places)
    groups: list[list[int]] = []
    for index, pixel in enumerate(pixels):
        near = next((g for g in groups if np.linalg.norm(pixels[g[0]] - pixel) < _NEAR_PX), None)
        if near is None:
            groups.append([index])
        else:
            near.append(index)
    for mark in placed:
        spots = np.array([mark.note.position_m, *mark.note.others_m])
        axes.scatter(*spots.T, s=16, color=_INKS.get(mark.note.kind, _INK), depthshade=False)
    for group in groups:
        numbers = ", ".join(str(placed[index].number) for index in group)
        ink = _INKS.get(placed[group[0]].note.kind, _INK)
        axes.annotate(
            numbers,
            xy=pixels[group[0]],
            xycoords="figure pixels",
            xytext=(11, 11),
            textcoords="offset points",
            fontsize=11,
            fontweight="bold",
            color="#ffffff",
            bbox={"boxstyle": "round,pad=0.3", "facecolor": ink, "edgecolor": _PAPER},
            arrowprops={"arrowstyle": "-", "color": ink},
            zorder=1000,  # over everything that stands before it in the room
        )


def _draw_list(figure: Any, marks: Sequence[Mark], more: int) -> None:
    lines: list[tuple[str, str]] = []
    for mark in marks:
        ink = _INKS.get(mark.note.kind, _INK)
        wrapped = textwrap.wrap(mark.text, _WIDE, subsequent_indent="    ")
        lines += [(line, ink) for line in (*wrapped, "")]
    if more:
        lines.append((f"and {more} more", _INK))
    if not marks:
        lines.append(("nothing was repaired, refused or left open", _INK))
    step = min(0.026, 0.9 / len(lines))
    for index, (line, ink) in enumerate(lines):
        figure.text(
            0.6,
            0.93 - step * index,
            line,
            fontsize=min(11.0, 11.0 * step / 0.026),
            color=ink,
            va="top",
            parse_math=False,
        )
