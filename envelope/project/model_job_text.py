"""The first text of a project file for a model: what is known written out, what is assumed marked.

The text runs at once, so that a first look costs nothing; every line in it is meant to be edited.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from envelope.building.job import Assembly
from envelope.building.library import ASSEMBLIES, TYPICAL
from envelope.building.model import Space
from envelope.building.point_location import bounds, clearance
from envelope.exchange import Imported
from envelope.geometry.polygons import polygon_of
from envelope.project.assembly_table import assembly_table
from envelope.project.toml import write
from envelope.project.toml.write import pair, value_of

PILLOW_M = 0.7  # above the floor
_CLEAR_M = 0.1  # a receiver nearer to a panel than this is moved
_NOTHING_DB = 0.01

# Groups of panels that the example plan treats, by the kind that must be there, and with what.
_EXAMPLE: Mapping[str, tuple[str, str]] = {
    "walls": ("wall", "coating"),
    "ceiling": ("ceiling", "coating"),
    "windows": ("window", "film"),
    "skylights": ("skylight", "film"),
}

# What is assumed for each kind of element, of the starter assemblies: light building, so that a
# wall never shields more on paper than it does on site. Our own choice.
ASSUMED: Mapping[str, str] = {
    "exterior-wall": "timber-wall",
    "interior-wall": "stud-wall",
    "floor": "joist-floor",
    "slab": "ground-slab",
    "roof": "tiled-roof",
    "window": "double-glazing",
    "door": "hollow-wood-door",
}
_KIND_OF = {
    "floor": "floor",
    "ceiling": "roof",
    "door": "door",
    "hatch": "door",
    "window": "window",
    "skylight": "window",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How the model file is to be read, as the project file will say it."""

    file: str  # relative to the project file
    fingerprint: str
    unit: str | None = None
    up: str | None = None
    spaces: tuple[str, ...] = ()
    storey: str | None = None
    fit: bool = False


_CARRIED = (
    *("treatment", "source", "receiver", "visit", "meter", "reading", "scan"),
    *("cover-test", "resistance"),
    *("supply", "circuit", "outlet", "cable", "device", "bond", "field-reading"),
    "plan",
)


def starting_text(
    imported: Imported,
    *,
    reading: Reading,
    name: str,
    rules: str = "",
    defined: Sequence[str] = (),
    carried: Mapping[str, Any] | None = None,
) -> str:
    """Text of a project file for an import.

    Parameters
    ----------
    imported : Imported
        With the rules applied.
    reading : Reading
    name : str
        Of the job.
    rules : str, optional
        [[tag]], [[assembly]] and [[material]] tables, taken over as they are written.
    defined : sequence of str, optional
        Assemblies that `rules` defines.
    carried : mapping, optional
        Tables of the job that the model was exported from, fitted to the import.
    """
    tables = dict(carried or {})
    tables["assembly"] = [e for e in tables.get("assembly", []) if e.get("id") not in defined]
    own = [str(entry.get("id")) for entry in tables["assembly"]]
    parts = [
        "# Written by gapcast import. Everything here may be changed; the model file is only read.",
        "format = 1",
        pair("name", name),
        "",
        *_model(imported, reading),
        "",
        *(write.tables(tables, keys=("site",)) if "site" in tables else [*_site(imported), ""]),
        *_construction(imported, [*defined, *own], tables.get("construction", {})),
        *write.tables(tables, keys=("assembly", "material", "obstacle")),
        *_tags(rules),
        *(
            write.tables(tables, keys=_CARRIED)
            if tables.get("receiver") or tables.get("treatment")
            else _use(imported.spaces, reading.spaces)
        ),
    ]
    return "\n".join(parts) + "\n"


