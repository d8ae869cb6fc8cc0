"""Which closed volumes are spaces, and what furniture, walls and shells are instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from envelope import text as figures
from envelope.building.point_location import winding
from envelope.exchange.mesh.soup import Ints, Soup
from envelope.exchange.mesh.volumes import Volume, fan_of, is_house, is_thin, spot_inside
from envelope.exchange.naming import slug, unique
from envelope.exchange.records import OURS
from envelope.geometry.plane import Floats

TOO_THIN = "too thin for a room: a wall, slab, board or piece of furniture"
PIERCED = "walls in one piece with openings through them that no face closes"
LOW_M = 1.0
SKIN_M = 0.6  # a hollow body's walls are no thicker
SMALL_M3 = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A closed volume, and whether it is a space."""

    id: str
    name: str
    volume: Volume
    trouble: str  # why it is no space unless asked for; "" where it is one


def named_by(soup: Soup, faces: Ints, *, opened: bool = False) -> str:
    """The object that the largest part of some faces belongs to; none between many walls."""
    areas = np.linalg.norm(soup.select(faces).area_vectors(), axis=1)
    totals: dict[str, float] = {}
    groups: set[str] = set()
    for label, area in zip(soup.label[faces].tolist(), areas.tolist(), strict=True):
        name = soup.labels[label].object
        totals[name] = totals.get(name, 0.0) + area
        if not soup.labels[label].extras.get("open"):
            group, material = soup.labels[label].group, soup.labels[label].material
            groups.add(group if material in ("", group) else f"{group} ({material})".strip())
    best = max(totals, key=lambda name: totals[name])
    if opened and len(totals) > 3:
        return ""
    # Where the file names groups only, one that is a volume of its own names it.
    return groups.pop() if not best and len(groups) == 1 else best


def _size(volume: Volume, feet: bool) -> str:
    """A small volume."""
    return f"{volume.volume_m3 / 0.3048**3:.2f} ft³" if feet else f"{volume.volume_m3:.3f} m³"


def judged(soup: Soup, found: Sequence[Volume], *, opened: bool, feet: bool) -> list[Candidate]:
    """Which closed volumes are spaces: not thin, small or low, and not standing in another."""
    order = sorted(range(len(found)), key=lambda index: -found[index].volume_m3)
    # Boxes side by side in one table: each volume is held against all larger ones at once.
    lows = np.array([found[index].low for index in order]).reshape(-1, 3)
    highs = np.array([found[index].high for index in order]).reshape(-1, 3)
    fans: dict[int, Floats] = {}
    trouble = [""] * len(found)
    names = [named_by(soup, volume.faces, opened=opened) for volume in found]
    surfaces = [
        float(np.linalg.norm(soup.select(volume.faces).area_vectors(), axis=1).sum())
        for volume in found
    ]
    for rank, index in enumerate(order):
        volume, surface = found[index], surfaces[index]
        ours = any(
            OURS in soup.labels[label].extras for label in np.unique(soup.label[volume.faces])
        )
        if ours:
            pass  # a space before it was written out
        elif volume.volume_m3 < SMALL_M3:
            trouble[index] = f"too small for a room: {_size(volume, feet)}"
        elif is_thin(soup, volume):
            trouble[index] = PIERCED if is_house(soup, volume) else TOO_THIN
        elif (height := float(volume.high[2] - volume.low[2])) < LOW_M:
            trouble[index] = f"too low for a room: {figures.length(height, feet=feet)}"
        spot = spot_inside(soup, volume)
        around_it = np.all((lows[:rank] <= spot) & (spot <= highs[:rank]), axis=1)
        for larger in (order[place] for place in np.flatnonzero(around_it)[::-1].tolist()):
            around = found[larger]
            if larger not in fans:
                fans[larger] = fan_of(soup, around)
            if winding(spot[np.newaxis], fans[larger])[0] < 0.5:
                continue
            if around.outward_share > 0.5 and volume.outward_share < 0.5:
                trouble[larger] = "the solid body around the spaces, not a space"
            elif (
                2.0 * volume.volume_m3 > around.volume_m3
                and around.volume_m3 - volume.volume_m3
                < 0.5 * SKIN_M * (surface + surfaces[larger])
                and not trouble[index]
            ):  # no furniture is as large: the hollow's skin is wound like the body's
                trouble[larger] = "the solid body around another volume, whose walls it is"
            else:
                holder = names[larger] or "another volume"
                trouble[index] = f"stands inside {holder}: furniture, not a space"
            break
    own = {label.object for label in soup.labels if OURS in label.extras}
    stems = [name if name in own else slug(name, keep_case=True) for name in names]
    # Rooms are numbered among themselves: furniture should not make a lone one "space-3".
    rooms = [index for index, why in enumerate(trouble) if not why]
    others = [index for index, why in enumerate(trouble) if why]
    ids = dict(zip(rooms, unique(stems[index] for index in rooms), strict=True))
    taken = list(ids.values())
    rest = unique([*taken, *(stems[index] for index in others)])[len(taken) :]
    ids.update(zip(others, rest, strict=True))
    return [
        Candidate(id=ids[index], name=names[index], volume=volume, trouble=trouble[index])
        for index, volume in enumerate(found)
    ]
