"""From polygons to closed spaces, whatever file they came from.

weld → drop slivers and duplicates → mend T-junctions → close loops with open panels
     → closed volumes → which of them are spaces → flat panels → names
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.inside import winding
from envelope.building.planar import Floats
from envelope.errors import Fault, Location, ModelFileError
from envelope.importers.loops import Loop, find_loops
from envelope.importers.mesh_spaces import OURS, make_space, storeys_of
from envelope.importers.naming import counted, slug, unique
from envelope.importers.records import Imported, ListedSpace, Listing, Note, PanelOrigin
from envelope.importers.soup import (
    Ints,
    Label,
    Soup,
    cut_ring,
    flattened,
    joined,
    soup_of,
    weld,
    without_slivers,
)
from envelope.importers.volumes import (
    Volume,
    connected,
    duplicates,
    tight,
    volumes,
    with_corners_on_edges,
)

THIN_M = 0.25  # twice volume over surface: a wall of this thickness
SMALL_M3 = 0.25
MOST_FACES = 2_000_000
MOST_NOTES = 40
MOST_PLACES = 50  # of one note


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A closed volume, and whether it is a space."""

    id: str
    name: str
    volume: Volume
    trouble: str  # why it is no space unless asked for; "" where it is one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Everything that a mesh holds."""

    soup: Soup
    candidates: tuple[Candidate, ...]
    notes: tuple[Note, ...]
    size_m: Floats


def mesh_fault(source: str, message: str) -> ModelFileError:
    """A model file error that names the file."""
    return ModelFileError([Fault(message=message, location=Location(path=source))])


def _place(point: Floats) -> tuple[float, float, float]:
    return (float(point[0]), float(point[1]), float(point[2]))


def _object_numbers(soup: Soup) -> Ints:
    numbers: dict[str, int] = {}
    table = [numbers.setdefault(label.object, len(numbers)) for label in soup.labels]
    return np.array(table, dtype=np.int64)[soup.label]


def _cleaned(soup: Soup, source: str, notes: list[Note]) -> Soup:
    """Welded, without slivers, bent polygons cut, duplicates dropped within each object."""
    before = soup.faces
    if not np.all(np.isfinite(soup.points)):
        raise mesh_fault(source, "a vertex is not a finite number")
    soup = without_slivers(weld(soup))
    if soup.faces == 0:
        raise mesh_fault(
            source, f"none of its {before} faces has an area; there is nothing to import"
        )
    if before > soup.faces:
        message = f"{counted(before - soup.faces, 'face')} without area dropped"
        notes.append(Note(kind="repaired", subject="", message=message))
    soup, bent = flattened(soup)
    if bent:
        message = f"{counted(bent, 'bent face')} cut into triangles"
        notes.append(Note(kind="repaired", subject="", message=message))
        soup = without_slivers(soup)
    gone, _ = duplicates(soup, _object_numbers(soup))
    if len(gone):
        message = f"{counted(len(gone), 'face')} on top of another of the same object dropped"
        notes.append(Note(kind="repaired", subject="", message=message))
        keep = np.ones(soup.faces, dtype=bool)
        keep[gone] = False
        soup = soup.select(keep)
    return soup


def _named_by(soup: Soup, faces: Ints) -> str:
    """The object that the largest part of some faces belongs to."""
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
    # Where the file names groups only, one that is a volume of its own names it.
    return groups.pop() if not best and len(groups) == 1 else best


def _left_out(soup: Soup, piece: Ints, which: Ints, why: str) -> list[Note]:
    notes = []
    order = np.argsort(piece, kind="stable")
    bounds = np.searchsorted(piece[order], np.arange(int(piece.max(initial=-1)) + 2))
    for index in which.tolist():
        faces = order[bounds[index] : bounds[index + 1]]
        spots = soup.points[soup.select(faces).corners]
        notes.append(
            Note(
                kind="left-out",
                subject=_named_by(soup, faces) or counted(len(faces), "face"),
                message=why,
                position_m=_place(0.5 * (spots.min(axis=0) + spots.max(axis=0))),
            )
        )
    return notes


def _loop_text(loop: Loop) -> str:
    x, y, z = loop.centre
    return f"the hole of {loop.size_m:.2f} m around ({x:.2f}, {y:.2f}, {z:.2f}) m"


