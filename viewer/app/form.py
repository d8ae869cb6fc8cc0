"""From a plain record of one room, typed by someone with a tape, to a job file that loads.

Lengths are what was typed, in metres or in feet and inches; they are checked here and stand in the
file as typed. The file says in comments what was assumed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from envelope.building.library import ASSEMBLIES, TYPICAL
from envelope.errors import EnvelopeError, FaultsError, Location, UnitError
from envelope.project import load_text
from envelope.project.assembly_table import assembly_table
from envelope.project.toml.write import pair, table
from envelope.text.lengths import format_feet_inches, format_metres
from envelope.units import (
    parse_angle,
    parse_band,
    parse_length,
    parse_point,
    parse_power,
    parse_power_density,
    parse_size,
)

Wall = Literal["south", "east", "north", "west"]
Stands = Literal["on the ground", "over a crawl space", "upper floor"]
Beyond = Literal["outdoors", "another room", "earth"]

WALLS: tuple[Wall, ...] = ("south", "east", "north", "west")
STANDS: tuple[Stands, ...] = ("on the ground", "over a crawl space", "upper floor")
DIRECTION, POINT = PLACES = ("in a direction", "in this house or at a point")
BEYOND: tuple[Beyond, ...] = ("outdoors", "another room", "earth")

# Starter assemblies that a wall or a ceiling may be of, the first of them unless chosen otherwise.
WALL_KINDS = (
    "timber-wall",
    "brick-veneer-wall",
    "solid-brick-wall",
    "cavity-brick-wall",
    "concrete-wall",
)
CEILING_KINDS = (
    "joist-ceiling",
    "ceiling-and-tiled-roof",
    "tiled-roof",
    "shingle-roof",
    "concrete-roof",
)
_IN_FEET = re.compile(r"['\"′″]|ft|in")
_INTERIOR_WALL, _WINDOW, _DOOR = "stud-wall", "double-glazing", "solid-wood-door"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A window or a door as it is measured."""

    wall: str
    from_left: str  # from the wall's left-hand corner, seen from inside, to its nearer edge
    width: str
    height: str
    sill: str = ""  # of a window
    gap: str = ""  # under a door
    depth: str = ""  # of a window's jambs


