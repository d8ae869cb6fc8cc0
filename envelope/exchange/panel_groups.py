"""Names that mean several panels at once: the strips of a round wall, the panes of a facade.

A selector or a rule that gives such a name means all of them; each keeps its own id.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence, Set

import numpy as np

from envelope.building.model import Panel
from envelope.geometry.plane import Floats

LEAST_STRIPS = 3
TURN_COS = float(np.cos(np.radians(31.0)))  # a circle of twelve strips; an octagon has corners
FLAT_COS = float(np.cos(np.radians(0.05)))
WIDER = 3.0  # than its strips is the flat wall that a round one runs out into
UPRIGHT = 0.05
CORNER_M = 1e-3
SAME_PLANE_M = 0.05


def _numbered(space: str, stem: str, groups: Sequence[Sequence[str]]) -> dict[str, str]:
    """Name of its group for each panel id; groups are numbered where there are several."""
    found = {}
    for number, group in enumerate(groups, 1):
        name = stem if len(groups) == 1 else f"{stem}-{number}"
        found.update(dict.fromkeys(group, f"{space}/{name}"))
    return found


def round_walls(space: str, panels: Sequence[Panel]) -> dict[str, str]:
    """Name of the round wall that each strip belongs to, by panel id.

    Parameters
    ----------
    space : str
        Id of the space.
    panels : sequence of Panel
        All of the space.
    """
    walls = [item for item in panels if item.kind == "wall" and abs(item.normal[2]) < UPRIGHT]
    edges: dict[tuple[int, int, int, int], list[int]] = defaultdict(list)
    for index, panel in enumerate(walls):
        corners = np.round(panel.outline / CORNER_M).astype(np.int64)
        for one, two in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            if np.array_equal(one[:2], two[:2]):
                low, high = sorted((int(one[2]), int(two[2])))
                edges[int(one[0]), int(one[1]), low, high].append(index)
    beside: dict[int, set[int]] = defaultdict(set)
    for sharing in edges.values():
        if len(sharing) != 2:
            continue
        one, two = sharing
        turn = float(walls[one].normal @ walls[two].normal)
        if TURN_COS < turn < FLAT_COS:
            beside[one].add(two)
            beside[two].add(one)
    groups = []
    seen: set[int] = set()
    for first in sorted(beside):
        if first in seen:
            continue
        chain = [first]
        seen.add(first)
        for here in chain:
            for other in sorted(beside[here] - seen):
                seen.add(other)
                chain.append(other)
        widths = np.array([np.linalg.norm(np.ptp(walls[k].outline[:, :2], axis=0)) for k in chain])
        strips = [
            walls[k].id
            for k, width in zip(chain, widths, strict=True)
            if width <= WIDER * np.median(widths)
        ]
        if len(strips) >= LEAST_STRIPS:
            groups.append(strips)
    return _numbered(space, "round-wall", groups)


def facades(space: str, panels: Sequence[Panel], panes: Set[str]) -> dict[str, str]:
    """Name of the facade that each pane belongs to, by panel id.

    Parameters
    ----------
    space : str
        Id of the space.
    panels : sequence of Panel
        All of the space.
    panes : set of str
        Ids of those at which a facade stands.
    """
    planes: list[tuple[Floats, float, list[str]]] = []
    for panel in panels:
        if panel.kind != "window" or panel.id not in panes:
            continue
        offset = float(panel.normal @ panel.frame.origin)
        for normal, place, group in planes:
            if float(normal @ panel.normal) > 0.999 and abs(place - offset) < SAME_PLANE_M:
                group.append(panel.id)
                break
        else:
            planes.append((panel.normal, offset, [panel.id]))
    return _numbered(space, "facade", [group for *_, group in planes if len(group) > 1])