def _mended(soup: Soup, notes: list[Note], *, of_each_object: bool = False) -> Soup:
    """T-junctions mended, within each object or between all."""
    group = _object_numbers(soup) if of_each_object else None
    soup, mended, too_many = with_corners_on_edges(soup, group)
    if mended:
        message = counted(len(mended), "T-junction") + " mended: a corner on another face's edge"
        first, *others = (_place(spot) for spot in mended[:MOST_PLACES])
        notes.append(
            Note(
                kind="repaired",
                subject="",
                message=message,
                position_m=first,
                others_m=tuple(others),
            )
        )
    if too_many:
        message = "so many edges are loose that T-junctions were not looked for"
        notes.append(Note(kind="remark", subject="", message=message))
    return soup


def _capped(soup: Soup, notes: list[Note]) -> tuple[Soup, list[Loop]]:
    """The faces that belong to no closed object, with open panels over their flat holes."""
    gone, _ = duplicates(soup)
    keep = np.ones(soup.faces, dtype=bool)
    keep[gone] = False
    if len(gone):
        message = f"{counted(len(gone), 'face')} shared by two objects kept once, with two sides"
        notes.append(Note(kind="repaired", subject="", message=message))
    soup = soup.select(keep)
    soup = _mended(soup, notes)
    found = find_loops(soup)
    sheets = np.array(sorted(found.flat), dtype=np.int64)
    notes.extend(_left_out(soup, found.piece, sheets, "a flat sheet that bounds no space"))
    stays = ~np.isin(found.piece, sheets)
    closed = [loop for loop in found.loops if not loop.trouble]
    broken = [loop for loop in found.loops if loop.trouble]
    if found.left:
        message = f"{found.left} more holes were too many to look at"
        notes.append(Note(kind="remark", subject="", message=message))
    open_label = len(soup.labels)
    labels = (*soup.labels, Label(group="open", extras={"open": True}))
    caps = soup_of(
        points=soup.points,
        faces=[loop.corners.tolist() for loop in closed],
        label=[open_label] * len(closed),
        labels=labels,
    )
    rest = replace(soup.select(stays), labels=labels)
    return (
        Soup(
            points=soup.points,
            corners=np.concatenate((rest.corners, caps.corners)),
            start=np.concatenate((rest.start, rest.start[-1] + caps.start[1:])),
            label=np.concatenate((rest.label, caps.label)),
            labels=labels,
        ),
        broken,
    )


def _fan(soup: Soup, volume: Volume) -> Floats:
    """Triangles (n, 3, 3) of a volume, wound inward."""
    part = soup.select(volume.faces)
    lengths = np.diff(part.start)
    first = np.repeat(part.start[:-1], lengths - 2)
    step = np.arange(len(first)) - np.repeat(np.cumsum(lengths - 2) - (lengths - 2), lengths - 2)
    places = np.column_stack((first, first + step + 1, first + step + 2))
    inward = np.repeat(volume.front, lengths - 2)
    places[~inward] = places[~inward][:, ::-1]
    return np.asarray(part.points[part.corners[places]])


def _spot_inside(soup: Soup, volume: Volume) -> Floats:
    """A point just inside a volume, behind the middle of a triangle of its largest face."""
    areas = soup.select(volume.faces).area_vectors()
    best = int(np.argmax(np.linalg.norm(areas, axis=1)))
    inward = areas[best] / np.linalg.norm(areas[best]) * (1.0 if volume.front[best] else -1.0)
    ring = soup.points[soup.face(int(volume.faces[best]))]
    pieces = np.array([ring[list(piece)] for piece in cut_ring(ring)])
    sizes = np.linalg.norm(
        np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]), axis=1
    )
    return np.asarray(pieces[int(np.argmax(sizes))].mean(axis=0) + 1e-3 * inward)


def _judged(soup: Soup, found: Sequence[Volume]) -> list[Candidate]:
    """Which closed volumes are spaces: not thin, not small, not standing in another."""
    order = sorted(range(len(found)), key=lambda index: -found[index].volume_m3)
    fans: dict[int, Floats] = {}
    trouble = [""] * len(found)
    names = [_named_by(soup, volume.faces) for volume in found]
    for rank, index in enumerate(order):
        volume = found[index]
        surface = float(np.linalg.norm(soup.select(volume.faces).area_vectors(), axis=1).sum())
        if volume.volume_m3 < SMALL_M3:
            trouble[index] = f"too small for a room: {volume.volume_m3:.3f} m³"
        elif 2.0 * volume.volume_m3 / surface < THIN_M:
            trouble[index] = "too thin for a room: a wall, slab, board or piece of furniture"
        spot = _spot_inside(soup, volume)
        for larger in reversed(order[:rank]):
            around = found[larger]
            if np.any(spot < around.low) or np.any(spot > around.high):
                continue
            if larger not in fans:
                fans[larger] = _fan(soup, around)
            if winding(spot[np.newaxis], fans[larger])[0] < 0.5:
                continue
            if around.outward_share > 0.5 and volume.outward_share < 0.5:
                trouble[larger] = "the solid body around the spaces, not a space"
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