def _model(imported: Imported, reading: Reading) -> Iterator[str]:
    yield "[model]"
    yield pair("file", reading.file)
    if reading.unit is not None:
        yield pair("unit", reading.unit)
    if reading.up is not None:
        yield pair("up", reading.up)
    if reading.spaces:
        yield pair("spaces", reading.spaces)
    if reading.storey is not None:
        yield pair("storey", reading.storey)
    if reading.fit:
        yield pair("fit", True, "rooms fitted to open surfaces: measure them before ordering")
    yield pair("fingerprint", reading.fingerprint, "of the model file as it was read")
    if imported.materials:
        yield "# Materials in the file, what each is read as, why, and how sure that is:"
    for use in imported.materials:
        sure = ": ".join(filter(None, (use.sureness, use.doubt)))
        yield f"#   {value_of(use.name)} -> {use.known or 'air'}   ({use.why}; {sure})"
    corrected = {use.name: "concrete" for use in imported.materials if use.known is None}
    corrected |= {use.name: str(use.known) for use in imported.materials if use.doubt}
    if corrected:
        yield "# What is unsure counts as what stops less, what is unknown as air. Correct as:"
        yield f"# materials = {value_of(dict(list(corrected.items())[:12]))}"


def _site(imported: Imported) -> Iterator[str]:
    yield "[site]"
    if abs(imported.north_rad) > 1e-9:
        yield f'north = "{np.degrees(imported.north_rad):.6g} deg"   # as the model says'
    else:
        yield '# north = "15 deg"             # where the model\'s +y points, clockwise from north'
    if imported.grade_m is None:
        yield (
            '# grade = "-0.3 m"             # the model does not say where the ground is: measure '
            "and write it; 0 m counts meanwhile"
        )
    else:
        yield f'grade = "{imported.grade_m:.2f} m"   # estimated from the terrain drawn beside it'


def _construction(
    imported: Imported, defined: Sequence[str], stated: Mapping[str, Any]
) -> Iterator[str]:
    named = {panel.assembly for space in imported.spaces for panel in space.panels} - {None}
    yield "[construction]                   # what stands where no panel says otherwise"
    kinds: dict[str, str] = {}
    for kind, value in stated.items():
        kinds[kind] = str(value)
        yield pair(kind, kinds[kind])
    for kind, assumed in ASSUMED.items():
        if kind in kinds:
            continue
        found = imported.construction.get(kind)
        known = found is not None and not _stops_nothing(imported.assemblies.get(found))
        kinds[kind] = found if found is not None and known else assumed
        yield pair(kind, kinds[kind], "" if known else TYPICAL)
    yield ""
    wanted = named | set(kinds.values())
    for id, made in imported.assemblies.items():
        if id in wanted and id not in defined:
            yield from _assembly(made)
    for id in sorted(str(name) for name in wanted - {*imported.assemblies, *defined}):
        known_as = id if id in ASSEMBLIES else ASSUMED[_kind_named(imported, id)]
        yield from _assembly(replace(ASSEMBLIES[known_as], id=id))


def _stops_nothing(assembly: Assembly | None) -> bool:
    return (
        assembly is not None
        and assembly.loss is not None
        and max(assembly.loss.losses_db, default=0.0) < _NOTHING_DB
    )


def _kind_named(imported: Imported, assembly: str) -> str:
    """Kind of element that a panel which names an assembly is likeliest part of."""
    for space in imported.spaces:
        for panel in space.panels:
            if panel.assembly == assembly:
                return _KIND_OF.get(panel.kind, "exterior-wall")
    return "exterior-wall"


def _assembly(assembly: Assembly) -> Iterator[str]:
    whole = replace(
        assembly,
        layers=tuple(
            layer
            for layer in assembly.layers
            if layer.thickness_m > 0.0 or layer.sheet_resistance_ohm_sq is not None
        ),
    )
    yield from write.table("[[assembly]]", assembly_table(whole), "from inside to outside")


