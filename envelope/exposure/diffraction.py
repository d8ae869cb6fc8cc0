"""The edges of a beam: diffraction at an opening, so that just beside a beam is not dark.

Seen geometrically a beam ends at its edge; half a metre further in, a meter still reads some of
it. For every rectangular opening that leads straight outdoors and is much more open than its
wall, the part of the direct level that comes through it is replaced by what the first
Rayleigh–Sommerfeld integral gives, in the beam and beside it alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from envelope.building.job import Source
from envelope.building.model import Building, Panel
from envelope.exposure.casts import ReceiverCasts, direction_of
from envelope.exposure.transmission import Bench, Stacks
from envelope.geometry.plane import Floats
from envelope.physics.apertures import TIGHTER_DB
from envelope.physics.diffraction import opening_power_ratio

KINDS = ("window", "door", "open", "vent", "hatch", "skylight")
NEAREST_M = 0.05  # closer than this a point lies in the opening rather than behind it
FRINGES = 5  # frequencies, and directions across the cone, over which fringes are averaged


def edge_openings(building: Building, space: str) -> list[Panel]:
    """Openings of a space that are rectangles and lead straight outdoors."""
    found = []
    for panel in building.space(space).panels:
        if panel.kind not in KINDS or panel.holes or len(panel.outline) != 4:
            continue
        patches = building.patches_of[panel.id]
        sides = np.diff(np.vstack([panel.outline, panel.outline[:1]]), axis=0)
        right_angled = abs(float(sides[0] @ sides[1])) < 1e-6
        if right_angled and all(patch.behind == "outdoors" for patch in patches):
            found.append(panel)
    return found


def _cone_directions(centre: Floats, spread_rad: float) -> Floats:
    """Directions (n, 3) that stand for a cone: its middle and a ring at 2/3 of its edge."""
    if spread_rad <= 0.0:
        return centre[np.newaxis, :]
    helper = np.array([0.0, 0.0, 1.0]) if abs(centre[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    across = np.cross(helper, centre)
    across /= np.linalg.norm(across)
    upward = np.cross(centre, across)
    turn = 2.0 * np.pi * np.arange(FRINGES - 1) / (FRINGES - 1)
    aside = np.tan(2.0 / 3.0 * spread_rad)
    ring = centre + aside * (
        np.cos(turn)[:, np.newaxis] * across + np.sin(turn)[:, np.newaxis] * upward
    )
    ring /= np.linalg.norm(ring, axis=1, keepdims=True)
    return np.vstack([centre, ring])


def opening_ratio(
    *, panel: Panel, point_m: Floats, towards: Floats, band_hz: tuple[float, float]
) -> float:
    """Power density at a point behind an opening over that without the wall.

    Parameters
    ----------
    point_m : (3,) float
        Inside. [m]
    towards : (n, 3) float
        Directions towards the source, averaged over; those from inside the room count nothing.
    """
    corners = panel.outline
    along, upward = corners[1] - corners[0], corners[3] - corners[0]
    width, height = float(np.linalg.norm(along)), float(np.linalg.norm(upward))
    axes = np.stack((along / width, upward / height, panel.normal))
    centre = corners.mean(axis=0)
    local = axes @ (point_m - centre)
    if local[2] < NEAREST_M:
        beside = np.abs(local[:2]) > 0.5 * np.array([width, height])
        return 0.0 if local[2] < 0.0 or beside.any() else 1.0
    travel = -(towards @ axes.T)
    frequencies = np.unique(np.linspace(*band_hz, FRINGES))
    total = 0.0
    for heading in travel:
        if heading[2] <= 1e-3:
            continue
        for hertz in frequencies:
            ratio = opening_power_ratio(
                width_m=width,
                height_m=height,
                point_m=local[np.newaxis, :],
                travel=heading,
                frequency_hz=float(hertz),
            )
            total += float(ratio[0])
    return total / (len(travel) * len(frequencies))


@dataclass(frozen=True, slots=True, kw_only=True)
class BentBeam:
    """A source's beam through one opening, bent around its edges, at one receiver."""

    index: int  # of the panel
    row: int  # of the opening's patch
    cosine: float  # of incidence
    transmission: float  # of what fills it, at that angle
    ratio: float  # power density behind it over that without the wall


def bent_beams(
    *, source: Source, casts: ReceiverCasts, bench: Bench, stacks: Stacks, band: int
) -> tuple[BentBeam, ...]:
    """The openings of a receiver's space around whose edges a source's beam bends.

    Parameters
    ----------
    source : Source
        An exterior one; the beam of a point source is not bent.
    casts : ReceiverCasts
        Of the receiver, whose points are averaged over.
    bench, stacks : Bench, Stacks
        Of the job, and of the plan.
    band : int
        Which of the bench's bands.
    """
    if source.position_m is not None:
        return ()
    building = bench.job.building
    centre = direction_of(source, building)
    found = []
    limit = 10.0 ** (TIGHTER_DB / 10.0)
    for panel in edge_openings(building, casts.receiver.space):
        cosine = float(-(centre @ panel.normal))
        if cosine <= 1e-3 or panel.host is None:
            continue
        rows = [building.patches_of[name][0].index for name in (panel.id, panel.host)]
        itself, around = (bench.transmission_at(stacks, row, cosine, band) for row in rows)
        if itself < around * limit:
            continue
        ratio = bench.kept(
            ("edges", source.id, casts.points, panel.id),
            partial(
                mean_ratio,
                panel=panel,
                casts=casts,
                building=building,
                towards=_cone_directions(centre, source.spread_rad),
                band_hz=source.band_hz,
            ),
        )
        found.append(
            BentBeam(
                index=building.panel_index[panel.id],
                row=rows[0],
                cosine=cosine,
                transmission=itself,
                ratio=ratio,
            )
        )
    return tuple(found)


def mean_ratio(
    *,
    panel: Panel,
    casts: ReceiverCasts,
    building: Building,
    towards: Floats,
    band_hz: tuple[float, float],
) -> float:
    """Mean of `opening_ratio` over a receiver's points; one that does not see the opening gets 0.

    Parameters
    ----------
    panel : Panel
        The opening.
    casts : ReceiverCasts
        Of the receiver.
    building : Building
        Of both.
    towards : (n, 3) float
        Directions towards the source, averaged over.
    band_hz : tuple of (low, high)
        Averaged over as well. [Hz]
    """
    index = building.panel_index[panel.id]
    ratios = [
        opening_ratio(panel=panel, point_m=point.position_m, towards=towards, band_hz=band_hz)
        if (point.crossings.first_panel == index).any()
        else 0.0
        for point in casts.points
    ]
    return float(np.mean(ratios))