def find_volumes(soup: Soup, *, source: str) -> Found:
    """Closed volumes of a soup in metres with z up, and an account of all the rest."""
    if soup.faces == 0:
        raise mesh_fault(source, "holds no faces; there is nothing to import")
    if soup.faces > MOST_FACES:
        raise mesh_fault(source, f"holds {soup.faces} faces; at most {MOST_FACES} can be imported")
    notes: list[Note] = []
    size = np.ptp(soup.points[soup.corners], axis=0)
    soup = _cleaned(soup, source, notes)
    soup = _mended(soup, notes, of_each_object=True)
    piece = connected(soup, _object_numbers(soup))
    closed = tight(soup, piece)[piece]
    parts, groups = [], []
    broken: list[Loop] = []
    labels = soup.labels
    if not closed.all():
        rest, broken = _capped(soup.select(~closed), notes)
        labels = rest.labels
        parts.append(rest)
        groups.append(np.zeros(rest.faces, dtype=np.int64))
    if closed.any():
        parts.append(soup.select(closed))
        groups.append(piece[closed] + 1)
    whole = joined(parts, labels)
    # The parts keep their own copies of the points; weld makes one table of them again.
    whole = _one_table(whole)
    group = np.concatenate(groups)
    if whole.faces == 0:
        return Found(soup=whole, candidates=(), notes=tuple(notes), size_m=size)
    found, fins = volumes(whole, group)
    for loop in broken:
        message = f"{_loop_text(loop)} could not be closed: {loop.trouble}"
        notes.append(
            Note(kind="refused", subject="", message=message, position_m=_place(loop.centre))
        )
    if len(fins):
        message = f"{counted(len(fins), 'face')} standing free inside a space"
        notes.append(Note(kind="left-out", subject="", message=message))
    used = np.zeros(whole.faces, dtype=bool)
    for volume in found:
        used[volume.faces] = True
    used[fins] = True
    loose = np.flatnonzero(~used)
    if len(loose):
        sub = whole.select(loose)
        pieces = connected(sub)
        why = "not a closed volume: its faces have loose edges or do not meet"
        notes.extend(_left_out(sub, pieces, np.unique(pieces), why))
    candidates = _judged(whole, found)
    for candidate in candidates:
        flipped = float(np.mean(candidate.volume.front))
        if not candidate.trouble and 0.0 < flipped < 1.0:
            turned = min(flipped, 1.0 - flipped) * len(candidate.volume.faces)
            notes.append(
                Note(
                    kind="repaired",
                    subject=candidate.id,
                    message=f"{counted(round(turned), 'face')} wound the other way turned",
                )
            )
    return Found(soup=whole, candidates=tuple(candidates), notes=tuple(notes), size_m=size)


def _one_table(soup: Soup) -> Soup:
    """Points that are listed twice made one again, exactly."""
    points, inverse = np.unique(soup.points, axis=0, return_inverse=True)
    return replace(soup, points=points, corners=inverse.reshape(-1)[soup.corners])


def _briefly(notes: Sequence[Note]) -> tuple[Note, ...]:
    """At most so many notes of a kind and message; the rest counted."""
    groups: dict[tuple[str, str], list[Note]] = {}
    for note in notes:
        groups.setdefault((note.kind, note.message), []).append(note)
    found: list[Note] = []
    for group in groups.values():
        found.extend(group[:MOST_NOTES])
        if len(group) > MOST_NOTES:
            extra = len(group) - MOST_NOTES
            found.append(replace(group[0], subject=f"{extra} more objects", position_m=None))
    return tuple(found)


def chosen_ids(
    *, wanted: Sequence[str], known: Mapping[str, Sequence[str]], source: str
) -> list[str]:
    """Ids of the spaces asked for by id or name; an error gives the nearest names."""
    by_name: dict[str, list[str]] = {}
    for key, names in known.items():
        for name in dict.fromkeys((key, *names)):
            by_name.setdefault(name.casefold(), []).append(key)
    found: list[str] = []
    faults: list[Fault] = []
    for name in wanted:
        hits = by_name.get(name.casefold()) or by_name.get(slug(name), [])
        if len(hits) == 1:
            found.append(hits[0])
            continue
        if hits:
            message = f"{name!r} names {len(hits)} spaces: {', '.join(hits)}; say which"
        else:
            near = difflib.get_close_matches(name.casefold(), list(by_name), n=3, cutoff=0.4)
            options = [by_name[item][0] for item in near] or list(known)[:8]
            message = f"there is no space {name!r}; the nearest names are {', '.join(options)}"
        faults.append(Fault(message=message, location=Location(path=source)))
    if faults:
        raise ModelFileError(faults)
    return list(dict.fromkeys(found))


