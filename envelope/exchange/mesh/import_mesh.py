"""From polygons to closed spaces, whatever file they came from.

weld → drop slivers and duplicates → mend T-junctions → close loops with open panels
     → closed volumes → which of them are spaces → flat panels → names
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from envelope import text as figures
from envelope.building.model import Space
from envelope.building.point_location import winding
from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh.boundary_loops import Loop, find_loops
from envelope.exchange.mesh.classify import PIERCED, TOO_THIN, Candidate, judged, named_by
from envelope.exchange.mesh.imprint import imprinted
from envelope.exchange.mesh.soup import (
    Ints,
    Label,
    Soup,
    flattened,
    joined,
    soup_of,
    weld,
    without_slivers,
)
from envelope.exchange.mesh.spaces import (
    MadeSpace,
    beside_left_out,
    make_space,
    storeys_of,
)
from envelope.exchange.mesh.volumes import (
    connected,
    duplicates,
    fan_of,
    tight,
    volumes,
    walls,
    with_corners_on_edges,
)
from envelope.exchange.naming import counted
from envelope.exchange.records import OURS, Imported, ListedSpace, Listing, Note, PanelOrigin
from envelope.exchange.select import chosen_ids, chosen_storey
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M

LOOSE = "not a closed volume: its faces have loose edges or do not meet"
SHEET = "a flat sheet that bounds no space"
INSIDE_OPEN = "stands inside an open surface: furniture, not a space"
OPEN_ROUND = 3.0  # times a volume's box is that of an open surface around it
CRACKS_M = (5e-4, 2e-3)  # how wide cracks are closed, the narrow first, where sheets do not meet
MOST_FACES = 2_000_000
MOST_PLACES = 50  # of one note


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


def _cleaned(soup: Soup, source: str, notes: list[Note], weld_m: float) -> Soup:
    """Welded, without slivers, bent polygons cut, duplicates dropped within each object."""
    before = soup.faces
    if not np.all(np.isfinite(soup.points)):
        raise mesh_fault(source, "a vertex is not a finite number")
    soup = without_slivers(weld(soup, within_m=weld_m))
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
                subject=named_by(soup, faces) or counted(len(faces), "face"),
                message=why,
                position_m=_place(0.5 * (spots.min(axis=0) + spots.max(axis=0))),
                box_m=(_place(spots.min(axis=0)), _place(spots.max(axis=0))),
            )
        )
    return notes


def _loop_text(loop: Loop, feet: bool) -> str:
    x, y, z = loop.centre
    if feet:
        at = ", ".join(figures.length(float(value), feet=True) for value in loop.centre)
        return f"the hole of {figures.length(loop.size_m, feet=True)} around ({at})"
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


def _capped(soup: Soup, notes: list[Note], *, opened: bool) -> tuple[Soup, list[Loop]]:
    """The faces that belong to no closed object, with open panels over their flat holes."""
    gone, _ = duplicates(soup)
    keep = np.ones(soup.faces, dtype=bool)
    keep[gone] = False
    if len(gone):
        message = f"{counted(len(gone), 'face')} shared by two objects kept once, with two sides"
        notes.append(Note(kind="repaired", subject="", message=message))
    soup = soup.select(keep)
    if opened:
        soup = imprinted(soup)
        keep = np.ones(soup.faces, dtype=bool)
        keep[duplicates(soup)[0]] = False  # where one body stands on another
        soup = soup.select(keep)
    soup = _mended(soup, notes)
    found = find_loops(soup)
    sheets = np.array(sorted(found.flat), dtype=np.int64)
    notes.extend(_left_out(soup, found.piece, sheets, SHEET))
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


def find_volumes(soup: Soup, *, source: str, feet: bool = False) -> Found:
    """Closed volumes of a soup in metres with z up, and an account of all the rest.

    Where sheets stand loose in the holes of a room, or nothing is closed and sheets are all there
    is, corners farther apart are joined, if that makes rooms of them. Where walls are drawn with
    their thickness, they are cut where they meet, if that encloses more than furniture is.
    """
    best = _found(soup, source=source, weld_m=WELD_M, feet=feet)
    sheets, rooms = _cracked(best)
    for weld_m in CRACKS_M:
        if not sheets:
            break
        again = _found(soup, source=source, weld_m=weld_m, feet=feet)
        fewer, more = _cracked(again)
        if more > rooms or (more == rooms and fewer < sheets and more):
            message = f"cracks of up to {1e3 * weld_m:g} mm between its faces closed"
            note = Note(kind="repaired", subject="", message=message)
            best, sheets, rooms = replace(again, notes=(note, *again.notes)), fewer, more
    troubles = [candidate.trouble for candidate in best.candidates]
    if PIERCED in troubles or not rooms or troubles.count(TOO_THIN) > 2:
        again = _found(soup, source=source, weld_m=WELD_M, feet=feet, opened=True)
        if _clean(again) and _largest_m3(again) > 2.0 * _largest_m3(best):
            house = "the walls of the house in one piece, not a space"
            named = (
                replace(item, trouble=house) if item.trouble == PIERCED else item
                for item in again.candidates
            )
            best = replace(again, candidates=tuple(named))
    return best


def _clean(found: Found) -> bool:
    """Whether everything met, so that no room is a guess."""
    return not any(note.kind == "refused" or note.message == LOOSE for note in found.notes) and all(
        note.subject or note.kind != "left-out" for note in found.notes
    )


def _largest_m3(found: Found) -> float:
    """Of its rooms."""
    sizes = [item.volume.volume_m3 for item in found.candidates if not item.trouble]
    return max(sizes, default=0.0)


def _cracked(found: Found) -> tuple[int, int]:
    """How many sheets stand in holes of rooms, of all where there is no room; and the rooms."""
    sheets = [
        np.array(note.position_m)
        for note in found.notes
        if note.message == SHEET and note.position_m is not None
    ]
    rooms = [candidate for candidate in found.candidates if not candidate.trouble]
    if not rooms or not sheets:
        return len(sheets), len(rooms)
    soup = found.soup
    caps = [
        0.5 * (spots.min(axis=0) + spots.max(axis=0))
        for room in rooms
        for face in room.volume.faces.tolist()
        if soup.labels[soup.label[face]].extras.get("open")
        for spots in (soup.points[soup.face(face)],)
    ]
    return (
        sum(any(np.linalg.norm(sheet - cap) < CRACKS_M[-1] for cap in caps) for sheet in sheets),
        len(rooms),
    )


def _found(soup: Soup, *, source: str, weld_m: float, feet: bool, opened: bool = False) -> Found:
    """Everything in a soup; `opened` where walls, panes and sheets are to meet."""
    if soup.faces == 0:
        raise mesh_fault(source, "holds no faces; there is nothing to import")
    if soup.faces > MOST_FACES:
        raise mesh_fault(source, f"holds {soup.faces} faces; at most {MOST_FACES} can be imported")
    notes: list[Note] = []
    size = np.ptp(soup.points[soup.corners], axis=0)
    soup = _cleaned(soup, source, notes, weld_m)
    soup = _mended(soup, notes, of_each_object=True)
    piece = connected(soup, _object_numbers(soup))
    whole_pieces = tight(soup, piece)
    if opened:
        whole_pieces &= ~walls(soup, piece)
    closed = whole_pieces[piece]
    parts, groups = [], []
    broken: list[Loop] = []
    labels = soup.labels
    if not closed.all():
        rest, broken = _capped(soup.select(~closed), notes, opened=opened)
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
        message = f"{_loop_text(loop, feet)} could not be closed: {loop.trouble}"
        notes.append(
            Note(kind="refused", subject="", message=message, position_m=_place(loop.centre))
        )
    used = np.zeros(whole.faces, dtype=bool)
    for volume in found:
        used[volume.faces] = True
    used[fins] = True
    loose = np.flatnonzero(~used)
    if len(loose):
        sub = whole.select(loose)
        pieces = connected(sub)
        notes.extend(_left_out(sub, pieces, np.unique(pieces), LOOSE))
    candidates = _outside_open(judged(whole, found, opened=opened, feet=feet), notes, whole)
    free = _in_rooms(whole, fins, candidates) if opened else len(fins)
    if free:
        message = f"{counted(free, 'face')} standing free inside a space"
        notes.append(Note(kind="left-out", subject="", message=message))
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


def _outside_open(
    candidates: Sequence[Candidate], notes: Sequence[Note], soup: Soup
) -> list[Candidate]:
    """The volumes, those told as furniture that stand in a surface that is open all round."""
    loose = [note.box_m for note in notes if note.message == LOOSE and note.box_m is not None]
    found = []
    for item in candidates:
        volume = item.volume
        ours = any(OURS in soup.labels[k].extras for k in np.unique(soup.label[volume.faces]))
        around = any(
            np.all(low - WELD_M <= volume.low)
            and np.all(volume.high <= high + WELD_M)
            and np.prod(high - low) > OPEN_ROUND * np.prod(volume.high - volume.low)
            for low, high in map(np.array, loose)
        )
        found.append(
            replace(item, trouble=INSIDE_OPEN) if around and not ours and not item.trouble else item
        )
    return found


def _in_rooms(soup: Soup, faces: Ints, candidates: Sequence[Candidate]) -> int:
    """How many of some faces lie in rooms, and not within walls that were drawn across others."""
    if not len(faces):
        return 0
    centres = np.array([soup.points[soup.face(face)].mean(axis=0) for face in faces.tolist()])
    inside = np.zeros(len(centres), dtype=bool)
    for room in (item for item in candidates if not item.trouble):
        inside |= winding(centres, fan_of(soup, room.volume)) > 0.5
    return int(inside.sum())


def _one_table(soup: Soup) -> Soup:
    """Points that are listed twice made one again, exactly."""
    points, inverse = np.unique(soup.points, axis=0, return_inverse=True)
    return replace(soup, points=points, corners=inverse.reshape(-1)[soup.corners])


def _nothing(found: Found, source: str, feet: bool) -> ModelFileError:
    """The error where no volume is a space: what there is instead."""
    reasons: dict[str, int] = {}
    for candidate in found.candidates:
        reasons[candidate.trouble] = reasons.get(candidate.trouble, 0) + 1
    for note in found.notes:
        if note.kind in ("left-out", "refused"):
            reasons[note.message] = reasons.get(note.message, 0) + 1
    listed = "; ".join(f"{count} × {reason}" for reason, count in list(reasons.items())[:5])
    x, y, z = found.size_m
    size = f"{x:.3g} × {y:.3g} × {z:.3g} m"
    if feet:
        size = " × ".join(figures.length(float(value), feet=True) for value in found.size_m)
    advice = (
        "a room must be drawn as faces that meet all round it, a missing one being a hole; for a "
        "scan, --fit fits closed rooms to its surfaces and says how far they lie off"
    )
    troubles = [candidate.trouble for candidate in found.candidates]
    if PIERCED in troubles:
        advice = (
            "draw faces over its windows and doors, flush with the inside of the walls, or draw "
            "the room itself, as faces that meet all round it"
        )
    elif troubles.count(TOO_THIN) > 2:
        advice = (
            "walls drawn as solids must meet all round a room, panes and leaves in their openings "
            "too; or draw the room itself, as faces that meet all round it"
        )
    return mesh_fault(
        source,
        f"no closed space was found in a model of {size} ({listed}); " + advice,
    )


def import_soup(
    soup: Soup,
    *,
    source: str,
    format: str,
    spaces: Sequence[str] | None = None,
    storey: str | None = None,
    feet: bool = False,
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
    feet : bool, optional
        What is told is told in feet and inches.
    """
    found = find_volumes(soup, source=source, feet=feet)
    known = {candidate.id: (candidate.name,) for candidate in found.candidates}
    if spaces is None:
        chosen = [candidate for candidate in found.candidates if not candidate.trouble]
    else:
        wanted = chosen_ids(wanted=spaces, known=known, source=source)
        chosen = [candidate for candidate in found.candidates if candidate.id in wanted]
    if not chosen:
        raise _nothing(found, source, feet)
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
    made = [_made(found, candidate, source, notes, feet) for candidate in chosen]
    origins: dict[str, PanelOrigin] = {}
    for item in made:
        origins.update(item.origins)
        notes.extend(item.notes)
    others = [item for item in found.candidates if item.id not in taken and not item.trouble]
    left = list(_spaces_of(found, others, source))
    storeys, placed = storeys_of(made)
    if storey is not None:
        levels = [item.id for item in storeys]
        storey = chosen_storey(wanted=storey, known=levels, source=source)
        placed = [space for space in placed if space.storey == storey]
        storeys = [item for item in storeys if item.id == storey]
        kept = {panel.id for space in placed for panel in space.panels}
        origins = {key: origin for key, origin in origins.items() if key in kept}
        left += [item.space for item in made if item.space.id not in {s.id for s in placed}]
    placed, leads = beside_left_out(placed, left)
    origins = {
        key: replace(origin, beyond=f"space {leads[key]}") if key in leads else origin
        for key, origin in origins.items()
    }
    return Imported(
        source=source,
        format=format,
        storeys=tuple(storeys),
        spaces=tuple(placed),
        origins=origins,
        notes=tuple(notes),
        size_m=found.size_m,
    )


def _made(
    found: Found, candidate: Candidate, source: str, left_out: Sequence[Note], feet: bool
) -> MadeSpace:
    return make_space(
        found.soup,
        candidate.volume,
        id=candidate.id,
        source=source,
        left_out=left_out,
        feet=feet,
    )


def _spaces_of(found: Found, others: Sequence[Candidate], source: str) -> Iterator[Space]:
    """Spaces that are not imported; one that cannot be made is as good as not there."""
    for candidate in others:
        with suppress(ModelFileError):
            yield _made(found, candidate, source, [], False).space


def list_soup(soup: Soup, *, source: str, format: str, feet: bool = False) -> Listing:
    """What closed volumes a soup holds, and which of them are spaces."""
    found = find_volumes(soup, source=source, feet=feet)
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
        notes=found.notes,
    )