@dataclass(frozen=True, slots=True, kw_only=True)
class Mast:
    """A direction that energy comes from, or a transmitter at a point."""

    band: str
    place: str = DIRECTION
    azimuth: str = ""  # "231 deg", clockwise from true north
    elevation: str = ""
    level: str = ""
    from_west: str = ""  # of a point, from the room's walls; a minus lies beyond them
    from_south: str = ""
    over_floor: str = ""
    power: str = ""  # that it radiates


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomForm:
    """Everything that the form asks, as typed."""

    name: str
    length: str  # along the north and south walls
    width: str  # along the east and west walls
    height: str
    stands: str = "on the ground"
    floor_over_ground: str = ""  # of an upper floor
    north: str = "0 deg"  # true azimuth that the north wall faces
    wall_kind: str = WALL_KINDS[0]
    ceiling_kind: str = CEILING_KINDS[0]
    beyond: dict[str, str] = field(default_factory=dict)  # wall → what is behind it; outdoors
    windows: tuple[Hole, ...] = ()
    doors: tuple[Hole, ...] = ()
    pillow_from_west: str = ""
    pillow_from_south: str = ""
    pillow_over_floor: str = "0.6 m"
    masts: tuple[Mast, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One thing that the form cannot take: the field's name, and a sentence."""

    where: str  # "length", "windows.0.sill"; "" where it concerns the whole
    message: str


class FormError(EnvelopeError):
    """A form that makes no job."""

    def __init__(self, troubles: Sequence[Trouble]) -> None:
        self.troubles = tuple(troubles)
        super().__init__("; ".join(each.message for each in self.troubles))


def from_typed(typed: object) -> RoomForm:
    """The record of what a page sent; whatever is no text there counts as not typed."""
    found = typed if isinstance(typed, dict) else {}
    lists = {"beyond", "windows", "doors", "masts"}
    texts = {k: v for k, v in _texts(found).items() if k in {*RoomForm.__slots__} - lists}
    return RoomForm(
        **{"name": "", "length": "", "width": "", "height": "", **texts},
        beyond=_texts(found.get("beyond")),
        windows=tuple(_hole_of(each) for each in _list(found.get("windows"))),
        doors=tuple(_hole_of(each) for each in _list(found.get("doors"))),
        masts=tuple(
            Mast(**{"band": "", **{k: v for k, v in _texts(each).items() if k in Mast.__slots__}})
            for each in _list(found.get("masts"))
        ),
    )


def _hole_of(typed: object) -> Hole:
    return Hole(**{name: _texts(typed).get(name, "") for name in Hole.__slots__})


def _texts(typed: object) -> dict[str, str]:
    found = typed if isinstance(typed, dict) else {}
    return {str(key): value for key, value in found.items() if isinstance(value, str)}


def _list(typed: object) -> list[object]:
    return typed[:100] if isinstance(typed, list) else []


def job_text(form: RoomForm) -> str:
    """Text of a job file for the room.

    Raises
    ------
    FormError
        With everything that is wrong, each with its field.
    """
    troubles = list(_troubles(form))
    if troubles:
        raise FormError(troubles)
    text = "\n".join(_lines(form)) + "\n"
    try:
        load_text(text, path="job.toml")
    except FaultsError as error:
        raise FormError(
            [
                Trouble(where=_field(fault.location, form), message=fault.message)
                for fault in error.faults
            ]
        ) from None
    return text


# What is checked field by field


def _troubles(form: RoomForm) -> Iterator[Trouble]:
    if not form.name.strip():
        yield Trouble(where="name", message="the job has no name: give it one")
    for name in ("length", "width", "height"):
        yield from _length(name, getattr(form, name))
    yield from _choice("stands", form.stands, STANDS)
    yield from _choice("wall_kind", form.wall_kind, WALL_KINDS)
    yield from _choice("ceiling_kind", form.ceiling_kind, CEILING_KINDS)
    if form.stands == "upper floor":
        yield from _length("floor_over_ground", form.floor_over_ground)
    try:
        parse_angle(form.north)
    except UnitError as error:
        yield Trouble(where="north", message=str(error))
    for wall, beyond in form.beyond.items():
        yield from _choice("beyond", wall, WALLS)
        yield from _choice(f"beyond.{wall}", beyond, BEYOND)
    for index, hole in enumerate(form.windows):
        yield from _hole(f"windows.{index}", hole, optional=("depth",), needed=("sill",))
    for index, hole in enumerate(form.doors):
        yield from _hole(f"doors.{index}", hole, optional=("gap",), needed=())
    for name in ("pillow_from_west", "pillow_from_south", "pillow_over_floor"):
        yield from _length(name, getattr(form, name))
    for index, mast in enumerate(form.masts):
        yield from _choice(f"masts.{index}.place", mast.place, PLACES)
        for name, parse in (_POINT_PARTS if mast.place == POINT else _DIRECTION_PARTS).items():
            try:
                parse(getattr(mast, name))
            except UnitError as error:
                yield Trouble(where=f"masts.{index}.{name}", message=str(error))


# What a source is asked for, and how each part is read.
_DIRECTION_PARTS: dict[str, Callable[[str], object]] = {
    "azimuth": parse_angle,
    "elevation": parse_angle,
    "band": parse_band,
    "level": parse_power_density,
}
_POINT_PARTS: dict[str, Callable[[str], object]] = {
    "from_west": parse_length,
    "from_south": parse_length,
    "over_floor": parse_length,
    "band": parse_band,
    "power": parse_power,
}


def _length(where: str, typed: str, *, zero: bool = False) -> Iterator[Trouble]:
    if not typed.strip():
        yield Trouble(
            where=where, message='nothing is typed: a length such as "3.6 m" or "12 ft 4 in"'
        )
        return
    try:
        value_m = parse_length(typed)
    except UnitError as error:
        yield Trouble(where=where, message=str(error))
        return
    if not (value_m > 0.0 or (zero and value_m == 0.0)):
        yield Trouble(where=where, message=f'found "{typed.strip()[:40]}"; it must be above 0')


def _hole(
    where: str, hole: Hole, *, optional: tuple[str, ...], needed: tuple[str, ...]
) -> Iterator[Trouble]:
    yield from _choice(f"{where}.wall", hole.wall, WALLS)
    for name in ("from_left", "width", "height", *needed):
        yield from _length(
            f"{where}.{name}", getattr(hole, name), zero=name in ("from_left", "sill")
        )
    for name in optional:
        if getattr(hole, name).strip():
            yield from _length(f"{where}.{name}", getattr(hole, name), zero=True)


def _choice(where: str, found: str, allowed: Sequence[str]) -> Iterator[Trouble]:
    if found not in allowed:
        yield Trouble(
            where=where, message=f'found "{found[:40]}"; allowed are {", ".join(allowed)}'
        )


def _field(location: Location | None, form: RoomForm) -> str:
    """Field of the form that a fault of the file is about, as near as it can be told."""
    stated = (location and location.key) or ""
    found = re.match(r"(\w+)\[(\d+)\](?:\.([\w-]+))?", stated)
    if found is None:
        return stated if stated == "name" else ""
    table, index, key = found[1], int(found[2]), found[3] or ""
    if table == "opening":
        group, place = "windows", index
        if index >= len(form.windows):
            group, place = "doors", index - len(form.windows)
        part = {"size": "width", "sill": "sill", "reveal": "depth", "undercut": "gap"}
        if group == "doors":
            part["sill"] = "height"  # a door has none: it reaches too high
        return f"{group}.{place}.{part.get(key, 'from_left')}"
    if table == "source":
        point = index < len(form.masts) and form.masts[index].place == POINT
        asked = {"at": "from_west", "space": "from_west", "eirp": "power"}.get(key, key)
        return f"masts.{index}.{asked or ('from_west' if point else 'azimuth')}"
    return {"receiver": "pillow_from_west", "space": "length", "storey": "floor_over_ground"}.get(
        table, ""
    )


# What is written


def _lines(form: RoomForm) -> Iterator[str]:
    yield "# Written from the room form. Change anything; a line that begins with # is a comment."
    yield "format = 1"
    yield pair("name", form.name.strip())
    yield from ("", "[site]")
    yield pair("north", form.north.strip(), "true direction that the north wall faces")
    construction = _construction(form)
    yield ""
    yield from table("[construction]", construction, f"starter assemblies: {TYPICAL}")
    for name in dict.fromkeys(construction.values()):
        entry = assembly_table(ASSEMBLIES[name])
        yield from table("[[assembly]]", entry, "from inside to outside")
    yield from ("[[storey]]", 'id = "storey"', pair("floor", _floor_height(form)))
    yield from ("", "[[space]]", 'id = "room"', 'storey = "storey"')
    yield _size("size", form.length, form.width)
    yield pair("height", form.height.strip())
    if form.stands != "on the ground":
        yield "raised = true"
    yield from _beyond(form)
    for index, hole in enumerate(form.windows):
        yield from _opening(f"W{index + 1}", "window", hole)
        yield pair("sill", hole.sill.strip())
        if hole.depth.strip():
            yield pair("reveal", hole.depth.strip())
    for index, hole in enumerate(form.doors):
        yield from _opening(f"D{index + 1}", "door", hole)
        if hole.gap.strip():
            yield pair("undercut", hole.gap.strip())
    yield ""
    yield "# Stand-ins to begin with, not of any product: put in what the data sheet says."
    yield "# `only-on` names the faces that each is meant for; what to do first is found there."
    for treatment in _TREATMENTS:
        where = _meant_for(treatment["id"], form)
        yield from table("[[treatment]]", {**treatment, **({"only-on": where} if where else {})})
    for index, mast in enumerate(form.masts):
        yield from _transmitter(mast, index, form) if mast.place == POINT else _mast(mast, index)
        yield ""
    at = (form.pillow_from_west, form.pillow_from_south, form.pillow_over_floor)
    yield from ("[[receiver]]", 'id = "pillow"', 'space = "room"')
    yield _place(at)
    yield from ("", "[[plan]]", 'id = "plan-1"', "treat = []")


def _construction(form: RoomForm) -> dict[str, str]:
    return {
        "exterior-wall": form.wall_kind,
        "interior-wall": _INTERIOR_WALL,
        "floor": _floor(form),
        "slab": _floor(form),
        "roof": form.ceiling_kind,
        "window": _WINDOW,
        "door": _DOOR,
    }


def _floor(form: RoomForm) -> str:
    return "ground-slab" if form.stands == "on the ground" else "joist-floor"


def _floor_height(form: RoomForm) -> str:
    if form.stands == "upper floor":
        return form.floor_over_ground.strip()
    return "0 ft" if _IN_FEET.search(form.height) else "0 m"


def _beyond(form: RoomForm) -> Iterator[str]:
    for wall in WALLS:
        beyond = form.beyond.get(wall, "outdoors")
        if beyond == "outdoors":
            continue
        yield from ("", "[[panel]]", pair("on", f"room/{wall}"))
        if beyond == "earth":
            yield pair("behind", "earth")
        else:
            yield pair("assembly", _INTERIOR_WALL, "the room behind it is not part of this file")


def _opening(name: str, kind: str, hole: Hole) -> Iterator[str]:
    yield from ("", "[[opening]]", pair("id", name), pair("on", f"room/{hole.wall}"))
    yield pair("kind", kind)
    yield pair("at", hole.from_left.strip())
    yield pair("from", "left", "seen from inside")
    yield _size("size", hole.width, hole.height)


def _mast(mast: Mast, index: int) -> Iterator[str]:
    yield from ("[[source]]", pair("id", f"mast-{index + 1}"))
    for key in ("azimuth", "elevation", "band", "level"):
        yield pair(key, str(getattr(mast, key)).strip())


def _transmitter(mast: Mast, index: int, form: RoomForm) -> Iterator[str]:
    """A point: in the room's own coordinates, or beyond its walls in those of the building."""
    yield from ("[[source]]", pair("id", f"transmitter-{index + 1}"))
    typed = (mast.from_west, mast.from_south, mast.over_floor)
    ends = (form.length, form.width, form.height)
    if all(
        0.0 <= parse_length(at) <= parse_length(end) for at, end in zip(typed, ends, strict=True)
    ):
        yield pair("space", "room")
        yield _place(typed)
    else:
        yield "# Outside the room: from its south-west corner, and over the ground outside."
        yield _place((*typed[:2], _over_ground(mast.over_floor, form)))
    yield pair("band", mast.band.strip())
    yield pair("eirp", mast.power.strip())


def _over_ground(over_floor: str, form: RoomForm) -> str:
    """A height over the floor as one over the ground, in the measure that it was typed in."""
    if form.stands != "upper floor":
        return over_floor
    total_m = parse_length(over_floor) + parse_length(form.floor_over_ground)
    if _IN_FEET.search(over_floor):
        return format_feet_inches(total_m)
    return format_metres(total_m)


def _size(key: str, first: str, second: str) -> str:
    """Two lengths as they were typed, or in metres where they would be read otherwise."""
    both = (parse_length(first), parse_length(second))
    typed = f"{first.strip()} x {second.strip()}"
    if _reads(parse_size, typed, both):
        return pair(key, typed)
    metres = " x ".join(format_metres(each) for each in both)
    return pair(key, metres, f"{first} by {second}")


def _place(typed: Sequence[str]) -> str:
    """Coordinates as they were typed, or in metres where they would be read otherwise."""
    values = tuple(parse_length(each) for each in typed)
    words = ", ".join(each.strip() for each in typed)
    if _reads(parse_point, words, values):
        return pair("at", words)
    metres = ", ".join(format_metres(each).removesuffix(" m") for each in values)
    return pair("at", f"{metres} m", ", ".join(typed))


def _reads(parse: Callable[[str], tuple[float, ...]], text: str, as_m: tuple[float, ...]) -> bool:
    try:
        return parse(text) == as_m
    except UnitError:
        return False


def _meant_for(treatment: str, form: RoomForm) -> list[str]:
    """Faces of the room that a stand-in is meant for; none where the room has none of them yet."""
    deep = any(hole.depth.strip() for hole in form.windows)
    meant = {
        "coating": ["*/walls", "*/ceiling", *(["*/reveals"] if deep else [])],
        "window-film": ["*/windows"] if form.windows else [],
        "floor-mesh": ["*/floor"],
        "door-sheet": ["*/doors"] if form.doors else [],
    }
    return meant[treatment]


_TREATMENTS: tuple[dict[str, str], ...] = (
    {"id": "coating", "kind": "sheet", "sheet-resistance": "5 ohm/sq"},
    {"id": "window-film", "kind": "sheet", "sheet-resistance": "8 ohm/sq"},
    {"id": "floor-mesh", "kind": "mesh", "wire": "0.2 mm", "pitch": "2 mm", "metal": "copper"},
    {"id": "door-sheet", "kind": "sheet", "sheet-resistance": "0.5 ohm/sq"},
)