def _nothing(found: Found, source: str) -> ModelFileError:
    """The error where no volume is a space: what there is instead."""
    reasons: dict[str, int] = {}
    for candidate in found.candidates:
        reasons[candidate.trouble] = reasons.get(candidate.trouble, 0) + 1
    for note in found.notes:
        if note.kind in ("left-out", "refused"):
            reasons[note.message] = reasons.get(note.message, 0) + 1
    listed = "; ".join(f"{count} × {reason}" for reason, count in list(reasons.items())[:5])
    x, y, z = found.size_m
    return mesh_fault(
        source,
        f"no closed space was found in a model of {x:.3g} × {y:.3g} × {z:.3g} m ({listed}); "
        "a room must be drawn as faces that meet all round it, a missing one being a hole",
    )


def import_soup(
    soup: Soup,
    *,
    source: str,
    format: str,
    spaces: Sequence[str] | None = None,
    storey: str | None = None,
) -> Imported:
    """Spaces of a soup in metres with z up.

    Parameters
    ----------
    soup : Soup
    source, format : str
        Name of the file, and of its format.
    spaces : sequence of str, optional
        Ids or names of closed volumes; all that are rooms if not given.
    storey : str, optional
        Only the spaces that stand on it.
    """
    found = find_volumes(soup, source=source)
    known = {candidate.id: (candidate.name,) for candidate in found.candidates}
    if spaces is None:
        chosen = [candidate for candidate in found.candidates if not candidate.trouble]
    else:
        wanted = chosen_ids(wanted=spaces, known=known, source=source)
        chosen = [candidate for candidate in found.candidates if candidate.id in wanted]
    if not chosen:
        raise _nothing(found, source)
    notes = list(found.notes)
    taken = {candidate.id for candidate in chosen}
    for candidate in found.candidates:
        if candidate.id not in taken and candidate.trouble:
            spot = 0.5 * (candidate.volume.low + candidate.volume.high)
            notes.append(
                Note(
                    kind="left-out",
                    subject=candidate.name or candidate.id,
                    message=candidate.trouble,
                    position_m=_place(spot),
                )
            )
    made = [
        make_space(found.soup, candidate.volume, id=candidate.id, source=source, left_out=notes)
        for candidate in chosen
    ]
    origins: dict[str, PanelOrigin] = {}
    for item in made:
        origins.update(item.origins)
        notes.extend(item.notes)
    storeys, placed = storeys_of(made)
    if storey is not None:
        if storey not in {item.id for item in storeys}:
            listed = ", ".join(item.id for item in storeys)
            raise mesh_fault(source, f"there is no storey {storey!r}; there are {listed}")
        placed = [space for space in placed if space.storey == storey]
        storeys = [item for item in storeys if item.id == storey]
        kept = {panel.id for space in placed for panel in space.panels}
        origins = {key: origin for key, origin in origins.items() if key in kept}
    return Imported(
        source=source,
        format=format,
        storeys=tuple(storeys),
        spaces=tuple(placed),
        origins=origins,
        notes=_briefly(notes),
        size_m=found.size_m,
    )


def list_soup(soup: Soup, *, source: str, format: str) -> Listing:
    """What closed volumes a soup holds, and which of them are spaces."""
    found = find_volumes(soup, source=source)
    listed = []
    for candidate in found.candidates:
        part = found.soup.select(candidate.volume.faces)
        sign = np.where(candidate.volume.front, 1.0, -1.0)
        upward = part.area_vectors()[:, 2] * sign
        listed.append(
            ListedSpace(
                id=candidate.id,
                name=candidate.name,
                storey="",
                area_m2=float(upward[upward > 0.0].sum()),
                volume_m3=candidate.volume.volume_m3,
                trouble=candidate.trouble,
            )
        )
    listed.sort(key=lambda item: (bool(item.trouble), -item.volume_m3))
    return Listing(
        source=source,
        format=format,
        storeys=(),
        spaces=tuple(listed),
        notes=_briefly(found.notes),
    )
