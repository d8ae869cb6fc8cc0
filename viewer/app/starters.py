"""What one adds to a job: sorts of rows, and what is asked for each of them first.

A row of a file may say many things, some of which only go together (an outline by its size or by a
walk with the tape). A starter asks for those of one sort; the rest can be said later.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Starter:
    """A sort of row: the keys that are asked for, and what is said already."""

    title: str
    keys: tuple[str, ...]
    typed: dict[str, str] = field(default_factory=dict)


def _opening(title: str, kind: str, *keys: str) -> Starter:
    asked = ("title", "on", "from", "at", "size", *keys)
    return Starter(title=title, keys=asked, typed={"kind": kind, "from": "left"})


def _flat(title: str, kind: str, *keys: str) -> Starter:
    return Starter(title=title, keys=("title", "on", "at", "size", *keys), typed={"kind": kind})


def _treatment(title: str, kind: str, *keys: str) -> Starter:
    return Starter(
        title=title, keys=("id", *keys, "only-on", "price", "note"), typed={"kind": kind}
    )


_ROOM = ("title", "storey", "height")
_BESIDE = ("beside", "shift", "origin", "ceiling")

STARTERS: dict[str, tuple[Starter, ...]] = {
    "storey": (Starter(title="a storey", keys=("id", "floor")),),
    "space": (
        Starter(title="a rectangle", keys=(*_ROOM, "size", *_BESIDE)),
        Starter(title="an L or another shape, drawn", keys=(*_ROOM, "walk", *_BESIDE)),
        Starter(title="by its corners", keys=(*_ROOM, "footprint", *_BESIDE)),
    ),
    "dormer": (Starter(title="a dormer", keys=("space", "size", "origin", "height", "ceiling")),),
    "opening": (
        _opening("a window", "window", "sill", "reveal", "frame", "frame-assembly", "assembly"),
        _opening("a door", "door", "undercut", "seams", "assembly"),
        _opening("a bare hole, as of a closet without a door", "open", "sill"),
        _opening("a vent", "vent", "sill"),
        _opening("an electrical box", "box", "sill", "ring"),
        _flat("a skylight", "skylight", "reveal", "frame", "frame-assembly", "assembly"),
        _flat("a hatch", "hatch", "seams", "assembly"),
        _flat("a light in the ceiling", "light", "ring"),
    ),
    "panel": (Starter(title="a face", keys=("on", "assembly", "behind")),),
    "assembly": (
        Starter(title="layer by layer", keys=("id", "layers", "note")),
        Starter(title="a loss that somebody states", keys=("id", "loss", "reflects", "note")),
        Starter(title="two others with air between", keys=("id", "parts", "note")),
    ),
    "material": (
        Starter(title="a material", keys=("id", "permittivity", "conductivity", "loss-tangent")),
    ),
    "obstacle": (Starter(title="a block outdoors", keys=("id", "size", "origin", "height")),),
    "source": (
        Starter(
            title="in a direction outside: a mast, a meter across the street",
            keys=("title", "service", "azimuth", "elevation", "level", "line-of-sight"),
        ),
        Starter(
            title="in a room of this house: a router, a telephone",
            keys=("title", "service", "space", "at", "eirp", "owner", "duty"),
        ),
        Starter(
            title="at a point outdoors, known by its power",
            keys=("title", "service", "at", "eirp", "duty"),
        ),
    ),
    "reading": (
        Starter(title="a reading inside", keys=("id", "source", "space", "at", "level", "spots")),
        Starter(title="a reading outdoors", keys=("id", "source", "at", "level")),
    ),
    "visit": (Starter(title="a visit", keys=("id", "date", "plan")),),
    "meter": (Starter(title="a meter", keys=("id", "title", "tolerance", "lowest", "highest")),),
    "scan": (Starter(title="a scan", keys=("along", "edge", "level", "beside", "visit", "plan")),),
    "cover-test": (
        Starter(
            title="a cover test",
            keys=("id", "on", "receiver", "uncovered", "level", "spots", "visit"),
        ),
    ),
    "resistance": (Starter(title="a resistance", keys=("on", "between", "resistance", "visit")),),
    "field-reading": (
        Starter(title="a reading", keys=("id", "space", "at", "field", "against", "plan", "off")),
    ),
    "tag": (Starter(title="a rule", keys=("name", "material", "becomes", "assembly")),),
    "receiver": (
        Starter(title="a bed", keys=("id", "space", "at", "size"), typed={"size": ""}),
        Starter(title="one point, such as a pillow", keys=("id", "space", "at")),
    ),
    "treatment": (
        _treatment("a coating or film by its ohms", "sheet", "sheet-resistance", "coats"),
        _treatment("a woven or welded mesh", "mesh", "wire", "pitch", "metal"),
        _treatment("by the decibels of a data sheet", "table", "loss"),
        _treatment("one loss at every frequency, for an estimate", "fixed", "loss"),
        _treatment("layer by layer", "layers", "layers"),
        _treatment("a honeycomb for a vent", "honeycomb", "cell", "depth", "open-fraction"),
    ),
    "product": (
        Starter(
            title="what is bought for a treatment",
            keys=("title", "for", "form", "packs", "spread-rate", "width", "labour", "trade"),
        ),
    ),
    "plan": (
        Starter(title="a plan of its own", keys=("title", "treat")),
        Starter(title="an extension of another plan", keys=("title", "extends", "treat")),
        Starter(title="what is done about sources", keys=("title", "extends", "measures")),
    ),
    "circuit": (Starter(title="a circuit", keys=("id", "cable", "route", "supply")),),
    "outlet": (
        Starter(
            title="a socket, switch or light",
            keys=("circuit", "on", "from", "at", "height", "kind"),
        ),
    ),
    "supply": (Starter(title="a supply", keys=("id", "voltage", "frequency", "phase")),),
    "cable": (Starter(title="a cable as it lies", keys=("circuit", "on", "path", "depth")),),
    "device": (Starter(title="a lamp", keys=("outlet", "at", "height", "wiring")),),
    "bond": (Starter(title="a bond", keys=("id", "on", "at", "height", "resistance")),),
}
