"""What a receiver sees in all directions, as a picture for print (matplotlib)."""

from __future__ import annotations

import io
import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from envelope.building.job import Job
from envelope.errors import EnvelopeError, MissingExtraError
from envelope.exposure.bands import bands_of
from envelope.exposure.results import PanelLeak, PlanResult, ReceiverResult
from envelope.exposure.transmission import Bench
from envelope.exposure.under_plan import job_under
from envelope.files import write_atomically
from envelope.geometry.plane import Floats
from envelope.rays import BINS
from envelope.text import percent
from envelope.text.names import face_title, shown
from envelope.text.sentences import headline
from envelope.text.trade import source_title, space_title
from viewer.pictures.labels import Box, Placed, Wanted, place
from viewer.pictures.sky_labels import POINTS, box_of, within
from viewer.scene.colours import AMBER, THEMES, Theme, ThemeName, cividis
from viewer.scene.records import LOSS, Scale
from viewer.scene.sky import Sky, losses_db
from viewer.scene.sky_cache import sky_or_recall

_SIZE_IN = (7.2, 7.8)
_DPI = 220
_SIDE = 420  # cells across the disc, finer than on a screen
_HORIZON = math.sqrt(0.5)
_LABELS_AT_MOST = 7
_CASE = "#4a3000"  # dark rim that sets the amber off from the yellow of what leaks
_FRAME: Box = (-115.0, -115.0, 115.0, 115.0)  # which no label crosses
_MARK = 4.0  # that labels keep clear of a source
_NAMED_FROM = 0.005  # least share of a gap that has its name on the map


