"""Whose power is in the receiver's room: every watt goes to the panel it first came in by.

The level at a receiver is linear in what comes in. The direct part belongs to the panel that the
receiver sees it through. The diffuse part is followed through the coupled rooms with the adjoint of
their power balance: of a beam that has been in the receiver's room, everything that it feeds,
there or in another room, belongs to the panel by which it came in; what has not been there and
comes in as diffuse field belongs to the panel that it comes through. The parts add up to the level.

So the share of an outer panel of a convex building is the relative change of the level for a
relative change of what that panel transmits, all else equal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.building.model import Building
from envelope.exposure.diffuse import Faces, hemisphere_means
from envelope.exposure.solid_angles import totals, unpolarized
from envelope.exposure.transmission import Tables
from envelope.geometry.plane import Floats
from envelope.physics.diffuse import OUTSIDE
from envelope.rays import Chain

Longs = NDArray[np.int64]

NOT_YET = -1  # a hit before its ray has been in the receiver's room


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """The receiver's room, with the spaces that stand open to it."""

    home: int  # index of the receiver's space
    inside: NDArray[np.bool_]  # (spaces,)
    panels: tuple[int, ...]  # those that bound one of them; an open panel between two is none


def region_of(building: Building, space: str) -> Region:
    """The space and whatever bare openings join to it, as casts attribute what comes in."""
    home = building.space_index[space]
    inside = np.zeros(len(building.spaces), dtype=bool)
    inside[home] = True
    passing = [
        (building.space_index[building.panel(patch.panel).space], patch)
        for patch in building.patches
        if patch.far is not None and building.panel(patch.panel).kind == "open"
    ]
    grown = True
    while grown:
        grown = False
        for own, patch in passing:
            assert patch.far is not None
            beyond = building.space_index[building.panel(patch.far).space]
            if inside[own] and not inside[beyond]:
                inside[beyond] = grown = True
    through = {patch.panel for own, patch in passing if inside[own]}
    through |= {patch.far for own, patch in passing if inside[own] and patch.far is not None}
    panels = tuple(
        index
        for index, panel in enumerate(building.panels)
        if inside[building.space_index[panel.space]]
        and not (panel.kind == "open" and panel.id in through)
    )
    return Region(home=home, inside=inside, panels=panels)


def first_entries(chain: Chain, *, building: Building, region: Region) -> Longs:
    """The panel (entries,) by which the ray of each hit first came into a region.

    `NOT_YET` before it has; the number of panels for a source that stands in the region.
    """
    count = len(building.panels)
    patches = len(building.patches)
    space_of = np.array([building.space_index[panel.space] for panel in building.panels])
    own = np.array([building.panel_index[patch.panel] for patch in building.patches])
    far = np.array([-1 if p.far is None else building.panel_index[p.far] for p in building.patches])
    within = np.where(chain.space >= 0, region.inside[chain.space], False)
    ray = np.repeat(np.arange(len(chain.weights)), np.diff(chain.start))
    entry = np.arange(len(ray))
    first = np.full(len(chain.weights), len(ray))
    np.minimum.at(first, ray[within], entry[within])
    found = np.full(len(chain.weights), NOT_YET, dtype=np.int64)
    comes = first < len(ray)
    found[comes & (first == chain.start[:-1])] = count  # it starts there
    for index in np.flatnonzero(comes & (first > chain.start[:-1])):
        last = first[index] - 1  # the crossing that led into the region
        room = chain.space[first[index]]
        patch = chain.rows[last] % patches
        for panel in (far[patch], chain.side[last], own[patch]):
            if panel >= 0 and space_of[panel] == room:
                found[index] = panel
                break
        else:
            found[index] = _by_host(building, int(chain.side[last]), int(room))
    return np.where(entry >= first[ray], found[ray], NOT_YET)


def _by_host(building: Building, panel: int, room: int) -> int:
    """A panel of a room for a crossing whose own panels are not in it: its largest opposite one."""
    normal = building.panels[panel].normal
    space = building.spaces[room]
    return building.panel_index[
        max(space.panels, key=lambda each: (-float(each.normal @ normal) > 0.9, each.area_m2)).id
    ]