def _tags(rules: str) -> Iterator[str]:
    yield "# ---- rules for the model's panels; the last that catches a panel wins. To see which:"
    yield "#      gapcast import --dry-run, with this file in place of the model"
    yield ""
    if rules.strip():
        yield rules.strip()
    else:
        yield "# [[tag]]"
        yield '# name = "*glass*"       # or kind, storey, material; * and ? stand for letters'
        yield '# becomes = "window"'
        yield '# assembly = "my-window"'
    yield ""


def _use(spaces: Sequence[Space], asked: Sequence[str]) -> Iterator[str]:
    # whoever names rooms begins with the one that matters, in whatever order the file has them
    named = (space for space in spaces if asked and asked[0] in (space.id, space.title))
    space = next(named, spaces[0])
    yield "# ---- what is put on which panels, an example: replace each by what is bought"
    yield ""
    yield "[[treatment]]"
    yield 'id = "coating"'
    yield 'kind = "sheet"'
    yield 'sheet-resistance = "5 ohm/sq"    # of one coat; take it from the data sheet'
    yield "coats = 1"
    yield ""
    if any(entry["with"] == "film" for each in spaces for entry in example_treats(each)):
        yield "[[treatment]]"
        yield 'id = "film"                      # on panes, which let in most once walls are tight'
        yield 'kind = "sheet"'
        yield 'sheet-resistance = "7 ohm/sq"    # our own example; take it from the data sheet'
        yield ""
    yield "# No [[source]]: an even exterior field at 2.45 GHz is assumed. With one:"
    yield "# [[source]]"
    yield '# id = "mast"'
    yield '# azimuth = "231 deg"'
    yield '# elevation = "4 deg"'
    yield '# band = "1805-1880 MHz"'
    yield '# level = "850 uW/m2"'
    yield ""
    x, y, z = middle_of(space)
    yield "[[receiver]]"
    yield 'id = "pillow"'
    yield pair("space", space.id)
    yield (
        f'at = "{x:.3f}, {y:.3f}, {z:.3f} m"   # the middle of the space, in its own coordinates: '
        "put it where the bed is"
    )
    treated = example_treats(space)
    yield ""
    yield "[[plan]]"
    yield 'id = "example"'
    if not treated:
        yield "# treat = [{ on = …, with = … }]  # nothing here to coat, nor any window"
        return
    yield pair("treat", treated)


def example_treats(space: Space) -> list[dict[str, str]]:
    """What the example plan of a new job puts on a space: a coating, and a film on its panes."""
    kinds = {panel.kind for panel in space.panels}
    return [
        {"on": f"{space.id}/{group}", "with": treatment}
        for group, (kind, treatment) in _EXAMPLE.items()
        if kind in kinds
    ]


def middle_of(space: Space) -> tuple[float, float, float]:
    """A spot in the middle of a space, in its own coordinates, at a pillow's height. [m]

    The middle of its largest floor where that stands clear of every panel, else the spot of a
    grid that stands clearest.
    """
    low, high = bounds(space.panels)
    height = min(PILLOW_M, 0.5 * (float(high[2]) - space.floor_m))
    floors = [panel for panel in space.panels if panel.kind == "floor"]
    spots: list[tuple[float, float]] = []
    if floors:
        floor = max(floors, key=lambda panel: panel.area_m2)
        centre = polygon_of(floor).centroid
        at = floor.frame.lift(np.array([[centre.x, centre.y]]))[0]
        spots.append((float(at[0]), float(at[1])))
    steps = (np.arange(9) + 0.5) / 9.0
    spots += [
        (float(low[0] + a * (high[0] - low[0])), float(low[1] + b * (high[1] - low[1])))
        for a in steps
        for b in steps
    ]
    best, clearest = spots[0], -1.0
    for x, y in spots:
        point = np.array([x, y, space.floor_m + height])
        clear = clearance(space, point)
        if clear > clearest:
            best, clearest = (x, y), clear
        if clearest >= _CLEAR_M and best == spots[0]:
            break
    return (
        round(best[0] - float(space.origin[0]), 3),
        round(best[1] - float(space.origin[1]), 3),
        round(height, 3),
    )