def draw_sky(
    *,
    job: Job,
    result: PlanResult,
    receiver: str,
    path: str | Path,
    threshold_db: float = 20.0,
    theme: ThemeName = "light",
) -> None:
    """Write a map of all directions around a receiver under one plan as a PNG.

    Parameters
    ----------
    result : PlanResult
        What was found for the plan; its gaps are outlined and named.
    receiver : str
        Id of one of the job's receivers.
    threshold_db : float
        Loss below which a panel is a gap. [dB]
    theme : "light" or "dark"

    Raises
    ------
    MissingExtraError
        Without matplotlib.
    EnvelopeError
        Where there is no such receiver, or the file cannot be written.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    job = job_under(job, job.plan(result.plan), power=False)
    chosen = next((each for each in job.receivers if each.id == receiver), None)
    found = next((each for each in result.receivers if each.id == receiver), None)
    if chosen is None or found is None:
        known = ", ".join(each.id for each in result.receivers) or "none"
        raise EnvelopeError(f"there is no receiver {receiver!r} with a result; allowed: {known}")
    sky = sky_or_recall(job, chosen, side=_SIDE)
    bench = Bench(job=job, bands_hz=bands_of(job), bins=BINS)
    loss = losses_db(sky, bench=bench, plan=job.plan(result.plan))
    colours = THEMES[theme]
    figure = Figure(figsize=_SIZE_IN, dpi=_DPI, facecolor=colours.paper)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.04, 0.125, 0.92, 0.79))
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_xlim(-1.16, 1.16)
    axes.set_ylim(-1.16, 1.16)
    gaps = {leak.panel: leak for leak in found.gaps}
    _draw_cells(axes, sky, loss, LOSS, colours)
    _draw_frame(axes, colours)
    _draw_outlines(axes, sky, gaps)
    _draw_sources(axes, sky, colours)
    _draw_labels(axes, sky, job, found)
    _draw_scale(figure, LOSS, colours)
    _draw_words(figure, job, result.plan, found, threshold_db, colours)
    picture = io.BytesIO()
    with warnings.catch_warnings():
        # a name in letters that the typeface lacks is drawn as boxes
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(picture, format="png", facecolor=figure.get_facecolor())
    write_atomically(Path(path), picture.getvalue())


def cell_colours(sky: Sky, loss_db: Floats, *, scale: Scale, theme: Theme) -> Floats:
    """Colours (side, side, 4) of the cells: low loss is bright, blocked ones neutral."""
    span = scale.high_db - scale.low_db
    finite = np.where(np.isfinite(loss_db), loss_db, scale.high_db)
    places = 1.0 - np.clip((finite - scale.low_db) / span, 0.0, 1.0)
    colours = np.ones((*loss_db.shape, 4))
    colours[..., :3] = cividis(places.reshape(-1)).reshape(*loss_db.shape, 3)
    neutral = [int(theme.neutral[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    colours[(sky.sky == 0) & sky.inside, :3] = neutral
    colours[~sky.inside, 3] = 0.0
    return colours


def _draw_cells(axes: Any, sky: Sky, loss_db: Floats, scale: Scale, theme: Theme) -> None:
    from matplotlib.patches import Circle

    rim = Circle((0.0, 0.0), 1.0, transform=axes.transData)
    image = axes.imshow(
        cell_colours(sky, loss_db, scale=scale, theme=theme),
        extent=(-1.0, 1.0, -1.0, 1.0),
        interpolation="antialiased",
        zorder=1,
    )
    image.set_clip_path(rim)
    blocked = (sky.sky == 0) & sky.inside
    if blocked.any():
        steps = (np.arange(len(blocked)) + 0.5) / len(blocked) * 2.0 - 1.0
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            hatched = axes.contourf(
                steps,
                -steps,
                blocked.astype(np.float64),
                levels=[0.5, 1.5],
                colors="none",
                hatches=["////"],
                zorder=2,
            )
        hatched.set_edgecolor(theme.ring)
        hatched.set_linewidth(0.0)
        hatched.set_clip_path(rim)
    # colours were set with the axes' limits at hand; imshow changes them
    axes.set_xlim(-1.16, 1.16)
    axes.set_ylim(-1.16, 1.16)


def _draw_frame(axes: Any, theme: Theme) -> None:
    turns = np.linspace(0.0, math.tau, 361)
    axes.plot(np.sin(turns), np.cos(turns), color=theme.ring, linewidth=1.0, zorder=4)
    axes.plot(
        _HORIZON * np.sin(turns),
        _HORIZON * np.cos(turns),
        color="#fffdf8",
        linewidth=1.0,
        linestyle=(0, (4, 3)),
        zorder=4,
    )
    for degrees in range(0, 360, 10):
        reach = 1.05 if degrees % 90 == 0 else 1.035 if degrees % 30 == 0 else 1.02
        s, c = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))
        axes.plot([s, reach * s], [c, reach * c], color=theme.ring, linewidth=0.8, zorder=4)
    for letter, x, y in (("N", 0, 1), ("E", 1, 0), ("S", 0, -1), ("W", -1, 0)):
        axes.text(
            1.10 * x,
            1.10 * y,
            letter,
            ha="center",
            va="center",
            color=theme.ink if letter == "N" else theme.muted,
            weight="bold" if letter == "N" else "normal",
            size=12,
        )


def _draw_outlines(axes: Any, sky: Sky, gaps: dict[str, PanelLeak]) -> None:
    for outline in sky.outlines:
        for run in outline.runs:
            if outline.panel in gaps:
                axes.plot(*run.T, color=_CASE, linewidth=3.0, zorder=5, solid_joinstyle="round")
                axes.plot(*run.T, color=AMBER, linewidth=1.8, zorder=6, solid_joinstyle="round")
            else:
                axes.plot(*run.T, color="#fffdf8", alpha=0.6, linewidth=0.7, zorder=4)


def _draw_sources(axes: Any, sky: Sky, theme: Theme) -> None:
    for source in sky.sources:
        if len(source.rim):
            axes.plot(*source.rim.T, color="#ffffff", linewidth=1.0, linestyle=":", zorder=7)
        axes.plot(
            *source.at,
            marker="D",
            markersize=6.5,
            color=THEMES["light"].source,
            markeredgecolor="#ffffff",
            markeredgewidth=1.0,
            zorder=8,
        )


def _draw_labels(axes: Any, sky: Sky, job: Job, found: ReceiverResult) -> None:
    """Names of sources and gaps: in what they are of where they fit, else with a line to it."""
    marks = {outline.panel: outline.mark for outline in sky.outlines}
    panels = job.building.panel_index
    taken: list[Box] = []
    for source in sky.sources:
        x, y = _on_sheet(source.at)
        taken.append((x - _MARK, y - _MARK, x + _MARK, y + _MARK))
    home = next(each.space for each in job.receivers if each.id == found.id)
    wanted: list[tuple[str, Floats, int | None]] = [
        (source_title(job, source.id), source.at, None) for source in sky.sources
    ]
    named = [leak for leak in found.gaps if leak.kind != "reveal" and leak.panel in marks]
    for leak in [each for each in named if each.share >= _NAMED_FROM][:_LABELS_AT_MOST]:
        panel = job.building.panel(leak.panel)
        title = face_title(panel, home=home, room=space_title(job, panel.space))
        wanted.append((f"{title} {percent(leak.share)}", marks[leak.panel], panels[leak.panel]))
    for words, at, index in wanted:
        size = _measured(axes, words)
        spot = _on_sheet(at)
        if index is not None:
            middle = within(sky.first == index, size=size, spot=spot, taken=taken)
            if middle is not None:
                _write(axes, words, middle, source=False)
                taken.append(box_of(middle, size))
                continue
        around = (
            (spot[0] - _MARK, spot[1] - _MARK, spot[0] + _MARK, spot[1] + _MARK)
            if index is None
            else None
        )
        want = Wanted(text=words, size=size, anchor=spot, around=around)
        for placed in place(wanted=[want], frame=_FRAME, taken=taken, gap=1.0):
            taken.append(placed.box)
            left, top, right, bottom = placed.box
            if index is not None or placed.apart > _MARK:
                _draw_leader(axes, placed, dot=index is not None)
            _write(axes, words, ((left + right) / 2, (top + bottom) / 2), source=index is None)


def _on_sheet(at: Floats) -> tuple[float, float]:
    """A place on the disc as labels count: hundredths of the radius, y down."""
    return float(at[0]) * POINTS, -float(at[1]) * POINTS


def _measured(axes: Any, words: str) -> tuple[float, float]:
    """Width and height of a label with its rim."""
    drawn = _write(axes, words, (0.0, 0.0), source=False)
    box = drawn.get_window_extent(axes.figure.canvas.get_renderer())
    drawn.remove()
    (x0, y0), (x1, y1) = axes.transData.inverted().transform([(box.x0, box.y0), (box.x1, box.y1)])
    return float(x1 - x0) * POINTS + 2.0, float(y1 - y0) * POINTS + 1.4


def _draw_leader(axes: Any, placed: Placed, *, dot: bool) -> None:
    """A line from a label to what it is of."""
    ends = np.array([placed.wanted.anchor, placed.leader]) / (POINTS, -POINTS)
    axes.plot(*ends.T, color="#fffdf8", linewidth=2.4, zorder=9, solid_capstyle="round")
    axes.plot(*ends.T, color=THEMES["light"].ink, linewidth=0.9, zorder=9)
    if dot:
        axes.plot(
            *ends[0], marker="o", markersize=4.0, color=THEMES["light"].ink,
            markeredgecolor="#fffdf8", markeredgewidth=0.8, zorder=9,
        )  # fmt: skip


def _write(axes: Any, words: str, middle: tuple[float, float], *, source: bool) -> Any:
    from matplotlib.patheffects import withStroke

    return axes.text(
        middle[0] / POINTS,
        -middle[1] / POINTS,
        words,
        parse_math=False,
        ha="center",
        va="center",
        size=9,
        weight="bold",
        color=THEMES["light"].source if source else THEMES["light"].ink,
        path_effects=[withStroke(linewidth=2.6, foreground="#fffdf8")],
        zorder=10,
    )


def _draw_scale(figure: Any, scale: Scale, theme: Theme) -> None:
    bar = figure.add_axes((0.055, 0.072, 0.40, 0.016))
    bar.imshow(
        cividis(np.linspace(1.0, 0.0, 256))[np.newaxis],
        extent=(scale.low_db, scale.high_db, 0.0, 1.0),
        aspect="auto",
    )
    bar.set_yticks([])
    bar.set_xticks(np.arange(scale.low_db, scale.high_db + 1.0, 10.0))
    bar.tick_params(colors=theme.muted, labelsize=8, length=3)
    for spine in bar.spines.values():
        spine.set_color(theme.muted)
        spine.set_linewidth(0.6)
    figure.text(
        0.055, 0.093, "loss towards each direction, dB", size=8.5, color=theme.muted, va="bottom"
    )


def _draw_words(
    figure: Any,
    job: Job,
    plan: str,
    found: ReceiverResult,
    threshold_db: float,
    theme: Theme,
) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    title = f"What {shown(found.name)} sees"
    figure.text(0.055, 0.968, title, size=15, color=theme.ink, va="center", weight="bold")
    named = {each.id: each.title for each in job.plans}
    parts = headline(plan=plan, title=named.get(plan, ""), result=found)
    for y, line in ((0.943, parts[:2]), (0.924, parts[2:])):  # more than one line has room for
        said = "   ·   ".join(line)
        figure.text(0.055, y, said, size=9.5, color=theme.muted, va="center", parse_math=False)
    figure.text(
        0.055,
        0.012,
        f"{shown(job.name, limit=60)}\nup in the middle, the horizon dashed, down at the rim; "
        "equal areas are equal solid angles",
        size=7.5,
        color=theme.muted,
        va="bottom",
    )
    figure.legend(
        handles=[
            Line2D(
                [], [], color=AMBER, linewidth=2.5, label=f"gap: loss below {threshold_db:g} dB"
            ),
            Patch(
                facecolor=theme.neutral,
                edgecolor=theme.ring,
                hatch="////",
                linewidth=0.0,
                label="blocked by the ground"
                + (" or an obstacle" if job.building.obstacles else ""),
            ),
            Line2D(
                [],
                [],
                linestyle="",
                marker="D",
                markersize=6,
                color=THEMES["light"].source,
                markeredgecolor="#ffffff",
                label="source, and its spread",
            ),
        ],
        loc="lower right",
        bbox_to_anchor=(0.97, 0.04),
        fontsize=8.5,
        labelcolor=theme.ink,
        frameon=False,
    )