def hit_powers_w(*, logs: Floats, reflected: Floats, start: Longs, carried_w: Floats) -> Floats:
    """Power (entries,) that rays leave at each of their hits by reflection. [W]

    Parameters
    ----------
    logs, reflected : (entries, 2) float
        Log transmission and near reflection, TE and TM.
    start : (rays + 1,) int
        Ray i has the hits start[i] to start[i + 1], in order.
    carried_w : (rays,) float
        Power of each ray before its first hit. [W]
    """
    before = np.cumsum(logs, axis=0) - logs
    ray = np.repeat(np.arange(len(carried_w)), np.diff(start))
    arrives = np.exp(before - before[start[:-1]][ray])
    return np.asarray(carried_w[ray] * unpolarized(arrives * reflected))


def fed_by_entry_w(
    *, chain: Chain, powers_w: Floats, entered: Longs, panels: int, spaces: int
) -> Floats:
    """Power (panels + 2, spaces) that a chain feeds, by what its rays first came in by. [W]

    The last row but one is a source's own in the region, the last what has not been there.

    Parameters
    ----------
    powers_w : (entries,) float
        From `hit_powers_w`. [W]
    entered : (entries,) int
        From `first_entries`.
    """
    hit = chain.space >= 0
    row = np.where(entered[hit] == NOT_YET, panels + 1, entered[hit])
    added = totals(row * spaces + chain.space[hit], powers_w[hit], (panels + 2) * spaces)
    return added.reshape(panels + 2, spaces)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupling:
    """How a region's diffuse field answers, in one band of one plan."""

    answer: Floats  # (spaces,) density at the receiver for a watt fed to each space [1/m²]
    others: Floats  # inverse of the balance of the spaces outside the region [1/m²]
    inlet: Floats  # (panels, spaces) area through which the fields of others come in, /4 [m²]


def coupling_of(
    *,
    matrix: Floats,
    tables: Tables,
    band: int,
    faces: Faces,
    building: Building,
    region: Region,
) -> Coupling:
    """Adjoint answer of a power balance, and what couples its region to the other spaces.

    Parameters
    ----------
    matrix : (spaces, spaces) float
        From `balance_matrix`. [m²]
    """
    unit = np.zeros(len(matrix))
    unit[region.home] = 1.0
    outside = np.flatnonzero(~region.inside)
    others = np.zeros_like(matrix)
    others[np.ix_(outside, outside)] = np.linalg.inv(matrix[np.ix_(outside, outside)])
    through, _ = hemisphere_means(tables, band)
    answer = np.asarray(np.linalg.solve(matrix.T, unit), dtype=np.float64)
    inlet = np.zeros((len(building.panels), len(matrix)))
    inward = (
        region.inside[faces.space]
        & (faces.beyond != OUTSIDE)
        & ~np.where(faces.beyond != OUTSIDE, region.inside[faces.beyond], True)
    )
    for patch in np.flatnonzero(inward):
        panel = building.panel_index[building.patches[patch].panel]
        passes = faces.area_m2[patch] * through[tables.stacks.of_face[patch]] / 4.0
        inlet[panel, faces.beyond[patch]] += passes * answer[faces.space[patch]]
    return Coupling(answer=answer, others=others, inlet=inlet)


def diffuse_by_panel_w_m2(fed_w: Floats, coupling: Coupling) -> Floats:
    """Diffuse level (panels + 1,) at the receiver by panel; the last is a source's own room's.

    Parameters
    ----------
    fed_w : (panels + 2, spaces) float
        From `fed_by_entry_w`. [W]
    """
    brought = fed_w[:-1] @ coupling.answer
    fresh = fed_w[-1]
    brought[:-1] += coupling.inlet @ (coupling.others @ fresh)
    return np.asarray(brought)


def shares_of(by_panel_w_m2: Floats) -> Floats:
    """Parts of the whole, which add up to 1; all 0 where nothing comes in."""
    total = float(by_panel_w_m2.sum())
    return by_panel_w_m2 / total if total > 0.0 else np.zeros_like(by_panel_w_m2)
